//! What the paper says its figures are worth: half-widths, both statements, reasons, the budget, the calibrations.

use crate::holes::{Sample, another_tool, good};
use crate::readers::{attachment, lines, read_out, words};
use crate::{certificate, with};
use host_tool::judge::budget::MODEL;
use host_tool::judge::limits::{Governs, Limit, LimitSet, Measurand};
use host_tool::judge::{Judged, judge, judge_by};
use host_tool::paper::attachment::facts_json;
use host_tool::paper::drawing::{Picture, draw};
use host_tool::paper::layout::letters::Letters;
use host_tool::paper::layout::marks::{Frame, Mark, Pen};
use host_tool::paper::layout::pdf::Attachment;
use host_tool::paper::{Hole, PageSize, Printing, hole_certificate};
use serde_json::Value;
use shared_protocol::record::Calibration;
use shared_protocol::state::CalibrationItem;
use shared_protocol::units::Micrometres;

fn text(sample: &Sample) -> String {
    read_out(&certificate(sample, Printing::archive(PageSize::A4)))
}

fn limited(sample: &Sample, limits: &LimitSet) -> Vec<u8> {
    let setup = sample.setup();
    let judged = judge_by(&setup, limits);
    let hole = Hole::of_record(&setup, &judged);
    let facts = Attachment {
        name: "facts.json".to_owned(),
        media_type: "application/json",
        description: "facts".to_owned(),
        data: facts_json(&hole).into_bytes(),
    };
    hole_certificate(&hole, vec![facts], Printing::archive(PageSize::Letter)).expect("a certificate")
}

fn limit(measurand: Measurand, most: f64, written: &str, source: &str) -> Limit {
    Limit { measurand, least: None, most, written: written.to_owned(), source: source.to_owned() }
}

/// By hand, of depth: standard deviations of 1.5 (encoder), 1.5, 4.0, 3.0 / 28 / √3 (what is left of the misclosure, of which
/// 13/14 to all is corrected), 1.0, 4.0 / √3 (slack), 0.5 × 3.187 / √3 (stretch) make 5.26 mm for the cutting edge, and with
/// 12 mm of the floor 13.10 mm; times 1.96 it is 10 and 26 mm.
#[test]
fn the_budget_of_depth_is_the_one_worked_out_by_hand() {
    let lines = lines(&certificate(&good(), Printing::archive(PageSize::A4)));
    for said in [
        "depth of the hole, with its floor 0.013 m – 1.96 ± 0.026 m –",
        "depth of the cutting edge 0.0053 m – 1.96 ± 0.010 m –",
        "Cutting edge 3.184 m ± 0.010 m; read 3.187 m Mean lean 4.1 mm/m ahead, 1.6 mm/m right",
        "encoder's scale depth calibration of 2026-10-24 1.5 mm normal 1.0 same 1.5 mm",
        "stretch and warming depth allowance ± 0.50 mm/m rectangular 3.2 m same 0.92 mm",
        "misclosure on the hub depth correction −2.9 mm ± 0.11 mm rectangular 1.0 varies 0.062 mm",
        // 0.11 of 2.5 mm/m, by arms of 1.52 m and 4.707 m from the guide: √(1.52² + 4.707²) / √3 = 2.86 m
        "wander within the play toe allowance 0.28 mm/m normal 2.9 m varies 0.79 mm",
        // anywhere within 2.5 mm/m over 3.187 m: half of that on each axis
        "play in the guide toe calibration of 2026-10-24 2.5 mm/m disc 3.2 m same 4.0 mm",
    ] {
        assert!(lines.iter().any(|line| line == said), "{said:?} in {lines:?}");
    }
}

/// 3 mm are beyond 2 mm accepted: a blunder is not distributed, and the budget takes what was not corrected.
#[test]
fn a_misclosure_beyond_its_limit_corrects_nothing() {
    let sample = with(|s| s.identity.as_mut().unwrap().misclosure_limit = Micrometres(2_000));
    let pdf = certificate(&sample, Printing::archive(PageSize::A4));
    let lines = lines(&pdf);
    for said in [
        "misclosure on the hub depth touches of the hub ± 3.0 mm rectangular 1.0 varies 1.7 mm",
        "sinking of the rig depth allowance ± 5.0 mm rectangular 1.0 varies 2.9 mm",
    ] {
        assert!(lines.iter().any(|line| line == said), "{said:?} in {lines:?}");
    }
    let text = words(&pdf);
    assert!(text.contains("Depth 3.187 m ±") && !text.contains("as read"), "{text}");
    let facts: Value = serde_json::from_slice(&attachment(&pdf, "facts.json")).expect("JSON");
    assert_eq!(facts["judged"]["depth_correction_m"], Value::Null);
}

