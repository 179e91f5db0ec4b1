//! The ring of slots in non-volatile memory: every record the rig makes, in one numbered stream.
//!
//! Slot `n` stands at `n − floor mod capacity`, where an epoch's first slot is its floor, so the newest lap fills the ring from
//! its start and bisection finds the head. Outside the ring pairs of marks, slots themselves, say which epoch this is, what a host has on disk, and which
//! seal was the last. Slots torn by power cuts are never written over, nor what a host may have: their numbers are skipped and
//! declared as a gap.

mod epoch;
mod search;

pub use search::{Found, STEP_READS, Search};

use crate::memory::Memory;
use shared_protocol::assemble::{Assembler, slots};
use shared_protocol::chain::{Chain, End};
use shared_protocol::fixed_body;
use shared_protocol::record::{Checkpoint, Record, Seal};
use shared_protocol::slot::{BODY_BYTES, Part, RECORD_BYTES_MAX, SLOT_BYTES, Slot, SlotFault};

/// Where the ring begins; what is before it holds marks, and room for the configuration.
const RING_AT: u32 = 4_096;
/// Where the two copies of each mark stand.
const HELD_MARKS: [u32; 2] = [128, 192];
const ANCHORS: [u32; 2] = [256, 384];
/// Kinds of slots that are marks, never sent.
const ANCHOR_KIND: u8 = 242;
const HELD_KIND: u8 = 240;
const ANCHOR_SLOTS: usize = Anchor::BYTES.div_ceil(BODY_BYTES);
const _: () = assert!(ANCHOR_SLOTS <= 4, "an anchor has 128 bytes");
/// Slots that opening a journal reads at most.
pub const MARK_READS: usize = 2 * (2 + ANCHOR_SLOTS);
/// Neighbours that are tried when a slot met in the search is damaged.
const PROBES: u32 = 8;
/// Damaged slots at the head that are skipped: more power cuts in a row than anybody has seen.
const TORN_MAX: u32 = 64;
/// Places of the ring that spoil what is written there, and that one record skips at most.
const SPOILED_MAX: u32 = 4;
/// Numbers kept for the end of an epoch: none above is given to any slot.
const LAST: u32 = u32::MAX - 64;
/// Numbers that a hole may take, its troubles included; none is opened with fewer left.
const HOLE_ROOM: u32 = 0x0010_0000;
/// Reclaimed slots after which the loss is declared unasked.
const DECLARE_EVERY: u32 = 32;

/// Why a record is not in the memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum JournalFault {
    /// The memory did not do as told, or did not keep what it was told.
    Memory,
    /// The place in the ring keeps something else than it was told: no slot stands there, and its number is used up.
    Spoiled,
    /// The record has more bytes than any may have.
    TooLong,
    /// Every sequence number is used up.
    Full,
    /// The head has not been found yet.
    HeadUnknown,
}

/// Why a slot cannot be read back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ReadFault {
    /// The memory did not do as told.
    Memory,
    /// Never written, or written over since.
    Absent,
    /// Written, and not what was written.
    Damaged,
}

/// The running digest over a set-up.
#[derive(Clone, Debug)]
struct Run {
    /// Sequence of its first slot.
    first: u32,
    chain: Chain,
}

fixed_body! {
    /// The last seal, as it is remembered outside the ring.
    pub struct Anchor {
        /// The epoch that it was made in.
        pub epoch: u32,
        /// Sequence of its first slot.
        pub sequence: u32,
        /// What the next seal says of it.
        pub sum: [u8; 32],
        /// Seals up to it.
        pub seals: u32,
    }
}

/// The journal's state in RAM: nothing here that the memory does not say.
#[derive(Debug)]
pub struct Journal {
    capacity: u32,
    head: u32,
    tail: u32,
    held_below: u32,
    held_count: u32,
    declared: u32,
    epoch: u32,
    /// The number that the epoch begins with: slots below it are of an epoch before.
    floor: u32,
    /// A factory reset has begun this epoch, and what the last one left is still to be forgotten.
    resets: bool,
    boot: u16,
    run: Option<Run>,
    anchor: Anchor,
    head_known: bool,
    /// Slots of the ring read so far; turns over.
    reads: u32,
    /// Writes and reads that the memory refused, and slots that it did not keep.
    pub memory_faults: u16,
}

