//! One site and what befalls it: a rig on a frail memory, a cable, two hosts, and somebody who works on through it all.

use super::faults::{Dice, Fault, What, calm_from_ms, ring_slots};
use super::ledger::Ledger;
use super::machine::Fragile;
use super::oracle;
use crate::cab::Cab;
use crate::cuts::site::RING_AT;
use firmware_app::memory::Memory;
use host_tool::store::Store;
use shared_protocol::state::{Belief, Status};
use simulator::bench::Bench;
use simulator::cable::CableSettings;
use simulator::frail::FrailMemory;
use simulator::operator::Progress;
use simulator::scenario::{Event, Happening, STILL_HOLE, Scenario};
use simulator::sensors::SensorName;
use std::fmt::Debug;
use std::hash::{DefaultHasher, Hasher};

/// Nothing fails any more: within so long the work is done, virtual ms.
const DONE_WITHIN_MS: u64 = 420_000;
/// Then within so long a host has all that the rig has, virtual ms.
const DRAINED_WITHIN_MS: u64 = 30_000;
/// The numbers that the hosts go by.
const HOSTS: [u32; 2] = [0x0A0A_0000, 0x0B0B_0000];
/// Operators are patient here, s.
const PATIENCE_S: f64 = 36_000.0;

/// How it ended.
#[derive(Debug)]
pub struct Ended {
    /// What does not hold: one line.
    pub wrong: Option<String>,
    /// How long it took after the last fault, virtual ms.
    pub converged_ms: u64,
    /// All of it, virtual ms.
    pub virtual_ms: u64,
    /// A check over everything said on the cable, and over memory and stores in the end.
    pub trace: u64,
}

/// The end of a fault.
#[derive(Clone, Copy, Debug)]
enum End {
    Power,
    Writes,
    Noise,
    Host,
}

/// The site.
#[derive(Debug)]
pub struct Site<M: Memory + Clone + Debug> {
    seed: u64,
    cab: Cab<Fragile<M>>,
    memory: FrailMemory,
    seen: u64,
    ledger: Ledger,
    faults: std::vec::IntoIter<Fault>,
    ends: Vec<(u64, End)>,
    off_ms: u64,
    /// The stores that no host is at work with.
    aside: [Option<Store>; 2],
    at_work: Option<usize>,
    lose: fn(Store) -> Store,
    trace: DefaultHasher,
}

/// Two short holes with notes in between, in a world of noise.
fn scenario(seed: u64) -> Scenario {
    let mut dice = Dice::new(seed, 4);
    let mut scenario = Scenario::parse("a still hole", STILL_HOLE).expect("our own");
    scenario.still = dice.between(0, 1) == 0;
    scenario.sensors.tilt_noise_mg = 2.0;
    scenario.sensors.encoder_noise_counts = 2.0;
    scenario.work.patience_s = PATIENCE_S;
    let hole = scenario.hole.remove(0);
    for attempt in 1..=2 {
        let mut hole = hole.clone();
        hole.attempt = attempt;
        hole.depth_mm = dice.between(200, 500).into();
        let notes = dice.between(0, 6);
        hole.event = (0..notes).map(|n| note(n, &mut dice)).collect();
        scenario.hole.push(hole);
    }
    scenario
}

fn note(n: u32, dice: &mut Dice) -> Event {
    let text = format!("{n}: water at 0.3 m, none above it; {}", "gravel ".repeat(usize::try_from(dice.between(0, 11)).unwrap_or(0)));
    let what = Happening::Note { author: "Sim. Ground hand".to_owned(), text };
    Event { at_mm: None, at_s: Some(dice.between(1, 70).into()), what }
}

