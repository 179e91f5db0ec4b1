//! Structures made of records, a sheet and entries, judged.

use super::answer::Ready;
use super::leg::Stage;
use super::*;
use crate::entry::{Along, Disposition, HoleName, HoleState, NoteKind, Said};
use crate::facts::{DigestState, Moment, Timed, Wall, read};
use crate::judge::judge_by;
use crate::planned::plans;
use crate::session::Stream;
use crate::sheet::LegPlan;
use crate::sheet::tests::read_text;
use crate::structure::{FOOT, INCH};
use shared_protocol::assemble::slots;
use shared_protocol::body::CoarseLean;
use shared_protocol::record::{Change, Closed, Identity, Increment, Opened, Pass, Plan, Record, Tool};
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
use shared_protocol::state::{Check, Leg as LegCode, ReferenceState};
use shared_protocol::units::{Lean, Micrometres, Millis};

/// 2026-05-12 at noon, invented.
pub const NOON: i64 = 1_778_608_800_000;

pub fn at(minutes: i64) -> Wall {
    Wall { unix_ms: NOON + minutes * 60_000, offset: 0 }
}

/// What a rig does in one set-up: tools with their diameters and how deep each cuts, metres below the datum; lean ahead, mm/m.
pub struct Drill<'a> {
    pub tools: &'a [(f64, f64)],
    pub lean: f64,
    pub minutes: i64,
    pub closed: bool,
}

impl Drill<'_> {
    pub const fn straight(tools: &[(f64, f64)]) -> Drill<'_> {
        Drill { tools, lean: 0.0, minutes: 0, closed: true }
    }
}

fn um(metres: f64) -> Micrometres {
    #[allow(clippy::cast_possible_truncation)]
    Micrometres((metres * 1e6).round() as i32)
}

/// A set-up as a rig would record it, its hub at the datum.
pub fn hole(plan: &Plan, drill: &Drill<'_>) -> Hole {
    let mut all: Vec<Slot> = Vec::new();
    let mut add = |record: &Record| {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        let next = all.last().map_or(u32::try_from(drill.minutes).unwrap() * 1_000, |slot| slot.sequence() + 1);
        all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
    };
    add(&Record::Opened(Opened { plan: plan.clone(), ..Opened::default() }));
    add(&Record::Identity(Identity { guide_height: um(1.4), ..Identity::default() }));
    add(&Record::Change(Change { check: Check::Reference.raw(), state: ReferenceState::Hub.raw(), ..Change::default() }));
    let (mut deepest, mut number) = (0.0_f64, 0);
    let lean = CoarseLean::from_lean(Lean(um(drill.lean / 1e3).0));
    for (n, (diameter, bottom)) in drill.tools.iter().enumerate() {
        add(&Record::Tool(Tool { tool: u8::try_from(n + 1).unwrap(), diameter: um(*diameter), ..Tool::default() }));
        while deepest + 0.1 <= bottom + 1e-9 {
            deepest += 0.1;
            add(&Record::Increment(Increment { depth: um(deepest), forward: lean, samples: 20, ..Increment::default() }));
        }
        deepest = deepest.max(*bottom);
        number += 1;
        add(&Record::Pass(Pass { number, bottom: um(*bottom), ..Pass::default() }));
    }
    let mut setup = read(&all).remove(0);
    let wall = Some(at(drill.minutes));
    let moment = Moment { boot: 1, at: Millis(0), wall };
    setup.opened.moment = moment;
    setup.increments.iter_mut().for_each(|increment| increment.moment = moment);
    let body = Closed { bottom: um(deepest), ..Closed::default() };
    setup.closed = drill.closed.then(|| Timed { sequence: all.last().unwrap().sequence() + 1, moment, body });
    setup.digest = DigestState::Fits;
    let judged = judge_by(&setup, &crate::judge::limits::LimitSet { limits: Vec::new(), governs: None });
    let stream = Stream { rig: "R".to_owned(), epoch: 1 };
    Hole { handle: format!("{}-{}", plan.structure, drill.minutes), stream, setup, judged, entries: Vec::new() }
}

