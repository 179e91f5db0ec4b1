//! The session against a rig in miniature and a line that is not kind.

use super::fake_rig::FakeRig;
use super::{Came, Outcome, Output, Session, Stream, gap_of};
use shared_protocol::message::{Command, Live, Message, Outlook, Reply, SetClock, TouchHub};
use shared_protocol::slot::Slot;
use std::collections::{BTreeMap, VecDeque};

const TURN_MS: u32 = 20;

/// A host's desk: the session, a store that is a map, and what was said.
struct Desk {
    session: Session,
    now: u64,
    to_rig: Vec<u8>,
    store: BTreeMap<Stream, BTreeMap<u32, Slot>>,
    kept: usize,
    outputs: Vec<Output>,
}

/// What the line does to the bytes that come from the rig.
type Mischief<'a> = &'a mut dyn FnMut(Vec<u8>) -> Vec<u8>;

impl Desk {
    fn new() -> Self {
        Self { session: Session::new(7), now: 0, to_rig: Vec::new(), store: BTreeMap::new(), kept: 0, outputs: Vec::new() }
    }

    fn wanted(&self, stream: &Stream, from: u32) -> u32 {
        let empty = BTreeMap::new();
        let slots = self.store.get(stream).unwrap_or(&empty);
        let explained = |s: u32| slots.values().filter_map(gap_of).any(|gap| (gap.first..=gap.last).contains(&s));
        (from..).find(|s| !slots.contains_key(s) && !explained(*s)).unwrap()
    }

    fn turn(&mut self, rig: &mut FakeRig, mischief: Mischief<'_>) {
        self.now += u64::from(TURN_MS);
        let bytes = mischief(rig.turn(TURN_MS, &std::mem::take(&mut self.to_rig)));
        self.session.step(self.now, &bytes);
        self.do_all();
    }

    fn do_all(&mut self) {
        while let Some(output) = self.session.output() {
            match &output {
                Output::Send(bytes) => self.to_rig.extend_from_slice(bytes),
                Output::Introduced(intro) => {
                    let wanted = self.wanted(&intro.stream, intro.hello.tail);
                    self.session.resume(self.now, wanted);
                }
                Output::Keep { stream, slots, held } => {
                    self.kept += slots.len();
                    self.store.entry(stream.clone()).or_default().extend(slots.iter().map(|s| (s.sequence(), *s)));
                    self.session.stored(self.wanted(stream, *held));
                }
                _ => {}
            }
            if !matches!(output, Output::Send(_)) {
                self.outputs.push(output);
            }
        }
    }

    fn run(&mut self, rig: &mut FakeRig, ms: u64) {
        self.run_over(rig, ms, &mut |bytes| bytes);
    }

    fn run_over(&mut self, rig: &mut FakeRig, ms: u64, mischief: Mischief<'_>) {
        for _ in 0..ms / u64::from(TURN_MS) {
            self.turn(rig, mischief);
        }
    }

    fn has(&self, rig: &FakeRig) -> bool {
        self.store.get(&Stream::of(&rig.hello())) == Some(&rig.memory)
    }

    fn missing(&self) -> Vec<(u32, u32)> {
        self.outputs.iter().filter_map(|o| if let Output::Missing(_, first, last) = o { Some((*first, *last)) } else { None }).collect()
    }

    fn came(&self) -> Vec<Came> {
        self.outputs.iter().filter_map(|o| if let Output::Introduced(i) = o { Some(i.came.clone()) } else { None }).collect()
    }

    fn outcomes(&self) -> Vec<(u32, Outcome)> {
        self.outputs
            .iter()
            .filter_map(|o| if let Output::Outcome(request, outcome) = o { Some((*request, *outcome)) } else { None })
            .collect()
    }
}

fn rig_with(count: u32) -> FakeRig {
    let mut rig = FakeRig::new("Alpha");
    rig.record(count);
    rig
}

