//! The calibrations in force and the key to seal with, kept outside the ring in two copies that are written in turn.
//!
//! ```text
//!  0        4        6                38           70           102                     102 + n      106 + n
//!  | number | n, u16 | SHA-256 of the  | secret key | public key | n bytes of items, each | CRC-32 of  |
//!  | u32    |        | copy before     | or zeros   | or zeros   | with its length first  | all before |
//! ```
//!
//! The SHA-256 of a copy is over all of it but its check. Copy `number` stands at place `number mod 2`, so the newest is
//! never written over; numbers come round, and the newest is the one that follows the other. A power cut leaves the new copy whole or not: where its check fails, the one before is in force;
//! where neither is sound, the profile as it is.

use crate::memory::Memory;
use crate::profile::{Profile, TOOLS};
use heapless::Vec;
use sha2::{Digest, Sha256};
use shared_protocol::body::Secret;
use shared_protocol::record::{Calibration, STAMPS_MAX, Stamp};
use shared_protocol::slot::CRC;
use shared_protocol::state::CalibrationItem;

/// Where the two copies stand: between the marks and the ring.
const PLACES: [u32; 2] = [512, 2_304];
/// Room for each, and what of both is blanked in one go.
const COPY_BYTES: u32 = 1_792;
const BLANK_BYTES: u32 = 64;
const HEAD_BYTES: usize = 102;
/// The most that one item takes with its length: its texts full, its figures at the ends of their ranges.
const ITEM_BYTES: usize = 55;
const TABLE_BYTES: usize = 120;
/// Room for an encoder table, five other items and every tool.
const ITEMS_BYTES: usize = TABLE_BYTES + ITEM_BYTES * (5 + TOOLS);
const _: () = assert!(HEAD_BYTES + ITEMS_BYTES + 4 <= COPY_BYTES as usize, "the copies have room between the marks and the ring");
const _: () = assert!((COPY_BYTES * 2).is_multiple_of(BLANK_BYTES), "all of both copies is blanked");

/// Items one behind the other, each with its length before it, in the order of their kinds and of their tools' numbers.
type Items = Vec<u8, ITEMS_BYTES>;

/// A key to seal with, all zeros where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Key {
    /// The secret half, which never leaves the rig.
    pub secret: Secret,
    /// The public half.
    pub public: [u8; 32],
}

/// The configuration in force.
#[derive(Debug, Default)]
pub struct Config {
    number: u32,
    /// SHA-256 of the copy in force; what stands in the next one.
    digest: [u8; 32],
    key: Key,
    items: Items,
    /// The board's own profile, so that one digest covers both.
    base: [u8; 8],
}

impl Config {
    /// No calibrations yet, over a board's profile.
    #[must_use]
    pub fn over(profile: &Profile) -> Self {
        Self { base: profile.digest(), ..Self::default() }
    }

    /// Takes the newest sound copy, or none. In place, since there is little stack to pass it through.
    pub fn load<M: Memory>(&mut self, memory: &mut M) {
        let _ = self.load_one(memory, false) || self.load_one(memory, true); // none: as it is without calibrations
    }

    /// Takes the copy that says to be the newest, or the older one; `false`, and there are none, where it is not sound. A
    /// copy that is not sound may say anything: so both are tried, the newest first. Of two neighbours over the wrap the newest
    /// is the lesser number.
    #[inline(never)]
    pub(crate) fn load_one<M: Memory>(&mut self, memory: &mut M, older: bool) -> bool {
        let [even, odd] = PLACES;
        let mut number = |at: u32| {
            let mut bytes = [0; 4];
            memory.read(at, &mut bytes).map_or(0, |()| u32::from_le_bytes(bytes))
        };
        let odd_is_newest = number(odd).wrapping_sub(number(even)) < u32::MAX / 2;
        self.read(memory, if odd_is_newest == older { even } else { odd }).is_some()
    }

    /// How many copies there have been; comes round.
    #[must_use]
    pub const fn copies(&self) -> u32 {
        self.number
    }

    /// The calibrations in force.
    pub fn calibrations(&self) -> impl Iterator<Item = Calibration> {
        raw(&self.items).filter_map(Calibration::decode)
    }

