//! Where each set-up stands among the slots, kept beside them so that one is read without the others. The database itself forgets
//! what a slot that is written may change, whoever writes it; what is forgotten is read again when it is next asked for.

use super::{Store, StoreFault, blocks, id_of};
use crate::entry::HoleName;
use crate::facts::{Alone, Placed, SetUp, Wall, stretch};
use crate::holes::{name_of, plain};
use crate::session::Stream;
use rusqlite::types::Type;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior, params};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use shared_protocol::slot::Slot;
use shared_protocol::state::Leg;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

/// `until` is the last sequence whose slot may change the set-up; a gap may be declared anywhere. A stream in `read_through` has no
/// other set-ups than these. Each row has a sum of its own: what rots is found again.
pub(super) const TABLES: &str = "
    CREATE TABLE set_ups (
        stream INTEGER NOT NULL REFERENCES streams, opened INTEGER NOT NULL, until INTEGER NOT NULL,
        line TEXT NOT NULL, structure TEXT NOT NULL, plain TEXT NOT NULL, brief TEXT NOT NULL, sum BLOB NOT NULL,
        PRIMARY KEY (stream, opened)
    ) STRICT, WITHOUT ROWID;
    CREATE INDEX set_ups_until ON set_ups (stream, until);
    CREATE INDEX set_ups_of_structure ON set_ups (line, structure);
    CREATE TABLE read_through (stream INTEGER PRIMARY KEY REFERENCES streams) STRICT;
    CREATE INDEX gaps ON slots (stream, sequence) WHERE substr(slot, 7, 1) = x'0D';
    CREATE TRIGGER slots_come AFTER INSERT ON slots BEGIN DELETE FROM set_ups WHERE stream = new.stream AND until >= new.sequence; DELETE FROM read_through WHERE stream = new.stream; END;
    CREATE TRIGGER gaps_come AFTER INSERT ON slots WHEN substr(new.slot, 7, 1) = x'0D' BEGIN DELETE FROM set_ups WHERE stream = new.stream; END;
    CREATE TRIGGER slots_mended AFTER UPDATE ON slots BEGIN DELETE FROM set_ups WHERE stream = new.stream; DELETE FROM read_through WHERE stream = new.stream; END;
";

/// The same tables for one connection, where the file itself cannot be written.
const APART: &str = "
    CREATE TEMP TABLE set_ups (
        stream INTEGER NOT NULL, opened INTEGER NOT NULL, until INTEGER NOT NULL,
        line TEXT NOT NULL, structure TEXT NOT NULL, plain TEXT NOT NULL, brief TEXT NOT NULL, sum BLOB NOT NULL,
        PRIMARY KEY (stream, opened)
    ) STRICT, WITHOUT ROWID;
    CREATE TEMP TABLE read_through (stream INTEGER PRIMARY KEY) STRICT;
";

const FORGET: &str = "DELETE FROM set_ups; DELETE FROM read_through";

const KNOWN_LAST: &str =
    "SELECT stream, opened, until, line, structure, plain, brief, sum FROM set_ups WHERE stream = ?1 ORDER BY opened DESC LIMIT 1";

/// Slots read in one go, and while nobody else can write: some hundred holes.
const TOGETHER: u32 = 40_000;

/// A set-up as it was found among the slots.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Whose records.
    pub stream: Stream,
    /// Sequence of its first slot.
    pub opened: u32,
    /// Line.
    pub line: String,
    /// Structure on the line.
    pub structure: String,
    /// Structure and leg, attempt and set-up, in plain letters.
    pub plain: String,
    /// The rest.
    pub brief: Brief,
}

/// What is kept of it as JSON.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Brief {
    /// Its name as people say it.
    pub name: String,
    /// Leg, as the plan has it.
    pub leg: u8,
    /// Attempt.
    pub attempt: u8,
    /// Set-up.
    pub setup: u8,
    /// Units, as the plan has them.
    pub units: u8,
    /// Sequence of its last slot.
    pub last: u32,
    /// Slots beside its own that it leans on: first and last sequence of each row of them.
    pub beside: Vec<(u32, u32)>,
    /// When it was opened: milliseconds since 1970 and minutes of offset.
    pub began: Option<(i64, i16)>,
    /// When it was closed, else when the last increment was recorded.
    pub ended: Option<(i64, i16)>,
    /// Whether anything was cut.
    pub cut: bool,
    /// A simulated rig made it.
    pub simulated: bool,
}

impl Found {
    /// Its name in entries; `None` where its leg is none that is known.
    #[must_use]
    pub fn hole_name(&self) -> Option<HoleName> {
        let leg = Leg::from_raw(self.brief.leg)?;
        Some(HoleName { line: self.line.clone(), structure: self.structure.clone(), leg, attempt: self.brief.attempt })
    }
}

