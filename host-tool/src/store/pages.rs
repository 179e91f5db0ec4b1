//! Slots found in the bytes of a database's pages, whatever has become of what led to them.
//!
//! A slot checks itself. Whose it is, a block's sum says, which holds for one stream's number and no other. Where a slot of the block is
//! damaged, its head says it, and the head of the row: the block's number, the header's length, nothing for the number, the type of the
//! slots and that of the gaps. Stores before blocks have a row for each slot: a header (its own length, the types of the stream's number,
//! of the sequence and of the slot), the number, the sequence. Where that is damaged too, what stands on the same page tells, since all
//! lies by stream and sequence.

use super::blocks::{self, HEAD, SUM};
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

/// A slot on a page.
#[derive(Debug)]
struct Found<'a> {
    slot: Slot,
    blocks: Vec<Around<'a>>,
    /// Whether one of them is more than chance.
    in_block: bool,
    whose: Whose,
}

/// A block that a slot may stand in.
#[derive(Clone, Copy, Debug)]
struct Around<'a> {
    before: &'a [u8],
    bytes: &'a [u8],
    sum: &'a [u8],
}

/// What is said of a slot's stream.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Whose {
    /// The block's sum holds for it.
    Proven(i64),
    /// The row says so.
    Said(i64),
    Unsaid,
}

/// Every slot in a database's file and its log; of streams with these numbers among others.
pub(super) fn slots(file: &[u8], log: &[u8], streams: impl IntoIterator<Item = i64>) -> Vec<Seen> {
    let logged = log.get(LOG_HEAD..).unwrap_or(&[]).chunks(LOG_PAGE_HEAD + PAGE).map(|page| page.get(LOG_PAGE_HEAD..).unwrap_or(&[]));
    let mut pages: Vec<Vec<Found<'_>>> = file.chunks(PAGE).chain(logged).map(on_page).collect();
    let mut known: BTreeSet<i64> = streams.into_iter().collect();
    known.extend(pages.iter().flatten().filter_map(|found| found.whose.stream()));
    for found in pages.iter_mut().flatten() {
        found.prove(&known);
    }
    pages.into_iter().flat_map(place).collect()
}

fn on_page(page: &[u8]) -> Vec<Found<'_>> {
    let slots = (0..page.len())
        .filter_map(|at| Some((at, page.get(at..)?.first_chunk::<SLOT_BYTES>()?)))
        .filter(|(_, bytes)| may_be(bytes))
        .filter_map(|(at, bytes)| Some((at, Slot::check(bytes).ok()?)));
    let found = |(at, slot): (usize, Slot)| {
        let blocks = Around::of(page, at, &slot);
        let by_block = blocks.iter().find_map(|block| block.says(&slot));
        let in_block = by_block.is_some() || blocks.iter().any(|block| block.has_others_beside(&slot));
        let said = by_block.or_else(|| row_before(page.get(..at).unwrap_or(&[]), &slot));
        Found { slot, blocks, in_block, whose: said.map_or(Whose::Unsaid, Whose::Said) }
    };
    slots.map(found).collect()
}

/// Says of each slot on a page whose it is, as far as can be known.
fn place(page: Vec<Found<'_>>) -> Vec<Seen> {
    let known: BTreeSet<(i64, u32)> = page.iter().filter_map(|found| Some((found.whose.stream()?, found.row().0))).collect();
    let streams: BTreeSet<i64> = known.iter().map(|(stream, _)| *stream).collect();
    let place = |found: Found<'_>| {
        let (row, step) = found.row();
        let beside = |stream: i64| [row.wrapping_sub(step), row.wrapping_add(step)].iter().any(|side| known.contains(&(stream, *side)));
        // whose rows it would stand among
        let misses: Vec<i64> = streams.iter().copied().filter(|stream| beside(*stream) && !known.contains(&(*stream, row))).collect();
        match (found.whose, &misses[..]) {
            (Whose::Proven(stream), _) => Seen::Sure(stream, found.slot),
            (Whose::Said(stream), _) if beside(stream) => Seen::Sure(stream, found.slot),
            (Whose::Said(stream), []) => Seen::Likely(stream, found.slot),
            (Whose::Unsaid, &[stream]) if !found.in_block => Seen::Likely(stream, found.slot),
            _ => Seen::Unplaced(found.slot),
        }
    };
    page.into_iter().map(place).collect()
}

