//! `demo --line` as people run it: an invented line from its sheet to its records.
#![cfg(unix)]

mod common;

use common::{assert_failed, run};
use host_tool::entry::{HoleState, Said};
use host_tool::export::{Exported, Format};
use host_tool::facts::{DigestState, SetUp, read};
use host_tool::holes::catalogue_by;
use host_tool::lists::{self, List};
use host_tool::proof::Sealing;
use host_tool::session::Stream;
use host_tool::store::Store;
use serde_json::Value;
use shared_protocol::record::quality;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::{Output, Stdio};

fn line(out: &Path, more: &[&str]) -> Output {
    run(&[&["demo", "--line", "--out", out.to_str().unwrap()], more].concat())
}

fn json(arguments: &[&str]) -> Value {
    serde_json::from_slice(&run(arguments).stdout).unwrap()
}

fn set_ups(store: &Store) -> Vec<SetUp> {
    read(&store.stream(&Stream { rig: "SIM-BENCH-1".to_owned(), epoch: 1 }).unwrap().slots)
}

fn named<'a>(set_ups: &'a [SetUp], structure: &str, leg: u8) -> Vec<&'a SetUp> {
    let is = |set_up: &&SetUp| (set_up.opened.body.plan.structure.as_str(), set_up.opened.body.plan.leg) == (structure, leg);
    set_ups.iter().filter(is).collect()
}

#[test]
fn a_line_goes_from_its_sheet_to_its_records() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("line");
    let done = line(&out, &[]);
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said} {}", String::from_utf8_lossy(&done.stderr));
    assert!(said.starts_with("SIMULATED: "), "{said}");
    let path = out.join("borewitness.sqlite");
    assert!(said.trim_end().ends_with(&format!("The store is {}", path.display())), "{said}");
    assert_eq!(said.matches("THE LOCATE TICKET HAS EXPIRED").count() + said.matches("NO LOCATE TICKET").count(), 2, "{said}");
    assert_eq!(said.matches("OWES A COVER").count(), 2, "{said}");
    let listed = json(&["holes", "--store", path.to_str().unwrap(), "--json"]);
    assert_eq!(listed["remarks"], serde_json::json!([]));
    every_name_is_in_the_document(&[
        listed.clone(),
        json(&["state", "--all", "--json", "--store", path.to_str().unwrap()]),
        json(&["sheet", concat!(env!("CARGO_MANIFEST_DIR"), "/demo/line.csv"), "--json"]),
    ]);
    the_holes_are_there_and_whole(listed["holes"].as_array().unwrap());
    the_verdicts_are_those_of_what_was_written(
        json(&["judge", "--store", path.to_str().unwrap(), "--json"])["structures"].as_array().unwrap(),
    );
    its_lists_are_printed_and_its_data_goes_out(path.to_str().unwrap(), &folder.path().join("given out"));
    let store = Store::open_existing(&path).unwrap();
    let set_ups = set_ups(&store);
    assert!(set_ups.iter().all(|set_up| set_up.missing.is_empty() && set_up.identity.as_ref().unwrap().simulated));
    what_was_written_for_some_has_come_about(&set_ups);
    what_people_say_is_there(&store);
}

/// The files that a command names on its output, all of which are there.
fn files(arguments: &[&str]) -> Vec<std::path::PathBuf> {
    let done = run(arguments);
    assert_eq!(done.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&done.stderr));
    let files: Vec<_> = String::from_utf8_lossy(&done.stdout).lines().map(std::path::PathBuf::from).collect();
    assert!(!files.is_empty() && files.iter().all(|file| file.is_file()), "{files:?}");
    files
}

