//! Evidence as a rig makes it, forged and lossy: every forgery is caught, and for its own reason.

use super::*;
use crate::facts::{DigestState, SetUp, read};
use crate::judge::judge;
use crate::judge::statement::Guarded;
use ed25519_dalek::Signer as _;
use shared_protocol::assemble::slots;
use shared_protocol::chain::Chain;
use shared_protocol::record::{Checkpoint, Closed, Commissioned, Increment, Opened, Record, Unsealed};
use shared_protocol::slot::RECORD_BYTES_MAX;
use shared_protocol::units::Micrometres;

const REAL: [u8; 32] = [41; 32];
const OTHER: [u8; 32] = [42; 32];

/// A rig that records and seals as the firmware does.
struct Rig {
    secret: [u8; 32],
    simulated: bool,
    slots: Vec<Slot>,
    chain: Chain,
    last: Option<Seal>,
}

impl Rig {
    fn new(secret: [u8; 32]) -> Self {
        Self { secret, simulated: secret == SIMULATED_SECRET, slots: Vec::new(), chain: Chain::default(), last: None }
    }

    fn end(&self) -> u32 {
        self.slots.last().map_or(0, |slot| slot.sequence() + 1)
    }

    fn put(&mut self, record: &Record) -> Vec<Slot> {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        let parts = slots(self.end(), 1, record.kind(), &body[..used]).unwrap().to_vec();
        self.slots.extend(&parts);
        parts
    }

    fn push(&mut self, record: &Record) {
        self.put(record).iter().for_each(|slot| self.chain.push(slot));
    }

    fn end_segment(&mut self, record: &Record, end: &End) {
        let parts = self.put(record);
        self.chain = Chain::behind(end);
        parts.iter().for_each(|slot| self.chain.push(slot));
    }

    /// A hole of so many increments, closed, and what the seal would state.
    fn closed(&mut self, increments: u16) -> Seal {
        let first = self.end();
        self.chain = Chain::default();
        self.push(&Record::Opened(Opened::default()));
        self.push(&Record::Identity(Identity {
            rig: "Alpha".try_into().unwrap(),
            simulated: self.simulated,
            epoch: 1,
            ..Identity::default()
        }));
        for n in 1..=increments {
            let depth = Micrometres::from_mm(25 * i32::from(n));
            self.push(&Record::Increment(Increment { depth, samples: 20, ..Increment::default() }));
            if self.chain.is_due() {
                let end = self.chain.end();
                let End { from, slots, before, segment } = end;
                self.end_segment(&Record::Checkpoint(Checkpoint { first, from, slots, before, segment }), &end);
            }
        }
        let end = self.chain.end();
        let End { from, slots, before, segment } = end;
        let bottom = Micrometres::from_mm(25 * i32::from(increments));
        self.end_segment(&Record::Closed(Closed { bottom, first, from, slots, before, segment, increments, ..Closed::default() }), &end);
        let end = self.chain.end();
        Seal {
            epoch: 1,
            rig: text_field("Alpha"),
            first,
            slots: end.slots,
            digest: end.digest(),
            number: self.last.map_or(0, |last| last.number + 1),
            previous: self.last.map_or([0; 32], |last| last.sum()),
            ..Seal::default()
        }
    }

    fn sealed(&mut self, increments: u16) {
        let stated = self.closed(increments);
        self.seal(stated, self.secret);
    }

    fn seal(&mut self, stated: Seal, secret: [u8; 32]) {
        let seal = signed(stated, secret);
        self.put(&Record::Seal(seal));
        self.last = Some(seal);
    }

    fn read(&self) -> Vec<SetUp> {
        read(&self.slots)
    }

    /// The place of the slots of this kind, in order.
    fn places(&self, kind: u8) -> Vec<usize> {
        (0..self.slots.len()).filter(|n| self.slots[*n].kind() == kind).collect()
    }

    /// Writes another body into a slot, check and all, as a forger would.
    fn forge(&mut self, place: usize, body: &[u8]) {
        let slot = self.slots[place];
        self.slots[place] = Slot::build(slot.sequence(), slot.boot(), slot.kind(), slot.part(), body).unwrap();
    }

    /// Puts another seal in place of the one in the ring, the first being 0.
    fn replace_seal(&mut self, which: usize, seal: Seal) {
        let mut body = [0; Seal::BYTES];
        seal.encode(&mut body).unwrap();
        let of = Seal::BYTES.div_ceil(19);
        for (n, piece) in body.chunks(19).enumerate() {
            let place = self.places(Seal::KIND)[which * of + n];
            self.forge(place, piece);
        }
    }
}

