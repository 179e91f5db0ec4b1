//! How long turns wait for the memory's bus, and how long a start takes: 512 KiB at 400 kHz, in the worst of all states.

use crate::bench::{Bench, Meter, OnBus, Ram, plan};
use firmware_app::board::{RECEIVE_BYTES, TURN_BUS_MS};
use firmware_app::journal::{Journal, Search};
use firmware_app::lean::SETTLED_MS;
use firmware_app::memory::{Memory, read_us, write_us};
use firmware_app::profile::Profile;
use firmware_app::reading::{Reading, Sensed};
use shared_protocol::frame::wrap;
use shared_protocol::message::{
    Acknowledge, Ask, Calibrate, ChangeTool, CloseHole, Command, Commission, Decommission, LoadHole, Message, SetClock, TakeNote,
};
use shared_protocol::record::{Calibration, Change, Gap, Plan, Record};
use shared_protocol::state::{Activity, Answer, Belief, CalibrationItem, GapCause, SensorFault};
use shared_protocol::units::{Micrometres, Millis};
use std::rc::Rc;

const RING_AT: usize = 4_096;
const SLOT: usize = 32;
/// Slots of the ring of 512 KiB.
const CAPACITY: u32 = 16_256;
/// The longest that the sensor line takes from one round to the next, ms.
const ROUND_MAX_MS: u32 = 67;
/// After the start sensors are heard and shown within this, whatever the memory holds, ms.
const MEASURES_MS: u32 = 500;
/// All is known again and commands are done within this, ms: with a set-up of a thousand slots, with one of all the ring
/// or none in it, and where such a one has lost every checkpoint.
const RECOVERED_MS: u32 = 1_500;
const RECOVERED_FULL_MS: u32 = 15_000;
const RECOVERED_SPOILED_MS: u32 = 30_000;

/// Where the next slot will stand.
fn head(memory: &mut impl Memory) -> Journal {
    let (mut journal, mut search) = (Journal::open(memory), Search::default());
    while search.step(&mut journal, memory).is_none() {}
    journal
}

/// So many slots more, of no set-up or of the one that began there, with its checkpoints.
fn fill(memory: &mut Ram, slots: u32, set_up: Option<u32>) {
    let mut journal = head(memory);
    if let Some(first) = set_up {
        journal.resume_run(first, None);
    }
    for n in 0..slots {
        journal.append(memory, &Record::Change(Change { figure: i32::try_from(n).unwrap(), ..Change::default() })).unwrap();
    }
}

/// A power cut in the middle of the next slots, and a few rotted ones a little before them.
fn damage(memory: &mut Ram) {
    let head = head(memory).head();
    let mut strike = |sequence: u32| memory.0[RING_AT + (sequence % CAPACITY) as usize * SLOT..][..9].fill(0x5A);
    (head..head + 3).for_each(&mut strike);
    [9, 10, 40, 41, 42].into_iter().for_each(|back| strike(head - back));
}

fn on_bus(ram: Ram, profile: Profile) -> Bench<OnBus> {
    let meter = Rc::<Meter>::default();
    let mut bench = Bench::starting(OnBus { ram, meter: meter.clone() }, profile, Millis(0));
    bench.meter = meter;
    bench
}

fn deep() -> Plan {
    let full = |n: usize| "W".repeat(n);
    Plan {
        line: full(24).as_str().try_into().unwrap(),
        structure: full(16).as_str().try_into().unwrap(),
        operator: full(24).as_str().try_into().unwrap(),
        depth: Micrometres::from_mm(30_000),
        heading: shared_protocol::units::CentiDegrees(35_999),
        heading_within: shared_protocol::units::CentiDegrees(3_000),
        ..plan()
    }
}

