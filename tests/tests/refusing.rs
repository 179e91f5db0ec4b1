//! A memory that takes no writes for a while, or cannot be read back: what is missing afterwards has a name.

use shared_protocol::message::{CloseHole, Command, LoadHole, TouchHub};
use shared_protocol::state::{Answer, GapCause};
use simulator::frail::FrailMemory;
use tests::cuts::oracle::{gaps, spoiled_digests};
use tests::cuts::script::{Length, blank, note, plan};
use tests::cuts::site::{Disk, RING_AT, Site};

fn begun() -> (FrailMemory, Site<FrailMemory>) {
    let memory = FrailMemory::new(blank(Length::Long), 1);
    let mut site = Site::start(memory.clone(), Disk::default(), 0);
    site.stay(1_000);
    (memory, site)
}

fn refuse(memory: &FrailMemory) {
    memory.refuse_after(Some(memory.written()));
}

/// The rig starts again on its memory, the host on its disk; after two runs their requests differ too.
fn again(memory: &FrailMemory, disk: Disk) -> Site<FrailMemory> {
    let mut site = Site::start(FrailMemory::new(memory.kept(), 2), disk, 500);
    site.recover();
    site
}

/// Numbers that are on no disk and in no gap.
fn unnamed(disk: &Disk) -> Vec<u32> {
    let (gaps, end) = (gaps(disk), disk.slots.last_key_value().map_or(0, |(last, _)| *last));
    (0..end).filter(|n| !disk.slots.contains_key(n) && !gaps.iter().any(|gap| (gap.first..=gap.last).contains(n))).collect()
}

fn causes(disk: &Disk) -> Vec<GapCause> {
    gaps(disk).iter().filter_map(|gap| GapCause::from_raw(gap.cause)).collect()
}

#[test]
fn a_number_that_the_memory_did_not_take_is_the_next_slots() {
    let (memory, mut site) = begun();
    // Well into the second lap, so that an older slot stands wherever the memory takes nothing.
    for _ in 0..20 {
        assert_eq!(site.ask(note()), Some(Answer::Done));
        site.stay(100); // a turn that records sends nothing
    }
    refuse(&memory);
    (0..20).for_each(|_| assert_eq!(site.ask(note()), Some(Answer::NotRecorded)));
    memory.refuse_after(None);
    assert_eq!(site.ask(note()), Some(Answer::Done));
    assert!(site.drain() && site.disk.slots.len() > 80);
    let mut site = again(&memory, site.disk);
    site.stay(1_000);
    assert_eq!(site.ask(note()), Some(Answer::Done));
    assert!(site.drain());
    assert_eq!((unnamed(&site.disk), &site.disk.conflicts[..], causes(&site.disk)), (vec![], &[][..], vec![]));
}

#[test]
fn a_torn_slot_found_by_a_start_that_cannot_write_is_named_when_it_can() {
    let (memory, mut site) = begun();
    assert!(site.drain());
    memory.cut_at(memory.written() + 40);
    assert_eq!(site.ask(note()), Some(Answer::NotRecorded));
    memory.power_up();
    refuse(&memory);
    let mut site = Site::start(memory.clone(), site.disk, 500);
    site.stay(1_000);
    memory.refuse_after(None);
    assert_eq!(site.ask(note()), Some(Answer::Done));
    assert!(site.drain());
    assert_eq!((unnamed(&site.disk), causes(&site.disk)), (vec![], vec![GapCause::Torn]));
}

#[test]
fn slots_that_gave_way_are_named_though_the_memory_takes_nothing_when_a_host_asks() {
    let (memory, mut site) = begun();
    assert_eq!(site.ask(Command::LoadHole(LoadHole { plan: plan() })), Some(Answer::Done));
    site.stay(1_000);
    assert_eq!(site.ask(Command::TouchHub(TouchHub {})), Some(Answer::Done));
    assert!(site.drain());
    site.plug(false);
    site.go(2_000.0, 20.0); // eighty slots into a ring of 64
    refuse(&memory);
    site.plug(true);
    site.stay(3_000);
    memory.refuse_after(None);
    site.go(2_100.0, 20.0);
    assert!(site.drain());
    assert_eq!(unnamed(&site.disk), [0_u32; 0]);
    assert!(!causes(&site.disk).is_empty() && causes(&site.disk).iter().all(|cause| *cause == GapCause::Reclaimed));
}

#[test]
fn a_slot_that_a_start_cannot_read_is_named_before_the_digest_goes_on_without_it() {
    let (memory, mut site) = begun();
    assert_eq!(site.ask(Command::LoadHole(LoadHole { plan: plan() })), Some(Answer::Done));
    assert_eq!(site.ask(note()), Some(Answer::Done));
    assert!(site.drain());
    let last = *site.disk.slots.last_key_value().expect("slots").0;
    memory.rot(RING_AT + (last as usize - 2) * 32 + 9, 1);
    let mut site = again(&memory, site.disk);
    site.stay(1_000);
    assert_eq!(site.ask(Command::CloseHole(CloseHole {})), Some(Answer::Done));
    assert!(site.drain());
    assert_eq!(spoiled_digests(&site.disk).len(), 1, "the host has what the rig cannot read any more");
    let named = gaps(&site.disk).iter().map(|gap| (gap.first, gap.last, gap.cause)).collect::<Vec<_>>();
    assert_eq!(named, [(last - 2, last - 2, GapCause::Damaged.raw())]);
}
