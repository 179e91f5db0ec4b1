//! What several independent errors add up to: the distribution of a sum of normal errors and bounded ones, and the
//! intervals that hold 95 % of it. Propagation of distributions after JCGM 101, by convolution on a grid.

/// Share of the values that an interval or a region holds.
pub const COVERAGE: f64 = 0.95;
/// Cells of the grid on either side of nought.
const CELLS: usize = 512;
/// Strips that half of a disc is cut into, and cells of each: with 64 and 2,048 of them no half-width is other by more than 0.12 %.
const STRIPS: usize = 8;
const STRIP_CELLS: usize = 96;
/// Chance of a cell that changes nothing.
const NEGLIGIBLE: f64 = 1e-8;
/// Between so many standard deviations what holds most of a pair is looked for first.
const FIRST: [f64; 2] = [1.5, 2.6];
/// A reach is found to this part of the furthest one, in so many turns at most.
const NEAR: f64 = 1e-6;
const TURNS_MAX: usize = 60;
/// Standard deviations of the normal part that the grid reaches to.
const REACH: f64 = 5.0;

/// A symmetric error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Normal, with this standard deviation.
    Normal(f64),
    /// Rectangular, with this half-width.
    Rectangular(f64),
    /// One axis of a pair that lies anywhere within a circle of this radius, no place likelier than another.
    Disc(f64),
}

impl Shape {
    /// Its standard deviation.
    #[must_use]
    pub fn standard(self) -> f64 {
        match self {
            Self::Normal(deviation) => deviation,
            Self::Rectangular(half_width) => half_width / 3.0_f64.sqrt(),
            Self::Disc(radius) => radius / 2.0,
        }
    }

    /// The same shape `factor` times as wide.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        match self {
            Self::Normal(deviation) => Self::Normal(deviation * factor.abs()),
            Self::Rectangular(half_width) => Self::Rectangular(half_width * factor.abs()),
            Self::Disc(radius) => Self::Disc(radius * factor.abs()),
        }
    }

    /// Where it ends, `None` for one that does not.
    #[must_use]
    pub fn end(self) -> Option<f64> {
        match self {
            Self::Normal(_) => None,
            Self::Rectangular(end) | Self::Disc(end) => Some(end.abs()),
        }
    }
}

/// The distribution of a sum of independent symmetric errors: its distribution function over a grid.
#[derive(Clone, Debug)]
pub struct Spread {
    step: f64,
    /// P(|error| ≤ n·step), n from 0 on.
    within: Vec<f64>,
    /// Density in cells n·step to (n + 1)·step, on the positive side.
    density: Vec<f64>,
    standard: f64,
}

impl Spread {
    /// Adds the errors up.
    #[must_use]
    pub fn of(errors: &[Shape]) -> Self {
        let bounded = || errors.iter().filter_map(|e| Some((e, e.end()?))).filter(|(_, end)| *end > 0.0);
        let normal = errors.iter().map(|e| if let Shape::Normal(s) = e { s * s } else { 0.0 }).sum::<f64>().sqrt();
        let standard = errors.iter().map(|e| e.standard().powi(2)).sum::<f64>().sqrt();
        let reach = (REACH * normal + bounded().map(|(_, end)| end).sum::<f64>()).max(f64::MIN_POSITIVE);
        let step = reach / as_f64(CELLS);
        // Centres of cells from −reach to reach; a normal part narrower than a cell is a cell.
        let mut density = normal_density(normal.max(0.5 * step), step);
        for (shape, end) in bounded() {
            density = match shape {
                Shape::Disc(_) => rounded(&density, end / step),
                _ => widened(&density, end / step),
            };
        }
        Self { step, within: within(&density), density: density[CELLS..].to_vec(), standard }
    }

    /// The standard deviation.
    #[must_use]
    pub fn standard(&self) -> f64 {
        self.standard
    }

    /// Half-width of the interval about nought that holds a share of the values.
    #[must_use]
    pub fn half_width(&self, share: f64) -> f64 {
        let at = self.within.partition_point(|p| *p < share);
        if at == 0 {
            return 0.0;
        }
        let (below, above) = (self.within[at - 1], self.within.get(at).copied().unwrap_or(1.0));
        let part = if above > below { (share - below) / (above - below) } else { 0.0 };
        self.step * (as_f64(at - 1) + part)
    }

