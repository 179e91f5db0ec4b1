//! The operator at work in the world, without a rig: what is drilled, in which order, and what is asked for.

use super::*;
use crate::scenario::{FAULT_PARADE, STILL_HOLE, TWO_POLE};

/// Works a scenario to its end, doing each cue `delay_ms` after it is given; returns cues with the tip's height then.
fn work(text: &str, delay_ms: u64, mut each: impl FnMut(&mut Operator, &mut World)) -> (World, Operator, Vec<(Cue, f64)>) {
    let scenario = Scenario::parse("test", text).unwrap();
    let mut world = World::new(&scenario, scenario.seed).unwrap();
    let mut operator = Operator::new(&scenario).unwrap();
    let (mut cues, mut done_at) = (Vec::new(), None);
    for _ in 0..3_600_000 {
        operator.step(&mut world);
        operator.happenings(&world);
        world.step();
        if let Some(cue) = operator.take_cue() {
            cues.push((cue, world.tip_mm()));
            done_at = Some(world.now().plus_ms(delay_ms));
        }
        if done_at.is_some_and(|at| world.now() >= at) {
            done_at = None;
            operator.cue_done();
        }
        each(&mut operator, &mut world);
        if !matches!(operator.progress(), Progress::Working(_)) {
            break;
        }
    }
    (world, operator, cues)
}

#[test]
fn both_holes_are_drilled_to_plan_and_past_it() {
    let (world, operator, cues) = work(TWO_POLE, 100, |_, _| {});
    assert_eq!(operator.progress(), Progress::Finished);
    let truth = world.truth();
    let bottoms: Vec<(f64, f64)> = truth.iter().map(|t| (t.cut_mm, t.held_mm)).collect();
    // planned 3120 + 85 above the datum + 25 past; 3270 - 20 + 15
    assert_eq!(bottoms, [(3_230.0, 3_230.0), (3_265.0, 3_265.0)]);
    let names: Vec<String> = cues.iter().map(|(cue, _)| cue.to_string().split(':').next().unwrap().to_string()).collect();
    let hole = |note: &str| ["load hole", "touch hub", note, "touch hub", "close hole"].map(String::from);
    assert_eq!(names, [hole("note by Sim. Ground hand"), hole("note by Sim. Ground hand")].concat());
    assert!(cues.iter().filter(|(cue, _)| *cue == Cue::TouchHub).all(|(_, tip)| *tip == 0.0));
    let minutes = world.now().seconds() / 60.0;
    assert!((10.0..40.0).contains(&minutes), "two holes took {minutes} minutes");
}

#[test]
fn the_true_axis_follows_the_lean_that_the_mast_had() {
    let (world, _, _) = work(STILL_HOLE, 100, |_, _| {});
    let truth = &world.truth()[0];
    let (mean, toe) = (truth.mean_lean().unwrap(), truth.toe_mm().unwrap());
    assert!((mean.forward - 12.0).abs() < 1e-9 && (mean.right + 5.0).abs() < 1e-9);
    assert!((toe.forward - 12.0 * 0.600).abs() < 1e-9 && (toe.right + 5.0 * 0.600).abs() < 1e-9, "{toe:?}");
}

#[test]
fn the_tool_comes_out_of_the_ground_between_passes_and_finds_fall_in() {
    let (mut out, mut above, mut tags) = (0, true, Vec::new());
    work(STILL_HOLE, 100, |_, world| {
        let now_above = world.place() != Some(Place::Hole) || world.tip_mm() < 0.0;
        out += u32::from(now_above && !above);
        above = now_above;
        if world.turning && world.place() == Some(Place::Hole) && world.floor_mm() < world.hole().cut_mm - 5.0 {
            tags.push(world.hole().cut_mm - world.floor_mm());
        }
    });
    assert_eq!(out, 3); // 600 mm in bites of 220
    let most = tags.iter().copied().fold(0.0, f64::max);
    assert!((11.0..=12.0).contains(&most), "fall-in of 12 mm, found {most}");
}

#[test]
fn an_operator_who_is_not_answered_gives_up_and_says_what_for() {
    let (world, operator, cues) = work(&STILL_HOLE.replace("bite_mm = 220", "patience_s = 5"), 60_000, |_, _| {});
    assert_eq!(operator.progress(), Progress::GaveUp(cues[0].0.clone()));
    assert!((5.0..5.1).contains(&world.now().seconds()) && cues.len() == 1);
}

