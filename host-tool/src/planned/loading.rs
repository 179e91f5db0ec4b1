//! Which hole a crew means that loads one from the sheets in the store: which leg, which attempt at it, which set-up, and how
//! its locate ticket stands.

use super::{Plans, plans, standing};
use crate::entry::{Entry, HoleName, HoleState, Place, Said};
use crate::measure::{Unread, angle, length};
use crate::register::{Drilled, register};
use crate::sheet::{LegPlan, OnSite, Unloadable, datum_text, leg_text};
use crate::store::{Store, StoreFault};
use crate::text::terminal;
use jiff::civil::Date;
use shared_protocol::record::Plan;
use shared_protocol::state::Leg;
use shared_protocol::units::{CentiDegrees, Micrometres};
use std::collections::{BTreeMap, BTreeSet};

/// What no sheet knows and the crew says, with the leg that it means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Structure.
    pub structure: String,
    /// Leg; `None` where the structure has one alone.
    pub leg: Option<Leg>,
    /// Line; `None` where only one has such a structure.
    pub line: Option<String>,
    /// Attempt; `None` for the one that is under way, else the next.
    pub attempt: Option<u8>,
    /// Set-up; `None` for the next.
    pub setup: Option<u8>,
    /// Who drills; empty where nobody is named.
    pub operator: String,
    /// Tool by its number in the rig's table.
    pub tool: u8,
    /// Hub above the datum.
    pub hub_above_datum: Micrometres,
    /// From ahead on line to the rig's forward direction, clockwise.
    pub heading: CentiDegrees,
    /// How well that is known.
    pub heading_within: CentiDegrees,
}

