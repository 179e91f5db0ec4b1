//! Epochs in a ring that goes on: what is of the one before is never given out, and a cut leaves the one or the other.

use super::*;
use crate::journal::{ReadFault, Search};
use crate::memory::tests::Ram;
use shared_protocol::record::{Change, Record};

const RING_AT: usize = 4_096;

fn small() -> Ram {
    Ram::new(RING_AT + 32 * 40)
}

fn recover(memory: &mut Ram) -> (Journal, bool) {
    let (mut journal, mut search) = (Journal::open(memory), Search::default());
    loop {
        if let Some(found) = search.step(&mut journal, memory) {
            return (journal, found.begins);
        }
    }
}

fn change(figure: i32) -> Record {
    Record::Change(Change { figure, ..Change::default() })
}

/// A memory with so many slots of one epoch, all of them held, and then the next epoch begun and what was forgotten.
fn reset_after(slots: u32) -> Ram {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    (0..slots).for_each(|n| assert_eq!(journal.append(&mut memory, &change(1)), Ok(n)));
    journal.acknowledge(&mut memory, 1, slots);
    assert!(journal.begin_epoch(&mut memory));
    assert!(recover(&mut memory).0.resets());
    recover(&mut memory).0.end_reset(&mut memory);
    memory
}

/// Wherever in the ring the first epoch ended, and over two laps and more of the second.
#[test]
fn the_next_epoch_begins_behind_the_last_and_its_head_is_found_wherever_it_stands() {
    for floor in [0, 1, 7, 39, 40, 41, 60, 79, 80, 117] {
        let mut memory = reset_after(floor);
        for n in floor..floor + 90 {
            let (mut journal, begins) = recover(&mut memory);
            assert_eq!((journal.epoch(), journal.floor(), journal.resets(), begins), (2, floor, false, n == floor));
            assert_eq!((journal.head(), journal.tail()), (n, n.saturating_sub(40).max(floor)), "{} behind {floor}", n - floor);
            assert_eq!(journal.held_below(), floor, "nobody has any of it, and what was before is no loss");
            assert_eq!(journal.undeclared_loss(true), (n > floor + 40).then(|| (floor, n - 40)));
            for old in floor.saturating_sub(40)..floor {
                assert_eq!(journal.read(&mut memory, old), Err(ReadFault::Absent));
            }
            assert_eq!(journal.append(&mut memory, &change(2)), Ok(n));
        }
    }
}

#[test]
fn a_slot_that_is_torn_as_the_first_of_an_epoch_is_passed_over_and_the_epoch_still_begins() {
    let mut memory = reset_after(57);
    memory.bytes[RING_AT..RING_AT + 9].fill(0x5A);
    let (mut journal, mut search) = (Journal::open(&mut memory), Search::default());
    let found = loop {
        if let Some(found) = search.step(&mut journal, &mut memory) {
            break found;
        }
    };
    assert_eq!((journal.head(), journal.boot(), found.torn, found.begins), (58, 1, Some((57, 57)), true));
}

#[test]
fn an_epoch_whose_slots_are_lost_does_not_begin_again() {
    let mut memory = reset_after(57);
    let (mut journal, _) = recover(&mut memory);
    (57..70).for_each(|n| assert_eq!(journal.append(&mut memory, &change(3)), Ok(n)));
    journal.acknowledge(&mut memory, 2, 70);
    memory.bytes[RING_AT..].fill(0);
    let (journal, begins) = recover(&mut memory);
    assert_eq!((journal.head(), begins), (70, false));
}

/// Every mixture of bytes that a cut can leave of one mark, and of the other behind it.
#[test]
fn a_cut_within_either_mark_leaves_the_one_epoch_or_the_other() {
    let mut before = small();
    let (mut journal, _) = recover(&mut before);
    (0..57).for_each(|n| assert_eq!(journal.append(&mut before, &change(1)), Ok(n)));
    let mut begun = Ram { bytes: before.bytes.clone() };
    assert!(journal.begin_epoch(&mut begun));
    let mut done = Ram { bytes: begun.bytes.clone() };
    recover(&mut done).0.end_reset(&mut done);
    for (from, to, states) in [(&before, &begun, [(1, false), (2, true)]), (&begun, &done, [(2, true), (2, false)])] {
        let differing: Vec<usize> = (0..128).filter(|&at| from.bytes[at] != to.bytes[at]).collect();
        assert!((5..32).contains(&differing.len()), "{differing:?}");
        for cut in 0..=differing.len() {
            for garbage in [0x00, 0x5A, 0xFF] {
                let mut memory = Ram { bytes: from.bytes.clone() };
                differing[..cut].iter().for_each(|&at| memory.bytes[at] = to.bytes[at]);
                if let Some(&torn) = differing.get(cut) {
                    memory.bytes[torn] = garbage;
                }
                let state = |journal: &Journal| (journal.epoch(), journal.resets());
                let first = state(&recover(&mut memory).0);
                // A second mark that is torn says nothing, and the first alone is enough once all is forgotten.
                assert!(states.contains(&first), "{first:?} after {cut} bytes");
                assert_eq!(state(&recover(&mut memory).0), first, "and stays so");
            }
        }
    }
}

/// Says yes to writes of marks and keeps none.
struct Deaf(Ram);

impl Memory for Deaf {
    type Error = ();
    fn size(&self) -> u32 {
        self.0.size()
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        self.0.read(at, into)
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
        if at < 128 { Ok(()) } else { self.0.write(at, bytes) }
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

#[test]
fn an_epoch_whose_mark_is_not_kept_does_not_begin_and_the_last_of_all_epochs_goes_on() {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    let mut deaf = Deaf(memory);
    assert!(!journal.begin_epoch(&mut deaf));
    assert_eq!((journal.epoch(), journal.floor()), (1, 0));
    let mut memory = deaf.0;
    journal.epoch = u32::MAX;
    MARKS.into_iter().for_each(|at| journal.write_epoch(&mut memory, at));
    let (mut journal, _) = recover(&mut memory);
    assert!(!journal.begin_epoch(&mut memory));
    assert_eq!(recover(&mut memory).0.epoch(), u32::MAX);
}

/// A memory that cannot be read for a moment is not one without marks.
#[test]
fn marks_that_cannot_be_read_are_not_written_over() {
    struct Silent(Ram);
    impl Memory for Silent {
        type Error = ();
        fn size(&self) -> u32 {
            self.0.size()
        }
        fn read(&mut self, _: u32, _: &mut [u8]) -> Result<(), ()> {
            Err(())
        }
        fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
            self.0.write(at, bytes)
        }
        fn barrier(&mut self) -> Result<(), ()> {
            Ok(())
        }
    }
    let mut silent = Silent(reset_after(57));
    let _ = Journal::open(&mut silent);
    assert_eq!(recover(&mut silent.0).0.epoch(), 2);
}
