//! How fast records become checked bytes and back on the host, here and in other formats with the same check; and how fast a season's
//! slots are read with their digest.

use super::{Row, figure, least_work, others};
use host_tool::proof;
use serde::{Deserialize, Serialize};
use shared_protocol::assemble::slots;
use shared_protocol::body::CoarseLean;
use shared_protocol::record::{Increment, Record};
use shared_protocol::slot::{CRC, RECORD_BYTES_MAX, SLOT_BYTES, Slot};
use shared_protocol::units::{Micrometres, Millis};

const RUNS: u32 = 5;
/// Slots of a hole.
const HOLE_SLOTS: usize = 235;
/// Bytes that a CSV row is sure to fit in: the library would otherwise take 8 KiB for each.
const CSV_BUFFER: usize = 128;

/// An increment with its place, as a serde user would declare it.
#[derive(Clone, PartialEq, Serialize, Deserialize, prost::Message)]
struct Declared {
    #[prost(uint32, tag = "1")]
    sequence: u32,
    #[prost(uint32, tag = "2")]
    boot: u32,
    #[prost(uint32, tag = "3")]
    at: u32,
    #[prost(sint32, tag = "4")]
    depth: i32,
    #[prost(sint32, tag = "5")]
    forward: i32,
    #[prost(sint32, tag = "6")]
    right: i32,
    #[prost(uint32, tag = "7")]
    scatter: u32,
    #[prost(uint32, tag = "8")]
    samples: u32,
    #[prost(uint32, tag = "9")]
    took: u32,
    #[prost(uint32, tag = "10")]
    quality: u32,
}

fn increments(count: u32) -> Vec<Increment> {
    let one = |n: u32| Increment {
        at: Millis(60_000 + 650 * n),
        depth: Micrometres(i32::try_from(n % 132).unwrap_or(0) * 25_000),
        forward: CoarseLean(i16::try_from(n % 700).unwrap_or(0) - 350),
        right: CoarseLean(-i16::try_from(n % 500).unwrap_or(0)),
        scatter: 120,
        samples: 13,
        took: 11,
        quality: 0,
    };
    (0..count).map(one).collect()
}

fn declared(sequence: u32, body: &Increment) -> Declared {
    Declared {
        sequence,
        boot: 7,
        at: body.at.0,
        depth: body.depth.0,
        forward: body.forward.0.into(),
        right: body.right.0.into(),
        scatter: body.scatter.into(),
        samples: body.samples.into(),
        took: body.took.into(),
        quality: body.quality.into(),
    }
}

/// Bytes of many records, each as long as is written down.
#[derive(Default)]
struct Packed {
    bytes: Vec<u8>,
    ends: Vec<usize>,
}

impl Packed {
    fn end(&mut self, begun: usize) {
        let check = CRC.checksum(&self.bytes[begun..]);
        self.bytes.extend(check.to_le_bytes());
        self.ends.push(self.bytes.len());
    }

    fn of(all: &[Declared], encode: impl Fn(&Declared, &mut Vec<u8>)) -> Self {
        let mut packed = Self::default();
        for one in all {
            let begun = packed.bytes.len();
            encode(one, &mut packed.bytes);
            packed.end(begun);
        }
        packed
    }

    /// Checks and reads all of them; how many were sound.
    fn read(&self, decode: impl Fn(&[u8]) -> Option<Declared>) -> usize {
        let begins = std::iter::once(0).chain(self.ends.iter().copied());
        let each = begins.zip(&self.ends).map(|(begin, end)| &self.bytes[begin..*end]);
        each.filter_map(|one| {
            let (payload, check) = one.split_last_chunk::<4>()?;
            (CRC.checksum(payload).to_le_bytes() == *check).then(|| decode(payload)).flatten()
        })
        .filter(|one| std::hint::black_box(one).boot == 7)
        .count()
    }
}

fn csv_row(one: &Declared, out: &mut Vec<u8>) {
    let mut writer = csv::WriterBuilder::new().has_headers(false).buffer_capacity(CSV_BUFFER).from_writer(std::mem::take(out));
    writer.serialize(one).expect("into memory");
    *out = writer.into_inner().expect("into memory");
}

fn csv_read(payload: &[u8]) -> Option<Declared> {
    csv::ReaderBuilder::new().has_headers(false).buffer_capacity(CSV_BUFFER).from_reader(payload).deserialize().next()?.ok()
}

