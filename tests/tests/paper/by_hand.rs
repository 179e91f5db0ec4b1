//! What people measured by hand and what they said of slow going, on paper and in the attached facts.

use crate::holes::{Sample, good, good_feet, measured};
use crate::readers::{attachment, lines, read_out, words};
use crate::{certificate, letter, summary, with};
use host_tool::judge::judge;
use host_tool::paper::drawing::{Picture, draw};
use host_tool::paper::layout::letters::Letters;
use host_tool::paper::layout::marks::{Frame, Mark, Pen};
use host_tool::paper::{Hole, PageSize, Printing};
use serde_json::Value;

fn text(sample: &Sample) -> String {
    read_out(&certificate(sample, Printing::archive(PageSize::A4)))
}

fn facts(sample: &Sample) -> Value {
    serde_json::from_slice(&attachment(&letter(sample), "facts.json")).expect("JSON")
}

/// By hand: 3.16, 3.14, 3.18, 3.17 and 3.15 m have the mean 3.160 m and the deviation 15.8 mm, 7.1 mm of the mean, 4 degrees
/// of freedom; with 5 mm of tape 8.7 mm, and 4 × 1.5² = 9 degrees, whose t is 2.26; times that it is 20 mm.
#[test]
fn soundings_stand_as_entered_and_their_mean_is_the_depth() {
    let text = text(&measured());
    for said in [
        "3.160 m ± 0.020 m by soundings, below original ground at the pole's low side; limit 3.100 to 3.250 m",
        "5 soundings of the floor. Their mean, 3.160 m ± 0.020 m, is the hole's depth; the cutting edge came to 3.184 m ± 0.010 m, and the \
         floor is 24 mm higher.",
        "as drilled 3.160 m, by soundings",
        "cutting edge 3.184 m",
        "centre 3.160 m ± 10 mm G. Nobody, 2027-01-15T02:00:00-07:00; divot of the pilot left out",
        "edge, 500 mm back 3.180 m ± 10 mm G. Nobody, 2027-01-15T02:00:00-07:00",
        "200 mm ahead, 100 mm left 3.150 m ± 10 mm",
    ] {
        assert!(text.contains(said), "{said:?} in {text}");
    }
    let rows = lines(&letter(&measured()));
    for row in [
        "depth of the hole, by soundings 0.0087 m 9 2.26 ± 0.020 m",
        "the same by the rig, with the floor 0.013 m – 1.96 ± 0.026 m",
        "tape, line and reading soundings as entered 5.0 mm normal 1.0 same 5.0 mm",
        "floor that is not flat soundings scatter of 5 over √5 7.1 mm normal, ν 4 1.0 varies 7.1 mm",
    ] {
        assert!(rows.iter().any(|line| line.starts_with(row)), "{row:?} in {rows:?}");
    }
    let two = words(&summary(&[measured(), good()], Printing::archive(PageSize::A4)));
    assert!(two.contains("3.160 m, by soundings") && two.contains("3.184 m, by the cutting edge"), "{two}");
}

/// By hand, at 1.600 m, 1.72 m below the hub: the lean ahead grows to 3.98 mm/m over the last 100 mm, the stick's toe is
/// 3.125 m × 3.98 less 1.52 m × 0.15, 12.2 mm, the wall-guided one 7.8 / 3.307 × (1.72² − 0.12²) / 2, 3.5 mm; the middle
/// 7.8 mm ahead, and by 3.0 / 7.8 of it 3.0 mm right. The bob hung at 5 and 10: 7.5 mm off. Its circle is 2.448 × 3 mm.
#[test]
fn a_hand_plumb_stands_beside_the_axis_of_its_depth() {
    let lines = lines(&letter(&measured()));
    let together = lines.join(" ");
    for said in [
        "Of 3 hand plumbs 1 agreed with the rig's axis, 1 where it does not reach; at 3.000 m it is 78 mm off, beyond the 18 mm of both",
        "Crosses: hand plumbs.",
        "A difference beyond it says that one of the two is wrong.",
    ] {
        assert!(together.contains(said), "{said:?} in {together}");
    }
    let facts = facts(&measured());
    let plumbs = &facts["judged"]["hand_plumbs"];
    let near = |value: &Value, want: f64| (value.as_f64().expect("a figure") - want).abs() < 0.000_3;
    assert!(near(&plumbs[0]["axis_ahead_m"], 0.007_8) && near(&plumbs[0]["axis_right_m"], 0.003_0), "{plumbs}");
    assert!(near(&plumbs[0]["difference_m"], 0.007_5) && near(&plumbs[0]["radius_95_m"], 0.007_34), "{plumbs}");
    let within = [0, 1, 2].map(|i| plumbs[i]["within_both"].as_bool());
    assert_eq!(within, [Some(true), Some(false), None]);
    assert_eq!(plumbs[2]["axis_ahead_m"], Value::Null);
    for cell in ["11 mm: agrees", "does not reach", "18 mm: does"] {
        assert!(lines.iter().any(|line| line.contains(cell)), "{cell:?} in {lines:?}");
    }
}

#[test]
fn the_facts_carry_what_was_entered() {
    let facts = facts(&measured());
    let entered = &facts["measured_by_hand"];
    assert_eq!(entered.as_array().map(Vec::len), Some(8));
    assert_eq!((&entered[0]["kind"], &entered[0]["who"]), (&"sounding".into(), &"G. Nobody".into()));
    assert_eq!((entered[0]["depth_m"].as_f64(), entered[0]["standard_uncertainty_m"].as_f64()), (Some(3.16), Some(0.005)));
    assert_eq!((&entered[6]["kind"], &entered[6]["remark"]), (&"hand plumb".into(), &"bob may have hung on a root".into()));
    assert_eq!(entered[6]["entered"], "2027-01-15T02:00:00-07:00");
    let budget = &facts["judged"]["budgets"][0];
    assert_eq!(budget["of"], "depth of the hole by soundings");
    assert_eq!(budget["uncertainty_95"], facts["judged"]["soundings"]["uncertainty_95_m"]);
    assert_eq!(facts["judged"]["verdicts"][0]["uncertainty_95"], budget["uncertainty_95"]);
}

