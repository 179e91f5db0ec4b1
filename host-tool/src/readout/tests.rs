//! What the line says at which moment.

use super::*;
use crate::session::{Came, Introduction, Stream};
use shared_protocol::body::CoarseLean;
use shared_protocol::message::Hello;
use shared_protocol::state::{Belief, Datum, DepthState, PlumbState, SensorFault};
use shared_protocol::units::{Lean, Micrometres};

pub(super) const GOOD: Status = Status {
    referenced: true,
    hole_open: true,
    depth: Belief::Good,
    lean: Belief::Good,
    activity: Activity::Cutting,
    depth_check: DepthState::Drilling,
    plumb_check: PlumbState::Good,
    memory_fault: false,
    simulated: false,
};

fn introduced(simulated: u8) -> Event {
    let stream = Stream { rig: "Rig\x1b[1m 7".to_owned(), epoch: 1 };
    Event::Rig(Introduction { stream, hello: Hello { simulated, ..Hello::default() }, version: VERSION, came: Came::First })
}

pub(super) fn plan() -> Plan {
    Plan {
        structure: "S-27".try_into().unwrap(),
        leg: 1,
        depth: Micrometres::from_mm(3_120),
        hub_above_datum: Micrometres::from_mm(85),
        ..Plan::default()
    }
}

pub(super) fn live(status: Status) -> Live {
    let lean = |mm_m: i16| CoarseLean(mm_m * 100);
    Live { depth: Micrometres::from_mm(2_155), forward: lean(-6), right: lean(3), status: status.to_bits(), ..Live::default() }
}

pub(super) fn outlook() -> Outlook {
    Outlook { bottom: Micrometres::from_mm(2_100), opened: 9, ..Outlook::default() }
}

/// The readout at 1,000 ms, all of it heard at that time.
pub(super) fn shown(simulated: u8, plan: Option<Plan>, live: Live, outlook: Outlook) -> Readout {
    let mut readout = Readout::default();
    for event in [introduced(simulated), Event::Hole(plan.map(Box::new)), Event::Live(live), Event::Outlook(outlook)] {
        readout.take(1_000, &event);
    }
    readout
}

fn line(status: Status) -> String {
    shown(0, Some(plan()), live(status), outlook()).line(1_100)
}

#[test]
fn a_hole_being_drilled() {
    // the hole below the datum: 2.155 − 0.085; to go: 3.120 + 0.085 − 2.155; together 3.12
    assert_eq!(
        line(GOOD),
        "Rig\u{FFFD}[1m 7 | S-27 left leg | to go 1.05 m | hole 2.07 m below ground at the low side | lean 7 mm/m, toe goes back and right: move mast top ↓ 6 back, → 3 right | cutting"
    );
}

#[test]
fn in_feet_and_inches_from_another_datum() {
    let plan = Plan { units: SheetUnits::FeetInches.raw(), datum: Datum::Stake.raw(), ..plan() };
    let line = shown(1, Some(plan), live(Status { activity: Activity::Tripping, ..GOOD }), outlook()).line(1_100);
    // 1.105 m = 43.5 in; 2.100 − 0.085 m = 79.33 in; 6 mm/m = 0.072 in/ft, 3 mm/m = 0.036 in/ft, together 0.081
    assert!(line.starts_with("SIMULATED Rig"), "{line}");
    assert!(line.contains("to go 3 ft 7 1/2 in | hole 6 ft 7 1/4 in below grade at the stake | "), "{line}");
    assert!(line.contains("lean 0.08 in/ft, toe goes back and right: move mast top ↓ 0.07 back, → 0.04 right"), "{line}");
}

#[test]
fn the_mast_top_goes_the_way_that_the_toe_errs() {
    let rows = [
        ((12, 0), "lean 12 mm/m, toe goes forward: move mast top ↑ 12 mm/m forward"),
        ((0, 12), "lean 12 mm/m, toe goes right: move mast top → 12 mm/m right"),
        ((-12, 0), "lean 12 mm/m, toe goes back: move mast top ↓ 12 mm/m back"),
        ((3, -31), "lean 31 mm/m, toe goes left: move mast top ← 31 mm/m left"),
        ((12, -10), "lean 16 mm/m, toe goes forward and left: move mast top ↑ 12 forward, ← 10 left"),
        ((0, 0), "lean 0 mm/m, plumb: leave the mast"),
    ];
    for ((forward, right), want) in rows {
        let live = Live { forward: CoarseLean(forward * 100), right: CoarseLean(right * 100), ..live(GOOD) };
        let line = shown(0, None, live, outlook()).line(1_000);
        assert!(line.contains(&format!("| {want} |")), "{line}");
    }
}