#[test]
fn a_power_cut_in_the_bore_sends_the_tip_to_the_hub_before_work_goes_on() {
    let mut cut = None;
    let (world, operator, cues) = work(STILL_HOLE, 100, |operator, world| {
        if cut.is_none() && world.hole().cut_mm > 400.0 {
            cut = Some(world.now());
            operator.power(false);
        }
        if cut.is_some_and(|at| world.now() == at.plus_ms(5_000)) {
            assert!(world.hole().cut_mm < 405.0, "nobody drills without a rig");
            operator.power(true);
        }
    });
    assert_eq!((operator.progress(), world.truth()[0].held_mm), (Progress::Finished, 630.0));
    assert_eq!(cues.iter().filter(|(cue, _)| *cue == Cue::TouchHub).count(), 3);
}

#[test]
fn a_power_cut_on_the_way_from_the_hub_to_the_hole_sends_the_tip_to_the_hub_again() {
    let mut cut = false;
    let (world, operator, cues) = work(STILL_HOLE, 100, |operator, world| {
        if !cut && operator.stage == Stage::Open && matches!(operator.acts.front(), Some(Act::Slew(Place::Hole))) {
            cut = true;
            assert_eq!(world.hole().cut_mm, 30.0);
            operator.power(false);
            operator.power(true);
        }
    });
    assert_eq!((operator.progress(), world.truth()[0].held_mm, cut), (Progress::Finished, 630.0, true));
    let names: Vec<String> = cues.iter().map(|(cue, _)| cue.to_string().split(':').next().unwrap().to_string()).collect();
    assert_eq!(names, ["load hole", "touch hub", "touch hub", "touch hub", "close hole"]);
}

#[test]
fn a_cue_that_a_power_cut_swallowed_is_given_again() {
    let mut cut = false;
    let (_, operator, cues) = work(STILL_HOLE, 5_000, |operator, world| {
        if !cut && world.now().ms() == 1_000 {
            cut = true;
            operator.power(false);
            operator.power(true);
        }
    });
    assert_eq!(operator.progress(), Progress::Finished);
    assert_eq!(cues.iter().filter(|(cue, _)| matches!(cue, Cue::LoadHole(_))).count(), 2);
}

#[test]
fn a_note_that_comes_while_a_cue_is_seen_to_waits_its_turn() {
    let mut noted = false;
    let (_, operator, cues) = work(STILL_HOLE, 2_000, |operator, _| {
        if !noted && operator.act_since.is_some() && matches!(operator.acts.front(), Some(Act::Say(Cue::TouchHub))) {
            noted = true;
            operator.interrupt(Act::Say(Cue::Note { author: "A".into(), text: "b".into() }));
        }
    });
    let names: Vec<String> = cues.iter().map(|(cue, _)| cue.to_string().split(':').next().unwrap().to_string()).collect();
    assert_eq!(names, ["load hole", "touch hub", "note by A", "touch hub", "close hole"]);
    assert_eq!(operator.progress(), Progress::Finished);
}

#[test]
fn a_wider_tool_reams_the_hole_from_the_top() {
    let event = "event = [{ at_mm = 400, what = { change-tool = { tool = 1 } } }]\nlean = [";
    let (world, operator, cues) = work(&STILL_HOLE.replace("lean = [", event), 100, |_, _| {});
    assert_eq!((operator.progress(), world.tool()), (Progress::Finished, 1));
    assert_eq!(world.truth()[0].cut_mm, 630.0);
    assert!(cues.iter().any(|(cue, tip)| *cue == Cue::ChangeTool(1) && *tip < -400.0));
}

#[test]
fn the_next_hole_begins_with_the_sheets_tool_again() {
    let event = "event = [{ at_mm = 3000, what = { change-tool = { tool = 3 } } },";
    let (world, operator, _) = work(&TWO_POLE.replacen("event = [", event, 1), 100, |_, _| {});
    assert_eq!((operator.progress(), world.tool()), (Progress::Finished, 1));
    assert_eq!(world.truth().iter().map(|t| t.held_mm).collect::<Vec<_>>(), [3_230.0, 3_265.0]);
}

#[test]
fn every_event_of_the_parade_happens_once() {
    let scenario = Scenario::parse("parade", FAULT_PARADE).unwrap();
    let mut world = World::new(&scenario, 1).unwrap();
    let mut operator = Operator::new(&scenario).unwrap();
    let mut happened = Vec::new();
    while matches!(operator.progress(), Progress::Working(_)) && world.now().seconds() < 3_600.0 {
        operator.step(&mut world);
        happened.extend(operator.happenings(&world));
        world.step();
        if operator.take_cue().is_some() {
            operator.cue_done();
        }
    }
    let wanted: Vec<Happening> = scenario.hole[0].event.iter().map(|e| e.what.clone()).collect();
    assert_eq!(happened, wanted);
}
