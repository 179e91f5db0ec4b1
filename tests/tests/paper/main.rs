//! Paper as others read it: structure, archival rules, text, attachments; and that it says what the record says.

mod by_hand;
mod fields;
mod hostile;
mod pictures;
mod readers;
mod works;
mod worth;

use tests::samples as holes;

use holes::{Sample, good, good_feet, measured, worst};
use host_tool::judge::judge;
use host_tool::paper::drawing::draw;
use host_tool::paper::layout::letters::Letters;
use host_tool::paper::layout::marks::{Frame, Mark};
use host_tool::paper::{Hole, PageSize, PaperError, Printing, Standard, hole_certificate, structure_certificate};
use host_tool::proof::{Sealing, Unfit};
use readers::{attachment, lines, metadata, pages, preflight, qpdf_complaint, sha256, structure, words};
use shared_protocol::units::CentiDegrees;

const SIZES: [PageSize; 2] = [PageSize::Letter, PageSize::A4];

fn certificate(sample: &Sample, printing: Printing) -> Vec<u8> {
    works::alone(sample, printing)
}

fn letter(sample: &Sample) -> Vec<u8> {
    certificate(sample, Printing::archive(PageSize::Letter))
}

fn summary(samples: &[Sample], printing: Printing) -> Vec<u8> {
    let setups: Vec<_> = samples.iter().map(Sample::setup).collect();
    let judged: Vec<_> = setups.iter().map(judge).collect();
    let holes: Vec<_> = setups.iter().zip(&judged).map(|(setup, judged)| Hole::of_record(setup, judged)).collect();
    structure_certificate(&holes, Vec::new(), printing).expect("a summary")
}

fn with(change: impl FnOnce(&mut Sample)) -> Sample {
    let mut sample = good();
    change(&mut sample);
    sample
}

fn right_leg() -> Sample {
    with(|s| {
        s.plan.leg = 3;
        s.depth_mm = 3_190;
        s.lean = (-9_000, 4_000);
    })
}

/// Samples with names, each unlike the others.
fn samples() -> Vec<(&'static str, Sample)> {
    vec![
        ("good", good()),
        ("feet", good_feet()),
        ("worst", worst()),
        ("nothing recorded", with(|s| (s.increments, s.passes, s.clock, s.closed) = (false, 1, false, false))),
        ("unreferenced", with(|s| (s.restart_after, s.tied_again) = (Some(6), false))),
        ("unidentified", with(|s| s.identity = None)),
        ("measured", measured()),
    ]
}

/// Keeps a paper in the folder that BOREWITNESS_PAPERS names, for somebody who wants to look at it.
fn keep(name: &str, pdf: &[u8]) {
    if let Some(folder) = std::env::var_os("BOREWITNESS_PAPERS").map(std::path::PathBuf::from) {
        std::fs::create_dir_all(&folder).and_then(|()| std::fs::write(folder.join(format!("{name}.pdf")), pdf)).expect("written");
    }
}

#[test]
fn qpdf_finds_nothing_wrong_with_any_paper() {
    for size in SIZES {
        for (name, sample) in samples() {
            let pdf = certificate(&sample, Printing::archive(size));
            keep(&format!("{name} {size:?}"), &pdf);
            let complaint = qpdf_complaint(&pdf);
            assert!(complaint.is_empty(), "{name}, {size:?}: {complaint}");
        }
        for (name, pdf) in [
            ("full", works::certificate(&works::full(false), 0, Printing::archive(size))),
            ("structure", works::structure(&works::full(true), Printing::archive(size))),
        ] {
            keep(&format!("{name} {size:?}"), &pdf);
            let complaint = qpdf_complaint(&pdf);
            assert!(complaint.is_empty(), "{name}, {size:?}: {complaint}");
        }
        let complaint = qpdf_complaint(&summary(&[good(), right_leg()], Printing::archive(size)));
        assert!(complaint.is_empty(), "summary, {size:?}: {complaint}");
    }
    let mut broken = letter(&good());
    broken.truncate(broken.len() / 2);
    assert!(!qpdf_complaint(&broken).is_empty(), "the reader does complain of half a file");
}