impl Default for Journal {
    /// Before the memory was looked into.
    fn default() -> Self {
        Self {
            capacity: 1,
            head: 0,
            tail: 0,
            held_below: 0,
            held_count: 0,
            declared: 0,
            epoch: 1,
            floor: 0,
            resets: false,
            boot: 1,
            run: None,
            anchor: Anchor::default(),
            head_known: false,
            reads: 0,
            memory_faults: 0,
        }
    }
}

impl Journal {
    /// Reads the marks, at most [`MARK_READS`] slots. Nothing is given out or taken before a [`Search`] has found the head.
    #[inline(never)]
    pub fn open<M: Memory>(memory: &mut M) -> Self {
        let mut journal = Self { capacity: memory.size().saturating_sub(RING_AT).checked_div(32).unwrap_or(0).max(1), ..Self::default() };
        journal.read_marks(memory);
        journal
    }

    fn read_marks<M: Memory>(&mut self, memory: &mut M) {
        self.read_epoch(memory);
        self.held_below = self.floor;
        for at in HELD_MARKS {
            let Some((count, epoch, below)) = read_mark(memory, at, HELD_KIND) else { continue };
            // The count wraps, and neither the first mark's nor the second's is the greater one then: what is held only rises.
            if epoch == self.epoch && below >= self.held_below {
                (self.held_count, self.held_below) = (count, below);
            }
        }
        self.declared = self.held_below;
        for at in ANCHORS {
            if let Some(anchor) = read_anchor(memory, at).filter(|a| a.epoch == self.epoch && a.seals > self.anchor.seals) {
                self.anchor = anchor;
            }
        }
    }

    /// A seal stands in the ring from this sequence on: remembers it outside, unless that is done.
    #[inline(never)]
    pub fn anchor<M: Memory>(&mut self, memory: &mut M, sequence: u32, seal: &Seal) {
        let seals = seal.number.saturating_add(1);
        if seals <= self.anchor.seals {
            return;
        }
        self.anchor = Anchor { epoch: self.epoch, sequence, sum: seal.sum(), seals };
        let [even, odd] = ANCHORS;
        let mut at = if seals.is_multiple_of(2) { even } else { odd };
        let mut body = [0; Anchor::BYTES];
        let parts = self.anchor.encode(&mut body).and_then(|_| slots(seals, self.boot, ANCHOR_KIND, &body)).unwrap_or_default();
        for part in &parts {
            if memory.write(at, part.bytes()).is_err() {
                self.memory_faults = self.memory_faults.saturating_add(1);
            }
            at = at.saturating_add(32);
        }
        if memory.barrier().is_err() {
            self.memory_faults = self.memory_faults.saturating_add(1);
        }
    }

    /// The last seal; all zeros where there was none.
    #[must_use]
    pub const fn last_seal(&self) -> &Anchor {
        &self.anchor
    }

    fn write_mark<M: Memory>(&mut self, memory: &mut M, at: u32, kind: u8, count: u32, [a, b]: [u32; 2]) {
        let mut body = [0; 8];
        let (first, second) = body.split_at_mut(4);
        first.copy_from_slice(&a.to_le_bytes());
        second.copy_from_slice(&b.to_le_bytes());
        let written = Slot::build(count, self.boot, kind, Part::ONLY, &body).map(|slot| memory.write(at, slot.bytes()));
        if !matches!(written, Some(Ok(()))) || memory.barrier().is_err() {
            self.memory_faults = self.memory_faults.saturating_add(1);
        }
    }

    /// Where in the ring a slot stands, and in which lap of the epoch.
    fn place(&self, sequence: u32) -> u32 {
        sequence.saturating_sub(self.floor).checked_rem(self.capacity).unwrap_or(0)
    }

