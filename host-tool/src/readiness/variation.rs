//! Where a structure's holes differ from their plan beyond what is accepted, or the plan was departed from, and whether somebody who
//! answers for it has accepted that.

use super::Structure;
use super::attempt::CUT_STANDARD;
use super::frame::stations;
use super::leg::{Accepted, Leg, Stage, standing};
use super::words::remedy;
use crate::entry::{Disposition, Entry, HoleName, HoleState, Place, Said};
use crate::judge::freedom::INTERVAL;
use crate::judge::limits::{Governs, Measurand};
use crate::judge::{Figure, Guarded, LineAxes, Standing, Verdict, metres};

/// One variation.
#[derive(Clone, Debug)]
pub struct Variation<'a> {
    /// The leg; `None` where it is of the structure as a whole.
    pub leg: Option<&'a Leg<'a>>,
    /// What varies.
    pub item: Item<'a>,
    /// Who accepted it, when and why, or how it was made good; `None` where nobody did.
    pub accepted: Option<String>,
    /// What is proposed where it is open.
    pub proposed: Option<String>,
    /// Whether it still wants somebody's decision.
    pub open: bool,
}

/// What varies from what. Lengths are metres, depths below the datum.
#[derive(Clone, Debug)]
pub enum Item<'a> {
    /// A limit that is not kept.
    Limit {
        /// How it stands.
        verdict: &'a Verdict,
        /// The planned depth, where one is planned.
        planned: Option<f64>,
    },
    /// The narrowest of the bore is beyond its uncertainty another diameter than planned.
    Diameter {
        /// As planned.
        planned: f64,
        /// As drilled.
        cut: Figure,
        /// By a measurement; else by the tool.
        measured: bool,
    },
    /// It was drilled to another depth than the sheet plans.
    Plan {
        /// By the sheet.
        sheet: f64,
        /// As it was loaded into the rig.
        loaded: f64,
    },
    /// An attempt was given up.
    Attempt {
        /// Which, from 1.
        number: u8,
        /// How it was left.
        state: &'static str,
    },
}

/// Every variation of a structure, leg by leg, then those of the whole.
#[must_use]
pub fn of_structure<'a>(structure: &'a Structure<'a>, entries: &[(Place, Entry)], governs: Option<Governs>) -> Vec<Variation<'a>> {
    let mut found: Vec<Variation<'a>> = structure.legs.iter().flat_map(|leg| of_leg(leg, entries, governs)).collect();
    let decided: Vec<&Accepted> = structure.legs.iter().filter_map(stands).collect();
    let all_stand = !structure.legs.is_empty() && decided.len() == structure.legs.len();
    let arm = structure.frame.drilled.iter().flat_map(|arm| &arm.verdicts);
    for verdict in structure.frame.room.iter().chain(arm).filter(|verdict| varies(verdict, governs)) {
        let accepted = decided.first().filter(|_| all_stand).map(|accepted| text(accepted));
        let proposed = (!structure.answer.act.is_empty()).then(|| structure.answer.act.join("; "));
        found.push(Variation { leg: None, item: Item::Limit { verdict, planned: None }, open: accepted.is_none(), accepted, proposed });
    }
    found
}

/// Whether a limit is not kept: measured or shown outside, not known of a hole that is finished, or not shown where that decides.
fn varies(verdict: &Verdict, governs: Option<Governs>) -> bool {
    let decided = standing(verdict, governs);
    let unknown = verdict.plain == Standing::Unknown && verdict.limit.measurand != Measurand::Centre;
    verdict.plain == Standing::Outside
        || verdict.guarded == Guarded::ShownOutside
        || decided == Standing::Outside
        || unknown
        || (governs == Some(Governs::Guarded) && decided == Standing::Unknown && verdict.measured.is_some())
}

fn of_leg<'a>(leg: &'a Leg<'a>, entries: &[(Place, Entry)], governs: Option<Governs>) -> Vec<Variation<'a>> {
    let accepted = stands(leg).map(text).or_else(|| leg.accepted.as_ref().map(|accepted| format!("{} (so it is open)", text(accepted))));
    let is_open = stands(leg).is_none();
    let variation = |item| Variation {
        leg: Some(leg),
        item,
        accepted: accepted.clone(),
        proposed: (leg.proposed.what != Disposition::Stands).then(|| remedy(leg)),
        open: is_open,
    };
    let mut found: Vec<Variation<'a>> = leg.earlier.iter().map(|(number, state)| earlier(leg, *number, *state, entries)).collect();
    if leg.stage == Stage::GivenUp {
        let accepted = accepted.clone().or_else(|| given_up(&leg.hole, entries));
        let item = Item::Attempt { number: leg.hole.attempt, state: left(leg.state) };
        found.push(Variation { accepted, ..variation(item) });
        return found;
    }
    if leg.stage == Stage::UnderWay {
        return found; // it is not finished: what it is now is no variation yet
    }
    let of_limits = leg.verdicts.iter().filter(|verdict| varies(verdict, governs));
    found.extend(of_limits.map(|verdict| variation(Item::Limit { verdict, planned: leg.planned })));
    found.extend(diameter(leg).map(variation));
    let loaded = leg.attempt.last().map(|hole| hole.judged.planned);
    let other = leg.plan.zip(loaded).filter(|(plan, loaded)| (plan.depth_m - loaded).abs() > 1e-4);
    found.extend(other.map(|(plan, loaded)| variation(Item::Plan { sheet: plan.depth_m, loaded })));
    found
}

