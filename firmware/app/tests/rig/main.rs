//! The rig as its host sees it: sensed rounds and frames in, frames and slots out.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::arithmetic_side_effects, missing_docs)]

mod bench;
mod bus;
mod calibrating;
mod checking;
mod counting;
mod hostile;
mod recovering;
mod refusing;
mod resetting;
mod restarting;
mod sealing;
mod wrapping;

use bench::{Bench, HUB_COUNT, drill, plan};
use firmware_app::reading::{Reading, Sensed};
use sha2::{Digest, Sha256};
use shared_protocol::chain::End;
use shared_protocol::frame::wrap;
use shared_protocol::message::{
    Acknowledge, Ask, ChangeTool, CloseHole, Command, Hello, LoadHole, Message, Replay, Reply, SetClock, TakeNote, TouchHub,
};
use shared_protocol::record::{Plan, Record};
use shared_protocol::slot::Slot;
use shared_protocol::state::{Answer, Belief, Check, DepthState, PlumbState, ReferenceState, Sensor, SensorFault, SpecificForce};
use shared_protocol::units::{Lean, MicroG, Micrometres, RigAxes};

#[test]
fn a_hole_is_drilled_and_its_record_closes_with_a_digest_over_it() {
    let mut bench = Bench::new();
    bench.lean = (12_000, -4_000);
    assert_eq!(bench.open(plan()).answer, Answer::Done.raw());
    assert_eq!(bench.touch().answer, Answer::Done.raw());
    drill(&mut bench);
    assert_eq!(bench.touch().answer, Answer::Done.raw());
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
    let closed = bench.only(|r| if let Record::Closed(c) = r { Some(c.clone()) } else { None }).remove(0);
    assert!((closed.bottom.0 - 1_000_000).abs() <= 200, "{:?}", closed.bottom);
    assert_eq!(closed.increments, 40);
    assert!((closed.toe.forward.0 - 12_000).abs() <= 20 && (closed.toe.right.0 + 4_000).abs() <= 20, "{:?}", closed.toe);
    let increments = bench.only(|r| if let Record::Increment(i) = r { Some(*i) } else { None });
    assert!(increments.iter().enumerate().all(|(n, i)| i.depth.0 == (i32::try_from(n).unwrap() + 1) * 25_000 && i.quality == 0));
    assert!(increments.iter().all(|i| (i.forward.lean().0 - 12_000).abs() <= 20));
    let closed_at = bench.slots.iter().find(|s| s.kind() == 12).unwrap().sequence();
    let mut hash = Sha256::new();
    let in_run = |s: &&Slot| (closed.first..closed_at).contains(&s.sequence());
    bench.slots.iter().filter(in_run).for_each(|s| hash.update(s.bytes()));
    assert_eq!((hash.finalize()[..].to_vec(), closed.from, closed.before), (closed.segment.to_vec(), 0, [0; 32]), "one segment");
    assert_eq!(closed.slots, closed_at - closed.first);
    let passes = bench.only(|r| if let Record::Pass(p) = r { Some(*p) } else { None });
    assert_eq!(passes.iter().map(|p| p.number).collect::<Vec<_>>(), (1..=closed.passes).collect::<Vec<_>>());
    assert!(passes.len() >= 3);
}

#[test]
fn depth_and_plumb_states_are_recorded_as_they_change() {
    let mut bench = Bench::new();
    bench.lean = (16_000, 0); // 80 % of the limit
    bench.open(plan());
    bench.touch();
    drill(&mut bench);
    bench.go(900.0, 1_000.0);
    bench.go(1_150.0, 20.0);
    bench.stay(2_000);
    let of = |check: Check| {
        move |r: &Record| {
            if let Record::Change(c) = r
                && c.check == check.raw()
            {
                Some(c.state)
            } else {
                None
            }
        }
    };
    let depth = bench.only(of(Check::Depth));
    assert_eq!(depth, [DepthState::ComingUp.raw(), DepthState::OnDepth.raw(), DepthState::Over.raw()]);
    assert_eq!(bench.only(of(Check::Plumb)), [PlumbState::Drifting.raw()]);
    assert_eq!(bench.live().1.depth_check, DepthState::Over);
}

