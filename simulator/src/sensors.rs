//! The bench's two invented sensors: what they measure of the world, and how they fail on demand.
//!
//! Unit 1 is the depth encoder, a signed 32-bit count, high word first, at input register 0, 0.1 mm a count.
//! Unit 2 is the tilt sensor: specific force forward, right and up, signed, 0.1 mg a step, at input registers
//! 0 to 2, clipped at ±2 g, and its temperature, signed, 0.01 °C a step, at input register 3. At rest and plumb it
//! reads 0, 0, +10,000; a toe that goes 12 mm/m forward, +120 forward. Both answer holding registers alike.
//!
//! A tilt sensor that has no noise still changes by one step of its upright axis now and then, as real ones do: one
//! that never does is stuck. An encoder at rest may well say the same for ever.

use crate::chance::{Chance, Drawer};
use crate::clock::{Moment, round_i32};
use crate::errors::Tilt;
use crate::line::{Answer, Slaves};
use crate::modbus::{Request, exception, with_check};
use crate::scenario::Scenario;
use crate::tilt::{Felt, Memory, force_at};
use crate::world::World;
use serde::Deserialize;

/// Unit of the depth encoder.
pub const ENCODER_UNIT: u8 = 1;
/// Unit of the tilt sensor.
pub const TILT_UNIT: u8 = 2;
/// Encoder counts in a millimetre.
pub const COUNTS_PER_MM: f64 = 10.0;
/// Readings from one flicker of a tilt sensor without noise to the next.
const FLICKER_EVERY: u32 = 37;
/// How far a jump jumps: encoder counts, tilt steps.
const JUMP: (i32, i32) = (5_000, 3_000);

/// A sensor of the bench.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub enum SensorName {
    /// The depth encoder.
    Encoder,
    /// The tilt sensor.
    Tilt,
}

/// A way to fail.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// No answer at all.
    Silent,
    /// The exception "device failure".
    Exception,
    /// An answer 10 to 70 ms too late.
    Slow,
    /// An answer from another unit.
    WrongUnit,
    /// An answer with a damaged check.
    BadCrc,
    /// An answer with a right check and nonsense in it: no data, too few, another function, any figures.
    Nonsense,
    /// The figures of the moment when it began.
    Stuck,
    /// Half a metre deeper, or 300 mg further, than true.
    Jump,
}

/// How good the sensors are.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Quality {
    /// Standard deviation of each tilt axis, mg.
    pub tilt_noise_mg: f64,
    /// Standard deviation of the encoder, counts.
    pub encoder_noise_counts: f64,
    /// Encoder count when the first tool's tip is on the hub.
    pub count_at_hub: i32,
    /// From the end of a request to the answer, beyond the line's own silence, ms.
    pub reply_delay_ms: f64,
}

impl Default for Quality {
    fn default() -> Self {
        Self { tilt_noise_mg: 0.0, encoder_noise_counts: 0.0, count_at_hub: 12_000, reply_delay_ms: 1.0 }
    }
}

/// What a sensor has to show; the encoder only the first two.
type Registers = [u16; 4];

/// A fault that lasts.
#[derive(Clone, Copy, Debug)]
struct Failing {
    kind: FaultKind,
    until: Moment,
    frozen: Registers,
}

/// One sensor's chance, and its fault.
#[derive(Clone, Debug)]
struct Part<C> {
    chance: C,
    failing: Option<Failing>,
}

impl<C> Part<C> {
    fn new(chance: C) -> Self {
        Self { chance, failing: None }
    }
}

/// Both sensors.
#[derive(Clone, Debug)]
pub struct Sensors {
    quality: Quality,
    errors: Tilt<f64>,
    noisy: bool,
    base_counts: f64,
    encoder: Part<Chance>,
    tilt: Part<Memory>,
    tilt_read: u32,
    whims: Chance,
}

impl Sensors {
    /// In good order, and as wrong as the scenario says.
    #[must_use]
    pub fn new(seed: u64, scenario: &Scenario) -> Self {
        Self {
            quality: scenario.sensors,
            errors: scenario.errors.tilt,
            noisy: !scenario.still,
            base_counts: f64::from(scenario.sensors.count_at_hub),
            encoder: Part::new(Chance::new(seed, Drawer::Encoder)),
            tilt: Part::new(Memory::new(Chance::new(seed, Drawer::Tilt))),
            tilt_read: 0,
            whims: Chance::new(seed, Drawer::Faults),
        }
    }

    /// Makes a sensor fail until a moment.
    pub fn fail(&mut self, sensor: SensorName, kind: FaultKind, until: Moment, world: &World) {
        let frozen = self.registers(sensor, world);
        *self.failing(sensor) = Some(Failing { kind, until, frozen });
    }

    /// Mends a sensor.
    pub fn mend(&mut self, sensor: SensorName) {
        *self.failing(sensor) = None;
    }

    /// Power came back: an incremental count begins at zero where the tool is.
    pub fn power_up(&mut self, world: &World) {
        self.base_counts = -world.seen_paid_mm() * COUNTS_PER_MM;
    }

    fn failing(&mut self, sensor: SensorName) -> &mut Option<Failing> {
        match sensor {
            SensorName::Encoder => &mut self.encoder.failing,
            SensorName::Tilt => &mut self.tilt.failing,
        }
    }

