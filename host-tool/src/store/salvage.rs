//! What is whole in a damaged store, taken out of it into a new one. The damaged files are only read.

use super::copies::{self, Taken};
use super::fault::{fault, shown};
use super::measured::{self, OfSetUp};
use super::pages::{self, Seen};
use super::{Store, StoreFault, blocks, entries, id_of};
use crate::entry::Link;
use crate::session::Stream;
use rusqlite::{Connection, OptionalExtension};
use shared_protocol::assemble::Assembler;
use shared_protocol::record::Record;
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// What was found in a damaged store.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Salvaged {
    /// Slots that hold and whose rig is known.
    pub slots: u64,
    /// Slots that hold and have another beside them under the same number; they are kept aside.
    pub aside: u64,
    /// Slots that hold and whose rig is not known, and the file that they are in, one after the other.
    pub unplaced: Option<(usize, PathBuf)>,
    /// Sequences between others that are not there and that the rig did not declare lost: first and last.
    pub missing: Vec<(Stream, u32, u32)>,
    /// Entries; those whose chain is broken say so.
    pub entries: u32,
    /// Whether more entries may have been there, which cannot be read.
    pub entries_cut_short: bool,
    /// Measurements by hand from before there were entries; these have no check of their own.
    pub measurements: u32,
    /// Measurements by hand that cannot be read, or whose rig is not known.
    pub lost_measurements: u32,
}

/// Takes all that holds in a damaged store into a new one.
///
/// # Errors
/// See [`StoreFault`]; where nothing holds there is no new store.
pub fn salvage(old: &Path, new: &Path) -> Result<Salvaged, StoreFault> {
    let unplaced_file = copies::beside(new, ".unplaced");
    for file in [new, &unplaced_file] {
        if file.exists() {
            return Err(StoreFault::Taken(shown(file)));
        }
    }
    let taken = Taken::of(old)?;
    let read = |path: &Path| fs::read(path).map_err(|e| StoreFault::Disk(shown(old), e.to_string()));
    let log = if taken.log().exists() { read(&taken.log())? } else { Vec::new() };
    let file = read(&taken.path())?;
    let tables = Tables::read(&taken.path());
    let seen = pages::slots(&file, &log, tables.streams.keys().copied());
    if seen.is_empty() {
        return Err(StoreFault::Nothing(shown(old)));
    }
    let sorted = Sorted::of(&seen, &tables);
    let mut store = Store::open(new)?;
    let mut found = sorted.store(&mut store, &tables)?;
    if let Some((_, file)) = &mut found.unplaced {
        file.clone_from(&unplaced_file);
        let bytes: Vec<u8> = sorted.unplaced(&tables).iter().flat_map(|slot| *slot.bytes()).collect();
        let write = || -> std::io::Result<()> {
            let mut file = fs::File::create_new(&unplaced_file)?;
            file.write_all(&bytes)?;
            file.sync_all()
        };
        write().map_err(|e| StoreFault::Disk(shown(&unplaced_file), e.to_string()))?;
    }
    Ok(found)
}

/// What the small tables still say.
#[derive(Debug, Default)]
struct Tables {
    /// Rigs by number, where table and index agree.
    streams: BTreeMap<i64, (Stream, Option<bool>)>,
    aside: BTreeSet<(i64, [u8; SLOT_BYTES])>,
    measurements: Vec<OfSetUp>,
    lost_measurements: u32,
    entries: Vec<Link>,
    entries_cut_short: bool,
}

impl Tables {
    fn read(path: &Path) -> Self {
        let Ok(db) = Connection::open(path).map_err(|e| fault(path, &e)) else {
            return Self { entries_cut_short: true, ..Self::default() };
        };
        let (measurements, lost_measurements) = measured::all(&db);
        let by_index = named(&db, "SELECT id, rig, epoch, NULL FROM streams INDEXED BY sqlite_autoindex_streams_1");
        let mut streams = named(&db, "SELECT id, rig, epoch, simulated FROM streams NOT INDEXED");
        if streams.is_empty() {
            streams = named(&db, "SELECT id, rig, epoch, NULL FROM streams NOT INDEXED"); // of a version that did not keep it
        }
        streams.retain(|id, (stream, _)| by_index.get(id).is_some_and(|(same, _)| same == stream));
        let (entries, entries_cut_short) = entries::readable(&db);
        Self { streams, aside: aside(&db), measurements, lost_measurements, entries, entries_cut_short }
    }
}

/// As many rows as can be read.
fn named(db: &Connection, sql: &str) -> BTreeMap<i64, (Stream, Option<bool>)> {
    let Ok(mut query) = db.prepare(sql) else { return BTreeMap::new() };
    let row = |row: &rusqlite::Row<'_>| Ok((row.get(0)?, (Stream { rig: row.get(1)?, epoch: row.get(2)? }, row.get(3)?)));
    query.query_map([], row).map(|rows| rows.flatten().collect()).unwrap_or_default()
}

fn aside(db: &Connection) -> BTreeSet<(i64, [u8; SLOT_BYTES])> {
    let Ok(mut query) = db.prepare("SELECT stream, slot FROM aside") else { return BTreeSet::new() };
    query.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).map(|rows| rows.flatten().collect()).unwrap_or_default()
}

/// Slots by their stream's number.
#[derive(Debug, Default)]
struct Sorted {
    /// By sequence: first the one to store, then any that differ from it.
    streams: BTreeMap<i64, BTreeMap<u32, Vec<Slot>>>,
    unplaced: Vec<Slot>,
}

