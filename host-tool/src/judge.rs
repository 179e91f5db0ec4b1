//! What a set-up's facts mean against its plan, in line axes and below the sheet's datum.
//!
//! Design: a specific-force component over its norm is the sine of the lean, so offset = length × lean.
//! The axis is the *stick* model: a straight tool that pivots about the mast's guide, read from above,
//! toe(L) = h·(s − s₀) + L·s, with h the guide's height above the hub and s₀ the lean where drilling began.

use crate::facts::{DigestState, SetUp};
use shared_protocol::axis::stick;
use shared_protocol::record::{Increment, Plan};
use shared_protocol::state::{Check, ReferenceState};
use shared_protocol::units::{CentiDegrees, Lean, Micrometres, RigAxes};

/// A pair in line axes, seen looking towards higher structure numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineAxes {
    /// Towards higher structure numbers.
    pub ahead: f64,
    /// To the right of someone looking ahead.
    pub right: f64,
}

impl LineAxes {
    /// Its size whichever way it goes.
    #[must_use]
    pub fn magnitude(self) -> f64 {
        self.ahead.hypot(self.right)
    }
}

/// Turns rig axes into line axes by the heading: clockwise from ahead on line to the rig's forward direction.
#[must_use]
pub fn to_line(forward: f64, right: f64, heading: CentiDegrees) -> LineAxes {
    let (sin, cos) = (f64::from(heading.0) / 100.0).to_radians().sin_cos();
    LineAxes { ahead: forward * cos - right * sin, right: forward * sin + right * cos }
}

/// One point of the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisPoint {
    /// Below the hub, metres.
    pub depth: f64,
    /// Off the vertical through the hole's start, metres.
    pub offset: LineAxes,
    /// Lean of the tool there, metres per metre.
    pub lean: LineAxes,
}

/// How a figure stands to its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Measured within the limit.
    Within,
    /// Measured outside the limit.
    Outside,
    /// Not measured, or not to be believed.
    Unknown,
}

/// A set-up judged.
#[derive(Clone, Debug)]
pub struct Judged {
    /// Depth below the datum, metres; `None` where depth was not tied to the hub at the end.
    pub depth: Option<f64>,
    /// Planned depth below the datum, metres.
    pub planned: f64,
    /// Accepted range below the datum, metres.
    pub accepted: (f64, f64),
    /// Depth against that range.
    pub depth_standing: Standing,
    /// The axis from the top down; empty where no increment was recorded.
    pub axis: Vec<AxisPoint>,
    /// Toe off the vertical through the hole's start, metres.
    pub toe: Option<LineAxes>,
    /// Toe over depth, metres per metre.
    pub lean: Option<LineAxes>,
    /// Mean of the increments' leans, weighted by depth, metres per metre.
    pub mean_lean: Option<LineAxes>,
    /// The most lean accepted over the whole hole, metres per metre.
    pub lean_limit: f64,
    /// Overall lean against that limit.
    pub lean_standing: Standing,
    /// The largest misclosure on the hub, metres.
    pub misclosure: Option<f64>,
    /// Why figures may be worth less, in plain words.
    pub reservations: Vec<String>,
}

/// Metres from micrometres.
#[must_use]
pub fn metres(length: Micrometres) -> f64 {
    f64::from(length.0) / 1e6
}

/// Judges a set-up against its plan.
#[must_use]
pub fn judge(setup: &SetUp) -> Judged {
    let plan = &setup.opened.body.plan;
    let planned = metres(plan.depth);
    let accepted = (planned - metres(plan.depth_under), planned + metres(plan.depth_over));
    let bottom = setup.closed.as_ref().map(|c| c.body.bottom).or_else(|| setup.increments.last().map(|i| i.body.depth));
    let believed = tied(setup);
    let depth = bottom.filter(|_| believed).map(|b| metres(b.minus(plan.hub_above_datum)));
    let axis = axis(setup);
    let toe = axis.last().map(|p| p.offset);
    let length = axis.last().map_or(0.0, |p| p.depth);
    let lean = toe.filter(|_| length > 0.0).map(|t| LineAxes { ahead: t.ahead / length, right: t.right / length });
    let lean_limit = f64::from(plan.plumb_limit.0) / 1e6;
    Judged {
        depth,
        planned,
        accepted,
        // an open hole that is not yet deep enough is not outside: it is not finished
        depth_standing: standing(
            depth.filter(|d| setup.closed.is_some() || *d > accepted.1).map(|d| (accepted.0..=accepted.1).contains(&d)),
        ),
        toe,
        lean,
        mean_lean: mean_lean(&axis),
        lean_limit,
        lean_standing: standing(lean.filter(|_| believed).map(|l| l.magnitude() <= lean_limit)),
        misclosure: setup
            .hubs
            .iter()
            .filter(|h| h.body.first == 0)
            .map(|h| metres(h.body.misclosure))
            .max_by(|a, b| a.abs().total_cmp(&b.abs())),
        reservations: reservations(setup, believed),
        axis,
    }
}

fn standing(within: Option<bool>) -> Standing {
    match within {
        Some(true) => Standing::Within,
        Some(false) => Standing::Outside,
        None => Standing::Unknown,
    }
}

