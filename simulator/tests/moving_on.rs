//! One rig goes from one scenario to the next: its memory, its time and what it drilled stay.

mod common;

use common::{closed, records, run_on, scenario};
use shared_protocol::record::Record;
use simulator::bench::Bench;
use simulator::commander::Commander;
use simulator::scenario::{STILL_HOLE, Scenario};

/// The still hole, 600 mm below a datum 30 mm under the hub, drilled so much past its plan.
fn hole(past_mm: f64, goes_on: bool) -> Scenario {
    let mut scenario = scenario(STILL_HOLE);
    scenario.hole[0].drill_past_mm = past_mm;
    scenario.hole[0].goes_on = goes_on;
    scenario
}

#[test]
fn a_hole_is_gone_on_with_and_another_begun_on_one_memory() {
    let mut bench = Bench::native(&hole(-300.0, false), 1).unwrap();
    let refused = bench.move_on(&hole(0.0, false)).unwrap_err().to_string();
    assert!(refused.ends_with("the operator is still at work elsewhere: let him finish"), "{refused}");
    let mut host = Commander::default();
    run_on(&mut bench, &mut host);
    assert_eq!(bench.truth().iter().map(|hole| hole.held_mm).collect::<Vec<_>>(), [330.0]);
    let then = bench.world().now();

    bench.move_on(&hole(0.0, true)).unwrap();
    run_on(&mut bench, &mut host);
    assert_eq!(bench.truth().iter().map(|hole| hole.held_mm).collect::<Vec<_>>(), [630.0], "the same hole, deeper");
    assert!(bench.world().now() > then);

    let mut other = hole(50.0, false);
    other.sheet.structure = "Elsewhere".to_owned();
    other.layer[0].name = "other ground".to_owned();
    bench.move_on(&other).unwrap();
    run_on(&mut bench, &mut host);
    assert_eq!(bench.truth().iter().map(|hole| hole.held_mm).collect::<Vec<_>>(), [630.0, 680.0]);
    assert_eq!(bench.world().layer(), "other ground");

    let opened = records(&host).into_iter().filter_map(|(first, record)| match record {
        Record::Opened(opened) => Some((first, opened.plan.structure.as_str().to_owned())),
        _ => None,
    });
    let opened: Vec<(u32, String)> = opened.collect();
    assert!(opened.is_sorted_by(|a, b| a.0 < b.0), "one stream: {opened:?}");
    let own = scenario(STILL_HOLE).sheet.structure;
    assert_eq!(opened.iter().map(|(_, structure)| structure.as_str()).collect::<Vec<_>>(), [&own, &own, "Elsewhere"]);
    for (said, truly) in closed(&host).iter().zip([330.0, 630.0, 680.0]) {
        assert!((said - truly).abs() <= 0.2, "said {said}, truly {truly}");
    }
}

#[test]
fn what_cannot_be_drilled_is_not_moved_on_to() {
    let mut bench = Bench::native(&hole(-300.0, false), 1).unwrap();
    let mut host = Commander::default();
    run_on(&mut bench, &mut host);
    let mut wrong = hole(0.0, false);
    wrong.sheet.tool = 9;
    let refused = bench.move_on(&wrong).unwrap_err().to_string();
    assert!(refused.contains("there is no tool 9"), "{refused}");
}