/// What the rig's depth lacks does not touch a tape.
#[test]
fn soundings_show_depth_where_the_rig_cannot() {
    let untied = Sample { restart_after: Some(6), tied_again: false, ..measured() };
    let expired = || {
        let mut sample = measured();
        sample.stamps.iter_mut().flatten().for_each(|stamp| stamp.expires = 20_800);
        sample
    };
    for sample in [untied, expired()] {
        let text = text(&sample);
        assert!(text.contains("3.160 m ± 0.020 m by soundings, below original ground at the pole's low side; limit 3.100 to 3.250 m, source: plan as loaded into the rig. Measured within. Shown within."), "{text}");
        assert!(text.contains("Not shown: "), "lean and toe are not sounded: {text}");
    }
    let nothing = certificate(&Sample { increments: false, passes: 1, closed: false, ..measured() }, Printing::archive(PageSize::A4));
    let nothing = read_out(&nothing);
    assert!(nothing.contains("0.0087 m 9 2.26 ± 0.020 m") && nothing.contains("3.160 m, by soundings"), "{nothing}");
}

/// One of three does not agree with the axis, and one where there is none has nothing to say.
#[test]
fn a_hand_plumb_against_the_axis_bars_lean_and_not_depth() {
    let why = "one of 3 hand plumbs does not agree with the rig's axis, so plumb the hole again";
    let mut against = measured();
    assert!(text(&against).contains(&format!("Measured within. Not shown: {why}.")));
    let verdicts = &facts(&against)["judged"]["verdicts"];
    assert_eq!((&verdicts[0]["guarded"], &verdicts[1]["guarded"]), (&"shown within".into(), &"not shown".into()), "{verdicts}");
    assert_eq!(verdicts[1]["reasons"], Value::from([why].as_slice()));
    against.measurements.retain(|m| m.remark != "bob may have hung on a root");
    let verdicts = &facts(&against)["judged"]["verdicts"];
    assert_eq!((&verdicts[1]["guarded"], &verdicts[1]["reasons"]), (&"shown within".into(), &Value::Array(Vec::new())), "{verdicts}");
}

/// The crosses of the bob at 1.600 m, 10 mm right and 5 mm ahead, in both elevations.
#[test]
fn the_drawing_shows_the_floor_that_was_sounded_and_where_the_bob_hung() {
    let setup = measured().setup();
    let judged = judge(&setup);
    let hole = Hole::of_record(&setup, &judged);
    let frame = Frame { x: 50.0, y: 100.0, width: 512.0, height: 450.0 };
    let picture = Picture::new(&hole, frame);
    let marks = draw(&mut Letters::new(), frame, &hole);
    let views: Vec<_> = marks.iter().filter_map(|m| if let Mark::Within(at, inner) = m { Some((at, inner)) } else { None }).collect();
    let lines = |inner: &[Mark], pen: Pen| -> Vec<Vec<(f64, f64)>> {
        inner
            .iter()
            .filter_map(|m| if let Mark::Line(points, with, _) = m { (*with == pen).then(|| points.clone()) } else { None })
            .collect()
    };
    let (floor, edge, bob) = (picture.depth.y(3.160), picture.depth.y(judged.depth.expect("tied")), picture.depth.y(1.6));
    let mut found = Vec::new();
    for (at, inner) in views {
        let level = |pen, y: f64| lines(inner, pen).iter().any(|l| l.len() == 2 && l.iter().all(|p| (p.1 - y).abs() < 0.01));
        if level(Pen::Strong, floor) {
            assert!(level(Pen::Dashed, edge) && !level(Pen::Strong, edge), "the cutting edge is the lesser line");
            let middle = at.x + at.width / 2.0;
            let cross = lines(inner, Pen::Fine)
                .into_iter()
                .find(|l| l.len() == 2 && l[0].0 != l[1].0 && (l[0].1 + l[1].1 - 2.0 * bob).abs() < 0.01);
            let cross = cross.expect("a cross");
            found.push(((cross[0].0 + cross[1].0) / 2.0 - middle) / picture.sideways);
        }
    }
    assert!(found.len() == 2 && (found[0] - 0.010).abs() < 1e-6 && (found[1] - 0.005).abs() < 1e-6, "{found:?}");
}

/// 100 µm/s for an hour are 0.36 m, 14.17 in.
#[test]
fn slow_going_and_the_operators_answer_are_printed() {
    for (answer, said) in [(true, "refusal"), (false, "no refusal")] {
        let sample = with(|s| s.slow = Some(answer));
        let lines = lines(&letter(&sample));
        let row = |text: &str| lines.iter().any(|line| line.ends_with(text));
        assert!(row("3.180 m slow, 0.360 m an hour of cutting –"), "{lines:?}");
        assert!(row(&format!("3.180 m – {said}")), "{lines:?}");
        let refusals = &facts(&sample)["refusals"];
        assert_eq!((&refusals[0]["said"], refusals[0]["below_hub_m"].as_f64()), (&said.into(), Some(3.3)));
    }
    let feet = words(&letter(&Sample { slow: Some(true), ..good_feet() }));
    assert!(feet.contains("slow, 1 ft 2 1/8 in an hour of cutting"), "{feet}");
    let none = words(&letter(&good()));
    assert!(none.contains("None recorded soundings, hand plumbs, slow going and refusal, "), "{none}");
}
