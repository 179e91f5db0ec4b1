//! The ground hand's and QA's pages: what is entered is on record once, what is hostile stays text, and the list stays quick.

use crate::listen::{Answer, Listen, ask};
use crate::looks::{look, look_at};
use crate::site::{SCENARIO, Site};
use host_tool::entry::{Entry, HoleState, Said};
use host_tool::evidence::reviewer;
use host_tool::facts::Wall;
use host_tool::planned::{Origin, day, take_in};
use host_tool::sheet::{Options, Sheet};
use host_tool::store::Store;
use serde_json::{Value, json};
use simulator::cue::Cue;
use std::net::SocketAddr;
use tests::samples::{Rig, good, keep_fleet, keep_season, measured, season_sheet};

const OWN: [(&str, &str); 2] = [("X-Borewitness", "1"), ("Content-Type", "application/json")];
const SCRIPT: &str = "<script>alert(1)</script>\"'&<img src=x onerror=alert(2)>";

fn entries(site: &Site) -> Vec<Entry> {
    Store::open_existing(&site.store).expect("the store").entries().expect("readable").into_iter().map(|entered| entered.entry).collect()
}

fn open_hole() -> (Site, Value) {
    let mut site = Site::start(SCENARIO, 4, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    site.live.until("a bottom", |sight| sight["picture"]["axis"].as_array().is_some_and(|axis| !axis.is_empty()));
    let store = Store::open_existing(&site.store).expect("the store");
    let stream = store.rigs().expect("readable").remove(0);
    let opened = host_tool::facts::read(&store.stream(&stream).expect("readable").slots)[0].opened.sequence;
    (site, json!({ "rig": stream.rig, "epoch": stream.epoch, "opened": opened }))
}

#[test]
fn what_the_ground_hand_enters_is_on_record_once() {
    let (mut site, set_up) = open_hole();
    let (page, run) = (site.listen.page, site.live.next()["run"].clone());
    let enter = |id: &str, said: Value, remark: &str| {
        let form = json!({ "run": run, "id": id, "by": "Ground hand", "with": "tape 3", "remark": remark, "set_up": set_up, "said": said });
        ask(page, "POST", "/entries", &OWN, &form.to_string())
    };
    let sounding = json!({ "sounding": { "place": "left", "depth": "0.50 m", "from": "hub", "within": "10 mm", "clean_out": "after" } });
    for _ in 0..3 {
        let answer = enter("one", sounding.clone(), "");
        assert_eq!(answer.status, 202, "{answer:?}");
    }
    let all = [
        ("two", json!({ "hand_plumb": { "depth": "0.4 m", "ahead": "5 mm", "right": "-3 mm", "within": "4 mm" } })),
        ("three", json!({ "centre": { "ahead": "1 in", "right": "0 mm", "within": "5 mm" } })),
        ("four", json!({ "diameter": { "depth": "0.3 m", "across": "0.78 m", "within": "10 mm" } })),
        ("five", json!({ "water": { "depth": "0.45 m" } })),
        ("six", json!({ "dry": {} })),
        ("seven", json!({ "state": { "state": "covered" } })),
        ("eight", json!({ "note": { "what": "casing" } })),
    ];
    for (id, said) in all {
        let answer = enter(id, said, SCRIPT);
        assert_eq!(answer.status, 202, "{id}: {answer:?}");
    }
    for (id, said, why) in [
        (
            "a",
            json!({ "sounding": { "place": "left", "depth": "deep", "from": "hub", "within": "10 mm", "clean_out": "after" } }),
            "depth: ",
        ),
        ("b", json!({ "centre": { "ahead": "1 in", "right": "0 mm", "within": "0 mm" } }), "good to"),
    ] {
        let answer = enter(id, said, "");
        assert!(answer.status == 422 && answer.body.contains(why), "{answer:?}");
    }
    assert_eq!(enter("c", json!({ "state": { "state": "haunted" } }), "").status, 400);
    let said: Vec<Said> = entries(&site).into_iter().filter(|entry| entry.by == "Ground hand").map(|entry| entry.said).collect();
    assert_eq!(said.len(), 8, "{said:?}");
    // 0.50 m from the hub, which stands 60 mm over the datum; 0.76 m across, 50 mm within the wall, to the left
    assert!(matches!(said[0], Said::Sounding { depth_um: 440_000, ahead_um: 0, right_um: -330_000, standard_um: 5_000, .. }), "{said:?}");
    assert!(matches!(said[6], Said::State { state: HoleState::Covered }), "{said:?}");

    let Answer { status, body, .. } = ask(page, "GET", "/holes/S-7", &[], "");
    assert!(status == 200 && body.contains("&lt;script&gt;") && !body.contains("<script>alert") && !body.contains("<img"), "{body}");
    assert!(body.contains("covered"), "{body}");
    let Answer { body, .. } = ask(page, "GET", &format!("/holes?find={}", "%3Cscript%3E"), &[], "");
    assert!(body.contains("&lt;script&gt;") && !body.contains("<script>\""), "{body}");
    let measured = look(
        &site,
        "ground",
        json!({ "url": format!("http://{page}/ground?hole=S-7"), "width": 390, "height": 844, "axe": true, "until": "true" }),
    );
    assert_eq!((&measured["violations"], &measured["scrolls"]["across"]), (&json!([]), &json!(0)), "{measured:#}");
    let measured = look(&site, "hole", json!({ "url": format!("http://{page}/holes/S-7"), "axe": true, "until": "true" }));
    assert_eq!(measured["violations"], json!([]), "{measured:#}");
}

#[test]
fn a_photograph_is_kept_by_its_digest_and_nothing_else_is_taken_for_one() {
    let (mut site, set_up) = open_hole();
    let (page, run) = (site.listen.page, site.live.next()["run"].clone());
    let send = |id: &str, base64: &str| {
        let form = json!({ "run": run, "id": id, "by": "Ground hand", "remark": "the floor", "set_up": set_up, "photograph": base64 });
        ask(page, "POST", "/photographs", &OWN, &form.to_string())
    };
    // printf '\x89PNG\r\n\x1a\nmore' | base64
    const PICTURE: &str = "iVBORw0KGgptb3Jl";
    assert_eq!(send("p1", PICTURE).status, 202);
    for (id, text) in [("p2", "PHN2Zz48L3N2Zz4="), ("p3", "not base 64"), ("p4", "")] {
        assert_eq!(send(id, text).status, 422, "{text}");
    }
    let entry = entries(&site).into_iter().find(|entry| entry.remark.contains("photograph sha256:")).expect("entered");
    let digest = entry.remark.split("sha256:").nth(1).and_then(|rest| rest.split(' ').next()).expect("a digest").to_owned();
    let shown = ask(page, "GET", &format!("/photographs/{digest}"), &[], "");
    assert!(shown.status == 200 && shown.head.contains("image/png") && shown.body.ends_with("more"), "{shown:?}");
    for path in ["/photographs/../store", "/photographs/..%2f..%2fetc%2fpasswd", "/photographs/ABCDEF", "/photographs/%00"] {
        assert_eq!(ask(page, "GET", path, &[], "").status, 404, "{path}");
    }
    let mut kept = site.store.clone().into_os_string();
    kept.push(".photographs");
    std::fs::write(std::path::Path::new(&kept).join(&digest), "another").expect("written");
    assert_eq!(ask(page, "GET", &format!("/photographs/{digest}"), &[], "").status, 410, "it is not what it was");
}

fn office(holes: u32) -> (tempfile::TempDir, Listen) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("office.store");
    let mut store = Store::open(&path).expect("a store");
    keep_season(&mut store, holes).expect("kept");
    drop(store);
    let listen = Listen::office(&path);
    (folder, listen)
}

