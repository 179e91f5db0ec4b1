//! The uncertainty budget of one hole: every source with its value, distribution and sensitivity, after JCGM 100.
//!
//! Where a calibration is in force, its own uncertainty is taken; where none is, an allowance that says so. The
//! allowances are common practice, no source, and stand in one list so that an owner may replace them.

use super::axis::{Axis, Noise, metres};
use super::closing::{Correction, correction};
use super::distance::{distance_interval, radius};
use super::freedom::{CIRCLE, INTERVAL, circle, effective, interval};
use super::spread::{COVERAGE, Shape, Spread};
use crate::facts::SetUp;
use shared_protocol::record::{NO_TEMPERATURE, Stamp};
use shared_protocol::state::CalibrationItem;

/// Allowances for what no calibration says. Common practice, no source.
#[derive(Clone, Copy, Debug)]
pub struct Allowances {
    /// Setting the tip on the hub, standard deviation, m.
    pub hub_touch: f64,
    /// Levelling the hub to the datum, standard deviation, m: 10 mm at most.
    pub hub_level: f64,
    /// The floor's mean level against the cutting edge at its deepest, standard deviation, m: 30 mm at most, crumbs and
    /// a bottom that is not flat.
    pub floor: f64,
    /// Telling a held tip from a moving one, standard deviation, m.
    pub held: f64,
    /// Stretch and warming of what carries the tool, half-width, m per m.
    pub stretch: f64,
    /// An encoder that was never taped, half-width, m per m.
    pub untaped: f64,
    /// A tilt sensor whose zero was never found, half-width, m/m.
    pub no_zero: f64,
    /// Drift of the zero with temperature where it was never measured, half-width, m/m per degree.
    pub drift: f64,
    /// Difference of temperature from calibration where nothing measures it, degrees.
    pub unknown_warming: f64,
    /// A tool that was never levelled against its mast, half-width, m/m.
    pub no_tool_level: f64,
    /// Play in a guide that was never measured, radius, m/m: 10 mm over a metre.
    pub play: f64,
    /// How far the string wanders within its play between two places in the hole, standard deviation on each axis, as a
    /// share of the play's radius.
    pub wander: f64,
    /// Bending of the tool string, half-width, m/m.
    pub bending: f64,
    /// Slack of the rope on the bottom, half-width, m.
    pub slack: f64,
    /// Sinking of the rig while it drills, half-width, m: to be reckoned with where no touch of the hub corrects it.
    pub sinking: f64,
    /// Settling of the rig to one side while it drills, half-width, m.
    pub settling: f64,
}

impl Default for Allowances {
    fn default() -> Self {
        Self {
            hub_touch: 0.001_5,
            hub_level: 0.004,
            floor: 0.012,
            held: 0.001,
            stretch: 0.000_5,
            untaped: 0.02,
            no_zero: 0.020,
            drift: 0.000_1,
            unknown_warming: 20.0,
            no_tool_level: 0.005,
            play: 0.010,
            wander: 0.11,
            bending: 0.000_5,
            slack: 0.004,
            sinking: 0.005,
            settling: 0.003,
        }
    }
}

/// The source that stands for not knowing which of the two models the bore followed.
pub const MODEL: &str = "stick or wall-guided";

/// Whether an error is the same all along the hole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Along {
    /// The same: it does not average out.
    Same,
    /// Different from one place to the next.
    Varies,
}

/// What a source's value is counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Metres.
    Metres,
    /// Metres per metre.
    MetresPerMetre,
    /// Radians.
    Radians,
}

/// One source of uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What it is.
    pub source: &'static str,
    /// Where its value comes from.
    pub basis: String,
    /// Its value.
    pub value: Shape,
    /// Degrees of freedom of a value that was estimated from readings; `None` for one that is stated.
    pub freedom: Option<f64>,
    /// What was added to the result for it, in metres; `None` where nothing is corrected.
    pub correction: Option<f64>,
    /// What the value is counted in.
    pub unit: Unit,
    /// What one unit of it does to the result, in metres.
    pub sensitivity: f64,
    /// Along the hole.
    pub along: Along,
}

