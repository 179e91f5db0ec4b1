//! The sensor line's timing, in milliseconds, from its baud rate alone.
//!
//! Modbus over serial line, 2.5.1: a character is 11 bits with or without parity; frames are 3.5 characters
//! apart, fixed at 1.75 ms above 19200 baud. Times are rounded up. A difference of two readings of a
//! millisecond clock may be one more than the time that truly passed, so a silence gets one more; and what
//! is looked at once a millisecond is noticed up to one late, so everything waited for gets one more too.

use super::registers::Poll;

/// Milliseconds from one round's start to the next, on average: both sensors are asked 20 times a second.
pub const ROUND_MS: u32 = 50;
/// How much a round may come before or after its time. Instants that are this uneven, each interval of 33 to 67 ms as
/// likely as any other, turn a vibration near a multiple of 20 Hz into scatter; at even instants it would fold down to
/// a slow false lean that nothing shows.
pub const UNEVEN_MS: u32 = 17;
/// The most that a round may take, so that the next can begin in its time.
const ROUND_MAX_MS: u32 = ROUND_MS - UNEVEN_MS;
/// Bits of one character on the line.
const CHARACTER_BITS: u32 = 11;
/// Up to this rate the silence between frames is counted in characters.
const COUNTED_UP_TO_BAUD: u32 = 19_200;
/// The silence between frames above that rate, microseconds.
const FIXED_SILENCE_US: u32 = 1_750;
/// What looking once a millisecond can cost.
const LOOK_MS: u32 = 1;

/// How the line is set up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LineSettings {
    /// Bits a second.
    pub baud: u32,
    /// The longest that either sensor takes to begin its reply, milliseconds, by its data sheet.
    pub response_ms: u32,
    /// Whether the transceiver hears what it sends.
    pub echo: bool,
}

impl LineSettings {
    /// The line of the bench: 38400 baud, sensors that reply within 5 ms, no echo.
    pub const BENCH: Self = Self { baud: 38_400, response_ms: 5, echo: false };
}

/// A baud rate at which 20 rounds a second at uneven instants cannot be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TooSlow {
    /// The rate.
    pub baud: u32,
    /// What a round with both sensors takes at it, milliseconds.
    pub round_ms: u32,
}

impl core::fmt::Display for TooSlow {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let Self { baud, round_ms } = self;
        write!(f, "a round of the sensor line takes {round_ms} ms at {baud} baud, and {ROUND_MAX_MS} ms is the most: use a higher rate")
    }
}

/// The times of one round, milliseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Timing {
    /// The longest that a request may take to leave.
    pub request: u32,
    /// From the end of a request to the end of the encoder's reply, at most.
    pub encoder_reply: u32,
    /// From the end of a request to the end of the tilt sensor's reply, at most.
    pub tilt_reply: u32,
    /// The silence kept after each reply.
    pub silence: u32,
    /// From reading depth to reading lean, when both sensors take as long to respond as they may.
    pub skew: u16,
}

impl Timing {
    /// Computes the times. A sensor is waited for longer than its data sheet says, all that a round of middling length
    /// leaves over: one that is late now and then delays the next round and is heard.
    ///
    /// # Errors
    /// [`TooSlow`] where a round with the sensors' own response times takes more than 33 ms.
    pub fn new(settings: LineSettings, encoder: &Poll, tilt: &Poll) -> Result<Self, TooSlow> {
        let LineSettings { baud, response_ms, .. } = settings;
        let characters = |bytes| characters_ms(bytes, baud);
        let silence = silence_us(baud).div_ceil(1_000).saturating_add(1);
        let request = characters(Poll::REQUEST_BYTES).saturating_add(LOOK_MS);
        let (to_encoder, to_tilt) = (characters(encoder.reply_bytes()), characters(tilt.reply_bytes()));
        let sum = |parts: &[u32]| parts.iter().fold(0, |sum: u32, &part| sum.saturating_add(part));

        let fixed = sum(&[request, to_encoder, LOOK_MS, silence, request, to_tilt, LOOK_MS, silence]);
        let round_ms = sum(&[fixed, response_ms, response_ms]);
        if round_ms > ROUND_MAX_MS {
            return Err(TooSlow { baud, round_ms });
        }
        let response = ROUND_MS.saturating_sub(fixed) / 2;
        let skew = sum(&[response_ms, to_encoder, silence, characters(Poll::REQUEST_BYTES)]);
        Ok(Self {
            request,
            encoder_reply: sum(&[response, to_encoder, LOOK_MS]),
            tilt_reply: sum(&[response, to_tilt, LOOK_MS]),
            silence,
            skew: u16::try_from(skew).unwrap_or(u16::MAX),
        })
    }
}