/// Every calibration there may be, at its longest.
fn calibrations() -> Vec<Calibration> {
    let of = |item: CalibrationItem, values: &[i32]| Calibration {
        item: item.raw(),
        who: "W".repeat(16).as_str().try_into().unwrap(),
        day: u32::MAX - 9,
        expires: u32::MAX,
        uncertainty: u32::MAX,
        residual: u32::MAX,
        values: values.iter().copied().collect(),
    };
    let table: Vec<i32> = (0..8).flat_map(|n| [n * 100_000, n * 10_000_000]).collect();
    let tools = (1..=8).map(|n| of(CalibrationItem::Tool, &[n, 1_250_000, 900_000 + n]));
    let others = [
        of(CalibrationItem::TiltZero, &[-18_000, -19_000, -2_000]),
        of(CalibrationItem::TiltDrift, &[-500, -200]),
        of(CalibrationItem::Mount, &[9_000, 0, 1_000_000]),
        of(CalibrationItem::ToolLevel, &[-200, -500]),
        of(CalibrationItem::GuidePlay, &[8_000]),
        of(CalibrationItem::Encoder, &table),
    ];
    others.into_iter().chain(tools).collect()
}

impl Bench<OnBus> {
    /// The longest turn since the last time, ms; within the budget.
    fn worst(&self, what: &str) -> f64 {
        let worst = f64::from(self.meter.worst()) / 1e3;
        println!("{what}: {worst} ms of the bus in one turn at most");
        assert!(worst > 0.0 && worst <= f64::from(TURN_BUS_MS), "{what}: {worst} ms");
        worst
    }

    /// A start in real time: a turn begins a millisecond after the last one or as soon as the bus is free, and sensors bring
    /// rounds as seldom as they may. Says when the sensors were shown, and when all was recovered, ms.
    fn recover(&mut self) -> (u32, u32) {
        let (mut us, mut round_due, mut measured) = (0u64, ROUND_MAX_MS, None);
        while !self.rig.recovered() {
            self.now = Millis(u32::try_from(us / 1_000).unwrap());
            let sensed = (self.now.0 >= round_due).then(|| self.sensed());
            round_due += if sensed.is_some() { ROUND_MAX_MS } else { 0 };
            self.rig.poll(self.now, sensed, &[], &mut self.cable);
            us += u64::from(self.meter.turn().max(1_000));
            self.listen();
            let shown = |bench: &Self| bench.heard.iter().any(|m| matches!(m, Message::Live(_))) && bench.live().1.depth == Belief::Good;
            if measured.is_none() && shown(self) && matches!(self.live().1.lean, Belief::Good | Belief::Blank) {
                measured = Some(self.now.0);
            }
            assert!(us < 60_000_000, "never recovered");
        }
        let recovered = self.now.0;
        (measured.unwrap_or(recovered), recovered)
    }
}

/// A full ring whose newest slots are an open hole of about a thousand, under every calibration there may be.
fn with_open_hole(increments: f64) -> Ram {
    let mut ram = Ram(vec![0; 524_288]);
    fill(&mut ram, 2 * CAPACITY - 300, None);
    let mut bench = Bench::on(ram);
    for calibration in calibrations() {
        assert_eq!(bench.ask(Command::Calibrate(Calibrate { calibration })).answer, Answer::Done.raw());
    }
    bench.open(deep());
    assert_eq!(bench.touch().answer, Answer::Done.raw());
    bench.go(increments * 25.0, 250.0);
    bench.stay(1_000);
    bench.rig.into_memory()
}

