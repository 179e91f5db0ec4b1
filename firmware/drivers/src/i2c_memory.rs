//! An FRAM or EEPROM on I²C as the rig's memory.
//!
//! Two address bytes; what a part holds beyond 64 KiB is reached by the lowest bits of its bus address, as the
//! common 512 KiB FRAMs have it.

use embedded_hal::i2c::{Error as _, ErrorKind, I2c, Operation};
use firmware_app::memory::Memory;

/// What one bus address reaches.
const BLOCK_BYTES: u32 = 0x1_0000;

/// A part as its data sheet describes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its first bus address, seven bits.
    pub address: u8,
    /// Bytes it holds.
    pub size: u32,
    /// Bytes that one write must stay within, a power of two; `None` for an FRAM, which has no pages.
    pub page: Option<u16>,
    /// How often it is asked again while it does not acknowledge, being busy with a write. A try takes eleven
    /// bits at least, so 200 tries at 400 kHz are the 5 ms that an EEPROM's data sheet gives.
    pub tries: u16,
}

impl Part {
    /// A 512 KiB FRAM: eight bus addresses from `address` on, no pages, never busy.
    #[must_use]
    pub const fn fram_512k(address: u8) -> Self {
        Self { address, size: 8 * BLOCK_BYTES, page: None, tries: 0 }
    }

    /// A 64 KiB EEPROM with pages of 128 bytes, 5 ms to write, at 400 kHz.
    #[must_use]
    pub const fn eeprom_64k(address: u8) -> Self {
        Self { address, size: BLOCK_BYTES, page: Some(128), tries: 200 }
    }

    /// Bytes from `at` to where one write must end.
    fn write_room(&self, at: u32) -> u32 {
        let to_end_of = |unit: u32| unit.saturating_sub(at.checked_rem(unit).unwrap_or(0));
        to_end_of(self.page.map_or(BLOCK_BYTES, u32::from))
    }
}

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MemoryError {
    /// The part has no such bytes.
    Range,
    /// The part did not acknowledge, however often it was asked.
    NoAnswer,
    /// The bus failed.
    Bus,
}

/// The part on its bus.
#[derive(Debug)]
pub struct I2cMemory<B> {
    bus: B,
    part: Part,
}

impl<B: I2c> I2cMemory<B> {
    /// Takes the bus.
    pub const fn new(bus: B, part: Part) -> Self {
        Self { bus, part }
    }

    /// Gives the bus back.
    pub fn release(self) -> B {
        self.bus
    }

    fn within(&self, at: u32, bytes: usize) -> Result<(), MemoryError> {
        let end = u32::try_from(bytes).ok().and_then(|bytes| at.checked_add(bytes)).ok_or(MemoryError::Range)?;
        if end <= self.part.size { Ok(()) } else { Err(MemoryError::Range) }
    }

    /// One transfer behind the two address bytes, repeated while the part is busy.
    fn transfer(&mut self, at: u32, mut operation: Option<Operation<'_>>) -> Result<(), MemoryError> {
        let [_, block, high, low] = at.to_be_bytes();
        let address = self.part.address.saturating_add(block);
        let mut tries = self.part.tries;
        loop {
            let place = [high, low];
            let result = match &mut operation {
                None => self.bus.write(address, &place),
                Some(Operation::Write(bytes)) => self.bus.transaction(address, &mut [Operation::Write(&place), Operation::Write(bytes)]),
                Some(Operation::Read(into)) => self.bus.write_read(address, &place, into),
            };
            match result.map_err(|error| error.kind()) {
                Ok(()) => return Ok(()),
                Err(ErrorKind::NoAcknowledge(_)) if tries > 0 => tries = tries.saturating_sub(1),
                Err(ErrorKind::NoAcknowledge(_)) => return Err(MemoryError::NoAnswer),
                Err(_) => return Err(MemoryError::Bus),
            }
        }
    }
}

/// Splits off what one transfer may take.
fn piece(length: usize, room: u32) -> usize {
    length.min(usize::try_from(room).unwrap_or(usize::MAX))
}

impl<B: I2c> Memory for I2cMemory<B> {
    type Error = MemoryError;

    fn size(&self) -> u32 {
        self.part.size
    }

    fn read(&mut self, mut at: u32, mut into: &mut [u8]) -> Result<(), MemoryError> {
        self.within(at, into.len())?;
        while !into.is_empty() {
            let room = BLOCK_BYTES.saturating_sub(at.checked_rem(BLOCK_BYTES).unwrap_or(0));
            let (now, later) = into.split_at_mut_checked(piece(into.len(), room)).ok_or(MemoryError::Range)?;
            self.transfer(at, Some(Operation::Read(now)))?;
            at = at.saturating_add(u32::try_from(now.len()).unwrap_or(u32::MAX));
            into = later;
        }
        Ok(())
    }

    fn write(&mut self, mut at: u32, mut bytes: &[u8]) -> Result<(), MemoryError> {
        self.within(at, bytes.len())?;
        while !bytes.is_empty() {
            let room = self.part.write_room(at);
            let (now, later) = bytes.split_at_checked(piece(bytes.len(), room)).ok_or(MemoryError::Range)?;
            self.transfer(at, Some(Operation::Write(now)))?;
            at = at.saturating_add(u32::try_from(now.len()).unwrap_or(u32::MAX));
            bytes = later;
        }
        Ok(())
    }

