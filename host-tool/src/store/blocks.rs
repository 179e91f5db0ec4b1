//! Where slots stand in the file: 31 to a row, by stream and sequence, each at its own place and none of its bytes changed. Four full rows
//! fill a page. Each row has a sum that its stream's number is in, so that a row tells whose it is though all else is gone.

use super::is_rotten;
use rusqlite::{Connection, OptionalExtension, Row, params};
use sha2::{Digest, Sha256};
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::ops::{ControlFlow, RangeInclusive};

/// The version of the tables from which on they are there.
pub(super) const SINCE: i32 = 7;
/// Sequences in a block.
pub(super) const TOGETHER: u32 = 31;
/// Bytes before a block's slots: which of them are there, the first in the lowest bit.
pub(super) const HEAD: usize = 4;
/// Bytes behind them: the beginning of a SHA-256.
pub(super) const SUM: usize = 8;
/// What a slot's seventh byte says of a gap.
const GAP: u8 = 0x0D;

/// A block goes by its stream's number and, in the lower half, the first sequence of its 31.
pub(super) const TABLES: &str = "
    CREATE TABLE blocks (id INTEGER PRIMARY KEY, slots BLOB NOT NULL CHECK (length(slots) BETWEEN 44 AND 1004), gaps INTEGER NOT NULL) STRICT;
    CREATE INDEX blocks_with_gaps ON blocks (id) WHERE gaps > 0;
    CREATE TRIGGER blocks_come AFTER INSERT ON blocks BEGIN DELETE FROM set_ups WHERE stream = new.id >> 32 AND (until >= (new.id & 0xFFFFFFFF) OR new.gaps > 0); DELETE FROM read_through WHERE stream = new.id >> 32; END;
    CREATE TRIGGER blocks_change AFTER UPDATE ON blocks BEGIN DELETE FROM set_ups WHERE stream = new.id >> 32 AND (until >= (new.id & 0xFFFFFFFF) OR new.gaps <> old.gaps); DELETE FROM read_through WHERE stream = new.id >> 32; END;
";

const OF_A_STREAM: &str = "SELECT id, slots FROM blocks WHERE id BETWEEN ?1 AND ?2";

/// The slots of 31 sequences, as their bytes stand in the store.
#[derive(Clone, Debug)]
pub(super) struct Block {
    start: u32,
    slots: [Option<[u8; SLOT_BYTES]>; TOGETHER as usize],
}

impl Block {
    fn empty(sequence: u32) -> Self {
        Self { start: start(sequence), slots: [None; TOGETHER as usize] }
    }

    /// Reads a row. Where its head does not fit its length, each slot says its own place.
    fn of(start: u32, bytes: &[u8]) -> Self {
        let mut block = Self::empty(start);
        let (present, rest) = bytes.split_first_chunk().map_or((0, bytes), |(head, rest)| (u32::from_be_bytes(*head), rest));
        let rows = rest.get(..rest.len().saturating_sub(SUM)).unwrap_or_default().as_chunks().0;
        let places = (0..TOGETHER).filter(|place| present >> place & 1 == 1);
        if present.count_ones() as usize == rows.len() && rest.len() % SLOT_BYTES == SUM && present >> TOGETHER == 0 {
            places.zip(rows).for_each(|(place, row)| block.slots[place as usize] = Some(*row));
        } else {
            for slot in rows.iter().filter_map(|row| Slot::check(row).ok()).filter(|slot| self::start(slot.sequence()) == start) {
                *block.at(slot.sequence()) = Some(*slot.bytes());
            }
        }
        block
    }

    /// The block that holds a sequence, with nothing in it where none of it is stored.
    pub(super) fn load(db: &Connection, stream: i64, sequence: u32) -> rusqlite::Result<Self> {
        let number = number(stream, sequence);
        let found = db.prepare_cached(OF_A_STREAM)?.query_row([number, number], read).optional()?;
        Ok(found.unwrap_or_else(|| Self::empty(sequence)))
    }

    /// Writes it over the row that it was read from.
    pub(super) fn save(&self, db: &Connection, stream: i64) -> rusqlite::Result<()> {
        let sql = "INSERT INTO blocks VALUES (?1, ?2, ?3) ON CONFLICT DO UPDATE SET slots = excluded.slots, gaps = excluded.gaps";
        let gaps = self.each().map(|(sequence, slot)| u32::from(is_gap(sequence, slot))).sum::<u32>();
        db.prepare_cached(sql)?.execute(params![number(stream, self.start), self.bytes(stream), gaps])?;
        Ok(())
    }

    fn bytes(&self, stream: i64) -> Vec<u8> {
        let present = (0..).zip(&self.slots).filter(|(_, slot)| slot.is_some()).fold(0_u32, |all, (place, _): (u32, _)| all | 1 << place);
        let mut bytes = present.to_be_bytes().to_vec();
        bytes.extend(self.each().flat_map(|(_, slot)| *slot));
        bytes.extend(sum(number(stream, self.start), &bytes));
        bytes
    }

    /// Whether a sequence is one of its own.
    pub(super) fn covers(&self, sequence: u32) -> bool {
        start(sequence) == self.start
    }

    /// The place of a sequence that it covers.
    pub(super) fn at(&mut self, sequence: u32) -> &mut Option<[u8; SLOT_BYTES]> {
        &mut self.slots[(sequence % TOGETHER) as usize]
    }

    fn each(&self) -> impl Iterator<Item = (u32, &[u8; SLOT_BYTES])> {
        (self.start..=u32::MAX).zip(&self.slots).filter_map(|(sequence, slot)| Some((sequence, slot.as_ref()?)))
    }
}

