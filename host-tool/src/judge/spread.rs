//! What several independent errors add up to: the distribution of a sum of normal errors and bounded ones, and the
//! intervals that hold 95 % of it. Propagation of distributions after JCGM 101, by convolution on a grid.

/// Share of the values that an interval or a region holds.
pub const COVERAGE: f64 = 0.95;
/// Cells of the grid on either side of nought.
const CELLS: usize = 512;
/// Cells that are taken together where a disc smooths them; rings and turns that a quarter of a disc is divided into.
const TOGETHER: usize = 8;
const RINGS: usize = 12;
const TURNS: usize = 8;
/// Chance of a cell that changes nothing.
const NEGLIGIBLE: f64 = 1e-8;
/// Halvings in which a reach is found; a part of the furthest that is as good as none; questions that bring it so near, and how many of
/// them halve.
const HALVINGS: u32 = 24;
const NEAR: f64 = 1.0 / 16_777_216.0;
const QUESTIONS: u32 = 17;
const HALVINGS_FIRST: u32 = 5;
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

    /// Cells of the positive side, so many taken together: where, and how likely.
    fn coarse(&self, together: usize) -> impl Iterator<Item = (f64, f64)> + '_ {
        let wide = self.step * as_f64(together);
        self.density.chunks(together).enumerate().map(move |(n, some)| (wide * (as_f64(n) + 0.5), some.iter().sum::<f64>() * self.step))
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
        let below = self.within.get(at).copied().unwrap_or(1.0);
        let above = self.within.get(at + 1).copied().unwrap_or(1.0);
        below + (above - below) * (cells - cells.floor())
    }
}

/// Radius of the circle that holds a share of a pair of errors: one along each axis, independent of each other, and a place
/// anywhere within a disc. For two equal normal errors it is 2.45 standard deviations at 95 %, not 2 (JCGM 102, bivariate
/// case).
#[must_use]
pub fn radius(x: &Spread, y: &Spread, disc: f64, share: f64) -> f64 {
    let places = places(disc);
    let together = if disc > 0.0 { TOGETHER } else { 1 };
    let near = |radius: f64, (ahead, aside): (f64, f64)| -> f64 {
        let cell = |at: f64, weight: f64| {
            let left = radius * radius - (ahead + at).powi(2);
            if left <= 0.0 { 0.0 } else { weight * y.share_within_aside(left.sqrt(), aside) }
        };
        x.coarse(together).map(|(at, weight)| cell(at, weight) + cell(-at, weight)).sum()
    };
    let inside = |radius: f64| places.iter().map(|place| near(radius, *place)).sum::<f64>() / as_f64(places.len());
    least((x.step + y.step) * as_f64(CELLS) + disc, share, inside)
}

/// Places spread evenly over a quarter of a disc; all that is done with them is symmetric.
fn places(disc: f64) -> Vec<(f64, f64)> {
    if disc <= 0.0 {
        return vec![(0.0, 0.0)];
    }
    let ring = |n: usize| disc * ((as_f64(n) + 0.5) / as_f64(RINGS)).sqrt(); // each ring has the same area
    let turn = |n: usize| std::f64::consts::FRAC_PI_2 * (as_f64(n) + 0.5) / as_f64(TURNS);
    (0..RINGS).flat_map(|r| (0..TURNS).map(move |t| (ring(r) * turn(t).cos(), ring(r) * turn(t).sin()))).collect()
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
    let places = places(disc);
    let together = if disc > 0.0 { TOGETHER } else { 1 };
    let cells: Vec<(f64, f64)> = along.coarse(together).filter(|(_, weight)| *weight > NEGLIGIBLE).collect();
    // The chance of a distance no larger, where the disc's place is so far along, and so far to either side.
    let at_place = |distance: f64, towards: f64, aside: f64| -> f64 {
        let part = |error: f64, weight: f64| {
            let left = distance * distance - (measured + towards + error).powi(2);
            if left <= 0.0 { 0.0 } else { weight * across.share_within_aside(left.sqrt(), aside) }
        };
        cells.iter().map(|(at, weight)| part(*at, *weight) + part(-at, *weight)).sum()
    };
    let no_larger = |distance: f64| -> f64 {
        if distance <= 0.0 {
            return 0.0;
        }
        let either_way =
            |(towards, aside): &(f64, f64)| f64::midpoint(at_place(distance, *towards, *aside), at_place(distance, -towards, *aside));
        places.iter().map(either_way).sum::<f64>() / as_f64(places.len())
    };
    let furthest = (along.step + across.step) * as_f64(CELLS) + disc;
    let half_width = least(furthest, share, |reach| no_larger(measured + reach) - no_larger(measured - reach));
    let guard = least(furthest, f64::midpoint(1.0, share), |reach| no_larger(measured + reach));
    (half_width, guard.max(half_width))
}

