//! `demo`, `holes` and `print` as people run them.
#![cfg(unix)]

mod common;

use common::{assert_failed, command, run};
use std::fs;
use std::path::Path;
use std::process::Stdio;

fn papers(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder).unwrap().map(|f| f.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.retain(|name| !name.starts_with("borewitness.sqlite") && name != "papers.tsv");
    names.sort();
    assert!(names.iter().all(|name| fs::read(folder.join(name)).unwrap().starts_with(b"%PDF-")), "{names:?}");
    names
}

#[test]
fn a_structure_is_drilled_stored_listed_and_printed() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("demo");
    let done = run(&["demo", "--out", out.to_str().unwrap()]);
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said} {}", String::from_utf8_lossy(&done.stderr));
    assert!(said.starts_with("SIMULATED: ") && said.trim_end().ends_with(&format!("Store and papers are in {}", out.display())), "{said}");
    assert_eq!(papers(&out), ["S-27-left.pdf", "S-27-right.pdf", "S-27-structure.pdf"]);

    let store = out.join("borewitness.sqlite");
    let store = store.to_str().unwrap();
    let json: serde_json::Value = serde_json::from_slice(&run(&["holes", "--store", store, "--json"]).stdout).unwrap();
    let holes = json["holes"].as_array().unwrap();
    assert_eq!(holes.len(), 2);
    // planned 3.120 and 3.270 m and drilled 25 and 15 mm past, by the scenario; limit 15 mm/m, and the right leg leans 24
    for (hole, (handle, depth, lean)) in holes.iter().zip([("S-27-left", 3.145, "within"), ("S-27-right", 3.285, "OUTSIDE")]) {
        assert_eq!((&hole["handle"], &hole["simulated"], &hole["closed"]), (&handle.into(), &true.into(), &true.into()));
        assert!((hole["depth_m"].as_f64().unwrap() - depth).abs() < 0.005, "{hole}");
        assert_eq!((&hole["gaps"], &hole["digest"], &hole["lean_standing"]), (&serde_json::json!([]), &"fits".into(), &lean.into()));
        // calibrated before the first hole: both statements on both limits
        let shown = |of: usize| (&hole["verdicts"][of]["guarded"], &hole["verdicts"][of]["reasons"]);
        assert_eq!(shown(0), (&"shown within".into(), &serde_json::json!([])), "{hole}");
        assert_eq!(shown(1), (&format!("shown {}", lean.to_lowercase()).into(), &serde_json::json!([])), "{hole}");
    }

    // by tape, ±10 mm: 3.20 and 3.22 m, mean 3.21, 10 mm of it by scatter (20 mm/√2/√2, one degree of freedom) and 5 mm by the
    // tape: 11.18 mm with 1.25² degrees, whose t is 5.691 (scipy 1.17.1); ±63.6 mm
    let by_hand = |verb: &str, depth: &str| {
        run(&[verb, "S-27-left", "--depth", depth, "--within", "10 mm", "--right", "-0.01 m", "--who", "Tester", "--store", store])
    };
    for depth in ["3.20 m", "3.22 m"] {
        let said = by_hand("sound", depth);
        assert_eq!(said.status.code(), Some(0), "{}", String::from_utf8_lossy(&said.stderr));
    }
    let said = by_hand("plumb", "2 m");
    let said = String::from_utf8_lossy(&said.stdout);
    assert!(said.starts_with("S-27-left: hand plumb at 2.000 m: 0 mm ahead, 10 mm left ±10 mm, by Tester; entry "), "{said}");
    assert_failed(&by_hand("sound", "deep"), 2, &["--depth: \"deep\" is no length"]);
    assert_failed(&by_hand("sound", "300 m"), 2, &["--depth: no hole is so deep"]);

    let limits = folder.path().join("limits.toml");
    let text = "governs = \"guarded\"\n[[limit]]\nmeasurand = \"overall-lean\"\nfigure = \"1/4 in per ft\"\nsource = \"Invented county\"\n";
    fs::write(&limits, text).unwrap();
    let limits = limits.to_str().unwrap();
    let json: serde_json::Value = serde_json::from_slice(&run(&["holes", "--store", store, "--json", "--limits", limits]).stdout).unwrap();
    let hole = &json["holes"][0];
    assert_eq!((&hole["governing_statement"], hole["verdicts"].as_array().unwrap().len()), (&"guarded".into(), 3));
    assert!((hole["sounded_m"]["mean"].as_f64().unwrap() - 3.21).abs() < 1e-9, "{hole}");
    assert!((hole["verdicts"][0]["uncertainty_95"].as_f64().unwrap() - 0.063_626).abs() < 1e-5, "{hole}");
    assert_eq!((hole["measured_by_hand"].as_array().unwrap().len(), &hole["measured_by_hand"][2]["kind"]), (3, &"hand plumb".into()));
    let third = &hole["verdicts"][2];
    assert_eq!((&third["written"], &third["source"]), (&"1/4 in per ft".into(), &"Invented county".into()));
    assert!((third["most"].as_f64().unwrap() - 1.0 / 48.0).abs() < 1e-12, "{third}");
    let listed = run(&["holes", "--store", store, "--limits", limits]);
    let listed = String::from_utf8_lossy(&listed.stdout);
    assert!(
        listed.contains("    overall lean ")
            && listed.contains("limit 1/4 in per ft (up to 20.8 mm/m) by Invented county: measured within; "),
        "{listed}"
    );
    assert_eq!(listed.matches("(this decides)").count(), 6, "{listed}");
    assert!(listed.contains("    hand plumb at 2.000 m: 0 mm ahead, 10 mm left ±10 mm (the rig's axis is "), "{listed}");
    fs::write(limits, text.replace("1/4 in per ft", "steep")).unwrap();
    assert_failed(
        &run(&["print", "--out", "x", "--store", store, "--limits", limits]),
        1,
        &["limits.toml, line 4: figure \"steep\" is no lean"],
    );

    let again = folder.path().join("again");
    let printed = run(&["print", "S-27-right", "--out", again.to_str().unwrap(), "--store", store]);
    assert_eq!(String::from_utf8_lossy(&printed.stdout).trim(), again.join("S-27-right.pdf").to_str().unwrap());
    let once_more = folder.path().join("once more");
    run(&["print", "S-27-right", "--out", once_more.to_str().unwrap(), "--store", store]);
    let [first, second] = [&again, &once_more].map(|folder| fs::read(folder.join("S-27-right.pdf")).unwrap());
    assert!(first == second, "same record, same bytes");
    let verified = run(&["verify", again.join("S-27-right.pdf").to_str().unwrap()]);
    let verified = String::from_utf8_lossy(&verified.stdout);
    assert!(
        verified.contains("holds  every page, figure and attached file") && verified.contains("Consistent, signer unknown"),
        "{verified}"
    );
    assert_failed(&run(&["print", "S-28", "--out", again.to_str().unwrap(), "--store", store]), 1, &["no hole \"S-28\""]);
    assert_failed(&run(&["demo", "--out", out.to_str().unwrap()]), 1, &["already holds a store"]);
    what_is_entered_stands_in_the_register(store);
    what_is_corrected_stays_to_be_seen_and_counts_no_more(store);
    what_a_sheet_plans_stands_in_the_whole_register(store, folder.path());
}