    /// Cells of the positive side: where, and how likely.
    fn cells(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        let all = self.density.iter().enumerate().map(|(n, density)| (self.step * (as_f64(n) + 0.5), density * self.step));
        all.filter(|(_, weight)| *weight > NEGLIGIBLE)
    }

    /// The same of the sum with a rectangular error, up to a factor: where, and how likely beside each other.
    fn widened_cells(&self, half_width: f64) -> Vec<(f64, f64)> {
        let wide = (self.step * as_f64(CELLS) + half_width) / as_f64(STRIP_CELLS);
        let cell = |n: usize| {
            let at = wide * (as_f64(n) + 0.5);
            (at, self.share_below(at + half_width) - self.share_below(at - half_width))
        };
        (0..STRIP_CELLS).map(cell).filter(|(_, weight)| *weight > NEGLIGIBLE).collect()
    }

    /// P(|error + aside| ≤ `distance`).
    fn share_within_aside(&self, distance: f64, aside: f64) -> f64 {
        f64::midpoint(self.share_below(distance - aside), self.share_below(distance + aside))
    }

    /// P(|error| ≤ `distance`) for a positive distance; for a negative one the same with its sign, so that the mean of
    /// two tells how likely an error lies between two places.
    fn share_below(&self, distance: f64) -> f64 {
        self.share_within(distance.abs()).copysign(distance)
    }

    /// P(|error| ≤ `distance`).
    fn share_within(&self, distance: f64) -> f64 {
        let cells = distance / self.step;
        let at = floor(cells);
        let Some([below, above]) = self.within.get(at..).and_then(|rest| rest.first_chunk()) else { return 1.0 };
        below + (above - below) * (cells - as_f64(at))
    }
}

/// Radius of the circle that holds a share of a pair of errors: one along each axis, independent of each other, and a place
/// anywhere within a disc. For two equal normal errors it is 2.45 standard deviations at 95 %, not 2 (JCGM 102, bivariate
/// case).
#[must_use]
pub fn radius(x: &Spread, y: &Spread, disc: f64, share: f64) -> f64 {
    let pair = Pair::of(x, y, disc);
    pair.least(share, |radius| pair.no_larger(0.0, radius))
}

/// Half-width of the interval about a measured distance from a centre that holds a share of the distances that there
/// may truly be, given the errors along its direction, those across it and a place anywhere within a disc, all independent
/// of each other: propagation of distributions (JCGM 101) through the distance, which is never below nought. Far from the
/// centre it is that of the errors along alone, at the centre the radius of the circle; for two equal normal errors the
/// distances are spread as Rice has it. A disc is no sum of two errors of its axes: those are not independent, and would
/// reach further than its rim.
///
/// And the guard: how far beyond the measured distance half of what the share leaves out lies, and no more. It is the
/// longer of the two, since an error of any direction makes a short distance longer.
#[must_use]
pub fn distance_interval(along: &Spread, across: &Spread, disc: f64, measured: f64, share: f64) -> (f64, f64) {
    let pair = Pair::of(along, across, disc);
    let no_larger = |distance: f64| pair.no_larger(measured, distance);
    let half_width = pair.least(share, |reach| no_larger(measured + reach) - no_larger(measured - reach));
    let guard = pair.least(f64::midpoint(1.0, share), |reach| no_larger(measured + reach));
    (half_width, guard.max(half_width))
}

/// Two errors at right angles and a place anywhere within a disc.
///
/// The disc is cut into strips along the first error: at y off its middle a place lies anywhere within ±√(D² − y²), so that there the
/// first error is only widened, and how likely y is is a semicircle, which a few strips sum up to high order.
struct Pair<'a> {
    /// Of each strip: how far it lies to the side; cells of the first error on its positive side, where and how likely, which together
    /// make half of how likely the strip is.
    strips: Vec<(f64, Vec<(f64, f64)>)>,
    across: &'a Spread,
    furthest: f64,
    /// Of both errors and the disc together, as if they were one.
    standard: f64,
}

