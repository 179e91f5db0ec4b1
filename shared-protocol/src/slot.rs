//! The slot: 32 self-checked bytes, the one form that evidence ever takes.
//!
//! ```text
//!  0        4      6     7      8     9                    28       32
//!  | sequence | boot | kind | part | len | body, zero-filled | CRC-32 |
//! ```
//!
//! `part` holds the index of this part in its low four bits and the number of parts less one in its high four.
//! The check covers bytes 0 to 27 (CRC-32/ISO-HDLC, low byte first).

use crc::{CRC_32_ISO_HDLC, Crc, Table};

/// Bytes of a slot.
pub const SLOT_BYTES: usize = 32;
/// Bytes of a slot's body.
pub const BODY_BYTES: usize = 19;
/// The most parts that one record may take.
pub const PARTS_MAX: usize = 16;
/// The most bytes that one record's body may take.
pub const RECORD_BYTES_MAX: usize = BODY_BYTES * PARTS_MAX;

const CHECKED_BYTES: usize = 28;
const BODY_AT: usize = 9;
/// What the check looks up: a kibibyte on a rig, sixteen on a host, which has the room and checks whole seasons.
#[cfg(target_os = "none")]
type Lookup = Table<1>;
#[cfg(not(target_os = "none"))]
type Lookup = Table<16>;
/// The check of slots, of frames and of whatever else a rig keeps.
pub static CRC: Crc<u32, Lookup> = Crc::<u32, Lookup>::new(&CRC_32_ISO_HDLC);

/// What the check comes to over bytes with their own check behind them, whatever they are: over all 32 it takes two steps of sixteen on
/// a host, where 28 would be one and twelve single ones.
const WHOLE: u32 = CRC_32_ISO_HDLC.residue ^ CRC_32_ISO_HDLC.xorout;

/// Which part of its record a slot is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Part {
    /// 0 for the first.
    pub index: u8,
    /// Parts in all, 1 to 16.
    pub of: u8,
}

impl Part {
    /// A record that fits one slot.
    pub const ONLY: Self = Self { index: 0, of: 1 };

    fn to_byte(self) -> Option<u8> {
        let last = self.of.checked_sub(1)?;
        (last < 16 && self.index <= last).then_some(last << 4 | self.index)
    }

    fn from_byte(byte: u8) -> Option<Self> {
        let (index, last) = (byte & 0x0F, byte >> 4);
        (index <= last).then_some(Self { index, of: last.saturating_add(1) })
    }
}

/// Why 32 bytes are not a slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SlotFault {
    /// Never written: all bytes 0x00 or all 0xFF.
    Blank,
    /// Written, and not what was written.
    Damaged,
}

/// A checked slot. Its bytes are private so that one in hand is always whole.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Slot([u8; SLOT_BYTES]);

impl Slot {
    /// Builds a slot. `None` where the body is too long or the part impossible.
    #[must_use]
    pub fn build(sequence: u32, boot: u16, kind: u8, part: Part, body: &[u8]) -> Option<Self> {
        let mut bytes = [0; SLOT_BYTES];
        let length = u8::try_from(body.len()).ok()?;
        let (head, rest) = bytes.split_at_mut_checked(BODY_AT)?;
        let [s0, s1, s2, s3] = sequence.to_le_bytes();
        let [b0, b1] = boot.to_le_bytes();
        head.copy_from_slice(&[s0, s1, s2, s3, b0, b1, kind, part.to_byte()?, length]);
        let room = rest.get_mut(..BODY_BYTES)?.get_mut(..body.len())?;
        room.iter_mut().zip(body).for_each(|(to, from)| *to = *from);
        let check = CRC.checksum(bytes.get(..CHECKED_BYTES)?);
        bytes.get_mut(CHECKED_BYTES..)?.copy_from_slice(&check.to_le_bytes());
        Some(Self(bytes))
    }

    /// Checks 32 bytes from anywhere.
    ///
    /// # Errors
    /// [`SlotFault::Blank`] where nothing was ever written, [`SlotFault::Damaged`] for everything else that is
    /// not exactly what [`Slot::build`] makes.
    pub fn check(bytes: &[u8; SLOT_BYTES]) -> Result<Self, SlotFault> {
        if bytes.iter().all(|&b| b == 0) || bytes.iter().all(|&b| b == 0xFF) {
            return Err(SlotFault::Blank);
        }
        let slot = Self(*bytes);
        let whole = CRC.checksum(bytes) == WHOLE
            && Part::from_byte(slot.byte(7)).is_some()
            && usize::from(slot.byte(8)) <= BODY_BYTES
            && bytes.get(BODY_AT.saturating_add(slot.body().len())..CHECKED_BYTES).is_some_and(|rest| rest.iter().all(|&b| b == 0));
        if whole { Ok(slot) } else { Err(SlotFault::Damaged) }
    }

