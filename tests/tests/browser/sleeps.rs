//! What tablets do by themselves: they sleep, put pages out of sight, have clocks that jump, and open the page in the middle of a hole.

use crate::listen::{Listen, Live};
use crate::rig::Hand;
use crate::site::{SCENARIO, Site};
use crate::tablet::Tablet;
use serde_json::{Value, json};
use simulator::cue::Cue;
use simulator::sensors::{FaultKind, SensorName};
use std::time::Duration;

const LIVE: &str = "!isNaN(parseFloat(document.querySelector('#depth .big').textContent))";

fn drilling() -> (Site, Tablet) {
    let mut site = Site::start(SCENARIO, 1, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    site.live.until("it cuts", |sight| sight["state"] == "cutting");
    let mut tablet = Tablet::on(site.listen.page);
    tablet.until(LIVE);
    (site, tablet)
}

fn is_figure(text: &Value) -> bool {
    text.as_str().is_some_and(|text| text.parse::<f64>().is_ok())
}

/// Nothing in any of these is a figure.
fn show_nothing(samples: &[Value], when: &str) {
    assert!(samples.len() > 3, "{when}: {}", samples.len());
    for sample in samples {
        let any = ["to_go", "depth", "lean"].map(|figure| is_figure(&sample[figure]));
        assert!(any == [false; 3] && sample["place"] == "NOT LIVE", "{when}, an old figure: {sample:#}");
    }
}

/// While it is away the program is killed, so that whatever figure is seen after that is an old one; then it comes back by itself.
fn shows_nothing_old(mut site: Site, mut tablet: Tablet, away: impl Fn(&mut Tablet), back: impl Fn(&mut Tablet), when: &str) {
    away(&mut tablet);
    site.listen.kill();
    std::thread::sleep(Duration::from_secs(3));
    back(&mut tablet);
    show_nothing(&tablet.watch(2_500), when);
    let port = site.listen.page.port().to_string();
    site.listen = Listen::start(&site.rig.port, &site.store, &["--page-port", &port]);
    tablet.until(LIVE);
    assert_eq!(tablet.shows()["hole"], "hole S-7");
}

#[test]
fn a_tablet_that_slept_shows_nothing_old_and_recovers() {
    let (site, tablet) = drilling();
    let state = |state: &'static str| {
        move |tablet: &mut Tablet| drop(tablet.does(&json!({ "cdp": "Page.setWebLifecycleState", "with": { "state": state } })))
    };
    shows_nothing_old(site, tablet, state("frozen"), state("active"), "woken");
}

#[test]
fn a_page_that_was_out_of_sight_shows_nothing_old_and_recovers() {
    let (site, tablet) = drilling();
    let turn = |seen: &'static str| {
        let tell = format!("(window.seen = '{seen}', document.dispatchEvent(new Event('visibilitychange')))");
        move |tablet: &mut Tablet| drop(tablet.does(&json!({ "tell": tell })))
    };
    shows_nothing_old(site, tablet, turn("hidden"), turn("visible"), "in sight again");
}

#[test]
fn a_clock_that_jumps_an_hour_either_way_is_said_and_changes_no_figure() {
    let (mut site, mut tablet) = drilling();
    let differs = "document.querySelector('#chips').textContent.includes('clock differs')";
    for hour in [3_600_000, -3_600_000] {
        assert_eq!(tablet.does(&json!({ "tell": differs }))["answer"], json!(false));
        tablet.does(&json!({ "tell": format!("window.jumped = {hour}") }));
        tablet.until(&format!("{LIVE} && {differs}"));
        let seen = tablet.shows();
        site.live = Live::look(site.listen.page);
        let sight = site.live.next();
        let [shown, told] =
            [&seen["depth"], &sight["depth"]["value"]].map(|text| text.as_str().unwrap_or_default().parse::<f64>().expect("a figure"));
        assert!((shown - told).abs() < 0.3 && told >= shown - 0.01, "{seen:#} {sight:#}");
        tablet.does(&json!({ "tell": "window.jumped = 0" }));
        tablet.until(&format!("{LIVE} && !{differs}"));
    }
}

#[test]
fn a_page_opened_in_the_middle_of_a_hole_shows_what_is_bored_and_what_is_not_known() {
    let mut site = Site::start(SCENARIO, 4, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    let deep = |sight: &Value| sight["picture"]["axis"].as_array().is_some_and(|axis| axis.len() >= 12);
    site.live.until("a part of it is bored", deep);
    site.rig.hand(Hand::Pace(1));
    site.rig.hand(Hand::Fail(SensorName::Tilt, FaultKind::Silent, 60.0));
    site.live.until("a fault", |sight| sight["lean"]["dash"].as_str().is_some_and(|dash| dash.contains("tilt sensor")));
    let mut tablet = Tablet::on(site.listen.page);
    tablet.until(LIVE);
    let seen = tablet.shows();
    assert_eq!((&seen["hole"], is_figure(&seen["to_go"])), (&json!("hole S-7"), true), "{seen:#}");
    assert!(seen["bored"].as_u64().is_some_and(|points| points > 24), "both walls of the axis so far: {seen:#}");
    assert_eq!((&seen["lean"], &seen["hint"], &seen["stem"]), (&json!("–"), &json!("mast: not known now"), &json!("")), "{seen:#}");
    assert!(seen["lean_words"].as_str().is_some_and(|words| words.contains("tilt sensor: no answer")), "{seen:#}");
}
