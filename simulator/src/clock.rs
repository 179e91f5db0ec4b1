//! Virtual time: a count that only the bench moves on. Nothing in the world asks a clock.

/// A moment of the world, microseconds since it began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment(pub u64);

impl Moment {
    /// So many microseconds later.
    #[must_use]
    pub const fn plus_us(self, us: u64) -> Self {
        Self(self.0.saturating_add(us))
    }

    /// So many milliseconds later.
    #[must_use]
    pub const fn plus_ms(self, ms: u64) -> Self {
        self.plus_us(ms.saturating_mul(1_000))
    }

    /// Whole milliseconds since the world began.
    #[must_use]
    pub const fn ms(self) -> u64 {
        self.0 / 1_000
    }

    /// Seconds since the world began.
    #[must_use]
    pub fn seconds(self) -> f64 {
        let whole = u32::try_from(self.0 / 1_000_000).unwrap_or(u32::MAX);
        let rest = u32::try_from(self.0 % 1_000_000).unwrap_or(0);
        f64::from(whole) + f64::from(rest) / 1e6
    }
}

/// How long one character takes on a serial line, microseconds, rounded up so that a line is never too fast.
#[must_use]
pub const fn character_us(bits: u64, baud: u32) -> u64 {
    (bits * 1_000_000).div_ceil(if baud == 0 { 1 } else { baud as u64 })
}

/// Milliseconds of a length of time given in seconds by a scenario; negative and absurd ones are cut off.
#[must_use]
pub fn ms_of(seconds: f64) -> u64 {
    thousandths(seconds)
}

/// Microseconds of a length of time given in milliseconds by a scenario, cut off likewise.
#[must_use]
pub fn us_of(milliseconds: f64) -> u64 {
    thousandths(milliseconds)
}

fn thousandths(value: f64) -> u64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // bounded on both sides just here
    let whole = (value * 1_000.0).clamp(0.0, 1e12) as u64;
    whole
}

/// The nearest whole number, its ends standing for all beyond.
#[must_use]
pub fn round_i32(value: f64) -> i32 {
    #[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
    let whole = value.round() as i32;
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_eleven_bit_character_at_19200_baud() {
        // check-values: t3.5 at 19200 is 2.00521 ms, so one character is 0.572917 ms.
        assert_eq!(character_us(11, 19_200), 573);
        assert_eq!(character_us(10, 115_200), 87);
    }

    #[test]
    fn seconds_and_milliseconds() {
        assert_eq!(Moment(0).plus_ms(1_500).ms(), 1_500);
        assert!((Moment(1_500_000).seconds() - 1.5).abs() < 1e-12);
        assert_eq!((ms_of(-1.0), ms_of(0.25), us_of(1.5)), (0, 250, 1_500));
        assert_eq!((round_i32(-2.5), round_i32(1e30)), (-3, i32::MAX));
    }
}
