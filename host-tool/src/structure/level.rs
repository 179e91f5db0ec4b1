//! Butts, tops and the arm between them: elevations of each leg, the arm's tilt, and what makes it level.
//!
//! Butt = datum − hole's depth. Framing point = butt + the taped length from butt to framing point; where nobody taped it,
//! the nominal length less the framing point's distance from the top, which may be off by inches and then swamps everything else.
//! Metres, elevations up from any common level; tilt in degrees.

use super::INCH;
use super::SAME;
use super::setting::Window;
use crate::judge::spread::{COVERAGE, Shape, Spread};
use crate::judge::{Figure, LineAxes};

/// How much a pole's nominal length may be off, half-width: 6 in, as design practice has it; no source.
pub const NOMINAL: f64 = 6.0 * INCH;

/// From butt to framing point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Framing {
    /// Taped on the ground: length and its standard uncertainty.
    Taped(f64, f64),
    /// The pole's nominal length less the framing point's distance from the top.
    Nominal(f64),
}

impl Framing {
    fn length(self) -> f64 {
        match self {
            Self::Taped(length, _) | Self::Nominal(length) => length,
        }
    }

    fn error(self) -> Shape {
        match self {
            Self::Taped(_, standard) => Shape::Normal(standard),
            Self::Nominal(_) => Shape::Rectangular(NOMINAL),
        }
    }
}

/// A leg as it is planned or as it was drilled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leg {
    /// Elevation of the datum its depth counts from, and its standard uncertainty against the other legs'.
    pub datum: (f64, f64),
    /// The hole's depth under the butt below the datum, and its standard uncertainty; nought for a planned one.
    pub depth: (f64, f64),
    /// Planned depth, which the embedment is judged by.
    pub planned: f64,
    /// From butt to framing point.
    pub framing: Framing,
}

impl Leg {
    /// Elevation of the butt with what it is worth.
    #[must_use]
    pub fn butt(&self) -> Figure {
        Figure::of(self.datum.0 - self.depth.0, half_width(&self.hole_errors()))
    }

    /// Elevation of the framing point with what it is worth.
    #[must_use]
    pub fn framing_point(&self) -> Figure {
        Figure::of(self.framing_elevation(), half_width(&self.errors()))
    }

    fn framing_elevation(&self) -> f64 {
        self.datum.0 - self.depth.0 + self.framing.length()
    }

    fn hole_errors(&self) -> [Shape; 2] {
        [Shape::Normal(self.datum.1), Shape::Normal(self.depth.1)]
    }

    fn errors(&self) -> [Shape; 3] {
        let [datum, depth] = self.hole_errors();
        [datum, depth, self.framing.error()]
    }
}

fn half_width(errors: &[Shape]) -> f64 {
    Spread::of(errors).half_width(COVERAGE)
}

/// The arm from one leg to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tilt {
    /// How much higher the second framing point is, metres.
    pub rise: Figure,
    /// The arm's tilt, degrees, positive where the second is higher.
    pub degrees: Figure,
}

/// Tilt of the arm from one leg to another that stand so far apart, level; `None` where they stand at one place, or a figure is not a number.
#[must_use]
pub fn tilt(from: &Leg, to: &Leg, spacing: f64) -> Option<Tilt> {
    if !(spacing > 0.0 && spacing.is_finite()) {
        return None;
    }
    let rise = to.framing_elevation() - from.framing_elevation();
    if !rise.is_finite() {
        return None;
    }
    let worth = half_width(&[from.errors(), to.errors()].concat());
    let angle = |rise: f64| (rise / spacing).atan().to_degrees();
    // the flatter the arm the more an error tilts it
    let degrees = Figure::of(angle(rise), angle(worth));
    Some(Tilt { rise: Figure::of(rise, worth), degrees })
}

/// What makes an arm level.
#[derive(Clone, Debug, PartialEq)]
pub enum Remedy {
    /// Nothing: framing points differ by no more than is asked for.
    Level,
    /// Deeper by so much, leg by leg, nought where nothing is to be done.
    Deepen(Vec<f64>),
    /// Fill and tamp by so much, leg by leg.
    Fill(Vec<f64>),
    /// Some deeper (positive), some filled (negative), leg by leg.
    Both(Vec<f64>),
    /// Only poles of other lengths: the windows are too narrow by so much.
    OtherPoles(f64),
}

