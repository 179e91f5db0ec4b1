//! The live readout as one line of plain text, for eyes only.
//!
//! A figure that is not known now is a dash with the reason beside it; it is never the last one that was.

use crate::capture::Event;
use crate::doubts::Doubts;
use crate::ending::Ending;
use crate::judge::hole_name;
use crate::measure::{lean_text, length_text};
use crate::paper::words::code;
use crate::text::terminal;
use shared_protocol::VERSION;
use shared_protocol::message::{Live, Outlook};
use shared_protocol::record::Plan;
use shared_protocol::state::{Activity, Belief, Datum, DepthState, PlumbState, SensorFault, SheetUnits, Status};
use shared_protocol::units::{Lean, Micrometres};

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
            Event::Live(live) => self.live = Some((now, *live)),
            Event::Outlook(outlook) => self.outlook = Some((now, *outlook)),
            Event::Woke => (self.live, self.outlook) = (None, None),
            Event::Hole(plan) => {
                if plan.is_some() {
                    self.ended = None;
                }
                self.plan.clone_from(plan);
            }
            Event::Ended(ending) => self.ended = Some(ending.clone()),
            Event::Doubts(doubts) => self.doubts = doubts.clone(),
            Event::Kept(_) | Event::Raw(_) | Event::Outcome(..) | Event::Notice(_) => {}
        }
    }

    /// The port was pulled, or is back.
    pub fn port(&mut self, lost: bool) {
        self.port_lost = lost;
    }

    /// What a person would call the state at `now`: a readout that changes in this is shown at once. `None` without data.
    #[must_use]
    pub fn state(&self, now: u64) -> Option<Status> {
        self.live_now(now).and_then(|live| Status::from_bits(live.status))
    }

    /// The line at `now`, ms.
    #[must_use]
    pub fn line(&self, now: u64) -> String {
        let live = self.live_now(now);
        let outlook = self.outlook.filter(|(at, _)| now.saturating_sub(*at) <= OUTLOOK_STALE_MS).map(|(_, outlook)| outlook);
        let status = live.and_then(|live| Status::from_bits(live.status));
        let mut fields = vec![self.rig_field(status), self.hole_field(status)];
        match live.zip(status) {
            Some((live, status)) => {
                let units = self.plan.as_deref().and_then(|plan| SheetUnits::from_raw(plan.units)).unwrap_or(SheetUnits::Metric);
                let seen = Seen { live, status, outlook, plan: self.plan.as_deref().filter(|_| status.hole_open), units };
                fields.extend([seen.to_go(), seen.depth(), seen.lean(), seen.activity()]);
                fields.extend(seen.remarks());
                fields.extend(self.doubts_of(status));
                fields.extend(self.ended.as_ref().filter(|_| !status.hole_open).map(Ending::to_string));
            }
            None => fields.extend([format!("to go {DASH}"), format!("depth {DASH}"), format!("lean {DASH}"), self.why_nothing(now, live)]),
        }
        fields.retain(|field| !field.is_empty());
        fields.join(" | ")
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

    fn rig_field(&self, status: Option<Status>) -> String {
        let simulated = self.rig.as_ref().is_some_and(|rig| rig.simulated) || status.is_some_and(|s| s.simulated);
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

    fn why_nothing(&self, now: u64, live: Option<Live>) -> String {
        match (&self.rig, self.live) {
            _ if live.is_some() => "the rig's state is of a kind that this version does not know".to_owned(),
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

fn seconds(ms: u64) -> f64 {
    f64::from(u32::try_from(ms).unwrap_or(u32::MAX)) / 1e3
}

/// What is known at one moment.
struct Seen<'a> {
    live: Live,
    status: Status,
    outlook: Option<Outlook>,
    plan: Option<&'a Plan>,
    units: SheetUnits,
}

impl Seen<'_> {
    fn depth_known(&self) -> bool {
        self.status.referenced && self.status.depth == Belief::Good
    }

    /// What remains to be bored: from the deepest that was held, or from the tip where it is cutting deeper.
    fn to_go(&self) -> String {
        let Some((plan, outlook)) = self.plan.zip(self.outlook).filter(|_| self.depth_known()) else { return format!("to go {DASH}") };
        let cutting = self.status.activity == Activity::Cutting;
        let bored = if cutting { outlook.bottom.max(self.live.depth) } else { outlook.bottom };
        let left = plan.depth.plus(plan.hub_above_datum).minus(bored);
        if left < Micrometres(0) {
            format!("over by {}", length_text(Micrometres(left.0.saturating_neg()), self.units))
        } else {
            format!("to go {}", length_text(left, self.units))
        }
    }

    fn depth(&self) -> String {
        let (below, zero) = match self.plan {
            Some(plan) => (below_what(plan.datum), plan.hub_above_datum),
            None => ("below the hub", Micrometres(0)),
        };
        match self.status {
            Status { depth: Belief::Fault, .. } => {
                format!("depth {DASH} (depth encoder: {})", fault(self.outlook.map(|o| o.encoder_fault)))
            }
            Status { depth: Belief::Stale | Belief::Blank, .. } => format!("depth {DASH} (depth encoder: no news)"),
            Status { referenced: false, .. } => format!("depth {DASH} (touch the hub)"),
            Status { .. } => format!("depth {} {below}", length_text(self.live.depth.minus(zero), self.units)),
        }
    }

    /// The lean, and which way the mast's top must go to mend it: the same way as the toe errs.
    fn lean(&self) -> String {
        match self.status.lean {
            Belief::Fault => return format!("lean {DASH} (tilt sensor: {})", fault(self.outlook.map(|o| o.tilt_fault))),
            Belief::Stale => return format!("lean {DASH} (tilt sensor: no news)"),
            Belief::Blank => return format!("lean {DASH} (tool out of the ground, or moving)"),
            Belief::Good => {}
        }
        let (forward, right) = (self.live.forward.lean(), self.live.right.lean());
        let parts = |to_right: &str, to_left: &str| {
            let part = |lean: Lean, plus: &str, minus: &str| {
                let size = lean_text(Lean(lean.0.saturating_abs()), self.units);
                let none = size == lean_text(Lean(0), self.units);
                (!none).then(|| format!("{size} {}", if lean.0 < 0 { minus } else { plus }))
            };
            [part(forward, "forward", "back"), part(right, to_right, to_left)].into_iter().flatten().collect::<Vec<_>>()
        };
        let (lean, hint) = (parts("right", "left"), parts("to the right", "to the left"));
        if lean.is_empty() { "lean none: mast plumb".to_owned() } else { format!("lean {}: mast top {}", lean.join(", "), hint.join(", ")) }
    }

    fn activity(&self) -> String {
        let words = match self.status.activity {
            _ if !self.depth_known() => "",
            Activity::Idle | Activity::Starting => "",
            Activity::Clear => "clear of the hole",
            Activity::Tripping => "tripping",
            Activity::Cutting => "cutting",
            Activity::Reaming => "reaming",
        };
        words.to_owned()
    }

    fn remarks(&self) -> Vec<String> {
        let depth = match self.status.depth_check {
            DepthState::Drilling => "",
            DepthState::ComingUp => "depth coming up",
            DepthState::OnDepth => "ON DEPTH",
            DepthState::Over => "TOO DEEP",
        };
        let plumb = match self.status.plumb_check {
            PlumbState::Unjudged | PlumbState::Good => "",
            PlumbState::Drifting => "plumb drifting",
            PlumbState::Out => "OUT OF PLUMB",
        };
        let waiting = self.outlook.filter(|o| o.waiting > 0).map_or_else(String::new, |o| format!("{} records to fetch", o.waiting));
        let memory = if self.status.memory_fault { "RIG'S MEMORY AT FAULT: records may be missing" } else { "" };
        vec![depth.to_owned(), plumb.to_owned(), memory.to_owned(), waiting]
    }
}

fn below_what(datum: u8) -> &'static str {
    match Datum::from_raw(datum) {
        Some(Datum::LowSide) => "below ground at the low side",
        Some(Datum::Stake) => "below grade at the stake",
        Some(Datum::Pad) => "below the pad",
        None => "below a datum that this version does not know",
    }
}

fn fault(raw: Option<u8>) -> String {
    raw.filter(|raw| *raw > 0).map_or_else(|| "at fault".to_owned(), |raw| code(SensorFault::TABLE, raw))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Came, Introduction, Stream};
    use shared_protocol::body::CoarseLean;
    use shared_protocol::message::Hello;

    const GOOD: Status = Status {
        referenced: true,
        hole_open: true,
        depth: Belief::Good,
        lean: Belief::Good,
        activity: Activity::Cutting,
        depth_check: DepthState::Drilling,
        plumb_check: PlumbState::Good,
        memory_fault: false,
        simulated: false,
    };

    fn introduced(simulated: u8) -> Event {
        let stream = Stream { rig: "Rig\x1b[1m 7".to_owned(), epoch: 1 };
        Event::Rig(Introduction { stream, hello: Hello { simulated, ..Hello::default() }, version: VERSION, came: Came::First })
    }

    fn plan() -> Plan {
        Plan {
            structure: "S-27".try_into().unwrap(),
            leg: 1,
            depth: Micrometres::from_mm(3_120),
            hub_above_datum: Micrometres::from_mm(85),
            ..Plan::default()
        }
    }

    fn live(status: Status) -> Live {
        let lean = |mm_m: i16| CoarseLean(mm_m * 100);
        Live { depth: Micrometres::from_mm(2_155), forward: lean(-6), right: lean(3), status: status.to_bits(), ..Live::default() }
    }

    fn outlook() -> Outlook {
        Outlook { bottom: Micrometres::from_mm(2_100), opened: 9, ..Outlook::default() }
    }

    /// The readout at 1,000 ms, all of it heard at that time.
    fn shown(simulated: u8, plan: Option<Plan>, live: Live, outlook: Outlook) -> Readout {
        let mut readout = Readout::default();
        for event in [introduced(simulated), Event::Hole(plan.map(Box::new)), Event::Live(live), Event::Outlook(outlook)] {
            readout.take(1_000, &event);
        }
        readout
    }

    fn line(status: Status) -> String {
        shown(0, Some(plan()), live(status), outlook()).line(1_100)
    }

    #[test]
    fn a_hole_being_drilled() {
        // depth below the datum: 2.155 − 0.085; to go: 3.120 + 0.085 − 2.155
        assert_eq!(
            line(GOOD),
            "Rig\u{FFFD}[1m 7 | S-27 left leg | to go 1.05 m | depth 2.07 m below ground at the low side | lean 6 mm/m back, 3 mm/m right: mast top 6 mm/m back, 3 mm/m to the right | cutting"
        );
    }

    #[test]
    fn in_feet_and_inches_from_another_datum() {
        let plan = Plan { units: SheetUnits::FeetInches.raw(), datum: Datum::Stake.raw(), ..plan() };
        let line = shown(1, Some(plan), live(Status { activity: Activity::Tripping, ..GOOD }), outlook()).line(1_100);
        // 1.105 m = 43.5 in; 2.070 m = 81.5 in; 6 mm/m = 0.072 in/ft, 3 mm/m = 0.036 in/ft
        assert!(line.starts_with("SIMULATED Rig"), "{line}");
        assert!(line.contains("to go 3 ft 7 1/2 in | depth 6 ft 9 1/2 in below grade at the stake | "), "{line}");
        assert!(line.contains("lean 0.07 in/ft back, 0.04 in/ft right"), "{line}");
    }

    #[test]
    fn the_mast_top_goes_the_way_that_the_toe_errs() {
        let rows = [
            ((12, 0), "lean 12 mm/m forward: mast top 12 mm/m forward"),
            ((0, 12), "lean 12 mm/m right: mast top 12 mm/m to the right"),
            ((-12, 0), "lean 12 mm/m back: mast top 12 mm/m back"),
            ((0, -12), "lean 12 mm/m left: mast top 12 mm/m to the left"),
            ((0, 0), "lean none: mast plumb"),
        ];
        for ((forward, right), want) in rows {
            let live = Live { forward: CoarseLean(forward * 100), right: CoarseLean(right * 100), ..live(GOOD) };
            let line = shown(0, None, live, outlook()).line(1_000);
            assert!(line.contains(&format!("| {want} |")), "{line}");
        }
    }

    #[test]
    fn what_bars_a_statement_and_what_the_rig_asks_is_shown_while_the_hole_is_open() {
        let mut readout = shown(0, Some(plan()), live(GOOD), outlook());
        let reasons = vec!["misclosure on the hub is 21 mm, and 20 mm is the most accepted".to_owned()];
        readout.take(1_000, &Event::Doubts(Doubts { reasons, slow: true }));
        let line = readout.line(1_100);
        assert!(line.ends_with("| slow going: is it refusal? say refusal yes or refusal no | not shown: misclosure on the hub is 21 mm, and 20 mm is the most accepted"), "{line}");
        readout.take(1_000, &Event::Live(live(Status { hole_open: false, ..GOOD })));
        assert!(!readout.line(1_100).contains("not shown"), "{}", readout.line(1_100));
    }

    #[test]
    fn a_depth_that_is_not_tied_to_the_hub_is_a_dash() {
        let line = line(Status { referenced: false, ..GOOD });
        assert!(line.contains("| to go – | depth – (touch the hub) | lean 6"), "{line}");
    }

    #[test]
    fn a_sensor_fault_is_a_dash_with_its_name() {
        let outlook = Outlook { encoder_fault: SensorFault::Silent.raw(), tilt_fault: SensorFault::Saturated.raw(), ..outlook() };
        let live = live(Status { depth: Belief::Fault, lean: Belief::Fault, ..GOOD });
        let line = shown(0, Some(plan()), live, outlook).line(1_000);
        assert!(line.contains("| to go – | depth – (depth encoder: no answer in time) | lean – (tilt sensor: at the end of"), "{line}");
        assert!(!line.contains("2.07") && !line.contains("mm/m"), "{line}");
    }

    #[test]
    fn after_half_a_second_of_silence_nothing_old_is_shown() {
        let mut readout = shown(0, Some(plan()), live(GOOD), outlook());
        assert!(readout.state(1_500).is_some() && readout.line(1_500).contains("2.07 m"));
        let line = readout.line(3_501);
        assert!(
            line.ends_with("| S-27 left leg | to go – | depth – | lean – | no data for 2.5 s: is the rig on and the cable in?"),
            "{line}"
        );
        readout.port(true);
        assert!(readout.line(1_100).ends_with("lean – | no data: the port is gone; plug it in again"));
        readout.port(false);
        readout.take(4_000, &Event::Live(live(GOOD)));
        assert!(readout.line(4_000).contains("| to go – | depth 2.07 m"), "an outlook of three seconds ago says nothing of now");
        assert!(Readout::default().line(0).contains("no rig has said hello"));
    }

    #[test]
    fn a_memory_at_fault_is_said() {
        let line = line(Status { memory_fault: true, ..GOOD });
        assert!(line.contains("RIG'S MEMORY AT FAULT: records may be missing"), "{line}");
    }

    #[test]
    fn checks_that_matter_are_said() {
        let line = line(Status { depth_check: DepthState::Over, plumb_check: PlumbState::Out, activity: Activity::Reaming, ..GOOD });
        assert!(line.ends_with("| reaming | TOO DEEP | OUT OF PLUMB"), "{line}");
        let deep = Live { depth: Micrometres::from_mm(3_298), ..live(GOOD) };
        assert!(shown(0, Some(plan()), deep, outlook()).line(1_000).contains("| over by 0.09 m |")); // 3.298 − 3.205 = 0.093
    }

    #[test]
    fn how_the_last_hole_ended_is_said_until_another_is_open() {
        use crate::facts::DigestState;
        use crate::proof::Sealing;
        let idle = live(Status { hole_open: false, activity: Activity::Idle, ..GOOD });
        let mut readout = shown(0, None, idle, outlook());
        readout.take(1_000, &Event::Ended(Ending { hole: "S-27".to_owned(), sealing: Sealing::NoKey, digest: DigestState::Fits }));
        let line = readout.line(1_100);
        assert!(line.ends_with("| S-27: not sealed, the rig was never commissioned"), "{line}");
        readout.take(1_000, &Event::Hole(Some(Box::new(plan()))));
        assert!(!readout.line(1_100).contains("commissioned"));
    }

    #[test]
    fn without_a_hole_or_a_plan() {
        let idle = Status { hole_open: false, activity: Activity::Idle, ..GOOD };
        let line = line(idle);
        assert!(line.contains("| no hole open | to go – | depth 2.16 m below the hub |"), "{line}");
        let line = shown(0, None, live(GOOD), Outlook { waiting: 40, ..outlook() }).line(1_000);
        assert!(line.contains("| hole – (its plan is on the way) | to go – |") && line.ends_with("| 40 records to fetch"), "{line}");
    }

    #[test]
    fn a_rig_that_has_just_started_is_not_said_to_have_no_hole() {
        let line = line(Status { hole_open: false, referenced: false, activity: Activity::Starting, ..GOOD });
        assert!(line.contains("| the rig is starting | to go – | depth – ") && !line.contains("no hole"), "{line}");
    }

    #[test]
    fn a_state_that_this_version_does_not_know_is_said() {
        let line = shown(0, Some(plan()), Live { status: 0b111 << 6, ..live(GOOD) }, outlook()).line(1_000);
        assert!(line.ends_with("lean – | the rig's state is of a kind that this version does not know"), "{line}");
    }

    #[test]
    fn what_was_shown_before_the_computer_slept_is_not_shown_after_it() {
        let mut readout = shown(0, Some(plan()), live(GOOD), outlook());
        assert!(readout.state(1_000).is_some());
        readout.take(1_000, &Event::Woke);
        assert_eq!((readout.state(1_000), readout.live.is_none(), readout.outlook.is_none()), (None, true, true));
    }
}