impl Brief {
    fn of(placed: &Placed) -> Self {
        let set_up: &SetUp = &placed.set_up;
        let plan = &set_up.opened.body.plan;
        let wall = |wall: Option<Wall>| wall.map(|wall| (wall.unix_ms, wall.offset));
        Self {
            name: name_of(plan),
            leg: plan.leg,
            attempt: plan.attempt,
            setup: plan.setup,
            units: plan.units,
            last: set_up.slots.last().map_or(set_up.opened.sequence, Slot::sequence),
            beside: placed.beside.clone(),
            began: wall(set_up.opened.moment.wall),
            ended: wall(set_up.last_moment().and_then(|moment| moment.wall)),
            cut: !set_up.increments.is_empty(),
            simulated: set_up.identity.as_ref().is_some_and(|identity| identity.simulated),
        }
    }
}

impl Store {
    /// Every set-up in the store, by rig, epoch and sequence. What was found before and nothing has changed since is not read again.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn found(&self) -> Result<Vec<Found>, StoreFault> {
        self.listed("1", [])
    }

    /// Those of one structure.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn found_of_structure(&self, line: &str, structure: &str) -> Result<Vec<Found>, StoreFault> {
        self.listed("line = ?1 AND structure = ?2", [line, structure])
    }

    fn listed<P: rusqlite::Params + Clone>(&self, of: &str, params: P) -> Result<Vec<Found>, StoreFault> {
        let list = || self.find_all().and_then(|()| select(&self.db, of, params.clone()));
        let listed = match list() {
            // damaged: it is found again in the slots
            Err(rusqlite::Error::FromSqlConversionFailure(..)) => self.db.execute_batch(FORGET).and_then(|()| list()),
            listed => listed,
        };
        listed.map_err(|e| self.fault(&e))
    }

    /// One set-up's slots and what they lean on.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn alone(&self, found: &Found) -> Result<Alone, StoreFault> {
        let read = || -> rusqlite::Result<Alone> {
            let id = id_of(&self.db, &found.stream)?;
            let own = rows_of(&self.db, id, found.opened, found.brief.last, u32::MAX)?.slots;
            let beside = beside(&self.db, id, &found.brief)?;
            Ok(Alone { own, beside })
        };
        read().map_err(|e| self.fault(&e))
    }

    /// Brings what is kept up to date. Where the file cannot be written, what is found is kept for this connection.
    fn find_all(&self) -> rusqlite::Result<()> {
        self.db.execute_batch("DROP TABLE IF EXISTS temp.set_ups; DROP TABLE IF EXISTS temp.read_through")?;
        if !self.db.is_readonly("main")? && self.find_in_all(TransactionBehavior::Immediate, TOGETHER).is_ok() {
            return Ok(());
        }
        self.db.execute_batch(APART)?; // locked against writing, a full disk, or somebody who keeps the file to himself
        self.find_in_all(TransactionBehavior::Deferred, TOGETHER)
    }

    fn find_in_all(&self, behavior: TransactionBehavior, together: u32) -> rusqlite::Result<()> {
        let sql = "SELECT id FROM streams WHERE id NOT IN (SELECT stream FROM read_through)";
        let unread: Vec<i64> = self.db.prepare_cached(sql)?.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
        self.find_in(&unread, behavior, together)
    }

    /// Finds what is new in some streams, few slots at a time: whoever writes need not wait for more.
    fn find_in(&self, ids: &[i64], behavior: TransactionBehavior, together: u32) -> rusqlite::Result<()> {
        let mut ids = ids.iter().peekable();
        let mut at_most = together;
        while ids.peek().is_some() {
            let act = Transaction::new_unchecked(&self.db, behavior)?;
            let mut left = at_most;
            while let Some(id) = ids.peek().filter(|_| left > 0) {
                match find_on(&act, **id, left)? {
                    Turn::Through(read) => {
                        left = left.saturating_sub(read.max(100));
                        ids.next();
                    }
                    Turn::Further => left = 0,
                    Turn::Stuck if left == at_most => (at_most, left) = (at_most.saturating_mul(2), 0),
                    Turn::Stuck => left = 0,
                }
            }
            act.commit()?;
        }
        Ok(())
    }
}

/// How far a turn came.
enum Turn {
    /// To the stream's end, with so many slots.
    Through(u32),
    /// Not to its end.
    Further,
    /// None of what was read is settled without more of it.
    Stuck,
}

