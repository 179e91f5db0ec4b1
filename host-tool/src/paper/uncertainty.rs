//! What the figures of a hole are worth, table by table: the budget's results and sources, the calibrations.

use super::attached::held;
use super::figures::{heading, list, remark};
use super::hole::Hole;
use super::layout::flow::Flow;
use super::layout::table::{figures, names, table, times, words};
use super::limits::MEAN_LENGTH;
use super::words::{NONE, Units};
use super::worth::{Quantity, two_digits};
use crate::calibrate::in_force::ITEMS;
use crate::facts::Timed;
use crate::judge::budget::{Along, Budget, Budgets, MODEL, Row, Unit, day};
use crate::judge::spread::Shape;
use crate::judge::validity;
use shared_protocol::record::{Calibrated, Calibration, Stamp};
use shared_protocol::state::CalibrationItem;

/// Degrees of freedom from which on the factor no longer shows them.
const FREEDOM_SAID: f64 = 1_000.0;

/// The heads of what the figures are worth, and of what that is made of.
pub const RESULTS: [&str; 6] = ["Uncertainty of", "Combined, standard", "Freedom, ν", "Factor", "95 %", "Most of it, and bounded"];
/// See [`RESULTS`].
pub const SOURCES: [&str; 8] = ["Source", "Acts on", "Where from", "Value", "Shape", "Times", "Along", "Makes"];
/// Where there is nothing that could be worth anything.
pub const NO_BUDGET: &str = "No budget: no hole was recorded below the ground.";
/// How both tables are read.
pub const KEY: &str = "After JCGM 100 and 101. A normal value is a standard deviation, a rectangular one a half-width, that of a disc its \
radius, all places alike; “makes” is what it adds as a standard deviation; a correction is in the figure, and its value is what is left; ν \
counts the degrees of freedom of what was estimated from readings, and the effective ones of a sum. The factor comes from the distribution of \
the sum; for a toe as a place it is that of a circle, 2.45 where all is normal. Allowances are common practice, no source.";

/// Results, then sources.
pub fn budget(flow: &mut Flow, hole: &Hole<'_>) {
    let rows = results(hole);
    if rows.is_empty() {
        heading(flow, "Uncertainty");
        remark(flow, NO_BUDGET);
        return;
    }
    let [of, standard, freedom, factor, interval, most] = RESULTS;
    let columns =
        [names(of, 2.65), figures(standard, 1.65), figures(freedom, 0.9), figures(factor, 0.6), figures(interval, 1.0), words(most, 2.1)];
    list(flow, "Uncertainty", &columns, &rows);
    flow.space(5.0);
    let [source, on, basis, value, shape, factor, along, makes] = SOURCES;
    let columns = [
        times(source, 2.45),
        words(on, 1.05),
        words(basis, 2.62),
        words(value, 1.3),
        words(shape, 1.2),
        figures(factor, 0.85),
        words(along, 0.62),
        figures(makes, 1.0),
    ];
    table(flow, &columns, &sources(hole));
    remark(flow, KEY);
}

/// What each figure of a hole is worth, by the heads of [`RESULTS`]; none where nothing was recorded below the ground.
#[must_use]
pub fn results(hole: &Hole<'_>) -> Vec<Vec<String>> {
    let (units, judged) = (hole.units(), hole.judged);
    let row = |name: &str, quantity: Quantity, budget: &Budget, per: f64| {
        vec![
            name.to_owned(),
            units.amount(quantity, budget.standard / per),
            freedom(budget.freedom),
            format!("{:.2}", budget.factor()),
            format!("± {}", units.amount(quantity, budget.expanded / per)),
            budget.dominated_by.map_or(NONE.to_owned(), str::to_owned),
        ]
    };
    let soundings = judged.soundings.as_ref();
    let mut rows: Vec<Vec<String>> =
        soundings.map(|b| row("depth of the hole, by soundings", Quantity::Depth, b, 1.0)).into_iter().collect();
    let Some(budgets) = &judged.budgets else { return rows };
    let floor = if soundings.is_some() { "the same by the rig, with the floor" } else { "depth of the hole, with its floor" };
    rows.push(row(floor, Quantity::Depth, &budgets.depth, 1.0));
    rows.push(row("depth of the cutting edge", Quantity::Depth, &budgets.edge, 1.0));
    if judged.toe.is_some() {
        rows.push(row("toe's distance off the vertical", Quantity::Offset, &budgets.distance, 1.0));
        rows.push(row("toe as a place: radius of the circle", Quantity::Offset, &budgets.place, 1.0));
        if let Some(length) = hole.length() {
            rows.push(row("lean over the whole hole", Quantity::Lean, &budgets.distance, length));
        }
        rows.push(row(&format!("lean over any {}", units.short(MEAN_LENGTH)), Quantity::Lean, &budgets.local, 1.0));
    }
    rows
}