#[test]
fn no_turn_waits_longer_for_the_bus_than_its_budget() {
    let mut ram = with_open_hole(950.0);
    let before = head(&mut ram);
    damage(&mut ram);
    let mut bench = on_bus(ram, Profile::bench());
    let (measured, recovered) = bench.recover();
    println!("a set-up of {} slots: measures after {measured} ms, recovered after {recovered} ms", before.head());
    assert!(measured <= MEASURES_MS && recovered <= RECOVERED_MS, "{measured} {recovered}");
    bench.worst("a start");
    bench.tip_mm = 950.0 * 25.0;
    bench.stay(2_000);
    assert!(bench.live().1.hole_open);
    bench.worst("the first turns");

    assert_eq!(bench.touch().answer, Answer::Done.raw());
    bench.go(27_000.0, 250.0);
    bench.worst("drilling");
    bench.ask(Command::SetClock(SetClock { unix_ms: 1_790_000_000_000, offset: 120 }));
    bench.ask(Command::ChangeTool(ChangeTool { tool: 3 }));
    bench.worst("small commands");
    let drained = bench.records().len();
    assert!(drained > 15_000, "{drained}");
    bench.worst("a host drains it");
    let (epoch, below) = (1, bench.slots.last().unwrap().sequence() + 1);
    bench.say(&Message::Acknowledge(Acknowledge { epoch, below, host: 1 }));
    bench.worst("and says so");
    bench.request += 1;
    bench.say(&Message::Command { request: bench.request, command: Command::CloseHole(CloseHole {}) });
    bench.worst("closing");
    bench.stay(1_000);
    bench.worst("sealing");
    for calibration in calibrations() {
        assert_eq!(bench.ask(Command::Calibrate(Calibrate { calibration })).answer, Answer::Done.raw());
    }
    bench.worst("calibrating");
    assert_eq!(bench.open(deep()).answer, Answer::Done.raw());
    bench.worst("opening");
    bench.ask(Command::CloseHole(CloseHole {}));
    bench.stay(1_000);
    let acknowledge = |bench: &mut Bench<OnBus>| {
        bench.say(&Message::Ask(Ask { host: 1 }));
        bench.stay(50);
        let below = bench.heard.iter().rev().find_map(|m| if let Message::Hello(h) = m { Some(h.head) } else { None }).unwrap();
        bench.say(&Message::Acknowledge(Acknowledge { epoch, below, host: 1 }));
    };
    acknowledge(&mut bench);
    bench.worst("draining");
    let decommission = Command::Decommission(Decommission { epoch, who: "Fitter".try_into().unwrap() });
    assert_eq!(bench.ask(decommission).answer, Answer::Done.raw());
    bench.worst("asking for a factory reset");
    acknowledge(&mut bench);
    assert!(!bench.rig.recovered(), "it has begun again");
    bench.worst("the turn that ends an epoch");
    let (_, recovered) = bench.recover();
    bench.worst("forgetting everything");
    println!("forgotten, and all known again, after {recovered} ms");
    assert!(recovered <= RECOVERED_MS, "{recovered}");
}

/// The longest record that a calibration makes.
fn longest() -> Calibration {
    let table = (0..8).flat_map(|n| [-2_000_000_000 + n * 250_000_000, -87_500_000 + n * 25_000_000]);
    let encoder = calibrations().into_iter().find(|c| c.item == CalibrationItem::Encoder.raw()).unwrap();
    Calibration { values: table.collect(), ..encoder }
}

fn failing(fault: SensorFault) -> Sensed {
    Sensed { count: Reading::Fault(fault), force: Reading::Fault(fault), temperature: None }
}

impl Bench<OnBus> {
    /// Three acknowledgements of slots that nobody has said to have yet.
    fn acknowledgements(&mut self, held: &mut u32) -> Vec<u8> {
        *held += 3;
        let below = *held - 2..=*held;
        below.flat_map(|below| wrap(&Message::Acknowledge(Acknowledge { epoch: 1, below, host: 1 })).unwrap().to_vec()).collect()
    }

