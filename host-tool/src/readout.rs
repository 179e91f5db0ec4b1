//! The live readout, for eyes only: as one line of plain text, and as a [`Sight`] for a page.
//!
//! A figure that is not known now is a dash with the reason beside it; it is never the last one that was.

mod alarms;
mod mast;
mod picture;
mod seen;
mod sight;

pub use alarms::{Alarm, AlarmKind, Alarms};
pub use mast::Verdict;
pub use picture::{Bored, Picture};
pub use seen::Figure;
pub use sight::Sight;

use crate::capture::Event;
use crate::doubts::Doubts;
use crate::ending::Ending;
use crate::judge::hole_name;
use crate::text::terminal;
use mast::worth_moving;
use seen::Seen;
use shared_protocol::VERSION;
use shared_protocol::message::{Live, Outlook};
use shared_protocol::record::Plan;
use shared_protocol::state::{Activity, SheetUnits, Status};

/// No live frame for so long: what was shown is not known any more, ms.
const STALE_MS: u64 = 500;
/// Outlooks come twice a second; three missing make what they say unknown, ms.
const OUTLOOK_STALE_MS: u64 = 1_500;
const DASH: &str = "–";

/// What the readout knows.
#[derive(Debug, Default)]
pub struct Readout {
    rig: Option<Rig>,
    port_lost: bool,
    live: Option<(u64, Live)>,
    outlook: Option<(u64, Outlook)>,
    plan: Option<Box<Plan>>,
    doubts: Doubts,
    bored: Bored,
    /// Whether the lean is worth moving the mast for.
    moving: bool,
    /// How the last hole ended, until another is open.
    ended: Option<Ending>,
}

#[derive(Debug)]
struct Rig {
    name: String,
    simulated: bool,
    /// What it speaks.
    version: u8,
}

impl Readout {
    /// Takes what a capture's step brought at `now`, ms.
    pub fn take(&mut self, now: u64, event: &Event) {
        match event {
            Event::Rig(introduction) => {
                let name = terminal(&introduction.stream.rig);
                let rig = Rig { name, simulated: introduction.hello.simulated != 0, version: introduction.version };
                *self = Self { rig: Some(rig), ..Self::default() };
            }
            Event::Live(live) => {
                self.moving = worth_moving(live, self.plan.as_deref().map(|plan| plan.plumb_limit), self.moving);
                self.live = Some((now, *live));
            }
            Event::Outlook(outlook) => self.outlook = Some((now, *outlook)),
            Event::Woke => (self.live, self.outlook) = (None, None),
            Event::Hole(plan) => {
                if plan.is_some() {
                    self.ended = None;
                }
                self.bored = Bored::default();
                self.plan.clone_from(plan);
            }
            Event::Ended(ending) => self.ended = Some(ending.clone()),
            Event::Doubts(doubts) => self.doubts = doubts.clone(),
            Event::Bored(bored) => self.bored = bored.clone(),
            Event::Kept(_) | Event::Raw(_) | Event::Outcome(..) | Event::Notice(_) => {}
        }
    }

    /// The port was pulled, or is back.
    pub fn port(&mut self, lost: bool) {
        self.port_lost = lost;
    }

    /// The plan of the open hole, and the sequence of its first slot.
    #[must_use]
    pub fn open_hole(&self) -> Option<(&Plan, u32)> {
        let (_, outlook) = self.outlook?;
        self.plan.as_deref().filter(|_| outlook.opened > 0).map(|plan| (plan, outlook.opened))
    }

    /// What a person would call the state at `now`: a readout that changes in this is shown at once. `None` without data.
    #[must_use]
    pub fn state(&self, now: u64) -> Option<Status> {
        self.live_now(now).and_then(|live| Status::from_bits(live.status))
    }

    /// The line at `now`, ms.
    #[must_use]
    pub fn line(&self, now: u64) -> String {
        let status = self.state(now);
        let mut fields = vec![self.rig_field(status), self.hole_field(status)];
        match self.seen(now) {
            Some(seen) => {
                fields.extend([to_go_text(&seen), depth_text(&seen), lean_text(&seen), seen.place()]);
                fields.extend(seen.abnormal().into_iter().map(|(text, _)| text.to_owned()));
                fields.extend(self.waiting(now));
                fields.extend(self.doubts_of(seen.status));
                fields.extend(self.ended_of(seen.status));
            }
            None => fields.extend([format!("to go {DASH}"), format!("hole {DASH}"), format!("lean {DASH}"), self.why_nothing(now)]),
        }
        fields.retain(|field| !field.is_empty());
        fields.join(" | ")
    }

