//! Depth and lean against plan and limits, with hysteresis so that a state that flickers is not a record.

use shared_protocol::record::Plan;
use shared_protocol::state::{DepthState, PlumbState};
use shared_protocol::units::{Lean, Micrometres, Millis, RigAxes};

/// Distance to go at which the operator is warned.
const COMING_UP: Micrometres = Micrometres::from_mm(300);
/// Lean is judged over the hole from this depth on; above it a millimetre of play would decide.
const JUDGED_FROM: Micrometres = Micrometres::from_mm(300);
/// A state must stand this long before it is one.
const STANDS_MS: u32 = 1_000;

/// A state that changes only after its successor has stood for a while.
#[derive(Clone, Copy, Debug)]
struct Steady<S> {
    state: S,
    next: Option<(S, Millis)>,
}

impl<S: Copy + PartialEq> Steady<S> {
    const fn new(state: S) -> Self {
        Self { state, next: None }
    }

    /// Takes what the state would be now; returns the new state when it has stood long enough.
    fn take(&mut self, seen: S, now: Millis) -> Option<S> {
        if seen == self.state {
            self.next = None;
            return None;
        }
        match self.next {
            Some((next, since)) if next == seen => {
                if now.since(since) < STANDS_MS {
                    return None;
                }
                self.next = None;
                self.state = seen;
                Some(seen)
            }
            _ => {
                self.next = Some((seen, now));
                None
            }
        }
    }
}

/// What a check decided, and by which figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decided<S> {
    /// The new state.
    pub state: S,
    /// Micrometres to go for depth, parts per million for plumb.
    pub figure: i32,
}

/// The checks of one set-up.
#[derive(Debug)]
pub struct Checks {
    target: Micrometres,
    over: Micrometres,
    limit: Lean,
    depth: Steady<DepthState>,
    plumb: Steady<PlumbState>,
}

impl Checks {
    /// Checks against a plan; the target below the hub is the planned depth and the hub's height on top of it.
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        Self {
            target: plan.depth.plus(plan.hub_above_datum),
            over: plan.depth_over,
            limit: plan.plumb_limit,
            depth: Steady::new(DepthState::Drilling),
            plumb: Steady::new(PlumbState::Unjudged),
        }
    }

    /// Planned depth below the hub.
    #[must_use]
    pub const fn target(&self) -> Micrometres {
        self.target
    }

    /// The states now.
    #[must_use]
    pub const fn states(&self) -> (DepthState, PlumbState) {
        (self.depth.state, self.plumb.state)
    }

    /// Judges the bottom, below the hub.
    pub fn judge_depth(&mut self, bottom: Micrometres, now: Millis) -> Option<Decided<DepthState>> {
        let to_go = self.target.minus(bottom);
        let seen = if to_go.0 > COMING_UP.0 {
            DepthState::Drilling
        } else if to_go.0 > 0 {
            DepthState::ComingUp
        } else if to_go.0 >= self.over.0.saturating_neg() {
            DepthState::OnDepth
        } else {
            DepthState::Over
        };
        self.depth.take(seen, now).map(|state| Decided { state, figure: to_go.0 })
    }

    /// Judges the toe's offset over the bore's length, both from the ground.
    pub fn judge_plumb(&mut self, toe: RigAxes<Micrometres>, length: Micrometres, now: Millis) -> Option<Decided<PlumbState>> {
        if length < JUDGED_FROM {
            return None;
        }
        let off = Micrometres(i32::try_from(toe.magnitude()).unwrap_or(i32::MAX));
        let lean = off.over(length)?;
        let share = i64::from(lean.0).saturating_mul(100).checked_div(i64::from(self.limit.0)).unwrap_or(i64::MAX);
        let seen = plumb_state(self.plumb.state, share);
        self.plumb.take(seen, now).map(|state| Decided { state, figure: lean.0 })
    }
}

/// The state for a lean of `percent` of the limit. A worse state is entered at its bound (70 and 100 percent)
/// and left five percent of the limit below it.
fn plumb_state(state: PlumbState, percent: i64) -> PlumbState {
    let (drifting, out) = match state {
        PlumbState::Out => (65, 95),
        PlumbState::Drifting => (65, 100),
        PlumbState::Good | PlumbState::Unjudged => (70, 100),
    };
    if percent > out {
        PlumbState::Out
    } else if percent > drifting {
        PlumbState::Drifting
    } else {
        PlumbState::Good
    }
}
