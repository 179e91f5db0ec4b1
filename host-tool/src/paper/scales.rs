//! The scales of a hole's drawing: one for depth, one for everything sideways, both plain ratios.

use super::hole::Hole;
use super::layout::POINTS_PER_METRE;

/// Ratios that a drawing may have: 1, 1.25, 1.5, 2 … times a power of ten.
const RATIOS: [f64; 11] = [1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 8.0];
/// Sideways exaggerations.
const EXAGGERATIONS: [f64; 6] = [1.0, 2.0, 2.5, 4.0, 5.0, 8.0];

/// Turns depth into height on the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DepthScale {
    /// The page's y of depth 0.
    pub zero: f64,
    /// Points per metre.
    pub per_metre: f64,
    /// The ratio's second number, as in 1:40.
    pub ratio: f64,
    /// Least depth shown, metres below the datum.
    pub least: f64,
    /// Greatest depth shown.
    pub greatest: f64,
}

impl DepthScale {
    /// A scale that shows these depths between `top` and `bottom`, points down the page.
    #[must_use]
    pub fn fit(depths: impl Iterator<Item = f64>, top: f64, bottom: f64) -> Self {
        let (mut least, mut greatest) = depths.fold((0.0, 0.1), |(l, g): (f64, f64), d| (l.min(d), g.max(d)));
        let margin = (greatest - least) * 0.03;
        least -= margin;
        greatest += margin;
        let ratio = nice_ratio((greatest - least) * POINTS_PER_METRE / (bottom - top));
        let per_metre = POINTS_PER_METRE / ratio;
        Self { zero: top - least * per_metre, per_metre, ratio, least, greatest }
    }

    /// Where a depth lies on the page.
    #[must_use]
    pub fn y(&self, depth: f64) -> f64 {
        self.zero + depth * self.per_metre
    }
}

/// Every depth that a hole's drawing must show, metres below the datum.
#[must_use]
pub fn depths(hole: &Hole<'_>) -> Vec<f64> {
    let judged = hole.judged;
    let hub = -hole.hub_above_datum();
    let mut out = vec![0.0, hub, judged.planned, judged.accepted.0, judged.accepted.1];
    out.extend(judged.axis.iter().map(|p| p.depth + hub));
    out.extend(hole.edge());
    out.extend(hole.floor());
    out
}

/// The smallest ratio of the series that is at least this.
#[must_use]
pub fn nice_ratio(at_least: f64) -> f64 {
    let decades = (0..10).map(|d| 10f64.powi(d));
    decades.flat_map(|d| RATIOS.map(|r| r * d)).find(|r| *r >= at_least * (1.0 - 1e-9)).unwrap_or(1e10)
}

/// The largest exaggeration at which `reach` metres to a side take no more than `half` points.
#[must_use]
pub fn exaggeration(reach: f64, half: f64, per_metre: f64) -> f64 {
    let decades = (-6..3).rev().map(|d| 10f64.powi(d));
    let most = half / (reach.max(1e-4) * per_metre);
    decades.flat_map(|d| EXAGGERATIONS.map(|e| e * d).into_iter().rev()).find(|e| *e <= most).unwrap_or(1e-6)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_shows_everything_and_is_a_plain_ratio() {
        let scale = DepthScale::fit([-0.12, 3.2, 3.25].into_iter(), 100.0, 370.0);
        assert!(scale.y(-0.12) >= 100.0 && scale.y(3.25) <= 370.0);
        assert_eq!(scale.ratio, 40.0);
        // 1:40 on paper: one metre is 25 mm, 70.87 points
        assert!((scale.y(1.0) - scale.y(0.0) - 70.866).abs() < 0.001);
    }

    #[test]
    fn absurd_depths_have_a_scale_too() {
        let scale = DepthScale::fit([-2147.0, 2147.0].into_iter(), 100.0, 370.0);
        assert!(scale.y(-2147.0) >= 100.0 && scale.y(2147.0) <= 370.0);
    }

    #[test]
    fn sideways_takes_the_largest_step_that_fits() {
        assert_eq!(exaggeration(0.066, 50.0, 70.866), 10.0);
        assert_eq!(exaggeration(0.080, 50.0, 70.866), 8.0);
        assert_eq!(exaggeration(20.0, 50.0, 70.866), 0.025);
        assert_eq!(exaggeration(0.0, 50.0, 70.866), 800.0);
    }
}
