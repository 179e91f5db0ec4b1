//! The native rig on the bench: what it records against what the world truly did.

mod common;

use common::{TICK_MS, closed, increments, raw, records, run, scenario};
use firmware_app::journal::{Journal, Search};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap};
use shared_protocol::message::{Ask, Message, Repeat, Replay};
use shared_protocol::record::{Increment, Record, Unsealed};
use shared_protocol::slot::Slot;
use simulator::bench::Bench;
use simulator::machine::Machine;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::{FAULT_PARADE, STILL_HOLE, TWO_POLE};
use simulator::sensors::{FaultKind, SensorName};

fn still(forward: f64, right: f64) -> String {
    STILL_HOLE.replace("forward = 12.0, right = -5.0", &format!("forward = {forward:.1}, right = {right:.1}"))
}

#[test]
fn in_a_still_world_depth_is_right_to_two_counts_and_lean_to_a_fifth_of_a_millimetre() {
    for (forward, right) in [(12.0, 0.0), (-12.0, 0.0), (0.0, 12.0), (0.0, -12.0)] {
        let mut bench = Bench::native(&scenario(&still(forward, right)), 1).unwrap();
        let host = run(&mut bench);
        let truth = &bench.truth()[0];
        assert_eq!(truth.held_mm, 630.0);
        assert!((closed(&host)[0] - truth.held_mm).abs() <= 0.2, "{:?}", closed(&host));
        let increments = increments(&host);
        assert!(increments.len() >= 20);
        for (depth, f, r) in increments {
            assert!((f - forward).abs() < 0.2 && (r - right).abs() < 0.2, "at {depth}: {f} {r}, truly {forward} {right}");
        }
    }
}

#[test]
fn in_a_living_world_the_records_follow_the_truth() {
    let mut bench = Bench::native(&scenario(TWO_POLE), 27).unwrap();
    let host = run(&mut bench);
    let truth = bench.truth();
    assert_eq!((truth.len(), closed(&host).len()), (2, 2));
    for (said, truth) in closed(&host).iter().zip(&truth) {
        // ten trips or so lose 0.2 mm each, counts are 0.1 mm with a little noise
        assert!((said - truth.held_mm).abs() < 4.0, "said {said}, truly {}", truth.held_mm);
    }
    let all = increments(&host);
    let second = all.windows(2).position(|pair| pair[1].0 < pair[0].0).unwrap() + 1;
    for (increments, truth) in [&all[..second], &all[second..]].into_iter().zip(&truth) {
        let n = f64::from(u32::try_from(increments.len()).unwrap());
        let (f, r) = (increments.iter().map(|i| i.1).sum::<f64>() / n, increments.iter().map(|i| i.2).sum::<f64>() / n);
        let true_mean = truth.mean_lean().unwrap();
        assert!(increments.len() > 110, "{}", increments.len());
        // Vibration of some 5 mg over about 8,000 samples leaves well under 0.1 mm/m.
        assert!((f - true_mean.forward).abs() < 0.3 && (r - true_mean.right).abs() < 0.3, "{f} {r}, truly {true_mean:?}");
    }
}

#[test]
fn one_seed_is_a_whole_world() {
    let of_seed = |seed| {
        let mut bench = Bench::native(&scenario(TWO_POLE), seed).unwrap();
        let host = run(&mut bench);
        (raw(&host), bench.machine().memory().unwrap(), bench.truth())
    };
    let first = of_seed(3);
    assert!(first == of_seed(3), "two runs of one seed differ");
    assert_ne!(first.0, of_seed(4).0);
}

#[test]
fn a_cable_that_is_out_for_a_while_loses_nothing() {
    let text = still(12.0, -5.0).replace("lean = [", "event = [{ at_mm = 100, what = { unplug = { for_s = 20 } } }]\nlean = [");
    let mut bench = Bench::native(&scenario(&text), 1).unwrap();
    let host = run(&mut bench);
    let sequences: Vec<u32> = host.slots().keys().copied().collect();
    assert_eq!(sequences, (0..host.rig().unwrap().head).collect::<Vec<_>>());
    let mut plugged = Bench::native(&scenario(&still(12.0, -5.0)), 1).unwrap();
    let all_the_time = run(&mut plugged);
    assert_eq!(increments(&host), increments(&all_the_time), "the same hole, cable or not");
    // Twenty live samples a second for twenty seconds were lost; they are for eyes only.
    assert!(host.frames().0 + 350 < all_the_time.frames().0, "{:?} {:?}", host.frames(), all_the_time.frames());
}

