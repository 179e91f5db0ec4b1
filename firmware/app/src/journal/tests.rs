//! The ring over laps, torn slots and losses; the digest that runs over it and the marks beside it.

use super::*;
use crate::memory::tests::Ram;
use sha2::{Digest, Sha256};
use shared_protocol::record::{Change, Note};

fn small() -> Ram {
    Ram::new(4_096 + 32 * 40)
}

/// The journal of a memory, and what its search found.
fn recover<M: Memory>(memory: &mut M) -> (Journal, Found) {
    let (mut journal, mut search) = (Journal::open(memory), Search::default());
    loop {
        let before = journal.reads();
        let found = search.step(&mut journal, memory);
        assert!(journal.reads().wrapping_sub(before) <= STEP_READS);
        if let Some(found) = found {
            return (journal, found);
        }
        assert_eq!(journal.append(memory, &change(0)), Err(JournalFault::HeadUnknown));
    }
}

fn change(figure: i32) -> Record {
    Record::Change(Change { figure, ..Change::default() })
}

#[test]
fn an_empty_memory_starts_at_nought() {
    let mut memory = small();
    let (journal, found) = recover(&mut memory);
    assert_eq!((journal.head(), journal.tail(), journal.boot(), journal.capacity(), found.torn), (0, 0, 1, 40, None));
}

#[test]
fn the_head_is_found_wherever_it_stands_over_three_laps() {
    let mut memory = small();
    for n in 0..125 {
        let (mut journal, found) = recover(&mut memory);
        assert_eq!((journal.head(), found.torn), (n, None));
        assert_eq!(journal.tail(), n.saturating_sub(40));
        assert_eq!(journal.append(&mut memory, &change(1)), Ok(n));
    }
}

#[test]
fn a_torn_slot_is_skipped_wherever_it_stands() {
    for n in 0..125u32 {
        let mut memory = small();
        let (mut journal, _) = recover(&mut memory);
        (0..n).for_each(|_| assert!(journal.append(&mut memory, &change(1)).is_ok()));
        let at = 4_096 + (n % 40) as usize * 32;
        memory.bytes[at..at + 9].copy_from_slice(&[0x5A; 9]); // nine bytes of the next slot, then the cut
        let (journal, found) = recover(&mut memory);
        assert_eq!((journal.head(), found.torn), (n + 1, Some((n, n))), "after {n}");
    }
}

#[test]
fn several_torn_slots_are_skipped_and_what_a_host_has_is_never_numbered_again() {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    (0..10).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
    memory.bytes[4_096 + 32 * 10..][..64].fill(0x5A);
    let (journal, found) = recover(&mut memory);
    assert_eq!((journal.head(), found.torn), (12, Some((10, 11))));
    let (mut journal, _) = recover(&mut memory);
    journal.acknowledge(&mut memory, 1, 10);
    memory.bytes[4_096..].fill(0); // all slots lost, the marks not
    let (journal, found) = recover(&mut memory);
    assert_eq!((journal.head(), found.torn), (10, Some((0, 9))));
}

#[test]
fn what_is_written_is_read_back_and_what_gave_way_is_absent() {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    for n in 0..60 {
        journal.append(&mut memory, &change(n)).unwrap();
    }
    for sequence in 20..60u32 {
        let slot = journal.read(&mut memory, sequence).unwrap();
        let record = Record::decode(slot.kind(), slot.body()).unwrap();
        assert_eq!(record, change(i32::try_from(sequence).unwrap()));
    }
    assert_eq!(journal.read(&mut memory, 19), Err(ReadFault::Absent));
    assert_eq!(journal.read(&mut memory, 60), Err(ReadFault::Absent));
}

#[test]
fn loss_is_declared_only_where_no_host_had_it() {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    (0..50).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
    journal.acknowledge(&mut memory, 1, 45);
    (50..100).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
    assert_eq!(journal.undeclared_loss(false), None, "15 lost: not yet");
    (100..120).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
    assert_eq!(journal.undeclared_loss(false), Some((45, 80)), "80 gives way to the declaration itself");
    assert_eq!(journal.undeclared_loss(true), None);
    (120..123).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
    assert_eq!(journal.undeclared_loss(false), None, "2 lost, and nobody asks");
    assert_eq!(journal.undeclared_loss(true), Some((81, 83)), "somebody asks");
}

#[test]
fn acknowledgements_survive_a_restart_and_foolish_ones_are_ignored() {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    (0..10).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
    for (epoch, below) in [(1, 4), (1, 7), (1, 5), (2, 9), (1, 11)] {
        journal.acknowledge(&mut memory, epoch, below);
    }
    assert_eq!(journal.held_below(), 7);
    assert_eq!(recover(&mut memory).0.held_below(), 7);
}

