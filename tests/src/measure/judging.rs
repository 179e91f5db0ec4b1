//! A season judged: axis, budget, verdict of each hole and the fit of each frame, against the same in numpy and scipy.

use super::{figure, least_work, others};
use crate::python::interpreter;
use crate::samples::of_season;
use host_tool::facts::SetUp;
use host_tool::judge::budget::{Budget, Row};
use host_tool::judge::spread::Shape;
use host_tool::judge::{LineAxes, judge};
use host_tool::structure::fit::{Leg, Station};
use host_tool::structure::joint::most_room;
use host_tool::structure::pole::Outline;
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

/// Holes that the other side judges; it is asked for its time by hole.
const OTHERS_HOLES: u32 = 400;
/// Metres from leg to leg, and between two stations.
const ACROSS: f64 = 3.81;
const EVERY: usize = 6;

/// The hole as the fit takes it: a station for every few increments.
fn leg(setup: &SetUp, right: f64) -> Leg {
    let axis = host_tool::judge::axis::Axis::of(setup);
    let station = |depth: f64, centre: LineAxes| Station { depth, centre, radius: 0.55, centre_standard: 0.004, radius_standard: 0.003 };
    let mut stations: Vec<Station> = axis.points.iter().step_by(EVERY).map(|point| station(point.depth, point.offset)).collect();
    stations.extend(axis.points.last().map(|last| station(last.depth + 0.001, last.offset)));
    let stake = LineAxes { ahead: 0.0, right };
    let pole = Outline { narrows: 0.006, ..Outline::cylinder(0.2, 0.003) };
    Leg { stations, pole, rake: LineAxes::default(), stake, framed: stake, place_standard: 0.01 }
}

/// A budget's errors by their shapes.
fn errors(budget: &Budget, of_distance: bool) -> Value {
    let shapes: Vec<Shape> = budget.rows.iter().map(Row::contributes).collect();
    let normal = shapes.iter().map(|shape| if let Shape::Normal(deviation) = shape { deviation.powi(2) } else { 0.0 }).sum::<f64>().sqrt();
    let ends: Vec<f64> = shapes.iter().filter_map(|shape| if let Shape::Rectangular(end) = shape { Some(*end) } else { None }).collect();
    let disc = shapes.iter().find_map(|shape| if let Shape::Disc(radius) = shape { Some(*radius) } else { None });
    json!({ "normal": normal, "ends": ends, "disc": disc, "of_distance": of_distance })
}

fn written(setup: &SetUp, leg: &Leg) -> Value {
    let increments: Vec<Value> = setup
        .increments
        .iter()
        .map(|one| {
            json!([f64::from(one.body.depth.0) / 1e6, f64::from(one.body.forward.lean().0) / 1e6, f64::from(one.body.right.lean().0) / 1e6])
        })
        .collect();
    let judged = judge(setup);
    let all = judged
        .budgets
        .iter()
        .flat_map(|all| [(&all.depth, false), (&all.edge, false), (&all.distance, true), (&all.place, false), (&all.local, false)]);
    let budgets: Vec<Value> = all.map(|(budget, of_distance)| errors(budget, of_distance)).collect();
    let stations: Vec<Value> = leg.stations.iter().map(|s| json!([s.depth, s.centre.ahead, s.centre.right, s.radius])).collect();
    let at = |place: LineAxes| json!([place.ahead, place.right]);
    json!({
        "increments": increments, "budgets": budgets, "guide": 1.4, "planned": 3.2, "limit": 0.02,
        "leg": { "stations": stations, "butt": leg.pole.butt, "narrows": leg.pole.narrows, "rake": at(leg.rake), "stake": at(leg.stake), "framed": at(leg.framed) },
    })
}

/// Seconds that numpy and scipy take for one hole of a season, its half of a frame's fit among it: with errors added up on grids, or by series.
fn numpy(by: &str, holes: &[Value]) -> f64 {
    let script = crate::root().join("tests/python/judged_speed.py");
    let mut child =
        Command::new(interpreter()).arg(script).arg(by).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("Python starts");
    child.stdin.take().expect("piped").write_all(Value::from(holes.to_vec()).to_string().as_bytes()).expect("it reads");
    let out = child.wait_with_output().expect("it ends");
    assert!(out.status.success(), "judged_speed.py failed; what it says above is why");
    String::from_utf8_lossy(&out.stdout).trim().parse::<f64>().expect("seconds") / figure(holes.len())
}

/// So many holes in frames of two.
///
/// # Panics
/// Where Python is not there.
#[must_use]
pub fn season(holes: u32) -> super::Row {
    let setups: Vec<SetUp> = (0..holes).map(|n| of_season(n).setup()).collect();
    let frames: Vec<Vec<Leg>> =
        setups.chunks(2).map(|two| two.iter().zip([0.0, ACROSS]).map(|(one, right)| leg(one, right)).collect()).collect();
    let ours = least_work(3, || {
        let verdicts: usize = setups.iter().map(|setup| judge(setup).verdicts.len()).sum();
        let rooms: f64 = frames.iter().filter_map(|legs| most_room(legs).ok()).map(|best| -best.radius).sum();
        (verdicts, rooms)
    });
    let asked: Vec<Value> = (0..OTHERS_HOLES.min(holes) as usize).map(|n| written(&setups[n], &frames[n / 2][n % 2])).collect();
    let theirs = |by| numpy(by, &asked) * f64::from(holes);
    let (on_grids, by_series) = (theirs("grids"), theirs("series"));
    super::Row {
        what: format!("a season judged, {holes} holes: axis, budget, verdict, fit of each frame"),
        unit: "s of processor",
        ours,
        others: others([("numpy and scipy by the same series", by_series), ("numpy and scipy on grids", on_grids)]),
        aim: "50 times as fast",
        holds: by_series >= 50.0 * ours,
        note: format!(
            "the other side's from {} holes; without what the fit's room is worth, which is drawn 2,000 times here only",
            asked.len()
        ),
    }
}
