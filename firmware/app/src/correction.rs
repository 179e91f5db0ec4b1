//! From what the tilt sensor says to how the tool leans: its zero, its drift with temperature, its turn about the
//! tool's axis, and the tool string against the mast.

use shared_protocol::state::SpecificForce;
use shared_protocol::units::{Lean, MicroG, RigAxes, clamp_i32, div_round};

/// One, in millionths.
const ONE: i32 = 1_000_000;
/// Drift is in tenths of µg per degree and temperature in hundredths of a degree: a thousandth of a µg for one of each.
const DRIFT_STEPS: i64 = 1_000;

/// What calibrations say of the tilt sensor and its place on the rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Correction {
    /// What the sensor reads when plumb, in its own axes.
    pub zero: RigAxes<MicroG>,
    /// The temperature at which the zero was found, hundredths of a degree Celsius; `None` where it was not measured.
    pub zero_at: Option<i16>,
    /// What the zero gains per degree, tenths of µg.
    pub drift: RigAxes<i32>,
    /// Cosine and sine, in millionths, of the sensor's turn against the rig's axes, clockwise from above.
    pub turn: (i32, i32),
    /// Lean of the tool string less that of the mast.
    pub level: RigAxes<Lean>,
}

impl Default for Correction {
    fn default() -> Self {
        Self { zero: RigAxes::default(), zero_at: None, drift: RigAxes::default(), turn: (ONE, 0), level: RigAxes::default() }
    }
}

impl Correction {
    /// The tool's lean for a mean specific force as the sensor gives it, at a temperature in hundredths of a degree
    /// Celsius. `None` for a force of nothing. Where either temperature is unknown, the drift is left out.
    ///
    /// Zero and drift are taken off; a sensor turned clockwise by α reads f' = f·cos α + r·sin α and
    /// r' = r·cos α − f·sin α, which is undone; a component over the norm is the sine of the mast's lean; the tool's
    /// own is added. Any input is safe, and ends beyond the range are the range's ends. Error against exact
    /// arithmetic: at most 2 µm/m where the norm is 0.97 to 1.03 g, 5 µm/m from half a g upwards.
    #[must_use]
    pub fn lean(&self, raw: &SpecificForce, temperature: Option<i16>) -> Option<RigAxes<Lean>> {
        let warming = match (temperature, self.zero_at) {
            (Some(now), Some(then)) => i64::from(now).wrapping_sub(i64::from(then)), // 17 bits
            _ => 0,
        };
        // At most 35 bits: nothing below can overflow before it is clamped.
        let free = |raw: MicroG, zero: MicroG, drift: i32| {
            let drifted = div_round(i64::from(drift).wrapping_mul(warming), DRIFT_STEPS);
            i64::from(raw.0).wrapping_sub(i64::from(zero.0)).wrapping_sub(drifted)
        };
        let forward = free(raw.level.forward, self.zero.forward, self.drift.forward);
        let right = free(raw.level.right, self.zero.right, self.drift.right);
        let (cosine, sine) = (i64::from(self.turn.0), i64::from(self.turn.1));
        let turned = |a: i64, b: i64| clamp_i32(div_round(a.saturating_add(b), i64::from(ONE)));
        let level = RigAxes {
            forward: MicroG(turned(forward.saturating_mul(cosine), right.saturating_mul(sine.wrapping_neg()))),
            right: MicroG(turned(forward.saturating_mul(sine), right.saturating_mul(cosine))),
        };
        let mast = normalise(&SpecificForce { level, up: raw.up })?;
        let plus = |mast: Lean, tool: Lean| Lean(mast.0.saturating_add(tool.0));
        Some(RigAxes { forward: plus(mast.forward, self.level.forward), right: plus(mast.right, self.level.right) })
    }
}

/// The square of a force's norm, µg².
#[must_use]
pub fn norm_squared(force: &SpecificForce) -> u64 {
    let square = |v: MicroG| u64::from(v.0.unsigned_abs()).wrapping_mul(u64::from(v.0.unsigned_abs()));
    // 3 × 2⁶² at most
    square(force.level.forward).wrapping_add(square(force.level.right)).wrapping_add(square(force.up))
}

