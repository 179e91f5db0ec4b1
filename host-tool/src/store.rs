//! Where evidence is kept: an SQLite file with every slot verbatim, by rig, epoch and sequence. No slot that holds is
//! ever changed or removed; what is committed is on the disk. What people enter stands beside, in a chain of its own.

mod blocks;
mod copies;
mod entries;
mod fault;
mod greeting;
mod measured;
mod merge;
mod migrate;
mod pages;
pub mod photographs;
mod salvage;
mod set_ups;

pub use copies::Contents;
pub use entries::{Added, Entered, Follower};
pub use fault::StoreFault;
pub use measured::{entry_of, measurement_of};
pub use merge::Merged;
pub use salvage::{Salvaged, salvage};
pub use set_ups::{Brief, Found};

use crate::session::{Stream, gap_of};
use blocks::Block;
use fault::{fault, shown};
use rusqlite::{Connection, OpenFlags, OptionalExtension, TransactionBehavior, params};
use sha2::{Digest, Sha256};
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The version of the tables, kept in SQLite's `user_version`.
pub const STORE_VERSION: i32 = 7;
/// "Bore" in SQLite's `application_id`: tells a store from any other SQLite file.
const APPLICATION: i32 = 0x426F_7265;
/// How long another program may hold the store before that is an error.
const PATIENCE: Duration = Duration::from_secs(3);
/// A store up to this size, 64 MiB, is looked over when a program first opens it; a larger one where a read fails.
const CHECKED_PAGES: i32 = 16_384;

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
    older: Option<(i32, PathBuf)>,
}

impl Store {
    /// Opens a store, or makes one where there is none.
    ///
    /// # Errors
    /// See [`StoreFault`]; a file of a later version or of another program is left as it is.
    pub fn open(path: &Path) -> Result<Self, StoreFault> {
        Self::connect(path, OpenFlags::SQLITE_OPEN_CREATE, true)
    }