    /// What is known of each, without tools: they say who they are in a record of their own.
    #[must_use]
    pub fn stamps(&self) -> Vec<Stamp, STAMPS_MAX> {
        let tool = CalibrationItem::Tool.raw();
        let mut stamps = Vec::new();
        for calibration in self.calibrations().filter(|c| c.item != tool) {
            let _ = stamps.push(Stamp::from(calibration)); // full: there are no more kinds
        }
        stamps
    }

    /// First eight bytes of the SHA-256 over the board's profile and the calibrations in force; no key is in it.
    #[must_use]
    pub fn configuration(&self) -> [u8; 8] {
        let mut hash = Sha256::new();
        hash.update(self.base);
        hash.update(&self.items);
        let digest: [u8; 32] = hash.finalize().into();
        digest.first_chunk().copied().unwrap_or_default()
    }

    /// The key to seal with, where the rig was commissioned.
    #[must_use]
    pub fn key(&self) -> Option<Key> {
        (self.key != Key::default()).then_some(self.key)
    }

    /// Keeps a key in place of the one before. In force at once; `false`, and nothing has changed, where the memory did not
    /// do as told.
    #[inline(never)]
    pub fn take_key<M: Memory>(&mut self, memory: &mut M, key: Key) -> bool {
        self.key = key;
        let kept = self.put(memory).is_some();
        if !kept {
            self.load(memory);
        }
        kept
    }

    /// Keeps a calibration in place of the one of its kind. In force at once; `false`, and nothing has changed, where
    /// the memory did not do as told or there is no room.
    #[inline(never)]
    pub fn take<M: Memory>(&mut self, memory: &mut M, calibration: &Calibration) -> bool {
        let kept = self.replace(calibration).and_then(|()| self.put(memory)).is_some();
        if !kept {
            self.load(memory);
        }
        kept
    }

    /// Puts the configuration before the last one in force again, as a copy of its own.
    pub fn put_back<M: Memory>(&mut self, memory: &mut M) {
        let (number, digest) = (self.number, self.digest);
        let _ = self.read(memory, place(number.wrapping_add(1))); // nothing sound there: there was none before
        (self.number, self.digest) = (number, digest);
        let _ = self.put(memory); // a memory that fails now has failed before
    }

    /// Writes what is in force as the next copy.
    fn put<M: Memory>(&mut self, memory: &mut M) -> Option<()> {
        self.number = self.number.wrapping_add(1);
        let head = self.head()?;
        let place = place(self.number);
        let body_at = place.checked_add(u32::try_from(HEAD_BYTES).ok()?)?;
        let check_at = body_at.checked_add(u32::try_from(self.items.len()).ok()?)?;
        memory.barrier().ok()?;
        memory.write(place, &head).ok()?;
        memory.write(body_at, &self.items).ok()?;
        memory.barrier().ok()?;
        memory.write(check_at, &check(&head, &self.items)).ok()?;
        memory.barrier().ok()?;
        self.digest = digest(&head, &self.items);
        Some(())
    }

    /// Reads the copy at a place and returns its number; nothing is left, and `None`, where it is not sound or does not
    /// belong there.
    #[inline(never)]
    fn read<M: Memory>(&mut self, memory: &mut M, at: u32) -> Option<u32> {
        let number = self.read_whole(memory, at);
        self.number = number.unwrap_or(0);
        if number.is_none() {
            self.items.clear();
            self.key = Key::default();
            self.digest = [0; 32];
        }
        number
    }

    fn read_whole<M: Memory>(&mut self, memory: &mut M, at: u32) -> Option<u32> {
        let mut head = [0; HEAD_BYTES];
        memory.read(at, &mut head).ok()?;
        let (number, rest) = head.split_first_chunk::<4>()?;
        let (length, rest) = rest.split_first_chunk::<2>()?;
        let (_, rest) = rest.split_first_chunk::<32>()?;
        let (secret, rest) = rest.split_first_chunk::<32>()?;
        self.key = Key { secret: Secret(*secret), public: *rest.first_chunk()? };
        let (number, length) = (u32::from_le_bytes(*number), u16::from_le_bytes(*length));
        self.items.resize(length.into(), 0).ok()?;
        let body_at = at.checked_add(u32::try_from(HEAD_BYTES).ok()?)?;
        memory.read(body_at, &mut self.items).ok()?;
        let mut have = [0; 4];
        memory.read(body_at.checked_add(length.into())?, &mut have).ok()?;
        self.digest = digest(&head, &self.items);
        (have == check(&head, &self.items) && place(number) == at).then_some(number)
    }

