//! An incremental encoder wired straight to two pins: every edge of either counts.

use embedded_hal::digital::InputPin;

/// One entry of the table.
const COUNT_UP: i8 = 1;
const COUNT_DOWN: i8 = -1;
const STILL: i8 = 0;
/// Both pins changed at once: a step was missed.
const MISSED: i8 = 2;

/// What a change means, by the state before (high bits) and now (low bits), pin A before pin B.
const STEPS: [i8; 16] = [
    STILL, COUNT_UP, COUNT_DOWN, MISSED, //
    COUNT_DOWN, STILL, MISSED, COUNT_UP, //
    COUNT_UP, MISSED, STILL, COUNT_DOWN, //
    MISSED, COUNT_DOWN, COUNT_UP, STILL,
];

/// Counts four steps to a period. The count stops at the ends of its range instead of wrapping to a plausible one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Quadrature {
    state: usize,
    count: i32,
    missed: u32,
}

impl Quadrature {
    /// Starts at count 0 with the pins as they are now.
    #[must_use]
    pub const fn new(a: bool, b: bool) -> Self {
        Self { state: state(a, b), count: 0, missed: 0 }
    }

    /// Takes the pins as they are now.
    pub fn step(&mut self, a: bool, b: bool) {
        let now = state(a, b);
        let step = STEPS.get(self.state << 2 | now).copied().unwrap_or(MISSED);
        self.state = now;
        if step == MISSED {
            self.missed = self.missed.saturating_add(1);
        } else {
            self.count = self.count.saturating_add(i32::from(step));
        }
    }

    /// Reads two pins and takes them.
    ///
    /// # Errors
    /// Where a pin cannot be read; nothing is counted then.
    pub fn sample<A: InputPin, B: InputPin<Error = A::Error>>(&mut self, a: &mut A, b: &mut B) -> Result<(), A::Error> {
        let (a, b) = (a.is_high()?, b.is_high()?);
        self.step(a, b);
        Ok(())
    }

    /// Steps counted, up less down.
    #[must_use]
    pub const fn count(&self) -> i32 {
        self.count
    }

    /// Times that both pins had changed at once, so that the count is wrong by two either way.
    #[must_use]
    pub const fn missed(&self) -> u32 {
        self.missed
    }
}

const fn state(a: bool, b: bool) -> usize {
    (a as usize) << 1 | b as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};

    /// The published transition table of four-fold quadrature decoding (gist cehteh/3c44f46f…): previous state
    /// in the high two bits, state now in the low two.
    #[test]
    fn quadrature_table() {
        let (up, down) = ([0b0001, 0b0111, 0b1110, 0b1000], [0b0010, 0b1011, 0b1101, 0b0100]);
        let (still, missed) = ([0b0000, 0b0101, 0b1010, 0b1111], [0b0011, 0b0110, 0b1001, 0b1100]);
        let rows = [(up, 1, 0), (down, -1, 0), (still, 0, 0), (missed, 0, 1)];
        for (change, count, errors) in rows.into_iter().flat_map(|(changes, count, errors)| changes.map(|change| (change, count, errors))) {
            let bit = |n: usize| change >> n & 1 == 1;
            let mut encoder = Quadrature::new(bit(3), bit(2));
            encoder.step(bit(1), bit(0));
            assert_eq!((encoder.count(), encoder.missed()), (count, errors), "{change:04b}");
        }
    }

    /// 1000 periods a revolution on a 500 mm circumference: 4000 counts a revolution, 0.125 mm a count (arithmetic).
    #[test]
    fn a_revolution_is_four_times_the_periods_and_back_is_zero() {
        let (mut encoder, cycle) = (Quadrature::new(false, false), [(false, true), (true, true), (true, false), (false, false)]);
        for _ in 0..1_000 {
            cycle.iter().for_each(|&(a, b)| encoder.step(a, b));
        }
        assert_eq!(encoder.count(), 4_000);
        assert!((500.0 / f64::from(encoder.count()) - 0.125).abs() < 1e-12);
        for _ in 0..1_000 {
            [(true, false), (true, true), (false, true), (false, false)].iter().for_each(|&(a, b)| encoder.step(a, b));
        }
        assert_eq!((encoder.count(), encoder.missed()), (0, 0));
    }

    #[test]
    fn the_count_stops_at_its_ends() {
        let mut encoder = Quadrature { count: i32::MAX, ..Quadrature::default() };
        encoder.step(false, true);
        assert_eq!(encoder.count(), i32::MAX);
        encoder.step(false, false);
        assert_eq!(encoder.count(), i32::MAX - 1);
    }

    #[test]
    fn pins_are_sampled_together() {
        let mut a = Mock::new(&[Transaction::get(State::Low), Transaction::get(State::High)]);
        let mut b = Mock::new(&[Transaction::get(State::High), Transaction::get(State::High)]);
        let mut encoder = Quadrature::new(false, false);
        encoder.sample(&mut a, &mut b).unwrap();
        encoder.sample(&mut a, &mut b).unwrap();
        assert_eq!(encoder.count(), 2);
        a.done();
        b.done();
    }
}
