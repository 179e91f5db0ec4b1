//! A stretch of a stream: its set-ups with what each leans on, and which of them no later record can change.

use super::{Leanings, SetUp, unproven};
use shared_protocol::slot::Slot;
use std::ops::RangeInclusive;

/// A set-up and where it stands.
#[derive(Clone, Debug)]
pub struct Placed {
    /// What it says; digest and seal are not asked.
    pub set_up: SetUp,
    /// The slots beside its own that it leans on: first and last sequence of each row of them.
    pub beside: Vec<(u32, u32)>,
    /// A slot up to this sequence may change what it says, and none behind it; `u32::MAX` where any may. A gap that the rig declares may
    /// lie anywhere. It never falls from one set-up to the next.
    pub until: u32,
}

/// Reads the set-ups of a stream that begin and end within some of its sequences. What else is there, slots in rising sequence, says
/// what they lean on; `until` is that of the set-up before them.
#[must_use]
pub fn stretch(slots: &[Slot], own: RangeInclusive<u32>, mut until: u32) -> Vec<Placed> {
    let end = slots.partition_point(|slot| slot.sequence() <= *own.end());
    let (leanings, here) = (Leanings::of(slots), Leanings::of(slots.get(..end).unwrap_or_default()));
    let set_ups = unproven(slots, own);
    let next: Vec<Option<u32>> = set_ups.iter().skip(1).map(|next| Some(next.opened.sequence)).chain([None]).collect();
    let placed = set_ups.into_iter().zip(next).map(|(set_up, next)| {
        let beside = rows(&leanings.alone(&set_up).beside);
        let last = set_up.slots.last().map_or(0, Slot::sequence);
        // until another begins, a seal or a close may still come
        let settled = next.filter(|_| !here.may_be_told_time(last));
        until = until.max(settled.map_or(u32::MAX, |next| next.max(beside.last().map_or(0, |(_, last)| *last))));
        Placed { set_up, beside, until }
    });
    placed.collect()
}

/// Rows of slots without a gap, by their first and last sequences.
fn rows(slots: &[Slot]) -> Vec<(u32, u32)> {
    let mut rows: Vec<(u32, u32)> = Vec::new();
    for sequence in slots.iter().map(Slot::sequence) {
        match rows.last_mut().filter(|(_, last)| last.checked_add(1) == Some(sequence)) {
            Some((_, last)) => *last = sequence,
            None => rows.push((sequence, sequence)),
        }
    }
    rows
}
