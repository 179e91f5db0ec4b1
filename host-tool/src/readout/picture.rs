//! The hole as a picture needs it: lengths in mm, depths below the datum and positive down, in rig axes.

use super::seen::Seen;
use crate::facts::SetUp;
use crate::judge::axis::Axis;
use serde::Serialize;
use shared_protocol::record::Plan;
use shared_protocol::units::Micrometres;

/// Points of an axis that a screen can tell apart; a longer one is thinned out.
const POINTS: usize = 200;

/// What is bored of the open hole, from its records, in rig axes and µm.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Bored {
    /// Guide's height above the hub.
    guide: i32,
    /// Lean where drilling began, millionths: forward, right.
    start: [i32; 2],
    /// Depth below the hub; off the vertical through the hole's start: forward, right.
    points: Vec<[i32; 3]>,
}

#[allow(clippy::cast_possible_truncation)] // `as` saturates, and no hole is 2 km deep
fn millionths(value: f64) -> i32 {
    (value * 1e6).round() as i32
}

impl Bored {
    /// Of a set-up's increments.
    #[must_use]
    pub fn of(setup: &SetUp) -> Self {
        let axis = Axis::in_rig_axes(setup);
        let all: Vec<[i32; 3]> =
            axis.points.iter().map(|p| [millionths(p.depth), millionths(p.offset.ahead), millionths(p.offset.right)]).collect();
        let every = all.len().div_ceil(POINTS).max(1);
        let last = all.len().saturating_sub(1);
        let points = all.into_iter().enumerate().filter(|(n, _)| n % every == 0 || *n == last).map(|(_, point)| point).collect();
        let start = axis.points.first().map_or([0, 0], |p| [millionths(p.lean.ahead), millionths(p.lean.right)]);
        Self { guide: millionths(axis.guide), start, points }
    }
}

/// The picture of the open hole.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Picture {
    /// Planned depth.
    pub planned: f64,
    /// What is accepted short of it.
    pub under: f64,
    /// What is accepted beyond it.
    pub over: f64,
    /// The hub; negative above the datum.
    pub hub: f64,
    /// Of the hole as planned.
    pub diameter: f64,
    /// The most lean over the whole hole, mm/m.
    pub limit: f64,
    /// The deepest that was held.
    pub bottom: Option<f64>,
    /// The tip now.
    pub tip: Option<f64>,
    /// The lean now, mm/m: forward, right.
    pub lean: Option<[f64; 2]>,
    /// The tool as it hangs now, its line at the datum and at the tip: depth, forward, right.
    pub tool: Option<[[f64; 3]; 2]>,
    /// The axis so far: depth, forward, right.
    pub axis: Vec<[f64; 3]>,
    /// Where it ends now: forward, right.
    pub toe: Option<[f64; 2]>,
    /// Where it will end at planned depth if nothing changes: forward, right.
    pub toe_planned: Option<[f64; 2]>,
}

fn mm(length: Micrometres) -> f64 {
    f64::from(length.0) / 1e3
}

