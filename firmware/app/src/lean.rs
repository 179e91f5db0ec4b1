//! Specific force to lean: the vector is averaged first and normalised after, and nothing is smoothed away.
//!
//! A specific-force component over the norm is the sine of the lean, so no trigonometry is needed.

use crate::reading::Reading;
use heapless::Deque;
use shared_protocol::body::CoarseLean;
use shared_protocol::state::{SensorFault, SpecificForce};
use shared_protocol::units::{Lean, RigAxes, clamp_i32, div_round};

/// Samples in the shown mean: one second at 20 Hz. The mean of a steady lean is there after it, and a step is
/// shown half way after half of it.
pub const WINDOW: usize = 20;
/// A sample beyond this, on any axis, is at the end of the sensor's range: ±2 g less a little.
const CLIP: u32 = 1_950_000;
/// Norms that a single sample may have: a shaking mast is not at rest, yet not falling either.
const SAMPLE_NORM: core::ops::RangeInclusive<u64> = 500_000..=1_500_000;
/// Norms that the mean may have.
const MEAN_NORM: core::ops::RangeInclusive<u64> = 970_000..=1_030_000;
/// Samples left out one after the other before it is called a fault.
const LEFT_OUT_MAX: u8 = 6;
/// Samples that a mean needs.
const SAMPLES_MIN: usize = 5;

/// Sum of vectors with what a scatter needs.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    forward: i64,
    right: i64,
    up: i64,
    leans: [i64; 2],
    squares: i64,
    /// Samples taken.
    pub samples: u16,
    /// Samples left out.
    pub left_out: bool,
}

impl Tally {
    /// Adds one plausible sample.
    pub fn add(&mut self, force: &SpecificForce) {
        let (f, r, u) = components(force);
        let lean = normalise(f, r, u).unwrap_or_default();
        let (lf, lr) = (i64::from(lean.forward.0), i64::from(lean.right.0));
        self.forward = self.forward.saturating_add(f);
        self.right = self.right.saturating_add(r);
        self.up = self.up.saturating_add(u);
        let [sum_f, sum_r] = self.leans;
        self.leans = [sum_f.saturating_add(lf), sum_r.saturating_add(lr)];
        self.squares = self.squares.saturating_add(lf.saturating_mul(lf)).saturating_add(lr.saturating_mul(lr));
        self.samples = self.samples.saturating_add(1);
    }

    /// Lean of the mean vector, `None` without samples.
    #[must_use]
    pub fn lean(&self) -> Option<RigAxes<Lean>> {
        normalise(self.forward, self.right, self.up)
    }

    /// Standard deviation of the samples' leans, both axes together, in steps of 10 µm/m; the end of the range
    /// stands for all beyond.
    #[must_use]
    pub fn scatter(&self) -> u16 {
        let count = i64::from(self.samples);
        let [sum_f, sum_r] = self.leans;
        let square_of_mean = |sum: i64| div_round(i64::saturating_mul(div_round(sum, count), sum), count);
        let variance = div_round(self.squares, count).saturating_sub(square_of_mean(sum_f)).saturating_sub(square_of_mean(sum_r));
        let deviation = u64::try_from(variance).unwrap_or(0).isqrt();
        u16::try_from(deviation.checked_div(10).unwrap_or(0)).unwrap_or(u16::MAX)
    }
}

fn components(force: &SpecificForce) -> (i64, i64, i64) {
    (i64::from(force.level.forward.0), i64::from(force.level.right.0), i64::from(force.up.0))
}

fn norm(f: i64, r: i64, u: i64) -> u64 {
    let square = |v: i64| v.unsigned_abs().saturating_mul(v.unsigned_abs());
    square(f).saturating_add(square(r)).saturating_add(square(u)).isqrt()
}

/// Components over their norm, parts per million. `None` for a zero vector.
fn normalise(f: i64, r: i64, u: i64) -> Option<RigAxes<Lean>> {
    let norm = i64::try_from(norm(f, r, u)).ok().filter(|&n| n > 0)?;
    let sine = |v: i64| Lean(clamp_i32(div_round(v.saturating_mul(1_000_000), norm)));
    Some(RigAxes { forward: sine(f), right: sine(r) })
}

/// The lean side of the rig.
#[derive(Debug, Default)]
pub struct LeanMeter {
    window: Deque<SpecificForce, WINDOW>,
    fault: Option<SensorFault>,
    stale: bool,
    left_out: u8,
}

impl LeanMeter {
    /// Takes one round's reading and returns the sample where it is plausible.
    pub fn take(&mut self, reading: Reading<SpecificForce>) -> Option<SpecificForce> {
        match reading {
            Reading::Good(force) => self.take_force(force),
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

    fn take_force(&mut self, force: SpecificForce) -> Option<SpecificForce> {
        let (f, r, u) = components(&force);
        let clipped = [f, r, u].iter().any(|v| v.unsigned_abs() >= u64::from(CLIP));
        if clipped || !SAMPLE_NORM.contains(&norm(f, r, u)) {
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
        if self.window.is_full() {
            self.window.pop_front();
        }
        let _ = self.window.push_back(force);
        self.judge_mean();
        Some(force)
    }

    /// A mean that is not gravity is not a lean, however steady it is.
    fn judge_mean(&mut self) {
        let (f, r, u) = self.sum();
        let count = u64::try_from(self.window.len()).unwrap_or(1).max(1);
        let mean = norm(f, r, u).checked_div(count).unwrap_or(0);
        if self.window.len() >= SAMPLES_MIN && !MEAN_NORM.contains(&mean) {
            self.fault = Some(SensorFault::NotGravity);
        }
    }

    fn set_fault(&mut self, fault: SensorFault) {
        self.fault = Some(fault);
        self.window.clear();
    }

    fn sum(&self) -> (i64, i64, i64) {
        self.window
            .iter()
            .map(components)
            .fold((0, 0, 0), |(f, r, u), (df, dr, du)| (f.saturating_add(df), r.saturating_add(dr), u.saturating_add(du)))
    }

    /// The tilt sensor's fault.
    #[must_use]
    pub fn fault(&self) -> Option<SensorFault> {
        self.fault
    }

    /// Whether the last round brought a plausible sample.
    #[must_use]
    pub fn fresh(&self) -> bool {
        self.fault.is_none() && !self.stale
    }

    /// Lean over the window, `None` where there are too few samples or the sensor is at fault.
    #[must_use]
    pub fn lean(&self) -> Option<RigAxes<Lean>> {
        let (f, r, u) = self.sum();
        normalise(f, r, u).filter(|_| self.window.len() >= SAMPLES_MIN && self.fault.is_none())
    }
}

/// A lean as increments carry it.
#[must_use]
pub fn coarse(lean: RigAxes<Lean>) -> RigAxes<CoarseLean> {
    RigAxes { forward: CoarseLean::from_lean(lean.forward), right: CoarseLean::from_lean(lean.right) }
}