#[test]
fn everything_is_fetched_once_kept_and_acknowledged() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(500));
    desk.run(&mut rig, 4_000);
    assert!(desk.has(&rig));
    assert_eq!((desk.kept, rig.acknowledged, rig.replays.as_slice()), (500, 500, &[0][..]));
    assert!(desk.session.drained(0));
    rig.record(3);
    assert!(!desk.session.drained(desk.now), "no hello since");
    desk.run(&mut rig, 400);
    assert_eq!((desk.kept, rig.acknowledged, rig.replays.len()), (503, 503, 1));
    rig.acknowledged = 0; // the acknowledgement was lost on the way
    desk.run(&mut rig, 3_000);
    assert_eq!((desk.kept, rig.acknowledged), (503, 503));
}

#[test]
fn nothing_is_acknowledged_before_it_is_stored() {
    let (mut session, mut rig) = (Session::new(7), rig_with(20));
    let (mut to_rig, mut kept, mut now) = (Vec::new(), 0, 0);
    for _ in 0..200 {
        now += 20;
        session.step(now, &rig.turn(20, &std::mem::take(&mut to_rig)));
        while let Some(output) = session.output() {
            match output {
                Output::Send(bytes) => to_rig.extend(bytes),
                Output::Introduced(_) => {
                    session.resume(now, 0);
                    session.stored(20); // nothing has come yet
                }
                Output::Keep { slots, .. } => kept += slots.len(),
                _ => {}
            }
        }
    }
    assert_eq!((kept, rig.acknowledged), (20, 0));
    session.stored(12);
    let Some(Output::Send(bytes)) = session.output() else { panic!("no acknowledgement") };
    rig.turn(20, &bytes);
    assert_eq!(rig.acknowledged, 12);
}

#[test]
fn a_line_that_flips_bits_loses_and_repeats_frames_costs_nothing() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(600));
    let mut chance: u64 = 0x2545_F491_4F6C_DD1D;
    let mut draw = move |of: u64| {
        chance ^= chance << 13;
        chance ^= chance >> 7;
        chance ^= chance << 17;
        chance % of
    };
    desk.run_over(&mut rig, 60_000, &mut |mut bytes| {
        let at = usize::try_from(draw(bytes.len().max(1) as u64)).unwrap();
        match draw(4) {
            0 => bytes.iter_mut().skip(at).take(1).for_each(|b| *b ^= 0x10),
            1 => bytes.truncate(at),
            2 => bytes.extend_from_within(..),
            _ => {}
        }
        bytes
    });
    desk.run(&mut rig, 5_000);
    assert!(desk.has(&rig), "{} of {} kept", desk.kept, rig.head);
    assert_eq!((rig.acknowledged, desk.missing()), (600, vec![]));
    let line = desk.session.line();
    assert!(line.damaged > 100 && line.frames > 100, "{line:?}");
}

#[test]
fn replays_are_not_asked_for_in_a_storm() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(300));
    // frames of slots, the long ones, never arrive
    desk.run_over(&mut rig, 10_000, &mut |bytes| if bytes.len() > 100 { Vec::new() } else { bytes });
    assert_eq!(desk.kept, 0);
    assert!((5..=21).contains(&rig.replays.len()), "{}", rig.replays.len());
}

#[test]
fn what_was_damaged_on_the_way_is_repeated_and_nothing_else() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(700));
    let mut turn = 0;
    desk.run_over(&mut rig, 4_000, &mut |bytes| {
        turn += 1;
        // three frames of slots, two of them one behind the other
        if [40, 60, 61].contains(&turn) { bytes[..bytes.len() / 2].to_vec() } else { bytes }
    });
    assert!(desk.has(&rig));
    assert_eq!((desk.kept, rig.replays.as_slice(), rig.repeated.len()), (700, &[0][..], 2), "{:?}", rig.repeated);
    let asked: u32 = rig.repeated.iter().map(|(first, last)| last - first + 1).sum();
    assert_eq!((asked, desk.missing()), (28, vec![]), "the half frame takes the next one with it: {:?}", rig.repeated);
}