fn signed(stated: Seal, secret: [u8; 32]) -> Seal {
    let key = SigningKey::from_bytes(&secret);
    let stated = Seal { key: key.verifying_key().to_bytes(), ..stated };
    stated.with_signature(&key.sign(&stated.signed().unwrap()).to_bytes())
}

fn seal_of(setup: &SetUp) -> Seal {
    setup.seal.as_ref().unwrap().body
}

fn states(setup: &SetUp) -> Vec<SegmentState> {
    setup.segments.iter().map(|segment| segment.state).collect()
}

/// Whether nothing is shown, and the reason is this.
fn barred(setup: &SetUp, why: &str) -> bool {
    let judged = judge(setup);
    judged.verdicts.iter().all(|v| matches!(&v.guarded, Guarded::NotShown(reasons) if reasons.iter().any(|r| r.contains(why))))
}

use SegmentState::{Differs, Fits, Lacking};

#[test]
fn what_a_rig_sealed_fits_and_says_by_whom() {
    let mut rig = Rig::new(REAL);
    rig.sealed(300);
    rig.sealed(10);
    let setups = rig.read();
    assert_eq!((states(&setups[0]), states(&setups[1])), (vec![Fits; 3], vec![Fits]));
    assert!(setups.iter().all(|setup| setup.digest == DigestState::Fits));
    assert_eq!(setups[0].sealing, Sealing::Fits(Signer::Unknown, Before::First));
    assert_eq!(setups[1].sealing, Sealing::Fits(Signer::Unknown, Before::Follows));
    assert!(setups[0].sealing.text().contains("signer unknown: nobody has vouched for this key"));
    assert!(!barred(&setups[0], "seal") && !barred(&setups[0], "digest"));
    assert_eq!(setups[0].slots.len(), usize::try_from(seal_of(&setups[0]).slots).unwrap() + 11, "the seal goes with its hole");

    let mut simulated = Rig::new(SIMULATED_SECRET);
    simulated.sealed(10);
    let sealing = simulated.read()[0].sealing;
    assert_eq!(sealing, Sealing::Fits(Signer::Simulated, Before::First));
    assert!(sealing.text().starts_with("sealed by a simulated rig's known key"));
}

#[test]
fn a_hole_that_is_not_sealed_says_so() {
    let mut rig = Rig::new(REAL);
    let stated = rig.closed(10);
    assert_eq!(rig.read()[0].sealing, Sealing::Absent);
    rig.put(&Record::Unsealed(Unsealed { first: stated.first + 1, cause: 1, ..Unsealed::default() }));
    assert_eq!(rig.read()[0].sealing, Sealing::Absent, "that was said of another");
    rig.put(&Record::Unsealed(Unsealed { first: stated.first, cause: 1, ..Unsealed::default() }));
    assert_eq!(rig.read()[0].sealing.text(), "not sealed: the rig was never commissioned");
    rig.push(&Record::Opened(Opened::default()));
    assert_eq!(rig.read()[1].sealing, Sealing::Open);
}

#[test]
fn a_changed_slot_is_caught_wherever_it_is() {
    let mut rig = Rig::new(REAL);
    rig.sealed(300);
    for (which, segment) in [(3, 0), (150, 1), (290, 2)] {
        let mut forged = Rig { slots: rig.slots.clone(), ..Rig::new(REAL) };
        let place = forged.places(Increment::KIND)[which];
        let mut body = forged.slots[place].body().to_vec();
        body[8] ^= 1; // its lean
        forged.forge(place, &body);
        let setup = forged.read().remove(0);
        let mut want = vec![Fits; 3];
        want[segment] = Differs;
        assert_eq!((states(&setup), setup.digest), (want, DigestState::Differs));
        assert!(barred(&setup, "digest does not fit the records in hand"));
    }
}

#[test]
fn a_changed_closing_record_is_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(10);
    let place = rig.places(Closed::KIND)[0];
    let mut body = rig.slots[place].body().to_vec();
    body[2] ^= 4; // its bottom
    rig.forge(place, &body);
    let setup = rig.read().remove(0);
    assert_eq!(setup.sealing, Sealing::Unfit(Unfit::Digest));
    assert!(barred(&setup, "it is over other records"));
}

