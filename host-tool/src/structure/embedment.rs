//! How deep a pole stands once it is set: by its brand, whose height above the butt is known, and above the ground is
//! taped. Metres.

use super::setting::Window;
use super::{Confidence, FOOT, INCH, Source, Status};
use crate::judge::Figure;
use crate::judge::freedom::INTERVAL;
use crate::judge::statement::Standing;

/// A length with its standard uncertainty, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The length.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard: f64,
}

/// A brand's height above the butt where nobody taped it: 10 ft on poles up to 50 ft, 14 ft on longer ones, give or take 2 in.
/// Source: ANSI O5.1, MEMORY medium. Tape it before the pole is set.
#[must_use]
pub fn customary_brand(length: f64) -> (Measured, Source) {
    let feet = if length < 52.5 * FOOT { 10.0 } else { 14.0 };
    let source = Source { text: "ANSI O5.1, place of the brand", status: Status::Memory(Confidence::Medium) };
    (Measured { value: feet * FOOT, standard: 2.0 * INCH / 3.0_f64.sqrt() }, source)
}

/// True embedment: the brand's height above the butt less its height above the datum, with what it is worth. On a raked pole
/// both are taped along the pole.
#[must_use]
pub fn embedment(above_butt: Measured, above_datum: Measured) -> Figure {
    Figure::of(above_butt.value - above_datum.value, INTERVAL * above_butt.standard.hypot(above_datum.standard))
}

/// How an embedment stands to the planned depth and its window.
#[must_use]
pub fn standing(embedment: Option<Figure>, planned: f64, window: &Window) -> Standing {
    match embedment {
        None => Standing::Unknown,
        Some(figure) if window.holds(planned, figure.value) => Standing::Within,
        Some(_) => Standing::Outside,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_brand_tells_how_deep_the_pole_stands() {
        let taped = |feet: f64| Measured { value: feet * FOOT, standard: 0.003 };
        let got = embedment(taped(14.0), Measured { value: 4.3 * FOOT, standard: 0.004 });
        assert!((got.value / FOOT - 9.7).abs() < 1e-9 && (got.expanded - 1.96 * 0.005).abs() < 1e-9, "{got:?}");
        let stands = |feet: f64| standing(Some(embedment(taped(14.0), taped(feet))), 10.0 * FOOT, &Window::SIX_INCHES);
        let want = [Standing::Outside, Standing::Within, Standing::Within, Standing::Outside];
        assert_eq!([4.51, 4.50, 3.50, 3.49].map(stands), want, "9.49, 9.50, 10.50, 10.51 ft");
        assert_eq!(standing(None, 3.0, &Window::SIX_INCHES), Standing::Unknown);
    }

    #[test]
    fn a_brand_that_nobody_taped_is_worth_little() {
        let (short, source) = customary_brand(50.0 * FOOT);
        let (long, _) = customary_brand(55.0 * FOOT);
        assert_eq!((short.value, long.value, source.status), (10.0 * FOOT, 14.0 * FOOT, Status::Memory(Confidence::Medium)));
        let got = embedment(long, Measured { value: 1.2, standard: 0.003 });
        assert!(got.expanded > 2.0 * INCH, "{got:?}");
    }
}
