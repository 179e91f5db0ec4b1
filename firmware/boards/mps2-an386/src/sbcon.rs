//! The I²C bus of the board's second shield: two wires moved by hand.

use crate::registers::Block;
use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

const READ: u16 = 0x0;
const SET: u16 = 0x0;
const CLEAR: u16 = 0x4;
const CLOCK: u32 = 1 << 0;
const DATA: u32 = 1 << 1;

/// The bus. The controller's registers are slower than the 100 kHz parts that the emulator has; nothing is waited for.
#[derive(Debug)]
pub struct Sbcon {
    block: Block,
}

/// The part did not acknowledge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotAcknowledged(NoAcknowledgeSource);

impl Error for NotAcknowledged {
    fn kind(&self) -> ErrorKind {
        ErrorKind::NoAcknowledge(self.0)
    }
}

impl Sbcon {
    /// The bus of the second shield, where the emulator puts its parts.
    pub fn shield1() -> Self {
        let bus = Self { block: Block::I2C_SHIELD1 };
        bus.block.write(SET, CLOCK | DATA);
        bus
    }

    fn set(&mut self, wire: u32, high: bool) {
        self.block.write(if high { SET } else { CLEAR }, wire);
    }

    fn start(&mut self) {
        self.set(DATA, true);
        self.set(CLOCK, true);
        self.set(DATA, false);
        self.set(CLOCK, false);
    }

    fn stop(&mut self) {
        self.set(DATA, false);
        self.set(CLOCK, true);
        self.set(DATA, true);
    }

    fn put_bit(&mut self, high: bool) {
        self.set(DATA, high);
        self.set(CLOCK, true);
        self.set(CLOCK, false);
    }

    fn get_bit(&mut self) -> bool {
        self.set(DATA, true);
        self.set(CLOCK, true);
        let high = self.block.read(READ) & DATA != 0;
        self.set(CLOCK, false);
        high
    }

    fn put(&mut self, byte: u8, source: NoAcknowledgeSource) -> Result<(), NotAcknowledged> {
        for bit in (0..8).rev() {
            self.put_bit(byte >> bit & 1 != 0);
        }
        if self.get_bit() { Err(NotAcknowledged(source)) } else { Ok(()) }
    }

    fn get(&mut self, last: bool) -> u8 {
        let byte = (0..8).fold(0, |byte, _| byte << 1 | u8::from(self.get_bit()));
        self.put_bit(last);
        byte
    }

    /// Operations of one kind are one transfer; a change of direction starts again.
    fn operations(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), NotAcknowledged> {
        let mut reading = None;
        let mut rest = operations.iter_mut().peekable();
        while let Some(operation) = rest.next() {
            let reads = matches!(operation, Operation::Read(_));
            if reading != Some(reads) {
                reading = Some(reads);
                self.start();
                self.put(address << 1 | u8::from(reads), NoAcknowledgeSource::Address)?;
            }
            match operation {
                Operation::Write(bytes) => bytes.iter().try_for_each(|&byte| self.put(byte, NoAcknowledgeSource::Data))?,
                Operation::Read(into) => {
                    let more = matches!(rest.peek(), Some(Operation::Read(next)) if !next.is_empty());
                    let count = into.len();
                    for (nth, byte) in into.iter_mut().enumerate() {
                        *byte = self.get(nth + 1 == count && !more);
                    }
                }
            }
        }
        Ok(())
    }
}

impl ErrorType for Sbcon {
    type Error = NotAcknowledged;
}

impl I2c for Sbcon {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), NotAcknowledged> {
        let result = self.operations(address, operations);
        self.stop();
        result
    }
}
