//! Two tablets in turn on one rig: neither's acknowledgement harms the other, and together they have everything.

use firmware_app::journal::{Journal, Search};
use host_tool::capture::Notice;
use host_tool::store::Store;
use shared_protocol::record::{Note, Record};
use simulator::bench::Bench;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::{STILL_HOLE, Scenario, TWO_POLE};
use std::path::Path;
use tempfile::TempDir;
use tests::cab::Cab;

fn all_of(store: &Path) -> Vec<shared_protocol::slot::Slot> {
    let store = Store::open_existing(store).expect("a store");
    let [rig] = &store.rigs().expect("readable")[..] else { panic!("one rig") };
    let held = store.stream(rig).expect("readable");
    assert!(held.damaged.is_empty() && held.aside == 0, "{held:?}");
    held.slots
}

#[test]
fn the_second_tablet_gets_all_that_the_rig_still_has_and_either_store_completes_the_other() {
    let folder = TempDir::new().expect("a folder");
    let (first, second) = (folder.path().join("first"), folder.path().join("second"));
    let scenario = Scenario::parse("a test's", TWO_POLE).expect("sound");
    let mut cab = Cab::new(Bench::native(&scenario, 6).expect("fits"), first.clone());
    cab.run_for(400_000);
    cab.kill_host();
    cab.start_other_host(second.clone());
    cab.run_for(300_000);
    cab.kill_host();
    cab.start_other_host(first.clone());
    cab.run_for(60_000);
    let had = cab.stored();
    assert_eq!(had, cab.remembered()[..had.len()], "the first goes on where it was");
    cab.kill_host();
    cab.start_other_host(second.clone());
    cab.finish();
    assert_eq!(cab.stored(), cab.remembered());
    assert!(cab.notices.is_empty() && had.len() > 200, "{:?}", cab.notices);
    let memory = cab.remembered();
    drop(cab);
    assert!(all_of(&first).len() < memory.len());
    Store::open_existing(&first).expect("a store").merge(&second).expect("merged");
    assert_eq!(all_of(&first), memory);
}

/// A rig's memory with so many more slots in it than before.
fn record(memory: &RamMemory, slots: u32) {
    let mut memory = memory.clone();
    let (mut journal, mut search) = (Journal::open(&mut memory), Search::default());
    while search.step(&mut journal, &mut memory).is_none() {}
    for n in 0..slots {
        let text = format!("{n}");
        let note = Note { text: text.as_str().try_into().expect("fits"), ..Note::default() };
        journal.append(&mut memory, &Record::Note(note)).expect("kept");
    }
}

fn listen(memory: &RamMemory, store: &Path) -> Cab<NativeMachine> {
    let scenario = Scenario::parse("a test's", STILL_HOLE).expect("sound");
    let machine = NativeMachine::start(memory.clone()).expect("starts");
    let mut cab = Cab::new(Bench::by_hand(&scenario, 1, machine).expect("fits"), store.to_owned());
    cab.run_for(1_000);
    cab.drain();
    cab
}

#[test]
fn what_the_rig_let_go_because_the_first_has_it_the_second_says_and_merging_brings() {
    let folder = TempDir::new().expect("a folder");
    let (first, second) = (folder.path().join("first"), folder.path().join("second"));
    let memory = RamMemory::default();
    record(&memory, 15_000);
    let cab = listen(&memory, &first);
    assert!(cab.notices.is_empty() && cab.stored().len() > 15_000);
    drop(cab);
    record(&memory, 3_000); // more than there is room for: the oldest give way
    let cab = listen(&memory, &second);
    let (held, there) = (cab.stored(), cab.remembered());
    let tail = held[0].sequence();
    assert!(tail > 1_000 && held.len() > 16_000, "{tail}, {}", held.len());
    assert!(held.ends_with(&there[there.len() - 16_000..]));
    let mut next = 0;
    for notice in &cab.notices {
        // a second one for what gave way while it was fetching
        let Notice::Elsewhere(_, first, last) = notice else { panic!("{notice:?}") };
        assert_eq!(*first, next);
        next = last + 1;
    }
    assert_eq!(next, tail);
    let lost = |slot: &shared_protocol::slot::Slot| matches!(Record::decode(slot.kind(), slot.body()), Ok(Record::Gap(_)));
    assert!(!held.iter().any(lost), "the rig lost nothing: somebody has it");
    drop(cab);
    let cab = listen(&memory, &first);
    assert!(cab.notices.is_empty(), "{:?}", cab.notices);
    drop(cab);
    for (mine, other) in [(&second, &first), (&first, &second)] {
        Store::open_existing(mine).expect("a store").merge(other).expect("merged");
        let numbers = all_of(mine).iter().zip(0..).all(|(slot, number)| slot.sequence() == number);
        assert!(numbers && all_of(mine).len() > 18_000, "{mine:?}");
    }
    assert_eq!(all_of(&first), all_of(&second));
}
