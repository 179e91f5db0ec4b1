//! A fitter who calibrates a simulated rig: the simulator's readings, and what the host's procedures make of them.

use host_tool::calibrate::in_force::Correction;
use host_tool::calibrate::level::Quarter;
use host_tool::calibrate::play::Sides;
use host_tool::calibrate::{Attitude, Found, Pair, Refused, drift, encoder, level, mount, play, zero};
use shared_protocol::record::Calibration;
use simulator::calibration::{Calibrating, Pushed, Steady};
use simulator::errors::Errors;

/// Who signs.
pub const WHO: &str = "Sim. Fitter";
/// What a level of good class may be read wrong by, half-width, µm/m.
const LEVEL_WITHIN: f64 = 300.0;
/// Reading a tape against a mark, standard deviation, mm.
const TAPE_READING_MM: f64 = 1.0;
/// Lengths that are taped, mm below the hub.
const TAPED_MM: [f64; 8] = [0.0, 600.0, 1_200.0, 1_800.0, 2_400.0, 3_000.0, 3_600.0, 4_200.0];
/// What the plate leans, and the mast while it stands still, mm/m.
const PLATE_MM_M: [f64; 2] = [6.0, -4.0];
const MAST_MM_M: [f64; 2] = [1.0, -2.0];
/// How far the mast is leant in its hinge, mm/m.
const HINGE_MM_M: f64 = 15.0;
/// The temperatures of the two days that a drift takes, °C.
const COLD_DEG: f64 = 5.0;
const WARM_DEG: f64 = 20.0;

/// Every calibration of a rig with these errors, in the order in which a person makes them. Days are counted from
/// 1970-01-01.
///
/// # Errors
/// Where one is refused.
pub fn calibrate(errors: &Errors, seed: u64, count_at_hub: i32, (on, holds_until): (u32, u32)) -> Result<Vec<Calibration>, Refused> {
    let mut hands = Calibrating::new(errors, seed);
    let cold = zero::find(&hands.plate(PLATE_MM_M, COLD_DEG).map(attitude))?;
    let warm = zero::find(&hands.plate(PLATE_MM_M, WARM_DEG).map(attitude))?;
    let at = |temperature, zero: &zero::Zero| drift::ZeroAt { temperature, zero: zero.zero, standard: zero.standard };
    let drift = drift::find(&[at(COLD_DEG, &cold), at(WARM_DEG, &warm)])?;
    let [upright, forward, back] = hands.hinge(HINGE_MM_M, WARM_DEG).map(attitude);
    let mount = mount::find(&upright, &forward, &back)?;
    let correction = Correction { zero: warm.zero, at: Some(WARM_DEG), drift: drift.slope, turn: (mount.turn.cos(), mount.turn.sin()) };
    let [forward, right] = MAST_MM_M;
    let quarters = hands.quarters(forward, right, WARM_DEG).map(|q| Quarter { mast: attitude(q.mast), tool: pair(q.tool_mm_m) });
    let level = level::find(&quarters, &correction, LEVEL_WITHIN)?;
    let play = play::find(&hands.push(forward, right).map(sides), LEVEL_WITHIN)?;
    let taped = hands.tape(&TAPED_MM, count_at_hub, TAPE_READING_MM);
    let points: Vec<_> = taped.iter().map(|t| encoder::Point { count: t.count, length: t.tape_mm * 1e3 }).collect();
    let encoder = encoder::find(&points)?;
    let found: [Found; 6] = [warm.found(), drift.found(), mount.found(), level.found(), play.found(), encoder.found()];
    found.iter().map(|found| found.signed(WHO, on, holds_until)).collect()
}

fn pair([forward, right]: [f64; 2]) -> Pair {
    Pair::new(forward * 1e3, right * 1e3)
}

fn sides(pushed: Pushed) -> Sides {
    let um = |ends: [f64; 2]| ends.map(|mm_m| mm_m * 1e3);
    Sides { forward_and_back: um(pushed.forward_and_back), right_and_left: um(pushed.right_and_left) }
}

fn attitude(steady: Steady) -> Attitude {
    let [forward, right, up] = steady.force_ug;
    let standard = steady.scatter_ug / f64::from(steady.samples.max(1)).sqrt();
    Attitude { level: Pair::new(forward, right), up, standard, temperature: Some(steady.temperature_deg) }
}
