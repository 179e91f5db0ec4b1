//! What a rig did on a day, set-up by set-up: from the first record of the day to the last, new depth, and the time that was lost.
//!
//! A record belongs to the local day that the rig was told; where it was told none, to a day that is not known. Nothing is judged here.

use crate::facts::{Missing, Moment, SetUp, Timed, Wall};
use crate::holes::Hole;
use crate::judge::metres;
use crate::planned::day;
use jiff::civil::Date;
use shared_protocol::record::{Fault, Hub, Note, Pass, Start, Tool};
use shared_protocol::state::{GapCause, ResetCause, Sensor, SensorFault};
use std::collections::BTreeMap;

/// A rig's day.
#[derive(Clone, Debug)]
pub struct Day<'a> {
    /// Which rig.
    pub rig: &'a str,
    /// Which day; `None` where the rig was not told the time.
    pub date: Option<Date>,
    /// What it did, in the order of its records.
    pub set_ups: Vec<Worked<'a>>,
}

/// What was done of one set-up on a day.
#[derive(Clone, Debug)]
pub struct Worked<'a> {
    /// The set-up.
    pub hole: &'a Hole,
    /// The first record of the day.
    pub from: Moment,
    /// The last one.
    pub to: Moment,
    /// The bottom when the day began, metres below the datum as rigs read it: the datum itself for a hole that is new.
    pub began_at: f64,
    /// The bottom when it ended; `None` where there was no new one.
    pub reached: Option<f64>,
    /// Passes.
    pub passes: Vec<&'a Timed<Pass>>,
    /// Tools put on.
    pub tools: Vec<&'a Timed<Tool>>,
    /// Touches of the hub.
    pub hubs: Vec<&'a Timed<Hub>>,
    /// Notes as heard.
    pub notes: Vec<&'a Timed<Note>>,
    /// Faults, restarts and gaps.
    pub lost: Vec<Lost>,
}

/// Why time was lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A sensor was at fault: sensor and fault, as the record has them.
    Fault(u8, u8),
    /// The rig restarted: the cause, as the record has it.
    Restart(u8),
    /// Records are missing: how many, and why where the rig says so.
    Gap(u32, Option<GapCause>),
}

/// A stretch of time that was lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lost {
    /// Why.
    pub cause: Cause,
    /// When it began; of a restart and a gap, the last record before it.
    pub from: Option<Wall>,
    /// When it ended: the sensor was good again, the hub was touched again or, where depth did not need that, the rig had started, the
    /// next record came. `None` where that is not known.
    pub to: Option<Wall>,
}

impl Lost {
    /// How long, milliseconds.
    #[must_use]
    pub fn ms(&self) -> Option<i64> {
        self.from.zip(self.to).map(|(from, to)| (to.unix_ms - from.unix_ms).max(0))
    }
}

impl Cause {
    /// In words: "tilt sensor: no answer in time".
    #[must_use]
    pub fn text(self) -> String {
        use crate::paper::words::{code, count};
        match self {
            Self::Fault(sensor, fault) => format!("{}: {}", code(Sensor::TABLE, sensor), code(SensorFault::TABLE, fault)),
            Self::Restart(cause) => format!("restart: {}", code(ResetCause::TABLE, cause)),
            Self::Gap(many, why) => {
                let why = why.map_or_else(|| "not received".to_owned(), |why| code(GapCause::TABLE, why.raw()));
                format!("{} missing: {why}", count(usize::try_from(many).unwrap_or(usize::MAX), "record"))
            }
        }
    }
}

impl Worked<'_> {
    /// New depth of the day, metres.
    #[must_use]
    pub fn gained(&self) -> f64 {
        self.reached.map_or(0.0, |reached| (reached - self.began_at).max(0.0))
    }

    /// From the first record of the day to the last, milliseconds; `None` where the time is not known.
    #[must_use]
    pub fn ms(&self) -> Option<i64> {
        self.from.wall.zip(self.to.wall).map(|(from, to)| to.unix_ms - from.unix_ms)
    }

    /// Time that is known to be lost, each moment once, milliseconds.
    #[must_use]
    pub fn lost_ms(&self) -> i64 {
        let mut stretches: Vec<(i64, i64)> = self.lost.iter().filter_map(|lost| Some((lost.from?.unix_ms, lost.to?.unix_ms))).collect();
        stretches.sort_unstable();
        let mut counted = i64::MIN;
        let mut sum = 0;
        for (from, to) in stretches {
            sum += (to - from.max(counted)).max(0);
            counted = counted.max(to);
        }
        sum
    }
}

