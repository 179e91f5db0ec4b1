//! Texts and figures made to break paper: it is made all the same, and nothing lies over anything else.

use crate::holes::{Sample, good, measured, worst};
use crate::readers::{Word, placed_words, qpdf_complaint, read_out, words};
use crate::{SIZES, certificate, right_leg, samples, summary, works};
use host_tool::judge::limits::{Limit, LimitSet, Measurand};
use host_tool::judge::measured::Measurement;
use host_tool::judge::{LineAxes, judge_by};
use host_tool::paper::{Hole, PageSize, Printing, hole_certificate};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use shared_protocol::units::{CentiDegrees, Lean, Micrometres};

/// Pairs of words whose letters lie over one another, and words off the page's margins.
fn collisions(pdf: &[u8]) -> Vec<String> {
    let (sizes, words) = placed_words(pdf);
    let mut out = Vec::new();
    for (i, a) in words.iter().enumerate() {
        let (width, height) = sizes[a.page];
        if a.left < 40.0 || a.right > width - 40.0 || a.top < 20.0 || a.bottom > height - 20.0 {
            out.push(format!("{a:?} leaves the page"));
        }
        out.extend(words[i + 1..].iter().filter(|b| overlap(a, b)).map(|b| format!("{a:?} over {b:?}")));
    }
    out
}

/// Boxes are the font's ascent and descent, taller than the letters: two points of overlap are none to the eye.
fn overlap(a: &Word, b: &Word) -> bool {
    a.page == b.page && a.right.min(b.right) - a.left.max(b.left) > 0.5 && a.bottom.min(b.bottom) - a.top.max(b.top) > 3.0
}

#[test]
fn no_word_lies_over_another_or_leaves_the_page() {
    let mut all: Vec<(&str, Sample)> = samples();
    all.push(("worst in feet", with_feet(worst())));
    for depth in [100, 900, 1_500, 2_400, 3_150, 3_300] {
        all.push(("half way", Sample { depth_mm: depth, closed: false, ..good() }));
    }
    all.push(("measured at length", at_length(worst())));
    all.push(("measured at length in feet", at_length(with_feet(good()))));
    for (name, sample) in &all {
        for size in SIZES {
            let found = collisions(&certificate(sample, Printing::archive(size)));
            assert!(found.is_empty(), "{name}, depth {}, {size:?}: {}", sample.depth_mm, found.join("\n"));
        }
    }
    for size in SIZES {
        let some = [worst(), right_leg(), with_feet(worst()), good(), right_leg(), worst(), worst()];
        let found = collisions(&summary(&some, Printing::archive(size)));
        assert!(found.is_empty(), "summary: {}", found.join("\n"));
    }
}

/// What people say and sheets plan, at its longest: nothing lies over anything, nothing is cut, no letter is too small.
#[test]
fn works_at_their_longest_are_whole_and_legible() {
    let (overlong, full) = (works::overlong(), works::full(true));
    for size in SIZES {
        let printing = Printing::archive(size);
        let mut all: Vec<Vec<u8>> = (0..3).map(|n| works::certificate(&overlong, n, printing)).collect();
        all.extend([works::structure(&overlong, printing), works::structure(&full, printing), works::certificate(&full, 0, printing)]);
        for pdf in all {
            let found = collisions(&pdf);
            assert!(found.is_empty(), "{size:?}: {}", found.join("\n"));
            assert!(qpdf_complaint(&pdf).is_empty());
            // boxes are 1.3 times the size of letters high, the ascent and descent of the typeface
            let small = placed_words(&pdf).1.into_iter().find(|word| word.bottom - word.top < 8.5 * 1.3 - 0.01);
            assert_eq!(small, None, "{size:?}");
        }
        let text = read_out(&works::certificate(&overlong, 0, printing));
        let remark = "wide ".repeat(50) + &"W".repeat(250);
        assert!(text.contains(&remark), "every word of a remark is there");
    }
}

/// As many limits as a file may hold, with texts longer than a line, on one thing after the other.
#[test]
fn many_limits_with_long_texts_fit() {
    let measurands = [Measurand::Depth, Measurand::OverallLean, Measurand::LeanAnywhere, Measurand::Toe];
    let limit = |i: usize| Limit {
        measurand: measurands[i % 4],
        least: i.is_multiple_of(8).then_some(-1e9),
        most: [1e-12, 0.02, 3.0, 1e9][i / 4 % 4],
        written: "W".repeat(120),
        source: format!("\u{202E}{} \u{7} {}", "w".repeat(150), "漢".repeat(20)),
    };
    let limits = LimitSet { limits: (0..40).map(limit).collect(), governs: None };
    for sample in [good(), worst(), with_feet(worst())] {
        for size in SIZES {
            let setup = sample.setup();
            let judged = judge_by(&setup, &limits);
            let hole = Hole::of_record(&setup, &judged);
            let pdf = hole_certificate(&hole, Vec::new(), Printing::archive(size)).expect("a certificate");
            let found = collisions(&pdf);
            assert!(found.is_empty(), "{size:?}: {}", found.join("\n"));
            assert!(qpdf_complaint(&pdf).is_empty());
        }
    }
}