/// Who decided that a leg stands, where nothing overtook that.
fn stands<'a>(leg: &'a Leg<'_>) -> Option<&'a Accepted> {
    leg.accepted.as_ref().filter(|accepted| accepted.disposition == Disposition::Stands && !accepted.overtaken)
}

fn text(accepted: &Accepted) -> String {
    let overtaken = if accepted.overtaken { "; overtaken, drilled or measured again since" } else { "" };
    format!("{} by {}, {}: {}{overtaken}", accepted.disposition.word(), accepted.by, accepted.at.rfc3339(), accepted.reason)
}

/// An attempt before the one that counts: made good where it was filled again.
fn earlier<'a>(leg: &'a Leg<'a>, number: u8, state: Option<HoleState>, entries: &[(Place, Entry)]) -> Variation<'a> {
    let hole = HoleName { attempt: number, ..leg.hole.clone() };
    let made_good = state.filter(|state| *state == HoleState::Backfilled).and_then(|state| said(&hole, state, entries)).map(|entry| {
        let remark = if entry.remark.is_empty() { String::new() } else { format!(": {}", entry.remark) };
        format!("made good by {}, {}{remark}", entry.by, entry.at.rfc3339())
    });
    let proposed = made_good.is_none().then(|| "fill it again, and say so".to_owned());
    let open = made_good.is_none();
    let accepted: Vec<String> = given_up(&hole, entries).into_iter().chain(made_good).collect();
    let accepted = (!accepted.is_empty()).then(|| accepted.join("; "));
    Variation { leg: Some(leg), item: Item::Attempt { number, state: left(state) }, open, accepted, proposed }
}

/// The newest entry of a state that nobody corrected.
#[must_use]
pub fn said<'a>(hole: &HoleName, state: HoleState, entries: &'a [(Place, Entry)]) -> Option<&'a Entry> {
    let corrected = |place: Place| entries.iter().any(|(_, entry)| entry.corrects == Some(place));
    let states = entries.iter().filter(|(place, entry)| entry.hole == *hole && entry.said == (Said::State { state }) && !corrected(*place));
    states.map(|(_, entry)| entry).max_by_key(|entry| entry.at.unix_ms)
}

/// Who gave a hole up, and what was said then; `None` where nobody said.
fn given_up(hole: &HoleName, entries: &[(Place, Entry)]) -> Option<String> {
    said(hole, HoleState::Abandoned, entries).map(|entry| {
        let remark = if entry.remark.is_empty() { String::new() } else { format!(": {}", entry.remark) };
        format!("given up by {}, {}{remark}", entry.by, entry.at.rfc3339())
    })
}

fn left(state: Option<HoleState>) -> &'static str {
    state.map_or("left without a word on how it was made safe", HoleState::word)
}

/// The narrowest of the bore against the plan: narrower beyond what it is worth, or cut by a wider tool. A bore that came out wider
/// than the planned tool is none.
fn diameter<'a>(leg: &Leg<'_>) -> Option<Item<'a>> {
    let loaded = leg.attempt.last().map(|hole| metres(hole.setup.opened.body.plan.diameter));
    let planned = leg.plan.map(|plan| plan.diameter_m).or(loaded)?;
    let bore = stations(leg, LineAxes::default());
    let narrowest = bore.iter().min_by(|a, b| a.radius.total_cmp(&b.radius))?;
    let cut = Figure::of(2.0 * narrowest.radius, 2.0 * INTERVAL * narrowest.radius_standard);
    let by_tool = Figure::of(leg.attempt.cuts.last()?.diameter, 2.0 * INTERVAL * CUT_STANDARD);
    let measured = leg.attempt.diameters().next().is_some();
    if cut.value + cut.expanded < planned {
        return Some(Item::Diameter { planned, cut, measured });
    }
    (by_tool.value - by_tool.expanded > planned).then_some(Item::Diameter { planned, cut: by_tool, measured: false })
}
