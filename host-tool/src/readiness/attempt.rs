//! One attempt at a leg: the set-ups that drilled it, by whatever rig, tool and day, joined into one bore.
//!
//! Depths are below the sheet's datum, offsets in line axes off the stake, metres. A set-up's axis begins at the hole's
//! middle, so each is moved by what the middle is off the stake.

use crate::entry::{Entry, Said};
use crate::holes::Hole;
use crate::judge::axis::{Axis, metres};
use crate::judge::limits::Measurand;
use crate::judge::{Figure, LineAxes};
use crate::structure::fit::Station;
use crate::structure::volume::Section;

/// How far a cut bore may be from its tool's radius: worn teeth, a wall that crumbles; standard deviation, metres. Common
/// practice, no source.
pub const CUT_STANDARD: f64 = 0.006;
/// Where nobody measured the hole's middle: standard deviation of it off the stake on each axis, metres. Common practice, no source.
const MIDDLE_STANDARD: f64 = 0.025;
/// Between two stations, metres.
const STEP: f64 = 0.1;
/// What tells one depth from the next where the bore steps in, metres.
const LEDGE: f64 = 1e-6;

/// What one tool cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cut {
    /// Its diameter, metres.
    pub diameter: f64,
    /// How deep it came, metres below the datum.
    pub bottom: f64,
    /// Which of the set-ups, from 0.
    pub set_up: usize,
}

/// One attempt.
#[derive(Clone, Debug)]
pub struct Attempt<'a> {
    /// Its set-ups in the order of their work.
    pub set_ups: Vec<&'a Hole>,
    /// What people say of it and did not correct, in the order in which they said it.
    pub said: Vec<&'a Entry>,
    /// Every cut, widest first, each deeper than the wider ones.
    pub cuts: Vec<Cut>,
}

impl<'a> Attempt<'a> {
    /// Joins set-ups of one hole.
    #[must_use]
    pub fn new(mut set_ups: Vec<&'a Hole>, said: Vec<&'a Entry>) -> Self {
        set_ups.sort_by_key(|hole| {
            let opened = &hole.setup.opened;
            (opened.moment.wall.map(|wall| wall.unix_ms), opened.body.plan.setup, hole.stream.clone(), opened.sequence)
        });
        let cuts = staircase(set_ups.iter().enumerate().flat_map(|(n, hole)| cuts(hole, n)).collect());
        Self { set_ups, said, cuts }
    }

    /// Whether anything was cut.
    #[must_use]
    pub fn is_begun(&self) -> bool {
        !self.cuts.is_empty()
    }

