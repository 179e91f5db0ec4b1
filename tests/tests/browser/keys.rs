//! Every act of the cab page by the keyboard alone: where the focus is can be seen all the way, and the rig's own answer is.

use crate::rig::Hand;
use crate::site::{SCENARIO, Site};
use crate::tablet::Tablet;
use serde_json::json;
use simulator::cue::Cue;

/// Tab to each of these and press Enter there; a text in front of a colon is typed into the field of that name instead.
fn goes(tablet: &mut Tablet, steps: &[&str]) {
    for step in steps {
        match step.split_once(": ") {
            Some((text, field)) => {
                tablet.does(&json!({ "tab": field, "press": "Control+A", "type": text }));
            }
            None => {
                tablet.does(&json!({ "tab": step, "press": "Enter" }));
            }
        }
        has_its_focus_in_sight(tablet, step);
    }
}

fn has_its_focus_in_sight(tablet: &mut Tablet, after: &str) {
    let focus = tablet.does(&json!({}))["focus"].clone();
    assert!(focus["name"] != "" && focus["seen"] == true, "after {after}: {focus}");
}

/// The rig's answer to the act that was asked for last, and back to the hole.
fn is_told(tablet: &mut Tablet, act: &str) {
    tablet.until("document.querySelector('#panel .strong')?.textContent === 'done, and recorded'");
    goes(tablet, &["back to the hole"]);
    assert_eq!(tablet.does(&json!({}))["focus"]["name"], "acts", "{act}: back where it was asked from");
}

#[test]
fn every_act_is_done_from_the_keyboard_alone() {
    let site = Site::start(SCENARIO, 6, &[]);
    let mut tablet = Tablet::on(site.listen.page);
    assert!(matches!(site.rig.cue(), Cue::LoadHole(_)));
    tablet.until("document.body.dataset.stale === 'no'");
    goes(&mut tablet, &["acts", "choose hole"]);
    tablet.until("document.querySelectorAll('.rows .hole').length === 2");
    goes(&mut tablet, &["S-7: find"]);
    tablet.until("document.querySelectorAll('.rows .hole').length === 1");
    tablet.does(&json!({ "press": "Tab" })); // the only row
    has_its_focus_in_sight(&mut tablet, "the row");
    tablet.does(&json!({ "press": "Enter" }));
    goes(
        &mut tablet,
        &[
            "2: tool on now",
            "90: heading °, clockwise from ahead",
            "60 mm: hub above datum (0.2 ft, 60 mm)",
            "Tester: operator",
            "go on",
            "yes, open it",
        ],
    );
    is_told(&mut tablet, "load");
    site.rig.hand(Hand::Done);

    assert_eq!(site.rig.cue(), Cue::TouchHub);
    goes(&mut tablet, &["acts", "touch hub", "yes, on the hub"]);
    is_told(&mut tablet, "touch");
    site.rig.hand(Hand::Done);
    tablet.until("document.querySelector('#place').textContent === 'cutting'");

    goes(&mut tablet, &["acts", "note", "rock", "a boulder: more, if need be", "yes, note it"]);
    is_told(&mut tablet, "note");
    tablet.until("document.querySelector('#alarm').checkVisibility()");
    goes(&mut tablet, &["heard"]);
    tablet.until("!document.querySelector('#alarm').checkVisibility()");
    has_its_focus_in_sight(&mut tablet, "the alarm is gone");

    assert_eq!(site.rig.cue(), Cue::TouchHub);
    goes(&mut tablet, &["acts", "touch hub", "yes, on the hub"]);
    is_told(&mut tablet, "touch again");
    site.rig.hand(Hand::Done);
    assert_eq!(site.rig.cue(), Cue::CloseHole);
    goes(&mut tablet, &["acts", "change tool", "tool 2", "yes, tool 2"]);
    is_told(&mut tablet, "tool");
    goes(&mut tablet, &["acts", "close hole", "yes, close it"]);
    is_told(&mut tablet, "close");
    site.rig.hand(Hand::Done);
    tablet.until("document.querySelector('#hole').textContent === 'no hole open'");
}

#[test]
fn a_panel_is_left_with_escape_and_gives_the_focus_back() {
    let site = Site::start(SCENARIO, 1, &[]);
    let mut tablet = Tablet::on(site.listen.page);
    tablet.until("document.body.dataset.stale === 'no'");
    for opener in ["acts", "menu"] {
        goes(&mut tablet, &[opener]);
        assert_eq!(tablet.does(&json!({}))["focus"]["name"], opener, "the panel's title has it");
        tablet.does(&json!({ "press": "Escape" }));
        let focus = tablet.does(&json!({ "tell": "document.activeElement.getAttribute('aria-expanded')" }));
        assert_eq!((&focus["answer"], &focus["focus"]["name"], &focus["focus"]["seen"]), (&json!("false"), &json!(opener), &json!(true)));
    }
}
