//! Where evidence is kept: an SQLite file with every slot verbatim, by rig, epoch and sequence. Nothing in it is
//! ever changed or removed; what is committed is on the disk.

mod greeting;
mod measured;

use crate::session::{Stream, gap_of};
use crate::text::terminal;
use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, TransactionBehavior, params};
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The version of the tables, kept in SQLite's `user_version`.
pub const STORE_VERSION: i32 = 3;
/// "Bore" in SQLite's `application_id`: tells a store from any other SQLite file.
const APPLICATION: i32 = 0x426F_7265;
/// How long another program may hold the store before that is an error.
const PATIENCE: Duration = Duration::from_secs(3);

const TABLES: &str = "
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

/// Why the store cannot do it; one line each.
#[derive(Debug, thiserror::Error)]
pub enum StoreFault {
    /// A newer program made it.
    #[error(
        "{0} was written by a later version of Borewitness (store version {1}, this one knows {STORE_VERSION}): use that one. Nothing was changed"
    )]
    Later(String, i32),
    /// Some other file.
    #[error("{0} is not a Borewitness store: name another file. Nothing was changed")]
    Foreign(String),
    /// Nothing to read.
    #[error("there is no store at {0}: name one with --store, or make one by listening to a rig")]
    Absent(String),
    /// The file system has no room.
    #[error("the disk that holds {0} is full: make room and start again. What was stored before is safe, and the rig keeps the rest")]
    Full(String),
    /// The file system refuses writing.
    #[error("{0} cannot be written to: check its permissions, or name another store with --store")]
    ReadOnly(String),
    /// The file or its folder cannot be opened.
    #[error("{0} cannot be opened: check that its folder exists and that you may write there")]
    Closed(String),
    /// Another program does not let go of it.
    #[error("{0} is in use by another program: close that one and start again")]
    Busy(String),
    /// It is not what was written.
    #[error("{0} is damaged: put it aside, keep it, and start with another store; a rig still holds what it has not given away")]
    Damaged(String),
    /// The disk does not do as told.
    #[error("{0} cannot be written or read ({1}): make room on the disk, or check it, and start again. What was stored before is safe")]
    Disk(String, String),
    /// Anything else that SQLite says.
    #[error("the store {0} failed: {1}")]
    Other(String, String),
}

/// What became of slots given to the store.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// Stored now.
    pub new: u32,
    /// Stored before, the same.
    pub same: u32,
    /// Sequences that already have another slot; the newcomer is kept aside.
    pub differing: Vec<u32>,
}

/// A stream as it is stored.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Held {
    /// Slots in rising sequence.
    pub slots: Vec<Slot>,
    /// Sequences whose stored slot is no longer what was stored.
    pub damaged: Vec<u32>,
    /// Slots that are kept aside because another has their sequence.
    pub aside: usize,
}

/// The store.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    path: PathBuf,
}

impl Store {
    /// Opens a store, or makes one where there is none.
    ///
    /// # Errors
    /// See [`StoreFault`]; a file of a later version or of another program is left as it is.
    pub fn open(path: &Path) -> Result<Self, StoreFault> {
        let store = Self::connect(path, OpenFlags::SQLITE_OPEN_CREATE)?;
        store.ready().map_err(|e| store.fault(&e))?;
        Ok(store)
    }

