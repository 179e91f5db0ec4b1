//! Every field that a certificate must have is on paper, of a hole of which everything is known and of one of which nothing is.

use crate::holes::{Sample, good, worst};
use crate::readers::{fields, pages, read_out};
use crate::{SIZES, letter, samples, with, works};
use host_tool::paper::{PageSize, Printing};
use std::collections::BTreeMap;

type Fields = BTreeMap<String, String>;

fn full() -> Vec<u8> {
    works::certificate(&works::full(false), 0, Printing::archive(PageSize::A4))
}

fn nothing() -> Vec<u8> {
    letter(&with(|s| {
        (s.increments, s.passes, s.clock, s.closed, s.identity, s.stamps) = (false, 1, false, false, None, None);
        s.plan.line = "".try_into().unwrap();
        s.plan.operator = "".try_into().unwrap();
    }))
}

fn field<'a>(of: &'a Fields, name: &str) -> &'a str {
    of.get(name).unwrap_or_else(|| panic!("{name} in {:?}", of.keys()))
}

/// What the design asks of a hole's paper (§7), field by field: its name on paper, what it says of the full hole, and of the
/// other. By hand: soundings of 3.165, 3.190 and 3.180 m have the mean 3.178 m, and 812.400 m less that is 809.222 m; 12 and 8 mm off
/// the stake are 14.4 mm; 1.4 m round are 446 mm across; the bore is 1.112 m wide as measured, π/4 × 1.112² × 3.178 = 3.09 m³.
const FIELDS: &[(&str, &str, &str)] = &[
    // project, structure, leg, attempt
    ("Project, line", "Example Line 7", "–"),
    ("Structure, leg", "K-41, left leg; attempt 1, set-up 1", "K-41, left leg; attempt 1, set-up 1"),
    ("Station", "12+34, 0 mm right of the line; 47.25° N, 109.5° W", "not on record"),
    // rig, operator, instrument and firmware identity, calibration and its date
    ("Rig, operator", "SIM-PAPER-1, SIMULATED: no hole was drilled; firmware 0.1.0; operator A. Nobody", "record missing, not known"),
    ("Calibrations", "6 of 6 held, of 2026-10-24; see annex", "no record of them"),
    // hub tie, misclosure
    ("Hub", "Touched twice; largest misclosure 3 mm, and 10 mm is the most accepted.", "Touched"),
    // against plan
    (
        "Depth",
        "3.178 m ± 0.024 m by soundings, below original ground at the pole's low side; limit 3.100 to 3.250 m",
        "Not known, since no",
    ),
    ("Plumb", "8.2 mm/m ± 5.0 mm/m over the whole hole (toe over depth); limit up to 20.0 mm/m, source: plan", "Not known, since no"),
    ("Toe", "26 mm ± 16 mm off the vertical through the hole's start: 24 mm ahead, 9 mm right, within 17 mm", "Not known, since no"),
    // soundings and plumbs
    ("By hand", "3 soundings of the floor. Their mean, 3.178 m ± 0.024 m, is the hole's depth", "Nothing was sounded or plumbed by hand."),
    // times, and which clock
    ("Excavated", "begun 2027-01-15T01:00:00-07:00, done 2027-01-15T01:12:10-07:00", "begun time unknown (start 7,"),
    ("Clock", "rig's own, set by the host's", "time unknown: nobody told the rig"),
    // refusal, water, fall-in, casing, unusual conditions
    (
        "Rock, refusal",
        "rock, not shot, from 2.6 m down, soft (G. Nobody, 01:47); no refusal at 3.180 m, says A. Nobody",
        "rock: none recorded",
    ),
    ("Water, seepage", "water from 2.100 m on, slowly, from the uphill side (G. Nobody, 01:45)", "nobody recorded any"),
    ("Fall-in", "fall-in, gravel, north side (G. Nobody, 01:48)", "none recorded by rig or people"),
    ("Casing", "casing, left in, steel, 1.2 m long (G. Nobody, 01:49)", "N/A: none recorded, none left in"),
    ("Unusual", "none recorded", "none recorded"),
    ("Kind of ground", "rock; above it nobody recorded it", "nobody recorded it"),
    // gaps and quality
    ("Record", "184 slots in hand, 1042 to 1225, none missing; the rig's digest fits them; sealed by", "slots in hand"),
    // fit and room, volumes, pole
    (
        "Pole",
        "Fits, with 303 mm ± 22 mm of room all round, where the frame stands 10 mm ahead, 4 mm right; 293 mm at the stake",
        "Not known whether it fits",
    ),
    ("Pole, tag", "21.336 m long, class 1, southern pine, tag T-3001", "not recorded: no sheet"),
    ("Butt", "1.400 m round, 446 mm across; butt taped", "not recorded: no sheet"),
    ("Depth set by", "table, sheet row 2", "plan as loaded into the rig"),
    ("Room", "at the best place, ", "not known: no structure sheet on record plans this hole"),
    ("Embedment", "3.178 m ± 0.024 m; pole not yet set", "not known: nor is the depth"),
    ("Arm", "arm not shown to be out of level: left end higher by 2 mm", "N/A: one pole"),
    ("Volumes", "hole 3.09 m³ ± ", "not known"),
    // ticket, state, remarks, decision
    ("Locate ticket", "L-6101 from 2027-01-10 until 2027-02-09; valid when it was loaded (A. Nobody, 00:50)", "not recorded"),
    (
        "State",
        "drilled 01:12; attended 01:16 by F. Nobody; covered 01:51 by F. Nobody (plank, pinned, marked HOLE); fenced 01:52 by F. Nobody",
        "drilling begun, not closed; nobody recorded how it was kept since: attended, guarded, covered or fenced –",
    ),
    ("Remarks", "sheet: SIMULATED example; F. Nobody, 01:50: old fence post beside the stake taken out", "–"),
    ("Decision", "“stands” by E. Nobody, 03:00: rock from 2.6 m on, at full depth all the same", "none on record"),
    ("Other work", "no other set-up or attempt", "no other set-up or attempt"),
    // who measured, who reviewed, both dated; revision and what it supersedes
    ("Measured by", "A. Nobody with rig SIM-PAPER-1 (SIMULATED), 2027-01-15T01:12:10-07:00; by hand G. Nobody (4", "operator not named"),
    ("Accepted", "“stands” by E. Nobody, 2027-01-15T03:00:00-07:00: rock from 2.6 m on", "By nobody yet"),
    ("Reviewed by", "–", "–"),
    ("Revision", "–; supersedes nothing", "–; supersedes nothing"),
    // digest, signatures, how to verify
    ("Digest by the rig", "", "none"),
    ("To check", "by hand: facts.json, attached, has the sums of slots.bin, and what is signed.", "borewitness verify, on this file"),
    // a wrong entry legible with the right one beside it
    (
        "Corrections",
        "sounded 3.810 m ±10 mm (entry 7-6, by G. Nobody) corrected to sounded 3.180 m ±10 mm (entry 7-7, by G. Nobody)",
        "none: no entry was corrected",
    ),
];

