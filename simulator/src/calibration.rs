//! What a careful person reads while calibrating a rig that has errors: plate, mast, level, tape and push.
//!
//! Only readings: what they mean is for whoever calibrates to work out. Level and tape, dirt under a foot and a hand
//! that turns not quite by a quarter have errors of their own; their sizes are common practice, no source.

use crate::chance::{Chance, Drawer};
use crate::clock::{Moment, round_i32};
use crate::errors::shape::{Shape, Spread};
use crate::errors::{Depth, Errors};
use crate::pose::Side;
use crate::sensors::COUNTS_PER_MM;
use crate::tilt::{Felt, Memory, STEPS_PER_G, force_at, turned};
use crate::world::rope::Rope;

/// From one reading of the sensor to the next, µs.
const EVERY_US: u64 = 40_000;
/// How a foot sits on a clean plate, mm/m: 20 µm of dirt under 100 mm.
const SEAT: Spread = Spread::about(Shape::Triangular, 0.2);
/// How far a quarter turn by hand is from one, degrees.
const HAND_DEG: Spread = Spread::about(Shape::Triangular, 2.0);
/// How far from the rig's forward direction a mast leans in its hinge, degrees.
const HINGE_DEG: Spread = Spread::about(Shape::Triangular, 1.0);
/// A level: its own zero, and each reading of it, mm/m.
const LEVEL_ZERO: Spread = Spread::about(Shape::Triangular, 0.2);
const LEVEL_READ: Spread = Spread::about(Shape::Triangular, 0.3);
/// What turns with the tool where a level is held on it, mm/m.
const RUN_OUT: Spread = Spread::about(Shape::Arcsine, 0.8);
/// How far from its middle a string hangs that nothing pushes, share of the play.
const HANGS: Spread = Spread::about(Shape::Triangular, 0.05);
/// A tape of good class: its own length, relative.
const TAPE_SCALE: Spread = Spread::about(Shape::Triangular, 0.000_2);

/// A steady reading of the tilt sensor: a mean in its own axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steady {
    /// Mean specific force, µg: forward, right, up.
    pub force_ug: [f64; 3],
    /// Standard deviation of the single readings, the larger of both level axes, µg.
    pub scatter_ug: f64,
    /// Readings in the mean.
    pub samples: u32,
    /// Temperature that the sensor says, °C.
    pub temperature_deg: f64,
}

/// A length of rope by tape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taped {
    /// The encoder's count.
    pub count: i32,
    /// What the tape says, mm, positive downwards from where the count was that of the hub.
    pub tape_mm: f64,
}

/// One quarter turn of the tool string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quarter {
    /// The mast by its sensor.
    pub mast: Steady,
    /// Lean of the tool string by the level, mm/m: forward, right.
    pub tool_mm_m: [f64; 2],
}

/// One round of pushing the string to its sides: what the level says, mm/m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pushed {
    /// Lean forward, pushed forward and pushed back.
    pub forward_and_back: [f64; 2],
    /// Lean to the right, pushed to the right and to the left.
    pub right_and_left: [f64; 2],
}

/// A person who calibrates one rig. Each reading draws on, so the order of asking matters.
#[derive(Clone, Debug)]
pub struct Calibrating {
    errors: Errors,
    chance: Chance,
    level_zero: [f64; 2],
    run_out: [f64; 2],
    tape_scale: f64,
    /// Readings in each mean.
    pub samples: u32,
}

impl Calibrating {
    /// Ready to begin; the means are over 250 readings, ten seconds.
    #[must_use]
    pub fn new(errors: &Errors, seed: u64) -> Self {
        let mut chance = Chance::new(seed, Drawer::Calibration);
        let mut pair = |spread: Spread| [spread.draw(&mut chance), spread.draw(&mut chance)];
        let (level_zero, run_out) = (pair(LEVEL_ZERO), pair(RUN_OUT));
        let tape_scale = TAPE_SCALE.draw(&mut chance);
        Self { errors: errors.clone(), chance, level_zero, run_out, tape_scale, samples: 250 }
    }

    /// The sensor on a plate that leans so, mm/m in the sensor's first position; turned on by a quarter, clockwise from
    /// above, before each reading but the first.
    pub fn plate(&mut self, plate_mm_m: [f64; 2], temperature_deg: f64) -> [Steady; 4] {
        [0, 1, 2, 3].map(|quarter| {
            let force_g = self.seated(plate_mm_m, quarter);
            self.steady(force_g, temperature_deg)
        })
    }

    /// The force on a sensor put on the plate, turned on by so many quarters, g.
    pub(crate) fn seated(&mut self, [forward, right]: [f64; 2], quarter: u8) -> [f64; 3] {
        let hand_deg = if quarter > 0 { self.draw(HAND_DEG) } else { 0.0 };
        let [f, r, _] = turned(force_at(forward, right), f64::from(quarter) * 90.0 + hand_deg);
        force_at(f * 1_000.0 + self.draw(SEAT), r * 1_000.0 + self.draw(SEAT))
    }

    /// The mast at a lean, mm/m.
    pub fn mast(&mut self, forward: f64, right: f64, temperature_deg: f64) -> Steady {
        self.steady(self.errors.tilt.mounted(force_at(forward, right)), temperature_deg)
    }

