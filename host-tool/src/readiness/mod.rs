//! Whether a structure's holes are ready for its poles: what the sheet plans, what rigs recorded and what people entered,
//! joined leg by leg.
//!
//! [`attempt`] joins the set-ups of one hole into a bore; [`leg`] is the hole that counts for a leg, judged; [`frame`] all legs
//! together: how the poles fit, how level the arm is, how much earth; [`answer`] what the pole crew reads first;
//! [`words`] says it in lines and [`json`] to programs; [`variation`] is what differs from the plan.

pub mod answer;
pub mod attempt;
pub mod frame;
pub mod json;
pub mod leg;
pub mod variation;
pub mod words;

use crate::entry::{Entry, Place};
use crate::holes::Hole;
use crate::limits_file::Limits;
use crate::paper::words::Units;
use crate::planned::Plans;
use crate::structure::volume::Soil;
use answer::Answer;
use frame::Frame;
use leg::Leg;
use std::collections::BTreeMap;

/// All that is known of the works.
#[derive(Clone, Copy, Debug)]
pub struct Works<'a> {
    /// Every set-up in the store.
    pub holes: &'a [Hole],
    /// What sheets plan.
    pub plans: &'a Plans,
    /// Everything that was entered, in order.
    pub entries: &'a [(Place, Entry)],
    /// Limits beside those of the sheet.
    pub limits: Option<&'a Limits>,
    /// The ground, for what its volume becomes; nothing is supposed of it.
    pub soil: Option<Soil>,
}

/// A structure: its legs from left to right, and what all of them make.
#[derive(Clone, Debug)]
pub struct Structure<'a> {
    /// Line.
    pub line: String,
    /// Structure on the line.
    pub structure: String,
    /// Units of its sheet.
    pub units: Units,
    /// Its legs from left to right.
    pub legs: Vec<Leg<'a>>,
    /// All legs together.
    pub frame: Frame,
    /// What the pole crew reads first.
    pub answer: Answer,
}

/// Every structure that is planned or was drilled, in the order of lines and, within one, of the sheet.
#[must_use]
pub fn structures<'a>(works: &Works<'a>) -> Vec<Structure<'a>> {
    let mut names: BTreeMap<(String, String), Vec<Leg<'a>>> = BTreeMap::new();
    for leg in leg::legs(works) {
        names.entry((leg.hole.line.clone(), leg.hole.structure.clone())).or_default().push(leg);
    }
    let governs = works.limits.and_then(Limits::governs);
    let made = names.into_iter().map(|((line, structure), mut legs)| {
        legs.sort_by_key(|leg| leg.hole.leg.raw());
        let frame = Frame::of(&mut legs, works);
        let answer = Answer::of(&legs, &frame, governs);
        Structure { line, structure, units: units(&legs), legs, frame, answer }
    });
    let mut made: Vec<Structure<'a>> = made.collect();
    // as the sheet has them; what no sheet plans comes last
    made.sort_by_key(|structure| {
        let row = structure.legs.iter().filter_map(|leg| leg.plan).map(|plan| plan.row).min().unwrap_or(u32::MAX);
        (structure.line.clone(), row)
    });
    made
}

fn units(legs: &[Leg<'_>]) -> Units {
    legs.iter().find_map(|leg| leg.units).unwrap_or(Units::Metric)
}

#[cfg(test)]
pub(crate) mod tests;
