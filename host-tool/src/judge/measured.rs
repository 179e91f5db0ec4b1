//! What people measured in a finished hole by tape and plumb line, beside what the rig measured.
//!
//! Soundings govern depth where there are any: they are of the floor after clean-out, the rig's figure is of the tool.

use super::axes::LineAxes;
use super::axis::{Axis, metres};
use super::budget::{Allowances, Along, Budget, Row, Unit, circle_at};
use super::freedom::{CIRCLE, effective, interval};
use super::spread::Shape;
use super::statement::Figure;
use crate::facts::SetUp;

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
    /// The rig's axis at that depth; `None` where it does not reach there.
    pub axis: Option<Beside>,
    /// How far the rig's axis is off it at that depth, metres; `None` where the axis does not reach there.
    pub off_axis: Option<f64>,
}

/// The rig's axis beside a hand plumb.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// Off the vertical through the hole's start, line axes, metres.
    pub offset: LineAxes,
    /// Radius of its 95 % circle by the budget of a bore to that depth, metres.
    pub radius: f64,
}

impl Plumbed {
    /// Whether the difference is within both uncertainties together, the root of the sum of their squares; `None` where
    /// the axis does not reach there. It is the E_n number of ISO 13528:2022 (from memory) held against 1.
    #[must_use]
    pub fn agrees(&self) -> Option<bool> {
        self.axis.zip(self.off_axis).map(|(axis, off)| off <= self.radius.hypot(axis.radius))
    }
}

/// What a normal error exceeds once in fifty times, in standard deviations; a floor that is within bounds does so less often.
const ONCE_IN_50: f64 = 2.326;
/// Farthest below the rig's own bottom that its axis is carried on to meet a hand plumb, metres: a tape may read a
/// little deeper than the rig. Common practice, no source.
const BEYOND: f64 = 0.1;

/// Depth by soundings, metres below the datum; `None` where there are none.
///
/// Their mean: it is the floor's mean level that a butt is set on. [`soundings_budget`] says what it is worth.
#[must_use]
pub fn sounded(measurements: &[Measurement]) -> Option<Figure> {
    Some(Figure::of(mean(&soundings(measurements))?, soundings_budget(measurements)?.expanded))
}

/// Whether soundings and the rig are so far apart, metres, as both standard uncertainties together make likely once in fifty
/// times: one of them is wrong. Of few soundings it is likelier than that, since the scale is the normal distribution's: a
/// question asked too often costs a look, one not asked a hole. The rig's figure is of the floor, like the soundings.
#[must_use]
pub fn contradict(apart: f64, by_tape: &Budget, by_rig: &Budget) -> bool {
    apart.abs() > ONCE_IN_50 * by_tape.standard.hypot(by_rig.standard)
}

/// What depth by soundings is worth; `None` where there are none.
///
/// After JCGM 100:2008, 5.1.2: the scatter of the soundings over √n (4.2.3, the floor is not flat), known to n − 1 degrees
/// of freedom, and the tape's own, which is stated and the same in all, the largest that was entered.
#[must_use]
pub fn soundings_budget(measurements: &[Measurement]) -> Option<Budget> {
    let depths = soundings(measurements);
    let middle = mean(&depths)?;
    let tape = measurements.iter().filter(|m| m.kind == Kind::Sounding).map(|m| m.standard).fold(0.0, f64::max);
    let row = |source, basis, deviation, freedom, along| Row {
        source,
        basis,
        value: Shape::Normal(deviation),
        freedom,
        correction: None,
        unit: Unit::Metres,
        sensitivity: 1.0,
        along,
    };
    let mut rows = vec![row("tape, line and reading", "as entered".to_owned(), tape, None, Along::Same)];
    let n = count(depths.len());
    if n > 1.0 {
        let squares: f64 = depths.iter().map(|depth| (depth - middle).powi(2)).sum();
        let scatter = (squares / (n - 1.0) / n).sqrt();
        rows.push(row("floor that is not flat", format!("scatter of {n} over √{n}"), scatter, Some(n - 1.0), Along::Varies));
    }
    let standard = rows.iter().map(|row| row.contributes().standard()).fold(0.0, f64::hypot);
    let freedom = effective(&rows, standard);
    let expanded = interval(freedom) * standard;
    Some(Budget { rows, standard, expanded, guard: expanded, freedom, dominated_by: None })
}

fn soundings(measurements: &[Measurement]) -> Vec<f64> {
    measurements.iter().filter(|m| m.kind == Kind::Sounding).map(|m| m.depth).collect()
}

fn mean(depths: &[f64]) -> Option<f64> {
    (!depths.is_empty()).then(|| depths.iter().sum::<f64>() / count(depths.len()))
}