#[test]
fn after_a_restart_depth_is_unreferenced_and_the_hole_goes_on() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(500.0, 20.0);
    bench.stay(1_000);
    let mut bench = bench.restart();
    bench.stay(2_000);
    let (_, status) = bench.live();
    assert!(status.hole_open && !status.referenced && status.lean == Belief::Blank);
    bench.go(700.0, 20.0);
    bench.stay(1_000);
    let depths = |b: &mut Bench| b.only(|r| if let Record::Increment(i) = r { Some(i.depth.0) } else { None });
    assert_eq!(depths(&mut bench).last(), Some(&500_000), "nothing is recorded of depth that nobody knows");
    bench.touch();
    bench.go(1_000.0, 20.0);
    bench.stay(1_000);
    assert_eq!(depths(&mut bench).last(), Some(&1_000_000));
    let reference = bench.only(|r| {
        if let Record::Change(c) = r
            && c.check == Check::Reference.raw()
        {
            Some(c.state)
        } else {
            None
        }
    });
    let (none, hub) = (ReferenceState::Unreferenced.raw(), ReferenceState::Hub.raw());
    assert_eq!(reference, [none, hub, none, hub]);
    bench.ask(Command::CloseHole(CloseHole {}));
    let closed = bench.only(|r| if let Record::Closed(c) = r { Some(c.clone()) } else { None }).remove(0);
    let closed_at = bench.slots.iter().find(|s| s.kind() == 12).unwrap().sequence();
    let run: Vec<Slot> = bench.slots.iter().filter(|s| (closed.first..closed_at).contains(&s.sequence())).copied().collect();
    assert_eq!(sealing::chain(&run).end(), End::from(&closed), "the digest runs on over the restart");
}

#[test]
fn asking_twice_acts_once_even_over_a_restart() {
    let mut bench = Bench::new();
    let note = || Command::TakeNote(TakeNote { author: "ground hand".try_into().unwrap(), text: "water at 2.1 m".try_into().unwrap() });
    let first = bench.ask_as(7, note());
    assert_eq!(bench.ask_as(7, note()), first);
    let mut bench = bench.restart();
    assert_eq!(bench.ask_as(7, note()), first);
    assert_eq!(bench.only(|r| matches!(r, Record::Note(_)).then_some(())).len(), 1);
}

#[test]
fn a_refused_command_says_why() {
    let mut bench = Bench::new();
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::NoHoleOpen.raw());
    for (bad, answer) in [
        (Plan { depth: Micrometres(0), ..plan() }, Answer::BadFigures),
        (Plan { plumb_limit: Lean(0), ..plan() }, Answer::BadFigures),
        (Plan { leg: 9, ..plan() }, Answer::BadFigures),
        (Plan { tool: 77, ..plan() }, Answer::NoSuchTool),
    ] {
        assert_eq!(bench.open(bad).answer, answer.raw());
    }
    bench.open(plan());
    assert_eq!(bench.open(plan()).answer, Answer::HoleOpen.raw());
    assert_eq!(bench.ask(Command::ChangeTool(ChangeTool { tool: 9 })).answer, Answer::NoSuchTool.raw());
    assert_eq!(bench.ask(Command::SetClock(SetClock { unix_ms: 1, offset: 3_000 })).answer, Answer::BadFigures.raw());
    bench.round(Some(Sensed { count: Reading::Fault(SensorFault::Silent), ..bench.sensed() }), &[]);
    bench.request += 1;
    let frame = wrap(&Message::Command { request: bench.request, command: Command::TouchHub(TouchHub {}) }).unwrap();
    bench.round(Some(Sensed { count: Reading::Fault(SensorFault::Silent), ..bench.sensed() }), &frame);
    assert!(bench.heard.iter().any(|m| matches!(m, Message::Reply(r) if r.answer == Answer::NoDepth.raw())));
}

