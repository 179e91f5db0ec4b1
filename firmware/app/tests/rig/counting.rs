//! Counters just below their ends, and tallies that must agree with each other.

use crate::bench::{Bench, Ram, drill, plan};
use firmware_app::memory::Memory;
use proptest::prelude::{ProptestConfig, prop_assert, prop_assert_eq, proptest};
use shared_protocol::message::{CloseHole, Command, TakeNote};
use shared_protocol::record::{Change, Closed, Increment, Pass, Record};
use shared_protocol::slot::{Part, Slot};
use shared_protocol::state::{Answer, Check};
use shared_protocol::units::Millis;

const RING_AT: u32 = 4_096;
const CAPACITY: u32 = 200;
/// The last number that a record may begin with.
const LAST_FIRST: u32 = u32::MAX - 64;

/// A whole hole: its increments, passes and changes, with times since it began, and how it closed.
fn hole_from(start: u32) -> (Vec<Increment>, Vec<Pass>, Vec<Change>, Closed) {
    let mut bench = Bench::new();
    bench.now = Millis(start);
    bench.lean = (16_000, -3_000);
    bench.open(plan());
    bench.touch();
    drill(&mut bench);
    bench.touch();
    bench.ask(Command::CloseHole(CloseHole {}));
    let since = |at: Millis| Millis(at.since(Millis(start)));
    let increments = bench.only(|r| if let Record::Increment(i) = r { Some(Increment { at: since(i.at), ..*i }) } else { None });
    let passes =
        bench.only(|r| if let Record::Pass(p) = r { Some(Pass { began: since(p.began), ended: since(p.ended), ..*p }) } else { None });
    let changes = bench.only(|r| if let Record::Change(c) = r { Some(Change { at: since(c.at), ..*c }) } else { None });
    let changes = changes.into_iter().filter(|c| c.at.0 < 10_000_000).collect(); // not what the start itself said, before the clock was set
    let closed = bench.only(|r| if let Record::Closed(c) = r { Some(c.clone()) } else { None }).remove(0);
    (increments, passes, changes, closed)
}

#[test]
fn a_clock_that_turns_over_anywhere_in_a_hole_changes_nothing() {
    let (increments, passes, changes, closed) = hole_from(1_000);
    assert!(increments.len() == 40 && passes.len() >= 3 && changes.len() >= 3, "{increments:?}");
    let lasts = passes.last().unwrap().ended.0;
    for before_end in (0..=lasts + 2_000).step_by(5_777) {
        let (i, p, c, end) = hole_from(u32::MAX - before_end);
        assert_eq!((i, p, c), (increments.clone(), passes.clone(), changes.clone()), "turns over after {before_end} ms");
        assert_eq!((end.bottom, end.toe, end.wall, end.slots), (closed.bottom, closed.toe, closed.wall, closed.slots));
    }
}

/// A full memory whose newest slot has this number and this start.
fn memory_at(sequence: u32, boot: u16) -> Ram {
    let mut memory = Ram(vec![0; (RING_AT + 32 * CAPACITY) as usize]);
    for sequence in sequence - (CAPACITY - 1)..=sequence {
        let slot = Slot::build(sequence, boot, Change::KIND, Part::ONLY, &[0; 14]).unwrap();
        memory.write(RING_AT + sequence % CAPACITY * 32, slot.bytes()).unwrap();
    }
    memory
}

#[test]
fn the_count_of_starts_turns_over_and_sequences_go_on() {
    let mut bench = Bench::on(memory_at(1_000, u16::MAX - 1));
    let mut before = 1_000;
    for boot in [u16::MAX, 0, 1] {
        let starts: Vec<u32> = bench.records().iter().filter(|(_, r)| matches!(r, Record::Start(_))).map(|(at, _)| *at).collect();
        let start = *starts.last().unwrap();
        assert!(start > before && bench.slots.iter().any(|slot| (slot.sequence(), slot.boot()) == (start, boot)), "start {boot}");
        before = bench.slots.last().unwrap().sequence();
        bench = bench.restart();
    }
}

