//! Any record as named fields, off the layouts that the document of the wire is checked against, so that other formats can be given the
//! same facts.

use serde::ser::{Serialize, SerializeMap, SerializeSeq, Serializer};
use shared_protocol::record::Record;
use shared_protocol::slot::RECORD_BYTES_MAX;

/// A field's value.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A whole number.
    Int(i64),
    /// Bytes that are no number: digests, keys, signatures.
    Bytes(Vec<u8>),
    /// Text, or what has parts of its own.
    Other(serde_json::Value),
}

/// A record.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// Its kind's number and name.
    pub kind: (u8, &'static str),
    /// Its place in the stream.
    pub sequence: u32,
    /// Which start of the rig wrote it.
    pub boot: u16,
    /// Its fields.
    pub fields: Vec<(&'static str, Value)>,
}

impl Serialize for Value {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Int(value) => to.serialize_i64(*value),
            Self::Bytes(bytes) if to.is_human_readable() => to.serialize_str(&data_encoding::HEXLOWER.encode(bytes)),
            Self::Bytes(bytes) => to.serialize_bytes(bytes),
            Self::Other(value) => value.serialize(to),
        }
    }
}

/// With the names of all fields, as a format does that explains itself.
impl Serialize for Facts {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut map = to.serialize_map(Some(self.fields.len() + 3))?;
        map.serialize_entry("kind", self.kind.1)?;
        map.serialize_entry("sequence", &self.sequence)?;
        map.serialize_entry("boot", &self.boot)?;
        self.fields.iter().try_for_each(|(name, value)| map.serialize_entry(name, value))?;
        map.end()
    }
}

/// Without names, as a format does whose reader has the layout.
#[derive(Debug)]
pub struct Nameless<'a>(pub &'a Facts);

impl Serialize for Nameless<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut all = to.serialize_seq(Some(self.0.fields.len() + 3))?;
        all.serialize_element(&self.0.kind.0)?;
        all.serialize_element(&self.0.sequence)?;
        all.serialize_element(&self.0.boot)?;
        self.0.fields.iter().try_for_each(|(_, value)| all.serialize_element(value))?;
        all.end()
    }
}

impl Facts {
    /// A record's.
    ///
    /// # Panics
    /// Where a record has no layout, which none of this version has not.
    #[must_use]
    pub fn of(sequence: u32, boot: u16, record: &Record) -> Self {
        let (number, name, layout) = Record::TABLE.iter().find(|(kind, ..)| *kind == record.kind()).expect("it has a layout");
        let text = match record {
            Record::Identity(body) => serde_json::to_value(body),
            Record::Opened(body) => serde_json::to_value(body),
            Record::Calibrated(body) => serde_json::to_value(body),
            Record::Instruments(body) => serde_json::to_value(body),
            Record::Note(body) => serde_json::to_value(body),
            Record::Closed(body) => serde_json::to_value(body),
            Record::Decommissioned(body) => serde_json::to_value(body),
            _ => Ok(serde_json::Value::Null),
        };
        let text = text.expect("plain figures and texts");
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).expect("it fits");
        let mut rest = &body[..used];
        let fields = layout.iter().map(|(field, kind, bytes)| {
            if let Some(value) = text.get(field) {
                return (*field, value.as_i64().map_or_else(|| Value::Other(value.clone()), Value::Int));
            }
            let (mine, after) = rest.split_at(*bytes);
            rest = after;
            (*field, number_of(kind, mine))
        });
        Self { kind: (*number, name), sequence, boot, fields: fields.collect() }
    }
}

/// A fixed field: little-endian, signed where its type begins with `i`.
fn number_of(kind: &str, bytes: &[u8]) -> Value {
    if bytes.len() > 8 || kind.ends_with("bytes") {
        return Value::Bytes(bytes.to_vec());
    }
    let fill = if kind.starts_with('i') && bytes.last().is_some_and(|top| top & 0x80 != 0) { 0xFF } else { 0 };
    let mut whole = [fill; 8];
    whole[..bytes.len()].copy_from_slice(bytes);
    Value::Int(i64::from_le_bytes(whole))
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::body::CoarseLean;
    use shared_protocol::record::{Increment, Note};
    use shared_protocol::units::{Micrometres, Millis};

    #[test]
    fn fixed_and_written_bodies_have_their_fields_by_name() {
        let increment =
            Increment { at: Millis(7), depth: Micrometres(-25_000), forward: CoarseLean(-3), samples: 9, ..Increment::default() };
        let facts = Facts::of(41, 2, &Record::Increment(increment));
        let json = serde_json::to_value(&facts).unwrap();
        assert_eq!(
            (&json["kind"], &json["at"], &json["depth"], &json["forward"]),
            (&"Increment".into(), &7.into(), &(-25_000).into(), &(-3).into())
        );
        assert_eq!((&json["samples"], &json["sequence"]), (&9.into(), &41.into()));
        let note = Note { author: "A. Nobody".try_into().unwrap(), text: "clay".try_into().unwrap(), ..Note::default() };
        let json = serde_json::to_value(Facts::of(1, 1, &Record::Note(note))).unwrap();
        assert_eq!((&json["author"], &json["text"]), (&"A. Nobody".into(), &"clay".into()));
    }
}
