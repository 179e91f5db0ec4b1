//! One leg: a pole in its hole, and how much room is left round it.
//!
//! The hole is circles of radius R(z) round its axis c(z), the pole circles of radius r(z) round the straight line p + k·z, z the
//! depth below the datum. The room at a place p is the least of R − r − |c − p − k·z| over the depth. Between two stations
//! all of that is taken as straight, the room is then least at a station, and stations are all that need be looked at.
//! Offsets are in line axes, metres. A raked pole's level section is longer than its round one by less than 0.06 % at 4 in
//! per 10 ft; that is left out.

use super::circles::Circle;
use super::joint::{Joint, joint};
use super::pole::Outline;
use crate::judge::LineAxes;

/// Least and most rake of a guyed pole, metres per metre of height: 2 and 4 in per 10 ft.
/// Source: UFGS 16301N, alignment of poles, read.
pub const RAKE: (f64, f64) = (2.0 / 120.0, 4.0 / 120.0);

/// The hole at one depth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Below the datum, metres.
    pub depth: f64,
    /// Its centre off the leg's stake, metres.
    pub centre: LineAxes,
    /// Its radius, metres: measured, else cut.
    pub radius: f64,
    /// Standard uncertainty of the centre on each axis, metres. One error moves all stations of a hole the same way, each by
    /// its own share, as a wrong lean does.
    pub centre_standard: f64,
    /// Standard uncertainty of the radius, metres. One error makes all stations wider or narrower, of every leg: one tool cut
    /// them.
    pub radius_standard: f64,
}

/// A leg: its hole, its pole and where both belong.
#[derive(Clone, Debug, PartialEq)]
pub struct Leg {
    /// The hole from the ground to the bottom, downwards. The butt stands on the last.
    pub stations: Vec<Station>,
    /// The pole.
    pub pole: Outline,
    /// Where the pole's toe goes with depth, metres per metre; nought for a plumb pole.
    pub rake: LineAxes,
    /// The stake in the structure, metres, as staked.
    pub stake: LineAxes,
    /// The pole in the structure, metres, as the frame holds it.
    pub framed: LineAxes,
    /// Standard uncertainty on each axis of where this hole lies to the others by the frame, metres: framing, staking, setting
    /// up.
    pub place_standard: f64,
}

/// Why nothing can be said of a fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    /// No leg.
    #[error("no leg is given: name at least one hole with its pole")]
    NoLeg,
    /// Too few stations.
    #[error("a hole is known at fewer than two depths: give its top and its bottom")]
    TooFew,
    /// Stations out of order.
    #[error("a hole's depths do not run downwards: list them from the ground to the bottom")]
    Order,
    /// A figure that is none.
    #[error("a figure of a hole or a pole is not a sensible number: look for a radius or an uncertainty that is missing or negative")]
    NotSensible,
}

impl Leg {
    /// Whether its figures can be what they say.
    ///
    /// # Errors
    /// [`Unfit`], the first that applies.
    pub fn check(&self) -> Result<(), Unfit> {
        if self.stations.len() < 2 {
            return Err(Unfit::TooFew);
        }
        if !self.stations.windows(2).all(|pair| pair[0].depth < pair[1].depth) {
            return Err(Unfit::Order);
        }
        let finite = |at: LineAxes| at.ahead.is_finite() && at.right.is_finite();
        let size = |length: f64| length >= 0.0 && length.is_finite();
        let station = |s: &Station| {
            s.depth.is_finite()
                && finite(s.centre)
                && s.radius > 0.0
                && s.radius.is_finite()
                && size(s.centre_standard)
                && size(s.radius_standard)
        };
        let pole = [self.pole.butt, self.pole.standard, self.pole.larger].into_iter().all(size) && self.pole.narrows.is_finite();
        let places = [self.rake, self.stake, self.framed].into_iter().all(finite) && size(self.place_standard);
        if pole && places && self.stations.iter().all(station) { Ok(()) } else { Err(Unfit::NotSensible) }
    }

    /// Depth that the butt stands on, metres below the datum.
    #[must_use]
    pub fn bottom(&self) -> f64 {
        self.stations.last().map_or(0.0, |last| last.depth)
    }

    /// What each station leaves: the pole's centre may be within −radius of the centre, both from the frame.
    pub(super) fn circles(&self) -> impl Iterator<Item = Circle> + '_ {
        let bottom = self.bottom();
        self.stations.iter().map(move |s| Circle {
            centre: self.stake.minus(self.framed).plus(s.centre).minus(self.rake.times(s.depth)),
            radius: self.pole.radius(bottom - s.depth) - s.radius,
        })
    }
}