/// Done, and what was said; the entry's number where one was made.
fn say(store: &str, arguments: &[&str]) -> (String, String) {
    let done = run(&[arguments, &["--store", store]].concat());
    assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stderr));
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    let entry = said.split("; entry ").nth(1).and_then(|rest| rest.split([',', ';', '\n']).next()).unwrap_or("").to_owned();
    (said, entry)
}

/// The left leg with what was entered of it, as people and as programs read it.
fn left(store: &str) -> (String, serde_json::Value) {
    let listed = say(store, &["holes"]).0;
    let block = listed.split("\nS-27-right").next().unwrap().to_owned();
    let json: serde_json::Value = serde_json::from_str(&say(store, &["holes", "--json"]).0).unwrap();
    (block, json["holes"][0].clone())
}

/// The right leg was never sounded: a sounding of loose spoil is kept beside it, and its depth is the rig's still. Then each kind
/// that can be corrected is.
fn what_is_corrected_stays_to_be_seen_and_counts_no_more(store: &str) {
    let tape = ["--within", "10 mm", "--who", "Tester"];
    let spoil = say(store, &[&["sound", "S-27-right", "--depth", "3.10 m", "--before-clean-out"], &tape[..]].concat()).0;
    assert!(spoil.contains("sounded 3.100 m ±10 mm before clean-out, which is not the hole's depth, by Tester, "), "{spoil}");
    let listed = say(store, &["holes"]).0;
    assert!(listed.contains("sounded 3.100 m ±10 mm before clean-out, which is not the hole's depth"), "{listed}");
    let json: serde_json::Value = serde_json::from_str(&say(store, &["holes", "--json"]).0).unwrap();
    let right = &json["holes"][1];
    assert!(right["sounded_m"].is_null() && right["measured_by_hand"].as_array().unwrap().is_empty(), "{right}");
    assert!(right["entries"].as_array().unwrap().iter().any(|entry| entry["said"]["clean_out"] == "before"), "{right}");

    // 3.20 m was misread: it was 3.24, and the mean of 3.22 and 3.24 is 3.23
    let entries = left(store).1["entries"].clone();
    let wrong = entries.as_array().unwrap().iter().find(|entry| entry["said"]["depth_um"] == 3_200_000).unwrap();
    let wrong = wrong["entry"].as_str().unwrap();
    let (said, right) = say(store, &[&["sound", "S-27-left", "--depth", "3.24 m", "--corrects", wrong], &tape[..]].concat());
    assert!(said.trim().ends_with(&format!("; entry {right}; corrects entry {wrong}")), "{said}");
    let (block, json) = left(store);
    assert!((json["sounded_m"]["mean"].as_f64().unwrap() - 3.23).abs() < 1e-9, "{json}");
    let corrected = block.lines().find(|line| line.contains(&format!("; entry {wrong};")) && line.contains("sounded 3.200 m")).unwrap();
    assert!(corrected.ends_with(&format!("; CORRECTED by entry {right}, by Tester: it counts no more")), "{block}");
    let of = |number: &str| json["entries"].as_array().unwrap().iter().find(|entry| entry["entry"] == number).unwrap().clone();
    assert_eq!((&of(wrong)["corrected_by"]["entry"], &of(&right)["corrected_by"]), (&right.as_str().into(), &serde_json::Value::Null));

    let open = |store: &str| say(store, &["state"]).0;
    let (_, set) = say(store, &["state", "S-27-left", "pole-set", "--who", "Tester"]);
    assert!(!open(store).contains("S-27 left leg"), "its pole is set, they say");
    say(store, &["state", "S-27-left", "guarded", "--who", "Tester", "--corrects", &set]);
    assert!(open(store).contains("S-27 left leg  SIMULATED  guarded"), "{}", open(store));
    let hand = ["--who", "G"];
    let put_right: [(&[&str], &[&str]); 4] = [
        (&["plumb", "S-27-left", "--depth", "1 m", "--within", "1 cm"], &["plumb", "S-27-left", "--depth", "1.5 m", "--within", "1 cm"]),
        (&["measure", "water", "S-27-left", "--depth", "2 m"], &["measure", "water", "S-27-left", "--depth", "2.5 m"]),
        (&["note", "casing", "S-27-left"], &["note", "fall-in", "S-27-left"]),
        (&["accept", "S-27-left", "ream", "--reason", "narrow"], &["accept", "S-27-left", "stands", "--reason", "the other leg was meant"]),
    ];
    for (wrongly, rightly) in put_right {
        let (_, wrong) = say(store, &[wrongly, &hand].concat());
        let (said, _) = say(store, &[rightly, &hand, &["--corrects", &wrong]].concat());
        assert!(said.contains(&format!("corrects entry {wrong}")), "{said}");
        assert!(left(store).0.contains(&format!("; entry {wrong}; CORRECTED by entry ")), "{}", left(store).0);
    }
    assert_eq!(left(store).1["measured_by_hand"].as_array().unwrap().len(), 4, "3.22 and 3.24 m, plumbs at 2 and 1.5 m");
    let (_, dry) = say(store, &["measure", "water", "S-27-right", "--who", "G"]);
    let no_such = format!("{}-999", dry.split('-').next().unwrap());
    let refused = [
        (1, &dry, format!("entry {dry} is about S-27 right: name that hole")),
        (1, &no_such, format!("there is no entry {no_such}")),
        (1, &right, format!("entry {right} is a sounding and this is a report on water")),
        (2, &"7".to_owned(), "\"7\" is no entry: write HOST-NUMBER".to_owned()),
    ];
    for (code, number, words) in refused {
        let out = run(&["measure", "water", "S-27-left", "--who", "G", "--corrects", number, "--store", store]);
        assert_failed(&out, code, &[&words]);
    }
    assert_failed(&run(&["accept", "S-27-left", "stands", "--who", "G", "--store", store]), 2, &["say why with --reason"]);
}

