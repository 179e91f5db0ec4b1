//! What is said of a hole whose truth lies exactly on a limit, and of one that is inside by twice its uncertainty.

use super::drill::Drilled;
use super::score::Scored;
use host_tool::judge::limits::{Limit, LimitSet, Measurand};
use host_tool::judge::{Guarded, judge_by};

/// "Shown within" of a truth on the limit may be said in this share of the holes at most.
pub const AT_LIMIT_MOST: f64 = 0.03;
/// "Shown within" of a truth inside by twice the uncertainty must be said in this share at least.
pub const POWER_LEAST: f64 = 0.95;

/// Which side of which figure a limit is put on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The least depth.
    DepthLeast,
    /// The most depth.
    DepthMost,
    /// The most overall lean.
    LeanMost,
}

/// Every side with its name.
pub const SIDES: [(Side, &str); 3] =
    [(Side::DepthLeast, "least depth"), (Side::DepthMost, "most depth"), (Side::LeanMost, "most overall lean")];

/// How far a limit lies beyond the truth, expanded uncertainties: on it, and inside by two.
const BEYOND: [f64; 2] = [0.0, 2.0];

/// Whether "shown within" is said: by side, with the truth on the limit and inside by two expanded uncertainties.
#[must_use]
pub fn shown(hole: &Drilled, scored: &Scored) -> [[bool; 2]; 3] {
    let limits = SIDES.iter().flat_map(|(side, _)| BEYOND.map(|beyond| limit(scored, *side, beyond))).collect();
    let judged = judge_by(&hole.setup, &LimitSet { limits, governs: None });
    let own = judged.verdicts.len() - SIDES.len() * BEYOND.len();
    let said = |side: usize, beyond: usize| judged.verdicts[own + side * BEYOND.len() + beyond].guarded == Guarded::ShownWithin;
    [0, 1, 2].map(|side| [0, 1].map(|beyond| said(side, beyond)))
}

fn limit(scored: &Scored, side: Side, beyond: f64) -> Limit {
    let figure = if side == Side::LeanMost { 1 } else { 0 };
    let (truth, room) = (scored.truth[figure], beyond * scored.off[figure].1);
    let (measurand, least, most) = match side {
        Side::DepthLeast => (Measurand::Depth, Some(truth - room), f64::INFINITY),
        Side::DepthMost => (Measurand::Depth, None, truth + room),
        Side::LeanMost => (Measurand::OverallLean, None, truth + room),
    };
    Limit { measurand, least, most, written: String::new(), source: "put on the truth".to_owned() }
}

/// Whether a truth lies within three expanded uncertainties of a limit of its own plan.
#[must_use]
pub fn near_a_limit(scored: &Scored) -> bool {
    let near = |limit: f64, figure: usize| (scored.truth[figure] - limit).abs() <= 3.0 * scored.off[figure].1;
    near(scored.judged.accepted.0, 0) || near(scored.judged.accepted.1, 0) || near(scored.judged.lean_limit, 1)
}
