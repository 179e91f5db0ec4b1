//! The ground hand's and QA's pages: what is entered is on record once, what is hostile stays text, and the list stays quick.

use crate::listen::{Answer, Listen, ask};
use crate::looks::look;
use crate::site::{SCENARIO, Site};
use host_tool::entry::{Entry, HoleState, Said};
use host_tool::evidence::reviewer;
use host_tool::store::Store;
use serde_json::{Value, json};
use simulator::cue::Cue;
use std::net::SocketAddr;
use tests::samples::keep_season;

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
