//! A week without a cable: sixty holes of 3.3 m, forty passes each, with what happens on a site, in the rig's own memory, and the host that
//! takes all of it in the end.

use crate::cab::MORNING;
use firmware_app::board::Outlet;
use firmware_app::profile::Profile;
use firmware_app::reading::{Reading, Sensed};
use firmware_app::rig::Rig;
use host_tool::capture::{Capture, Event};
use host_tool::store::Store;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap};
use shared_protocol::message::{ChangeTool, CloseHole, Command, Hello, LoadHole, Message, SetClock, TakeNote, TouchHub};
use shared_protocol::record::Plan;
use shared_protocol::state::{Answer, ResetCause, SensorFault, SpecificForce};
use shared_protocol::units::{Lean, MicroG, Micrometres, Millis, RigAxes};
use simulator::memory::RamMemory;

/// Holes of a week.
pub const HOLES: u32 = 60;
/// Deepest of each hole below the hub, tenths of a millimetre.
const DEPTH: i32 = 33_000;
/// Passes of each hole.
pub const PASSES: i32 = 40;
/// A pass in which spoil has fallen in, one in which the tilt sensor is silent, one before which the tool is changed, and one
/// before which somebody notes what was met.
const FALL_IN: [i32; 3] = [9, 21, 33];
pub const SILENT: [i32; 2] = [14, 27];
const OTHER_TOOL: i32 = 30;
pub const NOTED: [i32; 2] = [11, 36];
/// A turn, ms, and how the tip moves in one, tenths of a millimetre: up and down at 2 m/s, cutting at 40 mm/s.
const TURN_MS: u32 = 50;
const TRIP: i32 = 1_000;
const CUT: i32 = 20;

#[derive(Debug, Default)]
struct Said(Vec<u8>);

impl Outlet for Said {
    fn room(&self) -> usize {
        2_048_usize.saturating_sub(self.0.len())
    }
    fn send(&mut self, frame: &[u8]) {
        self.0.extend_from_slice(frame);
    }
}

/// The rig through that week.
#[derive(Debug)]
pub struct Week {
    /// Its memory; clones are handles on the same.
    pub memory: RamMemory,
    rig: Rig<RamMemory>,
    now: Millis,
    tip: i32,
    silent: bool,
    lean: i32,
    requests: u32,
    accumulator: Accumulator,
    answer: Option<(u32, Option<Answer>)>,
    /// What it said last of its memory.
    pub hello: Hello,
}

impl Default for Week {
    fn default() -> Self {
        Self::new()
    }
}

impl Week {
    /// Before its first hole.
    #[must_use]
    pub fn new() -> Self {
        let memory = RamMemory::default();
        let rig = Rig::start(memory.clone(), Profile::bench(), ResetCause::Power, Millis(0));
        Self {
            memory,
            rig,
            now: Millis(0),
            tip: 0,
            silent: false,
            lean: 4_000,
            requests: 0,
            accumulator: Accumulator::new(),
            answer: None,
            hello: Hello::default(),
        }
    }

    /// One turn with these bytes from the host; what the rig says.
    pub fn turn(&mut self, to_rig: &[u8]) -> Vec<u8> {
        self.now = self.now.plus(TURN_MS);
        let lives = i32::from(self.now.0.is_multiple_of(100));
        let force = SpecificForce { level: RigAxes { forward: MicroG(self.lean), right: MicroG(-3_000) }, up: MicroG(999_900 + lives) };
        let force = if self.silent { Reading::Fault(SensorFault::Silent) } else { Reading::Good(force) };
        let sensed = Sensed { count: Reading::Good(30_000 + self.tip + lives), force, temperature: Some(2_100) };
        let mut said = Said::default();
        self.rig.poll(self.now, Some(sensed), to_rig, &mut said);
        let mut buffer = [0; ENCODED_BYTES_MAX];
        for byte in &said.0 {
            match self.accumulator.push(*byte, &mut buffer).and_then(Result::ok).map(Message::decode) {
                Some(Ok(Message::Hello(hello))) => self.hello = hello,
                Some(Ok(Message::Reply(reply))) => self.answer = Some((reply.request, Answer::from_raw(reply.answer))),
                _ => {}
            }
        }
        said.0
    }

    /// So long without a host.
    pub fn stay(&mut self, ms: u32) {
        (0..ms / TURN_MS).for_each(|_| drop(self.turn(&[])));
    }