fn read(row: &Row<'_>) -> rusqlite::Result<Block> {
    let start = u32::try_from(row.get::<_, i64>(0)? & 0xFFFF_FFFF).unwrap_or(0);
    Ok(Block::of(start, row.get_ref(1)?.as_blob()?))
}

/// Whether a slot declares a gap, and holds.
fn is_gap(sequence: u32, slot: &[u8; SLOT_BYTES]) -> bool {
    slot[6] == GAP && !is_rotten(slot, sequence)
}

/// The first sequence of the block that holds another.
pub(super) fn start(sequence: u32) -> u32 {
    sequence - sequence % TOGETHER
}

/// The number of the block that holds a sequence.
pub(super) fn number(stream: i64, sequence: u32) -> i64 {
    stream << 32 | i64::from(start(sequence))
}

/// The stream whose block of this number holds a sequence.
pub(super) fn stream_of(number_said: i64, sequence: u32) -> Option<i64> {
    let stream = number_said >> 32;
    (stream > 0 && number(stream, sequence) == number_said).then_some(stream)
}

/// How many slots stand before a sequence's own in a block with this head, and in all of it; `None` where it has none of that sequence.
pub(super) fn places(head: [u8; HEAD], sequence: u32) -> Option<(usize, usize)> {
    let (present, place) = (u32::from_be_bytes(head), sequence % TOGETHER);
    let before = present & ((1 << place) - 1);
    (present >> place & 1 == 1 && present >> TOGETHER == 0).then_some((before.count_ones() as usize, present.count_ones() as usize))
}

/// A block's sum, over its number, its head and its slots.
pub(super) fn sum(number: i64, bytes: &[u8]) -> [u8; SUM] {
    let all: [u8; 32] = Sha256::new().chain_update(number.to_be_bytes()).chain_update(bytes).finalize().into();
    *all.first_chunk().unwrap_or(&[0; SUM])
}

/// How many slots a row of this length has.
pub(super) fn count(bytes: &[u8]) -> usize {
    bytes.len().saturating_sub(HEAD + SUM) / SLOT_BYTES
}

/// Hands over every stored slot of a part of a stream in rising sequence, as its bytes stand there.
pub(super) fn each(
    db: &Connection,
    stream: i64,
    part: RangeInclusive<u32>,
    mut act: impl FnMut(u32, &[u8; SLOT_BYTES]) -> rusqlite::Result<ControlFlow<()>>,
) -> rusqlite::Result<()> {
    let mut query = db.prepare_cached(&format!("{OF_A_STREAM} ORDER BY id"))?;
    let mut rows = query.query([number(stream, *part.start()), number(stream, *part.end())])?;
    while let Some(row) = rows.next()? {
        let block = read(row)?;
        for (sequence, slot) in block.each().filter(|(sequence, _)| part.contains(sequence)) {
            if act(sequence, slot)?.is_break() {
                return Ok(());
            }
        }
    }
    Ok(())
}

/// Every gap declared in a stream from a sequence on.
pub(super) fn gaps(db: &Connection, stream: i64, from: u32) -> rusqlite::Result<Vec<Slot>> {
    let mut query = db.prepare_cached(&format!("{OF_A_STREAM} AND gaps > 0 ORDER BY id"))?;
    let blocks = query.query_map([number(stream, from), number(stream, u32::MAX)], read)?.collect::<Result<Vec<_>, _>>()?;
    let slots = blocks.iter().flat_map(Block::each).filter(|(sequence, slot)| *sequence >= from && is_gap(*sequence, slot));
    Ok(slots.filter_map(|(_, slot)| Slot::check(slot).ok()).collect())
}

/// The first sequence stored in a part of a stream.
pub(super) fn first(db: &Connection, stream: i64, part: RangeInclusive<u32>) -> rusqlite::Result<Option<u32>> {
    let mut first = None;
    each(db, stream, part, |sequence, _| {
        first = Some(sequence);
        Ok(ControlFlow::Break(()))
    })?;
    Ok(first)
}

/// The last sequence stored of a stream.
pub(super) fn last(db: &Connection, stream: i64) -> rusqlite::Result<Option<u32>> {
    let mut query = db.prepare_cached(&format!("{OF_A_STREAM} ORDER BY id DESC LIMIT 1"))?;
    let block = query.query_row([number(stream, 0), number(stream, u32::MAX)], read).optional()?;
    Ok(block.and_then(|block| block.each().last().map(|(sequence, _)| sequence)))
}

/// Brings the slots of older versions, a row each, into blocks, damaged ones as they are.
pub(super) fn take_over(db: &Connection) -> rusqlite::Result<()> {
    let mut query = db.prepare("SELECT stream, sequence, slot FROM slots ORDER BY stream, sequence")?;
    let mut rows = query.query([])?;
    let mut open: Option<(i64, Block)> = None;
    while let Some(row) = rows.next()? {
        let (stream, sequence): (i64, u32) = (row.get(0)?, row.get(1)?);
        let (_, block) = match open.take() {
            Some((of, block)) if of == stream && block.covers(sequence) => open.insert((of, block)),
            before => {
                before.iter().try_for_each(|(of, block)| block.save(db, *of))?;
                open.insert((stream, Block::empty(sequence)))
            }
        };
        *block.at(sequence) = Some(row.get(2)?);
    }
    open.iter().try_for_each(|(of, block)| block.save(db, *of))?;
    drop(rows);
    query.finalize()?;
    db.execute_batch("DROP TABLE slots")
}

#[cfg(test)]
mod tests;