/// Every day of every rig, in their order; a day that is not known comes last.
#[must_use]
pub fn days(holes: &[Hole]) -> Vec<Day<'_>> {
    let mut found: BTreeMap<(&str, bool, Option<Date>), Vec<Worked<'_>>> = BTreeMap::new();
    for hole in holes {
        let all = moments(&hole.setup);
        let mut dates: Vec<Option<Date>> = all.iter().map(|(_, moment)| date(*moment)).collect();
        dates.sort();
        dates.dedup();
        for on in dates {
            let rig = hole.stream.rig.as_str();
            found.entry((rig, on.is_none(), on)).or_default().extend(worked(hole, on, &all, holes));
        }
    }
    let made = found.into_iter().map(|((rig, _, date), mut set_ups)| {
        set_ups
            .sort_by_key(|worked| (worked.from.wall.map(|wall| wall.unix_ms), worked.hole.stream.epoch, worked.hole.setup.opened.sequence));
        Day { rig, date, set_ups }
    });
    made.collect()
}

fn date(moment: Moment) -> Option<Date> {
    moment.wall.and_then(day)
}

/// The latest time of day in a set-up's records.
#[must_use]
pub fn latest(setup: &SetUp) -> Option<Wall> {
    moments(setup).into_iter().filter_map(|(_, moment)| moment.wall).max()
}

/// Every record of a set-up by its sequence, with its moment.
fn moments(setup: &SetUp) -> Vec<(u32, Moment)> {
    fn of<T>(list: &[Timed<T>]) -> impl Iterator<Item = (u32, Moment)> + '_ {
        list.iter().map(|timed| (timed.sequence, timed.moment))
    }
    let closed = setup.closed.as_ref().map(|closed| (closed.sequence, closed.moment));
    // a pass is written when it ends, and its moment is when it began
    let passes = setup.passes.iter().map(|pass| (pass.sequence, ended(pass)));
    let lists = of(&setup.hubs)
        .chain(of(&setup.tools))
        .chain(of(&setup.increments))
        .chain(of(&setup.changes))
        .chain(of(&setup.faults))
        .chain(of(&setup.notes))
        .chain(of(&setup.restarts))
        .chain(of(&setup.refusals))
        .chain(passes);
    let mut all: Vec<_> = lists.chain([(setup.opened.sequence, setup.opened.moment)]).chain(closed).collect();
    all.sort_by_key(|(sequence, _)| *sequence);
    all
}

/// When a pass ended.
fn ended(pass: &Timed<Pass>) -> Moment {
    let more = i64::from(pass.body.ended.since(pass.body.began));
    let wall = pass.moment.wall.map(|wall| Wall { unix_ms: wall.unix_ms + more, ..wall });
    Moment { at: pass.body.ended, wall, ..pass.moment }
}

fn worked<'a>(hole: &'a Hole, on: Option<Date>, all: &[(u32, Moment)], holes: &[Hole]) -> Option<Worked<'a>> {
    let setup = &hole.setup;
    let of_day: Vec<Moment> = all.iter().map(|(_, moment)| *moment).filter(|moment| date(*moment) == on).collect();
    let earlier = all.iter().position(|(_, moment)| date(*moment) == on).unwrap_or(0);
    let first = all.get(earlier).map_or(0, |(sequence, _)| *sequence);
    let bottoms: Vec<(u32, Moment, f64)> = bottoms(setup);
    let before = bottoms.iter().filter(|(sequence, ..)| *sequence < first).map(|(.., bottom)| *bottom);
    let began_at = before.chain(left_by_others(hole, holes)).fold(0.0, f64::max);
    let reached = bottoms.iter().filter(|(_, moment, _)| date(*moment) == on).map(|(.., bottom)| *bottom).reduce(f64::max);
    Some(Worked {
        hole,
        from: *of_day.first()?,
        to: *of_day.last()?,
        began_at,
        reached: reached.filter(|reached| *reached > began_at),
        passes: setup.passes.iter().filter(|pass| date(ended(pass)) == on).collect(),
        tools: of(&setup.tools, on),
        hubs: of(&setup.hubs, on),
        notes: of(&setup.notes, on),
        lost: lost(setup, all, on),
    })
}