#[test]
fn the_digest_is_sha_256_over_the_slots_in_order_and_ends_a_segment_with_a_checkpoint() {
    let mut memory = Ram::new(4_096 + 32 * 400);
    let (mut journal, _) = recover(&mut memory);
    journal.append(&mut memory, &change(0)).unwrap();
    journal.begin_run();
    let note = Record::Note(Note { text: "water at 2 m, none above it".try_into().unwrap(), ..Note::default() });
    journal.append(&mut memory, &note).unwrap();
    let (first, end) = journal.run().unwrap();
    assert_eq!((first, end.slots, end.before), (1, 2, [0; 32]));
    let over = |slots: core::ops::Range<usize>| Sha256::digest(&memory.bytes[4_096 + 32 * slots.start..4_096 + 32 * slots.end]);
    assert_eq!(end.segment[..], over(1..3)[..]);
    (3..=128).for_each(|n| assert_eq!(journal.append(&mut memory, &change(n)), Ok(u32::try_from(n).unwrap())));
    let parts: Vec<Slot> = (129..133).map(|n| journal.read(&mut memory, n).unwrap()).collect();
    let mut assembler = Assembler::default();
    let whole = parts.iter().find_map(|slot| assembler.push(slot).map(|whole| Record::decode(whole.kind, whole.body).unwrap()));
    let Some(Record::Checkpoint(checkpoint)) = whole else { panic!("{whole:?}") };
    let over = |slots: core::ops::Range<usize>| Sha256::digest(&memory.bytes[4_096 + 32 * slots.start..4_096 + 32 * slots.end]);
    assert_eq!((checkpoint.first, checkpoint.from, checkpoint.slots), (1, 0, 128));
    assert_eq!(checkpoint.segment[..], over(1..129)[..]);
    let (_, end) = journal.run().unwrap();
    assert_eq!((end.from, end.slots, end.before), (128, 132, End::from(&checkpoint).digest()));
    assert_eq!(end.segment[..], over(129..133)[..], "the checkpoint's own slots are in the segment after it");
}

#[test]
fn the_last_seal_is_remembered_through_a_cut_and_nothing_older_takes_its_place() {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    assert_eq!(*journal.last_seal(), Anchor::default());
    let seal = |number| Seal { number, ..Seal::default() };
    journal.anchor(&mut memory, 5, &seal(0));
    journal.anchor(&mut memory, 30, &seal(1));
    journal.anchor(&mut memory, 5, &seal(0));
    let last = Anchor { epoch: 1, sequence: 30, sum: seal(1).sum(), seals: 2 };
    assert_eq!((*journal.last_seal(), *recover(&mut memory).0.last_seal()), (last, last));
    memory.bytes[256 + 40] ^= 1; // in the newer of the two
    assert_eq!(recover(&mut memory).0.last_seal().seals, 1);
}

/// Says yes to every write and keeps none, or keeps one byte of the ring as it is.
struct Liar {
    ram: Ram,
    keeps_nothing: bool,
    stuck: Option<usize>,
}

impl Liar {
    fn new(stuck: Option<usize>) -> Self {
        Self { ram: small(), keeps_nothing: false, stuck }
    }
}

