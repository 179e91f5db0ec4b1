//! Files of stores in any state: what opens and salvages them gives what checks, or says in one line why not; and never
//! changes the file.

use super::{Draw, Outcome, Target, about, memory, patch};
use host_tool::holes::Sayings;
use host_tool::holes::index::Index;
use host_tool::session::Stream;
use host_tool::store::{Held, Store, StoreFault, salvage};
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// Bytes of a page of a store.
const PAGE: usize = 4_096;
/// Where SQLite's header keeps the version of the tables; a store that says an older one is brought up to date.
const USER_VERSION_AT: usize = 60;

/// The file of a store.
#[derive(Debug)]
pub struct File {
    folder: TempDir,
}

impl Default for File {
    /// In memory where the system has a folder there, since every store waits for its disk.
    ///
    /// # Panics
    /// When no folder can be made.
    fn default() -> Self {
        let in_memory = Path::new("/dev/shm");
        let folder = if in_memory.is_dir() { tempfile::tempdir_in(in_memory) } else { tempfile::tempdir() };
        Self { folder: folder.expect("a folder") }
    }
}

/// A small store: two rigs, one of them with a hole, a slot that differs from another, a measurement.
///
/// # Panics
/// When a store cannot be made.
#[must_use]
pub fn small() -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("store");
    let mut store = Store::open(&path).expect("a store");
    let images = memory::images();
    for (rig, name) in [("SIM-BENCH-1", "sealed"), ("SIM-BENCH-2", "open")] {
        let stream = Stream { rig: rig.to_owned(), epoch: 1 };
        let image = images.iter().find(|(image, _)| *image == name).map(|(_, image)| image).expect("an image");
        let slots: Vec<Slot> = image[memory::RING_AT..].as_chunks().0.iter().filter_map(|b| Slot::check(b).ok()).collect();
        store.met(&stream, true).expect("kept");
        store.keep(&stream, &slots).expect("kept");
        let other = Slot::build(slots[0].sequence(), 9, 10, shared_protocol::slot::Part::ONLY, b"other").expect("a slot");
        store.keep(&stream, &[other]).expect("kept aside");
    }
    store.found().expect("found");
    let copy = folder.path().join("copy");
    store.backup(&copy).expect("a copy");
    fs::read(copy).expect("readable")
}

impl Target for File {
    const NAME: &'static str = "store";

    fn seeds(&self) -> Vec<Vec<u8>> {
        vec![small()]
    }

    fn mutate(&self, input: &[u8], other: &[u8], draw: &mut Draw) -> Vec<u8> {
        let mut file = input.to_vec();
        for _ in 0..=draw.below(4) {
            if file.len() < PAGE {
                break;
            }
            let pages = file.len() / PAGE;
            let page = draw.below(pages) * PAGE;
            match draw.below(12) {
                0 => file[page..page + PAGE].fill(if draw.once_in(2) { 0 } else { 0xFF }),
                1 => {
                    let from = draw.below(pages) * PAGE;
                    file.copy_within(from..from + PAGE, page);
                }
                2 => file.truncate(PAGE * (1 + draw.below(pages)) - if draw.once_in(2) { draw.below(PAGE) } else { 0 }),
                3 if other.len() >= page + PAGE => file[page..page + PAGE].copy_from_slice(&other[page..page + PAGE]),
                4 => {
                    let at = draw.below(100); // the head of the file
                    file[at] = draw.byte();
                }
                5 => {
                    let at = page + draw.below(100); // the head of a page
                    file[at] = draw.byte();
                }
                6 => {
                    let at = draw.below(file.len());
                    let until = file.len().min(at + draw.below(200));
                    file[at..until].iter_mut().for_each(|byte| *byte = draw.byte());
                }
                7 => {
                    let at = draw.below(file.len());
                    file[at] = draw.byte();
                }
                _ => mutate_slot(&mut file, draw),
            }
        }
        file
    }

    fn run(&mut self, input: &[u8]) -> Result<Outcome, String> {
        let [old, new] = ["old", "new"].map(|name| self.folder.path().join(name));
        self.clear()?;
        fs::write(&old, input).map_err(|e| e.to_string())?;
        let opened = self.open(&old, input)?;
        self.clear()?;
        fs::write(&old, input).map_err(|e| e.to_string())?;
        let salvaged = match salvage(&old, &new) {
            Err(fault) => one_line(&fault)?,
            Ok(found) => {
                let (count, what) =
                    look(&Store::open_existing(&new).map_err(|fault| format!("what was salvaged cannot be opened: {fault}"))?)?;
                if what.contains("damaged") {
                    return Err("what was salvaged holds damage".to_owned());
                }
                if u64::try_from(count).ok() != Some(found.slots) {
                    return Err(format!("{} slots are said to be salvaged, and {count} are there", found.slots));
                }
                let counts = [about(count), about(found.missing.len()), about(found.unplaced.map_or(0, |(count, _)| count))];
                format!("{counts:?} {:?} {}", found.aside.min(3), found.lost_measurements.min(2))
            }
        };
        if fs::read(&old).map_err(|e| e.to_string())? != input {
            return Err("salvaging changed the file".to_owned());
        }
        let reached = salvaged.starts_with('[') || opened.starts_with("open");
        Ok(Outcome::of(reached, &(opened, salvaged)))
    }
}

