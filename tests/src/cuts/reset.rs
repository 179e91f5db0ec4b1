//! What must hold after a power cut in a factory reset: the old epoch with everything, or the next with nothing of it.

use super::oracle::{certain, holds};
use super::script::{Cut, KEY, Length, OWN_TOOL, plan, work_on};
use super::site::{Disk, Site};
use host_tool::facts::read;
use host_tool::proof::{Sealing, Signer};
use shared_protocol::message::{Command, LoadHole};
use shared_protocol::record::{Opened, Plan, Start};
use shared_protocol::slot::Slot;
use shared_protocol::state::{Answer, ResetCause};
use simulator::frail::FrailMemory;

/// Takes a cut of [`Length::Reset`] up again on a memory of this seed, works on, and says what is wrong.
///
/// # Errors
/// One line: what does not hold.
pub fn aftermath(cut: &Cut, seed: u64) -> Result<(), String> {
    let memory = FrailMemory::new(cut.image.found.clone(), seed);
    let mut site = Site::with(memory.clone(), Length::Reset.profile(), (*cut.disk).clone(), 1_000);
    if !site.drain() {
        return Err("the rig is never drained".to_owned());
    }
    let (floor, settled) = (floor(&site.disk)?, certain(&cut.image.kept));
    work_on(&mut site); // what may be open is closed
    let owned = site.ask(Command::LoadHole(LoadHole { plan: Plan { tool: OWN_TOOL, ..plan() } }));
    let known = kept(&settled, |slot| slot.kind() == shared_protocol::record::Calibrated::KIND);
    if owned != Some(Answer::Done) {
        if site.disk.epoch == 1 && known {
            return Err(format!("the old epoch has lost its tool: {owned:?}"));
        }
        site.ask(Command::LoadHole(LoadHole { plan: plan() }));
    } else if site.disk.epoch > 1 {
        return Err("the next epoch has the old one's tool".to_owned());
    }
    if work_on(&mut site) != Some(Answer::Done) || !site.drain() {
        return Err("the next hole is not drilled".to_owned());
    }
    let here = |sequence: u32| sequence >= floor;
    let own = settled.iter().filter(|(n, _)| here(**n)).map(|(n, bytes)| (*n, *bytes)).collect();
    holds(&site.disk, &own, floor, cut.power_cuts)?;
    match site.disk.epoch {
        1 => old_epoch(&site.disk, kept(&settled, |slot| slot.kind() == shared_protocol::record::Commissioned::KIND)),
        2 => {
            let old = site.disk.before.get(&1).ok_or("nothing of the old epoch is on disk")?;
            if let Some(lost) = settled.iter().find(|(n, bytes)| !here(**n) && old.get(n) != Some(bytes)) {
                return Err(format!("slot {} of the old epoch is not on disk as it was committed", lost.0));
            }
            next_epoch(&site.disk, floor, &memory.kept())
        }
        other => Err(format!("the rig is in epoch {other}")),
    }
}

/// Where the disk's epoch begins: behind all of the one before, every slot of which is there.
fn floor(disk: &Disk) -> Result<u32, String> {
    let Some(old) = disk.before.get(&1) else { return Ok(0) };
    let floor = old.last_key_value().map_or(0, |(last, _)| last + 1);
    match (0..floor).find(|n| !old.contains_key(n)) {
        Some(lost) => Err(format!("the old epoch is over, and its slot {lost} is on no disk")),
        None => Ok(floor),
    }
}

fn kept(settled: &std::collections::BTreeMap<u32, [u8; 32]>, is: impl Fn(&Slot) -> bool) -> bool {
    settled.values().filter_map(|bytes| Slot::check(bytes).ok()).any(|slot| is(&slot))
}

fn slots(disk: &Disk) -> Vec<Slot> {
    disk.slots.values().filter_map(|bytes| Slot::check(bytes).ok()).collect()
}

/// The last hole is sealed by the rig's own key, where that was recorded before.
fn old_epoch(disk: &Disk, has_key: bool) -> Result<(), String> {
    match read(&slots(disk)).last().map(|setup| setup.sealing) {
        Some(Sealing::Fits(Signer::Unknown, _)) => Ok(()),
        Some(Sealing::NoKey) if !has_key => Ok(()),
        other => Err(format!("the old epoch's next hole is {other:?}")),
    }
}

/// It begins with a start that says so, has only its own slots and no key, and neither does the memory.
fn next_epoch(disk: &Disk, floor: u32, memory: &[u8]) -> Result<(), String> {
    let slots = slots(disk);
    if slots.first().is_none_or(|first| first.sequence() < floor) {
        return Err("a slot of the old epoch came under the next".to_owned());
    }
    let cause = slots.iter().find_map(|slot| Start::decode(slot.body()).filter(|_| slot.kind() == Start::KIND)).map(|start| start.cause);
    if cause != Some(ResetCause::Decommissioned.raw()) {
        return Err(format!("the first start of the epoch has the cause {cause:?}"));
    }
    if slots.iter().filter(|slot| slot.kind() == Opened::KIND).count() == 0 {
        return Err("no hole was opened".to_owned());
    }
    if memory.windows(8).any(|w| KEY.windows(8).any(|k| k == w)) {
        return Err("the memory still has the key".to_owned());
    }
    match read(&slots).last().map(|setup| setup.sealing) {
        Some(Sealing::NoKey) => Ok(()),
        other => Err(format!("the next epoch's hole is {other:?}")),
    }
}