/// Every source with what it acts on; those of the toe only where there is one.
#[must_use]
pub fn acts_on(budgets: &Budgets, toe_known: bool) -> Vec<(&'static str, &Row)> {
    let both = budgets.distance.rows.len();
    let acts = |i: usize, row: &Row| match i {
        _ if i >= both => "toe, across",
        _ if row.source == MODEL => "toe, along",
        _ => "toe",
    };
    let toe = budgets.place.rows.iter().enumerate().filter(|_| toe_known).map(|(i, row)| (acts(i, row), row));
    budgets.depth.rows.iter().map(|row| ("depth", row)).chain(toe).collect()
}

/// Every source, by the heads of [`SOURCES`].
#[must_use]
pub fn sources(hole: &Hole<'_>) -> Vec<Vec<String>> {
    let (units, judged) = (hole.units(), hole.judged);
    let row = |(on, row): (&'static str, &Row)| {
        let along = match row.along {
            Along::Same => "same",
            Along::Varies => "varies",
        };
        vec![
            row.source.to_owned(),
            on.to_owned(),
            basis(units, row),
            value(units, row),
            distribution(row),
            if row.unit == Unit::Metres { two_digits(row.sensitivity.abs()) } else { units.arm(row.sensitivity.abs()) },
            along.to_owned(),
            units.amount(Quantity::Offset, row.contributes().standard()),
        ]
    };
    let taped = judged.soundings.iter().flat_map(|b| &b.rows).map(|row| ("soundings", row));
    let by_rig = judged.budgets.iter().flat_map(|budgets| acts_on(budgets, judged.toe.is_some()));
    taped.chain(by_rig).map(row).collect()
}

/// Where a value comes from, or what was corrected, of which the value is the rest.
fn basis(units: Units, row: &Row) -> String {
    row.correction.map_or_else(|| row.basis.clone(), |correction| format!("correction {}", units.correction(correction)))
}

fn value(units: Units, row: &Row) -> String {
    let amount = |value: f64| match row.unit {
        Unit::Metres => units.amount(Quantity::Offset, value),
        Unit::MetresPerMetre => units.amount(Quantity::Lean, value),
        Unit::Radians => format!("{}°", two_digits(value.to_degrees())),
    };
    match row.value {
        Shape::Normal(deviation) => amount(deviation),
        Shape::Rectangular(half_width) => format!("± {}", amount(half_width)),
        Shape::Disc(radius) => amount(radius),
    }
}

fn distribution(row: &Row) -> String {
    let name = match row.value {
        Shape::Normal(_) => "normal",
        Shape::Rectangular(_) => "rectangular",
        Shape::Disc(_) => "disc",
    };
    let said = row.freedom.filter(|freedom| *freedom < FREEDOM_SAID);
    said.map_or_else(|| name.to_owned(), |_| format!("{name}, ν {}", freedom(said)))
}

/// Effective degrees of freedom in whole ones, as JCGM 100 rounds them: downwards.
fn freedom(effective: Option<f64>) -> String {
    match effective {
        None => NONE.to_owned(),
        Some(many) if many >= FREEDOM_SAID => format!("over {FREEDOM_SAID}"),
        Some(some) => format!("{}", (some + 1e-9).floor()), // no whole number is made less by its last bit
    }
}

