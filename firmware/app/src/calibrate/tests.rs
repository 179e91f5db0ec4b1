//! What is refused and what is not, and what each kind changes.

use super::*;
use shared_protocol::record::VALUES_MAX;

pub fn of(item: CalibrationItem, values: &[i32]) -> Calibration {
    let who = "bench".try_into().unwrap();
    Calibration {
        item: item.raw(),
        who,
        day: 20_000,
        expires: 20_365,
        uncertainty: 300,
        residual: 200,
        values: Vec::from_slice(values).unwrap(),
    }
}

/// Cosine and sine of 30 degrees.
const MOUNT: [i32; 3] = [3_000, 866_025, 500_000];
const TABLE: [i32; 6] = [0, 0, 100_000, 10_000_000, 200_000, 19_400_000];

#[test]
fn what_can_be_right_is_sound() {
    for good in [
        of(CalibrationItem::TiltZero, &[1_500, -2_300, 2_150]),
        of(CalibrationItem::TiltZero, &[100_000, -100_000, NO_TEMPERATURE.into()]),
        of(CalibrationItem::TiltDrift, &[500, -200]),
        of(CalibrationItem::Mount, &MOUNT),
        of(CalibrationItem::Mount, &[-9_000, 0, -1_000_000]),
        of(CalibrationItem::ToolLevel, &[-3_000, 50_000]),
        of(CalibrationItem::Encoder, &TABLE),
        of(CalibrationItem::Encoder, &[5_000, 0, -195_000, 20_000_000]), // counts that fall
        of(CalibrationItem::Encoder, &[i32::MIN, -100_000_000, i32::MAX, 100_000_000]),
        of(CalibrationItem::GuidePlay, &[8_000]),
        of(CalibrationItem::Tool, &[4, 1_250_000, 900_000]),
        Calibration { expires: 20_000, residual: 1_500, ..of(CalibrationItem::GuidePlay, &[0]) },
    ] {
        assert!(sound(&good), "{good:?}");
    }
}

#[test]
fn what_cannot_be_right_is_refused() {
    let play = || of(CalibrationItem::GuidePlay, &[8_000]);
    for bad in [
        Calibration { item: 0, ..play() },
        Calibration { item: 99, ..play() },
        Calibration { who: "".try_into().unwrap(), ..play() },
        Calibration { expires: 19_999, ..play() },
        Calibration { residual: 1_501, ..play() }, // more than five standard uncertainties
        Calibration { uncertainty: 0, residual: 1, ..play() },
        of(CalibrationItem::GuidePlay, &[]),
        of(CalibrationItem::GuidePlay, &[8_000, 8_000]),
        of(CalibrationItem::GuidePlay, &[-1]),
        of(CalibrationItem::GuidePlay, &[50_001]),
        of(CalibrationItem::TiltZero, &[100_001, 0, 2_000]),
        of(CalibrationItem::TiltZero, &[0, 0, 12_501]),
        of(CalibrationItem::TiltZero, &[0, 0]),
        of(CalibrationItem::TiltDrift, &[0, -10_001]),
        of(CalibrationItem::Mount, &[18_001, 1_000_000, 0]),
        of(CalibrationItem::Mount, &[3_000, 866_025, 500_200]), // no cosine and sine of one angle
        of(CalibrationItem::Mount, &[3_000, i32::MIN, i32::MIN]),
        of(CalibrationItem::ToolLevel, &[0, 50_001]),
        of(CalibrationItem::Encoder, &[]),
        of(CalibrationItem::Encoder, &[0, 0]),
        of(CalibrationItem::Encoder, &[0, 0, 100_000]),
        of(CalibrationItem::Encoder, &[0, 0, 0, 10_000_000]), // the same count twice
        of(CalibrationItem::Encoder, &[0, 0, 100_000, 10_000_000, 50_000, 20_000_000]), // there and back
        of(CalibrationItem::Encoder, &[0, 0, 100_000, 10_000_000, 200_000, 9_000_000]), // lengths that fall
        of(CalibrationItem::Encoder, &[0, 0, 100_000, 10_000_000, 110_000, 14_000_000]), // four times as steep
        of(CalibrationItem::Encoder, &[0, 0, 100_000, 100_000_001]),
        of(CalibrationItem::Tool, &[0, 1_250_000, 900_000]),
        of(CalibrationItem::Tool, &[256, 1_250_000, 900_000]),
        of(CalibrationItem::Tool, &[4, 0, 900_000]),
        of(CalibrationItem::Tool, &[4, 1_250_000, 49_999]),
    ] {
        assert!(!sound(&bad), "{bad:?}");
    }
}