#[test]
fn sequence_numbers_end_without_any_given_twice() {
    let mut bench = Bench::on(memory_at(LAST_FIRST - 6, 7));
    let note = |text: &str| Command::TakeNote(TakeNote { author: "qa".try_into().unwrap(), text: text.try_into().unwrap() });
    assert_eq!(bench.ask(note("a")).answer, Answer::Done.raw(), "there is room for a few");
    let answers: Vec<u8> = (0..40).map(|_| bench.ask(note("b")).answer).collect();
    assert_eq!(answers.last(), Some(&Answer::NotRecorded.raw()));
    let ring = |bench: &Bench| bench.slots.iter().map(|slot| *slot.bytes()).collect::<Vec<_>>();
    bench.records();
    let before = ring(&bench);
    let last = bench.slots.last().unwrap().sequence();
    assert!((LAST_FIRST..LAST_FIRST + 16).contains(&last), "{last}");
    assert!(bench.slots.windows(2).all(|w| w[1].sequence() == w[0].sequence() + 1), "each number once");
    for _ in 0..3 {
        bench = bench.restart();
        assert_eq!(bench.ask(note("c")).answer, Answer::NotRecorded.raw());
        let load = Command::LoadHole(shared_protocol::message::LoadHole { plan: plan() });
        assert_eq!(bench.ask(load).answer, Answer::NumbersUsedUp.raw());
        bench.stay(1_000);
        bench.records();
        assert_eq!(ring(&bench), before, "nothing is written over");
    }
    assert!(!bench.live().1.hole_open, "a hole that cannot be recorded is not opened");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    /// A tool that goes up and down at any speeds.
    #[test]
    fn tallies_agree_with_each_other_whatever_the_tool_does(
        moves in proptest::collection::vec((-400.0..1_500.0f64, 5.0..900.0f64, 0..1_500u32), 1..12), lean in (-200_000..200_000i32, -200_000..200_000i32),
    ) {
        let mut bench = Bench::new();
        bench.lean = lean;
        bench.open(plan());
        bench.touch();
        let mut deepest = 0.0f64;
        let began = bench.now;
        for (to, speed, rest) in moves {
            bench.go(to, speed);
            bench.stay(rest);
            deepest = deepest.max(to);
        }
        bench.go(-500.0, 500.0);
        bench.ask(Command::CloseHole(CloseHole {}));
        let took = bench.now.since(began);
        let increments = bench.only(|r| if let Record::Increment(i) = r { Some(*i) } else { None });
        let passes = bench.only(|r| if let Record::Pass(p) = r { Some(*p) } else { None });
        let closed = bench.only(|r| if let Record::Closed(c) = r { Some(c.clone()) } else { None }).remove(0);
        prop_assert_eq!((usize::from(closed.increments), usize::from(closed.passes)), (increments.len(), passes.len()));
        let depths: Vec<i32> = std::iter::once(0).chain(increments.iter().map(|i| i.depth.0)).collect();
        prop_assert!(depths.windows(2).all(|w| w[1] > w[0] && (w[1] - w[0]) % 25_000 == 0), "{:?}", depths);
        let last = *depths.last().unwrap();
        prop_assert!((last..last + 25_000).contains(&closed.bottom.0) && f64::from(closed.bottom.0) <= deepest * 1e3 + 100.0);
        prop_assert!(passes.iter().enumerate().all(|(n, p)| usize::from(p.number) == n + 1));
        prop_assert!(passes.windows(2).all(|w| w[0].ended.since(w[1].began) == 0 || w[1].began.since(w[0].ended) < took));
        prop_assert!(passes.iter().all(|p| p.tag <= p.bottom && p.bottom <= closed.bottom));
        prop_assert!(passes.windows(2).all(|w| w[0].bottom <= w[1].bottom));
        let samples: u32 = increments.iter().map(|i| u32::from(i.samples)).sum();
        let cut: u32 = increments.iter().map(|i| u32::from(i.took)).sum();
        prop_assert!(samples <= took / 50 && cut * 100 <= took + 100 * u32::try_from(increments.len()).unwrap(), "{samples} {cut} {took}");
        let norm = (f64::from(lean.0).powi(2) + f64::from(lean.1).powi(2) + 999_900.0f64.powi(2)).sqrt() / 1e6;
        for i in increments.iter().filter(|i| i.samples > 0) {
            let off = (f64::from(i.forward.lean().0) - f64::from(lean.0) / norm).hypot(f64::from(i.right.lean().0) - f64::from(lean.1) / norm);
            prop_assert!(off <= 9.0, "{:?}", i);
        }
        prop_assert_eq!(bench.changes(Check::Going).len(), 0);
    }
}

#[test]
fn a_tool_that_runs_past_the_bottom_between_two_rounds_tags_it_where_it_is() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(600.0, 20.0);
    bench.stay(1_000);
    bench.go(-507.0, 1_000.0);
    bench.go(618.0, 430.0); // 21.5 mm a round: 589.5, then 611 mm
    bench.go(-500.0, 490.0);
    let passes = bench.only(|r| if let Record::Pass(p) = r { Some(*p) } else { None });
    assert_eq!(passes.len(), 2);
    assert!(passes[1].bottom.0 <= 600_100 && passes[1].tag <= passes[1].bottom, "{passes:?}");
}
