//! Sealing: by whom, over what, once, and over restarts; commissioning and what it refuses.

use crate::bench::{Bench, Ram, plan};
use ed25519_dalek::{Signature, SigningKey, VerifyingKey};
use firmware_app::journal::Anchor;
use firmware_app::profile::Profile;
use shared_protocol::assemble::{Assembler, slots};
use shared_protocol::body::Secret;
use shared_protocol::chain::{Chain, End, SEGMENT_SLOTS};
use shared_protocol::message::{Acknowledge, Ask, CloseHole, Command, Commission, Decommission, Message};
use shared_protocol::record::{Checkpoint, Closed, Record, Seal, Unsealed};
use shared_protocol::seal::SIMULATED_SECRET;
use shared_protocol::slot::Slot;
use shared_protocol::state::{Answer, UnsealedCause};

/// Bytes of a slot and where the ring begins.
const SLOT: usize = 32;
const RING_AT: usize = 4_096;

/// The chain over a run of slots, as anybody reckons it who has them.
pub fn chain(run: &[Slot]) -> Chain {
    let (mut chain, mut assembler, mut begun) = (Chain::default(), Assembler::default(), 0);
    for (n, slot) in run.iter().enumerate() {
        begun = if slot.part().index == 0 { n } else { begun };
        chain.push(slot);
        let Some(whole) = assembler.push(slot) else { continue };
        if let Some(checkpoint) = Checkpoint::decode(whole.body).filter(|_| whole.kind == Checkpoint::KIND) {
            chain = Chain::behind(&End::from(&checkpoint));
            run[begun..=n].iter().for_each(|slot| chain.push(slot));
        }
    }
    chain
}

fn real() -> Profile {
    Profile { simulated: false, ..Profile::bench() }
}

fn bench(profile: Profile) -> Bench {
    Bench::with(Ram(vec![0; 524_288]), profile)
}

/// On a memory of another's, with requests that nobody has made yet.
fn on(memory: Vec<u8>, profile: Profile) -> Bench {
    let mut bench = Bench::with(Ram(memory), profile);
    bench.request = 1_000;
    bench
}

fn restarted(bench: Bench, profile: Profile) -> Bench {
    let request = bench.request;
    let mut next = Bench::with(bench.rig.into_memory(), profile);
    next.request = request;
    next
}

fn hole(bench: &mut Bench) {
    bench.open(plan());
    bench.touch();
    bench.go(200.0, 20.0);
    bench.stay(1_000);
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
    bench.stay(500);
}

fn seals(bench: &mut Bench) -> Vec<Seal> {
    bench.only(|r| if let Record::Seal(s) = r { Some(*s) } else { None })
}

fn commission(bench: &mut Bench, secret: [u8; 32]) -> u8 {
    bench.ask(Command::Commission(Commission { secret: Secret(secret) })).answer
}

fn fits(seal: &Seal) -> bool {
    let key = VerifyingKey::from_bytes(&seal.key).unwrap();
    key.verify_strict(&seal.signed().unwrap(), &Signature::from_bytes(&seal.signature())).is_ok()
}

/// What the closing record and its slots come to.
fn digest(bench: &mut Bench, which: usize) -> (u32, u32, [u8; 32]) {
    let closed = bench.only(|r| if let Record::Closed(c) = r { Some(c.clone()) } else { None }).remove(which);
    let mut chain = Chain::behind(&End::from(&closed));
    let first = bench.records().iter().filter(|(_, r)| r.kind() == Closed::KIND).nth(which).unwrap().0;
    let slots: Vec<Slot> = bench.slots.iter().filter(|s| s.sequence() >= first && s.kind() == Closed::KIND).copied().collect();
    let of = usize::from(slots[0].part().of);
    slots[..of].iter().for_each(|slot| chain.push(slot));
    (closed.first, chain.slots(), chain.end().digest())
}

#[test]
fn a_simulated_rig_seals_with_the_published_key_and_takes_no_other() {
    let mut bench = bench(Profile::bench());
    assert_eq!(commission(&mut bench, [7; 32]), Answer::Simulated.raw());
    hole(&mut bench);
    hole(&mut bench);
    let both = seals(&mut bench);
    let published = SigningKey::from_bytes(&SIMULATED_SECRET).verifying_key().to_bytes();
    for (n, seal) in both.iter().enumerate() {
        assert!(fits(seal) && seal.key == published);
        assert_eq!((seal.first, seal.slots, seal.digest), digest(&mut bench, n));
    }
    assert_eq!((both[0].number, both[0].previous, both[1].number, both[1].previous), (0, [0; 32], 1, both[0].sum()));
}

