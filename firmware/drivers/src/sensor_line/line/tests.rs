//! The line against a slave on a wire of its own time: good replies, hostile ones, none.

use super::*;
use crate::sensor_line::reply::tests::checked;
use embedded_hal_nb::serial::{ErrorKind, ErrorType};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::vec::Vec;

type Arriving = Vec<(u32, u8)>;
type Slave = Box<dyn FnMut(u32, &[u8]) -> Arriving>;

/// Both ends of the wire and what went over it.
struct Wire {
    now: u32,
    arriving: VecDeque<(u32, Result<u8, ErrorKind>)>,
    sending: Vec<u8>,
    requests: Vec<(u32, Vec<u8>)>,
    turns: Vec<(u32, bool)>,
    takes: bool,
    slave: Slave,
}

#[derive(Clone)]
struct End(Rc<RefCell<Wire>>);

impl ErrorType for End {
    type Error = ErrorKind;
}

impl Read for End {
    fn read(&mut self) -> nb::Result<u8, ErrorKind> {
        let mut wire = self.0.borrow_mut();
        match wire.arriving.front() {
            Some((at, _)) if *at <= wire.now => wire.arriving.pop_front().unwrap().1.map_err(nb::Error::Other),
            _ => Err(nb::Error::WouldBlock),
        }
    }
}

impl Write for End {
    fn write(&mut self, byte: u8) -> nb::Result<(), ErrorKind> {
        let mut wire = self.0.borrow_mut();
        if !wire.takes {
            return Err(nb::Error::WouldBlock);
        }
        wire.sending.push(byte);
        Ok(())
    }

    fn flush(&mut self) -> nb::Result<(), ErrorKind> {
        let mut wire = self.0.borrow_mut();
        let now = wire.now;
        if !wire.sending.is_empty() {
            let request = std::mem::take(&mut wire.sending);
            let reply = (wire.slave)(now, &request);
            wire.requests.push((now, request));
            wire.arriving.extend(reply.into_iter().map(|(at, byte)| (at, Ok(byte))));
            wire.arriving.make_contiguous().sort_by_key(|(at, _)| *at);
        }
        Ok(())
    }
}

impl embedded_hal::digital::ErrorType for End {
    type Error = core::convert::Infallible;
}

impl OutputPin for End {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        let mut wire = self.0.borrow_mut();
        let now = wire.now;
        wire.turns.push((now, false));
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Self::Error> {
        let mut wire = self.0.borrow_mut();
        let now = wire.now;
        wire.turns.push((now, true));
        Ok(())
    }
}

struct Bench {
    end: End,
    line: SensorLine<End, End>,
    /// What the line's clock says when the wire's says 0.
    clock: u32,
}

impl Bench {
    fn with(settings: LineSettings, slave: impl FnMut(u32, &[u8]) -> Arriving + 'static) -> Self {
        let end = End(Rc::new(RefCell::new(Wire {
            now: 0,
            arriving: VecDeque::new(),
            sending: Vec::new(),
            requests: Vec::new(),
            turns: Vec::new(),
            takes: true,
            slave: Box::new(slave),
        })));
        let line = SensorLine::new(end.clone(), end.clone(), RegisterMap::BENCH, settings).unwrap();
        Self { end, line, clock: 0 }
    }

    fn new(slave: impl FnMut(u32, &[u8]) -> Arriving + 'static) -> Self {
        Self::with(LineSettings::BENCH, slave)
    }

    /// Runs for so many milliseconds, a step each, and returns the rounds with their times.
    fn run(&mut self, ms: u32) -> Vec<(u32, Sensed)> {
        let mut rounds = Vec::new();
        for _ in 0..ms {
            let now = self.end.0.borrow().now;
            rounds.extend(self.line.step(Millis(now.wrapping_add(self.clock))).map(|sensed| (now, sensed)));
            self.end.0.borrow_mut().now = now.wrapping_add(1);
        }
        rounds
    }

    /// Runs until so many rounds are complete.
    fn rounds(&mut self, count: usize) -> Vec<(u32, Sensed)> {
        let mut rounds = Vec::new();
        while rounds.len() < count {
            rounds.extend(self.run(1));
        }
        rounds
    }

    /// When this unit was asked.
    fn asked(&self, unit: u8) -> Vec<u32> {
        self.wire().requests.iter().filter(|(_, request)| request[0] == unit).map(|(at, _)| *at).collect()
    }

