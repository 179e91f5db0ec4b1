//! The hole that counts for a leg: the newest attempt, judged by the sheet that plans it and by the limits that were named.

use super::Works;
use super::attempt::{Attempt, um};
use crate::entry::{Disposition, Entry, HoleName, HoleState, Place, Said, TicketStanding};
use crate::facts::Wall;
use crate::holes::Hole;
use crate::judge::axis::metres;
use crate::judge::limits::{Governs, Limit, LimitSet, Measurand};
use crate::judge::statement::verdict;
use crate::judge::{Figure, Guarded, Standing, Verdict};
use crate::limits_file::Limits;
use crate::paper::words::Units;
use crate::planned::{self, day};
use crate::sheet::LegPlan;
use crate::structure::embedment::{Measured, embedment};
use crate::structure::pole::Outline;
use shared_protocol::record::Plan;
use shared_protocol::state::{Datum, SheetUnits};
use std::collections::BTreeMap;

/// How far a leg's hole has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Nothing is cut.
    Planned,
    /// It is being drilled, or was left without being closed.
    UnderWay,
    /// It is drilled and closed.
    Drilled,
    /// Given up: abandoned or filled again.
    GivenUp,
    /// A pole stands in it.
    PoleSet,
}

/// One thing that stands in the way, or should be known.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What it is, in a sentence without its full stop.
    pub what: String,
    /// What to do about it; `None` for what is to be known only.
    pub remedy: Option<Remedy>,
}

/// What to do, and by how much where it has a measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Remedy {
    /// What.
    pub what: Disposition,
    /// By how much, or to which diameter when reaming, metres.
    pub by: Option<f64>,
}

/// What somebody who answers for the hole decided.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Accepted {
    /// What.
    pub disposition: Disposition,
    /// Who.
    pub by: String,
    /// When.
    pub at: Wall,
    /// Why.
    pub reason: String,
    /// Something was measured or drilled since.
    pub overtaken: bool,
}

/// A leg with the hole that counts for it.
#[derive(Clone, Debug)]
pub struct Leg<'a> {
    /// The attempt that counts.
    pub hole: HoleName,
    /// Units of the sheet; `None` where neither sheet nor record says.
    pub units: Option<Units>,
    /// The sheet's row.
    pub plan: Option<&'a LegPlan>,
    /// That attempt.
    pub attempt: Attempt<'a>,
    /// Earlier attempts, with how each was left.
    pub earlier: Vec<(u8, Option<HoleState>)>,
    /// How far it has come.
    pub stage: Stage,
    /// State as somebody said it last.
    pub state: Option<HoleState>,
    /// Planned depth below the datum, metres; `None` where nothing says.
    pub planned: Option<f64>,
    /// What depths count from; `None` where neither sheet nor record says.
    pub datum: Option<Datum>,
    /// The floor below the datum.
    pub depth: Option<Figure>,
    /// Every limit judged; the first of each measurand is the sheet's.
    pub verdicts: Vec<Verdict>,
    /// Depth of a set pole's butt by its brand.
    pub embedment: Option<Figure>,
    /// The pole, as the sheet and the tape know it.
    pub pole: Option<Outline>,
    /// The locate ticket on the day on which drilling began; of a hole not begun, whether there is one at all.
    pub ticket: TicketStanding,
    /// What stands in the way and what to know, gravest first.
    pub findings: Vec<Finding>,
    /// What is proposed.
    pub proposed: Remedy,
    /// What was decided.
    pub accepted: Option<Accepted>,
}

/// Every leg that a sheet plans or a rig drilled.
#[must_use]
pub fn legs<'a>(works: &Works<'a>) -> Vec<Leg<'a>> {
    let mut found: BTreeMap<HoleName, (Vec<&'a Hole>, Vec<&'a Entry>)> = BTreeMap::new();
    for hole in works.holes {
        if let Some(name) = hole.hole_name() {
            found.entry(name).or_default().0.push(hole);
        }
    }
    let corrected: std::collections::BTreeSet<Place> = works.entries.iter().filter_map(|(_, entry)| entry.corrects).collect();
    for (place, entry) in works.entries {
        let of_leg = matches!(entry.said, Said::Planned { .. });
        if !corrected.contains(place) || of_leg {
            let said = &mut found.entry(entry.hole.clone()).or_default().1;
            said.extend((!of_leg).then_some(entry));
        }
    }
    let mut legs: BTreeMap<(String, String, u8), Vec<(HoleName, Attempt<'a>)>> = BTreeMap::new();
    for (name, (set_ups, said)) in found {
        let key = (name.line.clone(), name.structure.clone(), name.leg.raw());
        legs.entry(key).or_default().push((name, Attempt::new(set_ups, said)));
    }
    legs.into_values().filter_map(|attempts| Leg::of(attempts, works)).collect()
}

