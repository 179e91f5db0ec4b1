//! What a set-up's facts mean against its plan and limits, in line axes and below the sheet's datum.
//!
//! [`axis`] is where the bore went, [`closing`] what the hub says of its depth, [`budget`] what the figures are worth,
//! [`spread`] how errors add up and [`distance`] what they do to a distance, [`freedom`] how much few readings are worth, [`limits`] what is accepted and
//! [`statement`] what may be said.

pub mod axes;
pub mod axis;
pub mod budget;
pub mod closing;
mod curve;
pub mod distance;
pub mod freedom;
pub mod limits;
pub mod measured;
pub mod spread;
pub mod statement;

pub use axes::{LineAxes, to_line};
pub use axis::{AxisPoint, metres};
pub use closing::Correction;
pub use measured::Plumbed;
pub use statement::{Figure, Guarded, Standing, Verdict};

use crate::facts::{DigestState, SetUp};
use crate::proof::Sealing;
use axis::Axis;
use budget::{Allowances, Budget, Budgets, budgets, stamp};
use limits::{Governs, LimitSet, Measurand};
use shared_protocol::record::{Plan, Stamp};
use shared_protocol::state::{CalibrationItem, Check, ReferenceState};

/// A set-up judged.
#[derive(Clone, Debug)]
pub struct Judged {
    /// Depth below the datum, metres, corrected where the hub was touched again; `None` where depth was not tied to the
    /// hub at the end.
    pub depth: Option<f64>,
    /// The correction in it: that much less is what the rig read.
    pub correction: Option<Correction>,
    /// Planned depth below the datum, metres.
    pub planned: f64,
    /// Accepted range below the datum by the plan, metres.
    pub accepted: (f64, f64),
    /// Depth against that range.
    pub depth_standing: Standing,
    /// The axis from the top down; empty where no increment was recorded.
    pub axis: Vec<AxisPoint>,
    /// Toe off the vertical through the hole's start, metres.
    pub toe: Option<LineAxes>,
    /// Toe over the bore's length, metres per metre.
    pub lean: Option<LineAxes>,
    /// Mean of the increments' leans, weighted by depth, metres per metre.
    pub mean_lean: Option<LineAxes>,
    /// The most lean accepted over the whole hole by the plan, metres per metre.
    pub lean_limit: f64,
    /// Overall lean against that limit.
    pub lean_standing: Standing,
    /// The largest misclosure on the hub, metres.
    pub misclosure: Option<f64>,
    /// What the figures are worth; `None` where there is no bottom.
    pub budgets: Option<Budgets>,
    /// Every limit judged: the plan's first, then those given.
    pub verdicts: Vec<Verdict>,
    /// Which of the two statements decides; `None` where nobody has said.
    pub governs: Option<Governs>,
    /// Depth by soundings, metres below the datum, which then governs; `None` where nobody sounded the hole.
    pub sounded: Option<Figure>,
    /// Whether the soundings and the rig contradict each other.
    pub contradicted: bool,
    /// What that is worth, source by source.
    pub soundings: Option<Budget>,
    /// Hand plumbs beside the axis.
    pub plumbed: Vec<Plumbed>,
    /// Why nothing can be shown of the rig's depth, and of lean and toe, whatever the limit.
    pub bars: Barred,
    /// Why figures may be worth less, in plain words.
    pub reservations: Vec<String>,
}

/// Judges a set-up against the limits of its plan.
#[must_use]
pub fn judge(setup: &SetUp) -> Judged {
    judge_by(setup, &LimitSet { limits: Vec::new(), governs: None })
}

