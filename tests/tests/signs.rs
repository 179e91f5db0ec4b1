//! The sign vector of the design, from the tilt sensor's registers to the words on paper: a toe that goes one way with
//! depth, in the rig's four directions, with the rig facing each of four headings.

use host_tool::papers::Job;
use host_tool::store::Store;
use simulator::bench::Bench;
use simulator::scenario::{STILL_HOLE, Scenario};
use std::process::Command;
use tempfile::TempDir;
use tests::cab::Cab;

/// 12 mm/m over a bore of 600 mm: 7.2 mm at the toe, which prints as 7 mm.
const LEAN: f64 = 12.0;

fn certificate(forward: f64, right: f64, heading: u32) -> String {
    let folder = TempDir::new().expect("a folder");
    let lean = format!("lean = [{{ at_mm = 0, forward = {forward:.1}, right = {right:.1} }}]");
    let text = STILL_HOLE
        .replace("lean = [{ at_mm = 0, forward = 12.0, right = -5.0 }]", &lean)
        .replace("heading_deg = 0", &format!("heading_deg = {heading}"));
    assert!(text.contains(&lean) && text.contains(&format!("heading_deg = {heading}")), "the scenario was changed");
    let scenario = Scenario::parse("signs", &text).expect("sound");
    let mut cab = Cab::new(Bench::native(&scenario, 1).expect("fits"), folder.path().join("store"));
    cab.finish();
    drop(cab);
    let store = Store::open_existing(&folder.path().join("store")).expect("the store");
    let papers = Job::of(&store, &[], None).expect("one").print(folder.path(), |_| ()).expect("printed");
    let out =
        Command::new("pdftotext").arg("-layout").arg(&papers[0].path).arg("-").output().expect("pdftotext: run tests/install-debian.sh");
    String::from_utf8(out.stdout).expect("UTF-8")
}

#[test]
fn a_toe_that_goes_one_way_in_the_ground_goes_that_way_on_paper() {
    // By geometry: with the rig facing ahead, right, back, left (heading 0, 90, 180, 270), its forward is that way,
    // and its right is a quarter turn clockwise from there.
    let ways = ["ahead", "right", "back", "left"];
    let directions = [(LEAN, 0.0), (0.0, LEAN), (-LEAN, 0.0), (0.0, -LEAN)];
    for (quarter, heading) in [0, 90, 180, 270].into_iter().enumerate() {
        for (direction, (forward, right)) in directions.into_iter().enumerate() {
            let way = ways[(quarter + direction) % 4];
            let paper = certificate(forward, right, heading);
            let toe = paper.lines().find(|line| line.trim_start().starts_with("toe ")).unwrap_or_else(|| panic!("no toe in:\n{paper}"));
            assert!(toe.contains(&format!("7 mm {way}")), "heading {heading}, lean {forward} {right}: {toe}");
            let others = ways.iter().filter(|w| **w != way && toe.contains(&format!("mm {w}")) && !toe.contains(&format!("0 mm {w}")));
            assert_eq!(others.count(), 0, "heading {heading}, lean {forward} {right}: {toe}");
        }
    }
}