/// As much by hand as anybody may enter, and absurd figures among it.
fn at_length(mut sample: Sample) -> Sample {
    let odd = [0.0, -1.0, 1e-9, 1.6, 3.1, 3.3, 99.9, 1e6];
    let entries = odd.into_iter().cycle().take(30).zip(measured().measurements.into_iter().cycle());
    let long = |(figure, entry): (f64, Measurement)| Measurement {
        author: "W".repeat(60),
        depth: figure,
        offset: LineAxes { ahead: figure, right: -figure },
        standard: figure.abs().max(1e-6),
        remark: "wide ".repeat(50) + &"W".repeat(250),
        unix_ms: if figure > 1e3 { i64::MAX / 2 } else { entry.unix_ms },
        ..entry
    };
    sample.measurements = entries.map(long).collect();
    sample
}

fn with_feet(mut sample: Sample) -> Sample {
    sample.plan.units = 1;
    sample
}

#[test]
fn what_cannot_be_printed_is_replaced_in_sight() {
    let text = words(&certificate(&worst(), Printing::archive(PageSize::A4)));
    assert!(text.contains("bell \u{FFFD} escape \u{FFFD}[31m \u{FFFD}\u{FFFD}\u{FFFD}\u{FFFD} and \u{FFFD} and"), "{text}");
    assert!(text.contains("\u{FFFD}dne"), "a direction override turns nothing round: {text}");
}

/// Any text up to so many bytes, of scripts, controls, marks and emoji mixed.
fn any_text(dice: &mut Pcg32, bytes: usize) -> String {
    const POOL: [char; 24] = [
        'a',
        'W',
        'i',
        ' ',
        '\n',
        '\0',
        '\u{7f}',
        '\u{1b}',
        'é',
        'ß',
        'Ж',
        '\u{301}',
        '\u{202E}',
        '\u{200D}',
        'ש',
        'ع',
        '漢',
        '\u{1F573}',
        '\u{FFFF}',
        '\u{E000}',
        '/',
        '"',
        '<',
        '\u{feff}',
    ];
    let mut text = String::new();
    while let Some(c) = POOL.get(usize::try_from(dice.next_u32() % 24).unwrap()).filter(|c| text.len() + c.len_utf8() <= bytes) {
        text.push(*c);
    }
    text
}

fn any_length(dice: &mut Pcg32) -> i32 {
    let bits = dice.next_u32();
    let whole = i32::from_le_bytes(dice.next_u32().to_le_bytes());
    match bits % 6 {
        0 => i32::MAX,
        1 => i32::MIN,
        2 => 0,
        3 => whole % 10_000_000,
        4 => whole % 1_000,
        _ => whole,
    }
}

#[test]
fn any_figures_and_any_texts_give_sound_paper() {
    let mut dice = Pcg32::seed_from_u64(41);
    for round in 0..120 {
        let mut sample = if round % 2 == 0 { good() } else { worst() };
        let plan = &mut sample.plan;
        plan.line = any_text(&mut dice, 24).as_str().try_into().unwrap();
        plan.structure = any_text(&mut dice, 16).as_str().try_into().unwrap();
        plan.operator = any_text(&mut dice, 24).as_str().try_into().unwrap();
        [plan.leg, plan.attempt, plan.setup, plan.units] = dice.next_u32().to_le_bytes();
        plan.datum = dice.next_u32().to_le_bytes()[0] % 4;
        for length in [&mut plan.depth, &mut plan.depth_under, &mut plan.depth_over, &mut plan.hub_above_datum, &mut plan.diameter] {
            *length = Micrometres(any_length(&mut dice));
        }
        plan.plumb_limit = Lean(any_length(&mut dice));
        plan.heading = CentiDegrees(any_length(&mut dice));
        plan.heading_within = CentiDegrees(any_length(&mut dice));
        let identity = sample.identity.as_mut().unwrap();
        identity.rig = any_text(&mut dice, 16).as_str().try_into().unwrap();
        identity.guide_height = Micrometres(any_length(&mut dice));
        identity.increment = Micrometres(any_length(&mut dice));
        sample.notes = vec![(any_text(&mut dice, 24), any_text(&mut dice, 120))];
        let pdf = certificate(&sample, Printing::archive(SIZES[round % 2]));
        let two = summary(&[sample.clone(), good()], Printing::archive(SIZES[round % 2]));
        if round % 10 == 0 {
            let complaint = qpdf_complaint(&pdf) + &qpdf_complaint(&two);
            assert!(complaint.is_empty(), "round {round}, {:?}: {complaint}", sample.plan);
        }
    }
}