/// Judges a set-up against the limits of its plan, and more.
#[must_use]
pub fn judge_by(setup: &SetUp, more: &LimitSet) -> Judged {
    let plan = &setup.opened.body.plan;
    let bore = Bore::of(setup);
    let budgets = bore.measured.map(|bottom| budgets(setup, &bore.axis, bottom, &Allowances::default()));
    let lean = bore.end.filter(|_| bore.length > 0.0).map(|end| end.offset.times(1.0 / bore.length));
    let seen = Seen { bore: &bore, budgets: budgets.as_ref() };
    let own = LimitSet::of_plan(plan);
    let Bore { end, depth, correction, believed, .. } = bore;
    let plumbed = measured::plumbed(setup, &bore.axis, bore.bottom);
    let (unfinished, barred) = (setup.closed.is_none(), barred(setup, believed, &plumbed));
    let sounded = measured::sounded(&setup.measurements);
    let soundings = measured::soundings_budget(&setup.measurements);
    let contradicted = soundings.as_ref().zip(seen.budgets).is_some_and(|(by_tape, by_rig)| {
        sounded.zip(depth).is_some_and(|(tape, rig)| measured::contradict(tape.value - rig, by_tape, &by_rig.depth))
    });
    let of_bore = more.limits.iter().filter(|limit| limit.measurand.is_of_bore());
    let judged = own.limits.iter().chain(of_bore).map(|limit| match (limit.measurand, sounded) {
        (Measurand::Depth, Some(by_tape)) => statement::verdict(limit, Some(by_tape), unfinished, &[]),
        (Measurand::Depth, None) => statement::verdict(limit, seen.figure(limit.measurand), unfinished, &barred.depth),
        _ => statement::verdict(limit, seen.figure(limit.measurand), unfinished, &barred.lean),
    });
    let verdicts: Vec<Verdict> = judged.collect();
    let plain = |measurand| verdicts.iter().find(|v| v.limit.measurand == measurand).map_or(Standing::Unknown, |v| v.plain);
    Judged {
        depth,
        correction,
        planned: metres(plan.depth),
        accepted: (metres(plan.depth) - metres(plan.depth_under), metres(plan.depth) + metres(plan.depth_over)),
        depth_standing: plain(Measurand::Depth),
        toe: end.map(|e| e.offset),
        lean,
        mean_lean: mean_lean(&bore.axis.points, bore.axis.ground),
        lean_limit: f64::from(plan.plumb_limit.0) / 1e6,
        lean_standing: plain(Measurand::OverallLean),
        misclosure: setup
            .hubs
            .iter()
            .filter(|h| h.body.first == 0)
            .map(|h| metres(h.body.misclosure))
            .max_by(|a, b| a.abs().total_cmp(&b.abs())),
        sounded,
        contradicted,
        soundings,
        plumbed,
        reservations: reservations(setup, believed, contradicted),
        axis: bore.axis.points,
        budgets,
        verdicts,
        governs: more.governs,
        bars: barred,
    }
}

/// How depth and overall lean stand to their plan's limits as measured: what [`judge`] says of them, without what they are worth, which
/// takes many times as long.
#[must_use]
pub fn standings(setup: &SetUp) -> (Standing, Standing) {
    let (bore, own) = (Bore::of(setup), LimitSet::of_plan(&setup.opened.body.plan));
    let sounded = measured::sounded(&setup.measurements).map(|figure| figure.value);
    let plain = |measurand: Measurand, value: Option<f64>| {
        let limit = own.limits.iter().find(|limit| limit.measurand == measurand);
        let figure = value.map(|value| Figure::of(value, 0.0));
        limit.map_or(Standing::Unknown, |limit| statement::verdict(limit, figure, setup.closed.is_none(), &[]).plain)
    };
    let depth = sounded.or_else(|| bore.value(Measurand::Depth));
    (plain(Measurand::Depth, depth), plain(Measurand::OverallLean, bore.value(Measurand::OverallLean)))
}

/// The bore as it was measured.
struct Bore {
    axis: Axis,
    /// Where the axis ends.
    end: Option<AxisPoint>,
    length: f64,
    /// Whether depth was tied to the hub at the end.
    believed: bool,
    correction: Option<Correction>,
    depth: Option<f64>,
    /// The deepest below the hub.
    bottom: Option<f64>,
    /// The same where there is a hole at all.
    measured: Option<f64>,
}

impl Bore {
    fn of(setup: &SetUp) -> Self {
        let (bottom, believed, axis) = (bottom(setup), tied(setup), Axis::of(setup));
        let end = bottom.and_then(|bottom| axis.at(bottom));
        let length = bottom.map_or(0.0, |bottom| axis.length(bottom));
        let correction = closing::correction(setup).filter(|_| believed);
        let corrected = correction.map_or(0.0, |correction| correction.value);
        let depth = bottom.filter(|_| believed).map(|bottom| bottom - metres(setup.opened.body.plan.hub_above_datum) + corrected);
        Self { axis, end, length, believed, correction, depth, bottom, measured: bottom.filter(|_| length > 0.0) }
    }

