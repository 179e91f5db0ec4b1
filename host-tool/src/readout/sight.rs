//! Everything that a page shows of one moment, ready made: a page draws it and knows nothing more.

use super::mast::Verdict;
use super::picture::Picture;
use super::seen::{Figure, Seen, below_what};
use super::{Alarm, Readout};
use crate::measure::length_text;
use crate::text::terminal;
use serde::Serialize;
use shared_protocol::record::Plan;
use shared_protocol::state::{Activity, SheetUnits};

/// So many records that this program has not yet are more than a moment's: what it has of the hole is of before.
const MANY: u32 = 16;

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
    /// What the tool does or where it is, in words, or that nothing here is of now; may be empty.
    pub place: String,
    /// What remains to be bored.
    pub to_go: Figure,
    /// Planned depth; empty without a plan.
    pub planned: String,
    /// How deep the hole is below the datum.
    pub depth: Figure,
    /// The lean, and which way.
    pub lean: Figure,
    /// The lean against the plan's limit.
    pub verdict: Option<Verdict>,
    /// Where the axis ends now off the centre.
    pub toe: Figure,
    /// The order: which way the mast's top must go, or that it is to be left.
    pub hint: Option<String>,
    /// The hole's plumb as the rig judges it, where nothing is wrong with it; empty elsewhere.
    pub plumb: &'static str,
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
    /// Why it is not drawn; empty where it is, or where no figure is known at all.
    pub no_picture: String,
    /// The sheet's units.
    pub units: &'static str,
}

impl Readout {
    /// What a page shows at `now`, ms, with the alarms as they stand.
    #[must_use]
    pub fn sight(&self, now: u64, alarms: &[Alarm]) -> Sight {
        let (seen, status) = (self.seen(now), self.state(now));
        let dash = || Figure::dash("no data");
        let no_picture = seen.as_ref().map(|seen| self.no_picture(seen)).unwrap_or_default();
        let drawn = seen.as_ref().filter(|_| no_picture.is_empty());
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
            place: seen
                .as_ref()
                .map_or_else(|| "NOT LIVE".to_owned(), |seen| if seen.is_awaited() { "NOT LIVE YET".to_owned() } else { seen.place() }),
            to_go: seen.as_ref().map_or_else(dash, Seen::to_go),
            planned: plan.map_or_else(String::new, |plan| length_text(plan.depth, self.units())),
            depth: seen.as_ref().map_or_else(dash, Seen::depth),
            lean: seen.as_ref().map_or_else(dash, Seen::lean),
            verdict: seen.as_ref().and_then(Seen::verdict),
            toe: seen.as_ref().map_or_else(dash, Seen::toe),
            hint: seen.as_ref().and_then(Seen::hint),
            plumb: seen.as_ref().map_or("", Seen::plumb),
            abnormal: seen.iter().flat_map(Seen::abnormal).map(|(text, grave)| Abnormal { text, grave }).collect(),
            doubts: doubts.reasons.iter().map(|reason| format!("not shown: {reason}")).collect(),
            notes: self.waiting(now).into_iter().chain(status.and_then(|status| self.ended_of(status))).collect(),
            alarms: alarms.to_vec(),
            asks: doubts.slow.then_some("refusal").into_iter().collect(),
            picture: drawn.zip(plan).map(|(seen, plan)| Picture::of(plan, &self.bored, seen)),
            no_picture,
            units: if self.units() == SheetUnits::FeetInches { "feet" } else { "metric" },
        }
    }
    /// Why the hole is not drawn: a funnel without a plan, or a hole of which half is still to come, would say what nobody knows.
    fn no_picture(&self, seen: &Seen<'_>) -> String {
        let records = seen.outlook.map_or(0, |outlook| outlook.waiting);
        match (seen.plan, seen.outlook) {
            _ if seen.status.activity == Activity::Starting => "the rig is starting".to_owned(),
            _ if !seen.status.hole_open => "no hole is open".to_owned(),
            _ if records >= MANY => format!("figures live, picture not yet: fetching {records} earlier records"),
            (None, _) => "picture not live: the hole's plan is on the way".to_owned(),
            (_, None) => "picture not live: the hole so far is on the way".to_owned(),
            (Some(_), Some(_)) => String::new(),
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
