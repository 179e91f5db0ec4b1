//! The board's peripherals as blocks of 32-bit registers.

use core::ptr::{read_volatile, write_volatile};

/// One peripheral's 4 KiB of registers.
#[derive(Clone, Copy, Debug)]
pub struct Block {
    base: usize,
}

impl Block {
    pub const TIMER0: Self = Self { base: 0x4000_0000 };
    pub const UART0: Self = Self { base: 0x4000_4000 };
    pub const UART1: Self = Self { base: 0x4000_5000 };
    pub const UART2: Self = Self { base: 0x4000_6000 };
    pub const UART3: Self = Self { base: 0x4000_7000 };
    pub const WATCHDOG: Self = Self { base: 0x4000_8000 };
    pub const I2C_SHIELD1: Self = Self { base: 0x4002_A000 };

    /// Reads the register at this offset.
    pub fn read(self, offset: u16) -> u32 {
        // SAFETY: the bases above are private, and within 4 KiB of each lie device registers only, aligned by
        // the mask; reading one that is not there gives 0.
        unsafe { read_volatile((self.base + usize::from(offset & 0xFFC)) as *const u32) }
    }

    /// Writes the register at this offset.
    pub fn write(self, offset: u16, value: u32) {
        // SAFETY: as for `read`; none of these peripherals moves data in memory by itself.
        unsafe { write_volatile((self.base + usize::from(offset & 0xFFC)) as *mut u32, value) }
    }
}

/// Clock of the core and of every peripheral.
pub const CLOCK_HZ: u32 = 25_000_000;