/// 1970-01-01 + 20 750 days is 2026-10-24, + 20 932 days 2027-04-24 (`date -d "1970-01-01 + 20750 days"`).
#[test]
fn calibrations_say_who_when_until_when_and_whether_they_held() {
    let held = text(&good());
    for said in [
        "tilt sensor's zero B. Nobody 2026-10-24 2027-04-24 0.30 mm/m 0.41 mm/m held",
        "depth encoder B. Nobody 2026-10-24 2027-04-24 1.5 mm 2.1 mm held",
    ] {
        assert!(held.contains(said), "{said:?} in {held}");
    }
    let none = text(&with(|s| s.stamps = Some(Vec::new())));
    assert!(none.contains("Never calibrated, so that the budget takes an allowance: tilt sensor's zero, its drift"), "{none}");
    assert!(none.contains("allowance: never calibrated"), "{none}");
    let unknown = text(&with(|s| s.stamps = None));
    assert!(unknown.contains("No record of calibrations; the budget takes allowances"), "{unknown}");
}

/// Day 21 014 is 2027-07-15. A rig takes nothing but tools then; whatever a record says is printed all the same.
#[test]
fn what_was_calibrated_while_the_hole_was_open_is_listed() {
    let zero = Calibration { item: CalibrationItem::TiltZero.raw(), ..another_tool() };
    let sample = with(|s| s.calibrated = vec![another_tool(), zero.clone()]);
    let pdf = certificate(&sample, Printing::archive(PageSize::A4));
    let text = read_out(&pdf);
    for said in [
        "Calibrated while the hole was open",
        "tool number 2: 900 mm from pin to cutting edge, cuts 760 mm B. Nobody 2027-07-15 1.0 mm",
        "tilt sensor's zero 2, 900000, 760000 B. Nobody 2027-07-15 1.0 mm/m",
    ] {
        assert!(text.contains(said), "{said:?} in {text}");
    }
    let facts: Value = serde_json::from_slice(&attachment(&pdf, "facts.json")).expect("JSON");
    let listed = &facts["calibrated_meanwhile"];
    assert_eq!(listed.as_array().map(Vec::len), Some(2));
    assert_eq!(
        (&listed[0]["item"]["code"], &listed[0]["values"], &listed[0]["holds_until"], &listed[0]["uncertainty"]),
        (&CalibrationItem::Tool.raw().into(), &[2, 900_000, 760_000].into(), &"2027-07-15".into(), &1_000.into())
    );
    assert!(words(&certificate(&good(), Printing::archive(PageSize::A4))).contains("calibrations meanwhile"), "none is said");
}

/// Expired, beyond the misclosure, not tied: the figure is still compared with its limit, and nothing is shown.
#[test]
fn what_bars_a_statement_is_said_beside_it() {
    let expired = text(&with(|s| s.stamps.iter_mut().flatten().for_each(|stamp| stamp.expires = 20_800)));
    for said in [
        "Measured within. Not shown: the calibration of the encoder expired on 2026-12-13.",
        "Measured within. Not shown: the calibration of the tilt zero expired on 2026-12-13; the calibration of the tool level expired",
        "0.41 mm/m expired",
        "within; not shown",
    ] {
        assert!(expired.contains(said), "{said:?} in {expired}");
    }
    // the hub closes to 3 mm
    let misclosed = text(&with(|s| s.identity.as_mut().unwrap().misclosure_limit = Micrometres(2_000)));
    assert!(misclosed.contains("Not shown: misclosure on the hub is 3 mm, and 2 mm is the most accepted."), "{misclosed}");
    let timeless = text(&with(|s| s.clock = false));
    assert!(
        timeless.contains("Not shown: the time of day is not known, so the calibration of the encoder may have expired."),
        "{timeless}"
    );
}