    /// A figure that limits are about.
    fn value(&self, measurand: Measurand) -> Option<f64> {
        self.measured?;
        let toe = self.end.map(|end| end.offset.magnitude()).filter(|_| self.believed);
        match measurand {
            Measurand::Depth => self.depth,
            Measurand::OverallLean => Some(toe? / self.length),
            Measurand::LeanAnywhere => worst(&self.axis.points),
            Measurand::Toe => toe,
            Measurand::Centre | Measurand::Room | Measurand::Embedment | Measurand::ArmTilt => None,
        }
    }
}

/// The figures that limits are about, with what they are worth.
struct Seen<'a> {
    bore: &'a Bore,
    budgets: Option<&'a Budgets>,
}

impl Seen<'_> {
    fn figure(&self, measurand: Measurand) -> Option<Figure> {
        let (budgets, value) = (self.budgets?, self.bore.value(measurand)?);
        let (budget, per) = match measurand {
            Measurand::Depth => (&budgets.depth, 1.0),
            Measurand::OverallLean => (&budgets.distance, self.bore.length),
            Measurand::LeanAnywhere => (&budgets.local, 1.0),
            Measurand::Toe => (&budgets.distance, 1.0),
            Measurand::Centre | Measurand::Room | Measurand::Embedment | Measurand::ArmTilt => return None,
        };
        Some(Figure { value, expanded: budget.expanded / per, guard: budget.guard / per })
    }
}

/// The largest mean lean over 100 mm.
fn worst(points: &[AxisPoint]) -> Option<f64> {
    points.iter().skip(axis::MEAN_OF - 1).map(|p| p.lean.magnitude()).max_by(f64::total_cmp)
}

/// Whether depth was tied to the hub at the end of the set-up.
fn tied(setup: &SetUp) -> bool {
    setup
        .changes
        .iter()
        .rev()
        .find(|c| Check::from_raw(c.body.check) == Some(Check::Reference))
        .is_some_and(|c| ReferenceState::from_raw(c.body.state) == Some(ReferenceState::Hub))
}

/// Reasons why nothing can be shown of a set-up that is under way, depth and lean together.
#[must_use]
pub fn bars(setup: &SetUp) -> Vec<String> {
    let plumbed = measured::plumbed(setup, &Axis::of(setup), bottom(setup));
    let Barred { mut depth, lean } = barred(setup, true, &plumbed);
    depth.extend(lean);
    depth
}

/// Reasons why nothing can be shown of depth, and of lean and toe.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Barred {
    /// Of the rig's depth; soundings stand for themselves.
    pub depth: Vec<String>,
    /// Of lean and toe.
    pub lean: Vec<String>,
}

fn barred(setup: &SetUp, believed: bool, plumbed: &[Plumbed]) -> Barred {
    let mut barred = Barred::default();
    if !believed {
        barred.depth.push("depth was not tied to the hub at the end".to_owned());
        barred.lean.push("depth was not tied to the hub at the end".to_owned());
    }
    if let Some(text) = misclosed(setup) {
        barred.depth.push(text);
    }
    if let Some(text) = unproven(setup) {
        barred.depth.push(text.clone());
        barred.lean.push(text);
    }
    for (item, text) in [
        (CalibrationItem::Encoder, "encoder"),
        (CalibrationItem::TiltZero, "tilt zero"),
        (CalibrationItem::ToolLevel, "tool level"),
        (CalibrationItem::GuidePlay, "guide play"),
    ] {
        if let Some(why) = expired(setup, item, text) {
            let list = if item == CalibrationItem::Encoder { &mut barred.depth } else { &mut barred.lean };
            list.push(why);
        }
    }
    barred.lean.extend(measured::not_plumbed(plumbed));
    barred
}

/// Why records that the rig digested, and sealed, are not those in hand.
fn unproven(setup: &SetUp) -> Option<String> {
    match (setup.sealing, setup.digest) {
        (Sealing::Unfit(_), _) => Some(setup.sealing.text()),
        (_, DigestState::Differs) => Some("the rig's digest does not fit the records in hand".to_owned()),
        (Sealing::Fits(..), DigestState::Lacking) => Some("records that the rig sealed are not in hand".to_owned()),
        _ => None,
    }
}

/// The deepest recorded, metres below the hub.
fn bottom(setup: &SetUp) -> Option<f64> {
    setup.closed.as_ref().map(|c| c.body.bottom).or_else(|| setup.increments.last().map(|i| i.body.depth)).map(metres)
}

fn misclosed(setup: &SetUp) -> Option<String> {
    let limit = setup.identity.as_ref().map(|i| metres(i.misclosure_limit))?;
    let worst = setup.hubs.iter().filter(|h| h.body.first == 0).map(|h| metres(h.body.misclosure).abs()).fold(0.0, f64::max);
    (worst > limit).then(|| format!("misclosure on the hub is {:.0} mm, and {:.0} mm is the most accepted", worst * 1e3, limit * 1e3))
}

