//! Any host can empty any rig: what was frozen of the drain subset against the rig of today, and the host of today against
//! a rig that is later.

mod version_0;

use host_tool::capture::{Capture, Event, Notice};
use host_tool::readout::Readout;
use host_tool::session::Stream;
use host_tool::store::Store;
use shared_protocol::VERSION;
use shared_protocol::message::{Command, TouchHub};
use simulator::bench::Bench;
use simulator::machine::Machine;
use simulator::operator::Progress;
use simulator::scenario::{STILL_HOLE, Scenario};
use std::collections::BTreeMap;
use tests::cab::{Cab, MORNING};
use version_0::{Ears, Hello, Message, Slot, sequence, slot};

/// A turn, ms.
const TURN_MS: u8 = 5;
/// The frozen host asks again when nothing new has come for so long, ms.
const AGAIN_MS: u64 = 500;

/// The frozen host: it asks, takes what comes in order, asks again where it does not, and says what it has.
#[derive(Default)]
struct Host {
    ears: Ears,
    hello: Option<(u8, Hello)>,
    slots: BTreeMap<u32, Slot>,
    since: u64,
}

impl Host {
    fn next(&self) -> u32 {
        let tail = self.hello.as_ref().map_or(0, |(_, hello)| hello.tail);
        (tail..).find(|n| !self.slots.contains_key(n)).unwrap_or(u32::MAX)
    }

    fn done(&self) -> bool {
        self.hello.as_ref().is_some_and(|(_, hello)| self.next() >= hello.head)
    }

    fn turn(&mut self, now: u64, bytes: &[u8]) -> Vec<u8> {
        let mut new = false;
        for (version, message) in self.ears.hear(bytes) {
            match message {
                Message::Hello(hello) => self.hello = Some((version, hello)),
                Message::Slots(slots) => {
                    for slot in slots {
                        let at = sequence(&slot).expect("a rig hands out slots that check");
                        new |= self.slots.insert(at, slot).is_none();
                    }
                }
                _ => {}
            }
        }
        if new {
            self.since = now;
        } else if now >= self.since + AGAIN_MS {
            self.since = now;
            // In a version that no rig has spoken yet: the subset is read whatever the version.
            let epoch = self.hello.as_ref().map_or(0, |(_, hello)| hello.epoch);
            let said = [
                Message::Ask { host: 9 },
                Message::Replay { from: self.next() },
                Message::Acknowledge { epoch, below: self.next(), host: 9 },
            ];
            return said.iter().flat_map(|message| message.frame(77, &[])).collect();
        }
        Vec::new()
    }
}

#[test]
fn the_rig_of_today_is_emptied_by_a_host_that_knows_only_the_frozen_subset() {
    let scenario = Scenario::parse("drain", STILL_HOLE).expect("a scenario");
    let mut cab = Cab::beside(Bench::native(&scenario, 3).expect("a rig"), Store::in_memory(7).expect("a store"));
    cab.until("the end of the work", |cab| cab.bench.progress() == Some(Progress::Finished));
    cab.kill_host();
    let (mut host, mut to_rig) = (Host::default(), Vec::new());
    for now in (0..60_000).step_by(usize::from(TURN_MS)) {
        let bytes = cab.bench.advance(TURN_MS, &to_rig).expect("runs");
        to_rig = host.turn(now, &bytes);
        if host.done() && now > 5_000 {
            break;
        }
    }
    let remembered = cab.remembered();
    let all: Vec<Slot> = remembered.iter().map(|slot| *slot.bytes()).collect();
    assert!(all.len() > 50 && host.done());
    assert_eq!(host.slots.values().copied().collect::<Vec<_>>(), all[..host.slots.len()]);
    let (version, hello) = host.hello.expect("a hello");
    assert_eq!((version, &hello.rig[..11], hello.simulated), (VERSION, &b"SIM-BENCH-1"[..], 1));
    assert!(hello.acknowledged > hello.head - 5, "it was heard what the host has: {hello:?}");
    assert!(cab.bench.machine().memory().is_ok());
}

