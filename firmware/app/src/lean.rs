//! Specific force: what is plausible, what is a fault, the mean over the last second and over an increment. The
//! vector is averaged first and normalised after, and nothing is smoothed away.
//!
//! **Vibration.** Rounds come at uneven instants, 33 to 67 ms apart, so a tone near a multiple of 20 Hz becomes scatter
//! and not a steady lean. An increment is flagged as scattered from a standard deviation of 20 mm/m on: of a tone of
//! 28 mm/m (28 mg) about a third of the increments of 25 samples, of 40 mm/m all but one in 500, of 80 mm/m every one.
//! What is not flagged errs, over an increment of 25 samples, by 64 mm/m at most, and in the mean over four, which the
//! axis takes, by 17; those are the ends of long tails with a fifth to spare. Its root mean square in the mean over four
//! is 0.11 times the amplitude at 20 Hz, 3 mm/m just below the flag, and no more than 1.7 times the recorded scatter
//! over the square root of the samples at any frequency. So the scatter on record says what a tone may have done, and the
//! host's budget takes it from there. `firmware/drivers/tests/sampling.rs` holds all of this.

use crate::correction::{Correction, norm_squared};
use crate::reading::{Reading, Sensed};
use heapless::Deque;
use shared_protocol::body::CoarseLean;
use shared_protocol::state::{SensorFault, SpecificForce};
use shared_protocol::units::{Lean, MicroG, Millis, RigAxes, clamp_i32, div_round};

/// The shown mean is over this much of the past, every sample with the same weight: it lags by half of it, and a step
/// of a still mast is shown whole when it and one round have passed.
pub const WINDOW_MS: u32 = 1_000;
/// After this long a step of a still mast is shown to within 5 %: the window, and the longest time between two rounds.
pub const SETTLED_MS: u32 = WINDOW_MS + 67;
/// Samples that it can hold: rounds are 33 ms apart or more.
const WINDOW: usize = 32;
/// Of the sensor's range, so many thousandths from either end are clipped already.
const CLIPPED_PER_MILLE: i64 = 25;
/// Squared norms that a single sample may have: half to one and a half g. A shaking mast is not at rest, yet not
/// falling either.
const SAMPLE_NORM: core::ops::RangeInclusive<u64> = 500_000 * 500_000..=1_500_000 * 1_500_000;
/// Squared norms that the mean may have: 3 % either side of one g.
const MEAN_NORM: core::ops::RangeInclusive<u64> = 970_000 * 970_000..=1_030_000 * 1_030_000;
/// Samples left out one after the other before it is called a fault.
const LEFT_OUT_MAX: u8 = 6;
/// Samples equal to the last digit before the sensor is called stuck: five seconds.
const STUCK: u8 = 100;
/// Samples that a mean needs.
const SAMPLES_MIN: u16 = 5;

/// A mean in the making: plausible samples only, whose norm is 1.5 g at most, so that nothing below can overflow.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    /// The first sample; sums are of what others differ from it, so that a small scatter does not drown in a large mean.
    origin: SpecificForce,
    sums: [i64; 3],
    squares: i64,
    /// Samples taken; at 65,535 no more are.
    pub samples: u16,
    /// Samples left out.
    pub left_out: bool,
}

impl Tally {
    /// Adds one plausible sample.
    pub fn add(&mut self, force: &SpecificForce) {
        if self.samples == u16::MAX {
            return;
        }
        if self.samples == 0 {
            self.origin = *force;
        }
        let off = |a: MicroG, b: MicroG| i64::from(a.0).wrapping_sub(i64::from(b.0));
        let forward = off(force.level.forward, self.origin.level.forward);
        let right = off(force.level.right, self.origin.level.right);
        let [sum_forward, sum_right, sum_up] = &mut self.sums;
        *sum_forward = sum_forward.wrapping_add(forward);
        *sum_right = sum_right.wrapping_add(right);
        *sum_up = sum_up.wrapping_add(off(force.up, self.origin.up));
        self.squares = self.squares.wrapping_add(square(forward)).wrapping_add(square(right)); // 2⁶¹ at most
        self.samples = self.samples.wrapping_add(1);
    }

    /// The mean vector to the nearest µg, `None` without samples.
    #[must_use]
    pub fn mean(&self) -> Option<SpecificForce> {
        let count = i64::from(self.samples);
        let one = |origin: MicroG, sum: i64| MicroG(clamp_i32(i64::from(origin.0).wrapping_add(div_round(sum, count))));
        let [forward, right, up] = self.sums;
        let level = RigAxes { forward: one(self.origin.level.forward, forward), right: one(self.origin.level.right, right) };
        (count > 0).then(|| SpecificForce { level, up: one(self.origin.up, up) })
    }

