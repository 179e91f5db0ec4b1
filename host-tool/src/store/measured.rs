//! What people measured by hand: entries of the chain, and those of stores from before there was one.

use super::{Store, StoreFault, fault, id_of};
use crate::entry::{CleanOut, Entry, HoleName, Place, Said, SetUpName};
use crate::facts::Wall;
use crate::judge::LineAxes;
use crate::judge::measured::{Kind, Measurement};
use crate::session::Stream;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use std::collections::{BTreeMap, BTreeSet};

/// The tables from before there were entries, only added to when another store is merged or salvaged. Lengths are in whole micrometres; a set-up goes by the sequence of its first slot.
pub(super) const TABLES: &str = "
    CREATE TABLE measurements (
        id INTEGER PRIMARY KEY, stream INTEGER NOT NULL REFERENCES streams, opened INTEGER NOT NULL,
        author TEXT NOT NULL CHECK (author <> ''), unix_ms INTEGER NOT NULL, kind INTEGER NOT NULL CHECK (kind IN (1, 2)),
        depth INTEGER NOT NULL, ahead INTEGER NOT NULL, to_right INTEGER NOT NULL,
        standard INTEGER NOT NULL CHECK (standard > 0), remark TEXT NOT NULL
    ) STRICT;
    CREATE TRIGGER measurements_stay BEFORE UPDATE ON measurements BEGIN SELECT RAISE(ABORT, 'only added to'); END;
    CREATE TRIGGER measurements_remain BEFORE DELETE ON measurements BEGIN SELECT RAISE(ABORT, 'only added to'); END;
";

const SOUNDING: u8 = 1;
const HAND_PLUMB: u8 = 2;

impl Store {
    /// Adds a measurement that another store had from before there were entries. The set-up's slots must be there.
    ///
    /// # Errors
    /// See [`StoreFault`]; nothing is added then.
    pub(super) fn add_unchained(&mut self, stream: &Stream, opened: u32, measurement: &Measurement) -> Result<(), StoreFault> {
        let path = self.path.clone();
        let mut add = || -> rusqlite::Result<()> {
            let act = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let id = id_of(&act, stream)?;
            let Measurement { author, unix_ms, kind, depth, offset, standard, remark } = measurement;
            let kind = if *kind == Kind::Sounding { SOUNDING } else { HAND_PLUMB };
            let [depth, ahead, right, standard] = [*depth, offset.ahead, offset.right, *standard].map(micrometres);
            act.execute(
                "INSERT INTO measurements (stream, opened, author, unix_ms, kind, depth, ahead, to_right, standard, remark)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
                params![id, opened, author, unix_ms, kind, depth, ahead, right, standard, remark],
            )?;
            act.commit()
        };
        add().map_err(|e| fault(&path, &e))
    }

    /// The measurements of a set-up that count, in the order in which they were entered: none that another corrects, and no
    /// sounding on loose spoil.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn measurements(&self, stream: &Stream, opened: u32) -> Result<Vec<Measurement>, StoreFault> {
        let mut all = self.unchained(stream, opened)?;
        let entered = self.entries_of_set_up(&SetUpName::new(stream, opened))?;
        // what corrects it may stand with another set-up of the same hole
        let mut corrected: BTreeSet<Place> = BTreeSet::new();
        for hole in entered.iter().map(|(_, entry)| &entry.hole).collect::<BTreeSet<_>>() {
            corrected.extend(self.entries_of_hole(hole)?.iter().filter_map(|(_, entry)| entry.corrects));
        }
        all.extend(entered.iter().filter(|(place, _)| !corrected.contains(place)).filter_map(|(_, entry)| measurement_of(entry)));
        Ok(all)
    }

    /// Those from before there were entries.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn unchained(&self, stream: &Stream, opened: u32) -> Result<Vec<Measurement>, StoreFault> {
        let list = || -> rusqlite::Result<Vec<Measurement>> {
            let Some(id) = id_of(&self.db, stream).optional()? else { return Ok(Vec::new()) };
            let sql = "SELECT author, unix_ms, kind, depth, ahead, to_right, standard, remark FROM measurements
                       WHERE stream = ?1 AND opened = ?2 ORDER BY id";
            self.db.prepare_cached(sql)?.query_map(params![id, opened], measurement)?.collect()
        };
        list().map_err(|e| self.fault(&e))
    }

    /// The same of every set-up of a stream that has any.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn all_unchained(&self, stream: &Stream) -> Result<BTreeMap<u32, Vec<Measurement>>, StoreFault> {
        let list = || -> rusqlite::Result<Vec<u32>> {
            let Some(id) = id_of(&self.db, stream).optional()? else { return Ok(Vec::new()) };
            let mut query = self.db.prepare_cached("SELECT DISTINCT opened FROM measurements WHERE stream = ?1")?;
            query.query_map([id], |row| row.get(0))?.collect()
        };
        let opened = list().map_err(|e| self.fault(&e))?;
        opened.into_iter().map(|opened| Ok((opened, self.unchained(stream, opened)?))).collect()
    }
}