fn what_a_sheet_plans_stands_in_the_whole_register(store: &str, folder: &Path) {
    let (before, sheet) = (say(store, &["state"]).0, folder.join("holes.csv"));
    fs::write(&sheet, include_str!("../../src/sheet/simulated.csv")).unwrap();
    say(store, &["sheet", sheet.to_str().unwrap(), "--keep", "--who", "Office"]);
    let open_for = |said: &str| said.split("open for").next().unwrap().to_owned();
    assert_eq!(open_for(&say(store, &["state"]).0), open_for(&before), "what is open is as before");
    let all = say(store, &["state", "--all"]).0;
    assert!(all.contains("\n41 left leg  planned; to be 10 ft 0 in deep below original ground, low side\n"), "{all}");
    let json: serde_json::Value = serde_json::from_str(&say(store, &["state", "--all", "--json"]).0).unwrap();
    let states: Vec<&str> = json["holes"].as_array().unwrap().iter().map(|hole| hole["state"].as_str().unwrap()).collect();
    assert_eq!((states.len(), states.iter().filter(|state| **state == "planned").count()), (9, 7), "{json}");
    assert!(json["holes"].as_array().unwrap().iter().any(|hole| hole["hole"]["leg"] == "middle" && hole["state"] == "planned"), "{json}");
}