/// The calibrations in force, and what was never calibrated.
pub fn calibrations(flow: &mut Flow, hole: &Hole<'_>) {
    let stamps = hole.setup.instruments.as_ref().map_or(&[][..], |i| &i.stamps[..]);
    let row = |stamp: &Stamp| {
        vec![
            item_named(stamp.item),
            stamp.who.to_string(),
            day(stamp.day),
            day(stamp.expires),
            in_unit(hole.units(), stamp.item, stamp.uncertainty),
            in_unit(hole.units(), stamp.item, stamp.residual),
            held(validity(hole.setup, stamp)).to_owned(),
        ]
    };
    let rows: Vec<Vec<String>> = stamps.iter().map(row).collect();
    let columns = [
        names("Calibrated", 1.8),
        words("By whom", 1.2),
        words("On", 1.1),
        words("Holds until", 1.1),
        words("Uncertainty", 1.65),
        words("Residual", 1.6),
        words("At drilling", 0.95),
    ];
    if !list(flow, "Calibrations in force", &columns, &rows) {
        heading(flow, "Calibrations in force");
    }
    let missing: Vec<&str> = ITEMS.into_iter().filter(|i| !stamps.iter().any(|s| s.item == i.raw())).map(item).collect();
    let known = if hole.setup.instruments.is_some() {
        "Never calibrated, so that the budget takes an allowance"
    } else {
        "No record of calibrations; the budget takes allowances"
    };
    if !missing.is_empty() {
        remark(flow, &format!("{known}: {}.", missing.join(", ")));
    }
}

/// Calibrations that the rig took while the hole was open; says whether there were any.
pub fn calibrated_meanwhile(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let row = |calibrated: &Timed<Calibrated>| {
        let calibration = &calibrated.body.calibration;
        vec![
            calibrated.moment.text(),
            item_named(calibration.item),
            found(hole.units(), calibration),
            calibration.who.to_string(),
            day(calibration.expires),
            in_unit(hole.units(), calibration.item, calibration.uncertainty),
        ]
    };
    let rows: Vec<Vec<String>> = hole.setup.calibrated.iter().map(row).collect();
    let columns = [
        times("When", 1.7),
        words("Calibrated", 0.9),
        words("Found", 1.9),
        words("By whom", 0.9),
        words("Holds until", 1.1),
        words("Uncertainty", 0.9),
    ];
    list(flow, "Calibrated while the hole was open", &columns, &rows)
}

/// What a calibration found: a tool's figures, of anything else the values as they are recorded.
fn found(units: Units, calibration: &Calibration) -> String {
    let um = |um: i32| units.short(f64::from(um) / 1e6);
    match (CalibrationItem::from_raw(calibration.item), &calibration.values[..]) {
        (Some(CalibrationItem::Tool), [number, length, diameter]) => {
            format!("number {number}: {} from pin to cutting edge, cuts {}", um(*length), um(*diameter))
        }
        (_, []) => NONE.to_owned(),
        (_, values) => values.iter().map(i32::to_string).collect::<Vec<_>>().join(", "),
    }
}

fn item_named(raw: u8) -> String {
    CalibrationItem::from_raw(raw).map_or_else(|| format!("code {raw}, unknown to this version"), |known| item(known).to_owned())
}

fn item(item: CalibrationItem) -> &'static str {
    match item {
        CalibrationItem::TiltZero => "tilt sensor's zero",
        CalibrationItem::TiltDrift => "its drift with warmth",
        CalibrationItem::Mount => "its turn about the tool",
        CalibrationItem::ToolLevel => "tool against mast",
        CalibrationItem::Encoder => "depth encoder",
        CalibrationItem::GuidePlay => "play in the guide",
        CalibrationItem::Tool => "tool",
    }
}

/// A stamp's uncertainty or residual; a µg of zero is a µm/m of lean.
fn in_unit(units: Units, item: u8, value: u32) -> String {
    let value = f64::from(value);
    match CalibrationItem::from_raw(item) {
        Some(CalibrationItem::TiltZero | CalibrationItem::ToolLevel | CalibrationItem::GuidePlay) => {
            units.amount(Quantity::Lean, value * 1e-6)
        }
        Some(CalibrationItem::TiltDrift) => format!("{} per °C", units.amount(Quantity::Lean, value * 1e-7)),
        Some(CalibrationItem::Mount) => format!("{}°", two_digits(value / 100.0)),
        Some(CalibrationItem::Encoder | CalibrationItem::Tool) => units.amount(Quantity::Offset, value * 1e-6),
        None => two_digits(value),
    }
}