    /// The encoder's count now.
    pub fn count(&mut self, world: &World) -> i32 {
        let sd = self.encoder_noise();
        let noise = if sd > 0.0 { sd * self.encoder.chance.bell() } else { 0.0 };
        round_i32(self.base_counts + world.seen_paid_mm() * COUNTS_PER_MM + noise)
    }

    fn encoder_noise(&self) -> f64 {
        if self.noisy { self.quality.encoder_noise_counts } else { 0.0 }
    }

    /// The specific force now, in steps of 0.1 mg: forward, right, up.
    pub fn force(&mut self, world: &World) -> [i32; 3] {
        let (slew_mg, vibration_mg) = world.shaking_mg();
        let lean = world.lean();
        let [f, r, up] = force_at(lean.forward, lean.right);
        let force_g = world.plate_g().unwrap_or_else(|| self.errors.mounted([f + slew_mg / 1_000.0, r, up]));
        let felt = Felt { force_g, vibration_mg, temperature_deg: world.temperature_deg() };
        let noise_mg = self.tilt_noise();
        self.tilt.chance.read(&self.errors, &felt, noise_mg, world.now())
    }

    fn tilt_noise(&self) -> f64 {
        if self.noisy { self.quality.tilt_noise_mg } else { 0.0 }
    }

    fn registers(&mut self, sensor: SensorName, world: &World) -> Registers {
        match sensor {
            SensorName::Encoder => encoder_registers(self.count(world)),
            SensorName::Tilt => {
                let [f, r, up] = self.force(world);
                let quiet = self.tilt_noise() + self.errors.noise_mg() <= 0.0;
                self.tilt_read = self.tilt_read.wrapping_add(1);
                let flicker = i32::from(quiet && self.tilt_read.is_multiple_of(FLICKER_EVERY));
                tilt_registers([f, r, up - flicker], world.temperature_deg())
            }
        }
    }

    /// The registers with whatever fault changes figures.
    fn shown(&mut self, sensor: SensorName, failing: Option<Failing>, world: &World) -> Registers {
        match (failing.map(|f| (f.kind, f.frozen)), sensor) {
            (Some((FaultKind::Stuck, frozen)), _) => frozen,
            (Some((FaultKind::Jump, _)), SensorName::Encoder) => encoder_registers(self.count(world).saturating_add(JUMP.0)),
            (Some((FaultKind::Jump, _)), SensorName::Tilt) => {
                let force = self.force(world).map(|steps| (steps + JUMP.1).clamp(-20_000, 20_000));
                tilt_registers(force, world.temperature_deg())
            }
            _ => self.registers(sensor, world),
        }
    }

    fn nonsense(&mut self, request: &Request) -> Vec<u8> {
        let any = [self.whims.bits(), self.whims.bits()];
        let word = |n: usize| any[n % 2].to_le_bytes();
        let figures: Vec<u16> = (0..usize::from(request.count)).map(|n| u16::from_le_bytes([word(n)[0], word(n)[3]])).collect();
        match self.whims.bits() % 4 {
            0 => with_check(vec![request.unit, request.function, 0]),
            1 => request.answer(&figures[..figures.len().saturating_sub(1)]),
            2 => Request { function: request.function ^ 1, ..*request }.answer(&figures),
            _ => request.answer(&figures),
        }
    }
}

fn encoder_registers(count: i32) -> Registers {
    let [a, b, c, d] = count.to_be_bytes();
    [u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]), 0, 0]
}

fn tilt_registers(steps: [i32; 3], temperature_deg: f64) -> Registers {
    // Clipped to ±3 g and -50 to 100 °C before, so two bytes hold each.
    let word = |value: i32| i16::try_from(value).unwrap_or(i16::MAX).cast_unsigned();
    let [f, r, up] = steps.map(word);
    [f, r, up, word(round_i32(temperature_deg * 100.0))]
}

/// The sensors on the line, each time with the world that they measure.
#[derive(Debug)]
pub struct OnLine<'a> {
    /// The sensors.
    pub sensors: &'a mut Sensors,
    /// What they measure.
    pub world: &'a World,
}

impl Slaves for OnLine<'_> {
    fn answer(&mut self, request: &Request, now: Moment) -> Option<Answer> {
        let (sensor, registers) = match request.unit {
            ENCODER_UNIT => (SensorName::Encoder, 2),
            TILT_UNIT => (SensorName::Tilt, 4),
            _ => return None,
        };
        let failing = self.sensors.failing(sensor).filter(|f| now < f.until);
        let shown = self.sensors.shown(sensor, failing, self.world);
        let good = request.serve(&shown[..registers]);
        let mut late_us = 0;
        let bytes = match failing.map(|f| f.kind) {
            Some(FaultKind::Silent) => return None,
            Some(FaultKind::Exception) => request.exception(exception::DEVICE_FAILURE),
            Some(FaultKind::Slow) => {
                late_us = u64::from(10_000 + self.sensors.whims.bits() % 60_000);
                good
            }
            Some(FaultKind::WrongUnit) => Request { unit: request.unit + 10, ..*request }.serve(&shown[..registers]),
            Some(FaultKind::BadCrc) => damaged(good),
            Some(FaultKind::Nonsense) => self.sensors.nonsense(request),
            Some(FaultKind::Stuck | FaultKind::Jump) | None => good,
        };
        Some(Answer { bytes, late_us })
    }
}

fn damaged(mut frame: Vec<u8>) -> Vec<u8> {
    if let Some(last) = frame.last_mut() {
        *last ^= 0x5A;
    }
    frame
}

#[cfg(test)]
#[path = "sensors_tests.rs"]
mod tests;
