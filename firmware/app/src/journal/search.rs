//! Where the head is: bisection by laps, then past what power cuts tore, a few reads at a time.

use super::{Journal, PROBES, ReadFault, TORN_MAX};
use crate::memory::Memory;
use shared_protocol::slot::Slot;

/// Slots that one step of the search reads at most.
pub const STEP_READS: u32 = PROBES * 2;

/// What recovery found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Found {
    /// Slots that power cuts tore, first and last: their numbers are skipped.
    pub torn: Option<(u32, u32)>,
    /// There is no slot of this epoch, and no host has one: it begins now.
    pub begins: bool,
}

/// The newest slot met so far.
#[derive(Clone, Copy, Debug)]
struct Newest {
    sequence: u32,
    boot: u16,
}

impl From<Slot> for Newest {
    fn from(slot: Slot) -> Self {
        Self { sequence: slot.sequence(), boot: slot.boot() }
    }
}

/// How far the search for the head has come. Begins with [`Search::default`].
#[derive(Clone, Copy, Debug, Default)]
pub enum Search {
    /// The lap that the ring begins with is the newest.
    #[default]
    First,
    /// Nothing at the start of the ring: either nothing at all, or a lap whose first slots are torn.
    Last,
    /// The newest lap reaches `low`, where `newest` stands, and not `high`.
    Between(Between),
    /// From `first` on slots are torn, or belong to a host; so many were skipped.
    Torn(Torn),
}

/// Places between which the newest lap ends.
#[derive(Clone, Copy, Debug)]
pub struct Between {
    low: u32,
    high: u32,
    newest: Newest,
}

/// What is skipped at the head.
#[derive(Clone, Copy, Debug)]
pub struct Torn {
    first: u32,
    skipped: u32,
    begins: bool,
}

impl Search {
    /// Goes on by at most [`STEP_READS`] reads; says what was found when the head is known.
    pub fn step<M: Memory>(&mut self, journal: &mut Journal, memory: &mut M) -> Option<Found> {
        *self = match *self {
            Self::First => match journal.probe(memory, 0, journal.capacity) {
                Some((low, slot)) => Self::Between(Between { low, high: journal.capacity, newest: slot.into() }),
                None => Self::Last,
            },
            Self::Last => {
                let last_places = journal.capacity.saturating_sub(PROBES)..journal.capacity;
                let newest = last_places.rev().find_map(|place| journal.at_place(memory, place).ok());
                behind(journal, newest.map(Newest::from))
            }
            Self::Between(between) => between.step(journal, memory),
            Self::Torn(torn) => match torn.step(journal, memory) {
                Ok(found) => return Some(found),
                Err(torn) => Self::Torn(torn),
            },
        };
        None
    }
}

/// The head is behind the newest slot, unless what comes there is torn.
fn behind(journal: &mut Journal, newest: Option<Newest>) -> Search {
    let begins = newest.is_none() && journal.held_below <= journal.floor;
    journal.head = newest.map_or(journal.floor, |newest| newest.sequence.saturating_add(1));
    journal.boot = newest.map_or(journal.boot, |newest| newest.boot.wrapping_add(1));
    Search::Torn(Torn { first: journal.head, skipped: 0, begins })
}

impl Between {
    fn step<M: Memory>(self, journal: &mut Journal, memory: &mut M) -> Search {
        let Self { low, high, newest } = self;
        let capacity = journal.capacity;
        let same_lap = |journal: &Journal, slot: &Slot| journal.lap(slot.sequence()) == journal.lap(newest.sequence);
        if high.saturating_sub(low) > PROBES {
            let middle = low.midpoint(high);
            return Search::Between(match journal.probe(memory, middle, high) {
                Some((low, slot)) if same_lap(journal, &slot) => Self { low, high, newest: slot.into() },
                _ => Self { low, high: middle, newest },
            });
        }
        let close_by = low..capacity.min(low.saturating_add(STEP_READS));
        let last = close_by.filter_map(|place| journal.at_place(memory, place).ok().filter(|slot| same_lap(journal, slot))).last();
        behind(journal, Some(last.map_or(newest, Newest::from)))
    }
}

impl Torn {
    fn step<M: Memory>(self, journal: &mut Journal, memory: &mut M) -> Result<Found, Self> {
        // A number that a host has is never given again, even where the memory has lost what it stood for.
        let floor = journal.held_below;
        let whole = |journal: &mut Journal, memory| journal.raw(memory, journal.head) != Err(ReadFault::Damaged);
        if self.skipped >= TORN_MAX || journal.head >= floor && whole(journal, memory) {
            journal.tail = journal.head.saturating_sub(journal.capacity).max(journal.floor);
            journal.head_known = true;
            let torn = (journal.head > self.first).then(|| (self.first, journal.head.saturating_sub(1)));
            return Ok(Found { torn, begins: self.begins });
        }
        journal.head = floor.max(journal.head.saturating_add(1));
        Err(Self { skipped: self.skipped.saturating_add(1), ..self })
    }
}