impl<'a> Pair<'a> {
    fn of(along: &Spread, across: &'a Spread, disc: f64) -> Self {
        let furthest = (along.step + across.step) * as_f64(CELLS) + disc;
        let strips = if disc > 0.0 { strips(along, disc) } else { vec![(0.0, along.cells().collect())] };
        let standard = (along.standard.max(across.standard).powi(2) + Shape::Disc(disc).standard().powi(2)).sqrt();
        Self { strips, across, furthest, standard }
    }

    /// The chance that the distance from a centre is no larger than this, where it would be `measured` without the errors.
    fn no_larger(&self, measured: f64, distance: f64) -> f64 {
        if distance <= 0.0 {
            return 0.0;
        }
        let within = |at: f64, aside: f64| {
            let left = distance * distance - (measured + at).powi(2);
            if left <= 0.0 { 0.0 } else { self.across.share_within_aside(left.sqrt(), aside) }
        };
        let strip = |(aside, cells): &(f64, Vec<(f64, f64)>)| -> f64 {
            cells.iter().map(|(at, weight)| weight * (within(*at, *aside) + within(-at, *aside))).sum()
        };
        self.strips.iter().map(strip).sum()
    }

    /// The least reach that holds a share, of what grows with it from less to all. By chords, and by halves where those do not bring the
    /// ends together.
    fn least(&self, share: f64, held: impl Fn(f64) -> f64) -> f64 {
        let (mut low, mut high) = ((0.0, -share), (self.furthest, 1.0 - share));
        let mut stayed = 0.0; // −1 where the lower end stayed the last time, 1 where the higher one did
        for turn in 0..TURNS_MAX {
            if high.0 - low.0 <= self.furthest * NEAR {
                break;
            }
            let chord = low.0 - low.1 * (high.0 - low.0) / (high.1 - low.1);
            let (at, by_chord) = match FIRST.get(turn).map(|times| times * self.standard).filter(|at| *at > low.0 && *at < high.0) {
                Some(first) => (first, false),
                None if turn % 4 == 3 => (f64::midpoint(low.0, high.0), false),
                None => (chord, true),
            };
            let there = held(at) - share;
            let stays = if there < 0.0 { 1.0 } else { -1.0 };
            // Illinois: an end that stays a second time counts for half, so that the next chord comes to its side
            let weight = if stays == stayed && by_chord { 0.5 } else { 1.0 };
            (low, high) = if there < 0.0 { ((at, there), (high.0, high.1 * weight)) } else { ((low.0, low.1 * weight), (at, there)) };
            stayed = stays;
        }
        high.0
    }
}

/// Strips of a disc by Gauss and Chebyshev's rule of the second kind: at D·cos θ, θ = kπ/(n + 1), as likely as sin² θ; those on either
/// side of its middle are one, since nothing tells them apart.
fn strips(along: &Spread, disc: f64) -> Vec<(f64, Vec<(f64, f64)>)> {
    let one = |k: usize| {
        let angle = std::f64::consts::PI * as_f64(k) / as_f64(2 * STRIPS);
        let share = angle.sin().powi(2) / as_f64(STRIPS) * if k == STRIPS { 1.0 } else { 2.0 };
        let cells = along.widened_cells(disc * angle.sin());
        let all: f64 = cells.iter().map(|(_, weight)| weight).sum::<f64>() * 2.0;
        (disc * angle.cos(), cells.into_iter().map(|(at, weight)| (at, weight * share / all)).collect())
    };
    (1..=STRIPS).map(one).collect()
}

fn normal_density(deviation: f64, step: f64) -> Vec<f64> {
    let density: Vec<f64> = (0..2 * CELLS).map(|n| (-0.5 * ((as_f64(n) - as_f64(CELLS) + 0.5) * step / deviation).powi(2)).exp()).collect();
    let area = density.iter().sum::<f64>() * step;
    density.iter().map(|d| d / area).collect()
}