/// Level components over the norm, parts per million: the sine of the lean. `None` for a force of nothing.
/// Within 2.5 µm/m of exact arithmetic where the norm is half a g or more, within 1 where the lean is below 100 mm/m.
#[must_use]
pub fn normalise(force: &SpecificForce) -> Option<RigAxes<Lean>> {
    let norm = i64::try_from(norm_squared(force).isqrt()).ok().filter(|&norm| norm > 0)?;
    let sine = |v: MicroG| Lean(clamp_i32(div_round(i64::from(v.0).wrapping_mul(i64::from(ONE)), norm)));
    Some(RigAxes { forward: sine(force.level.forward), right: sine(force.level.right) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::{any, prop_assert, proptest};

    fn force(forward: i32, right: i32, up: i32) -> SpecificForce {
        SpecificForce { level: RigAxes { forward: MicroG(forward), right: MicroG(right) }, up: MicroG(up) }
    }

    /// The same in 64-bit floating point, written from the definition: forward and right.
    fn truth(correction: &Correction, raw: &SpecificForce, temperature: Option<i16>) -> (f64, f64) {
        let warming = temperature.zip(correction.zero_at).map_or(0.0, |(now, then)| (f64::from(now) - f64::from(then)) / 100.0);
        let free = |raw: MicroG, zero: MicroG, drift: i32| f64::from(raw.0) - f64::from(zero.0) - f64::from(drift) / 10.0 * warming;
        let f = free(raw.level.forward, correction.zero.forward, correction.drift.forward);
        let r = free(raw.level.right, correction.zero.right, correction.drift.right);
        let (c, s) = (f64::from(correction.turn.0) / 1e6, f64::from(correction.turn.1) / 1e6);
        let (f, r, u) = (f * c - r * s, f * s + r * c, f64::from(raw.up.0));
        let norm = (f * f + r * r + u * u).sqrt();
        (f / norm * 1e6 + f64::from(correction.level.forward.0), r / norm * 1e6 + f64::from(correction.level.right.0))
    }

    /// Inclinations by the application note's equations and by identity: sin 1° is 17,452 millionths, a grade of 1.5 %
    /// is a sine of 14,998, and 1/4 in per ft one of 20,829 (check values: tilt, numbers to assert).
    #[test]
    fn published_inclinations() {
        let rows = [((17_452, 0, 999_848), (17_452, 0)), ((14_998, 0, 999_888), (14_998, 0)), ((0, 20_829, 999_783), (0, 20_829))];
        for ((f, r, u), want) in rows {
            let lean = normalise(&force(f, r, u)).unwrap();
            assert!((lean.forward.0 - want.0).abs() <= 1 && (lean.right.0 - want.1).abs() <= 1, "{lean:?}");
        }
        // 0.03, 0.04, 1: inclination 2.86241° towards 53.13°, whose sine is 0.0499376.
        let lean = normalise(&force(30_000, 40_000, 1_000_000)).unwrap();
        assert_eq!((lean.forward.0, lean.right.0), (29_963, 39_950));
    }

    /// Each step of the chain by itself, with its sign.
    #[test]
    fn every_step_of_the_chain_has_its_sign() {
        let raw = force(12_000, -5_000, 999_900);
        let lean = |correction: Correction| correction.lean(&raw, Some(3_000)).map(|l| (l.forward.0, l.right.0)).unwrap();
        let near = |(f, r): (i32, i32), want: (i32, i32)| assert!((f - want.0).abs() <= 2 && (r - want.1).abs() <= 2, "{f} {r}");
        let none = Correction::default();
        near(lean(none), (12_000, -5_000));
        let zero = RigAxes { forward: MicroG(2_000), right: MicroG(-1_000) };
        near(lean(Correction { zero, ..none }), (10_000, -4_000));
        // 10 degrees warmer than when the zero was found, 50 µg a degree: half a milli-g more of zero
        let drift = RigAxes { forward: 500, right: -200 };
        near(lean(Correction { drift, zero_at: Some(2_000), ..none }), (11_500, -4_800));
        near(lean(Correction { drift, zero_at: None, ..none }), (12_000, -5_000));
        // A sensor turned a quarter clockwise points its forward axis to the rig's right.
        near(lean(Correction { turn: (0, ONE), ..none }), (5_000, 12_000));
        let level = RigAxes { forward: Lean(3_000), right: Lean(700) };
        near(lean(Correction { level, ..none }), (15_000, -4_300));
    }

    #[test]
    fn no_force_has_no_lean() {
        assert_eq!(Correction::default().lean(&force(0, 0, 0), None), None);
    }

    proptest! {
        #[test]
        fn the_chain_agrees_with_64_bit_floating_point(
            raw in (-400_000i32..400_000, -400_000i32..400_000, 300_000i32..1_500_000),
            zero in (-100_000i32..=100_000, -100_000i32..=100_000),
            drift in (-10_000i32..=10_000, -10_000i32..=10_000),
            temperatures in (-4_000i16..8_500, -4_000i16..8_500),
            turn in -180.0f64..180.0,
            level in (-50_000i32..=50_000, -50_000i32..=50_000),
        ) {
            #[allow(clippy::cast_possible_truncation)]
            let millionths = |v: f64| (v * 1e6).round() as i32;
            let correction = Correction {
                zero: RigAxes { forward: MicroG(zero.0), right: MicroG(zero.1) },
                zero_at: Some(temperatures.0),
                drift: RigAxes { forward: drift.0, right: drift.1 },
                turn: (millionths(turn.to_radians().cos()), millionths(turn.to_radians().sin())),
                level: RigAxes { forward: Lean(level.0), right: Lean(level.1) },
            };
            let raw = force(raw.0, raw.1, raw.2);
            let want = truth(&correction, &raw, Some(temperatures.1));
            let lean = correction.lean(&raw, Some(temperatures.1)).unwrap();
            let norm = (norm_squared(&raw) as f64).sqrt();
            let bound = if (970_000.0..1_030_000.0).contains(&norm) { 2.0 } else if norm >= 500_000.0 { 5.0 } else { f64::INFINITY };
            prop_assert!((f64::from(lean.forward.0) - want.0).abs() <= bound, "{lean:?} {want:?}");
            prop_assert!((f64::from(lean.right.0) - want.1).abs() <= bound, "{lean:?} {want:?}");
        }

        #[test]
        fn normalising_agrees_with_64_bit_floating_point(f in -2_000_000i32..2_000_000, r in -2_000_000i32..2_000_000, u in -2_000_000i32..2_000_000) {
            let norm = (f64::from(f).powi(2) + f64::from(r).powi(2) + f64::from(u).powi(2)).sqrt();
            if norm >= 500_000.0 {
                let lean = normalise(&force(f, r, u)).unwrap();
                prop_assert!((f64::from(lean.forward.0) - f64::from(f) / norm * 1e6).abs() <= 2.5);
                prop_assert!((f64::from(lean.right.0) - f64::from(r) / norm * 1e6).abs() <= 2.5);
            }
        }

        #[test]
        fn nothing_overflows(raw: (i32, i32, i32), zero: (i32, i32), drift: (i32, i32), turn: (i32, i32), level: (i32, i32), t: (i16, i16)) {
            let correction = Correction {
                zero: RigAxes { forward: MicroG(zero.0), right: MicroG(zero.1) },
                zero_at: Some(t.0),
                drift: RigAxes { forward: drift.0, right: drift.1 },
                turn,
                level: RigAxes { forward: Lean(level.0), right: Lean(level.1) },
            };
            let lean = correction.lean(&force(raw.0, raw.1, raw.2), Some(t.1));
            // The norm of what is turned by more than one is clamped, so a sine is never beyond ±1.
            let within = |lean: Lean, level: i32| (i64::from(lean.0) - i64::from(level)).abs() <= i64::from(u32::MAX);
            prop_assert!(lean.is_none_or(|l| within(l.forward, level.0) && within(l.right, level.1)));
            let _ = any::<i32>();
        }
    }
}
