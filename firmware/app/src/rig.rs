//! The whole rig: every part together, handed time and bytes.

use crate::board::{Length, Outlet};
use crate::bore::{Bore, Made, Round};
use crate::calibrate::Uncalibrated;
use crate::checks::Checks;
use crate::config::Config;
use crate::depth::{Depth, Taken};
use crate::journal::Journal;
use crate::lean::LeanMeter;
use crate::link::Link;
use crate::memory::Memory;
use crate::profile::Profile;
use crate::reading::Sensed;
use crate::recovery::Recovery;
use crate::reset::Leaving;
use crate::seal::{Refused, Unfinished};
use heapless::{Deque, Vec};
use shared_protocol::record::{Change, Fault, Gap, Plan, Record};
use shared_protocol::slot::Slot;
use shared_protocol::state::{Activity, Check, GapCause, ReferenceState, ResetCause, Sensor, SensorFault};
use shared_protocol::units::{Micrometres, Millis, RigAxes};

/// Firmware version, as identities and hellos give it.
pub const FIRMWARE: &str = env!("CARGO_PKG_VERSION");
/// Tip above the hub by more than this is out of the ground.
const OUT_OF_GROUND: Micrometres = Micrometres::from_mm(-20);
/// A sensor line that brings no round for this long is stale.
const QUIET_MS: u32 = 300;
/// The time of day is counted from a moment that moves on after so long; milliseconds wrap after 49 days.
const CLOCK_MOVES_ON_MS: u32 = 86_400_000;
/// Commands that are remembered, so that asking twice acts once.
const REMEMBERED: usize = 8;

/// Slots that a start cannot read and that are declared one by one.
const UNREAD: usize = 8;

/// The hole that is open.
#[derive(Debug)]
pub(crate) struct Hole {
    /// Sequence of its first slot.
    pub first: u32,
    pub plan: Plan,
    pub bore: Bore,
    pub checks: Checks,
    pub tool: u8,
    /// Another tool is on, and the hub was not touched since.
    pub carried: bool,
    /// The last touch of the hub closed worse than its limit.
    pub misclosed: bool,
    /// The records that say who measures and with what are in the memory.
    pub identity_kept: bool,
    pub instruments_kept: bool,
}

/// A sensor fault that is on record as begun.
#[derive(Clone, Copy, Debug)]
struct Standing {
    fault: SensorFault,
    /// Counted from a moment that moves on, and how long it had lasted then.
    since: Millis,
    before_ms: u32,
}

/// A command that was answered.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Answered {
    pub request: u32,
    pub answer: u8,
    pub sequence: u32,
}

/// The rig.
#[derive(Debug)]
pub struct Rig<M: Memory> {
    pub(crate) memory: M,
    pub(crate) profile: Profile,
    /// What the profile goes back to when the configuration is forgotten.
    pub(crate) uncalibrated: Uncalibrated,
    pub(crate) config: Config,
    pub(crate) journal: Journal,
    /// What a start has still to find; `None` once it is recorded.
    pub(crate) recovery: Option<Recovery>,
    pub(crate) depth: Depth,
    pub(crate) lean: LeanMeter,
    pub(crate) link: Link,
    pub(crate) hole: Option<Hole>,
    pub(crate) clock: Option<(Millis, i64, i16)>,
    pub(crate) answered: Deque<Answered, REMEMBERED>,
    /// Numbers that power cuts tore, until the record that says so is in the memory.
    pub(crate) torn: Option<(u32, u32)>,
    /// Slots of the open hole that a start could not read, until the records that say so are in the memory.
    pub(crate) unread: Vec<u32, UNREAD>,
    /// Closed, and to be sealed with the next turn that records nothing else.
    pub(crate) unfinished: Option<Unfinished>,
    /// Closed, and its seal was refused by the memory.
    pub(crate) refused: Option<Refused>,
    /// A factory reset waits until a host has all, its own record included.
    pub(crate) leaving: Option<Leaving>,
    /// This turn reckons with keys, which takes long.
    pub(crate) long: bool,
    /// Where the journal ended when this turn began.
    turn_began: u32,
    standing: [Option<Standing>; 2],
    last_round: Option<Millis>,
}