impl Row {
    /// What it contributes, in metres.
    #[must_use]
    pub fn contributes(&self) -> Shape {
        self.value.times(self.sensitivity)
    }
}

/// A budget with its result.
#[derive(Clone, Debug)]
pub struct Budget {
    /// Every source.
    pub rows: Vec<Row>,
    /// Combined standard uncertainty, m.
    pub standard: f64,
    /// Half-width of the 95 % interval, m; for a toe the radius of the 95 % circle.
    pub expanded: f64,
    /// Beyond the figure and this lies no more than once in forty what is truly there, m.
    pub guard: f64,
    /// Effective degrees of freedom; `None` where nothing was estimated from readings.
    pub freedom: Option<f64>,
    /// The one bounded source that makes most of it, where there is one: the factor is then not that of a normal
    /// distribution.
    pub dominated_by: Option<&'static str>,
}

impl Budget {
    /// Coverage factor: expanded over standard.
    #[must_use]
    pub fn factor(&self) -> f64 {
        if self.standard > 0.0 { self.expanded / self.standard } else { 0.0 }
    }

    fn of(rows: Vec<Row>) -> Self {
        let spread = Spread::of(&rows.iter().map(Row::contributes).collect::<Vec<_>>());
        let freedom = effective(&rows, spread.standard());
        let expanded = spread.half_width(COVERAGE) * interval(freedom) / INTERVAL;
        Self { dominated_by: dominant(&rows, spread.standard()), standard: spread.standard(), expanded, guard: expanded, freedom, rows }
    }
}

/// A bounded source with more than half of the variance.
fn dominant(rows: &[Row], standard: f64) -> Option<&'static str> {
    let most = |row: &&Row| row.value.end().is_some() && row.contributes().standard().powi(2) > 0.5 * standard.powi(2);
    rows.iter().find(most).map(|row| row.source)
}

/// All budgets of a hole.
#[derive(Clone, Debug)]
pub struct Budgets {
    /// Depth of the hole below the datum: half-width of the interval, m.
    pub depth: Budget,
    /// The same without the floor: depth of the cutting edge.
    pub edge: Budget,
    /// The toe's distance from the vertical: half-width of the interval, m.
    pub distance: Budget,
    /// The toe as a place: radius of the circle, m.
    pub place: Budget,
    /// Lean over 100 mm anywhere: half-width, m/m.
    pub local: Budget,
}

/// Draws up the budgets for a bore whose bottom is at `bottom` below the hub, m.
#[must_use]
pub fn budgets(setup: &SetUp, axis: &Axis, bottom: f64, allow: &Allowances) -> Budgets {
    let depth = depth_rows(setup, axis.length(bottom), allow);
    let mut floor = depth.clone();
    floor.push(row("floor against cutting edge", "allowance", Shape::Normal(allow.floor), 1.0, Along::Varies));
    let toe = ToeRows::of(setup, axis, bottom, allow);
    let local = [at_length(&toe.attitude, 1.0), vec![noise_row("noise of 100 mm", axis.end_noise, 1.0)]].concat();
    let distance = distance(&toe.common, &toe.along, &toe.across, axis.at(bottom).map_or(0.0, |end| end.offset.magnitude()));
    Budgets { edge: Budget::of(depth), depth: Budget::of(floor), place: toe.place(), distance, local: Budget::of(local) }
}

/// Radius of the circle about the axis at `bottom` below the hub, m: that of [`budgets`], without the others.
#[must_use]
pub fn circle_at(setup: &SetUp, axis: &Axis, bottom: f64, allow: &Allowances) -> f64 {
    ToeRows::of(setup, axis, bottom, allow).place().expanded
}

/// What the toe is worth, source by source.
struct ToeRows {
    attitude: Vec<Row>,
    common: Vec<Row>,
    along: Vec<Row>,
    across: Vec<Row>,
    heading: Row,
}