/// What is to be done so that all framing points come to one elevation: deepening alone if every embedment then stays within its
/// window, else filling alone, else both, else other poles. `enough` is a difference that needs no remedy, metres. One leg is
/// always level. What fills a hole is tamped, and the hole sounded again. Where the arm is level as it is, nothing is said of
/// embedments. `None` where a figure is not a number.
#[must_use]
pub fn remedy(legs: &[Leg], window: &Window, enough: f64) -> Option<Remedy> {
    let heights: Vec<f64> = legs.iter().map(Leg::framing_elevation).collect();
    let figures = legs.iter().flat_map(|leg| [leg.framing_elevation(), leg.depth.0, leg.planned]);
    if !figures.chain([window.under, window.over, enough]).all(f64::is_finite) {
        return None;
    }
    let (lowest, highest) = ends(heights.iter().copied());
    if highest - lowest <= enough.max(SAME) {
        return Some(Remedy::Level);
    }
    // elevations that each leg's framing point can come to: the deepest that its window allows, and the shallowest
    let reach = |leg: &Leg| {
        let at = |depth: f64| leg.framing_elevation() + leg.depth.0 - depth;
        (at(leg.planned + window.over), at(leg.planned - window.under))
    };
    let least = ends(legs.iter().map(|leg| reach(leg).0)).1;
    let most = ends(legs.iter().map(|leg| reach(leg).1)).0;
    let to = |target: f64| heights.iter().map(|height| height - target).collect::<Vec<_>>();
    let can = |target: f64| target >= least - SAME && target <= most + SAME;
    Some(if least > most + SAME {
        Remedy::OtherPoles(least - most)
    } else if can(lowest) {
        Remedy::Deepen(to(lowest))
    } else if can(highest) {
        Remedy::Fill(to(highest).into_iter().map(|by| -by).collect())
    } else {
        // of what can be reached, next to the lowest: digging is surer than filling
        let target = lowest.clamp(least, most.max(least));
        let all = to(target);
        if all.iter().all(|by| *by >= -SAME) {
            Remedy::Deepen(all)
        } else if all.iter().all(|by| *by <= SAME) {
            Remedy::Fill(all.into_iter().map(|by| -by).collect())
        } else {
            Remedy::Both(all)
        }
    })
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), value| (least.min(value), most.max(value)))
}

/// Level distance of two places that were taped `along` ground of `slope` (m/m), metres.
#[must_use]
pub fn level_spacing(along: f64, slope: f64) -> f64 {
    along / 1.0_f64.hypot(slope)
}

/// Place of a leg so far right of the structure's centre, metres: across the bisector, which is where ahead is taken along.
#[must_use]
pub fn across(right: f64) -> LineAxes {
    LineAxes { ahead: 0.0, right }
}

