//! `backup`, `restore`, `merge` and `salvage`: whole stores, kept safe and brought together.

use crate::Failure;
use host_tool::session::Stream;
use host_tool::store::{Merged, Store, photographs, salvage};
use host_tool::text::terminal;
use std::io::{Write, stderr, stdout};
use std::path::Path;

/// Opens a store, or makes one, and says where an older one is kept.
pub fn open(path: &Path) -> Result<Store, Failure> {
    said(Store::open(path)?)
}

/// As [`open`], of a store that is there already.
pub fn open_existing(path: &Path) -> Result<Store, Failure> {
    said(Store::open_existing(path)?)
}

fn said(store: Store) -> Result<Store, Failure> {
    if let Some((version, copy)) = store.older() {
        let (store, copy) = (shown(store.path()), shown(copy));
        writeln!(stderr(), "{store} was brought up to date from store version {version}; as it was, it is kept as {copy}")?;
    }
    Ok(store)
}

/// Copies a store into a new file, though a program may be writing to it.
pub fn backup(file: &Path, store: &Path) -> Result<(), Failure> {
    let held = open_existing(store)?.backup(file)?;
    writeln!(stdout(), "{} records are in {}, and it was compared with the store", held.slots, shown(file))?;
    pictures(store, file)
}

/// Brings photographs from beside one store to beside another.
fn pictures(from: &Path, to: &Path) -> Result<(), Failure> {
    let photographs::Brought { new, same, spoilt } = photographs::bring(from, to)?;
    let mut out = stdout();
    let there = shown(&photographs::folder(to));
    if new > 0 {
        writeln!(out, "{new} photographs are new in {there}")?;
    }
    if same > 0 {
        writeln!(out, "{same} photographs were in {there} already")?;
    }
    for name in spoilt {
        writeln!(out, "photograph {name} beside {} is not what it was, and was not taken: look for it on the phone", shown(from))?;
    }
    Ok(())
}

/// Takes a backup into a store, which is made where there is none.
pub fn restore(file: &Path, store: &Path) -> Result<(), Failure> {
    take_in(file, store, true)
}

/// Takes another store's records into one that is there.
pub fn merge(other: &Path, store: &Path) -> Result<(), Failure> {
    take_in(other, store, false)
}

fn take_in(other: &Path, path: &Path, make: bool) -> Result<(), Failure> {
    let make = make && !path.exists();
    let mut store = if make { open(path)? } else { open_existing(path)? };
    let merged = store.merge(other).inspect_err(|_| {
        if make {
            drop(std::fs::remove_file(path)); // made a moment ago for what did not come
        }
    })?;
    report(&merged, other, path)?;
    pictures(other, path)
}

fn report(merged: &Merged, other: &Path, store: &Path) -> Result<(), Failure> {
    let Merged { new, same, .. } = merged;
    let entries = merged.entries.saturating_add(merged.measurements);
    let (other, store) = (shown(other), shown(store));
    let mut out = stdout();
    writeln!(out, "{new} records and {entries} entries of {other} are new in {store}; {same} records were there already")?;
    for (stream, first, count) in &merged.differing {
        let rig = rig(stream);
        writeln!(
            out,
            "{count} records of {rig}, the first of them {first}, differ from those under the same numbers: both are kept, have it looked into"
        )?;
    }
    for (stream, first, count) in &merged.damaged {
        let rig = rig(stream);
        writeln!(
            out,
            "{count} records of {rig}, the first of them {first}, are damaged in {other} and were not taken; {other} stays as it is"
        )?;
    }
    if merged.differing_entries > 0 {
        let differing = merged.differing_entries;
        writeln!(
            out,
            "{differing} entries differ from those under the same numbers: both are kept; somebody went on with a copy of a store"
        )?;
    }
    if merged.unreadable > 0 {
        writeln!(out, "{} measurements in {other} cannot be read: enter them again from the notebook", merged.unreadable)?;
    }
    Ok(())
}

/// Takes all that holds out of a damaged store.
pub fn rescue(old: &Path, new: &Path) -> Result<(), Failure> {
    let found = salvage(old, new)?;
    let mut out = stdout();
    let (old, new) = (shown(old), shown(new));
    let entries = found.entries.saturating_add(found.measurements);
    writeln!(out, "{} records and {entries} entries that hold are in {new}; {old} was not touched", found.slots)?;
    if found.measurements > 0 {
        let old = found.measurements;
        writeln!(out, "{old} of the entries are measurements that do not check themselves: compare them with the notebook")?;
    }
    if found.aside > 0 {
        writeln!(out, "{} records differ from those under the same numbers: both are kept, have it looked into", found.aside)?;
    }
    if let Some((count, file)) = &found.unplaced {
        writeln!(out, "{count} records hold, but nothing says which rig's they are: they are in {}, 32 bytes each", shown(file))?;
    }
    for (stream, first, last) in &found.missing {
        writeln!(out, "records {first} to {last} of {} did not come back: listen to the rig, it may still have them", rig(stream))?;
    }
    if found.entries_cut_short {
        writeln!(out, "some entries cannot be read: compare those in {new} with the notebook, and enter again what is missing")?;
    }
    if found.lost_measurements > 0 {
        writeln!(out, "{} measurements cannot be read: enter them again from the notebook", found.lost_measurements)?;
    }
    Ok(())
}

fn rig(stream: &Stream) -> String {
    format!("rig {}", terminal(&stream.rig))
}

fn shown(path: &Path) -> String {
    terminal(&path.display().to_string())
}