    fn lap(&self, sequence: u32) -> u32 {
        sequence.saturating_sub(self.floor).checked_div(self.capacity).unwrap_or(0)
    }

    /// The slot at a place of the ring where it is whole and belongs there.
    fn at_place<M: Memory>(&mut self, memory: &mut M, place: u32) -> Result<Slot, ReadFault> {
        self.reads = self.reads.wrapping_add(1);
        let mut bytes = [0; SLOT_BYTES];
        memory.read(RING_AT.saturating_add(place.saturating_mul(32)), &mut bytes).map_err(|_| ReadFault::Memory)?;
        match Slot::check(&bytes) {
            Ok(slot) if slot.sequence() < self.floor => Err(ReadFault::Absent), // of an epoch before
            Ok(slot) if self.place(slot.sequence()) == place => Ok(slot),
            Ok(_) | Err(SlotFault::Damaged) => Err(ReadFault::Damaged),
            Err(SlotFault::Blank) => Err(ReadFault::Absent),
        }
    }

    /// The first whole slot among a few places from `place` on, below `end`.
    fn probe<M: Memory>(&mut self, memory: &mut M, place: u32, end: u32) -> Option<(u32, Slot)> {
        (place..end.min(place.saturating_add(PROBES))).find_map(|p| self.at_place(memory, p).ok().map(|slot| (p, slot)))
    }

    fn raw<M: Memory>(&mut self, memory: &mut M, sequence: u32) -> Result<Slot, ReadFault> {
        self.at_place(memory, self.place(sequence))
    }

    /// Reads a slot back.
    ///
    /// # Errors
    /// See [`ReadFault`].
    pub fn read<M: Memory>(&mut self, memory: &mut M, sequence: u32) -> Result<Slot, ReadFault> {
        if sequence < self.tail || sequence >= self.head {
            return Err(ReadFault::Absent);
        }
        let slot = self.raw(memory, sequence);
        if slot == Err(ReadFault::Memory) {
            self.memory_faults = self.memory_faults.saturating_add(1);
        }
        slot.and_then(|slot| if slot.sequence() == sequence { Ok(slot) } else { Err(ReadFault::Absent) })
    }

    /// Commits a record and returns the sequence of its first slot. Each slot is kept before the next is begun. A segment
    /// of the running digest that has become long enough is ended with a record of its own.
    ///
    /// # Errors
    /// See [`JournalFault`].
    pub fn append<M: Memory>(&mut self, memory: &mut M, record: &Record) -> Result<u32, JournalFault> {
        let first = self.put(memory, record, None)?;
        if let Some(Run { first, chain }) = &self.run
            && chain.is_due()
        {
            let (first, end) = (*first, chain.end());
            let End { from, slots, before, segment } = end;
            // Where it does not reach the memory the segment goes on, and the next record tries again.
            let _ = self.put(memory, &Record::Checkpoint(Checkpoint { first, from, slots, before, segment }), Some(end));
        }
        Ok(first)
    }

    /// Commits a record that says the end of the segment before it, and begins the next segment with its slots.
    ///
    /// # Errors
    /// See [`JournalFault`]; the segment then goes on.
    pub fn append_end<M: Memory>(&mut self, memory: &mut M, record: &Record, end: End) -> Result<u32, JournalFault> {
        self.put(memory, record, Some(end))
    }

