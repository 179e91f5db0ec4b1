//! One hole of many: how deep, how leaning, in what ground, with what errors, calibrated how.

use fitter::calibrate;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use shared_protocol::record::Calibration;
use simulator::errors::{Errors, Magnitudes};
use simulator::scenario::{Scenario, TWO_POLE};
use simulator::world::mast::LeanPoint;

/// The day on which everything was calibrated, and the last on which it holds: 2026-05-01 and a year on.
const CALIBRATED: (u32, u32) = (20_574, 20_939);

/// A hole to drill.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// Its seed.
    pub seed: u64,
    /// The world.
    pub scenario: Scenario,
    /// What is loaded into the rig before.
    pub calibrations: Vec<Calibration>,
}

/// Draws the hole of a seed.
///
/// # Errors
/// Where a calibration is refused, or our own scenario is not in order.
pub fn hole(seed: u64, magnitudes: &Magnitudes) -> Result<Drawn, String> {
    let errors = Errors::draw(seed, magnitudes);
    let mut scenario = Scenario::parse("a hole of many", TWO_POLE).map_err(|fault| fault.to_string())?;
    let calibrations = calibrate(&errors, seed, scenario.sensors.count_at_hub, CALIBRATED).map_err(|refused| refused.to_string())?;
    let mut chance = Dice::new(seed);
    scenario.hole.truncate(1);
    scenario.sheet.heading_deg = chance.between(0.0, 360.0).floor();
    scenario.sheet.heading_within_deg = 10.0;
    scenario.sheet.plumb_limit_mm_m = 20.0;
    scenario.mast.sd_mm_m = chance.between(0.3, 1.2);
    scenario.work.bite_mm = chance.between(350.0, 700.0);
    let hole = &mut scenario.hole[0];
    hole.event.clear();
    hole.depth_mm = chance.between(1_600.0, 3_600.0).round();
    hole.hub_above_datum_mm = chance.between(-100.0, 150.0).round();
    hole.ground_below_hub_mm = chance.between(20.0, 120.0).round();
    hole.drill_past_mm = chance.between(-60.0, 120.0).round();
    hole.lean = leans(&mut chance);
    scenario.errors = errors;
    Ok(Drawn { seed, scenario, calibrations })
}

/// A mast set so that the hole leans about as much as is accepted, more or less, and worked over while it drills.
fn leans(chance: &mut Dice) -> Vec<LeanPoint> {
    let (towards, size) = (chance.between(0.0, std::f64::consts::TAU), chance.between(0.0, 32.0));
    let point = |at_mm: f64, chance: &mut Dice| {
        let (size, towards) = (size + chance.between(-3.0, 3.0), towards + chance.between(-0.3, 0.3));
        LeanPoint { at_mm, forward: size * towards.cos(), right: size * towards.sin() }
    };
    [0.0, 1_200.0, 2_400.0, 4_000.0].map(|at| point(at, chance)).to_vec()
}

/// A few numbers from a seed, apart from the world's own.
struct Dice(Pcg32);

impl Dice {
    fn new(seed: u64) -> Self {
        Self(Pcg32::seed_from_u64(seed ^ 0xD1CE))
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * f64::from(self.0.next_u32()) / 4_294_967_296.0
    }
}
