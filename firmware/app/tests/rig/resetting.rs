//! Factory reset: refused until a host has all, recorded, then everything is forgotten, RAM and memory.

use crate::bench::{Bench, Ram, plan};
use firmware_app::profile::Profile;
use shared_protocol::body::Secret;
use shared_protocol::message::{
    Acknowledge, Ask, Calibrate, CloseHole, Command, Commission, Decommission, Hello, LoadHole, Message, TakeNote,
};
use shared_protocol::record::{Calibration, Decommissioned, Record, Start};
use shared_protocol::slot::{Part, Slot};
use shared_protocol::state::{Answer, CalibrationItem, ResetCause};
use shared_protocol::units::Millis;

const SECRET: [u8; 32] = *b"an invented key of a bench test ";

fn real() -> Bench {
    let profile = Profile { simulated: false, ..Profile::bench() };
    let mut bench = Bench::with(Ram(vec![0; 524_288]), profile);
    bench.stay(1_500);
    bench
}

fn decommission(bench: &mut Bench, epoch: u32) -> Answer {
    let who = "Fitter".try_into().unwrap();
    Answer::from_raw(bench.ask(Command::Decommission(Decommission { epoch, who })).answer).unwrap()
}

/// What the rig says of itself now.
fn hello(bench: &mut Bench) -> Hello {
    bench.say(&Message::Ask(Ask { host: 1 }));
    bench.stay(100);
    bench.heard.iter().rev().find_map(|m| if let Message::Hello(hello) = m { Some(*hello) } else { None }).unwrap()
}

fn acknowledge(bench: &mut Bench) {
    let Hello { epoch, head, .. } = hello(bench);
    bench.say(&Message::Acknowledge(Acknowledge { epoch, below: head, host: 1 }));
}

fn calibrated(value: i32) -> Command {
    let calibration = Calibration {
        item: CalibrationItem::Tool.raw(),
        who: "Fitter".try_into().unwrap(),
        day: 20_000,
        expires: 20_365,
        values: heapless::Vec::from_slice(&[200, value, 700_000]).unwrap(),
        ..Calibration::default()
    };
    Command::Calibrate(Calibrate { calibration })
}

fn hole(bench: &mut Bench) {
    assert_eq!(bench.open(plan()).answer, Answer::Done.raw());
    bench.touch();
    bench.go(100.0, 20.0);
    bench.go(0.0, 500.0);
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
    bench.stay(200);
}

#[test]
fn a_rig_forgets_nothing_that_is_open_or_that_no_host_has() {
    let mut bench = real();
    bench.open(plan());
    assert_eq!(decommission(&mut bench, 1), Answer::HoleOpen);
    bench.ask(Command::CloseHole(CloseHole {}));
    bench.stay(200);
    assert_eq!(decommission(&mut bench, 1), Answer::NotDrained);
    acknowledge(&mut bench);
    assert_eq!(decommission(&mut bench, 2), Answer::OtherEpoch);
    let nobody = Command::Decommission(Decommission { epoch: 1, who: "".try_into().unwrap() });
    assert_eq!(bench.ask(nobody).answer, Answer::BadFigures.raw());
    assert!(bench.only(|r| if let Record::Decommissioned(d) = r { Some(d.clone()) } else { None }).is_empty());
    assert_eq!(decommission(&mut bench, 1), Answer::Done);
}

#[test]
fn the_last_of_all_epochs_is_not_reset() {
    let mut memory = Ram(vec![0; 524_288]);
    for mark in [0, 64] {
        let last = [u32::MAX.to_le_bytes(), 0u32.to_le_bytes()].concat();
        memory.0[mark..mark + 32].copy_from_slice(Slot::build(0, 1, 241, Part::ONLY, &last).unwrap().bytes());
    }
    let mut bench = Bench::on(memory);
    acknowledge(&mut bench);
    assert_eq!(decommission(&mut bench, u32::MAX), Answer::NumbersUsedUp);
    assert!(bench.only(|r| if let Record::Decommissioned(d) = r { Some(d.clone()) } else { None }).is_empty());
}