impl ToeRows {
    fn of(setup: &SetUp, axis: &Axis, bottom: f64, allow: &Allowances) -> Self {
        let attitude = attitude_rows(setup, allow);
        let ends = end_rows(axis, bottom, play(&attitude), allow);
        let common = [at_length(&attitude, axis.length(bottom)), ends].concat();
        let (along, across) = model_rows(axis, bottom);
        Self { attitude, common, along, across, heading: heading_row(setup, axis, bottom) }
    }

    fn place(&self) -> Budget {
        place(&self.common, &self.along, &[&self.across[..], std::slice::from_ref(&self.heading)].concat())
    }
}

fn at_length(rows: &[Row], length: f64) -> Vec<Row> {
    rows.iter().cloned().map(|row| Row { sensitivity: length, ..row }).collect()
}

/// The toe's distance from the vertical, measured as `toe`: what acts across its direction matters where it is small.
fn distance(common: &[Row], along: &[Row], across: &[Row], toe: f64) -> Budget {
    let (disc, along_it, across_it) = by_axis(common, along, across);
    let rows = [common, along].concat();
    let standard = rows.iter().map(|row| row.contributes().standard().powi(2)).sum::<f64>().sqrt();
    let freedom = effective(&rows, standard);
    let (expanded, guard) = distance_interval(&along_it, &across_it, disc, toe, COVERAGE);
    let factor = interval(freedom) / INTERVAL;
    let dominated_by = dominant(&rows, standard);
    Budget { expanded: expanded * factor, guard: guard * factor, dominated_by, standard, freedom, rows }
}

/// The region of a toe: what is common to both axes, what acts along the toe's direction and what across it.
fn place(common: &[Row], along: &[Row], across: &[Row]) -> Budget {
    let (disc, x, y) = by_axis(common, along, across);
    let standard = (f64::midpoint(x.standard().powi(2), y.standard().powi(2)) + Shape::Disc(disc).standard().powi(2)).sqrt();
    let rows: Vec<Row> = [common, along, across].concat();
    let freedom = effective(&rows, standard);
    let expanded = radius(&x, &y, disc, COVERAGE) * circle(freedom) / CIRCLE;
    Budget { dominated_by: dominant(&rows, standard), standard, expanded, guard: expanded, freedom, rows }
}

/// The radius of the disc, which is not independent on both axes, and what adds up along the toe's direction and across it
/// without it.
fn by_axis(common: &[Row], along: &[Row], across: &[Row]) -> (f64, Spread, Spread) {
    let is_disc = |row: &&Row| matches!(row.value, Shape::Disc(_));
    let disc = common.iter().filter(is_disc).filter_map(|row| row.contributes().end()).fold(0.0, f64::max);
    let alone = |rows: &[Row]| common.iter().chain(rows).filter(|r| !is_disc(r)).map(Row::contributes).collect::<Vec<_>>();
    (disc, Spread::of(&alone(along)), Spread::of(&alone(across)))
}

fn row(source: &'static str, basis: impl Into<String>, value: Shape, sensitivity: f64, along: Along) -> Row {
    Row { source, basis: basis.into(), value, freedom: None, correction: None, unit: Unit::Metres, sensitivity, along }
}

impl Row {
    fn in_unit(self, unit: Unit) -> Self {
        Self { unit, ..self }
    }
}

fn noise_row(source: &'static str, noise: Noise, sensitivity: f64) -> Row {
    let value = Shape::Normal(noise.deviation);
    let row = row(source, "recorded scatter", value, sensitivity, Along::Varies).in_unit(Unit::MetresPerMetre);
    Row { freedom: Some(noise.freedom), ..row }
}

/// The stamp of a calibration in force.
#[must_use]
pub fn stamp(setup: &SetUp, item: CalibrationItem) -> Option<&Stamp> {
    setup.instruments.as_ref()?.stamps.iter().find(|s| s.item == item.raw())
}