#[test]
fn a_dropped_slot_is_caught_and_the_other_segments_keep_their_proof() {
    let mut rig = Rig::new(REAL);
    rig.sealed(400);
    let segments = rig.read()[0].segments.len();
    assert_eq!(segments, 4);
    for segment in 0..segments {
        let mut lossy = Rig { slots: rig.slots.clone(), ..Rig::new(REAL) };
        let bounds = lossy.read()[0].segments[segment];
        let at = usize::try_from(bounds.from).unwrap() + 20;
        lossy.slots.remove(at);
        let setup = lossy.read().remove(0);
        let mut want = vec![Fits; segments];
        want[segment] = Lacking;
        assert_eq!((states(&setup), setup.digest, setup.missing.len()), (want, DigestState::Lacking, 1));
        assert!(barred(&setup, "records that the rig sealed are not in hand"));
        assert!(matches!(setup.sealing, Sealing::Fits(..)), "the seal itself is whole");
    }
}

#[test]
fn a_lost_checkpoint_costs_no_more_than_its_own_segment() {
    let mut rig = Rig::new(REAL);
    rig.sealed(400);
    for (n, part) in [(0, 0), (1, 3), (2, 1)] {
        let mut lossy = Rig { slots: rig.slots.clone(), ..Rig::new(REAL) };
        let place = lossy.places(Checkpoint::KIND)[n * 4 + part];
        lossy.slots.remove(place);
        let setup = lossy.read().remove(0);
        let mut want = vec![Fits; 4];
        want[n + 1] = Lacking;
        assert_eq!(states(&setup), want, "checkpoint {n}");
        let mut forged = Rig { slots: lossy.slots.clone(), ..Rig::new(REAL) };
        let place = usize::try_from(setup.segments[n].from).unwrap() + 30;
        let mut body = forged.slots[place].body().to_vec();
        body[8] ^= 1;
        forged.forge(place, &body);
        assert_ne!(states(&forged.read()[0])[n], Fits, "what cannot be proven is not said to fit");
    }
}

#[test]
fn swapped_slots_are_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(300);
    let places = rig.places(Increment::KIND);
    let [a, b] = [places[20], places[21]];
    let bodies = [a, b].map(|place| rig.slots[place].body().to_vec());
    rig.forge(a, &bodies[1]);
    rig.forge(b, &bodies[0]);
    let setup = rig.read().remove(0);
    assert_eq!((states(&setup), setup.digest), (vec![Differs, Fits, Fits], DigestState::Differs));
}

#[test]
fn slots_put_in_are_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(20);
    let place = rig.places(Closed::KIND)[0];
    let last = rig.slots[place - 1];
    for slot in &mut rig.slots[place..] {
        *slot = Slot::build(slot.sequence() + 1, slot.boot(), slot.kind(), slot.part(), slot.body()).unwrap();
    }
    rig.slots.insert(place, Slot::build(last.sequence() + 1, 1, last.kind(), last.part(), last.body()).unwrap());
    assert_eq!(rig.read()[0].digest, DigestState::Differs);
}

#[test]
fn a_forged_checkpoint_is_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(300);
    let place = rig.places(Checkpoint::KIND)[3];
    let mut body = rig.slots[place].body().to_vec();
    body[18] ^= 1; // the sum of the first segment
    rig.forge(place, &body);
    assert_eq!(states(&rig.read()[0]), [Differs, Differs, Fits]);
}

#[test]
fn a_segment_forged_together_with_its_checkpoint_is_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(300);
    let place = rig.places(Increment::KIND)[20];
    let mut body = rig.slots[place].body().to_vec();
    body[8] ^= 1;
    rig.forge(place, &body);
    let places = rig.places(Checkpoint::KIND)[..4].to_vec();
    let whole: Vec<u8> = places.iter().flat_map(|place| rig.slots[*place].body().to_vec()).collect();
    let forged = Checkpoint { segment: sum(&rig.slots[..places[0]]), ..Checkpoint::decode(&whole).unwrap() };
    let mut whole = [0; Checkpoint::BYTES];
    forged.encode(&mut whole).unwrap();
    places.iter().zip(whole.chunks(19)).for_each(|(place, piece)| rig.forge(*place, piece));
    assert_eq!(states(&rig.read()[0]), [Differs, Differs, Fits], "nothing vouches for what it says now");
}

