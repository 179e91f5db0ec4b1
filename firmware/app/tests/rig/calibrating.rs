//! Calibrations over the cable: taken, kept, applied, or refused with nothing changed.

use crate::bench::{Bench, plan};
use shared_protocol::message::{Calibrate, CloseHole, Command, Reply};
use shared_protocol::record::{Calibration, Identity, Instruments, NO_TEMPERATURE, Record};
use shared_protocol::state::{Answer, CalibrationItem};

fn of(item: CalibrationItem, values: &[i32]) -> Calibration {
    let values = values.iter().copied().collect();
    Calibration {
        item: item.raw(),
        who: "bench".try_into().unwrap(),
        day: 20_000,
        expires: 20_365,
        uncertainty: 300,
        residual: 200,
        values,
    }
}

impl Bench {
    fn calibrate(&mut self, item: CalibrationItem, values: &[i32]) -> Reply {
        self.ask(Command::Calibrate(Calibrate { calibration: of(item, values) }))
    }

    fn identities(&mut self) -> Vec<Identity> {
        self.only(|r| if let Record::Identity(i) = r { Some(i.clone()) } else { None })
    }

    fn instruments(&mut self) -> Vec<Instruments> {
        self.only(|r| if let Record::Instruments(i) = r { Some(i.clone()) } else { None })
    }

    /// Opens a hole, goes into the ground and returns the lean shown there, µm/m.
    fn shown(&mut self) -> (i32, i32) {
        self.open(plan());
        self.touch();
        self.go(300.0, 20.0);
        let (live, _) = self.live();
        self.go(-100.0, 500.0);
        assert_eq!(self.ask(Command::CloseHole(CloseHole {})).answer, Answer::Done.raw());
        (live.forward.lean().0, live.right.lean().0)
    }
}

#[test]
fn every_tilt_calibration_is_in_the_lean_shown_at_once_and_after_a_restart() {
    let mut bench = Bench::new();
    bench.lean = (12_000, -5_000);
    bench.temperature = Some(3_000);
    let near = |(f, r): (i32, i32), want: (i32, i32)| assert!((f - want.0).abs() <= 12 && (r - want.1).abs() <= 12, "{f} {r} for {want:?}");
    near(bench.shown(), (12_000, -5_000));
    assert_eq!(bench.calibrate(CalibrationItem::TiltZero, &[2_000, -1_000, 2_000]).answer, Answer::Done.raw());
    near(bench.shown(), (10_000, -4_000));
    bench.calibrate(CalibrationItem::TiltDrift, &[500, -200]); // ten degrees warmer than the zero
    near(bench.shown(), (9_500, -3_800));
    bench.calibrate(CalibrationItem::Mount, &[9_000, 0, 1_000_000]); // a quarter clockwise
    near(bench.shown(), (3_800, 9_500));
    bench.calibrate(CalibrationItem::ToolLevel, &[200, 500]);
    near(bench.shown(), (4_000, 10_000));
    let digest = bench.identities().last().unwrap().configuration;
    let mut bench = bench.restart();
    near(bench.shown(), (4_000, 10_000));
    assert_eq!(bench.identities().last().unwrap().configuration, digest);
}

#[test]
fn a_hole_says_which_calibrations_are_in_force_and_their_digest() {
    let mut bench = Bench::new();
    bench.shown();
    assert!(bench.instruments()[0].stamps.is_empty());
    bench.calibrate(CalibrationItem::GuidePlay, &[8_000]);
    bench.calibrate(CalibrationItem::TiltZero, &[1_500, -700, 2_150]);
    bench.calibrate(CalibrationItem::Tool, &[4, 1_250_000, 900_000]);
    bench.temperature = None;
    let mut bench = bench.restart();
    bench.shown();
    let stamps = bench.instruments()[1].stamps.clone();
    assert_eq!(stamps.iter().map(|s| (s.item, s.value)).collect::<Vec<_>>(), [(1, 2_150), (6, 8_000)], "tools have records of their own");
    assert_eq!(
        (stamps[0].who.as_str(), stamps[0].day, stamps[0].expires, stamps[0].uncertainty, stamps[0].residual),
        ("bench", 20_000, 20_365, 300, 200)
    );
    let identities = bench.identities();
    assert_ne!(identities[0].configuration, identities[1].configuration);
    assert_eq!((identities[0].temperature, identities[1].temperature), (2_150, NO_TEMPERATURE));
    let calibrated = bench.only(|r| if let Record::Calibrated(c) = r { Some(c.clone()) } else { None });
    assert_eq!(calibrated.iter().map(|c| c.calibration.item).collect::<Vec<_>>(), [6, 1, 7]);
    assert_eq!(calibrated[1].calibration, of(CalibrationItem::TiltZero, &[1_500, -700, 2_150]));
}

