//! What the cab page looks like at ten typical moments, in a real browser: sizes, contrasts, targets, and the pictures kept.

use crate::listen::Live;
use crate::rig::Hand;
use crate::site::{SCENARIO, Site};
use serde_json::{Value, json};
use simulator::cue::Cue;
use simulator::sensors::{FaultKind, SensorName};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::Command;

/// A ten-inch tablet's pixels in a millimetre: 1280 across 217 mm.
const PX_PER_MM: f64 = 1_280.0 / 217.0;
/// Height of a capital or a digit in the page's type, as a part of its size.
const CAPITAL: f64 = 0.698;
/// One minute of arc at a metre, mm.
const ARCMIN_MM: f64 = 0.290_888;
/// Secondary text and primary figures, minutes of arc at a metre; ISO 15008 asks 20 (check values; MEMORY).
const SECONDARY: f64 = 24.0;
const PRIMARY: f64 = 60.0;
/// WCAG 2.2, 1.4.6.
const CONTRAST: f64 = 7.0;
/// A gloved finger's target, mm.
const TARGET_MM: f64 = 18.0;

/// The moments that the documents show.
const KEPT: [&str; 10] = ["good", "night", "tripping", "fault", "stale", "replay", "out-of-plumb", "coming-up", "on-depth", "phone"];

/// Live, and with its sound on, as a page is that somebody works with.
const LIVE: &str = "document.body.dataset.stale === 'no' && !document.querySelector('#sound-on').checkVisibility()";

/// Opens the page as it is now and measures it; keeps its picture where asked to.
pub fn look(site: &Site, name: &str, more: Value) -> Value {
    look_at(site.listen.page, name, more)
}

/// The page of a site at work, once this holds in it too; the picture shows it.
fn look_when(site: &Site, name: &str, holds: &str, more: Value) -> Value {
    look_at_when(site.listen.page, name, holds, more)
}

fn look_at_when(page: SocketAddr, name: &str, holds: &str, mut more: Value) -> Value {
    more["first"] = json!(["#sound-on"]);
    more["until"] = json!(format!("{LIVE} && {holds}"));
    look_at(page, name, more)
}

/// What this part of the page has in it.
fn says(part: &str, words: &str) -> String {
    format!("document.querySelector('{part}').checkVisibility() && document.querySelector('{part}').textContent.includes('{words}')")
}

/// The same of whatever serves pages.
pub fn look_at(page: SocketAddr, name: &str, more: Value) -> Value {
    let folder = tests::root().join("target/looks");
    std::fs::create_dir_all(&folder).expect("a folder");
    let picture = folder.join(format!("{name}.png"));
    let mut asked = json!({
        "url": format!("http://{page}/"), "picture": picture, "width": 1280, "height": 800,
        "until": "document.body.dataset.stale === 'no'",
    });
    let (Some(asked_of), Some(more)) = (asked.as_object_mut(), more.as_object()) else { panic!("objects") };
    asked_of.extend(more.clone());
    let browser = tests::root().join("target/browser/node_modules");
    assert!(browser.is_dir(), "what drives the browser is not there: cargo xtask tools");
    let script = tests::root().join("tests/browser/look.cjs");
    let out = Command::new("node").arg(script).arg(asked.to_string()).env("NODE_PATH", browser).output().expect("node");
    assert!(out.status.success(), "{name}: {}", String::from_utf8_lossy(&out.stderr));
    let measured: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!(measured["said"], json!([]), "{name}: the browser complains");
    if more.get("scrolls_within") != Some(&json!(true)) {
        assert_eq!(measured["overlaps"], json!([]), "{name}");
        assert_eq!(measured["spills"], json!([]), "{name}");
    }
    if std::env::var_os("BLESS").is_some() && KEPT.contains(&name) {
        let kept: PathBuf = tests::root().join("host-tool/docs/page");
        std::fs::create_dir_all(&kept).expect("a folder");
        std::fs::copy(&picture, kept.join(format!("{name}.png"))).expect("kept");
    }
    measured
}