#[test]
fn a_seal_of_another_set_up_is_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(10);
    rig.sealed(11);
    let [a, b] = [0, 1].map(|n: usize| seal_of(&rig.read()[n]));
    rig.replace_seal(1, a);
    assert_eq!(rig.read()[1].sealing, Sealing::Unfit(Unfit::Another));
    rig.replace_seal(0, b);
    let setup = rig.read().remove(0);
    assert_eq!(setup.sealing, Sealing::Unfit(Unfit::Another));
    assert!(barred(&setup, "it is of another hole, rig or epoch"));
    let mut rig = Rig::new(REAL);
    let stated = rig.closed(10);
    rig.seal(Seal { rig: text_field("Bravo"), ..stated }, REAL);
    assert_eq!(rig.read()[0].sealing, Sealing::Unfit(Unfit::Another));
    let mut rig = Rig::new(REAL);
    let stated = rig.closed(10);
    rig.seal(Seal { slots: stated.slots + 1, ..stated }, REAL);
    assert_eq!(rig.read()[0].sealing, Sealing::Unfit(Unfit::Digest));
}

#[test]
fn another_key_is_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(10);
    rig.sealed(10);
    let seal = seal_of(&rig.read()[1]);
    let other = signed(seal, OTHER);
    rig.replace_seal(1, Seal { key: other.key, ..seal });
    assert_eq!(rig.read()[1].sealing, Sealing::Unfit(Unfit::Signature), "the key alone");
    rig.replace_seal(1, other);
    assert_eq!(rig.read()[1].sealing, Sealing::Unfit(Unfit::Key), "all of it, signed anew");
    let first = seal_of(&rig.read()[0]);
    rig.replace_seal(1, seal);
    rig.replace_seal(0, signed(first, OTHER));
    assert_eq!(rig.read()[1].sealing, Sealing::Unfit(Unfit::Previous), "the seal behind it names what was there");
}

#[test]
fn a_rig_that_was_commissioned_again_may_have_another_key() {
    let mut rig = Rig::new(REAL);
    rig.sealed(10);
    let [before, key] = [REAL, OTHER].map(|secret| SigningKey::from_bytes(&secret).verifying_key().to_bytes());
    rig.put(&Record::Commissioned(Commissioned { key, before, ..Commissioned::default() }));
    let stated = rig.closed(10);
    let mut behind = Rig { slots: rig.slots.clone(), last: rig.last, ..Rig::new(OTHER) };
    rig.seal(stated, OTHER);
    assert_eq!(rig.read()[1].sealing, Sealing::Fits(Signer::Unknown, Before::Follows));
    behind.seal(stated, REAL);
    assert_eq!(behind.read()[1].sealing, Sealing::Unfit(Unfit::Key), "and then has the old one no more");
}

#[test]
fn a_changed_name_of_the_seal_before_is_caught() {
    let mut rig = Rig::new(REAL);
    rig.sealed(10);
    let stated = rig.closed(10);
    rig.seal(Seal { previous: [3; 32], ..stated }, REAL);
    let setup = rig.read().remove(1);
    assert_eq!(setup.sealing, Sealing::Unfit(Unfit::Previous));
    assert!(barred(&setup, "it does not follow the seal before it"));
    let mut tampered = Rig::new(REAL);
    tampered.sealed(10);
    let seal = seal_of(&tampered.read()[0]);
    tampered.replace_seal(0, Seal { previous: [3; 32], ..seal });
    assert_eq!(tampered.read()[0].sealing, Sealing::Unfit(Unfit::Signature));
}

#[test]
fn a_seal_that_is_not_in_hand_is_no_forgery_of_the_next() {
    let mut rig = Rig::new(REAL);
    (0..3).for_each(|_| rig.sealed(10));
    let place = rig.places(Seal::KIND)[11 + 4];
    rig.slots.remove(place);
    let setups = rig.read();
    assert_eq!(setups[1].sealing, Sealing::Absent);
    assert_eq!(setups[2].sealing, Sealing::Fits(Signer::Unknown, Before::NotHere));
    let first = setups[2].opened.sequence;
    rig.slots.retain(|slot| slot.sequence() >= first);
    assert_eq!(rig.read()[0].sealing, Sealing::Fits(Signer::Unknown, Before::NotHere));
}

#[test]
fn the_published_key_is_for_simulated_rigs_alone() {
    for (secret, simulated) in [(SIMULATED_SECRET, false), (REAL, true)] {
        let mut rig = Rig { simulated, ..Rig::new(secret) };
        rig.sealed(10);
        assert_eq!(rig.read()[0].sealing, Sealing::Unfit(Unfit::Published));
    }
}