impl<M: Memory> Rig<M> {
    /// Starts on a memory, which it has not looked into yet: the first turns find where the last run stopped, take up the
    /// hole that was open, and record the start. Depth is unreferenced unless the profile's encoder keeps its place.
    #[inline(never)] // what only a start needs gives its stack back
    pub fn start(memory: M, profile: Profile, cause: ResetCause, now: Millis) -> Self {
        Self {
            config: Config::over(&profile),
            uncalibrated: Uncalibrated::of(&profile),
            memory,
            profile,
            journal: Journal::default(),
            recovery: Some(Recovery::new(now, cause)),
            depth: Depth::default(),
            lean: LeanMeter::default(),
            link: Link::default(),
            hole: None,
            clock: None,
            answered: Deque::new(),
            torn: None,
            unread: Vec::new(),
            unfinished: None,
            refused: None,
            leaving: None,
            long: false,
            turn_began: 0,
            standing: [None; 2],
            last_round: None,
        }
    }

    /// The hole that was open goes on. A power cut just after it was opened may have kept its identity out of the memory.
    pub(crate) fn resume_hole(&mut self, now: Millis) {
        let Some(hole) = &mut self.hole else { return };
        hole.checks.resume(hole.bore.bottom());
        if !(hole.identity_kept && hole.instruments_kept) {
            self.record_identity(now);
        }
        self.record_reference(now);
    }

    /// One decision: takes what came since the last, sends what there is to say. Bounded work; never waits. Says how long
    /// the turn is: one in which a key is reckoned with, to seal or to be commissioned, is a long one.
    pub fn poll(&mut self, now: Millis, sensed: Option<Sensed>, received: &[u8], outlet: &mut impl Outlet) -> Length {
        if self.recover(now) {
            self.wait(now, sensed, received, outlet);
            return Length::Ordinary;
        }
        self.turn_began = self.journal.head();
        self.keep_clock(now);
        if let Some(sensed) = sensed {
            self.last_round = Some(now);
            self.sense(&sensed, now);
        }
        self.hear(received, now, outlet);
        let asked = core::mem::take(&mut self.link.asked);
        self.declare_found(now);
        self.declare_loss(asked, now);
        // The memory's bus carries a command's records, a seal or slots for the host in one turn, not two of them.
        if !self.has_recorded() {
            self.finish(now);
        }
        self.tell(now, sensed.is_some(), outlet);
        if !self.has_recorded() {
            self.tell_slots(now, outlet);
        }
        self.leave(now);
        if core::mem::take(&mut self.long) { Length::Long } else { Length::Ordinary }
    }

    /// Whether this turn has recorded something.
    pub(crate) const fn has_recorded(&self) -> bool {
        self.journal.head() != self.turn_began
    }

    /// Everything in RAM is forgotten, and the memory is looked into anew, as at a start.
    #[inline(never)] // what only a start needs gives its stack back
    pub(crate) fn begin_again(&mut self, now: Millis) {
        // Every field is named, so that none is kept by an oversight.
        let Self {
            memory: _,
            profile,
            uncalibrated,
            config,
            journal,
            recovery,
            depth,
            lean,
            link,
            hole,
            clock,
            answered,
            torn,
            unread,
            unfinished,
            refused,
            leaving,
            long,
            turn_began,
            standing,
            last_round,
        } = self;
        uncalibrated.restore(profile);
        *config = Config::over(profile);
        *journal = Journal::default();
        *recovery = Some(Recovery::new(now, ResetCause::Unknown));
        (*depth, *lean, *link) = (Depth::default(), LeanMeter::default(), Link::default());
        (*hole, *clock, *torn, *last_round) = (None, None, None, None);
        (*unfinished, *refused, *leaving, *long, *turn_began) = (None, None, None, false, 0);
        *standing = [None; 2];
        answered.clear();
        unread.clear();
    }