/// Rules of ISO 19005-1 level B, by Apache PDFBox Preflight.
#[test]
fn preflight_takes_the_plain_rendering_for_pdf_a_1b() {
    let plain = Printing { size: PageSize::A4, standard: Standard::Plain };
    for (name, pdf) in [
        ("good", certificate(&good(), plain)),
        ("worst", certificate(&worst(), plain)),
        ("summary", summary(&[good(), right_leg()], plain)),
        ("full", works::certificate(&works::full(false), 0, plain)),
        ("structure", works::structure(&works::full(true), plain)),
    ] {
        let verdict = preflight(&pdf);
        assert!(verdict.contains("is a valid PDF/A-1b file"), "{name}: {verdict}");
    }
    let other = preflight(&letter(&good()));
    assert!(!other.contains("is a valid PDF/A-1b file"), "a file with attachments is none, and the validator says so");
}

#[test]
fn the_archive_file_names_its_standards() {
    let meta = metadata(&letter(&good()));
    for part in ["<pdfaid:part>3<", "<pdfaid:conformance>A<", "<pdfuaid:part>1<"] {
        assert!(meta.contains(part), "{part} in {meta}");
    }
}

/// The figures of the invented hole, worked out by hand: 3307 mm below a hub 120 mm above datum are 3.187 m as read. The
/// hub closed 3 mm too deep, and the bottom was reached in the last of 14 lifts, so that 13/14 to all of it was in that
/// depth: 2.9 mm off is 3.184 m, 16 mm short of 3.200 m and within −100 and +50 mm of it.
#[test]
fn the_text_gives_the_figures_back() {
    let text = words(&letter(&good()));
    for figure in [
        "Depth 3.184 m ± 0.026 m below original ground at the pole's low side; limit 3.100 to 3.250 m, source: plan as loaded into \
         the rig. Measured within. Shown within.",
        "−16 mm",
        "limit up to 20.0 mm/m, source: plan as loaded into the rig. Measured within. Shown within.",
        "Touched twice; largest misclosure 3 mm, and 10 mm is the most accepted. Depth as read, 3.187 m, is corrected by −2.9 mm; what \
         else is in the record is as read.",
        "the rig's digest fits them; sealed by a simulated rig's known key, and fits; it is this rig's first since it was new or reset.",
        "2027-01-15T01:00:00-07:00",
        "Line Example Line 7. Drilled by A. Nobody",
        "Rig SIM-PAPER-1, epoch 3",
        "1.400 m above the hub",
        "None recorded soundings, hand plumbs, slow going and refusal, calibrations meanwhile, sensor faults, restarts, gaps, notes, \
         entries by people.",
        "Nobody has said here which of them decides.",
        "no calliper survey of the hole",
    ] {
        assert!(text.contains(figure), "{figure:?} in {text}");
    }
}

/// By hand: the last of 14 even passes to 3307 mm below the hub begins at 3307 · 13 / 14 = 3070 mm; the hub is 120 mm up.
#[test]
fn passes_count_from_the_datum() {
    let lines = lines(&letter(&good()));
    let row = lines.iter().find(|l| l.contains(" 14 01:11:18 ")).expect("the last pass");
    assert!(row.ends_with("26 s 2.950 m 3.187 m"), "{row}");
    assert!(lines.iter().any(|l| l == "Passes, depths below original ground at the pole's low side"), "{lines:?}");
}

/// By hand: 3307 mm less 6 in is 3154.6 mm, 124.197 in, to the eighth 10 ft 4 1/4 in as read; less 2.9 mm, 0.11 in, it is
/// 124.08 in, 10 ft 4 1/8 in, 1.92 in short of 10 ft 6 in ± 6 in.
#[test]
fn the_text_gives_the_figures_back_in_feet_and_inches() {
    let text = words(&letter(&good_feet()));
    for figure in [
        "as drilled 10 ft 4 1/8 in",
        "Depth as read, 10 ft 4 1/4 in, is corrected by −0.11 in",
        "limit 10 ft 0 in to 11 ft 0 in, source: plan as loaded into the rig. Measured within. Shown within.",
        "limit up to 0.250 in/ft, source: plan as loaded into the rig. Measured within. Shown within.",
        "largest misclosure 1/8 in",
        "hub, 0 ft 6 in above datum",
        "−1 7/8 in",
        "4 ft 0 in",
    ] {
        assert!(text.contains(figure), "{figure:?} in {text}");
    }
    for unit in [" mm ", " m ", "mm/m"] {
        assert!(!text.replace("under 0.5 mm", "").contains(unit), "{unit:?} on a sheet in feet and inches: {text}");
    }
}