fn count(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}

/// Every hand plumb beside the axis of a bore whose bottom is at `bottom` below the hub, metres.
#[must_use]
pub fn plumbed(setup: &SetUp, axis: &Axis, bottom: Option<f64>) -> Vec<Plumbed> {
    let hub = metres(setup.opened.body.plan.hub_above_datum);
    let one = |m: &Measurement| {
        let below_hub = m.depth + hub;
        let reaches = bottom.is_some_and(|bottom| below_hub <= bottom + BEYOND) && axis.length(below_hub) > 0.0;
        let axis = Some(axis.down_to(below_hub)).filter(|_| reaches).and_then(|axis| beside(setup, &axis, below_hub));
        let off_axis = axis.map(|axis| axis.offset.minus(m.offset).magnitude());
        Plumbed { depth: m.depth, offset: m.offset, radius: CIRCLE * m.standard, axis, off_axis }
    };
    setup.measurements.iter().filter(|m| m.kind == Kind::HandPlumb).map(one).collect()
}

/// Why hand plumbs bar lean and toe from being shown: one of two measurements that do not agree is wrong, and nobody knows
/// which. `None` where all agree, or meet no axis.
#[must_use]
pub fn not_plumbed(plumbed: &[Plumbed]) -> Option<String> {
    let against = plumbed.iter().filter(|p| p.agrees() == Some(false)).count();
    let who = match (against, plumbed.len()) {
        (0, _) => return None,
        (1, 1) => "the hand plumb does".to_owned(),
        (1, all) => format!("one of {all} hand plumbs does"),
        (some, all) => format!("{some} of {all} hand plumbs do"),
    };
    Some(format!("{who} not agree with the rig's axis, so plumb the hole again"))
}

