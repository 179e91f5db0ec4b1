//! The fuzzers' chance, and what it does to bytes: figures at the ends of their ranges more often than others.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// A stream of draws from a seed.
#[derive(Clone, Debug)]
pub struct Draw(Pcg32);

impl Draw {
    /// The same seed draws the same.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(Pcg32::seed_from_u64(seed))
    }

    /// From 0 up to, but never, `bound`; 0 where that is 0.
    pub fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.0.next_u32()).unwrap_or(0).checked_rem(bound).unwrap_or(0)
    }

    /// True once in `of` times.
    pub fn once_in(&mut self, of: usize) -> bool {
        self.below(of) == 0
    }

    /// Any byte.
    pub fn byte(&mut self) -> u8 {
        let edges = [0, 1, 0x7F, 0x80, 0xFE, 0xFF];
        if self.once_in(3) { edges[self.below(edges.len())] } else { self.0.next_u32().to_le_bytes()[0] }
    }

    /// Any number, often one near `near` or near an end of the range.
    pub fn number(&mut self, near: u32) -> u32 {
        let small = u32::try_from(self.below(300)).unwrap_or(0);
        match self.below(6) {
            0 => small,
            1 => u32::MAX - small,
            2 => near.wrapping_add(small),
            3 => near.wrapping_sub(small),
            4 => near.wrapping_add(1),
            _ => self.0.next_u32(),
        }
    }

    /// Mutates bytes behind the first `keep`; they get no longer than `max`.
    pub fn mutate(&mut self, bytes: &mut Vec<u8>, keep: usize, max: usize) {
        for _ in 0..=self.below(4) {
            let at = keep + self.below(bytes.len().saturating_sub(keep).max(1));
            let byte = self.byte();
            match self.below(5) {
                0 if at < bytes.len() => bytes[at] ^= 1 << self.below(8),
                1 | 2 if at < bytes.len() => bytes[at] = byte,
                3 => bytes.truncate(at.max(keep)),
                _ if bytes.len() < max => bytes.insert(at.min(bytes.len()), byte),
                _ => {}
            }
        }
    }
}
