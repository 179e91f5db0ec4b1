//! The few alarms of the cab: each is raised once when its cause begins, and not again while it stands.

use super::Readout;
use serde::Serialize;
use shared_protocol::state::{Belief, DepthState, PlumbState};

/// A cause that ends and comes back sooner than this has not ended, ms: what flickers does not sound twice.
const ENDED_MS: u64 = 3_000;

/// What an alarm is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmKind {
    /// Planned depth is near.
    ComingUp,
    /// Planned depth is reached, or passed by more than is accepted.
    OnDepth,
    /// The hole leans more than is accepted.
    OutOfPlumb,
    /// What is shown or recorded cannot be relied on.
    NotBelieved,
}

/// One alarm.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Alarm {
    /// Its name in this run of the program.
    pub id: String,
    /// What it is about.
    pub kind: AlarmKind,
    /// In words.
    pub text: String,
    /// Whether somebody has heard it.
    pub acknowledged: bool,
    /// Whether its cause still stands.
    pub stands: bool,
    /// Whether nobody knows if it does, since no data comes.
    pub unknown: bool,
    #[serde(skip)]
    last: u64,
}

/// The alarms that stand, or that nobody has heard yet.
#[derive(Debug, Default)]
pub struct Alarms {
    all: Vec<Alarm>,
    raised: u32,
    /// Depth was known in this hole: that it is not before the hub is first touched is no news.
    tied: bool,
}

impl Alarms {
    /// Takes what stands at `now`, ms. Only an open hole has alarms.
    pub fn take(&mut self, now: u64, readout: &Readout) {
        self.tied |= readout.seen(now).is_some_and(|seen| seen.status.hole_open && seen.status.referenced);
        let causes = causes(now, readout, self.tied);
        let silent = readout.seen(now).is_none();
        for alarm in &mut self.all {
            let open = alarm.stands || alarm.unknown; // when it was last known
            alarm.stands = causes.iter().any(|(kind, text)| (*kind, text.as_str()) == (alarm.kind, alarm.text.as_str()));
            alarm.unknown = silent && open && !alarm.stands && alarm.kind != AlarmKind::NotBelieved;
            if alarm.stands || alarm.unknown {
                alarm.last = now;
            }
        }
        // What was heard goes with its cause; what nobody heard stays until somebody has, unless depth has gone on since.
        let on_depth = causes.iter().any(|(kind, _)| *kind == AlarmKind::OnDepth);
        let over = |alarm: &Alarm| now.saturating_sub(alarm.last) > ENDED_MS;
        self.all.retain(|alarm| !(over(alarm) && alarm.acknowledged || alarm.kind == AlarmKind::ComingUp && on_depth));
        for (kind, text) in causes {
            if !self.all.iter().any(|alarm| (alarm.kind, &alarm.text) == (kind, &text)) {
                self.raised = self.raised.wrapping_add(1);
                let id = format!("alarm-{}", self.raised);
                self.all.push(Alarm { id, kind, text, acknowledged: false, stands: true, unknown: false, last: now });
            }
        }
    }

    /// Somebody has heard it; what it was, or `None` where there is none of that name that nobody has heard.
    pub fn acknowledge(&mut self, id: &str) -> Option<String> {
        let alarm = self.all.iter_mut().find(|alarm| alarm.id == id && !alarm.acknowledged)?;
        alarm.acknowledged = true;
        Some(alarm.text.clone())
    }

    /// All of them, the newest last.
    #[must_use]
    pub fn all(&self) -> &[Alarm] {
        &self.all
    }

    /// Another hole, or none: nothing of the one before.
    pub fn clear(&mut self) {
        self.all.clear();
        self.tied = false;
    }
}