/// Time of so many characters, microseconds, rounded up; endless at 0 baud.
fn characters_us(tenths: u32, baud: u32) -> u32 {
    let bits = u64::from(tenths).saturating_mul(u64::from(CHARACTER_BITS));
    let us = bits.saturating_mul(100_000).checked_next_multiple_of(u64::from(baud)).unwrap_or(u64::MAX);
    us.checked_div(u64::from(baud)).and_then(|us| u32::try_from(us).ok()).unwrap_or(u32::MAX)
}

/// Time of so many bytes, milliseconds, rounded up.
fn characters_ms(bytes: usize, baud: u32) -> u32 {
    let tenths = u32::try_from(bytes).unwrap_or(u32::MAX).saturating_mul(10);
    characters_us(tenths, baud).div_ceil(1_000)
}

/// The silence between frames (t3.5), microseconds, rounded up.
#[must_use]
pub fn silence_us(baud: u32) -> u32 {
    if baud > COUNTED_UP_TO_BAUD { FIXED_SILENCE_US } else { characters_us(35, baud) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sensor_line::registers::RegisterMap;

    fn bench(baud: u32, response_ms: u32) -> Result<Timing, TooSlow> {
        let (encoder, tilt) = RegisterMap::BENCH.polls().unwrap();
        Timing::new(LineSettings { baud, response_ms, echo: false }, &encoder, &tilt)
    }

    /// Modbus over serial line 1.02, 2.5.1.1 (characters of 11 bits, fixed silence above 19200 baud); the
    /// milliseconds are 3.5 × 11 ÷ baud.
    #[test]
    fn silence_is_three_and_a_half_characters_of_eleven_bits_up_to_19200_baud_and_fixed_above() {
        let rows =
            [(1_200, 32.0833), (2_400, 16.0417), (4_800, 8.02083), (9_600, 4.01042), (19_200, 2.00521), (38_400, 1.75), (115_200, 1.75)];
        for (baud, ms) in rows {
            let short_by = f64::from(silence_us(baud)) / 1_000.0 - ms;
            assert!((-0.0001..0.001).contains(&short_by), "{baud} baud: {} µs", silence_us(baud));
        }
        assert_ne!(silence_us(9_600), 3_646, "characters of ten bits");
        assert_eq!(silence_us(19_201), FIXED_SILENCE_US);
    }

    #[test]
    fn a_byte_takes_eleven_bits() {
        assert_eq!(characters_us(10, 11_000), 1_000);
        assert_eq!(characters_ms(8, 19_200), 5); // 4.58
        assert_eq!(characters_ms(9, 19_200), 6); // 5.16
        assert_eq!(characters_ms(11, 19_200), 7); // 6.30
        assert_eq!(characters_ms(1, 0), u32::MAX.div_ceil(1_000));
    }

    #[test]
    fn twenty_rounds_a_second_at_uneven_instants_need_38400_baud() {
        assert_eq!(bench(9_600, 5), Err(TooSlow { baud: 9_600, round_ms: 72 }));
        assert_eq!(bench(19_200, 5), Err(TooSlow { baud: 19_200, round_ms: 46 }));
        assert_eq!(bench(19_200, 0).unwrap_err().round_ms, 36, "not even sensors that reply at once");
        for baud in [38_400, 57_600, 115_200, 921_600] {
            let t = bench(baud, 5).unwrap();
            let round = t.request * 2 + t.encoder_reply + t.tilt_reply + t.silence * 2;
            assert!((ROUND_MS - 1..=ROUND_MS).contains(&round), "{baud} baud: {t:?}");
        }
        assert!(bench(0, 5).is_err());
        assert!(bench(38_400, 6).is_err());
        assert!(bench(38_400, u32::MAX).is_err());
    }

    #[test]
    fn a_refusal_says_what_to_do() {
        let said = bench(9_600, 5).unwrap_err().to_string();
        assert_eq!(said, "a round of the sensor line takes 72 ms at 9600 baud, and 33 ms is the most: use a higher rate");
    }

    #[test]
    fn the_skew_at_the_bench_is_what_the_bench_profile_says() {
        // response 5 + reply 3 + silence 3 + request 3
        assert_eq!(bench(38_400, 5).unwrap().skew, 14);
        assert_eq!(bench(38_400, 5).unwrap().skew, firmware_app::profile::Profile::bench().skew_ms);
        assert!(bench(115_200, 5).unwrap().skew < 14);
    }
}
