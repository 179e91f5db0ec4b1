//! Factory reset: the rig records what it will forget, waits until a host has everything, that record too, and forgets it.
//!
//! One mark ends the old epoch ([`Journal::begin_epoch`](crate::journal::Journal::begin_epoch)). A power cut before it calls the
//! reset off, and behind it [`recovery`](crate::recovery) finishes it: there the way goes even without a cut.

use crate::memory::Memory;
use crate::rig::Rig;
use shared_protocol::message::Decommission;
use shared_protocol::record::{Decommissioned, Record};
use shared_protocol::state::Answer;
use shared_protocol::units::Millis;

/// A reset whose record no host has after so long is called off: nobody else's host shall carry it out some other day.
const LEAVES_WITHIN_MS: u32 = 10_000;

/// A reset that is recorded and waits.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Leaving {
    since: Millis,
}

impl<M: Memory> Rig<M> {
    /// Records that everything is to be forgotten. Refused unless nothing is open, nothing is still to be recorded, and some
    /// host has acknowledged all there is.
    #[inline(never)]
    pub(crate) fn decommission(&mut self, request: u32, asked: &Decommission, now: Millis) -> Result<u32, Answer> {
        let epoch = self.journal.epoch();
        if asked.epoch != epoch {
            return Err(Answer::OtherEpoch);
        }
        if epoch == u32::MAX {
            return Err(Answer::NumbersUsedUp);
        }
        if asked.who.is_empty() {
            return Err(Answer::BadFigures);
        }
        if self.hole.is_some() {
            return Err(Answer::HoleOpen);
        }
        if self.owes_records() {
            return Err(Answer::NotReady);
        }
        if self.journal.held_below() < self.journal.head() {
            return Err(Answer::NotDrained);
        }
        let decommissioned = Decommissioned {
            at: now,
            request,
            who: asked.who.clone(),
            epoch,
            boot: self.journal.boot(),
            seals: self.journal.last_seal().seals,
            copies: self.config.copies(),
            calibrations: u8::try_from(self.config.calibrations().count()).unwrap_or(u8::MAX),
            configuration: self.config.configuration(),
            key: self.config.key().map(|key| key.public).unwrap_or_default(),
        };
        let sequence = self.record(&Record::Decommissioned(decommissioned)).ok_or(Answer::NotRecorded)?;
        self.leaving = Some(Leaving { since: now });
        Ok(sequence)
    }

    /// Something that has happened is not in the memory yet.
    fn owes_records(&self) -> bool {
        self.unfinished.is_some() || self.refused.is_some() || self.torn.is_some() || !self.unread.is_empty()
    }

    /// Carries a reset out as soon as a host has everything, or calls it off.
    pub(crate) fn leave(&mut self, now: Millis) {
        let Some(Leaving { since }) = self.leaving else { return };
        if now.since(since) > LEAVES_WITHIN_MS {
            self.leaving = None;
            return;
        }
        if self.journal.held_below() < self.journal.head() {
            return;
        }
        self.leaving = None;
        if self.journal.begin_epoch(&mut self.memory) {
            self.begin_again(now);
        }
    }
}