fn causes(now: u64, readout: &Readout, tied: bool) -> Vec<(AlarmKind, String)> {
    let Some(seen) = readout.seen(now) else {
        return readout.plan.iter().map(|_| (AlarmKind::NotBelieved, "no data from the rig".to_owned())).collect();
    };
    let status = seen.status;
    if !status.hole_open {
        return Vec::new();
    }
    let depth = match status.depth_check {
        DepthState::Drilling => None,
        DepthState::ComingUp => Some((AlarmKind::ComingUp, "nearly at depth")),
        DepthState::OnDepth => Some((AlarmKind::OnDepth, "deep enough")),
        DepthState::Over => Some((AlarmKind::OnDepth, "too deep")),
    };
    let plumb = (status.plumb_check == PlumbState::Out).then_some((AlarmKind::OutOfPlumb, "hole out of plumb"));
    let unbelieved = [
        (status.depth == Belief::Fault, "depth unknown: encoder at fault"),
        (status.depth != Belief::Fault && !status.referenced && tied, "depth unknown: hub not touched"),
        (status.lean == Belief::Fault, "lean unknown: tilt sensor at fault"),
        (status.memory_fault, "records may be missing: rig's memory at fault"),
    ];
    let unbelieved = unbelieved.into_iter().filter(|(stands, _)| *stands).map(|(_, text)| (AlarmKind::NotBelieved, text));
    depth.into_iter().chain(plumb).chain(unbelieved).map(|(kind, text)| (kind, text.to_owned())).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::{GOOD, live, outlook, plan, shown};
    use super::*;
    use crate::capture::Event;
    use shared_protocol::state::Status;

    /// Alarms as they come and go when the rig's state is so at these times, ms.
    fn heard(states: &[(u64, Status)]) -> (Alarms, Vec<String>) {
        let mut readout = shown(0, Some(plan()), live(GOOD), outlook());
        let (mut alarms, mut raised) = (Alarms::default(), Vec::new());
        for (at, status) in states {
            readout.take(*at, &Event::Live(live(*status)));
            let before: Vec<String> = alarms.all().iter().map(|alarm| alarm.id.clone()).collect();
            alarms.take(*at, &readout);
            raised.extend(alarms.all().iter().filter(|alarm| !before.contains(&alarm.id)).map(|alarm| alarm.text.clone()));
        }
        (alarms, raised)
    }

    #[test]
    fn an_alarm_is_raised_once_while_its_cause_stands_or_flickers() {
        let out = Status { plumb_check: PlumbState::Out, ..GOOD };
        let states: Vec<(u64, Status)> = (0..100).map(|n| (1_000 + n * 50, if n % 3 == 0 { out } else { GOOD })).collect();
        let (mut alarms, raised) = heard(&states);
        assert_eq!(raised, ["hole out of plumb"]);
        assert_eq!(alarms.acknowledge("alarm-1").as_deref(), Some("hole out of plumb"));
        assert_eq!((alarms.acknowledge("alarm-1"), alarms.acknowledge("alarm-9")), (None, None));
        assert!(alarms.all()[0].acknowledged);
    }

    #[test]
    fn a_cause_that_was_heard_and_ended_is_an_alarm_again_when_it_comes_back() {
        let out = Status { plumb_check: PlumbState::Out, ..GOOD };
        let mut readout = shown(0, Some(plan()), live(out), outlook());
        let mut alarms = Alarms::default();
        alarms.take(1_000, &readout);
        alarms.acknowledge("alarm-1");
        for (at, status, count) in [(2_000, GOOD, 1), (4_100, GOOD, 0), (5_000, out, 1)] {
            readout.take(at, &Event::Live(live(status)));
            alarms.take(at, &readout);
            assert_eq!(alarms.all().len(), count, "{at}");
        }
        assert_eq!((alarms.all()[0].id.as_str(), alarms.all()[0].acknowledged), ("alarm-2", false));
    }

    #[test]
    fn what_nobody_heard_stays_though_its_cause_has_ended_but_depth_goes_on() {
        let at = |depth_check| Status { depth_check, ..GOOD };
        let (alarms, raised) =
            heard(&[(1_000, at(DepthState::ComingUp)), (9_000, GOOD), (10_000, at(DepthState::OnDepth)), (11_000, at(DepthState::Over))]);
        assert_eq!(raised, ["nearly at depth", "deep enough", "too deep"]);
        let left: Vec<(&str, bool)> = alarms.all().iter().map(|alarm| (alarm.text.as_str(), alarm.stands)).collect();
        assert_eq!(left, [("deep enough", false), ("too deep", true)]);
    }

    #[test]
    fn of_an_alarm_that_stood_before_the_silence_nobody_knows_whether_it_still_does() {
        let states = [(1_000, Status { plumb_check: PlumbState::Out, ..GOOD }), (2_000, GOOD)];
        let how = |alarms: &Alarms| alarms.all().iter().map(|a| (a.text.clone(), a.stands, a.unknown)).collect::<Vec<_>>();
        let hole = "hole out of plumb".to_owned();
        let silence = ("no data from the rig".to_owned(), true, false);
        let readout = shown(0, Some(plan()), live(states[0].1), outlook());
        let (mut stood, _) = heard(&states[..1]);
        stood.take(10_000, &readout);
        assert_eq!(how(&stood), [(hole.clone(), false, true), silence.clone()]);
        stood.take(20_000, &readout);
        assert_eq!(how(&stood)[0], (hole.clone(), false, true), "however long it lasts");
        let (mut over, _) = heard(&states);
        over.take(10_000, &readout);
        assert_eq!(how(&over), [(hole, false, false), silence], "what was over before is over");
    }

    #[test]
    fn silence_faults_and_a_lost_depth_are_not_believed_and_only_of_an_open_hole() {
        let faulty = Status { depth: Belief::Fault, lean: Belief::Fault, memory_fault: true, ..GOOD };
        assert_eq!(
            heard(&[(1_000, faulty)]).1,
            ["depth unknown: encoder at fault", "lean unknown: tilt sensor at fault", "records may be missing: rig's memory at fault"]
        );
        let lost = Status { referenced: false, ..GOOD };
        assert_eq!(heard(&[(1_000, lost)]).1, [""; 0], "the hub is still to be touched");
        assert_eq!(heard(&[(1_000, GOOD), (1_050, lost)]).1, ["depth unknown: hub not touched"]);
        assert_eq!(heard(&[(1_000, Status { hole_open: false, ..faulty })]).1, [""; 0]);
        let readout = shown(0, Some(plan()), live(GOOD), outlook());
        let mut alarms = Alarms::default();
        alarms.take(1_501, &readout);
        assert_eq!(alarms.all()[0].text, "no data from the rig");
        assert!(alarms.all()[0].stands && !alarms.all()[0].unknown);
        alarms.clear();
        alarms.take(1_501, &Readout::default());
        assert_eq!(alarms.all(), []);
    }
}