    /// What is known at `now`; `None` without data.
    fn seen(&self, now: u64) -> Option<Seen<'_>> {
        let (live, status) = self.live_now(now).and_then(|live| Some((live, Status::from_bits(live.status)?)))?;
        let plan = self.plan.as_deref().filter(|_| status.hole_open);
        Some(Seen { live, status, outlook: self.outlook_now(now), plan, units: self.units(), moving: self.moving })
    }

    /// The sheet's units.
    fn units(&self) -> SheetUnits {
        self.plan.as_deref().and_then(|plan| SheetUnits::from_raw(plan.units)).unwrap_or(SheetUnits::Metric)
    }

    fn outlook_now(&self, now: u64) -> Option<Outlook> {
        self.outlook.filter(|(at, _)| now.saturating_sub(*at) <= OUTLOOK_STALE_MS).map(|(_, outlook)| outlook)
    }

    fn waiting(&self, now: u64) -> Option<String> {
        self.outlook_now(now).filter(|o| o.waiting > 0).map(|o| format!("{} records to fetch", o.waiting))
    }

    fn ended_of(&self, status: Status) -> Option<String> {
        self.ended.as_ref().filter(|_| !status.hole_open).map(Ending::to_string)
    }

    /// Why nothing can be shown of the open hole, and what its rig asks.
    fn doubts_of(&self, status: Status) -> Vec<String> {
        let Doubts { reasons, slow } = if status.hole_open { self.doubts.clone() } else { Doubts::default() };
        let asked = slow.then(|| "slow going: is it refusal? say refusal yes or refusal no".to_owned());
        asked.into_iter().chain(reasons.into_iter().map(|reason| format!("not shown: {reason}"))).collect()
    }

    fn live_now(&self, now: u64) -> Option<Live> {
        self.live.filter(|(at, _)| now.saturating_sub(*at) <= STALE_MS && !self.port_lost).map(|(_, live)| live)
    }

    fn is_simulated(&self, status: Option<Status>) -> bool {
        self.rig.as_ref().is_some_and(|rig| rig.simulated) || status.is_some_and(|s| s.simulated)
    }

    fn rig_field(&self, status: Option<Status>) -> String {
        let simulated = self.is_simulated(status);
        let name = self.rig.as_ref().map_or("no rig", |rig| if rig.name.is_empty() { "unnamed rig" } else { &rig.name });
        if simulated { format!("SIMULATED {name}") } else { name.to_owned() }
    }

    fn hole_field(&self, status: Option<Status>) -> String {
        match (&self.plan, status) {
            (_, Some(Status { activity: Activity::Starting, .. })) => "the rig is starting".to_owned(),
            (_, Some(Status { hole_open: false, .. })) => "no hole open".to_owned(),
            (Some(plan), _) => terminal(&hole_name(plan)),
            (None, Some(_)) => format!("hole {DASH} (its plan is on the way)"),
            (None, None) => String::new(),
        }
    }

    fn why_nothing(&self, now: u64) -> String {
        match (&self.rig, self.live) {
            _ if self.live_now(now).is_some() => "the rig's state is of a kind that this version does not know".to_owned(),
            _ if self.port_lost => "no data: the port is gone; plug it in again".to_owned(),
            (None, _) => "no data: no rig has said hello".to_owned(),
            (Some(Rig { version, .. }), _) if *version != VERSION => {
                format!("no data: the rig speaks version {version}, this program version {VERSION}; its records are stored")
            }
            (_, None) => "no data yet".to_owned(),
            (_, Some((at, _))) => format!("no data for {:.1} s: is the rig on and the cable in?", seconds(now.saturating_sub(at))),
        }
    }
}

fn to_go_text(seen: &Seen<'_>) -> String {
    match seen.to_go() {
        Figure::Known { value, unit, more } if more == "to go" => joined(["to go", &value, &unit]),
        Figure::Known { value, unit, more } => joined([&value, &unit, &more]),
        Figure::Dash { .. } => format!("to go {DASH}"),
    }
}

fn depth_text(seen: &Seen<'_>) -> String {
    match seen.depth() {
        Figure::Known { value, unit, more } => joined(["hole", &value, &unit, &more]),
        Figure::Dash { dash } => format!("hole {DASH} ({dash})"),
    }
}

fn lean_text(seen: &Seen<'_>) -> String {
    match seen.lean() {
        Figure::Dash { dash } => format!("lean {DASH} ({dash})"),
        Figure::Known { value, unit, more } => {
            let verdict = seen.verdict().map(|verdict| verdict.text).unwrap_or_default();
            let said = [joined(["lean", &value, &unit]), more, verdict];
            let said: Vec<String> = said.into_iter().filter(|words| !words.is_empty()).collect();
            format!("{}: {}", said.join(", "), seen.hint().unwrap_or_default())
        }
    }
}

fn joined<const N: usize>(words: [&str; N]) -> String {
    words.into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ")
}

fn seconds(ms: u64) -> f64 {
    f64::from(u32::try_from(ms).unwrap_or(u32::MAX)) / 1e3
}

#[cfg(test)]
mod tests;