fn get(page: SocketAddr, path: &str) -> Answer {
    let answer = ask(page, "GET", path, &[], "");
    assert_eq!(answer.status, 200, "{path}: {answer:?}");
    answer
}

#[test]
fn qa_finds_a_hole_prints_it_checks_the_print_and_signs_a_review() {
    let (folder, office) = office(3);
    let page = office.page;
    let list = get(page, "/holes").body;
    let handle = list.split("href=\"/holes/").nth(1).and_then(|rest| rest.split('"').next()).expect("a hole").to_owned();
    get(page, &format!("/holes/{handle}"));
    assert!(get(page, &format!("/papers/{handle}")).body.starts_with("%PDF-"));
    let checked = ask(page, "POST", "/verify", &OWN, "no paper at all");
    assert!(checked.status == 200 && checked.body.contains("FAILS"), "{checked:?}");
    let key = folder.path().join("reviewer.pem");
    reviewer::make(&key, "a long passphrase", &[7; 64]).expect("a key");
    let review = |finding: &str, reason: &str, passphrase: &str| {
        let form =
            json!({ "hole": handle, "finding": finding, "reason": reason, "who": "Q. Tester", "key": key, "passphrase": passphrase });
        ask(page, "POST", "/reviews", &OWN, &form.to_string())
    };
    assert_eq!(review("accept", "", "wrong").status, 422);
    assert_eq!(review("return", "", "a long passphrase").status, 422, "without a reason");
    assert_eq!(review("burn", "", "a long passphrase").status, 400);
    let signed = review("accept", "", "a long passphrase");
    assert!(signed.status == 200 && signed.body.contains("accepted by Q. Tester"), "{signed:?}");
    assert!(get(page, &format!("/holes/{handle}")).body.contains("Q. Tester"));
    assert_eq!(ask(page, "GET", "/holes/no-such", &[], "").status, 404);
    assert_eq!(ask(page, "GET", "/papers/..%2F..%2Fetc%2Fpasswd", &[], "").status, 422);
}