    /// A store in memory, gone when it is dropped, of a host that goes by this number: for a world of which one seed is all.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn in_memory(host: u32) -> Result<Self, StoreFault> {
        let store = Self::open(Path::new(":memory:"))?;
        store.db.execute("UPDATE host SET id = ?1", [host]).map_err(|e| store.fault(&e))?;
        Ok(store)
    }

    /// Opens a store that is there already.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_existing(path: &Path) -> Result<Self, StoreFault> {
        if !path.is_file() {
            return Err(StoreFault::Absent(shown(path)));
        }
        let store = Self::connect(path, OpenFlags::empty())?;
        match store.pragma("user_version")? {
            0 => return Err(StoreFault::Foreign(shown(path))),
            STORE_VERSION => {}
            _ => store.ready().map_err(|e| store.fault(&e))?, // an older one
        }
        Ok(store)
    }

    fn connect(path: &Path, create: OpenFlags) -> Result<Self, StoreFault> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | create;
        let db = Connection::open_with_flags(path, flags).map_err(|e| fault(path, &e))?;
        let store = Self { db, path: path.to_owned() };
        store.db.busy_timeout(PATIENCE).map_err(|e| store.fault(&e))?;
        store.refuse_strangers()?;
        Ok(store)
    }

    /// Before anything is written: is this ours, and of a version that is known here?
    fn refuse_strangers(&self) -> Result<(), StoreFault> {
        let (application, version) = (self.pragma("application_id")?, self.pragma("user_version")?);
        let blank = self.pragma("schema_version")? == 0 && application == 0 && version == 0;
        match (application, version) {
            _ if blank => Ok(()),
            (APPLICATION, 1..=STORE_VERSION) => Ok(()),
            (APPLICATION, later) if later > STORE_VERSION => Err(StoreFault::Later(shown(&self.path), later)),
            _ => Err(StoreFault::Foreign(shown(&self.path))),
        }
    }

    fn pragma(&self, name: &str) -> Result<i32, StoreFault> {
        self.db.pragma_query_value(None, name, |row| row.get(0)).map_err(|e| self.fault(&e))
    }

    /// Makes the tables that are not there yet, and asks for commits that survive a power cut.
    fn ready(&self) -> rusqlite::Result<()> {
        self.db.pragma_update(None, "journal_mode", "WAL")?;
        self.db.pragma_update(None, "synchronous", "FULL")?;
        let making = rusqlite::Transaction::new_unchecked(&self.db, TransactionBehavior::Immediate)?;
        let version: i32 = making.pragma_query_value(None, "user_version", |row| row.get(0))?;
        if version < 1 {
            making.execute_batch(TABLES)?;
            making.pragma_update(None, "application_id", APPLICATION)?;
        }
        if version < 2 {
            making.execute_batch(measured::TABLES)?;
        }
        if version < STORE_VERSION {
            making.execute_batch(greeting::TABLES)?;
            making.pragma_update(None, "user_version", STORE_VERSION)?;
        }
        making.commit()
    }

    /// The number that this host goes by.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn host(&self) -> Result<u32, StoreFault> {
        self.db.query_row("SELECT id FROM host", [], |row| row.get(0)).map_err(|e| self.fault(&e))
    }

    /// A number for a command that no other command has: the upper half is this host's, the lower half counts.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn next_request(&self) -> Result<u32, StoreFault> {
        let sql = "UPDATE host SET requests = requests + 1 RETURNING (id & 0xFFFF0000) | (requests & 0xFFFF)";
        self.db.query_row(sql, [], |row| row.get(0)).map_err(|e| self.fault(&e))
    }

    /// Stores slots, all or none of them, and returns when they are on the disk. The same slot again changes nothing.
    ///
    /// # Errors
    /// See [`StoreFault`]; nothing of it is stored then.
    pub fn keep(&mut self, stream: &Stream, slots: &[Slot]) -> Result<Kept, StoreFault> {
        let path = self.path.clone();
        self.insert(stream, slots).map_err(|e| fault(&path, &e))
    }

    fn insert(&mut self, stream: &Stream, slots: &[Slot]) -> rusqlite::Result<Kept> {
        let mut kept = Kept::default();
        let act = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        act.execute("INSERT OR IGNORE INTO streams (rig, epoch) VALUES (?1, ?2)", params![stream.rig, stream.epoch])?;
        let id = id_of(&act, stream)?;
        {
            let mut put = act.prepare_cached("INSERT OR IGNORE INTO slots VALUES (?1, ?2, ?3)")?;
            let mut get = act.prepare_cached("SELECT slot FROM slots WHERE stream = ?1 AND sequence = ?2")?;
            let mut put_aside = act.prepare_cached("INSERT OR IGNORE INTO aside VALUES (?1, ?2, ?3)")?;
            for slot in slots {
                if put.execute(params![id, slot.sequence(), slot.bytes()])? == 1 {
                    kept.new += 1;
                } else if get.query_row(params![id, slot.sequence()], |row| row.get::<_, [u8; SLOT_BYTES]>(0))? == *slot.bytes() {
                    kept.same += 1;
                } else {
                    put_aside.execute(params![id, slot.sequence(), slot.bytes()])?;
                    kept.differing.push(slot.sequence());
                }
            }
        }
        act.commit()?;
        Ok(kept)
    }

    /// The first sequence from `from` on that is neither stored nor declared lost by the rig itself.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn next_wanted(&self, stream: &Stream, from: u32) -> Result<u32, StoreFault> {
        self.find_wanted(stream, from).map_err(|e| self.fault(&e))
    }

    fn find_wanted(&self, stream: &Stream, from: u32) -> rusqlite::Result<u32> {
        let Some(id) = id_of(&self.db, stream).optional()? else { return Ok(from) };
        let mut next = from;
        let mut gaps: Option<Vec<(u32, u32)>> = None;
        let mut query = self.db.prepare_cached("SELECT sequence FROM slots WHERE stream = ?1 AND sequence >= ?2 ORDER BY sequence")?;
        let mut rows = query.query(params![id, from])?;
        while let Some(row) = rows.next()? {
            let stored: u32 = row.get(0)?;
            if stored > next {
                let declared = match &gaps {
                    Some(gaps) => gaps,
                    None => gaps.insert(self.gaps(id)?),
                };
                next = over(declared, next);
            }
            if stored > next {
                return Ok(next);
            }
            next = next.max(stored.saturating_add(1));
        }
        Ok(next)
    }

    /// One more than the last sequence stored of a stream; 0 where nothing is.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn end(&self, stream: &Stream) -> Result<u32, StoreFault> {
        let sql = "SELECT ifnull(max(sequence) + 1, 0) FROM slots JOIN streams ON streams.id = stream WHERE rig = ?1 AND epoch = ?2";
        self.db.query_row(sql, params![stream.rig, stream.epoch], |row| row.get(0)).map_err(|e| self.fault(&e))
    }

    /// Every gap that the rig declared in this stream.
    fn gaps(&self, id: i64) -> rusqlite::Result<Vec<(u32, u32)>> {
        let mut query =
            self.db.prepare_cached("SELECT slot FROM slots WHERE stream = ?1 AND substr(slot, 7, 1) = x'0D' ORDER BY sequence")?;
        let blobs = query.query_map([id], |row| row.get::<_, [u8; SLOT_BYTES]>(0))?.collect::<Result<Vec<_>, _>>()?;
        Ok(blobs
            .iter()
            .filter_map(|bytes| Slot::check(bytes).ok())
            .filter_map(|slot| gap_of(&slot))
            .map(|gap| (gap.first, gap.last))
            .collect())
    }

    /// Everything stored of a stream.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn stream(&self, stream: &Stream) -> Result<Held, StoreFault> {
        self.part(stream, 0, u32::MAX)
    }

    /// What is stored of a stream from one sequence to another, both included.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn part(&self, stream: &Stream, first: u32, last: u32) -> Result<Held, StoreFault> {
        self.read(stream, first, last).map_err(|e| self.fault(&e))
    }

    fn read(&self, stream: &Stream, first: u32, last: u32) -> rusqlite::Result<Held> {
        let mut held = Held::default();
        let Some(id) = id_of(&self.db, stream).optional()? else { return Ok(held) };
        let sql = "SELECT sequence, slot FROM slots WHERE stream = ?1 AND sequence BETWEEN ?2 AND ?3 ORDER BY sequence";
        let mut query = self.db.prepare_cached(sql)?;
        let mut rows = query.query(params![id, first, last])?;
        while let Some(row) = rows.next()? {
            let sequence: u32 = row.get(0)?;
            match Slot::check(&row.get(1)?) {
                Ok(slot) if slot.sequence() == sequence => held.slots.push(slot),
                _ => held.damaged.push(sequence),
            }
        }
        let count = "SELECT count(*) FROM aside WHERE stream = ?1 AND sequence BETWEEN ?2 AND ?3";
        let aside: u32 = self.db.query_row(count, params![id, first, last], |row| row.get(0))?;
        held.aside = usize::try_from(aside).unwrap_or(usize::MAX);
        Ok(held)
    }

    /// The streams in the store, by rig and epoch.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn rigs(&self) -> Result<Vec<Stream>, StoreFault> {
        let list = || -> rusqlite::Result<Vec<Stream>> {
            let mut query = self.db.prepare_cached("SELECT rig, epoch FROM streams ORDER BY rig, epoch")?;
            query.query_map([], |row| Ok(Stream { rig: row.get(0)?, epoch: row.get(1)? }))?.collect()
        };
        list().map_err(|e| self.fault(&e))
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn fault(&self, error: &rusqlite::Error) -> StoreFault {
        fault(&self.path, error)
    }
}