/// A measurement as an entry about a set-up, cleaned out before it was sounded.
#[must_use]
pub fn entry_of(measurement: &Measurement, offset: i16, hole: HoleName, set_up: SetUpName) -> Entry {
    let Measurement { author, unix_ms, kind, depth, offset: at, standard, remark } = measurement;
    let [depth_um, ahead_um, right_um, standard_um] = [*depth, at.ahead, at.right, *standard].map(micrometres);
    let said = match kind {
        Kind::Sounding => Said::Sounding { depth_um, ahead_um, right_um, standard_um, clean_out: CleanOut::After },
        Kind::HandPlumb => Said::HandPlumb { depth_um, ahead_um, right_um, standard_um },
    };
    let entry = Entry::new(author, Wall { unix_ms: *unix_ms, offset }, hole, said);
    Entry { set_up: Some(set_up), remark: remark.clone(), ..entry }
}

/// The measurement that an entry is; `None` where it is another thing, or a sounding on loose spoil.
#[must_use]
pub fn measurement_of(entry: &Entry) -> Option<Measurement> {
    let (kind, depth, ahead, right, standard) = match entry.said {
        Said::Sounding { clean_out: CleanOut::Before, .. } => return None,
        Said::Sounding { depth_um, ahead_um, right_um, standard_um, .. } => (Kind::Sounding, depth_um, ahead_um, right_um, standard_um),
        Said::HandPlumb { depth_um, ahead_um, right_um, standard_um } => (Kind::HandPlumb, depth_um, ahead_um, right_um, standard_um),
        _ => return None,
    };
    let [depth, ahead, right, standard] = [depth, ahead, right, standard].map(|um| f64::from(um) / 1e6);
    let Entry { by, at, remark, .. } = entry.clone();
    Some(Measurement { author: by, unix_ms: at.unix_ms, kind, depth, offset: LineAxes { ahead, right }, standard, remark })
}

/// A measurement with its set-up: the stream's number in the store, and the sequence of the set-up's first slot.
pub(super) type OfSetUp = (i64, u32, Measurement);

/// So many measurements in a row that cannot be read are the end of them.
const LOST_IN_A_ROW: u32 = 1_000;

/// Every measurement in a database, in the order in which they were entered, and how many cannot be read. They are
/// taken one by one, so that damage costs no more than what it hit.
pub(super) fn all(db: &Connection) -> (Vec<OfSetUp>, u32) {
    let sql = "SELECT author, unix_ms, kind, depth, ahead, to_right, standard, remark, id, stream, opened FROM measurements
               WHERE id >= ?1 ORDER BY id LIMIT 1";
    let (mut found, mut lost, mut in_a_row, mut from) = (Vec::new(), 0, 0, i64::MIN);
    let Ok(mut query) = db.prepare(sql) else { return (found, lost) };
    while in_a_row < LOST_IN_A_ROW {
        match query.query_row([from], |row| Ok((row.get::<_, i64>(8)?, (row.get(9)?, row.get(10)?, measurement(row)?)))) {
            Ok((id, one)) => {
                lost += in_a_row;
                (in_a_row, from) = (0, id.saturating_add(1));
                found.push(one);
            }
            Err(rusqlite::Error::QueryReturnedNoRows) => return (found, lost + in_a_row),
            Err(_) => (in_a_row, from) = (in_a_row + 1, from.max(0).saturating_add(1)),
        }
    }
    (found, lost + 1)
}

fn measurement(row: &Row<'_>) -> rusqlite::Result<Measurement> {
    let metres = |column: usize| -> rusqlite::Result<f64> { Ok(f64::from(row.get::<_, i32>(column)?) / 1e6) };
    Ok(Measurement {
        author: row.get(0)?,
        unix_ms: row.get(1)?,
        kind: if row.get::<_, u8>(2)? == SOUNDING { Kind::Sounding } else { Kind::HandPlumb },
        depth: metres(3)?,
        offset: LineAxes { ahead: metres(4)?, right: metres(5)? },
        standard: metres(6)?,
        remark: row.get(7)?,
    })
}