fn beside(setup: &SetUp, axis: &Axis, below_hub: f64) -> Option<Beside> {
    let offset = axis.at(below_hub)?.offset;
    Some(Beside { offset, radius: circle_at(setup, axis, below_hub, &Allowances::default()) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::read;
    use crate::judge::budget::budgets;
    use shared_protocol::assemble::slots;
    use shared_protocol::body::CoarseLean;
    use shared_protocol::record::{Increment, Opened, Record};
    use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
    use shared_protocol::units::{Lean, Micrometres};

    fn sounding(depth: f64, standard: f64) -> Measurement {
        let offset = LineAxes { ahead: 0.0, right: 0.0 };
        Measurement { author: "Tester".to_owned(), unix_ms: 0, kind: Kind::Sounding, depth, offset, standard, remark: String::new() }
    }

    #[test]
    fn one_sounding_is_worth_its_tape() {
        assert_eq!(sounded(&[]), None);
        assert_eq!(sounded(&[Measurement { kind: Kind::HandPlumb, ..sounding(3.0, 0.005) }]), None);
        assert_eq!(sounded(&[sounding(3.1, 0.005)]), Some(Figure::of(3.1, 1.96 * 0.005)));
    }

    /// By hand: 3.20, 3.24 and 3.22 m have the mean 3.22 and the deviation 20 mm, 11.547 mm of the mean, 2 degrees of freedom;
    /// with 5 mm of tape 12.583 mm and 2 × (12.583 / 11.547)⁴ = 2.8203 degrees, whose t is 3.3003 (scipy 1.17.1); ±41.53 mm.
    #[test]
    fn a_floor_that_is_not_flat_makes_its_mean_worth_less() {
        let figure = sounded(&[sounding(3.20, 0.003), sounding(3.24, 0.005), sounding(3.22, 0.004)]).unwrap();
        assert!((figure.value - 3.22).abs() < 1e-12 && (figure.expanded - 0.041_528).abs() < 1e-6, "{figure:?}");
    }

    #[test]
    fn a_rig_that_the_tape_contradicts() {
        // 15 and 20 mm are 25 together, and 58.15 mm once in fifty times
        let budget = |standard| Budget { standard, ..soundings_budget(&[sounding(3.0, 0.005)]).unwrap() };
        let apart = |metres| contradict(metres, &budget(0.015), &budget(0.020));
        assert!(!apart(0.058) && !apart(-0.058) && apart(0.059) && apart(-0.059));
    }

    /// A set-up with its hub at the datum, an increment each 100 mm down to 3 m, leaning 2 mm/m more ahead each metre.
    fn setup(measurements: Vec<Measurement>) -> SetUp {
        let mut all: Vec<Slot> = Vec::new();
        let mut add = |record: &Record| {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = record.encode(&mut body).unwrap();
            let next = all.last().map_or(0, |slot| slot.sequence() + 1);
            all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
        };
        add(&Record::Opened(Opened::default()));
        for n in 1..=30 {
            let forward = CoarseLean::from_lean(Lean(200 * n));
            add(&Record::Increment(Increment { depth: Micrometres::from_mm(100 * n), forward, samples: 20, ..Increment::default() }));
        }
        SetUp { measurements, ..read(&all).remove(0) }
    }

    fn plumbs(depths: &[f64]) -> Vec<Plumbed> {
        let setup = setup(depths.iter().map(|depth| Measurement { kind: Kind::HandPlumb, ..sounding(*depth, 0.005) }).collect());
        plumbed(&setup, &Axis::of(&setup), Some(3.0))
    }

    /// By hand, no guide: at 1 m the mean of the last four leans is 1.7 mm/m and of the first four 0.5 mm/m. Stick: 1.7 mm
    /// less nothing, since the hub is at the ground and the guide at the hub. Wall-guided: 0.1 m × (0.2 + … + 2.0) mm/m is
    /// 1.1 mm. The middle is 1.4 mm ahead. Carried back from the bottom it would be 6.9 − 2 × 5.7, 4.5 mm back.
    #[test]
    fn a_hand_plumb_meets_the_axis_of_its_own_depth() {
        let at = |depth: f64| plumbs(&[depth])[0];
        let one = at(1.0).axis.unwrap();
        assert!((one.offset.ahead - 0.001_4).abs() < 2e-5 && one.offset.right.abs() < 1e-9, "{one:?}");
        assert_eq!(at(1.0).off_axis, Some(one.offset.magnitude()));
        let setup = setup(Vec::new());
        let toe = budgets(&setup, &Axis::of(&setup), 3.0, &Allowances::default()).place.expanded;
        assert_eq!(at(3.0).axis.unwrap().radius, toe);
        assert!(one.radius < 0.5 * toe, "a third of the arm: {} of {toe}", one.radius);
    }

    #[test]
    fn no_axis_is_made_up_above_the_ground_or_below_the_bottom() {
        let reaches: Vec<bool> = plumbs(&[-0.1, 0.0, 0.05, 3.09, 3.11]).iter().map(|p| p.axis.is_some() && p.agrees().is_some()).collect();
        assert_eq!(reaches, [false, false, true, true, false]);
    }

    /// 3, 4 and 5.
    #[test]
    fn a_plumb_agrees_within_both_uncertainties_together() {
        let offset = LineAxes { ahead: 0.0, right: 0.0 };
        let agrees =
            |off| Plumbed { depth: 1.0, offset, radius: 3.0, axis: Some(Beside { offset, radius: 4.0 }), off_axis: Some(off) }.agrees();
        assert_eq!((agrees(5.0), agrees(5.001)), (Some(true), Some(false)));
    }

    /// The axis lies 1.4 mm ahead at 1 m; a bob that hung at 0.5 m off it is beyond any budget.
    #[test]
    fn only_a_plumb_that_does_not_agree_bars_lean() {
        let plumb = |depth, ahead| Measurement { kind: Kind::HandPlumb, offset: LineAxes { ahead, right: 0.0 }, ..sounding(depth, 0.005) };
        let barred = |plumbs: &[(f64, f64)]| {
            let setup = setup(plumbs.iter().map(|(depth, ahead)| plumb(*depth, *ahead)).collect());
            crate::judge::bars(&setup)
        };
        assert_eq!(barred(&[(1.0, 0.0)]), [""; 0]);
        assert_eq!(barred(&[(1.0, 0.0), (3.5, 0.5)]), [""; 0], "where there is no axis there is nothing to disagree with");
        assert_eq!(barred(&[(1.0, 0.5)]), ["the hand plumb does not agree with the rig's axis, so plumb the hole again"]);
        assert_eq!(barred(&[(1.0, 0.0), (2.0, 0.5)]), ["one of 2 hand plumbs does not agree with the rig's axis, so plumb the hole again"]);
        assert_eq!(
            barred(&[(1.0, 0.5), (2.0, 0.5), (3.0, 0.0)]),
            ["2 of 3 hand plumbs do not agree with the rig's axis, so plumb the hole again"]
        );
    }

    /// The 95 % quantiles of χ² with one and with two degrees of freedom are 3.841 and 5.991 (statistical tables).
    #[test]
    fn factors_are_those_of_the_tables() {
        assert!((interval(None).powi(2) - 3.841).abs() < 0.001 && (CIRCLE * CIRCLE - 5.991).abs() < 0.001);
        assert!((ONCE_IN_50 * ONCE_IN_50 - 5.412).abs() < 0.002); // 98 %, one degree of freedom
    }
}
