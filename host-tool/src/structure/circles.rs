//! The smallest circle round circles: the place from which the farthest of several rounds is least far.
//!
//! A pole that stands at p has, beside a round hole of centre c and radius R, the room R − r − |c − p|. Its least room
//! over the depth is most where the largest of |p − c| + (r − R) is least. That is a convex problem, and at most
//! three of the circles decide it. So: solve three exactly, take in the one that is violated most, solve the four by
//! trying each one, pair and triple of them, and go on. The answer for the few rises with every step and never
//! passes the answer for all; what is found at the place itself never falls below it; so the two bracket it.

use crate::judge::LineAxes;

/// Steps at most; random holes take about five.
const STEPS: usize = 200;
/// Brackets closer than this are closed, metres.
const CLOSED: f64 = 1e-11;
/// A further circle decides only if it changes the answer by more, metres.
const DECIDES: f64 = 1e-12;

/// A circle to be enclosed. Its radius may be negative: then it is how far inside its centre the enclosing circle may end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circle {
    /// Its centre, metres.
    pub centre: LineAxes,
    /// Its radius, metres.
    pub radius: f64,
}

impl Circle {
    /// How far its farthest point lies from a place, metres.
    #[must_use]
    pub fn reach(&self, place: LineAxes) -> f64 {
        place.minus(self.centre).magnitude() + self.radius
    }
}

/// The smallest circle round some.
#[derive(Clone, Debug, PartialEq)]
pub struct Enclosing {
    /// Its centre, metres.
    pub centre: LineAxes,
    /// Its radius, metres, as found at the centre over all circles.
    pub radius: f64,
    /// No circle round all of them is smaller than this, metres.
    pub at_least: f64,
    /// The one to three circles that decide it, by their index.
    pub touching: Vec<usize>,
}

/// Finds it. `None` where there is no circle or one is not finite.
#[must_use]
pub fn enclosing(circles: &[Circle]) -> Option<Enclosing> {
    let sound = |c: &Circle| c.centre.ahead.is_finite() && c.centre.right.is_finite() && c.radius.is_finite();
    if !circles.iter().all(sound) {
        return None;
    }
    let farthest = |place| (0..circles.len()).max_by(|&a, &b| circles[a].reach(place).total_cmp(&circles[b].reach(place)));
    let largest = (0..circles.len()).max_by(|&a, &b| circles[a].radius.total_cmp(&circles[b].radius))?;
    let mut few = few(circles, &[largest])?;
    let mut best: Option<Enclosing> = None;
    for _ in 0..STEPS {
        let far = farthest(few.centre)?;
        let radius = circles[far].reach(few.centre);
        if best.as_ref().is_none_or(|b| radius < b.radius) {
            best = Some(Enclosing { centre: few.centre, radius, at_least: few.radius, touching: few.touching.clone() });
        }
        if radius - few.radius <= CLOSED || few.touching.contains(&far) {
            break;
        }
        let mut four = few.touching.clone();
        four.push(far);
        let next = self::few(circles, &four)?;
        if next.radius <= few.radius {
            break; // no more can be told apart in floating point
        }
        few = next;
    }
    best.map(|best| Enclosing { at_least: few.radius.min(best.radius), ..best })
}

struct Few {
    centre: LineAxes,
    radius: f64,
    touching: Vec<usize>,
}

/// The smallest circle round up to four: of the places that one, two or three of them would decide, the one that does best.
/// The fewest that do are taken.
fn few(circles: &[Circle], chosen: &[usize]) -> Option<Few> {
    let mut best: Option<Few> = None;
    let mut offer = |place: LineAxes, touching: &[usize]| {
        let radius = chosen.iter().map(|&n| circles[n].reach(place)).fold(f64::NEG_INFINITY, f64::max);
        if radius.is_finite() && best.as_ref().is_none_or(|b| radius < b.radius - DECIDES) {
            best = Some(Few { centre: place, radius, touching: touching.to_vec() });
        }
    };
    for &a in chosen {
        offer(circles[a].centre, &[a]);
    }
    for (n, &a) in chosen.iter().enumerate() {
        for &b in &chosen[n + 1..] {
            between(&circles[a], &circles[b]).into_iter().for_each(|place| offer(place, &[a, b]));
        }
    }
    for (n, &a) in chosen.iter().enumerate() {
        for (m, &b) in chosen.iter().enumerate().skip(n + 1) {
            for &c in &chosen[m + 1..] {
                among([&circles[a], &circles[b], &circles[c]]).into_iter().flatten().for_each(|place| offer(place, &[a, b, c]));
            }
        }
    }
    best
}

/// The place between two centres from which both circles reach equally far.
fn between(a: &Circle, b: &Circle) -> Option<LineAxes> {
    let way = b.centre.minus(a.centre);
    let long = way.magnitude();
    let share = 0.5 + (b.radius - a.radius) / (2.0 * long);
    (long > 0.0 && (0.0..=1.0).contains(&share)).then(|| a.centre.plus(way.times(share)))
}

