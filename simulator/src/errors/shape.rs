//! Shapes of distributions that real errors have; few of them are normal, fewer rectangular.

use crate::chance::Chance;

/// A shape. Each is symmetrical about the middle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Always the middle.
    Fixed,
    /// Of two equal rectangular parts: standard deviation a/√6.
    Triangular,
    /// Mostly near its ends, as the position of what swings or is pressed to a side: a·sin of any angle, a/√2.
    Arcsine,
    /// Peaked, with tails that are cut off at its ends: exponential both ways, a/4 before it is cut.
    Peaked,
    /// One of two humps, each triangular: a = 2/3 ± 1/3 of it, either sign. Standard deviation a·√(4/9 + 1/54).
    TwoHumps,
    /// The same everywhere.
    Rectangular,
}

/// An error's distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Its shape.
    pub shape: Shape,
    /// Its middle.
    pub middle: f64,
    /// From the middle to either end; never beyond.
    pub half_width: f64,
}

impl Default for Spread {
    fn default() -> Self {
        Self::fixed(0.0)
    }
}

impl Spread {
    /// Always this.
    #[must_use]
    pub const fn fixed(middle: f64) -> Self {
        Self { shape: Shape::Fixed, middle, half_width: 0.0 }
    }

    /// About nought.
    #[must_use]
    pub const fn about(shape: Shape, half_width: f64) -> Self {
        Self { shape, middle: 0.0, half_width }
    }

    /// Between two ends.
    #[must_use]
    pub fn between(shape: Shape, low: f64, high: f64) -> Self {
        Self { shape, middle: f64::midpoint(low, high), half_width: (high - low) / 2.0 }
    }

    /// Standard deviation.
    #[must_use]
    pub fn standard(&self) -> f64 {
        let share = match self.shape {
            Shape::Fixed => 0.0,
            Shape::Triangular => (1.0_f64 / 6.0).sqrt(),
            Shape::Arcsine => (1.0_f64 / 2.0).sqrt(),
            Shape::Peaked => PEAKED_STANDARD,
            Shape::TwoHumps => (4.0_f64 / 9.0 + 1.0 / 54.0).sqrt(),
            Shape::Rectangular => (1.0_f64 / 3.0).sqrt(),
        };
        share * self.half_width
    }

    /// One draw.
    pub(crate) fn draw(&self, chance: &mut Chance) -> f64 {
        let u = chance.uniform();
        let side = if chance.bits() & 1 == 0 { 1.0 } else { -1.0 };
        let share = match self.shape {
            Shape::Fixed => 0.0,
            Shape::Triangular => side * (1.0 - (1.0 - u).sqrt()),
            Shape::Arcsine => libm::sin(std::f64::consts::TAU * u),
            // The exponential law's own quantile up to where it is cut: no draw is lost.
            Shape::Peaked => side * -libm::log(1.0 - u * (1.0 - libm::exp(-PEAKED_RATE))) / PEAKED_RATE,
            Shape::TwoHumps => side * (2.0 + (u + chance.uniform() - 1.0)) / 3.0,
            Shape::Rectangular => 2.0 * u - 1.0,
        };
        self.middle + share * self.half_width
    }
}

/// Half-width over the scale of the peaked shape.
const PEAKED_RATE: f64 = 4.0 * std::f64::consts::SQRT_2;
/// √(2/λ² − e^−λ(1 + 2/λ)/(1 − e^−λ)) with λ = 4√2: the exponential law's second moment, cut at 1.
const PEAKED_STANDARD: f64 = 0.240_322;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Drawer;

    /// Moments of the shapes from 200,000 draws against `standard`, whose formulas are those of textbooks; within
    /// five standard errors, of which that of a standard deviation is less than sd·√(5/4n) for kurtosis up to 6.
    #[test]
    fn each_shape_has_its_standard_deviation_and_keeps_within_its_ends() {
        for shape in [Shape::Fixed, Shape::Triangular, Shape::Arcsine, Shape::Peaked, Shape::TwoHumps, Shape::Rectangular] {
            let spread = Spread { shape, middle: 10.0, half_width: 3.0 };
            let mut chance = Chance::new(7, Drawer::Errors);
            let draws: Vec<f64> = (0..200_000).map(|_| spread.draw(&mut chance)).collect();
            let mean = draws.iter().sum::<f64>() / 2e5;
            let sd = (draws.iter().map(|d| (d - 10.0) * (d - 10.0)).sum::<f64>() / 2e5).sqrt();
            assert!(draws.iter().all(|d| (7.0..=13.0).contains(d)), "{shape:?}");
            assert!((mean - 10.0).abs() <= 5.0 * spread.standard() / 2e5_f64.sqrt(), "{shape:?}: {mean}");
            assert!((sd - spread.standard()).abs() <= 0.0125 * spread.standard(), "{shape:?}: {sd}, stated {}", spread.standard());
        }
    }
}
