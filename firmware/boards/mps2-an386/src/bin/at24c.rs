//! Proves the I²C memory driver on the emulated EEPROM: first and last byte, across pages, over restarts.
//!
//! Ends the emulator with exit status 0 when all is well and 1 when not; the log says what was found.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use cortex_m_semihosting::debug::{EXIT_FAILURE, EXIT_SUCCESS, exit};
use firmware_app::memory::Memory;
use firmware_drivers::i2c_memory::{I2cMemory, MemoryError, Part};
use mps2_an386::sbcon::Sbcon;

const PART: Part = Part::eeprom_64k(0x50);
const LAST: u32 = PART.size - 1;
/// Starts are counted here.
const COUNTER: u32 = 0x100;

/// What was found to be wrong.
#[derive(defmt::Format)]
enum Fault {
    Memory(MemoryError),
    Differs { at: u32 },
    NotRefused,
    AnswersWhereNothingIs,
}

impl From<MemoryError> for Fault {
    fn from(error: MemoryError) -> Self {
        Self::Memory(error)
    }
}

fn prove() -> Result<u32, Fault> {
    let mut memory = I2cMemory::new(Sbcon::shield1(), PART);
    let mut counter = [0; 4];
    memory.read(COUNTER, &mut counter)?;
    let starts = u32::from_le_bytes(counter).wrapping_add(1);
    // Other bytes at each start, so that what is read back was written now.
    let seed = starts.to_le_bytes()[0];

    let mut bytes = [0; 300];
    for (value, byte) in (0..=u8::MAX).cycle().zip(bytes.iter_mut()) {
        *byte = value ^ seed;
    }
    let places = [(0, 1), (LAST, 1), (0x17D, 300), (LAST - 299, 300)];
    for (at, count) in places {
        let written = bytes.get(..count).unwrap_or(&[]);
        let mut back = [0; 300];
        let back = back.get_mut(..count).unwrap_or(&mut []);
        memory.write(at, written)?;
        memory.barrier()?;
        memory.read(at, back)?;
        if back != written {
            return Err(Fault::Differs { at });
        }
    }
    if memory.write(LAST, &[0, 0]) != Err(MemoryError::Range) {
        return Err(Fault::NotRefused);
    }
    memory.write(COUNTER, &starts.to_le_bytes())?;
    memory.barrier()?;

    let mut nobody = I2cMemory::new(memory.release(), Part { address: 0x30, ..PART });
    match nobody.read(0, &mut [0]) {
        Err(MemoryError::NoAnswer) => Ok(starts),
        _ => Err(Fault::AnswersWhereNothingIs),
    }
}

#[entry]
fn main() -> ! {
    match prove() {
        Ok(starts) => {
            defmt::info!("memory sound, start {=u32}", starts);
            exit(EXIT_SUCCESS);
        }
        Err(fault) => {
            defmt::error!("memory: {}", fault);
            exit(EXIT_FAILURE);
        }
    }
    loop {
        cortex_m::asm::wfi();
    }
}
