//! A whole site with the native rig: what the store holds is what the world did.

use host_tool::facts::DigestState;
use host_tool::proof::Sealing;
use host_tool::store::Store;
use shared_protocol::record::Record;
use shared_protocol::state::{Check, ReferenceState};
use shared_protocol::units::Millis;
use simulator::bench::Bench;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::operator::Progress;
use simulator::scenario::{FAULT_PARADE, STILL_HOLE, Scenario, TWO_POLE};
use tempfile::TempDir;
use tests::cab::Cab;

fn site(text: &str, seed: u64) -> (Cab<NativeMachine>, TempDir) {
    let folder = TempDir::new().expect("a folder");
    let scenario = Scenario::parse("a test's", text).expect("sound");
    let bench = Bench::native(&scenario, seed).expect("fits");
    (Cab::new(bench, folder.path().join("site.store")), folder)
}

#[test]
fn the_store_holds_every_slot_of_the_memory_and_the_world_agrees() {
    let (mut cab, _folder) =
        site(&TWO_POLE.replace("seed = 27", "seed = 27\nstill = true").replace("slip_mm_per_trip = 0.2", "slip_mm_per_trip = 0"), 5);
    cab.finish();
    assert_eq!(cab.stored(), cab.remembered());
    let (setups, truth) = (cab.setups(), cab.bench.truth());
    assert_eq!((setups.len(), truth.len()), (2, 2));
    for (setup, truth) in setups.iter().zip(truth) {
        let closed = &setup.closed.as_ref().expect("closed").body;
        let bottom_mm = f64::from(closed.bottom.0) / 1e3;
        assert!((bottom_mm - truth.held_mm).abs() <= 0.2, "within two counts of 0.1 mm: {bottom_mm} for {}", truth.held_mm);
        let mean = truth.mean_lean().expect("cut");
        let leans: Vec<_> = setup.increments.iter().map(|i| (i.body.forward.lean().0, i.body.right.lean().0)).collect();
        let of = |pick: fn(&(i32, i32)) -> i32| leans.iter().map(|l| f64::from(pick(l))).sum::<f64>() / leans.len() as f64 / 1e3;
        assert!((of(|l| l.0) - mean.forward).abs() <= 0.2 && (of(|l| l.1) - mean.right).abs() <= 0.2, "{mean:?}");
        assert!(setup.identity.as_ref().expect("identified").simulated);
    }
    assert!(cab.notices.is_empty(), "{:?}", cab.notices);
}

#[test]
fn a_cable_out_for_a_minute_of_drilling_costs_no_slot() {
    let event = "event = [{ at_mm = 200, what = { unplug = { for_s = 60 } } }]\nlean = [";
    let (mut cab, _folder) = site(&STILL_HOLE.replace("lean = [", event).replace("feed_mm_s = 20", "feed_mm_s = 5"), 1);
    cab.until("the cable out", |cab| !cab.bench.is_plugged());
    let before = cab.stored().len();
    cab.until("the cable in again", |cab| cab.bench.is_plugged());
    assert_eq!(cab.stored().len(), before, "nothing comes over a cable that is out");
    assert!(cab.remembered().len() > before + 5, "and the rig drilled on");
    cab.finish();
    assert_eq!(cab.stored(), cab.remembered());
    assert!(cab.setups()[0].missing.is_empty() && cab.notices.is_empty());
}

#[test]
fn a_parade_of_faults_leaves_a_whole_record_that_says_so() {
    let (mut cab, _folder) = site(FAULT_PARADE, 13);
    cab.finish();
    assert_eq!(cab.stored(), cab.remembered());
    let setup = &cab.setups()[0];
    assert!(setup.faults.iter().filter(|f| f.body.began == 1).count() >= 12, "{:?}", setup.faults.len());
    assert_eq!(setup.restarts.len(), 1);
    let reference = |c: &&host_tool::facts::Timed<shared_protocol::record::Change>| c.body.check == Check::Reference.raw();
    let states: Vec<u8> = setup.changes.iter().filter(reference).map(|c| c.body.state).collect();
    assert!(states.windows(2).any(|w| w == [ReferenceState::Hub.raw(), ReferenceState::Unreferenced.raw()]), "{states:?}");
    assert_eq!(states.last(), Some(&ReferenceState::Hub.raw()));
    assert_eq!(setup.digest, host_tool::facts::DigestState::Fits);
}

