//! Holes through their states.

use super::*;
use crate::judge::judge;
use shared_protocol::assemble::slots;
use shared_protocol::record::{Clock, Increment, Opened, Plan, Record};
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
use shared_protocol::state::Leg;
use shared_protocol::units::{Micrometres, Millis};

const MORNING: i64 = 1_778_592_600_000;
const HOUR: i64 = 3_600_000;

/// A hole of which one increment was cut, an hour after the morning where the rig knows the time.
fn cut(structure: &str, clock: bool) -> SetUp {
    let mut all: Vec<Slot> = Vec::new();
    let plan = Plan { structure: structure.try_into().unwrap(), attempt: 1, depth: Micrometres::from_mm(3_000), ..Plan::default() };
    let records = [
        clock.then(|| Record::Clock(Clock { at: Millis(0), unix_ms: MORNING, offset: 0 })),
        Some(Record::Opened(Opened { at: Millis(3_600_000), plan, ..Opened::default() })),
        Some(Record::Increment(Increment { at: Millis(3_601_000), depth: Micrometres::from_mm(25), samples: 20, ..Increment::default() })),
    ];
    for record in records.into_iter().flatten() {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        let next = all.last().map_or(0, |slot| slot.sequence() + 1);
        all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
    }
    crate::facts::read(&all).remove(0)
}

fn name(structure: &str) -> HoleName {
    HoleName { line: String::new(), structure: structure.to_owned(), leg: Leg::Single, attempt: 1 }
}

fn said(number: u32, structure: &str, hours: i64, state: HoleState) -> (Place, Entry) {
    let at = Wall { unix_ms: MORNING + hours * HOUR, offset: 0 };
    (Place { host: 1, number }, Entry::new("Tester", at, name(structure), Said::State { state }))
}

fn one(set_up: &SetUp, entries: &[(Place, Entry)]) -> Registered {
    let judged = judge(set_up);
    register(&[(name("41"), Drilled::of(set_up, &judged))], entries).remove(0)
}

fn after(hours: i64) -> Option<Wall> {
    Some(Wall { unix_ms: MORNING + hours * HOUR, offset: 0 })
}

#[test]
fn a_hole_that_was_cut_is_open_and_owes_a_cover_until_somebody_says_how_it_is_kept() {
    let set_up = cut("41", true);
    let drilled = one(&set_up, &[]);
    assert_eq!((drilled.state, drilled.since, drilled.open_since, drilled.owes()), (HoleState::Drilled, after(1), after(1), true));
    let covered = one(&set_up, &[said(0, "41", 2, HoleState::Covered)]);
    assert_eq!((covered.state, covered.since, covered.open_since, covered.owes()), (HoleState::Covered, after(2), after(1), false));
    assert_eq!(covered.by.as_deref(), Some("Tester"));
    let set = one(&set_up, &[said(0, "41", 2, HoleState::Covered), said(1, "41", 30, HoleState::PoleSet)]);
    assert_eq!((set.state, set.open_since, set.owes(), set.rules().len()), (HoleState::PoleSet, None, false, 0));
}

#[test]
fn a_hole_that_is_given_up_stays_open_until_it_is_filled() {
    let set_up = cut("41", true);
    let given_up = one(&set_up, &[said(0, "41", 2, HoleState::Abandoned)]);
    assert!(given_up.owes() && given_up.open_since == after(1));
    let filled = one(&set_up, &[said(0, "41", 2, HoleState::Abandoned), said(1, "41", 3, HoleState::Backfilled)]);
    assert!(!filled.owes() && filled.open_since.is_none());
}

/// A cover is taken off to drill on: what was said before does not hold any more.
#[test]
fn a_hole_that_is_drilled_on_is_open_again() {
    let set_up = cut("41", true);
    let before = one(&set_up, &[said(0, "41", 0, HoleState::Covered)]);
    assert_eq!((before.state, before.owes(), before.open_since), (HoleState::Drilled, true, after(0)));
}

/// Without a time of day the rig's records come first, so that what people enter holds.
#[test]
fn a_rig_that_does_not_know_the_time_does_not_overrule_people() {
    let set_up = cut("41", false);
    let kept = one(&set_up, &[said(0, "41", 0, HoleState::Fenced)]);
    assert_eq!((kept.state, kept.open_since), (HoleState::Fenced, None));
}

#[test]
fn a_state_that_is_corrected_does_not_count() {
    let set_up = cut("41", true);
    let wrong = said(0, "41", 2, HoleState::PoleSet);
    let (place, right) = said(1, "41", 3, HoleState::Covered);
    let right = (place, Entry { corrects: Some(wrong.0), ..right });
    assert_eq!(one(&set_up, &[wrong, right]).state, HoleState::Covered);
}

/// 6 ft is 1.8288 m. Both wordings at 6.00 ft: check values, 5.
#[test]
fn the_two_wordings_of_the_rule_part_at_six_feet() {
    let of = |depth| Registered {
        hole: name("41"),
        state: HoleState::Covered,
        since: None,
        by: None,
        open_since: None,
        depth,
        simulated: false,
    };
    assert_eq!(of(Some(1.828_7)).rules().len(), 0);
    assert_eq!(of(Some(SIX_FEET)).rules(), ["29 CFR 1926.501(b)(7)(ii): 6 ft or more"]);
    assert_eq!(of(Some(1.828_9)).rules().len(), 2);
    assert_eq!(of(None).rules().len(), 2, "not known counts as deep");
    assert!(Registered { state: HoleState::Drilled, ..of(Some(0.3)) }.owes(), "whatever its depth");
}

#[test]
fn holes_that_nobody_drilled_stand_in_it_too() {
    let holes = register(&[], &[said(0, "7", 0, HoleState::Staked), said(1, "8", 0, HoleState::Drilled)]);
    assert_eq!(holes.iter().map(|h| (h.hole.structure.as_str(), h.state.is_open())).collect::<Vec<_>>(), [("7", false), ("8", true)]);
}

#[test]
fn legs_that_a_sheet_plans_and_nobody_began_are_known() {
    let legs = crate::sheet::tests::read_text(crate::sheet::tests::SHEET).unwrap().legs;
    let plans: Plans = legs
        .iter()
        .map(|leg| ((leg.line.clone(), leg.structure.clone(), leg.leg), (Place { host: 1, number: leg.row }, leg.clone())))
        .collect();
    let begun = |structure: &str, leg, attempt| {
        let hole = HoleName { line: "SIMULATED tie".to_owned(), structure: structure.to_owned(), leg, attempt };
        let said = Said::State { state: HoleState::Staked };
        (Place { host: 1, number: 90 }, Entry::new("Tester", Wall { unix_ms: MORNING, offset: 0 }, hole, said))
    };
    // another line's 42 is none of this line's
    let other = said(91, "42", 0, HoleState::Drilled);
    let known = register(&[], &[begun("41", Leg::Left, 2), begun("44", Leg::Single, 1), other]);
    let names: Vec<String> = not_begun(&plans, &known).into_iter().map(LegPlan::name).collect();
    assert_eq!(names, ["41 right", "42", "43 left", "43 middle", "43 right"]);
    assert_eq!(not_begun(&plans, &[]).len(), 7);
}
