//! How much damage on the cable the checks see for certain, and how much may pass: `WIRE.md` states these figures.
#![allow(missing_docs, clippy::unwrap_used, clippy::indexing_slicing, clippy::arithmetic_side_effects)]

use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, FRAME_BYTES_MAX, wrap, wrap_raw};
use shared_protocol::message::{Live, MESSAGE_BYTES_MAX, Message};
use shared_protocol::slot::{CRC, SLOT_BYTES, Slot};
use shared_protocol::units::Micrometres;
use std::collections::HashSet;

/// What turning over each bit of a message of so many bytes, and of the check behind it, does to the check.
fn syndromes(bytes: usize) -> Vec<u32> {
    let zero = CRC.checksum(&vec![0; bytes]);
    let of_message = (0..bytes * 8).map(|bit| {
        let mut message = vec![0; bytes];
        message[bit / 8] = 1 << (bit % 8);
        CRC.checksum(&message) ^ zero
    });
    of_message.chain((0..32).map(|bit| 1 << bit)).collect()
}

/// What turning over two bits does, for every pair; damage to some bits passes where what it does cancels out.
fn pairs(single: &[u32]) -> Vec<u32> {
    single.iter().enumerate().flat_map(|(n, a)| single[..n].iter().map(move |b| a ^ b)).collect()
}

/// Whether all differ.
fn all_differ(mut all: Vec<u32>) -> bool {
    all.sort_unstable();
    all.windows(2).all(|two| two[0] != two[1])
}

#[test]
fn up_to_four_bits_in_the_longest_message_are_seen_wherever_they_are() {
    let single = syndromes(MESSAGE_BYTES_MAX);
    assert_eq!(single.len(), 1_840);
    assert!(single.iter().all(|s| *s != 0) && all_differ(single.clone()), "one bit, two bits");
    let pairs = pairs(&single);
    let known: HashSet<u32> = single.iter().copied().collect();
    assert!(!pairs.iter().any(|pair| known.contains(pair)), "three bits");
    // Two pairs that share a bit differ as their other bits do.
    assert!(all_differ(pairs), "four bits");
}

#[test]
fn up_to_five_bits_in_a_slot_are_seen_and_few_patterns_of_six_are_not() {
    let single = syndromes(SLOT_BYTES - 4);
    let pairs = pairs(&single);
    let known: HashSet<u32> = pairs.iter().chain(&single).copied().collect();
    let triples: Vec<u32> = (0..single.len())
        .flat_map(|n| (0..n).flat_map(move |m| (0..m).map(move |k| [n, m, k])))
        .map(|three| three.map(|n| single[n]))
        .map(|[a, b, c]| a ^ b ^ c)
        .collect();
    assert_eq!((single.len(), triples.len()), (256, 2_763_520));
    assert!(!triples.iter().any(|three| *three == 0 || known.contains(three)), "three, four and five bits");
    assert!(all_differ(single) && all_differ(pairs), "two bits and four");
    let mut triples = triples;
    triples.sort_unstable();
    // Six bits are two triples in ten ways. Triples that share a bit would make a pattern of fewer.
    let ways: usize = triples.chunk_by(|a, b| a == b).map(|same| same.len() * (same.len() - 1) / 2).sum();
    assert_eq!(ways % 10, 0);
    println!("{} of {} patterns of six bits in a slot are not seen", ways / 10, 368_532_802_176_u64);
    assert_eq!(ways / 10, SIX_UNSEEN);
}

/// Patterns of six turned bits within a slot that its check does not see, as counted.
const SIX_UNSEEN: usize = 97;

/// The messages that come out of a frame.
fn heard(frame: &[u8]) -> Vec<Vec<u8>> {
    let (mut accumulator, mut buffer) = (Accumulator::new(), [0; ENCODED_BYTES_MAX]);
    frame.iter().filter_map(|byte| accumulator.push(*byte, &mut buffer).and_then(Result::ok).map(<[u8]>::to_vec)).collect()
}

/// COBS stands outside the check: a turned bit in one of its bytes changes much behind it.
#[test]
fn no_one_two_or_three_turned_bits_on_the_wire_make_another_message_of_a_live_sample() {
    let live = Live { at: 513, depth: Micrometres(1_234_567), status: 0x0155, ..Live::default() };
    let frame = wrap(&Message::Live(live)).unwrap();
    let own = heard(&frame);
    let bits = frame.len() * 8;
    let mut bytes = frame.to_vec();
    let turn = |bytes: &mut Vec<u8>, bit: usize| bytes[bit / 8] ^= 1 << (bit % 8);
    let mut patterns = 0_u32;
    for a in 0..bits {
        turn(&mut bytes, a);
        for b in a..bits {
            turn(&mut bytes, b);
            for c in b..bits {
                turn(&mut bytes, c); // where two are the same it is one bit, and where all are it is that one
                let same = a == b || b == c;
                let other = heard(&bytes).into_iter().find(|message| !own.contains(message));
                assert!(other.is_none(), "bits {a}, {b}, {c}: {other:?}");
                patterns += u32::from(!same);
                turn(&mut bytes, c);
            }
            turn(&mut bytes, b);
        }
        turn(&mut bytes, a);
    }
    assert_eq!(patterns, 669_920);
}

#[test]
fn no_one_or_two_neighbouring_turned_bits_on_the_wire_make_another_message_of_the_longest_frame() {
    let slot = Slot::build(7, 1, 6, shared_protocol::slot::Part::ONLY, b"nineteen bytes here").unwrap();
    let raw = [*slot.bytes(); 7].concat();
    let mut message = vec![shared_protocol::VERSION, 4];
    message.extend(raw);
    let frame = wrap_raw(&message).unwrap();
    assert_eq!(frame.len(), FRAME_BYTES_MAX);
    for a in 0..frame.len() * 8 {
        for b in a..(a + 24).min(frame.len() * 8) {
            let mut bytes = frame.to_vec();
            bytes[a / 8] ^= 1 << (a % 8);
            if b != a {
                bytes[b / 8] ^= 1 << (b % 8);
            }
            assert!(heard(&bytes).iter().all(|heard| *heard == message), "bits {a} and {b}");
        }
    }
}

/// The figures of `WIRE.md`, "Damage that passes".
#[test]
fn the_bound_on_damage_that_passes_is_as_the_document_has_it() {
    let bits = f64::from(u32::try_from(FRAME_BYTES_MAX).unwrap()) * 10.0; // start and stop bits can be hit too
    let damaged = 1.0 - (1.0 - 1e-4_f64).powf(bits);
    let passes = damaged / 2_f64.powi(32);
    let line = 200.0 * 10.0 * 3_600.0 * 11_520.0 / f64::from(u32::try_from(FRAME_BYTES_MAX).unwrap());
    let evidence = 60.0 * 20.0 * 270.0 / (1.0 - damaged);
    let near = |value: f64, stated: f64| (value / stated - 1.0).abs() < 0.01;
    assert!(near(damaged, 0.207) && near(passes, 4.82e-11), "{damaged} {passes}");
    assert!(near(line, 3.575e8) && near(line * passes, 0.0172), "{line} {}", line * passes);
    assert!(near(evidence, 408_600.0) && near(evidence * passes, 1.97e-5), "{evidence} {}", evidence * passes);
}