impl<M: Memory + Clone + Debug> Site<M> {
    /// A site at work.
    ///
    /// # Panics
    /// When machine or store cannot be made.
    #[must_use]
    pub fn start(seed: u64, faults: Vec<Fault>, wrap: impl FnOnce(FrailMemory) -> M, lose: fn(Store) -> Store) -> Self {
        let memory = FrailMemory::new(vec![0; RING_AT + ring_slots(seed) * 32], seed);
        let ledger = Ledger::new(&memory.kept());
        let machine = Fragile::start(memory.clone(), wrap(memory.clone())).expect("it starts");
        let bench = Bench::new(&scenario(seed), seed, machine).expect("it fits");
        let [first, other] = HOSTS.map(|host| Store::in_memory(host).expect("a store"));
        Self {
            seed,
            cab: Cab::beside(bench, first),
            memory,
            seen: 0,
            ledger,
            faults: faults.into_iter(),
            ends: Vec::new(),
            off_ms: 1_000,
            aside: [None, Some(other)],
            at_work: Some(0),
            lose,
            trace: DefaultHasher::new(),
        }
    }

    /// Works until all is done, and says how it ended.
    #[must_use]
    pub fn run(mut self) -> Ended {
        let calm_ms = calm_from_ms(self.seed);
        while self.cab.now() < calm_ms {
            self.turn();
        }
        self.calm();
        let wrong = self.converge().and_then(|()| self.holds()).err();
        let virtual_ms = self.cab.now();
        Ended { wrong, converged_ms: virtual_ms - calm_ms, virtual_ms, trace: self.trace.finish() }
    }

    fn turn(&mut self) {
        let now = self.cab.now();
        while let Some(fault) = self.faults.as_slice().first().filter(|fault| fault.at_ms <= now).cloned() {
            self.faults.next();
            self.begin(fault.what);
        }
        for (_, end) in self.ends.extract_if(.., |(at, _)| *at <= now).collect::<Vec<_>>() {
            self.end(end);
        }
        self.cab.turn();
        if self.memory.is_dead() && self.cab.bench.is_powered() {
            self.power_off(self.off_ms);
        }
        self.observe();
        self.trace.write(self.cab.said());
        if let (Some(host), Some(capture)) = (self.at_work, self.cab.host()) {
            self.ledger.hear(host, self.cab.said(), capture.store()).expect("the store reads");
        }
    }

    fn observe(&mut self) {
        if self.memory.written() != self.seen {
            self.seen = self.memory.written();
            self.ledger.observe(&self.memory.kept());
        }
    }

    fn after(&mut self, ms: u64, end: End) {
        self.ends.push((self.cab.now() + ms, end));
    }

    fn power_off(&mut self, off_ms: u64) {
        self.cab.bench.cut_power().expect("the power goes");
        self.ledger.observe(&self.memory.kept());
        self.off_ms = off_ms;
        self.after(off_ms, End::Power);
    }

    fn begin(&mut self, what: What) {
        match what {
            What::Torn { byte, off_ms } => {
                self.memory.cut_at(self.memory.written() + byte);
                self.off_ms = off_ms;
            }
            What::Supply { off_ms, again } => {
                self.cab.bench.machine_mut().again = again;
                if self.cab.bench.is_powered() {
                    self.power_off(off_ms);
                }
            }
            What::Rot(bits) => {
                for (at, bits) in bits {
                    self.ledger.rots(at);
                    self.memory.rot(at, bits);
                    self.ledger.observe(&self.memory.kept());
                }
            }
            What::Refusing { after, for_ms } => {
                self.memory.refuse_after(Some(self.memory.written() + after));
                self.after(for_ms, End::Writes);
            }
            What::Noise { per_million, for_ms } => {
                let [damaged, bursts, lost, doubled] = per_million.map(|n| f64::from(n) / 1e6);
                self.cab.bench.spoil_cable(CableSettings { damaged, bursts, lost, doubled, ..CableSettings::default() });
                self.after(for_ms, End::Noise);
            }
            What::Unplugged { for_ms } => self.cab.bench.unplug(seconds(for_ms)),
            What::Sensor { sensor, how, for_ms } => self.cab.bench.fault(sensor, how, seconds(for_ms)),
            What::Killed { for_ms } => {
                self.host(None);
                self.after(for_ms, End::Host);
            }
            What::Other { for_ms } => {
                self.host(Some(1));
                self.after(for_ms, End::Host);
            }
        }
    }