#[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
fn micrometres(metres: f64) -> i32 {
    (metres * 1e6).round() as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::slot::{Part, Slot};
    use std::path::PathBuf;

    fn stream() -> Stream {
        Stream { rig: "Alpha".to_owned(), epoch: 1 }
    }

    fn store() -> (tempfile::TempDir, PathBuf, Store) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store.sqlite");
        let mut store = Store::open(&path).unwrap();
        store.keep(&stream(), &[Slot::build(3, 1, 9, Part::ONLY, b"x").unwrap()]).unwrap();
        (folder, path, store)
    }

    fn plumb(depth: f64) -> Measurement {
        let offset = LineAxes { ahead: 0.012, right: -0.007 };
        Measurement {
            author: "Tester'; --".to_owned(),
            unix_ms: 5,
            kind: Kind::HandPlumb,
            depth,
            offset,
            standard: 0.003,
            remark: "dry".to_owned(),
        }
    }

    #[test]
    fn measurements_come_back_as_they_were_entered_and_only_of_their_set_up() {
        let (_folder, path, mut store) = store();
        let sounding = Measurement { kind: Kind::Sounding, ..plumb(3.05) };
        for (opened, measurement) in [(3, plumb(2.5)), (9, plumb(1.0)), (3, sounding.clone())] {
            store.add_unchained(&stream(), opened, &measurement).unwrap();
        }
        drop(store);
        let store = Store::open_existing(&path).unwrap();
        assert_eq!(store.measurements(&stream(), 3).unwrap(), [plumb(2.5), sounding.clone()]);
        let bravo = Stream { rig: "Bravo".to_owned(), epoch: 1 };
        assert_eq!(store.measurements(&bravo, 3).unwrap(), []);
        assert_eq!(store.all_unchained(&stream()).unwrap(), [(3, vec![plumb(2.5), sounding]), (9, vec![plumb(1.0)])].into());
        assert_eq!(store.all_unchained(&bravo).unwrap(), [].into());
    }

    /// A wrong depth, the right one in its place, and a sounding on loose spoil, which is none of the hole's depth.
    #[test]
    fn what_is_corrected_and_what_is_on_spoil_does_not_count() {
        let (_folder, _path, mut store) = store();
        let hole = HoleName { line: String::new(), structure: "41".to_owned(), leg: shared_protocol::state::Leg::Single, attempt: 1 };
        let set_up = SetUpName::new(&stream(), 3);
        let sounding = |depth| Measurement { kind: Kind::Sounding, unix_ms: 5_000, ..plumb(depth) };
        let entry = |depth| entry_of(&sounding(depth), 60, hole.clone(), set_up.clone());
        store.add_unchained(&stream(), 3, &sounding(1.0)).unwrap();
        let wrong = store.enter(&entry(2.0)).unwrap();
        store.enter(&Entry { corrects: Some(wrong), ..entry(2.5) }).unwrap();
        let Said::Sounding { depth_um, ahead_um, right_um, standard_um, .. } = entry(2.2).said else { unreachable!() };
        let spoil = Said::Sounding { depth_um, ahead_um, right_um, standard_um, clean_out: CleanOut::Before };
        store.enter(&Entry { said: spoil, ..entry(2.2) }).unwrap();
        assert_eq!(store.measurements(&stream(), 3).unwrap(), [sounding(1.0), sounding(2.5)]);
        // entered with the wrong set-up of the hole, and put right with the other
        let right = Place { number: 1, ..wrong };
        let other = Entry { set_up: Some(SetUpName::new(&stream(), 9)), corrects: Some(right), ..entry(2.5) };
        store.enter(&other).unwrap();
        assert_eq!(store.measurements(&stream(), 3).unwrap(), [sounding(1.0)]);
    }

    #[test]
    fn measurements_are_neither_changed_nor_removed_and_belong_to_somebody() {
        let (_folder, _path, mut store) = store();
        store.add_unchained(&stream(), 3, &plumb(2.5)).unwrap();
        for sql in ["UPDATE measurements SET depth = 1", "DELETE FROM measurements"] {
            assert!(store.db.execute(sql, []).unwrap_err().to_string().contains("only added to"), "{sql}");
        }
        assert!(store.add_unchained(&stream(), 3, &Measurement { author: String::new(), ..plumb(1.0) }).is_err());
        assert!(store.add_unchained(&Stream { rig: "Nobody".to_owned(), epoch: 1 }, 3, &plumb(1.0)).is_err());
        assert_eq!(store.measurements(&stream(), 3).unwrap(), [plumb(2.5)]);
    }
}