    /// A command's last bytes come in a turn of their own, with acknowledgements behind them as many as a turn takes. Says when
    /// that was and what was answered.
    fn ask_in_one_turn(&mut self, before: Option<Command>, command: Command, sensed: Option<Sensed>, held: &mut u32) -> (Millis, u8) {
        let all = wrap(&Message::Command { request: self.request + 2, command }).unwrap();
        let (early, late) = all.split_at(all.len() - 4);
        let before = before.map(|command| wrap(&Message::Command { request: self.request + 1, command }).unwrap().to_vec());
        self.request += 2;
        self.round(None, &[&before.unwrap_or_default(), early].concat());
        self.worst("before");
        let bytes = [late, &self.acknowledgements(held)].concat();
        assert!(bytes.len() <= RECEIVE_BYTES, "{}", bytes.len());
        self.heard.clear();
        self.round(sensed, &bytes);
        let answer = self.heard.iter().find_map(|m| if let Message::Reply(r) = m { Some((r.request, r.answer)) } else { None });
        assert_eq!(answer.map(|(request, _)| request), Some(self.request), "{:?}", self.heard);
        (self.now, answer.unwrap().1)
    }

    /// How many such records were made in each of these turns.
    fn made_in(&mut self, turns: &[Millis], pick: fn(&Record) -> Option<Millis>) -> Vec<usize> {
        let made = self.only(pick);
        turns.iter().map(|turn| made.iter().filter(|at| *at == turn).count()).collect()
    }
}

/// The turn behind a close would seal, but does the command that comes with it: the longest of them, while both sensors change
/// their fault, a host says three times what it has, and lost slots are declared. It seals in the next.
#[test]
fn a_seal_waits_for_a_turn_that_records_nothing_else() {
    let mut bench = on_bus(with_open_hole(20.0), Profile::bench());
    bench.recover();
    let (mut held, mut turns, mut sealing) = (0, Vec::new(), Vec::new());
    for notes in 0..12 {
        let note = || Command::TakeNote(TakeNote { author: "".try_into().unwrap(), text: "x".try_into().unwrap() });
        (0..notes).for_each(|_| assert_eq!(bench.ask(note()).answer, Answer::Done.raw()));
        if notes > 0 {
            assert_eq!(bench.open(deep()).answer, Answer::Done.raw());
        }
        (0..10).for_each(|_| bench.round(Some(failing(SensorFault::Silent)), &[]));
        let (close, calibrate) = (Command::CloseHole(CloseHole {}), Command::Calibrate(Calibrate { calibration: longest() }));
        let (at, answer) = bench.ask_in_one_turn(Some(close), calibrate, Some(failing(SensorFault::Damaged)), &mut held);
        assert_eq!(answer, Answer::Done.raw());
        bench.worst("calibrating behind a close");
        turns.push(at);
        let bytes = bench.acknowledgements(&mut held);
        bench.round(None, &bytes);
        bench.worst("sealing");
        sealing.push(bench.now);
    }
    let seal = |r: &Record| if let Record::Seal(s) = r { Some(s.at) } else { None };
    assert_eq!((bench.made_in(&turns, seal), bench.made_in(&sealing, seal)), (vec![0; 12], vec![1; 12]));
    assert_eq!(bench.made_in(&turns, |r| if let Record::Calibrated(c) = r { Some(c.at) } else { None }), [1; 12]);
    assert_eq!(bench.made_in(&turns, |r| if let Record::Fault(f) = r { Some(f.at) } else { None }), [4; 12]);
    let gaps = bench.made_in(&turns, |r| if let Record::Gap(g) = r { Some(g.at) } else { None });
    assert_eq!(gaps, [1; 12]);
}

/// An opening waits for a turn in which the sensors have brought nothing to record; a hole that stays without its seal may
/// have to be said before it, which takes one slot.
#[test]
fn an_opening_with_all_that_may_come_with_it_is_within_the_budget() {
    let mut bench = on_bus(with_open_hole(20.0), Profile::bench());
    bench.recover();
    bench.ask(Command::SetClock(SetClock { unix_ms: i64::MAX, offset: -1_440 }));
    let (mut held, mut turns) = (0, Vec::new());
    let load = || Command::LoadHole(LoadHole { plan: deep() });
    for _ in 0..40 {
        bench.ask(Command::CloseHole(CloseHole {}));
        bench.stay(1_000);
        (0..10).for_each(|_| bench.round(Some(failing(SensorFault::Silent)), &[]));
        let (_, answer) = bench.ask_in_one_turn(None, load(), Some(failing(SensorFault::Damaged)), &mut held);
        assert_eq!(answer, Answer::NotReady.raw());
        let (at, answer) = bench.ask_in_one_turn(None, load(), Some(failing(SensorFault::Damaged)), &mut held);
        assert_eq!(answer, Answer::Done.raw());
        let worst = bench.worst("opening");
        let a_slot = f64::from(read_us(32) + write_us(32)) / 1e3;
        assert!(worst + a_slot <= f64::from(TURN_BUS_MS), "{worst} ms, and a slot");
        turns.push(at);
    }
    let gaps = bench.made_in(&turns, |r| if let Record::Gap(g) = r { Some(g.at) } else { None });
    assert!(gaps.contains(&1), "{gaps:?}");
}

