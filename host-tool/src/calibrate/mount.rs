//! Turn of the sensor about the tool's axis, from leaning the mast straight forward and straight back.
//!
//! The turn is that from the rig's forward direction to the sensor's, clockwise seen from above. A lean of (f, r) in rig
//! axes reads (f·cos + r·sin, −f·sin + r·cos) in the sensor's, so rig = (f'·cos − r'·sin, f'·sin + r'·cos).

use super::{Attitude, Found, Refused, mm_m};
use shared_protocol::state::CalibrationItem;

/// How far the mast must be leant each way, and may be at most, µg.
const LEAN_LEAST: f64 = 3_000.0;
const LEAN_MOST: f64 = 100_000.0;
/// A turn beyond which the register map has the axes wrong, radians: 45 degrees.
const TURN_MOST: f64 = std::f64::consts::FRAC_PI_4;
/// How much both ways may disagree, radians: 3 degrees.
const RESIDUAL_MOST: f64 = 0.052_4;
/// How straight a mast leans in its hinge, half-width, radians: one degree.
const HINGE: f64 = 0.017_45;

/// How the sensor is mounted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mount {
    /// Turn clockwise from above, radians.
    pub turn: f64,
    /// Standard uncertainty, radians.
    pub standard: f64,
    /// What leaning forward and leaning back disagree, radians.
    pub residual: f64,
}

/// Finds the turn from readings with the mast upright, its top leant straight forward and its top leant straight back.
///
/// Standard uncertainty, after JCGM 100:2008, 5.1.2: u² = (u₁² + u₂²)/d² (noise of both ends over what lies between
/// them) + (1°/√3)² (the mast leans in its hinge, not in the rig's forward direction itself). Where forward and back
/// disagree by more, half of that (4.2.3).
///
/// # Errors
/// See [`Refused`].
pub fn find(upright: &Attitude, forward: &Attitude, back: &Attitude) -> Result<Mount, Refused> {
    let (to_front, to_back) = (forward.level.minus(upright.level), back.level.minus(upright.level));
    for (way, lean) in [("forward", to_front.size()), ("back", to_back.size())] {
        if !(LEAN_LEAST..=LEAN_MOST).contains(&lean) {
            let why = format!("the mast was leant {way} by {}", mm_m(lean));
            return Err(Refused::new(why, format!("begin again and lean it by 5 to 20 mm/m {way}")));
        }
    }
    // the toe goes back when the mast's top goes forward
    let turn = |toe: super::Pair| (-toe.right).atan2(toe.forward);
    let both = back.level.minus(forward.level);
    let (by_front, by_back) = (turn(to_front.times(-1.0)), turn(to_back));
    let residual = turned_within(by_front - by_back).abs();
    let noise = forward.standard.hypot(back.standard) / both.size().max(LEAN_LEAST);
    let standard = noise.hypot(HINGE / 3.0_f64.sqrt()).max(residual / 2.0);
    let mount = Mount { turn: turn(both), standard, residual };
    plausible(&mount).map_or(Ok(mount), Err)
}

/// The same angle within ±π.
fn turned_within(angle: f64) -> f64 {
    angle.sin().atan2(angle.cos())
}

fn plausible(mount: &Mount) -> Option<Refused> {
    if mount.residual > RESIDUAL_MOST {
        let why = format!("leaning forward and leaning back differ by {:.1}° in the turn they show", mount.residual.to_degrees());
        return Some(Refused::new(why, "lean the mast straight forward and straight back only, and begin again"));
    }
    if mount.turn.abs() > TURN_MOST {
        let why = format!("the sensor would be turned by {:.0}°", mount.turn.to_degrees());
        let next = "mount it with its axes as the register map says, or mend the register map, then begin again";
        return Some(Refused::new(why, next));
    }
    None
}

