//! The wire against what others published: check values, tables and worked examples, each with its source.

use crc::{CRC_32_ISO_HDLC, Crc};
use shared_protocol::frame::wrap_raw;
use shared_protocol::message::MESSAGE_BYTES_MAX;
use shared_protocol::slot::{Part, Slot};

/// Source: catalogue of parametrised CRC algorithms as the crate `crc-catalog` 2.5.0 carries it (read there, and
/// reproduced with zlib): CRC-32/ISO-HDLC over "123456789" is CBF43926.
#[test]
fn crc_32_check_value_through_a_frame_of_ours() {
    assert_eq!(Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(b"123456789"), 0xCBF4_3926);
    let frame = wrap_raw(b"123456789").expect("fits");
    let mut plain = [0; 32];
    let used = cobs::decode(&frame[..frame.len() - 1], &mut plain).expect("COBS").frame_size();
    assert_eq!(&plain[..used], b"123456789\x26\x39\xF4\xCB", "low byte first, behind the message");
}

/// Source: the same catalogue; a slot's check, computed bit by bit here from the polynomial 04C11DB7 (reflected
/// EDB88320) without any library.
#[test]
fn a_slots_check_is_crc_32_iso_hdlc_over_its_first_28_bytes() {
    let slot = Slot::build(0x0102_0304, 7, 6, Part { index: 1, of: 3 }, b"some body").expect("fits");
    let crc = slot.bytes()[..28].iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xEDB8_8320 } else { crc >> 1 })
    });
    assert_eq!(slot.bytes()[28..], (!crc).to_le_bytes());
}

/// Source: Cheshire and Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Transactions on Networking 7(2), 1999,
/// and the examples table that goes with it, reproduced with the Python package cobs 1.2.2.
#[test]
fn cobs_table() {
    let run = |from: u8, to: u8| (from..=to).collect::<Vec<u8>>();
    let with = |head: &[u8], tail: Vec<u8>| [head, &tail].concat();
    let rows: Vec<(Vec<u8>, Vec<u8>)> = vec![
        (vec![], vec![1]),
        (vec![0], vec![1, 1]),
        (vec![0, 0], vec![1, 1, 1]),
        (vec![0, 0x11, 0], vec![1, 2, 0x11, 1]),
        (vec![0x11, 0x22, 0, 0x33], vec![3, 0x11, 0x22, 2, 0x33]),
        (vec![0x11, 0x22, 0x33, 0x44], vec![5, 0x11, 0x22, 0x33, 0x44]),
        (vec![0x11, 0, 0, 0], vec![2, 0x11, 1, 1, 1]),
        (run(1, 0xFE), with(&[0xFF], run(1, 0xFE))),
        (with(&[0], run(1, 0xFE)), with(&[1, 0xFF], run(1, 0xFE))),
        (run(1, 0xFF), [with(&[0xFF], run(1, 0xFE)), vec![2, 0xFF]].concat()),
        ([run(2, 0xFF), vec![0]].concat(), [with(&[0xFF], run(2, 0xFF)), vec![1, 1]].concat()),
        ([run(3, 0xFF), vec![0, 1]].concat(), [with(&[0xFE], run(3, 0xFF)), vec![2, 1]].concat()),
    ];
    for (raw, encoded) in rows {
        let mut buffer = [0; 300];
        let used = cobs::try_encode(&raw, &mut buffer).expect("room");
        assert_eq!(buffer[..used], encoded, "{raw:02x?}");
        let used = cobs::decode(&encoded, &mut buffer).map(|r| r.frame_size()).unwrap_or(0);
        assert_eq!(buffer[..used], raw);
    }
    // Overhead 1 + floor(n/254) at most (same source): our longest frame takes one byte.
    assert_eq!(wrap_raw(&[0xA5; MESSAGE_BYTES_MAX]).expect("fits").len(), MESSAGE_BYTES_MAX + 4 + 1 + 1);
}

/// Source: the postcard wire format document (spec/src/wire-format.md), read; every row run with postcard 1.2.0.
#[test]
fn postcard_examples_and_the_misprint() {
    let unsigned: [(u16, &[u8]); 7] = [
        (0, &[0]),
        (127, &[0x7F]),
        (128, &[0x80, 1]),
        (16_383, &[0xFF, 0x7F]),
        (16_384, &[0x80, 0x80, 1]),
        (16_385, &[0x81, 0x80, 1]),
        (65_535, &[0xFF, 0xFF, 3]),
    ];
    for (value, bytes) in unsigned {
        assert_eq!(postcard::to_stdvec(&value).expect("encodes"), bytes, "{value}");
    }
    let signed: [(i16, &[u8]); 8] =
        [(0, &[0]), (-1, &[1]), (1, &[2]), (63, &[0x7E]), (-64, &[0x7F]), (64, &[0x80, 1]), (-65, &[0x81, 1]), (-32_768, &[0xFF, 0xFF, 3])];
    for (value, bytes) in signed {
        assert_eq!(postcard::to_stdvec(&value).expect("encodes"), bytes, "{value}");
    }
    // The document prints FF FF 02 for 32767; that reads as 49151. The crate writes FE FF 03.
    assert_eq!(postcard::to_stdvec(&32_767i16).expect("encodes"), [0xFE, 0xFF, 3]);
    assert_eq!(postcard::from_bytes::<u16>(&[0xFF, 0xFF, 2]), Ok(49_151));
    assert_eq!(postcard::to_stdvec(&-32.005_86f32).expect("encodes"), [0, 6, 0, 0xC2]);
    assert_eq!(postcard::to_stdvec_cobs(&(1u8, 0u8, 300u16)).expect("encodes"), [2, 1, 3, 0xAC, 2, 0]);
}

/// Source: run with postcard 1.2.0. Not every encoding is the shortest, so bytes that were read must never be
/// written again and compared: evidence travels as raw slots.
#[test]
fn postcard_takes_more_than_one_encoding_of_nought() {
    for bytes in [&[0x80, 0][..], &[0x80, 0x80, 0]] {
        assert_eq!(postcard::from_bytes::<u16>(bytes), Ok(0));
    }
    for bytes in [&[0x80, 0x80, 0x80, 0][..], &[0xFF, 0xFF, 7], &[0xFF, 0xFF, 0x83, 0]] {
        assert_eq!(postcard::from_bytes::<u16>(bytes), Err(postcard::Error::DeserializeBadVarint), "{bytes:02x?}");
    }
    assert!(postcard::from_bytes::<bool>(&[2]).is_err());
}
