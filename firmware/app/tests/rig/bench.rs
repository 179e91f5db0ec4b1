//! A rig on a bench of arithmetic, and what it says.

use firmware_app::board::Outlet;
use firmware_app::memory::{Memory, read_us, write_us};
use firmware_app::profile::Profile;
use firmware_app::reading::{Reading, Sensed};
use firmware_app::rig::Rig;
use shared_protocol::assemble::Assembler;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap};
use shared_protocol::message::{Command, Live, LoadHole, Message, Outlook, Raw, Replay, Reply, TouchHub};
use shared_protocol::record::{Change, Plan, Record};
use shared_protocol::slot::Slot;
use shared_protocol::state::{Check, ResetCause, SpecificForce, Status};
use shared_protocol::units::{Lean, MicroG, Micrometres, Millis, RigAxes};
use std::cell::Cell;
use std::rc::Rc;

#[derive(Debug)]
pub struct Ram(pub Vec<u8>);

impl Memory for Ram {
    type Error = ();
    fn size(&self) -> u32 {
        u32::try_from(self.0.len()).unwrap()
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        into.copy_from_slice(&self.0[at as usize..at as usize + into.len()]);
        Ok(())
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
        self.0[at as usize..at as usize + bytes.len()].copy_from_slice(bytes);
        Ok(())
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

/// How long turns wait for the memory's bus, µs.
#[derive(Debug, Default)]
pub struct Meter {
    turn: Cell<u32>,
    worst: Cell<u32>,
}

impl Meter {
    /// A turn has ended; says how long it waited.
    pub fn turn(&self) -> u32 {
        let turn = self.turn.take();
        self.worst.set(self.worst.get().max(turn));
        turn
    }

    /// The longest since it was asked last.
    pub fn worst(&self) -> u32 {
        self.worst.take()
    }
}

/// A memory on I²C, as far as time goes.
#[derive(Debug)]
pub struct OnBus {
    pub ram: Ram,
    pub meter: Rc<Meter>,
}

impl Memory for OnBus {
    type Error = ();
    fn size(&self) -> u32 {
        self.ram.size()
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        self.meter.turn.set(self.meter.turn.get() + read_us(u32::try_from(into.len()).unwrap()));
        self.ram.read(at, into)
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
        self.meter.turn.set(self.meter.turn.get() + write_us(u32::try_from(bytes.len()).unwrap()));
        self.ram.write(at, bytes)
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

#[derive(Default)]
pub struct Cable {
    pub room: usize,
    pub out: Vec<u8>,
}

impl Outlet for Cable {
    fn room(&self) -> usize {
        self.room
    }
    fn send(&mut self, frame: &[u8]) {
        assert!(frame.len() <= self.room, "sent without room");
        self.out.extend_from_slice(frame);
    }
}

/// A rig on a bench of arithmetic: the tip goes where it is put, the tool leans as told.
pub struct Bench<M: Memory = Ram> {
    pub rig: Rig<M>,
    /// Told after each turn.
    pub meter: Rc<Meter>,
    pub now: Millis,
    pub cable: Cable,
    pub tip_mm: f64,
    pub lean: (i32, i32),
    pub temperature: Option<i16>,
    pub request: u32,
    rounds: i32,
    pub heard: Vec<Message<'static>>,
    pub slots: Vec<Slot>,
}

pub const ROUND_MS: u32 = 50;
/// Count at which the tip of tool 1 is on the hub; the encoder makes ten counts a millimetre.
pub const HUB_COUNT: i32 = 30_000;

impl Bench {
    pub fn new() -> Self {
        Self::on(Ram(vec![0; 524_288]))
    }

    pub fn on(memory: Ram) -> Self {
        Self::with(memory, Profile::bench())
    }

    pub fn with(memory: Ram, profile: Profile) -> Self {
        Self::at(memory, profile, Millis(0))
    }

    /// Started when the rig's clock says so.
    pub fn at(memory: Ram, profile: Profile, now: Millis) -> Self {
        let mut bench = Self::starting(memory, profile, now);
        while !bench.rig.recovered() {
            bench.rig.poll(bench.now, None, &[], &mut bench.cable);
        }
        bench
    }

    pub fn restart(self) -> Self {
        let (tip_mm, lean, temperature, request) = (self.tip_mm, self.lean, self.temperature, self.request);
        Self { tip_mm, lean, temperature, request, ..Self::on(self.rig.into_memory()) }
    }
}

impl<M: Memory> Bench<M> {
    /// A rig that has looked into nothing yet.
    pub fn starting(memory: M, profile: Profile, now: Millis) -> Self {
        Self {
            rig: Rig::start(memory, profile, ResetCause::Power, now),
            meter: Rc::default(),
            now,
            cable: Cable { room: 4_096, out: Vec::new() },
            tip_mm: 0.0,
            lean: (0, 0),
            temperature: Some(2_150),
            request: 100,
            rounds: 0,
            heard: Vec::new(),
            slots: Vec::new(),
        }
    }

    pub fn sensed(&self) -> Sensed {
        #[allow(clippy::cast_possible_truncation)]
        let count = HUB_COUNT + (self.tip_mm * 10.0).round() as i32;
        let (forward, right) = self.lean;
        let level = RigAxes { forward: MicroG(forward), right: MicroG(right) };
        Sensed {
            count: Reading::Good(count),
            force: Reading::Good(SpecificForce { level, up: MicroG(999_900 + self.rounds % 2) }),
            temperature: self.temperature,
        }
    }

    pub fn round(&mut self, sensed: Option<Sensed>, bytes: &[u8]) {
        self.now = self.now.plus(ROUND_MS);
        self.rounds += 1;
        self.rig.poll(self.now, sensed, bytes, &mut self.cable);
        self.meter.turn();
        self.listen();
    }

    /// Takes in what the rig has said.
    pub fn listen(&mut self) {
        let out = std::mem::take(&mut self.cable.out);
        let (mut accumulator, mut buffer) = (Accumulator::new(), [0; ENCODED_BYTES_MAX]);
        for byte in out {
            let Some(message) = accumulator.push(byte, &mut buffer) else { continue };
            match Message::decode(message.unwrap()).unwrap() {
                Message::Slots(slots) => self.slots.extend(slots.iter().map(Result::unwrap)),
                Message::Hello(hello) => self.heard.push(Message::Hello(hello)),
                Message::Live(live) => self.heard.push(Message::Live(live)),
                Message::Outlook(outlook) => self.heard.push(Message::Outlook(outlook)),
                Message::Reply(reply) => self.heard.push(Message::Reply(reply)),
                Message::Raw(raw) => self.heard.push(Message::Raw(raw)),
                other => panic!("a rig does not say {other:?}"),
            }
        }
    }

    pub fn stay(&mut self, ms: u32) {
        for _ in 0..ms / ROUND_MS {
            let sensed = self.sensed();
            self.round(Some(sensed), &[]);
        }
    }

    /// Moves the tip at a speed, millimetres per second.
    pub fn go(&mut self, to_mm: f64, speed: f64) {
        let step = speed * f64::from(ROUND_MS) / 1e3;
        while (self.tip_mm - to_mm).abs() > 1e-9 {
            self.tip_mm += (to_mm - self.tip_mm).clamp(-step, step);
            self.stay(ROUND_MS);
        }
    }

    pub fn say(&mut self, message: &Message<'_>) {
        let sensed = self.sensed();
        self.round(Some(sensed), &wrap(message).unwrap());
    }

    pub fn ask(&mut self, command: Command) -> Reply {
        self.request += 1;
        self.ask_as(self.request, command)
    }

    pub fn ask_as(&mut self, request: u32, command: Command) -> Reply {
        self.say(&Message::Command { request, command });
        self.stay(ROUND_MS);
        let reply = self.heard.iter().rev().find_map(|m| if let Message::Reply(reply) = m { Some(*reply) } else { None }).unwrap();
        assert_eq!(reply.request, request);
        reply
    }

    pub fn open(&mut self, plan: Plan) -> Reply {
        let reply = self.ask(Command::LoadHole(LoadHole { plan }));
        self.stay(1_000);
        reply
    }

    pub fn touch(&mut self) -> Reply {
        let tip = self.tip_mm;
        self.go(0.0, 500.0);
        self.stay(1_000);
        let reply = self.ask(Command::TouchHub(TouchHub {}));
        self.go(tip, 500.0);
        reply
    }

    pub fn live(&self) -> (Live, Status) {
        let live = self.heard.iter().rev().find_map(|m| if let Message::Live(live) = m { Some(*live) } else { None }).unwrap();
        (live, Status::from_bits(live.status).unwrap())
    }

    pub fn outlook(&self) -> Outlook {
        self.heard.iter().rev().find_map(|m| if let Message::Outlook(outlook) = m { Some(*outlook) } else { None }).unwrap()
    }

    pub fn raw(&self) -> Raw {
        self.heard.iter().rev().find_map(|m| if let Message::Raw(raw) = m { Some(*raw) } else { None }).unwrap()
    }

    /// Every change of a check on record: its state and its figure.
    pub fn changes(&mut self, check: Check) -> Vec<Change> {
        self.only(|r| if let Record::Change(c) = r { Some(*c) } else { None }).into_iter().filter(|c| c.check == check.raw()).collect()
    }

    /// Everything on record, in order.
    pub fn records(&mut self) -> Vec<(u32, Record)> {
        self.slots.clear();
        self.say(&Message::Replay(Replay { from: 0 }));
        let mut before = usize::MAX;
        while before != self.slots.len() {
            before = self.slots.len();
            self.stay(200);
        }
        let mut assembler = Assembler::default();
        self.slots.iter().filter_map(|s| assembler.push(s).map(|w| (w.first, Record::decode(w.kind, w.body).unwrap()))).collect()
    }

    pub fn only<T>(&mut self, pick: impl Fn(&Record) -> Option<T>) -> Vec<T> {
        self.records().iter().filter_map(|(_, r)| pick(r)).collect()
    }
}

pub fn plan() -> Plan {
    Plan {
        structure: "7".try_into().unwrap(),
        leg: 1,
        attempt: 1,
        setup: 1,
        depth: Micrometres::from_mm(1_000),
        diameter: Micrometres::from_mm(1_100),
        tool: 1,
        depth_under: Micrometres::from_mm(50),
        depth_over: Micrometres::from_mm(100),
        plumb_limit: Lean(20_000),
        ..Plan::default()
    }
}

/// Drills to 1 m in three passes at 20 mm/s and comes up to the hub.
pub fn drill(bench: &mut Bench) {
    for bottom in [400.0, 750.0, 1_000.0] {
        let here = bench.tip_mm.max(0.0);
        bench.go(here, 1_000.0);
        bench.go(bottom, 20.0);
        bench.stay(1_500);
        bench.go(-500.0, 1_000.0);
        bench.stay(2_000);
        bench.go(bottom - 5.0, 1_000.0);
    }
    bench.go(-500.0, 1_000.0);
}
