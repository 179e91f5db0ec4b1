//! Recovery after a start, a few slots a turn, while measuring already runs: the marks, the configuration in force, the
//! head, back to what the newest record of a set-up says of it, and forward again over the set-up that was open.
//!
//! A factory reset that a power cut left half done is done first. Nothing is written to the ring before all of it is known; then the record of the start comes first. The configuration
//! comes before anything is measured, since what was measured by another encoder table would have to be forgotten.

use crate::calibrate;
use crate::config;
use crate::journal::{Journal, Search};
use crate::memory::Memory;
use crate::rig::Rig;
use crate::seal::Unfinished;
use shared_protocol::assemble::{Assembled, Assembler};
use shared_protocol::chain::End;
use shared_protocol::record::{Checkpoint, Closed, Opened, Record, Seal, Start, Unsealed};
use shared_protocol::slot::{PARTS_MAX, Slot};
use shared_protocol::state::ResetCause;
use shared_protocol::units::Millis;

/// Slots of the ring after which a turn of recovery begins no further step. A step reads [`STEP_READS_MAX`] at most, as
/// a rule one.
pub const READS_A_TURN: u32 = 8;
/// A probe of the search, or a slot and the record that it ends.
pub const STEP_READS_MAX: usize = 1 + PARTS_MAX;
const _: () = assert!(crate::journal::STEP_READS as usize <= STEP_READS_MAX, "the search's steps are no longer");
/// Slots before the head that are read for answered commands when no set-up is open.
const LAST_SLOTS: u32 = 256;
/// Bytes of the configuration that a turn blanks, 21 ms of the memory's bus.
const BLANKED_A_TURN: u32 = 896;

/// How far recovery has come.
#[derive(Debug)]
pub(crate) struct Recovery {
    stage: Stage,
    began: Millis,
    cause: ResetCause,
    /// A step that the winch cannot have made came to stay meanwhile: no earlier touch of the hub holds.
    pub slipped: bool,
}

#[derive(Clone, Copy, Debug)]
enum Stage {
    Marks,
    /// A factory reset is not done yet: what is outside the ring is forgotten from this byte on.
    Forget {
        from: u32,
    },
    /// The configuration is not loaded yet; its newest copy was not sound where the older one is to be tried.
    Configuration {
        older: bool,
    },
    Head(Search),
    /// Back over what is below `next`.
    Back {
        next: u32,
    },
    /// Forward from `next` on. A set-up is open where a digest is running; it has the slots below `digest_from` already.
    Forward {
        next: u32,
        digest_from: u32,
    },
    /// What was found is to be recorded.
    Record,
    /// The next turn is one like all others.
    Done,
}

impl Recovery {
    /// One that has not begun.
    pub(crate) const fn new(began: Millis, cause: ResetCause) -> Self {
        Self { stage: Stage::Marks, began, cause, slipped: false }
    }

    /// Whether sensors can be listened to: what they are calibrated by is known.
    pub(crate) const fn measures(&self) -> bool {
        !matches!(self.stage, Stage::Marks | Stage::Forget { .. } | Stage::Configuration { .. })
    }
}

impl<M: Memory> Rig<M> {
    /// Goes on with recovery for a turn; `false` where there is nothing left to recover.
    pub(crate) fn recover(&mut self, now: Millis) -> bool {
        let Some(Recovery { stage, .. }) = self.recovery else { return false };
        let next = match stage {
            Stage::Marks => {
                self.journal = Journal::open(&mut self.memory);
                if self.journal.resets() { Stage::Forget { from: 0 } } else { Stage::Configuration { older: false } }
            }
            Stage::Forget { from } => self.forget(from),
            Stage::Configuration { older } => self.configure(older),
            Stage::Head(_) | Stage::Back { .. } | Stage::Forward { .. } => self.read_on(stage),
            Stage::Record => {
                self.record_found(now);
                Stage::Done
            }
            Stage::Done => {
                self.recovery = None;
                return false;
            }
        };
        if let Some(recovery) = &mut self.recovery {
            recovery.stage = next;
        }
        true
    }

    /// Loads one copy of the configuration.
    #[inline(never)]
    fn configure(&mut self, older: bool) -> Stage {
        if !self.config.load_one(&mut self.memory, older) && !older {
            return Stage::Configuration { older: true };
        }
        self.config.calibrations().filter(calibrate::sound).for_each(|calibration| calibrate::apply(&mut self.profile, &calibration));
        Stage::Head(Search::default())
    }

    /// Forgets some of what the epoch before left outside the ring. Where the memory refuses that, none of it is taken up, and
    /// the next start tries again.
    fn forget(&mut self, from: u32) -> Stage {
        if let Some(from) = config::blank(&mut self.memory, from, BLANKED_A_TURN) {
            return Stage::Forget { from };
        }
        if config::is_blank(&mut self.memory) {
            self.journal.end_reset(&mut self.memory);
        }
        Stage::Head(Search::default())
    }

    /// Steps until the turn has read enough.
    fn read_on(&mut self, mut stage: Stage) -> Stage {
        let before = self.journal.reads();
        while self.journal.reads().wrapping_sub(before) < READS_A_TURN {
            stage = match stage {
                Stage::Head(mut search) => match search.step(&mut self.journal, &mut self.memory) {
                    Some(found) => {
                        self.torn = found.torn;
                        if found.begins && self.journal.floor() > 0 {
                            self.begin_anew();
                        }
                        Stage::Back { next: self.whole_end() }
                    }
                    None => Stage::Head(search),
                },
                Stage::Back { next } => self.step_back(next),
                Stage::Forward { next, .. } if next >= self.whole_end() => return Stage::Record,
                Stage::Forward { next, digest_from } => Stage::Forward { next: self.replay(next, digest_from), digest_from },
                Stage::Marks | Stage::Forget { .. } | Stage::Configuration { .. } | Stage::Record | Stage::Done => return stage,
            }
        }
        stage
    }

