//! A factory reset, its power cut within the bytes that it writes; every one of them: `cargo xtask cuts`.

use host_tool::facts::{DigestState, read};
use host_tool::proof::{Before, Sealing, Signer};
use shared_protocol::slot::Slot;
use simulator::frail::FrailMemory;
use std::collections::BTreeMap;
use tests::cuts::reset::aftermath;
use tests::cuts::script::{Cut, Length, cuts, seconds};
use tests::cuts::site::{Disk, Site};

const SEED: u64 = 5;

/// The cuts of the whole scenario, and where the host has the record of the reset but the rig is not in its next epoch yet.
fn scenario() -> (Vec<Cut>, usize) {
    let all = cuts(Length::Reset, SEED, |m| m);
    let begun = all.iter().position(|cut| cut.disk.epoch == 2).expect("the reset is done");
    (all, begun)
}

fn hold(cut: &Cut, first: u64) {
    if let Err(why) = aftermath(cut, SEED ^ cut.byte) {
        panic!("cut within bytes {first} and {}: {why}", cut.byte);
    }
}

#[test]
fn a_cut_reset_leaves_the_old_epoch_whole_or_the_next_with_nothing_of_it() {
    let (all, begun) = scenario();
    // Blanking is most of it; the marks, and the records on either side of them, are few bytes.
    let few =
        all.iter().step_by(61).chain(all[begun.saturating_sub(3_900)..].iter().step_by(7).take(60)).chain(all[begun..].iter().step_by(13));
    few.for_each(|cut| hold(cut, cut.byte));
    println!("{} cuts in all, the next epoch heard of from cut {begun} on", all.len());
}

#[test]
fn a_reset_that_is_cut_again_while_it_is_taken_up_leaves_the_same() {
    let (all, begun) = scenario();
    let mut tried = 0;
    for cut in all[begun.saturating_sub(3_900)..begun].iter().step_by(331) {
        for second in seconds(Length::Reset, cut, SEED).iter().step_by(211) {
            hold(second, cut.byte);
            tried += 1;
        }
    }
    assert!(tried > 100, "{tried}");
}

/// One host had the rig reset; another, that knows nothing of the rig or part of its first epoch, comes later.
#[test]
fn a_second_host_gets_all_of_the_next_epoch_and_none_of_the_one_before() {
    let (all, begun) = scenario();
    let last = all.last().expect("some");
    let part = all[..begun].iter().find(|cut| cut.disk.slots.len() > 20).expect("the host fetches");
    let old = &last.disk.before[&1];
    let floor = old.last_key_value().expect("some").0 + 1;
    for disk in [Disk::default(), (*part.disk).clone()] {
        let had = disk.slots.clone();
        assert!(had.len() < old.len(), "{}", had.len());
        let memory = FrailMemory::new(last.image.found.clone(), SEED);
        let mut site = Site::with(memory, Length::Reset.profile(), disk, 5_000);
        assert!(site.drain());
        assert_eq!((site.disk.epoch, site.disk.slots.first_key_value().expect("some").0), (2, &floor));
        assert!(last.disk.slots.iter().all(|(n, bytes)| site.disk.slots.get(n) == Some(bytes)), "all that the first has of it");
        assert_eq!(site.disk.before.get(&1).cloned().unwrap_or_default(), had, "and what it had is as it was");
    }
    let holes = |slots: &BTreeMap<u32, [u8; 32]>| {
        let slots: Vec<Slot> = slots.values().filter_map(|bytes| Slot::check(bytes).ok()).collect();
        read(&slots).into_iter().map(|hole| (hole.sealing, hole.digest, hole.missing.len())).collect::<Vec<_>>()
    };
    let proven = (Sealing::Fits(Signer::Unknown, Before::First), DigestState::Fits, 0);
    assert_eq!((holes(old), holes(&last.disk.slots)), (vec![proven], vec![]), "the old hole's proof stands, and is no hole of the next");
}