/// Bearing of ahead at a structure, degrees clockwise from north in [0, 360): midway between the bearing the line comes in
/// along and the one it leaves along, both towards higher structure numbers. And the deflection, positive to the right. `None` where the
/// line turns straight back, which has no bisector.
#[must_use]
pub fn bisector(incoming: f64, outgoing: f64) -> Option<(f64, f64)> {
    let turned = (outgoing - incoming).rem_euclid(360.0);
    let deflection = if turned > 180.0 { turned - 360.0 } else { turned };
    let sound = deflection.is_finite() && (deflection.abs() - 180.0).abs() > SAME;
    sound.then(|| ((incoming + deflection / 2.0).rem_euclid(360.0), deflection))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::structure::FOOT;

    fn leg(datum: f64, depth: f64, length: f64) -> Leg {
        Leg { datum: (datum, 0.0), depth: (depth, 0.0), planned: 3.0, framing: Framing::Taped(length, 0.0) }
    }

    /// Check values §11, CALC: an inch at 12.5 and at 15.5 ft. Design: 6 in is 2.3° at 12.5 ft.
    #[test]
    fn an_inch_tilts_the_arm() {
        for (inches, feet, degrees) in [(1.0, 12.5, 0.3820), (1.0, 15.5, 0.3080), (6.0, 12.5, 2.2906)] {
            let got = tilt(&leg(100.0, 3.0, 20.0), &leg(100.0, 3.0 - inches * INCH, 20.0), feet * FOOT).expect("apart");
            assert!((got.degrees.value - degrees).abs() < 5.1e-5 && (got.rise.value - inches * INCH).abs() < 1e-9, "{got:?}");
        }
        let down = tilt(&leg(100.0, 3.0, 20.0), &leg(100.0, 3.0 + INCH, 20.0), 12.5 * FOOT).expect("apart");
        assert!(down.degrees.value < 0.0, "the second is lower");
        assert_eq!(tilt(&leg(100.0, 3.0, 20.0), &leg(100.0, 3.0, 20.0), 0.0), None);
    }

    #[test]
    fn a_taped_pole_tells_and_a_nominal_one_does_not() {
        let measured = Leg { datum: (100.0, 0.003), depth: (3.1, 0.012), planned: 3.0, framing: Framing::Taped(20.0, 0.004) };
        assert!(
            (measured.butt().value - 96.9).abs() < 1e-9 && (measured.butt().expanded / (1.96 * 0.012_369) - 1.0).abs() < 0.01,
            "{:?}",
            measured.butt()
        );
        let point = measured.framing_point();
        assert!((point.value - 116.9).abs() < 1e-9 && (point.expanded / (1.96 * 0.013) - 1.0).abs() < 0.01, "{point:?}");
        let taped = tilt(&measured, &measured, 12.5 * FOOT).expect("apart");
        assert!((taped.rise.expanded / (1.96 * 0.013 * 2.0_f64.sqrt()) - 1.0).abs() < 0.01, "{taped:?}");
        let nominal = Leg { framing: Framing::Nominal(20.0), ..measured };
        let swamped = tilt(&measured, &nominal, 12.5 * FOOT).expect("apart");
        // 95 % of a rectangle of 6 in is 5.7 in, 2.2°
        assert!(swamped.degrees.expanded > 2.1 && swamped.degrees.expanded < 2.5, "{swamped:?}");
    }

    #[test]
    fn the_higher_leg_is_deepened() {
        let legs = [leg(100.0, 3.0, 20.0), leg(100.1, 3.0, 20.0)];
        let Some(Remedy::Deepen(by)) = remedy(&legs, &Window::SIX_INCHES, 0.0) else { panic!("deepen") };
        assert!(by[0].abs() < 1e-9 && (by[1] - 0.1).abs() < 1e-9, "{by:?}");
        assert_eq!(remedy(&legs, &Window::SIX_INCHES, 0.11), Some(Remedy::Level), "good enough");
        assert_eq!(remedy(&legs[..1], &Window::SIX_INCHES, 0.0), Some(Remedy::Level), "one pole carries no arm between two");
        assert_eq!(remedy(&[], &Window::SIX_INCHES, 0.0), Some(Remedy::Level));
        let unknown = [legs[0], leg(f64::NAN, 3.0, 20.0)];
        assert_eq!((remedy(&unknown, &Window::SIX_INCHES, 0.0), tilt(&unknown[0], &unknown[1], 3.8)), (None, None));
    }

    #[test]
    fn where_deepening_passes_the_window_the_lower_leg_is_filled() {
        // the second leg is at the deep end of its window already, the first was drilled 0.1 too deep
        let legs = [leg(100.0, 3.1, 20.0), leg(100.15, 3.15, 20.0)];
        let Some(Remedy::Fill(by)) = remedy(&legs, &Window::SIX_INCHES, 0.0) else {
            panic!("fill: {:?}", remedy(&legs, &Window::SIX_INCHES, 0.0))
        };
        assert!((by[0] - 0.1).abs() < 1e-9 && by[1].abs() < 1e-9, "{by:?}");
    }

    #[test]
    fn a_side_hill_takes_some_of_each_and_then_other_poles() {
        let both = [leg(100.0, 3.0, 20.0), leg(100.25, 3.0, 20.0)];
        let Some(Remedy::Both(by)) = remedy(&both, &Window::SIX_INCHES, 0.0) else { panic!("both") };
        assert!((by[1] - 0.1524).abs() < 1e-9 && (by[0] + 0.0976).abs() < 1e-9, "deeper by all of its window, the rest filled: {by:?}");
        let steep = [leg(100.0, 3.0, 20.0), leg(100.5, 3.0, 20.0)];
        let Some(Remedy::OtherPoles(lacking)) = remedy(&steep, &Window::SIX_INCHES, 0.0) else { panic!("other poles") };
        assert!((lacking - (0.5 - 12.0 * INCH)).abs() < 1e-9, "{lacking}");
    }

    #[test]
    fn a_hole_outside_its_window_is_brought_into_it_too() {
        let shallow = [leg(100.0, 2.7, 20.0), leg(100.0, 2.75, 20.0)];
        let Some(Remedy::Deepen(by)) = remedy(&shallow, &Window::SIX_INCHES, 0.0) else { panic!("deepen") };
        assert!((by[0] - 0.1476).abs() < 1e-9 && (by[1] - 0.0976).abs() < 1e-9, "both to 2.8476: {by:?}");
        let deep = [leg(100.0, 3.3, 20.0), leg(100.0, 3.25, 20.0)];
        let Some(Remedy::Fill(by)) = remedy(&deep, &Window::SIX_INCHES, 0.0) else { panic!("fill") };
        assert!((by[0] - 0.1476).abs() < 1e-9 && (by[1] - 0.0976).abs() < 1e-9, "both to 3.1524: {by:?}");
    }

    /// Any remedy for three legs leaves them level and within their windows; other poles are asked for only where no target does.
    #[test]
    fn three_legs_end_level_and_within_their_windows() {
        let (window, mut other) = (Window { under: 0.1, over: 0.2 }, 0);
        for n in 0..512_i32 {
            let step = |digit: u32| f64::from(n / 8_i32.pow(digit) % 8);
            let legs = [0, 1, 2].map(|d| leg(100.0 + 0.05 * step(d), 2.85 + 0.04 * step(2 - d), 20.0 + 0.01 * step((d + 1) % 3)));
            let by = match remedy(&legs, &window, 0.0).expect("numbers") {
                Remedy::Level => vec![0.0; 3],
                Remedy::Deepen(by) | Remedy::Both(by) => by,
                Remedy::Fill(by) => by.into_iter().map(|by| -by).collect(),
                Remedy::OtherPoles(lacking) => {
                    let most = (0..4_000).map(|k| 115.0 + 0.001 * f64::from(k)).map(|at| {
                        let out = |l: &Leg| {
                            let d = l.datum.0 + l.framing.length() - at;
                            (d - 3.2).max(2.9 - d)
                        };
                        legs.iter().map(out).fold(f64::NEG_INFINITY, f64::max)
                    });
                    let least = most.fold(f64::INFINITY, f64::min);
                    assert!((least - lacking / 2.0).abs() < 0.001, "{legs:?}");
                    other += 1;
                    continue;
                }
            };
            let changed: Vec<Leg> = legs.iter().zip(&by).map(|(l, by)| Leg { depth: (l.depth.0 + by, 0.0), ..*l }).collect();
            let (lowest, highest) = ends(changed.iter().map(Leg::framing_elevation));
            assert!(highest - lowest < 2e-6, "{legs:?} {by:?}");
            assert!(by == vec![0.0; 3] || changed.iter().all(|l| window.holds(3.0, l.depth.0)), "{legs:?} {by:?}");
        }
        assert!(other > 10 && other < 500, "{other}");
    }

    /// 12.5 ft taped along a 10 % slope are 0.744 in short of 12.5 ft level; half the slope squared alone would say 0.75.
    #[test]
    fn a_spacing_taped_along_a_slope_is_short() {
        let short = (12.5 * FOOT - level_spacing(12.5 * FOOT, 0.10)) / INCH;
        assert!((short - 0.7444).abs() < 5e-5 && (150.0 * 0.005 - short).abs() < 0.006, "{short}");
        assert!((level_spacing(3.0, -0.10) - level_spacing(3.0, 0.10)).abs() < 1e-12 && (level_spacing(3.0, 0.0) - 3.0).abs() < 1e-12);
    }

    #[test]
    fn ahead_at_an_angle_is_the_bisector() {
        assert_eq!(bisector(0.0, 30.0), Some((15.0, 30.0)));
        assert_eq!(bisector(350.0, 20.0), Some((5.0, 30.0)));
        assert_eq!(bisector(10.0, 340.0), Some((355.0, -30.0)), "a turn to the left");
        assert_eq!(bisector(90.0, 90.0), Some((90.0, 0.0)));
        assert_eq!([bisector(0.0, 180.0), bisector(f64::NAN, 0.0)], [None; 2]);
        assert_eq!(across(-1.9), LineAxes { ahead: 0.0, right: -1.9 });
    }
}
