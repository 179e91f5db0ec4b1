//! How a message survives the cable: CRC-32 behind it, COBS round both, a zero byte to end it.
//!
//! COBS after Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999; CRC-32/ISO-HDLC.

use crate::message::{MESSAGE_BYTES_MAX, Message};
use crate::slot::CRC;
use heapless::Vec;

/// Bytes of the check.
pub const CHECK_BYTES: usize = 4;
/// The longest frame without its closing zero: one more byte than message and check, as both stay below 255.
pub const ENCODED_BYTES_MAX: usize = MESSAGE_BYTES_MAX + CHECK_BYTES + 1;
/// The longest frame.
pub const FRAME_BYTES_MAX: usize = ENCODED_BYTES_MAX + 1;
const _: () = assert!(MESSAGE_BYTES_MAX + CHECK_BYTES <= 254, "COBS would take a second byte");

/// A frame ready to send.
pub type Frame = Vec<u8, FRAME_BYTES_MAX>;

/// Wraps a message. `None` where it does not fit a frame, which no message of this version does not.
#[must_use]
pub fn wrap(message: &Message<'_>) -> Option<Frame> {
    let mut plain = [0; MESSAGE_BYTES_MAX + CHECK_BYTES];
    let used = message.encode(plain.get_mut(..MESSAGE_BYTES_MAX)?)?;
    wrap_raw(plain.get(..used)?)
}

/// Wraps any bytes as a frame: for tests and tools that send what no message is.
#[must_use]
pub fn wrap_raw(message: &[u8]) -> Option<Frame> {
    let mut plain: Vec<u8, { MESSAGE_BYTES_MAX + CHECK_BYTES }> = Vec::from_slice(message).ok()?;
    plain.extend_from_slice(&CRC.checksum(message).to_le_bytes()).ok()?;
    let mut frame = Frame::new();
    frame.resize(FRAME_BYTES_MAX, 0).ok()?;
    let used = cobs::try_encode(&plain, &mut frame).ok()?;
    frame.truncate(used.checked_add(1)?);
    Some(frame)
}

/// Why what arrived between two zeros is no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FrameFault {
    /// Longer than any frame.
    Oversize,
    /// Not COBS, or too short to hold a check.
    Malformed,
    /// The check is wrong.
    Check,
}

/// Gathers bytes until a frame is whole. After damage it is back in step at the next zero; after an oversize
/// frame it skips to the next zero, so that the tail is never taken for a frame of its own.
#[derive(Debug, Default)]
pub struct Accumulator {
    buffer: Vec<u8, ENCODED_BYTES_MAX>,
    skipping: bool,
}

impl Accumulator {
    /// An empty one.
    #[must_use]
    pub const fn new() -> Self {
        Self { buffer: Vec::new(), skipping: false }
    }

    /// Takes one byte; at the end of a frame returns the message's bytes or what is wrong with it.
    /// `message` receives the bytes.
    pub fn push<'m>(&mut self, byte: u8, message: &'m mut [u8; ENCODED_BYTES_MAX]) -> Option<Result<&'m [u8], FrameFault>> {
        if byte != 0 {
            self.skipping |= self.buffer.push(byte).is_err();
            return None;
        }
        let oversize = core::mem::take(&mut self.skipping);
        if self.buffer.is_empty() && !oversize {
            return None; // two zeros running: a sender that starts afresh
        }
        let result = if oversize { Err(FrameFault::Oversize) } else { unwrap(&self.buffer, message) };
        self.buffer.clear();
        Some(result)
    }
}

fn unwrap<'m>(encoded: &[u8], message: &'m mut [u8; ENCODED_BYTES_MAX]) -> Result<&'m [u8], FrameFault> {
    let report = cobs::decode(encoded, message).map_err(|_| FrameFault::Malformed)?;
    let plain = message.get(..report.frame_size()).ok_or(FrameFault::Malformed)?;
    let (body, check) = plain.split_last_chunk::<CHECK_BYTES>().ok_or(FrameFault::Malformed)?;
    if CRC.checksum(body) == u32::from_le_bytes(*check) { Ok(body) } else { Err(FrameFault::Check) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::message::{Live, Message};
    use proptest::prelude::{any, prop_assert, prop_assert_eq, proptest};

    fn feed(bytes: &[u8]) -> std::vec::Vec<Result<std::vec::Vec<u8>, FrameFault>> {
        let (mut accumulator, mut message) = (Accumulator::new(), [0; ENCODED_BYTES_MAX]);
        bytes.iter().filter_map(|&b| accumulator.push(b, &mut message).map(|r| r.map(<[u8]>::to_vec))).collect()
    }

    #[test]
    fn a_live_sample_takes_twenty_bytes() {
        let live = Live { at: 0xFFFF, depth: crate::units::Micrometres(-1), ..Live::default() };
        assert_eq!(wrap(&Message::Live(live)).unwrap().len(), 20);
    }

    #[test]
    fn an_oversize_frame_does_not_leave_a_tail() {
        let good = wrap_raw(b"good").unwrap();
        let mut bytes = std::vec![1; ENCODED_BYTES_MAX + 40];
        bytes.push(0);
        bytes.extend_from_slice(&good);
        assert_eq!(feed(&bytes), [Err(FrameFault::Oversize), Ok(b"good".to_vec())]);
    }

    #[test]
    fn the_longest_message_fits_and_one_byte_more_does_not() {
        let longest = [0xA5; MESSAGE_BYTES_MAX];
        assert_eq!(wrap_raw(&longest).unwrap().len(), FRAME_BYTES_MAX);
        assert_eq!(feed(&wrap_raw(&longest).unwrap()), [Ok(longest.to_vec())]);
        assert_eq!(wrap_raw(&[0; MESSAGE_BYTES_MAX + 5]), None);
    }

    proptest! {
        #[test]
        fn in_step_again_after_any_damage(junk in proptest::collection::vec(any::<u8>(), 0..600), body in proptest::collection::vec(any::<u8>(), 0..=MESSAGE_BYTES_MAX)) {
            let mut bytes = junk;
            bytes.push(0);
            bytes.extend_from_slice(&wrap_raw(&body).unwrap());
            let heard = feed(&bytes);
            prop_assert_eq!(heard.last().unwrap(), &Ok(body));
        }

        #[test]
        fn a_frame_holds_no_zero_but_its_last(body in proptest::collection::vec(any::<u8>(), 0..=MESSAGE_BYTES_MAX)) {
            let frame = wrap_raw(&body).unwrap();
            let (end, rest) = frame.split_last().unwrap();
            prop_assert!(*end == 0 && !rest.contains(&0));
        }
    }
}
