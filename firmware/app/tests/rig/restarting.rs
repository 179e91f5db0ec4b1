//! A hole over a restart: what must be on record again, and the checks that go on where they were.

use crate::bench::{Bench, plan};
use shared_protocol::record::{Identity, Instruments, Opened, Plan, Record};
use shared_protocol::state::{Check, DepthState, GapCause, PlumbState};
use shared_protocol::units::Lean;

/// Bytes before the ring of slots, and of a slot.
const RING_AT: usize = 4_096;
const SLOT: usize = 32;

/// The memory as a power cut leaves it that comes before slot `kept`, some bytes into it.
fn cut(bench: Bench, kept: usize, torn: usize) -> Bench {
    let mut memory = bench.rig.into_memory();
    let from = RING_AT + kept * SLOT;
    memory.0[from + torn..].fill(0);
    Bench::on(memory)
}

#[test]
fn a_set_up_says_who_measures_wherever_the_power_was_cut_after_opening() {
    let mut bench = Bench::new();
    bench.open(plan());
    let records = bench.records();
    let first_of = |kind: u8| records.iter().find(|(_, r)| r.kind() == kind).unwrap().0 as usize;
    let (opened, identity, instruments) = (first_of(Opened::KIND), first_of(Identity::KIND), first_of(Instruments::KIND));
    let end = bench.records().last().unwrap().0 as usize + 1;
    assert!(opened < identity && identity < instruments && instruments < end);
    for kept in identity..end {
        for torn in [0, 9] {
            let mut bench = Bench::new();
            bench.open(plan());
            let mut bench = cut(bench, kept, torn);
            let kinds: Vec<u8> = bench.records().iter().map(|(_, r)| r.kind()).collect();
            let count = |kind: u8| kinds.iter().filter(|k| **k == kind).count();
            let twice = usize::from(kept == instruments); // its identity was kept, and what it measures with was not
            assert_eq!((count(Identity::KIND), count(Instruments::KIND)), (1 + twice, 1), "cut before slot {kept}");
            let said = bench.only(|r| if let Record::Identity(i) = r { Some(i.rig.clone()) } else { None });
            assert!(said.iter().all(|rig| rig == "SIM-BENCH-1"));
            let again = bench.restart().records().iter().filter(|(_, r)| r.kind() == Instruments::KIND).count();
            assert_eq!(again, 1, "said once, not at every start");
        }
    }
}

#[test]
fn a_torn_slot_is_declared_once_as_torn_however_often_it_is_asked_for() {
    let mut bench = Bench::new();
    bench.open(plan());
    let end = bench.records().last().unwrap().0 + 1;
    let mut bench = cut(bench, end as usize - 1, 9);
    let gaps = |bench: &mut Bench| bench.only(|r| if let Record::Gap(gap) = r { Some((gap.first, gap.last, gap.cause)) } else { None });
    for _ in 0..2 {
        gaps(&mut bench); // read over it; what that adds comes with the next reading
        assert_eq!(gaps(&mut bench), [(end - 1, end - 1, GapCause::Torn.raw())]);
        bench = bench.restart();
    }
}

#[test]
fn slow_going_goes_on_over_a_restart_until_it_ends() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(300.0, 20.0);
    bench.go(305.0, 0.08); // 5 mm in a minute
    bench.stay(5_000);
    let states = |bench: &mut Bench| bench.changes(Check::Going).iter().map(|c| c.state).collect::<Vec<_>>();
    assert_eq!(states(&mut bench), [1]);
    let mut bench = bench.restart();
    bench.stay(2_000);
    bench.touch();
    bench.stay(5_000);
    assert_eq!(states(&mut bench), [1], "neither what was made before nor finding the bottom again is fast going");
    bench.go(400.0, 20.0);
    assert_eq!(states(&mut bench), [1, 0]);
    let mut bench = bench.restart();
    bench.touch();
    bench.stay(20_000);
    assert_eq!(states(&mut bench), [1, 0]);
}

#[test]
fn checks_go_on_in_the_state_that_is_on_record() {
    let mut bench = Bench::new();
    bench.lean = (16_000, 0); // 80 % of the limit
    bench.open(Plan { plumb_limit: Lean(20_000), ..plan() });
    bench.touch();
    bench.go(900.0, 20.0);
    bench.stay(2_000);
    let states = |bench: &mut Bench, check| bench.changes(check).iter().map(|c| c.state).collect::<Vec<_>>();
    let before = (states(&mut bench, Check::Depth), states(&mut bench, Check::Plumb));
    assert_eq!(before, (vec![DepthState::ComingUp.raw()], vec![PlumbState::Drifting.raw()]));
    let mut bench = bench.restart();
    bench.stay(200);
    let (_, status) = bench.live();
    assert_eq!((status.depth_check, status.plumb_check), (DepthState::ComingUp, PlumbState::Drifting), "at once");
    bench.stay(5_000);
    assert_eq!((states(&mut bench, Check::Depth), states(&mut bench, Check::Plumb)), before, "and not recorded twice");
    bench.touch();
    bench.go(1_000.0, 20.0);
    bench.stay(2_000);
    assert_eq!(states(&mut bench, Check::Depth), [DepthState::ComingUp.raw(), DepthState::OnDepth.raw()]);
}
