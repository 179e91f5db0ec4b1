//! The hole as a picture needs it: lengths in mm, depths below the datum and positive down, in rig axes.

use super::seen::{Seen, toe};
use crate::facts::SetUp;
use crate::judge::axis::Axis;
use serde::Serialize;
use shared_protocol::record::Plan;
use shared_protocol::state::Belief;
use shared_protocol::units::Micrometres;

/// Points of an axis that a screen can tell apart; a longer one is thinned out.
const POINTS: usize = 200;

/// What is bored of the open hole, from its records, in rig axes and µm.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Bored {
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
        Self { points }
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
    /// Of a plan, what is bored, and what is known at this moment.
    #[must_use]
    pub(super) fn of(plan: &Plan, bored: &Bored, seen: &Seen<'_>) -> Self {
        let below = |depth: Micrometres| mm(depth.minus(plan.hub_above_datum));
        let known = seen.depth_known();
        let outlook = seen.outlook.filter(|_| known);
        // whether anything changes cannot be said while the sensor is silent; out of the ground it is only not asked
        let astray = matches!(seen.status.lean, Belief::Fault | Belief::Stale);
        let lean = seen.lean_unknown().is_none().then(|| [seen.live.forward, seen.live.right].map(|lean| f64::from(lean.lean().0) / 1e3));
        Self {
            planned: mm(plan.depth),
            under: mm(plan.depth_under),
            over: mm(plan.depth_over),
            diameter: mm(plan.diameter),
            limit: f64::from(plan.plumb_limit.0) / 1e3,
            bottom: outlook.map(|outlook| below(outlook.bottom)),
            tip: known.then(|| below(seen.live.depth)),
            lean,
            axis: bored.points.iter().map(|[depth, f, r]| [below(Micrometres(*depth)), f64::from(*f) / 1e3, f64::from(*r) / 1e3]).collect(),
            toe: outlook.map(|o| toe(&o).map(|um| mm(Micrometres(um)))),
            toe_planned: outlook.filter(|_| !astray).map(|o| [mm(o.planned_forward), mm(o.planned_right)]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readout::tests::GOOD;
    use shared_protocol::body::CoarseLean;
    use shared_protocol::message::{Live, Outlook};
    use shared_protocol::state::{SheetUnits, Status};
    use shared_protocol::units::Lean;

    fn picture(status: Status, bored: &Bored) -> Picture {
        let plan = Plan {
            depth: Micrometres::from_mm(3_000),
            hub_above_datum: Micrometres::from_mm(100),
            plumb_limit: Lean(20_000),
            ..Plan::default()
        };
        let live = Live { depth: Micrometres::from_mm(2_100), forward: CoarseLean(1_000), right: CoarseLean(-500), ..Live::default() };
        let (toe_forward, wall_forward) = (Micrometres::from_mm(20), Micrometres::from_mm(10));
        let outlook = Outlook { bottom: Micrometres::from_mm(2_050), toe_forward, wall_forward, ..Outlook::default() };
        let seen = Seen { live, status, outlook: Some(outlook), plan: Some(&plan), units: SheetUnits::Metric, moving: false };
        Picture::of(&plan, bored, &seen)
    }

    /// The axis on record is in the middle of both models: so is the toe, else the hole drawn would have a kink at its bottom.
    #[test]
    fn depths_count_from_the_datum_and_the_toe_is_in_the_middle_of_both_models() {
        let picture = picture(GOOD, &Bored { points: vec![[600_000, 1_000, -2_000]] });
        assert_eq!((picture.bottom, picture.tip, picture.limit), (Some(1_950.0), Some(2_000.0), 20.0));
        assert_eq!((picture.axis, picture.toe, picture.lean), (vec![[500.0, 1.0, -2.0]], Some([15.0, 0.0]), Some([10.0, -5.0])));
    }

    #[test]
    fn what_is_not_known_is_not_drawn() {
        let unreferenced = picture(Status { referenced: false, ..GOOD }, &Bored::default());
        assert_eq!((unreferenced.bottom, unreferenced.tip, unreferenced.toe_planned), (None, None, None));
        let blank = picture(Status { lean: Belief::Blank, ..GOOD }, &Bored::default());
        assert_eq!((blank.lean, blank.tip, blank.toe_planned.is_some()), (None, Some(2_000.0), true));
        for lean in [Belief::Fault, Belief::Stale] {
            assert_eq!(picture(Status { lean, ..GOOD }, &Bored::default()).toe_planned, None, "{lean:?}: where it goes is not known");
        }
    }
}
