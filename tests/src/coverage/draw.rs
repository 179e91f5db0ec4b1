//! One hole of many: how deep, how leaning, in what ground, with what errors, calibrated how.

use host_tool::calibrate::in_force::Correction;
use host_tool::calibrate::level::Quarter;
use host_tool::calibrate::play::Sides;
use host_tool::calibrate::{Attitude, Found, Pair, Refused, drift, encoder, level, mount, play, zero};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use shared_protocol::record::Calibration;
use simulator::calibration::{Calibrating, Steady};
use simulator::errors::{Errors, Magnitudes};
use simulator::scenario::{Scenario, TWO_POLE};
use simulator::world::mast::LeanPoint;

/// The day on which everything was calibrated, and the last on which it holds: 2026-05-01 and a year on.
const CALIBRATED_ON: u32 = 20_574;
const EXPIRES_ON: u32 = 20_939;
/// What a level of good class may be read wrong by, half-width, µm/m.
const LEVEL_WITHIN: f64 = 300.0;
/// Reading a tape against a mark, standard deviation, mm.
const TAPE_READING_MM: f64 = 1.0;

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
    let calibrations = calibrate(&errors, seed).map_err(|refused| refused.to_string())?;
    let mut scenario = Scenario::parse("a hole of many", TWO_POLE).map_err(|fault| fault.to_string())?;
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

/// Every calibration, in the order in which a person makes them.
///
/// # Errors
/// Where one is refused.
pub fn calibrate(errors: &Errors, seed: u64) -> Result<Vec<Calibration>, Refused> {
    let mut hands = Calibrating::new(errors, seed);
    let plate = [6.0, -4.0];
    let cold = zero::find(&hands.plate(plate, 5.0).map(attitude))?;
    let warm = zero::find(&hands.plate(plate, 20.0).map(attitude))?;
    let at = |temperature, zero: &zero::Zero| drift::ZeroAt { temperature, zero: zero.zero, standard: zero.standard };
    let drift = drift::find(&[at(5.0, &cold), at(20.0, &warm)])?;
    let [upright, forward, back] = hands.hinge(15.0, 20.0).map(attitude);
    let mount = mount::find(&upright, &forward, &back)?;
    let correction = Correction { zero: warm.zero, at: Some(20.0), drift: drift.slope, turn: (mount.turn.cos(), mount.turn.sin()) };
    let quarters = hands.quarters(1.0, -2.0, 20.0).map(|q| Quarter { mast: attitude(q.mast), tool: pair(q.tool_mm_m) });
    let level = level::find(&quarters, &correction, LEVEL_WITHIN)?;
    let um = |ends: [f64; 2]| ends.map(|mm_m| mm_m * 1e3);
    let sides =
        |p: simulator::calibration::Pushed| Sides { forward_and_back: um(p.forward_and_back), right_and_left: um(p.right_and_left) };
    let play = play::find(&hands.push(1.0, -2.0).map(sides), LEVEL_WITHIN)?;
    let lengths = [0.0, 600.0, 1_200.0, 1_800.0, 2_400.0, 3_000.0, 3_600.0, 4_200.0];
    let taped = hands.tape(&lengths, 14_250, TAPE_READING_MM);
    let points: Vec<_> = taped.iter().map(|t| encoder::Point { count: t.count, length: t.tape_mm * 1e3 }).collect();
    let encoder = encoder::find(&points)?;
    let found: [Found; 6] = [warm.found(), drift.found(), mount.found(), level.found(), play.found(), encoder.found()];
    found.iter().map(|found| found.signed("Sim. Fitter", CALIBRATED_ON, EXPIRES_ON)).collect()
}

fn pair([forward, right]: [f64; 2]) -> Pair {
    Pair::new(forward * 1e3, right * 1e3)
}

fn attitude(steady: Steady) -> Attitude {
    let [forward, right, up] = steady.force_ug;
    let standard = steady.scatter_ug / f64::from(steady.samples.max(1)).sqrt();
    Attitude { level: Pair::new(forward, right), up, standard, temperature: Some(steady.temperature_deg) }
}