    fn wire(&self) -> std::cell::RefMut<'_, Wire> {
        self.end.0.borrow_mut()
    }
}

/// All bytes of a reply `delay` ms after now.
fn after(now: u32, delay: u32, bytes: &[u8]) -> Arriving {
    bytes.iter().map(|&byte| (now + delay, byte)).collect()
}

const COUNT: i32 = -70_000;
const FORCE: SpecificForce = SpecificForce {
    level: shared_protocol::units::RigAxes {
        forward: shared_protocol::units::MicroG(12_000),
        right: shared_protocol::units::MicroG(-3_400),
    },
    up: shared_protocol::units::MicroG(999_900),
};

fn good_reply(request: &[u8]) -> Vec<u8> {
    match request[0] {
        1 => checked(&[&[1, 4, 4][..], &COUNT.to_be_bytes()].concat()),
        _ => checked(
            &[&[2, 4, 8][..], &120_i16.to_be_bytes(), &(-34_i16).to_be_bytes(), &9_999_i16.to_be_bytes(), &2_150_i16.to_be_bytes()]
                .concat(),
        ),
    }
}

/// Replies well after 3 ms, but for `unit` as `instead` says.
fn one_bad(unit: u8, mut instead: impl FnMut(u32, &[u8]) -> Arriving + 'static) -> impl FnMut(u32, &[u8]) -> Arriving {
    move |now, request| if request[0] == unit { instead(now, request) } else { after(now, 3, &good_reply(request)) }
}

fn counts(rounds: &[(u32, Sensed)]) -> Vec<Reading<i32>> {
    rounds.iter().map(|(_, sensed)| sensed.count).collect()
}

const GOOD: Sensed = Sensed { count: Reading::Good(COUNT), force: Reading::Good(FORCE), temperature: Some(2_150) };

#[test]
fn twenty_rounds_a_second_at_uneven_instants_with_both_figures() {
    let mut bench = Bench::new(|now, request| after(now, 3, &good_reply(request)));
    let rounds = bench.run(100_000);
    assert!((1_960..=2_040).contains(&rounds.len()), "{}", rounds.len());
    assert!(rounds.iter().all(|(_, sensed)| *sensed == GOOD), "{:?}", rounds[0]);
    let intervals: Vec<u32> = rounds.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    for ms in 33..=67 {
        let count = intervals.iter().filter(|&&interval| interval == ms).count();
        assert!((25..=95).contains(&count), "{count} intervals of {ms} ms among {}", intervals.len()); // 57 and 5 sigma
    }
    assert!(intervals.iter().all(|interval| (33..=67).contains(interval)));
    // No order in them: neighbours do not go together (5 sigma of a correlation of 2,000 pairs is 0.11).
    let off = |ms: u32| f64::from(ms) - 50.0;
    let (mut along, mut square) = (0.0, 0.0);
    intervals.windows(2).for_each(|pair| (along, square) = (along + off(pair[0]) * off(pair[1]), square + off(pair[0]).powi(2)));
    assert!((along / square).abs() < 0.11, "{}", along / square);
}

/// Checks recomputed with PyPI crcmod.
#[test]
fn requests_are_frames_of_the_modbus_specification() {
    use crate::sensor_line::registers::Function::{Holding, Input};
    let rows: [(u8, crate::sensor_line::registers::Function, u16, u16, [u8; 8]); 7] = [
        (17, Holding, 0x6B, 3, [0x11, 0x03, 0x00, 0x6B, 0x00, 0x03, 0x76, 0x87]),
        (17, Input, 8, 1, [0x11, 0x04, 0x00, 0x08, 0x00, 0x01, 0xB2, 0x98]),
        (1, Holding, 0, 1, [0x01, 0x03, 0x00, 0x00, 0x00, 0x01, 0x84, 0x0A]),
        (1, Holding, 0, 10, [0x01, 0x03, 0x00, 0x00, 0x00, 0x0A, 0xC5, 0xCD]),
        (1, Holding, 2, 1, [0x01, 0x03, 0x00, 0x02, 0x00, 0x01, 0x25, 0xCA]),
        (1, Holding, 0x6B, 3, [0x01, 0x03, 0x00, 0x6B, 0x00, 0x03, 0x74, 0x17]),
        (1, Input, 8, 1, [0x01, 0x04, 0x00, 0x08, 0x00, 0x01, 0xB0, 0x08]),
    ];
    for (unit, function, first, registers, frame) in rows {
        assert_eq!(request(&Poll { unit, function, first, registers }).unwrap(), frame);
    }
}