/// 0.1 m/s is 50 mm in the half second that must be rest, and 15 mm are allowed.
#[test]
fn the_hub_is_not_touched_by_a_tip_that_moves_or_has_only_just_stopped() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.tip_mm = -200.0;
    bench.stay(2_000); // a jump that stays is believed after half a second
    bench.go(-5.0, 100.0);
    let touch = || Command::TouchHub(TouchHub {});
    assert_eq!(bench.ask(touch()).answer, Answer::NotAtRest.raw(), "just stopped");
    assert!(!bench.live().1.referenced && bench.only(|r| matches!(r, Record::Hub(_)).then_some(())).is_empty());
    bench.stay(1_000);
    assert_eq!(bench.ask(touch()).answer, Answer::Done.raw());
    bench.go(200.0, 100.0);
    bench.stay(1_000);
    let depth = bench.live().0.depth;
    bench.go(100.0, 100.0);
    assert_eq!(bench.ask(touch()).answer, Answer::NotAtRest.raw(), "moving");
    bench.go(200.0, 100.0);
    bench.stay(1_000);
    assert_eq!(bench.live().0.depth, depth, "and the tie is as it was");
}

#[test]
fn a_spike_is_refused_and_a_jump_that_stays_unties_depth() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(300.0, 20.0);
    let spike = Sensed { count: Reading::Good(HUB_COUNT + 90_000), ..bench.sensed() };
    bench.round(Some(spike), &[]);
    assert_eq!(bench.live().1.depth, Belief::Fault);
    bench.stay(1_000);
    assert!(bench.live().1.referenced, "one spike does not untie");
    let depths = bench.only(|r| if let Record::Increment(i) = r { Some(i.depth.0) } else { None });
    assert!(depths.iter().all(|&d| d <= 300_000));
    bench.tip_mm += 6_000.0;
    bench.stay(2_000);
    assert!(!bench.live().1.referenced, "a jump that stays does");
    let jumps = bench.only(|r| if let Record::Fault(f) = r { Some((f.sensor, f.fault, f.began)) } else { None });
    let jump = (Sensor::Encoder.raw(), SensorFault::Jump.raw());
    assert_eq!(jumps, [(jump.0, jump.1, 1), (jump.0, jump.1, 0), (jump.0, jump.1, 1), (jump.0, jump.1, 0)]);
}

#[test]
fn a_sensor_fault_is_shown_recorded_and_over_by_itself() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(300.0, 20.0);
    for _ in 0..40 {
        let sensed = Sensed { force: Reading::Fault(SensorFault::Damaged), ..bench.sensed() };
        bench.round(Some(sensed), &[]);
    }
    assert_eq!(bench.live().1.lean, Belief::Fault);
    assert_eq!(bench.outlook().tilt_fault, SensorFault::Damaged.raw());
    bench.go(350.0, 20.0);
    assert_eq!(bench.live().1.lean, Belief::Good);
    let faults = bench.only(|r| if let Record::Fault(f) = r { Some(*f) } else { None });
    assert_eq!(faults.len(), 2);
    assert_eq!((faults[0].began, faults[1].began, faults[1].lasted), (1, 0, 2_000));
}

#[test]
fn forces_that_are_not_gravity_are_a_fault_however_sound_their_frames() {
    let mut bench = Bench::new();
    for _ in 0..20 {
        let force = SpecificForce { level: RigAxes { forward: MicroG(30_000), right: MicroG(0) }, up: MicroG(200_000) };
        bench.round(Some(Sensed { force: Reading::Good(force), ..bench.sensed() }), &[]);
    }
    assert_eq!(bench.outlook().tilt_fault, SensorFault::NotGravity.raw());
    for _ in 0..20 {
        let force = SpecificForce { level: RigAxes { forward: MicroG(1_999_000), right: MicroG(0) }, up: MicroG(999_900) };
        bench.round(Some(Sensed { force: Reading::Good(force), ..bench.sensed() }), &[]);
    }
    assert_eq!(bench.outlook().tilt_fault, SensorFault::Saturated.raw());
}

