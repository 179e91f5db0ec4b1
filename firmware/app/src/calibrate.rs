//! What a calibration may be, and what it does to the rig's figures.

use crate::correction::Correction;
use crate::profile::{CALIBRATION_POINTS, CalibrationPoint, Profile, TOOLS, ToolEntry};
use core::ops::RangeInclusive;
use heapless::Vec;
use shared_protocol::record::{Calibration, NO_TEMPERATURE};
use shared_protocol::state::CalibrationItem;
use shared_protocol::units::{Lean, MicroG, Micrometres, RigAxes};

/// A tilt zero beyond this is a broken sensor or the wrong axis, µg.
const ZERO: RangeInclusive<i32> = -100_000..=100_000;
/// Temperatures that a rig can have, hundredths of a degree Celsius.
const TEMPERATURE: RangeInclusive<i32> = -6_000..=12_500;
/// Drift, tenths of µg per degree.
const DRIFT: RangeInclusive<i32> = -10_000..=10_000;
/// A turn either way, hundredths of a degree.
const TURN: RangeInclusive<i32> = -18_000..=18_000;
/// How far cosine² + sine² may be from one, in 10⁻¹².
const UNIT_WITHIN: u64 = 100_000_000;
const UNIT: u64 = 1_000_000_000_000;
/// Tool against mast, µm/m.
const LEVEL: RangeInclusive<i32> = -50_000..=50_000;
/// Play in the guide, µm/m.
const PLAY: RangeInclusive<i32> = 0..=50_000;
/// Lengths that an encoder's table may hold, µm.
const LENGTH: RangeInclusive<i32> = -100_000_000..=100_000_000;
/// Slopes of an encoder's table may differ by this factor: rope layers make a few per cent, a slip of the pen ten times.
const SLOPES_WITHIN: i64 = 3;
/// A tool's number, its length and its diameter, µm.
const NUMBER: RangeInclusive<i32> = 1..=255;
const TOOL_LENGTH: RangeInclusive<i32> = 1..=10_000_000;
const TOOL_DIAMETER: RangeInclusive<i32> = 50_000..=5_000_000;
/// A residual beyond so many standard uncertainties contradicts them.
const RESIDUAL_MAX: u32 = 5;

/// Whether a calibration's figures can be right: all there, each in its range, and not at odds with each other.
#[must_use]
pub fn sound(calibration: &Calibration) -> bool {
    let Calibration { who, day, expires, uncertainty, residual, .. } = calibration;
    !who.is_empty() && expires >= day && *residual <= uncertainty.saturating_mul(RESIDUAL_MAX) && values_sound(calibration).unwrap_or(false)
}

fn values_sound(calibration: &Calibration) -> Option<bool> {
    let in_all = |ranges: &[RangeInclusive<i32>]| {
        calibration.values.len() == ranges.len() && calibration.values.iter().zip(ranges).all(|(value, range)| range.contains(value))
    };
    Some(match CalibrationItem::from_raw(calibration.item)? {
        CalibrationItem::TiltZero => {
            let unknown = calibration.values.last() == Some(&i32::from(NO_TEMPERATURE));
            in_all(&[ZERO, ZERO, if unknown { i32::MIN..=i32::MAX } else { TEMPERATURE }])
        }
        CalibrationItem::TiltDrift => in_all(&[DRIFT, DRIFT]),
        CalibrationItem::Mount => {
            let squares = calibration.values.iter().skip(1).map(|v| u64::from(v.unsigned_abs()));
            let sum = squares.fold(0u64, |sum, v| sum.saturating_add(v.saturating_mul(v)));
            in_all(&[TURN, i32::MIN..=i32::MAX, i32::MIN..=i32::MAX]) && sum.abs_diff(UNIT) <= UNIT_WITHIN
        }
        CalibrationItem::ToolLevel => in_all(&[LEVEL, LEVEL]),
        CalibrationItem::Encoder => table_sound(&table(&calibration.values)?),
        CalibrationItem::GuidePlay => in_all(&[PLAY]),
        CalibrationItem::Tool => in_all(&[NUMBER, TOOL_LENGTH, TOOL_DIAMETER]),
    })
}

/// What calibrations change of a board's own profile, as it was before any.
#[derive(Clone, Debug)]
pub(crate) struct Uncalibrated {
    correction: Correction,
    calibration: Table,
    tools: Vec<ToolEntry, TOOLS>,
}