/// Encode, check, decode: millions of records a second, both ways together.
///
/// # Panics
/// Where what was written cannot be read.
#[must_use]
pub fn both_ways(count: u32) -> Row {
    let all = increments(count);
    let mirrored: Vec<Declared> = (0..).zip(&all).map(|(n, one)| declared(n, one)).collect();
    let ours = || {
        let mut bytes = Vec::with_capacity(all.len() * SLOT_BYTES);
        for (n, one) in (0..).zip(&all) {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = Record::Increment(*one).encode(&mut body).expect("it fits");
            slots(n, 7, Increment::KIND, &body[..used]).expect("one").iter().for_each(|slot| bytes.extend(slot.bytes()));
        }
        let sound = bytes.as_chunks::<SLOT_BYTES>().0.iter().filter_map(|one| {
            let slot = Slot::check(one).ok()?;
            Record::decode(slot.kind(), slot.body()).ok().filter(|record| std::hint::black_box(record).kind() == Increment::KIND)
        });
        assert_eq!(sound.count(), all.len(), "all come back");
    };
    let other = |encode: &dyn Fn(&Declared, &mut Vec<u8>), decode: &dyn Fn(&[u8]) -> Option<Declared>| {
        let took = least_work(RUNS, || assert_eq!(Packed::of(&mirrored, encode).read(decode), all.len(), "all come back"));
        f64::from(count) / took / 1e6
    };
    let json = other(&|one, out| serde_json::to_writer(out, one).expect("memory"), &|from| serde_json::from_slice(from).ok());
    let csv = other(&csv_row, &csv_read);
    let cbor = other(&|one, out| ciborium::into_writer(one, out).expect("memory"), &|from| ciborium::from_reader(from).ok());
    let pack = other(&|one, out| rmp_serde::encode::write(out, one).expect("memory"), &|from| rmp_serde::from_slice(from).ok());
    let proto = other(&|one, out| prost::Message::encode(one, out).expect("memory"), &|from| prost::Message::decode(from).ok());
    let ours = f64::from(count) / least_work(RUNS, ours) / 1e6;
    let others = others([("JSON", json), ("CSV", csv), ("CBOR", cbor), ("MessagePack", pack), ("protobuf", proto)]);
    let best = others.iter().map(|other| other.value).fold(0.0, f64::max);
    Row {
        what: "records encoded, checked and decoded on the host".to_owned(),
        unit: "million a second",
        ours,
        others,
        aim: "ahead of all",
        holds: ours > best,
        note: "an increment, each with the same CRC-32".to_owned(),
    }
}

/// A season's slots checked and digested: GB a second.
///
/// # Panics
/// Where a slot is not sound.
#[must_use]
pub fn season(count: u32) -> Row {
    let mut bytes = Vec::with_capacity(count as usize * SLOT_BYTES);
    for (n, one) in (0..).zip(increments(count)) {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = Record::Increment(one).encode(&mut body).expect("it fits");
        slots(n, 7, Increment::KIND, &body[..used]).expect("one").iter().for_each(|slot| bytes.extend(slot.bytes()));
    }
    let gigabytes = figure(bytes.len()) / 1e9;
    let (all, _) = bytes.as_chunks::<SLOT_BYTES>();
    let rate = |took: f64| gigabytes / took;
    let checked = || all.iter().filter(|one| Slot::check(one).is_ok()).count();
    // a hole at a time, as the host does
    let whole = || {
        let mut hole = Vec::with_capacity(HOLE_SLOTS);
        let mut proven = |slots: &[[u8; SLOT_BYTES]]| {
            hole.clear();
            hole.extend(slots.iter().map(|one| Slot::check(one).expect("sound")));
            proof::sum(&hole)
        };
        all.chunks(HOLE_SLOTS).map(|slots| proven(slots)[0]).fold(0, u8::wrapping_add)
    };
    let digest = || <sha2::Sha256 as sha2::Digest>::digest(&bytes);
    let crc = || all.iter().fold(0_u32, |sum, one| sum ^ CRC.checksum(&one[..28]));
    let ours = rate(least_work(RUNS, whole));
    let parts = [
        ("checked only", rate(least_work(RUNS, checked))),
        ("CRC-32 alone, slot by slot", rate(least_work(RUNS, crc))),
        ("SHA-256 alone, in one piece", rate(least_work(RUNS, digest))),
    ];
    Row {
        what: "a season's slots checked and digested".to_owned(),
        unit: "GB a second",
        ours,
        others: others(parts),
        aim: "over 1 GB a second, or the profile that says why not",
        holds: ours > 1.0,
        note: format!("{count} slots, {:.0} MB", gigabytes * 1e3),
    }
}