/// A line drilled by two rigs, planned by a sheet; one leg drilled twice, and one structure with a name that is no name.
fn line() -> (tempfile::TempDir, Listen) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("office.store");
    let mut store = Store::open(&path).expect("a store");
    keep_fleet(&mut store, 6, 2).expect("kept");
    let mut rig = Rig::new("SIM-AGAIN");
    let mut again = measured();
    again.plan.structure = "S-2".try_into().expect("room");
    (again.plan.attempt, again.depth_mm) = (2, 3_100);
    let mut hostile = good();
    hostile.plan.line = "<script>alert(1)</script".try_into().expect("room");
    hostile.plan.structure = "<img src=x>'\"&".try_into().expect("room");
    let slots = [rig.drill(again), rig.drill(hostile)].concat();
    store.keep(&rig.stream, &slots).expect("kept");
    let (text, at) = (season_sheet(8), Wall { unix_ms: 1_790_000_000_000, offset: 0 });
    let options = Options { leave: &[], ignore: &[], today: day(at).expect("a day") };
    let sheet = Sheet::read(text.as_bytes(), &options).expect("sound");
    take_in(&mut store, &sheet, &Origin { file: "sheet.csv", bytes: text.as_bytes(), by: SCRIPT.get(..60).unwrap_or(SCRIPT), at })
        .expect("taken");
    drop(store);
    let office = Listen::office(&path);
    (folder, office)
}

fn is_harmless(path: &str, body: &str) {
    for tag in ["<script>alert", "<img", "onerror=alert(2)>"] {
        assert!(!body.contains(tag), "{path}: {tag} in {body}");
    }
}