#[test]
fn the_line_is_silent_for_three_and_a_half_characters_between_frames() {
    let mut bench = Bench::new(|now, request| after(now, 3, &good_reply(request)));
    bench.run(50);
    let wire = bench.wire();
    let times: Vec<_> = wire.requests.iter().map(|(at, request)| (*at, request[0])).collect();
    // Reply complete at 3; 1.75 ms of silence are sure to have passed when the clock has gone on by 3.
    assert_eq!(times[..2], [(0, 1), (6, 2)]);
}

#[test]
fn the_direction_pin_is_high_only_while_sending() {
    let mut bench = Bench::new(|now, _| after(now, 3, &[0x55]));
    bench.run(100);
    let wire = bench.wire();
    assert!(wire.requests.len() >= 3 && wire.turns.len() == 2 * wire.requests.len());
    for (pair, (sent, _)) in wire.turns.chunks(2).zip(&wire.requests) {
        assert_eq!(pair, [(*sent, true), (*sent, false)]);
    }
}

#[test]
fn one_lost_request_is_stale_and_a_second_a_fault_half_a_second_later() {
    for lost in [1, 2] {
        let mut asked = 0;
        let mut bench = Bench::new(one_bad(1, move |now, request| {
            asked += 1;
            if asked <= lost { Vec::new() } else { after(now, 3, &good_reply(request)) }
        }));
        let rounds = bench.run(lost * 600 + 200);
        let counts = counts(&rounds);
        let of = |reading: Reading<i32>| counts.iter().filter(|&&count| count == reading).count();
        let (stale, faults) = (of(Reading::Stale), of(Reading::Fault(SensorFault::Silent)));
        assert!((8..=16).contains(&stale), "{stale} rounds of half a second");
        assert!(if lost == 1 { faults == 0 } else { (8..=16).contains(&faults) }, "{faults}");
        assert_eq!(counts[..stale].iter().filter(|count| **count == Reading::Stale).count(), stale, "stale comes first");
        assert!(counts[stale + faults..].iter().all(|count| *count == GOOD.count) && stale + faults + 3 <= counts.len());
        assert!(rounds.iter().all(|(_, sensed)| sensed.force == GOOD.force), "the other sensor goes on");
        let asked = bench.asked(1);
        let rested = |pair: &[u32]| (500..600).contains(&(pair[1] - pair[0]));
        assert!(asked.windows(2).take(usize::try_from(lost).unwrap()).all(rested), "{asked:?}");
    }
}

/// A turn in which a signature is made comes to the line late, wherever in its round.
#[test]
fn a_long_turn_is_no_fault_of_a_sensor() {
    for at in 200..260 {
        let mut bench = Bench::new(|now, request| after(now, 3, &good_reply(request)));
        let mut rounds = bench.run(at);
        bench.wire().now += firmware_app::board::LONG_TURN_MS;
        rounds.extend(bench.run(500));
        assert!(rounds.iter().all(|(_, sensed)| *sensed == GOOD), "after {at} ms");
    }
}

#[test]
fn both_sensors_silent_still_make_20_rounds_a_second() {
    let mut bench = Bench::new(|_, _| Vec::new());
    let rounds = bench.run(10_000);
    assert!((185..=210).contains(&rounds.len()), "{}", rounds.len());
    let silent = SensorFault::Silent;
    let want = Sensed { count: Reading::Fault(silent), force: Reading::Fault(silent), temperature: None };
    assert_eq!(rounds.last().unwrap().1, want);
}

/// A sensor that answers, falls silent, is left alone and answers again: all alike wherever the clock wraps among it.
#[test]
fn rounds_come_alike_wherever_the_clock_wraps() {
    let rounds = |clock: u32| {
        let slave = one_bad(1, |now, request| if (200..900).contains(&now) { Vec::new() } else { after(now, 3, &good_reply(request)) });
        let mut bench = Bench::new(slave);
        bench.clock = clock;
        let rounds = bench.run(2_000);
        let requests = bench.wire().requests.clone();
        (rounds, requests)
    };
    let want = rounds(0);
    assert!(want.0.iter().any(|(_, sensed)| *sensed == GOOD) && want.0.iter().any(|(_, sensed)| *sensed != GOOD));
    for before_wrap in (0..2_000).step_by(7) {
        assert_eq!(rounds(u32::MAX - before_wrap), want, "{before_wrap} ms before the wrap");
    }
}