/// The places from which three circles reach equally far (the problem of Apollonius): with x off the first centre, u the
/// distance from it, d and e what the others' centres and radii differ by, |x| = u and |x − d| = u − e. Squares
/// subtracted are linear in x and u, and leave one quadratic for u. None for centres on one line: then two decide.
fn among([a, b, c]: [&Circle; 3]) -> [Option<LineAxes>; 2] {
    let (d, f) = (b.centre.minus(a.centre), c.centre.minus(a.centre));
    let (e, g) = (b.radius - a.radius, c.radius - a.radius);
    let area = d.ahead * f.right - d.right * f.ahead;
    if area == 0.0 {
        return [None, None];
    }
    // x·d = first, x·f = second
    let solve = |first: f64, second: f64| LineAxes {
        ahead: (first * f.right - second * d.right) / area,
        right: (second * d.ahead - first * f.ahead) / area,
    };
    let half = |way: LineAxes, more: f64| 0.5 * (way.ahead * way.ahead + way.right * way.right - more * more);
    let (fixed, per) = (solve(half(d, e), half(f, g)), solve(e, g));
    let dot = |x: LineAxes, y: LineAxes| x.ahead * y.ahead + x.right * y.right;
    let (square, twice, rest) = (dot(per, per) - 1.0, dot(fixed, per), dot(fixed, fixed));
    let root = (twice * twice - square * rest).max(0.0).sqrt();
    let sum = -(twice + root.copysign(twice));
    [sum / square, rest / sum].map(|u| Some(a.centre.plus(fixed).plus(per.times(u))).filter(|_| u.is_finite() && u >= 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(ahead: f64, right: f64, radius: f64) -> Circle {
        Circle { centre: LineAxes { ahead, right }, radius }
    }

    #[test]
    fn one_two_and_three_circles_by_geometry() {
        let one = enclosing(&[circle(1.0, 2.0, 0.5), circle(1.0, 2.0, 0.25)]).expect("found");
        assert_eq!((one.centre, one.radius, one.touching), (LineAxes { ahead: 1.0, right: 2.0 }, 0.5, vec![0]));
        let two = enclosing(&[circle(0.0, 0.0, 1.0), circle(0.0, 4.0, 0.0)]).expect("found");
        assert!((two.radius - 2.5).abs() < 1e-12 && (two.centre.right - 1.5).abs() < 1e-12, "{two:?}");
        // corners of an equilateral triangle of side 2: circumradius 2/√3, and radii add to it
        let three = enclosing(&[circle(0.0, 0.0, -0.1), circle(0.0, 2.0, -0.1), circle(3.0_f64.sqrt(), 1.0, -0.1)]).expect("found");
        assert!((three.radius - (2.0 / 3.0_f64.sqrt() - 0.1)).abs() < 1e-12, "{three:?}");
        assert_eq!(three.touching.len(), 3);
        let inside = enclosing(&[circle(0.0, 0.0, 1.0), circle(0.1, 0.1, 0.2)]).expect("found");
        assert_eq!((inside.radius, inside.touching), (1.0, vec![0]));
    }

    #[test]
    fn centres_on_a_line_are_decided_by_two() {
        let line: Vec<_> = (0..20).map(|n| circle(0.1 * f64::from(n), 0.2 * f64::from(n), 0.0)).collect();
        let found = enclosing(&line).expect("found");
        assert!((found.radius - 0.5 * 1.9_f64.hypot(3.8)).abs() < 1e-12, "{found:?}");
        assert_eq!(found.touching.len(), 2);
    }

    #[test]
    fn nothing_is_found_round_nothing_or_nonsense() {
        assert_eq!(enclosing(&[]), None);
        assert_eq!(enclosing(&[circle(0.0, 0.0, 1.0), circle(f64::NAN, 0.0, 0.5)]), None);
        assert_eq!(enclosing(&[circle(0.0, f64::INFINITY, 1.0)]), None);
    }

    /// Bores that bend from nothing to a lot: the brackets close, and no place nearby does better.
    #[test]
    fn the_brackets_close_for_any_bend() {
        let mut state = 1_u64;
        let mut chance = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(u32::try_from(state >> 32).expect("32 bits")) / f64::from(u32::MAX) * 2.0 - 1.0
        };
        for round in 0..400 {
            let bend = 10f64.powi(-(round % 14));
            let (along, aside) = (chance(), chance());
            let bore: Vec<_> = (0..60)
                .map(|n| {
                    let z = f64::from(n) / 60.0;
                    circle(along * z + bend * chance(), aside * z + bend * chance(), -0.3 + 0.05 * chance())
                })
                .collect();
            let found = enclosing(&bore).expect("found");
            assert!(found.radius - found.at_least < 1e-9, "bend {bend}: {found:?}");
            for turn in 0..16 {
                let (sin, cos) = (f64::from(turn) * std::f64::consts::TAU / 16.0).sin_cos();
                let near = found.centre.plus(LineAxes { ahead: 1e-4 * cos, right: 1e-4 * sin });
                let radius = bore.iter().map(|c| c.reach(near)).fold(f64::NEG_INFINITY, f64::max);
                assert!(radius > found.radius - 1e-9, "bend {bend}: {found:?} and {radius} at {near:?}");
            }
        }
    }
}
