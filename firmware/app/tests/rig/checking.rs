//! Checks while drilling: slow going, the hub's misclosure, a change of tool.

use crate::bench::{Bench, plan};
use shared_protocol::message::{ChangeTool, Command, ConfirmRefusal, TouchHub};
use shared_protocol::record::{Plan, Record};
use shared_protocol::state::{Activity, Answer, Check, ReferenceState};

#[test]
fn slow_going_is_a_candidate_that_people_confirm() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(300.0, 20.0);
    assert!(bench.changes(Check::Going).is_empty());
    bench.go(305.0, 0.08); // 5 mm in a minute
    bench.stay(5_000);
    let changes = bench.changes(Check::Going);
    assert_eq!(changes.len(), 1, "{changes:?}");
    assert!(changes[0].state == 1 && (0..=167).contains(&changes[0].figure), "{changes:?}");
    let reply = bench.ask(Command::ConfirmRefusal(ConfirmRefusal { confirmed: 1 }));
    assert_eq!(reply.answer, Answer::Done.raw());
    let refusals = bench.only(|r| if let Record::Refusal(r) = r { Some(*r) } else { None });
    assert_eq!((refusals.len(), refusals[0].confirmed), (1, 1));
    assert!((refusals[0].depth.0 - 305_000).abs() <= 1_000, "{refusals:?}");
    bench.go(340.0, 0.25); // quicker than slow, slower than usual: nothing changes
    assert_eq!(bench.changes(Check::Going).len(), 1);
    bench.go(400.0, 20.0);
    let states: Vec<u8> = bench.changes(Check::Going).iter().map(|c| c.state).collect();
    assert_eq!(states, [1, 0]);
}

#[test]
fn trips_and_rests_above_the_bottom_are_not_slow_going() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(300.0, 20.0);
    bench.go(-500.0, 1_000.0);
    bench.stay(600_000);
    bench.go(200.0, 1_000.0);
    bench.stay(600_000);
    assert!(bench.changes(Check::Going).is_empty());
}

#[test]
fn refusal_needs_an_open_hole_and_a_plain_answer() {
    let mut bench = Bench::new();
    let ask = |bench: &mut Bench, confirmed| bench.ask(Command::ConfirmRefusal(ConfirmRefusal { confirmed })).answer;
    assert_eq!(ask(&mut bench, 1), Answer::NoHoleOpen.raw());
    bench.open(plan());
    assert_eq!(ask(&mut bench, 2), Answer::BadFigures.raw());
    assert_eq!(ask(&mut bench, 0), Answer::Done.raw());
}

#[test]
fn a_hub_that_closes_worse_than_its_limit_is_on_record_until_it_closes_again() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    // Each touch ties depth anew, so the next one's misclosure is how far the tip went since.
    for (off, want) in [(6.9, 0), (7.2, 1), (-15.0, 1), (3.0, 2)] {
        bench.tip_mm += off;
        bench.stay(1_000);
        bench.ask(Command::TouchHub(TouchHub {}));
        let changes = bench.changes(Check::Misclosure);
        assert_eq!(changes.len(), want, "{off}: {changes:?}");
    }
    let changes = bench.changes(Check::Misclosure);
    assert_eq!((changes[0].state, changes[1].state), (1, 0));
    assert!((changes[0].figure - 7_200).abs() <= 100, "{changes:?}");
}

#[test]
fn a_change_of_tool_carries_depth_by_the_table_and_asks_for_the_hub() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(-1_000.0, 500.0);
    assert_eq!(bench.ask(Command::ChangeTool(ChangeTool { tool: 2 })).answer, Answer::Done.raw());
    bench.stay(500);
    assert!((bench.live().0.depth.0 + 600_000).abs() <= 100, "400 mm longer");
    let states = |bench: &mut Bench| bench.changes(Check::Reference).iter().map(|c| c.state).collect::<Vec<_>>();
    let (none, hub, carried) = (ReferenceState::Unreferenced.raw(), ReferenceState::Hub.raw(), ReferenceState::Carried.raw());
    assert_eq!(states(&mut bench), [none, hub, carried]);
    let mut wrong = 0;
    bench.go(-412.0, 500.0); // the tool is 12 mm longer than its table says
    bench.stay(1_000);
    bench.ask(Command::TouchHub(TouchHub {}));
    assert_eq!(states(&mut bench), [none, hub, carried, hub]);
    for change in bench.changes(Check::Misclosure) {
        assert!((change.figure + 12_000).abs() <= 100, "{change:?}");
        wrong += 1;
    }
    assert_eq!(wrong, 1, "a wrong tool length shows on the hub");
}

#[test]
fn a_larger_tool_reams_what_a_smaller_cut_and_makes_no_new_depth() {
    let mut bench = Bench::new();
    bench.open(Plan { tool: 2, ..plan() });
    bench.touch();
    bench.go(600.0, 20.0);
    bench.stay(1_000);
    assert_eq!(bench.live().1.activity, Activity::Cutting);
    bench.go(-1_300.0, 500.0);
    bench.ask(Command::ChangeTool(ChangeTool { tool: 1 }));
    let increments = |bench: &mut Bench| bench.only(|r| if let Record::Increment(i) = r { Some(i.depth.0) } else { None }).len();
    let before = increments(&mut bench);
    assert_eq!(before, 24);
    bench.go(300.0, 500.0);
    bench.go(700.0, 20.0); // this tool is 400 mm shorter: 300 mm below the hub
    bench.stay(1_000);
    assert!((bench.live().0.depth.0 - 300_000).abs() <= 100, "{:?}", bench.live().0.depth);
    assert_eq!(bench.live().1.activity, Activity::Reaming);
    assert!((bench.outlook().bottom.0 - 300_000).abs() <= 200, "the bottom at this diameter");
    assert_eq!(increments(&mut bench), before, "no new depth");
    bench.stay(200_000);
    assert!(bench.changes(Check::Going).is_empty(), "reaming is not slow going");
    bench.go(1_050.0, 20.0);
    bench.stay(1_000);
    assert_eq!(bench.live().1.activity, Activity::Cutting);
    assert_eq!(increments(&mut bench), before + 2);
}

#[test]
fn a_tag_that_stops_short_is_fall_in_and_one_on_the_bottom_is_not() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    bench.go(600.0, 20.0);
    bench.stay(1_000);
    bench.go(-500.0, 1_000.0);
    bench.go(599.0, 1_000.0);
    bench.stay(1_000);
    assert!(bench.changes(Check::FallIn).is_empty());
    bench.go(-500.0, 1_000.0);
    bench.go(420.0, 1_000.0);
    bench.stay(1_000);
    let tags = bench.changes(Check::FallIn);
    assert_eq!(tags.len(), 1, "{tags:?}");
    assert!((tags[0].depth.0 - 420_000).abs() <= 200 && (tags[0].figure - 180_000).abs() <= 400, "{tags:?}");
    bench.stay(5_000);
    assert_eq!(bench.changes(Check::FallIn).len(), 1, "said once");
}