    fn end(&mut self, end: End) {
        match end {
            End::Power => self.cab.bench.restore_power().expect("the rig starts"),
            End::Writes => self.memory.refuse_after(None),
            End::Noise => self.cab.bench.spoil_cable(CableSettings::default()),
            End::Host => self.host(Some(0)),
        }
    }

    /// Whichever host is there is killed, and this one starts, on what its own store has committed.
    fn host(&mut self, next: Option<usize>) {
        let killed = self.cab.put_host(None).map(self.lose);
        if let Some(before) = self.at_work {
            self.aside[before] = killed;
        }
        self.at_work = next;
        if let Some(next) = next {
            self.cab.put_host(self.aside[next].take());
        }
    }

    /// Nothing fails any more.
    fn calm(&mut self) {
        self.memory.refuse_after(None);
        self.cab.bench.machine_mut().again.clear();
        if !self.memory.is_dead() {
            self.memory.power_up(); // no cut that still waits for its byte
        }
        self.ends.clear();
        self.faults = Vec::new().into_iter();
        for end in [End::Power, End::Noise, End::Host] {
            self.end(end);
        }
        self.cab.bench.plug();
        [SensorName::Encoder, SensorName::Tilt].into_iter().for_each(|sensor| self.cab.bench.mend(sensor));
    }

    /// Works on until the holes are done and both hosts have all that the rig can give them.
    fn converge(&mut self) -> Result<(), String> {
        self.until(DONE_WITHIN_MS, "the work is not done", |site| site.cab.bench.progress() == Some(Progress::Finished))?;
        for host in [0, 1] {
            if self.at_work != Some(host) {
                self.host(Some(host));
            }
            let since = self.cab.now();
            let drained = |site: &Self| site.cab.host().is_some_and(|host| host.drained(since));
            self.until(DRAINED_WITHIN_MS, &format!("host {host} has not all that the rig has"), drained)?;
            self.until(5_000, "no reading is shown", Self::measures)?;
        }
        Ok(())
    }

    fn until(&mut self, within_ms: u64, what: &str, holds: impl Fn(&Self) -> bool) -> Result<(), String> {
        let end = self.cab.now() + within_ms;
        while !holds(self) {
            if self.cab.now() >= end {
                return Err(format!("{what} within {} s after all was well: {:?}", within_ms / 1_000, self.cab.bench.progress()));
            }
            self.turn();
        }
        Ok(())
    }

    fn measures(&self) -> bool {
        let (Some(live), Some(outlook)) = &self.cab.shown else { return false };
        let status = Status::from_bits(live.status);
        status.is_some_and(|status| status.depth == Belief::Good && matches!(status.lean, Belief::Good | Belief::Blank))
            && (outlook.encoder_fault, outlook.tilt_fault) == (0, 0)
    }

    fn holds(&mut self) -> Result<(), String> {
        let at_work = self.at_work;
        if let (Some(host), Some(store)) = (at_work, self.cab.put_host(None)) {
            self.aside[host] = Some(store);
        }
        let [Some(first), Some(other)] = &self.aside else { return Err("a store is gone".to_owned()) };
        self.trace.write(&self.memory.kept());
        for store in [first, other] {
            for stream in store.rigs().map_err(|fault| fault.to_string())? {
                let held = store.stream(&stream).map_err(|fault| fault.to_string())?;
                held.slots.iter().for_each(|slot| self.trace.write(slot.bytes()));
            }
        }
        oracle::holds(&self.ledger, &self.memory, [first, other])
    }
}

fn seconds(ms: u64) -> f64 {
    f64::from(u32::try_from(ms).unwrap_or(u32::MAX)) / 1e3
}