#[test]
fn a_host_killed_now_and_then_stores_all_the_same() {
    let (mut cab, _folder) = site(TWO_POLE, 8);
    for _ in 0..12 {
        cab.run_for(23_457);
        cab.kill_host();
        cab.run_for(4_000);
        cab.start_host();
    }
    cab.finish();
    assert_eq!(cab.stored(), cab.remembered());
    let mut assembler = shared_protocol::assemble::Assembler::default();
    let opened = |slot| assembler.push(slot).map(|w| matches!(Record::decode(w.kind, w.body), Ok(Record::Opened(_))));
    assert_eq!(cab.stored().iter().filter_map(opened).filter(|o| *o).count(), 2, "each hole is opened once");
}

/// What a store says of a rig's holes: all that has a time, by the wall's clock.
fn told(cab: &Cab<NativeMachine>) -> Vec<String> {
    let mut all = vec![format!("{} slots", cab.stored().len())];
    for setup in cab.setups() {
        assert_eq!((setup.digest, setup.missing.len()), (DigestState::Fits, 0));
        assert!(matches!(setup.sealing, Sealing::Fits(..)), "{:?}", setup.sealing);
        let closed = setup.closed.as_ref().expect("closed");
        all.extend([setup.opened.moment.text(), closed.moment.text(), format!("{:?}", closed.body.bottom)]);
        all.extend(setup.increments.iter().map(|i| format!("{} {:?} took {}", i.moment.text(), i.body.depth, i.body.took)));
        all.extend(setup.passes.iter().map(|p| format!("{} for {} ms", p.moment.text(), p.body.ended.since(p.body.began))));
        all.extend(setup.changes.iter().map(|c| format!("{} {} {}", c.moment.text(), c.body.check, c.body.state)));
    }
    all
}

/// A hole by a rig whose clock says this when it is switched on; live samples come without a pause once they come.
fn from(clock: Millis) -> Cab<NativeMachine> {
    let scenario = Scenario::parse("a test's", STILL_HOLE).expect("sound");
    let machine = NativeMachine::with_clock(RamMemory::default(), clock).expect("starts");
    let mut cab = Cab::beside(Bench::new(&scenario, 1, machine).expect("fits"), Store::in_memory(7).expect("a store"));
    let mut shown = None;
    while cab.bench.progress() != Some(Progress::Finished) {
        cab.turn();
        shown = cab.shown.0.take().map(|_| cab.now()).or(shown);
        assert!(shown.is_none_or(|at| cab.now() - at <= 200), "no live sample since {shown:?}");
    }
    cab.drain();
    assert!(shown.is_some() && cab.notices.is_empty(), "{:?}", cab.notices);
    assert_eq!(cab.stored(), cab.remembered());
    cab
}

/// Within an increment, within a pass, when the hole is opened and when it is closed.
#[test]
fn a_rig_whose_clock_turns_over_is_heard_drained_and_timed_as_any_other() {
    let plain = from(Millis(0));
    let (want, setup) = (told(&plain), plain.setups().remove(0));
    assert!(setup.increments.len() > 20 && setup.passes.len() > 1, "{want:?}");
    let increment = setup.increments[setup.increments.len() / 2].body;
    let pass = setup.passes[1].body;
    let within = Millis(increment.at.0 - u32::from(increment.took) * 50);
    let at = [within, Millis(u32::midpoint(pass.began.0, pass.ended.0)), setup.opened.body.at, setup.closed.expect("closed").body.at];
    for turns_over in at {
        let cab = from(Millis(turns_over.0.wrapping_neg()));
        assert_eq!(told(&cab), want, "{turns_over:?} after it was switched on");
        let setup = cab.setups().remove(0);
        assert!(setup.opened.body.at.0 > u32::MAX / 2 || setup.opened.body.at == Millis(0), "it does turn over");
        let spans = setup.increments.iter().any(|i| i.body.at.0 < u32::from(i.body.took) * 100);
        assert!(spans || turns_over != within, "{:?}", setup.increments);
    }
}