    /// The mast upright, then its top leant forward by so much, mm/m, then back: the toe goes the other way.
    pub fn hinge(&mut self, lean_mm_m: f64, temperature_deg: f64) -> [Steady; 3] {
        [0.0, -lean_mm_m, lean_mm_m].map(|lean| {
            let [f, r, _] = turned(force_at(lean, 0.0), self.draw(HINGE_DEG));
            self.mast(f * 1_000.0, r * 1_000.0, temperature_deg)
        })
    }

    /// A level on the hanging tool string at four quarter turns of it, the mast at a lean, mm/m.
    pub fn quarters(&mut self, forward: f64, right: f64, temperature_deg: f64) -> [Quarter; 4] {
        [0, 1, 2, 3]
            .map(|quarter| Quarter { mast: self.mast(forward, right, temperature_deg), tool_mm_m: self.hanging([forward, right], quarter) })
    }

    /// What a level says, mm/m, on a string that hangs free from a mast at a lean, turned on by so many quarters.
    pub(crate) fn hanging(&mut self, [forward, right]: [f64; 2], quarter: u8) -> [f64; 2] {
        // What turns clockwise with the tool is in rig axes turned the other way.
        let [out_f, out_r, _] = turned([self.run_out[0], self.run_out[1], 0.0], f64::from(quarter) * -90.0);
        let hangs = self.draw(HANGS) * self.errors.tool.play_mm_m;
        let side = self.draw(HANGS) * self.errors.tool.play_mm_m;
        self.level([forward + hangs + out_f, right + side + out_r])
    }

    /// The string pushed to its four sides, two rounds, the mast at a lean, mm/m.
    pub fn push(&mut self, forward: f64, right: f64) -> [Pushed; 2] {
        let mast = [forward, right];
        [(); 2].map(|()| Pushed {
            forward_and_back: [self.pushed(mast, Side::Forward)[0], self.pushed(mast, Side::Back)[0]],
            right_and_left: [self.pushed(mast, Side::Right)[1], self.pushed(mast, Side::Left)[1]],
        })
    }

    /// What a level says, mm/m, on a string pushed to a side of a mast at a lean.
    pub(crate) fn pushed(&mut self, [forward, right]: [f64; 2], side: Side) -> [f64; 2] {
        let play = self.errors.tool.play_mm_m;
        let (f, r) = match side {
            Side::Forward => (play, 0.0),
            Side::Back => (-play, 0.0),
            Side::Right => (0.0, play),
            Side::Left => (0.0, -play),
        };
        self.level([forward + f, right + r])
    }

    /// Rope paid out to these lengths from the hub, mm, and taped, each with its own error of reading, standard
    /// deviation in mm.
    pub fn tape(&mut self, lengths_mm: &[f64], count_at_hub: i32, reading_mm: f64) -> Vec<Taped> {
        let hanging = Depth { hub_touch_mm: 0.0, ..self.errors.depth.clone() };
        let rope = Rope::new(0, &hanging, 0.0);
        let one = |length: &f64| Taped {
            count: round_i32(f64::from(count_at_hub) + rope.seen_mm(*length, 0.0, 0.0) * COUNTS_PER_MM),
            tape_mm: self.taped(*length, reading_mm),
        };
        lengths_mm.iter().map(one).collect()
    }

    /// What the tape says of a length, mm.
    pub(crate) fn taped(&mut self, length_mm: f64, reading_mm: f64) -> f64 {
        length_mm * (1.0 + self.tape_scale) + reading_mm * self.chance.bell()
    }

    fn draw(&mut self, spread: Spread) -> f64 {
        spread.draw(&mut self.chance)
    }

    /// What the level says of the tool string where it would lean so without the string's own error, mm/m.
    fn level(&mut self, [forward, right]: [f64; 2]) -> [f64; 2] {
        let off = self.errors.tool.level_mm_m;
        let read = [self.draw(LEVEL_READ), self.draw(LEVEL_READ)];
        [forward + off[0] + self.level_zero[0] + read[0], right + off[1] + self.level_zero[1] + read[1]]
    }

    fn steady(&mut self, force_g: [f64; 3], temperature_deg: f64) -> Steady {
        let felt = Felt { force_g, vibration_mg: 0.0, temperature_deg };
        let mut memory = Memory::new(self.chance.fork());
        let (mut sum, mut squares) = ([0.0; 3], [0.0; 3]);
        for n in 0..u64::from(self.samples) {
            let steps = memory.read(&self.errors.tilt, &felt, 0.0, Moment(n * EVERY_US)).map(f64::from);
            for axis in 0..3 {
                let off = steps[axis] - force_g[axis] * STEPS_PER_G; // small, so that squares keep their digits
                (sum[axis], squares[axis]) = (sum[axis] + off, squares[axis] + off * off);
            }
        }
        let (n, ug) = (f64::from(self.samples.max(1)), 1e6 / STEPS_PER_G);
        let scatter = |axis: usize| (squares[axis] / n - (sum[axis] / n) * (sum[axis] / n)).max(0.0).sqrt() * ug;
        Steady {
            force_ug: std::array::from_fn(|axis| force_g[axis] * 1e6 + sum[axis] / n * ug),
            scatter_ug: scatter(0).max(scatter(1)),
            samples: self.samples,
            temperature_deg: (temperature_deg * 100.0).round() / 100.0,
        }
    }
}

#[cfg(test)]
#[path = "calibration_tests.rs"]
mod tests;
