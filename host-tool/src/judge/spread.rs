//! What several independent errors add up to: the distribution of a sum of normal errors and bounded ones, and the interval
//! that holds 95 % of it. Propagation of distributions after JCGM 101, not drawn but by characteristic functions: that of a sum is the
//! product of its errors'.

use super::curve::{Curve, least};
use std::f64::consts::PI;

/// Share of the values that an interval or a region holds.
pub const COVERAGE: f64 = 0.95;
/// Standard deviations within which all counts. Neither a rectangular error nor one axis of a disc has tails as long as a normal one of its
/// variance, so that beyond five of the sum's lies less than 7 in a million (Chernoff's bound).
const REACH: f64 = 5.0;
/// The least normal error, beside what the bounded ones reach to together: rounds their corners off, which no harmonics would follow.
const ROUNDED: f64 = 0.005;
/// Chance of a harmonic that is left out.
const NEGLIGIBLE: f64 = 1e-6;
/// Steps of the distribution where it is asked for often.
const STEPS: u16 = 32;

/// A symmetric error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Normal, with this standard deviation.
    Normal(f64),
    /// Rectangular, with this half-width.
    Rectangular(f64),
    /// One axis of a pair that lies anywhere within a circle of this radius, no place likelier than another.
    Disc(f64),
}

impl Shape {
    /// Its standard deviation.
    #[must_use]
    pub fn standard(self) -> f64 {
        match self {
            Self::Normal(deviation) => deviation,
            Self::Rectangular(half_width) => half_width / 3.0_f64.sqrt(),
            Self::Disc(radius) => radius / 2.0,
        }
    }

    /// The same shape `factor` times as wide.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        match self {
            Self::Normal(deviation) => Self::Normal(deviation * factor.abs()),
            Self::Rectangular(half_width) => Self::Rectangular(half_width * factor.abs()),
            Self::Disc(radius) => Self::Disc(radius * factor.abs()),
        }
    }

    /// Where it ends, `None` for one that does not.
    #[must_use]
    pub fn end(self) -> Option<f64> {
        match self {
            Self::Normal(_) => None,
            Self::Rectangular(end) | Self::Disc(end) => Some(end.abs()),
        }
    }

    /// The mean of cos `frequency`·error, and what it is never larger than from there on.
    fn characteristic(self, frequency: f64) -> (f64, f64) {
        match self {
            Self::Normal(deviation) => {
                let value = (-0.5 * (deviation * frequency).powi(2)).exp();
                (value, value)
            }
            Self::Rectangular(end) => ((end * frequency).sin() / (end * frequency), 1.0 / (end * frequency)),
            // J₁ is nowhere above 0.582
            Self::Disc(radius) => (2.0 * libm::j1(radius * frequency) / (radius * frequency), 1.2 / (radius * frequency)),
        }
    }
}

/// The distribution of a sum of independent symmetric errors.
#[derive(Clone, Debug)]
pub struct Spread {
    /// Beyond this none is.
    reach: f64,
    /// P(|error| ≤ x) = x/reach + Σ cₙ·sin(nπx/reach), n from 1 on.
    harmonics: Vec<f64>,
    standard: f64,
}

impl Spread {
    /// Adds the errors up.
    #[must_use]
    pub fn of(errors: &[Shape]) -> Self {
        let bounded = errors.iter().copied().filter(|error| error.end().is_some_and(|end| end > 0.0));
        let ends: f64 = bounded.clone().filter_map(Shape::end).sum();
        let normal = errors.iter().map(|e| if let Shape::Normal(s) = e { s * s } else { 0.0 }).sum::<f64>().sqrt().max(ROUNDED * ends);
        let standard = errors.iter().map(|e| e.standard().powi(2)).sum::<f64>().sqrt();
        let reach = (REACH * normal + ends).min(REACH * standard.hypot(ROUNDED * ends));
        let shapes: Vec<Shape> = bounded.chain([Shape::Normal(normal)]).collect();
        Self { reach, harmonics: if reach > 0.0 { harmonics(&shapes, reach) } else { Vec::new() }, standard }
    }

    /// The standard deviation.
    #[must_use]
    pub fn standard(&self) -> f64 {
        self.standard
    }

    /// Beyond this none is.
    #[must_use]
    pub(super) fn reach(&self) -> f64 {
        self.reach
    }

    /// Half-width of the interval about nought that holds a share of the values.
    #[must_use]
    pub fn half_width(&self, share: f64) -> f64 {
        least(share, self.standard, self.reach, |distance| self.share_within(distance))
    }

    /// P(|error| ≤ `distance`) for a distance that is not negative, where it is to be asked often.
    #[must_use]
    pub(super) fn shares(&self) -> Curve {
        Curve::of(0.0, self.reach, STEPS, |distance| self.share_within(distance))
    }

    /// P(|error| ≤ `distance`) for a positive distance; for a negative one the same with its sign.
    fn share_within(&self, distance: f64) -> f64 {
        if distance >= self.reach {
            return 1.0;
        }
        let place = distance / self.reach;
        let (sin, cos) = (PI * place).sin_cos();
        // Clenshaw: the harmonics' sum without their sines
        let (sum, _) = self.harmonics.iter().rev().fold((0.0, 0.0), |(one, two), harmonic| (harmonic + 2.0 * cos * one - two, one));
        place + sin * sum
    }
}

/// The Fourier series of the distribution function over its reach, as long as it takes: the normal part ends it.
fn harmonics(shapes: &[Shape], reach: f64) -> Vec<f64> {
    let harmonic = |n: u32| {
        let all = shapes.iter().map(|shape| shape.characteristic(f64::from(n) * PI / reach));
        let all = all.fold((1.0, 1.0), |(value, most), (next, at_most)| (value * next, most * at_most.min(1.0)));
        let share = 1.0 / f64::from(n);
        (share * all.1 >= NEGLIGIBLE).then_some(2.0 / PI * share * all.0)
    };
    (1..).map_while(harmonic).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn factor(errors: &[Shape]) -> f64 {
        let spread = Spread::of(errors);
        spread.half_width(COVERAGE) / spread.standard()
    }

    /// JCGM 100:2008, table G.1 (normal: 1.960) and 6.3.3 (rectangular: 1.65); from memory, high confidence.
    #[test]
    fn factors_of_the_guide() {
        assert!((factor(&[Shape::Normal(3.0)]) - 1.960).abs() < 0.0005);
        assert!((factor(&[Shape::Rectangular(2.0)]) - 0.95 * 3.0_f64.sqrt()).abs() < 0.001);
    }

    /// Two equal rectangular errors make a triangle, whose 95 % half-width is a·(1 − √0.05) with a its own half-width.
    #[test]
    fn two_rectangles_make_a_triangle() {
        let spread = Spread::of(&[Shape::Rectangular(1.0), Shape::Rectangular(1.0)]);
        assert!((spread.half_width(COVERAGE) - 2.0 * (1.0 - 0.05_f64.sqrt())).abs() < 0.001);
    }

    #[test]
    fn nothing_adds_up_to_nothing() {
        assert!(Spread::of(&[]).half_width(COVERAGE) < 1e-300);
        assert!(Spread::of(&[Shape::Normal(0.0), Shape::Rectangular(0.0)]).half_width(COVERAGE) < 1e-300);
    }
}
