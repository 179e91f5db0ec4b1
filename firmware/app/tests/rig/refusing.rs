//! A memory that refuses for a while: no hole stays without a seal and without a word about it, and nothing is in force that
//! is in no record.

use crate::bench::{Bench, Ram, plan};
use firmware_app::memory::Memory;
use firmware_app::profile::Profile;
use shared_protocol::message::{Calibrate, CloseHole, Command, Message, TakeNote};
use shared_protocol::record::{Calibration, Record};
use shared_protocol::slot::CRC;
use shared_protocol::state::{Answer, CalibrationItem, UnsealedCause};
use shared_protocol::units::Millis;
use std::cell::Cell;
use std::rc::Rc;

/// Where the ring begins, and where the two copies of the configuration stand before it.
const RING_AT: u32 = 4_096;
const COPIES: [usize; 2] = [512, 2_304];

/// A memory that takes nothing while it is told so, from a place on.
#[derive(Debug)]
struct Fickle {
    ram: Ram,
    refuses: Rc<Cell<bool>>,
    from: u32,
}

impl Memory for Fickle {
    type Error = ();
    fn size(&self) -> u32 {
        self.ram.size()
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        self.ram.read(at, into)
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
        if self.refuses.get() && at >= self.from { Err(()) } else { self.ram.write(at, bytes) }
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

/// A rig whose hole is closed and whose memory refuses from then on.
fn closed(simulated: bool) -> (Bench<Fickle>, Rc<Cell<bool>>) {
    let refuses = Rc::new(Cell::new(false));
    let memory = Fickle { ram: Ram(vec![0; 524_288]), refuses: refuses.clone(), from: 0 };
    let mut bench = Bench::starting(memory, Profile { simulated, ..Profile::bench() }, Millis(0));
    bench.stay(500);
    assert_eq!(bench.open(plan()).answer, Answer::Done.raw());
    bench.request += 1;
    bench.say(&Message::Command { request: bench.request, command: Command::CloseHole(CloseHole {}) });
    refuses.set(true);
    bench.stay(2_000);
    (bench, refuses)
}

fn open(bench: &mut Bench<Fickle>) -> Answer {
    Answer::from_raw(bench.open(plan()).answer).unwrap()
}

/// What is said of how holes end: first slot, and why it has no seal where it has none.
fn ends(bench: &mut Bench<Fickle>) -> Vec<(u32, Option<u8>)> {
    bench.only(|r| match r {
        Record::Seal(seal) => Some((seal.first, None)),
        Record::Unsealed(unsealed) => Some((unsealed.first, Some(unsealed.cause))),
        _ => None,
    })
}

fn note() -> Command {
    Command::TakeNote(TakeNote { author: "".try_into().unwrap(), text: "it takes records again".try_into().unwrap() })
}

#[test]
fn a_refused_seal_is_made_as_soon_as_the_memory_takes_something() {
    let (mut bench, refuses) = closed(true);
    assert_eq!(bench.ask(note()).answer, Answer::NotRecorded.raw());
    assert_eq!(ends(&mut bench), []);
    refuses.set(false);
    bench.stay(2_000);
    assert_eq!(ends(&mut bench), [], "nothing has said so yet, and each trial is a long turn");
    assert_eq!(bench.ask(note()).answer, Answer::Done.raw());
    bench.stay(500);
    let [(_, None)] = ends(&mut bench)[..] else { panic!("{:?}", ends(&mut bench)) };
    assert_eq!(open(&mut bench), Answer::Done);
}

#[test]
fn a_refused_seal_is_tried_once_more_when_the_next_hole_is_to_be_opened() {
    let (mut bench, refuses) = closed(true);
    refuses.set(false);
    assert_eq!(open(&mut bench), Answer::NotReady);
    let [(_, None)] = ends(&mut bench)[..] else { panic!("{:?}", ends(&mut bench)) };
    assert_eq!(open(&mut bench), Answer::Done);
}

#[test]
fn a_hole_whose_seal_is_refused_to_the_last_is_said_to_stay_without_before_the_next_is_opened() {
    for (simulated, cause) in [(true, UnsealedCause::Refused), (false, UnsealedCause::NoKey)] {
        let (mut bench, refuses) = closed(simulated);
        assert_eq!(open(&mut bench), Answer::NotReady);
        assert_eq!(open(&mut bench), Answer::NotRecorded, "nor is anything else recorded");
        refuses.set(false);
        assert_eq!(open(&mut bench), Answer::Done);
        let first = bench.only(|r| if let Record::Closed(c) = r { Some(c.first) } else { None })[0];
        assert_eq!(ends(&mut bench), [(first, Some(cause.raw()))]);
        let kinds: Vec<u8> = bench.records().iter().map(|(_, record)| record.kind()).collect();
        let at = |kind: u8| kinds.iter().rposition(|k| *k == kind).unwrap();
        assert!(at(19) < at(3), "said before the next opening: {kinds:?}");
    }
}

/// The key that was there when the hole was drilled seals it: no other comes between.
#[test]
fn no_key_is_taken_while_a_seal_waits() {
    let (mut bench, refuses) = closed(false);
    refuses.set(false);
    let secret = shared_protocol::body::Secret(core::array::from_fn(|n| u8::try_from(n * 7).unwrap()));
    let commission = Command::Commission(shared_protocol::message::Commission { secret });
    assert_eq!(bench.ask(commission).answer, Answer::NotReady.raw());
}

fn play(value: i32) -> Command {
    let calibration = Calibration {
        item: CalibrationItem::GuidePlay.raw(),
        who: "Fitter".try_into().unwrap(),
        day: 20_000,
        expires: 20_365,
        values: heapless::Vec::from_slice(&[value]).unwrap(),
        ..Calibration::default()
    };
    Command::Calibrate(Calibrate { calibration })
}

/// Two copies of the configuration, the newer of this number.
fn with_copies_up_to(number: u32) -> Ram {
    let mut bench = Bench::new();
    let taken: &[i32] = if number.is_multiple_of(2) { &[7_000, 8_000] } else { &[6_000, 7_000, 8_000] };
    taken.iter().for_each(|&value| assert_eq!(bench.ask(play(value)).answer, Answer::Done.raw()));
    let mut memory = bench.rig.into_memory();
    for of in [number.wrapping_sub(1), number] {
        let copy = &mut memory.0[COPIES[of as usize % 2]..];
        copy[..4].copy_from_slice(&of.to_le_bytes());
        let length = 102 + usize::from(u16::from_le_bytes([copy[4], copy[5]]));
        let check = CRC.checksum(&copy[..length]);
        copy[length..length + 4].copy_from_slice(&check.to_le_bytes());
    }
    memory
}

/// What a hole says that is in force: how much play the guide has.
fn in_force(bench: &mut Bench) -> Option<i32> {
    assert_eq!(bench.open(plan()).answer, Answer::Done.raw());
    assert_eq!(bench.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
    bench.stay(500);
    let said = bench.only(|r| if let Record::Instruments(i) = r { Some(i.stamps.first().map(|stamp| stamp.value)) } else { None });
    *said.last().unwrap()
}

/// A rig on a memory of another's, with requests that nobody has made yet.
fn asked_from(request: u32, memory: Ram) -> Bench {
    let mut bench = Bench::on(memory);
    bench.request = request;
    bench
}

/// Wherever the number of the copies stands, on either side of its wrap too.
#[test]
fn a_calibration_that_is_in_no_record_is_not_in_force_nor_taken_up_by_the_next_start() {
    for number in [2, 3, u32::MAX - 2, u32::MAX - 1, u32::MAX, 0, 1] {
        let refuses = Rc::new(Cell::new(false));
        let memory = Fickle { ram: with_copies_up_to(number), refuses: refuses.clone(), from: RING_AT };
        let mut bench = Bench::starting(memory, Profile::bench(), Millis(0));
        bench.stay(2_000);
        refuses.set(true);
        bench.request = 900;
        assert_eq!(bench.ask(play(9_000)).answer, Answer::NotRecorded.raw(), "behind copy {number}");
        let mut bench = asked_from(1_000, bench.rig.into_memory().ram);
        assert_eq!(in_force(&mut bench), Some(8_000), "behind copy {number}");
        assert_eq!(bench.ask(play(9_000)).answer, Answer::Done.raw());
        let mut bench = asked_from(2_000, bench.rig.into_memory());
        assert_eq!(in_force(&mut bench), Some(9_000), "behind copy {number}");
    }
}