#[test]
fn a_rig_without_a_key_says_that_it_does_not_seal() {
    let mut bench = bench(real());
    hole(&mut bench);
    let said = bench.only(|r| if let Record::Unsealed(u) = r { Some(*u) } else { None });
    let first = digest(&mut bench, 0).0;
    assert_eq!(said.iter().map(|u: &Unsealed| (u.first, u.cause)).collect::<Vec<_>>(), [(first, UnsealedCause::NoKey.raw())]);
    let mut bench = restarted(bench, real());
    bench.stay(500);
    assert_eq!((bench.only(|r| if let Record::Unsealed(u) = r { Some(*u) } else { None }).len(), seals(&mut bench).len()), (1, 0), "once");
}

#[test]
fn a_commissioned_rig_seals_with_its_own_key_over_restarts() {
    let mut bench = bench(real());
    let secret: [u8; 32] = core::array::from_fn(|n| u8::try_from(n * 7).unwrap());
    assert_eq!(commission(&mut bench, SIMULATED_SECRET), Answer::KnownKey.raw());
    assert_eq!(commission(&mut bench, [0; 32]), Answer::KnownKey.raw());
    assert_eq!(commission(&mut bench, secret), Answer::Done.raw());
    hole(&mut bench);
    let mut bench = restarted(bench, real());
    hole(&mut bench);
    let key = SigningKey::from_bytes(&secret).verifying_key().to_bytes();
    let both = seals(&mut bench);
    assert!(both.len() == 2 && both.iter().all(|seal| fits(seal) && seal.key == key));
    assert_eq!((both[1].number, both[1].previous), (1, both[0].sum()), "the anchor outlives the restart");
    bench.open(plan());
    assert_eq!(commission(&mut bench, secret), Answer::HoleOpen.raw());
    bench.ask(Command::CloseHole(CloseHole {}));
    bench.stay(500);
    let other: [u8; 32] = core::array::from_fn(|n| u8::try_from(n * 5).unwrap());
    assert_eq!(commission(&mut bench, other), Answer::Done.raw());
    let said = bench.only(|r| if let Record::Commissioned(c) = r { Some((c.key, c.before)) } else { None });
    assert_eq!(said, [(key, [0; 32]), (SigningKey::from_bytes(&other).verifying_key().to_bytes(), key)]);
    let whole = bench.rig.into_memory().0;
    assert!(whole[RING_AT..].windows(8).all(|w| w != &secret[8..16] && w != &other[8..16]), "no secret in the ring");
}

#[test]
fn a_real_rig_never_seals_with_the_published_key_even_where_its_memory_holds_it() {
    let mut bench = bench(real());
    let secret: [u8; 32] = core::array::from_fn(|n| u8::try_from(n * 7).unwrap());
    assert_eq!(commission(&mut bench, secret), Answer::Done.raw());
    let mut memory = bench.rig.into_memory().0;
    let at = memory[..RING_AT].windows(32).position(|w| w == secret).unwrap();
    memory[at..at + 32].copy_from_slice(&SIMULATED_SECRET);
    let copy = at - 38;
    let length = 102 + usize::from(u16::from_le_bytes([memory[copy + 4], memory[copy + 5]]));
    let check = shared_protocol::slot::CRC.checksum(&memory[copy..copy + length]).to_le_bytes();
    memory[copy + length..copy + length + 4].copy_from_slice(&check);
    let mut bench = on(memory, real());
    hole(&mut bench);
    assert!(seals(&mut bench).is_empty());
    assert_eq!(bench.only(|r| if let Record::Unsealed(u) = r { Some(u.cause) } else { None }), [UnsealedCause::NoKey.raw()]);
}

#[test]
fn a_power_cut_before_the_seal_is_whole_has_it_made_again() {
    let mut first = bench(Profile::bench());
    hole(&mut first);
    let want = seals(&mut first).remove(0);
    let at = usize::try_from(first.records().iter().find(|(_, r)| r.kind() == Seal::KIND).unwrap().0).unwrap();
    let whole = first.rig.into_memory().0;
    for kept in 0..=11 {
        let mut memory = whole.clone();
        let from = RING_AT + (at + kept) * SLOT;
        memory[from..].fill(0);
        memory[from..from + 9].fill(0x5A); // torn
        memory[256..512].fill(0); // and the anchor is not written yet
        let mut bench = on(memory, Profile::bench());
        bench.stay(500);
        let made = seals(&mut bench);
        assert_eq!(made.len(), 1, "after {kept} slots of it");
        assert!(fits(&made[0]) && made[0].digest == want.digest && made[0].slots == want.slots);
        hole(&mut bench);
        let made = seals(&mut bench);
        assert_eq!((made.len(), made[1].previous, made[1].number), (2, made[0].sum(), 1), "after {kept} slots of it");
    }
}