/// Replies carry no number, so a late one must never be taken for the answer to a later request.
#[test]
fn a_sensor_that_is_always_late_is_never_believed() {
    for delay in (20..480).step_by(7).chain([50, 100, 150, 400]) {
        let mut bench = Bench::new(one_bad(1, move |now, request| after(now, delay, &good_reply(request))));
        let rounds = bench.run(5_000);
        assert!(counts(&rounds).iter().all(|count| *count != GOOD.count), "late by {delay} ms");
        assert_eq!(rounds.last().unwrap().1.count, Reading::Fault(SensorFault::Silent), "late by {delay} ms");
    }
}

#[test]
fn every_hostile_reply_has_its_fault() {
    let cases: [(&[u8], SensorFault); 6] = [
        (&[0x01, 0x84, 0x06, 0xC3, 0x02], SensorFault::Refused),       // busy
        (&[0x01, 0x04, 0x00, 0x22, 0xC0], SensorFault::Mismatched),    // byte count 0
        (&checked(&[9, 4, 4, 0, 0, 0, 1]), SensorFault::Mismatched),   // another unit
        (&checked(&[1, 4, 4, 0, 0, 0, 1])[..8], SensorFault::Damaged), // cut short
        (&[0x01, 0x04, 0x04, 0, 0, 0, 1, 0, 0], SensorFault::Damaged), // wrong check
        (&checked(&[1, 4, 4, 0x80, 0, 0, 0]), SensorFault::OutOfRange),
    ];
    for (reply, fault) in cases {
        let reply = reply.to_vec();
        let mut bench = Bench::new(one_bad(1, move |now, _| after(now, 3, &reply)));
        let rounds = bench.rounds(4);
        assert_eq!(counts(&rounds)[1..], [Reading::Stale, Reading::Fault(fault), Reading::Fault(fault)]);
        assert!(rounds.iter().all(|(_, sensed)| sensed.force == GOOD.force));
    }
}

#[test]
fn only_misses_in_a_row_make_a_fault() {
    let mut nth = 0;
    let mut bench = Bench::new(one_bad(1, move |now, request| {
        nth += 1;
        let reply = good_reply(request);
        after(now, 3, if nth % 3 == 0 { &reply } else { &reply[..8] })
    }));
    let stale = Reading::Stale;
    assert_eq!(counts(&bench.rounds(9)), [stale, stale, GOOD.count].repeat(3));
}

#[test]
fn a_refused_code_of_this_length_has_the_right_check() {
    assert_eq!(checked(&[0x01, 0x84, 0x06]), [0x01, 0x84, 0x06, 0xC3, 0x02]);
}

#[test]
fn a_late_reply_is_nobodys() {
    // The encoder takes 20 ms: its reply falls into the tilt sensor's exchange. Once it comes between the exchanges.
    for delay in [18, 20, 30] {
        let mut bench = Bench::new(one_bad(1, move |now, request| after(now, delay, &good_reply(request))));
        let rounds = bench.run(1_300);
        assert_eq!(rounds.last().unwrap().1.count, Reading::Fault(SensorFault::Silent), "{delay} ms");
        assert!(counts(&rounds).iter().all(|count| *count != GOOD.count), "{delay} ms");
        assert!(rounds.iter().all(|(_, sensed)| sensed.force == GOOD.force), "{delay} ms");
    }
}

#[test]
fn a_reply_may_take_as_long_as_the_data_sheet_says_and_the_line_needs() {
    // 5 ms to respond and 9 characters of 0.287 ms, one after the other.
    let trickle = |now: u32, request: &[u8]| {
        let reply = good_reply(request);
        (0..).zip(&reply).map(|(nth, &byte)| (now + 5 + (nth * 287 + 1_286) / 1_000, byte)).collect()
    };
    let mut bench = Bench::new(trickle);
    assert!(bench.run(500).iter().all(|(_, sensed)| *sensed == GOOD));
}