    /// Puts a calibration in its place among the items, instead of the one with the same key.
    fn replace(&mut self, calibration: &Calibration) -> Option<()> {
        let mut new = [0; TABLE_BYTES];
        let used = calibration.encode(&mut new)?;
        let (mut at, mut old) = (0usize, 0usize);
        for item in raw(&self.items) {
            // One that only a later version can read stays where it is: last.
            let here = Calibration::decode(item).map_or((u8::MAX, 0), |c| key(&c));
            let bytes = item.len().saturating_add(1);
            if here >= key(calibration) {
                old = if here == key(calibration) { bytes } else { 0 };
                break;
            }
            at = at.saturating_add(bytes);
        }
        let from_here = self.items.get_mut(at..).filter(|items| old <= items.len())?;
        from_here.rotate_left(old);
        self.items.truncate(self.items.len().saturating_sub(old));
        self.items.push(u8::try_from(used).ok()?).ok()?;
        self.items.extend_from_slice(new.get(..used)?).ok()?;
        let new = used.saturating_add(1);
        let from_here = self.items.get_mut(at..).filter(|items| new <= items.len())?;
        from_here.rotate_right(new);
        Some(())
    }

    fn head(&self) -> Option<[u8; HEAD_BYTES]> {
        let mut head = [0; HEAD_BYTES];
        let (number, rest) = head.split_first_chunk_mut::<4>()?;
        let (length, previous) = rest.split_first_chunk_mut::<2>()?;
        *number = self.number.to_le_bytes();
        *length = u16::try_from(self.items.len()).ok()?.to_le_bytes();
        let (previous, rest) = previous.split_first_chunk_mut::<32>()?;
        let (secret, public) = rest.split_first_chunk_mut::<32>()?;
        *previous = self.digest;
        *secret = self.key.secret.0;
        public.copy_from_slice(&self.key.public);
        Some(head)
    }
}

/// Blanks some of both copies, key and all, from this byte of them on, and returns from where on to go on; `None` where that
/// was the last. What the memory refuses is found by [`is_blank`].
#[inline(never)]
pub(crate) fn blank<M: Memory>(memory: &mut M, from: u32, bytes: u32) -> Option<u32> {
    let [start, _] = PLACES;
    let end = COPY_BYTES.saturating_mul(2).min(from.saturating_add(bytes));
    let mut at = from;
    while at < end {
        let _ = memory.write(start.saturating_add(at), &[0; BLANK_BYTES as usize]);
        at = at.saturating_add(BLANK_BYTES);
    }
    let _ = memory.barrier();
    (end < COPY_BYTES.saturating_mul(2)).then_some(end)
}

/// Whether neither copy can be one, nor hold a key.
#[inline(never)]
pub(crate) fn is_blank<M: Memory>(memory: &mut M) -> bool {
    PLACES.iter().all(|&at| {
        let mut head = [1; HEAD_BYTES];
        memory.read(at, &mut head).is_ok() && head.iter().all(|byte| *byte == 0)
    })
}

/// Where the copy of this number stands.
fn place(number: u32) -> u32 {
    let [even, odd] = PLACES;
    if number.is_multiple_of(2) { even } else { odd }
}

fn check(head: &[u8], items: &[u8]) -> [u8; 4] {
    let mut check = CRC.digest();
    check.update(head);
    check.update(items);
    check.finalize().to_le_bytes()
}

fn digest(head: &[u8], items: &[u8]) -> [u8; 32] {
    Sha256::new().chain_update(head).chain_update(items).finalize().into()
}

/// Each item's bytes. Ends where a length leads beyond the end.
fn raw(items: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = items;
    core::iter::from_fn(move || {
        let (length, behind) = rest.split_first()?;
        let (item, behind) = behind.split_at_checked(usize::from(*length))?;
        rest = behind;
        Some(item)
    })
}

/// What decides an item's place, and which one it takes the place of: its kind, and a tool's number.
fn key(calibration: &Calibration) -> (u8, i32) {
    let tool = calibration.item == CalibrationItem::Tool.raw();
    (calibration.item, if tool { calibration.values.first().copied().unwrap_or(0) } else { 0 })
}

#[cfg(test)]
mod tests;