/// The same in the facts for machines, limit by limit: depth first, then plumb.
#[test]
fn what_is_not_shown_has_its_reason_in_the_facts_too() {
    let expired = |item: CalibrationItem| {
        with(|s| s.stamps.iter_mut().flatten().filter(|stamp| stamp.item == item.raw()).for_each(|stamp| stamp.expires = 20_800))
    };
    let untied = with(|s| (s.restart_after, s.tied_again) = (Some(6), false));
    let misclosed = with(|s| s.identity.as_mut().unwrap().misclosure_limit = Micrometres(2_000));
    let tied = "depth was not tied to the hub at the end";
    let rows: [(&str, Sample, [&[&str]; 2]); 4] = [
        ("encoder", expired(CalibrationItem::Encoder), [&["the calibration of the encoder expired on 2026-12-13"], &[]]),
        ("guide", expired(CalibrationItem::GuidePlay), [&[], &["the calibration of the guide play expired on 2026-12-13"]]),
        ("misclosed", misclosed, [&["misclosure on the hub is 3 mm, and 2 mm is the most accepted"], &[]]),
        ("untied", untied, [&[tied], &[tied]]),
    ];
    for (name, sample, reasons) in rows {
        let pdf = certificate(&sample, Printing::archive(PageSize::A4));
        let facts: Value = serde_json::from_slice(&attachment(&pdf, "facts.json")).expect("JSON");
        for (i, reasons) in reasons.into_iter().enumerate() {
            let verdict = &facts["judged"]["verdicts"][i];
            let shown = if reasons.is_empty() { "shown within" } else { "not shown" };
            assert_eq!((&verdict["guarded"], &verdict["reasons"]), (&shown.into(), &reasons.into()), "{name}, limit {i}");
        }
        let said = reasons.concat();
        assert!(words(&pdf).contains(&format!("Not shown: {}.", said[0])), "{name}");
    }
}

/// By hand: the lean grows to 8.36 mm/m at 3.307 m, so over the last 100 mm it is 8.36 × 3.2625 / 3.307 = 8.2 mm/m.
/// 8.2 ± 5.0 mm/m: shown within 1/48 (1/4 in per ft), over 7 mm/m by 1.2, neither of those two and 1 % shown.
#[test]
fn several_limits_on_one_thing_each_have_both_statements() {
    let limits = LimitSet {
        limits: vec![
            limit(Measurand::OverallLean, 1.0 / 48.0, "1/4 in per ft", "Example county, section 5"),
            limit(Measurand::OverallLean, 0.01, "1 %", "Example owner"),
            limit(Measurand::OverallLean, 0.007, "7 mm/m", "Example owner"),
            limit(Measurand::LeanAnywhere, 0.002, "2 mm/m", "Example owner"),
            limit(Measurand::Toe, 0.05, "50 mm", "Example owner"),
        ],
        governs: Some(Governs::Guarded),
    };
    let text = read_out(&limited(&good(), &limits));
    let reaches = "Not shown, since the 95 % interval reaches over the limit.";
    for said in [
        "limit 1/4 in per ft (up to 20.8 mm/m), source: Example county, section 5. Measured within. Shown within.".to_owned(),
        format!("limit 1 % (up to 10.0 mm/m), source: Example owner. Measured within. {reaches}"),
        format!("limit 7 mm/m (up to 7.0 mm/m), source: Example owner. Measured outside, by 1.2 mm/m. {reaches}"),
        "Lean along the hole 8.2 mm/m ± 2.6 mm/m at most, over any 100 mm; limit 2 mm/m (up to 2.0 mm/m), source: Example owner. \
         Measured outside, by 6.2 mm/m. Shown outside."
            .to_owned(),
        "Toe's distance 26 mm ± 16 mm off the vertical through the hole's start; limit 50 mm (up to 50 mm), source: Example owner. \
         Measured within. Shown within."
            .to_owned(),
        "By the limit set the second of them decides.".to_owned(),
    ] {
        assert!(text.contains(&said), "{said:?} in {text}");
    }
}

