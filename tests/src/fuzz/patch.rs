//! Slots that are mutated and whose checks are repaired, so that what reads them takes them for sound.

use super::draw::Draw;
use shared_protocol::slot::{BODY_BYTES, CRC, Part, SLOT_BYTES, Slot};

/// Bytes of a slot that its check covers.
const CHECKED: usize = 28;

/// Another slot in the place of this one: some of its fields or its body differ. What is no slot stays as it is. Its
/// sequence changes by multiples of `stride` as a rule, so that it still belongs to its place in a ring of so many.
pub fn slot(bytes: &[u8; SLOT_BYTES], stride: u32, draw: &mut Draw) -> [u8; SLOT_BYTES] {
    let Ok(old) = Slot::check(bytes) else { return *bytes };
    let mut body = old.body().to_vec();
    let (mut sequence, mut boot, mut kind, mut part) = (old.sequence(), old.boot(), old.kind(), old.part());
    match draw.below(9) {
        0 => kind = draw.byte(),
        1 => boot = u16::from(draw.byte()) << 8 | u16::from(draw.byte()),
        2 => {
            let laps = draw.number(0);
            sequence = sequence.wrapping_add(laps.wrapping_mul(stride));
        }
        3 => sequence = draw.number(sequence),
        4 => {
            part.of = 1 + draw.byte() % 16;
            part.index = draw.byte() % part.of;
        }
        _ => draw.mutate(&mut body, 0, BODY_BYTES),
    }
    Slot::build(sequence, boot, kind, part, &body).map_or(*bytes, |slot| *slot.bytes())
}

/// The records of some slots, each with its boot and kind, where its parts are all there.
pub fn records(slots: &[[u8; SLOT_BYTES]]) -> Vec<(u16, u8, Vec<u8>)> {
    let mut assembler = shared_protocol::assemble::Assembler::default();
    let sound = slots.iter().filter_map(|bytes| Slot::check(bytes).ok());
    sound.filter_map(|slot| assembler.push(&slot).map(|whole| (whole.boot, whole.kind, whole.body.to_vec()))).collect()
}

/// A slot's check after its other bytes were changed.
pub fn repair(bytes: &mut [u8; SLOT_BYTES]) {
    let check = CRC.checksum(&bytes[..CHECKED]);
    bytes[CHECKED..].copy_from_slice(&check.to_le_bytes());
}

/// Slots of one part with any body, for what has no sound slot to begin with.
pub fn fresh(sequence: u32, draw: &mut Draw) -> [u8; SLOT_BYTES] {
    let mut body = vec![0; draw.below(BODY_BYTES + 1)];
    body.iter_mut().for_each(|byte| *byte = draw.byte());
    let kind = 1 + draw.byte() % 22;
    Slot::build(sequence, 1, kind, Part::ONLY, &body).map_or([0; SLOT_BYTES], |slot| *slot.bytes())
}