    /// The time of day, and how long a fault lasts, are counted from a moment that must not lie so far back that milliseconds
    /// wrap.
    fn keep_clock(&mut self, now: Millis) {
        if let Some((at, unix_ms, _)) = &mut self.clock
            && now.since(*at) >= CLOCK_MOVES_ON_MS
        {
            *unix_ms = unix_ms.saturating_add(i64::from(now.since(*at)));
            *at = now;
        }
        for Standing { since, before_ms, .. } in self.standing.iter_mut().flatten() {
            if now.since(*since) >= CLOCK_MOVES_ON_MS {
                *before_ms = before_ms.saturating_add(now.since(*since));
                *since = now;
            }
        }
    }

    /// What a turn does while recovery is under way: it measures, says so, and does no command.
    fn wait(&mut self, now: Millis, sensed: Option<Sensed>, received: &[u8], outlet: &mut impl Outlet) {
        let sensed = sensed.filter(|_| self.recovery.as_ref().is_some_and(Recovery::measures));
        if let Some(sensed) = sensed {
            self.last_round = Some(now);
            self.sense(&sensed, now);
        }
        self.hear(received, now, outlet);
        self.tell(now, sensed.is_some(), outlet);
    }

    /// Whether all is known again that the last run knew: commands are done from here on.
    #[must_use]
    pub const fn recovered(&self) -> bool {
        self.recovery.is_none()
    }

    /// Records what the start found missing: the running digest goes on without it.
    pub(crate) fn declare_found(&mut self, now: Millis) {
        if self.torn.is_some_and(|(first, last)| self.declare(first, last, GapCause::Torn, now)) {
            self.torn = None;
        }
        while let Some(&sequence) = self.unread.last() {
            if !self.declare(sequence, sequence, GapCause::Damaged, now) {
                break;
            }
            self.unread.pop();
        }
    }

    /// Records which slots gave way before any host had them; `false` where that did not reach the memory.
    pub(crate) fn declare_loss(&mut self, asked: bool, now: Millis) -> bool {
        let Some((first, last)) = self.journal.undeclared_loss(asked) else { return true };
        let kept = self.declare(first, last, GapCause::Reclaimed, now);
        if !kept {
            self.journal.undeclare(first);
        }
        kept
    }

    /// Records that slots are missing; `false` where that did not reach the memory.
    pub(crate) fn declare(&mut self, first: u32, last: u32, cause: GapCause, now: Millis) -> bool {
        self.record(&Record::Gap(Gap { at: now, first, last, cause: cause.raw() })).is_some()
    }

    /// Gives the memory back, as a power cut does: everything in RAM is gone.
    pub fn into_memory(self) -> M {
        self.memory
    }

    /// Commits a record; `None` where it did not reach the memory.
    #[inline(never)]
    pub(crate) fn record(&mut self, record: &Record) -> Option<u32> {
        self.journal.append(&mut self.memory, record).ok()
    }

    /// Reads a slot back for the link; a damaged one is declared once, as a gap.
    pub(crate) fn slot(&mut self, sequence: u32) -> Option<Slot> {
        self.journal.read(&mut self.memory, sequence).ok()
    }

    /// Whether the sensor line has been quiet too long.
    pub(crate) fn quiet(&self, now: Millis) -> bool {
        self.last_round.is_none_or(|last| now.since(last) > QUIET_MS)
    }

    /// Whether a lean means anything now: the tool is in the ground, as far as is known.
    pub(crate) fn lean_applies(&self) -> bool {
        self.depth.tip().is_some_and(|tip| tip >= OUT_OF_GROUND)
    }