    #[inline(never)]
    fn put<M: Memory>(&mut self, memory: &mut M, record: &Record, end: Option<End>) -> Result<u32, JournalFault> {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).ok_or(JournalFault::TooLong)?;
        let body = body.get(..used).ok_or(JournalFault::TooLong)?;
        if !self.head_known {
            return Err(JournalFault::HeadUnknown);
        }
        let mut tries = 0..SPOILED_MAX;
        let (first, parts) = loop {
            let first = self.head;
            if first > LAST {
                return Err(JournalFault::Full);
            }
            let parts = slots(first, self.boot, record.kind(), body).ok_or(JournalFault::TooLong)?;
            match parts.iter().try_for_each(|slot| self.commit(memory, slot)) {
                Ok(()) => break (first, parts),
                // Behind the place that spoils: the parts before it are no record. Not where the record says what the digest
                // is up to it, since they are in that now.
                Err(JournalFault::Spoiled) if end.is_none() && tries.next().is_some() => self.begin_run_again(first),
                Err(fault) => return Err(fault),
            }
        };
        if let (Some(run), Some(end)) = (&mut self.run, end) {
            run.chain = Chain::behind(&end);
            parts.iter().for_each(|slot| run.chain.push(slot));
        }
        Ok(first)
    }

    fn commit<M: Memory>(&mut self, memory: &mut M, slot: &Slot) -> Result<(), JournalFault> {
        let place = self.place(slot.sequence());
        let at = RING_AT.saturating_add(place.saturating_mul(32));
        if self.head.saturating_sub(self.tail) >= self.capacity {
            self.tail = self.tail.saturating_add(1);
        }
        memory.barrier().and_then(|()| memory.write(at, slot.bytes())).and_then(|()| memory.barrier()).map_err(|_| {
            self.memory_faults = self.memory_faults.saturating_add(1);
            JournalFault::Memory
        })?;
        self.read_back(memory, at, slot)?;
        // Only now: a number that a memory did not take is the next slot's. Left out, it would hide from the next
        // start whatever was kept behind it.
        self.head = slot.sequence().saturating_add(1);
        self.digest(slot);
        Ok(())
    }

    /// Whether the memory keeps what it has said that it keeps. A place that holds neither this slot nor an older whole one
    /// nor nothing cannot hold a slot at all: its number is used up. What ignores a write leaves the place as it was.
    fn read_back<M: Memory>(&mut self, memory: &mut M, at: u32, slot: &Slot) -> Result<(), JournalFault> {
        let mut bytes = [0; SLOT_BYTES];
        let kept = memory.read(at, &mut bytes);
        if kept.is_ok() && bytes == *slot.bytes() {
            return Ok(());
        }
        self.memory_faults = self.memory_faults.saturating_add(1);
        if kept.is_ok() && Slot::check(&bytes) == Err(SlotFault::Damaged) {
            self.head = slot.sequence().saturating_add(1);
            return Err(JournalFault::Spoiled);
        }
        Err(JournalFault::Memory)
    }

    /// Whether there are numbers left for a whole hole in this epoch, and one for its seal.
    #[must_use]
    pub fn has_room(&self) -> bool {
        self.head < LAST.saturating_sub(HOLE_ROOM) && self.anchor.seals < u32::MAX
    }

    /// Begins the running digest with the next slot.
    pub fn begin_run(&mut self) {
        self.run = Some(Run { first: self.head, chain: Chain::default() });
    }

    /// The run that was to begin with this slot begins behind it.
    fn begin_run_again(&mut self, first: u32) {
        if self.run.as_ref().is_some_and(|run| run.first == first) {
            self.begin_run();
        }
    }

    /// Takes up the running digest of a set-up behind the end of a segment; the slots from there on are then fed by
    /// [`Journal::digest`].
    pub fn resume_run(&mut self, first: u32, end: Option<&End>) {
        self.run = Some(Run { first, chain: end.map_or_else(Chain::default, Chain::behind) });
    }

    /// Feeds the running digest with a slot that is in the memory.
    pub fn digest(&mut self, slot: &Slot) {
        if let Some(run) = &mut self.run {
            run.chain.push(slot);
        }
    }

    /// The running digest as it stands: first sequence, and the end of the segment if it ended here.
    #[must_use]
    pub fn run(&self) -> Option<(u32, End)> {
        self.run.as_ref().map(|run| (run.first, run.chain.end()))
    }

    /// Whether a digest is running: a set-up is open, or taken for open.
    #[must_use]
    pub const fn runs(&self) -> bool {
        self.run.is_some()
    }

    /// Slots of the ring read so far, to measure what a turn reads; turns over.
    #[must_use]
    pub const fn reads(&self) -> u32 {
        self.reads
    }

    /// Ends the running digest.
    pub fn end_run(&mut self) {
        self.run = None;
    }

    /// A host has everything below this on disk.
    pub fn acknowledge<M: Memory>(&mut self, memory: &mut M, epoch: u32, below: u32) {
        if epoch != self.epoch || below <= self.held_below || below > self.head {
            return;
        }
        self.held_below = below;
        self.held_count = self.held_count.wrapping_add(1);
        let [even, odd] = HELD_MARKS;
        let at = if self.held_count.is_multiple_of(2) { even } else { odd };
        self.write_mark(memory, at, HELD_KIND, self.held_count, [self.epoch, below]);
    }

    /// Slots that gave way before any host had them, not yet declared: first and last. `asked` is whether a host waits
    /// for them; otherwise a few are let come together. Where the ring is full the last is the one that the declaration
    /// itself takes the place of.
    #[must_use]
    pub fn undeclared_loss(&mut self, asked: bool) -> Option<(u32, u32)> {
        let from = self.declared.max(self.held_below);
        let lost = self.tail.saturating_sub(from);
        if lost == 0 || (!asked && lost < DECLARE_EVERY) {
            return None;
        }
        let full = self.head.saturating_sub(self.tail) >= self.capacity;
        self.declared = self.tail.saturating_add(u32::from(full));
        Some((from, self.declared.saturating_sub(1)))
    }

    /// What [`Journal::undeclared_loss`] gave did not reach the memory: from there on it is to be declared again.
    pub fn undeclare(&mut self, first: u32) {
        self.declared = first;
    }

    /// Sequence of the oldest slot held.
    #[must_use]
    pub const fn tail(&self) -> u32 {
        self.tail
    }

    /// Sequence that the next slot will have.
    #[must_use]
    pub const fn head(&self) -> u32 {
        self.head
    }

    /// All below this are on some host's disk.
    #[must_use]
    pub const fn held_below(&self) -> u32 {
        self.held_below
    }

    /// Slots that the ring holds.
    #[must_use]
    pub const fn capacity(&self) -> u32 {
        self.capacity
    }

    /// The epoch.
    #[must_use]
    pub const fn epoch(&self) -> u32 {
        self.epoch
    }

    /// Which start of the rig this is.
    #[must_use]
    pub const fn boot(&self) -> u16 {
        self.boot
    }
}

