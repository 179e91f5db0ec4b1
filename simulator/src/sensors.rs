//! The bench's two invented sensors: what they measure of the world, and how they fail on demand.
//!
//! Unit 1 is the depth encoder, a signed 32-bit count, high word first, at input register 0, 0.1 mm a count.
//! Unit 2 is the tilt sensor: specific force forward, right and up, signed, 0.1 mg a step, at input registers
//! 0 to 2, clipped at ±2 g, and its temperature in steps of 0.01 degree Celsius at 3. At rest and plumb it reads 0, 0, +10,000; a toe that goes 12 mm/m forward, +120
//! forward. Both answer holding registers alike.

use crate::chance::{Chance, Drawer};
use crate::clock::{Moment, round_i32};
use crate::line::{Answer, Slaves};
use crate::modbus::{Request, exception, with_check};
use crate::world::World;
use serde::Deserialize;

/// Unit of the depth encoder.
pub const ENCODER_UNIT: u8 = 1;
/// Unit of the tilt sensor.
pub const TILT_UNIT: u8 = 2;
/// Encoder counts in a millimetre.
pub const COUNTS_PER_MM: f64 = 10.0;
/// Tilt steps in a g.
pub const STEPS_PER_G: f64 = 10_000.0;
/// Temperature of the tilt sensor, steps of 0.01 degree Celsius.
const TEMPERATURE: u16 = 2_000;
/// A sensor that lives is not the same to the last digit for ever: every so many readings the up axis is a step less.
const DITHER_EVERY: u32 = 50;
/// The tilt sensor clips here, steps.
const CLIPPED: i32 = 20_000;
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
    /// What the encoder loses each time that the tool leaves the bottom, mm.
    pub slip_mm_per_trip: f64,
    /// Encoder count when the first tool's tip is on the hub.
    pub count_at_hub: i32,
    /// From the end of a request to the answer, beyond the line's own silence, ms.
    pub reply_delay_ms: f64,
}

impl Default for Quality {
    fn default() -> Self {
        Self { tilt_noise_mg: 0.0, encoder_noise_counts: 0.0, slip_mm_per_trip: 0.0, count_at_hub: 12_000, reply_delay_ms: 1.0 }
    }
}

/// A fault that lasts.
#[derive(Clone, Copy, Debug)]
struct Failing {
    kind: FaultKind,
    until: Moment,
    frozen: [u16; 4],
}

/// Both sensors.
#[derive(Clone, Debug)]
pub struct Sensors {
    quality: Quality,
    noisy: bool,
    base_counts: f64,
    encoder: (Chance, Option<Failing>),
    tilt: (Chance, Option<Failing>),
    whims: Chance,
    readings: u32,
}

impl Sensors {
    /// In good order; `paid_out_mm` is what the winch has paid out when the first tool's tip is on the hub.
    #[must_use]
    pub fn new(seed: u64, quality: Quality, still: bool, paid_out_mm: f64) -> Self {
        Self {
            quality,
            noisy: !still,
            base_counts: f64::from(quality.count_at_hub) - paid_out_mm * COUNTS_PER_MM,
            encoder: (Chance::new(seed, Drawer::Encoder), None),
            tilt: (Chance::new(seed, Drawer::Tilt), None),
            whims: Chance::new(seed, Drawer::Faults),
            readings: 0,
        }
    }

    /// Makes a sensor fail until a moment.
    pub fn fail(&mut self, sensor: SensorName, kind: FaultKind, until: Moment, world: &World) {
        let frozen = self.registers(sensor, world);
        self.part(sensor).1 = Some(Failing { kind, until, frozen });
    }

    /// Mends a sensor.
    pub fn mend(&mut self, sensor: SensorName) {
        self.part(sensor).1 = None;
    }

    /// Power came back: an incremental count begins at zero where the tool is.
    pub fn power_up(&mut self, world: &World) {
        self.base_counts = -world.paid_out_mm() * COUNTS_PER_MM;
    }

    fn part(&mut self, sensor: SensorName) -> &mut (Chance, Option<Failing>) {
        match sensor {
            SensorName::Encoder => &mut self.encoder,
            SensorName::Tilt => &mut self.tilt,
        }
    }

    /// The encoder's count now.
    pub fn count(&mut self, world: &World) -> i32 {
        let sd = if self.noisy { self.quality.encoder_noise_counts } else { 0.0 };
        let noise = if sd > 0.0 { sd * self.encoder.0.bell() } else { 0.0 };
        round_i32(self.base_counts + world.paid_out_mm() * COUNTS_PER_MM + noise)
    }

    /// The specific force now, in steps of 0.1 mg: forward, right, up.
    pub fn force(&mut self, world: &World) -> [i32; 3] {
        let lean = world.lean();
        let (f, r) = (lean.forward / 1_000.0, lean.right / 1_000.0);
        let up = (1.0 - f * f - r * r).max(0.0).sqrt();
        let (slew_mg, vibration_mg) = world.shaking_mg();
        let noise_mg = if self.noisy { self.quality.tilt_noise_mg } else { 0.0 };
        let sd = (vibration_mg * vibration_mg + noise_mg * noise_mg).sqrt() / 1_000.0;
        [f + slew_mg / 1_000.0, r, up].map(|g| {
            let noise = if sd > 0.0 { sd * self.tilt.0.bell() } else { 0.0 };
            round_i32((g + noise) * STEPS_PER_G).clamp(-CLIPPED, CLIPPED)
        })
    }

    fn registers(&mut self, sensor: SensorName, world: &World) -> [u16; 4] {
        match sensor {
            SensorName::Encoder => encoder_registers(self.count(world)),
            SensorName::Tilt => {
                self.readings = self.readings.wrapping_add(1);
                let [forward, right, up] = self.force(world);
                tilt_registers([forward, right, up - i32::from(self.readings.is_multiple_of(DITHER_EVERY))])
            }
        }
    }

    /// The registers with whatever fault changes figures.
    fn shown(&mut self, sensor: SensorName, failing: Option<Failing>, world: &World) -> [u16; 4] {
        match (failing.map(|f| (f.kind, f.frozen)), sensor) {
            (Some((FaultKind::Stuck, frozen)), _) => frozen,
            (Some((FaultKind::Jump, _)), SensorName::Encoder) => encoder_registers(self.count(world).saturating_add(JUMP.0)),
            (Some((FaultKind::Jump, _)), SensorName::Tilt) => {
                tilt_registers(self.force(world).map(|steps| (steps + JUMP.1).clamp(-CLIPPED, CLIPPED)))
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

fn encoder_registers(count: i32) -> [u16; 4] {
    let [a, b, c, d] = count.to_be_bytes();
    [u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]), 0, 0]
}

fn tilt_registers(steps: [i32; 3]) -> [u16; 4] {
    // Clipped to ±20,000 before, so two bytes hold it.
    let [forward, right, up] = steps.map(|s| i16::try_from(s).unwrap_or(i16::MAX).cast_unsigned());
    [forward, right, up, TEMPERATURE]
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
        let failing = self.sensors.part(sensor).1.filter(|f| now < f.until);
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
