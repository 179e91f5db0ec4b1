//! How many bytes the evidence of a hole and a live sample take on the wire, here and in other formats that are framed and checked alike.

use super::facts::{Facts, Nameless, Value};
use super::{Row, figure, others};
use prost::encoding::{bytes, sint64, string};
use shared_protocol::frame::{wrap, wrap_raw};
use shared_protocol::message::{Live, Message};
use shared_protocol::slot::{CRC, SLOT_BYTES, Slot};
use shared_protocol::units::Micrometres;

/// Slots that one message carries.
const SLOTS_MAX: usize = 7;

/// A record's bytes behind a check of 32 bits, no zero within it, a zero behind it.
fn framed(payload: &[u8]) -> usize {
    let mut checked = payload.to_vec();
    checked.extend(CRC.checksum(payload).to_le_bytes());
    cobs::encode_vec(&checked).len() + 1
}

/// A table's row: the kind, the place, and the figures in their order.
fn separated(facts: &Facts) -> Vec<u8> {
    let mut row = csv::Writer::from_writer(Vec::new());
    let text = |value: &Value| {
        serde_json::to_value(value).map(|json| json.as_str().map_or_else(|| json.to_string(), str::to_owned)).unwrap_or_default()
    };
    let head = [facts.kind.1.to_owned(), facts.sequence.to_string(), facts.boot.to_string()];
    row.write_record(head.into_iter().chain(facts.fields.iter().map(|(_, value)| text(value)))).expect("into memory");
    row.into_inner().expect("into memory")
}

fn binary_object(facts: &Facts) -> Vec<u8> {
    let mut out = Vec::new();
    ciborium::into_writer(facts, &mut out).expect("into memory");
    out
}

fn packed(facts: &Facts) -> Vec<u8> {
    rmp_serde::to_vec(&Nameless(facts)).expect("into memory")
}

/// Tagged fields, figures as zigzag varints, nought left out, as the format's third version does.
fn tagged(facts: &Facts) -> Vec<u8> {
    let mut out = Vec::new();
    let head = [i64::from(facts.kind.0), i64::from(facts.sequence), i64::from(facts.boot)].map(Value::Int);
    for (tag, value) in (1..).zip(head.iter().chain(facts.fields.iter().map(|(_, value)| value))) {
        match value {
            Value::Int(0) => {}
            Value::Int(value) => sint64::encode(tag, value, &mut out),
            Value::Bytes(value) => bytes::encode(tag, value, &mut out),
            Value::Other(value) => nested(tag, value, &mut out),
        }
    }
    out
}

fn nested(tag: u32, value: &serde_json::Value, out: &mut Vec<u8>) {
    match value {
        serde_json::Value::Null => {}
        serde_json::Value::Bool(value) => sint64::encode(tag, &i64::from(*value), out),
        serde_json::Value::Number(value) => sint64::encode(tag, &value.as_i64().unwrap_or(0), out),
        serde_json::Value::String(text) => string::encode(tag, text, out),
        serde_json::Value::Array(all) => message(tag, all.iter(), out),
        serde_json::Value::Object(all) => message(tag, all.values(), out),
    }
}

fn message<'a>(tag: u32, fields: impl Iterator<Item = &'a serde_json::Value>, out: &mut Vec<u8>) {
    let mut inner = Vec::new();
    (1..).zip(fields).for_each(|(tag, value)| nested(tag, value, &mut inner));
    bytes::encode(tag, &inner, out);
}

/// One sample as named figures.
fn live_facts(live: &Live) -> Facts {
    let fields = [
        ("at", i64::from(live.at)),
        ("depth", i64::from(live.depth.0)),
        ("forward", i64::from(live.forward.0)),
        ("right", i64::from(live.right.0)),
        ("status", i64::from(live.status)),
    ];
    Facts { kind: (4, "Live"), sequence: 0, boot: 0, fields: fields.map(|(name, value)| (name, Value::Int(value))).to_vec() }
}

fn all_formats(all: &[Facts]) -> [(&'static str, f64); 5] {
    let sum = |encode: &dyn Fn(&Facts) -> Vec<u8>| figure(all.iter().map(|facts| framed(&encode(facts))).sum());
    [
        ("JSON lines", sum(&|facts| serde_json::to_vec(facts).expect("into memory"))),
        ("CSV", sum(&separated)),
        ("CBOR, named", sum(&binary_object)),
        ("MessagePack, unnamed", sum(&packed)),
        ("protobuf", sum(&tagged)),
    ]
}

/// A hole's slots, its seal among them, against the same records in other formats.
///
/// # Panics
/// Where a slot does not fit a frame.
#[must_use]
pub fn of_hole(slots: &[Slot]) -> Row {
    let frames = slots.chunks(SLOTS_MAX).map(|some| {
        let raw: Vec<u8> = some.iter().flat_map(|slot| *slot.bytes()).collect();
        wrap(&Message::slots(&raw).expect("they fit")).expect("it fits").len()
    });
    let ours = figure(frames.sum());
    let facts: Vec<Facts> = with_boots(slots);
    let all = all_formats(&facts);
    let smallest = all.iter().map(|(_, bytes)| *bytes).fold(f64::INFINITY, f64::min);
    let holds = ours * 3.0 <= all[0].1 && ours <= 2.0 * smallest;
    let note = format!("{} records in {} slots of {SLOT_BYTES} bytes", facts.len(), slots.len());
    Row {
        what: "evidence of a hole of 3.3 m, seal and all, on the wire".to_owned(),
        unit: "bytes",
        ours,
        others: others(all),
        aim: "a third of JSON or less; within twice the smallest",
        holds,
        note,
    }
}

fn with_boots(slots: &[Slot]) -> Vec<Facts> {
    let boot = slots.first().map_or(1, Slot::boot);
    host_tool::facts::records(slots).map(|(sequence, record)| Facts::of(sequence, boot, &record)).collect()
}

/// A live sample in the middle of a hole.
///
/// # Panics
/// Where it does not fit a frame.
#[must_use]
pub fn of_live() -> Row {
    use shared_protocol::body::CoarseLean;
    let live = Live { at: 51_234, depth: Micrometres(2_155_300), forward: CoarseLean(-631), right: CoarseLean(312), status: 0x05D3 };
    let facts = [live_facts(&live)];
    let ours = figure(wrap(&Message::Live(live)).expect("it fits").len());
    let bare = figure(wrap_raw(&[]).expect("it fits").len());
    Row {
        what: "a live sample on the wire".to_owned(),
        unit: "bytes",
        ours,
        others: others(all_formats(&facts)),
        aim: "at most 20 bytes framed",
        holds: ours <= 20.0,
        note: format!("{bare} of them are frame and check"),
    }
}
