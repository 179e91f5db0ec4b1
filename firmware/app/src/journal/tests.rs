//! The ring over laps, torn slots and losses; the digest that runs over it and the marks beside it.

use super::*;
use crate::memory::tests::Ram;
use sha2::{Digest, Sha256};
use shared_protocol::record::{Change, Note};

fn small() -> Ram {
    Ram::new(4_096 + 32 * 40)
}

/// The journal of a memory, and what its search found.
fn recover(memory: &mut Ram) -> (Journal, Found) {
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
