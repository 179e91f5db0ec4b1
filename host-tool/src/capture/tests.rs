//! A capture against a rig in miniature.

use super::*;
use crate::entry::{HoleName, SetUpName};
use crate::judge::LineAxes;
use crate::judge::measured::{Kind, Measurement};
use crate::readout::Readout;
use crate::session::fake_rig::FakeRig;
use crate::store::entry_of;
use shared_protocol::record::{Change, Increment, Opened};
use shared_protocol::state::{Check, Leg};
use shared_protocol::units::Micrometres;

const WALL: Wall = Wall { unix_ms: 1_800_000_000_000, offset: -420 };

struct Bench {
    capture: Capture,
    now: u64,
    wall: Wall,
    to_rig: Vec<u8>,
    events: Vec<Event>,
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("store.sqlite")).unwrap();
        Self { capture: Capture::new(store).unwrap(), now: 0, wall: WALL, to_rig: Vec::new(), events: Vec::new(), folder }
    }

    fn run(&mut self, rig: &mut FakeRig, ms: u64) {
        for _ in 0..ms / 20 {
            self.now += 20;
            self.wall.unix_ms += 20;
            let bytes = rig.turn(20, &std::mem::take(&mut self.to_rig));
            let step = self.capture.step(self.now, self.wall, &bytes).unwrap();
            self.to_rig.extend(step.send);
            self.events.extend(step.events);
        }
    }

    /// What is said of the open hole that begins there, in three seconds.
    fn doubts(&mut self, rig: &mut FakeRig, opened: u32) -> Vec<Doubts> {
        for _ in 0..6 {
            let mut bytes = Vec::new();
            rig.send(&shared_protocol::message::Message::Outlook(Outlook { opened, ..Outlook::default() }), &mut bytes);
            self.events.extend(self.capture.step(self.now, WALL, &bytes).unwrap().events);
            self.run(rig, 500);
        }
        self.events.drain(..).filter_map(|e| if let Event::Doubts(doubts) = e { Some(doubts) } else { None }).collect()
    }

    fn notices(&self) -> Vec<String> {
        self.events.iter().filter_map(|e| if let Event::Notice(n) = e { Some(n.to_string()) } else { None }).collect()
    }

    fn restart_host(&mut self) {
        let store = Store::open(&self.folder.path().join("store.sqlite")).unwrap();
        self.capture = Capture::new(store).unwrap();
        self.to_rig.clear();
    }
}

#[test]
fn slots_are_in_the_store_before_they_are_acknowledged_and_survive_the_host() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(100);
    bench.run(&mut rig, 1_500);
    bench.restart_host();
    rig.record(50);
    bench.run(&mut rig, 2_000);
    let stream = bench.capture.rig().unwrap().clone();
    assert_eq!(bench.capture.store().stream(&stream).unwrap().slots, rig.memory.values().copied().collect::<Vec<_>>());
    assert_eq!(rig.acknowledged, 150);
    assert_eq!(*rig.replays.last().unwrap(), 100, "the second host asks for what the first lacked");
    assert!(bench.capture.drained(0));
}

#[test]
fn a_rig_is_told_the_time_once_in_each_run() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    bench.run(&mut rig, 5_000);
    bench.capture.cut(); // and the cable is in again: the rig still knows
    bench.run(&mut rig, 2_000);
    rig.restart();
    bench.run(&mut rig, 5_000);
    let told: Vec<&Command> = rig.done.iter().map(|(_, command)| command).collect();
    assert!(
        matches!(told[..], [Command::SetClock(a), Command::SetClock(b)] if a.unix_ms.abs_diff(WALL.unix_ms) < 1_000 && b.offset == WALL.offset),
        "{told:?}"
    );
    rig.restart();
    rig.deaf = true;
    bench.run(&mut rig, 6_000);
    assert_eq!(bench.notices().len(), 1, "{:?}", bench.notices());
    assert!(bench.notices()[0].starts_with("the rig does not know the time of day: the rig did not answer"));
}

