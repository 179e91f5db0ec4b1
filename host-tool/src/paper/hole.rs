//! One hole as paper sees it: its facts and their judgement, with depths turned to the sheet's datum.

use super::words::Units;
use crate::evidence::review::Reviewed;
use crate::facts::{Missing, SetUp, Timed, Wall};
use crate::holes::Told;
use crate::judge::{AxisPoint, Judged, hole_name, metres};
use crate::readiness::Structure;
use crate::readiness::leg::Leg;
use crate::sheet::LegPlan;
use shared_protocol::record::{Change, Increment, Plan};
use shared_protocol::state::{Check, ReferenceState};
use shared_protocol::units::Micrometres;

/// A set-up with its judgement.
#[derive(Clone, Copy, Debug)]
pub struct Hole<'a> {
    /// What the rig recorded.
    pub setup: &'a SetUp,
    /// What it means.
    pub judged: &'a Judged,
    /// What people say of the hole, in the order in which they entered it.
    pub told: &'a [Told],
    /// The structure that it belongs to; `None` where the hole was judged without it.
    pub structure: Option<&'a Structure<'a>>,
    /// Who reviewed the record; `None` where it was judged without its evidence.
    pub reviewed: Option<&'a Reviewed>,
    /// The program that prints it, or that did when it is printed again.
    pub program: &'a str,
}

/// Whether a real hole was drilled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reality {
    /// By a real rig.
    Drilled,
    /// By a simulated one.
    Simulated,
    /// The record of the rig is missing.
    Unknown,
}

/// A depth interval, metres below the datum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Upper end.
    pub from: f64,
    /// Lower end.
    pub to: f64,
}

/// A time without a tie to the hub.
#[derive(Clone, Debug)]
pub struct Unreferenced<'a> {
    /// The change that began it.
    pub from: &'a Timed<Change>,
    /// The change that ended it, if anything did.
    pub until: Option<&'a Timed<Change>>,
}

impl<'a> Hole<'a> {
    /// A set-up of which nothing is known but its record.
    #[must_use]
    pub const fn of_record(setup: &'a SetUp, judged: &'a Judged) -> Self {
        Self { setup, judged, told: &[], structure: None, reviewed: None, program: super::program() }
    }

    /// Its leg in the structure, and which that is from the left, from 0; whichever attempt counts for it.
    #[must_use]
    pub fn leg(&self) -> Option<(usize, &'a Leg<'a>)> {
        self.structure?.legs.iter().enumerate().find(|(_, leg)| leg.hole.leg.raw() == self.plan().leg)
    }

    /// The same where this attempt is the one that counts.
    #[must_use]
    pub fn counting(&self) -> Option<(usize, &'a Leg<'a>)> {
        self.leg().filter(|(_, leg)| leg.hole.attempt == self.plan().attempt)
    }

