//! The versions of the tables, and the way from each to the present one: all of it or nothing, with a copy kept.

use super::{APPLICATION, STORE_VERSION, Store, StoreFault, blocks, copies, entries, greeting, measured, set_ups};
use rusqlite::{Transaction, TransactionBehavior};
use std::path::{Path, PathBuf};

/// Version 1, to which the others add.
pub(super) const FIRST: &str = "
    CREATE TABLE host (id INTEGER NOT NULL, requests INTEGER NOT NULL) STRICT;
    INSERT INTO host VALUES (random() & 0xFFFFFFFF, 0);
    CREATE TABLE streams (id INTEGER PRIMARY KEY, rig TEXT NOT NULL, epoch INTEGER NOT NULL, UNIQUE (rig, epoch)) STRICT;
    CREATE TABLE slots (
        stream INTEGER NOT NULL REFERENCES streams, sequence INTEGER NOT NULL, slot BLOB NOT NULL CHECK (length(slot) = 32),
        PRIMARY KEY (stream, sequence)
    ) STRICT, WITHOUT ROWID;
    -- slots that came under a sequence that already has another
    CREATE TABLE aside (
        stream INTEGER NOT NULL REFERENCES streams, sequence INTEGER NOT NULL, slot BLOB NOT NULL CHECK (length(slot) = 32),
        PRIMARY KEY (stream, sequence, slot)
    ) STRICT, WITHOUT ROWID;
";

/// What brings a store to each version from the one before.
pub(super) const STEPS: [(i32, &str); 7] = [
    (1, FIRST),
    (2, measured::TABLES),
    (3, greeting::TABLES),
    (4, entries::TABLES),
    (5, entries::SIGNATURES),
    (6, set_ups::TABLES),
    (blocks::SINCE, blocks::TABLES),
];

impl Store {
    /// Brings the tables to the present version. An older store is copied first, while nobody can write to it; the
    /// copy is whole and on the disk before anything changes.
    pub(super) fn bring_up_to_date(&mut self) -> Result<(), StoreFault> {
        if self.pragma("user_version")? == STORE_VERSION {
            return Ok(());
        }
        let act = Transaction::new_unchecked(&self.db, TransactionBehavior::Immediate).map_err(|e| self.fault(&e))?;
        let version = self.pragma("user_version")?; // another program may have been quicker
        let kept = match version {
            0 | STORE_VERSION => None,
            _ => Some(keep_as_it_was(&self.path, version)?),
        };
        for (to, step) in STEPS.iter().filter(|(to, _)| *to > version) {
            advance(&act, *to, step).map_err(|e| self.fault(&e))?;
        }
        act.commit().map_err(|e| self.fault(&e))?;
        self.older = kept.map(|copy| (version, copy));
        Ok(())
    }

    /// Where this store was brought up to date when it was opened: the version that it had, and the copy of it
    /// that is kept.
    #[must_use]
    pub fn older(&self) -> Option<&(i32, PathBuf)> {
        self.older.as_ref()
    }
}

/// One step of the way.
pub(super) fn advance(act: &Transaction<'_>, to: i32, step: &str) -> rusqlite::Result<()> {
    act.execute_batch(step)?;
    if to == blocks::SINCE {
        blocks::take_over(act)?;
    }
    act.pragma_update(None, "application_id", APPLICATION)?;
    act.pragma_update(None, "user_version", to)
}