/// Both holes are deeper than 6 ft and nobody has said how they are kept; then one is covered and the other has its pole.
fn what_is_entered_stands_in_the_register(store: &str) {
    let say = |arguments: &[&str]| {
        let said = run(&[arguments, &["--store", store]].concat());
        assert_eq!(said.status.code(), Some(0), "{}", String::from_utf8_lossy(&said.stderr));
        String::from_utf8_lossy(&said.stdout).into_owned()
    };
    let open = say(&["state"]);
    assert_eq!(open.matches("OWES A COVER, A GUARD OR ATTENDANCE").count(), 2, "{open}");
    assert_eq!(open.matches("29 CFR 1926.501(b)(7)(ii): 6 ft or more").count(), 2, "{open}");
    assert!(
        open.contains("S-27 left leg  SIMULATED  drilled; OWES A COVER, A GUARD OR ATTENDANCE; since 2026-05-12T")
            && open.contains("Local codes and licensed people decide."),
        "{open}"
    );
    let said = say(&["state", "S-27-left", "covered", "--who", "Ground hand", "--remark", "plank, marked HOLE"]);
    assert!(said.starts_with("S-27-left: covered from now on, by Ground hand; entry "), "{said}");
    say(&["state", "S-27-right", "pole-set", "--who", "Ground hand"]);
    say(&[
        "measure",
        "spacing",
        "S-27-left",
        "--to",
        "right",
        "--across",
        "12.5 ft",
        "--within",
        "1/4 in",
        "--slope",
        "10 %",
        "--who",
        "G",
    ]);
    say(&["measure", "water", "S-27-left", "--who", "G"]);
    say(&["note", "rock", "S-27-left", "--who", "G", "--shot-by", "Licensed blaster"]);
    let open = say(&["state"]);
    assert!(
        open.contains("S-27 left leg  SIMULATED  covered; since ")
            && open.contains("; by Ground hand; open for ")
            && !open.contains("OWES"),
        "{open}"
    );
    let all: serde_json::Value = serde_json::from_str(&say(&["state", "--all", "--json"])).unwrap();
    let states = all["holes"].as_array().unwrap().iter().map(|hole| (hole["state"].as_str().unwrap(), hole["open"].as_bool().unwrap()));
    assert_eq!(states.collect::<Vec<_>>(), [("covered", true), ("pole-set", false)]);
    let refused = [
        (&["state", "S-27-left", "plugged", "--who", "G"][..], "\"plugged\" is no state of a hole: it is one of staked, drilled, "),
        (&["state", "S-27-left", "covered"], "--who"),
        (&["measure", "diameter", "S-27-left", "--who", "G", "--depth", "1 m", "--within", "1 cm"], "give --across too"),
        (&["note", "other", "S-27-left", "--who", "G"], "--remark"),
    ];
    for (arguments, words) in refused {
        assert_failed(&run(&[arguments, &["--store", store]].concat()), 2, &[words]);
    }
    assert_failed(&run(&["state", "S-99", "covered", "--who", "G", "--store", store]), 1, &["no hole \"S-99\""]);
}