/// 42 structures, 69 set-ups on four days. One list and one export go through the program, since each run judges the whole line anew.
fn its_lists_are_printed_and_its_data_goes_out(store: &str, out: &Path) {
    let folder = out.join("papers");
    let papers = files(&["print", "--what", "hand-over", "--store", store, "--out", folder.to_str().unwrap()]);
    assert_eq!(papers, [folder.join("hand-over-SIM_Quillmoor-Dastrel.pdf")]);
    let held = catalogue_by(&Store::open_existing(Path::new(store)).unwrap(), None).unwrap();
    let print = |list| lists::print(held.works(None), list, &[], &folder).unwrap().len();
    assert_eq!([List::Day, List::Open, List::Variations].map(print), [4, 1, 1]);
    let papers = fs::read_dir(&folder).unwrap().map(|file| fs::read(file.unwrap().path()).unwrap());
    assert!(papers.into_iter().all(|paper| paper.starts_with(b"%PDF-")), "every file is a whole paper");
    let path = out.join("line.json");
    let given = files(&["export", "--format", "json", "--store", store, "--out", path.to_str().unwrap()]);
    let whole: Value = serde_json::from_slice(&fs::read(&given[0]).unwrap()).unwrap();
    assert_eq!(["structures", "set_ups"].map(|name| whole[name].as_array().unwrap().len()), [42, 69]);
    let exported = Exported::new(&held);
    let give = |format, to: &str| exported.write(format, &out.join(to)).unwrap();
    let map: Value = serde_json::from_slice(&fs::read(&give(Format::Geojson, "line.geojson")[0]).unwrap()).unwrap();
    assert_eq!(map["features"].as_array().unwrap().len(), 68, "a leg each, the attempt that counts");
    assert_eq!(fs::read_to_string(&give(Format::Csv, "line.csv")[0]).unwrap().lines().count(), 70);
    assert_eq!(give(Format::Slots, "slots").len(), 69);
    let typed = |arguments: &[&str]| run(&[arguments, &["--store", store]].concat());
    assert_failed(&typed(&["print", "101", "--what", "open", "--out", folder.to_str().unwrap()]), 2, &["name none"]);
    assert_failed(&typed(&["export", "--format", "csv", "--out", store]), 2, &["the store itself"]);
}

fn every_name_is_in_the_document(all: &[Value]) {
    fn names(value: &Value, into: &mut BTreeSet<String>) {
        match value {
            Value::Object(object) => object.iter().for_each(|(name, value)| {
                into.insert(name.clone());
                names(value, into);
            }),
            Value::Array(list) => list.iter().for_each(|value| names(value, into)),
            _ => {}
        }
    }
    let document = include_str!("../../docs/for-programs.md");
    let mut found = BTreeSet::new();
    all.iter().for_each(|value| names(value, &mut found));
    let is_there = |name: &&String| document.contains(&format!("`{name}`")) || document.contains(&format!("\"{name}\""));
    let lacking: Vec<&String> = found.iter().filter(|name| !is_there(name)).collect();
    assert!(found.len() > 90 && lacking.is_empty(), "{} names, not in the document: {lacking:?}", found.len());
}

/// What each structure comes to, and what is proposed for the legs that were drilled wrong on purpose.
fn the_verdicts_are_those_of_what_was_written(structures: &[Value]) {
    let found = |name: &str| structures.iter().find(|known| known["structure"] == name).unwrap();
    assert_eq!(structures.len(), 42);
    let proposed = |name: &str, leg: usize| found(name)["legs"][leg]["proposed"]["what"].as_str().unwrap().to_owned();
    assert_eq!([proposed("111", 0), proposed("115", 0), proposed("113", 0)], ["deepen", "fill", "engineer"]);
    for (name, ready) in
        [("111", "no"), ("115", "no"), ("113", "no"), ("118", "yes"), ("141", "not_yet"), ("142", "not_yet"), ("101", "set")]
    {
        assert_eq!(found(name)["ready"], ready, "{}", found(name)["why"]);
    }
    let count = |ready: &str| structures.iter().filter(|known| known["ready"] == ready).count();
    assert!(count("yes") >= 20 && count("set") >= 5 && count("no") >= 5, "{} {} {}", count("yes"), count("set"), count("no"));
    assert_eq!(found("118")["legs"][0]["hole"]["attempt"], 2);
    assert_eq!(found("118")["legs"][0]["earlier_attempts"][0]["state"], "backfilled");
    assert_eq!(found("119")["legs"][1]["set_ups"].as_array().unwrap().len(), 2, "a second day is the same hole");
    let cuts = found("123")["legs"][0]["cuts"].as_array().unwrap();
    assert!(cuts.len() == 1 && cuts[0]["diameter_m"] == 1.2192, "reamed to the floor, so nothing is left of the pilot: {cuts:?}");
    assert_eq!(found("120")["arm_planned"]["remedy"], "other poles");
}

