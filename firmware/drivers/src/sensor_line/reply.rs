//! What came back from the line: the figures asked for, a refusal, or why neither.
//!
//! Everything here is noise until its check, unit, function and byte count say otherwise.

use super::registers::Poll;
use modbus_core::rtu::{crc16, response_pdu_len};
use shared_protocol::state::SensorFault;

/// Set in the function of a reply that refuses.
const REFUSED: u8 = 0x80;
/// Unit, function, code and check.
const REFUSAL_BYTES: usize = 5;
/// Unit and check: what a frame has besides function and data.
const WRAPPING_BYTES: usize = 3;
/// Unit, function and byte count.
const HEAD_BYTES: usize = 3;

/// Looks for the answer to `poll` in what was heard so far, wherever it begins: a line that changes its
/// direction often gives a byte that nobody sent. `None` while there is none.
#[must_use]
pub fn answer<'h>(poll: &Poll, heard: &'h [u8]) -> Option<Result<&'h [u8], SensorFault>> {
    let count = u8::try_from(poll.data_bytes()).ok()?;
    if let Some(frame) = find(heard, &[poll.unit, poll.function.code(), count], poll.reply_bytes()) {
        return frame.get(HEAD_BYTES..HEAD_BYTES.saturating_add(poll.data_bytes())).map(Ok);
    }
    find(heard, &[poll.unit, poll.function.code() | REFUSED], REFUSAL_BYTES).map(|_| Err(SensorFault::Refused))
}

/// Why there is no answer, once the time for it is over.
#[must_use]
pub fn why_not(heard: &[u8], line_error: bool) -> SensorFault {
    if heard.is_empty() && !line_error {
        return SensorFault::Silent;
    }
    let frame_bytes = response_pdu_len(heard).ok().flatten().map(|pdu| pdu.saturating_add(WRAPPING_BYTES));
    let sound = frame_bytes.is_some_and(|bytes| is_sound(heard, bytes)) || is_sound(heard, heard.len());
    if sound { SensorFault::Mismatched } else { SensorFault::Damaged }
}

/// The first sound frame of `bytes` bytes with this head.
fn find<'h>(heard: &'h [u8], head: &[u8], bytes: usize) -> Option<&'h [u8]> {
    heard.windows(bytes.max(1)).find(|frame| frame.starts_with(head) && is_sound(frame, bytes))
}