#[test]
fn the_lean_is_held_against_the_plans_limit_and_a_small_one_moves_no_mast() {
    let said = |lean: i16| {
        let live = Live { forward: CoarseLean(0), right: CoarseLean(lean), ..live(GOOD) };
        let plan = Plan { plumb_limit: Lean(20_000), ..plan() };
        let line = shown(0, Some(plan), live, outlook()).line(1_000);
        line.split(" | ").find(|field| field.starts_with("lean")).unwrap().to_owned()
    };
    assert_eq!(said(-900), "lean 9 mm/m, within 20 mm/m: leave the mast");
    assert_eq!(said(1_600), "lean 16 mm/m, toe goes right, within 20 mm/m: move mast top → 16 mm/m right");
    assert_eq!(said(2_010), "lean 20 mm/m, toe goes right, AT 20 mm/m: move mast top → 20 mm/m right");
    assert_eq!(said(-3_100), "lean 31 mm/m, toe goes left, BEYOND 20 mm/m: move mast top ← 31 mm/m left");
    assert_eq!(said(0), "lean 0 mm/m, plumb, within 20 mm/m: leave the mast");
}

#[test]
fn the_tool_is_where_it_is_in_words_and_never_below_nothing() {
    let said = |depth_mm: i32, activity: Activity, units: SheetUnits| {
        let plan = Plan { units: units.raw(), ..plan() };
        let live = Live { depth: Micrometres::from_mm(depth_mm), ..live(Status { activity, ..GOOD }) };
        let readout = shown(0, Some(plan), live, outlook());
        assert!(!readout.line(1_000).contains('-') || readout.line(1_000).matches('-').count() == 1, "S-27 alone: {}", readout.line(1_000));
        readout.sight(1_000, &[]).place
    };
    let metric = |depth, activity| said(depth, activity, SheetUnits::Metric);
    // the hub is 0.085 m above the datum, the bottom at 2.100 m below the hub
    assert_eq!(metric(2_110, Activity::Cutting), "cutting");
    assert_eq!(metric(1_520, Activity::Tripping), "tool 0.58 m off the bottom");
    assert_eq!(metric(2_095, Activity::Tripping), "tool on the bottom");
    assert_eq!(metric(1_520, Activity::Reaming), "reaming 0.58 m off the bottom");
    assert_eq!(metric(-295, Activity::Clear), "tool 0.38 m above ground");
    assert_eq!(metric(80, Activity::Clear), "tool at the ground");
    assert_eq!(metric(0, Activity::Tripping), "tool 0.09 m above ground", "on the hub");
    assert_eq!(said(1_520, Activity::Tripping, SheetUnits::FeetInches), "tool 1 ft 11 in off the bottom");
}

#[test]
fn to_go_and_the_hole_make_the_plan_and_past_it_is_told_from_too_deep() {
    let plan = Plan { depth_over: Micrometres::from_mm(150), ..plan() };
    let said = |bottom_mm: i32| {
        let outlook = Outlook { bottom: Micrometres::from_mm(bottom_mm), ..outlook() };
        let live = live(Status { activity: Activity::Tripping, ..GOOD });
        let line = shown(0, Some(plan.clone()), live, outlook).line(1_000);
        line.split(" | ").skip(2).take(2).collect::<Vec<_>>().join(" + ").replace(" below ground at the low side", "")
    };
    assert_eq!(said(2_100), "to go 1.11 m + hole 2.01 m"); // 1.105 and 2.015: rounded each by itself they would make 3.13
    assert_eq!(said(3_225), "0.02 m past plan + hole 3.14 m");
    assert_eq!(said(3_365), "0.16 m too deep + hole 3.28 m");
    assert_eq!(said(0), "to go 3.21 m + hole 0.00 m", "nothing is bored above the ground");
}

#[test]
fn what_bars_a_statement_and_what_the_rig_asks_is_shown_while_the_hole_is_open() {
    let mut readout = shown(0, Some(plan()), live(GOOD), outlook());
    let reasons = vec!["misclosure on the hub is 21 mm, and 20 mm is the most accepted".to_owned()];
    readout.take(1_000, &Event::Doubts(Doubts { reasons, slow: true }));
    let line = readout.line(1_100);
    assert!(line.ends_with("| slow going: is it refusal? say refusal yes or refusal no | not shown: misclosure on the hub is 21 mm, and 20 mm is the most accepted"), "{line}");
    readout.take(1_000, &Event::Live(live(Status { hole_open: false, ..GOOD })));
    assert!(!readout.line(1_100).contains("not shown"), "{}", readout.line(1_100));
}

#[test]
fn a_depth_that_is_not_tied_to_the_hub_is_a_dash() {
    let line = line(Status { referenced: false, ..GOOD });
    assert!(line.contains("| to go – | hole – (touch the hub) | lean 7"), "{line}");
}

#[test]
fn a_sensor_fault_is_a_dash_with_its_name() {
    let outlook = Outlook { encoder_fault: SensorFault::Silent.raw(), tilt_fault: SensorFault::Saturated.raw(), ..outlook() };
    let live = live(Status { depth: Belief::Fault, lean: Belief::Fault, ..GOOD });
    let line = shown(0, Some(plan()), live, outlook).line(1_000);
    assert!(line.contains("| to go – | hole – (depth encoder: no answer in time) | lean – (tilt sensor: at the end of"), "{line}");
    assert!(!line.contains("2.07") && !line.contains("mm/m"), "{line}");
}

