//! A memory that refuses for a while: no hole stays without a seal and without a word about it.

use crate::bench::{Bench, Ram, plan};
use firmware_app::memory::Memory;
use firmware_app::profile::Profile;
use shared_protocol::message::{CloseHole, Command, Message, TakeNote};
use shared_protocol::record::Record;
use shared_protocol::state::{Answer, UnsealedCause};
use shared_protocol::units::Millis;
use std::cell::Cell;
use std::rc::Rc;

/// A memory that takes nothing while it is told so.
#[derive(Debug)]
struct Fickle {
    ram: Ram,
    refuses: Rc<Cell<bool>>,
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
        if self.refuses.get() { Err(()) } else { self.ram.write(at, bytes) }
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

/// A rig whose hole is closed and whose memory refuses from then on.
fn closed(simulated: bool) -> (Bench<Fickle>, Rc<Cell<bool>>) {
    let refuses = Rc::new(Cell::new(false));
    let memory = Fickle { ram: Ram(vec![0; 524_288]), refuses: refuses.clone() };
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
