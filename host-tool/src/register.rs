//! The register of holes: in which state each is, since when, and what an open one still owes to those who walk there.

pub mod words;

use crate::entry::{Entry, HoleName, HoleState, Place, Said};
use crate::facts::{SetUp, Wall};
use crate::holes::Hole;
use crate::judge::Judged;
use crate::planned::Plans;
use crate::sheet::LegPlan;
use crate::store::{Brief, Found};
use std::collections::{BTreeMap, BTreeSet};

/// 6 ft, metres: from here on the construction rules on shafts speak of a hole's depth.
pub const SIX_FEET: f64 = 1.828_8;

/// The construction rule on shafts (check values, 5).
pub const SHAFT: &str = "29 CFR 1926.501(b)(7)(ii): 6 ft or more";
/// The construction rule on holes (check values, 5).
pub const DEEP: &str = "29 CFR 1926.501(b)(4)(i): more than 6 ft";

/// What one rig did of a hole in one go, as far as the register goes by it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drilled {
    /// Whether anything was cut.
    pub cut: bool,
    /// When it was opened.
    pub began: Option<Wall>,
    /// When it was closed, else when the last increment was recorded.
    pub ended: Option<Wall>,
    /// A simulated rig did it.
    pub simulated: bool,
    /// The most that its depth may be below the datum, metres; `None` where nothing measured it, or nobody judged it.
    pub depth: Option<f64>,
}

impl Drilled {
    /// Of a set-up, judged.
    #[must_use]
    pub fn of(set_up: &SetUp, judged: &Judged) -> Self {
        let by_rig = judged.depth.zip(judged.budgets.as_ref()).map(|(depth, budgets)| depth + budgets.depth.guard);
        let by_tape = judged.sounded.map(|figure| figure.value + figure.expanded);
        Self {
            cut: !set_up.increments.is_empty(),
            began: set_up.opened.moment.wall,
            ended: set_up.last_moment().and_then(|moment| moment.wall),
            simulated: set_up.identity.as_ref().is_some_and(|identity| identity.simulated),
            depth: by_tape.or(by_rig),
        }
    }

    /// Of a set-up as it was found, which nobody has judged.
    #[must_use]
    pub fn found(found: &Found) -> Self {
        let Brief { cut, began, ended, simulated, .. } = found.brief;
        let wall = |wall: Option<(i64, i16)>| wall.map(|(unix_ms, offset)| Wall { unix_ms, offset });
        Self { cut, began: wall(began), ended: wall(ended), simulated, depth: None }
    }
}

/// One hole of the register.
#[derive(Clone, Debug, PartialEq)]
pub struct Registered {
    /// Which.
    pub hole: HoleName,
    /// Its state.
    pub state: HoleState,
    /// Since when; `None` where the rig's clock was never set.
    pub since: Option<Wall>,
    /// Who said so; `None` where the rig's records do.
    pub by: Option<String>,
    /// Since when somebody can fall into it; `None` where that is not known, or nobody can.
    pub open_since: Option<Wall>,
    /// The most that its depth may be below the datum, metres; `None` where nothing measured it.
    pub depth: Option<f64>,
    /// A simulated rig made it: there is no such hole.
    pub simulated: bool,
}

impl Registered {
    /// Whether it is open and nobody has said how it is kept from people. An open hole owes that whatever its depth: 29 CFR
    /// 1926.501(b)(4)(ii), covers against stepping in, has no depth in it (check values, 5, SEEN).
    #[must_use]
    pub fn owes(&self) -> bool {
        self.state.is_open() && !self.state.is_kept()
    }

