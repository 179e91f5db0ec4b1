//! Blocks filled in any order, at both ends of the sequences, with rot in their slots and in their heads.

use super::super::tests::{in_folder, rot, slot};
use super::super::{Held, Store};
use super::*;
use crate::session::Stream;

fn stream(rig: &str) -> Stream {
    Stream { rig: rig.to_owned(), epoch: 1 }
}

fn all(numbers: impl IntoIterator<Item = u32>) -> Vec<Slot> {
    numbers.into_iter().map(|n| slot(n, b"whole")).collect()
}

fn number_of_blocks(store: &Store) -> u32 {
    store.db.query_row("SELECT count(*) FROM blocks", [], |row| row.get(0)).unwrap()
}

#[test]
fn slots_come_in_any_order_and_stand_in_rising_sequence() {
    for step in [1, 7, 30] {
        let mut store = Store::in_memory(1).unwrap();
        let slots = all(50..200);
        for from in 0..step {
            let some: Vec<Slot> = slots.iter().copied().skip(from).step_by(step).collect();
            assert_eq!(some.chunks(9).map(|some| store.keep(&stream("A"), some).unwrap().new as usize).sum::<usize>(), some.len());
        }
        assert_eq!(number_of_blocks(&store), 6, "31 to 216");
        assert_eq!(store.stream(&stream("A")).unwrap(), Held { slots: slots.clone(), ..Held::default() });
        for (first, last) in [(0, 49), (50, 61), (61, 62), (70, 80), (92, 94), (185, 186), (63, 4_000_000_000)] {
            let part = store.part(&stream("A"), first, last).unwrap().slots;
            assert_eq!(part, all((50..200).filter(|n| (first..=last).contains(n))), "{first} to {last}");
        }
        assert_eq!((store.end(&stream("A")).unwrap(), store.next_wanted(&stream("A"), 50).unwrap()), (200, 200));
        assert_eq!(store.keep(&stream("A"), &slots).unwrap().same, 150);
    }
}

#[test]
fn each_stream_has_blocks_of_its_own_up_to_the_last_sequence_there_is() {
    let mut store = Store::in_memory(1).unwrap();
    let top = u32::MAX - 40;
    for rig in ["A", "B", "C"] {
        store.keep(&stream(rig), &all(0..62)).unwrap();
        store.keep(&stream(rig), &all(top..=u32::MAX)).unwrap();
    }
    for rig in ["A", "B", "C"] {
        assert_eq!(store.stream(&stream(rig)).unwrap().slots, all((0..62).chain(top..=u32::MAX)));
        assert_eq!(store.missing(&stream(rig)).unwrap(), [(62, top - 1)]);
    }
}

#[test]
fn a_slot_that_rots_is_said_and_mended_and_one_that_differs_is_kept_aside() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&stream("A"), &all(0..62)).unwrap();
    rot(&store, &stream("A"), 33, [7; SLOT_BYTES]);
    assert_eq!(store.stream(&stream("A")).unwrap().damaged, [33]);
    assert_eq!(store.next_wanted(&stream("A"), 0).unwrap(), 33);
    let kept = store.keep(&stream("A"), &[slot(32, b"whole"), slot(33, b"whole"), slot(34, b"other")]).unwrap();
    assert_eq!((kept.new, kept.same, kept.differing), (1, 1, vec![34]));
    let held = store.stream(&stream("A")).unwrap();
    assert_eq!((held.slots, held.damaged, held.aside), (all(0..62), vec![], 2));
}

/// Every bit of a block's row turned over, one by one: no slot is taken for another, and none that stands is lost but by its own bits.
#[test]
fn whatever_rots_in_a_row_costs_one_slot_at_most() {
    let mut block = Block::empty(62);
    for n in [62, 63, 70, 71, 72, 92] {
        *block.at(n) = Some(*slot(n, b"whole").bytes());
    }
    let bytes = block.bytes(5);
    assert_eq!(bytes.len(), HEAD + 6 * SLOT_BYTES + SUM);
    for bit in 0..bytes.len() * 8 {
        let mut rotten = bytes.clone();
        rotten[bit / 8] ^= 1 << (bit % 8);
        assert!(sum(number(5, 62), &rotten[..rotten.len() - SUM]) != rotten[rotten.len() - SUM..], "bit {bit} is seen");
        let read = Block::of(62, &rotten);
        let good: Vec<Slot> =
            read.each().filter(|(at, bytes)| !is_rotten(bytes, *at)).filter_map(|(_, bytes)| Slot::check(bytes).ok()).collect();
        let hit = (bit / 8).checked_sub(HEAD).map(|at| at / SLOT_BYTES).filter(|nth| *nth < 6);
        let expected: Vec<Slot> =
            (0..).zip([62, 63, 70, 71, 72, 92]).filter(|(nth, _)| hit != Some(*nth)).map(|(_, n)| slot(n, b"whole")).collect();
        assert_eq!(good, expected, "bit {bit}");
    }
    for length in 0..bytes.len() {
        assert!(
            Block::of(62, &bytes[..length]).each().all(|(at, bytes)| Slot::check(bytes).is_ok_and(|slot| slot.sequence() == at)),
            "{length}"
        );
    }
}

#[test]
fn gaps_are_found_without_the_rest() {
    let mut store = Store::in_memory(1).unwrap();
    let gap = |n| Slot::build(n, 1, GAP, shared_protocol::slot::Part::ONLY, b"gap").unwrap();
    store.keep(&stream("A"), &[all(0..40), vec![gap(40)], all(41..100), vec![gap(100)]].concat()).unwrap();
    let id = super::super::id_of(&store.db, &stream("A")).unwrap();
    assert_eq!(gaps(&store.db, id, 0).unwrap(), [gap(40), gap(100)]);
    assert_eq!(gaps(&store.db, id, 41).unwrap(), [gap(100)]);
    let plan: String =
        store.db.query_row(&format!("EXPLAIN QUERY PLAN {OF_A_STREAM} AND gaps > 0 ORDER BY id"), [0, i64::MAX], |row| row.get(3)).unwrap();
    assert!(plan.contains("blocks_with_gaps"), "{plan}");
}

/// SQLite says how many pages a stream takes that comes as a rig sends it.
#[test]
fn what_is_kept_is_a_twentieth_longer_than_the_slots_at_most() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    let pages = |store: &Store| f64::from(store.pragma("page_count").unwrap() - store.pragma("freelist_count").unwrap());
    let before = pages(&store);
    let slots = all(0..24_800);
    slots.chunks(25).for_each(|some| drop(store.keep(&stream("A"), some).unwrap()));
    let ratio = (pages(&store) - before) * 4_096.0 / (24_800.0 * 32.0);
    assert!((1.03..1.05).contains(&ratio), "{ratio}");
}
