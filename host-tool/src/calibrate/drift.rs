//! Drift of the tilt zero with temperature, from zeros found at two temperatures or more.

use super::{Found, Pair, Refused, count};
use shared_protocol::state::CalibrationItem;

/// The least range of temperature that a slope is taken from, °C.
const RANGE_LEAST: f64 = 10.0;
/// The most drift that a sound sensor has, µg/°C.
const DRIFT_MOST: f64 = 1_000.0;
/// How far a zero may lie off the straight line, µg.
const RESIDUAL_MOST: f64 = 1_000.0;

/// A zero that was found at some temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZeroAt {
    /// Temperature, °C.
    pub temperature: f64,
    /// The zero, µg.
    pub zero: Pair,
    /// Its standard uncertainty, µg.
    pub standard: f64,
}

/// A drift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Change of the zero, µg/°C.
    pub slope: Pair,
    /// Standard uncertainty on each axis, µg/°C.
    pub standard: f64,
    /// How far a zero lies off the straight line, over the range of temperature, µg/°C; 0 with two zeros, which show nothing.
    pub residual: f64,
    /// The coldest and the warmest, °C.
    pub range: (f64, f64),
}

/// Fits a straight line by least squares, unweighted, on each axis.
///
/// Standard uncertainty, after JCGM 100:2008, 5.1.2, with wᵢ = (tᵢ − t̄)/Σ(tⱼ − t̄)²: u² = Σ(wᵢuᵢ)². Where three zeros or
/// more scatter about the line by more than that, s/√Σ(tᵢ − t̄)² with s their own scatter, both axes pooled (H.3).
///
/// # Errors
/// See [`Refused`].
pub fn find(zeros: &[ZeroAt]) -> Result<Drift, Refused> {
    let n = count(zeros.len());
    let range = zeros.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(c, w), z| (c.min(z.temperature), w.max(z.temperature)));
    if zeros.len() < 2 || range.1 - range.0 < RANGE_LEAST {
        let had = match zeros.len() {
            0 => "no zero with its temperature is known".to_owned(),
            1 => format!("only one zero is known, at {:.1} °C", range.0),
            _ => format!("the zeros known were found from {:.1} to {:.1} °C only", range.0, range.1),
        };
        return Err(Refused::new(
            had,
            format!("calibrate the zero at two temperatures at least {RANGE_LEAST:.0} °C apart, then the drift"),
        ));
    }
    let middle = zeros.iter().map(|z| z.temperature).sum::<f64>() / n;
    let mean = zeros.iter().map(|z| z.zero).fold(Pair::default(), Pair::plus).times(1.0 / n);
    let squares: f64 = zeros.iter().map(|z| (z.temperature - middle).powi(2)).sum();
    let slope = zeros.iter().map(|z| z.zero.times((z.temperature - middle) / squares)).fold(Pair::default(), Pair::plus);
    let off: Vec<Pair> = zeros.iter().map(|z| z.zero.minus(mean).minus(slope.times(z.temperature - middle))).collect();
    let furthest = off.iter().map(|o| o.largest()).fold(0.0, f64::max);
    let carried = zeros.iter().map(|z| ((z.temperature - middle) / squares * z.standard).powi(2)).sum::<f64>().sqrt();
    let scatter: f64 = off.iter().map(|o| o.size().powi(2)).sum::<f64>() / (2.0 * (n - 2.0).max(1.0));
    let drift = Drift { slope, standard: carried.max((scatter / squares).sqrt()), residual: furthest / (range.1 - range.0), range };
    plausible(&drift, furthest).map_or(Ok(drift), Err)
}

fn plausible(drift: &Drift, furthest: f64) -> Option<Refused> {
    if drift.slope.largest() > DRIFT_MOST {
        let why = format!("the zero would drift by {:.2} mg per °C", drift.slope.largest() / 1e3);
        return Some(Refused::new(why, "calibrate the zero again at both temperatures; if it stays so, have the sensor repaired"));
    }
    if furthest > RESIDUAL_MOST {
        let why = format!("a zero lies {:.2} mg off the straight line, {:.2} mg at most", furthest / 1e3, RESIDUAL_MOST / 1e3);
        return Some(Refused::new(why, "calibrate the zero again, the sensor switched on for half an hour at each temperature"));
    }
    None
}

impl Drift {
    /// As a finding, in tenths of a µg per °C.
    #[must_use]
    pub fn found(&self) -> Found {
        let Pair { forward, right } = self.slope;
        let words = vec![format!(
            "drift: forward {forward:+.1} µg, right {right:+.1} µg per °C, from {:.1} to {:.1} °C",
            self.range.0, self.range.1
        )];
        Found::new(CalibrationItem::TiltDrift, &[forward * 10.0, right * 10.0], self.standard * 10.0, self.residual * 10.0, words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(temperature: f64, forward: f64, right: f64) -> ZeroAt {
        ZeroAt { temperature, zero: Pair::new(forward, right), standard: 80.0 }
    }

    /// From 3 to 23 °C the zero goes by +1.2 and −0.5 mg: 60 and −25 µg/°C, ±√(80² + 80²)/20 = 5.66.
    #[test]
    fn two_temperatures_give_a_slope() {
        let drift = find(&[at(3.0, 400.0, 100.0), at(23.0, 1_600.0, -400.0)]).unwrap();
        assert!((drift.slope.forward - 60.0).abs() < 1e-9 && (drift.slope.right + 25.0).abs() < 1e-9, "{drift:?}");
        assert!((drift.standard - 5.657).abs() < 0.001 && drift.residual < 1e-9, "{drift:?}");
        let found = drift.found();
        assert_eq!((&found.values[..], found.uncertainty, found.residual), (&[600, -250][..], 57, 0));
    }

    /// Least squares by hand: t −10, 0, 10 about 13 °C and zeros 0, 300, 0: slope 0, residuals −100, 200, −100, so
    /// s² = 60,000/(2·1) pooled with an axis of nothing, over √200.
    #[test]
    fn more_temperatures_show_how_straight_it_is() {
        let drift = find(&[at(3.0, 0.0, 0.0), at(13.0, 300.0, 0.0), at(23.0, 0.0, 0.0)]).unwrap();
        assert!(drift.slope.size() < 1e-9 && (drift.residual - 10.0).abs() < 1e-9, "{drift:?}");
        assert!((drift.standard - (30_000.0_f64 / 200.0).sqrt()).abs() < 1e-9, "{drift:?}");
    }

    #[test]
    fn what_cannot_be_right_is_refused() {
        let rows = [
            (find(&[]), "no zero with its temperature is known: calibrate the zero at two temperatures"),
            (find(&[at(3.0, 0.0, 0.0)]), "only one zero is known, at 3.0 °C: "),
            (find(&[at(3.0, 0.0, 0.0), at(12.0, 0.0, 0.0)]), "the zeros known were found from 3.0 to 12.0 °C only: "),
            (find(&[at(0.0, 0.0, 0.0), at(10.0, 0.0, 10_100.0)]), "the zero would drift by 1.01 mg per °C: "),
            (find(&[at(0.0, 0.0, 0.0), at(10.0, 1_600.0, 0.0), at(20.0, 0.0, 0.0)]), "a zero lies 1.07 mg off the straight line"),
        ];
        for (refused, want) in rows {
            let said = refused.unwrap_err().to_string();
            assert!(said.starts_with(want) && !said.contains('\n'), "{said}");
        }
    }
}