    #[inline(never)]
    fn sense(&mut self, sensed: &Sensed, now: Millis) {
        let slipped = self.depth.take(&self.profile, sensed.count, now) == Taken::ReferenceLost;
        let force = self.lean.take(self.profile.tilt_range, sensed, now);
        if let Some(recovery) = &mut self.recovery {
            recovery.slipped |= slipped;
            return; // nothing is recorded before the start is
        }
        if slipped {
            self.record_reference(now);
        }
        self.watch(Sensor::Encoder, self.depth.fault(), now);
        self.watch(Sensor::Tilt, self.lean.fault(), now);
        let round = Round {
            now,
            window: self.depth.window(),
            tip: self.depth.tip(),
            force,
            depth_fresh: self.depth.fresh(),
            correction: self.profile.correction,
            temperature: self.lean.temperature(),
        };
        if let Some(hole) = &mut self.hole {
            let made = hole.bore.take(&round);
            self.record_made(&made, now);
            self.check(made.cut_ms, now);
        }
    }

    /// Records where a sensor fault begins and ends.
    fn watch(&mut self, sensor: Sensor, fault: Option<SensorFault>, now: Millis) {
        let [encoder, tilt] = &mut self.standing;
        let standing = if sensor == Sensor::Encoder { encoder } else { tilt };
        let before = *standing;
        if before.map(|s| s.fault) == fault {
            return;
        }
        *standing = fault.map(|fault| Standing { fault, since: now, before_ms: 0 });
        if let Some(Standing { fault, since, before_ms }) = before {
            let lasted = before_ms.saturating_add(now.since(since));
            self.record(&Record::Fault(Fault { at: now, sensor: sensor.raw(), fault: fault.raw(), began: 0, lasted }));
        }
        if let Some(fault) = fault {
            self.record(&Record::Fault(Fault { at: now, sensor: sensor.raw(), fault: fault.raw(), began: 1, lasted: 0 }));
        }
    }

    pub(crate) fn record_made(&mut self, made: &Made, now: Millis) {
        if let Some(tag) = made.fall_in {
            let short = self.hole.as_ref().map_or(0, |hole| hole.bore.bottom().minus(tag).0);
            self.record(&Record::Change(Change { at: now, check: Check::FallIn.raw(), state: 1, depth: tag, figure: short }));
        }
        if let Some(increment) = made.increment {
            self.record(&Record::Increment(increment));
        }
        if let Some(pass) = made.pass {
            self.record(&Record::Pass(pass));
        }
    }

    fn check(&mut self, cut_ms: u32, now: Millis) {
        let toe = self.toe(None);
        let Some(hole) = &mut self.hole else { return };
        let bottom = hole.bore.bottom();
        let depth = hole.checks.judge_depth(bottom, now).map(|d| (Check::Depth, d.state.raw(), d.figure));
        let plumb = toe
            .and_then(|toe| hole.checks.judge_plumb(toe, hole.bore.axis().length(bottom), now))
            .map(|p| (Check::Plumb, p.state.raw(), p.figure));
        let at_work = if hole.bore.activity() == Activity::Cutting { cut_ms } else { 0 };
        let going = hole.checks.judge_going(bottom, at_work).map(|g| (Check::Going, g.state.into(), g.figure));
        for (check, state, figure) in [depth, plumb, going].into_iter().flatten() {
            self.record(&Record::Change(Change { at: now, check: check.raw(), state, depth: bottom, figure }));
        }
    }

    /// Where the toe is at a depth below the hub, in the middle of both models; at the bottom where none is given.
    pub(crate) fn toe(&self, depth: Option<Micrometres>) -> Option<RigAxes<Micrometres>> {
        let hole = self.hole.as_ref()?;
        hole.bore.axis().middle(self.profile.guide_height, depth.unwrap_or(hole.bore.bottom()))
    }

    pub(crate) fn record_reference(&mut self, now: Millis) {
        let carried = self.hole.as_ref().is_some_and(|hole| hole.carried);
        let state = match self.depth.referenced() {
            true if carried => ReferenceState::Carried,
            true => ReferenceState::Hub,
            false => ReferenceState::Unreferenced,
        };
        let depth = self.hole.as_ref().map_or(Micrometres(0), |hole| hole.bore.bottom());
        self.record(&Record::Change(Change { at: now, check: Check::Reference.raw(), state: state.raw(), depth, figure: 0 }));
    }
}