fn of<T>(list: &[Timed<T>], on: Option<Date>) -> Vec<&Timed<T>> {
    list.iter().filter(|timed| date(timed.moment) == on).collect()
}

/// Every bottom of a set-up, metres below the datum as the rig read it.
fn bottoms(setup: &SetUp) -> Vec<(u32, Moment, f64)> {
    let hub = metres(setup.opened.body.plan.hub_above_datum);
    let increments = setup.increments.iter().map(|i| (i.sequence, i.moment, metres(i.body.depth) - hub));
    let passes = setup.passes.iter().map(|p| (p.sequence, ended(p), metres(p.body.bottom) - hub));
    increments.chain(passes).collect()
}

/// The deepest that earlier set-ups of the same hole left it.
fn left_by_others(hole: &Hole, holes: &[Hole]) -> Option<f64> {
    let name = hole.hole_name()?;
    let key = |hole: &Hole| {
        let opened = &hole.setup.opened;
        (opened.moment.wall.map(|wall| wall.unix_ms), opened.body.plan.setup, opened.sequence)
    };
    let others = holes.iter().filter(|other| other.hole_name().as_ref() == Some(&name) && key(other) < key(hole));
    others.flat_map(|other| bottoms(&other.setup)).map(|(.., bottom)| bottom).reduce(f64::max)
}

fn lost(setup: &SetUp, all: &[(u32, Moment)], on: Option<Date>) -> Vec<Lost> {
    let restarts = setup.restarts.iter().filter(|start| date(start.moment) == on).map(|start| restart(setup, all, start));
    let gaps = setup.missing.iter().filter_map(|gap| missing(all, gap, on));
    let mut lost: Vec<Lost> = faults(setup, on).into_iter().chain(restarts).chain(gaps).collect();
    lost.sort_by_key(|lost| lost.from.map(|from| from.unix_ms));
    lost
}

/// A stretch for each beginning of a fault, and for each end whose beginning is missing.
fn faults(setup: &SetUp, on: Option<Date>) -> Vec<Lost> {
    let all = &setup.faults;
    let same = |a: &Fault, b: &Fault| (a.sensor, a.fault) == (b.sensor, b.fault);
    let stretch = |(n, fault): (usize, &Timed<Fault>)| {
        let cause = Cause::Fault(fault.body.sensor, fault.body.fault);
        let at = fault.moment.wall;
        if fault.body.began == 1 {
            let next = all.iter().skip(n + 1).find(|other| same(&other.body, &fault.body));
            let end = next.filter(|other| other.body.began != 1).and_then(|other| other.moment.wall);
            return Some(Lost { cause, from: at, to: end });
        }
        let before = all.iter().take(n).rev().find(|other| same(&other.body, &fault.body));
        let began = at.map(|at| Wall { unix_ms: at.unix_ms - i64::from(fault.body.lasted), ..at });
        before.is_none_or(|other| other.body.began != 1).then_some(Lost { cause, from: began, to: at })
    };
    all.iter().enumerate().filter(|(_, fault)| date(fault.moment) == on).filter_map(stretch).collect()
}

fn restart(setup: &SetUp, all: &[(u32, Moment)], start: &Timed<Start>) -> Lost {
    let before = all.iter().rev().find(|(sequence, _)| *sequence < start.sequence);
    let again = setup.hubs.iter().find(|hub| hub.sequence > start.sequence).filter(|hub| hub.body.first == 1);
    let to = again.map_or(start.moment.wall, |hub| hub.moment.wall);
    Lost { cause: Cause::Restart(start.body.cause), from: before.and_then(|(_, moment)| moment.wall), to }
}

/// A gap stands on the day of the record before it.
fn missing(all: &[(u32, Moment)], gap: &Missing, on: Option<Date>) -> Option<Lost> {
    let before = all.iter().rev().find(|(sequence, _)| *sequence < gap.first).map(|(_, moment)| *moment)?;
    let after = all.iter().find(|(sequence, _)| *sequence > gap.last).and_then(|(_, moment)| moment.wall);
    (date(before) == on).then_some(Lost { cause: Cause::Gap(gap.count(), gap.cause), from: before.wall, to: after })
}