#[test]
fn every_field_says_what_is_known_or_that_nobody_recorded_it() {
    let (full, nothing) = (fields(&full()), fields(&nothing()));
    for (name, known, unknown) in FIELDS {
        let said = field(&full, name);
        assert!(said.contains(known), "{name}: {known:?} in {said:?}");
        let said = field(&nothing, name);
        assert!(said.contains(unknown), "{name} of nothing: {unknown:?} in {said:?}");
    }
    for (name, said) in full.iter().chain(&nothing) {
        assert!(!said.trim().is_empty(), "{name} is empty");
    }
}

/// Plan against as drilled: planned, as drilled with its uncertainty, variation, limit by its source, both statements.
#[test]
fn the_table_has_variation_limit_source_and_both_statements_of_each() {
    let text = read_out(&full());
    for row in [
        "Item Planned As drilled, ± 95 % Variation Limit Measured; shown",
        "Depth of the hole 3.200 m 3.178 m ± 0.024 m −22 mm 3.100 to 3.250 m [1] within; shown within",
        "Plumb, toe/depth 0.0 mm/m 8.2 mm/m ± 5.0 mm/m +8.2 mm/m up to 20.0 mm/m [1] within; shown within",
        "Centre off stake 0 mm 14.4 mm ± 9.8 mm; 12 mm ahead, 8 mm right +14 mm up to 75 mm [2] within; shown within",
        "Toe, as a place 0 mm 24 mm ahead, 9 mm right; ± 17 mm as drilled none –",
        "Diameter 1.100 m tool's 1.100 m, 1.112 m ± 10 mm at 1.000 m 0 mm none –",
        "Limits set by: [1] plan as loaded into the rig; [2] structure sheet, row 2; [3] structure sheet, row 3.",
    ] {
        assert!(text.contains(row), "{row:?} in {text}");
    }
    let none = read_out(&nothing());
    for row in ["Depth of the hole 3.200 m not known –", "Centre off stake 0 mm not measured – none –", "Diameter 1.100 m tool's"] {
        assert!(none.contains(row), "{row:?} in {none}");
    }
}

