//! All legs of a frame at once: the frame fixes how the poles stand to each other, so they move together, and the leg with
//! the least room decides for all. Two unknowns, ahead and right; the frame's direction is given.
//!
//! What the room is worth is drawn (JCGM 101): the frame is fitted anew to holes and poles that differ from the measured ones as
//! their uncertainties say. Derivatives would not do: of a straight plumb hole every lean of the true one costs room, so
//! the derivative is nought where the error is not. Nor would each error by itself: the leg that errs most governs.

use super::circles::{Circle, Enclosing, enclosing};
use super::fit::{Leg, Unfit};
use crate::judge::{Figure, LineAxes};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use statrs::distribution::{ContinuousCDF, Normal};

/// Rooms that differ by less are the same, metres.
const TIES: f64 = 1e-9;
/// Draws: they leave the half-width of an interval good to about one part in twenty-five.
const DRAWS: usize = 2_000;
/// The same draws for every frame, so that the same hole is always worth the same.
const SEED: u64 = 101;
/// Halvings of the interval that the largest butt lies in: a metre comes down to a nanometre.
const HALVINGS: usize = 30;

/// How the poles of a frame fit their holes.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    /// Where the frame has most room, off where it was staked, metres.
    pub shift: LineAxes,
    /// The least room of all legs there, metres; what it is worth supposes that the poles are moved until they stand best.
    /// Negative where they do not fit.
    pub most: Figure,
    /// The least room of all legs with the frame as staked, metres.
    pub at_stake: Figure,
    /// The room at the best place if each pole is as large as its class allows, metres.
    pub if_larger: f64,
    /// By how much all radii could be larger with the wanted room left; negative: by how much they are too large, metres. The
    /// room falls by just as much as a radius grows.
    pub stouter_by: f64,
    /// Leg by leg.
    pub legs: Vec<Seat>,
}

/// One leg of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seat {
    /// Where the pole then stands at the datum, off its stake, metres.
    pub place: LineAxes,
    /// Its least room there, metres.
    pub room: f64,
    /// Its least room with the frame as staked, metres.
    pub at_stake: f64,
    /// Depth at which its room is least at the best place, metres.
    pub tightest: f64,
    /// Whether no leg has less room there: with others that have as little it decides where the frame goes.
    pub governs: bool,
    /// Largest butt, diameter in metres, that leaves the wanted room to all legs, the other poles as they are. `None` where no
    /// pole does.
    pub largest_butt: Option<f64>,
}

/// Fits all poles of a frame, with `tamping` room wanted round each, metres.
///
/// # Errors
/// [`Unfit`], where the figures make no hole or no pole.
pub fn joint(legs: &[Leg], tamping: f64) -> Result<Joint, Unfit> {
    let best = most_room(legs)?;
    if !(tamping >= 0.0 && tamping.is_finite()) {
        return Err(Unfit::NotSensible);
    }
    let mut seats = Vec::new();
    for (n, leg) in legs.iter().enumerate() {
        let (room, at) = room(leg, best.centre);
        seats.push(Seat {
            place: best.centre.plus(leg.framed).minus(leg.stake),
            room,
            at_stake: self::room(leg, LineAxes::default()).0,
            tightest: leg.stations[at].depth,
            governs: room <= -best.radius + TIES,
            largest_butt: largest_butt(legs, n, tamping),
        });
    }
    let larger: Vec<Leg> = legs.iter().map(|leg| Leg { pole: leg.pole.stouter(leg.pole.larger), ..leg.clone() }).collect();
    let staked = seats.iter().map(|seat| seat.at_stake).fold(f64::INFINITY, f64::min);
    let (most, at_stake) = worth(legs, -best.radius, staked);
    Ok(Joint {
        shift: best.centre,
        most,
        at_stake,
        if_larger: self::best(&larger).map_or(f64::NEG_INFINITY, |best| -best.radius),
        stouter_by: -best.radius - tamping,
        legs: seats,
    })
}

/// Where a frame has most room: off where it was staked, with the room as a negative radius. [`joint`] without what it is worth.
///
/// # Errors
/// [`Unfit`], where the figures make no hole or no pole.
pub fn most_room(legs: &[Leg]) -> Result<Enclosing, Unfit> {
    if legs.is_empty() {
        return Err(Unfit::NoLeg);
    }
    legs.iter().try_for_each(Leg::check)?;
    best(legs).ok_or(Unfit::NotSensible)
}

fn best(legs: &[Leg]) -> Option<Enclosing> {
    enclosing(&legs.iter().flat_map(Leg::circles).collect::<Vec<Circle>>())
}