/// A calibrated source, or the allowance for its lack. `unit` turns the stamp's unit into metres or metres per metre.
fn calibrated(setup: &SetUp, item: CalibrationItem, source: &'static str, unit: f64, without: Shape) -> Row {
    match stamp(setup, item) {
        Some(stamp) => {
            row(source, format!("calibration of {}", day(stamp.day)), Shape::Normal(f64::from(stamp.uncertainty) * unit), 1.0, Along::Same)
        }
        None => row(source, "allowance: never calibrated", without, 1.0, Along::Same),
    }
}

/// A day since 1970-01-01 as a date.
#[must_use]
pub fn day(days: u32) -> String {
    jiff::civil::date(1970, 1, 1)
        .checked_add(jiff::Span::new().days(i64::from(days.min(3_000_000))))
        .map_or_else(|_| "an impossible day".to_owned(), |date| date.to_string())
}

fn depth_rows(setup: &SetUp, length: f64, allow: &Allowances) -> Vec<Row> {
    let encoder = calibrated(setup, CalibrationItem::Encoder, "encoder's scale", 1e-6, Shape::Rectangular(allow.untaped * length));
    let mut rows = vec![
        encoder,
        row("setting the tip on the hub", "allowance", Shape::Normal(allow.hub_touch), 1.0, Along::Same),
        row("levelling the hub to the datum", "allowance", Shape::Normal(allow.hub_level), 1.0, Along::Same),
    ];
    rows.extend(misclosure_rows(setup, allow));
    rows.extend([
        row("telling the held bottom", "allowance", Shape::Normal(allow.held), 1.0, Along::Varies),
        row("slack rope on the bottom", "allowance", Shape::Rectangular(allow.slack), 1.0, Along::Varies),
        row("stretch and warming", "allowance", Shape::Rectangular(allow.stretch), length, Along::Same).in_unit(Unit::MetresPerMetre),
    ]);
    rows
}

/// How the zero moved: what a touch of the hub corrects of it, else all that it may have.
fn misclosure_rows(setup: &SetUp, allow: &Allowances) -> Vec<Row> {
    let source = "misclosure on the hub";
    if let Some(Correction { value, within }) = correction(setup) {
        let corrected = row(source, "touches of the hub", Shape::Rectangular(within), 1.0, Along::Varies);
        return vec![Row { correction: Some(value), ..corrected }];
    }
    let worst = setup.hubs.iter().filter(|h| h.body.first == 0).map(|h| metres(h.body.misclosure).abs()).fold(0.0, f64::max);
    vec![
        row(source, "touches of the hub", Shape::Rectangular(worst), 1.0, Along::Varies),
        row("sinking of the rig", "allowance", Shape::Rectangular(allow.sinking), 1.0, Along::Varies),
    ]
}

/// What the tool's attitude is worth, metres per metre; the same all along the hole.
fn attitude_rows(setup: &SetUp, allow: &Allowances) -> Vec<Row> {
    let zero = calibrated(setup, CalibrationItem::TiltZero, "tilt sensor's zero", 1e-6, Shape::Rectangular(allow.no_zero));
    let level = calibrated(setup, CalibrationItem::ToolLevel, "tool against mast", 1e-6, Shape::Rectangular(allow.no_tool_level));
    let play = match stamp(setup, CalibrationItem::GuidePlay) {
        Some(stamp) => row(
            "play in the guide",
            format!("calibration of {}", day(stamp.day)),
            Shape::Disc(f64::from(stamp.value.unsigned_abs()) * 1e-6),
            1.0,
            Along::Same,
        ),
        None => row("play in the guide", "allowance: never measured", Shape::Disc(allow.play), 1.0, Along::Same),
    };
    let rows = [
        zero,
        warming_row(setup, allow),
        level,
        play,
        row("bending of the tool", "allowance", Shape::Rectangular(allow.bending), 1.0, Along::Same),
    ];
    rows.map(|r| r.in_unit(Unit::MetresPerMetre)).to_vec()
}

