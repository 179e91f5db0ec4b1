//! The only view the rig has of its non-volatile memory.

/// A byte-writable memory such as FRAM.
///
/// Bytes written before a [`Memory::barrier`] are in the memory before any byte written after it. Without a
/// barrier between them, writes may land in any order, and a power cut may leave any of them undone or torn.
pub trait Memory {
    /// What can go wrong on the way to the part.
    type Error: core::fmt::Debug;

    /// Bytes it holds.
    fn size(&self) -> u32;

    /// Reads `into.len()` bytes from `at`.
    ///
    /// # Errors
    /// When the part does not answer or the range does not exist.
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), Self::Error>;

    /// Writes `bytes` at `at`.
    ///
    /// # Errors
    /// When the part does not answer or the range does not exist.
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Self::Error>;

    /// Returns when everything written so far is kept.
    ///
    /// # Errors
    /// When the part does not answer.
    fn barrier(&mut self) -> Result<(), Self::Error>;
}

/// What bus time is reckoned by: the slowest part that the rig is meant for, an FRAM on I²C in fast mode.
pub const BUS_HZ: u32 = 400_000;

/// Microseconds that a write of so many bytes takes on that bus, rounded up: start, the part's own address, two address
/// bytes, the data, nine bits each, and stop. A slot takes 793.
#[must_use]
pub const fn write_us(bytes: u32) -> u32 {
    us(bytes.saturating_add(3).saturating_mul(9).saturating_add(2))
}

/// The same for a read, which says the part's address a second time behind another start. A slot takes 818.
#[must_use]
pub const fn read_us(bytes: u32) -> u32 {
    us(bytes.saturating_add(4).saturating_mul(9).saturating_add(3))
}

const fn us(bits: u32) -> u32 {
    bits.saturating_mul(1_000_000 / 100_000).div_ceil(BUS_HZ / 100_000)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::Memory;

    /// A plain memory for tests of what stands above it.
    pub struct Ram {
        pub bytes: Vec<u8>,
    }

    impl Ram {
        pub fn new(size: usize) -> Self {
            Self { bytes: vec![0; size] }
        }
    }

    impl Memory for Ram {
        type Error = ();
        fn size(&self) -> u32 {
            u32::try_from(self.bytes.len()).unwrap()
        }
        fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
            into.copy_from_slice(self.bytes.get(at as usize..at as usize + into.len()).ok_or(())?);
            Ok(())
        }
        fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
            self.bytes.get_mut(at as usize..at as usize + bytes.len()).ok_or(())?.copy_from_slice(bytes);
            Ok(())
        }
        fn barrier(&mut self) -> Result<(), ()> {
            Ok(())
        }
    }
}