fn read_mark<M: Memory>(memory: &mut M, at: u32, kind: u8) -> Option<(u32, u32, u32)> {
    let mut bytes = [0; SLOT_BYTES];
    memory.read(at, &mut bytes).ok()?;
    let slot = Slot::check(&bytes).ok()?;
    mark_of(&slot, kind).map(|(first, second)| (slot.sequence(), first, second))
}

/// The two words of a mark.
fn mark_of(slot: &Slot, kind: u8) -> Option<(u32, u32)> {
    let (first, rest) = Some(slot.body()).filter(|_| slot.kind() == kind)?.split_first_chunk::<4>()?;
    let (second, _) = rest.split_first_chunk::<4>()?;
    Some((u32::from_le_bytes(*first), u32::from_le_bytes(*second)))
}

fn read_anchor<M: Memory>(memory: &mut M, at: u32) -> Option<Anchor> {
    let mut assembler = Assembler::default();
    let mut bytes = [0; SLOT_BYTES];
    let mut at = at;
    for _ in 0..ANCHOR_SLOTS {
        memory.read(at, &mut bytes).ok()?;
        let slot = Slot::check(&bytes).ok().filter(|slot| slot.kind() == ANCHOR_KIND)?;
        if let Some(whole) = assembler.push(&slot) {
            return Anchor::decode(whole.body);
        }
        at = at.saturating_add(32);
    }
    None
}

#[cfg(test)]
mod tests;