/// Copies a store beside itself under a name with its version. A copy that is there already and holds the same, from
/// a run that was cut short, is as good.
fn keep_as_it_was(path: &Path, version: i32) -> Result<PathBuf, StoreFault> {
    let source = copies::open_to_read(path)?;
    for number in 1.. {
        let again = if number == 1 { String::new() } else { format!("-{number}") };
        let copy = copies::beside(path, &format!(".version-{version}{again}"));
        if !copy.exists() {
            copies::copy_into(&source, path, &copy)?;
            return Ok(copy);
        }
        if copies::same(&source, &copy) {
            return Ok(copy);
        }
    }
    Err(StoreFault::Closed(path.display().to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Stream;
    use rusqlite::Connection;
    use shared_protocol::slot::{Part, Slot};

    fn slot(sequence: u32) -> Slot {
        Slot::build(sequence, 1, 9, Part::ONLY, b"old").unwrap()
    }

    fn stream() -> Stream {
        Stream { rig: "Alpha".to_owned(), epoch: 2 }
    }

    /// A store as that version left it.
    fn of_version(path: &Path, version: i32) {
        let old = Connection::open(path).unwrap();
        old.pragma_update(None, "journal_mode", "WAL").unwrap();
        let act = old.unchecked_transaction().unwrap();
        STEPS.iter().filter(|(to, _)| *to <= version).for_each(|(to, step)| advance(&act, *to, step).unwrap());
        act.execute("INSERT INTO streams (rig, epoch) VALUES ('Alpha', 2)", []).unwrap();
        for n in 0..500 {
            act.execute("INSERT INTO slots VALUES (1, ?1, ?2)", rusqlite::params![n, slot(n).bytes()]).unwrap();
        }
        act.commit().unwrap();
    }

    #[test]
    fn what_was_damaged_before_is_damaged_after_and_everything_else_is_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store");
        of_version(&path, 6);
        let old = Connection::open(&path).unwrap();
        old.execute_batch("UPDATE slots SET slot = zeroblob(32) WHERE sequence = 77; DELETE FROM slots WHERE sequence BETWEEN 90 AND 140")
            .unwrap();
        old.execute("INSERT INTO streams (rig, epoch) VALUES ('Bravo', 1)", []).unwrap();
        old.execute("INSERT INTO slots VALUES (2, 9, ?1)", [slot(9).bytes()]).unwrap();
        drop(old);
        let store = Store::open(&path).unwrap();
        let held = store.stream(&stream()).unwrap();
        assert_eq!(held.damaged, [77]);
        assert_eq!(held.slots, (0..500).filter(|n| *n != 77 && !(90..=140).contains(n)).map(slot).collect::<Vec<_>>());
        assert_eq!(store.stream(&Stream { rig: "Bravo".to_owned(), epoch: 1 }).unwrap().slots, [slot(9)]);
    }

    /// Each row says whose its slot is; where one does not, its neighbours do.
    #[test]
    fn a_damaged_store_from_before_blocks_is_salvaged_as_well() {
        let folder = tempfile::tempdir().unwrap();
        let [path, new] = ["store", "new"].map(|name| folder.path().join(name));
        of_version(&path, 6);
        let mut bytes = std::fs::read(&path).unwrap();
        // everywhere: a page that was split keeps what it gave away
        let at = |n: u32, all: &[u8]| -> Vec<usize> { (0..all.len() - 32).filter(|at| all[*at..*at + 32] == *slot(n).bytes()).collect() };
        let [lost, unsaid] = [100, 300].map(|n| at(n, &bytes));
        lost.iter().for_each(|at| bytes[at + 12] ^= 4);
        unsaid.iter().for_each(|at| bytes[at - 1] ^= 0x55);
        std::fs::write(&path, bytes).unwrap();
        let found = crate::store::salvage(&path, &new).unwrap();
        assert_eq!((found.slots, found.missing, found.unplaced), (499, vec![(stream(), 100, 100)], None));
    }

    fn whole(store: &Store) -> bool {
        store.stream(&stream()).unwrap().slots == (0..500).map(slot).collect::<Vec<_>>()
    }

    fn in_folder(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> = std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn the_steps_lead_from_nothing_to_the_present_one_by_one() {
        assert_eq!(STEPS.map(|(to, _)| to).to_vec(), (1..=STORE_VERSION).collect::<Vec<_>>());
    }

    #[test]
    fn every_older_version_is_brought_up_to_date_and_a_copy_of_it_kept() {
        for version in 1..STORE_VERSION {
            for open in [Store::open as fn(&Path) -> Result<Store, StoreFault>, Store::open_existing] {
                let folder = tempfile::tempdir().unwrap();
                let path = folder.path().join("store");
                of_version(&path, version);
                let store = open(&path).unwrap();
                let copy = folder.path().join(format!("store.version-{version}"));
                assert_eq!(store.older(), Some(&(version, copy.clone())));
                assert!(whole(&store) && store.pragma("user_version").unwrap() == STORE_VERSION);
                drop(store);
                assert_eq!(in_folder(folder.path()), ["store".to_owned(), format!("store.version-{version}")]);
                let kept = Connection::open(&copy).unwrap();
                assert_eq!(kept.pragma_query_value(None, "user_version", |row| row.get::<_, i32>(0)).unwrap(), version);
                drop(kept);
                assert!(whole(&Store::open_existing(&copy).unwrap()));
                assert_eq!(open(&path).unwrap().older(), None, "once");
            }
        }
    }

    /// A program killed between any two statements leaves on the disk what is copied here.
    #[test]
    fn a_way_cut_short_anywhere_leaves_the_old_store_or_the_new_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store");
        of_version(&path, 1);
        let db = Connection::open(&path).unwrap();
        db.pragma_update(None, "cache_size", 1).unwrap(); // so that pages reach the disk before the commit
        let mut killed_at = 0;
        let mut kill = |expected: i32| {
            killed_at += 1;
            let there = folder.path().join(format!("killed-{killed_at}"));
            std::fs::create_dir(&there).unwrap();
            for end in ["", "-wal", ".version-1"] {
                drop(std::fs::copy(copies::beside(&path, end), copies::beside(&there.join("store"), end)));
            }
            let left = Connection::open(there.join("store")).unwrap();
            assert_eq!(left.pragma_query_value(None, "user_version", |row| row.get::<_, i32>(0)).unwrap(), expected);
            drop(left);
            let store = Store::open(&there.join("store")).unwrap();
            assert!(whole(&store));
            assert_eq!(store.older().is_some(), expected == 1);
            drop(store);
            assert_eq!(in_folder(&there), ["store", "store.version-1"], "one copy, however often it is begun");
        };
        let act = Transaction::new_unchecked(&db, TransactionBehavior::Immediate).unwrap();
        kill(1);
        keep_as_it_was(&path, 1).unwrap();
        kill(1);
        for (to, step) in &STEPS[1..] {
            for statement in step.split_inclusive(";\n") {
                act.execute_batch(statement).unwrap();
                kill(1);
            }
            advance(&act, *to, "").unwrap();
            kill(1);
        }
        act.commit().unwrap();
        kill(STORE_VERSION);
    }

    #[test]
    fn a_way_that_fails_at_a_later_step_leaves_the_old_store_and_its_copy() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store");
        of_version(&path, 1);
        let db = Connection::open(&path).unwrap();
        db.execute_batch("ALTER TABLE streams ADD COLUMN simulated INTEGER").unwrap(); // a later step makes that one
        let tables = |db: &Connection| {
            db.query_row("SELECT group_concat(sql ORDER BY name) FROM sqlite_schema", [], |row| row.get::<_, String>(0)).unwrap()
        };
        let before = tables(&db);
        assert!(Store::open(&path).is_err());
        assert_eq!(tables(&db), before);
        assert_eq!(db.pragma_query_value(None, "user_version", |row| row.get::<_, i32>(0)).unwrap(), 1);
        assert!(copies::same(&db, &folder.path().join("store.version-1")));
    }

    #[test]
    fn a_copy_with_something_else_in_it_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store");
        of_version(&path, 2);
        std::fs::write(folder.path().join("store.version-2"), "a letter").unwrap();
        let store = Store::open(&path).unwrap();
        assert_eq!(store.older().unwrap().1, folder.path().join("store.version-2-2"));
        assert_eq!(std::fs::read_to_string(folder.path().join("store.version-2")).unwrap(), "a letter");
    }

    #[test]
    fn where_no_copy_can_be_made_nothing_is_changed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store");
        of_version(&path, 2);
        std::fs::create_dir(folder.path().join("store.version-2.part")).unwrap();
        assert!(Store::open(&path).is_err());
        let left = Connection::open(&path).unwrap();
        assert_eq!(left.pragma_query_value(None, "user_version", |row| row.get::<_, i32>(0)).unwrap(), 2);
    }
}