#[test]
fn without_a_command_it_demonstrates_in_a_new_folder_each_time() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["borewitness-demo", "borewitness-demo-2"] {
        let done = command(&[]).current_dir(&folder).output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stderr));
        assert!(String::from_utf8_lossy(&done.stdout).trim_end().ends_with(&format!("are in {name}")));
        assert_eq!(papers(&folder.path().join(name)).len(), 3);
    }
}

#[test]
fn over_a_real_port_the_same_holes_come_out() {
    let folder = tempfile::tempdir().unwrap();
    let (memory, port) = (folder.path().join("memory"), folder.path().join("port"));
    let holes = |out: &Path, more: &[&str]| {
        let out = out.to_str().unwrap();
        let done = run(&[&["demo", "--out", out], more].concat());
        assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8_lossy(&done.stdout).lines().filter(|line| line.starts_with("S-27-")).map(str::to_owned).collect::<Vec<_>>()
    };
    let of_memory = holes(&memory, &[]);
    assert_eq!(of_memory.len(), 2);
    assert_eq!(holes(&port, &["--pty"]), of_memory);
}

#[test]
fn a_disk_without_room_ends_it_in_one_line_and_nothing_is_left() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("demo");
    // Files may grow to 16 blocks of 512 bytes; the signal that comes with more is ignored, so that writing fails.
    let script = format!("trap '' XFSZ; ulimit -f 16; exec \"{}\" demo --out \"{}\"", env!("CARGO_BIN_EXE_borewitness"), out.display());
    let done = std::process::Command::new("sh").args(["-c", &script]).stdin(Stdio::null()).output().unwrap();
    assert_failed(&done, 1, &["borewitness.sqlite", "make room"]);
    assert!(!out.exists());
}

#[test]
fn a_reader_that_has_had_enough_is_no_failure() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("demo");
    let mut child = command(&["demo", "--out", out.to_str().unwrap()]).spawn().unwrap();
    drop(child.stdout.take());
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

#[test]
fn what_was_not_understood_has_its_own_exit_code() {
    for arguments in [&["drill"][..], &["listen"], &["print"], &["listen", "--port", "x", "--baud", "1"]] {
        assert_eq!(run(arguments).status.code(), Some(2), "{arguments:?}");
    }
    assert_failed(&run(&["holes", "--store", "no-such-store"]), 1, &["there is no store at no-such-store"]);
}