#[test]
fn each_kind_changes_what_it_is_of_and_nothing_else() {
    let applied = |calibration: &Calibration| {
        let mut profile = Profile::bench();
        apply(&mut profile, calibration);
        profile
    };
    let bench = Profile::bench();
    let zero = applied(&of(CalibrationItem::TiltZero, &[1_500, -2_300, 2_150]));
    assert_eq!((zero.correction.zero.forward.0, zero.correction.zero.right.0, zero.correction.zero_at), (1_500, -2_300, Some(2_150)));
    assert_eq!(applied(&of(CalibrationItem::TiltZero, &[1, 2, NO_TEMPERATURE.into()])).correction.zero_at, None);
    let drift = applied(&of(CalibrationItem::TiltDrift, &[500, -200])).correction;
    assert_eq!((drift.drift.forward, drift.drift.right), (500, -200));
    assert_eq!(applied(&of(CalibrationItem::Mount, &MOUNT)).correction.turn, (866_025, 500_000));
    let level = applied(&of(CalibrationItem::ToolLevel, &[-3_000, 700])).correction.level;
    assert_eq!((level.forward.0, level.right.0), (-3_000, 700));
    let encoder = applied(&of(CalibrationItem::Encoder, &TABLE));
    assert_eq!(
        encoder.calibration.iter().map(|p| (p.count, p.length.0)).collect::<std::vec::Vec<_>>(),
        [(0, 0), (100_000, 10_000_000), (200_000, 19_400_000)]
    );
    assert_eq!(applied(&of(CalibrationItem::GuidePlay, &[8_000])), bench);
    let tool = applied(&of(CalibrationItem::Tool, &[2, 1_250_000, 900_000]));
    assert_eq!(tool.tools.len(), 3);
    assert_eq!((tool.tools[1].length.0, tool.tools[1].diameter.0), (1_250_000, 900_000));
    for changed in [
        Profile { correction: bench.correction, ..zero },
        Profile { calibration: bench.calibration.clone(), ..encoder },
        Profile { tools: bench.tools.clone(), ..tool },
    ] {
        assert_eq!(changed, bench);
    }
}

#[test]
fn the_tool_table_takes_as_many_as_it_has_room_for() {
    let mut profile = Profile::bench();
    for number in 11..=15 {
        let tool = of(CalibrationItem::Tool, &[number, 1_000_000, 900_000]);
        assert!(has_room(&profile, &tool));
        apply(&mut profile, &tool);
    }
    assert_eq!(profile.tools.len(), crate::profile::TOOLS);
    assert!(!has_room(&profile, &of(CalibrationItem::Tool, &[16, 1_000_000, 900_000])));
    assert!(has_room(&profile, &of(CalibrationItem::Tool, &[15, 1_000_000, 900_000])), "its own place");
    assert!(has_room(&profile, &of(CalibrationItem::GuidePlay, &[0])));
}

proptest::proptest! {
    #[test]
    fn any_values_are_judged_and_what_is_sound_is_applied_without_panic(
        item in 0u8..9,
        values in proptest::collection::vec(proptest::prelude::any::<i32>(), 0..VALUES_MAX),
        dates: (u32, u32, u32, u32),
    ) {
        let values = Vec::from_slice(&values).unwrap();
        let calibration = Calibration { item, who: "x".try_into().unwrap(), day: dates.0, expires: dates.1, uncertainty: dates.2, residual: dates.3, values };
        let _ = sound(&calibration);
        let mut profile = Profile::bench();
        apply(&mut profile, &calibration);
        proptest::prop_assert!(profile.tools.len() <= 4);
    }
}
