//! The line's sheet and what is made of it, before anything is drilled.

use super::jobs::{Begins, jobs};
use super::turns_out::Incident;
use super::work::{after, next_day};
use super::{BASE, MORNING, SHEET, calibrations, sheet};
use host_tool::facts::Wall;
use host_tool::sheet::{Basis, LegPlan};
use shared_protocol::state::{CalibrationItem, Datum, Leg, SheetUnits};
use simulator::scenario::Scenario;
use std::collections::BTreeMap;

fn base() -> Scenario {
    Scenario::parse("line.toml", BASE).unwrap()
}

fn structures(legs: &[LegPlan]) -> Vec<&[LegPlan]> {
    legs.chunk_by(|a, b| a.structure == b.structure).collect()
}

#[test]
fn the_sheet_holds_what_a_line_holds_and_says_that_it_is_invented() {
    let sheet = sheet().unwrap();
    let sizes = structures(&sheet.legs).iter().fold(BTreeMap::<usize, usize>::new(), |mut sizes, legs| {
        *sizes.entry(legs.len()).or_default() += 1;
        sizes
    });
    assert_eq!(sizes.into_iter().collect::<Vec<_>>(), [(1, 22), (2, 14), (3, 6)]);
    let count = |is: &dyn Fn(&LegPlan) -> bool| sheet.legs.iter().filter(|leg| is(leg)).count();
    assert!(sheet.legs.iter().all(|leg| leg.remarks.starts_with("SIMULATED") && leg.line.starts_with("SIM ") && leg.line.len() <= 24));
    assert!(SHEET.lines().skip(1).all(|row| row.contains("SIMULATED")));
    for units in [SheetUnits::Metric, SheetUnits::FeetInches] {
        assert!(count(&|leg| leg.units == units) >= 15);
    }
    for datum in [Datum::LowSide, Datum::Stake, Datum::Pad] {
        assert!(count(&|leg| leg.datum == datum) >= 4, "{datum:?}");
    }
    assert!(count(&|leg| matches!(leg.basis, Some(Basis::SoilOverRock { .. }))) >= 5);
    assert!(count(&|leg| leg.rake.is_some_and(|rake| rake > 0.0) && leg.guy_direction_deg.is_some()) >= 15);
    for some in [count(&|leg| leg.butt.is_some()), count(&|leg| leg.butt_to_framing_m.is_some())] {
        assert!((20..=sheet.legs.len() - 10).contains(&some), "some have it and some have not: {some}");
    }
    assert!(sheet.legs.iter().all(|leg| (0.6..=1.22).contains(&leg.diameter_m)));
}

/// The arm of one structure would not be level, one leg is shallower than its own table, one ticket has run out and one is missing:
/// nothing else is warned of.
#[test]
fn the_sheet_warns_of_what_it_is_meant_to_and_of_nothing_else() {
    let warnings: Vec<String> = sheet().unwrap().warnings.iter().map(ToString::to_string).collect();
    assert_eq!(warnings.len(), 4, "{warnings:?}");
    for (warning, words) in
        warnings.iter().zip(["8 ft 0 in is less than 8 ft 6 in by table", "was valid until 2026-05-08", "arm not level", "there is none"])
    {
        assert!(warning.contains(words), "{warning}");
    }
}

/// Framing points of two legs, where both were taped, are level to what half inches and centimetres leave, but on 120.
#[test]
fn arms_are_planned_level_but_on_one_structure() {
    let sheet = sheet().unwrap();
    let mut unlevel = Vec::new();
    let mut looked_at = 0;
    for legs in structures(&sheet.legs).into_iter().filter(|legs| legs.len() > 1) {
        let framing = |leg: &LegPlan| {
            let datum = if leg.datum == Datum::Pad { leg.ground_pad_m } else { leg.ground_original_m };
            Some(datum? - leg.depth_m + leg.butt_to_framing_m?)
        };
        let points: Vec<f64> = legs.iter().filter_map(framing).collect();
        looked_at += usize::from(points.len() == legs.len());
        let (low, high) = points.iter().fold((f64::MAX, f64::MIN), |(low, high), p| (low.min(*p), high.max(*p)));
        if high - low > 0.025 {
            unlevel.push((legs[0].structure.as_str(), high - low > 0.1));
        }
    }
    assert!(looked_at >= 15, "{looked_at}");
    assert_eq!(unlevel, [("120", true)]);
}

