//! The tilt sensor from force to figures: mounting, cross axis, zero, drift, clipping, rectification, filter, noise.

use crate::chance::Chance;
use crate::clock::{Moment, round_i32};
use crate::errors::{STATED_AT_DEG, Tilt};

/// Steps in a g.
pub const STEPS_PER_G: f64 = 10_000.0;
/// The usual range, g.
const RANGE_G: f64 = 2.0;
/// Bandwidth of the sensing element where no filter is set, Hz.
const ELEMENT_HZ: f64 = 100.0;

/// What acts on a sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Felt {
    /// Specific force along the sensor's own axes, g: forward, right, up.
    pub force_g: [f64; 3],
    /// Vibration of each axis as the filter leaves it, standard deviation, mg.
    pub vibration_mg: f64,
    /// Temperature, °C.
    pub temperature_deg: f64,
}

/// Specific force on the rig's axes, g, at a lean of the mast, mm/m.
#[must_use]
pub fn force_at(forward_mm_m: f64, right_mm_m: f64) -> [f64; 3] {
    let (f, r) = (forward_mm_m / 1_000.0, right_mm_m / 1_000.0);
    [f, r, (1.0 - f * f - r * r).max(0.0).sqrt()]
}

impl Tilt<f64> {
    /// A force on the rig's axes, on those of the sensor, which is turned clockwise from above.
    #[must_use]
    pub fn mounted(&self, rig_g: [f64; 3]) -> [f64; 3] {
        turned(rig_g, self.mount_deg)
    }

    /// What the sensor says in the mean before quantisation, g.
    #[must_use]
    pub fn says_g(&self, felt: &Felt) -> [f64; 3] {
        let [f, r, up] = felt.force_g;
        let zero = |axis: usize| (self.zero_mg[axis] + self.drift_mg_deg[axis] * (felt.temperature_deg - STATED_AT_DEG)) / 1_000.0;
        let sensed = [f + self.cross_axis[0] * r + zero(0), r + self.cross_axis[1] * f + zero(1), up];
        let inside_g = felt.vibration_mg * self.vibration_inside / 1_000.0;
        let shift =
            |axis: usize| clipping_shift(sensed[axis], inside_g, self.range()) + self.rectified_mg_g2[axis] * inside_g * inside_g / 1_000.0;
        [sensed[0] + shift(0), sensed[1] + shift(1), sensed[2] + shift(2)]
    }

    /// Standard deviation of the noise on each axis behind the filter, mg: density times the root of the noise
    /// bandwidth, which for one pole is π/2 of its corner.
    #[must_use]
    pub fn noise_mg(&self) -> f64 {
        let corner_hz = if self.filter_hz > 0.0 { self.filter_hz } else { ELEMENT_HZ };
        self.noise_ug_rt_hz * (std::f64::consts::FRAC_PI_2 * corner_hz).sqrt() / 1_000.0
    }

    /// Whole steps of a figure, clipped to the range.
    #[must_use]
    pub fn steps(&self, g: f64) -> i32 {
        let most = round_i32(self.range() * STEPS_PER_G);
        round_i32(g * STEPS_PER_G).clamp(-most, most)
    }

    fn range(&self) -> f64 {
        if self.range_g > 0.0 { self.range_g } else { RANGE_G }
    }
}

/// A level pair of a vector turned on by so many degrees, clockwise from above.
#[must_use]
pub fn turned([f, r, up]: [f64; 3], degrees: f64) -> [f64; 3] {
    let (sin, cos) = (libm::sin(degrees.to_radians()), libm::cos(degrees.to_radians()));
    if degrees == 0.0 { [f, r, up] } else { [f * cos + r * sin, r * cos - f * sin, up] }
}

/// How far the mean of a normally vibrating force moves when whatever is beyond ±range is cut off, g: the shortfall
/// σ·(φ(x) − x·Q(x)) on the near side, x its distance in σ, less the same on the far side.
#[must_use]
pub fn clipping_shift(mean_g: f64, sd_g: f64, range_g: f64) -> f64 {
    if sd_g <= 0.0 {
        return 0.0;
    }
    let cut = |beyond: f64| {
        let x = beyond / sd_g;
        let density = libm::exp(-x * x / 2.0) / std::f64::consts::TAU.sqrt();
        sd_g * (density - x * libm::erfc(x / std::f64::consts::SQRT_2) / 2.0)
    };
    cut(range_g + mean_g) - cut(range_g - mean_g)
}

/// The sensor's filter and noise, which remember.
#[derive(Clone, Debug)]
pub struct Memory {
    chance: Chance,
    passed_g: [f64; 3],
    noise: [f64; 3],
    at: Option<Moment>,
}

impl Memory {
    /// Of a sensor that has not been read yet.
    #[must_use]
    pub(crate) fn new(chance: Chance) -> Self {
        Self { chance, passed_g: [0.0; 3], noise: [0.0; 3], at: None }
    }

    /// What the sensor says now, in steps; `extra_mg` is noise behind the filter.
    pub fn read(&mut self, tilt: &Tilt<f64>, felt: &Felt, extra_mg: f64, now: Moment) -> [i32; 3] {
        let says = tilt.says_g(felt);
        let keeps = self.keeps(tilt.filter_hz, now);
        let own_mg = tilt.noise_mg();
        let sd_g = (felt.vibration_mg * felt.vibration_mg + extra_mg * extra_mg + own_mg * own_mg).sqrt() / 1_000.0;
        let fresh = (1.0 - keeps * keeps).sqrt();
        let tone_g = tilt.tone_mg / 1_000.0 * libm::sin(std::f64::consts::TAU * tilt.tone_hz * now.seconds());
        std::array::from_fn(|axis| {
            self.passed_g[axis] = says[axis] + keeps * (self.passed_g[axis] - says[axis]);
            let mut noise = 0.0;
            if sd_g > 0.0 {
                self.noise[axis] = keeps * self.noise[axis] + fresh * self.chance.bell();
                noise = sd_g * self.noise[axis];
            }
            tilt.steps(self.passed_g[axis] + noise + if axis == 0 { tone_g } else { 0.0 })
        })
    }

    /// How much of what it said last it still says now.
    fn keeps(&mut self, filter_hz: f64, now: Moment) -> f64 {
        let Some(before) = self.at.replace(now).filter(|_| filter_hz > 0.0) else { return 0.0 };
        libm::exp(-std::f64::consts::TAU * filter_hz * Moment(now.0 - before.0).seconds())
    }
}

#[cfg(test)]
#[path = "tilt_tests.rs"]
mod tests;
