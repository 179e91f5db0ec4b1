//! The axis of the bore by two models that bound it, from the increments alone, in whole micrometres.
//!
//! *Stick*: a straight tool that pivots about the mast's guide, read from above: toe(L) = (h + L)·s − (h + G)·s₀,
//! with h the guide's height above the hub, G the ground's depth below it, s₀ the lean where drilling began, s the
//! lean now and L the depth below the hub. *Wall-guided*: a tool that follows the bore: toe = Σ ΔL·s. s₀ and s are
//! means over [`MEAN_OF`] increments, 100 mm as a rule, since one increment's lean is as noisy as its samples.
//! The truth lies between the two, so the *middle* of them is what is shown and judged.

use heapless::Deque;
use shared_protocol::record::Increment;
use shared_protocol::units::{Lean, Micrometres, RigAxes, clamp_i32, div_round};

/// Increments in the mean lean at either end of the bore.
pub const MEAN_OF: usize = 4;

/// The axis so far.
#[derive(Debug)]
pub struct Axis {
    first: Deque<RigAxes<Lean>, MEAN_OF>,
    last: Deque<RigAxes<Lean>, MEAN_OF>,
    ground: Micrometres,
    above: Micrometres,
    wall: RigAxes<Micrometres>,
}

impl Axis {
    /// A bore not yet begun, its ground at `ground` below the hub.
    #[must_use]
    pub const fn new(ground: Micrometres) -> Self {
        let none = Micrometres(0);
        Self { first: Deque::new(), last: Deque::new(), ground, above: ground, wall: RigAxes { forward: none, right: none } }
    }

    /// Goes on by one increment; one without samples has no lean and lends its length to the next.
    pub fn add(&mut self, increment: &Increment) {
        if increment.samples == 0 {
            return;
        }
        let lean = RigAxes { forward: increment.forward.lean(), right: increment.right.lean() };
        let _ = self.first.push_back(lean); // full after the first few
        if self.last.is_full() {
            self.last.pop_front();
        }
        let _ = self.last.push_back(lean);
        let length = increment.depth.minus(self.above);
        self.above = increment.depth;
        self.wall.forward = self.wall.forward.plus(length.along(lean.forward));
        self.wall.right = self.wall.right.plus(length.along(lean.right));
    }

    /// Where the axis ends at `depth` below the hub by the stick model, off the vertical through the hole's start;
    /// `None` before any lean was recorded.
    #[must_use]
    pub fn stick(&self, guide: Micrometres, depth: Micrometres) -> Option<RigAxes<Micrometres>> {
        let (start, now) = (mean(&self.first)?, mean(&self.last)?);
        let (short, long) = (guide.plus(self.ground), guide.plus(depth));
        let one = |start: Lean, now: Lean| long.along(now).minus(short.along(start));
        Some(RigAxes { forward: one(start.forward, now.forward), right: one(start.right, now.right) })
    }

    /// Where the axis ends at `depth` by the wall-guided model, going on from the last increment with the lean of
    /// the last ones; `None` before any lean was recorded.
    #[must_use]
    pub fn wall(&self, depth: Micrometres) -> Option<RigAxes<Micrometres>> {
        let now = mean(&self.last)?;
        let rest = depth.minus(self.above);
        let one = |so_far: Micrometres, now: Lean| so_far.plus(rest.along(now));
        Some(RigAxes { forward: one(self.wall.forward, now.forward), right: one(self.wall.right, now.right) })
    }

    /// The middle of both models at `depth` below the hub; `None` before any lean was recorded.
    #[must_use]
    pub fn middle(&self, guide: Micrometres, depth: Micrometres) -> Option<RigAxes<Micrometres>> {
        let (stick, wall) = (self.stick(guide, depth)?, self.wall(depth)?);
        let one = |a: Micrometres, b: Micrometres| Micrometres(clamp_i32(div_round(i64::from(a.0).saturating_add(i64::from(b.0)), 2)));
        Some(RigAxes { forward: one(stick.forward, wall.forward), right: one(stick.right, wall.right) })
    }

    /// Length of the bore down to `depth` below the hub, from the ground.
    #[must_use]
    pub const fn length(&self, depth: Micrometres) -> Micrometres {
        depth.minus(self.ground)
    }
}