#[test]
fn every_job_can_be_drilled_and_is_loaded_by_its_row() {
    let (base, sheet) = (base(), sheet().unwrap());
    let jobs = jobs(&base, &sheet.legs, usize::MAX).unwrap();
    // 68 legs, one of them not drilled yet; one is drilled twice, one in two set-ups
    assert_eq!((sheet.legs.len(), jobs.len()), (68, 69));
    for job in &jobs {
        job.scenario.check("a job").unwrap();
        let (row, own) = (&job.plan, job.scenario.plan(0).unwrap());
        assert!((row.depth.0 - own.depth.0).abs() <= 1 && (row.diameter.0 - own.diameter.0).abs() <= 1, "{}", job.leg.name());
        let same = |p: &shared_protocol::record::Plan| (p.leg, p.attempt, p.units, p.datum, p.tool, p.hub_above_datum, p.heading);
        assert_eq!(same(row), same(&own), "{}", job.leg.name());
        let tool = job.scenario.tools().into_iter().find(|tool| tool.number == row.tool).unwrap();
        let off = (tool.diameter.0 - row.diameter.0).abs();
        assert_eq!(off > 6_000, job.incident == Some(Incident::Pilot), "{}: a tool of {:?}", job.leg.name(), tool.diameter);
    }
    let of = |structure: &str, leg: Leg| -> Vec<(u8, u8, Begins)> {
        let jobs = jobs.iter().filter(|job| (job.leg.structure.as_str(), job.leg.leg) == (structure, leg));
        jobs.map(|job| (job.plan.attempt, job.plan.setup, job.begins)).collect()
    };
    assert_eq!(of("118", Leg::Single), [(1, 1, Begins::Elsewhere), (2, 1, Begins::Here)]);
    assert_eq!(of("119", Leg::Middle), [(1, 1, Begins::Here), (1, 2, Begins::NextDay)]);
    assert_eq!(of("141", Leg::Single), []);
    assert!(jobs.last().unwrap().stays_open(), "the hole that nobody closes is the last");
}

#[test]
fn the_rig_is_told_of_every_tool_of_the_line() {
    let all = calibrations(&base()).unwrap();
    let tools = all.iter().filter(|calibration| calibration.item == CalibrationItem::Tool.raw());
    let shown: Vec<Vec<i32>> = tools.map(|calibration| calibration.values.to_vec()).collect();
    // 24, 30, 36, 48 and 18 in, 25.4 mm each
    let of = |number: i32, length: i32, diameter: i32| vec![number, length * 1_000, diameter * 100];
    assert_eq!(shown, [of(1, 900, 6_096), of(2, 950, 7_620), of(3, 1_000, 9_144), of(4, 1_100, 12_192), of(5, 1_200, 4_572)]);
}

#[test]
fn days_begin_at_half_past_seven_and_a_week_has_five() {
    let hours = |hours: i64| Wall { unix_ms: MORNING.unix_ms + hours * 3_600_000, ..MORNING };
    assert!(MORNING.rfc3339().starts_with("2026-05-11T07:30:00"), "a Monday: {}", MORNING.rfc3339());
    assert_eq!(after(hours(2), 90 * 60_000 + 59_999).rfc3339(), "2026-05-11T11:00:00-06:00");
    assert_eq!(after(hours(8), 35 * 60_000).rfc3339(), "2026-05-12T07:30:00-06:00", "too late to begin another");
    assert_eq!(next_day(hours(4 * 24 + 3)).rfc3339(), "2026-05-18T07:30:00-06:00", "from Friday to Monday");
    assert_eq!(next_day(hours(-1)).rfc3339(), MORNING.rfc3339());
}