fn the_holes_are_there_and_whole(holes: &[Value]) {
    let mut structures: BTreeMap<&str, BTreeSet<u64>> = BTreeMap::new();
    for hole in holes {
        structures.entry(hole["structure"].as_str().unwrap()).or_default().insert(hole["leg"].as_u64().unwrap());
        let closed = hole["closed"] == true;
        let whole = (&hole["digest"], hole["sealing"].as_str().unwrap().contains("SIMULATED") || !closed, &hole["gaps"]);
        let fits: Value = if closed { "fits" } else { "not yet made" }.into();
        assert_eq!((whole.0, whole.2, hole["simulated"].as_bool()), (&fits, &serde_json::json!([]), Some(true)), "{hole}");
    }
    let of = |legs: usize| structures.values().filter(|known| known.len() == legs).count();
    // 22 structures of one leg are on the sheet, and one of them is not drilled yet
    assert_eq!((structures.len(), of(1), of(2), of(3)), (41, 21, 14, 6));
    assert_eq!(holes.iter().filter(|hole| hole["closed"] == false).map(|hole| &hole["handle"]).collect::<Vec<_>>(), ["142-right"]);
    let outside = |of: &str| -> Vec<&str> {
        holes.iter().filter(|hole| hole[of] == "OUTSIDE").map(|hole| hole["handle"].as_str().unwrap()).collect()
    };
    // too shallow, too deep, given up at a boulder, and as far as it came on its first day
    assert_eq!(outside("depth_standing"), ["111", "115", "118", "119-middle"]);
    assert_eq!(outside("lean_standing"), ["113-left"]);
    let depth = |handle: &str| holes.iter().find(|hole| hole["handle"] == handle).unwrap()["depth_m"].as_f64().unwrap();
    // 110 mm past the plan and 110 mm short of it, to two centimetres for what rig and levelling add
    assert!((depth("117-left") - depth("117-right") - 0.22).abs() < 0.02);
}

fn what_was_written_for_some_has_come_about(set_ups: &[SetUp]) {
    assert_eq!(set_ups.len(), 69);
    for set_up in set_ups.iter().filter(|set_up| set_up.closed.is_some()) {
        assert!(set_up.digest == DigestState::Fits && matches!(set_up.sealing, Sealing::Fits(..)), "{:?}", set_up.opened.body.plan);
    }
    let units: BTreeSet<u8> = set_ups.iter().map(|set_up| set_up.opened.body.plan.units).collect();
    assert_eq!(units.len(), 2, "metric, and feet and inches");
    let boots: BTreeSet<u16> = set_ups.iter().map(|set_up| set_up.opened.moment.boot).collect();
    assert_eq!(boots.len(), 42, "switched on for each structure, and once more on the second day of one");
    let day = |set_up: &SetUp| set_up.opened.moment.wall.unwrap().rfc3339()[..10].to_owned();
    assert!(set_ups.iter().map(day).collect::<BTreeSet<_>>().len() >= 4);

    let plan = |set_up: &SetUp| (set_up.opened.body.plan.attempt, set_up.opened.body.plan.setup);
    let twice = named(set_ups, "118", 0);
    assert_eq!(twice.iter().map(|set_up| plan(set_up)).collect::<Vec<_>>(), [(1, 1), (2, 1)]);
    let two_days = named(set_ups, "119", 2);
    assert_eq!(two_days.iter().map(|set_up| plan(set_up)).collect::<Vec<_>>(), [(1, 1), (1, 2)]);
    assert!(day(two_days[0]) < day(two_days[1]));
    let bottom = |set_up: &SetUp| set_up.closed.as_ref().unwrap().body.bottom.0;
    assert!(bottom(two_days[1]) > bottom(two_days[0]) + 1_000_000, "deeper by a metre and more on the second day");
    // what was open already went by too fast for an increment each 25 mm, and the rig says so
    let skipped = |set_up: &SetUp| set_up.increments.iter().filter(|i| i.body.quality & quality::SKIPPED != 0).count();
    assert!(skipped(two_days[0]) == 0 && skipped(two_days[1]) > 5, "{} and {}", skipped(two_days[0]), skipped(two_days[1]));

    // 18 in and 48 in, both recorded by what they cut; the reamer leaves the hole as deep as the pilot was to go and deeper
    let reamed = named(set_ups, "123", 1)[0];
    let cut: Vec<i32> = reamed.tools.iter().map(|tool| tool.body.diameter.0).collect();
    assert_eq!(cut, [457_200, 1_219_200]);
    let (pilot, wide): (Vec<_>, Vec<_>) = reamed.passes.iter().partition(|pass| pass.sequence < reamed.tools[1].sequence);
    assert!(pilot.len() > 3 && wide.len() > 3, "{} and {}", pilot.len(), wide.len());
    assert!(wide[0].body.tag.0 < 500_000 && bottom(reamed) > pilot.last().unwrap().body.bottom.0, "from the top to below the pilot");
}