/// The least reach, up to the furthest, within which enough lies, where more lies within every larger one: found by halving so
/// many times.
fn least(furthest: f64, enough: f64, held: impl Fn(f64) -> f64) -> f64 {
    let (short, long) = bracket(furthest, enough, &held);
    let (mut low, mut high) = (0.0, furthest);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        // most questions of the halving are answered by what is known of two reaches close together
        if middle >= long || (middle > short && held(middle) >= enough) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// A reach that does not hold enough and one that does, as close together as a few questions bring them: halving to begin with, then
/// false position, the end that stays weighed down by how much the other gained (Anderson and Björck), stepping across the place that is
/// looked for once it is near.
fn bracket(furthest: f64, enough: f64, held: &impl Fn(f64) -> f64) -> (f64, f64) {
    let near = furthest * NEAR;
    let ((mut short, mut lacks), (mut long, mut exceeds)) = ((0.0, enough), (furthest, 1.0 - enough));
    let mut stayed = None;
    for question in 0..QUESTIONS {
        if long - short <= 2.0 * near {
            break;
        }
        let halving = question < HALVINGS_FIRST;
        let part = if halving { 0.5 } else { lacks / (lacks + exceeds) };
        let reach = (short + (long - short) * part).max(short + near).min(long - near);
        let over = held(reach) - enough;
        let is_over = over >= 0.0;
        let (moved, other) = if is_over { (&mut exceeds, &mut lacks) } else { (&mut lacks, &mut exceeds) };
        if stayed == Some(is_over) {
            let gained = 1.0 - over.abs() / *moved;
            *other *= if gained > 0.0 { gained } else { 0.5 };
        }
        *moved = over.abs();
        *(if is_over { &mut long } else { &mut short }) = reach;
        stayed = Some(is_over).filter(|_| !halving);
    }
    (short, long)
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
    let end = as_f64(density.len());
    let up_to = |x: f64| {
        let x = x.clamp(0.0, end);
        let at = floor(x).min(density.len() - 1);
        integral[at] + density[at] * (x - as_f64(at))
    };
    (0..density.len())
        .map(|n| {
            let centre = as_f64(n) + 0.5;
            (up_to(centre + half_width) - up_to(centre - half_width)) / (2.0 * half_width)
        })
        .collect()
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
    let shares: Vec<f64> = (0..=reach).map(share).collect();
    let at = |n: usize, off: usize| n.checked_sub(off).map_or(0.0, |n| density[n]) + density.get(n + off).copied().unwrap_or(0.0);
    (0..density.len()).map(|n| shares[0] * density[n] + (1..=reach).map(|off| shares[off] * at(n, off)).sum::<f64>()).collect()
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

    /// Halving alone, and all of its questions asked.
    #[test]
    fn the_least_reach_is_that_of_halving_to_the_bit() {
        let halved = |furthest: f64, enough: f64, held: &dyn Fn(f64) -> f64| {
            let (mut low, mut high) = (0.0, furthest);
            for _ in 0..24 {
                let middle = f64::midpoint(low, high);
                *(if held(middle) >= enough { &mut high } else { &mut low }) = middle;
            }
            high
        };
        let asked = std::cell::Cell::new(0_u32);
        let mut times = 0;
        for n in 0..200_u32 {
            let wide = 0.01 * 1.05_f64.powi(i32::try_from(n).unwrap());
            let kinds: [&dyn Fn(f64) -> f64; 5] = [
                &|x| 1.0 - (-x * x / wide).exp(),
                &|x| (x / wide).min(1.0),
                &|x| f64::from(u8::from(x >= wide)),
                &|x| (x / 100.0).powf(wide).min(1.0),
                &|_| 0.0,
            ];
            for held in kinds {
                for (furthest, enough) in [(100.0, 0.95), (33.333_333, 0.975), (wide * 7.1, 0.95)] {
                    let counted = |x: f64| {
                        asked.set(asked.get() + 1);
                        held(x)
                    };
                    let (got, want) = (least(furthest, enough, counted), halved(furthest, enough, held));
                    assert!((got - want).abs() < f64::MIN_POSITIVE, "{n}, {furthest}: {got} and not {want}");
                    times += 1;
                }
            }
        }
        let (one, other) = (Spread::of(&[Shape::Normal(1.0), Shape::Disc(0.7)]), Spread::of(&[Shape::Rectangular(1.3)]));
        asked.set(0);
        let counted = |x: f64| {
            asked.set(asked.get() + 1);
            f64::midpoint(one.share_within(x), other.share_within(x))
        };
        let held = |x: f64| f64::midpoint(one.share_within(x), other.share_within(x));
        assert!((least(9.0, 0.95, counted) - halved(9.0, 0.95, &held)).abs() < f64::MIN_POSITIVE);
        assert!(asked.get() < 16 && times == 3_000, "{} questions and not 24", asked.get());
    }

    #[test]
    fn nothing_adds_up_to_nothing() {
        assert!(Spread::of(&[]).half_width(COVERAGE) < 1e-300);
        assert!(Spread::of(&[Shape::Normal(0.0), Shape::Rectangular(0.0)]).half_width(COVERAGE) < 1e-300);
    }
}
