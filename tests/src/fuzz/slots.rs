//! Slots and the records that they make, as a host reads them out of a store: assembled, proven, judged.

use super::{Draw, Outcome, Target, about, memory, patch, vectors};
use host_tool::doubts::Doubts;
use host_tool::facts::{SetUp, read};
use host_tool::judge::judge;
use shared_protocol::assemble::{Assembler, slots as split};
use shared_protocol::record::Record;
use shared_protocol::slot::{CRC, RECORD_BYTES_MAX, SLOT_BYTES, Slot};
use std::collections::BTreeSet;

/// Slots of an input at most.
const SLOTS_MAX: usize = 400;

/// A stream of slots, as a store gives it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Slots;

impl Target for Slots {
    const NAME: &'static str = "slots";

    fn seeds(&self) -> Vec<Vec<u8>> {
        let all: Vec<u8> = vectors(include_str!("../../../shared-protocol/vectors/slots.txt")).flatten().collect();
        let rings = memory::images().into_iter().map(|(_, image)| {
            let mut ring: Vec<_> = image[memory::RING_AT..].as_chunks::<SLOT_BYTES>().0.to_vec();
            ring.retain(|bytes| Slot::check(bytes).is_ok());
            ring.sort_by_key(|bytes| Slot::check(bytes).map_or(0, |slot| slot.sequence()));
            ring.concat()
        });
        rings.chain([all]).filter(|seed| !seed.is_empty()).collect()
    }

    fn mutate(&self, input: &[u8], other: &[u8], draw: &mut Draw) -> Vec<u8> {
        let mut slots = input.as_chunks::<SLOT_BYTES>().0.to_vec();
        let other = other.as_chunks::<SLOT_BYTES>().0;
        for _ in 0..=draw.below(3) {
            let at = draw.below(slots.len());
            match draw.below(8) {
                0 if !slots.is_empty() => drop(slots.remove(at)),
                1 if !other.is_empty() => slots.insert(at, other[draw.below(other.len())]),
                2 if !slots.is_empty() => {
                    let with = draw.below(slots.len());
                    slots.swap(at, with);
                }
                3 => slots.insert(at, patch::fresh(draw.number(0), draw)),
                4 | 5 => record(&mut slots, draw),
                _ if !slots.is_empty() => slots[at] = patch::slot(&slots[at], 1, draw),
                _ => {}
            }
        }
        slots.truncate(SLOTS_MAX);
        slots.concat()
    }

    fn run(&mut self, input: &[u8]) -> Result<Outcome, String> {
        let sound: Vec<Slot> = input.as_chunks::<SLOT_BYTES>().0.iter().filter_map(|bytes| Slot::check(bytes).ok()).collect();
        for slot in &sound {
            let again = Slot::build(slot.sequence(), slot.boot(), slot.kind(), slot.part(), slot.body());
            if again != Some(*slot) {
                return Err(format!("{slot:?} is read and not what is built of that"));
            }
        }
        let kinds = records(&sound)?;
        // As a store gives them: in order, each number once.
        let mut sound = sound;
        sound.sort_by_key(Slot::sequence);
        sound.dedup_by_key(|slot| slot.sequence());
        // Judging takes a hundred times as long as all else: one in eight, the same ones whenever they are read.
        let judged = CRC.checksum(input).is_multiple_of(8);
        let setups: Vec<_> = read(&sound).iter().map(|setup| told(setup, judged)).collect();
        Ok(Outcome::of(!kinds.is_empty(), &(kinds, setups, about(sound.len()))))
    }
}

/// A record of the stream with its body mutated, in as many parts as it then takes, in the place of its slots.
fn record(slots: &mut Vec<[u8; SLOT_BYTES]>, draw: &mut Draw) {
    let wholes = patch::records(slots);
    if wholes.is_empty() {
        return;
    }
    let (boot, kind, mut body) = wholes[draw.below(wholes.len())].clone();
    draw.mutate(&mut body, 0, RECORD_BYTES_MAX);
    let place = slots.iter().position(|bytes| Slot::check(bytes).is_ok_and(|s| s.kind() == kind && s.part().index == 0)).unwrap_or(0);
    let first = slots.get(place).and_then(|bytes| Slot::check(bytes).ok());
    let parts = split(first.map_or(0, |slot| slot.sequence()), boot, kind, &body).unwrap_or_default();
    let was = first.map_or(0, |slot| usize::from(slot.part().of)).min(slots.len() - place);
    slots.splice(place..place + was, parts.iter().map(|slot| *slot.bytes()));
}

/// What each record came to: those that are read are written and read again.
fn records(slots: &[Slot]) -> Result<BTreeSet<(u8, bool)>, String> {
    let (mut assembler, mut kinds) = (Assembler::default(), BTreeSet::new());
    for slot in slots {
        let Some(whole) = assembler.push(slot) else { continue };
        let record = Record::decode(whole.kind, whole.body);
        kinds.insert((whole.kind, record.is_ok()));
        let Ok(record) = record else { continue };
        let mut body = [0; RECORD_BYTES_MAX];
        // A body may be written shorter than it came, never longer than fits.
        let used = record.encode(&mut body).ok_or_else(|| format!("{record:?} is read and cannot be written"))?;
        if Record::decode(record.kind(), &body[..used]).as_ref() != Ok(&record) {
            return Err(format!("{record:?} is read, written, and read otherwise"));
        }
    }
    Ok(kinds)
}

/// What could be told of a set-up.
fn told(setup: &SetUp, judged: bool) -> impl std::hash::Hash + use<> {
    let judged = judged.then(|| judge(setup));
    let verdicts = judged.iter().flat_map(|judged| &judged.verdicts);
    let standings: Vec<String> = verdicts.map(|v| format!("{:?}{:?}", v.plain, v.limit.measurand)).collect();
    let counts = [setup.increments.len(), setup.missing.len(), setup.unknown, setup.malformed].map(about);
    let doubts = Doubts::of(setup).reasons.len();
    (standings, counts, doubts, format!("{:?} {:?}", setup.digest, setup.sealing))
}