impl Mount {
    /// As a finding: hundredths of a degree, cosine and sine in millionths.
    #[must_use]
    pub fn found(&self) -> Found {
        let centi = |angle: f64| angle.to_degrees() * 100.0;
        let side = if self.turn < 0.0 { "anticlockwise" } else { "clockwise" };
        let words = vec![format!("the sensor is turned {:.2}° {side} seen from above", self.turn.to_degrees().abs())];
        let values = [centi(self.turn), self.turn.cos() * 1e6, self.turn.sin() * 1e6];
        Found::new(CalibrationItem::Mount, &values, centi(self.standard), centi(self.residual), words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibrate::Pair;

    const ZERO: Pair = Pair::new(1_500.0, -800.0);

    /// What a sensor with a zero, turned clockwise by `degrees`, reads of a lean in rig axes.
    fn reading(forward: f64, right: f64, degrees: f64) -> Attitude {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let level = Pair::new(forward * cos + right * sin, -forward * sin + right * cos).plus(ZERO);
        Attitude { level, up: 1e6, standard: 10.0, temperature: None }
    }

    /// The mast's top goes forward, so the toe goes back.
    fn found(degrees: f64, front: (f64, f64), back: (f64, f64)) -> Result<Mount, Refused> {
        find(&reading(500.0, 200.0, degrees), &reading(front.0, front.1, degrees), &reading(back.0, back.1, degrees))
    }

    #[test]
    fn the_turn_is_found_whatever_the_zero() {
        for degrees in [0.0, 2.5, -7.0, 40.0] {
            let mount = found(degrees, (-9_500.0, 200.0), (10_500.0, 200.0)).unwrap();
            assert!((mount.turn.to_degrees() - degrees).abs() < 1e-9 && mount.residual < 1e-9, "{degrees}: {mount:?}");
        }
        let values = found(30.0, (-9_500.0, 200.0), (10_500.0, 200.0)).unwrap().found().values;
        assert_eq!(values, [3_000, 866_025, 500_000]); // cos 30° = √3/2, sin 30° = 1/2
    }

    /// The turn that is found undoes itself: what the sensor reads, turned by it, is the lean in rig axes.
    #[test]
    fn turning_by_it_gives_rig_axes() {
        let Mount { turn, .. } = found(-7.0, (-9_500.0, 200.0), (10_500.0, 200.0)).unwrap();
        let rig = reading(3_000.0, 4_000.0, -7.0).level.minus(ZERO).turned(turn.cos(), turn.sin());
        assert!(rig.minus(Pair::new(3_000.0, 4_000.0)).size() < 1e-9, "{rig:?}");
    }

    /// 10 mm/m each way with 10 µg of noise: 14.1/20,000, and 1°/√3 = 0.577°, which is most of it.
    #[test]
    fn its_uncertainty_and_residual_are_the_stated_ones() {
        let mount = found(0.0, (-9_500.0, 200.0), (10_500.0, 200.0)).unwrap();
        assert!((mount.standard.to_degrees() - 0.577_f64.hypot(0.0405)).abs() < 0.001, "{mount:?}");
        // leant 2° askew to the front only: 349 µm/m sideways of 10,000
        let askew = found(0.0, (-9_500.0, 549.0), (10_500.0, 200.0)).unwrap();
        assert!((askew.residual.to_degrees() - 2.0).abs() < 0.01 && (askew.standard.to_degrees() - 1.0).abs() < 0.01, "{askew:?}");
    }

    #[test]
    fn what_cannot_be_right_is_refused() {
        let rows = [
            (found(0.0, (-1_500.0, 200.0), (10_500.0, 200.0)), "the mast was leant forward by +2.00 mm/m: "),
            (found(0.0, (-9_500.0, 200.0), (120_500.0, 200.0)), "the mast was leant back by +120.00 mm/m: "),
            (found(0.0, (-9_500.0, 200.0), (10_500.0, 900.0)), "leaning forward and leaning back differ by 4.0°"),
            (found(0.0, (-9_500.0, 200.0), (-9_500.0, 200.0)), "leaning forward and leaning back differ by 180.0°"),
            (found(50.0, (-9_500.0, 200.0), (10_500.0, 200.0)), "the sensor would be turned by 50°: mount it"),
            (found(0.0, (10_500.0, 200.0), (-9_500.0, 200.0)), "the sensor would be turned by "), // the other way round
        ];
        for (refused, want) in rows {
            let said = refused.unwrap_err().to_string();
            assert!(said.starts_with(want) && !said.contains('\n'), "{said}");
        }
    }
}
