//! Slots as they come: which is next, what is missing, when to ask for it again. Loss is never bridged or guessed.
//!
//! A slot does not say which rig it is from, so slots wait here until the next hello has said that it is still
//! the same one: a cable that is put into another rig cannot mix two rigs' records.

use shared_protocol::message::Slots;
use shared_protocol::record::{Gap, Record};
use shared_protocol::slot::Slot;
use std::collections::BTreeMap;

/// Slots are not asked for again more often than this, ms.
const REPLAY_EVERY_MS: u64 = 500;
/// With slots due, nothing coming for so long means that the rig is not sending, ms.
const STALL_MS: u64 = 1_500;
/// So many times, with no damaged frame before it, the rig must begin at the same place beyond what was asked
/// for, until it is believed that what was asked for is not there.
const TRIES: u8 = 3;
/// Slots that wait at most, in order or ahead of it; what comes beyond is asked for again.
const WAITING_MAX: usize = 4_096;
/// Stretches that are asked for once more at a time: as many as the rig keeps waiting.
const STRETCHES: usize = 8;
/// A stretch is not asked for once more again before so long: what the rig had ready to send comes first, ms.
const REPEAT_EVERY_MS: u64 = 400;
/// So many times, until all from there on is asked for again: a rig may not know how to repeat.
const REPEATS: u8 = 5;

/// One stream's intake.
#[derive(Debug)]
pub(super) struct Intake {
    next: u32,
    confirmed: u32,
    waiting: Vec<Slot>,
    /// What came from further on while something before it is missing.
    ahead: BTreeMap<u32, Slot>,
    /// Stretches that were asked for once more, by their last sequence, since they fill from the front: when, and how often.
    repeats: BTreeMap<u32, (u64, u8)>,
    brought: u64,
    replayed: Option<u64>,
    damaged: u64,
    beyond: Option<Beyond>,
    begins: Option<(u32, u8)>,
}

/// Where the rig began again, later than was asked.
#[derive(Clone, Copy, Debug)]
struct Beyond {
    at: u32,
    clean: bool,
}

/// What to ask the rig for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// All from here on.
    From(u32),
    /// These only: first and last.
    Stretch(u32, u32),
}

/// Slots that will not come: first and last.
pub(super) type Missing = (u32, u32);

impl Intake {
    /// Wants everything from `next` on.
    pub(super) fn new(next: u32, now: u64) -> Self {
        Self {
            next,
            confirmed: next,
            waiting: Vec::new(),
            ahead: BTreeMap::new(),
            repeats: BTreeMap::new(),
            brought: now,
            replayed: None,
            damaged: 0,
            beyond: None,
            begins: None,
        }
    }

    /// Everything below this has been handed out for storing, as far as the rig has it.
    pub(super) fn confirmed(&self) -> u32 {
        self.confirmed
    }

    /// Whether a hello is wanted soon: slots wait for it, or a break may be explained by it.
    pub(super) fn needs_hello(&self) -> bool {
        !self.waiting.is_empty() || self.beyond.is_some()
    }

    /// Takes a message of slots; `damaged` counts the line's damaged frames.
    pub(super) fn take(&mut self, now: u64, slots: Slots<'_>, damaged: u64) {
        self.brought = now;
        let mut before = None; // the slot before this one in the same frame
        for slot in slots.iter().flatten() {
            let sequence = slot.sequence();
            let frame_says_so = before.is_some_and(|b| b < self.next);
            before = Some(sequence);
            if sequence < self.next {
                continue; // here already
            }
            let believed = sequence == self.next || frame_says_so || self.declared(sequence, slots);
            if !believed || self.waiting.len() >= WAITING_MAX {
                // The least: what was on its way when slots were asked for again still comes first, from further on.
                if self.beyond.is_none_or(|beyond| sequence < beyond.at) {
                    self.beyond = Some(Beyond { at: sequence, clean: damaged == self.damaged });
                }
                // What was on its way when all was asked for again is not kept: it would look as if the rest were missing.
                let settled = self.replayed.is_some_and(|at| now.saturating_sub(at) >= REPEAT_EVERY_MS);
                if settled && self.ahead.len() < WAITING_MAX {
                    self.ahead.insert(sequence, slot);
                }
                continue;
            }
            self.wait(slot);
        }
        self.catch_up();
    }

    /// What was ahead and is next now waits with the others.
    fn catch_up(&mut self) {
        while self.waiting.len() < WAITING_MAX
            && let Some(slot) = self.ahead.remove(&self.next)
        {
            self.wait(slot);
        }
        self.forget_passed();
    }

    fn wait(&mut self, slot: Slot) {
        self.waiting.push(slot);
        self.next = slot.sequence().saturating_add(1);
        (self.beyond, self.begins) = (None, None);
    }