/// The sign vector: a tool that leans 12 mm/m forward, 3 m down, at each of four headings of the rig, and to the
/// right, goes where geometry says.
#[test]
fn the_toe_goes_where_the_heading_says() {
    // lean of the tool at heading 0°, 90°, 180°, 270° → where the toe is
    let rows = [((12_000, 0), ["ahead", "right", "back", "left"]), ((0, 12_000), ["right", "back", "left", "ahead"])];
    for (lean, toes) in rows {
        for (heading, toe) in [0, 9_000, 18_000, 27_000].into_iter().zip(toes) {
            let text = words(&letter(&with(|s| {
                s.lean = lean;
                s.plan.heading = CentiDegrees(heading);
            })));
            let row = text.split_once("off the vertical through the hole's start: ").expect("where the toe is").1;
            let row = row.split_once(", within").expect("and within what").0;
            // The lean grows evenly to 12 mm/m. Stick: over the last 100 mm it is 11.84 mm/m, over the first 0.23 mm/m, so
            // (1.4 + 3.307) m × 11.84 − (1.4 + 0.12) m × 0.23 = 55.4 mm. Wall-guided: 12 / 3.307 × (3.307² − 0.12²) / 2 =
            // 19.8 mm. The middle is 37.6 mm, and the wobble makes less than 1 mm of it.
            let far = (37..=38).any(|mm| row.contains(&format!("{mm} mm {toe}")));
            assert!(far, "heading {heading}, {lean:?}: not {toe} in {row:?}");
        }
    }
}

/// In the drawing, too: across line, ahead is to the right; along line, right is; in the plan, ahead is up.
#[test]
fn the_drawing_shows_the_toe_on_its_side() {
    for (lean, ahead, right) in [((12_000, 0), 1.0, 0.0), ((-12_000, 0), -1.0, 0.0), ((0, 12_000), 0.0, 1.0), ((0, -12_000), 0.0, -1.0)] {
        let sample = with(|s| {
            s.lean = lean;
            s.plan.heading = CentiDegrees(0);
        });
        let [along, across, plan] = toes(&sample);
        for (name, (x, y), want_x, want_y) in
            [("along", along, right, None), ("across", across, ahead, None), ("plan", plan, right, Some(-ahead))]
        {
            let on = |offset: f64, want: f64| if want == 0.0 { offset.abs() < 5.0 } else { offset * want > 20.0 };
            assert!(on(x, want_x) && want_y.is_none_or(|want| on(y, want)), "{name}, lean {lean:?}: {x}, {y}");
        }
    }
}

/// The toe's dot in each view, points right of the view's middle and, in the plan, below it.
fn toes(sample: &Sample) -> [(f64, f64); 3] {
    let setup = sample.setup();
    let judged = judge(&setup);
    let frame = Frame { x: 50.0, y: 100.0, width: 512.0, height: 450.0 };
    let marks = draw(&mut Letters::new(), frame, &Hole::of_record(&setup, &judged));
    let dot = |marks: &[Mark]| marks.iter().find_map(|m| if let Mark::Circle(at, 2.8, ..) = m { Some(*at) } else { None });
    let views = marks.iter().filter_map(|m| {
        if let Mark::Within(frame, inner) = m { dot(inner).map(|at| (at.0 - frame.x - frame.width / 2.0, 0.0)) } else { None }
    });
    let elevations: Vec<_> = views.collect();
    let middle = marks.iter().find_map(|m| if let Mark::Circle(at, 2.0, ..) = m { Some(*at) } else { None }).expect("the plan's middle");
    let toe = dot(&marks).expect("the plan's toe");
    [elevations[0], elevations[1], (toe.0 - middle.0, toe.1 - middle.1)]
}

#[test]
fn every_page_of_a_simulated_rig_says_so_and_no_page_of_a_real_one_does() {
    let pdfs = [letter(&good()), letter(&worst()), summary(&[good(), right_leg()], Printing::archive(PageSize::A4))];
    for pdf in &pdfs {
        let all = pages(pdf);
        for (i, page) in all.iter().enumerate() {
            assert!(page.contains("SIMULATED – no hole was drilled"), "page {i}: {page}");
            assert!(page.contains(&format!("Page {} of {}", i + 1, all.len())), "page {i}: {page}");
            assert!(page.contains("Open hole: cover it, guard it or attend it."), "page {i}: {page}");
        }
        assert!(metadata(pdf).contains("SIMULATED – no hole was drilled"));
        assert!(structure(pdf).contains("SIMULATED – no hole was drilled."), "it is read out, too");
    }
    let real = letter(&with(|s| s.identity.as_mut().unwrap().simulated = false));
    assert!(!words(&real).contains("SIMULATED") && !metadata(&real).contains("SIMULATED"));
    let unknown = letter(&with(|s| s.identity = None));
    assert!(pages(&unknown).iter().all(|p| p.contains("RIG NOT IDENTIFIED – not known whether a hole was drilled")));
}

