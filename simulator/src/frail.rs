//! A non-volatile memory that loses power: in the middle of a write, with what no barrier has settled yet in any state.

use crate::chance::{Chance, Drawer};
use firmware_app::memory::Memory;
use std::sync::{Arc, Mutex, PoisonError};

/// The memory does nothing any more, or has no such range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dead;

/// A byte on its way: where, and what it will be.
#[derive(Clone, Copy, Debug)]
struct Pending {
    at: usize,
    byte: u8,
}

/// What a power cut within one byte would have left.
#[derive(Clone, Debug)]
pub struct Image {
    /// What would have been found.
    pub found: Vec<u8>,
    /// What was settled by then.
    pub kept: Arc<Vec<u8>>,
}

#[derive(Clone, Debug)]
struct State {
    /// What is in the memory whatever happens.
    kept: Arc<Vec<u8>>,
    /// What the rig reads: kept, with all that is on its way.
    seen: Vec<u8>,
    pending: Vec<Pending>,
    written: u64,
    cut_at: Option<u64>,
    refuse_at: Option<u64>,
    chance: Chance,
    images: Option<Vec<Image>>,
}

/// A handle on one memory; clones are handles on the same.
#[derive(Clone, Debug)]
pub struct FrailMemory(Arc<Mutex<State>>);

impl FrailMemory {
    /// A memory with these contents; the seed decides what a cut does to what is on its way.
    #[must_use]
    pub fn new(contents: Vec<u8>, seed: u64) -> Self {
        let chance = Chance::new(seed, Drawer::Power);
        Self(Arc::new(Mutex::new(State {
            seen: contents.clone(),
            kept: Arc::new(contents),
            pending: Vec::new(),
            written: 0,
            cut_at: None,
            refuse_at: None,
            chance,
            images: None,
        })))
    }

    fn with<T>(&self, act: impl FnOnce(&mut State) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Cuts the power within the byte of this number, counted from 1 over the memory's life: it is torn, and from then
    /// on the memory is dead.
    pub fn cut_at(&self, byte: u64) {
        self.with(|state| state.cut_at = Some(byte));
    }

    /// Cuts the power now: what is on its way lands or not, and from then on the memory is dead.
    pub fn cut(&self) {
        self.with(|state| {
            state.cut_at = Some(state.written);
            state.lose_power();
        });
    }

    /// Power comes back: it holds what was found.
    pub fn power_up(&self) {
        self.with(|state| state.cut_at = None);
    }

    /// Takes no byte after the one of this number any more and says so, while power and reading are as before; `None`
    /// mends it.
    pub fn refuse_after(&self, byte: Option<u64>) {
        self.with(|state| state.refuse_at = byte);
    }

    /// Turns over these bits of a byte at rest.
    pub fn rot(&self, at: usize, bits: u8) {
        self.with(|state| {
            if let Some(byte) = Arc::make_mut(&mut state.kept).get_mut(at) {
                *byte ^= bits;
                state.seen[at] ^= bits;
            }
        });
    }

    /// Bytes written so far.
    #[must_use]
    pub fn written(&self) -> u64 {
        self.with(|state| state.written)
    }

    /// Whether the power is gone.
    #[must_use]
    pub fn is_dead(&self) -> bool {
        self.with(|state| state.is_dead())
    }

    /// What is there whatever happens now.
    #[must_use]
    pub fn kept(&self) -> Vec<u8> {
        self.with(|state| state.kept.to_vec())
    }

    /// What would be found if the power went now.
    #[must_use]
    pub fn found(&self) -> Vec<u8> {
        self.with(State::found)
    }

    /// From now on keeps, for every byte written, what would be found if the power went within it.
    pub fn keep_images(&self) {
        self.with(|state| state.images = Some(Vec::new()));
    }

    /// Takes the images kept since the last time.
    #[must_use]
    pub fn take_images(&self) -> Vec<Image> {
        self.with(|state| state.images.as_mut().map(std::mem::take).unwrap_or_default())
    }
}

impl State {
    fn is_dead(&self) -> bool {
        self.cut_at.is_some_and(|at| self.written >= at)
    }

    fn takes_writes(&self) -> bool {
        !self.is_dead() && self.refuse_at.is_none_or(|at| self.written < at)
    }

    fn lose_power(&mut self) {
        let found = self.found();
        (self.seen, self.kept) = (found.clone(), Arc::new(found));
        self.pending.clear();
    }

    /// Each byte on its way has landed or not; the last is torn bit by bit.
    fn found(&mut self) -> Vec<u8> {
        let mut found = self.kept.to_vec();
        let last = self.pending.len().checked_sub(1);
        for (n, Pending { at, byte }) in self.pending.iter().enumerate() {
            let landed = match self.chance.bits() {
                bits if Some(n) == last => bits.to_le_bytes()[0],
                bits if bits % 2 == 0 => 0xFF,
                _ => 0,
            };
            found[*at] = (found[*at] & !landed) | (byte & landed);
        }
        found
    }

    fn write_byte(&mut self, at: usize, byte: u8) -> Result<(), Dead> {
        self.pending.push(Pending { at, byte });
        self.seen[at] = byte;
        self.written += 1;
        if self.images.is_some() {
            let image = Image { found: self.found(), kept: self.kept.clone() };
            self.images.iter_mut().for_each(|images| images.push(image.clone()));
        }
        if self.is_dead() {
            self.lose_power();
            return Err(Dead);
        }
        Ok(())
    }
}

fn range(at: u32, length: usize, size: usize) -> Result<std::ops::Range<usize>, Dead> {
    let from = usize::try_from(at).map_err(|_| Dead)?;
    from.checked_add(length).filter(|end| *end <= size).map(|end| from..end).ok_or(Dead)
}

impl Memory for FrailMemory {
    type Error = Dead;

