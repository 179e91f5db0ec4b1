//! Modbus RTU frames as a slave sees them, after the application protocol and the serial-line guide.

use crc::{CRC_16_MODBUS, Crc};

static CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);

/// Reads holding registers.
pub const READ_HOLDING: u8 = 3;
/// Reads input registers.
pub const READ_INPUT: u8 = 4;
/// The most registers of one read.
pub const REGISTERS_MAX: u16 = 125;
/// Bytes of a read request.
pub const READ_REQUEST_BYTES: usize = 8;

/// Exception codes.
pub mod exception {
    /// No such function here.
    pub const ILLEGAL_FUNCTION: u8 = 1;
    /// No such registers here.
    pub const ILLEGAL_ADDRESS: u8 = 2;
    /// A count that cannot be.
    pub const ILLEGAL_VALUE: u8 = 3;
    /// The device has failed.
    pub const DEVICE_FAILURE: u8 = 4;
}

/// A request whose check is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Request {
    /// Which slave.
    pub unit: u8,
    /// What to do.
    pub function: u8,
    /// From which register; 0 where the function is none of ours.
    pub address: u16,
    /// How many registers; 0 where the function is none of ours.
    pub count: u16,
}

impl Request {
    /// Reads a frame. `None` where its check is wrong or a read has another length than 8 bytes: a slave is silent then.
    #[must_use]
    pub fn parse(frame: &[u8]) -> Option<Self> {
        let (body, check) = frame.split_last_chunk::<2>()?;
        if CRC.checksum(body) != u16::from_le_bytes(*check) {
            return None;
        }
        match *body {
            [unit, function @ (READ_HOLDING | READ_INPUT), a, b, c, d] => {
                Some(Self { unit, function, address: u16::from_be_bytes([a, b]), count: u16::from_be_bytes([c, d]) })
            }
            [_, READ_HOLDING | READ_INPUT, ..] => None,
            [unit, function, ..] => Some(Self { unit, function, address: 0, count: 0 }),
            _ => None,
        }
    }

    /// The exception that this request deserves from a slave with registers 0 to `registers` − 1 for both
    /// reads, `None` where it is in order.
    #[must_use]
    pub fn fault(&self, registers: u16) -> Option<u8> {
        match self {
            Self { function, .. } if !matches!(*function, READ_HOLDING | READ_INPUT) => Some(exception::ILLEGAL_FUNCTION),
            Self { count, .. } if *count == 0 || *count > REGISTERS_MAX => Some(exception::ILLEGAL_VALUE),
            Self { address, count, .. } if u32::from(*address) + u32::from(*count) > u32::from(registers) => {
                Some(exception::ILLEGAL_ADDRESS)
            }
            _ => None,
        }
    }

    /// The good answer: registers, high byte first.
    #[must_use]
    pub fn answer(&self, values: &[u16]) -> Vec<u8> {
        let bytes = u8::try_from(2 * values.len()).unwrap_or(u8::MAX);
        let mut frame = vec![self.unit, self.function, bytes];
        frame.extend(values.iter().flat_map(|value| value.to_be_bytes()));
        with_check(frame)
    }

    /// The exception with this code.
    #[must_use]
    pub fn exception(&self, code: u8) -> Vec<u8> {
        with_check(vec![self.unit, self.function | 0x80, code])
    }

    /// The answer of a whole register map to this request.
    #[must_use]
    pub fn serve(&self, map: &[u16]) -> Vec<u8> {
        match self.fault(u16::try_from(map.len()).unwrap_or(u16::MAX)) {
            Some(code) => self.exception(code),
            None => self.answer(&map[usize::from(self.address)..usize::from(self.address) + usize::from(self.count)]),
        }
    }
}

/// Puts the check behind a frame, low byte first.
#[must_use]
pub fn with_check(mut frame: Vec<u8>) -> Vec<u8> {
    let check = CRC.checksum(&frame);
    frame.extend_from_slice(&check.to_le_bytes());
    frame
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(hex: &str) -> Vec<u8> {
        hex.split(' ').map(|b| u8::from_str_radix(b, 16).unwrap()).collect()
    }

    /// Frames of the Modbus application protocol V1.1b3 and of public tests that quote it, recomputed with crcmod
    /// (check-values §7.2).
    #[test]
    fn frames_of_the_specification() {
        let rows: [(&str, u16, &[u16], &str); 4] = [
            ("11 03 00 6B 00 03 76 87", 0x6B, &[0xAE41, 0x5652, 0x4340], "11 03 06 AE 41 56 52 43 40 49 AD"),
            ("11 04 00 08 00 01 B2 98", 0x08, &[0x000A], "11 04 02 00 0A F8 F4"),
            ("01 03 00 6B 00 03 74 17", 0x6B, &[555, 0, 100], "01 03 06 02 2B 00 00 00 64 05 7A"),
            ("01 04 00 08 00 01 B0 08", 0x08, &[10], "01 04 02 00 0A 39 37"),
        ];
        for (asked, address, values, answered) in rows {
            let request = Request::parse(&bytes(asked)).unwrap();
            assert_eq!(request.address, address);
            let mut map = vec![0; usize::from(address)];
            map.extend_from_slice(values);
            assert_eq!(request.serve(&map), bytes(answered), "{asked}");
        }
        let minus_two = Request { unit: 0x11, function: 4, address: 0, count: 1 };
        assert_eq!(minus_two.answer(&[0xFFFE]), bytes("11 04 02 FF FE B8 83"));
    }

    /// Exceptions, same source; the addressing example (96 + 4 of 100 registers good, 96 + 5 not) is the
    /// application protocol's section 7, the limit of 125 registers its function 3.
    #[test]
    fn exceptions_of_the_specification() {
        let read = |function, address, count| Request { unit: 1, function, address, count };
        assert_eq!(read(3, 0, 1).exception(2), bytes("01 83 02 C0 F1"));
        assert_eq!(read(4, 0, 1).exception(2), bytes("01 84 02 C2 C1"));
        let code = |request: Request| request.fault(100);
        assert_eq!((code(read(3, 96, 4)), code(read(3, 96, 5))), (None, Some(2)));
        assert_eq!((code(read(4, 0, 0)), code(read(4, 0, 126))), (Some(3), Some(3)));
        assert_eq!(read(4, 0, 125).fault(125), None);
        assert_eq!(read(4, 0xFFFF, 2).fault(u16::MAX), Some(2));
        assert_eq!(Request::parse(&with_check(vec![1, 6, 0, 0, 0, 5])).and_then(|r| r.fault(100)), Some(1));
    }

    #[test]
    fn a_damaged_request_is_no_request() {
        let good = bytes("11 03 00 6B 00 03 76 87");
        for bit in 0..64 {
            let mut bad = good.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Request::parse(&bad), None, "bit {bit}");
        }
        assert_eq!(Request::parse(&with_check(vec![1, 3, 0, 0, 0, 1, 9])), None);
        // The serial-line guide's CRC example: 02 07 gives 41 12 on the line.
        assert_eq!(with_check(vec![2, 7]), bytes("02 07 41 12"));
        assert_eq!(CRC.checksum(b"123456789"), 0x4B37); // crc-catalogue, CRC-16/MODBUS
    }
}