#[test]
fn the_attachments_are_the_slots_and_the_facts() {
    for (name, sample) in samples() {
        let pdf = letter(&sample);
        let setup = sample.setup();
        let want: Vec<u8> = setup.slots.iter().flat_map(|s| *s.bytes()).collect();
        assert_eq!(attachment(&pdf, "slots.bin"), want, "{name}");
        let facts: serde_json::Value = serde_json::from_slice(&attachment(&pdf, "facts.json")).expect("JSON");
        assert_eq!(facts["slots"]["count"], setup.slots.len(), "{name}");
        assert_eq!(facts["increments"].as_array().map(Vec::len), Some(setup.increments.len()), "{name}");
    }
    let facts: serde_json::Value = serde_json::from_slice(&attachment(&letter(&good()), "facts.json")).expect("JSON");
    let judged = |name: &str| facts["judged"][name].as_f64().expect("a depth");
    assert!((judged("depth_below_datum_m") - judged("depth_correction_m") - 3.187).abs() < 1e-12, "{}", facts["judged"]);
    assert_eq!(facts["plan"]["plumb_limit_um_per_m"], 20_000);
    assert_eq!(facts["plan"]["datum"], "original ground at the pole's low side");
}

/// What the page tells a reader to do, done with coreutils.
#[test]
fn the_printed_digest_is_folded_from_the_segments_of_the_attached_slots() {
    let pdf = letter(&good());
    let slots = attachment(&pdf, "slots.bin");
    let facts: serde_json::Value = serde_json::from_slice(&attachment(&pdf, "facts.json")).expect("JSON");
    let (mut at, mut digest) = (0, "00".repeat(32));
    for segment in facts["slots"]["segments"].as_array().expect("segments") {
        let byte = |name: &str| usize::try_from(segment[name].as_u64().expect("a place")).expect("small");
        assert_eq!(byte("first_byte"), at);
        let sum = sha256(&slots[at..byte("end_byte")]);
        assert_eq!(segment["sha256"], sum.as_str());
        at = byte("end_byte");
        digest = sha256(&[&b"borewitness digest 0"[..], &unhex(&digest), &unhex(&sum)].concat());
    }
    assert!(at > 0);
    let printed = lines(&pdf).iter().find_map(|line| line.strip_prefix("Digest by the rig ").map(|sum| sum.replace(' ', "")));
    assert_eq!(printed, Some(digest));
}

/// What is attached, checked by a program that is not ours.
#[test]
fn the_attached_seal_is_one_for_openssl() {
    let facts: serde_json::Value = serde_json::from_slice(&attachment(&letter(&good()), "facts.json")).expect("JSON");
    let of = |name: &str| unhex(facts["seal"][name].as_str().expect("hexadecimal"));
    let (key, signed, mut signature) = (of("public_key"), of("signed"), of("signature"));
    assert!(readers::openssl_verifies(&key, &signed, &signature));
    signature[3] ^= 1;
    assert!(!readers::openssl_verifies(&key, &signed, &signature));
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).expect("hexadecimal")).collect()
}

/// What does not fit silences what is guarded, and both pages say why.
#[test]
fn a_seal_that_does_not_fit_is_on_the_first_page() {
    let mut setup = good().setup();
    setup.sealing = Sealing::Unfit(Unfit::Signature);
    let judged = judge(&setup);
    let pdf = hole_certificate(&Hole::of_record(&setup, &judged), Vec::new(), Printing::archive(PageSize::Letter)).expect("a certificate");
    let first = pages(&pdf).remove(0).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(first.contains("Not shown: the seal does not fit: its signature is not that of its key"), "{first}");
    let fields = readers::fields(&pdf);
    assert!(fields["Record"].contains("the seal does not fit: its signature is not that of its key."), "{fields:?}");
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    for (name, sample) in samples() {
        let first = letter(&sample);
        letter(&worst()); // whatever was printed between must not matter
        let elsewhere = std::thread::spawn(move || letter(&sample)).join().expect("a certificate");
        assert_eq!(first, elsewhere, "{name}");
    }
    let two = || summary(&[good(), right_leg()], Printing::archive(PageSize::Letter));
    assert_eq!(two(), two());
    let full = || {
        (
            works::certificate(&works::full(false), 0, Printing::archive(PageSize::A4)),
            works::structure(&works::full(true), Printing::archive(PageSize::A4)),
        )
    };
    assert_eq!(full(), full());
    assert_ne!(letter(&good()), letter(&right_leg()), "another record gives others");
}

