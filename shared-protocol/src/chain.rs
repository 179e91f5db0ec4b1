//! The running digest over a set-up: segments of slots, each with its own SHA-256, folded one after the other.
//!
//! ```text
//!  S(k) = SHA-256 over the slots of segment k            D(0) = 32 zero bytes
//!  D(k) = SHA-256 over DOMAIN, D(k − 1), S(k)
//! ```
//!
//! A [`Checkpoint`], the closing record and the seal each end a segment and say its [`End`]. Both D(k − 1) and S(k) stand
//! there, not their D(k) alone: a segment that lost slots is then still folded by what is said of it, so that all others
//! keep their proof; and since an end says where its segment begins, a lost checkpoint spoils only the segment that its
//! slots are in.

use crate::record::{Checkpoint, Closed};
use crate::slot::Slot;
use sha2::{Digest as _, Sha256};

/// Slots of a segment after which it is ended as soon as a record is whole.
pub const SEGMENT_SLOTS: u32 = 128;
/// Comes before everything that is folded, so that it is never taken for something else that is hashed.
pub const DOMAIN: &[u8; 20] = b"borewitness digest 0";

/// A SHA-256.
pub type Sum = [u8; 32];

/// D(k) of D(k − 1) and S(k).
#[must_use]
pub fn fold(before: &Sum, segment: &Sum) -> Sum {
    let mut hash = Sha256::new();
    hash.update(DOMAIN);
    hash.update(before);
    hash.update(segment);
    hash.finalize().into()
}

/// What is said at the end of a segment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct End {
    /// Slots of the set-up before the segment.
    pub from: u32,
    /// Slots of the set-up up to its end.
    pub slots: u32,
    /// The digest before it.
    pub before: Sum,
    /// SHA-256 over its slots.
    pub segment: Sum,
}

impl End {
    /// The digest with the segment.
    #[must_use]
    pub fn digest(&self) -> Sum {
        fold(&self.before, &self.segment)
    }
}

impl From<&Checkpoint> for End {
    fn from(checkpoint: &Checkpoint) -> Self {
        let Checkpoint { from, slots, before, segment, .. } = *checkpoint;
        Self { from, slots, before, segment }
    }
}

impl From<&Closed> for End {
    fn from(closed: &Closed) -> Self {
        let Closed { from, slots, before, segment, .. } = *closed;
        Self { from, slots, before, segment }
    }
}

/// The digest as it runs.
#[derive(Clone, Debug)]
pub struct Chain {
    from: u32,
    slots: u32,
    before: Sum,
    hash: Sha256,
}

impl Default for Chain {
    fn default() -> Self {
        Self::after(&End::default(), [0; 32])
    }
}

impl Chain {
    fn after(end: &End, before: Sum) -> Self {
        Self { from: end.slots, slots: end.slots, before, hash: Sha256::new() }
    }

    /// Goes on behind the end of a segment.
    #[must_use]
    pub fn behind(end: &End) -> Self {
        Self::after(end, end.digest())
    }

    /// Takes the next slot.
    pub fn push(&mut self, slot: &Slot) {
        self.slots = self.slots.saturating_add(1);
        self.hash.update(slot.bytes());
    }

    /// Slots so far.
    #[must_use]
    pub const fn slots(&self) -> u32 {
        self.slots
    }

    /// Whether the segment is long enough to be ended.
    #[must_use]
    pub const fn is_due(&self) -> bool {
        self.slots.saturating_sub(self.from) >= SEGMENT_SLOTS
    }

    /// The end of the segment, if it ended here.
    #[must_use]
    pub fn end(&self) -> End {
        End { from: self.from, slots: self.slots, before: self.before, segment: self.hash.clone().finalize().into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::slot::Part;

    fn slot(sequence: u32) -> Slot {
        Slot::build(sequence, 1, 6, Part::ONLY, b"made of new depth").unwrap()
    }

    #[test]
    fn a_chain_that_goes_on_behind_an_end_says_what_one_that_never_stopped_says() {
        let mut whole = Chain::default();
        (0..SEGMENT_SLOTS).for_each(|n| whole.push(&slot(n)));
        assert!(whole.is_due());
        let end = whole.end();
        let mut next = Chain::behind(&end);
        assert!(!next.is_due());
        next.push(&slot(SEGMENT_SLOTS));
        let mut one = Sha256::new();
        one.update(slot(SEGMENT_SLOTS).bytes());
        let last = next.end();
        assert_eq!((last.from, last.slots, last.before), (SEGMENT_SLOTS, SEGMENT_SLOTS + 1, end.digest()));
        assert_eq!(last.segment[..], one.finalize()[..], "a segment's own SHA-256 is that of its slots and of nothing else");
    }

    #[test]
    fn folding_is_sha_256_over_the_domain_and_both_sums() {
        let mut hash = Sha256::new();
        hash.update([&DOMAIN[..], &[1; 32], &[2; 32]].concat());
        assert_eq!(fold(&[1; 32], &[2; 32])[..], hash.finalize()[..]);
        assert_ne!(fold(&[1; 32], &[2; 32]), fold(&[2; 32], &[1; 32]));
    }
}