#[test]
fn the_open_hole_is_found_in_the_store_when_it_is_there() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(20);
    let opened = rig.head;
    let plan = Plan { structure: "S-1".try_into().unwrap(), ..Plan::default() };
    rig.add(&Record::Opened(Opened { plan: plan.clone(), ..Opened::default() }));
    rig.add(&Record::Opened(Opened::default()));
    rig.record(40);
    let mut outlook = |bench: &mut Bench, opened: u32| {
        let mut bytes = Vec::new();
        rig.send(&shared_protocol::message::Message::Outlook(Outlook { opened, ..Outlook::default() }), &mut bytes);
        bench.events.extend(bench.capture.step(bench.now, WALL, &bytes).unwrap().events);
        bench.run(&mut rig, 1_000);
    };
    let mut bench_holes = |opened| {
        outlook(&mut bench, opened);
        bench.events.drain(..).filter_map(|e| if let Event::Hole(plan) = e { Some(plan) } else { None }).collect::<Vec<_>>()
    };
    assert_eq!(bench_holes(opened), [None], "nobody knows this rig yet");
    assert_eq!(bench_holes(opened), [Some(Box::new(plan))]);
    assert_eq!(bench_holes(opened), []);
    assert_eq!(bench_holes(0), [None]);
    assert_eq!(bench_holes(opened + 1), [], "a plan goes on there, and the next begins later");
}

#[test]
fn slow_going_in_the_open_hole_is_said_once_and_when_it_is_over() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(3);
    let opened = rig.head;
    rig.add(&Record::Opened(Opened::default()));
    let said = |bench: &mut Bench, rig: &mut FakeRig| bench.doubts(rig, opened).iter().map(|doubts| doubts.slow).collect::<Vec<_>>();
    let going = |state| Record::Change(Change { check: Check::Going.raw(), state, ..Change::default() });
    bench.run(&mut rig, 1_000);
    assert_eq!(said(&mut bench, &mut rig), [false; 0]);
    rig.add(&going(1));
    assert_eq!(said(&mut bench, &mut rig), [true]);
    rig.add(&going(0));
    assert_eq!(said(&mut bench, &mut rig), [false]);
}

/// Somebody else enters it while the rig drills; the next record brings it to the operator's eyes.
#[test]
fn a_hand_plumb_that_does_not_agree_is_a_doubt_of_the_open_hole() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(3);
    let opened = rig.head;
    rig.add(&Record::Opened(Opened::default()));
    let deepen = |rig: &mut FakeRig, mm| {
        let depth = Micrometres::from_mm(mm);
        rig.add(&Record::Increment(Increment { depth, samples: 20, ..Increment::default() }));
    };
    (1..=10).for_each(|n| deepen(&mut rig, 100 * n));
    let said =
        |bench: &mut Bench, rig: &mut FakeRig| bench.doubts(rig, opened).into_iter().flat_map(|doubts| doubts.reasons).collect::<Vec<_>>();
    bench.run(&mut rig, 1_000);
    let before = said(&mut bench, &mut rig);
    assert!(before.iter().all(|reason| !reason.contains("hand plumb")), "{before:?}");
    let stream = bench.capture.rig().unwrap().clone();
    let plumb = Measurement {
        author: "Tester".to_owned(),
        unix_ms: WALL.unix_ms,
        kind: Kind::HandPlumb,
        depth: 1.0,
        offset: LineAxes { ahead: 0.5, right: 0.0 },
        standard: 0.003,
        remark: String::new(),
    };
    let hole = HoleName { line: String::new(), structure: "1".to_owned(), leg: Leg::Single, attempt: 1 };
    bench.capture.store.enter(&entry_of(&plumb, 0, hole, SetUpName::new(&stream, opened))).unwrap();
    deepen(&mut rig, 1_100);
    let after = said(&mut bench, &mut rig);
    let why = "the hand plumb does not agree with the rig's axis, so plumb the hole again";
    assert!(after.iter().any(|reason| reason == why), "{after:?}");
}

#[test]
fn what_is_missing_or_differs_is_said() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(30);
    bench.run(&mut rig, 2_000);
    bench.restart_host();
    rig.record(100);
    rig.tail = 60;
    bench.run(&mut rig, 2_000);
    assert_eq!(bench.notices(), ["records 30 to 59 of rig Alpha are missing; the gap stays visible wherever they are used"]);
    bench.events.clear();
    let mut other = FakeRig::new("Alpha");
    other.boot = 9;
    other.record(20);
    bench.run(&mut other, 3_000);
    let said = bench.notices();
    assert!(said[0].starts_with("rig Alpha has fewer records than are stored of it"), "{said:?}");
    assert!(said[1].starts_with("records of rig Alpha, the first of them 0, differ") && said.len() == 2, "{said:?}");
    assert_eq!(bench.capture.store().stream(&Stream { rig: "Alpha".to_owned(), epoch: 1 }).unwrap().aside, 20);
}

