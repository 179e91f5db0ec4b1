//! Records to slots and back: a record is split over as many slots as it needs, and is whole or absent.

use crate::slot::{BODY_BYTES, PARTS_MAX, Part, RECORD_BYTES_MAX, Slot};
use heapless::Vec;

/// Splits a record's body over as many slots as it needs. `None` where it is longer than any record may be.
#[must_use]
pub fn slots(sequence: u32, boot: u16, kind: u8, body: &[u8]) -> Option<Vec<Slot, PARTS_MAX>> {
    let of = u8::try_from(body.len().div_ceil(BODY_BYTES).max(1)).ok()?;
    let mut out = Vec::new();
    for index in 0..of {
        let from = usize::from(index).saturating_mul(BODY_BYTES);
        let piece = body.get(from..body.len().min(from.saturating_add(BODY_BYTES)))?;
        out.push(Slot::build(sequence.wrapping_add(u32::from(index)), boot, kind, Part { index, of }, piece)?).ok()?;
    }
    Some(out)
}

/// Puts the parts of records together again. A record is whole or absent: an interrupted one is given up.
#[derive(Debug, Default)]
pub struct Assembler {
    body: Vec<u8, RECORD_BYTES_MAX>,
    last: Option<Slot>,
    first: u32,
}

/// A whole record's bytes.
#[derive(Debug, PartialEq, Eq)]
pub struct Assembled<'a> {
    /// Sequence of its first slot.
    pub first: u32,
    /// Sequence of its last slot.
    pub last: u32,
    /// The start of the rig that wrote it.
    pub boot: u16,
    /// Its kind, raw.
    pub kind: u8,
    /// Its body.
    pub body: &'a [u8],
}

impl Assembler {
    /// Takes the next slot of the stream and returns the record that it completes, if it does.
    pub fn push(&mut self, slot: &Slot) -> Option<Assembled<'_>> {
        let part = slot.part();
        if part.index == 0 {
            self.body.clear();
            self.first = slot.sequence();
        } else if !self.last.is_some_and(|last| continues(&last, slot)) {
            self.last = None;
            return None;
        }
        self.last = Some(*slot);
        self.body.extend_from_slice(slot.body()).ok()?;
        if part.index.saturating_add(1) < part.of {
            return None;
        }
        self.last = None;
        Some(Assembled { first: self.first, last: slot.sequence(), boot: slot.boot(), kind: slot.kind(), body: &self.body })
    }
}

fn continues(last: &Slot, next: &Slot) -> bool {
    let (a, b) = (last.part(), next.part());
    next.sequence() == last.sequence().wrapping_add(1)
        && next.boot() == last.boot()
        && next.kind() == last.kind()
        && a.of == b.of
        && b.index == a.index.saturating_add(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::{any, prop_assert_eq, proptest};

    #[test]
    fn an_interrupted_record_is_absent_and_the_next_one_whole() {
        let long = slots(10, 1, 10, &[7; 50]).unwrap();
        let short = slots(12, 2, 1, &[9; 9]).unwrap();
        let mut assembler = Assembler::default();
        assert_eq!(assembler.push(&long[0]), None);
        assert_eq!(assembler.push(&long[1]), None);
        let whole = assembler.push(&short[0]).unwrap();
        assert_eq!((whole.first, whole.kind, whole.body), (12, 1, &[9; 9][..]));
        assert_eq!(assembler.push(&long[2]), None, "a part without its beginning is not a record");
    }

    proptest! {
        #[test]
        fn any_body_is_split_and_put_together(body in proptest::collection::vec(any::<u8>(), 0..=RECORD_BYTES_MAX), seq: u32) {
            let parts = slots(seq, 4, 10, &body).unwrap();
            let mut assembler = Assembler::default();
            let (end, rest) = parts.split_last().unwrap();
            for slot in rest { prop_assert_eq!(assembler.push(slot), None); }
            let whole = assembler.push(end).unwrap();
            prop_assert_eq!((whole.first, whole.body), (seq, &body[..]));
        }
    }
}
