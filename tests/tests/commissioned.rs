//! A rig that drills real holes, from before it has a key to its second one, as its host sees it over the cable.

use firmware_app::profile::Profile;
use host_tool::facts::{SetUp, read};
use host_tool::proof::{Before, Sealing, Signer};
use shared_protocol::body::Secret;
use shared_protocol::message::{Command, Commission, LoadHole};
use shared_protocol::seal::SIMULATED_SECRET;
use shared_protocol::slot::Slot;
use shared_protocol::state::Answer;
use simulator::frail::FrailMemory;
use tests::cuts::script::{Length, blank, plan, work_on};
use tests::cuts::site::{Disk, Site};

const FIRST: [u8; 32] = *b"an invented key for a test, one ";
const SECOND: [u8; 32] = *b"an invented key for a test, two ";

type OnCable = Site<FrailMemory>;

fn start(memory: &FrailMemory, disk: Disk, requests: u32) -> OnCable {
    Site::with(memory.clone(), Profile { simulated: false, ..Profile::bench() }, disk, requests)
}

fn commission(site: &mut OnCable, secret: [u8; 32]) -> Option<Answer> {
    site.stay(200);
    site.ask(Command::Commission(Commission { secret: Secret(secret) }))
}

fn hole(site: &mut OnCable) {
    site.stay(1_500);
    assert_eq!(site.ask(Command::LoadHole(LoadHole { plan: plan() })), Some(Answer::Done));
    assert_eq!(commission(site, SECOND), Some(Answer::HoleOpen));
    assert_eq!(work_on(site), Some(Answer::Done));
    assert!(site.drain());
}

fn setups(site: &OnCable) -> Vec<SetUp> {
    let slots: Vec<Slot> = site.disk.slots.values().map(|bytes| Slot::check(bytes).expect("kept whole")).collect();
    read(&slots)
}

#[test]
fn a_rig_seals_from_its_commissioning_on_and_keeps_its_key_to_itself() {
    let memory = FrailMemory::new(blank(Length::Deep), 1);
    let mut site = start(&memory, Disk::default(), 0);
    hole(&mut site);
    assert_eq!(commission(&mut site, SIMULATED_SECRET), Some(Answer::KnownKey));
    assert_eq!(commission(&mut site, FIRST), Some(Answer::Done));
    hole(&mut site);
    let mut site = start(&memory, site.disk.clone(), 1_000); // the power was off
    hole(&mut site);
    assert_eq!(commission(&mut site, SECOND), Some(Answer::Done));
    hole(&mut site);
    let setups = setups(&site);
    let sealings: Vec<Sealing> = setups.iter().map(|setup| setup.sealing).collect();
    let by_key = |before| Sealing::Fits(Signer::Unknown, before);
    assert_eq!(sealings, [Sealing::NoKey, by_key(Before::First), by_key(Before::Follows), by_key(Before::Follows)]);
    let keys: Vec<_> = setups.iter().filter_map(|setup| setup.seal.as_ref().map(|seal| seal.body.key)).collect();
    assert!(keys[0] == keys[1] && keys[1] != keys[2]);
    let told: Vec<u8> = site.disk.slots.values().flatten().copied().collect();
    let holds = |all: &[u8], secret: &[u8; 32]| all.windows(6).any(|w| secret.windows(6).any(|s| s == w));
    assert!(!holds(&told, &FIRST) && !holds(&told, &SECOND), "the host has no part of a key that it sent");
    assert!(holds(&memory.kept(), &SECOND), "and the rig has it");
}