#[test]
fn a_bad_cable_delays_and_loses_nothing() {
    let text = still(12.0, -5.0) + "\n[cable]\ndamaged = 0.002\nlost = 0.001\n";
    let mut bench = Bench::native(&scenario(&text), 9).unwrap();
    let host = run(&mut bench);
    let (sound, damaged) = host.frames();
    assert!(damaged > 20 && sound > 10 * damaged, "{sound} {damaged}");
    let sequences: Vec<u32> = host.slots().keys().copied().collect();
    assert_eq!(sequences, (0..host.rig().unwrap().head).collect::<Vec<_>>());
    for (sequence, slot) in host.slots() {
        assert!(in_memory(&bench.machine().memory().unwrap(), slot), "slot {sequence} is not in the rig's memory as it came");
    }
}

fn in_memory(memory: &[u8], slot: &Slot) -> bool {
    memory.as_chunks::<32>().0.contains(slot.bytes())
}

#[test]
fn a_power_cut_in_mid_hole_leaves_the_slots_and_takes_the_reference() {
    let text = still(12.0, -5.0).replace("lean = [", "event = [{ at_mm = 400, what = { power-cut = { off_s = 5 } } }]\nlean = [");
    let mut bench = Bench::native(&scenario(&text), 1).unwrap();
    let host = run(&mut bench);
    assert_eq!(host.rig().unwrap().boot, 2);
    let hubs: Vec<(u8, i32)> =
        records(&host).iter().filter_map(|(_, r)| if let Record::Hub(hub) = r { Some((hub.first, hub.count)) } else { None }).collect();
    assert_eq!(hubs.iter().map(|hub| hub.0).collect::<Vec<_>>(), [1, 1, 0], "referenced anew after the cut");
    // The encoder counts from where the tool was when power came back: 401 to 420 mm below the hub.
    assert!(hubs[0].1 == 12_000 && (-4_200..=-4_000).contains(&hubs[1].1) && hubs[2].1 == hubs[1].1, "{hubs:?}");
    assert!((closed(&host)[0] - 630.0).abs() <= 0.2, "{:?}", closed(&host));
    assert_eq!(host.slots().len(), usize::try_from(host.rig().unwrap().head).unwrap());
}

#[test]
fn the_whole_parade_of_faults_is_recorded_and_got_over() {
    let mut bench = Bench::native(&scenario(FAULT_PARADE), 13).unwrap();
    let host = run(&mut bench);
    let faults: Vec<(u8, u8, u8)> = records(&host)
        .iter()
        .filter_map(|(_, r)| if let Record::Fault(f) = r { Some((f.sensor, f.fault, f.began)) } else { None })
        .collect();
    for sensor in [1, 2] {
        let began = faults.iter().filter(|f| f.0 == sensor && f.2 == 1).count();
        let ended = faults.iter().filter(|f| f.0 == sensor && f.2 == 0).count();
        assert!(began >= 6 && ended == began, "sensor {sensor}: {began} began, {ended} ended: {faults:?}");
    }
    assert!((closed(&host)[0] - bench.truth()[0].held_mm).abs() < 3.0);
    assert_eq!(host.slots().len(), usize::try_from(host.rig().unwrap().head).unwrap());
}

#[test]
fn by_hand_the_levers_are_free_and_a_fault_shows_within_a_second() {
    let mut bench = Bench::by_hand(&scenario(STILL_HOLE), 1, NativeMachine::start(RamMemory::default()).unwrap()).unwrap();
    let advance =
        |bench: &mut Bench<NativeMachine>, ms: u32| (0..ms / u32::from(TICK_MS)).for_each(|_| drop(bench.advance(TICK_MS, &[]).unwrap()));
    advance(&mut bench, 2_000);
    let fault_count = |bench: &Bench<NativeMachine>| {
        let memory = bench.machine().memory().unwrap();
        memory.as_chunks::<32>().0.iter().filter(|bytes| Slot::check(bytes).is_ok_and(|slot| slot.kind() == 9)).count()
    };
    assert_eq!(fault_count(&bench), 0);
    bench.fault(SensorName::Tilt, FaultKind::Silent, 2.0);
    advance(&mut bench, 1_000);
    assert_eq!(fault_count(&bench), 1);
    assert_eq!(bench.take_cue(), None);
}