/// The sign vector of the design, from specific force to the live frame: all four directions.
#[test]
fn a_toe_that_goes_forward_with_depth_reads_positive_forward() {
    for lean in [(12_000, 0), (-12_000, 0), (0, 12_000), (0, -12_000)] {
        let mut bench = Bench::new();
        bench.lean = lean;
        bench.open(plan());
        bench.touch();
        bench.go(300.0, 20.0);
        let (live, _) = bench.live();
        let (forward, right) = (live.forward.lean().0, live.right.lean().0);
        assert!((forward - lean.0).abs() <= 10 && (right - lean.1).abs() <= 10, "{lean:?}: {forward}, {right}");
    }
}

#[test]
fn a_quiet_sensor_line_is_stale_not_frozen() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.stay(500);
    for _ in 0..20 {
        bench.round(None, &[]);
    }
    let (_, status) = bench.live();
    assert_eq!((status.depth, status.lean), (Belief::Stale, Belief::Stale));
    assert_eq!(bench.ask_without_sensing().answer, Answer::NoDepth.raw());
}

impl Bench {
    fn ask_without_sensing(&mut self) -> Reply {
        self.request += 1;
        let frame = wrap(&Message::Command { request: self.request, command: Command::TouchHub(TouchHub {}) }).unwrap();
        self.round(None, &frame);
        self.heard.iter().rev().find_map(|m| if let Message::Reply(reply) = m { Some(*reply) } else { None }).unwrap()
    }
}

#[test]
fn slots_are_replayed_on_request_then_follow_as_they_come() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    assert!(bench.slots.is_empty(), "nothing is sent before a host asks");
    bench.say(&Message::Ask(Ask { host: 1 }));
    bench.say(&Message::Replay(Replay { from: 3 }));
    bench.go(300.0, 20.0);
    let sequences: Vec<u32> = bench.slots.iter().map(Slot::sequence).collect();
    let hello = bench.heard.iter().rev().find_map(|m| if let Message::Hello(h) = m { Some(*h) } else { None }).unwrap();
    assert!(hello.simulated == 1 && hello.head >= 8, "{hello:?}");
    assert_eq!(sequences, (3..3 + u32::try_from(sequences.len()).unwrap()).collect::<Vec<_>>());
    assert!(sequences.len() > 12, "{}", sequences.len());
    bench.say(&Message::Acknowledge(Acknowledge { epoch: 1, below: 12, host: 1 }));
    bench.say(&Message::Ask(Ask { host: 1 }));
    let hello = bench.heard.iter().rev().find_map(|m| if let Message::Hello(h) = m { Some(*h) } else { None });
    assert!(matches!(hello, Some(Hello { acknowledged: 12, .. })));
}

#[test]
fn with_no_room_nothing_is_sent_and_nothing_is_lost() {
    let mut bench = Bench::new();
    bench.stay(50);
    bench.heard.clear();
    bench.cable.room = 0;
    bench.open_without_room();
    bench.stay(2_000);
    assert!(bench.heard.is_empty());
    bench.cable.room = 4_096;
    assert!(bench.records().iter().any(|(_, r)| matches!(r, Record::Opened(_))));
}

impl Bench {
    fn open_without_room(&mut self) {
        self.request += 1;
        self.say(&Message::Command { request: self.request, command: Command::LoadHole(LoadHole { plan: plan() }) });
    }
}

#[test]
fn any_bytes_from_the_cable_leave_the_rig_alive() {
    let mut bench = Bench::new();
    let mut seed = 1u32;
    for _ in 0..2_000 {
        let bytes: Vec<u8> = (0..64)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                seed.to_be_bytes()[0] & if seed.is_multiple_of(7) { 0 } else { 0xFF }
            })
            .collect();
        let sensed = bench.sensed();
        bench.round(Some(sensed), &bytes);
    }
    let sensed = bench.sensed();
    bench.round(Some(sensed), &[0]); // ends the last piece of junk, as a host does that starts afresh
    assert_eq!(bench.open(plan()).answer, Answer::Done.raw());
}