/// A plan as it is loaded: 3 m deep, 100 mm less and 150 more, 20 mm/m.
pub fn load(structure: &str, leg: LegCode, attempt: u8) -> Plan {
    Plan {
        line: "SIMULATED tie".try_into().unwrap(),
        structure: structure.try_into().unwrap(),
        leg: leg.raw(),
        attempt,
        setup: 1,
        depth: um(3.0),
        depth_under: um(0.1),
        depth_over: um(0.15),
        plumb_limit: Lean(20_000),
        diameter: um(1.2),
        tool: 1,
        ..Plan::default()
    }
}

pub fn said(structure: &str, leg: LegCode, attempt: u8, minutes: i64, what: Said) -> Entry {
    let hole = HoleName { line: "SIMULATED tie".to_owned(), structure: structure.to_owned(), leg, attempt };
    Entry { remark: "because".to_owned(), ..Entry::new("Ground hand", at(minutes), hole, what) }
}

/// A row each for a single pole 41, and for a frame 42 of two 80 ft poles 12.5 ft apart whose butts and lengths were taped.
const SHEET: &str = "\
line,structure,leg,planned depth (m),datum,diameter (m),pole length (m),class,species,butt circumference (m),butt to framing (m),\
ground elevation (m),framed spacing (m),tamping room (m),plumb limit,depth under (m),depth over (m),locate ticket,ticket valid until
SIMULATED tie,41,single,3.0,low side,1.2,21.336,1,southern pine,,,,,0.1,20 mm/m,0.1,0.15,T-1,2026-12-31
SIMULATED tie,42,left,3.0,low side,1.2,24.384,1,southern pine,1.4,20.0,100.0,3.81,0.1,20 mm/m,0.1,0.15,T-1,2026-12-31
SIMULATED tie,42,right,3.0,low side,1.2,24.384,1,southern pine,1.4,20.0,100.0,3.81,0.1,20 mm/m,0.1,0.15,T-1,2026-12-31
";

/// The sheet's entries, and those given.
fn entries(more: Vec<Entry>) -> Vec<(Place, Entry)> {
    let sheet = read_text(SHEET).unwrap_or_else(|unsound| panic!("{unsound:#?}"));
    let planned = sheet.legs.into_iter().map(|leg| {
        let hole = HoleName { line: leg.line.clone(), structure: leg.structure.clone(), leg: leg.leg, attempt: 1 };
        let file = Said::Planned { file: "sheet.csv".to_owned(), sha256: String::new() };
        Entry { plan: Some(Box::new(leg)), ..Entry::new("Office", at(-600), hole, file) }
    });
    let all = planned.chain(more).enumerate();
    all.map(|(n, entry)| (Place { host: 1, number: u32::try_from(n).unwrap() }, entry)).collect()
}