impl Picture {
    /// Of a plan, what is bored, and what is known at this moment, if anything is.
    #[must_use]
    pub(super) fn of(plan: &Plan, bored: &Bored, seen: Option<&Seen<'_>>) -> Self {
        let below = |depth: Micrometres| mm(depth.minus(plan.hub_above_datum));
        let known = seen.filter(|seen| seen.depth_known());
        let outlook = known.and_then(|seen| seen.outlook);
        let tip = known.map(|seen| seen.live.depth);
        let lean = seen
            .filter(|seen| seen.lean_unknown().is_none())
            .map(|seen| [seen.live.forward, seen.live.right].map(|lean| f64::from(lean.lean().0) / 1e3));
        // A straight stick that pivots about the guide: at L below the hub it hangs (h + L)·s, less the (h + G)·s₀ of the start.
        let (guide, ground) = (f64::from(bored.guide) / 1e6, mm(plan.hub_above_datum) / 1e3);
        let start = bored.start.map(|lean| f64::from(lean) / 1e3 * (guide + ground));
        let hangs = |lean: [f64; 2], at_mm: f64| {
            let long = guide + ground + at_mm / 1e3;
            [at_mm, lean[0] * long - start[0], lean[1] * long - start[1]]
        };
        Self {
            planned: mm(plan.depth),
            under: mm(plan.depth_under),
            over: mm(plan.depth_over),
            hub: -mm(plan.hub_above_datum),
            diameter: mm(plan.diameter),
            limit: f64::from(plan.plumb_limit.0) / 1e3,
            bottom: outlook.map(|outlook| below(outlook.bottom)),
            tip: tip.map(below),
            lean,
            tool: tip.map(below).zip(lean).map(|(tip, lean)| [hangs(lean, 0.0), hangs(lean, tip)]),
            axis: bored.points.iter().map(|[depth, f, r]| [below(Micrometres(*depth)), f64::from(*f) / 1e3, f64::from(*r) / 1e3]).collect(),
            toe: outlook.map(|o| [mm(o.toe_forward), mm(o.toe_right)]),
            toe_planned: outlook.map(|o| [mm(o.planned_forward), mm(o.planned_right)]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readout::tests::GOOD;
    use shared_protocol::body::CoarseLean;
    use shared_protocol::message::{Live, Outlook};
    use shared_protocol::state::{Belief, SheetUnits, Status};
    use shared_protocol::units::Lean;

    fn picture(status: Status, bored: &Bored) -> Picture {
        let plan = Plan {
            depth: Micrometres::from_mm(3_000),
            hub_above_datum: Micrometres::from_mm(100),
            plumb_limit: Lean(20_000),
            ..Plan::default()
        };
        let live = Live { depth: Micrometres::from_mm(2_100), forward: CoarseLean(1_000), right: CoarseLean(-500), ..Live::default() };
        let outlook = Outlook { bottom: Micrometres::from_mm(2_050), toe_forward: Micrometres::from_mm(20), ..Outlook::default() };
        let seen = Seen { live, status, outlook: Some(outlook), plan: Some(&plan), units: SheetUnits::Metric };
        Picture::of(&plan, bored, Some(&seen))
    }

    /// Guide 1.4 m over the hub, which is 0.1 m over the ground: from 1.5 m over the ground the stick hangs; with 10 mm/m it is
    /// 15 mm forward at the ground and 35 mm at 2 m, less the 1.5 m × 4 mm/m of the start.
    #[test]
    fn the_tool_hangs_from_the_guide() {
        let bored = Bored { guide: 1_400_000, start: [4_000, 0], points: vec![[600_000, 1_000, -2_000]] };
        let picture = picture(GOOD, &bored);
        assert_eq!((picture.hub, picture.bottom, picture.tip, picture.limit), (-100.0, Some(1_950.0), Some(2_000.0), 20.0));
        let [top, toe] = picture.tool.unwrap();
        for (got, want) in top.into_iter().chain(toe).zip([0.0, 9.0, -7.5, 2_000.0, 29.0, -17.5]) {
            assert!((got - want).abs() < 1e-9, "{top:?} {toe:?}");
        }
        assert_eq!((picture.axis, picture.toe), (vec![[500.0, 1.0, -2.0]], Some([20.0, 0.0])));
    }

    #[test]
    fn what_is_not_known_is_not_drawn() {
        let unreferenced = picture(Status { referenced: false, ..GOOD }, &Bored::default());
        assert_eq!((unreferenced.bottom, unreferenced.tip, unreferenced.tool, unreferenced.toe_planned), (None, None, None, None));
        let blank = picture(Status { lean: Belief::Blank, ..GOOD }, &Bored::default());
        assert_eq!((blank.lean, blank.tool, blank.tip), (None, None, Some(2_000.0)));
    }
}