#[test]
fn another_version_is_said_with_both_numbers() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Al\x1b[2Jpha"));
    rig.version = 9;
    rig.record(10);
    bench.run(&mut rig, 2_000);
    let [said] = &bench.notices()[..] else { panic!("{:?}", bench.notices()) };
    assert!(said.starts_with("rig Al\u{FFFD}[2Jpha speaks version 9, this program version 1: "), "{said}");
    assert_eq!((rig.acknowledged, rig.done.len()), (10, 0));
}

#[test]
fn a_full_memory_is_stored_faster_than_a_cable_brings_it() {
    // 115,200 bits a second, ten bits a byte, seven slots in a frame of 232 bytes: 347 slots a second at most
    const CABLE: f64 = 11_520.0 / 232.0 * 7.0;
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(16_256); // what 512 KiB hold
    let begun = std::time::Instant::now();
    while rig.acknowledged < 16_256 {
        bench.run(&mut rig, 1_000);
    }
    let rate = 16_256.0 / begun.elapsed().as_secs_f64();
    println!("{rate:.0} slots a second, each on the disk before it was acknowledged");
    assert!(rate > CABLE, "{rate}");
}

#[test]
fn a_store_that_refuses_gets_nothing_acknowledged_and_the_next_host_gets_it_all() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(40);
    bench.run(&mut rig, 1_500);
    assert_eq!(rig.acknowledged, 40);
    let refuse = "CREATE TRIGGER full BEFORE INSERT ON blocks WHEN NEW.id & 0xFFFFFFFF >= 62 BEGIN SELECT RAISE(ABORT, 'refused'); END";
    let store = rusqlite::Connection::open(bench.folder.path().join("store.sqlite")).unwrap();
    store.execute_batch(refuse).unwrap();
    rig.record(40);
    let mut failed = None;
    for _ in 0..200 {
        bench.now += 20;
        let bytes = rig.turn(20, &std::mem::take(&mut bench.to_rig));
        match bench.capture.step(bench.now, WALL, &bytes) {
            Ok(step) => bench.to_rig.extend(step.send),
            Err(fault) => failed = Some(fault),
        }
    }
    assert!(failed.is_some_and(|fault| fault.to_string().contains("refused")));
    assert!((40..=62).contains(&rig.acknowledged), "{}", rig.acknowledged);
    let held = |bench: &Bench| bench.capture.store().stream(&Stream { rig: "Alpha".to_owned(), epoch: 1 }).unwrap().slots;
    assert!(held(&bench).len() >= rig.acknowledged as usize, "{} of {}", held(&bench).len(), rig.acknowledged);
    store.execute_batch("DROP TRIGGER full").unwrap();
    bench.restart_host();
    bench.run(&mut rig, 3_000);
    assert_eq!((held(&bench), rig.acknowledged), (rig.memory.values().copied().collect::<Vec<_>>(), 80));
}

/// The wall's clock may say anything: intervals go by the count that only rises.
#[test]
fn a_clock_that_is_set_or_a_night_asleep_costs_nothing_and_the_rig_is_told() {
    const DAY: i64 = 86_400_000;
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    let told = |rig: &FakeRig| rig.done.len();
    bench.run(&mut rig, 2_000);
    for (nth, step) in [-20_000 * DAY, 20_000 * DAY, 3_600_000, -61_000, 8 * 3_600_000].into_iter().enumerate() {
        rig.record(30);
        bench.run(&mut rig, 60); // in the middle of fetching
        bench.wall.unix_ms += step;
        bench.run(&mut rig, 2_000);
        assert_eq!(told(&rig), nth + 2, "step {step}");
        let Some((_, Command::SetClock(last))) = rig.done.last() else { panic!() };
        assert!(last.unix_ms.abs_diff(bench.wall.unix_ms) < 2_500, "{last:?}");
    }
    bench.wall.offset += 60; // daylight saving
    bench.run(&mut rig, 2_000);
    assert_eq!(told(&rig), 7);
    bench.wall.unix_ms += 900; // set by a hair: nothing to say
    bench.run(&mut rig, 60_000);
    assert_eq!(told(&rig), 7);
    let held = bench.capture.store().stream(&Stream { rig: "Alpha".to_owned(), epoch: 1 }).unwrap();
    assert_eq!((held.slots, rig.acknowledged), (rig.memory.values().copied().collect::<Vec<_>>(), 150));
    assert!(bench.notices().is_empty(), "{:?}", bench.notices());
}

