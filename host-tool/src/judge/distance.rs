//! What two errors at right angles and a place anywhere within a disc do to a distance: the circle, and the interval about a measured
//! distance, that hold 95 % of it. Propagation of distributions (JCGM 101) through the distance.

use super::curve::{Curve, least};
use super::spread::Spread;
use std::f64::consts::PI;

/// Steps of the distribution of the distance without the disc, and parts that the circle about the centre is cut into for each, of which
/// its halves are one where nothing tells them apart. Of 180 mixtures of errors, up to a thousand times as large as each other, no half-width
/// is other by more than 0.08 % than on a grid of 8,192 cells with the disc in 48 strips.
const STEPS: u16 = 36;
const PARTS: u16 = 40;
/// Standard deviations of the wider error beyond the measured distance within which all counts: of two normal ones less than one in a
/// million lies beyond (Rayleigh), of bounded ones less.
const REACH: f64 = 5.3;
/// Places on the rim of a disc that is lost in the errors, what a disc as wide as they are takes more, and the most.
const TURNS: f64 = 8.0;
const TURNS_MORE: f64 = 4.0;
const TURNS_MAX: u16 = 264;

/// Radius of the circle that holds a share of a pair of errors: one along each axis, independent of each other, and a place
/// anywhere within a disc. For two equal normal errors it is 2.45 standard deviations at 95 %, not 2 (JCGM 102, bivariate
/// case).
#[must_use]
pub fn radius(x: &Spread, y: &Spread, disc: f64, share: f64) -> f64 {
    let pair = Pair::of(x, y, disc, 0.0);
    pair.least(share, |radius| pair.no_larger(radius))
}

/// Half-width of the interval about a measured distance from a centre that holds a share of the distances that there
/// may truly be, given the errors along its direction, those across it and a place anywhere within a disc, all independent
/// of each other. The distance is never below nought: far from the centre the interval is that of the errors along alone, at the centre
/// the radius of the circle; for two equal normal errors the distances are spread as Rice has it. A disc is no sum of two errors of its
/// axes: those are not independent, and would reach further than its rim.
///
/// And the guard: how far beyond the measured distance half of what the share leaves out lies, and no more. It is the
/// longer of the two, since an error of any direction makes a short distance longer.
#[must_use]
pub fn distance_interval(along: &Spread, across: &Spread, disc: f64, measured: f64, share: f64) -> (f64, f64) {
    let pair = Pair::of(along, across, disc, measured);
    let half_width = pair.least(share, |reach| pair.no_larger(measured + reach) - pair.no_larger(measured - reach));
    let guard = pair.least(f64::midpoint(1.0, share), |reach| pair.no_larger(measured + reach));
    (half_width, guard.max(half_width))
}

/// The distances from a centre that there may be where `measured` stands.
struct Pair {
    /// P(distance ≤ d) by the two errors alone.
    without_disc: Curve,
    disc: f64,
    /// Places on the disc's rim that it is summed over: so many that the errors smooth what lies between.
    turns: u16,
    furthest: f64,
    /// Of both errors and the disc together, as if they were one.
    standard: f64,
}

impl Pair {
    fn of(along: &Spread, across: &Spread, disc: f64, measured: f64) -> Self {
        let (along_it, across_it) = (along.shares(), across.shares());
        let errors = Errors { along: &along_it, across: &across_it, reach: along.reach(), measured };
        let nearest = (measured - along.reach()).max(0.0);
        let wider = along.standard().max(across.standard());
        let furthest = (measured + along.reach()).hypot(across.reach()).min(measured + REACH * wider);
        Self {
            without_disc: Curve::of(nearest, furthest, STEPS, |distance| errors.no_larger(distance.abs())),
            disc,
            turns: whole(TURNS + TURNS_MORE * disc / along.standard()).min(TURNS_MAX),
            furthest: along.reach() + across.reach() + disc,
            standard: wider.hypot(disc / 2.0),
        }
    }

    fn least(&self, share: f64, held: impl Fn(f64) -> f64) -> f64 {
        least(share, self.standard, self.furthest, held)
    }