#[test]
fn an_echo_is_recognised_and_dropped() {
    let echoing = |answers: bool| {
        move |now: u32, request: &[u8]| {
            let reply = if answers { after(now, 3, &good_reply(request)) } else { Vec::new() };
            [after(now, 0, request), reply].concat()
        }
    };
    let settings = LineSettings { echo: true, ..LineSettings::BENCH };
    assert_eq!(Bench::with(settings, echoing(true)).rounds(1)[0].1, GOOD);
    let silent = Reading::Fault(SensorFault::Silent);
    assert_eq!(counts(&Bench::with(settings, echoing(false)).rounds(20))[19], silent, "an echo alone is silence");
    let other = Reading::Fault(SensorFault::Mismatched);
    assert_eq!(counts(&Bench::new(echoing(false)).rounds(3))[2], other, "where none is expected it is no answer");
}

#[test]
fn a_flood_of_noise_is_damage_and_bounded_work() {
    let mut bench = Bench::new(|now, _| (0..5_000).map(|nth| (now + nth / 400, 0x55)).collect());
    let rounds = bench.rounds(4);
    let damaged = SensorFault::Damaged;
    assert!(rounds[3].0 <= 250, "{rounds:?}");
    assert_eq!(rounds[3].1, Sensed { count: Reading::Fault(damaged), force: Reading::Fault(damaged), temperature: None });
}

#[test]
fn framing_errors_alone_are_damage_and_beside_a_sound_reply_no_matter() {
    for (answers, want) in [(false, Reading::Fault(SensorFault::Damaged)), (true, GOOD.count)] {
        let mut bench = Bench::new(one_bad(1, move |now, request| if answers { after(now, 4, &good_reply(request)) } else { Vec::new() }));
        let mut last = None;
        for round in 1..=3 {
            while bench.asked(1).len() < round {
                bench.run(1);
            }
            let now = bench.wire().now;
            bench.wire().arriving.push_front((now, Err(ErrorKind::FrameFormat)));
            last = bench.rounds(1).last().copied();
        }
        assert_eq!(last.unwrap().1.count, want);
    }
}

#[test]
fn a_port_that_takes_nothing_is_a_silent_sensor_and_not_a_hang() {
    let mut bench = Bench::new(|now, request| after(now, 3, &good_reply(request)));
    bench.wire().takes = false;
    assert_eq!(bench.rounds(20)[19].1.count, Reading::Fault(SensorFault::Silent));
    bench.wire().takes = true;
    bench.wire().sending.clear();
    assert_eq!(bench.run(600).last().unwrap().1, GOOD);
}

#[test]
fn a_loop_that_stood_still_goes_on_and_makes_up_for_nothing() {
    let mut bench = Bench::new(|now, request| after(now, 1, &good_reply(request)));
    bench.run(60);
    bench.wire().now = 1_234;
    assert!((2..=7).contains(&bench.run(200).len()));
    let asked = bench.asked(1);
    assert!(asked.windows(2).all(|pair| pair[1] - pair[0] >= 32), "{asked:?}");
}

#[test]
fn time_may_wrap() {
    let mut bench = Bench::new(|now, request| after(now, 0, &good_reply(request)));
    bench.wire().now = u32::MAX - 75;
    let rounds = bench.run(400);
    assert!((6..=12).contains(&rounds.len()), "{rounds:?}");
    assert!(rounds.iter().all(|(_, sensed)| *sensed == GOOD));
    assert!(rounds.windows(2).all(|pair| (33..=67).contains(&pair[1].0.wrapping_sub(pair[0].0))), "{rounds:?}");
}

#[test]
fn a_line_that_cannot_be_run_is_refused_in_words() {
    let end = || Bench::new(|_, _| Vec::new()).end;
    let slow = LineSettings { baud: 9_600, ..LineSettings::BENCH };
    let refused = SensorLine::new(end(), SelfTurning, RegisterMap::BENCH, slow).err().unwrap();
    assert!(matches!(refused, Refused::Rate(TooSlow { baud: 9_600, .. })));
    assert!(refused.to_string().contains("use a higher rate"));
    let refused = SensorLine::new(end(), SelfTurning, RegisterMap { rows: &[] }, LineSettings::BENCH).err().unwrap();
    assert_eq!(refused, Refused::Map(MapFault::Quantities));
    let line = SensorLine::new(end(), SelfTurning, RegisterMap::BENCH, LineSettings::BENCH).unwrap();
    assert_eq!(line.skew_ms(), 14);
}
