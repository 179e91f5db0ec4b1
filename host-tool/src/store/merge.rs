//! What another store holds, taken into this one: by rig, epoch and sequence, as often as one likes.

use super::copies::{self, Contents, Taken};
use super::fault::shown;
use super::{Store, StoreFault, measured};
use crate::session::Stream;
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::path::Path;

/// Slots in one commit: few enough that a program that writes meanwhile need not wait.
const TOGETHER: usize = 2_000;

/// What became of another store's records.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Merged {
    /// Slots that were not here.
    pub new: u64,
    /// Slots that were here, the same.
    pub same: u64,
    /// Slots that differ from the one here under the same number; they are kept aside. By rig, first and how many.
    pub differing: Vec<(Stream, u32, usize)>,
    /// Slots that the other store had aside already, and this one too now.
    pub aside: u64,
    /// Slots that are damaged in the other store; they are not taken. By rig, first and how many.
    pub damaged: Vec<(Stream, u32, usize)>,
    /// Entries that were not here.
    pub entries: u32,
    /// Of those, entries that differ from the one here under the same number; both are kept.
    pub differing_entries: u32,
    /// Measurements by hand from before there were entries, that were not here.
    pub measurements: u32,
    /// Measurements by hand that cannot be read there.
    pub unreadable: u32,
}

impl Store {
    /// Copies all of this store into a file that is not there yet, while others may write to the store, and compares
    /// the copy with it.
    ///
    /// # Errors
    /// See [`StoreFault`]; there is no such file then.
    pub fn backup(&self, to: &Path) -> Result<Contents, StoreFault> {
        if to.exists() {
            return Err(StoreFault::Taken(shown(to)));
        }
        copies::copy_into(&self.db, &self.path, to)
    }

    /// Takes in all that another store holds and this one does not. The other's files are only read, and may be of an
    /// older version. What is cut short is finished by doing it again.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn merge(&mut self, other: &Path) -> Result<Merged, StoreFault> {
        let taken = Taken::of(other)?;
        let theirs = Self::open_existing(&taken.path()).map_err(|fault| fault.of(other))?;
        let mut merged = Merged::default();
        for stream in theirs.rigs()? {
            if let Some(simulated) = theirs.simulated(&stream)? {
                self.met(&stream, simulated)?;
            }
            let held = theirs.stream(&stream)?;
            for slots in held.slots.chunks(TOGETHER) {
                let kept = self.keep(&stream, slots)?;
                (merged.new, merged.same) = (merged.new + u64::from(kept.new), merged.same + u64::from(kept.same));
                note(&mut merged.differing, &stream, &kept.differing);
            }
            note(&mut merged.damaged, &stream, &held.damaged);
            let aside = theirs.aside(&stream)?;
            merged.aside += self.keep(&stream, &aside)?.differing.len() as u64;
        }
        let added = self.keep_entries(&theirs.links()?)?;
        (merged.entries, merged.differing_entries) = (added.new, added.differing);
        self.take_measurements(&theirs, &mut merged)?;
        Ok(merged)
    }

    fn take_measurements(&mut self, theirs: &Self, merged: &mut Merged) -> Result<(), StoreFault> {
        let (all, unreadable) = measured::all(&theirs.db);
        merged.unreadable = unreadable;
        for (id, opened, measurement) in all {
            let stream = theirs.stream_of(id)?;
            if !self.unchained(&stream, opened)?.contains(&measurement) {
                self.add_unchained(&stream, opened, &measurement)?;
                merged.measurements += 1;
            }
        }
        Ok(())
    }

    fn stream_of(&self, id: i64) -> Result<Stream, StoreFault> {
        let read = |row: &rusqlite::Row<'_>| Ok(Stream { rig: row.get(0)?, epoch: row.get(1)? });
        self.db.query_row("SELECT rig, epoch FROM streams WHERE id = ?1", [id], read).map_err(|e| self.fault(&e))
    }

    /// Slots that are kept aside because another has their sequence.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn aside(&self, stream: &Stream) -> Result<Vec<Slot>, StoreFault> {
        let list = || -> rusqlite::Result<Vec<[u8; SLOT_BYTES]>> {
            let sql = "SELECT slot FROM aside JOIN streams ON streams.id = stream WHERE rig = ?1 AND epoch = ?2 ORDER BY sequence";
            self.db.prepare_cached(sql)?.query_map(rusqlite::params![stream.rig, stream.epoch], |row| row.get(0))?.collect()
        };
        let bytes = list().map_err(|e| self.fault(&e))?;
        Ok(bytes.iter().filter_map(|bytes| Slot::check(bytes).ok()).collect())
    }
}

