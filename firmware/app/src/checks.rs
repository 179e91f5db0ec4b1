//! Depth and lean against plan and limits, with hysteresis so that a state that flickers is not a record.

use shared_protocol::record::{Change, Plan};
use shared_protocol::state::{Check, DepthState, PlumbState};
use shared_protocol::units::{Lean, Micrometres, Millis, RigAxes, clamp_i32};

/// Distance to go at which the operator is warned.
const COMING_UP: Micrometres = Micrometres::from_mm(300);
/// Lean is judged over the hole from this depth on; above it a millimetre of play would decide.
const JUDGED_FROM: Micrometres = Micrometres::from_mm(300);
/// A state must stand this long before it is one.
const STANDS_MS: u32 = 1_000;

/// Going is judged each time that this much new bottom is made, or when it is not made in [`SLOW_MS`] of cutting.
const GOING_STEP: Micrometres = Micrometres::from_mm(10);
/// 10 mm in a minute of cutting, 0.17 mm/s, or less is slow: a candidate for refusal. Common practice, no source.
const SLOW_MS: u32 = 60_000;
/// 10 mm in half of that is going as usual again.
const USUAL_MS: u32 = 30_000;

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
    /// Micrometres to go for depth, parts per million for plumb, micrometres per second for going.
    pub figure: i32,
}

/// How fast new bottom is made, counted over cutting alone: trips and rests above the bottom do not slow it.
#[derive(Clone, Copy, Debug)]
struct Going {
    slow: bool,
    from: Micrometres,
    cutting_ms: u32,
}

impl Going {
    /// Takes one round; returns the new state and the rate that decided, micrometres per second.
    fn take(&mut self, bottom: Micrometres, cutting_ms: u32) -> Option<Decided<bool>> {
        self.cutting_ms = self.cutting_ms.saturating_add(cutting_ms);
        let made = bottom.minus(self.from);
        if made < GOING_STEP && self.cutting_ms < SLOW_MS {
            return None;
        }
        let limit = if self.slow { USUAL_MS } else { SLOW_MS };
        // Ten millimetres' worth of time, however much came at once.
        let rate = i64::from(made.0).saturating_mul(1_000).checked_div(self.cutting_ms.into()).unwrap_or(i64::MAX);
        let slow = rate.saturating_mul(limit.into()) <= i64::from(GOING_STEP.0).saturating_mul(1_000);
        (self.from, self.cutting_ms) = (bottom, 0);
        let changed = slow != self.slow;
        self.slow = slow;
        changed.then_some(Decided { state: slow, figure: clamp_i32(rate) })
    }
}

/// The checks of one set-up.
#[derive(Debug)]
pub struct Checks {
    target: Micrometres,
    over: Micrometres,
    limit: Lean,
    depth: Steady<DepthState>,
    plumb: Steady<PlumbState>,
    going: Going,
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
            going: Going { slow: false, from: plan.hub_above_datum, cutting_ms: 0 },
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

    /// Takes back the state that a record says, after a restart.
    pub fn recall(&mut self, change: &Change) {
        match Check::from_raw(change.check) {
            Some(Check::Depth) => self.depth.state = DepthState::from_raw(change.state).unwrap_or(self.depth.state),
            Some(Check::Plumb) => self.plumb.state = PlumbState::from_raw(change.state).unwrap_or(self.plumb.state),
            Some(Check::Going) => self.going.slow = change.state == 1,
            _ => {}
        }
    }

    /// Going is counted from this bottom on: what was made before a restart took time that nobody knows.
    pub fn resume(&mut self, bottom: Micrometres) {
        self.going.from = bottom;
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

    /// Judges how fast new bottom is made, after `cutting_ms` more of cutting at the deepest bottom. Slow going is
    /// [`true`]: a candidate for refusal, which only people can confirm.
    pub fn judge_going(&mut self, bottom: Micrometres, cutting_ms: u32) -> Option<Decided<bool>> {
        self.going.take(bottom, cutting_ms)
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