/// The density of the sum with a rectangular error of `half_width` cells: the running mean, by the integral.
fn widened(density: &[f64], half_width: f64) -> Vec<f64> {
    let mut integral = vec![0.0];
    for d in density {
        integral.push(integral.last().copied().unwrap_or(0.0) + d);
    }
    let cells = density.len();
    // The integral from the grid's beginning to each cell's place and so much further: that is the same part of a cell for all of them.
    let up_to = |further: f64| {
        let (whole, part) = (further.floor(), further - further.floor());
        let place = move |n: usize| as_f64(n) + whole;
        let (integral, density) = (&integral, &density);
        (0..cells).map(move |n| match place(n) {
            before if before < 0.0 => 0.0,
            at if at >= as_f64(cells) => integral[cells],
            at => integral[floor(at)] + density[floor(at)] * part,
        })
    };
    up_to(0.5 + half_width).zip(up_to(0.5 - half_width)).map(|(to, from)| (to - from) / (2.0 * half_width)).collect()
}

/// The density of the sum with one axis of a disc of `radius` cells: its share of each cell, x√(R² − x²)/πR² + asin(x/R)/π
/// being the integral of its semicircle.
fn rounded(density: &[f64], radius: f64) -> Vec<f64> {
    let integral = |cells: f64| {
        let x = (cells / radius).clamp(-1.0, 1.0);
        (x * (1.0 - x * x).sqrt() + x.asin()) / std::f64::consts::PI
    };
    let reach = floor(radius) + 1;
    let share = |n: usize| integral(as_f64(n) + 0.5) - integral(as_f64(n) - 0.5);
    // offset by offset over the whole grid and not cell by cell: the processor then takes several cells at once
    let mut sum: Vec<f64> = density.iter().map(|d| d * share(0)).collect();
    for off in 1..=reach.min(density.len()) {
        let share = share(off);
        let apart = density.len() - off;
        sum[off..].iter_mut().zip(&density[..apart]).for_each(|(sum, d)| *sum += share * d);
        sum[..apart].iter_mut().zip(&density[off..]).for_each(|(sum, d)| *sum += share * d);
    }
    sum
}

/// P(|error| ≤ n·step) from a density over both sides.
fn within(density: &[f64]) -> Vec<f64> {
    let sum: f64 = density.iter().sum();
    let mut so_far = 0.0;
    let mut within = vec![0.0];
    for n in 0..CELLS {
        so_far += (density[CELLS + n] + density[CELLS - 1 - n]) / sum;
        within.push(so_far);
    }
    within
}