    /// A store in memory, gone when it is dropped, of a host that goes by this number: for a world of which one seed is all.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn in_memory(host: u32) -> Result<Self, StoreFault> {
        let store = Self::open(Path::new(":memory:"))?;
        let secret: [u8; 32] = Sha256::digest([b"in memory".as_slice(), &host.to_le_bytes()].concat()).into();
        store.db.execute("UPDATE host SET id = ?1, secret = ?2", params![host, secret]).map_err(|e| store.fault(&e))?;
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
        Self::connect(path, OpenFlags::empty(), true)
    }

    /// Opens a store that this program has opened before, as often as somebody asks for something: it is not looked over again.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_again(path: &Path) -> Result<Self, StoreFault> {
        if !path.is_file() {
            return Err(StoreFault::Absent(shown(path)));
        }
        Self::connect(path, OpenFlags::empty(), false)
    }

    fn connect(path: &Path, create: OpenFlags, look_over: bool) -> Result<Self, StoreFault> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | create;
        let db = Connection::open_with_flags(path, flags).map_err(|e| fault(path, &e))?;
        let mut store = Self { db, path: path.to_owned(), older: None };
        store.db.busy_timeout(PATIENCE).map_err(|e| store.fault(&e))?;
        store.refuse_strangers(create)?;
        if look_over {
            store.refuse_damage()?;
        }
        store.bring_up_to_date()?;
        store.survive_power_cuts(create).map_err(|e| store.fault(&e))?;
        Ok(store)
    }

    /// Before anything is written: is this ours, and of a version that is known here?
    fn refuse_strangers(&self, create: OpenFlags) -> Result<(), StoreFault> {
        let (application, version) = (self.pragma("application_id")?, self.pragma("user_version")?);
        let blank = self.pragma("schema_version")? == 0 && application == 0 && version == 0;
        match (application, version) {
            _ if blank && !create.is_empty() => Ok(()),
            (APPLICATION, 1..=STORE_VERSION) => Ok(()),
            (APPLICATION, later) if later > STORE_VERSION => Err(StoreFault::Later(shown(&self.path), later)),
            _ => Err(StoreFault::Foreign(shown(&self.path))),
        }
    }

    /// SQLite's own check of how the pages hang together, of a store that is soon checked. What it does not see, a slot
    /// that is not what was written, is seen by each slot's own check when it is read.
    fn refuse_damage(&self) -> Result<(), StoreFault> {
        if self.pragma("page_count")? > CHECKED_PAGES {
            return Ok(());
        }
        let said: String = self.db.query_row("PRAGMA quick_check(1)", [], |row| row.get(0)).map_err(|e| self.fault(&e))?;
        if said == "ok" { Ok(()) } else { Err(StoreFault::Damaged(shown(&self.path))) }
    }

    fn pragma(&self, name: &str) -> Result<i32, StoreFault> {
        self.db.pragma_query_value(None, name, |row| row.get(0)).map_err(|e| self.fault(&e))
    }

    /// Asks for commits that are on the disk when they are done. Where slots will come, readers shall keep no writer
    /// waiting; a copy that is only looked at stays one file, which a medium locked against writing can hold.
    fn survive_power_cuts(&self, create: OpenFlags) -> rusqlite::Result<()> {
        self.db.pragma_update(None, "synchronous", "FULL")?;
        if create.is_empty() { Ok(()) } else { self.db.pragma_update(None, "journal_mode", "WAL") }
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

    /// Stores slots, all or none of them, and returns when they are on the disk. The same slot again changes nothing;
    /// one that is no longer what was stored gives way to one that is, and is kept aside.
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
            let mut put_aside = act.prepare_cached("INSERT OR IGNORE INTO aside VALUES (?1, ?2, ?3)")?;
            for together in slots.chunk_by(|a, b| blocks::number(id, a.sequence()) == blocks::number(id, b.sequence())) {
                let Some(first) = together.first() else { continue };
                let (mut block, before) = (Block::load(&act, id, first.sequence())?, kept.new);
                for slot in together {
                    let there = block.at(slot.sequence());
                    match there {
                        None => kept.new += 1,
                        Some(bytes) if bytes == slot.bytes() => {
                            kept.same += 1;
                            continue;
                        }
                        Some(bytes) if is_rotten(bytes, slot.sequence()) => {
                            put_aside.execute(params![id, slot.sequence(), *bytes])?;
                            kept.new += 1;
                        }
                        Some(_) => {
                            put_aside.execute(params![id, slot.sequence(), slot.bytes()])?;
                            kept.differing.push(slot.sequence());
                            continue;
                        }
                    }
                    *there = Some(*slot.bytes());
                }
                if kept.new > before {
                    block.save(&act, id)?;
                }
            }
        }
        act.commit()?;
        Ok(kept)
    }

    /// The first sequence from `from` on that is neither stored, and still what was stored, nor declared lost by the rig
    /// itself.
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
        blocks::each(&self.db, id, from..=u32::MAX, |stored, slot| {
            if is_rotten(slot, stored) {
                return Ok(ControlFlow::Continue(()));
            }
            if stored > next {
                let declared = match &gaps {
                    Some(gaps) => gaps,
                    None => gaps.insert(self.gaps(id)?),
                };
                next = over(declared, next);
            }
            if stored > next {
                return Ok(ControlFlow::Break(()));
            }
            next = next.max(stored.saturating_add(1));
            Ok(ControlFlow::Continue(()))
        })?;
        Ok(next)
    }

    /// One more than the last sequence stored of a stream; 0 where nothing is.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn end(&self, stream: &Stream) -> Result<u32, StoreFault> {
        let end = || {
            let Some(id) = id_of(&self.db, stream).optional()? else { return Ok(0) };
            Ok(blocks::last(&self.db, id)?.map_or(0, |last| last.saturating_add(1)))
        };
        end().map_err(|e| self.fault(&e))
    }

    /// Every gap that the rig declared in this stream.
    fn gaps(&self, id: i64) -> rusqlite::Result<Vec<(u32, u32)>> {
        Ok(blocks::gaps(&self.db, id, 0)?.iter().filter_map(gap_of).map(|gap| (gap.first, gap.last)).collect())
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
        blocks::each(&self.db, id, first..=last, |sequence, bytes| {
            match Slot::check(bytes) {
                Ok(slot) if slot.sequence() == sequence => held.slots.push(slot),
                _ => held.damaged.push(sequence),
            }
            Ok(ControlFlow::Continue(()))
        })?;
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

/// Whether what stands under a sequence is no longer a slot of that sequence.
fn is_rotten(bytes: &[u8; SLOT_BYTES], sequence: u32) -> bool {
    !Slot::check(bytes).is_ok_and(|slot| slot.sequence() == sequence)
}

fn id_of(db: &Connection, stream: &Stream) -> rusqlite::Result<i64> {
    db.query_row("SELECT id FROM streams WHERE rig = ?1 AND epoch = ?2", params![stream.rig, stream.epoch], |row| row.get(0))
}

#[cfg(test)]
pub(crate) mod tests;
