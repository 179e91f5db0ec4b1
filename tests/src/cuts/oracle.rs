//! What must hold after a power cut, whatever the byte: nothing committed is lost without saying so, and what was closed
//! is sealed.

use super::script::{Cut, plan, work_on};
use super::site::{Disk, RING_AT, Site};
use firmware_app::journal::Journal;
use host_tool::facts::{DigestState, SetUp, read};
use host_tool::proof::{Sealing, SegmentState, Signer};
use shared_protocol::message::{Command, LoadHole};
use shared_protocol::record::{Gap, Opened, Record};
use shared_protocol::slot::Slot;
use shared_protocol::state::{Answer, GapCause};
use simulator::frail::FrailMemory;
use std::collections::BTreeMap;

/// Takes a cut up again on a memory of this seed, works on where that is wanted, and says what is wrong.
///
/// # Errors
/// One line: what does not hold.
pub fn aftermath(cut: &Cut, seed: u64, work: bool) -> Result<(), String> {
    let mut copy = FrailMemory::new(cut.image.found.clone(), seed);
    let held = Journal::open(&mut copy).held_below();
    if held > cut.disk.below {
        return Err(format!("the rig believes that all below {held} is on disk, and it is so below {}", cut.disk.below));
    }
    let memory = FrailMemory::new(cut.image.found.clone(), seed);
    let mut site = Site::start(memory, (*cut.disk).clone(), 1_000);
    if !site.drain() {
        return Err("the rig is never drained".to_owned());
    }
    if work {
        let answer = work_on(&mut site);
        if !matches!(answer, Some(Answer::Done | Answer::NoHoleOpen)) {
            return Err(format!("the hole cannot be closed: {answer:?}"));
        }
        // And one more, whose seal must follow whatever was sealed before.
        let next = (site.ask(Command::LoadHole(LoadHole { plan: plan() })), work_on(&mut site));
        if next != (Some(Answer::Done), Some(Answer::Done)) {
            return Err(format!("the next hole is not drilled: {next:?}"));
        }
        if !site.drain() {
            return Err("the rig is not drained in the end".to_owned());
        }
    }
    holds(&site.disk, &certain(&cut.image.kept), 0, cut.power_cuts)?;
    digests(&site.disk)
}

/// The slots that a memory holds for certain.
pub(super) fn certain(kept: &[u8]) -> BTreeMap<u32, [u8; 32]> {
    let places = kept[RING_AT..].as_chunks::<32>().0.iter();
    places.filter_map(|bytes| Slot::check(bytes).ok()).map(|slot| (slot.sequence(), *slot.bytes())).collect()
}

/// Nothing from this slot of the disk's epoch on is lost without a gap that names it, and nothing that was committed at all.
pub(super) fn holds(disk: &Disk, certain: &BTreeMap<u32, [u8; 32]>, from: u32, power_cuts: u64) -> Result<(), String> {
    if let Some(sequence) = disk.conflicts.first() {
        return Err(format!("slot {sequence} came twice with different bytes"));
    }
    let gaps = gaps(disk);
    let named = |sequence: u32| gaps.iter().find(|gap| (gap.first..=gap.last).contains(&sequence));
    for (sequence, bytes) in certain {
        match disk.slots.get(sequence) {
            Some(there) if there == bytes => {}
            Some(_) => return Err(format!("slot {sequence} is on disk otherwise than it was committed")),
            None if named(*sequence).is_some_and(|gap| gap.cause == GapCause::Reclaimed.raw()) => {}
            None => return Err(format!("slot {sequence} was committed, is not on disk, and no gap says that it gave way")),
        }
    }
    let end = disk.slots.last_key_value().map_or(0, |(last, _)| *last);
    if let Some(lost) = (from..end).find(|n| !disk.slots.contains_key(n) && named(*n).is_none()) {
        return Err(format!("slot {lost} is not on disk, and no gap names it"));
    }
    let torn: u64 = gaps.iter().filter(|gap| gap.cause == GapCause::Torn.raw()).map(|gap| u64::from(gap.last - gap.first) + 1).sum();
    if torn > power_cuts {
        return Err(format!("{power_cuts} power cuts tore {torn} slots"));
    }
    Ok(())
}

/// The gaps that the rig declared.
pub fn gaps(disk: &Disk) -> Vec<Gap> {
    let slots = disk.slots.values().filter_map(|bytes| Slot::check(bytes).ok());
    slots.filter_map(|slot| if let Ok(Record::Gap(gap)) = Record::decode(slot.kind(), slot.body()) { Some(gap) } else { None }).collect()
}

/// Holes that were closed and are all there, and have not the digest that the rig gave them.
pub fn spoiled_digests(disk: &Disk) -> Vec<SetUp> {
    let slots: Vec<Slot> = disk.slots.values().filter_map(|bytes| Slot::check(bytes).ok()).collect();
    read(&slots).into_iter().filter(|setup| setup.missing.is_empty() && setup.digest == DigestState::Differs).collect()
}

/// Every hole that was closed and is all there has the digest that the rig gave it, and every one that was closed a seal
/// that fits, unless that gave way.
fn digests(disk: &Disk) -> Result<(), String> {
    let slots: Vec<Slot> = disk.slots.values().filter_map(|bytes| Slot::check(bytes).ok()).collect();
    for setup in read(&slots) {
        let wrong = |what: String| Err(format!("{what} of the hole opened with slot {}", setup.opened.sequence));
        let whole = setup.missing.is_empty();
        let bad = |state: SegmentState| state == SegmentState::Differs || whole && state == SegmentState::Lacking;
        let segment = setup.segments.iter().find(|segment| bad(segment.state));
        if let Some(segment) = segment {
            return wrong(format!("the segment up to {} does not fit, {:?},", segment.to, segment.state));
        }
        let Some(closed) = &setup.closed else { continue };
        match setup.sealing {
            Sealing::Fits(Signer::Simulated, _) => {}
            Sealing::Absent if given_way(&slots, closed.sequence) => {}
            other => return wrong(format!("the seal is {other:?},")),
        }
    }
    Ok(())
}

/// Whether slots are not there between a closing record and the next hole.
fn given_way(slots: &[Slot], closed: u32) -> bool {
    let behind: Vec<&Slot> = slots.iter().skip_while(|s| s.sequence() < closed).take_while(|s| s.kind() != Opened::KIND).collect();
    let reaches = behind.len() == slots.iter().filter(|s| s.sequence() >= closed).count();
    let unbroken = behind.windows(2).all(|pair| pair[0].sequence() + 1 == pair[1].sequence());
    !unbroken && !reaches
}