    /// The row of the structure sheet that plans it.
    #[must_use]
    pub fn sheet(&self) -> Option<&'a LegPlan> {
        self.leg().and_then(|(_, leg)| leg.plan)
    }

    /// The plan as the rig took it.
    #[must_use]
    pub fn plan(&self) -> &'a Plan {
        &self.setup.opened.body.plan
    }

    /// The sheet's units.
    #[must_use]
    pub fn units(&self) -> Units {
        Units::of(self.plan())
    }

    /// Structure, leg and attempt in words.
    #[must_use]
    pub fn name(&self) -> String {
        hole_name(self.plan())
    }

    /// Whether a real hole was drilled.
    #[must_use]
    pub fn reality(&self) -> Reality {
        match &self.setup.identity {
            Some(identity) if identity.simulated => Reality::Simulated,
            Some(_) => Reality::Drilled,
            None => Reality::Unknown,
        }
    }

    /// Metres below the datum, from a depth below the hub.
    #[must_use]
    pub fn below_datum(&self, below_hub: Micrometres) -> f64 {
        metres(below_hub) - self.hub_above_datum()
    }

    /// Height of the hub above the datum, metres.
    #[must_use]
    pub fn hub_above_datum(&self) -> f64 {
        metres(self.plan().hub_above_datum)
    }

    /// The deepest that the record knows of as the rig read it, metres below the datum, whether or not it was tied to the
    /// hub.
    #[must_use]
    pub fn recorded_bottom(&self) -> Option<f64> {
        let closed = self.setup.closed.as_ref().map(|c| c.body.bottom);
        closed.or_else(|| self.setup.increments.last().map(|i| i.body.depth)).map(|d| self.below_datum(d))
    }

    /// The same with the hub's correction, where there is one: how deep the cutting edge is shown.
    #[must_use]
    pub fn edge(&self) -> Option<f64> {
        self.judged.depth.or_else(|| self.recorded_bottom())
    }

    /// What the hub's correction adds to the depth that the rig read, and that depth, metres; `None` where nothing is
    /// corrected.
    #[must_use]
    pub fn corrected(&self) -> Option<(f64, f64)> {
        Some((self.judged.correction?.value, self.recorded_bottom()?))
    }

    /// Length of the bore below the ground, metres; `None` where there is none.
    #[must_use]
    pub fn length(&self) -> Option<f64> {
        self.recorded_bottom().filter(|length| *length > 0.0)
    }

    /// Diameter that the last tool put on cuts, metres; `None` where no tool was recorded.
    #[must_use]
    pub fn cut_diameter(&self) -> Option<f64> {
        self.setup.tools.last().map(|t| metres(t.body.diameter))
    }

    /// Depth of the floor as it is drawn, metres below the datum: by soundings where there are any, else that of the
    /// cutting edge.
    #[must_use]
    pub fn floor(&self) -> Option<f64> {
        self.judged.sounded.map(|s| s.value).or_else(|| self.edge())
    }

    /// Whether that depth was measured from the datum.
    #[must_use]
    pub fn floor_known(&self) -> bool {
        self.judged.sounded.is_some() || self.judged.depth.is_some()
    }

    /// The hole's radius: the tool's, else as planned, metres.
    #[must_use]
    pub fn radius(&self) -> f64 {
        self.cut_diameter().unwrap_or(metres(self.plan().diameter)) / 2.0
    }

    /// A time of the host's as the hole's own local time; UTC where the rig was never told that.
    #[must_use]
    pub fn wall(&self, unix_ms: i64) -> Wall {
        Wall { unix_ms, offset: self.setup.opened.moment.wall.map_or(0, |wall| wall.offset) }
    }

    /// When something was said: the time of day alone, "01:43", on the day and at the offset at which the hole was opened, else
    /// in full.
    #[must_use]
    pub fn when(&self, at: Wall) -> String {
        let opened = self.setup.opened.moment.wall.filter(|opened| opened.offset == at.offset).map(Wall::rfc3339);
        let (full, day) = (at.rfc3339(), opened.as_deref().and_then(|text| text.split_once('T')).map(|(day, _)| day.to_owned()));
        let time = full.split_once('T').filter(|(on, _)| Some(*on) == day.as_deref()).and_then(|(_, time)| time.get(..5));
        time.map_or_else(|| full.clone(), str::to_owned)
    }

    /// First and last slot of the set-up.
    #[must_use]
    pub fn sequences(&self) -> (u32, u32) {
        let first = self.setup.slots.first().map_or(self.setup.opened.sequence, |s| s.sequence());
        (first, self.setup.slots.last().map_or(first, |s| s.sequence()))
    }

    /// The latest time of day in the record, for the file's own date.
    #[must_use]
    pub fn last_wall(&self) -> Option<Wall> {
        let closed = self.setup.closed.as_ref().map(|c| c.moment);
        let increments = self.setup.increments.iter().map(|i| i.moment);
        let moments = increments.chain([self.setup.opened.moment]).chain(closed);
        moments.filter_map(|m| m.wall).max()
    }

    /// The axis in stretches: broken where slots are missing, where no lean was measured, and where depth came
    /// in a step larger than one and a half increments. Nothing is bridged.
    #[must_use]
    pub fn axis_stretches(&self) -> Vec<Vec<AxisPoint>> {
        let measured: Vec<(usize, &Timed<Increment>)> =
            self.setup.increments.iter().enumerate().filter(|(_, i)| i.body.samples > 0).collect();
        let mut stretches: Vec<Vec<AxisPoint>> = Vec::new();
        let mut previous: Option<(usize, &Timed<Increment>)> = None;
        for (point, &(index, increment)) in self.judged.axis.iter().zip(&measured) {
            let joined = previous.is_some_and(|(before, upper)| index == before + 1 && self.joined(upper, increment));
            match stretches.last_mut() {
                Some(stretch) if joined => stretch.push(*point),
                _ => stretches.push(vec![*point]),
            }
            previous = Some((index, increment));
        }
        stretches
    }

    fn joined(&self, upper: &Timed<Increment>, lower: &Timed<Increment>) -> bool {
        let between = |m: &Missing| m.first > upper.sequence && m.last < lower.sequence;
        let step = lower.body.depth.minus(upper.body.depth).0;
        let longest = self.setup.identity.as_ref().map_or(i32::MAX, |i| i.increment.0.saturating_mul(3) / 2);
        !self.setup.missing.iter().any(between) && step <= longest
    }

    /// Times without a tie to the hub, as the rig recorded them.
    #[must_use]
    pub fn unreferenced(&self) -> Vec<Unreferenced<'a>> {
        let mut out: Vec<Unreferenced<'a>> = Vec::new();
        for change in self.setup.changes.iter().filter(|c| Check::from_raw(c.body.check) == Some(Check::Reference)) {
            let lost = ReferenceState::from_raw(change.body.state) != Some(ReferenceState::Hub);
            match out.last_mut().filter(|u| u.until.is_none()) {
                Some(open) if !lost => open.until = Some(change),
                None if lost => out.push(Unreferenced { from: change, until: None }),
                _ => {}
            }
        }
        out
    }

    /// Where the tip met bottom above where it had left it.
    #[must_use]
    pub fn fall_ins(&self) -> Vec<Interval> {
        let changes = self.setup.changes.iter().filter(|c| Check::from_raw(c.body.check) == Some(Check::FallIn) && c.body.state != 0);
        let interval = |c: &Timed<Change>| {
            let to = self.below_datum(c.body.depth);
            Interval { from: to - metres(Micrometres(c.body.figure)).abs(), to }
        };
        changes.map(interval).collect()
    }
}
