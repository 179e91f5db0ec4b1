//! While a start still reads its memory: what is measured, said and refused; and what it takes up however long ago.

use crate::bench::{Bench, ROUND_MS, Ram, plan};
use firmware_app::journal::{Journal, Search};
use firmware_app::profile::Profile;
use shared_protocol::frame::wrap;
use shared_protocol::message::{Acknowledge, Ask, CloseHole, Command, Message, Replay, TakeNote, TouchHub};
use shared_protocol::record::{Change, Opened, Record, Seal, Start};
use shared_protocol::state::{Activity, Answer, Belief, Check, GapCause, ReferenceState};
use shared_protocol::units::Millis;

const RING_AT: usize = 4_096;
const SLOT: usize = 32;

fn absolute() -> Profile {
    Profile { encoder_absolute: true, ..Profile::bench() }
}

/// A memory with an open hole, 500 mm deep, some hundred slots.
fn drilled(profile: Profile) -> Ram {
    let mut bench = Bench::with(Ram(vec![0; 524_288]), profile);
    bench.open(plan());
    bench.touch();
    for n in 1..=20 {
        bench.go(f64::from(n) * 25.0, 100.0);
        bench.stay(500);
        bench.say(&Message::Command { request: 500 + n, command: note() });
    }
    bench.stay(1_000);
    bench.rig.into_memory()
}

fn note() -> Command {
    let text = "W".repeat(120);
    Command::TakeNote(TakeNote { author: "ground hand".try_into().unwrap(), text: text.as_str().try_into().unwrap() })
}

/// Appends to a memory as the rig does.
fn append(memory: &mut Ram, records: impl IntoIterator<Item = Record>) {
    let (mut journal, mut search) = (Journal::open(memory), Search::default());
    while search.step(&mut journal, memory).is_none() {}
    records.into_iter().for_each(|record| assert!(journal.append(memory, &record).is_ok()));
}

#[test]
fn a_start_measures_says_so_does_nothing_else_and_writes_nothing_before_it_knows_its_memory() {
    let memory = drilled(Profile::bench());
    let before = memory.0.clone();
    let mut bench = Bench::starting(memory, Profile::bench(), Millis(0));
    let says = [
        Message::Ask(Ask { host: 1 }),
        Message::Replay(Replay { from: 3 }),
        Message::Acknowledge(Acknowledge { epoch: 1, below: 9, host: 1 }),
        Message::Command { request: 7, command: note() },
        Message::Command { request: 8, command: Command::TouchHub(TouchHub {}) },
    ];
    for message in says.iter().cycle() {
        let sensed = bench.sensed();
        bench.round(Some(sensed), &wrap(message).unwrap());
        if bench.rig.recovered() {
            break;
        }
        let refused = bench.heard.iter().all(|m| match m {
            Message::Live(live) => shared_protocol::state::Status::from_bits(live.status).unwrap().activity == Activity::Starting,
            Message::Reply(reply) => reply.answer == Answer::NotReady.raw() && reply.sequence == 0,
            other => panic!("{other:?} is not known yet"),
        });
        assert!(refused && bench.slots.is_empty(), "{:?}", bench.heard);
    }
    assert!(bench.now.0 > 10 * ROUND_MS, "that took a while");
    let replies = bench.heard.iter().filter(|m| matches!(m, Message::Reply(_))).count();
    assert!(replies > 2, "{replies}");
    let live = |m: &Message<'_>| if let Message::Live(live) = m { shared_protocol::state::Status::from_bits(live.status) } else { None };
    let measured = bench.heard.iter().filter_map(live).filter(|s| s.depth == Belief::Good && s.lean == Belief::Blank).count();
    assert!(measured > 5, "{measured}");

    bench.stay(200);
    assert!(bench.heard.iter().any(|m| matches!(m, Message::Hello(_))) && bench.live().1.hole_open);
    let starts = bench.only(|r| if let Record::Start(Start { at, .. }) = r { Some(at.0) } else { None });
    assert_eq!(starts, [0, 0], "a start is recorded with its own time, not with that of its record");
    assert_eq!(bench.only(|r| matches!(r, Record::Note(_)).then_some(())).len(), 20, "and what was refused was not done");
    let after = bench.rig.into_memory().0;
    let changed = before.chunks(SLOT).zip(after.chunks(SLOT)).filter(|(a, b)| a != b && a.iter().any(|byte| *byte != 0)).count();
    assert_eq!(changed, 0, "not a slot that was there has changed");
}

#[test]
fn an_absolute_encoder_loses_nothing_of_what_is_bored_while_the_memory_is_read() {
    let mut bench = Bench::starting(drilled(absolute()), absolute(), Millis(0));
    bench.tip_mm = 500.0;
    while !bench.rig.recovered() {
        bench.tip_mm += 2.0; // 40 mm/s
        bench.stay(ROUND_MS);
    }
    assert!(bench.tip_mm > 520.0, "{}", bench.tip_mm);
    let bored = bench.tip_mm + 30.0;
    bench.go(bored, 20.0);
    bench.stay(1_000);
    let (live, status) = bench.live();
    assert!(status.referenced && (f64::from(live.depth.0) / 1e3 - bored).abs() < 0.2, "{live:?}");
    let deepest = bench.only(|r| if let Record::Increment(i) = r { Some(i.depth.0) } else { None }).last().copied().unwrap();
    assert!(bored - f64::from(deepest) / 1e3 < 25.0, "{deepest} of {bored}");
}

