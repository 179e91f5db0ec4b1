//! The structure sheet as people check it on the command line.
#![cfg(unix)]

mod common;

use common::{assert_failed, run};
use std::path::Path;

/// The invented sheet, in a folder of its own and with something replaced.
fn sheet(folder: &Path, from: &str, to: &str) -> String {
    let text = include_str!("../../src/sheet/simulated.csv");
    assert!(text.contains(from), "{from}");
    let path = folder.join("sheet.csv");
    std::fs::write(&path, text.replace(from, to)).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn a_sound_sheet_is_printed_as_a_schedule() {
    let folder = tempfile::tempdir().unwrap();
    let path = sheet(folder.path(), "2026-12-15", "9999-12-15"); // tickets that hold whenever this runs
    let limits = folder.path().join("limits.toml");
    std::fs::write(&limits, "[[limit]]\nmeasurand = \"toe\"\nfigure = \"3 in\"\nsource = \"Invented county\"\n").unwrap();
    let out = run(&["sheet", &path, "--limits", limits.to_str().unwrap()]);
    let said = String::from_utf8(out.stdout).unwrap();
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(said.starts_with(&format!("{path}: 4 structures, 7 holes: sound\nline SIMULATED tie\n")), "{said}");
    let row =
        |begin: &str| said.lines().find(|line| line.split_whitespace().collect::<Vec<_>>().join(" ").starts_with(begin)).map(str::to_owned);
    let left = row("41 left 10 ft 0 in original ground, low side table 4 ft 0 in 80 ft 0 in class H2 12 ft 6 in SIM-8412 until 9999-12-15");
    let metric = row("42 single 2.41 m grade at the stake 10 % + 2 ft 0.76 m 18.00 m class 2 – SIM-8413");
    assert!(left.is_some() && metric.is_some() && row("43 middle 10 ft 6 in graded pad 1/6 of length").is_some(), "{said}");
    assert!(said.contains("judged by toe too: 3 in, Invented county\n") && said.matches("warning: ").count() == 1, "{said}");
    assert!(said.contains("warning: row 2: arm not level: right end higher by 15.00 in"), "{said}");
    assert!(said.lines().all(|line| line.chars().count() < 150), "{said}");
    let json: serde_json::Value = serde_json::from_slice(&run(&["sheet", &path, "--json"]).stdout).unwrap();
    let legs = json["sheet"]["legs"].as_array().unwrap();
    assert_eq!((legs.len(), &legs[6]["basis"]["soil_over_rock"]["soil_depth_m"], &legs[1]["leg"]), (7, &0.6096.into(), &"right".into()));
}

/// Check values §1.1: at 35 ft the table (Service Foresters' handbook, SEEN-2nd) has 6.0 ft and 10 % + 2 ft gives 5.5; at 95 ft
/// they have 11.0 and 11.5, and the transmission owner's table (TS-7, Idaho PUC, SEEN) 11.5 too.
#[test]
fn every_basis_stands_beside_what_the_sheet_plans() {
    let folder = tempfile::tempdir().unwrap();
    let row = "10 ft,table,,low side,48 in,80 ft";
    for (planned, length, rule, other) in [
        ("6 ft", "35 ft", "5 ft 6 in: the sheet is 6 in deeper", "says nothing"),
        ("11 ft", "95 ft", "11 ft 6 in: THE SHEET IS 6 in SHALLOWER", "11 ft 6 in: THE SHEET IS 6 in SHALLOWER"),
    ] {
        let path = sheet(folder.path(), row, &format!("{planned},table,,low side,48 in,{length}"));
        let said = String::from_utf8(run(&["sheet", &path, "--bases"]).stdout).unwrap();
        let first = said.split("line SIMULATED tie, ").find(|part| part.starts_with("41 left, row 2: ")).unwrap();
        let of =
            |begin: &str| first.lines().find(|line| line.trim_start().starts_with(begin)).unwrap_or_else(|| panic!("{begin}: {first}"));
        assert!(of("* table, butt to groundline").contains(": as the sheet  (Service Foresters' handbook, "), "{first}");
        assert!(of("10 % + 2 ft  ").contains(rule) && of("table, transmission owner's").contains(other), "{first}");
        assert!(of("table, transmission owner's").ends_with("Idaho PUC, 31 July 2024; read in the source)"), "{first}");
        assert_eq!((first.lines().filter(|line| line.starts_with("  ")).count(), first.matches("* ").count()), (8, 1), "{first}");
    }
    // the single pole of a row in metres; its owner says nothing, and its rule gives 0.1 × 18 m + 0.6096 m
    let path = sheet(folder.path(), row, row);
    let json: serde_json::Value = serde_json::from_slice(&run(&["sheet", &path, "--bases", "--json"]).stdout).unwrap();
    let leg = &json["bases"][2];
    assert_eq!((&leg["name"], &leg["bases"][5]["own"], leg["bases"].as_array().unwrap().len()), (&"42".into(), &true.into(), 8));
    assert!((leg["bases"][5]["depth_m"].as_f64().unwrap() - 2.4096).abs() < 1e-9 && leg["bases"][0]["depth_m"].is_null(), "{leg}");
    assert!(leg["bases"][5]["sheet_deeper_by_m"].as_f64() == Some(0.0) && leg["bases"][1]["status"].is_string(), "{leg}");
    assert!(run(&["sheet", &path]).stdout.starts_with(path.as_bytes()) && json["sheet"]["legs"].is_array());
}

#[test]
fn a_sheet_with_problems_is_refused_until_they_are_mended_or_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let path = sheet(folder.path(), "6.5 ft", "6.5");
    let out = run(&["sheet", &path]);
    assert_failed(&out, 1, &["has 1 problem: nothing was taken of it", "--leave ROWS"]);
    let said = String::from_utf8(out.stdout).unwrap();
    assert!(said.starts_with("row 9, column \"Depth\": read \"6.5\"; no unit"), "{said}");
    let json = run(&["sheet", &path, "--json"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!((json.status.code(), &value["problems"][0]["row"], &value["sheet"]), (Some(1), &9.into(), &serde_json::Value::Null));
    let left = String::from_utf8(run(&["sheet", &path, "--leave", "9"]).stdout).unwrap();
    assert!(left.contains("3 structures, 6 holes: sound") && left.contains("row 9: is left out, as was said"), "{left}");
    // Once for the three rows that share a ticket.
    let expired = sheet(folder.path(), "2026-12-15", "2026-11-20");
    let said = String::from_utf8(run(&["sheet", &expired]).stdout).unwrap();
    assert!(said.contains("warning: rows 5, 6, 7: column \"Locate ticket\": SIM-8414 was valid until 2026-11-20"), "{said}");
    assert_failed(&run(&["sheet", "nowhere.csv"]), 1, &["nowhere.csv cannot be read"]);
}

#[test]
fn a_blank_sheet_is_written_and_nothing_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("blank.csv").to_str().unwrap().to_owned();
    let shown = run(&["sheet", "--blank"]);
    assert_eq!(run(&["sheet", "--blank", &path]).status.code(), Some(0));
    assert_eq!(std::fs::read(&path).unwrap(), shown.stdout);
    assert_failed(&run(&["sheet", "--blank", &path]), 1, &["cannot be written", "nothing that is there is written over"]);
    assert_failed(&run(&["sheet", &path]), 1, &["has 1 problem"]);
    assert_eq!(run(&["sheet"]).status.code(), Some(2));
}