/// Asleep, the host's own count may go on or stand still, while the rig goes on.
#[test]
fn a_host_that_slept_fetches_what_was_recorded_meanwhile() {
    for asleep_ms in [0, 9 * 3_600_000] {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(20);
        bench.run(&mut rig, 1_500);
        rig.record(200);
        rig.turn(9 * 3_600_000, &[]); // what it says is heard by nobody
        bench.now += asleep_ms;
        bench.wall.unix_ms += 9 * 3_600_000;
        bench.run(&mut rig, 6_000);
        let held = bench.capture.store().stream(&Stream { rig: "Alpha".to_owned(), epoch: 1 }).unwrap();
        assert_eq!((held.slots.len(), rig.acknowledged), (220, 220), "{asleep_ms}");
        assert!(bench.notices().is_empty(), "{:?}", bench.notices());
    }
}

#[test]
fn what_another_host_took_is_said_to_be_there_and_not_lost() {
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    rig.record(100);
    (rig.acknowledged, rig.tail) = (70, 60);
    bench.run(&mut rig, 2_000);
    let elsewhere =
        "records 0 to 59 of rig Alpha are not in this store, another one has taken them: bring that one in with `borewitness merge`";
    assert_eq!(bench.notices(), [elsewhere]);
    bench.events.clear();
    rig.record(60);
    rig.restart();
    bench.run(&mut rig, 2_000);
    assert_eq!(bench.notices(), [""; 0], "once");
    let mut half = FakeRig::new("Bravo");
    half.record(100);
    (half.acknowledged, half.tail) = (20, 60);
    bench.run(&mut half, 3_000);
    assert!(bench.notices()[0].starts_with("records 0 to 19 of rig Bravo are not in this store"), "{:?}", bench.notices());
    assert!(bench.notices()[1].starts_with("records 20 to 59 of rig Bravo are missing"), "{:?}", bench.notices());
}

/// The lid shut for an hour: its count of milliseconds goes on or stands still, what came over the cable is lost or waits.
#[test]
fn a_computer_that_slept_shows_nothing_old_and_has_everything_again() {
    for (counted, wait) in [(3_600_000, true), (0, true), (3_600_000, false), (0, false)] {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(40);
        bench.run(&mut rig, 1_500);
        rig.deaf = true;
        let stale = bench.capture.command(bench.now, Command::TouchHub(shared_protocol::message::TouchHub {})).unwrap();
        bench.run(&mut rig, 40);
        rig.deaf = false;
        let told = rig.done.len();
        let mut waiting = Vec::new();
        for _ in 0..30 {
            rig.record(10);
            waiting.extend(rig.turn(20, &[]));
            rig.send(&shared_protocol::message::Message::Live(Live::default()), &mut waiting);
        }
        bench.to_rig.clear();
        (bench.now, bench.wall.unix_ms) = (bench.now + 20 + counted, bench.wall.unix_ms + 20 + 3_600_000);
        bench.events.clear();
        let step = bench.capture.step(bench.now, bench.wall, if wait { &waiting } else { &[] }).unwrap();
        assert_eq!(step.events.iter().filter(|e| **e == Event::Woke).count(), 1);
        assert!(step.events.contains(&Event::Outcome(stale, Outcome::Dropped)), "{:?}", step.events);
        assert!(!step.events.iter().any(|e| matches!(e, Event::Live(_))), "what waited on the line is not shown: {:?}", step.events);
        bench.to_rig.extend(step.send);
        bench.run(&mut rig, 4_000);
        let mut now = Vec::new();
        rig.send(&shared_protocol::message::Message::Live(Live::default()), &mut now);
        let live = bench.capture.step(bench.now, bench.wall, &now).unwrap().events;
        assert!(live.iter().any(|e| matches!(e, Event::Live(_))), "and what is said now is: {live:?}");
        let stream = bench.capture.rig().unwrap().clone();
        assert_eq!(bench.capture.store().stream(&stream).unwrap().slots, rig.memory.values().copied().collect::<Vec<_>>());
        assert!(!rig.done.iter().any(|(_, command)| matches!(command, Command::TouchHub(_))), "a touch of then is not one of now");
        let times: Vec<i64> =
            rig.done[told..].iter().filter_map(|(_, c)| if let Command::SetClock(c) = c { Some(c.unix_ms) } else { None }).collect();
        assert_eq!(times.len(), usize::from(counted == 0), "told anew where the count stood still: {times:?}");
        assert!(times.iter().all(|ms| ms.abs_diff(bench.wall.unix_ms) < 10_000), "{times:?}");
        assert_eq!(bench.notices(), [""; 0]);
    }
}

