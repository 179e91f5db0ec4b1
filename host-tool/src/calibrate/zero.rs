//! Zero of the tilt sensor by reversal on a plate, two positions or four.
//!
//! Reversal: of two readings half a turn apart, the mean is the zero and half of the difference is what the plate
//! itself leans (check value of sensor reversal: true = (m0 − m180)/2, zero = (m0 + m180)/2). Four positions find the
//! zero twice on each axis, and what both disagree is the residual.

use super::{Attitude, Found, Pair, Refused, by_disagreement, count, mg, mm_m};
use shared_protocol::record::NO_TEMPERATURE;
use shared_protocol::state::CalibrationItem;

/// Gravity, and how much less or more of it a sound sensor may read, µg.
const GRAVITY: f64 = 1_000_000.0;
const GRAVITY_WITHIN: f64 = 50_000.0;
/// What the plate must lean to show that the sensor was turned, and may lean at most, µg.
const PLATE_LEAST: f64 = 2_000.0;
const PLATE_MOST: f64 = 50_000.0;
/// The most zero that a sound sensor on a flat plate has, µg.
const ZERO_MOST: f64 = 50_000.0;
/// The most disagreement between two zeros of the same sensor, µg.
const RESIDUAL_MOST: f64 = 1_000.0;
/// How much the sensor may warm meanwhile, °C.
const WARMING_MOST: f64 = 2.0;
/// How a sensor sits on a clean plate, half-width, µg: 20 µm of dirt under a foot of 100 mm.
const SEAT: f64 = 200.0;
/// How far a half turn by hand may be from one, half-width, radians: two degrees.
const TURN: f64 = 0.035;

/// The zero of a tilt sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zero {
    /// What the sensor reads when it stands plumb, µg.
    pub zero: Pair,
    /// What the plate leans in the sensor's first position, µg.
    pub plate: Pair,
    /// Temperature at which it was found, °C.
    pub temperature: Option<f64>,
    /// Standard uncertainty on each axis, µg.
    pub standard: f64,
    /// What two determinations disagree, the larger of both axes, µg; 0 with two positions, which show nothing.
    pub residual: f64,
}

/// Finds the zero from readings in positions turned on by 180° (two of them) or by 90° (four), clockwise from above.
///
/// Standard uncertainty over N positions, after JCGM 100:2008, 5.1.2: u² = Σuᵢ²/N² (noise of the readings) + s²/N (how
/// it sits, s = 200 µg/√3) + (p·τ/√3)²/2N (turns that are not quite half ones: τ = 0.035, p what the plate leans). Where
/// four positions disagree more than that, half of their disagreement, both axes pooled (4.2.3).
///
/// # Errors
/// See [`Refused`].
pub fn find(positions: &[Attitude]) -> Result<Zero, Refused> {
    let (zero, plate, twice) = match positions {
        [at_0, at_180] => (at_0.level.middle(at_180.level), half_apart(at_0, at_180), None),
        [at_0, at_90, at_180, at_270] => {
            let (first, second) = (at_0.level.middle(at_180.level), at_90.level.middle(at_270.level));
            let (plate, again) = (half_apart(at_0, at_180), half_apart(at_90, at_270));
            quarters_agree(plate, again)?;
            (first.middle(second), plate, Some((first, second)))
        }
        _ => return Err(Refused::new(format!("{} positions are neither two nor four", positions.len()), "begin again")),
    };
    let residual = twice.map_or(0.0, |(first, second)| first.minus(second).largest());
    let found = Zero { zero, plate, temperature: temperature(positions)?, standard: standard(positions, plate, twice), residual };
    plausible(positions, &found).map_or(Ok(found), Err)
}

fn half_apart(at: &Attitude, opposite: &Attitude) -> Pair {
    at.level.minus(opposite.level).times(0.5)
}

/// A plate that leans (f, r) reads (r, −f) after a quarter turn clockwise, and (−r, f) after one the other way, which
/// does the zero no harm.
fn quarters_agree(plate: Pair, again: Pair) -> Result<(), Refused> {
    let clockwise = Pair::new(plate.right, -plate.forward);
    let apart = again.minus(clockwise).size().min(again.plus(clockwise).size());
    if apart <= RESIDUAL_MOST + 0.05 * plate.size() {
        return Ok(());
    }
    Err(Refused::new(
        format!("the plate leans {} by one pair of positions and differs by {} in the other", mm_m(plate.size()), mm_m(apart)),
        "see that the plate cannot move and turn the sensor by exact quarter turns, then begin again",
    ))
}

