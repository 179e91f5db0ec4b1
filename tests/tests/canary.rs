//! The proofs of "nothing lost" catch a ring and a host that are wrong on purpose.

use firmware_app::memory::Memory;
use host_tool::store::Store;
use simulator::frail::{Dead, FrailMemory};
use tests::cuts::oracle::aftermath;
use tests::cuts::script::{Length, cuts};
use tests::seeds::run_with;

/// A memory that says that all is kept, and has not seen to it: a journal without barriers is one.
#[derive(Clone, Debug)]
struct WithoutBarrier(FrailMemory, u32);

impl Memory for WithoutBarrier {
    type Error = Dead;
    fn size(&self) -> u32 {
        self.0.size()
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), Dead> {
        self.0.read(at, into)
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Dead> {
        self.0.write(at, bytes)
    }
    fn barrier(&mut self) -> Result<(), Dead> {
        self.1 += 1;
        if self.1.is_multiple_of(8) { self.0.barrier() } else { Ok(()) }
    }
}

#[test]
fn a_ring_without_barriers_is_caught_and_ours_is_not() {
    let failing = |cuts: Vec<tests::cuts::script::Cut>| {
        cuts.iter().filter(|cut| cut.byte % 16 == 0 && aftermath(cut, cut.byte, true).is_err()).count()
    };
    assert_eq!(failing(cuts(Length::Long, 3, |memory| memory)), 0);
    let caught = failing(cuts(Length::Long, 3, |memory| WithoutBarrier(memory, 0)));
    assert!(caught > 20, "only {caught} of its cuts were caught");
}

/// Seeds within which a swarm of faults must catch what is wrong.
const SEEDS: std::ops::RangeInclusive<u64> = 1..=50;

#[test]
fn a_swarm_catches_a_ring_without_barriers() {
    let caught = SEEDS.into_iter().find_map(|seed| run_with(seed, &[], |memory| WithoutBarrier(memory, 0), |store| store).wrong);
    assert!(caught.is_some());
}

/// A host that acknowledges before it commits: killed, it has not what it stored last.
fn forgetful(store: Store) -> Store {
    let mut left = Store::in_memory(store.host().expect("a host")).expect("a store");
    for stream in store.rigs().expect("readable") {
        let slots = store.stream(&stream).expect("readable").slots;
        left.keep(&stream, &slots[..slots.len().saturating_sub(7)]).expect("room");
    }
    left
}

#[test]
fn a_swarm_catches_a_host_that_acknowledges_before_it_commits() {
    let caught = SEEDS.into_iter().find_map(|seed| run_with(seed, &[], |memory| memory, forgetful).wrong);
    let why = caught.expect("caught");
    assert!(why.contains("acknowledged slot"), "for what it is: {why}");
}