/// What each of several stores says of a rig that began its second epoch with its twentieth record.
#[test]
fn a_store_says_of_the_epoch_before_only_what_it_lacks_of_it() {
    let start = Record::Start(Start { cause: ResetCause::Decommissioned.raw(), epoch: 2, ..Start::default() });
    for (had, said) in
        [(20, vec![]), (10, vec!["records 10 to 19 of rig Alpha are not in this store, another one has taken them"]), (0, vec![])]
    {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(had);
        if had > 0 {
            bench.run(&mut rig, 2_000);
        }
        rig.record(20 - had);
        (rig.epoch, rig.tail, rig.acknowledged) = (2, 20, 20);
        rig.memory.clear();
        rig.restart();
        rig.boot = 1;
        rig.add(&start);
        rig.record(5);
        bench.run(&mut rig, 3_000);
        let notices = bench.notices();
        assert!(notices.len() == said.len() && notices.iter().zip(&said).all(|(is, want)| is.starts_with(want)), "{had}: {notices:?}");
        let of = |epoch| bench.capture.store().stream(&Stream { rig: "Alpha".to_owned(), epoch }).unwrap().slots;
        assert_eq!(of(2), rig.memory.values().copied().collect::<Vec<_>>());
        assert_eq!((of(1).len(), of(1).iter().all(|slot| slot.sequence() < 20)), (had as usize, true), "both are kept apart");
    }
    let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
    (rig.epoch, rig.tail, rig.head) = (2, 20, 20);
    rig.record(5);
    bench.run(&mut rig, 3_000);
    assert!(
        bench.notices()[0].starts_with("records 0 to 19 of rig Alpha are missing"),
        "its beginning has given way: {:?}",
        bench.notices()
    );
}

/// Seven weeks after its start a rig's milliseconds turn over, while it is drained and watched: it is no other run of it, the
/// time of day is told once, what is shown stays fresh, and goes stale as ever where the rig falls silent just then.
#[test]
fn a_rig_whose_milliseconds_turn_over_is_drained_and_shown_as_before() {
    let (mut bench, mut rig, mut readout) = (Bench::new(), FakeRig::new("Alpha"), Readout::default());
    rig.now = u32::MAX - 4_000;
    rig.record(300);
    let (mut fresh, mut rigs, mut notices) = (0, 0, 0);
    for _ in 0..80 {
        bench.run(&mut rig, 100);
        rig.record(1);
        let mut live = Vec::new();
        rig.send(&shared_protocol::message::Message::Live(Live { at: (rig.now & 0xFFFF) as u16, ..Live::default() }), &mut live);
        bench.events.extend(bench.capture.step(bench.now, bench.wall, &live).unwrap().events);
        bench.events.iter().for_each(|event| readout.take(bench.now, event));
        rigs += bench.events.iter().filter(|e| matches!(e, Event::Rig(_))).count();
        notices += bench.notices().len();
        bench.events.clear();
        fresh += usize::from(!readout.line(bench.now).contains("no data"));
    }
    assert!(rig.now < 5_000, "it has turned over: {}", rig.now);
    bench.run(&mut rig, 2_500);
    assert_eq!((rigs, notices, rig.done.len(), rig.acknowledged), (1, 0, 1, 380));
    assert!(fresh >= 78, "{fresh} of 80");
    assert!(readout.line(bench.now).contains("no data for 2.5 s"), "{}", readout.line(bench.now));
    let stream = bench.capture.rig().unwrap().clone();
    assert_eq!(bench.capture.store().stream(&stream).unwrap().slots, rig.memory.values().copied().collect::<Vec<_>>());
}
