//! The tool string against its mast: what the sensor on the mast does not see.

use crate::chance::{Chance, Drawer};
use crate::errors::Tool;
use shared_protocol::units::RigAxes;

/// The string moves this often.
const STEP_MS: u64 = 20;
/// How much of its wander it forgets in a step: as much as in 10 s it remembers.
const PULL: f64 = 0.002;

/// The tool string.
#[derive(Clone, Debug)]
pub struct ToolString {
    errors: Tool<f64>,
    /// How far it has wandered, shares of the play.
    wandered: [f64; 2],
    chance: Chance,
}

impl ToolString {
    /// At its place within the play.
    #[must_use]
    pub fn new(seed: u64, errors: Tool<f64>) -> Self {
        Self { errors, wandered: [0.0; 2], chance: Chance::new(seed, Drawer::Play) }
    }

    /// A millisecond more.
    pub fn step(&mut self, now_ms: u64) {
        if now_ms.is_multiple_of(STEP_MS) && self.errors.play_wander > 0.0 {
            let push = self.errors.play_wander * (2.0 * PULL).sqrt();
            self.wandered = self.wandered.map(|share| share * (1.0 - PULL) + push * self.chance.bell());
        }
    }

    /// Lean of the string's lower end, mm/m, where the mast leans so and the hole is so many metres deep.
    #[must_use]
    pub fn lean(&self, mast: RigAxes<f64>, hole_m: f64) -> RigAxes<f64> {
        let play = self.within_play();
        let off = |axis: usize| self.errors.level_mm_m[axis] + play[axis] + self.errors.bend_mm_m_m[axis] * hole_m.max(0.0);
        RigAxes { forward: mast.forward + off(0), right: mast.right + off(1) }
    }

    /// Where the string lies within its play, mm/m: as far as the guide lets it.
    fn within_play(&self) -> [f64; 2] {
        let share = [0, 1].map(|axis| self.errors.play_toward[axis] + self.wandered[axis]);
        let size = (share[0] * share[0] + share[1] * share[1]).sqrt();
        share.map(|s| self.errors.play_mm_m * s / size.max(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MAST: RigAxes<f64> = RigAxes { forward: 5.0, right: -2.0 };

    #[test]
    fn a_string_without_errors_leans_as_its_mast() {
        assert_eq!(ToolString::new(1, Tool::default()).lean(MAST, 3.0), MAST);
    }

    #[test]
    fn level_and_bending_add_to_the_masts_lean() {
        let string = ToolString::new(1, Tool { level_mm_m: [1.0, -2.0], bend_mm_m_m: [0.5, 0.25], ..Tool::default() });
        assert_eq!(string.lean(MAST, -0.4), RigAxes { forward: 6.0, right: -4.0 });
        assert_eq!(string.lean(MAST, 2.0), RigAxes { forward: 7.0, right: -3.5 });
    }

    /// Design: 10 mm of play over 1.4 m is about 7 mm/m, whichever way the string lies.
    #[test]
    fn the_string_lies_and_wanders_within_the_play_and_no_further() {
        let play = 10.0 / 1.4;
        let mut string = ToolString::new(1, Tool { play_mm_m: play, play_toward: [0.6, 0.3], play_wander: 0.3, ..Tool::default() });
        let (mut sum, mut furthest, mut nearest) = (0.0, 0.0_f64, f64::INFINITY);
        for ms in 1..=1_000_000 {
            string.step(ms);
            let lean = string.lean(RigAxes { forward: 0.0, right: 0.0 }, 0.0);
            let size = lean.forward.hypot(lean.right);
            (sum, furthest, nearest) = (sum + lean.forward / 1e6, furthest.max(size), nearest.min(size));
        }
        assert!(furthest <= play + 1e-9 && furthest > 0.999 * play && nearest < 0.2 * play, "{nearest} to {furthest}");
        // 1,000 s of what is forgotten in 10 s: some 50 independent ones; five standard errors of 0.3 play.
        assert!((sum / play - 0.6).abs() < 0.22, "{}", sum / play);
        let pressed = ToolString::new(1, Tool { play_mm_m: play, play_toward: [1.0, 1.0], ..Tool::default() });
        assert!((pressed.lean(RigAxes { forward: 0.0, right: 0.0 }, 0.0).forward - play / 2.0_f64.sqrt()).abs() < 1e-9);
    }
}