impl Whose {
    fn stream(self) -> Option<i64> {
        match self {
            Self::Proven(stream) | Self::Said(stream) => Some(stream),
            Self::Unsaid => None,
        }
    }
}

impl Found<'_> {
    /// The first sequence of the row that it stands in, and how far it is to the next row's.
    fn row(&self) -> (u32, u32) {
        if self.in_block { (blocks::start(self.slot.sequence()), blocks::TOGETHER) } else { (self.slot.sequence(), 1) }
    }

    /// Looks for the stream that the block's sum holds for, first the one that its row says.
    fn prove(&mut self, known: &BTreeSet<i64>) {
        let number = |stream: &i64| blocks::number(*stream, self.slot.sequence());
        let holds = |stream: &i64| self.blocks.iter().any(|block| blocks::sum(number(stream), block.bytes) == *block.sum);
        if let Some(stream) = self.whose.stream().into_iter().chain(known.iter().copied()).find(holds) {
            (self.whose, self.in_block) = (Whose::Proven(stream), true);
        }
    }
}

impl<'a> Around<'a> {
    /// What may be the block round a slot on a page: its head has the slot where it stands, as other bytes may by chance.
    fn of(page: &'a [u8], at: usize, slot: &Slot) -> Vec<Self> {
        let with = |nth: usize| {
            let from = at.checked_sub(nth * SLOT_BYTES + HEAD)?;
            let (before, count) = blocks::places(*page.get(from..)?.first_chunk()?, slot.sequence())?;
            let end = from + HEAD + count * SLOT_BYTES;
            (before == nth).then_some(())?;
            Some(Self { before: page.get(..from)?, bytes: page.get(from..end)?, sum: page.get(end..end + SUM)? })
        };
        (0..blocks::TOGETHER as usize).filter_map(with).collect()
    }

    /// Whether other slots of the same 31 stand beside this one with nothing between them, as rows of their own never do.
    fn has_others_beside(&self, slot: &Slot) -> bool {
        let rows = self.bytes.get(HEAD..).unwrap_or_default().as_chunks().0;
        let Some(own) = rows.iter().position(|row| row == slot.bytes()) else { return false };
        let others = (0..).zip(rows).filter_map(|(nth, row)| Some((own.abs_diff(nth), Slot::check(row).ok()?)));
        others.filter(|(apart, _)| *apart > 0).any(|(apart, other)| {
            let further = slot.sequence().abs_diff(other.sequence()) as usize >= apart;
            further && blocks::start(other.sequence()) == blocks::start(slot.sequence())
        })
    }

    /// The stream's number by the head of the row, where it holds together.
    fn says(&self, slot: &Slot) -> Option<i64> {
        let kind = u16::try_from(12 + 2 * (self.bytes.len() + SUM)).ok()?; // SQLite's of a blob, seven bits to a byte as well
        let [more, kind] = [kind >> 7, kind & 0x7F].map(|bits| bits.to_le_bytes()[0]);
        let kind = if more == 0 { vec![kind] } else { vec![0x80 | more, kind] };
        let head = [8, 9, 1].into_iter().find_map(|gaps| {
            let length = u8::try_from(3 + kind.len()).ok()?;
            self.before.strip_suffix(&[&[length, 0], &kind[..], &[gaps]].concat()[..])
        })?;
        // seven bits to a byte, most significant first; all but the last have the eighth
        let (last, rest) = head.split_last().filter(|(last, _)| *last & 0x80 == 0)?;
        let more = rest.len() - rest.iter().rev().take_while(|byte| *byte & 0x80 != 0).count();
        let digits = rest.get(more..).filter(|digits| digits.len() < 8)?;
        let number = digits.iter().chain([last]).fold(0_i64, |value, digit| value << 7 | i64::from(digit & 0x7F));
        blocks::stream_of(number, slot.sequence())
    }
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