    /// Which of the two wordings of the construction rule speak of a hole of this depth: "6 ft or more" of shafts, 29 CFR
    /// 1926.501(b)(7)(ii), and "more than 6 ft" of holes, (b)(4)(i) (check values, 5). At 6.00 ft the first alone does. A
    /// depth that is not known counts as deep.
    #[must_use]
    pub fn rules(&self) -> Vec<&'static str> {
        let deep = self.depth.unwrap_or(f64::INFINITY);
        let rules = [(deep >= SIX_FEET, SHAFT), (deep > SIX_FEET, DEEP)];
        rules.into_iter().filter(|(applies, _)| self.state.is_open() && *applies).map(|(_, rule)| rule).collect()
    }
}

/// The register of a store's holes.
#[must_use]
pub fn of_holes(holes: &[Hole], entries: &[(Place, Entry)]) -> Vec<Registered> {
    let drilled = holes.iter().filter_map(|hole| Some((hole.hole_name()?, Drilled::of(&hole.setup, &hole.judged))));
    register(&drilled.collect::<Vec<_>>(), entries)
}

/// Draws up the register, holes in the order of their names. `entries` are those of all holes in the order in which they were
/// entered; of a hole that was drilled on after a state was entered, the rig's records are the newer word.
#[must_use]
pub fn register(drilled: &[(HoleName, Drilled)], entries: &[(Place, Entry)]) -> Vec<Registered> {
    let corrected: Vec<Place> = entries.iter().filter_map(|(_, entry)| entry.corrects).collect();
    let mut holes: BTreeMap<&HoleName, Events> = BTreeMap::new();
    for (hole, drilled) in drilled {
        holes.entry(hole).or_default().drill(drilled);
    }
    for (place, entry) in entries {
        if let Said::State { state } = &entry.said
            && !corrected.contains(place)
        {
            holes.entry(&entry.hole).or_default().events.push(Event { at: Some(entry.at), state: *state, by: Some(&entry.by) });
        }
    }
    holes.into_iter().map(|(hole, events)| events.registered(hole)).collect()
}

/// The legs that a sheet plans and of which the register knows nothing, in the order of their names.
#[must_use]
pub fn not_begun<'a>(plans: &'a Plans, registered: &[Registered]) -> Vec<&'a LegPlan> {
    let begun: BTreeSet<_> = registered.iter().map(|of| (&of.hole.line, &of.hole.structure, of.hole.leg.raw())).collect();
    plans.values().map(|(_, plan)| plan).filter(|plan| !begun.contains(&(&plan.line, &plan.structure, plan.leg.raw()))).collect()
}

#[derive(Clone, Copy)]
struct Event<'a> {
    at: Option<Wall>,
    state: HoleState,
    by: Option<&'a str>,
}

#[derive(Default)]
struct Events<'a> {
    events: Vec<Event<'a>>,
    depth: Option<f64>,
    simulated: bool,
}

impl<'a> Events<'a> {
    fn drill(&mut self, drilled: &Drilled) {
        if !drilled.cut {
            return; // loaded, and nothing cut
        }
        self.simulated |= drilled.simulated;
        let at = [drilled.began, drilled.ended];
        self.events.extend(at.map(|at| Event { at, state: HoleState::Drilled, by: None }));
        self.depth = [self.depth, drilled.depth].into_iter().flatten().reduce(f64::max);
    }

    fn registered(mut self, hole: &HoleName) -> Registered {
        // what has no time comes first: a state that somebody entered is the newer word
        self.events.sort_by_key(|event| event.at.map(|at| at.unix_ms));
        let last = self.events.last().copied().unwrap_or(Event { at: None, state: HoleState::Staked, by: None });
        let same = self.events.iter().rev().take_while(|event| event.state == last.state && event.by == last.by).last().copied();
        let open = self.events.iter().rev().take_while(|event| event.state.is_open()).last();
        Registered {
            hole: hole.clone(),
            state: last.state,
            since: same.and_then(|event| event.at),
            by: last.by.map(str::to_owned),
            open_since: open.and_then(|event| event.at),
            depth: self.depth,
            simulated: self.simulated,
        }
    }
}

#[cfg(test)]
mod tests;