impl File {
    /// Only what this input leaves is there afterwards.
    fn clear(&self) -> Result<(), String> {
        let files = fs::read_dir(self.folder.path()).map_err(|e| e.to_string())?;
        files.flatten().try_for_each(|file| fs::remove_file(file.path())).map_err(|e| e.to_string())
    }

    /// Opens a store and looks at all that it holds; the file is as it was, unless it is of an older version: then a copy
    /// of it is kept.
    fn open(&self, path: &Path, input: &[u8]) -> Result<String, String> {
        let told = match Store::open_existing(path) {
            Err(fault) => one_line(&fault)?,
            Ok(store) => {
                let told = look(&store)?.1;
                if let Some((_, copy)) = store.older() {
                    let there = copy.exists();
                    return if there {
                        Ok(format!("open, older, {told}"))
                    } else {
                        Err("an older store is changed and no copy kept".to_owned())
                    };
                }
                format!("open, {told}")
            }
        };
        let after = fs::read(path).map_err(|e| e.to_string())?;
        let older = input.get(USER_VERSION_AT..USER_VERSION_AT + 4).is_some_and(|version| matches!(version, [0, 0, 0, 1 | 2]));
        if after != input && !older {
            return Err(format!("opening changed the file ({told})"));
        }
        // what is found one by one is kept in the file, so it is looked for last
        let found = Store::open_existing(path).map_or_else(|fault| one_line(&fault), |store| listed(&store))?;
        Ok(told + &found)
    }
}

/// Looks at everything in a store: how many slots it holds, and what could be told.
fn look(store: &Store) -> Result<(usize, String), String> {
    let rigs = match store.rigs() {
        Ok(rigs) => rigs,
        Err(fault) => return Ok((0, one_line(&fault)?)),
    };
    let (mut count, mut told) = (0, format!("{} rigs", rigs.len().min(4)));
    for rig in &rigs {
        match store.stream(rig) {
            Ok(held) => {
                sound(&held)?;
                count += held.slots.len();
                let damaged = if held.damaged.is_empty() { "" } else { " damaged" };
                told.push_str(&format!(" {}{damaged} {}", about(held.slots.len()), held.aside.min(2)));
            }
            Err(fault) => told.push_str(&one_line(&fault)?),
        }
        let others = [
            store.missing(rig).map(|missing| about(missing.len())),
            store.next_wanted(rig, 0).map(|_| 0),
            store.end(rig).map(|_| 0),
            store.simulated(rig).map(|known| known.map_or(2, u32::from)),
            store.measurements(rig, 0).map(|list| about(list.len())),
        ];
        for other in others {
            told.push_str(&other.map_or_else(|fault| one_line(&fault), |n| Ok(format!(" {n}")))?);
        }
    }
    Ok((count, told))
}

/// How many set-ups are found one by one, and read.
fn listed(store: &Store) -> Result<String, String> {
    let index = match Index::of(store) {
        Err(fault) => return one_line(&fault),
        Ok(index) => index,
    };
    let sayings = Sayings::default();
    let judged = index.set_ups.iter().filter(|listed| matches!(listed.judged(store, &sayings, None), Ok(Some(_)))).count();
    Ok(format!(" {} {}", about(index.set_ups.len()), about(judged)))
}

/// Slots that a store gives are in order.
fn sound(held: &Held) -> Result<(), String> {
    let rising = held.slots.windows(2).all(|pair| pair[0].sequence() < pair[1].sequence());
    if rising { Ok(()) } else { Err("a store gives slots out of order".to_owned()) }
}

/// What a person is told is one line, and says something.
fn one_line(fault: &StoreFault) -> Result<String, String> {
    let line = fault.to_string();
    if line.is_empty() || line.contains('\n') {
        return Err(format!("a person is told {line:?}"));
    }
    Ok(format!("{fault:?}").chars().take_while(|c| c.is_alphabetic()).collect())
}

/// One of the slots in the file, wherever it stands, mutated and its check repaired.
fn mutate_slot(file: &mut [u8], draw: &mut Draw) {
    let from = draw.below(file.len());
    for at in (from..file.len()).chain(0..from) {
        let Some(bytes) = file[at..].first_chunk_mut::<SLOT_BYTES>() else { continue };
        if Slot::check(bytes).is_ok() {
            *bytes = patch::slot(bytes, 1, draw);
            return;
        }
    }
}