    fn go(&mut self, to: i32, step: i32) {
        while self.tip != to {
            self.tip += (to - self.tip).clamp(-step, step);
            self.turn(&[]);
        }
    }

    /// A word to the rig from somebody who never asks for a slot.
    fn ask(&mut self, command: Command) {
        self.requests += 1;
        let request = self.requests;
        let frame = wrap(&Message::Command { request, command: command.clone() }).expect("fits");
        self.turn(&frame);
        self.stay(100);
        assert_eq!(self.answer, Some((request, Some(Answer::Done))), "{command:?}");
    }

    /// Drills one, the cable out.
    pub fn hole(&mut self, number: u32) {
        let mut structure = heapless::String::new();
        structure.push_str(&format!("S-{}/17-{number:02}", 100 + number / 2)).expect("fits");
        let plan = Plan {
            line: "Invented line, section 4".try_into().expect("fits"),
            structure,
            leg: 1 + u8::try_from(number % 2).expect("one or two") * 2,
            attempt: 1,
            setup: 1,
            operator: "Sim. Operator of the rig".try_into().expect("fits"),
            depth: Micrometres::from_mm(3_300),
            diameter: Micrometres::from_mm(1_100),
            tool: 1,
            depth_under: Micrometres::from_mm(50),
            depth_over: Micrometres::from_mm(100),
            plumb_limit: Lean(10_000),
            ..Plan::default()
        };
        self.stay(1_500);
        self.ask(Command::SetClock(SetClock { unix_ms: 1_778_592_600_000 + i64::from(self.now.0), offset: -360 }));
        self.ask(Command::LoadHole(LoadHole { plan }));
        self.stay(1_500);
        self.ask(Command::TouchHub(TouchHub {}));
        for pass in 1..=PASSES {
            self.pass(pass);
        }
        self.go(0, TRIP);
        self.stay(1_500);
        self.ask(Command::TouchHub(TouchHub {}));
        self.ask(Command::CloseHole(CloseHole {}));
        self.stay(500);
    }

    fn pass(&mut self, pass: i32) {
        if pass == OTHER_TOOL {
            self.ask(Command::ChangeTool(ChangeTool { tool: 1 }));
            self.stay(1_500);
            self.go(0, TRIP);
            self.stay(1_500);
            self.ask(Command::TouchHub(TouchHub {}));
        }
        if NOTED.contains(&pass) {
            let text = "Water at 2.1 m, seeping; coarse gravel below it, a cobble now and then, walls stand. Spoil to the left.";
            self.ask(Command::TakeNote(TakeNote {
                author: "Sim. Ground hand".try_into().expect("fits"),
                text: text.try_into().expect("fits"),
            }));
        }
        // Out of plumb for a third of the hole, so that its check says so and takes it back.
        self.lean = if (10..24).contains(&pass) { 12_000 } else { -2_000 };
        let (from, to) = (DEPTH * (pass - 1) / PASSES, DEPTH * pass / PASSES);
        if FALL_IN.contains(&pass) {
            self.go(from - 1_500, TRIP);
            self.stay(1_500);
        }
        self.go(from, TRIP);
        self.silent = SILENT.contains(&pass);
        self.stay(if self.silent { 3_000 } else { 0 });
        self.silent = false;
        self.go(to, CUT);
        self.stay(700);
        self.go(-3_000, TRIP);
        self.stay(700);
    }

    /// The cable is put in: a host takes all of it, as fast as both can without a line between them. What it holds then, and how many
    /// slots were new.
    ///
    /// # Panics
    /// Where it is not done in ten virtual minutes.
    pub fn drain(&mut self) -> (Store, u32) {
        let mut capture = Capture::new(Store::in_memory(7).expect("a store")).expect("a host");
        let (mut to_rig, mut kept, mut now) = (Vec::new(), 0, 0);
        while !capture.drained(1) {
            assert!(now < 600_000, "it is not drained in ten minutes: {kept} slots");
            now += u64::from(TURN_MS);
            let said = self.turn(&std::mem::take(&mut to_rig));
            let step = capture.step(now, MORNING, &said).expect("kept");
            to_rig = step.send;
            kept += step.events.iter().map(|event| if let Event::Kept(new) = event { *new } else { 0 }).sum::<u32>();
        }
        (capture.into_store(), kept)
    }
}
