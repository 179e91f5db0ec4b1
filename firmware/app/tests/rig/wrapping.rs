//! Counters from just below their wraps: a rig that has run for 49 days, and one whose numbers come to an end.

use crate::bench::{Bench, Ram, drill, plan};
use firmware_app::profile::Profile;
use firmware_app::reading::{Reading, Sensed};
use shared_protocol::message::{CloseHole, Command, LoadHole, SetClock, TakeNote};
use shared_protocol::record::{Note, Record};
use shared_protocol::slot::{Part, Slot};
use shared_protocol::state::{Answer, Check, SensorFault};
use shared_protocol::units::Millis;

const DAY_MS: u32 = 86_400_000;

/// What is on record of one hole, its times left out.
fn hole(start: Millis) -> Vec<String> {
    let mut bench = Bench::at(Ram(vec![0; 524_288]), Profile::bench(), start);
    bench.lean = (16_000, 0); // plumb drifts
    bench.stay(1_500);
    assert_eq!(bench.open(plan()).answer, Answer::Done.raw());
    bench.touch();
    drill(&mut bench);
    bench.touch();
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
    bench.stay(1_000);
    assert!(!bench.changes(Check::Depth).is_empty() && !bench.changes(Check::Plumb).is_empty());
    let timeless = |record: &Record| match record.clone() {
        Record::Increment(mut i) => {
            i.at = Millis(0);
            format!("{i:?}")
        }
        Record::Pass(mut p) => {
            (p.began, p.ended) = (Millis(0), Millis(p.ended.since(p.began)));
            format!("{p:?}")
        }
        Record::Change(mut c) => {
            c.at = Millis(0);
            format!("{c:?}")
        }
        other => format!("{}", other.kind()),
    };
    bench.records().iter().map(|(sequence, record)| format!("{sequence}: {}", timeless(record))).collect()
}

/// The clock wraps before the hole is opened, within its first pass, in the middle, near its end and behind it.
#[test]
fn a_hole_is_recorded_alike_wherever_in_it_the_clock_wraps() {
    let want = hole(Millis(0));
    assert!(want.len() > 40 && want.iter().filter(|line| line.contains("Pass")).count() == 4, "{} records", want.len());
    for before_wrap_s in [0, 1, 5, 20, 45, 60, 75, 90, 100, 110, 130] {
        assert_eq!(hole(Millis(u32::MAX - before_wrap_s * 1_000)), want, "{before_wrap_s} s before the wrap");
    }
}

/// Seven weeks and more without a host that sets the clock.
#[test]
fn the_time_of_day_goes_on_when_the_milliseconds_wrap() {
    let mut bench = Bench::new();
    let noon = 1_700_000_000_000;
    bench.ask(Command::SetClock(SetClock { unix_ms: noon, offset: 0 }));
    let mut days = 0_i64;
    while days < 120 {
        // A turn a day; a rig has a thousand a second.
        bench.now = bench.now.plus(DAY_MS / 2);
        bench.stay(50);
        bench.now = bench.now.plus(DAY_MS / 2 - 100);
        bench.stay(50);
        days += 1;
    }
    assert_eq!(bench.ask(Command::LoadHole(LoadHole { plan: plan() })).answer, Answer::Done.raw());
    let clocks = bench.only(|r| if let Record::Clock(c) = r { Some(c.unix_ms) } else { None });
    let late = clocks.last().unwrap() - noon - days * i64::from(DAY_MS);
    assert!((0..1_000).contains(&late), "{late} ms off after {days} days: {clocks:?}");
}

/// A memory whose newest slot has this number.
fn up_to(sequence: u32) -> Ram {
    let mut memory = Ram(vec![0; 524_288]);
    let capacity = (524_288 - 4_096) / 32;
    for place in 0..=sequence % capacity {
        let slot = Slot::build(sequence - sequence % capacity + place, 1, Note::KIND, Part::ONLY, &[0; 19]).unwrap();
        memory.0[4_096 + 32 * place as usize..][..32].copy_from_slice(slot.bytes());
    }
    memory
}

/// Said where a person sees it, while there is time: before a hole is begun that could not be ended.
#[test]
fn a_rig_whose_numbers_come_to_an_end_opens_no_more_holes_and_ends_what_is_open() {
    let mut bench = Bench::on(up_to(u32::MAX - 0x0020_0000));
    assert_eq!(bench.open(plan()).answer, Answer::Done.raw());
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
    let mut bench = Bench::on(up_to(u32::MAX - 0x0008_0000));
    assert_eq!(bench.open(plan()).answer, Answer::NumbersUsedUp.raw());
    let note = || Command::TakeNote(TakeNote { author: "".try_into().unwrap(), text: "still heard".try_into().unwrap() });
    assert_eq!(bench.ask(note()).answer, Answer::Done.raw());
}

/// Eight weeks with a sensor that says nothing: what it lasted stays at the most that its record can say.
#[test]
fn how_long_a_fault_lasts_does_not_wrap_with_the_milliseconds() {
    for (days, want) in [(1, DAY_MS), (49, 49 * DAY_MS), (50, u32::MAX), (120, u32::MAX)] {
        let mut bench = Bench::new();
        bench.stay(500);
        let silent = Sensed { force: Reading::Fault(SensorFault::Silent), ..bench.sensed() };
        bench.round(Some(silent), &[]);
        for _ in 0..days * 2 {
            bench.now = bench.now.plus(DAY_MS / 2 - 50);
            bench.round(Some(silent), &[]);
        }
        bench.stay(500);
        let lasted = bench.only(|r| if let Record::Fault(f) = r { (f.began == 0).then_some(f.lasted) } else { None });
        assert!(lasted.len() == 1 && lasted[0] >= want && lasted[0] - want < 1_000, "{days} days: {lasted:?}");
    }
}

/// Requests are numbers that hosts give, and may be any: what was answered last is known by its own, over their wrap.
#[test]
fn requests_on_either_side_of_their_wrap_are_different_commands() {
    let note = |n: u32| Command::TakeNote(TakeNote { author: "".try_into().unwrap(), text: format!("{n}").as_str().try_into().unwrap() });
    let mut bench = Bench::new();
    bench.stay(200);
    for request in [u32::MAX - 1, u32::MAX, 0, 1, u32::MAX, 0] {
        assert_eq!(bench.ask_as(request, note(request)).answer, Answer::Done.raw());
    }
    let said = bench.only(|r| if let Record::Note(n) = r { Some(n.request) } else { None });
    assert_eq!(said, [u32::MAX - 1, u32::MAX, 0, 1]);
    let mut bench = Bench::on(bench.rig.into_memory());
    for request in [u32::MAX, 0, 2] {
        assert_eq!(bench.ask_as(request, note(request)).answer, Answer::Done.raw());
    }
    let said = bench.only(|r| if let Record::Note(n) = r { Some(n.request) } else { None });
    assert_eq!(said, [u32::MAX - 1, u32::MAX, 0, 1, 2], "over a restart too");
}