impl Memory for Liar {
    type Error = ();
    fn size(&self) -> u32 {
        self.ram.size()
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        self.ram.read(at, into)
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
        let before = self.stuck.map(|at| self.ram.bytes[at]);
        if !self.keeps_nothing {
            self.ram.write(at, bytes)?;
        }
        if let (Some(at), Some(before)) = (self.stuck, before) {
            self.ram.bytes[at] = before;
        }
        Ok(())
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

#[test]
fn what_a_memory_says_it_keeps_and_does_not_is_not_kept() {
    for laps in [0, 2] {
        let mut memory = Liar::new(None);
        let (mut journal, _) = recover(&mut memory);
        (0..5 + laps * 40).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
        let head = journal.head();
        memory.keeps_nothing = true;
        for n in 1..=10 {
            assert_eq!(journal.append(&mut memory, &change(7)), Err(JournalFault::Memory), "over {laps} laps");
            assert_eq!((journal.head(), journal.memory_faults), (head, n), "no number is used up");
        }
        memory.keeps_nothing = false;
        assert_eq!(journal.append(&mut memory, &change(8)), Ok(head));
        assert_eq!(recover(&mut memory).0.head(), head + 1);
    }
}

/// A place with a byte that does not change is passed over, by records of one part and of several, in every lap.
#[test]
fn a_stuck_byte_costs_its_slot_and_no_record() {
    let texts = ["water at 2.1 m", "gravel from 2.4 m down to 3.1 m, coarse and dry, none above it"];
    for text in texts {
        let note = Record::Note(Note { text: text.try_into().unwrap(), ..Note::default() });
        let mut memory = Liar::new(Some(4_096 + 32 * 11 + 30)); // in a check, which is hardly ever 0
        let (mut journal, _) = recover(&mut memory);
        for n in 0..60 {
            let first = journal.append(&mut memory, &note).unwrap_or_else(|fault| panic!("note {n}: {fault:?}"));
            let mut assembler = Assembler::default();
            let whole = (first..journal.head()).find_map(|s| {
                let slot = journal.read(&mut memory, s).unwrap();
                assembler.push(&slot).map(|whole| Record::decode(whole.kind, whole.body).unwrap())
            });
            assert_eq!(whole, Some(note.clone()), "note {n}");
            assert!(!(first..journal.head()).any(|s| s % 40 == 11), "nothing stands at the bad place");
            let bad_is_next = journal.head() % 40 == 11 && journal.head() > 40; // a start passes it over at once
            assert_eq!(recover(&mut memory).0.head(), journal.head() + u32::from(bad_is_next));
        }
        assert!(journal.memory_faults >= 2, "once in each lap");
    }
}

/// The digest of a hole begins with the slot that its first record begins with, wherever that had to go.
#[test]
fn a_run_begins_behind_the_place_that_spoils_its_first_record() {
    let mut memory = Liar::new(Some(4_096 + 32 + 30));
    let (mut journal, _) = recover(&mut memory);
    journal.begin_run();
    let note = Record::Note(Note { text: "one part and another, and a third".try_into().unwrap(), ..Note::default() });
    let first = journal.append(&mut memory, &note).unwrap();
    let (run, end) = journal.run().unwrap();
    assert_eq!((first, run, end.slots), (2, 2, journal.head() - 2));
}

/// A memory whose newest slot is this one.
fn up_to(sequence: u32, boot: u16) -> Ram {
    let mut memory = small();
    let place = 4_096 + 32 * (sequence % 40) as usize;
    // The lap that it is in fills the ring from its start.
    for back in 0..=sequence % 40 {
        let slot = Slot::build(sequence - back, boot, Change::KIND, Part::ONLY, &[0; 14]).unwrap();
        memory.bytes[place - 32 * back as usize..][..32].copy_from_slice(slot.bytes());
    }
    memory
}

#[test]
fn the_last_numbers_are_kept_and_nothing_comes_round_to_nought() {
    let mut memory = up_to(LAST - 3, 1);
    let (mut journal, _) = recover(&mut memory);
    assert_eq!((journal.head(), journal.has_room()), (LAST - 2, false));
    for n in LAST - 2..=LAST {
        assert_eq!(journal.append(&mut memory, &change(1)), Ok(n));
    }
    for _ in 0..100 {
        assert_eq!(journal.append(&mut memory, &change(1)), Err(JournalFault::Full));
    }
    let (mut again, found) = recover(&mut memory);
    assert_eq!((again.head(), again.tail(), found.torn), (LAST + 1, LAST - 39, None));
    assert!(again.read(&mut memory, LAST).is_ok());
    assert_eq!(again.append(&mut memory, &change(1)), Err(JournalFault::Full));
}

#[test]
fn a_hole_has_room_until_a_million_numbers_are_left() {
    for (newest, room) in [(LAST - HOLE_ROOM - 2, true), (LAST - HOLE_ROOM - 1, false)] {
        assert_eq!(recover(&mut up_to(newest, 1)).0.has_room(), room, "{newest}");
    }
}

/// Marks are counted round: the newer of two is in force on either side.
#[test]
fn the_newer_mark_of_what_is_held_is_in_force_round_the_wrap_of_their_count() {
    let mut memory = small();
    let (mut journal, _) = recover(&mut memory);
    (0..20).for_each(|n| assert!(journal.append(&mut memory, &change(n)).is_ok()));
    journal.held_count = u32::MAX - 3;
    for below in 1..=8 {
        journal.acknowledge(&mut memory, 1, below);
        let again = recover(&mut memory).0;
        assert_eq!((again.held_below(), again.held_count), (below, journal.held_count));
    }
    assert!(journal.held_count < 8, "it has come round");
}
