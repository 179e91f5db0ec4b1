//! The sensor line and the slaves on it, without a transport: bytes in at a time, bytes out due at a time.

use crate::clock::{Moment, character_us};
use crate::modbus::{READ_HOLDING, READ_INPUT, READ_REQUEST_BYTES, Request};
use crate::wire::Wire;

/// Bits of a character on the sensor line: start, eight, parity or a second stop, stop.
const CHARACTER_BITS: u64 = 11;
/// A frame longer than any request is noise.
const FRAME_BYTES_MAX: usize = 256;

/// An answer to put on the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// The frame.
    pub bytes: Vec<u8>,
    /// How much later than usual, µs.
    pub late_us: u64,
}

/// The slaves on the line.
pub trait Slaves {
    /// What they answer to a request whose check is right; `None` for silence.
    fn answer(&mut self, request: &Request, now: Moment) -> Option<Answer>;
}

/// The line's timing.
#[derive(Clone, Copy, Debug)]
pub struct Timing {
    /// Bits per second.
    pub baud: u32,
    /// From the end of a request's closing silence to the first byte of the answer, µs.
    pub reply_delay_us: u64,
    /// Silence that ends a frame, µs.
    pub silence_us: u64,
}

impl Timing {
    /// As the serial-line guide has it: 3.5 characters up to 19200 baud, 1.75 ms above.
    #[must_use]
    pub fn standard(baud: u32, reply_delay_us: u64) -> Self {
        let silence_us = if baud > 19_200 { 1_750 } else { (7 * character_us(CHARACTER_BITS, baud)).div_ceil(2) };
        Self { baud, reply_delay_us, silence_us }
    }
}

/// The line: two wires, one speaker at a time.
#[derive(Clone, Debug)]
pub struct Line {
    timing: Timing,
    heard: Vec<u8>,
    heard_until: Moment,
    saying: Wire,
}

impl Line {
    /// A quiet line.
    #[must_use]
    pub fn new(timing: Timing) -> Self {
        Self { timing, heard: Vec::new(), heard_until: Moment(0), saying: Wire::new(CHARACTER_BITS, timing.baud) }
    }

    /// The master put bytes on the line at this time: they arrive one character after the other.
    pub fn hear(&mut self, at: Moment, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        let character = character_us(CHARACTER_BITS, self.timing.baud);
        for byte in bytes {
            self.heard_until = self.heard_until.max(at).plus_us(character);
            if self.heard.len() < FRAME_BYTES_MAX {
                self.heard.push(*byte);
            }
        }
    }

    /// Time goes on: a frame that is complete is given to the slaves. Call it at least once a millisecond.
    pub fn step(&mut self, now: Moment, slaves: &mut impl Slaves) {
        if self.heard.is_empty() || now < self.heard_until {
            return;
        }
        let quiet = now >= self.heard_until.plus_us(self.timing.silence_us);
        // A read that is all there need not wait for silence to be known; over a socket silence means nothing.
        let complete = self.heard.len() == READ_REQUEST_BYTES && matches!(self.heard[1], READ_HOLDING | READ_INPUT);
        let request = if quiet || complete { Request::parse(&self.heard) } else { None };
        if let Some(answer) = request.and_then(|request| slaves.answer(&request, now)) {
            let standard = Timing::standard(self.timing.baud, 0).silence_us;
            let from = self.heard_until.plus_us(standard + self.timing.reply_delay_us + answer.late_us);
            answer.bytes.iter().for_each(|byte| self.saying.send(from, Some(*byte)));
        }
        if quiet || request.is_some() {
            self.heard.clear();
        }
    }

    /// The bytes that have arrived at the master by now.
    pub fn due(&mut self, now: Moment) -> Vec<u8> {
        self.saying.due(now)
    }

    /// Power is gone: nothing more is heard or said.
    pub fn fall_silent(&mut self) {
        self.heard.clear();
        self.saying.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Ten;
    impl Slaves for Ten {
        fn answer(&mut self, request: &Request, _: Moment) -> Option<Answer> {
            (request.unit == 1).then(|| Answer { bytes: request.serve(&[10; 20]), late_us: 0 })
        }
    }

    const ASK: [u8; 8] = [0x01, 0x04, 0x00, 0x08, 0x00, 0x01, 0xB0, 0x08];
    const ANSWER: [u8; 7] = [0x01, 0x04, 0x02, 0x00, 0x0A, 0x39, 0x37];

    fn run(line: &mut Line, from_ms: u64, to_ms: u64) -> Vec<(u64, u8)> {
        let mut out = Vec::new();
        for ms in from_ms..to_ms {
            let now = Moment(0).plus_ms(ms);
            line.step(now, &mut Ten);
            out.extend(line.due(now).into_iter().map(|byte| (ms, byte)));
        }
        out
    }

    #[test]
    fn the_answer_comes_at_the_lines_own_pace() {
        let mut line = Line::new(Timing::standard(19_200, 2_000));
        line.hear(Moment(0), &ASK);
        let out = run(&mut line, 1, 100);
        assert_eq!(out.iter().map(|(_, b)| *b).collect::<Vec<_>>(), ANSWER);
        // 8 characters 4.584, 3.5 characters 2.006, delay 2, then 7 characters of 0.573 ms: first byte by 9.163 ms,
        // last by 12.601 ms (11 bits a character: serial-line guide).
        assert_eq!((out[0].0, out[6].0), (10, 13));
    }

    #[test]
    fn silence_rules_follow_the_baud_rate() {
        // check-values §7.2: t3.5 is 4.01042 ms at 9600, 2.00521 at 19200, fixed 1.750 above.
        assert!(Timing::standard(9_600, 0).silence_us.abs_diff(4_010) <= 2);
        assert!(Timing::standard(19_200, 0).silence_us.abs_diff(2_005) <= 2);
        assert_eq!(Timing::standard(38_400, 0).silence_us, 1_750);
    }

    #[test]
    fn a_frame_with_a_hole_in_it_is_two_bad_ones() {
        let mut line = Line::new(Timing::standard(19_200, 0));
        line.hear(Moment(0), &ASK[..4]);
        assert!(run(&mut line, 1, 12).is_empty());
        line.hear(Moment(12_000), &ASK[4..]);
        assert!(run(&mut line, 12, 60).is_empty());
        line.hear(Moment(60_000), &ASK);
        assert_eq!(run(&mut line, 60, 100).len(), ANSWER.len());
    }

    #[test]
    fn without_power_nothing_is_heard_or_said_any_more() {
        let mut line = Line::new(Timing::standard(19_200, 0));
        line.hear(Moment(0), &ASK);
        assert!(run(&mut line, 1, 9).len() < ANSWER.len());
        line.fall_silent();
        assert!(run(&mut line, 9, 100).is_empty());
        line.hear(Moment(0).plus_ms(100), &ASK);
        line.fall_silent();
        assert!(run(&mut line, 100, 200).is_empty());
    }

    #[test]
    fn noise_other_units_and_bad_checks_get_no_answer() {
        for wrong in
            [&[0xFF; 300][..], &[0x02, 0x04, 0x00, 0x08, 0x00, 0x01, 0xB0, 0x3B], &[0x01, 0x04, 0x00, 0x08, 0x00, 0x01, 0xB0, 0x09]]
        {
            let mut line = Line::new(Timing::standard(38_400, 0));
            line.hear(Moment(0), wrong);
            assert!(run(&mut line, 1, 200).is_empty());
            line.hear(Moment(0).plus_ms(200), &ASK);
            assert_eq!(run(&mut line, 200, 230).len(), ANSWER.len(), "and it listens again");
        }
    }
}