fn px(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// What a person a metre away needs of a ten-inch tablet.
fn is_legible(name: &str, measured: &Value) {
    assert_eq!((&measured["scrolls"]["across"], &measured["scrolls"]["down"]), (&json!(0), &json!(0)), "{name} scrolls");
    let texts = measured["texts"].as_array().expect("a list");
    assert!(texts.len() > 5, "{name}: {texts:?}");
    let arcmin = |size: f64| size * CAPITAL / PX_PER_MM / ARCMIN_MM;
    for text in texts {
        let (size, contrast) = (arcmin(px(&text["size"])), px(&text["contrast"]));
        assert!(contrast >= CONTRAST, "{name}: {contrast:.1} to one of {text}");
        assert!(size >= SECONDARY, "{name}: {size:.1} minutes of arc of {text}");
    }
    let big: Vec<f64> = texts.iter().filter(|text| text["class"] == "big").map(|text| arcmin(px(&text["size"]))).collect();
    assert!(big.len() == 3 && big.iter().all(|size| *size >= PRIMARY), "{name}: {big:?}");
    for target in measured["targets"].as_array().expect("a list") {
        let side = |a: usize, b: usize| (px(&target["box"][b]) - px(&target["box"][a])) / PX_PER_MM;
        assert!(side(0, 2) >= TARGET_MM && side(1, 3) >= TARGET_MM, "{name}: {target}");
    }
}

/// The large figures.
fn bigs(measured: &Value) -> Vec<&str> {
    let texts = measured["texts"].as_array().expect("a list");
    texts.iter().filter(|text| text["class"] == "big").filter_map(|text| text["text"].as_str()).collect()
}

fn drilling(scenario: &str, pace: u32) -> Site {
    let mut site = Site::start(scenario, pace, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    site.live.until("it cuts", |sight| sight["state"] == "cutting");
    site
}

/// From now on: what was not read while a picture was taken is of before.
fn until(site: &mut Site, what: &str, holds: impl Fn(&Value) -> bool) {
    site.live = Live::look(site.listen.page);
    site.live.until(what, holds);
}

/// Somebody hears every alarm of which this holds.
fn hear(site: &mut Site, which: impl Fn(&Value) -> bool) {
    site.live = Live::look(site.listen.page);
    let alarms = site.live.next()["alarms"].as_array().cloned().unwrap_or_default();
    for alarm in alarms.iter().filter(|alarm| alarm["acknowledged"] == false && which(alarm)) {
        site.press(&json!({ "acknowledge": { "alarm": alarm["id"], "by": "Tester" } }));
    }
}

fn has(sight: &Value, words: &str) -> bool {
    sight["abnormal"].as_array().is_some_and(|all| all.iter().any(|one| one["text"] == words))
}

/// Records of before are fetched while somebody looks: the cable was out for long, and the sensor came and went.
fn replay(site: &mut Site) -> Value {
    while site.follow_cue() != Cue::TouchHub {} // the hole is bored, and the rig waits for nothing
    let page = site.listen.page;
    std::thread::scope(|scope| {
        let looks = scope.spawn(move || look_at_when(page, "replay", &says("#why", "earlier records"), json!({})));
        site.rig.hand(Hand::Flicker(4_000)); // some twenty seconds of records: a busy machine needs ten to open the page
        looks.join().expect("it looks")
    })
}

#[test]
fn ten_moments_on_a_ten_inch_tablet_at_a_metre() {
    let mut site = drilling(SCENARIO, 1);
    until(&mut site, "the hole is judged", |sight| sight["plumb"] != "");
    let cutting = says("#place", "cutting");
    let mut seen = vec![("good", look_when(&site, "good", &cutting, json!({ "axe": true })))];
    seen.push(("night", look_when(&site, "night", &cutting, json!({ "night": true, "axe": true }))));
    seen.push(("tripping", look_when(&site, "tripping", &says("#place", "off the bottom"), json!({}))));
    let unbelieved = |alarm: &Value| alarm["kind"] == "not_believed";
    site.rig.hand(Hand::Fail(SensorName::Tilt, FaultKind::Silent, 15.0));
    seen.push(("fault", look_when(&site, "fault", &says("#alarm", "LEAN UNKNOWN: tilt sensor at fault"), json!({ "axe": true }))));
    hear(&mut site, unbelieved);
    site.rig.hand(Hand::Unplug(10.0));
    until(&mut site, "silence", |sight| sight["why_nothing"].is_string());
    let stale = look(&site, "stale", json!({ "first": ["#sound-on"], "until": says("#why", "no data for") }));
    assert_eq!(bigs(&stale), ["–", "–", "–"], "nothing old is shown");
    seen.push(("stale", stale));
    until(&mut site, "it is heard again", |sight| sight["why_nothing"].is_null());
    hear(&mut site, unbelieved);
    site.rig.hand(Hand::Pace(2));
    until(&mut site, "out of plumb", |sight| has(sight, "HOLE OUT OF PLUMB") && sight["verdict"]["beyond"] == true);
    site.rig.hand(Hand::Pace(1));
    let out = format!("{} && {}", says("#alarm", "hole out of plumb"), says("#lean", "BEYOND"));
    seen.push(("out-of-plumb", look_when(&site, "out-of-plumb", &out, json!({ "axe": true }))));
    hear(&mut site, |alarm| alarm["kind"] != "coming_up");
    let nearly = format!("{} && {cutting}", says("#alarm", "nearly at depth"));
    seen.push(("coming-up", look_when(&site, "coming-up", &nearly, json!({}))));
    let enough = format!("{} && ({cutting} || {})", says("#alarm", "deep enough"), says("#place", "on the bottom"));
    let past = "document.querySelector('#to_go').dataset.past === 'yes' || document.querySelector('#to_go .label').textContent === 'to go'";
    seen.push(("on-depth", look_when(&site, "on-depth", &format!("{enough} && ({past})"), json!({}))));
    hear(&mut site, |_| true);
    seen.push(("replay", replay(&mut site)));
    for (name, measured) in &seen {
        is_legible(name, measured);
        assert_eq!(measured.get("violations").unwrap_or(&json!([])), &json!([]), "{name}");
    }
}

#[test]
fn each_panel_has_room_for_gloves_and_is_accessible() {
    let site = Site::start(SCENARIO, 1, &["--share"]);
    let panels = [
        ("acts", vec!["#open-acts"], "/"),
        ("choose", vec!["#open-acts", "text=choose hole"], "/"),
        ("open", vec!["#open-acts", "text=choose hole", "text=S-8"], "/"),
        ("tool", vec!["#open-acts", "text=change tool"], "/"),
        ("note", vec!["#open-acts", "text=note", "text=rock"], "/"),
        ("more", vec!["#open-more"], "/"),
    ];
    for (name, click, path) in panels {
        let url = format!("http://{}{path}", site.listen.page);
        let measured =
            look(&site, &format!("panel-{name}"), json!({ "url": url, "click": click, "axe": true, "scrolls_within": name == "more" }));
        assert_eq!((&measured["violations"], &measured["scrolls"]["down"]), (&json!([]), &json!(0)), "{name}: {measured:#}");
        for target in measured["targets"].as_array().expect("a list") {
            let side = |a: usize, b: usize| (px(&target["box"][b]) - px(&target["box"][a])) / PX_PER_MM;
            assert!(side(0, 2) >= TARGET_MM - 0.05 && side(1, 3) >= TARGET_MM - 0.05, "{name}: {target}");
        }
    }
    // a stranger's phone is offered the pairing and nothing else
    let url = format!("http://{}/", crate::attacks::outside(site.listen.page.port()));
    let measured = look(
        &site,
        "panel-pairing",
        json!({ "url": url, "click": ["#open-acts"], "width": 390, "height": 844, "axe": true, "scrolls_within": true }),
    );
    let names: Vec<&str> = measured["targets"].as_array().expect("a list").iter().filter_map(|target| target["text"].as_str()).collect();
    assert!(names.contains(&"pair") && !names.contains(&"touch hub"), "{names:?}");
    assert_eq!(measured["violations"], json!([]), "{measured:#}");
}

#[test]
fn on_a_phone_a_desktop_and_at_twice_the_size_nothing_is_cut_off() {
    let site = drilling(SCENARIO, 1);
    for (name, width, height) in [("phone", 390, 844), ("desktop", 1920, 1080), ("twice", 640, 400)] {
        let measured = look(&site, name, json!({ "width": width, "height": height, "axe": true }));
        assert_eq!(measured["scrolls"]["across"], json!(0), "{name}");
        assert_eq!(measured["violations"], json!([]), "{name}");
        for text in measured["texts"].as_array().expect("a list") {
            assert!(px(&text["box"][0]) >= -1.0 && px(&text["box"][2]) <= f64::from(width) + 1.0, "{name}: {text}");
        }
    }
    drop(Live::look(site.listen.page));
}

#[test]
fn what_is_abnormal_is_told_apart_without_colour() {
    let mut site = drilling(SCENARIO, 4);
    site.live.until("out of plumb", |sight| has(sight, "HOLE OUT OF PLUMB") && sight["lean"]["value"].is_string());
    site.rig.hand(Hand::Pace(1));
    for vision in ["protanopia", "deuteranopia", "achromatopsia"] {
        let measured = look(&site, vision, json!({ "vision": vision }));
        let texts = measured["texts"].as_array().expect("a list");
        assert!(
            texts.iter().any(|text| text["text"].as_str().is_some_and(|text| text.to_lowercase().contains("out of plumb"))),
            "{vision}: {texts:?}"
        );
    }
}