/// A rig whose memory holds so many slots, a host's word to it, and what it then says for so long.
struct Talk {
    machine: NativeMachine,
    accumulator: Accumulator,
}

impl Talk {
    fn with(slots: u32) -> Self {
        let mut memory = RamMemory::default();
        let (mut journal, mut search) = (Journal::open(&mut memory), Search::default());
        while search.step(&mut journal, &mut memory).is_none() {}
        for _ in 0..slots {
            journal.append(&mut memory, &Record::Increment(Increment::default())).unwrap();
        }
        journal.append(&mut memory, &Record::Unsealed(Unsealed::default())).unwrap(); // no hole is open: it starts soon
        let mut machine = NativeMachine::behind_a_line(memory).unwrap();
        for _ in 0..100 {
            machine.turn(5, &[], &[]).unwrap();
        }
        Self { machine, accumulator: Accumulator::new() }
    }

    /// Bytes that came, every slot's sequence with its time, and when a hello came, ms.
    fn say(&mut self, message: &Message<'_>, ms: u32) -> (usize, Vec<u32>, Option<u32>) {
        let (mut count, mut sequences, mut hello) = (0, Vec::new(), None);
        let (mut to_rig, mut buffer) = (wrap(message).unwrap().to_vec(), [0; ENCODED_BYTES_MAX]);
        for turn in 1..=ms / 5 {
            let sent = self.machine.turn(5, &[], &std::mem::take(&mut to_rig)).unwrap().to_host;
            count += sent.len();
            for byte in sent {
                match self.accumulator.push(byte, &mut buffer).map(|message| Message::decode(message.unwrap()).unwrap()) {
                    Some(Message::Slots(slots)) => sequences.extend(slots.iter().map(|slot| slot.unwrap().sequence())),
                    Some(Message::Hello(_)) => hello = hello.or(Some(turn * 5)),
                    _ => {}
                }
            }
        }
        (count, sequences, hello)
    }
}

#[test]
fn the_line_to_the_host_is_as_fast_as_the_boards_and_a_hello_does_not_wait_behind_a_full_memory() {
    let mut talk = Talk::with(6_000);
    let (bytes, sequences, _) = talk.say(&Message::Replay(Replay { from: 0 }), 2_000);
    // 115,200 baud, ten bits a byte
    assert!((22_700..=23_040).contains(&bytes), "{bytes}");
    assert_eq!(sequences, (0..u32::try_from(sequences.len()).unwrap()).collect::<Vec<_>>());
    let (_, _, hello) = talk.say(&Message::Ask(Ask { host: 1 }), 1_000);
    // the ring of 2,048 bytes before it takes 178 ms
    assert!(hello.is_some_and(|ms| ms <= 250), "{hello:?}");
}

#[test]
fn what_a_host_missed_is_sent_once_more_and_then_the_rig_goes_on_where_it_was() {
    let mut talk = Talk::with(6_000);
    let (_, before, _) = talk.say(&Message::Replay(Replay { from: 0 }), 1_000);
    let next = before.last().unwrap() + 1;
    let (_, after, _) = talk.say(&Message::Repeat(Repeat { first: 10, last: 30 }), 1_000);
    let (again, new): (Vec<u32>, Vec<u32>) = after.into_iter().partition(|sequence| *sequence < next);
    assert_eq!(again, (10..=30).collect::<Vec<_>>());
    assert_eq!(new, (next..next + u32::try_from(new.len()).unwrap()).collect::<Vec<_>>());
    // What comes anyway is not sent twice.
    let end = new.last().unwrap() + 1;
    let (_, after, _) = talk.say(&Message::Repeat(Repeat { first: end + 2_000, last: u32::MAX }), 500);
    assert_eq!(after.first(), Some(&end));
}
