//! The rig's non-volatile memory: RAM that the emulator keeps in a file, so that a killed emulator is a power cut
//! between two bytes.

use core::ptr::{read_volatile, write_volatile};
use core::sync::atomic::{AtomicBool, Ordering::Relaxed};
use firmware_app::memory::Memory;

const BASE: usize = 0x2100_0000;
const BYTES: u32 = 512 * 1024;

static TAKEN: AtomicBool = AtomicBool::new(false);

/// The range does not exist.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutOfRange;

/// The memory; there is one.
#[derive(Debug)]
pub struct KeptRam(());

impl KeptRam {
    /// Takes it, once.
    pub fn take() -> Option<Self> {
        (!TAKEN.swap(true, Relaxed)).then_some(Self(()))
    }

    /// The address of `at`, where `count` bytes from there exist.
    fn place(at: u32, count: usize) -> Result<usize, OutOfRange> {
        let end = u32::try_from(count).ok().and_then(|count| at.checked_add(count)).ok_or(OutOfRange)?;
        let at = usize::try_from(at).map_err(|_| OutOfRange)?;
        if end <= BYTES { Ok(BASE + at) } else { Err(OutOfRange) }
    }
}

impl Memory for KeptRam {
    type Error = OutOfRange;

    fn size(&self) -> u32 {
        BYTES
    }

    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), OutOfRange> {
        let place = Self::place(at, into.len())?;
        for (offset, byte) in into.iter_mut().enumerate() {
            // SAFETY: within the board's extra RAM, which the linker script leaves out and only this type uses.
            *byte = unsafe { read_volatile((place + offset) as *const u8) };
        }
        Ok(())
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), OutOfRange> {
        let place = Self::place(at, bytes.len())?;
        for (offset, &byte) in bytes.iter().enumerate() {
            // SAFETY: as for reading; `&mut self` and the one `KeptRam` there is make it the only access.
            unsafe { write_volatile((place + offset) as *mut u8, byte) };
        }
        Ok(())
    }

    fn barrier(&mut self) -> Result<(), OutOfRange> {
        cortex_m::asm::dsb();
        Ok(())
    }
}