    /// The chance that the distance is no larger than this.
    ///
    /// A place that the errors alone bring to a distance s from the centre is brought to within d of it by as much of the disc as lies in
    /// the circle of d. As s grows that shrinks by the chord that disc and circle have in common: over all s, P = ∫ P(s)·chord/πR² ds.
    /// With s² = d² + R² − 2dR·cos t, the triangle of the two centres and a point on both rims, that is 2d²/π ∫ P(s)·sin² t/s² dt,
    /// t from 0 to π: smooth and nought at both ends, so that equal steps sum it up.
    fn no_larger(&self, distance: f64) -> f64 {
        if distance <= 0.0 {
            return 0.0;
        }
        if self.disc <= 0.0 {
            return self.without_disc.at(distance);
        }
        let steps = f64::from(self.turns) + 1.0;
        let (squares, twice) = (distance * distance + self.disc * self.disc, 2.0 * distance * self.disc);
        let at = |(sin, cos): (f64, f64)| {
            let square = squares - twice * cos;
            sin * sin * self.without_disc.at(square.sqrt()) / square
        };
        2.0 * distance * distance / steps * turned(0.0, PI / steps).take(usize::from(self.turns)).map(at).sum::<f64>()
    }
}

/// Two errors at right angles about a measured distance.
struct Errors<'a> {
    along: &'a Curve,
    across: &'a Curve,
    /// Of the errors along.
    reach: f64,
    measured: f64,
}

impl Errors<'_> {
    /// The chance that the distance is no larger than this: the circle is cut into parts of equal angles from where the errors along begin
    /// to where they end, and in each the error across must leave it within the circle.
    fn no_larger(&self, distance: f64) -> f64 {
        let angle = |along: f64| ((self.measured + along) / distance).clamp(-1.0, 1.0).asin();
        let (from, parts) = if self.measured > 0.0 { (angle(-self.reach), PARTS) } else { (0.0, PARTS / 2) };
        let to = angle(self.reach);
        if distance <= 0.0 || to <= from {
            let across = (distance * distance - self.measured * self.measured).sqrt();
            return if self.reach <= 0.0 && across > 0.0 { self.across.at(across) } else { 0.0 };
        }
        let below = |sin: f64| {
            let along = distance * sin - self.measured;
            self.along.at(along.abs()).copysign(along)
        };
        let mut halves = turned(from, (to - from) / f64::from(2 * parts));
        let (mut last, mut sum) = (below(from.sin()), 0.0);
        for _ in 0..parts {
            let (Some((_, middle)), Some((end, _))) = (halves.next(), halves.next()) else { break };
            let next = below(end);
            sum += (next - last) * self.across.at(distance * middle);
            last = next;
        }
        if self.measured > 0.0 { sum / 2.0 } else { sum }
    }
}

