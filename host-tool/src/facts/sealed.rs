//! The digests and seals of a stream's set-ups, each proven with what stands before it.

use super::{DigestState, SetUp, records};
use crate::proof::{Earlier, Sealing, SegmentState, Stated, check, segments};
use rayon::prelude::*;
use shared_protocol::chain::End;
use shared_protocol::record::{Closed, Record, Unsealed};
use shared_protocol::slot::Slot;
use shared_protocol::state::UnsealedCause;

/// What the rig says of not sealing.
pub fn unsealed(body: &Unsealed) -> Sealing {
    match UnsealedCause::from_raw(body.cause) {
        Some(UnsealedCause::NoKey) => Sealing::NoKey,
        Some(UnsealedCause::Refused) => Sealing::Refused,
        None => Sealing::Absent,
    }
}

/// Proves every set-up of a stream, on as many processors as there are: a signature takes as long as all else of a hole.
pub fn prove(setups: &mut [SetUp], stream: &[Slot]) {
    let named = named_keys(stream);
    setups.par_iter_mut().for_each(|setup| prove_one(setup, &named, stream));
}

fn prove_one(setup: &mut SetUp, named: &[(u32, Record)], stream: &[Slot]) {
    let Some((closed, end)) = setup.closed.as_ref().map(|c| (c.sequence, End::from(&c.body))) else { return };
    let own = |slots: &[Slot], sequence: u32| slots.partition_point(|slot| slot.sequence() < sequence);
    let before = setup.slots.get(..own(&setup.slots, closed)).unwrap_or(&[]);
    let ends: Vec<Stated> = setup.checkpoints.iter().copied().chain([Stated { at: closed, end }]).collect();
    setup.segments = segments(before, &ends);
    setup.digest = digest(&setup.segments);
    let Some(seal) = &setup.seal else {
        let said = matches!(setup.sealing, Sealing::NoKey | Sealing::Refused);
        setup.sealing = if said { setup.sealing } else { Sealing::Absent };
        return;
    };
    let closing: Vec<Slot> = setup.slots.iter().filter(|s| s.sequence() >= closed && s.kind() == Closed::KIND).copied().collect();
    let earlier = earlier(named, stream, seal.sequence);
    let checked = check(&seal.body, setup.opened.sequence, setup.identity.as_ref(), &end, &closing, &earlier);
    setup.sealing = checked.map_or_else(Sealing::Unfit, |(signer, before)| Sealing::Fits(signer, before));
}

fn digest(segments: &[crate::proof::Segment]) -> DigestState {
    let any = |state| segments.iter().any(|segment| segment.state == state);
    match (any(SegmentState::Differs), any(SegmentState::Lacking)) {
        (true, _) => DigestState::Differs,
        (false, true) => DigestState::Lacking,
        (false, false) => DigestState::Fits,
    }
}

/// Every record that names a key, in order, with the sequence of its first slot.
fn named_keys(stream: &[Slot]) -> Vec<(u32, Record)> {
    records(stream).filter(|(_, record)| matches!(record, Record::Seal(_) | Record::Commissioned(_))).collect()
}

/// What stands before the seal at this sequence. A rig's stream has a seal for every hole: all that were before must not be gone through
/// for each.
fn earlier(named: &[(u32, Record)], stream: &[Slot], sequence: u32) -> Earlier {
    let before = named.get(..named.partition_point(|(at, _)| *at < sequence)).unwrap_or(&[]);
    let Some((last, record)) = before.last() else { return Earlier::default() };
    let seal = before.iter().rev().find_map(|(_, record)| if let Record::Seal(seal) = record { Some(*seal) } else { None });
    let key = match record {
        Record::Seal(seal) => Some(seal.key),
        Record::Commissioned(commissioned) => Some(commissioned.key),
        _ => None,
    };
    let place = |sequence: u32| stream.partition_point(|slot| slot.sequence() < sequence);
    let there = u32::try_from(place(sequence).saturating_sub(place(*last))).unwrap_or(u32::MAX);
    Earlier { seal, key, broken: there < sequence.saturating_sub(*last) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::assemble::slots;
    use shared_protocol::record::{Commissioned, Increment, Seal};
    use shared_protocol::slot::RECORD_BYTES_MAX;

    fn sealed(number: u32, key: u8) -> Record {
        Record::Seal(Seal { number, key: [key; 32], ..Seal::default() })
    }

    fn commissioned(key: u8) -> Record {
        Record::Commissioned(Commissioned { key: [key; 32], ..Commissioned::default() })
    }

    #[test]
    fn before_a_seal_stand_the_last_seal_and_the_last_key_and_whether_all_is_in_hand_since() {
        let mut stream: Vec<Slot> = Vec::new();
        let mut begins = Vec::new();
        for record in [sealed(0, 1), sealed(1, 1), commissioned(2), Record::Increment(Increment::default()), sealed(2, 2), sealed(3, 2)] {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = record.encode(&mut body).unwrap();
            begins.push(stream.last().map_or(0, |slot| slot.sequence() + 1));
            stream.extend(slots(begins[begins.len() - 1], 1, record.kind(), &body[..used]).unwrap());
        }
        let before = |stream: &[Slot], sequence| {
            let Earlier { seal, key, broken } = earlier(&named_keys(stream), stream, sequence);
            (seal.map(|seal| seal.number), key.map(|key| key[0]), broken)
        };
        assert_eq!(before(&stream, begins[0]), (None, None, false));
        assert_eq!(before(&stream, begins[1]), (Some(0), Some(1), false));
        assert_eq!(before(&stream, begins[4]), (Some(1), Some(2), false));
        assert_eq!(before(&stream, begins[5]), (Some(2), Some(2), false));
        stream.retain(|slot| slot.sequence() != begins[3]);
        assert_eq!(before(&stream, begins[4]), (Some(1), Some(2), true));
        assert_eq!(before(&stream, begins[5]), (Some(2), Some(2), false));
    }
}