    /// The bytes, as they stand in memory, on the cable, in the store and in the attachment.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; SLOT_BYTES] {
        &self.0
    }

    /// Position in the rig's one stream; never used twice within an epoch.
    #[must_use]
    pub fn sequence(&self) -> u32 {
        self.u32_at(0)
    }

    /// Which start of the rig wrote it.
    #[must_use]
    pub fn boot(&self) -> u16 {
        u16::from_le_bytes([self.byte(4), self.byte(5)])
    }

    /// The record's kind, raw: an unknown kind is kept, not refused.
    #[must_use]
    pub fn kind(&self) -> u8 {
        self.byte(6)
    }

    /// Which part of its record.
    #[must_use]
    pub fn part(&self) -> Part {
        Part::from_byte(self.byte(7)).unwrap_or(Part::ONLY)
    }

    /// This part of the record's body.
    #[must_use]
    pub fn body(&self) -> &[u8] {
        self.0.get(BODY_AT..BODY_AT.saturating_add(usize::from(self.byte(8)))).unwrap_or(&[])
    }

    fn byte(&self, at: usize) -> u8 {
        self.0.get(at).copied().unwrap_or(0)
    }

    fn u32_at(&self, at: usize) -> u32 {
        self.0.get(at..).and_then(|rest| rest.first_chunk()).map_or(0, |four| u32::from_le_bytes(*four))
    }
}

impl core::fmt::Debug for Slot {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let Part { index, of } = self.part();
        write!(
            f,
            "slot {} boot {} kind {} part {}/{of} {:02x?}",
            self.sequence(),
            self.boot(),
            self.kind(),
            index.saturating_add(1),
            self.body()
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::{any, prop_assert, prop_assert_eq, proptest};

    #[test]
    fn a_blank_slot_is_not_a_damaged_one() {
        assert_eq!(Slot::check(&[0; 32]), Err(SlotFault::Blank));
        assert_eq!(Slot::check(&[0xFF; 32]), Err(SlotFault::Blank));
        assert_eq!(Slot::check(&[0xA5; 32]), Err(SlotFault::Damaged));
    }

    #[test]
    fn impossible_slots_are_not_built() {
        assert!(Slot::build(1, 1, 1, Part::ONLY, &[0; BODY_BYTES]).is_some());
        assert_eq!(Slot::build(1, 1, 1, Part::ONLY, &[0; BODY_BYTES + 1]), None);
        assert_eq!(Slot::build(1, 1, 1, Part { index: 1, of: 1 }, &[]), None);
        assert_eq!(Slot::build(1, 1, 1, Part { index: 0, of: 17 }, &[]), None);
        assert_eq!(Slot::build(1, 1, 1, Part { index: 0, of: 0 }, &[]), None);
    }

    #[test]
    fn every_single_bit_of_damage_is_seen() {
        let slot = Slot::build(77, 3, 6, Part { index: 2, of: 5 }, b"nineteen bytes here").unwrap();
        for bit in 0..SLOT_BYTES * 8 {
            let mut bytes = *slot.bytes();
            bytes[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Slot::check(&bytes), Err(SlotFault::Damaged), "bit {bit}");
        }
    }

    proptest! {
        #[test]
        fn what_is_built_is_read_back(seq: u32, boot: u16, kind: u8, of in 1u8..=16, body in proptest::collection::vec(any::<u8>(), 0..=BODY_BYTES)) {
            let part = Part { index: of / 2, of };
            let part = if part.index < of { part } else { Part::ONLY };
            let slot = Slot::build(seq, boot, kind, part, &body).unwrap();
            let read = Slot::check(slot.bytes()).unwrap();
            prop_assert_eq!((read.sequence(), read.boot(), read.kind(), read.part(), read.body()), (seq, boot, kind, part, &body[..]));
        }

        #[test]
        fn any_bytes_are_judged_without_panic(bytes: [u8; 32]) {
            prop_assert!(Slot::check(&bytes).is_err()); // 1 in 2^32 would be a whole slot by chance
        }
    }
}