fn temperature(positions: &[Attitude]) -> Result<Option<f64>, Refused> {
    let known: Vec<f64> = positions.iter().filter_map(|p| p.temperature).collect();
    if known.is_empty() {
        return Ok(None);
    }
    let (coldest, warmest) = known.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(c, w), t| (c.min(*t), w.max(*t)));
    if warmest - coldest > WARMING_MOST {
        let why = format!("the sensor went from {coldest:.1} to {warmest:.1} °C meanwhile");
        return Err(Refused::new(why, "leave it switched on for half an hour out of sun and wind, then begin again"));
    }
    Ok(Some(known.iter().sum::<f64>() / count(known.len())))
}

fn standard(positions: &[Attitude], plate: Pair, twice: Option<(Pair, Pair)>) -> f64 {
    let n = count(positions.len());
    let noise = positions.iter().map(|p| p.standard.powi(2)).sum::<f64>() / n / n;
    let seat = SEAT.powi(2) / 3.0 / n;
    let turn = (plate.size() * TURN).powi(2) / 3.0 / (2.0 * n);
    let shown = twice.map_or(0.0, |(first, second)| by_disagreement(first, second));
    (noise + seat + turn).sqrt().max(shown)
}

fn plausible(positions: &[Attitude], found: &Zero) -> Option<Refused> {
    let wrong = |p: &Attitude| if p.up > 0.0 { (p.gravity() - GRAVITY).abs() } else { GRAVITY };
    let gravity = positions.iter().map(wrong).fold(0.0, f64::max);
    if gravity > GRAVITY_WITHIN {
        let why = format!("the sensor reads gravity wrong by {:.0} mg", gravity / 1e3);
        return Some(Refused::new(why, "lay it on the plate the way it sits on the mast; if it lies so, have it repaired"));
    }
    let leans = found.plate.size();
    if leans < PLATE_LEAST {
        let why = format!("the plate leans {}, too little to show that the sensor was turned", mm_m(leans));
        return Some(Refused::new(why, "put a shim under one side, for 3 to 10 mm/m, and begin again"));
    }
    if leans > PLATE_MOST {
        return Some(Refused::new(format!("the plate leans {}", mm_m(leans)), "level it to 3 to 10 mm/m and begin again"));
    }
    if found.zero.largest() > ZERO_MOST {
        let why = format!("the zero would be {}", mg(found.zero.largest()));
        return Some(Refused::new(why, "see that the sensor's foot lies flat and its axes are as the register map says, then begin again"));
    }
    if found.residual > RESIDUAL_MOST {
        let why = format!("the zero found twice differs by {:.2} mg, {:.2} mg at most", found.residual / 1e3, RESIDUAL_MOST / 1e3);
        return Some(Refused::new(why, "clean the plate and the sensor's foot and begin again"));
    }
    None
}