/// A hole with its drawing, what its figures are worth and its other attempts; structures with what stands open.
#[test]
fn qa_reads_a_hole_and_its_structure_on_a_screen_and_on_a_phone() {
    let (_folder, office) = line();
    let page = office.page;
    let body = get(page, "/holes/S-2-left-attempt2").body;
    for words in ["Along line", "looking ahead", "looking left", "dashed: limit", "encoder", "rectangular", "1, 1", "2, 1 (this)", "1:"] {
        assert!(body.contains(words), "{words}: {body}");
    }
    assert!(body.contains("href=\"/holes/S-2-left\"") && body.contains("<svg") && body.contains("Reviewed by: "), "{body}");
    let body = get(page, "/structures").body;
    assert!(body.contains("6 drilled, 2 not begun") || body.contains("7 drilled, 2 not begun"), "{body}");
    assert!(body.contains("OWES A COVER") && body.contains("&lt;img"), "{body}");
    let body = get(page, "/structure?line=Example+Line+7&structure=S-2").body;
    assert!(body.contains("S-2") && body.contains("left leg, attempt 2") && body.contains("/holes/S-2-right"), "{body}");
    assert_eq!(ask(page, "GET", "/structure?line=&structure=nowhere", &[], "").status, 404);
    let hostile = get(page, "/holes?find=img").body;
    let handle = hostile.split("href=\"/holes/").nth(1).and_then(|rest| rest.split('"').next()).expect("a hole").to_owned();
    let paths = [
        "/holes".to_owned(),
        format!("/holes/{handle}"),
        "/structures".to_owned(),
        "/structure?line=%3Cscript%3Ealert(1)%3C%2Fscript&structure=%3Cimg+src%3Dx%3E%27%22%26".to_owned(),
        "/structures?find=%3Cscript%3E".to_owned(),
        "/structure?structure=%3Cscript%3Ealert(1)".to_owned(),
        format!("/ground?hole={handle}"),
        "/check".to_owned(),
    ];
    for path in &paths {
        is_harmless(path, &ask(page, "GET", path, &[], "").body);
    }
    for (name, path) in [
        ("list", "/holes"),
        ("record", "/holes/S-2-left-attempt2"),
        ("structures", "/structures"),
        ("structure", "/structure?line=Example+Line+7&structure=S-2"),
        ("check", "/check"),
        ("hostile", &paths[1]),
    ] {
        for (form, width, height) in [("screen", 1280, 800), ("phone", 390, 844)] {
            let more = json!({ "url": format!("http://{page}{path}"), "width": width, "height": height, "axe": true, "until": "true", "scrolls_within": form == "phone" });
            let measured = look_at(page, &format!("office-{name}-{form}"), more);
            assert_eq!(
                (&measured["violations"], &measured["scrolls"]["across"]),
                (&json!([]), &json!(0)),
                "{name} on a {form}: {measured:#}"
            );
        }
    }
}

/// What is shown leaves as files, and a print that comes back is checked.
#[test]
fn what_is_shown_is_exported_and_a_paper_is_checked() {
    let (_folder, office) = line();
    let page = office.page;
    let table = get(page, "/export?format=csv&find=S-2");
    assert!(table.head.contains("text/csv") && table.head.contains("attachment; filename=\"holes.csv\""), "{table:?}");
    assert_eq!(table.body.lines().filter(|line| line.contains("S-2")).count(), 3, "both legs, one of them twice: {}", table.body);
    let all: Value = serde_json::from_str(&get(page, "/export?format=json").body).expect("JSON");
    assert_eq!((all["set_ups"].as_array().map(Vec::len), all["structures"].as_array().map(Vec::len)), (Some(8), Some(4)), "{all:#}");
    let map: Value = serde_json::from_str(&get(page, "/export?format=geojson&find=S-2").body).expect("JSON");
    assert_eq!(map["features"].as_array().map(Vec::len), Some(2), "{map:#}");
    assert_eq!(ask(page, "GET", "/export?format=slots", &[], "").status, 400);
}

/// Printing takes a processor: two at a time, and the others are told when to come again.
#[test]
fn who_comes_while_others_print_is_told_to_come_again() {
    let (_folder, office) = line();
    let page = office.page;
    get(page, "/holes");
    let asking: Vec<_> = (0..10).map(|_| std::thread::spawn(move || ask(page, "GET", "/papers/S-2-right", &[], ""))).collect();
    let answers: Vec<Answer> = asking.into_iter().map(|asking| asking.join().expect("an answer")).collect();
    let (done, busy): (Vec<&Answer>, Vec<&Answer>) = answers.iter().partition(|answer| answer.status == 200);
    assert!(!done.is_empty() && done.iter().all(|answer| answer.body.starts_with("%PDF-")));
    assert!(!busy.is_empty(), "ten at once, and none was too many");
    for answer in busy {
        let head = answer.head.to_lowercase();
        assert!(
            answer.status == 503 && head.contains("retry-after: 5") && answer.body.contains("busy: try again in a moment"),
            "{answer:?}"
        );
    }
    assert_eq!(get(page, "/papers/S-2-right").status, 200, "there is room again");
}