/// Finds set-ups behind those that are known of a stream, in so many slots at most.
fn find_on(db: &Connection, id: i64, at_most: u32) -> rusqlite::Result<Turn> {
    let (mut lead, mut from, mut until) = (Vec::new(), 0, 0);
    match db.prepare_cached(KNOWN_LAST)?.query_row([id], whole).optional() {
        Err(rusqlite::Error::FromSqlConversionFailure(..)) => {
            db.execute("DELETE FROM set_ups WHERE stream = ?1", [id])?; // damaged: from the beginning
            return Ok(Turn::Further);
        }
        known => {
            if let Some(known) = known? {
                lead = beside(db, id, &known.brief)?;
                lead.extend(rows_of(db, id, known.opened, known.brief.last, u32::MAX)?.slots);
                (from, until) = (known.brief.last.saturating_add(1), known.until);
            }
        }
    }
    let next = rows_of(db, id, from, u32::MAX, at_most)?;
    let through = next.number < at_most;
    let end = if through { u32::MAX } else { next.last };
    let behind = if through { Vec::new() } else { blocks::gaps(db, id, end.saturating_add(1))? };
    let all: BTreeMap<u32, Slot> = lead.into_iter().chain(next.slots).chain(behind).map(|slot| (slot.sequence(), slot)).collect();
    let all: Vec<Slot> = all.into_values().collect();
    let placed = stretch(&all, from..=end, until);
    let settled: Vec<&Placed> = placed.iter().take_while(|placed| through || placed.until != u32::MAX).collect();
    settled.iter().try_for_each(|placed| keep(db, id, placed))?;
    if through {
        db.execute("INSERT OR IGNORE INTO read_through VALUES (?1)", [id])?;
        return Ok(Turn::Through(next.number));
    }
    Ok(if settled.is_empty() { Turn::Stuck } else { Turn::Further })
}

fn keep(db: &Connection, id: i64, placed: &Placed) -> rusqlite::Result<()> {
    let opened = &placed.set_up.opened;
    let plan = &opened.body.plan;
    let brief = serde_json::to_string(&Brief::of(placed)).map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))?;
    let (line, structure, plain) = (plan.line.as_str(), plan.structure.as_str(), plain(plan));
    let sum = sum(id, opened.sequence, placed.until, [line, structure, &plain, &brief]);
    let mut put = db.prepare_cached("INSERT OR REPLACE INTO set_ups VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?;
    put.execute(params![id, opened.sequence, placed.until, line, structure, plain, brief, sum])?;
    Ok(())
}

/// SHA-256 over all of a row.
fn sum(id: i64, opened: u32, until: u32, texts: [&str; 4]) -> [u8; 32] {
    let mut sum = Sha256::new();
    sum.update(id.to_le_bytes());
    sum.update([opened.to_le_bytes(), until.to_le_bytes()].concat());
    for text in texts {
        sum.update((text.len() as u64).to_le_bytes());
        sum.update(text);
    }
    sum.finalize().into()
}

/// A row that is what was written.
struct Whole {
    opened: u32,
    until: u32,
    texts: [String; 3],
    brief: Brief,
}

/// Reads a row by its columns in their order; one that is not what was written is no row.
fn whole(row: &Row<'_>) -> rusqlite::Result<Whole> {
    let (opened, until) = (row.get(1)?, row.get(2)?);
    let texts: [String; 4] = [row.get(3)?, row.get(4)?, row.get(5)?, row.get(6)?];
    let expected = sum(row.get(0)?, opened, until, texts.each_ref().map(String::as_str));
    let [line, structure, plain, text] = texts;
    let damaged = |why: &str| rusqlite::Error::FromSqlConversionFailure(7, Type::Blob, why.into());
    if row.get_ref(7)?.as_blob().ok() != Some(&expected[..]) {
        return Err(damaged("the row is not what was written"));
    }
    let brief = serde_json::from_str(&text).map_err(|_| damaged("the row is of another version"))?;
    Ok(Whole { opened, until, texts: [line, structure, plain], brief })
}

fn select<P: rusqlite::Params>(db: &Connection, of: &str, params: P) -> rusqlite::Result<Vec<Found>> {
    let sql = format!(
        "SELECT stream, opened, until, line, structure, plain, brief, sum, rig, epoch FROM set_ups JOIN streams ON streams.id = stream
         WHERE {of} ORDER BY rig, epoch, opened"
    );
    let found = |row: &Row<'_>| {
        let Whole { opened, texts: [line, structure, plain], brief, .. } = whole(row)?;
        Ok(Found { stream: Stream { rig: row.get(8)?, epoch: row.get(9)? }, opened, line, structure, plain, brief })
    };
    db.prepare_cached(&sql)?.query_map(params, found)?.collect()
}

fn beside(db: &Connection, id: i64, brief: &Brief) -> rusqlite::Result<Vec<Slot>> {
    let mut all = Vec::new();
    for (first, last) in &brief.beside {
        all.extend(rows_of(db, id, *first, *last, u32::MAX)?.slots);
    }
    Ok(all)
}

/// Rows of slots.
#[derive(Debug, Default)]
struct Rows {
    /// Those that hold.
    slots: Vec<Slot>,
    /// How many rows there are, and the sequence of the last.
    number: u32,
    last: u32,
}

fn rows_of(db: &Connection, id: i64, first: u32, last: u32, at_most: u32) -> rusqlite::Result<Rows> {
    let mut all = Rows::default();
    blocks::each(db, id, first..=last, |sequence, bytes| {
        (all.number, all.last) = (all.number.saturating_add(1), sequence);
        all.slots.extend(Slot::check(bytes).ok().filter(|slot| slot.sequence() == sequence));
        Ok(if all.number < at_most { ControlFlow::Continue(()) } else { ControlFlow::Break(()) })
    })?;
    Ok(all)
}

#[cfg(test)]
mod tests;
