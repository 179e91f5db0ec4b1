//! How often the truth lies within the printed 95 % interval, over all and by stratum, with an exact binomial test.

use super::drill::Drilled;
use host_tool::judge::{Judged, judge};
use statrs::distribution::{Binomial, DiscreteCDF};

/// The share of holes whose truth lies within a 95 % interval that is neither too narrow nor too wide.
pub const BAND: std::ops::RangeInclusive<f64> = 0.94..=0.97;
/// How rare a count must be under either end of the band before it speaks against it.
pub const SIGNIFICANCE: f64 = 0.001;

/// A figure with an uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// Depth of the hole's floor.
    Depth,
    /// Toe over length, whichever way.
    Lean,
    /// The toe as a place.
    Toe,
}

/// Every figure with its name.
pub const FIGURES: [(Figure, &str); 3] = [(Figure::Depth, "depth"), (Figure::Lean, "overall lean"), (Figure::Toe, "toe, as a region")];

/// A judged hole against its truth.
#[derive(Clone, Debug)]
pub struct Scored {
    /// As it was judged.
    pub judged: Judged,
    /// Error and half-width of the interval by figure, metres or metres per metre; of the toe, distance and radius.
    pub off: [(f64, f64); 3],
    /// The truth of depth, of overall lean and of the toe's distance.
    pub truth: [f64; 3],
}

/// Judges a hole and compares it with the truth; `None` where a figure is missing.
#[must_use]
pub fn score(hole: &Drilled) -> Option<Scored> {
    let judged = judge(&hole.setup);
    let (toe, depth) = (judged.toe?, judged.depth?);
    let budgets = judged.budgets.as_ref()?;
    // Toe and lean are over the length that the rig read; the hub corrects depth alone.
    let length = depth - judged.correction.map_or(0.0, |correction| correction.value);
    let truth = &hole.truth;
    let true_toe = (truth.toe_mm.ahead / 1e3, truth.toe_mm.right / 1e3);
    let (true_depth, true_lean) = (truth.floor_mm / 1e3, truth.lean_mm_m.size() / 1e3);
    let lean = judged.lean?.magnitude();
    let off = [
        (depth - true_depth, budgets.depth.expanded),
        (lean - true_lean, budgets.distance.expanded / length),
        ((toe.ahead - true_toe.0).hypot(toe.right - true_toe.1), budgets.place.expanded),
    ];
    let truth = [true_depth, true_lean, true_toe.0.hypot(true_toe.1)];
    Some(Scored { off, truth, judged })
}

/// How many of how many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// Within.
    pub within: u64,
    /// Of so many.
    pub of: u64,
}

impl Count {
    /// Counts what holds.
    pub fn of(outcomes: impl Iterator<Item = bool>) -> Self {
        outcomes.fold(Self::default(), |count, within| Self { within: count.within + u64::from(within), of: count.of + 1 })
    }

    /// The share.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // counts of holes
    pub fn share(self) -> f64 {
        self.within as f64 / self.of.max(1) as f64
    }

    /// Whether so few or so many are credible at 0.1 % for a share somewhere in the band. Exact: Clopper and Pearson.
    #[must_use]
    pub fn fits(self, band: &std::ops::RangeInclusive<f64>) -> bool {
        let at_most = |p: f64, k: u64| Binomial::new(p, self.of).map_or(0.0, |b| b.cdf(k));
        let too_few = *band.start() > 0.0 && at_most(*band.start(), self.within) < SIGNIFICANCE;
        let too_many = *band.end() < 1.0 && self.within > 0 && 1.0 - at_most(*band.end(), self.within - 1) < SIGNIFICANCE;
        self.of > 0 && !too_few && !too_many
    }
}

/// A stratum: its name and who is in it.
pub type Stratum = (&'static str, fn(&Drilled, &Scored) -> bool);

/// Lean as it is stated, metres per metre.
fn stated_lean(scored: &Scored) -> f64 {
    scored.truth[Figure::Lean as usize] + scored.off[Figure::Lean as usize].0
}

/// The strata that the band must hold in: by what is true of a hole and by what is stated of it.
pub const STRATA: [Stratum; 9] = [
    ("all", |_, _| true),
    ("shallower than 2.2 m", |h, _| h.truth.floor_mm < 2_200.0),
    ("2.2 to 3 m", |h, _| (2_200.0..3_000.0).contains(&h.truth.floor_mm)),
    ("3 m and deeper", |h, _| h.truth.floor_mm >= 3_000.0),
    ("lean within the limit of 20 mm/m", |h, _| h.truth.lean_mm_m.size() < 20.0),
    ("lean beyond it", |h, _| h.truth.lean_mm_m.size() >= 20.0),
    ("stated lean below 10 mm/m", |_, s| stated_lean(s) < 0.010),
    ("stated lean 10 to 20 mm/m", |_, s| (0.010..0.020).contains(&stated_lean(s))),
    ("stated lean 20 mm/m and more", |_, s| stated_lean(s) >= 0.020),
];

/// Strata by an error itself, which no interval can know, and the truly nearly plumb, who are those whose errors happened
/// not to make a distance longer: to look at.
pub const ASIDE: [Stratum; 4] = [
    ("nearly plumb, below 10 mm/m", |h, _| h.truth.lean_mm_m.size() < 10.0),
    ("led more by the mast", |h, _| h.drawn.scenario.errors.path.wall_share < 0.5),
    ("led more by the wall", |h, _| h.drawn.scenario.errors.path.wall_share >= 0.5),
    ("heading off by 5° and more", |h, _| h.drawn.scenario.errors.path.heading_deg.abs() >= 5.0),
];

/// How many holes have the truth of a figure within its interval.
#[must_use]
pub fn coverage(holes: &[(&Drilled, &Scored)], figure: Figure) -> Count {
    let within = |scored: &Scored| {
        let (off, expanded) = scored.off[figure as usize];
        off.abs() <= expanded
    };
    Count::of(holes.iter().map(|(_, scored)| within(scored)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tails of the binomial distribution by scipy 1.18.1: binom.cdf(178, 200, 0.94) = 0.0047, binom.cdf(175, 200, 0.94)
    /// = 0.00044, 1 − binom.cdf(199, 200, 0.97) = 0.0023.
    #[test]
    fn a_count_speaks_against_the_band_only_when_it_is_rare() {
        let fits = |within| Count { within, of: 200 }.fits(&BAND);
        assert!(fits(178) && fits(191) && fits(200));
        assert!(!fits(175) && !fits(150) && !Count::default().fits(&BAND));
        assert!(!Count { within: 2_000, of: 2_000 }.fits(&BAND) && !Count { within: 1_840, of: 2_000 }.fits(&BAND));
        assert!(Count { within: 1_900, of: 2_000 }.fits(&BAND));
    }
}