/// Least room of a leg where the frame is at a place, and the station there.
fn room(leg: &Leg, place: LineAxes) -> (f64, usize) {
    let rooms = leg.circles().map(|circle| -circle.reach(place)).enumerate();
    rooms.fold((f64::INFINITY, 0), |least, (n, room)| if room < least.0 { (room, n) } else { least })
}

/// The largest butt of leg `n`: between one that surely has its room and the one that would have it alone.
fn largest_butt(legs: &[Leg], n: usize, tamping: f64) -> Option<f64> {
    let with = |more: f64| {
        let mut legs = legs.to_vec();
        legs[n].pole = legs[n].pole.stouter(more);
        best(&legs).is_some_and(|best| -best.radius >= tamping)
    };
    let alone = -best(&legs[n..=n])?.radius - tamping;
    let (mut fits, mut too_large) = (-legs[n].pole.butt, alone);
    if too_large <= fits || !with(fits) {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(fits, too_large);
        if with(middle) {
            fits = middle;
        } else {
            too_large = middle;
        }
    }
    Some(2.0 * (legs[n].pole.butt + fits))
}

/// Errors that may have been made, in standard deviations: one for all cuts, then leg by leg its pole, its axis, its place.
struct Errors {
    cut: f64,
    legs: Vec<(f64, LineAxes, LineAxes)>,
}

impl Errors {
    fn draw(legs: usize, chance: &mut impl FnMut() -> f64) -> Self {
        let cut = chance();
        let leg = |_| {
            let mut pair = || LineAxes { ahead: chance(), right: chance() };
            let (axis, place) = (pair(), pair());
            (chance(), axis, place)
        };
        Self { cut, legs: (0..legs).map(leg).collect() }
    }

    /// The circles as they would be.
    fn circles(&self, legs: &[Leg]) -> Vec<Circle> {
        let moved = |(leg, (pole, axis, place)): (&Leg, &(f64, LineAxes, LineAxes))| {
            let (stouter, aside, axis) = (pole * leg.pole.standard, place.times(leg.place_standard), *axis);
            let stations = leg.circles().zip(&leg.stations);
            let moved = stations.map(move |(circle, s)| Circle {
                centre: circle.centre.plus(aside).plus(axis.times(s.centre_standard)),
                radius: circle.radius + stouter - self.cut * s.radius_standard,
            });
            moved.collect::<Vec<_>>()
        };
        legs.iter().zip(&self.legs).flat_map(moved).collect()
    }
}

/// What the most room and the room as staked are worth.
fn worth(legs: &[Leg], most: f64, at_stake: f64) -> (Figure, Figure) {
    let mut generator = Pcg32::seed_from_u64(SEED);
    let normal = Normal::standard();
    let mut chance = || normal.inverse_cdf((f64::from(generator.next_u32()) + 0.5) / (f64::from(u32::MAX) + 1.0));
    let mut drawn = || {
        let circles = Errors::draw(legs.len(), &mut chance).circles(legs);
        let staked = circles.iter().map(|c| c.reach(LineAxes::default())).fold(f64::NEG_INFINITY, f64::max);
        (enclosing(&circles).map_or(f64::NEG_INFINITY, |best| -best.radius), -staked)
    };
    let (mosts, stakes): (Vec<f64>, Vec<f64>) = (0..DRAWS).map(|_| drawn()).unzip();
    (figure(most, mosts), figure(at_stake, stakes))
}

/// A value with the half-width that leaves out no more than one draw in forty on either side.
fn figure(value: f64, mut draws: Vec<f64>) -> Figure {
    draws.sort_by(f64::total_cmp);
    let (least, most) = (draws[DRAWS / 40], draws[DRAWS - 1 - DRAWS / 40]);
    Figure::of(value, (value - least).max(most - value))
}

#[cfg(test)]
mod tests {
    use super::super::FOOT;
    use super::super::fit::{Station, fit};
    use super::super::pole::Outline;
    use super::*;

    const PLUMB: LineAxes = LineAxes { ahead: 0.0, right: 0.0 };

    /// A straight hole of a radius at a place across the line, feet; its pole 0.2 m in radius.
    fn leg(across: f64, lean: LineAxes, radius: f64) -> Leg {
        let depths = (0..=10).map(|n| 0.3 * f64::from(n));
        let stations = depths.map(|depth| Station { depth, centre: lean.times(depth), radius, centre_standard: 0.0, radius_standard: 0.0 });
        let stake = LineAxes { ahead: 0.0, right: across * FOOT };
        Leg { stations: stations.collect(), pole: Outline::cylinder(0.2, 0.0), rake: PLUMB, stake, framed: stake, place_standard: 0.0 }
    }

    fn right(lean: f64) -> LineAxes {
        LineAxes { ahead: 0.0, right: lean }
    }

