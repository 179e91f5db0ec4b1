//! A cable that turns over one bit in ten thousand, both ways: everything still arrives, once and to the bit, at more than
//! half the speed of a clean one.

use firmware_app::journal::{Journal, Search};
use host_tool::store::Store;
use shared_protocol::record::{Increment, Record, Unsealed};
use shared_protocol::units::Micrometres;
use simulator::bench::Bench;
use simulator::cable::CableSettings;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::{Scenario, TWO_POLE};
use tests::cab::Cab;

/// Slots in the rig's memory before a host comes: nearly all that it holds, and room for what the rig adds meanwhile.
const BACKLOG: u32 = 16_000;
/// One bit in ten thousand of the ten that a character takes, start and stop among them.
const DAMAGED: f64 = 1e-3;

/// A memory full of records that differ.
fn full() -> RamMemory {
    let mut memory = RamMemory::default();
    let (mut journal, mut search) = (Journal::open(&mut memory), Search::default());
    while search.step(&mut journal, &mut memory).is_none() {}
    for n in 0..BACKLOG {
        let depth = Micrometres(i32::try_from(n).expect("few").wrapping_mul(40_503));
        journal.append(&mut memory, &Record::Increment(Increment { depth, ..Increment::default() })).expect("room");
    }
    // No hole was open when the power went: a start need not look through all of it.
    journal.append(&mut memory, &Record::Unsealed(Unsealed::default())).expect("room");
    memory
}

/// Virtual ms until all of it is on the host's disk.
fn drained(settings: CableSettings) -> u64 {
    let scenario = Scenario::parse("noise", TWO_POLE).expect("a scenario");
    let mut bench = Bench::by_hand(&scenario, 5, NativeMachine::behind_a_line(full()).expect("a rig")).expect("fits");
    bench.spoil_cable(settings);
    let mut cab = Cab::beside(bench, Store::in_memory(7).expect("a store"));
    cab.until("the last record", |cab| cab.host().is_some_and(|host| host.drained(0)));
    let took = cab.now();
    let (stored, remembered) = (cab.stored(), cab.remembered());
    assert!(stored.len() >= BACKLOG as usize, "{} slots", stored.len());
    assert_eq!(stored, remembered[..stored.len()], "byte for byte, each once, in order");
    let line = cab.host().expect("a host").line();
    println!("{took} ms, {} slots, {line:?}", stored.len());
    took
}

#[test]
fn a_noisy_cable_drains_a_full_memory_at_more_than_half_the_speed_of_a_clean_one() {
    let clean = drained(CableSettings::default());
    let noisy = drained(CableSettings { damaged: DAMAGED, ..CableSettings::default() });
    let ratio = clean as f64 / noisy as f64;
    println!("clean {clean} ms, noisy {noisy} ms: {ratio:.2} of the throughput");
    // 16,000 slots in frames of 232 bytes at 11,520 bytes a second take 46 s; what the rig shows meanwhile some more.
    assert!((46_000..65_000).contains(&clean), "{clean} ms");
    assert!(ratio > 0.5, "clean {clean} ms, noisy {noisy} ms");
}