/// The attached facts hold what was judged, in metres, to the last digit.
#[test]
fn the_attached_facts_carry_verdicts_budgets_and_calibrations() {
    let limits = LimitSet { limits: vec![limit(Measurand::Toe, 0.05, "50 mm", "\"Example\"\n")], governs: Some(Governs::Plain) };
    let facts: Value = serde_json::from_slice(&attachment(&limited(&good(), &limits), "facts.json")).expect("JSON");
    let judged: Judged = judge_by(&good().setup(), &limits);
    let (verdicts, budgets) = (&facts["judged"]["verdicts"], &facts["judged"]["budgets"]);
    assert_eq!(verdicts.as_array().map(Vec::len), Some(3));
    for (attached, verdict) in verdicts.as_array().unwrap().iter().zip(&judged.verdicts) {
        let figure = verdict.measured.expect("a figure");
        assert_eq!((attached["measured"].as_f64(), attached["uncertainty_95"].as_f64()), (Some(figure.value), Some(figure.expanded)));
        assert_eq!((&attached["plain"], &attached["guarded"]), (&"within".into(), &"shown within".into()));
    }
    assert_eq!((&verdicts[2]["source"], &facts["judged"]["governing_statement"]), (&"\"Example\"\n".into(), &"plain".into()));
    let of_depth = &judged.budgets.as_ref().unwrap().depth;
    assert_eq!(budgets[0]["uncertainty_95"].as_f64(), Some(of_depth.expanded));
    assert_eq!(budgets[0]["sources"].as_array().map(Vec::len), Some(of_depth.rows.len()));
    let squares: f64 = budgets[0]["sources"].as_array().unwrap().iter().map(|s| s["contributes_standard"].as_f64().unwrap().powi(2)).sum();
    assert!((squares.sqrt() - budgets[0]["standard"].as_f64().unwrap()).abs() < 1e-9, "the sources make the result");
    assert_eq!(
        (facts["calibrations"][4]["holds_until"].as_str(), facts["calibrations"][4]["uncertainty"].as_u64()),
        (Some("2027-04-24"), Some(1_500))
    );
}

/// In the plan: a circle of the 95 % radius about the toe, a line by either model, all at the drawing's sideways scale.
#[test]
fn the_plan_holds_both_models_and_the_circle_to_scale() {
    let setup = good().setup();
    let judged = judge(&setup);
    let hole = Hole::of_record(&setup, &judged);
    let frame = Frame { x: 50.0, y: 100.0, width: 512.0, height: 450.0 };
    let scale = Picture::new(&hole, frame).sideways;
    let marks = draw(&mut Letters::new(), frame, &hole);
    let middle = marks.iter().find_map(|m| if let Mark::Circle(at, 2.0, ..) = m { Some(*at) } else { None }).expect("the plan's middle");
    let circles = marks.iter().filter_map(|m| if let Mark::Within(_, inner) = m { Some(inner) } else { None }).flatten();
    let mut large = circles.filter_map(|m| if let Mark::Circle(at, r, Some(Pen::Fine), None) = m { Some((*at, *r)) } else { None });
    let (at, radius) = large.next_back().expect("the circle");
    let toe = judged.toe.unwrap();
    assert!((radius - judged.budgets.as_ref().unwrap().place.expanded * scale).abs() < 0.01, "{radius}");
    assert!((at.0 - middle.0 - toe.right * scale).abs() < 0.01 && (middle.1 - at.1 - toe.ahead * scale).abs() < 0.01, "{at:?}");
    let last = judged.axis.last().unwrap();
    for model in [last.stick, last.wall] {
        let end = (middle.0 + model.right * scale, middle.1 - model.ahead * scale);
        let near = |p: &(f64, f64)| (p.0 - end.0).hypot(p.1 - end.1) < 0.01;
        assert!(marks.iter().any(|m| matches!(m, Mark::Line(points, Pen::Fine, _) if points.last().is_some_and(near))), "{model:?}");
    }
}

/// By hand: half of what the models differ by, 12.3 mm by √3, play 4.0, tool against mast 1.6, settling 1.7, the zero
/// 1.0, bending 0.9 and wander 0.8 mm make 8.6 mm.
#[test]
fn a_dominant_bounded_source_is_named() {
    let text = text(&good());
    assert!(text.contains(&format!("toe's distance off the vertical 8.6 mm over 1000 1.84 ± 16 mm {MODEL}")), "{text}");
}
