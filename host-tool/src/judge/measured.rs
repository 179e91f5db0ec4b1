//! What people measured in a finished hole by tape and plumb line, beside what the rig measured.
//!
//! Soundings govern depth where there are any: they are of the floor after clean-out, the rig's figure is of the tool.

use super::axes::LineAxes;
use super::axis::Axis;
use super::statement::Figure;
use shared_protocol::record::Plan;

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Depth of the floor by tape, from a straightedge or string at one height.
    Sounding,
    /// Where a plumb bob hangs at a depth, off the hole's start.
    HandPlumb,
}

/// A measurement as somebody entered it.
#[derive(Clone, Debug, PartialEq)]
pub struct Measurement {
    /// Who measured.
    pub author: String,
    /// When it was entered, milliseconds since 1970-01-01T00:00Z.
    pub unix_ms: i64,
    /// What.
    pub kind: Kind,
    /// Depth below the sheet's datum, metres.
    pub depth: f64,
    /// Where in the hole (a sounding), or where the bore's middle lies at that depth (a hand plumb), off the hole's
    /// start, line axes, metres.
    pub offset: LineAxes,
    /// Standard uncertainty on each axis that it measures, metres.
    pub standard: f64,
    /// Whatever else was said.
    pub remark: String,
}

/// A hand plumb against the axis that the rig inferred.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plumbed {
    /// Depth below the datum, metres.
    pub depth: f64,
    /// Where the bob hung, metres.
    pub offset: LineAxes,
    /// Radius of its own 95 % circle, metres.
    pub radius: f64,
    /// How far the rig's axis is off it at that depth, metres; `None` where the axis does not reach there.
    pub off_axis: Option<f64>,
}

/// Radius of a circle that holds 95 % of a normal error on two axes, in standard deviations: √(−2 ln 0.05).
const CIRCLE: f64 = 2.447_7;
/// Half-width of an interval that holds 95 % of a normal error, in standard deviations.
const INTERVAL: f64 = 1.96;

/// What a normal error exceeds once in a hundred times, in standard deviations.
const ONCE_IN_100: f64 = 2.576;

/// Depth by soundings, metres below the datum; `None` where there are none.
///
/// Their mean: it is the floor's mean level that a butt is set on. Standard uncertainty after JCGM 100:2008, 5.1.2: the
/// scatter of the soundings over √n (4.2.3, the floor is not flat), and the tape's own, which is the same in all, the
/// largest that was entered.
#[must_use]
pub fn sounded(measurements: &[Measurement]) -> Option<Figure> {
    let soundings: Vec<&Measurement> = measurements.iter().filter(|m| m.kind == Kind::Sounding).collect();
    let n = f64::from(u32::try_from(soundings.len()).ok().filter(|n| *n > 0)?);
    let mean = soundings.iter().map(|m| m.depth).sum::<f64>() / n;
    let squares: f64 = soundings.iter().map(|m| (m.depth - mean).powi(2)).sum();
    let scatter = if n > 1.0 { (squares / (n - 1.0) / n).sqrt() } else { 0.0 };
    let tape = soundings.iter().map(|m| m.standard).fold(0.0, f64::max);
    Some(Figure { value: mean, expanded: INTERVAL * scatter.hypot(tape) })
}

/// Whether soundings and the rig differ by more than both uncertainties together make likely once in a hundred times:
/// one of them is wrong. The rig's figure is of the floor, like the soundings.
#[must_use]
pub fn contradict(sounded: Figure, by_rig: Figure) -> bool {
    let apart = (sounded.value - by_rig.value).abs();
    apart > ONCE_IN_100 / INTERVAL * sounded.expanded.hypot(by_rig.expanded)
}

/// Every hand plumb beside the axis.
#[must_use]
pub fn plumbed(measurements: &[Measurement], axis: &Axis, plan: &Plan) -> Vec<Plumbed> {
    let beside = |m: &Measurement| Plumbed {
        depth: m.depth,
        offset: m.offset,
        radius: CIRCLE * m.standard,
        off_axis: axis.at(m.depth + super::metres(plan.hub_above_datum)).map(|point| point.offset.minus(m.offset).magnitude()),
    };
    measurements.iter().filter(|m| m.kind == Kind::HandPlumb).map(beside).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) fn sounding(depth: f64, standard: f64) -> Measurement {
        let offset = LineAxes { ahead: 0.0, right: 0.0 };
        Measurement { author: "Tester".to_owned(), unix_ms: 0, kind: Kind::Sounding, depth, offset, standard, remark: String::new() }
    }

    #[test]
    fn one_sounding_is_worth_its_tape() {
        assert_eq!(sounded(&[]), None);
        assert_eq!(sounded(&[Measurement { kind: Kind::HandPlumb, ..sounding(3.0, 0.005) }]), None);
        assert_eq!(sounded(&[sounding(3.1, 0.005)]), Some(Figure { value: 3.1, expanded: 1.96 * 0.005 }));
    }

    /// By hand: 3.20, 3.24 and 3.22 m have the mean 3.22 and the deviation 20 mm, 11.547 mm of the mean; with 5 mm of tape
    /// 12.583 mm; ±24.66 mm.
    #[test]
    fn a_floor_that_is_not_flat_makes_its_mean_worth_less() {
        let figure = sounded(&[sounding(3.20, 0.003), sounding(3.24, 0.005), sounding(3.22, 0.004)]).unwrap();
        assert!((figure.value - 3.22).abs() < 1e-12 && (figure.expanded - 0.024_663).abs() < 1e-6, "{figure:?}");
    }

    #[test]
    fn a_rig_that_the_tape_contradicts() {
        let figure = |value, expanded| Figure { value, expanded };
        // ±30 and ±40 mm at 95 % are 50 together, and 65.7 once in a hundred times
        assert!(!contradict(figure(3.0, 0.03), figure(3.065, 0.04)) && contradict(figure(3.0, 0.03), figure(2.934, 0.04)));
    }

    /// The 95 % quantiles of χ² with one and with two degrees of freedom are 3.841 and 5.991 (statistical tables).
    #[test]
    fn factors_are_those_of_the_tables() {
        assert!((INTERVAL * INTERVAL - 3.841).abs() < 0.001 && (CIRCLE * CIRCLE - 5.991).abs() < 0.001);
        assert!((ONCE_IN_100 * ONCE_IN_100 - 6.635).abs() < 0.001); // 99 %, one degree of freedom
    }
}