/// Whether a calibration held while the hole was drilled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Validity {
    /// It held.
    Held,
    /// It had expired.
    Expired,
    /// The time of day is not known, so nobody can tell.
    Unknown,
}

/// Whether a calibration held until the set-up was closed, else when it was opened, by the local date.
#[must_use]
pub fn validity(setup: &SetUp, stamp: &Stamp) -> Validity {
    let last = setup.closed.as_ref().map_or(setup.opened.moment, |c| c.moment);
    match last.wall {
        None => Validity::Unknown,
        Some(wall) if (wall.unix_ms + i64::from(wall.offset) * 60_000).div_euclid(86_400_000) > i64::from(stamp.expires) => {
            Validity::Expired
        }
        Some(_) => Validity::Held,
    }
}

fn expired(setup: &SetUp, item: CalibrationItem, text: &str) -> Option<String> {
    let stamp = stamp(setup, item)?;
    match validity(setup, stamp) {
        Validity::Unknown => Some(format!("the time of day is not known, so the calibration of the {text} may have expired")),
        Validity::Expired => Some(format!("the calibration of the {text} expired on {}", budget::day(stamp.expires))),
        Validity::Held => None,
    }
}

fn mean_lean(axis: &[AxisPoint], ground: f64) -> Option<LineAxes> {
    let last = axis.last().filter(|p| p.depth > ground)?;
    Some(last.wall.times(1.0 / (last.depth - ground)))
}

fn reservations(setup: &SetUp, believed: bool, contradicted: bool) -> Vec<String> {
    let mut out = Vec::new();
    let mut say = |when: bool, text: String| {
        if when {
            out.push(text);
        }
    };
    let lost: u32 = setup.missing.iter().map(crate::facts::Missing::count).fold(0, u32::saturating_add); // gaps may be declared over each other
    let doubtful = setup.increments.iter().filter(|i| i.body.quality != 0).count();
    let faults = setup.faults.iter().filter(|f| f.body.began == 1).count();
    say(setup.closed.is_none(), "The hole was not closed: figures are as of the last record.".to_owned());
    say(!believed, "Depth was not tied to the hub at the end: depth not known.".to_owned());
    let apart = "Soundings and the rig differ by more than both are worth: one of them is wrong, so sound the hole again.";
    say(contradicted, apart.to_owned());
    say(setup.identity.is_none(), "The record of the rig and its instruments is missing.".to_owned());
    say(lost > 0, format!("{lost} records are missing; see gaps."));
    say(setup.digest == DigestState::Differs, "The rig's digest does not fit the records in hand.".to_owned());
    say(setup.digest == DigestState::Lacking, "The rig's digest covers records that are not in hand.".to_owned());
    say(setup.sealing == Sealing::Refused, "The rig's memory refused the seal: these records are not sealed.".to_owned());
    if let Sealing::Unfit(why) = setup.sealing {
        say(true, format!("The rig's seal does not fit: {}.", why.text()));
    }
    say(!setup.restarts.is_empty(), format!("The rig restarted {} in this hole.", times(setup.restarts.len())));
    say(faults > 0, format!("A sensor was at fault {}; see the list.", times(faults)));
    say(doubtful > 0, format!("{doubtful} of {} increments carry a remark on quality.", setup.increments.len()));
    say(setup.malformed + setup.unknown > 0, format!("{} records could not be read by this version.", setup.malformed + setup.unknown));
    out
}

fn times(count: usize) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        more => format!("{more} times"),
    }
}

/// The name of a hole as people say it: structure, leg, attempt.
#[must_use]
pub fn hole_name(plan: &Plan) -> String {
    let leg = match shared_protocol::state::Leg::from_raw(plan.leg) {
        Some(shared_protocol::state::Leg::Single) => String::new(),
        Some(shared_protocol::state::Leg::Left) => " left leg".to_owned(),
        Some(shared_protocol::state::Leg::Middle) => " middle leg".to_owned(),
        Some(shared_protocol::state::Leg::Right) => " right leg".to_owned(),
        None => format!(" leg {}", plan.leg),
    };
    let attempt = if plan.attempt > 1 { format!(", attempt {}", plan.attempt) } else { String::new() };
    format!("{}{leg}{attempt}", plan.structure)
}
