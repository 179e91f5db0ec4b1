//! Entries as JSON, and their chain.

use super::*;
use ed25519_dalek::SigningKey;

pub fn hole() -> HoleName {
    HoleName { line: "SIMULATED tie".to_owned(), structure: "41".to_owned(), leg: Leg::Left, attempt: 1 }
}

const MORNING: Wall = Wall { unix_ms: 1_778_592_600_000, offset: -360 };

fn water() -> Entry {
    Entry::new("Tester", MORNING, hole(), Said::Water { depth_um: Some(2_000_000) })
}

/// The bytes that are digested are those that people and programs read.
#[test]
fn an_entry_is_plain_json() {
    let text = serde_json::to_string(&water()).unwrap();
    assert_eq!(
        text,
        "{\"by\":\"Tester\",\"at\":\"2026-05-12T07:30:00-06:00\",\
         \"hole\":{\"line\":\"SIMULATED tie\",\"structure\":\"41\",\"leg\":\"left\",\"attempt\":1},\
         \"said\":{\"kind\":\"water\",\"depth_um\":2000000}}"
    );
    assert_eq!(serde_json::from_str::<Entry>(&text).unwrap(), water());
}

#[test]
fn every_kind_comes_back_as_it_was_said() {
    let place = Place { host: 7, number: 3 };
    let kinds = [
        Said::Sounding { depth_um: 3_050_000, ahead_um: 1, right_um: -2, standard_um: 5_000, clean_out: CleanOut::Before },
        Said::HandPlumb { depth_um: 3_050_000, ahead_um: 1, right_um: -2, standard_um: 5_000 },
        Said::Centre { ahead_um: 1, right_um: -2, standard_um: 5_000 },
        Said::Diameter { depth_um: 0, diameter_um: 1_219_200, standard_um: 5_000 },
        Said::Spacing { to: Leg::Right, distance_um: 3_810_000, standard_um: 3_000, along: Along::Slope { rise_ppm: 100_000 } },
        Said::Spacing { to: Leg::Right, distance_um: 3_810_000, standard_um: 3_000, along: Along::Level },
        Said::Water { depth_um: None },
        Said::Brand { height_um: 1_200_000, to_butt_um: 4_267_200, standard_um: 5_000 },
        Said::Note { what: NoteKind::Rock { shot: true, by: "Licensed blaster".to_owned() } },
        Said::Note { what: NoteKind::Casing { left: true } },
        Said::Note { what: NoteKind::Other },
        Said::Ticket { number: "T-1".to_owned(), standing: TicketStanding::Expired },
        Said::Ticket { number: String::new(), standing: TicketStanding::Missing },
    ];
    let accepted = Disposition::ALL.map(|disposition| Said::Accepted { disposition });
    for said in kinds.into_iter().chain(accepted).chain(HoleState::ALL.map(|state| Said::State { state })) {
        let entry = Entry { set_up: Some(SetUpName { rig: "R".to_owned(), epoch: 1, opened: 9 }), corrects: Some(place), ..water() };
        let entry = Entry { said, remark: "why".to_owned(), ..entry };
        assert_eq!(entry.check(), Ok(()));
        let link = Link::new(place, &[1; 32], &entry, &key()).unwrap();
        assert!(link.follows(&[1; 32]));
        assert_eq!(link.entry(), Some(entry));
    }
}

/// SHA-256 of what the sum is said to cover, reckoned byte by byte here.
#[test]
fn a_sum_covers_the_tag_the_place_the_sum_before_and_the_body() {
    use sha2::{Digest, Sha256};
    let link = Link::new(Place { host: 0x0403_0201, number: 5 }, &[9; 32], &water(), &key()).unwrap();
    let mut whole = b"borewitness entry 1\n\x01\x02\x03\x04\x05\0\0\0".to_vec();
    whole.extend([9; 32]);
    whole.extend(&link.body);
    assert_eq!(link.sum, <[u8; 32]>::from(Sha256::digest(&whole)));
    let changed = [
        Link { place: Place { host: 1, ..link.place }, ..link.clone() },
        Link { place: Place { number: 6, ..link.place }, ..link.clone() },
        Link { body: [&link.body[..], b" "].concat(), ..link.clone() },
    ];
    assert!(changed.iter().all(|link| !link.follows(&[9; 32])));
    assert!(!link.follows(&[8; 32]));
}

fn key() -> SigningKey {
    SigningKey::from_bytes(&[7; 32])
}

/// The signature is one of the tag and the sum, by the key that is said, and by no other.
#[test]
fn a_host_signs_every_sum() {
    use ed25519_dalek::Verifier;
    let link = Link::new(Place { host: 1, number: 0 }, &[0; 32], &water(), &key()).unwrap();
    let signed = link.signed.unwrap();
    let signature = ed25519_dalek::Signature::from_bytes(&signed.signature);
    let whole = [b"borewitness entry signed 1\n".as_slice(), &link.sum].concat();
    assert!(key().verifying_key().verify(&whole, &signature).is_ok());
    assert_eq!((signed.key, link.is_signed()), (key().verifying_key().to_bytes(), Some(true)));
    let other = Signed { key: SigningKey::from_bytes(&[8; 32]).verifying_key().to_bytes(), ..signed };
    assert_eq!(Link { signed: Some(other), ..link.clone() }.is_signed(), Some(false));
    assert_eq!(Link { sum: [1; 32], ..link.clone() }.is_signed(), Some(false));
    assert_eq!(Link { signed: None, ..link }.is_signed(), None);
}

#[test]
fn what_nobody_said_of_no_hole_is_refused() {
    let long = "x".repeat(TEXT_BYTES + 1);
    let hole = |structure: &str, attempt| Entry { hole: HoleName { structure: structure.to_owned(), attempt, ..hole() }, ..water() };
    let sounding = |depth_um, standard_um| Said::Sounding { depth_um, ahead_um: 0, right_um: 0, standard_um, clean_out: CleanOut::After };
    let rows = [
        (Entry { by: "  ".to_owned(), ..water() }, EntryFault::Who),
        (Entry { by: long.clone(), ..water() }, EntryFault::Who),
        (hole("", 1), EntryFault::Hole),
        (hole("41", 0), EntryFault::Hole),
        (Entry { remark: long.clone(), ..water() }, EntryFault::Long),
        (Entry { said: Said::Note { what: NoteKind::Rock { shot: true, by: long } }, ..water() }, EntryFault::Long),
        (Entry { said: sounding(100_000_001, 1), ..water() }, EntryFault::Length),
        (Entry { said: sounding(3_000_000, 0), ..water() }, EntryFault::Length),
        (Entry { said: Said::Accepted { disposition: Disposition::Stands }, ..water() }, EntryFault::Reason),
        (Entry { said: Said::Planned { file: String::new(), sha256: String::new() }, ..water() }, EntryFault::Plan),
    ];
    for (entry, fault) in rows {
        assert_eq!(entry.check(), Err(fault), "{entry:?}");
    }
}

#[test]
fn only_some_states_are_open_and_only_some_of_those_are_kept() {
    let words = |is: fn(HoleState) -> bool| HoleState::ALL.into_iter().filter(|s| is(*s)).map(HoleState::word).collect::<Vec<_>>();
    assert_eq!(words(HoleState::is_open), ["drilled", "attended", "guarded", "covered", "fenced", "abandoned"]);
    assert_eq!(words(HoleState::is_kept), ["attended", "guarded", "covered", "fenced"]);
    assert!(HoleState::ALL.into_iter().all(|state| HoleState::of_word(state.word()) == Some(state)));
}