#[test]
fn a_rig_that_is_drained_records_what_it_forgets_and_is_then_as_at_its_first_start() {
    let mut bench = real();
    let secret = Secret(SECRET);
    assert_eq!(bench.ask(Command::Commission(Commission { secret })).answer, Answer::Done.raw());
    assert_eq!(bench.ask(calibrated(1_250_000)).answer, Answer::Done.raw());
    hole(&mut bench);
    let key = bench.only(|r| if let Record::Commissioned(c) = r { Some(c.key) } else { None })[0];
    let configuration = bench.only(|r| if let Record::Identity(i) = r { Some(i.configuration) } else { None })[0];
    acknowledge(&mut bench);
    assert_eq!(decommission(&mut bench, 1), Answer::Done);
    let said = bench.only(|r| if let Record::Decommissioned(d) = r { Some(d.clone()) } else { None });
    let [Decommissioned { who, epoch: 1, boot: 1, seals: 1, copies: 2, calibrations: 1, .. }] = &said[..] else { panic!("{said:?}") };
    assert_eq!((who.as_str(), said[0].key, said[0].configuration), ("Fitter", key, configuration));
    let request = bench.request;
    bench.stay(1_000);
    let before = hello(&mut bench);
    assert_eq!(before.epoch, 1, "not before somebody has that record too");
    let note = || Command::TakeNote(TakeNote { author: "".try_into().unwrap(), text: "too late".try_into().unwrap() });
    assert_eq!(bench.ask(note()).answer, Answer::NotReady.raw(), "what is recorded stays all there is");
    acknowledge(&mut bench);
    bench.stay(1_500);
    let after = hello(&mut bench);
    assert_eq!((after.epoch, after.boot, after.tail, after.acknowledged), (2, 1, before.head, before.head));
    let records = bench.records();
    let Record::Start(Start { cause, epoch: 2, .. }) = records[0].1 else { panic!("{records:?}") };
    assert_eq!((records[0].0, cause), (before.head, ResetCause::Decommissioned.raw()));
    assert!(bench.slots.iter().all(|slot| slot.sequence() >= before.head), "none of the old epoch's slots");
    // The command said once more ends no other epoch.
    let who = "Fitter".try_into().unwrap();
    assert_eq!(bench.ask_as(request, Command::Decommission(Decommission { epoch: 1, who })).answer, Answer::OtherEpoch.raw());
    // No key, no calibration, no tool of its own, and seals begin anew.
    let mut with_tool = plan();
    with_tool.tool = 200;
    assert_eq!(bench.ask(Command::LoadHole(LoadHole { plan: with_tool })).answer, Answer::NoSuchTool.raw());
    hole(&mut bench);
    assert_eq!(bench.only(|r| if let Record::Unsealed(u) = r { Some(u.cause) } else { None }), [1]);
    let now = bench.only(|r| if let Record::Identity(i) = r { Some((i.epoch, i.configuration)) } else { None })[0];
    assert!(now.0 == 2 && now.1 != configuration);
    assert_eq!(bench.ask(Command::Commission(Commission { secret: Secret([7; 32].map(|b: u8| b ^ 1)) })).answer, Answer::KnownKey.raw());
    let other = Secret(*b"a second one, for tests as well.");
    assert_eq!(bench.ask(Command::Commission(Commission { secret: other })).answer, Answer::Done.raw());
    hole(&mut bench);
    let seal = bench.only(|r| if let Record::Seal(s) = r { Some(*s) } else { None })[0];
    assert_eq!((seal.epoch, seal.number, seal.previous), (2, 0, [0; 32]));
    let memory = bench.rig.into_memory().0;
    assert!(!memory.windows(8).any(|w| w == &SECRET[8..16]), "the key is nowhere any more");
    let mut bench = Bench::with(Ram(memory), Profile { simulated: false, ..Profile::bench() });
    bench.stay(500);
    let start = bench.only(|r| if let Record::Start(s) = r { Some((s.epoch, s.cause)) } else { None });
    assert_eq!(start, [(2, ResetCause::Decommissioned.raw()), (2, ResetCause::Power.raw())], "the next start is one like any other");
}

#[test]
fn a_reset_whose_record_nobody_fetches_is_called_off_and_can_be_asked_for_again() {
    let mut bench = real();
    acknowledge(&mut bench);
    assert_eq!(decommission(&mut bench, 1), Answer::Done);
    bench.stay(10_200);
    acknowledge(&mut bench);
    bench.stay(1_000);
    assert_eq!(hello(&mut bench).epoch, 1, "a host that comes later carries nothing out");
    acknowledge(&mut bench);
    assert_eq!(decommission(&mut bench, 1), Answer::Done);
    acknowledge(&mut bench);
    bench.stay(1_000);
    assert_eq!(hello(&mut bench).epoch, 2);
}

#[test]
fn a_rig_is_reset_again_and_again() {
    let mut bench = real();
    for epoch in 1..6 {
        hole(&mut bench);
        acknowledge(&mut bench);
        assert_eq!(decommission(&mut bench, epoch), Answer::Done);
        acknowledge(&mut bench);
        bench.stay(1_500);
        assert_eq!(hello(&mut bench).epoch, epoch + 1);
    }
}

/// What a power cut leaves while the configuration is being blanked, on the memory's bus in bounded turns.
#[test]
fn a_reset_that_was_cut_short_is_finished_by_the_next_start() {
    let mut bench = real();
    assert_eq!(bench.ask(Command::Commission(Commission { secret: Secret(SECRET) })).answer, Answer::Done.raw());
    assert_eq!(bench.ask(calibrated(1_250_000)).answer, Answer::Done.raw());
    acknowledge(&mut bench);
    assert_eq!(decommission(&mut bench, 1), Answer::Done);
    acknowledge(&mut bench); // its last turn: the mark stands, and nothing is forgotten yet
    let memory = bench.rig.into_memory().0;
    assert!(memory.windows(32).any(|w| w == SECRET));
    for turns in 0..8 {
        let mut bench = Bench::starting(Ram(memory.clone()), Profile { simulated: false, ..Profile::bench() }, Millis(0));
        bench.stay(turns * crate::bench::ROUND_MS);
        let mut bench = Bench::with(Ram(bench.rig.into_memory().0), Profile { simulated: false, ..Profile::bench() });
        bench.stay(200);
        assert_eq!(hello(&mut bench).epoch, 2, "cut after {turns} turns");
        hole(&mut bench);
        assert_eq!(bench.only(|r| if let Record::Unsealed(u) = r { Some(u.cause) } else { None }), [1], "no key");
        assert!(!bench.rig.into_memory().0.windows(8).any(|w| w == &SECRET[8..16]));
    }
}
