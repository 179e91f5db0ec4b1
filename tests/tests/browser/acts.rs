//! A hole drilled from the page: each press is done once by the rig itself, and is on record.

use crate::listen::{Listen, Live, TOO_LONG, ask};
use crate::rig::Hand;
use crate::site::{SCENARIO, Site};
use host_tool::entry::{NoteKind, Said};
use host_tool::facts::{SetUp, read};
use host_tool::store::Store;
use serde_json::{Value, json};
use simulator::cue::Cue;
use simulator::sensors::{FaultKind, SensorName};
use std::time::{Duration, Instant};

fn texts(sight: &Value, key: &str) -> Vec<String> {
    let all = sight[key].as_array().cloned().unwrap_or_default();
    all.iter().map(|one| one["text"].as_str().or_else(|| one.as_str()).unwrap_or_default().to_owned()).collect()
}

fn set_up(site: &Site) -> SetUp {
    let store = Store::open_existing(&site.store).expect("the store");
    let stream = store.rigs().expect("readable").remove(0);
    read(&store.stream(&stream).expect("readable").slots).remove(0)
}

#[test]
fn a_hole_is_drilled_from_the_page_and_its_alarms_are_heard() {
    let mut site = Site::start(SCENARIO, 6, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    let sight = site.live.until("it cuts", |sight| sight["state"] == "cutting");
    assert_eq!((&sight["hole"]["name"], &sight["simulated"]), (&json!("S-7"), &json!(true)), "{sight:#}");
    assert_eq!(site.act(&json!({ "note": { "what": "rock", "text": "a boulder", "by": "Ground hand" } })), "done, and recorded");
    let mut heard = Vec::new();
    for _ in 0..3 {
        let standing = |sight: &Value| sight["alarms"].as_array().is_some_and(|all| all.iter().any(|alarm| alarm["acknowledged"] == false));
        let sight = site.live.until("an alarm", standing);
        let alarm = sight["alarms"].as_array().expect("some").iter().find(|alarm| alarm["acknowledged"] == false).expect("one").clone();
        heard.push(alarm["text"].as_str().expect("words").to_owned());
        let said = site.act(&json!({ "acknowledge": { "alarm": alarm["id"], "by": "Tester" } }));
        assert_eq!(said, "done, and recorded");
    }
    heard.sort();
    assert_eq!(heard, ["deep enough", "hole out of plumb", "nearly at depth"]);
    while site.follow_cue() != Cue::CloseHole {}
    site.live
        .until("it is closed", |sight| sight["hole_words"] == "no hole open" && texts(sight, "notes").iter().any(|n| n.contains("sealed")));

    let setup = set_up(&site);
    let notes: Vec<(&str, &str)> = setup.notes.iter().map(|note| (note.body.author.as_str(), note.body.text.as_str())).collect();
    assert!(notes.contains(&("Ground hand", "rock: a boulder")), "{notes:?}");
    for text in &heard {
        assert!(notes.contains(&("Tester", format!("alarm heard: {text}").as_str())), "{notes:?}");
    }
    let entries = Store::open_existing(&site.store).expect("the store").entries().expect("readable");
    let rock = entries.iter().find(|entered| matches!(entered.entry.said, Said::Note { what: NoteKind::Rock { .. } })).expect("entered");
    assert_eq!((rock.entry.by.as_str(), rock.entry.hole.structure.as_str()), ("Ground hand", "S-7"));
}

#[test]
fn a_press_is_done_once_however_often_it_comes() {
    let mut site = Site::start(SCENARIO, 2, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    let sight = site.live.next();
    let press = |id: &str, run: &Value| {
        json!({ "run": run, "id": id, "act": { "note": { "what": "other", "text": "once", "by": "T" } } }).to_string()
    };
    let own = [("X-Borewitness", "1"), ("Content-Type", "application/json")];
    for _ in 0..5 {
        assert_eq!(ask(site.listen.page, "POST", "/act", &own, &press("same", &sight["run"])).status, 202);
    }
    let old = ask(site.listen.page, "POST", "/act", &own, &press("old", &json!("another run")));
    assert!(old.status == 409 && old.body.contains("started again"), "{old:?}");
    let deed = |sight: &Value| {
        sight["acts"].as_array().map_or(0, |acts| acts.iter().filter(|deed| deed["id"] == "same" && deed["state"] == "done").count())
    };
    site.live.until("done", |sight| deed(sight) == 1);
    let said = site.act(&json!({ "tool": { "tool": 99 } }));
    assert!(said.starts_with("the rig refused: "), "what the rig says, not the page: {said}");
    // a press that came after the repeated one is on record: so is everything before it
    assert_eq!(site.act(&json!({ "note": { "what": "other", "text": "last", "by": "T" } })), "done, and recorded");
    let count = |text: &str| set_up(&site).notes.iter().filter(|note| note.body.text.as_str() == text).count();
    let until = Instant::now() + TOO_LONG;
    while count("last") == 0 {
        assert!(Instant::now() < until, "the last note never came into the store");
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(count("once"), 1);
}

#[test]
fn silence_and_faults_are_dashes_with_their_reason_and_no_old_figure() {
    let mut site = Site::start(SCENARIO, 1, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    site.live.until("it cuts", |sight| sight["state"] == "cutting");
    site.rig.hand(Hand::Fail(SensorName::Tilt, FaultKind::Silent, 3.0));
    let sight = site
        .live
        .until("the tilt sensor fails", |sight| sight["lean"]["dash"].as_str().is_some_and(|dash| dash.contains("tilt sensor: no answer")));
    assert!(sight["depth"]["value"].is_string() && sight["hint"].is_null() && sight["picture"]["tool"].is_null(), "{sight:#}");
    site.live.until("it is back", |sight| sight["lean"]["value"].is_string());
    site.rig.hand(Hand::Unplug(8.0));
    let sight = site.live.until("silence", |sight| sight["why_nothing"].is_string());
    assert!(sight["why_nothing"].as_str().expect("words").starts_with("no data"), "{sight:#}");
    for figure in ["to_go", "depth", "lean", "toe"] {
        assert!(sight[figure]["dash"].is_string(), "{figure}: {sight:#}");
    }
    assert!(sight["picture"]["tip"].is_null() && sight["picture"]["bottom"].is_null(), "{sight:#}");
    let alarms = site.live.until("an alarm", |sight| texts(sight, "alarms").contains(&"no data from the rig".to_owned()));
    assert_eq!(alarms["simulated"], true);
    let all = alarms["alarms"].as_array().expect("some");
    let alarm = all.iter().find(|alarm| alarm["text"] == "no data from the rig").expect("it stands")["id"].clone();
    let said = site.act(&json!({ "acknowledge": { "alarm": alarm, "by": "Tester" } }));
    assert_eq!(said, "entered into the store, since the rig is not heard");
    let entries = Store::open_existing(&site.store).expect("the store").entries().expect("readable");
    assert!(entries.iter().any(|entered| entered.entry.remark == "alarm heard: no data from the rig" && entered.entry.by == "Tester"));
    site.live.until("it is back", |sight| sight["depth"]["value"].is_string());
}

#[test]
fn a_program_killed_and_started_again_goes_on_in_the_middle_of_the_hole() {
    let mut site = Site::start(SCENARIO, 1, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    site.live.until("it cuts", |sight| sight["state"] == "cutting");
    site.listen.kill();
    site.listen = Listen::start(&site.rig.port, &site.store, &[]);
    site.live = Live::look(site.listen.page);
    let sight = site.live.until("the hole is there again", |sight| sight["hole"]["name"] == "S-7" && sight["depth"]["value"].is_string());
    assert!(sight["why_nothing"].is_null(), "{sight:#}");
    site.live.until("its axis too", |sight| sight["picture"]["axis"].as_array().is_some_and(|axis| !axis.is_empty()));
}
