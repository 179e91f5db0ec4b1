//! Slots found in the bytes of a database's pages, whatever has become of what led to them.
//!
//! A slot checks itself. Whose it is, the row says in the bytes before it: a header (its own length, the types of the
//! stream's number, of the sequence and of the slot), the number, the sequence. Where they are damaged, the rows on
//! the same page tell, since rows lie by stream and sequence.

use shared_protocol::slot::{BODY_BYTES, SLOT_BYTES, Slot};
use std::collections::BTreeSet;

/// Bytes of a page in every store.
const PAGE: usize = 4_096;
/// Bytes before the first page of a log, and before each page in it.
const LOG_HEAD: usize = 32;
const LOG_PAGE_HEAD: usize = 24;
/// What a row's header says of a slot: a blob of 32 bytes.
const OF_A_SLOT: u8 = 12 + 2 * 32;

/// A slot, and how its stream was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Seen {
    /// Row and page say the stream's number.
    Sure(i64, Slot),
    /// Only one of them does.
    Likely(i64, Slot),
    /// They contradict each other, or say nothing.
    Unplaced(Slot),
}

/// Every slot in a database's file and its log.
pub(super) fn slots(file: &[u8], log: &[u8]) -> Vec<Seen> {
    let logged = log.get(LOG_HEAD..).unwrap_or(&[]).chunks(LOG_PAGE_HEAD + PAGE).map(|page| page.get(LOG_PAGE_HEAD..).unwrap_or(&[]));
    file.chunks(PAGE).chain(logged).flat_map(on_page).collect()
}

fn on_page(page: &[u8]) -> Vec<Seen> {
    let found: Vec<(Option<i64>, Slot)> = (0..page.len())
        .filter_map(|at| Some((at, page.get(at..)?.first_chunk::<SLOT_BYTES>()?)))
        .filter(|(_, bytes)| may_be(bytes))
        .filter_map(|(at, bytes)| Slot::check(bytes).ok().map(|slot| (row_before(page.get(..at).unwrap_or(&[]), &slot), slot)))
        .collect();
    let rows: BTreeSet<(i64, u32)> = found.iter().filter_map(|(stream, slot)| Some(((*stream)?, slot.sequence()))).collect();
    let streams: BTreeSet<i64> = rows.iter().map(|(stream, _)| *stream).collect();
    let place = |(row, slot): (Option<i64>, Slot)| {
        let sides = [slot.sequence().wrapping_sub(1), slot.sequence().wrapping_add(1)];
        let beside: Vec<i64> = streams.iter().copied().filter(|stream| sides.iter().any(|side| rows.contains(&(*stream, *side)))).collect();
        match (row, &beside[..]) {
            (Some(stream), beside) if beside.contains(&stream) => Seen::Sure(stream, slot),
            (Some(stream), []) | (None, &[stream]) => Seen::Likely(stream, slot),
            _ => Seen::Unplaced(slot),
        }
    };
    found.into_iter().map(place).collect()
}

/// Whether it is worth the work to check these bytes.
fn may_be(bytes: &[u8; SLOT_BYTES]) -> bool {
    let (part, length) = (bytes[7], usize::from(bytes[8]));
    part & 0x0F <= part >> 4 && length <= BODY_BYTES && bytes[9 + length..28].iter().all(|b| *b == 0)
}

/// The stream's number from the row that ends with this slot, where the row holds together.
fn row_before(before: &[u8], slot: &Slot) -> Option<i64> {
    let kinds = [1, 2, 3, 4, 5, 6, 8, 9];
    kinds.into_iter().flat_map(|sequence| kinds.map(|stream| (stream, sequence))).find_map(|(stream, sequence)| {
        let (rest, at) = number(before, sequence)?;
        let (rest, id) = number(rest, stream)?;
        (at == i64::from(slot.sequence()) && id > 0 && rest.ends_with(&[4, stream, sequence, OF_A_SLOT])).then_some(id)
    })
}

/// A number of a kind at the end of some bytes, most significant byte first.
fn number(bytes: &[u8], kind: u8) -> Option<(&[u8], i64)> {
    let length = match kind {
        1..=4 => usize::from(kind),
        5 => 6,
        6 => 8,
        8 => return Some((bytes, 0)),
        9 => return Some((bytes, 1)),
        _ => return None,
    };
    let (rest, digits) = bytes.split_at_checked(bytes.len().checked_sub(length)?)?;
    let sign = if digits.first()? & 0x80 == 0 { 0 } else { -1 };
    Some((rest, digits.iter().fold(sign, |value: i64, digit| value << 8 | i64::from(*digit))))
}