    /// The first start of an epoch after a reset says so, whatever else caused it: hosts know by that where the epoch begins.
    fn begin_anew(&mut self) {
        if let Some(recovery) = &mut self.recovery {
            recovery.cause = ResetCause::Decommissioned;
        }
    }

    /// Behind the newest slot that was kept: what is between there and the head was torn.
    fn whole_end(&self) -> u32 {
        self.torn.map_or(self.journal.head(), |(first, _)| first)
    }

    /// Looks at the slot before `next`. The newest whole record of the beginning, the middle or the end of a set-up says
    /// where the set-up began, whether it is open, and what of its digest stands already.
    fn step_back(&mut self, next: u32) -> Stage {
        if next <= self.journal.tail() {
            return self.without_set_up();
        }
        let last = next.saturating_sub(1);
        let Some(slot) = self.slot(last).filter(ends_telling) else { return Stage::Back { next: last } };
        self.take_telling(last.saturating_sub(slot.part().index.into()), last).unwrap_or(Stage::Back { next: last })
    }

    /// Takes the record between these slots; `None` where it is not whole.
    #[inline(never)]
    fn take_telling(&mut self, first: u32, last: u32) -> Option<Stage> {
        let mut assembler = Assembler::default();
        for sequence in first..=last {
            let slot = self.slot(sequence)?;
            if let Some(whole) = assembler.push(&slot) {
                return self.take_whole(&whole);
            }
        }
        None
    }

    fn take_whole(&mut self, whole: &Assembled<'_>) -> Option<Stage> {
        match whole.kind {
            Opened::KIND => {
                Opened::decode(whole.body)?;
                self.journal.resume_run(whole.first, None);
                return Some(Stage::Forward { next: whole.first, digest_from: whole.first });
            }
            Checkpoint::KIND => {
                let checkpoint = Checkpoint::decode(whole.body)?;
                // What says how the hole was to be drilled may have given way: then it cannot go on.
                if (self.journal.tail()..whole.first).contains(&checkpoint.first) {
                    self.journal.resume_run(checkpoint.first, Some(&End::from(&checkpoint)));
                    return Some(Stage::Forward { next: checkpoint.first, digest_from: whole.first });
                }
            }
            Closed::KIND => {
                let closed = Closed::decode(whole.body)?;
                self.take_closed(closed.first, &End::from(&closed), (whole.first, whole.last));
            }
            Seal::KIND => {
                let seal = Seal::decode(whole.body)?;
                self.journal.anchor(&mut self.memory, whole.first, &seal); // a power cut may have kept it out
            }
            _ => {} // said not to be sealed
        }
        Some(self.without_set_up())
    }

    /// Closed, and neither sealed nor said not to be.
    fn take_closed(&mut self, set_up: u32, end: &End, (first, last): (u32, u32)) {
        self.journal.resume_run(set_up, Some(end));
        for sequence in first..=last {
            if let Some(slot) = self.slot(sequence) {
                self.journal.digest(&slot);
            }
        }
        self.unfinished = self.journal.run().map(|(first, end)| Unfinished::closed(first, &end));
        self.journal.end_run();
    }

    /// No set-up is open: only the last answers are looked for.
    fn without_set_up(&self) -> Stage {
        Stage::Forward { next: self.whole_end().saturating_sub(LAST_SLOTS).max(self.journal.tail()), digest_from: 0 }
    }

    /// Takes back the record that begins at a slot, or what is there of it, and returns where the next one begins.
    #[inline(never)]
    fn replay(&mut self, first: u32, digest_from: u32) -> u32 {
        let mut assembler = Assembler::default();
        let mut next = first;
        for _ in 0..PARTS_MAX {
            let Some(slot) = self.slot(next).filter(|slot| next == first || slot.part().index > 0) else { break };
            if next >= digest_from {
                self.journal.digest(&slot);
            }
            next = next.saturating_add(1);
            if let Some(whole) = assembler.push(&slot) {
                self.recall(whole.first, whole.kind, whole.body);
                break;
            }
        }
        if next == first {
            if self.journal.runs() {
                let _ = self.unread.push(first); // what finds no room shows in the digest's count
            }
            return first.saturating_add(1);
        }
        next
    }

    /// Records the start, at the time that it was, and what it found; the hole that was open goes on.
    #[inline(never)] // what only a start needs gives its stack back
    fn record_found(&mut self, now: Millis) {
        let Some(&Recovery { began, cause, slipped, .. }) = self.recovery.as_ref() else { return };
        if self.hole.is_none() {
            self.journal.end_run();
        }
        if slipped {
            self.depth.untie();
        }
        let epoch = self.journal.epoch();
        self.record(&Record::Start(Start { at: began, cause: cause.raw(), epoch }));
        self.declare_found(now);
        self.resume_hole(now);
    }
}

/// Whether it is the last slot of a record that says how a set-up stands.
fn ends_telling(slot: &Slot) -> bool {
    let part = slot.part();
    let tells = matches!(slot.kind(), Opened::KIND | Checkpoint::KIND | Closed::KIND | Seal::KIND | Unsealed::KIND);
    tells && part.index.saturating_add(1) == part.of
}
