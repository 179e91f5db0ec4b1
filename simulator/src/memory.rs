//! The rig's non-volatile memory in RAM: it outlives the rig that runs on it.

use firmware_app::memory::Memory;
use std::sync::{Arc, Mutex, PoisonError};

/// Bytes of the rig's memory.
pub const MEMORY_BYTES: usize = 512 * 1024;

/// A range that the memory has not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutOfMemory;

/// A handle on one memory; clones are handles on the same.
#[derive(Clone, Debug)]
pub struct RamMemory(Arc<Mutex<Vec<u8>>>);

impl Default for RamMemory {
    fn default() -> Self {
        Self(Arc::new(Mutex::new(vec![0; MEMORY_BYTES])))
    }
}

impl RamMemory {
    /// A copy of every byte.
    #[must_use]
    pub fn contents(&self) -> Vec<u8> {
        self.with(|bytes| bytes.to_vec())
    }

    fn with<T>(&self, act: impl FnOnce(&mut [u8]) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

fn range(at: u32, length: usize) -> Option<std::ops::Range<usize>> {
    let from = usize::try_from(at).ok()?;
    Some(from..from.checked_add(length)?)
}

impl Memory for RamMemory {
    type Error = OutOfMemory;

    fn size(&self) -> u32 {
        const { assert!(MEMORY_BYTES <= u32::MAX as usize) };
        u32::try_from(MEMORY_BYTES).unwrap_or(u32::MAX)
    }

    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), OutOfMemory> {
        let range = range(at, into.len()).ok_or(OutOfMemory)?;
        self.with(|bytes| bytes.get(range).map(|from| into.copy_from_slice(from))).ok_or(OutOfMemory)
    }

    fn write(&mut self, at: u32, from: &[u8]) -> Result<(), OutOfMemory> {
        let range = range(at, from.len()).ok_or(OutOfMemory)?;
        self.with(|bytes| bytes.get_mut(range).map(|into| into.copy_from_slice(from))).ok_or(OutOfMemory)
    }

    fn barrier(&mut self) -> Result<(), OutOfMemory> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_and_last_byte_and_not_one_further() {
        let mut memory = RamMemory::default();
        let last = memory.size() - 1;
        let mut byte = [0];
        for at in [0, last] {
            memory.write(at, &[0xA5]).unwrap();
            memory.clone().read(at, &mut byte).unwrap();
            assert_eq!(byte, [0xA5]);
        }
        assert_eq!(memory.write(last, &[1, 2]), Err(OutOfMemory));
        assert_eq!(memory.read(last + 1, &mut byte), Err(OutOfMemory));
        assert_eq!(memory.write(u32::MAX, &[1]), Err(OutOfMemory));
        assert_eq!(memory.contents()[MEMORY_BYTES - 1], 0xA5);
    }
}