#[test]
fn a_long_hole_has_checkpoints_and_a_restart_goes_on_from_the_newest() {
    let mut bench = bench(Profile::bench());
    bench.open(plan());
    bench.touch();
    let mut at = 0.0;
    for _ in 0..3 {
        for _ in 0..25 {
            at += 80.0;
            bench.go(at, 80.0);
            bench.go(at - 60.0, 500.0);
        }
        bench = bench.restart();
        bench.stay(500);
        bench.go(0.0, 1_000.0);
        bench.stay(1_500);
        assert_eq!(bench.touch().answer, Answer::Done.raw());
        bench.go(at - 60.0, 1_000.0);
    }
    bench.ask(Command::CloseHole(CloseHole {}));
    bench.stay(500);
    let checkpoints = bench.only(|r| if let Record::Checkpoint(c) = r { Some(*c) } else { None });
    assert!(checkpoints.len() >= 2, "{checkpoints:?}");
    let lengths: Vec<u32> = checkpoints.iter().map(|c| c.slots - c.from).collect();
    assert!(lengths.iter().all(|n| (SEGMENT_SLOTS..SEGMENT_SLOTS + 24).contains(n)), "{lengths:?}");
    let closed = bench.only(|r| if let Record::Closed(c) = r { Some(c.clone()) } else { None }).remove(0);
    let closed_at = bench.records().iter().find(|(_, r)| r.kind() == Closed::KIND).unwrap().0;
    let run: Vec<Slot> = bench.slots.iter().filter(|s| (closed.first..closed_at).contains(&s.sequence())).copied().collect();
    assert_eq!(chain(&run).end(), End::from(&closed));
    for pair in checkpoints.windows(2) {
        assert_eq!((pair[1].from, pair[1].before), (pair[0].slots, End::from(&pair[0]).digest()));
    }
    let seal = seals(&mut bench).remove(0);
    assert!(fits(&seal));
    assert_eq!((seal.first, seal.slots, seal.digest), digest(&mut bench, 0));
}

/// A memory that remembers so many seals, each of the two marks in its turn.
fn with_seals(seals: u32, sum: [u8; 32]) -> Ram {
    let (mut memory, mut body) = (Ram(vec![0; 524_288]), [0; Anchor::BYTES]);
    Anchor { epoch: 1, sequence: 5, sum, seals }.encode(&mut body).unwrap();
    for (n, part) in slots(seals, 1, 242, &body).unwrap().iter().enumerate() {
        memory.0[if seals.is_multiple_of(2) { 256 } else { 384 } + n * SLOT..][..SLOT].copy_from_slice(part.bytes());
    }
    memory
}

/// Every hole that can be opened gets a seal of its own number; behind the last number a rig has to be reset.
#[test]
fn the_numbers_of_seals_end_without_any_given_twice() {
    let mut bench = on(with_seals(u32::MAX - 2, [7; 32]).0, Profile::bench());
    hole(&mut bench);
    let mut bench = restarted(bench, Profile::bench());
    hole(&mut bench);
    let both = seals(&mut bench);
    assert_eq!((both[0].number, both[0].previous), (u32::MAX - 2, [7; 32]));
    assert_eq!((both[1].number, both[1].previous), (u32::MAX - 1, both[0].sum()));
    for _ in 0..2 {
        assert_eq!(bench.open(plan()).answer, Answer::NumbersUsedUp.raw());
        bench = restarted(bench, Profile::bench());
        bench.stay(500);
    }
    assert_eq!(seals(&mut bench).len(), 2);
    let acknowledge = |bench: &mut Bench| {
        bench.say(&Message::Ask(Ask { host: 1 }));
        bench.stay(100);
        let below = bench.heard.iter().rev().find_map(|m| if let Message::Hello(h) = m { Some(h.head) } else { None }).unwrap();
        bench.say(&Message::Acknowledge(Acknowledge { epoch: 1, below, host: 1 }));
    };
    acknowledge(&mut bench);
    let decommission = Command::Decommission(Decommission { epoch: 1, who: "Fitter".try_into().unwrap() });
    assert_eq!(bench.ask(decommission).answer, Answer::Done.raw());
    acknowledge(&mut bench);
    bench.stay(1_500);
    hole(&mut bench);
    let again = seals(&mut bench);
    assert_eq!(again.iter().map(|seal| (seal.epoch, seal.number, seal.previous)).collect::<Vec<_>>(), [(2, 0, [0; 32])]);
}