#[test]
fn a_rig_that_does_not_know_how_to_repeat_is_asked_for_all_again() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(700));
    rig.repeats = false;
    let mut turn = 0;
    desk.run_over(&mut rig, 9_000, &mut |bytes| {
        turn += 1;
        if turn == 40 { Vec::new() } else { bytes }
    });
    assert!(desk.has(&rig));
    assert_eq!((desk.kept, rig.replays.len(), desk.missing()), (700, 2, vec![]), "{:?}", rig.replays);
}

#[test]
fn a_rig_that_restarts_is_noticed_and_goes_on() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(50));
    desk.run(&mut rig, 3_000);
    rig.restart();
    rig.record(10);
    desk.run(&mut rig, 4_000);
    assert_eq!(desk.came(), [Came::First, Came::Restarted]);
    assert!(desk.has(&rig));
    assert_eq!((desk.kept, rig.acknowledged), (60, 60));
}

#[test]
fn a_clock_that_went_back_is_a_restart_though_the_count_of_starts_is_the_same() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(5));
    desk.run(&mut rig, 3_000);
    rig.restart();
    rig.boot -= 1;
    desk.run(&mut rig, 3_000);
    assert_eq!(desk.came(), [Came::First, Came::Restarted]);
}

#[test]
fn a_torn_slot_does_not_hold_up_what_follows() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(50));
    desk.run(&mut rig, 3_000);
    rig.torn_restart();
    rig.record(10);
    desk.run(&mut rig, 4_000);
    assert!(desk.has(&rig));
    assert_eq!((rig.acknowledged, desk.missing(), rig.replays.as_slice()), (61 + 1, vec![(50, 50)], &[0, 50][..]));
}

#[test]
fn a_torn_slot_in_the_middle_of_a_frame_is_the_rigs_own_gap() {
    let mut rig = rig_with(10);
    rig.torn_restart();
    rig.record(3);
    let mut desk = Desk::new();
    desk.run(&mut rig, 2_000);
    assert!(desk.has(&rig));
    assert_eq!((rig.replays.as_slice(), rig.acknowledged, desk.missing()), (&[0][..], 15, vec![(10, 10)]));
}

#[test]
fn a_slot_left_out_of_a_frame_is_the_rigs_own_doing_and_still_not_acknowledged() {
    let mut rig = rig_with(30);
    rig.memory.remove(&10);
    let mut desk = Desk::new();
    desk.run(&mut rig, 1_000);
    assert!(desk.has(&rig));
    assert_eq!((rig.replays.as_slice(), rig.acknowledged, desk.missing()), (&[0][..], 10, vec![(10, 10)]));
}

#[test]
fn a_slot_from_beyond_the_rigs_memory_is_not_believed() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(20));
    desk.run(&mut rig, 3_000);
    let mut foolish = FakeRig::new("Alpha");
    foolish.head = 19;
    foolish.record(1);
    foolish.head = 4_000_000_000;
    foolish.record(1);
    let raw: Vec<u8> = foolish.memory.values().flat_map(|s| *s.bytes()).collect();
    let mut bytes = Vec::new();
    rig.send(&Message::slots(&raw).unwrap(), &mut bytes);
    desk.session.step(desk.now, &bytes);
    rig.record(20);
    desk.run(&mut rig, 5_000);
    assert!(desk.has(&rig));
    assert_eq!(rig.acknowledged, 40);
}

#[test]
fn slots_that_the_rig_lacks_and_does_not_explain_are_passed_but_never_acknowledged() {
    let mut rig = rig_with(60);
    rig.memory.retain(|sequence, _| !(14..21).contains(sequence)); // a whole frame's worth
    let mut desk = Desk::new();
    desk.run(&mut rig, 1_500);
    assert_eq!((desk.missing(), desk.kept), (vec![], 14), "given up after three tries and no sooner");
    desk.run(&mut rig, 6_000);
    assert!(desk.has(&rig));
    assert_eq!((rig.acknowledged, desk.missing()), (14, vec![(14, 20)]));
}