/// Nobody fetches anything, so that whatever gives way is declared.
#[test]
fn a_full_ring_that_nobody_fetched_is_no_longer_a_wait() {
    let mut bench = on_bus(with_open_hole(20.0), Profile { simulated: false, ..Profile::bench() });
    bench.recover();
    bench.tip_mm = 500.0;
    bench.stay(1_000);
    bench.touch();
    bench.go(8_000.0, 250.0);
    bench.worst("drilling");
    bench.ask(Command::CloseHole(CloseHole {}));
    let secret = shared_protocol::body::Secret(core::array::from_fn(|n| u8::try_from(n * 7).unwrap()));
    assert_eq!(bench.ask(Command::Commission(Commission { secret })).answer, Answer::Done.raw());
    bench.worst("closing and commissioning");
    bench.open(deep());
    let lost = bench.only(|r| if let Record::Gap(Gap { cause, .. }) = r { Some(*cause) } else { None });
    assert!(lost.contains(&GapCause::Reclaimed.raw()), "{lost:?}");
    bench.worst("opening and draining");
}

#[test]
fn the_longest_hole_that_the_ring_holds_is_taken_up_and_sensors_are_shown_meanwhile() {
    for (spoiled, within) in [(false, RECOVERED_FULL_MS), (true, RECOVERED_SPOILED_MS)] {
        let mut ram = Ram(vec![0; 524_288]);
        fill(&mut ram, CAPACITY + 7, None);
        let mut bench = Bench::on(ram);
        bench.open(plan());
        let opened = bench.outlook().opened;
        let mut ram = bench.rig.into_memory();
        fill(&mut ram, CAPACITY - 900, (!spoiled).then_some(opened));
        let mut bench = on_bus(ram, Profile::bench());
        let (measured, recovered) = bench.recover();
        println!("a set-up of all the ring, spoiled {spoiled}: measures after {measured} ms, recovered after {recovered} ms");
        assert!(measured <= MEASURES_MS && (12_000..=within).contains(&recovered), "{measured} {recovered}");
        bench.worst("a start");
        bench.stay(SETTLED_MS);
        assert!(bench.live().1.hole_open, "{:?}", bench.live().1);
    }
}

#[test]
fn no_hole_for_a_whole_ring_is_found_out_too() {
    let mut ram = Ram(vec![0; 524_288]);
    fill(&mut ram, CAPACITY + 7, None);
    let mut bench = on_bus(ram, Profile::bench());
    let (measured, recovered) = bench.recover();
    println!("no hole at all in the ring: measures after {measured} ms, recovered after {recovered} ms");
    assert!(measured <= MEASURES_MS && recovered <= RECOVERED_FULL_MS, "{measured} {recovered}");
    bench.stay(200);
    assert_eq!(bench.live().1.activity, Activity::Idle);
}

#[test]
fn an_empty_memory_is_found_to_be_empty_before_the_first_round_of_sensors() {
    let mut bench = on_bus(Ram(vec![0; 524_288]), Profile::bench());
    let (_, recovered) = bench.recover();
    println!("an empty memory: recovered after {recovered} ms");
    assert!(recovered <= ROUND_MAX_MS, "{recovered}");
}