    /// Standard deviation of the samples' level components, both axes together, in steps of 10 µg; the end of the range
    /// stands for all beyond. In steps of 10 µm/m that is the scatter of their leans, as nearly as their norm is one g.
    #[must_use]
    pub fn scatter(&self) -> u16 {
        let count = i64::from(self.samples);
        let [forward, right, _] = self.sums.map(|sum| square(div_round(sum, count)));
        let variance = div_round(self.squares, count).wrapping_sub(forward).wrapping_sub(right);
        let deviation = u64::try_from(variance).unwrap_or(0).isqrt();
        u16::try_from(deviation.checked_div(10).unwrap_or(0)).unwrap_or(u16::MAX)
    }
}

const fn square(v: i64) -> i64 {
    v.wrapping_mul(v)
}

/// The lean side of the rig.
#[derive(Debug, Default)]
pub struct LeanMeter {
    window: Deque<(Millis, SpecificForce), WINDOW>,
    tally: Tally,
    last: SpecificForce,
    same: u8,
    temperature: Option<i16>,
    fault: Option<SensorFault>,
    stale: bool,
    left_out: u8,
}

impl LeanMeter {
    /// Takes one round and returns the sample where it is plausible. `range` is the end of the sensor's range.
    pub fn take(&mut self, range: MicroG, sensed: &Sensed, now: Millis) -> Option<SpecificForce> {
        self.temperature = sensed.temperature.or(self.temperature);
        match sensed.force {
            Reading::Good(force) => self.take_force(range, force, now),
            Reading::Stale => {
                self.stale = true;
                None
            }
            Reading::Fault(fault) => {
                self.set_fault(fault);
                None
            }
        }
    }

    fn take_force(&mut self, range: MicroG, force: SpecificForce, now: Millis) -> Option<SpecificForce> {
        if self.is_stuck(&force) {
            self.set_fault(SensorFault::Stuck);
            return None;
        }
        let clipped = is_clipped(range, &force);
        if clipped || !SAMPLE_NORM.contains(&norm_squared(&force)) {
            self.stale = true;
            self.left_out = self.left_out.saturating_add(1);
            if self.left_out >= LEFT_OUT_MAX {
                self.set_fault(if clipped { SensorFault::Saturated } else { SensorFault::NotGravity });
            }
            return None;
        }
        self.left_out = 0;
        self.stale = false;
        self.fault = None;
        self.keep(force, now);
        Some(force)
    }

    fn is_stuck(&mut self, force: &SpecificForce) -> bool {
        self.same = if *force == self.last { self.same.saturating_add(1) } else { 1 };
        self.last = *force;
        self.same >= STUCK
    }

    fn keep(&mut self, force: SpecificForce, now: Millis) {
        while self.window.is_full() || self.window.front().is_some_and(|(at, _)| now.since(*at) > WINDOW_MS) {
            self.window.pop_front();
        }
        let _ = self.window.push_back((now, force));
        self.tally = Tally::default();
        self.window.iter().for_each(|(_, force)| self.tally.add(force));
        // A mean that is not gravity is not a lean, however steady it is.
        let mean = self.tally.mean().filter(|_| self.tally.samples >= SAMPLES_MIN);
        if mean.is_some_and(|mean| !MEAN_NORM.contains(&norm_squared(&mean))) {
            self.fault = Some(SensorFault::NotGravity);
        }
    }

    fn set_fault(&mut self, fault: SensorFault) {
        self.fault = Some(fault);
        self.window.clear();
        self.tally = Tally::default();
    }

    /// The tilt sensor's fault.
    #[must_use]
    pub const fn fault(&self) -> Option<SensorFault> {
        self.fault
    }

    /// Whether there is a lean to show: the last round brought a plausible sample, and there are enough for a mean.
    #[must_use]
    pub const fn fresh(&self) -> bool {
        self.fault.is_none() && !self.stale && self.tally.samples >= SAMPLES_MIN
    }

    /// The last second's samples, uncorrected.
    #[must_use]
    pub const fn raw(&self) -> &Tally {
        &self.tally
    }

    /// The tilt sensor's temperature when it was last given, hundredths of a degree Celsius.
    #[must_use]
    pub const fn temperature(&self) -> Option<i16> {
        self.temperature
    }

    /// The tool's lean over the last second, `None` where there are too few samples or the sensor is at fault.
    #[must_use]
    pub fn lean(&self, correction: &Correction) -> Option<RigAxes<Lean>> {
        let mean = self.tally.mean().filter(|_| self.fault.is_none() && self.tally.samples >= SAMPLES_MIN)?;
        correction.lean(&mean, self.temperature)
    }
}

/// Whether any axis is at the end of the sensor's range, less what is clipped before it.
fn is_clipped(range: MicroG, force: &SpecificForce) -> bool {
    let end = i64::from(range.0).wrapping_mul(1_000_i64.wrapping_sub(CLIPPED_PER_MILLE));
    [force.level.forward, force.level.right, force.up].iter().any(|v| i64::from(v.0.unsigned_abs()).wrapping_mul(1_000) >= end)
}

/// A lean as increments carry it.
#[must_use]
pub fn coarse(lean: RigAxes<Lean>) -> RigAxes<CoarseLean> {
    RigAxes { forward: CoarseLean::from_lean(lean.forward), right: CoarseLean::from_lean(lean.right) }
}