/// Ten rounds that agree are believed, and the count is no longer where the hub was touched.
#[test]
fn an_encoder_that_slips_while_the_memory_is_read_is_not_tied_to_the_hub_again() {
    let mut bench = Bench::starting(drilled(absolute()), absolute(), Millis(0));
    bench.tip_mm = 500.0;
    bench.stay(3 * ROUND_MS);
    bench.tip_mm = -2_000.0;
    bench.stay(12 * ROUND_MS);
    assert!(!bench.rig.recovered(), "still reading");
    while !bench.rig.recovered() {
        bench.stay(ROUND_MS);
    }
    bench.stay(200);
    assert!(bench.live().1.hole_open && !bench.live().1.referenced);
    let last = bench.changes(Check::Reference).last().map(|c| c.state);
    assert_eq!(last, Some(ReferenceState::Unreferenced.raw()));
}

#[test]
fn a_set_up_of_thousands_of_slots_is_taken_up_again() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(300.0, 20.0);
    bench.stay(1_000);
    let mut memory = bench.rig.into_memory();
    append(&mut memory, (0..3_000).map(|n| Record::Change(Change { figure: n, ..Change::default() })));
    let mut bench = Bench::on(memory);
    bench.tip_mm = 300.0;
    bench.stay(500);
    assert!(bench.live().1.hole_open && bench.outlook().bottom.0 >= 299_000, "{:?}", bench.outlook());
    bench.request = 900;
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
}

#[test]
fn a_hole_whose_sealing_was_cut_hundreds_of_times_is_sealed_in_the_end() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(200.0, 20.0);
    bench.ask(Command::CloseHole(CloseHole {}));
    bench.stay(500);
    let seal_at = bench.records().iter().find(|(_, r)| r.kind() == Seal::KIND).unwrap().0 as usize;
    let mut memory = bench.rig.into_memory();
    memory.0[RING_AT + seal_at * SLOT..].fill(0);
    memory.0[256..512].fill(0); // what remembers the seal outside the ring
    append(&mut memory, (0..700).map(|_| Record::Start(Start::default())));
    let mut bench = Bench::on(memory);
    bench.stay(500);
    assert_eq!(bench.only(|r| matches!(r, Record::Seal(_)).then_some(())).len(), 1);
}

#[test]
fn what_opens_a_set_up_and_is_not_whole_does_not_hide_what_was_closed_before_it() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.ask(Command::CloseHole(CloseHole {}));
    bench.stay(500);
    let seal_at = bench.records().iter().find(|(_, r)| r.kind() == Seal::KIND).unwrap().0 as usize;
    let opened: Vec<u8> = bench.slots.iter().filter(|s| s.kind() == Opened::KIND).flat_map(|s| *s.bytes()).collect();
    let mut memory = bench.rig.into_memory();
    memory.0[RING_AT + seal_at * SLOT..].fill(0);
    memory.0[256..512].fill(0);
    // Its last slot only, under the next number.
    let mut last: [u8; SLOT] = opened[opened.len() - SLOT..].try_into().unwrap();
    last[..4].copy_from_slice(&u32::try_from(seal_at).unwrap().to_le_bytes());
    let check = shared_protocol::slot::CRC.checksum(&last[..28]).to_le_bytes();
    last[28..].copy_from_slice(&check);
    memory.0[RING_AT + seal_at * SLOT..][..SLOT].copy_from_slice(&last);
    let mut bench = Bench::on(memory);
    bench.stay(500);
    assert_eq!(bench.only(|r| matches!(r, Record::Seal(_)).then_some(())).len(), 1);
}

#[test]
fn however_many_slots_in_a_row_are_torn_one_gap_names_them() {
    for (torn, open) in [(1, true), (4, true), (6, true), (12, true), (4, false), (12, false)] {
        let mut bench = Bench::new();
        bench.open(plan());
        if !open {
            assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
            bench.stay(500);
        }
        bench.records();
        let end = bench.slots.last().unwrap().sequence() as usize + 1;
        let mut memory = bench.rig.into_memory();
        (0..torn).for_each(|n| memory.0[RING_AT + (end + n) * SLOT..][..9].fill(0x5A));
        let want = [(u32::try_from(end).unwrap(), u32::try_from(end + torn).unwrap() - 1, GapCause::Torn.raw())];
        let mut bench = Bench::on(memory);
        for round in 0..3 {
            bench.records(); // what reading over it adds comes with the next reading
            let gaps = bench.only(|r| if let Record::Gap(gap) = r { Some((gap.first, gap.last, gap.cause)) } else { None });
            assert_eq!(gaps, want, "{torn} torn, a hole open {open}, start {round}");
            bench = bench.restart();
        }
    }
}

#[test]
fn slots_that_rot_in_a_row_are_one_gap_and_are_asked_for_once() {
    let mut bench = Bench::new();
    let memory = {
        (0..60).for_each(|n| assert_eq!(bench.ask_as(1_000 + n, note()).answer, Answer::Done.raw()));
        let mut memory = bench.rig.into_memory();
        memory.0[RING_AT + 40 * SLOT..][..11 * SLOT].fill(0x5A);
        memory
    };
    let mut bench = Bench::on(memory);
    for _ in 0..3 {
        bench.records();
    }
    let gaps = bench.only(|r| if let Record::Gap(gap) = r { Some((gap.first, gap.last, gap.cause)) } else { None });
    assert_eq!(gaps, [(40, 50, GapCause::Damaged.raw())]);
}