#[test]
fn what_was_on_its_way_when_slots_were_asked_for_again_does_not_hide_which_are_missing() {
    let mut rig = rig_with(400); // more than come between two requests
    rig.memory.retain(|sequence, _| !(14..21).contains(sequence));
    let mut desk = Desk::new();
    let mut on_its_way = VecDeque::from(vec![Vec::new(); 10]);
    desk.run_over(&mut rig, 12_000, &mut |bytes| {
        on_its_way.push_back(bytes);
        on_its_way.pop_front().unwrap()
    });
    assert!(desk.has(&rig), "stands at {}", desk.kept);
    assert_eq!(desk.missing(), [(14, 20)]);
}

#[test]
fn what_a_rig_reclaimed_is_not_waited_for() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(30));
    desk.run(&mut rig, 3_000);
    desk.run_over(&mut rig, 400, &mut |_| Vec::new()); // cable out
    rig.record(200);
    rig.tail = 130;
    rig.memory.retain(|s, _| *s >= 130);
    desk.run(&mut rig, 5_000);
    let held: Vec<u32> = desk.store.values().next().unwrap().keys().copied().collect();
    assert_eq!(held, (0..30).chain(130..230).collect::<Vec<_>>());
    assert_eq!((rig.acknowledged, desk.missing()), (230, vec![(30, 129)]));
}

#[test]
fn another_rig_on_the_same_port_gets_none_of_the_first_ones_slots_and_the_reverse() {
    let (mut desk, mut alpha) = (Desk::new(), rig_with(40));
    desk.run(&mut alpha, 3_000);
    // Bravo was being read by another host and goes on sending where Alpha would.
    let mut bravo = FakeRig::new("Bravo");
    bravo.record(40);
    bravo.turn(20, &shared_protocol::frame::wrap(&Message::Replay(shared_protocol::message::Replay { from: 40 })).unwrap());
    bravo.record(20);
    desk.run(&mut bravo, 4_000);
    assert!(desk.has(&alpha) && desk.has(&bravo));
    assert_eq!(desk.came(), [Came::First, Came::InPlaceOf(Stream { rig: "Alpha".to_owned(), epoch: 1 })]);
}

#[test]
fn a_factory_reset_begins_another_stream() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(9));
    desk.run(&mut rig, 3_000);
    (rig.epoch, rig.head, rig.acknowledged) = (2, 0, 0);
    rig.memory.clear();
    rig.restart();
    rig.record(4);
    desk.run(&mut rig, 3_000);
    assert_eq!(desk.store.values().map(BTreeMap::len).collect::<Vec<_>>(), [9, 4]);
}

#[test]
fn a_memory_that_is_not_what_it_was_is_said_and_read_again_from_its_beginning() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(90));
    desk.run(&mut rig, 3_000);
    let mut other = rig_with(30);
    other.boot = 2;
    desk.run(&mut other, 3_000);
    assert!(desk.outputs.contains(&Output::Behind(Stream::of(&other.hello()))));
    assert_eq!((desk.kept, other.replays.as_slice(), other.acknowledged), (120, &[0][..], 30));
}

#[test]
fn a_rig_of_another_version_is_emptied_and_not_commanded() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(100));
    rig.version = 7;
    desk.run(&mut rig, 3_000);
    let mut noise = Vec::new();
    rig.send(&Message::Live(Live::default()), &mut noise);
    desk.session.step(desk.now, &noise);
    desk.session.command(desk.now, 1, Command::TouchHub(TouchHub {}));
    desk.run(&mut rig, 1_000);
    assert!(desk.has(&rig));
    assert_eq!((rig.acknowledged, rig.done.len()), (100, 0));
    assert_eq!(desk.outcomes(), [(1, Outcome::OtherVersion)]);
    let versions: Vec<u8> =
        desk.outputs.iter().filter_map(|o| if let Output::Introduced(i) = o { Some(i.version) } else { None }).collect();
    assert_eq!(versions, [7]);
    assert!(!desk.outputs.iter().any(|o| matches!(o, Output::Live(_))));
}