#[test]
fn dates_come_from_the_record() {
    let date = |sample: &Sample| {
        let meta = metadata(&letter(sample));
        let date = meta.split_once("<xmp:ModifyDate>").and_then(|(_, rest)| rest.split_once('<')).expect("a date").0;
        date.to_owned()
    };
    // told 2027-01-15T08:00:00Z half a second before it opened; closed 11 min 57 s later
    assert_eq!(date(&good()), "2027-01-15T01:11:57-07:00");
    assert_eq!(date(&with(|s| s.offset = -210)), "2027-01-15T04:41:57-03:30");
    assert_eq!(date(&with(|s| s.offset = 345)), "2027-01-15T13:56:57+05:45");
    let untold = date(&with(|s| s.clock = false));
    assert!(untold.starts_with("1970-01-01T00:00:00"), "the zero of clocks where nobody told the rig the time: {untold}");
}

#[test]
fn what_is_not_known_is_said() {
    let nothing = words(&letter(&samples()[3].1));
    for said in [
        "Not known, since no bottom was recorded;",
        "Not known, since no lean was recorded;",
        "No axis: no increment was recorded.",
        "time unknown (start 7",
    ] {
        assert!(nothing.contains(said), "{said:?} in {nothing}");
    }
    let untied = words(&letter(&samples()[4].1));
    for said in [
        "Not known, since depth was not tied to the hub at the end (recorded 3.187 m, not tied to the hub);",
        "Not judged as measured. Not shown: depth was not tied to the hub at the end.",
        "not tied again",
        "the watchdog",
    ] {
        assert!(untied.contains(said), "{said:?} in {untied}");
    }
}

#[test]
fn gaps_are_listed_with_their_causes_and_bridged_nowhere() {
    let lines = lines(&letter(&worst()));
    for said in [
        "25 missing; the rig's digest covers more;",
        "1101–1106 6 not received",
        "1157 1 a slot was being written when power failed",
        "pass missing",
        "90 mm higher",
    ] {
        assert!(lines.iter().any(|l| l.contains(said)), "{said:?} in {lines:?}");
    }
    let setup = worst().setup();
    let judged = judge(&setup);
    let stretches = Hole::of_record(&setup, &judged).axis_stretches();
    assert!(stretches.len() > 5, "{}", stretches.len());
    let longest_step = |s: &Vec<host_tool::judge::AxisPoint>| s.windows(2).map(|w| w[1].depth - w[0].depth).fold(0.0, f64::max);
    assert!(stretches.iter().all(|s| longest_step(s) < 0.0376), "no line spans more than one and a half increments");
}

#[test]
fn a_summary_is_one_page_and_none_of_nothing() {
    for (samples, size) in [(vec![good(), right_leg()], PageSize::Letter), (vec![worst(), good_feet(), worst()], PageSize::A4)] {
        assert_eq!(pages(&summary(&samples, Printing::archive(size))).len(), 1);
    }
    let text = words(&summary(&[good(), right_leg()], Printing::archive(PageSize::A4)));
    for said in ["Left leg", "Right leg", "as drilled 3.184 m", "as drilled 3.067 m", "outside", "no calliper survey"] {
        assert!(text.contains(said), "{said:?} in {text}");
    }
    assert_eq!(structure_certificate(&[], Vec::new(), Printing::archive(PageSize::A4)), Err(PaperError::NoHole));
}

#[test]
fn the_reading_order_is_drawing_words_figures() {
    let order = structure(&letter(&good()));
    let places = [
        "H1 ",
        "Figure",
        "\"3.184 m ±",
        "“Measured” compares",
        "Measured by",
        "Plan and as drilled",
        "Pole and fit",
        "Place, ground and state",
        "Instrument and record",
        "Annex",
        "Calibrations in force",
        "Hub touches",
        "Passes, depths",
        "Settings and counts",
    ];
    let at: Vec<usize> = places.iter().map(|p| order.find(p).unwrap_or_else(|| panic!("{p} in {order}"))).collect();
    assert!(at.is_sorted(), "{at:?}");
    assert!(order.contains("/Scope /Row") && order.contains("/Scope /Column"));
}
