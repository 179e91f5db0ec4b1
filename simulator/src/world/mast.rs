//! The mast: how it leans, on purpose and by itself.

use crate::chance::{Chance, Drawer};
use serde::Deserialize;
use shared_protocol::units::RigAxes;

/// A lean that the mast has when the bottom is at a depth.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct LeanPoint {
    /// Depth of the bottom below the hub, mm.
    pub at_mm: f64,
    /// Toe forward per metre, mm/m.
    pub forward: f64,
    /// Toe to the right per metre, mm/m.
    pub right: f64,
}

/// How the mast moves by itself.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct Wander {
    /// Standard deviation on each axis, mm/m.
    pub sd_mm_m: f64,
    /// How long it remembers, s.
    pub over_s: f64,
}

/// A lean is stepped this often.
const STEP_MS: u64 = 20;
const STEP_S: f64 = 0.02;
/// The mast's own hydraulics move it this fast at most, mm/m per second.
const SLEW_MM_M_S: f64 = 3.0;

/// The mast of one rig.
#[derive(Clone, Debug)]
pub struct Mast {
    programme: Vec<LeanPoint>,
    by_hand: Option<RigAxes<f64>>,
    set: RigAxes<f64>,
    wander: Wander,
    wandered: RigAxes<f64>,
    chance: Chance,
}

impl Mast {
    /// Set up as its programme says for the surface.
    #[must_use]
    pub fn new(seed: u64, wander: Wander) -> Self {
        let none = RigAxes { forward: 0.0, right: 0.0 };
        Self { programme: Vec::new(), by_hand: None, set: none, wander, wandered: none, chance: Chance::new(seed, Drawer::Mast) }
    }

    /// Set up afresh over a new hole.
    pub fn set_up(&mut self, programme: &[LeanPoint]) {
        self.programme = programme.to_vec();
        self.by_hand = None;
        self.set = self.wanted(0.0);
    }

    /// Lean by hand from now on, whatever the programme says, mm/m.
    pub fn lean_by_hand(&mut self, lean: RigAxes<f64>) {
        self.by_hand = Some(lean);
    }

    /// How it leans now, mm/m.
    #[must_use]
    pub fn lean(&self) -> RigAxes<f64> {
        RigAxes { forward: self.set.forward + self.wandered.forward, right: self.set.right + self.wandered.right }
    }

    /// A millisecond more; `bottom_mm` is the depth of the bottom, and a mast that is not `free` moves only as it is set.
    pub fn step(&mut self, now_ms: u64, bottom_mm: f64, free: bool) {
        if !now_ms.is_multiple_of(STEP_MS) {
            return;
        }
        let wanted = self.wanted(bottom_mm);
        let most = SLEW_MM_M_S * STEP_S;
        self.set.forward += (wanted.forward - self.set.forward).clamp(-most, most);
        self.set.right += (wanted.right - self.set.right).clamp(-most, most);
        if free && self.wander.sd_mm_m > 0.0 {
            // Ornstein-Uhlenbeck in steps: forgets exponentially, keeps its variance.
            let pull = STEP_S / self.wander.over_s.max(STEP_S);
            let push = self.wander.sd_mm_m * (2.0 * pull).sqrt();
            self.wandered.forward += push * self.chance.bell() - pull * self.wandered.forward;
            self.wandered.right += push * self.chance.bell() - pull * self.wandered.right;
        }
    }

    fn wanted(&self, bottom_mm: f64) -> RigAxes<f64> {
        if let Some(lean) = self.by_hand {
            return lean;
        }
        let pair = |p: &LeanPoint| RigAxes { forward: p.forward, right: p.right };
        let after = self.programme.iter().position(|p| p.at_mm > bottom_mm);
        match (after, self.programme.as_slice()) {
            (_, []) => RigAxes { forward: 0.0, right: 0.0 },
            (Some(0), [first, ..]) => pair(first),
            (None, [.., last]) => pair(last),
            (Some(after), points) => {
                let (a, b) = (&points[after - 1], &points[after]);
                let share = (bottom_mm - a.at_mm) / (b.at_mm - a.at_mm);
                let mix = |from: f64, to: f64| from + (to - from) * share;
                RigAxes { forward: mix(a.forward, b.forward), right: mix(a.right, b.right) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(at_mm: f64, forward: f64, right: f64) -> LeanPoint {
        LeanPoint { at_mm, forward, right }
    }

    #[test]
    fn a_still_mast_stands_exactly_as_set() {
        let mut mast = Mast::new(1, Wander { sd_mm_m: 0.0, over_s: 30.0 });
        mast.set_up(&[point(0.0, 12.0, -5.0)]);
        (1..=60_000).for_each(|ms| mast.step(ms, 100.0, true));
        assert_eq!(mast.lean(), RigAxes { forward: 12.0, right: -5.0 });
    }

    #[test]
    fn the_programme_is_followed_between_its_points() {
        let mut mast = Mast::new(1, Wander { sd_mm_m: 0.0, over_s: 30.0 });
        mast.set_up(&[point(0.0, 0.0, 0.0), point(1_000.0, 4.0, 0.0), point(2_000.0, 4.0, 8.0)]);
        for (bottom, forward, right) in [(500.0, 2.0, 0.0), (1_000.0, 4.0, 0.0), (1_250.0, 4.0, 2.0), (9_000.0, 4.0, 8.0)] {
            (1..=5_000).for_each(|ms| mast.step(ms, bottom, true));
            let lean = mast.lean();
            assert!((lean.forward - forward).abs() < 1e-9 && (lean.right - right).abs() < 1e-9, "{bottom}: {lean:?}");
        }
    }

    #[test]
    fn a_mast_takes_its_time() {
        let mut mast = Mast::new(1, Wander { sd_mm_m: 0.0, over_s: 30.0 });
        mast.lean_by_hand(RigAxes { forward: 12.0, right: -6.0 });
        (1..=1_000).for_each(|ms| mast.step(ms, 0.0, true));
        let lean = mast.lean();
        assert!((lean.forward - 3.0).abs() < 1e-9 && (lean.right + 3.0).abs() < 1e-9, "{lean:?}");
    }

    #[test]
    fn wander_keeps_to_its_standard_deviation() {
        let mut mast = Mast::new(3, Wander { sd_mm_m: 1.5, over_s: 2.0 });
        let mut leans = Vec::new();
        for ms in 1..=2_000_000 {
            mast.step(ms, 0.0, true);
            if ms % 2_000 == 0 {
                leans.push(mast.lean().forward);
            }
        }
        let n = 1_000.0;
        let mean = leans.iter().sum::<f64>() / n;
        let sd = (leans.iter().map(|l| (l - mean) * (l - mean)).sum::<f64>() / n).sqrt();
        // 1,000 samples two seconds apart, correlated by 1/e: some 460 independent ones; five standard errors of each.
        assert!((sd - 1.5).abs() < 0.25 && mean.abs() < 0.35, "sd {sd} mean {mean}");
    }
}