fn mean(leans: &Deque<RigAxes<Lean>, MEAN_OF>) -> Option<RigAxes<Lean>> {
    let count = i64::try_from(leans.len()).ok().filter(|&n| n > 0)?;
    let of = |pick: fn(&RigAxes<Lean>) -> Lean| {
        let sum = leans.iter().map(pick).fold(0i64, |sum, lean| sum.saturating_add(i64::from(lean.0)));
        Lean(clamp_i32(div_round(sum, count)))
    };
    Some(RigAxes { forward: of(|l| l.forward), right: of(|l| l.right) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::{prop_assert, proptest};
    use shared_protocol::body::CoarseLean;

    fn increment(depth_mm: i32, forward: i16, right: i16) -> Increment {
        let (forward, right) = (CoarseLean(forward), CoarseLean(right));
        Increment { depth: Micrometres::from_mm(depth_mm), forward, right, samples: 20, ..Increment::default() }
    }

    #[test]
    fn a_straight_stick_lands_where_length_times_lean_says_by_either_model() {
        let mut axis = Axis::new(Micrometres(0));
        (1..=120).for_each(|n| axis.add(&increment(25 * n, 1_200, -500)));
        let want = RigAxes { forward: Micrometres::from_mm(36), right: Micrometres::from_mm(-15) };
        assert_eq!(axis.stick(Micrometres::from_mm(1_400), Micrometres::from_mm(3_000)), Some(want));
        assert_eq!(axis.wall(Micrometres::from_mm(3_000)), Some(want));
        assert_eq!(axis.middle(Micrometres::from_mm(1_400), Micrometres::from_mm(3_000)), Some(want));
    }

    #[test]
    fn a_mast_that_tips_about_its_guide_swings_the_toe_by_guide_height_too() {
        let mut axis = Axis::new(Micrometres(0));
        (1..=4).for_each(|n| axis.add(&increment(25 * n, 0, 0)));
        (5..=120).for_each(|n| axis.add(&increment(25 * n, 1_000, 0)));
        let toe = axis.stick(Micrometres::from_mm(1_400), Micrometres::from_mm(3_000)).unwrap();
        assert_eq!(toe.forward, Micrometres::from_mm(44));
        assert_eq!(axis.wall(Micrometres::from_mm(3_000)).unwrap().forward, Micrometres::from_mm(29)); // 2.9 m at 10 mm/m
        assert_eq!(axis.middle(Micrometres::from_mm(1_400), Micrometres::from_mm(3_000)).unwrap().forward, Micrometres(36_500));
    }

    #[test]
    fn ground_that_is_not_at_the_hub_does_not_move_the_toe() {
        let mut axis = Axis::new(Micrometres::from_mm(200));
        (9..=120).for_each(|n| axis.add(&increment(25 * n, 1_000, 0)));
        let toe = axis.stick(Micrometres::from_mm(1_400), Micrometres::from_mm(3_000)).unwrap();
        assert_eq!(toe.forward, Micrometres::from_mm(28), "2.8 m of bore at 10 mm/m");
        assert_eq!(axis.wall(Micrometres::from_mm(3_000)).unwrap().forward, Micrometres::from_mm(28));
    }

    #[test]
    fn an_increment_without_samples_lends_its_length_to_the_next() {
        let mut axis = Axis::new(Micrometres(0));
        axis.add(&Increment { samples: 0, ..increment(25, 3_000, 0) });
        assert_eq!((axis.stick(Micrometres(0), Micrometres(0)), axis.wall(Micrometres(0))), (None, None));
        axis.add(&increment(50, 1_000, 0));
        assert_eq!(axis.wall(Micrometres::from_mm(50)).unwrap().forward, Micrometres(500));
    }

    proptest! {
        #[test]
        fn both_models_agree_with_64_bit_floating_point(leans: Vec<(i16, i16)>, guide in 0i32..4_000_000, step in 5_000i32..100_000) {
            let mut axis = Axis::new(Micrometres(0));
            let (mut wall, mut count) = (0.0, 0.0);
            for (n, &(f, r)) in leans.iter().take(400).enumerate() {
                let depth = Micrometres(step * (i32::try_from(n).unwrap() + 1));
                axis.add(&Increment { depth, forward: CoarseLean(f), right: CoarseLean(r), samples: 9, ..Increment::default() });
                wall += f64::from(step) * f64::from(f) / 1e5;
                count += 1.0;
            }
            if count > 0.0 {
                let taken: Vec<f64> = leans.iter().take(400).map(|l| f64::from(l.0) / 1e5).collect();
                let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
                let depth = f64::from(step) * count;
                let (s0, s) = (mean(&taken[..taken.len().min(4)]), mean(&taken[taken.len().saturating_sub(4)..]));
                let stick = f64::from(guide) * (s - s0) + depth * s;
                let depth = Micrometres(step * i32::try_from(taken.len()).unwrap());
                // Half a step of lean in the means: half a µm/m, twice over 4 m and once over 40 m; each product half a µm.
                prop_assert!((f64::from(axis.stick(Micrometres(guide), depth).unwrap().forward.0) - stick).abs() <= 25.0 + 2.0);
                prop_assert!((f64::from(axis.wall(depth).unwrap().forward.0) - wall).abs() <= 0.5 * count + 1e-6);
            }
        }
    }
}