    /// Whether every set-up was closed.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        !self.set_ups.is_empty() && self.set_ups.iter().all(|hole| hole.setup.closed.is_some())
    }

    /// The set-up whose records say how the bore leads: the one with the widest cut that comes nearest to the floor.
    #[must_use]
    pub fn leading(&self) -> Option<&'a Hole> {
        let deepest = self.cuts.last()?.bottom;
        let wide = self.cuts.iter().find(|cut| cut.bottom > 0.8 * deepest)?;
        self.set_ups.get(wide.set_up).copied()
    }

    /// The last set-up that cut anything.
    #[must_use]
    pub fn last(&self) -> Option<&'a Hole> {
        self.cuts.iter().map(|cut| cut.set_up).max().and_then(|n| self.set_ups.get(n)).copied()
    }

    /// The floor: by soundings where the last set-up that cut has any, else the deepest that a rig knows, with what it is worth.
    #[must_use]
    pub fn depth(&self) -> Option<Figure> {
        if let Some(by_tape) = self.last().and_then(|hole| hole.judged.sounded) {
            return Some(by_tape);
        }
        let known = self.set_ups.iter().filter_map(|hole| {
            let of_depth = hole.judged.verdicts.iter().find(|verdict| verdict.limit.measurand == Measurand::Depth);
            of_depth.and_then(|verdict| verdict.measured)
        });
        known.max_by(|a, b| a.value.total_cmp(&b.value))
    }

    /// Whether the floor was sounded after the last cut.
    #[must_use]
    pub fn is_sounded(&self) -> bool {
        self.last().is_some_and(|hole| hole.judged.sounded.is_some())
    }

    /// The hole's middle off its stake, and the standard uncertainty of it on each axis; `None` where nobody measured it.
    #[must_use]
    pub fn middle(&self) -> Option<(LineAxes, f64)> {
        self.said.iter().rev().find_map(|entry| match entry.said {
            Said::Centre { ahead_um, right_um, standard_um } => {
                Some((LineAxes { ahead: um(ahead_um), right: um(right_um) }, um(standard_um)))
            }
            _ => None,
        })
    }

    /// How far the middle lies off the stake: measured, else nought with what it may be.
    #[must_use]
    pub fn middle_or_stake(&self) -> (LineAxes, f64) {
        self.middle().unwrap_or((LineAxes::default(), MIDDLE_STANDARD))
    }

    /// The bore from the datum to the floor, downwards, its middle at the ground so far off the stake; empty where floor or cuts
    /// are not known.
    #[must_use]
    pub fn stations(&self, middle: LineAxes) -> Vec<Station> {
        let (Some(floor), false) = (self.depth(), self.cuts.is_empty()) else { return Vec::new() };
        let axes: Vec<Axis> = self.set_ups.iter().map(|hole| Axis::of(&hole.setup)).collect();
        self.depths(floor.value).into_iter().map(|depth| self.station(depth, &axes, middle)).collect()
    }

    fn depths(&self, floor: f64) -> Vec<f64> {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a depth over a step is small and not negative
        let steps = (floor / STEP).max(0.0).floor() as u32;
        let ledges = self.cuts.iter().rev().skip(1).flat_map(|cut| [cut.bottom, cut.bottom + LEDGE]);
        let mut depths: Vec<f64> = (0..=steps).map(|n| f64::from(n) * STEP).chain(ledges).chain([floor]).collect();
        depths.retain(|depth| (0.0..=floor).contains(depth));
        depths.sort_by(f64::total_cmp);
        depths.dedup();
        depths
    }

    fn station(&self, depth: f64, axes: &[Axis], middle: LineAxes) -> Station {
        // the widest cut that reaches so deep; below all of them the deepest goes on
        let cut = self.cuts.iter().find(|cut| cut.bottom >= depth).or(self.cuts.last());
        let set_up = cut.map_or(0, |cut| cut.set_up);
        let (radius, radius_standard) = cut.map_or((0.0, 0.0), |cut| self.radius(cut, depth));
        let hole = self.set_ups[set_up];
        let hub = metres(hole.setup.opened.body.plan.hub_above_datum);
        let offset = offset(&axes[set_up], depth + hub);
        let toe = hole.judged.budgets.as_ref().map_or(0.0, |budgets| budgets.place.standard);
        let deepest = self.cuts.last().map_or(depth, |cut| cut.bottom).max(depth);
        let share = if deepest > 0.0 { depth / deepest } else { 0.0 };
        Station { depth, centre: middle.plus(offset), radius, centre_standard: toe * share, radius_standard }
    }

    /// Radius of a cut at a depth, and its standard uncertainty: between the diameters that were measured in it, else its tool's.
    fn radius(&self, cut: &Cut, depth: f64) -> (f64, f64) {
        let above = self.cuts.iter().rev().find(|other| other.diameter > cut.diameter).map_or(f64::NEG_INFINITY, |wider| wider.bottom);
        let mut measured: Vec<(f64, f64, f64)> = self.diameters().filter(|(at, ..)| *at > above && *at <= cut.bottom + STEP).collect();
        measured.sort_by(|a, b| a.0.total_cmp(&b.0));
        let standard = measured.iter().map(|(.., standard)| *standard).fold(0.0, f64::max) / 2.0;
        let below = measured.iter().position(|(at, ..)| *at >= depth);
        let across = match (below, measured.last()) {
            (_, None) => return (cut.diameter / 2.0, CUT_STANDARD),
            (Some(0), _) => measured[0].1,
            (None, Some(last)) => last.1,
            (Some(n), _) => {
                let ((from, a, _), (to, b, _)) = (measured[n - 1], measured[n]);
                a + (b - a) * (depth - from) / (to - from)
            }
        };
        (across / 2.0, standard)
    }

    /// Diameters that were measured: depth, diameter and standard uncertainty.
    pub fn diameters(&self) -> impl Iterator<Item = (f64, f64, f64)> + '_ {
        self.said.iter().filter_map(|entry| match entry.said {
            Said::Diameter { depth_um, diameter_um, standard_um } => Some((um(depth_um), um(diameter_um), um(standard_um))),
            _ => None,
        })
    }

    /// The bore for its volume.
    #[must_use]
    pub fn sections(stations: &[Station]) -> Vec<Section> {
        stations.iter().map(|station| Section { depth: station.depth, radius: station.radius }).collect()
    }
}

/// Metres from whole micrometres.
#[must_use]
pub fn um(um: i32) -> f64 {
    f64::from(um) / 1e6
}

/// Where the axis is, `depth` below the hub: between its points, carried on below the last.
fn offset(axis: &Axis, depth: f64) -> LineAxes {
    let Some(next) = axis.points.iter().position(|point| point.depth >= depth) else {
        return axis.at(depth).map_or(LineAxes::default(), |end| end.offset);
    };
    let below = axis.points[next];
    let (from, start) = match next {
        0 => (axis.ground, LineAxes::default()),
        n => (axis.points[n - 1].depth, axis.points[n - 1].offset),
    };
    if depth <= from || below.depth <= from {
        return start;
    }
    start.plus(below.offset.minus(start).times((depth - from) / (below.depth - from)))
}

/// What each tool of a set-up cut. A tool that was put on cuts from its record on; before the first, what the plan says.
fn cuts(hole: &Hole, set_up: usize) -> Vec<Cut> {
    let setup = &hole.setup;
    let plan = &setup.opened.body.plan;
    let on = |sequence: u32| {
        let tool = setup.tools.iter().rev().find(|tool| tool.sequence < sequence);
        metres(tool.map_or(plan.diameter, |tool| tool.body.diameter))
    };
    let increments = setup.increments.iter().map(|i| (on(i.sequence), i.body.depth));
    let passes = setup.passes.iter().map(|p| (on(p.sequence), p.body.bottom));
    let hub = metres(plan.hub_above_datum);
    increments.chain(passes).map(|(diameter, bottom)| Cut { diameter, bottom: metres(bottom) - hub, set_up }).collect()
}

/// The cuts that make the bore: widest first, each deeper than all the wider ones.
fn staircase(mut cuts: Vec<Cut>) -> Vec<Cut> {
    cuts.sort_by(|a, b| b.diameter.total_cmp(&a.diameter).then(b.bottom.total_cmp(&a.bottom)));
    let mut stairs: Vec<Cut> = Vec::new();
    for cut in cuts {
        if cut.bottom > stairs.last().map_or(0.0, |wider| wider.bottom) {
            stairs.push(cut);
        }
    }
    stairs
}

#[cfg(test)]
mod tests;