impl Sorted {
    fn of(seen: &[Seen], tables: &Tables) -> Self {
        let mut sorted = Self::default();
        let mut put = |stream: i64, slot: &Slot| {
            let same = sorted.streams.entry(stream).or_default().entry(slot.sequence()).or_default();
            if !same.contains(slot) {
                same.push(*slot);
            }
        };
        let is_aside = |stream: i64, slot: &Slot| tables.aside.contains(&(stream, *slot.bytes()));
        for second in [false, true] {
            for one in seen {
                match one {
                    Seen::Sure(stream, slot) if is_aside(*stream, slot) == second => put(*stream, slot),
                    _ => {}
                }
            }
        }
        let mut unplaced = Vec::new();
        for one in seen {
            match one {
                // a likely one gives way to what is sure
                Seen::Likely(stream, slot) => {
                    let known = sorted.streams.entry(*stream).or_default().entry(slot.sequence()).or_default();
                    match () {
                        () if known.contains(slot) => {}
                        () if known.is_empty() || is_aside(*stream, slot) => known.push(*slot),
                        () => unplaced.push(*slot),
                    }
                }
                Seen::Unplaced(slot) => unplaced.push(*slot),
                Seen::Sure(..) => {}
            }
        }
        sorted.unplaced = unplaced;
        sorted
    }

    /// Whose slots these are: what the rig's own records say, else what the tables say twice over.
    fn name(&self, id: i64, tables: &Tables) -> Option<(Stream, Option<bool>)> {
        let kept = tables.streams.get(&id);
        let mut said = BTreeSet::new();
        let mut assembler = Assembler::default();
        for slot in self.streams.get(&id)?.values().filter_map(|same| same.first()) {
            let Some(whole) = assembler.push(slot) else { continue };
            if let Ok(Record::Identity(identity)) = Record::decode(whole.kind, whole.body) {
                said.insert((Stream { rig: identity.rig.as_str().to_owned(), epoch: identity.epoch }, identity.simulated));
            }
        }
        let mut rigs: Vec<&Stream> = said.iter().map(|(stream, _)| stream).collect();
        rigs.dedup();
        match rigs[..] {
            [] => kept.cloned(),
            [one] => Some((one.clone(), Some(said.iter().any(|(_, simulated)| *simulated)))),
            _ => None,
        }
    }

    fn unplaced(&self, tables: &Tables) -> Vec<Slot> {
        let nameless = self.streams.iter().filter(|(id, _)| self.name(**id, tables).is_none());
        let lost = nameless.flat_map(|(_, slots)| slots.values().flatten()).chain(&self.unplaced);
        let placed: BTreeSet<&[u8; SLOT_BYTES]> = self
            .streams
            .iter()
            .filter(|(id, _)| self.name(**id, tables).is_some())
            .flat_map(|(_, slots)| slots.values().flatten().map(Slot::bytes))
            .collect();
        let mut once = BTreeSet::new();
        lost.filter(|slot| !placed.contains(slot.bytes()) && once.insert(*slot.bytes())).copied().collect()
    }

    fn store(&self, store: &mut Store, tables: &Tables) -> Result<Salvaged, StoreFault> {
        let mut found = Salvaged { lost_measurements: tables.lost_measurements, ..Salvaged::default() };
        for (id, slots) in &self.streams {
            let Some((stream, simulated)) = self.name(*id, tables) else { continue };
            if let Some(simulated) = simulated {
                store.met(&stream, simulated)?;
            }
            for nth in 0.. {
                let slots: Vec<Slot> = slots.values().filter_map(|same| same.get(nth).copied()).collect();
                if slots.is_empty() {
                    break;
                }
                let kept = store.keep(&stream, &slots)?;
                found.slots += u64::from(kept.new);
                found.aside += kept.differing.len() as u64;
            }
            found.missing.extend(store.missing(&stream)?.into_iter().map(|(first, last)| (stream.clone(), first, last)));
        }
        for (id, opened, measurement) in &tables.measurements {
            let known = self.name(*id, tables).or_else(|| tables.streams.get(id).cloned());
            match known.map(|(stream, _)| store.add_unchained(&stream, *opened, measurement)) {
                Some(Ok(())) => found.measurements += 1,
                Some(Err(StoreFault::Other(..))) | None => found.lost_measurements += 1,
                Some(Err(fault)) => return Err(fault),
            }
        }
        found.entries = store.keep_entries(&tables.entries)?.new;
        found.entries_cut_short = tables.entries_cut_short;
        let unplaced = self.unplaced(tables).len();
        found.unplaced = (unplaced > 0).then(|| (unplaced, PathBuf::new()));
        Ok(found)
    }
}

impl Store {
    /// Sequences between others that are neither stored nor declared lost by the rig itself: first and last.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn missing(&self, stream: &Stream) -> Result<Vec<(u32, u32)>, StoreFault> {
        let first_from = |from: u32| -> rusqlite::Result<Option<u32>> {
            let Some(id) = id_of(&self.db, stream).optional()? else { return Ok(None) };
            blocks::first(&self.db, id, from..=u32::MAX)
        };
        let first_from = |from: u32| first_from(from).map_err(|e| self.fault(&e));
        let (end, mut missing) = (self.end(stream)?, Vec::new());
        let mut next = self.next_wanted(stream, first_from(0)?.unwrap_or(end))?;
        while next < end {
            let Some(after) = next.checked_add(1).map(first_from).transpose()?.flatten() else { break };
            missing.push((next, after - 1));
            next = self.next_wanted(stream, after)?;
        }
        Ok(missing)
    }
}

#[cfg(test)]
mod tests;