/// Why no hole can be loaded; one line each, with how to mend it.
#[derive(Debug, thiserror::Error)]
pub enum LoadFault {
    /// Not what such an order is made of.
    #[error("{0}")]
    Form(String),
    /// A figure that cannot be read.
    #[error("{0}: {1}")]
    Figure(&'static str, Unread),
    /// No sheet plans it.
    #[error("no sheet in the store plans structure \"{0}\": take one in with `borewitness sheet FILE --keep --who NAME`")]
    NotPlanned(String),
    /// Several lines have such a structure.
    #[error("structure {0} is on several lines: say which with line=, one of {1}")]
    Lines(String, String),
    /// The structure has no such leg, or several and none was named.
    #[error("structure {0} has {1}: name one of its legs behind it")]
    Legs(String, String),
    /// A pole stands there.
    #[error("{0}: somebody said that its pole is set; name the attempt with attempt=N if it is drilled all the same")]
    PoleSet(String),
    /// More attempts or set-ups than can be counted.
    #[error("{0} has had 255 of them: name another with {1}=N")]
    Many(String, &'static str),
    /// The row has no plan for a rig.
    #[error(transparent)]
    Row(#[from] Unloadable),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreFault),
}

/// A hole to be loaded.
#[derive(Clone, Debug, PartialEq)]
pub struct Loading {
    /// The plan for the rig.
    pub plan: Plan,
    /// The hole.
    pub hole: HoleName,
    /// What is to be entered of its locate ticket once it is loaded.
    pub ticket: Said,
    /// Which hole that is and why, in one line.
    pub text: String,
}

/// A heading taken by eye is good to about 10°.
const BY_EYE: CentiDegrees = CentiDegrees(1_000);
const KEYS: [&str; 8] = ["tool", "hub_above_datum", "heading", "heading_within", "attempt", "setup", "operator", "line"];

impl Wanted {
    /// Reads what stands behind `load sheet`: a structure, its leg, and pairs.
    ///
    /// # Errors
    /// [`LoadFault::Form`] and [`LoadFault::Figure`].
    pub fn read(words: &[String]) -> Result<Self, LoadFault> {
        let form = |what: String| LoadFault::Form(what);
        let named = words.iter().take_while(|word| !word.contains('=')).count();
        let (names, pairs) = words.split_at(named);
        let (structure, leg) = match names {
            [structure] => (structure, None),
            [structure, leg] => (structure, Some(leg_of(leg).ok_or_else(|| form(format!("\"{}\" is no leg: {LEGS}", terminal(leg))))?)),
            _ => return Err(form("load sheet is followed by a structure, its leg where it has several, and key=value pairs".to_owned())),
        };
        let mut said: BTreeMap<&str, &str> = BTreeMap::new();
        for pair in pairs {
            let (key, value) = pair.split_once('=').ok_or_else(|| form(format!("\"{}\" is not key=value", terminal(pair))))?;
            if !KEYS.contains(&key) {
                let what = format!("\"{}\" is not said here: {}; the rest is the sheet's", terminal(key), KEYS.join(", "));
                return Err(form(what));
            }
            if said.insert(key, value.trim()).is_some() {
                return Err(form(format!("{key} is given twice")));
            }
        }
        let needed = |key: &'static str, of: &str| said.get(key).copied().ok_or_else(|| form(format!("say {of} with {key}=")));
        let turned = |key: &'static str, text: &str| angle(text).map_err(|e| LoadFault::Figure(key, e));
        let counted = |key: &str, text: &str| {
            let number = text.parse().ok().filter(|number| *number > 0_u8);
            number.ok_or_else(|| form(format!("{key} must be a whole number from 1 to 255")))
        };
        let perhaps = |key: &'static str| said.get(key).map(|text| counted(key, text)).transpose();
        Ok(Self {
            structure: structure.clone(),
            leg,
            line: said.get("line").map(|line| (*line).to_owned()),
            attempt: perhaps("attempt")?,
            setup: perhaps("setup")?,
            operator: said.get("operator").map_or_else(String::new, |who| (*who).to_owned()),
            tool: counted("tool", needed("tool", "which tool of the rig's table is on")?)?,
            hub_above_datum: length(needed("hub_above_datum", "how far the hub lies above the datum")?)
                .map_err(|e| LoadFault::Figure("hub_above_datum", e))?,
            heading: turned("heading", needed("heading", "how the rig faces, in degrees clockwise from ahead on line,")?)?,
            heading_within: said.get("heading_within").map_or(Ok(BY_EYE), |text| turned("heading_within", text))?,
        })
    }

    /// The hole that is meant, from the sheets and the records of a store. The attempt that is taken where none was named is the
    /// newest one known, unless that was abandoned or filled again: then the next.
    ///
    /// # Errors
    /// See [`LoadFault`].
    pub fn find(&self, store: &Store, today: Option<Date>) -> Result<Loading, LoadFault> {
        let entries: Vec<(Place, Entry)> = store.entries()?.into_iter().map(|entered| (entered.place, entered.entry)).collect();
        let plans = plans(entries.iter().map(|(place, entry)| (*place, entry)));
        let (place, row) = self.row(&plans)?;
        let (attempt, setup, why) = self.counted(store, row, &entries)?;
        let file = entries.iter().find_map(|(at, entry)| match &entry.said {
            Said::Planned { file, .. } if at == place => Some(terminal(file)),
            _ => None,
        });
        let on_site = OnSite {
            attempt,
            setup,
            operator: &self.operator,
            tool: self.tool,
            hub_above_datum: self.hub_above_datum,
            heading: self.heading,
            heading_within: self.heading_within,
        };
        let plan = row.plan(&on_site)?;
        let depth = crate::measure::length_text(plan.depth, row.units);
        let text = format!(
            "{} by {}, row {}: {depth} deep below {}; {why}",
            terminal(&row.name()),
            file.unwrap_or_default(),
            row.row,
            datum_text(row.datum)
        );
        let number = row.ticket.as_ref().map_or_else(String::new, |ticket| ticket.number.clone());
        let ticket = Said::Ticket { number, standing: standing(row.ticket.as_ref(), today) };
        Ok(Loading { plan, hole: name(row, attempt), ticket, text })
    }

    /// The newest row of the leg that is meant.
    fn row<'a>(&self, plans: &'a Plans) -> Result<&'a (Place, LegPlan), LoadFault> {
        let alike: Vec<_> = plans.iter().filter(|((_, structure, _), _)| *structure == self.structure).collect();
        let shown = terminal(&self.structure);
        let of_line = |line: &str| self.line.as_ref().is_none_or(|wanted| wanted == line);
        let here: Vec<_> = alike.iter().filter(|((line, ..), _)| of_line(line)).collect();
        if alike.is_empty() {
            return Err(LoadFault::NotPlanned(shown));
        }
        let lines = |of: &[&(&super::LegName, &(Place, LegPlan))]| of.iter().map(|((line, ..), _)| line.clone()).collect::<BTreeSet<_>>();
        if lines(&here).len() != 1 {
            let known: Vec<String> =
                lines(&alike.iter().collect::<Vec<_>>()).iter().map(|line| format!("\"{}\"", terminal(line))).collect();
            return Err(LoadFault::Lines(shown, known.join(", ")));
        }
        let meant: Vec<_> = here.iter().filter(|((.., leg), _)| self.leg.is_none_or(|wanted| wanted == *leg)).collect();
        if let [(_, planned)] = meant[..] {
            return Ok(planned);
        }
        let legs: Vec<&str> = here.iter().map(|((.., leg), _)| leg_text(*leg)).collect();
        Err(LoadFault::Legs(shown, legs.join(", ")))
    }

    /// Attempt and set-up, and how they came about.
    fn counted(&self, store: &Store, row: &LegPlan, entries: &[(Place, Entry)]) -> Result<(u8, u8, String), LoadFault> {
        let of_leg = |hole: &HoleName| (&hole.line, &hole.structure, hole.leg) == (&row.line, &row.structure, row.leg);
        let found = store.found_of_structure(&row.line, &row.structure)?;
        let set_ups: Vec<_> = found.iter().filter_map(|found| Some((found.hole_name().filter(of_leg)?, found))).collect();
        let drilled: Vec<_> = set_ups.iter().map(|(hole, found)| (hole.clone(), Drilled::found(found))).collect();
        let entries: Vec<_> = entries.iter().filter(|(_, entry)| of_leg(&entry.hole)).cloned().collect();
        let known = register(&drilled, &entries);
        let newest = known.iter().max_by_key(|hole| hole.hole.attempt);
        let (attempt, why) = match (self.attempt, newest) {
            (Some(attempt), _) => (attempt, "as you say".to_owned()),
            (None, None) => (1, "the first".to_owned()),
            (None, Some(newest)) => match newest.state {
                HoleState::PoleSet => return Err(LoadFault::PoleSet(terminal(&row.name()))),
                HoleState::Abandoned | HoleState::Backfilled => {
                    let next = newest.hole.attempt.checked_add(1);
                    let next = next.ok_or_else(|| LoadFault::Many(terminal(&row.name()), "attempt"))?;
                    (next, format!("attempt {} is {}", newest.hole.attempt, newest.state.word()))
                }
                state => (newest.hole.attempt, format!("it is {}", state.word())),
            },
        };
        let before = set_ups.iter().filter(|(hole, _)| hole.attempt == attempt).map(|(_, found)| found.brief.setup).max();
        let next = before.unwrap_or(0).checked_add(1);
        let setup = self.setup.or(next).ok_or_else(|| LoadFault::Many(terminal(&row.name()), "setup"))?;
        let so = match (self.setup, before) {
            (Some(_), _) => "as you say".to_owned(),
            (None, None) => "the first".to_owned(),
            (None, Some(before)) => format!("set-up {before} is on record"),
        };
        Ok((attempt, setup, format!("attempt {attempt} ({why}), set-up {setup} ({so})")))
    }
}

const LEGS: &str = "it is single, left, middle or right";

fn leg_of(word: &str) -> Option<Leg> {
    [Leg::Single, Leg::Left, Leg::Middle, Leg::Right].into_iter().find(|leg| leg_text(*leg) == word)
}

fn name(row: &LegPlan, attempt: u8) -> HoleName {
    HoleName { line: row.line.clone(), structure: row.structure.clone(), leg: row.leg, attempt }
}

#[cfg(test)]
mod tests;