#[test]
fn a_calibration_that_cannot_be_right_changes_nothing() {
    let mut bench = Bench::new();
    bench.calibrate(CalibrationItem::GuidePlay, &[8_000]);
    bench.shown();
    let (before, stamps) = (bench.identities()[0].configuration, bench.instruments()[0].stamps.clone());
    let encoder = |values: &[i32]| of(CalibrationItem::Encoder, values);
    for (why, calibration) in [
        ("there and back", encoder(&[0, 0, 100_000, 10_000_000, 50_000, 20_000_000])),
        ("lengths that fall", encoder(&[0, 0, 100_000, 10_000_000, 200_000, 9_000_000])),
        ("the same count twice", encoder(&[0, 0, 0, 10_000_000])),
        ("a residual beyond five standard uncertainties", Calibration { residual: 1_501, ..encoder(&[0, 0, 100_000, 10_000_000]) }),
        ("expired before it was made", Calibration { expires: 19_999, ..of(CalibrationItem::GuidePlay, &[5_000]) }),
        ("a mount beyond half a turn", of(CalibrationItem::Mount, &[18_001, -1_000_000, 0])),
        ("a mount that is no angle's", of(CalibrationItem::Mount, &[3_000, 866_025, 866_025])),
        ("a zero of a broken sensor", of(CalibrationItem::TiltZero, &[150_000, 0, 2_000])),
        ("play below nothing", of(CalibrationItem::GuidePlay, &[-8_000])),
    ] {
        let reply = bench.ask(Command::Calibrate(Calibrate { calibration }));
        assert_eq!((reply.answer, reply.sequence), (Answer::BadCalibration.raw(), 0), "{why}");
        assert_eq!(bench.only(|r| matches!(r, Record::Calibrated(_)).then_some(())).len(), 1, "{why}: no record is made");
        bench.shown();
        assert_eq!(bench.identities().last().unwrap().configuration, before, "{why}");
        assert_eq!(bench.instruments().last().unwrap().stamps, stamps, "{why}");
    }
    let mut bench = bench.restart();
    bench.shown();
    assert_eq!(bench.identities().last().unwrap().configuration, before, "nor is anything in the memory that a start would take up");
}

#[test]
fn an_encoder_table_is_in_the_depth_and_unties_it() {
    let mut bench = Bench::new();
    bench.calibrate(CalibrationItem::Encoder, &[0, 0, 100_000, 10_500_000]); // five per cent more
    bench.open(plan());
    bench.touch();
    bench.go(400.0, 20.0);
    bench.stay(1_000);
    assert!((bench.live().0.depth.0 - 420_000).abs() <= 110, "{:?}", bench.live().0.depth);
}

#[test]
fn while_a_hole_is_open_only_tools_beside_it_are_taken() {
    let mut bench = Bench::new();
    bench.open(plan());
    bench.touch();
    let open = Answer::HoleOpen.raw();
    assert_eq!(bench.calibrate(CalibrationItem::GuidePlay, &[8_000]).answer, open);
    assert_eq!(bench.calibrate(CalibrationItem::Tool, &[1, 950_000, 1_100_000]).answer, open, "the one that is on");
    assert_eq!(bench.calibrate(CalibrationItem::Tool, &[9, 950_000, 1_100_000]).answer, Answer::Done.raw());
    assert!(bench.live().1.referenced);
    assert_eq!(bench.ask(Command::ChangeTool(shared_protocol::message::ChangeTool { tool: 9 })).answer, Answer::Done.raw());
    bench.stay(500);
    // 50 mm longer than tool 1 at the same count
    let tip = bench.tip_mm * 1e3;
    assert!((f64::from(bench.live().0.depth.0) - tip - 50_000.0).abs() <= 100.0);
}

#[test]
fn asking_twice_calibrates_once_even_over_a_restart() {
    let mut bench = Bench::new();
    let ask = || Command::Calibrate(Calibrate { calibration: of(CalibrationItem::GuidePlay, &[8_000]) });
    let first = bench.ask_as(7, ask());
    assert_eq!(bench.ask_as(7, ask()), first);
    let mut bench = bench.restart();
    assert_eq!(bench.ask_as(7, ask()), first);
    assert_eq!(bench.only(|r| matches!(r, Record::Calibrated(_)).then_some(())).len(), 1);
}

#[test]
fn raw_figures_are_what_the_sensors_give_whatever_the_calibration() {
    let mut bench = Bench::new();
    bench.lean = (12_000, -5_000);
    bench.calibrate(CalibrationItem::TiltZero, &[2_000, -1_000, 2_000]);
    bench.tip_mm = 100.0;
    let before = bench.heard.len();
    bench.stay(10_000);
    let raws = bench.heard[before..].iter().filter(|m| matches!(m, shared_protocol::message::Message::Raw(_))).count();
    assert!((19..=21).contains(&raws), "{raws} in ten seconds");
    let raw = bench.raw();
    assert_eq!((raw.forward.0, raw.right.0, raw.count, raw.count_good), (12_000, -5_000, crate::bench::HUB_COUNT + 1_000, 1));
    assert!((999_900..=999_901).contains(&raw.up.0) && (20..=21).contains(&raw.samples), "{raw:?}");
    assert_eq!((raw.scatter, raw.temperature), (0, 2_150));
    (0..20).for_each(|_| bench.round(None, &[]));
    assert_eq!((bench.raw().samples, bench.raw().count_good), (0, 0), "a quiet line gives nothing");
}