/// Drift of the zero over the difference of temperature from its calibration.
fn warming_row(setup: &SetUp, allow: &Allowances) -> Row {
    let known = |temperature: i16| (temperature != NO_TEMPERATURE).then(|| f64::from(temperature) / 100.0);
    let now = setup.identity.as_ref().and_then(|i| known(i.temperature));
    let then = stamp(setup, CalibrationItem::TiltZero).and_then(|s| i16::try_from(s.value).ok()).and_then(known);
    let warmest = setup.passes.iter().map(|p| p.body.temperature).filter(|t| *t != i8::MIN).map(f64::from);
    let warming = match (now, then) {
        (Some(now), Some(then)) => warmest.chain([now]).map(|t| (t - then).abs()).fold(0.0, f64::max),
        _ => allow.unknown_warming,
    };
    match stamp(setup, CalibrationItem::TiltDrift) {
        Some(stamp) => {
            let per_degree = f64::from(stamp.uncertainty) * 1e-7;
            row(
                "drift with temperature",
                format!("calibration of {}", day(stamp.day)),
                Shape::Normal(per_degree * warming),
                1.0,
                Along::Same,
            )
        }
        None => row("drift with temperature", "allowance: never measured", Shape::Rectangular(allow.drift * warming), 1.0, Along::Same),
    }
}

/// Radius of the play in the guide.
fn play(attitude: &[Row]) -> f64 {
    attitude.iter().filter(|row| matches!(row.value, Shape::Disc(_))).filter_map(|row| row.value.end()).fold(0.0, f64::max)
}

/// What the leans at either end of the bore are worth; settling of the rig.
///
/// The string lies somewhere within its play, and what is the same all along acts over the bore's length. Between the
/// place where drilling began and the bottom it wanders within it, which the sensor on the mast does not see. Of a straight
/// stick each end counts by its whole arm from the guide, of a tool that follows the bore neither does, since it averages
/// out; of a bore between the two, the share is as likely anywhere from none to all: its mean square is a third.
fn end_rows(axis: &Axis, bottom: f64, play: f64, allow: &Allowances) -> Vec<Row> {
    let (above, below) = (axis.guide + axis.ground, axis.guide + bottom);
    let wander = Shape::Normal(allow.wander * play);
    let wanders = row("wander within the play", "allowance", wander, above.hypot(below) / 3.0_f64.sqrt(), Along::Varies);
    // The middle of both models takes half of the stick's arms, and half of the wall-guided sum's mean, which is far quieter.
    vec![
        noise_row("noise at the bottom", axis.end_noise, 0.5 * below),
        noise_row("noise where drilling began", axis.start_noise, 0.5 * above),
        wanders.in_unit(Unit::MetresPerMetre),
        row("settling of the rig", "allowance", Shape::Rectangular(allow.settling), 1.0, Along::Varies),
    ]
}

/// Half of what the two models differ by, along the toe's direction and across it.
fn model_rows(axis: &Axis, bottom: f64) -> (Vec<Row>, Vec<Row>) {
    let Some(end) = axis.at(bottom) else { return (Vec::new(), Vec::new()) };
    let half = end.stick.minus(end.wall).times(0.5);
    let size = end.offset.magnitude();
    let unit = if size > 0.0 { end.offset.times(1.0 / size) } else { super::axes::LineAxes { ahead: 1.0, right: 0.0 } };
    let along = half.ahead * unit.ahead + half.right * unit.right;
    let across = half.right * unit.ahead - half.ahead * unit.right;
    let model = |value: f64| row(MODEL, "half of their difference", Shape::Rectangular(value.abs()), 1.0, Along::Same);
    (vec![model(along)], vec![model(across)])
}

/// What the heading is worth turns the toe about the hole's start.
fn heading_row(setup: &SetUp, axis: &Axis, bottom: f64) -> Row {
    let within = (f64::from(setup.opened.body.plan.heading_within.0) / 100.0).to_radians();
    let arm = axis.at(bottom).map_or(0.0, |end| end.offset.magnitude());
    row("heading", "as entered with the plan", Shape::Rectangular(within.min(std::f64::consts::PI)), arm, Along::Same)
        .in_unit(Unit::Radians)
}
