//! The axis of the bore by two models that bound it, from the increments alone, in whole micrometres.
//!
//! *Stick*: a straight tool that pivots about the mast's guide, read from above: toe(L) = (h + L)·s − (h + G)·s₀,
//! with h the guide's height above the hub, G the ground's depth below it, s₀ the lean where drilling began, s the
//! lean now and L the depth below the hub. *Wall-guided*: a tool that follows the bore: toe = Σ ΔL·s. s₀ and s are
//! means over [`MEAN_OF`] increments, 100 mm as a rule, since one increment's lean is as noisy as its samples.
//! The truth lies between the two, so the *middle* of them is what is shown and judged.
//!
//! Against exact arithmetic on the same increments, for bores to 30 m, leans to 200 mm/m and a guide up to 4 m above
//! the hub: the stick is within 0.02 mm, wall-guided within 0.002 mm, however many increments there are. Increments
//! carry their lean in steps of 10 µm/m; that alone is worth 0.15 mm at 30 m at most, and far less where leans vary.

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
    /// Σ ΔL·s in micrometres times millionths: rounded once, at the end.
    wall: RigAxes<i64>,
}

impl Axis {
    /// A bore not yet begun, its ground at `ground` below the hub.
    #[must_use]
    pub const fn new(ground: Micrometres) -> Self {
        Self { first: Deque::new(), last: Deque::new(), ground, above: ground, wall: RigAxes { forward: 0, right: 0 } }
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
        self.wall.forward = go_on(self.wall.forward, length, lean.forward);
        self.wall.right = go_on(self.wall.right, length, lean.right);
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
        let one = |so_far: i64, now: Lean| Micrometres(clamp_i32(div_round(go_on(so_far, rest, now), 1_000_000)));
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

/// A sum of products that goes on by `length` along `lean`.
fn go_on(so_far: i64, length: Micrometres, lean: Lean) -> i64 {
    so_far.saturating_add(i64::from(length.0).saturating_mul(i64::from(lean.0)))
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
    use proptest::prelude::{prop_assert, prop_assert_eq, proptest};
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

    /// Both models and their middle in 64-bit floating point, micrometres, written from their definitions.
    fn truth(ground: i32, guide: i32, depths: &[i32], leans: &[f64]) -> (f64, f64, f64) {
        let of_mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        let (s0, s) = (of_mean(&leans[..leans.len().min(4)]), of_mean(&leans[leans.len().saturating_sub(4)..]));
        let (h, g, l) = (f64::from(guide), f64::from(ground), f64::from(*depths.last().unwrap()));
        let stick = (h + l) * s - (h + g) * s0;
        let tops = std::iter::once(&ground).chain(depths);
        let wall: f64 = depths.iter().zip(tops).zip(leans).map(|((below, above), lean)| f64::from(below - above) * lean).sum();
        (stick, wall, f64::midpoint(stick, wall))
    }

    /// Holds forward and right of an axis of these increments against the truth.
    fn against_truth(ground: i32, guide: i32, step: i32, leans: &[(i16, i16)]) -> Result<(), proptest::test_runner::TestCaseError> {
        let mut axis = Axis::new(Micrometres(ground));
        let depths: Vec<i32> = (1..).map(|n| ground + step * n).take(leans.len()).collect();
        for (&depth, &(forward, right)) in depths.iter().zip(leans) {
            let (forward, right) = (CoarseLean(forward), CoarseLean(right));
            axis.add(&Increment { depth: Micrometres(depth), forward, right, samples: 9, ..Increment::default() });
        }
        let (guide_height, depth) = (Micrometres(guide), Micrometres(*depths.last().unwrap()));
        let (stick, wall) = (axis.stick(guide_height, depth).unwrap(), axis.wall(depth).unwrap());
        let middle = axis.middle(guide_height, depth).unwrap();
        let one_way = |of: fn(&(i16, i16)) -> i16| leans.iter().map(|l| f64::from(of(l)) / 1e5).collect::<Vec<_>>();
        for (lean, pick) in
            [(one_way(|l| l.0), (|a| a.forward) as fn(RigAxes<Micrometres>) -> Micrometres), (one_way(|l| l.1), |a| a.right)]
        {
            let (want_stick, want_wall, want_middle) = truth(ground, guide, &depths, &lean);
            let off = |have: RigAxes<Micrometres>, want: f64| (f64::from(pick(have).0) - want).abs();
            prop_assert!(off(stick, want_stick) <= 20.0 && off(wall, want_wall) <= 2.0, "{stick:?} {want_stick} {wall:?} {want_wall}");
            prop_assert!(off(middle, want_middle) <= 12.0, "{middle:?} {want_middle}");
        }
        Ok(())
    }

    /// The longest bore of increments that all round the same way: what errs a little each time would show.
    #[test]
    fn twelve_hundred_increments_of_one_odd_lean_err_no_more_than_one() {
        for lean in [1, -7, 1_999, -13_333, 19_999, -20_000] {
            against_truth(0, 4_000_000, 24_999, &[(lean, -lean); 1_200]).unwrap();
        }
    }

    proptest! {
        #[test]
        fn all_three_agree_with_64_bit_floating_point(
            leans in proptest::collection::vec((-20_000i16..=20_000, -20_000i16..=20_000), 1..=1_200),
            guide in 0i32..=4_000_000, step in 5_000i32..=25_000, ground in -500_000i32..=500_000,
        ) {
            against_truth(ground, guide, step, &leans)?;
        }

        #[test]
        fn nothing_overflows(increments: Vec<(i32, i16, i16, bool)>, ground: i32, guide: i32, depth: i32) {
            let mut axis = Axis::new(Micrometres(ground));
            for (at, f, r, samples) in increments {
                let (forward, right, samples) = (CoarseLean(f), CoarseLean(r), u16::from(samples));
                axis.add(&Increment { depth: Micrometres(at), forward, right, samples, ..Increment::default() });
            }
            let (guide, depth) = (Micrometres(guide), Micrometres(depth));
            prop_assert_eq!(axis.middle(guide, depth).is_some(), axis.wall(depth).is_some());
            let _ = (axis.stick(guide, depth), axis.length(depth));
        }
    }
}