/// Whether the first `bytes` bytes end with the right check.
fn is_sound(heard: &[u8], bytes: usize) -> bool {
    // A frame has a unit, a function and a check at least; without a function there is nothing to be sound.
    let frame = heard.get(..bytes).filter(|frame| frame.len() > WRAPPING_BYTES);
    frame.and_then(<[u8]>::split_last_chunk).is_some_and(|(checked, check)| crc16(checked).to_be_bytes() == *check)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::sensor_line::registers::{Function, RegisterMap};

    /// A frame of these bytes with the right check behind, low byte first.
    pub(crate) fn checked(bytes: &[u8]) -> Vec<u8> {
        [bytes, &crc16(bytes).to_be_bytes()].concat()
    }

    fn poll(unit: u8, function: Function, registers: u16) -> Poll {
        Poll { unit, function, first: 0, registers }
    }

    /// Check value of CRC-16/MODBUS: catalogue of parametrised CRC algorithms (crate crc-catalog, PyPI crcmod).
    #[test]
    fn crc_16_modbus_check_value() {
        assert_eq!(crc16(b"123456789").swap_bytes(), 0x4B37);
        let whole = checked(b"123456789");
        assert_eq!(crc16(&whole), 0x0000, "the check over a whole good frame");
    }

    /// Replies of the Modbus application protocol's examples and public tests; checks recomputed with PyPI crcmod.
    #[test]
    fn published_replies_are_read() {
        let rows: [(u8, Function, &[u8], &[u8]); 5] = [
            (
                17,
                Function::Holding,
                &[0x11, 0x03, 0x06, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40, 0x49, 0xAD],
                &[0xAE, 0x41, 0x56, 0x52, 0x43, 0x40],
            ),
            (17, Function::Input, &[0x11, 0x04, 0x02, 0x00, 0x0A, 0xF8, 0xF4], &[0x00, 0x0A]),
            (17, Function::Input, &[0x11, 0x04, 0x02, 0xFF, 0xFE, 0xB8, 0x83], &[0xFF, 0xFE]),
            (
                1,
                Function::Holding,
                &[0x01, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64, 0x05, 0x7A],
                &[0x02, 0x2B, 0x00, 0x00, 0x00, 0x64],
            ),
            (1, Function::Input, &[0x01, 0x04, 0x02, 0x00, 0x0A, 0x39, 0x37], &[0x00, 0x0A]),
        ];
        for (unit, function, frame, data) in rows {
            let poll = poll(unit, function, u16::try_from(data.len() / 2).unwrap());
            assert_eq!(answer(&poll, frame), Some(Ok(data)));
            for missing in 1..frame.len() {
                assert_eq!(answer(&poll, &frame[..frame.len() - missing]), None, "not whole yet");
            }
        }
    }

    /// Exceptions: function + 0x80, code 02. Checks recomputed with PyPI crcmod.
    #[test]
    fn published_exceptions_are_refusals() {
        let (holding, input) = (poll(1, Function::Holding, 1), poll(1, Function::Input, 1));
        assert_eq!(answer(&holding, &[0x01, 0x83, 0x02, 0xC0, 0xF1]), Some(Err(SensorFault::Refused)));
        assert_eq!(answer(&input, &[0x01, 0x84, 0x02, 0xC2, 0xC1]), Some(Err(SensorFault::Refused)));
        let other = [0x0A, 0x81, 0x02, 0xB0, 0x53];
        assert_eq!(answer(&input, &other), None, "another unit's exception");
        assert_eq!(why_not(&other, false), SensorFault::Mismatched);
    }

    #[test]
    fn bytes_that_nobody_sent_before_and_behind_a_reply_do_no_harm() {
        let heard = [&[0x00, 0xFF, 0x01, 0x04][..], &checked(&[1, 4, 2, 0, 10]), &[0x00]].concat();
        assert_eq!(answer(&poll(1, Function::Input, 1), &heard), Some(Ok(&[0, 10][..])));
    }

    #[test]
    fn sound_frames_that_answer_something_else_are_mismatched() {
        let ours = poll(1, Function::Input, 1);
        let cases: [&[u8]; 6] = [
            &[0x01, 0x04, 0x00],                         // byte count 0: 01 04 00 22 C0
            &[0x02, 0x04, 0x02, 0x00, 0x0A],             // another unit
            &[0x01, 0x03, 0x02, 0x00, 0x0A],             // another function
            &[0x01, 0x04, 0x04, 0x00, 0x0A, 0x00, 0x0A], // more than asked for
            &[0x01, 0x04, 0x04, 0x00, 0x0A],             // byte count and length disagree
            &[0x01, 0x07],                               // shortest frame there is
        ];
        for bytes in cases {
            let frame = checked(bytes);
            assert_eq!(answer(&ours, &frame), None, "{bytes:02X?}");
            assert_eq!(why_not(&frame, false), SensorFault::Mismatched, "{bytes:02X?}");
        }
        assert_eq!(checked(&[1, 4, 0]), [0x01, 0x04, 0x00, 0x22, 0xC0]);
        // Serial-line guide's example of a check.
        assert_eq!(checked(&[0x02, 0x07]), [0x02, 0x07, 0x41, 0x12]);
    }

    #[test]
    fn a_wrong_check_is_damage_and_nothing_is_silence() {
        let ours = poll(1, Function::Input, 1);
        let good = [0x01, 0x04, 0x02, 0x00, 0x0A, 0x39, 0x37];
        for bit in 0..good.len() * 8 {
            let mut frame = good;
            frame[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(answer(&ours, &frame), None);
            assert_eq!(why_not(&frame, false), SensorFault::Damaged);
        }
        assert_eq!(why_not(&[], false), SensorFault::Silent);
        assert_eq!(why_not(&[], true), SensorFault::Damaged);
        assert_eq!(why_not(&[0], false), SensorFault::Damaged);
        // Three bytes of which two are the check of the first: no function, so no frame.
        assert_eq!(why_not(&checked(&[0x01]), false), SensorFault::Damaged);
    }

    /// Two million sound frames of random bytes, half of them with a head like the one that is waited for.
    #[test]
    fn random_sound_frames_never_panic_and_only_exact_ones_are_answers() {
        let (encoder, tilt) = RegisterMap::BENCH.polls().unwrap();
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        let mut random = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state
        };
        let mut answers = 0;
        for round in 0..2_000_000_u32 {
            let mut frame: heapless::Vec<u8, 24> = heapless::Vec::new();
            let length = 2 + usize::try_from(random() % 12).unwrap();
            for word in [random(), random()] {
                frame.extend_from_slice(&word.to_le_bytes()).unwrap();
            }
            if round % 2 == 0 {
                let head = [1, 4 | (frame[0] & 0x80), frame[1] % 8];
                frame[..3].copy_from_slice(&head);
            }
            frame.truncate(length);
            let check = crc16(&frame);
            frame.extend_from_slice(&check.to_be_bytes()).unwrap();

            if let Some(Ok(data)) = answer(&encoder, &frame) {
                let exact = |part: &[u8]| part.starts_with(&[1, 4, 4]) && crc16(part) == 0 && &part[3..7] == data;
                assert!(frame.windows(9).any(exact), "{frame:02X?}");
                RegisterMap::BENCH.count(0, data).ok();
                answers += 1;
            }
            assert!(!matches!(answer(&tilt, &frame), Some(Ok(_))) || frame[..3] == [2, 4, 8]);
            assert_eq!(why_not(&frame, false), SensorFault::Mismatched);
            RegisterMap::BENCH.force(0, &frame).ok();
        }
        assert!(answers > 1_000, "{answers}");
    }
}