/// Whether depth was tied to the hub at the end of the set-up.
fn tied(setup: &SetUp) -> bool {
    setup
        .changes
        .iter()
        .rev()
        .find(|c| Check::from_raw(c.body.check) == Some(Check::Reference))
        .is_some_and(|c| ReferenceState::from_raw(c.body.state) == Some(ReferenceState::Hub))
}

fn lean_of(increment: &Increment) -> RigAxes<Lean> {
    RigAxes { forward: increment.forward.lean(), right: increment.right.lean() }
}

fn axis(setup: &SetUp) -> Vec<AxisPoint> {
    let measured = || setup.increments.iter().filter(|i| i.body.samples > 0);
    let Some(start) = measured().next().map(|i| lean_of(&i.body)) else { return Vec::new() };
    let guide = setup.identity.as_ref().map_or(Micrometres(0), |i| i.guide_height);
    let heading = setup.opened.body.plan.heading;
    measured()
        .map(|i| {
            let lean = lean_of(&i.body);
            let offset = stick(guide, start, lean, i.body.depth);
            AxisPoint {
                depth: metres(i.body.depth),
                offset: to_line(metres(offset.forward), metres(offset.right), heading),
                lean: to_line(f64::from(lean.forward.0) / 1e6, f64::from(lean.right.0) / 1e6, heading),
            }
        })
        .collect()
}

fn mean_lean(axis: &[AxisPoint]) -> Option<LineAxes> {
    let (mut sum, mut length, mut above) = (LineAxes::default(), 0.0, 0.0);
    for point in axis {
        let step = (point.depth - above).max(0.0);
        above = point.depth.max(above);
        sum.ahead += point.lean.ahead * step;
        sum.right += point.lean.right * step;
        length += step;
    }
    (length > 0.0).then(|| LineAxes { ahead: sum.ahead / length, right: sum.right / length })
}

fn reservations(setup: &SetUp, believed: bool) -> Vec<String> {
    let mut out = Vec::new();
    let mut say = |when: bool, text: String| {
        if when {
            out.push(text);
        }
    };
    let lost: u32 = setup.missing.iter().map(crate::facts::Missing::count).sum();
    let doubtful = setup.increments.iter().filter(|i| i.body.quality != 0).count();
    let faults = setup.faults.iter().filter(|f| f.body.began == 1).count();
    say(setup.closed.is_none(), "The hole was not closed: figures are as of the last record.".to_owned());
    say(!believed, "Depth was not tied to the hub at the end: depth not known.".to_owned());
    say(setup.identity.is_none(), "The record of the rig and its instruments is missing.".to_owned());
    say(lost > 0, format!("{lost} records are missing; see gaps."));
    say(setup.digest == DigestState::Differs, "The rig's digest does not fit the records in hand.".to_owned());
    say(!setup.restarts.is_empty(), format!("The rig restarted {} in this hole.", times(setup.restarts.len())));
    say(faults > 0, format!("A sensor was at fault {}; see the list.", times(faults)));
    say(doubtful > 0, format!("{doubtful} of {} increments carry a remark on quality.", setup.increments.len()));
    say(setup.malformed + setup.unknown > 0, format!("{} records could not be read by this version.", setup.malformed + setup.unknown));
    out
}

fn times(count: usize) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        more => format!("{more} times"),
    }
}

/// The name of a hole as people say it: structure, leg, attempt.
#[must_use]
pub fn hole_name(plan: &Plan) -> String {
    let leg = match shared_protocol::state::Leg::from_raw(plan.leg) {
        Some(shared_protocol::state::Leg::Single) => String::new(),
        Some(shared_protocol::state::Leg::Left) => " left leg".to_owned(),
        Some(shared_protocol::state::Leg::Middle) => " middle leg".to_owned(),
        Some(shared_protocol::state::Leg::Right) => " right leg".to_owned(),
        None => format!(" leg {}", plan.leg),
    };
    let attempt = if plan.attempt > 1 { format!(", attempt {}", plan.attempt) } else { String::new() };
    format!("{}{leg}{attempt}", plan.structure)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sign vector of the design: +12 mm/m in each of the rig's directions, at each of four headings.
    #[test]
    fn rig_axes_turn_into_line_axes_for_four_directions_and_headings() {
        // heading: forward is ahead, right, back, left; (forward, right) → (ahead, right), by geometry
        let rows = [
            (0, [(12.0, 0.0), (0.0, 12.0), (-12.0, 0.0), (0.0, -12.0)]),
            (9_000, [(0.0, 12.0), (-12.0, 0.0), (0.0, -12.0), (12.0, 0.0)]),
            (18_000, [(-12.0, 0.0), (0.0, -12.0), (12.0, 0.0), (0.0, 12.0)]),
            (27_000, [(0.0, -12.0), (12.0, 0.0), (0.0, 12.0), (-12.0, 0.0)]),
        ];
        let directions = [(12.0, 0.0), (0.0, 12.0), (-12.0, 0.0), (0.0, -12.0)];
        for (heading, want) in rows {
            for ((forward, right), (ahead, to_right)) in directions.into_iter().zip(want) {
                let got = to_line(forward, right, CentiDegrees(heading));
                assert!((got.ahead - ahead).abs() < 1e-9 && (got.right - to_right).abs() < 1e-9, "{heading} {forward} {right}: {got:?}");
            }
        }
    }
}