/// A rig of a later version: its hello has grown, it makes records and says things that nobody here knows.
struct Later {
    ears: Ears,
    slots: Vec<Slot>,
    cursor: Option<usize>,
    acknowledged: u32,
    others: Vec<u8>,
}

impl Later {
    const VERSION: u8 = 9;

    fn turn(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut said = Message::Other(200).frame(Self::VERSION, b"a figure of later days");
        said.extend(Message::Other(11).frame(Self::VERSION, b"a word more of the subset"));
        for (_, message) in self.ears.hear(bytes) {
            match message {
                Message::Ask { .. } => said.extend(Message::Hello(self.hello()).frame(Self::VERSION, b"eight by")),
                Message::Replay { from } => self.cursor = usize::try_from(from).ok(),
                Message::Acknowledge { epoch: 4, below, .. } => self.acknowledged = below,
                Message::Acknowledge { epoch, .. } => panic!("acknowledged for epoch {epoch}"),
                other => self.others.extend(match other {
                    Message::Other(kind) => Some(kind),
                    _ => None,
                }),
            }
        }
        if let Some(cursor) = self.cursor {
            let end = self.slots.len().min(cursor + 7);
            if cursor < end {
                said.extend(Message::Slots(self.slots[cursor..end].to_vec()).frame(Self::VERSION, &[]));
            }
            self.cursor = Some(end);
        }
        said
    }

    fn hello(&self) -> Hello {
        let mut rig = [0; 16];
        rig[..5].copy_from_slice(b"Later");
        let head = u32::try_from(self.slots.len()).expect("few");
        Hello { epoch: 4, boot: 2, head, acknowledged: self.acknowledged, capacity: 1_000, rig, ..Hello::default() }
    }
}

#[test]
fn a_rig_that_is_later_is_emptied_raw_and_both_versions_are_said() {
    let kinds = [1, 21, 99, 6, 255, 0];
    let slots: Vec<Slot> = (0..300).map(|n| slot(n, 2, kinds[n as usize % kinds.len()], &n.to_le_bytes())).collect();
    let mut rig = Later { ears: Ears::default(), slots, cursor: None, acknowledged: 0, others: Vec::new() };
    let mut capture = Capture::new(Store::in_memory(7).expect("a store")).expect("a host");
    let (mut readout, mut events, mut to_host) = (Readout::default(), Vec::new(), Vec::new());
    for now in (0..6_000).step_by(20) {
        let step = capture.step(now, MORNING, &to_host).expect("kept");
        step.events.iter().for_each(|event| readout.take(now, event));
        events.extend(step.events);
        to_host = rig.turn(&step.send);
    }
    capture.command(6_000, Command::TouchHub(TouchHub {})).expect("a number");
    let step = capture.step(6_000, MORNING, &to_host).expect("kept");
    rig.turn(&step.send);

    let stream = Stream { rig: "Later".to_owned(), epoch: 4 };
    let held = capture.store().stream(&stream).expect("readable");
    assert_eq!(held.slots.iter().map(|slot| *slot.bytes()).collect::<Vec<_>>(), rig.slots, "raw, and all of it");
    assert_eq!(rig.acknowledged, 300);
    assert!(rig.others.iter().all(|kind| *kind <= 15), "nothing but the subset is said to it: {:?}", rig.others);
    let notices: Vec<String> = events.iter().filter_map(|e| if let Event::Notice(n) = e { Some(n.to_string()) } else { None }).collect();
    let numbers = ["version 9", &format!("version {VERSION}")].map(str::to_owned);
    assert!(matches!(&notices[..], [one] if numbers.iter().all(|number| one.contains(number.as_str()))), "{notices:?}");
    assert!(!events.iter().any(|event| matches!(event, Event::Live(_) | Event::Outlook(_) | Event::Notice(Notice::Missing(..)))));
    let shown = readout.line(6_000);
    assert!(numbers.iter().all(|number| shown.contains(number.as_str())), "{shown}");
}
