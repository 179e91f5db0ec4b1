//! Everything that a page shows of one moment, ready made: a page draws it and knows nothing more.

use super::picture::Picture;
use super::seen::{Figure, Seen, below_what};
use super::{Alarm, Readout};
use crate::measure::length_text;
use crate::text::terminal;
use serde::Serialize;
use shared_protocol::record::Plan;
use shared_protocol::state::SheetUnits;

/// What is not as it should be.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Abnormal {
    /// In words.
    pub text: &'static str,
    /// Whether the operator must act on it.
    pub grave: bool,
}

/// The hole that is open.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HoleSight {
    /// As people call it.
    pub name: String,
    /// Its line.
    pub line: String,
    /// Who drills.
    pub operator: String,
    /// What is planned, in words.
    pub plan: String,
}

/// The rig that is there.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RigSight {
    /// Its name.
    pub name: String,
    /// Whether it is made up.
    pub simulated: bool,
}

/// One moment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sight {
    /// The rig's clock at this reading, ms, its low 16 bits; `None` where no data comes.
    pub at: Option<u16>,
    /// The rig.
    pub rig: Option<RigSight>,
    /// Whether anything here is made up.
    pub simulated: bool,
    /// Why no figure is known; `None` where data comes.
    pub why_nothing: Option<String>,
    /// The hole.
    pub hole: Option<HoleSight>,
    /// The hole in words, or why there is none.
    pub hole_words: String,
    /// What the tool is doing; may be empty.
    pub state: &'static str,
    /// What remains to be bored.
    pub to_go: Figure,
    /// The tip below the datum.
    pub depth: Figure,
    /// The lean, and which way.
    pub lean: Figure,
    /// Where the axis ends now off the centre.
    pub toe: Figure,
    /// Which way the mast's top must go.
    pub hint: Option<String>,
    /// What is not as it should be.
    pub abnormal: Vec<Abnormal>,
    /// Why the record may not count.
    pub doubts: Vec<String>,
    /// What is worth knowing besides.
    pub notes: Vec<String>,
    /// Alarms that stand or were not heard.
    pub alarms: Vec<Alarm>,
    /// What the rig asks.
    pub asks: Vec<&'static str>,
    /// The hole drawn.
    pub picture: Option<Picture>,
    /// The sheet's units.
    pub units: &'static str,
}

impl Readout {
    /// What a page shows at `now`, ms, with the alarms as they stand.
    #[must_use]
    pub fn sight(&self, now: u64, alarms: &[Alarm]) -> Sight {
        let (seen, status) = (self.seen(now), self.state(now));
        let dash = || Figure::dash("no data");
        let open = status.is_none_or(|status| status.hole_open);
        let plan = self.plan.as_deref().filter(|_| open);
        let doubts = if open { self.doubts.clone() } else { Default::default() };
        Sight {
            at: seen.as_ref().map(|seen| seen.live.at),
            rig: self.rig.as_ref().map(|rig| RigSight { name: rig.name.clone(), simulated: rig.simulated }),
            simulated: self.is_simulated(status),
            why_nothing: seen.is_none().then(|| self.why_nothing(now)),
            hole: plan.map(|plan| hole_sight(plan, self.units())),
            hole_words: self.hole_field(status),
            state: seen.as_ref().map_or("", Seen::activity),
            to_go: seen.as_ref().map_or_else(dash, Seen::to_go),
            depth: seen.as_ref().map_or_else(dash, Seen::depth),
            lean: seen.as_ref().map_or_else(dash, Seen::lean),
            toe: seen.as_ref().map_or_else(dash, Seen::toe),
            hint: seen.as_ref().and_then(Seen::hint),
            abnormal: seen.iter().flat_map(Seen::abnormal).map(|(text, grave)| Abnormal { text, grave }).collect(),
            doubts: doubts.reasons.iter().map(|reason| format!("not shown: {reason}")).collect(),
            notes: self.waiting(now).into_iter().chain(status.and_then(|status| self.ended_of(status))).collect(),
            alarms: alarms.to_vec(),
            asks: doubts.slow.then_some("refusal").into_iter().collect(),
            picture: plan.map(|plan| Picture::of(plan, &self.bored, seen.as_ref())),
            units: if self.units() == SheetUnits::FeetInches { "feet" } else { "metric" },
        }
    }
}

fn hole_sight(plan: &Plan, units: SheetUnits) -> HoleSight {
    let (depth, across) = (length_text(plan.depth, units), length_text(plan.diameter, units));
    HoleSight {
        name: terminal(&crate::judge::hole_name(plan)),
        line: terminal(&plan.line),
        operator: terminal(&plan.operator),
        plan: format!("{depth} {}, {across} across", below_what(plan.datum)),
    }
}
