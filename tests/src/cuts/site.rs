//! A rig on a small frail memory, moved by hand, with a host that keeps what it is given.

use firmware_app::board::Outlet;
use firmware_app::memory::Memory;
use firmware_app::profile::Profile;
use firmware_app::reading::{Reading, Sensed};
use firmware_app::rig::Rig;
use host_tool::session::{Outcome, Output, Session};
use shared_protocol::message::Command;
use shared_protocol::slot::Slot;
use shared_protocol::state::{Answer, ResetCause, SpecificForce};
use shared_protocol::units::{MicroG, Millis, RigAxes};
use std::collections::BTreeMap;

/// One turn, ms.
const TURN_MS: u32 = 50;
/// Where the ring begins; what is before it is not evidence.
pub const RING_AT: usize = 4_096;
/// Count at which the tip is on the hub; the encoder makes ten counts a millimetre.
const HUB_COUNT: i32 = 30_000;

/// The cable: what the rig has said.
#[derive(Debug, Default)]
struct Cable(Vec<u8>);

impl Outlet for Cable {
    fn room(&self) -> usize {
        2_048_usize.saturating_sub(self.0.len())
    }
    fn send(&mut self, frame: &[u8]) {
        self.0.extend_from_slice(frame);
    }
}

/// What a host has on its disk.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Disk {
    /// Slots by sequence.
    pub slots: BTreeMap<u32, [u8; 32]>,
    /// Sequences that came a second time with other bytes.
    pub conflicts: Vec<u32>,
    /// Everything below this is held, or known never to come.
    pub below: u32,
    /// The epoch that all of this is of, 0 before any was heard of.
    pub epoch: u32,
    /// Slots of the epochs before it, by epoch.
    pub before: BTreeMap<u32, BTreeMap<u32, [u8; 32]>>,
}

impl Disk {
    /// Puts what is of another epoch aside.
    fn turn_to(&mut self, epoch: u32) {
        if self.epoch != epoch && self.epoch > 0 {
            self.before.entry(self.epoch).or_default().append(&mut self.slots);
            self.below = 0;
        }
        self.epoch = epoch;
    }
}

/// The site.
#[derive(Debug)]
pub struct Site<M: Memory> {
    rig: Rig<M>,
    now: Millis,
    tip_mm: f64,
    cable: Cable,
    plugged: bool,
    session: Session,
    host_now: u64,
    to_rig: Vec<u8>,
    requests: u32,
    answer: Option<Answer>,
    /// The host's disk.
    pub disk: Disk,
}

impl<M: Memory> Site<M> {
    /// A rig that starts on a memory, and a host that starts on its disk. Requests are numbered from `requests` on.
    #[must_use]
    pub fn start(memory: M, disk: Disk, requests: u32) -> Self {
        Self::with(memory, Profile::bench(), disk, requests)
    }

    /// The same with a rig of this profile.
    #[must_use]
    pub fn with(memory: M, profile: Profile, disk: Disk, requests: u32) -> Self {
        Self {
            rig: Rig::start(memory, profile, ResetCause::Power, Millis(0)),
            now: Millis(0),
            tip_mm: 0.0,
            cable: Cable::default(),
            plugged: true,
            session: Session::new(7),
            host_now: 0,
            to_rig: Vec::new(),
            requests,
            answer: None,
            disk,
        }
    }

    /// One turn of rig and host.
    pub fn turn(&mut self) {
        self.now = self.now.plus(TURN_MS);
        self.host_now += u64::from(TURN_MS);
        let sensed = Some(self.sensed());
        let to_rig = if self.plugged { std::mem::take(&mut self.to_rig) } else { Vec::new() };
        self.rig.poll(self.now, sensed, &to_rig, &mut self.cable);
        let said = std::mem::take(&mut self.cable.0);
        if self.plugged {
            self.session.step(self.host_now, &said);
            self.heed();
        }
    }

    fn sensed(&self) -> Sensed {
        #[allow(clippy::cast_possible_truncation)] // a few metres
        let count = HUB_COUNT + (self.tip_mm * 10.0).round() as i32 + i32::from(self.now.0.is_multiple_of(100));
        let up = MicroG(999_900 + i32::from(self.now.0.is_multiple_of(100)));
        let level = RigAxes { forward: MicroG(12_000), right: MicroG(-4_000) };
        Sensed { count: Reading::Good(count), force: Reading::Good(SpecificForce { level, up }), temperature: None }
    }

    fn heed(&mut self) {
        while let Some(output) = self.session.output() {
            match output {
                Output::Send(bytes) => self.to_rig.extend(bytes),
                Output::Introduced(introduction) => {
                    self.disk.turn_to(introduction.stream.epoch);
                    self.session.resume(self.host_now, self.disk.below.max(introduction.hello.tail));
                }
                Output::Keep { slots, held, .. } => {
                    let below = slots.last().map_or(held, |slot| slot.sequence() + 1).max(held);
                    self.keep(&slots);
                    self.disk.below = self.disk.below.max(below);
                    self.session.stored(below);
                }
                Output::Missing(_, _, last) => self.disk.below = self.disk.below.max(last + 1),
                Output::Outcome(_, outcome) => {
                    self.answer = outcome.answer().or(if outcome == Outcome::Silent { None } else { self.answer })
                }
                Output::Live(_) | Output::Outlook(_) | Output::Raw(_) | Output::Behind(_) => {}
            }
        }
    }

    fn keep(&mut self, slots: &[Slot]) {
        for slot in slots {
            let before = self.disk.slots.insert(slot.sequence(), *slot.bytes());
            if before.is_some_and(|before| before != *slot.bytes()) {
                self.disk.conflicts.push(slot.sequence());
            }
        }
    }

    /// Runs until the rig knows all again that its memory says.
    pub fn recover(&mut self) {
        while !self.rig.recovered() {
            self.turn();
        }
    }

    /// Lets time pass.
    pub fn stay(&mut self, ms: u32) {
        (0..ms / TURN_MS).for_each(|_| self.turn());
    }

    /// Moves the tip, mm/s.
    pub fn go(&mut self, to_mm: f64, speed: f64) {
        let step = speed * f64::from(TURN_MS) / 1e3;
        while (self.tip_mm - to_mm).abs() > 1e-9 {
            self.tip_mm += (to_mm - self.tip_mm).clamp(-step, step);
            self.turn();
        }
    }

    /// Has a command given and waits for its answer, at most ten seconds.
    pub fn ask(&mut self, command: Command) -> Option<Answer> {
        self.requests += 1;
        self.answer = None;
        self.session.command(self.host_now, self.requests, command);
        self.heed();
        for _ in 0..10_000 / TURN_MS {
            if self.answer.is_some() {
                break;
            }
            self.turn();
        }
        self.answer
    }

    /// Pulls the cable, or puts it back; what was under way is lost.
    pub fn plug(&mut self, plugged: bool) {
        self.plugged = plugged;
        self.to_rig.clear();
    }

    /// Runs until the host has all that the rig has; false where that does not come within two minutes.
    pub fn drain(&mut self) -> bool {
        let since = self.host_now;
        for _ in 0..120_000 / TURN_MS {
            if self.session.drained(since) {
                return true;
            }
            self.turn();
        }
        false
    }
}