/// Judges structure 41 or 42 of these holes and entries, and hands it to somebody who looks at it.
pub fn judged<T>(structure: &str, holes: &[Hole], more: Vec<Entry>, limits: Option<&str>, look: impl FnOnce(&Structure<'_>) -> T) -> T {
    let limits = limits.map(|text| Limits::read(text).unwrap());
    let entries = entries(more);
    let plans = plans(entries.iter().map(|(place, entry)| (*place, entry)));
    let works = Works { holes, plans: &plans, entries: &entries, limits: limits.as_ref(), soil: None };
    let all = structures(&works);
    look(all.iter().find(|known| known.structure == structure).unwrap())
}

fn single(drill: &Drill<'_>, more: Vec<Entry>) -> (Ready, Vec<String>, Vec<String>) {
    let hole = hole(&load("41", LegCode::Single, 1), drill);
    judged("41", &[hole], more, None, |s| (s.answer.ready, s.answer.why.clone(), s.answer.act.clone()))
}

#[test]
fn a_straight_hole_of_the_right_depth_takes_its_pole() {
    let (ready, why, act) = single(&Drill::straight(&[(1.2, 3.0)]), Vec::new());
    assert_eq!((ready, why, act), (Ready::Yes, Vec::<String>::new(), Vec::<String>::new()));
    judged("41", &[], Vec::new(), None, |s| {
        assert_eq!(
            (s.answer.ready, s.legs[0].stage, s.answer.act.as_slice()),
            (Ready::NotYet, Stage::Planned, &["drill it".to_owned()][..])
        );
    });
}

#[test]
fn what_is_short_is_deepened_and_what_is_deep_is_filled() {
    let (ready, why, act) = single(&Drill::straight(&[(1.2, 2.8)]), Vec::new());
    assert_eq!((ready, act), (Ready::No, vec!["deepen it by 100 mm at least, then sound it".to_owned()]));
    assert!(why[0].starts_with("depth measured outside, short by 100 mm; shown outside"), "{why:?}");
    let (ready, _, act) = single(&Drill::straight(&[(1.2, 3.3)]), Vec::new());
    let fill = "fill and tamp 150 mm at least, then sound it and check its embedment";
    assert_eq!((ready, act), (Ready::No, vec![fill.to_owned()]));
    let rock = said("41", LegCode::Single, 1, 5, Said::Note { what: NoteKind::Rock { shot: false, by: String::new() } });
    let (ready, why, act) = single(&Drill::straight(&[(1.2, 2.87)]), vec![rock]);
    assert_eq!((ready, act), (Ready::No, vec!["the engineer decides".to_owned()]));
    assert!(why[0].contains("in rock; rock within 6 in of the depth may end it"), "{why:?}");
}

#[test]
fn a_hole_that_leans_goes_to_the_engineer_and_one_in_doubt_is_plumbed() {
    let leaning = |lean| single(&Drill { lean, ..Drill::straight(&[(1.2, 3.0)]) }, Vec::new());
    let (ready, why, act) = leaning(60.0);
    assert_eq!((ready, act), (Ready::No, vec!["the engineer decides".to_owned()]));
    assert!(why[0].contains("shown outside; the pole itself would stand as planned in it with "), "{why:?}");
    let (ready, _, act) = leaning(22.0);
    assert_eq!((ready, act), (Ready::No, vec!["plumb it by hand, and enter the plumb".to_owned()]));
}

#[test]
fn of_a_pole_that_stands_nobody_says_that_it_cannot_go_in() {
    let short = hole(&load("41", LegCode::Single, 1), &Drill::straight(&[(1.2, 2.8)]));
    let set = said("41", LegCode::Single, 1, 10, Said::State { state: HoleState::PoleSet });
    let line = |more| judged("41", std::slice::from_ref(&short), more, None, words::headline);
    assert_eq!(line(vec![set]), "41  the pole stands, AND NOT AS PLANNED");
    assert_eq!(line(Vec::new()), "41  the pole CANNOT GO IN");
}

/// The statement that the contract names decides: of a lean in doubt the plain one lets the pole in, the guarded one does not.
#[test]
fn the_statement_that_governs_decides() {
    let ready = |limits| {
        let hole = hole(&load("41", LegCode::Single, 1), &Drill { lean: 15.0, ..Drill::straight(&[(1.2, 3.0)]) });
        judged("41", &[hole], Vec::new(), limits, |s| (s.answer.ready, s.answer.act.clone()))
    };
    let limit = "[[limit]]\nmeasurand = \"overall-lean\"\nfigure = \"20 mm/m\"\nsource = \"Invented\"";
    let [plain, guarded] = ["plain", "guarded"].map(|word| format!("governs = \"{word}\"\n{limit}"));
    assert_eq!(ready(Some(&plain)), (Ready::Yes, Vec::new()));
    assert_eq!(ready(Some(&guarded)), (Ready::NotShown, vec!["plumb it by hand, and enter the plumb".to_owned()]));
}

/// Sounded, so that nothing is left to do about it, and yet too near its limit to be shown within: where the guarded statement
/// decides, the pole crew is told so. Room is held to the same.
#[test]
fn what_the_guarded_statement_does_not_show_lets_no_pole_in() {
    let depth = "[[limit]]\nmeasurand = \"depth\"\nfigure = \"±100 mm\"\nsource = \"Invented\"";
    let ready = |governs: &str, limit: &str, depths: [f64; 2]| {
        let limits = format!("governs = \"{governs}\"\n{limit}");
        judged("42", &soundings(frame(depths[0], depths[1]), depths), Vec::new(), Some(&limits), |s| (s.answer.ready, s.answer.why.clone()))
    };
    let near = [2.903, 2.903];
    assert_eq!(ready("plain", depth, near), (Ready::Yes, Vec::new()));
    let (shown, why) = ready("guarded", depth, near);
    assert_eq!(
        (shown, why.iter().filter(|line| line.contains("depth measured within; not shown")).count()),
        (Ready::NotShown, 2),
        "{why:?}"
    );
    let (out, why) = ready("guarded", depth, [2.898, 2.898]);
    assert_eq!(out, Ready::No, "measured outside is no matter of doubt: {why:?}");
    let most = judged("42", &soundings(frame(3.0, 3.0), [3.0, 3.0]), Vec::new(), None, |s| s.frame.fit.as_ref().unwrap().most);
    let room =
        format!("[[limit]]\nmeasurand = \"room\"\nfigure = \"{:.1} mm\"\nsource = \"Invented\"", (most.value - most.expanded / 2.0) * 1e3);
    assert_eq!(ready("plain", &room, [3.0, 3.0]), (Ready::Yes, Vec::new()));
    let (shown, why) = ready("guarded", &room, [3.0, 3.0]);
    assert_eq!(shown, Ready::NotShown, "{why:?}");
    assert!(why.iter().any(|line| line.contains("room round the pole measured within; not shown")), "{why:?}");
}

/// A class 1 pole of 70 ft has a butt of 16.95 in at least (check values §8): in a hole of 24 in it has 3.5 in, 4 in are wanted
/// and 0.1 m is a little less. So the hole is to be 16.95 in and 200 mm, 630 mm, wide.
#[test]
fn a_narrow_hole_is_reamed_by_what_it_lacks() {
    let (ready, why, act) = single(&Drill::straight(&[(24.0 * INCH, 3.0)]), Vec::new());
    assert_eq!(ready, Ready::No);
    assert!(
        why[0].starts_with("room round the pole 90 mm at its best place, 100 mm wanted; the largest butt that has it is 410 mm"),
        "{why:?}"
    );
    assert_eq!(act, ["ream it to 631 mm at least, or set a thinner pole"]);
}

#[test]
fn an_attempt_that_was_given_up_stays_and_the_next_one_counts() {
    let first = hole(&load("41", LegCode::Single, 1), &Drill::straight(&[(1.2, 1.4)]));
    let left = |state| said("41", LegCode::Single, 1, 10, Said::State { state });
    judged("41", std::slice::from_ref(&first), vec![left(HoleState::Backfilled)], None, |s| {
        assert_eq!((s.answer.ready, s.legs[0].stage), (Ready::NotYet, Stage::GivenUp));
        assert_eq!((&s.answer.why[0][..], &s.answer.act[0][..]), ("filled again", "stake and drill another"));
    });
    let second = hole(&load("41", LegCode::Single, 2), &Drill { minutes: 60, ..Drill::straight(&[(1.2, 3.0)]) });
    judged("41", &[first, second], vec![left(HoleState::Backfilled)], None, |s| {
        assert_eq!((s.answer.ready, s.legs[0].hole.attempt), (Ready::Yes, 2));
        assert_eq!(s.legs[0].earlier, [(1, Some(HoleState::Backfilled))]);
    });
}

#[test]
fn a_set_up_that_is_not_closed_is_not_finished() {
    let (ready, _, act) = single(&Drill { closed: false, ..Drill::straight(&[(1.2, 1.0)]) }, Vec::new());
    assert_eq!((ready, &act[0][..]), (Ready::NotYet, "finish and close it"));
}

#[test]
fn a_named_person_accepts_and_what_is_measured_after_overtakes_it() {
    let accepts = |minutes| said("41", LegCode::Single, 1, minutes, Said::Accepted { disposition: Disposition::Stands });
    let short = Drill::straight(&[(1.2, 2.88)]);
    let (ready, why, act) = single(&short, vec![accepts(5)]);
    assert_eq!((ready, act.len()), (Ready::Yes, 0), "{why:?}");
    assert!(why[0].contains("short by 20 mm"), "what was accepted stays in sight: {why:?}");
    let tape = Said::Diameter { depth_um: 0, diameter_um: 1_200_000, standard_um: 5_000 };
    let (ready, _, act) = single(&short, vec![accepts(5), said("41", LegCode::Single, 1, 6, tape)]);
    assert_eq!((ready, &act[0][..]), (Ready::No, "deepen it by 20 mm at least, then sound it"));
}

fn frame(left: f64, right: f64) -> [Hole; 2] {
    [
        hole(&load("42", LegCode::Left, 1), &Drill::straight(&[(1.2, left)])),
        hole(&load("42", LegCode::Right, 1), &Drill { minutes: 60, ..Drill::straight(&[(1.2, right)]) }),
    ]
}

fn soundings(mut holes: [Hole; 2], depths: [f64; 2]) -> [Hole; 2] {
    use crate::judge::LineAxes;
    use crate::judge::measured::{Kind, Measurement};
    for (hole, depth) in holes.iter_mut().zip(depths) {
        let offset = LineAxes::default();
        let (author, remark) = ("Ground hand".to_owned(), String::new());
        hole.setup.measurements = vec![Measurement { author, unix_ms: NOON, kind: Kind::Sounding, depth, offset, standard: 0.003, remark }];
        hole.judged = judge_by(&hole.setup, &crate::judge::limits::LimitSet { limits: Vec::new(), governs: None });
    }
    holes
}

/// 1 in higher at 12.5 ft is 0.3820° (check values §11, CALC): the right hole is an inch shallower, so its end is higher. It is
/// deepened by that inch.
#[test]
fn an_inch_tilts_the_arm_and_the_shallow_leg_is_deepened() {
    judged("42", &soundings(frame(3.0, 3.0), [3.0, 3.0 - INCH]), Vec::new(), None, |s| {
        let arm = s.frame.drilled.as_ref().unwrap();
        assert!((arm.tilt.degrees.value - 0.3820).abs() < 5e-5 && (arm.spacing - 12.5 * FOOT).abs() < 1e-9, "{arm:?}");
        assert!(arm.taped && arm.is_out());
        assert_eq!(
            (s.answer.ready, s.answer.act.as_slice()),
            (Ready::Unlevel, &["right leg: deepen by 25 mm to level the arm".to_owned()][..])
        );
        assert!(s.answer.why[0].starts_with("arm not level: right end higher by 25 mm"), "{:?}", s.answer.why);
    });
    judged("42", &soundings(frame(3.0, 3.0), [3.0, 3.0 - 0.002]), Vec::new(), None, |s| {
        assert_eq!((s.answer.ready, s.answer.why.len()), (Ready::Yes, 0), "2 mm are within what it is worth: {:?}", s.answer);
    });
}

/// 12.5 ft along a 10 % slope is 0.744 in short of 12.5 ft level (check values §11 and the structure's own test).
#[test]
fn a_spacing_is_brought_to_the_level_and_held_against_the_middles() {
    let spacing =
        |um, along| said("42", LegCode::Left, 1, 90, Said::Spacing { to: LegCode::Right, distance_um: um, standard_um: 3_000, along });
    let centre = |leg, right_um| said("42", leg, 1, 80, Said::Centre { ahead_um: 0, right_um, standard_um: 5_000 });
    let slope = Along::Slope { rise_ppm: 100_000 };
    let middles = vec![centre(LegCode::Left, 0), centre(LegCode::Right, -19_000), spacing(3_810_000, slope)];
    judged("42", &frame(3.0, 3.0), middles, None, |s| {
        let found = s.frame.spacings[0];
        assert!((found.shortened / INCH - 0.7444).abs() < 1e-4, "{found:?}");
        assert!((found.by_middles.unwrap().value - 3.791).abs() < 1e-9 && !found.contradicts(), "{found:?}");
    });
    let wrong = vec![centre(LegCode::Left, 0), centre(LegCode::Right, 60_000), spacing(3_810_000, Along::Level)];
    judged("42", &frame(3.0, 3.0), wrong, None, |s| assert!(s.frame.spacings[0].contradicts()));
    // without a middle of its own, the right leg is where the tape from the left says
    judged("42", &frame(3.0, 3.0), vec![centre(LegCode::Left, 0), spacing(3_910_000, Along::Level)], None, |s| {
        let fit = s.frame.fit.as_ref().unwrap();
        assert!((fit.shift.right - 0.050).abs() < 1e-6, "half of the 100 mm that the right one is too far: {fit:?}");
    });
}

#[test]
fn a_sheet_whose_arm_is_not_level_shows_before_anything_is_drilled() {
    let mut all = entries(Vec::new());
    if let Some(plan) = all[2].1.plan.as_deref_mut() {
        *plan = LegPlan { ground_original_m: Some(100.3), ..plan.clone() };
    }
    let plans = plans(all.iter().map(|(place, entry)| (*place, entry)));
    let works = Works { holes: &[], plans: &plans, entries: &all, limits: None, soil: None };
    let structures = structures(&works);
    let frame = structures.iter().find(|s| s.structure == "42").unwrap();
    assert!(frame.frame.planned.as_ref().unwrap().is_out() && frame.frame.drilled.is_none());
    let lines = words::whole(frame, None, None).join("\n");
    assert!(lines.contains("AS PLANNED: arm not level: right end higher by 300 mm"), "{lines}");
}

/// Names and figures that other programs go by.
#[test]
fn programs_find_the_same_names() {
    judged("42", &soundings(frame(3.0, 3.0), [3.0, 2.8]), Vec::new(), None, |s| {
        let value = json::structure(s);
        assert_eq!(value["ready"], "no");
        assert_eq!(value["legs"][1]["proposed"]["what"], "deepen");
        assert!((value["legs"][1]["proposed"]["by_m"].as_f64().unwrap() - 0.1).abs() < 1e-9);
        assert_eq!(value["legs"][1]["hole"]["leg"], "right");
        assert!(value["fit"]["room_m"]["value"].as_f64().unwrap() > 0.3);
        assert_eq!(value["arm_drilled"]["remedy"], "deepen");
    });
}

fn names(value: &serde_json::Value, into: &mut std::collections::BTreeSet<String>) {
    match value {
        serde_json::Value::Object(object) => object.iter().for_each(|(name, value)| {
            into.insert(name.clone());
            names(value, into);
        }),
        serde_json::Value::Array(list) => list.iter().for_each(|value| names(value, into)),
        _ => {}
    }
}

#[test]
fn every_name_that_programs_find_is_in_the_document() {
    let document = include_str!("../../docs/structures.md");
    let spacing = Said::Spacing { to: LegCode::Right, distance_um: 3_800_000, standard_um: 3_000, along: Along::Level };
    let centre = Said::Centre { ahead_um: 0, right_um: 0, standard_um: 5_000 };
    let accepts = Said::Accepted { disposition: Disposition::Stands };
    let more = [spacing, centre, accepts].map(|what| said("42", LegCode::Left, 1, 90, what)).to_vec();
    let mut found = std::collections::BTreeSet::new();
    judged("42", &soundings(frame(3.0, 3.0), [3.0, 2.8]), more, None, |s| names(&json::structure(s), &mut found));
    let lacking: Vec<&String> =
        found.iter().filter(|name| !document.contains(&format!("`{name}`")) && !document.contains(&format!("\"{name}\""))).collect();
    assert!(found.len() > 50 && lacking.is_empty(), "{} found, not in the document: {lacking:?}", found.len());
}