#[test]
fn a_command_is_said_until_it_is_answered_and_done_once() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(1));
    desk.run(&mut rig, 1_000);
    desk.session.command(desk.now, 41, Command::TouchHub(TouchHub {}));
    desk.session.command(desk.now, 42, Command::SetClock(SetClock { unix_ms: 1_000_000, offset: 60 }));
    desk.do_all();
    desk.run_over(&mut rig, 800, &mut |_| Vec::new()); // the first answers are lost
    let mut stray = Vec::new();
    rig.send(&Message::Reply(Reply { request: 99, answer: 0, sequence: 0 }), &mut stray);
    desk.session.step(desk.now, &stray);
    let begun = desk.now;
    desk.run(&mut rig, 2_000);
    assert_eq!(rig.done.iter().map(|(request, _)| *request).collect::<Vec<_>>(), [41, 42]);
    let Command::SetClock(clock) = &rig.done[1].1 else { panic!() };
    assert!((1_000_000 + 800..=1_000_000 + i64::try_from(begun).unwrap()).contains(&clock.unix_ms), "{clock:?}");
    assert!(matches!(desk.outcomes()[..], [(41, Outcome::Answered { answer: 0, .. }), (42, Outcome::Answered { answer: 0, .. })]));
}

#[test]
fn a_touch_of_the_hub_is_not_said_late() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(1));
    desk.session.command(0, 1, Command::TouchHub(TouchHub {}));
    desk.do_all();
    desk.run(&mut rig, 1_000);
    rig.deaf = true;
    desk.session.command(desk.now, 2, Command::TouchHub(TouchHub {}));
    desk.run(&mut rig, 1_700);
    desk.session.command(desk.now, 3, Command::TouchHub(TouchHub {}));
    desk.run(&mut rig, 200);
    rig.restart();
    rig.deaf = false;
    desk.run(&mut rig, 3_000);
    assert_eq!(desk.outcomes(), [(1, Outcome::NoRig), (2, Outcome::Silent), (3, Outcome::Dropped)]);
    assert_eq!(rig.done.len(), 0);
    desk.session.command(desk.now, 4, Command::TouchHub(TouchHub {}));
    desk.session.cut();
    desk.do_all();
    assert_eq!(desk.outcomes().last(), Some(&(4, Outcome::Dropped)));
}

#[test]
fn live_and_outlook_are_shown_and_change_nothing() {
    let (mut desk, mut rig) = (Desk::new(), rig_with(0));
    let mut bytes = Vec::new();
    rig.send(&Message::Live(Live { status: 9, ..Live::default() }), &mut bytes);
    desk.session.step(1, &bytes);
    assert!(desk.session.output().is_some_and(|o| matches!(o, Output::Send(_))));
    desk.run(&mut rig, 1_000);
    assert!(!desk.outputs.iter().any(|o| matches!(o, Output::Live(_))), "from nobody");
    rig.send(&Message::Outlook(Outlook::default()), &mut bytes);
    desk.session.step(desk.now, &bytes);
    desk.do_all();
    assert!(matches!(desk.outputs[..], [.., Output::Live(Live { status: 9, .. }), Output::Outlook(_)]));
}

#[test]
fn anything_at_all_may_come_over_the_line() {
    let mut session = Session::new(1);
    let mut queue: VecDeque<u8> = (0..200_000u32).map(|n| n.wrapping_mul(2_654_435_761).to_be_bytes()[0]).collect();
    let mut now = 0;
    while !queue.is_empty() {
        let piece: Vec<u8> = queue.drain(..queue.len().min(997)).collect();
        now += 10;
        session.step(now, &piece);
    }
    let mut outputs = std::iter::from_fn(|| session.output());
    assert!(outputs.all(|o| matches!(o, Output::Send(_))), "a session that hears no rig says nothing but who are you");
    assert_eq!((session.line().bytes, session.line().frames, session.rig()), (200_000, 0, None));
}
