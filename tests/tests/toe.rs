//! The toe and the projected toe: what the rig says live and at the close, and what the host makes of the records.

use host_tool::facts::SetUp;
use host_tool::judge::axis::{Axis, metres};
use host_tool::judge::{LineAxes, to_line};
use shared_protocol::message::Outlook;
use shared_protocol::units::{Micrometres, RigAxes};
use simulator::bench::Bench;
use simulator::operator::Progress;
use simulator::scenario::{FAULT_PARADE, ORDINARY, STILL_HOLE, Scenario, TWO_POLE};
use tempfile::TempDir;
use tests::cab::Cab;

/// How far rig and host may differ, m.
const WITHIN: f64 = 0.001;

fn in_line(setup: &SetUp, forward: Micrometres, right: Micrometres) -> LineAxes {
    to_line(metres(forward), metres(right), setup.opened.body.plan.heading)
}

fn apart(setup: &SetUp, rig: RigAxes<Micrometres>, host: LineAxes) -> f64 {
    in_line(setup, rig.forward, rig.right).minus(host).magnitude()
}

/// What an outlook says against the records in hand: the largest difference of stick, wall-guided and projected toe.
fn live_apart(setup: &SetUp, outlook: &Outlook) -> Option<f64> {
    let plan = &setup.opened.body.plan;
    let axis = Axis::of(setup);
    let (end, target) = (axis.at(metres(outlook.bottom))?, axis.at(metres(plan.depth.plus(plan.hub_above_datum)))?);
    let pair = |forward, right| RigAxes { forward, right };
    let stick = apart(setup, pair(outlook.toe_forward, outlook.toe_right), end.stick);
    let wall = apart(setup, pair(outlook.wall_forward, outlook.wall_right), end.wall);
    let planned = apart(setup, pair(outlook.planned_forward, outlook.planned_right), target.offset);
    Some(stick.max(wall).max(planned))
}

/// Toe by both models and projected toe at planned depth, live and at the close, on every scenario.
#[test]
fn rig_and_host_agree_to_a_millimetre_on_every_scenario() {
    for text in [TWO_POLE, STILL_HOLE, FAULT_PARADE, ORDINARY] {
        let folder = TempDir::new().expect("a folder");
        let scenario = Scenario::parse("a test's", text).expect("sound");
        let bench = Bench::native(&scenario, scenario.seed).expect("fits");
        let mut cab = Cab::new(bench, folder.path().join("toe.store"));
        let mut compared = 0;
        while cab.bench.progress() != Some(Progress::Finished) {
            cab.run_for(10_000);
            // Where a host has all that the rig recorded, and the rig has said so since.
            let Some(outlook) = cab.shown.1.filter(|o| o.waiting == 0 && o.opened != 0) else { continue };
            let setups = cab.setups();
            let Some(setup) = setups.last().filter(|s| s.opened.sequence == outlook.opened && s.closed.is_none()) else { continue };
            if setup.increments.last().is_some_and(|last| last.moment.at.0 > outlook.at.0) {
                continue; // recorded since
            }
            let Some(apart) = live_apart(setup, &outlook) else { continue };
            assert!(apart <= WITHIN, "{}: live, {:.2} mm at {:?}", scenario.title, apart * 1e3, outlook.bottom);
            compared += 1;
        }
        cab.finish();
        for setup in cab.setups() {
            let closed = &setup.closed.as_ref().expect("closed").body;
            let end = Axis::of(&setup).at(metres(closed.bottom)).expect("drilled");
            let (stick, wall) = (apart(&setup, closed.toe, end.stick), apart(&setup, closed.wall, end.wall));
            assert!(stick <= WITHIN && wall <= WITHIN, "{}: closed, {:.2} and {:.2} mm", scenario.title, stick * 1e3, wall * 1e3);
        }
        assert!(compared >= 3, "{}: compared {compared} times", scenario.title);
    }
}