impl Uncalibrated {
    pub(crate) fn of(Profile { correction, calibration, tools, .. }: &Profile) -> Self {
        Self { correction: *correction, calibration: calibration.clone(), tools: tools.clone() }
    }

    /// Gives a profile the board's own figures back.
    pub(crate) fn restore(&self, profile: &mut Profile) {
        profile.correction = self.correction;
        profile.calibration.clone_from(&self.calibration);
        profile.tools.clone_from(&self.tools);
    }
}

type Table = Vec<CalibrationPoint, CALIBRATION_POINTS>;

/// The points that pairs of count and length make; `None` for a half pair.
fn table(values: &[i32]) -> Option<Table> {
    let mut table = Table::new();
    for pair in values.chunks(2) {
        let [count, length] = *pair else { return None };
        table.push(CalibrationPoint { count, length: Micrometres(length) }).ok()?;
    }
    Some(table)
}

/// Two points or more; counts strictly rising or strictly falling, lengths strictly rising, slopes alike.
fn table_sound(table: &Table) -> bool {
    let steps = || table.windows(2).filter_map(|w| if let [a, b] = w { Some((a, b)) } else { None });
    let run = |(a, b): (&CalibrationPoint, &CalibrationPoint)| i64::from(b.count).wrapping_sub(i64::from(a.count));
    let rise = |(a, b): (&CalibrationPoint, &CalibrationPoint)| i64::from(b.length.0).wrapping_sub(i64::from(a.length.0));
    let Some(first) = steps().next() else { return false };
    let one_way = steps().all(|step| run(step) != 0 && (run(step) > 0) == (run(first) > 0) && rise(step) > 0);
    // Slopes rise/run are compared crosswise, so that nothing is divided: 28 bits by 33 and a few.
    let product = |a, b| rise(a).wrapping_mul(run(b).wrapping_abs());
    let alike = |a, b| product(a, b) <= product(b, a).wrapping_mul(SLOPES_WITHIN);
    let in_range = table.iter().all(|point| LENGTH.contains(&point.length.0));
    in_range && one_way && steps().all(|a| steps().all(|b| alike(a, b)))
}

/// Whether the rig's tables can take it: a tool needs a place of its own or its own number's.
#[must_use]
pub fn has_room(profile: &Profile, calibration: &Calibration) -> bool {
    let number = calibration.values.first().and_then(|&number| u8::try_from(number).ok());
    let known = profile.tools.iter().any(|tool| Some(tool.number) == number);
    calibration.item != CalibrationItem::Tool.raw() || known || !profile.tools.is_full()
}

/// Takes a sound calibration into the rig's figures. A tool that the table has no room for is left out.
pub fn apply(profile: &mut Profile, calibration: &Calibration) {
    let correction = &mut profile.correction;
    match (CalibrationItem::from_raw(calibration.item), calibration.values.as_slice()) {
        (Some(CalibrationItem::TiltZero), &[forward, right, temperature]) => {
            correction.zero = RigAxes { forward: MicroG(forward), right: MicroG(right) };
            correction.zero_at = i16::try_from(temperature).ok().filter(|&t| t != NO_TEMPERATURE);
        }
        (Some(CalibrationItem::TiltDrift), &[forward, right]) => correction.drift = RigAxes { forward, right },
        (Some(CalibrationItem::Mount), &[_, cosine, sine]) => correction.turn = (cosine, sine),
        (Some(CalibrationItem::ToolLevel), &[forward, right]) => {
            correction.level = RigAxes { forward: Lean(forward), right: Lean(right) };
        }
        (Some(CalibrationItem::Encoder), values) => profile.calibration = table(values).unwrap_or_default(),
        (Some(CalibrationItem::Tool), &[number, length, diameter]) => {
            let number = u8::try_from(number).unwrap_or(0);
            let entry = ToolEntry { number, length: Micrometres(length), diameter: Micrometres(diameter) };
            match profile.tools.iter_mut().find(|tool| tool.number == number) {
                Some(tool) => *tool = entry,
                None => drop(profile.tools.push(entry)),
            }
        }
        _ => {} // play in the guide changes no figure, only what it is worth
    }
}

#[cfg(test)]
pub(crate) mod tests;