/// The certified report of Maryland SHA 412.03.02 (check values, 2.2, SEEN), field by field, each as this paper calls it.
#[test]
fn the_published_agency_form_has_its_fields_here() {
    let form = [
        ("top and bottom elevations", "Elevations", "top 812.400 m, bottom 809.222 m"),
        ("final centre-line location at top", "Centre off stake", "14.4 mm ± 9.8 mm; 12 mm ahead, 8 mm right"),
        ("variation from plumb", "Plumb, toe/depth", "+8.2 mm/m"),
        ("test results", "Tests", "N/A: none recorded"),
        ("levelness of bottom", "Bottom", "as drilled 3.178 m, by soundings; level within 25 mm by 3 soundings"),
        ("seepage", "Water, seepage", "water from 2.100 m on"),
        ("casing left in place", "Casing", "casing, left in, steel"),
        ("unusual conditions", "Unusual", "none recorded"),
        ("variation of dimensions from planned", "Diameter", "tool's 1.100 m, 1.112 m ± 10 mm at 1.000 m 0 mm"),
        ("start and completion dates of excavation", "Excavated", "begun 2027-01-15T01:00:00-07:00, done 2027-01-15T01:12:10-07:00"),
    ];
    let (full, nothing) = (read_out(&full()), read_out(&nothing()));
    for (asked, name, said) in form {
        let here = full
            .split(&format!(" {name} "))
            .skip(1)
            .any(|after| after.split_at(90.min(after.len())).0.contains(said.split(' ').next().unwrap_or(said)));
        assert!(here && full.contains(said), "{asked}: {name} {said:?} in {full}");
        assert!(nothing.contains(&format!(" {name} ")), "{asked}: {name} in {nothing}");
    }
    for empty in ["Elevations not recorded", "Bottom no bottom recorded; levelness not measured", "Tests N/A"] {
        assert!(nothing.contains(empty), "{empty:?} in {nothing}");
    }
}

/// What somebody who sees it first looks for, on the first page.
#[test]
fn the_first_page_answers_what_everybody_asks() {
    let asked = ["Depth", "Plumb", "Pole", "Accepted", "Measured by", "Reviewed by", "Revision"];
    let mut all: Vec<(String, Vec<u8>)> = samples().iter().map(|(name, sample)| ((*name).to_owned(), letter(sample))).collect();
    for (feet, n, size) in [(false, 0, PageSize::A4), (true, 1, PageSize::Letter)] {
        all.push((format!("works, feet {feet}, {n}"), works::certificate(&works::full(feet), n, Printing::archive(size))));
    }
    for (name, pdf) in all {
        let first = pages(&pdf).remove(0);
        let begins = |label: &str| first.lines().any(|line| line.trim_start().starts_with(label));
        for label in asked {
            assert!(begins(label), "{name}: {label} in {first}");
        }
        let real = first.contains("RIG NOT IDENTIFIED") || first.contains("SIMULATED");
        assert!(real, "{name}: {first}");
    }
    let real = pages(&letter(&with(|s| s.identity.as_mut().unwrap().simulated = false))).remove(0);
    assert!(real.contains("(not simulated)"), "{real}");
}