    #[test]
    fn legs_that_err_the_same_way_move_together_and_others_cannot() {
        let same = [leg(-6.25, right(0.02), 0.5), leg(6.25, right(0.02), 0.5)];
        let fitted = joint(&same, 0.1).expect("fits");
        assert!((fitted.most.value - 0.27).abs() < 1e-9 && (fitted.shift.right - 0.03).abs() < 1e-9, "as one leg alone: {fitted:?}");
        let opposite = [leg(-6.25, right(-0.02), 0.5), leg(6.25, right(0.02), 0.5)];
        let fitted = joint(&opposite, 0.1).expect("fits");
        assert!((fitted.most.value - 0.24).abs() < 1e-9 && fitted.shift.magnitude() < 1e-9, "each would go its own way: {fitted:?}");
        let alone = fit(&opposite[0], 0.1).expect("fits");
        assert!((alone.most.value - 0.27).abs() < 1e-9, "{alone:?}");
        assert!(
            fitted.legs.iter().all(|seat| seat.governs && (seat.room - 0.24).abs() < 1e-9 && (seat.tightest - 3.0).abs() < 1e-9),
            "{fitted:?}"
        );
    }

    #[test]
    fn a_frame_that_is_wider_than_its_stakes_loses_half_of_it_at_each_hole() {
        let mut legs = [leg(-6.25, PLUMB, 0.5), leg(6.25, PLUMB, 0.5)];
        legs[1].framed.right += 0.08;
        let fitted = joint(&legs, 0.1).expect("fits");
        assert!((fitted.most.value - 0.26).abs() < 1e-9 && (fitted.shift.right + 0.04).abs() < 1e-9, "{fitted:?}");
        assert!((fitted.at_stake.value - 0.22).abs() < 1e-9, "{fitted:?}");
        let places = [fitted.legs[0].place.right, fitted.legs[1].place.right];
        assert!((places[0] + 0.04).abs() < 1e-9 && (places[1] - 0.04).abs() < 1e-9, "{places:?}");
    }

    #[test]
    fn the_narrow_hole_of_three_governs() {
        let legs = [leg(-12.5, PLUMB, 0.5), leg(0.0, right(0.01), 0.35), leg(12.5, PLUMB, 0.5)];
        let fitted = joint(&legs, 0.1).expect("fits");
        let governs: Vec<bool> = fitted.legs.iter().map(|seat| seat.governs).collect();
        assert_eq!(governs, [false, true, false]);
        assert!((fitted.most.value - 0.135).abs() < 1e-9 && (fitted.legs[0].room - 0.285).abs() < 1e-9, "{fitted:?}");
    }

    #[test]
    fn the_largest_butt_of_a_leg_leaves_all_their_room() {
        let legs = [leg(-6.25, right(-0.02), 0.5), leg(6.25, right(0.02), 0.5)];
        let fitted = joint(&legs, 0.1).expect("fits");
        for (n, seat) in fitted.legs.iter().enumerate() {
            let radius = seat.largest_butt.expect("some") / 2.0;
            let mut stouter = legs.clone();
            stouter[n].pole.butt = radius;
            let room = joint(&stouter, 0.1).expect("fits").most.value;
            assert!((room - 0.1).abs() < 1e-8, "{room}");
            // as if it were alone, 0.5 − 0.03 − 0.1: its fellow has room enough to give way
            assert!((radius - 0.37).abs() < 1e-8, "{radius}");
        }
        let tight = [leg(-6.25, PLUMB, 0.25), leg(6.25, PLUMB, 0.5)];
        assert_eq!(joint(&tight, 0.1).expect("computed").legs[1].largest_butt, None, "the other leg has not its room whatever this one is");
        assert!(joint(&tight, 0.1).expect("computed").legs[0].largest_butt.is_some_and(|d| (d - 0.3).abs() < 1e-8));
    }

    #[test]
    fn where_a_hole_lies_to_its_fellow_matters_to_a_frame_and_not_to_one_pole() {
        let uncertain = |across| Leg { place_standard: 0.010, ..leg(across, right(0.01), 0.4) };
        let alone = fit(&uncertain(0.0), 0.1).expect("fits");
        assert!(alone.most.expanded < 1e-9 && alone.at_stake.expanded > 0.02, "{alone:?}");
        let both = joint(&[uncertain(-6.25), uncertain(6.25)], 0.1).expect("fits");
        // numpy: the holes' 30 mm of lean side by side, apart by 14.142 mm on each axis: half of √((30 + |x|)² + y²) − 30, of which
        // one in forty of 2,000,000 draws is over 16.99 mm
        assert!((both.most.expanded / 0.016_99 - 1.0).abs() < 0.06 && both.legs.iter().all(|seat| seat.governs), "{both:?}");
    }
}