#[test]
fn after_half_a_second_of_silence_nothing_old_is_shown() {
    let mut readout = shown(0, Some(plan()), live(GOOD), outlook());
    assert!(readout.state(1_500).is_some() && readout.line(1_500).contains("2.07 m"));
    let line = readout.line(3_501);
    assert!(line.ends_with("| S-27 left leg | to go – | hole – | lean – | no data for 2.5 s: is the rig on and the cable in?"), "{line}");
    readout.port(true);
    assert!(readout.line(1_100).ends_with("lean – | no data: the port is gone; plug it in again"));
    readout.port(false);
    readout.take(4_000, &Event::Live(live(GOOD)));
    assert!(
        readout.line(4_000).contains("| to go – | hole – (the hole so far is on the way)"),
        "an outlook of three seconds ago says nothing of now"
    );
    assert!(Readout::default().line(0).contains("no rig has said hello"));
}

#[test]
fn a_memory_at_fault_is_said() {
    let line = line(Status { memory_fault: true, ..GOOD });
    assert!(line.contains("RIG'S MEMORY AT FAULT: records may be missing"), "{line}");
}

#[test]
fn checks_that_matter_are_said() {
    let line = line(Status { depth_check: DepthState::Over, plumb_check: PlumbState::Out, activity: Activity::Reaming, ..GOOD });
    assert!(line.ends_with("| reaming 0.00 m off the bottom | TOO DEEP | HOLE OUT OF PLUMB"), "{line}");
    let deep = Live { depth: Micrometres::from_mm(3_298), ..live(GOOD) };
    assert!(shown(0, Some(plan()), deep, outlook()).line(1_000).contains("| 0.09 m too deep |")); // 3.298 − 3.205 = 0.093
}

#[test]
fn at_planned_depth_the_mast_is_not_to_be_moved_any_more() {
    let leaning = |depth_check| Live { right: CoarseLean(-1_900), ..live(Status { depth_check, ..GOOD }) };
    let hint = |depth_check| shown(0, Some(plan()), leaning(depth_check), outlook()).sight(1_000, &[]).hint.expect("an order");
    assert!(hint(DepthState::ComingUp).starts_with("move mast top"), "{}", hint(DepthState::ComingUp));
    for depth_check in [DepthState::OnDepth, DepthState::Over] {
        assert_eq!(hint(depth_check), "stop: depth reached");
    }
}

#[test]
fn how_the_last_hole_ended_is_said_until_another_is_open() {
    use crate::facts::DigestState;
    use crate::proof::Sealing;
    let idle = live(Status { hole_open: false, activity: Activity::Idle, ..GOOD });
    let mut readout = shown(0, None, idle, outlook());
    readout.take(1_000, &Event::Ended(Ending { hole: "S-27".to_owned(), sealing: Sealing::NoKey, digest: DigestState::Fits }));
    let line = readout.line(1_100);
    assert!(line.ends_with("| S-27: not sealed, the rig was never commissioned"), "{line}");
    readout.take(1_000, &Event::Hole(Some(Box::new(plan()))));
    assert!(!readout.line(1_100).contains("commissioned"));
}

#[test]
fn without_a_hole_or_a_plan() {
    let idle = Status { hole_open: false, activity: Activity::Idle, ..GOOD };
    let line = line(idle);
    assert!(line.contains("| no hole open | to go – | hole – (no hole open) |"), "{line}");
    let line = shown(0, None, live(GOOD), Outlook { waiting: 40, ..outlook() }).line(1_000);
    assert!(line.contains("| hole – (its plan is on the way) | to go – |") && line.ends_with("| 40 records to fetch"), "{line}");
}

#[test]
fn a_rig_that_has_just_started_is_not_said_to_have_no_hole() {
    let line = line(Status { hole_open: false, referenced: false, activity: Activity::Starting, ..GOOD });
    assert!(line.contains("| the rig is starting | to go – | hole – ") && !line.contains("no hole"), "{line}");
}

#[test]
fn a_state_that_this_version_does_not_know_is_said() {
    let line = shown(0, Some(plan()), Live { status: 0b111 << 6, ..live(GOOD) }, outlook()).line(1_000);
    assert!(line.ends_with("lean – | the rig's state is of a kind that this version does not know"), "{line}");
}

#[test]
fn what_was_shown_before_the_computer_slept_is_not_shown_after_it() {
    let mut readout = shown(0, Some(plan()), live(GOOD), outlook());
    assert!(readout.state(1_000).is_some());
    readout.take(1_000, &Event::Woke);
    assert_eq!((readout.state(1_000), readout.live.is_none(), readout.outlook.is_none()), (None, true, true));
}