#[test]
fn two_pages_and_an_annex() {
    let begins = |pdf: &[u8]| pages(pdf).iter().position(|page| page.contains("Annex to the as-drilled certificate of"));
    for size in SIZES {
        for feet in [false, true] {
            let works = works::full(feet);
            for n in [0, 1] {
                let pdf = works::certificate(&works, n, Printing::archive(size));
                assert_eq!((begins(&pdf), pages(&pdf).len() <= 5), (Some(2), true), "feet {feet}, {n}, {size:?}");
            }
        }
        let typical = crate::certificate(&good(), Printing::archive(size));
        assert_eq!((begins(&typical), pages(&typical).len()), (Some(2), 4), "{size:?}");
    }
    let troubled = letter(&worst());
    assert!(begins(&troubled) >= Some(2) && pages(&troubled).len() > 4, "a troubled one takes more, and nothing is cut");
}

/// The wrong figure and the right one, who corrected it, on the second page and in the list, and the depth goes by the right one.
#[test]
fn a_corrected_entry_stays_beside_the_right_one() {
    let text = read_out(&full());
    for said in [
        "centre off its stake 120 mm ahead, 8 mm right ±10 mm (entry 7-9, by G. Nobody) corrected to centre off its stake 12 mm ahead, \
         8 mm right ±10 mm (entry 7-10, by H. Nobody)",
        "7-6 G. Nobody, 01:34 sounded 3.810 m ±10 mm tape 3 sounded 3.180 m ±10 mm; entry 7-7, by G. Nobody",
        "7-7 G. Nobody, 01:39 sounded 3.180 m ±10 mm tape 3; read 8 for 1 –",
        "Struck through: entered wrongly, and counts no more.",
        "edge, 450 mm back 3.180 m ± 10 mm",
    ] {
        assert!(text.contains(said), "{said:?} in {text}");
    }
    assert!(!text.contains("edge, 450 mm back 3.810 m"), "it is no sounding any more");
    let none = read_out(&letter(&Sample { ..good() }));
    assert!(!none.contains("Struck through"), "{none}");
}

/// The structure's certificate: can the poles go in, which pole in which leg, fit, spacing, arm, state and decision of each.
/// By hand: 3.812 m along ground that rises 2 % are 3.812 / √1.0004 = 3.8112 m level.
#[test]
fn the_structures_certificate_has_its_fields() {
    let pdf = works::structure(&works::full(false), Printing::archive(PageSize::A4));
    let (text, of) = (read_out(&pdf), fields(&pdf));
    for said in [
        "Structure certificate, holes as drilled K-41",
        "The poles CAN GO IN. Why Nothing stands in the way. To do Nothing is proposed. Answer Goes by what was measured, since nobody",
        "Item Left leg Right leg",
        "Depth as drilled, ± 95 % 3.178 m ± 0.024 m 3.180 m ± 0.020 m",
        "Measured; shown Depth within; shown within. Plumb within; shown within Depth within; shown within. Plumb within; shown within",
        "Pole 21.336 m long, class 1, southern pine, tag T-3001 21.336 m long, class 1, southern pine, tag T-3002",
        "Butt 446 mm across, taped 431 mm across, table's minimum",
        "State fenced (F. Nobody, 01:52) covered (F. Nobody, 02:05)",
        "Decision; reviewed “stands” by E. Nobody, 03:00; by nobody none on record; by nobody",
        "nobody goes into a hole",
    ] {
        assert!(text.contains(said), "{said:?} in {text}");
    }
    for (name, said) in [
        (
            "Joint fit",
            "room round the poles 303 mm ± 22 mm where they stand 10 mm ahead, 4 mm right off their stakes; 293 mm ± 30 mm at the",
        ),
        ("Room", "limit at least 150 mm by structure sheet, row 3: measured within; shown within"),
        ("Spacing", "left to right: 3.8112 m ± 0.0059 m level (1 mm less than along the slope), framed 3.810 m"),
        ("Arm", "arm not shown to be out of level: left end higher by 2 mm"),
        ("Not drilled", "none of its legs"),
        ("Left leg", "Proposed: it stands; decided “stands” by E. Nobody, 2027-01-15T03:00:00-07:00: rock from 2.6 m on"),
        ("Right leg", "Proposed: it stands; nothing decided yet. Depth 3.180 m"),
    ] {
        assert!(field(&of, name).contains(said), "{name}: {said:?} in {:?}", field(&of, name));
    }
    let bare = read_out(&crate::summary(&[good(), crate::right_leg()], Printing::archive(PageSize::A4)));
    assert!(bare.contains("Poles Not judged here: neither a sheet nor other entries stand beside these records."), "{bare}");
}

