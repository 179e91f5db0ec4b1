//! What the simulator's tests share: running a scenario with the host in miniature, and reading what came of it.

#![allow(dead_code)] // each test file takes what it needs

use shared_protocol::assemble::Assembler;
use shared_protocol::record::Record;
use shared_protocol::slot::Slot;
use simulator::bench::Bench;
use simulator::commander::Commander;
use simulator::machine::Machine;
use simulator::operator::Progress;
use simulator::scenario::Scenario;

/// A tick of the tests, ms.
pub const TICK_MS: u8 = 5;

pub fn scenario(text: &str) -> Scenario {
    Scenario::parse("scenario of a test", text).unwrap()
}

/// Runs a bench to its operator's end, and a little longer so that the last slots arrive.
pub fn run<M: Machine>(bench: &mut Bench<M>) -> Commander {
    let mut host = Commander::default();
    run_on(bench, &mut host);
    host
}

/// The same with a host that has been at work before.
pub fn run_on<M: Machine>(bench: &mut Bench<M>, host: &mut Commander) {
    let (mut to_rig, mut rest) = (Vec::new(), 5_000 / u32::from(TICK_MS));
    while rest > 0 {
        assert!(bench.world().now().seconds() < 7_200.0, "the operator does not come to an end: {:?}", bench.progress());
        rest -= u32::from(!matches!(bench.progress(), Some(Progress::Working(_))));
        let from_rig = bench.advance(TICK_MS, &to_rig).unwrap();
        let cue = bench.take_cue();
        let done;
        (to_rig, done) = host.step(bench.world().now(), &from_rig, cue);
        if done {
            bench.cue_done();
        }
    }
    assert_eq!((bench.progress(), host.refused()), (Some(Progress::Finished), &[][..]));
}

/// The raw bytes of every slot that came, in order.
pub fn raw(host: &Commander) -> Vec<[u8; 32]> {
    host.slots().values().map(|slot| *slot.bytes()).collect()
}

/// Every record that came, with the sequence of its first slot.
pub fn records(host: &Commander) -> Vec<(u32, Record)> {
    let mut assembler = Assembler::default();
    let whole = |slot: &Slot| assembler.push(slot).map(|whole| (whole.first, Record::decode(whole.kind, whole.body).unwrap()));
    host.slots().values().filter_map(whole).collect()
}

/// The depths and mean leans of a host's increments, mm and mm/m.
pub fn increments(host: &Commander) -> Vec<(f64, f64, f64)> {
    let mm = |um: i32| f64::from(um) / 1_000.0;
    let increment = |(_, record)| match record {
        Record::Increment(i) => Some((mm(i.depth.0), mm(i.forward.lean().0), mm(i.right.lean().0))),
        _ => None,
    };
    records(host).into_iter().filter_map(increment).collect()
}

/// The bottoms of closed holes, mm below the hub.
pub fn closed(host: &Commander) -> Vec<f64> {
    let bottom = |(_, record)| match record {
        Record::Closed(c) => Some(f64::from(c.bottom.0) / 1_000.0),
        _ => None,
    };
    records(host).into_iter().filter_map(bottom).collect()
}