/// Adds some of a stream's sequences to a list with one line for each stream.
fn note(list: &mut Vec<(Stream, u32, usize)>, stream: &Stream, sequences: &[u32]) {
    let Some(first) = sequences.first() else { return };
    match list.iter_mut().find(|(known, ..)| known == stream) {
        Some((_, _, count)) => *count += sequences.len(),
        None => list.push((stream.clone(), *first, sequences.len())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::LineAxes;
    use crate::judge::measured::{Kind, Measurement};
    use crate::store::tests::{contents, in_folder, slot};
    use std::path::PathBuf;
    use std::sync::atomic::Ordering::Relaxed;
    use std::sync::atomic::{AtomicBool, AtomicU32};

    fn rig(name: &str) -> Stream {
        Stream { rig: name.to_owned(), epoch: 1 }
    }

    fn sounding(author: &str) -> Measurement {
        let offset = LineAxes { ahead: 0.0, right: 0.1 };
        let (author, remark) = (author.to_owned(), String::new());
        Measurement { author, unix_ms: 7, kind: Kind::Sounding, depth: 3.1, offset, standard: 0.004, remark }
    }

    /// Two stores that share some of a rig's records, differ in one, and have each something of its own.
    fn two() -> (tempfile::TempDir, Store, PathBuf) {
        let (folder, path) = in_folder();
        let mut mine = Store::open(&path).unwrap();
        let theirs = folder.path().join("theirs");
        let mut other = Store::open(&theirs).unwrap();
        mine.keep(&rig("Alpha"), &(0..60).map(|n| slot(n, b"same")).collect::<Vec<_>>()).unwrap();
        other.keep(&rig("Alpha"), &(40..3_000).map(|n| slot(n, if n == 50 { b"othr" } else { b"same" })).collect::<Vec<_>>()).unwrap();
        other.keep(&rig("Alpha"), &[slot(70, b"aside")]).unwrap();
        other.keep(&rig("Bravo"), &[slot(9, b"new")]).unwrap();
        other.met(&rig("Bravo"), true).unwrap();
        mine.add_unchained(&rig("Alpha"), 40, &sounding("Both")).unwrap();
        for author in ["Both", "Theirs"] {
            other.add_unchained(&rig("Alpha"), 40, &sounding(author)).unwrap();
        }
        (folder, mine, theirs)
    }

    #[test]
    fn what_is_missing_comes_what_differs_is_kept_aside_and_nothing_comes_twice() {
        let (_folder, mut mine, theirs) = two();
        let first = mine.merge(&theirs).unwrap();
        let expected =
            Merged { new: 2_941, same: 19, differing: vec![(rig("Alpha"), 50, 1)], aside: 1, measurements: 1, ..Merged::default() };
        assert_eq!(first, expected);
        let held = mine.stream(&rig("Alpha")).unwrap();
        assert_eq!((held.slots.len(), held.slots[50], held.aside), (3_000, slot(50, b"same"), 2));
        assert_eq!(mine.aside(&rig("Alpha")).unwrap(), [slot(50, b"othr"), slot(70, b"aside")]);
        assert_eq!(mine.stream(&rig("Bravo")).unwrap().slots, [slot(9, b"new")]);
        assert_eq!(mine.simulated(&rig("Bravo")).unwrap(), Some(true));
        assert_eq!(mine.measurements(&rig("Alpha"), 40).unwrap(), [sounding("Both"), sounding("Theirs")]);
        let before = copies::contents(&mine.db).unwrap();
        let again = mine.merge(&theirs).unwrap();
        assert_eq!((again.new, again.measurements), (0, 0));
        assert_eq!(copies::contents(&mine.db).unwrap(), before, "a second time changes nothing");
    }

    #[test]
    fn the_other_store_stays_as_it_is_though_a_program_was_killed_on_it() {
        let (folder, mut mine, theirs) = two();
        // killed: the newest commits stand in the log only
        let killed = folder.path().join("killed");
        let mut other = Store::open(&theirs).unwrap();
        other.keep(&rig("Alpha"), &[slot(3_000, b"in the log")]).unwrap();
        for end in ["", "-wal"] {
            std::fs::copy(copies::beside(&theirs, end), copies::beside(&killed, end)).unwrap();
        }
        drop(other);
        let before = contents(&folder);
        mine.merge(&killed).unwrap();
        let after = contents(&folder);
        let of = |all: &std::collections::BTreeMap<PathBuf, Vec<u8>>| -> Vec<_> {
            all.iter()
                .filter(|(path, _)| path.starts_with(folder.path()) && path.to_string_lossy().contains("killed"))
                .map(|(p, b)| (p.clone(), b.clone()))
                .collect()
        };
        assert_eq!(of(&before).len(), 2);
        assert!(of(&before) == of(&after));
        assert_eq!(mine.stream(&rig("Alpha")).unwrap().slots[3_000], slot(3_000, b"in the log"));
    }

    #[test]
    fn a_backup_is_made_while_another_writes_and_holds_all_from_before() {
        let (folder, mut mine, theirs) = two();
        mine.merge(&theirs).unwrap();
        let path = mine.path().to_owned();
        let (stop, written) = (AtomicBool::new(false), AtomicU32::new(0));
        std::thread::scope(|scope| {
            scope.spawn(|| {
                let mut writer = Store::open_existing(&path).unwrap();
                for n in (5_000..9_000).take_while(|_| !stop.load(Relaxed)) {
                    writer.keep(&rig("Alpha"), &[slot(n, b"meanwhile")]).unwrap();
                    written.store(n - 4_999, Relaxed);
                }
            });
            let mut before = 0;
            for n in 0..12 {
                let already = 3_001 + u64::from(written.load(Relaxed));
                let file = folder.path().join(format!("backup-{n}"));
                let held = mine.backup(&file).unwrap();
                assert!(held.slots >= already, "{held:?}");
                let copy = copies::open_to_read(&file).unwrap();
                assert_eq!(copies::contents(&copy).unwrap(), held);
                assert!(matches!(mine.backup(&file), Err(StoreFault::Taken(_))));
                while written.load(Relaxed) <= before {
                    std::thread::yield_now(); // it ends: the writer is never kept waiting for long
                }
                before = written.load(Relaxed);
            }
            stop.store(true, Relaxed);
        });
    }

    #[test]
    fn a_backup_comes_back_into_a_new_store_that_is_a_host_of_its_own() {
        let (folder, mut mine, theirs) = two();
        mine.merge(&theirs).unwrap();
        let file = folder.path().join("backup");
        mine.backup(&file).unwrap();
        let mut new = Store::open(&folder.path().join("new")).unwrap();
        new.merge(&file).unwrap();
        for stream in mine.rigs().unwrap() {
            assert_eq!(new.stream(&stream).unwrap(), mine.stream(&stream).unwrap());
            assert_eq!(new.measurements(&stream, 40).unwrap(), mine.measurements(&stream, 40).unwrap());
        }
        assert_ne!(new.host().unwrap(), mine.host().unwrap(), "two tablets that count their commands alike would be taken for one");
    }
}