/// Sine and cosine of angles that follow on a first one by equal steps.
fn turned(first: f64, step: f64) -> impl Iterator<Item = (f64, f64)> {
    let (step_sin, step_cos) = step.sin_cos();
    let on = move |(sin, cos): &(f64, f64)| Some((sin * step_cos + cos * step_sin, cos * step_cos - sin * step_sin));
    std::iter::successors(Some(first.sin_cos()), on).skip(1)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a float to integer cast saturates
fn whole(x: f64) -> u16 {
    x as u16
}

#[cfg(test)]
mod tests {
    use super::super::spread::{COVERAGE, Shape};
    use super::*;

    /// P(r ≤ R) = 1 − exp(−R²/2σ²) for two equal normal errors: R = 2.4477 σ at 95 %.
    #[test]
    fn a_pair_takes_2_45_not_2() {
        let one = Spread::of(&[Shape::Normal(1.5)]);
        assert!((radius(&one, &one, 0.0, COVERAGE) / 1.5 - 2.4477).abs() < 0.001);
    }

    /// Of a disc alone, a circle of √0.95 its radius holds 95 %, and its one axis lies within 0.8783 of it: the solution
    /// of (x√(1 − x²) + asin x)·2/π = 0.95, by scipy 1.18.1.
    #[test]
    fn a_disc_is_not_two_rectangles() {
        let (none, disc) = (Spread::of(&[Shape::Normal(1e-9)]), Spread::of(&[Shape::Disc(2.0)]));
        assert!((radius(&none, &none, 2.0, COVERAGE) / 2.0 - 0.95_f64.sqrt()).abs() < 0.002);
        assert!((disc.half_width(COVERAGE) / 2.0 - 0.8783).abs() < 0.0005, "{}", disc.half_width(COVERAGE) / 2.0);
        assert!((disc.standard() - 1.0).abs() < 1e-12);
    }

    /// A small disc is lost in normal errors, and one as large as they are widens the circle as variances add up: by a
    /// Monte Carlo run with numpy 2.5.5, 10 million pairs.
    #[test]
    fn a_disc_and_normal_errors_add_up() {
        let one = Spread::of(&[Shape::Normal(1.0)]);
        assert!((radius(&one, &one, 0.01, COVERAGE) - 2.4477).abs() < 0.001);
        assert!((radius(&one, &one, 2.0, COVERAGE) - 3.3575).abs() < 0.002, "{}", radius(&one, &one, 2.0, COVERAGE));
    }

    #[test]
    fn a_pair_with_nothing_across_is_one_error() {
        let (one, none) = (Spread::of(&[Shape::Normal(1.0)]), Spread::of(&[Shape::Normal(1e-9)]));
        assert!((radius(&one, &none, 0.0, COVERAGE) - 1.96).abs() < 0.001);
        assert!((radius(&none, &one, 0.0, COVERAGE) - 1.96).abs() < 0.001);
        let nothing = Spread::of(&[]);
        for (x, y) in [(&one, &nothing), (&nothing, &one)] {
            assert!((radius(x, y, 0.0, COVERAGE) - 1.96).abs() < 0.001);
        }
        let (half_width, guard) = distance_interval(&nothing, &one, 0.0, 2.0, COVERAGE);
        assert!((half_width - (4.0 + 1.96_f64.powi(2)).sqrt() + 2.0).abs() < 0.001 && guard > half_width, "{half_width}, {guard}");
        assert!(radius(&nothing, &nothing, 0.0, COVERAGE) < 1e-300);
    }

    /// Rice's distribution by scipy 1.17.1: the u that solves `rice.cdf(m + u, m) - rice.cdf(max(m - u, 0), m) = 0.95`,
    /// and `rice.ppf(0.975, m) - m`.
    #[test]
    fn a_distance_near_the_centre_is_worth_less() {
        let one = Spread::of(&[Shape::Normal(1.0)]);
        let rows = [
            (0.0, 2.4477, 2.7162),
            (1.0, 1.9398, 2.2364),
            (2.0, 1.8424, 2.1334),
            (3.0, 1.9239, 2.0878),
            (4.0, 1.9425, 2.0614),
            (8.0, 1.9560, 2.0158),
        ];
        for (measured, want, beyond) in rows {
            let (half_width, guard) = distance_interval(&one, &one, 0.0, measured, COVERAGE);
            assert!((half_width - want).abs() < 0.0015 && (guard - beyond).abs() < 0.0015, "{measured}: {half_width}, {guard}");
        }
        let thin = Spread::of(&[Shape::Normal(1e-6)]);
        let (half_width, guard) = distance_interval(&one, &thin, 0.0, 8.0, COVERAGE);
        assert!((half_width - 1.96).abs() < 0.001 && (guard - 1.96).abs() < 0.001, "nothing across: one error");
    }

    /// About the centre of a disc alone a circle of √0.95 its radius holds 95 % and one of √0.975 leaves one in forty; far from
    /// it the distance is its one axis, within 0.8783 of the radius. Two independent semicircles would take 1.07 of it at the
    /// centre (a Monte Carlo run with numpy, 5 million pairs).
    #[test]
    fn a_distance_knows_a_disc_as_a_disc() {
        let none = Spread::of(&[Shape::Normal(1e-3)]);
        let (half_width, guard) = distance_interval(&none, &none, 2.0, 0.0, COVERAGE);
        assert!(
            (half_width / 2.0 - 0.95_f64.sqrt()).abs() < 0.003 && (guard / 2.0 - 0.975_f64.sqrt()).abs() < 0.003,
            "{half_width}, {guard}"
        );
        let (far, beyond) = distance_interval(&none, &none, 2.0, 200.0, COVERAGE);
        assert!((far / 2.0 - 0.8783).abs() < 0.001 && (beyond / 2.0 - 0.8783).abs() < 0.001, "{far}, {beyond}");
    }
}