    /// What is behind the next slot is not ahead of it any more.
    fn forget_passed(&mut self) {
        self.ahead = self.ahead.split_off(&self.next);
        self.repeats = self.repeats.split_off(&self.next);
    }

    /// Stretches that are missing before what came from further on, and are to be asked for now. None where the first was
    /// asked for in vain: then all from there on is.
    fn stretches(&mut self, now: u64) -> Vec<Wanted> {
        let (mut from, mut wanted, mut missing) = (self.next, Vec::new(), Vec::new());
        for &there in self.ahead.keys() {
            if there > from {
                missing.push((from, there - 1));
            }
            from = there.saturating_add(1);
            if missing.len() >= STRETCHES {
                break;
            }
        }
        for (first, last) in missing {
            let (at, times) = self.repeats.get(&last).copied().unwrap_or((0, 0));
            if first == self.next && times >= REPEATS {
                break;
            }
            if times < REPEATS && (times == 0 || now.saturating_sub(at) >= REPEAT_EVERY_MS) {
                self.repeats.insert(last, (now, times + 1));
                wanted.push(Wanted::Stretch(first, last));
            }
        }
        wanted
    }

    /// Whether the next slot may still come by being asked for once more.
    fn repeats_go_on(&self, now: u64) -> bool {
        let asked = self.ahead.keys().next().and_then(|there| self.repeats.get(&(there - 1)));
        asked.is_some_and(|(at, times)| *times < REPEATS || now.saturating_sub(*at) < REPEAT_EVERY_MS)
    }

    /// Whether a gap record in the same message says that all from the next slot up to `sequence` is not there.
    fn declared(&self, sequence: u32, slots: Slots<'_>) -> bool {
        slots.iter().flatten().filter_map(|slot| gap_of(&slot)).any(|gap| gap.first <= self.next && gap.last >= sequence - 1)
    }

    /// The rig is still the same: what has come is its own. `head` is where its memory ends; a slot from beyond
    /// it is not believed, nor is the gap before it. Returns the slots, and what is missing between them.
    pub(super) fn confirm(&mut self, head: u32) -> (Vec<Slot>, Vec<Missing>) {
        let mut slots = std::mem::take(&mut self.waiting);
        let came = slots.len();
        slots.retain(|slot| slot.sequence() < head);
        let end = slots.last().map_or(self.confirmed, |slot| slot.sequence() + 1);
        self.next = if slots.len() < came { end } else { self.next.min(head) };
        let mut missing = Vec::new();
        for slot in &slots {
            if slot.sequence() > self.confirmed {
                missing.push((self.confirmed, slot.sequence() - 1));
            }
            self.confirmed = slot.sequence() + 1;
        }
        drop(self.ahead.split_off(&head));
        self.forget_passed();
        (slots, missing)
    }

    /// What is below `tail` is gone; returns what was still wanted of it. Call it when all is confirmed.
    pub(super) fn raise(&mut self, tail: u32) -> Option<Missing> {
        let gone = (tail > self.next).then(|| (self.confirmed, tail - 1))?;
        *self = Self::new(tail, self.brought);
        Some(gone)
    }

    /// What to ask for now. Gives up what the rig has not got.
    pub(super) fn wanted(&mut self, now: u64, head: u32, damaged: u64) -> Vec<Wanted> {
        if self.replayed.is_some() {
            let stretches = self.stretches(now);
            if !stretches.is_empty() || self.repeats_go_on(now) {
                return stretches;
            }
        }
        if self.replay(now, head, damaged) { vec![Wanted::From(self.next)] } else { Vec::new() }
    }

    /// Whether to ask for all from the next slot on.
    fn replay(&mut self, now: u64, head: u32, damaged: u64) -> bool {
        if self.replayed.is_some_and(|at| now.saturating_sub(at) < REPLAY_EVERY_MS) {
            return false;
        }
        let stalled = head > self.next && now.saturating_sub(self.brought.max(self.replayed.unwrap_or(0))) >= STALL_MS;
        let beyond = self.beyond.take();
        let due = self.replayed.is_none() || stalled || beyond.is_some();
        if due {
            (self.replayed, self.damaged) = (Some(now), damaged);
        }
        if let Some(beyond) = beyond.filter(|beyond| beyond.clean && beyond.at < head) {
            self.try_again(beyond.at);
        }
        due
    }

    fn try_again(&mut self, beyond: u32) {
        let tries = self.begins.filter(|(at, _)| *at == beyond).map_or(1, |(_, tries)| tries.saturating_add(1));
        self.begins = Some((beyond, tries));
        if tries > TRIES {
            (self.next, self.begins) = (beyond, None);
            self.catch_up();
        }
    }
}

/// The gap record that a slot is, if it is one.
pub(crate) fn gap_of(slot: &Slot) -> Option<Gap> {
    match Record::decode(slot.kind(), slot.body()) {
        Ok(Record::Gap(gap)) => Some(gap),
        _ => None,
    }
}