/// Whether an entry says something of a kind.
type Is = fn(&Said) -> bool;

fn what_people_say_is_there(store: &Store) {
    let entered = store.entries().unwrap();
    assert!(entered.iter().all(|entry| entry.chained && entry.entry.by.starts_with("SIM ")));
    let count = |is: &dyn Fn(&Said) -> bool| entered.iter().filter(|entered| is(&entered.entry.said)).count();
    assert_eq!(count(&|said| matches!(said, Said::Planned { .. })), 68);
    assert_eq!(count(&|said| matches!(said, Said::Ticket { .. })), 69, "one for each set-up");
    assert!(count(&|said| matches!(said, Said::Sounding { .. })) > 150);
    let kinds: [(&str, Is, usize); 8] = [
        ("centre", |said| matches!(said, Said::Centre { .. }), 60),
        ("spacing", |said| matches!(said, Said::Spacing { .. }), 26),
        ("diameter", |said| matches!(said, Said::Diameter { .. }), 10),
        ("hand plumb", |said| matches!(said, Said::HandPlumb { .. }), 8),
        ("water", |said| matches!(said, Said::Water { .. }), 10),
        ("brand", |said| matches!(said, Said::Brand { .. }), 10),
        ("note", |said| matches!(said, Said::Note { .. }), 8),
        ("state", |said| matches!(said, Said::State { .. }), 60),
    ];
    for (name, is, least) in kinds {
        assert!(count(&is) >= least, "{name}: {}", count(&is));
    }
    let states = |structure: &str, attempt: u8| -> Vec<HoleState> {
        let of = entered.iter().filter(|e| e.entry.hole.structure == structure && e.entry.hole.attempt == attempt);
        of.filter_map(|e| if let Said::State { state } = e.entry.said { Some(state) } else { None }).collect()
    };
    assert_eq!(states("118", 1), [HoleState::Abandoned, HoleState::Guarded, HoleState::Backfilled]);
    assert_eq!((states("118", 2), states("128", 1)), (vec![HoleState::Covered], vec![]));
    assert_eq!(states("101", 1), [HoleState::Covered, HoleState::PoleSet]);
}

#[test]
fn one_seed_is_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let run = |name: &str| {
        let out = folder.path().join(name);
        let done = line(&out, &["--structures", "3"]);
        assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stderr));
        let store = out.join("borewitness.sqlite");
        let holes = json(&["holes", "--store", store.to_str().unwrap(), "--json"]);
        let said = String::from_utf8_lossy(&done.stdout).replace(out.to_str().unwrap(), "");
        let links = Store::open_existing(&store).unwrap().links().unwrap();
        (said, holes, links, Store::open_existing(&store).unwrap().backup(&out.join("copy")).unwrap())
    };
    let (first, again) = (run("first"), run("again"));
    assert_eq!(first.1["holes"].as_array().unwrap().len(), 4);
    assert!(first == again, "two runs differ");
}

#[test]
fn where_it_fails_nothing_is_left() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("line");
    // Files may grow to 16 blocks of 512 bytes; the signal that comes with more is ignored, so that writing fails.
    let program = format!("\"{}\" demo --line --structures 1 --out \"{}\"", env!("CARGO_BIN_EXE_borewitness"), out.display());
    let script = format!("trap '' XFSZ; ulimit -f 16; exec {program}");
    let done = std::process::Command::new("sh").args(["-c", &script]).stdin(Stdio::null()).output().unwrap();
    assert_failed(&done, 1, &["borewitness.sqlite", "make room"]);
    assert!(!out.exists(), "{:?}", fs::read_dir(&out).unwrap().map(|f| f.unwrap().file_name()).collect::<Vec<_>>());
    let alone = run(&["demo", "--structures", "3"]);
    assert_eq!(alone.status.code(), Some(2), "so many structures are of a line");
}