    /// An FRAM keeps a byte as soon as it has acknowledged it; an EEPROM acknowledges again when it has kept it.
    fn barrier(&mut self) -> Result<(), MemoryError> {
        if self.part.tries == 0 { Ok(()) } else { self.transfer(0, None) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal::i2c::NoAcknowledgeSource;
    use embedded_hal_mock::eh1::i2c::{Mock, Transaction as T};

    const FRAM: Part = Part::fram_512k(0x50);
    const EEPROM: Part = Part::eeprom_64k(0x50);
    const BUSY: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);

    /// A write of `bytes` behind the two address bytes, as it goes over the bus.
    fn written(device: u8, place: [u8; 2], bytes: &[u8]) -> Vec<T> {
        vec![T::transaction_start(device), T::write(device, place.to_vec()), T::write(device, bytes.to_vec()), T::transaction_end(device)]
    }

    fn with<R>(part: Part, expected: Vec<T>, act: impl FnOnce(&mut I2cMemory<Mock>) -> R) -> R {
        let mut memory = I2cMemory::new(Mock::new(&expected), part);
        let result = act(&mut memory);
        memory.release().done();
        result
    }

    #[test]
    fn first_and_last_byte_of_512_kib() {
        let mut byte = [0];
        with(FRAM, written(0x50, [0, 0], &[0xA5]), |m| m.write(0, &[0xA5])).unwrap();
        with(FRAM, written(0x57, [0xFF, 0xFF], &[0x5A]), |m| m.write(0x7_FFFF, &[0x5A])).unwrap();
        with(FRAM, vec![T::write_read(0x50, vec![0, 0], vec![1])], |m| m.read(0, &mut byte)).unwrap();
        with(FRAM, vec![T::write_read(0x57, vec![0xFF, 0xFF], vec![2])], |m| m.read(0x7_FFFF, &mut byte)).unwrap();
        assert_eq!(byte, [2]);
    }

    #[test]
    fn one_byte_beyond_is_refused_before_the_bus_is_touched() {
        let mut two = [0; 2];
        with(FRAM, vec![], |m| {
            assert_eq!(m.size(), 512 * 1024);
            assert_eq!(m.write(0x8_0000, &[1]), Err(MemoryError::Range));
            assert_eq!(m.write(0x7_FFFF, &[1, 2]), Err(MemoryError::Range));
            assert_eq!(m.read(0x7_FFFF, &mut two), Err(MemoryError::Range));
            assert_eq!(m.read(u32::MAX, &mut two), Err(MemoryError::Range));
            assert_eq!(m.write(0x8_0000, &[]), Ok(()));
        });
    }

    #[test]
    fn a_transfer_across_64_kib_goes_to_two_bus_addresses() {
        let expected = [written(0x52, [0xFF, 0xFE], &[1, 2]), written(0x53, [0, 0], &[3])].concat();
        with(FRAM, expected, |m| m.write(0x2_FFFE, &[1, 2, 3])).unwrap();
        let expected = vec![T::write_read(0x52, vec![0xFF, 0xFF], vec![7]), T::write_read(0x53, vec![0, 0], vec![8, 9])];
        let mut three = [0; 3];
        with(FRAM, expected, |m| m.read(0x2_FFFF, &mut three)).unwrap();
        assert_eq!(three, [7, 8, 9]);
    }

    #[test]
    fn a_write_stays_within_its_page() {
        let bytes: Vec<u8> = (0..200).collect();
        let expected = [
            written(0x50, [0x00, 0x7E], &bytes[..2]),
            written(0x50, [0x00, 0x80], &bytes[2..130]),
            written(0x50, [0x01, 0x00], &bytes[130..]),
        ]
        .concat();
        with(EEPROM, expected, |m| m.write(0x7E, &bytes)).unwrap();
        with(EEPROM, written(0x50, [0xFF, 0x80], &[9; 128]), |m| m.write(0xFF80, &[9; 128])).unwrap();
    }

    #[test]
    fn a_busy_part_is_asked_again_but_not_for_ever() {
        let busy = T::write(0x50, vec![0, 0]).with_error(BUSY);
        let mut expected = vec![busy.clone(); 3];
        expected.push(T::write(0x50, vec![0, 0]));
        assert_eq!(with(EEPROM, expected, I2cMemory::barrier), Ok(()));
        let expected = vec![busy; 201];
        assert_eq!(with(EEPROM, expected, I2cMemory::barrier), Err(MemoryError::NoAnswer));
        assert_eq!(with(FRAM, vec![], I2cMemory::barrier), Ok(()), "an FRAM is never busy");
    }

    #[test]
    fn a_missing_part_and_a_broken_bus_are_told_apart() {
        let read = T::write_read(0x50, vec![0, 0], vec![0]);
        assert_eq!(with(FRAM, vec![read.clone().with_error(BUSY)], |m| m.read(0, &mut [0])), Err(MemoryError::NoAnswer));
        assert_eq!(with(FRAM, vec![read.with_error(ErrorKind::ArbitrationLoss)], |m| m.read(0, &mut [0])), Err(MemoryError::Bus));
    }
}