/// The first sequence from `next` on that none of the gaps covers.
fn over(gaps: &[(u32, u32)], mut next: u32) -> u32 {
    while let Some((_, last)) = gaps.iter().find(|(first, last)| (*first..=*last).contains(&next)) {
        next = last.saturating_add(1);
        if next == u32::MAX {
            break;
        }
    }
    next
}

fn id_of(db: &Connection, stream: &Stream) -> rusqlite::Result<i64> {
    db.query_row("SELECT id FROM streams WHERE rig = ?1 AND epoch = ?2", params![stream.rig, stream.epoch], |row| row.get(0))
}

fn shown(path: &Path) -> String {
    terminal(&path.display().to_string())
}

fn fault(path: &Path, error: &rusqlite::Error) -> StoreFault {
    let path = shown(path);
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => StoreFault::Full(path),
        Some(ErrorCode::ReadOnly) => StoreFault::ReadOnly(path),
        Some(ErrorCode::CannotOpen) => StoreFault::Closed(path),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => StoreFault::Busy(path),
        Some(ErrorCode::NotADatabase) => StoreFault::Foreign(path),
        Some(ErrorCode::DatabaseCorrupt) => StoreFault::Damaged(path),
        Some(ErrorCode::SystemIoFailure) => StoreFault::Disk(path, terminal(&error.to_string())),
        _ => StoreFault::Other(path, terminal(&error.to_string())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::assemble::slots;
    use shared_protocol::record::{Gap, Record};
    use shared_protocol::slot::{Part, RECORD_BYTES_MAX};
    use std::collections::BTreeMap;

    fn slot(sequence: u32, body: &[u8]) -> Slot {
        Slot::build(sequence, 1, 9, Part::ONLY, body).unwrap()
    }

    fn gap(sequence: u32, first: u32, last: u32) -> Slot {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = Record::Gap(Gap { first, last, cause: 1, ..Gap::default() }).encode(&mut body).unwrap();
        slots(sequence, 2, 13, &body[..used]).unwrap()[0]
    }

    fn stream() -> Stream {
        Stream { rig: "Alpha'; DROP TABLE slots; --".to_owned(), epoch: u32::MAX }
    }

    fn in_folder() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("store.sqlite");
        (folder, path)
    }

    /// Every file of a folder with its bytes.
    fn contents(folder: &tempfile::TempDir) -> BTreeMap<PathBuf, Vec<u8>> {
        std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()).map(|p| (p.clone(), std::fs::read(p).unwrap())).collect()
    }

    #[test]
    fn slots_are_kept_verbatim_and_once() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        let all = [slot(3, b"three"), slot(4, b""), slot(5, b"five")];
        assert_eq!(store.keep(&stream(), &all).unwrap(), Kept { new: 3, ..Kept::default() });
        assert_eq!(store.keep(&stream(), &all[1..]).unwrap(), Kept { same: 2, ..Kept::default() });
        drop(store);
        let store = Store::open_existing(&path).unwrap();
        assert_eq!(store.stream(&stream()).unwrap().slots, all);
        assert_eq!(store.part(&stream(), 4, 4).unwrap().slots, all[1..2]);
        assert_eq!(store.rigs().unwrap(), [stream()]);
        assert_eq!(store.stream(&Stream { rig: "Bravo".to_owned(), epoch: 1 }).unwrap(), Held::default());
    }

    #[test]
    fn commits_are_asked_to_survive_a_power_cut() {
        let (_folder, path) = in_folder();
        let store = Store::open(&path).unwrap();
        assert_eq!(store.db.pragma_query_value(None, "journal_mode", |r| r.get::<_, String>(0)).unwrap(), "wal");
        assert_eq!(store.pragma("synchronous").unwrap(), 2); // FULL, by SQLite's documentation of that pragma
    }

    #[test]
    fn a_different_slot_under_the_same_sequence_is_said_and_both_are_kept() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        store.keep(&stream(), &[slot(3, b"first")]).unwrap();
        let kept = store.keep(&stream(), &[slot(3, b"second"), slot(4, b"next")]).unwrap();
        assert_eq!(kept, Kept { new: 1, same: 0, differing: vec![3] });
        store.keep(&stream(), &[slot(3, b"second")]).unwrap();
        let held = store.stream(&stream()).unwrap();
        assert_eq!((held.slots[0], held.aside), (slot(3, b"first"), 1));
        let aside: [u8; SLOT_BYTES] = store.db.query_row("SELECT slot FROM aside", [], |row| row.get(0)).unwrap();
        assert_eq!(aside, *slot(3, b"second").bytes());
    }

    #[test]
    fn what_is_wanted_next_is_the_first_that_is_neither_there_nor_declared_lost() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        let wanted = |store: &Store, from| store.next_wanted(&stream(), from).unwrap();
        assert_eq!(wanted(&store, 17), 17);
        store.keep(&stream(), &[slot(3, b""), slot(4, b""), slot(6, b""), slot(7, b"")]).unwrap();
        assert_eq!([0, 3, 4, 5, 6, 8].map(|from| wanted(&store, from)), [0, 5, 5, 5, 8, 8]);
        store.keep(&stream(), &[gap(8, 5, 5), gap(9, 0, 2)]).unwrap();
        assert_eq!([0, 3, 5].map(|from| wanted(&store, from)), [10, 10, 10]);
        store.keep(&stream(), &[gap(12, 11, 11)]).unwrap();
        assert_eq!(wanted(&store, 0), 10);
        store.keep(&stream(), &[gap(13, 10, u32::MAX)]).unwrap();
        assert!(wanted(&store, 0) >= 14, "a foolish gap ends the search, it does not hang it");
    }

    #[test]
    fn a_slot_that_rotted_in_the_store_is_said_and_not_handed_out() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        store.keep(&stream(), &[slot(3, b"good"), slot(4, b"bad"), slot(5, b"moved")]).unwrap();
        store.db.execute("UPDATE slots SET slot = zeroblob(32) WHERE sequence = 4", []).unwrap();
        store.db.execute("UPDATE slots SET sequence = 9 WHERE sequence = 5", []).unwrap();
        let held = store.stream(&stream()).unwrap();
        assert_eq!((held.slots, held.damaged), (vec![slot(3, b"good")], vec![4, 9]));
    }

    #[test]
    fn a_store_of_a_later_version_is_refused_and_not_touched() {
        let (folder, path) = in_folder();
        let store = Store::open(&path).unwrap();
        store.db.pragma_update(None, "user_version", STORE_VERSION + 4).unwrap();
        drop(store);
        let before = contents(&folder);
        for opened in [Store::open(&path), Store::open_existing(&path)] {
            let said = opened.unwrap_err().to_string();
            assert!(said.contains("later version") && said.contains("store version 7, this one knows 3") && !said.contains('\n'), "{said}");
        }
        assert_eq!(contents(&folder), before);
    }

    #[test]
    fn another_programs_file_is_refused_and_not_touched() {
        let (folder, path) = in_folder();
        let other = folder.path().join("other.sqlite");
        Connection::open(&other).unwrap().execute_batch("CREATE TABLE theirs (x)").unwrap();
        std::fs::write(&path, "Not a database at all, and longer than the head of one would be: a letter, say, to someone.").unwrap();
        let before = contents(&folder);
        for path in [&path, &other] {
            assert!(matches!(Store::open(path), Err(StoreFault::Foreign(_))), "{path:?}");
            assert!(matches!(Store::open_existing(path), Err(StoreFault::Foreign(_))), "{path:?}");
        }
        assert_eq!(contents(&folder), before);
        assert!(matches!(Store::open_existing(&folder.path().join("none")), Err(StoreFault::Absent(_))));
        assert!(matches!(Store::open(&folder.path().join("no/folder")), Err(StoreFault::Closed(_))));
        assert_eq!(contents(&folder), before);
    }

    #[test]
    fn a_full_disk_leaves_nothing_half_written() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        store.keep(&stream(), &[slot(0, b"before")]).unwrap();
        let pages = store.pragma("page_count").unwrap();
        store.db.pragma_update(None, "max_page_count", pages + 2).unwrap();
        let many: Vec<Slot> = (1..2_000).map(|n| slot(n, b"too many")).collect();
        let said = store.keep(&stream(), &many).unwrap_err();
        assert!(matches!(said, StoreFault::Full(_)) && !said.to_string().contains('\n'), "{said}");
        assert_eq!(store.stream(&stream()).unwrap().slots, [slot(0, b"before")]);
        drop(store);
        assert_eq!(Store::open(&path).unwrap().stream(&stream()).unwrap().slots, [slot(0, b"before")]);
    }

    #[test]
    fn a_store_that_another_program_holds_is_said() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        store.db.busy_timeout(Duration::from_millis(10)).unwrap();
        let other = Connection::open(&path).unwrap();
        other.execute_batch("BEGIN IMMEDIATE").unwrap();
        assert!(matches!(store.keep(&stream(), &[slot(0, b"")]), Err(StoreFault::Busy(_))));
    }

    #[test]
    fn a_store_that_may_not_be_written_is_said_and_can_be_read() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        store.keep(&stream(), &[slot(0, b"before")]).unwrap();
        store.db.pragma_update(None, "query_only", true).unwrap(); // root may write to any file, so not by permissions
        assert!(matches!(store.keep(&stream(), &[slot(1, b"")]), Err(StoreFault::ReadOnly(_))));
        assert_eq!(store.stream(&stream()).unwrap().slots.len(), 1);
    }

    #[test]
    fn requests_are_never_the_same_across_restarts_and_hosts() {
        let (folder, path) = in_folder();
        let first = Store::open(&path).unwrap();
        let (host, a, b) = (first.host().unwrap(), first.next_request().unwrap(), first.next_request().unwrap());
        drop(first);
        let again = Store::open(&path).unwrap();
        assert_eq!((again.host().unwrap(), again.next_request().unwrap()), (host, b + 1));
        assert_eq!((a + 1, a >> 16), (b, host >> 16));
        // 40 hosts share one upper half by chance less than once in 80 runs; that all do, never.
        let hosts: Vec<u32> =
            (0..40).map(|n| Store::open(&folder.path().join(n.to_string())).unwrap().next_request().unwrap() >> 16).collect();
        assert!(hosts.iter().any(|h| *h != hosts[0]));
    }
}