impl Zero {
    /// As a finding: µg forward and right, and the temperature in hundredths of a degree.
    #[must_use]
    pub fn found(&self) -> Found {
        let Pair { forward, right } = self.zero;
        let temperature = self.temperature.map_or(f64::from(NO_TEMPERATURE), |t| t * 100.0);
        let warm = self.temperature.map_or_else(|| "no temperature known".to_owned(), |t| format!("at {t:.1} °C"));
        let words = vec![
            format!("zero: forward {}, right {}, {warm}", mg(forward), mg(right)),
            format!("the plate itself leans: forward {}, right {}", mm_m(self.plate.forward), mm_m(self.plate.right)),
        ];
        Found::new(CalibrationItem::TiltZero, &[forward, right, temperature], self.standard, self.residual, words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sensor with a zero on a plate that leans, after so many quarter turns clockwise: the plate's lean turns the
    /// other way in the sensor's eyes.
    fn reading(zero: Pair, plate: Pair, quarters: usize) -> Attitude {
        let seen = [plate, Pair::new(plate.right, -plate.forward), plate.times(-1.0), Pair::new(-plate.right, plate.forward)][quarters];
        Attitude { level: zero.plus(seen), up: 999_900.0, standard: 20.0, temperature: Some(18.0) }
    }

    fn positions(quarters: &[usize]) -> Vec<Attitude> {
        quarters.iter().map(|q| reading(Pair::new(1_200.0, -700.0), Pair::new(5_000.0, -3_000.0), *q)).collect()
    }

    /// Check value of sensor reversal: the apparent error on reversal is twice the actual one; true = (m0 − m180)/2,
    /// zero = (m0 + m180)/2. A plate of +4 mm/m read with a zero of +1 mg shows +5 and −3.
    #[test]
    fn the_published_reversal_formula() {
        let at = |forward: f64| Attitude { level: Pair::new(forward, 0.0), up: GRAVITY, standard: 0.0, temperature: None };
        let zero = find(&[at(5_000.0), at(-3_000.0)]).unwrap();
        assert_eq!((zero.zero.forward, zero.plate.forward, zero.residual, zero.temperature), (1_000.0, 4_000.0, 0.0, None));
        assert_eq!(zero.found().values, [1_000, 0, i32::from(NO_TEMPERATURE)]);
    }

    #[test]
    fn two_positions_and_four_find_the_same_zero_and_plate() {
        for quarters in [&[0, 2][..], &[0, 1, 2, 3], &[0, 3, 2, 1]] {
            let zero = find(&positions(quarters)).unwrap();
            assert!(zero.zero.minus(Pair::new(1_200.0, -700.0)).size() < 1e-9, "{zero:?}");
            assert!(zero.plate.minus(Pair::new(5_000.0, -3_000.0)).size() < 1e-9 && zero.residual < 1e-9, "{zero:?}");
        }
        let found = find(&positions(&[0, 1, 2, 3])).unwrap().found();
        assert_eq!((found.item, &found.values[..]), (CalibrationItem::TiltZero, &[1_200, -700, 1_800][..]));
        assert_eq!(found.words[1], "the plate itself leans: forward +5.00 mm/m, right -3.00 mm/m");
    }

    /// By the stated formula, by hand: plate 5,831 µg; four positions 10² + 57.7² + 41.7² = 71.9²; two 14.1² + 81.6² + 58.9².
    #[test]
    fn its_uncertainty_is_the_stated_one() {
        let standard = |quarters: &[usize]| find(&positions(quarters)).unwrap().standard;
        assert!((standard(&[0, 1, 2, 3]) - 71.9).abs() < 0.2, "{}", standard(&[0, 1, 2, 3]));
        assert!((standard(&[0, 2]) - 101.7).abs() < 0.2, "{}", standard(&[0, 2]));
    }

    /// A sensor that sat 0.8 mg askew in one position: its pair's zero is off by 0.4 mg, the mean by 0.2 mg.
    #[test]
    fn what_four_positions_disagree_is_the_residual() {
        let mut askew = positions(&[0, 1, 2, 3]);
        askew[1].level.forward += 800.0;
        let zero = find(&askew).unwrap();
        assert!((zero.residual - 400.0).abs() < 1e-9 && (zero.zero.forward - 1_400.0).abs() < 1e-9, "{zero:?}");
        assert!((zero.standard - 400.0 / 2.0_f64.sqrt() / 2.0).abs() < 1e-9, "more than noise and seat would make it: {zero:?}");
    }

    #[test]
    fn what_cannot_be_right_is_refused_with_what_to_do_next() {
        let said = |change: &dyn Fn(&mut Vec<Attitude>)| {
            let mut all = positions(&[0, 1, 2, 3]);
            change(&mut all);
            find(&all).unwrap_err().to_string()
        };
        let of_all = |change: fn(&mut Attitude)| move |all: &mut Vec<Attitude>| all.iter_mut().for_each(change);
        let rows = [
            (said(&|all| all[3] = all[1]), "the plate leans +5.83 mm/m by one pair"),
            (said(&|all| all[2].level.forward += 2_600.0), "the plate leans"),
            (said(&|all| (all[1].level.right, all[3].level.right) = (5_500.0 - 5_700.0, 5_500.0 + 4_300.0)), "the zero found twice"),
            (said(&|all| all[2].temperature = Some(21.0)), "the sensor went from 18.0 to 21.0 °C"),
            (said(&of_all(|p| p.level = Pair::new(1_000.0, 0.0))), "the plate leans +0.00 mm/m, too little"),
            (said(&of_all(|p| p.level.forward += 60_000.0)), "the zero would be +61.20 mg"),
            (said(&of_all(|p| p.up = -1_000_000.0)), "the sensor reads gravity wrong by 1000 mg"),
            (said(&of_all(|p| p.up = 900_000.0)), "the sensor reads gravity wrong by 100 mg"),
            (said(&|all| all.truncate(3)), "3 positions are neither"),
        ];
        for (said, want) in rows {
            assert!(said.contains(want) && said.contains(": ") && !said.contains('\n'), "{said}");
        }
    }

    #[test]
    fn a_plate_that_leans_too_much_is_refused() {
        let steep: Vec<Attitude> = [0, 2].map(|q| reading(Pair::default(), Pair::new(60_000.0, 0.0), q)).to_vec();
        assert!(find(&steep).unwrap_err().to_string().starts_with("the plate leans +60.00 mm/m: level it"));
    }
}
