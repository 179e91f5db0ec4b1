//! What must hold when everything has failed and nothing fails any more: nothing is lost unnamed.

use super::ledger::Ledger;
use crate::cuts::oracle::{gaps, spoiled_digests};
use crate::cuts::site::Disk;
use firmware_app::journal::Journal;
use host_tool::facts::SetUp;
use host_tool::store::{Store, StoreFault};
use shared_protocol::record::Gap;
use shared_protocol::slot::Slot;
use shared_protocol::state::GapCause;
use simulator::frail::FrailMemory;

/// Holds memory and stores against the ledger, and says what is wrong.
///
/// # Errors
/// One line: what does not hold.
pub fn holds(ledger: &Ledger, memory: &FrailMemory, stores: [&Store; 2]) -> Result<(), String> {
    if let Some(wrong) = ledger.wrong.first() {
        return Err(wrong.clone());
    }
    let disks = [disk(stores[0])?, disk(stores[1])?];
    for (host, disk) in disks.iter().enumerate() {
        kept(ledger, host, disk)?;
    }
    let mut both = disks[0].clone();
    both.slots.extend(&disks[1].slots);
    named(ledger, &both)?;
    disks.iter().try_for_each(|disk| digests(ledger, disk))?;
    let mut copy = FrailMemory::new(memory.kept(), 0);
    let (held, most) = (Journal::open(&mut copy).held_below(), ledger.hosts.iter().map(|host| host.below).max().unwrap_or(0));
    if held > most {
        return Err(format!("the rig believes that all below {held} is on disk, and no host said more than {most}"));
    }
    Ok(())
}

fn disk(store: &Store) -> Result<Disk, String> {
    read(store).map_err(|fault| fault.to_string())?
}

fn read(store: &Store) -> Result<Result<Disk, String>, StoreFault> {
    let mut disk = Disk::default();
    let streams = store.rigs()?;
    if streams.len() > 1 {
        return Ok(Err(format!("one rig became {}: {streams:?}", streams.len())));
    }
    for stream in streams {
        let held = store.stream(&stream)?;
        if held.aside > 0 || !held.damaged.is_empty() {
            return Ok(Err(format!("{} slots came twice with different bytes, {:?} are damaged on disk", held.aside, held.damaged)));
        }
        disk.slots.extend(held.slots.iter().map(|slot| (slot.sequence(), *slot.bytes())));
    }
    Ok(Ok(disk))
}

/// What a host has is what the rig had, and it has what it acknowledged.
fn kept(ledger: &Ledger, host: usize, disk: &Disk) -> Result<(), String> {
    let other = disk.slots.iter().find(|(sequence, bytes)| ledger.committed.get(sequence) != Some(bytes));
    if let Some((sequence, _)) = other {
        return Err(format!("slot {sequence} on the disk of host {host} is not what the rig's memory held"));
    }
    let acknowledged = &ledger.hosts[host];
    let owed = (0..acknowledged.below).find(|sequence| !disk.slots.contains_key(sequence) && !acknowledged.gone.contains(sequence));
    owed.map_or(Ok(()), |sequence| Err(format!("host {host} acknowledged slot {sequence}, and has it no more")))
}

/// Every hole that was closed and is all there has the digest that the rig gave it, unless a gap names one of its slots
/// that rotted after a host had it: the rig could not read it itself any more.
fn digests(ledger: &Ledger, disk: &Disk) -> Result<(), String> {
    let gaps = gaps(disk);
    let named = |sequence: u32| gaps.iter().any(|gap| (gap.first..=gap.last).contains(&sequence));
    let unread = |hole: &SetUp| hole.slots.iter().map(Slot::sequence).any(|n| ledger.rotted.contains(&n) && named(n));
    let wrong = spoiled_digests(disk).into_iter().find(|hole| !unread(hole));
    wrong.map_or(Ok(()), |hole| {
        Err(format!("the digest of the hole opened with slot {} does not fit, and nothing says why", hole.opened.sequence))
    })
}

/// Whatever no host has is named by a gap, or rotted where everybody can see it.
fn named(ledger: &Ledger, both: &Disk) -> Result<(), String> {
    let gaps = gaps(both);
    let named = |sequence: u32| gaps.iter().find(|gap| (gap.first..=gap.last).contains(&sequence));
    let excused = |gap: &Gap| gap.cause == GapCause::Reclaimed.raw();
    let lost = |sequence: &u32| !both.slots.contains_key(sequence) && !ledger.rotted.contains(sequence);
    if let Some(sequence) = ledger.committed.keys().copied().find(|n| lost(n) && !named(*n).is_some_and(excused)) {
        return Err(format!("slot {sequence} was committed, no host has it, and no gap says that it gave way: {:?}", named(sequence)));
    }
    let end = both.slots.last_key_value().map_or(0, |(last, _)| *last);
    let unnamed = (0..end).find(|n| lost(n) && named(*n).is_none());
    unnamed.map_or(Ok(()), |sequence| Err(format!("slot {sequence} is on no disk, and no gap names it")))
}