/// Fits one pole into its hole, with `tamping` room wanted all round it, metres.
///
/// # Errors
/// [`Unfit`], where the figures make no hole or no pole.
pub fn fit(leg: &Leg, tamping: f64) -> Result<Joint, Unfit> {
    joint(std::slice::from_ref(leg), tamping)
}

/// Rake of a pole whose top leans towards its guy: the toe goes the other way with depth. `guy` in degrees clockwise from ahead on
/// line, `rate` in metres per metre of height.
#[must_use]
pub fn rake(guy: f64, rate: f64) -> LineAxes {
    let (sin, cos) = guy.to_radians().sin_cos();
    LineAxes { ahead: cos, right: sin }.times(-rate)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::structure::setting::{TAMPING_FOUR_INCHES, TAMPING_SIX_INCHES};
    use crate::structure::{FOOT, INCH};

    const PLUMB: LineAxes = LineAxes { ahead: 0.0, right: 0.0 };

    /// A straight hole: diameter in inches, depth in feet, lean, standard uncertainty of the toe.
    fn leg(diameter: f64, feet: f64, lean: LineAxes, toe: f64, butt: f64) -> Leg {
        let bottom = feet * FOOT;
        let station = |n: u32| {
            let depth = bottom * f64::from(n) / 100.0;
            let centre_standard = toe * depth / bottom;
            Station { depth, centre: lean.times(depth), radius: diameter / 2.0 * INCH, centre_standard, radius_standard: 0.0 }
        };
        let pole = Outline::cylinder(butt / 2.0 * INCH, 0.0);
        Leg { stations: (0..=100).map(station).collect(), pole, rake: PLUMB, stake: PLUMB, framed: PLUMB, place_standard: 0.0 }
    }

    #[test]
    fn a_straight_plumb_hole_leaves_the_difference_of_the_radii_to_the_last_bit() {
        for (hole, butt) in [(24.0, 16.95), (30.0, 17.89), (36.0, 16.73), (48.0, 15.97)] {
            let fitted = fit(&leg(hole, 10.0, PLUMB, 0.0, butt), TAMPING_SIX_INCHES).expect("fits");
            let room = hole / 2.0 * INCH - butt / 2.0 * INCH;
            assert_eq!((fitted.most.value, fitted.at_stake.value, fitted.shift, fitted.most.expanded), (room, room, PLUMB, 0.0));
        }
    }

    /// Worked: a hole that leans 1.5 % over 10 ft has its toe 1.8 in off (check values §2.1, CALC). The best place takes half of
    /// it, the stake all. A 16 in pole.
    #[test]
    fn a_leaning_hole_costs_half_its_toe_or_all() {
        // hole in, room at the best place in, at the stake in, whether 4 and 6 in are left at the best place
        let rows = [
            (24.0, 3.1, 2.2, false, false),
            (26.0, 4.1, 3.2, true, false),
            (30.0, 6.1, 5.2, true, true),
            (36.0, 9.1, 8.2, true, true),
            (48.0, 15.1, 14.2, true, true),
        ];
        for (hole, best, stake, four, six) in rows {
            let fitted = fit(&leg(hole, 10.0, LineAxes { ahead: 0.0, right: 0.015 }, 0.0, 16.0), 0.0).expect("fits");
            let (most, at_stake) = (fitted.most.value / INCH, fitted.at_stake.value / INCH);
            assert!((most - best).abs() < 1e-9 && (at_stake - stake).abs() < 1e-9, "{hole}: {most} {at_stake}");
            assert!((fitted.shift.right / INCH - 0.9).abs() < 1e-9 && fitted.shift.ahead.abs() < 1e-12, "{fitted:?}");
            assert_eq!((fitted.most.value >= TAMPING_FOUR_INCHES, fitted.most.value >= TAMPING_SIX_INCHES), (four, six), "{hole}");
        }
    }

    #[test]
    fn a_pole_raked_with_its_hole_has_the_room_of_a_plumb_one() {
        let away = rake(90.0, RAKE.1);
        assert!((away.right + RAKE.1).abs() < 1e-12 && away.ahead.abs() < 1e-12, "guyed to the right, the toe goes left: {away:?}");
        let raked = Leg { rake: away, ..leg(30.0, 10.0, away, 0.0, 16.0) };
        let fitted = fit(&raked, 0.0).expect("fits");
        assert!((fitted.most.value - 7.0 * INCH).abs() < 1e-12, "{fitted:?}");
        let plumb_hole = fit(&Leg { rake: away, ..leg(30.0, 10.0, PLUMB, 0.0, 16.0) }, 0.0).expect("fits");
        assert!((plumb_hole.most.value / INCH - 5.0).abs() < 1e-9, "4 in over 10 ft, half of it lost: {plumb_hole:?}");
        // check values §1.2, UFGS SEEN, angles CALC
        let angles = [RAKE.0, RAKE.1].map(|rate| (rate.atan().to_degrees() * 1e3).round() / 1e3);
        assert_eq!(angles, [0.955, 1.909]);
    }

    #[test]
    fn a_taper_leaves_more_room_above() {
        let tapered = Leg { pole: Outline { narrows: 0.01, ..Outline::cylinder(8.0 * INCH, 0.0) }, ..leg(30.0, 10.0, PLUMB, 0.0, 16.0) };
        let fitted = fit(&tapered, 0.0).expect("fits");
        assert!((fitted.most.value - 7.0 * INCH).abs() < 1e-12 && (fitted.legs[0].tightest - 10.0 * FOOT).abs() < 1e-9, "{fitted:?}");
    }

    /// By geometry: of a straight plumb hole half of what the toe is off is lost at the best place and all of it at the stake; one in
    /// forty is off by more than √(−2 ln 0.025) = 2.716 standard deviations (Rayleigh's distribution).
    #[test]
    fn a_hole_that_may_lean_after_all_is_worth_less() {
        let fitted = fit(&leg(30.0, 10.0, PLUMB, 0.010, 16.0), 0.0).expect("fits");
        let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 0.08, "{got} for {want}");
        near(fitted.most.expanded, 0.5 * 0.027_16);
        near(fitted.at_stake.expanded, 0.027_16);
        let mut wide = leg(30.0, 10.0, PLUMB, 0.0, 16.0);
        wide.stations.iter_mut().for_each(|s| s.radius_standard = 0.003);
        wide.pole.standard = 0.004;
        let fitted = fit(&wide, 0.0).expect("fits");
        near(fitted.most.expanded, 1.96 * 0.005); // both radii, √(3² + 4²) mm
    }

    #[test]
    fn the_largest_butt_has_just_its_room_and_a_minimum_may_be_larger() {
        let mut one = leg(30.0, 10.0, LineAxes { ahead: 0.015, right: 0.0 }, 0.0, 16.0);
        one.pole.larger = 1.5 * INCH;
        let fitted = fit(&one, TAMPING_FOUR_INCHES).expect("fits");
        let largest = fitted.legs[0].largest_butt.expect("some");
        assert!((largest / INCH - (16.0 + 2.0 * 2.1)).abs() < 1e-6, "{largest}");
        assert!((fitted.stouter_by / INCH - 2.1).abs() < 1e-9 && (fitted.if_larger / INCH - 4.6).abs() < 1e-9, "{fitted:?}");
        let tight = fit(&leg(24.0, 10.0, PLUMB, 0.0, 17.0), TAMPING_FOUR_INCHES).expect("computed");
        assert!((tight.legs[0].largest_butt.expect("thinner") / INCH - 16.0).abs() < 1e-6 && tight.stouter_by < 0.0, "{tight:?}");
        assert_eq!(fit(&leg(6.0, 10.0, PLUMB, 0.0, 16.0), TAMPING_FOUR_INCHES).expect("computed").legs[0].largest_butt, None);
    }

    #[test]
    fn nonsense_is_refused_in_plain_words() {
        let good = leg(30.0, 10.0, PLUMB, 0.0, 16.0);
        let spoiled = |spoil: &dyn Fn(&mut Leg)| {
            let mut leg = good.clone();
            spoil(&mut leg);
            fit(&leg, 0.1).expect_err("refused")
        };
        assert_eq!(spoiled(&|l| l.stations.truncate(1)), Unfit::TooFew);
        assert_eq!(spoiled(&|l| l.stations.reverse()), Unfit::Order);
        assert_eq!(spoiled(&|l| l.stations[3].depth = f64::NAN), Unfit::Order);
        assert_eq!(spoiled(&|l| l.stations[3].radius = 0.0), Unfit::NotSensible);
        assert_eq!(spoiled(&|l| l.stations[3].centre_standard = -1.0), Unfit::NotSensible);
        assert_eq!(spoiled(&|l| l.pole.butt = f64::INFINITY), Unfit::NotSensible);
        assert_eq!(spoiled(&|l| l.rake.right = f64::NAN), Unfit::NotSensible);
        assert_eq!(fit(&good, f64::NAN).expect_err("refused"), Unfit::NotSensible);
        assert_eq!(joint(&[], 0.1).expect_err("refused"), Unfit::NoLeg);
    }
}