impl<'a> Leg<'a> {
    /// The leg of its attempts, the newest last.
    fn of(mut attempts: Vec<(HoleName, Attempt<'a>)>, works: &Works<'a>) -> Option<Self> {
        let (hole, attempt) = attempts.pop()?;
        let earlier = attempts.iter().filter(|(_, earlier)| earlier.is_begun()).map(|(name, earlier)| (name.attempt, state(earlier)));
        let plan = works.plans.get(&(hole.line.clone(), hole.structure.clone(), hole.leg)).map(|(_, plan)| plan);
        let loaded = attempt.last().or(attempt.set_ups.last().copied()).map(|hole| &hole.setup.opened.body.plan);
        let units = plan.map(|plan| plan.units).or(loaded.and_then(|loaded| SheetUnits::from_raw(loaded.units)));
        let units = units.map(|units| if units == SheetUnits::FeetInches { Units::FeetInches } else { Units::Metric });
        let state = state(&attempt);
        let began = attempt.set_ups.first().and_then(|hole| hole.setup.opened.moment.wall);
        let ticket = plan.and_then(|plan| plan.ticket.as_ref());
        let mut leg = Self {
            ticket: planned::standing(ticket, began.and_then(day)),
            units,
            earlier: earlier.collect(),
            stage: stage(&attempt, state),
            planned: plan.map(|plan| plan.depth_m).or(loaded.map(|loaded| metres(loaded.depth))),
            datum: plan.map(|plan| plan.datum).or(loaded.and_then(|loaded| Datum::from_raw(loaded.datum))),
            depth: attempt.depth(),
            embedment: brand(&attempt),
            verdicts: Vec::new(),
            pole: plan.and_then(super::frame::outline),
            findings: Vec::new(),
            proposed: Remedy { what: Disposition::Engineer, by: None },
            accepted: accepted(&attempt),
            hole,
            plan,
            attempt,
            state,
        };
        leg.verdicts = leg.judged(loaded, works.limits);
        Some(leg)
    }

    /// Units to print in.
    #[must_use]
    pub fn units(&self) -> Units {
        self.units.unwrap_or(Units::Metric)
    }

    /// The verdict on a measurand by the sheet, else by the first limit that has it.
    #[must_use]
    pub fn verdict(&self, measurand: Measurand) -> Option<&Verdict> {
        self.verdicts.iter().find(|verdict| verdict.limit.measurand == measurand)
    }

    /// Every limit but the room's, judged where the hole was begun.
    fn judged(&self, loaded: Option<&Plan>, limits: Option<&Limits>) -> Vec<Verdict> {
        if !self.attempt.is_begun() {
            return Vec::new();
        }
        let of_file = limits.zip(self.planned).map(|(limits, planned)| limits.about(planned).limits).unwrap_or_default();
        let of_sheet = self.plan.map(sheet_limits).unwrap_or_default();
        let of_load = loaded.map(|loaded| LimitSet::of_plan(loaded).limits).unwrap_or_default();
        // what the rig was loaded with counts where the sheet says nothing
        let lacking =
            of_load.into_iter().filter(|load| !of_sheet.iter().any(|sheet| sheet.measurand == load.measurand)).collect::<Vec<_>>();
        let wanted = |limit: &Limit| match limit.measurand {
            Measurand::Room | Measurand::ArmTilt => false,
            Measurand::Embedment => self.embedment.is_some(),
            _ => true,
        };
        of_sheet.iter().chain(&lacking).chain(&of_file).filter(|limit| wanted(limit)).map(|limit| self.judge(limit)).collect()
    }

    fn judge(&self, limit: &Limit) -> Verdict {
        let leading = self.attempt.leading();
        let of_bore = |measurand| {
            let verdicts = leading.into_iter().flat_map(|hole| &hole.judged.verdicts);
            verdicts.filter(|verdict| verdict.limit.measurand == measurand).find_map(|verdict| verdict.measured)
        };
        let bars = leading.map(|hole| hole.judged.bars.clone()).unwrap_or_default();
        let unfinished = self.stage == Stage::UnderWay;
        match limit.measurand {
            Measurand::Depth if self.attempt.is_sounded() => verdict(limit, self.depth, unfinished, &[]),
            Measurand::Depth => verdict(limit, self.depth, unfinished, &bars.depth),
            Measurand::Centre => {
                let measured = self.attempt.middle().map(|(middle, standard)| distance(middle.magnitude(), standard));
                verdict(limit, measured, false, &[])
            }
            Measurand::Embedment => verdict(limit, self.embedment, false, &[]),
            measurand => verdict(limit, of_bore(measurand), unfinished, &bars.lean),
        }
    }

    /// Whether every limit is kept by the statement that decides, where nobody has said by the plain one.
    #[must_use]
    pub fn keeps(&self, governs: Option<Governs>) -> Standing {
        let all: Vec<Standing> = self.verdicts.iter().map(|verdict| standing(verdict, governs)).collect();
        [Standing::Outside, Standing::Unknown].into_iter().find(|bad| all.contains(bad)).unwrap_or(Standing::Within)
    }
}

/// How a limit stands by the statement that decides; where nobody has said, by the plain one.
#[must_use]
pub fn standing(verdict: &Verdict, governs: Option<Governs>) -> Standing {
    match (governs, &verdict.guarded) {
        (Some(Governs::Guarded), Guarded::ShownWithin) => Standing::Within,
        (Some(Governs::Guarded), Guarded::ShownOutside) => Standing::Outside,
        (Some(Governs::Guarded), Guarded::NotShown(_)) => Standing::Unknown,
        (Some(Governs::Plain) | None, _) => verdict.plain,
    }
}

/// A distance that is known on each axis: its guard band reaches as far as the longer arm.
fn distance(value: f64, standard: f64) -> Figure {
    let expanded = crate::judge::freedom::INTERVAL * standard;
    Figure { value, expanded, guard: crate::judge::freedom::CIRCLE * standard }
}

/// The limits that a row of the sheet sets.
fn sheet_limits(plan: &LegPlan) -> Vec<Limit> {
    let source = || format!("structure sheet, row {}", plan.row);
    let limit = |measurand, least, most| Limit { measurand, least, most, written: String::new(), source: source() };
    let window = (plan.depth_under_m, plan.depth_over_m);
    let around = |measurand| match window {
        (Some(under), Some(over)) => Some(limit(measurand, Some(plan.depth_m - under), plan.depth_m + over)),
        _ => None,
    };
    let most = |measurand, most: Option<f64>| most.map(|most| limit(measurand, None, most));
    let all = [
        around(Measurand::Depth),
        most(Measurand::OverallLean, plan.plumb_limit),
        most(Measurand::Centre, plan.centre_offset_limit_m),
        around(Measurand::Embedment),
    ];
    all.into_iter().flatten().collect()
}

fn state(attempt: &Attempt<'_>) -> Option<HoleState> {
    let said = attempt.said.iter().filter_map(|entry| match entry.said {
        Said::State { state } => Some((entry.at, state)),
        _ => None,
    });
    said.max_by_key(|(at, _)| at.unix_ms).map(|(_, state)| state)
}

fn stage(attempt: &Attempt<'_>, state: Option<HoleState>) -> Stage {
    match state {
        Some(HoleState::PoleSet) => Stage::PoleSet,
        Some(HoleState::Abandoned | HoleState::Backfilled) => Stage::GivenUp,
        _ if !attempt.is_begun() => Stage::Planned,
        _ if attempt.is_closed() => Stage::Drilled,
        _ => Stage::UnderWay,
    }
}

/// A set pole's embedment by the newest brand height.
fn brand(attempt: &Attempt<'_>) -> Option<Figure> {
    attempt.said.iter().rev().find_map(|entry| match entry.said {
        Said::Brand { height_um, to_butt_um, standard_um } => {
            // the height is what was taped here; how well the brand's own place is known is in the same figure
            let above_butt = Measured { value: um(to_butt_um), standard: 0.0 };
            Some(embedment(above_butt, Measured { value: um(height_um), standard: um(standard_um) }))
        }
        _ => None,
    })
}

fn accepted(attempt: &Attempt<'_>) -> Option<Accepted> {
    let entry = attempt.said.iter().rev().find(|entry| matches!(entry.said, Said::Accepted { .. }))?;
    let Said::Accepted { disposition } = entry.said else { return None };
    let drilled = attempt.set_ups.iter().flat_map(|hole| {
        let last = hole.setup.increments.last().map(|increment| increment.moment);
        [Some(hole.setup.opened.moment), last].into_iter().flatten().filter_map(|moment| moment.wall)
    });
    let said = attempt.said.iter().filter(|other| other.said.standard().is_some()).map(|other| other.at);
    let measured = attempt.set_ups.iter().flat_map(|hole| &hole.setup.measurements).map(|measurement| measurement.unix_ms);
    let newest = drilled.chain(said).map(|wall| wall.unix_ms).chain(measured).max();
    Some(Accepted {
        disposition,
        by: entry.by.clone(),
        at: entry.at,
        reason: entry.remark.clone(),
        overtaken: newest.is_some_and(|newest| newest > entry.at.unix_ms),
    })
}
