//! Epochs: two marks say which one this is and with which number it begins, and how a factory reset begins the next.
//!
//! Both marks say the same. A reset writes one of them, and with that the old epoch is over; then what stands outside the
//! ring is forgotten, and then the other mark follows. Where they differ after a power cut, the forgetting goes on.

use super::{Journal, SLOT_BYTES, mark_of};
use crate::memory::Memory;
use shared_protocol::slot::Slot;

/// Where the two marks stand.
const MARKS: [u32; 2] = [0, 64];
const KIND: u8 = 241;

/// An epoch and its floor.
type Mark = (u32, u32);

impl Journal {
    /// Takes the later of two marks; writes what is not there, but nothing over what cannot be read now.
    pub(super) fn read_epoch<M: Memory>(&mut self, memory: &mut M) {
        let found = MARKS.map(|at| read(memory, at));
        let marks = found.map(|mark| mark.ok().flatten());
        let latest = marks.into_iter().flatten().max();
        (self.epoch, self.floor) = latest.unwrap_or((1, 0));
        self.resets = marks.into_iter().flatten().any(|mark| Some(mark) != latest);
        for (at, mark) in MARKS.into_iter().zip(found) {
            if mark == Ok(None) {
                self.write_epoch(memory, at);
            }
        }
    }

    fn write_epoch<M: Memory>(&mut self, memory: &mut M, at: u32) {
        self.write_mark(memory, at, KIND, 0, [self.epoch, self.floor]);
    }

    /// Whether a factory reset has begun this epoch and is not done yet.
    #[must_use]
    pub const fn resets(&self) -> bool {
        self.resets
    }

    /// The number that this epoch begins with; the epoch before has all below it.
    #[must_use]
    pub const fn floor(&self) -> u32 {
        self.floor
    }

    /// Begins the next epoch behind the last slot, in one mark; the journal is to be opened anew then. `false`, and this epoch
    /// goes on, where the memory does not keep the mark, or no epoch is left.
    pub fn begin_epoch<M: Memory>(&mut self, memory: &mut M) -> bool {
        let before = (self.epoch, self.floor);
        let Some(next) = self.epoch.checked_add(1) else { return false };
        // Over the one that cannot be read, where there is such: the other has to stay until this one is kept.
        let [one, other] = MARKS;
        let at = if read(memory, other) == Ok(Some(before)) { one } else { other };
        (self.epoch, self.floor) = (next, self.head);
        self.write_epoch(memory, at);
        let kept = read(memory, at) == Ok(Some((self.epoch, self.floor)));
        if !kept {
            (self.epoch, self.floor) = before;
        }
        kept
    }

    /// All that the epoch before left outside the ring is forgotten: both marks say the same from here on.
    pub fn end_reset<M: Memory>(&mut self, memory: &mut M) {
        let latest = (self.epoch, self.floor);
        for at in MARKS {
            if read(memory, at).is_ok_and(|mark| mark != Some(latest)) {
                self.write_epoch(memory, at);
            }
        }
        self.resets = false;
    }
}

/// The mark at a place, `None` where there is none.
fn read<M: Memory>(memory: &mut M, at: u32) -> Result<Option<Mark>, ()> {
    let mut bytes = [0; SLOT_BYTES];
    memory.read(at, &mut bytes).map_err(drop)?;
    Ok(Slot::check(&bytes).ok().and_then(|slot| mark_of(&slot, KIND)))
}

#[cfg(test)]
mod tests;