fn as_f64(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a place on the grid: never negative, far below 2^53
fn floor(x: f64) -> usize {
    x.max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn factor(errors: &[Shape]) -> f64 {
        let spread = Spread::of(errors);
        spread.half_width(COVERAGE) / spread.standard()
    }

    /// JCGM 100:2008, table G.1 (normal: 1.960) and 6.3.3 (rectangular: 1.65); from memory, high confidence.
    #[test]
    fn factors_of_the_guide() {
        assert!((factor(&[Shape::Normal(3.0)]) - 1.960).abs() < 0.003);
        assert!((factor(&[Shape::Rectangular(2.0)]) - 0.95 * 3.0_f64.sqrt()).abs() < 0.01);
    }

    /// Two equal rectangular errors make a triangle, whose 95 % half-width is a·(1 − √0.05) with a its own half-width.
    #[test]
    fn two_rectangles_make_a_triangle() {
        let spread = Spread::of(&[Shape::Rectangular(1.0), Shape::Rectangular(1.0)]);
        assert!((spread.half_width(COVERAGE) - 2.0 * (1.0 - 0.05_f64.sqrt())).abs() < 0.01);
    }

    /// P(r ≤ R) = 1 − exp(−R²/2σ²) for two equal normal errors: R = 2.4477 σ at 95 %.
    #[test]
    fn a_pair_takes_2_45_not_2() {
        let one = Spread::of(&[Shape::Normal(1.5)]);
        assert!((radius(&one, &one, 0.0, COVERAGE) / 1.5 - 2.4477).abs() < 0.005);
    }

    /// Of a disc alone, a circle of √0.95 its radius holds 95 %, and its one axis lies within 0.8783 of it: the solution
    /// of (x√(1 − x²) + asin x)·2/π = 0.95, by scipy 1.18.1.
    #[test]
    fn a_disc_is_not_two_rectangles() {
        let (none, disc) = (Spread::of(&[Shape::Normal(1e-9)]), Spread::of(&[Shape::Disc(2.0)]));
        assert!((radius(&none, &none, 2.0, COVERAGE) / 2.0 - 0.95_f64.sqrt()).abs() < 0.02);
        assert!((disc.half_width(COVERAGE) / 2.0 - 0.8783).abs() < 0.004, "{}", disc.half_width(COVERAGE) / 2.0);
        assert!((disc.standard() - 1.0).abs() < 1e-12);
    }

    /// A small disc is lost in normal errors, and one as large as they are widens the circle as variances add up: by a
    /// Monte Carlo run with numpy 2.5.5, 10 million pairs.
    #[test]
    fn a_disc_and_normal_errors_add_up() {
        let one = Spread::of(&[Shape::Normal(1.0)]);
        assert!((radius(&one, &one, 0.01, COVERAGE) - 2.4477).abs() < 0.01);
        assert!((radius(&one, &one, 2.0, COVERAGE) - 3.3575).abs() < 0.02, "{}", radius(&one, &one, 2.0, COVERAGE));
    }

    #[test]
    fn a_pair_with_nothing_across_is_one_error() {
        let (one, none) = (Spread::of(&[Shape::Normal(1.0)]), Spread::of(&[Shape::Normal(1e-9)]));
        assert!((radius(&one, &none, 0.0, COVERAGE) - 1.96).abs() < 0.01);
        assert!((radius(&none, &one, 0.0, COVERAGE) - 1.96).abs() < 0.01);
    }

    /// Rice's distribution by scipy 1.17.1: the u that solves `rice.cdf(m + u, m) - rice.cdf(max(m - u, 0), m) = 0.95`,
    /// and `rice.ppf(0.975, m) - m`.
    #[test]
    fn a_distance_near_the_centre_is_worth_less() {
        let one = Spread::of(&[Shape::Normal(1.0)]);
        let rows =
            [(0.0, 2.448, 2.716), (1.0, 1.940, 2.236), (2.0, 1.842, 2.133), (3.0, 1.924, 2.088), (4.0, 1.942, 2.061), (8.0, 1.956, 2.016)];
        for (measured, want, beyond) in rows {
            let (half_width, guard) = distance_interval(&one, &one, 0.0, measured, COVERAGE);
            assert!((half_width - want).abs() < 0.01 && (guard - beyond).abs() < 0.01, "{measured}: {half_width}, {guard}");
        }
        let thin = Spread::of(&[Shape::Normal(1e-6)]);
        let (half_width, guard) = distance_interval(&one, &thin, 0.0, 8.0, COVERAGE);
        assert!((half_width - 1.96).abs() < 0.01 && (guard - 1.96).abs() < 0.01, "nothing across: one error");
    }

    /// About the centre of a disc alone a circle of √0.95 its radius holds 95 % and one of √0.975 leaves one in forty; far from
    /// it the distance is its one axis, within 0.8783 of the radius. Two independent semicircles would take 1.07 of it at the
    /// centre (a Monte Carlo run with numpy, 5 million pairs).
    #[test]
    fn a_distance_knows_a_disc_as_a_disc() {
        let none = Spread::of(&[Shape::Normal(1e-3)]);
        let (half_width, guard) = distance_interval(&none, &none, 2.0, 0.0, COVERAGE);
        assert!(
            (half_width / 2.0 - 0.95_f64.sqrt()).abs() < 0.02 && (guard / 2.0 - 0.975_f64.sqrt()).abs() < 0.02,
            "{half_width}, {guard}"
        );
        let (far, beyond) = distance_interval(&none, &none, 2.0, 200.0, COVERAGE);
        assert!((far / 2.0 - 0.8783).abs() < 0.02 && (beyond / 2.0 - 0.8783).abs() < 0.02, "{far}, {beyond}");
    }

    #[test]
    fn nothing_adds_up_to_nothing() {
        assert!(Spread::of(&[]).half_width(COVERAGE) < 1e-300);
        assert!(Spread::of(&[Shape::Normal(0.0), Shape::Rectangular(0.0)]).half_width(COVERAGE) < 1e-300);
    }
}