    fn size(&self) -> u32 {
        self.with(|state| u32::try_from(state.seen.len()).unwrap_or(u32::MAX))
    }

    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), Dead> {
        self.with(|state| {
            let range = range(at, into.len(), state.seen.len())?;
            into.copy_from_slice(&state.seen[range]);
            if state.is_dead() { Err(Dead) } else { Ok(()) }
        })
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Dead> {
        self.with(|state| {
            let range = range(at, bytes.len(), state.seen.len())?;
            range.zip(bytes).try_for_each(|(at, byte)| if state.takes_writes() { state.write_byte(at, *byte) } else { Err(Dead) })
        })
    }

    fn barrier(&mut self) -> Result<(), Dead> {
        self.with(|state| {
            if state.is_dead() {
                return Err(Dead);
            }
            for Pending { at, byte } in std::mem::take(&mut state.pending) {
                Arc::make_mut(&mut state.kept)[at] = byte;
            }
            Ok(())
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_barrier_settled_is_there_and_what_it_did_not_may_be() {
        let (mut whole, mut none, mut part) = (0, 0, 0);
        for seed in 0..2_000 {
            let mut memory = FrailMemory::new(vec![0; 16], seed);
            memory.write(0, &[1; 4]).unwrap();
            memory.barrier().unwrap();
            memory.write(8, &[0xFF; 4]).unwrap();
            let found = memory.found();
            assert_eq!(found[..8], [1, 1, 1, 1, 0, 0, 0, 0]);
            match &found[8..11] {
                [0xFF, 0xFF, 0xFF] => whole += 1,
                [0, 0, 0] => none += 1,
                _ => part += 1,
            }
        }
        // three bytes, each there half of the time: an eighth, an eighth and the rest
        assert!((200..300).contains(&whole) && (200..300).contains(&none) && part > 1_300, "{whole} {none} {part}");
    }

    #[test]
    fn later_bytes_may_be_there_without_earlier_ones() {
        let reordered = (0..64).any(|seed| {
            let mut memory = FrailMemory::new(vec![0; 8], seed);
            memory.write(0, &[0xFF]).unwrap();
            memory.write(4, &[0xFF, 0xFF]).unwrap();
            let found = memory.found();
            found[0] == 0 && found[4] == 0xFF
        });
        assert!(reordered);
    }

    #[test]
    fn a_cut_tears_its_byte_and_ends_all() {
        let mut torn = std::collections::BTreeSet::new();
        for seed in 0..64 {
            let mut memory = FrailMemory::new(vec![0; 8], seed);
            memory.cut_at(3);
            assert_eq!(memory.write(0, &[0xFF; 4]), Err(Dead));
            assert!(memory.is_dead() && memory.kept()[3..] == [0; 5], "the fourth byte was never begun");
            torn.insert(memory.kept()[2]);
            assert_eq!((memory.read(0, &mut [0]), memory.write(0, &[1]), memory.barrier()), (Err(Dead), Err(Dead), Err(Dead)));
        }
        assert!(torn.len() > 20, "torn in many ways: {torn:?}");
    }

    #[test]
    fn power_comes_back_on_what_was_found() {
        let mut memory = FrailMemory::new(vec![0; 8], 9);
        memory.write(0, &[1, 2]).unwrap();
        memory.barrier().unwrap();
        memory.write(4, &[0xFF; 4]).unwrap();
        memory.cut();
        assert!(memory.is_dead());
        let found = memory.kept();
        memory.power_up();
        let mut read = [0; 8];
        memory.read(0, &mut read).unwrap();
        assert_eq!((read.to_vec(), &found[..2]), (found.clone(), &[1, 2][..]));
        assert_ne!(found[4..], [0xFF; 4], "by this seed");
    }

    #[test]
    fn a_memory_that_takes_no_more_keeps_what_it_took_and_can_be_read() {
        let mut memory = FrailMemory::new(vec![0; 8], 1);
        memory.refuse_after(Some(3));
        assert_eq!(memory.write(0, &[7; 5]), Err(Dead));
        memory.barrier().unwrap();
        assert_eq!((memory.kept(), memory.is_dead(), memory.read(0, &mut [0])), (vec![7, 7, 7, 0, 0, 0, 0, 0], false, Ok(())));
        memory.refuse_after(None);
        memory.write(3, &[7]).unwrap();
        memory.rot(3, 0b101);
        memory.rot(0, 0b11);
        memory.barrier().unwrap();
        assert_eq!(memory.kept()[..4], [4, 7, 7, 7], "what was on its way had not come to rest");
    }

    #[test]
    fn an_image_is_kept_for_every_byte() {
        let mut memory = FrailMemory::new(vec![0; 8], 1);
        memory.keep_images();
        memory.write(0, &[7; 3]).unwrap();
        assert_eq!(memory.take_images().len(), 3);
        assert_eq!((memory.take_images().len(), memory.written()), (0, 3));
    }

    #[test]
    fn nothing_is_beyond_the_end() {
        let mut memory = FrailMemory::new(vec![0; 8], 1);
        assert_eq!((memory.write(7, &[1, 2]), memory.read(8, &mut [0]), memory.write(u32::MAX, &[1])), (Err(Dead), Err(Dead), Err(Dead)));
        assert_eq!(memory.kept(), [0; 8]);
    }
}