/// A hole that does not take its pole, and one that is not drilled: both papers say so first.
#[test]
fn what_does_not_fit_or_is_not_drilled_is_said_first() {
    let thick = works::SHEET.replace(",1.4,19.2,T-3001", ",2.9,19.2,T-3001");
    let works = works::catalogue(&[good()], Some(&thick), &[], None);
    let printing = Printing::archive(PageSize::A4);
    let of = fields(&works::certificate(&works, 0, printing));
    assert!(field(&of, "Pole").starts_with("Not known whether it fits: right leg: the bore is not known."), "{of:?}");
    let text = read_out(&works::structure(&works, printing));
    assert!(text.contains("NOT YET: the holes are not finished.") && text.contains("Not drilled right leg"), "{text}");
    let works = works::catalogue(&[good(), Sample { plan: right_plan(), ..good() }], Some(&thick), &[], None);
    // 2.9 m round are 923 mm across in a hole of 1100 mm: 88 mm are left where 150 are wanted
    let of = fields(&works::certificate(&works, 0, printing));
    assert!(
        field(&of, "Pole").starts_with("Goes in with too little room: ") && field(&of, "Pole").contains("Measured outside, short by"),
        "{of:?}"
    );
    let text = read_out(&works::structure(&works, printing));
    assert!(text.contains("The poles CANNOT GO IN. Why ") && text.contains("To do Left leg: ream it to "), "{text}");
}

fn right_plan() -> shared_protocol::record::Plan {
    shared_protocol::record::Plan { leg: 3, ..good().plan }
}

/// An attempt that was given up, and its successor that two set-ups drilled: each paper is of one set-up and names the others.
#[test]
fn other_attempts_and_set_ups_are_named() {
    let numbered = |attempt, setup, depth_mm| {
        let mut sample = Sample { depth_mm, ..good() };
        (sample.plan.attempt, sample.plan.setup) = (attempt, setup);
        sample
    };
    let samples = [numbered(1, 1, 900), numbered(2, 1, 2_000), numbered(2, 2, 3_307)];
    let works = works::catalogue(&samples, Some(works::SHEET), &works::given_up(&samples[0]), None);
    let of = |n| fields(&works::certificate(&works, n, Printing::archive(PageSize::A4)));
    let first = of(0);
    assert_eq!(field(&first, "Other work"), "attempt 2 counts for this leg; this one is earlier");
    assert!(field(&first, "Pole").contains(": attempt 2 counts for this leg, and fit is judged of that."), "{first:?}");
    assert!(field(&first, "State").ends_with("abandoned 01:40 by F. Nobody (boulder); backfilled 01:50 by F. Nobody"), "{first:?}");
    let joined = "its cuts, axis and depth are joined with these for fit, depth and volume; attempt 1, backfilled";
    for (n, other) in [(1, 2), (2, 1)] {
        let said = of(n);
        let said = field(&said, "Other work");
        assert!(said.starts_with(&format!("set-up {other} (K-41-left-attempt2")) && said.ends_with(joined), "{said}");
    }
}
