//! What a hole's figures are worth, as the attached facts have it: verdicts, budgets, calibrations, what was measured
//! by hand.
//!
//! Verdicts are in metres or metres per metre, as their unit says; every budget's result and what its sources
//! contribute are in metres, but for the lean over a stretch of the hole, metres per metre.

use super::hole::Hole;
use super::limits::{guarded_briefly, quantity};
use super::words::{code, standing};
use super::worth::Quantity;
use crate::judge::budget::{Along, Budget, Budgets, Unit, day};
use crate::judge::limits::Governs;
use crate::judge::measured::{Kind, Measurement};
use crate::judge::spread::Shape;
use crate::judge::{Guarded, Plumbed, Validity, Verdict, statement, validity};
use serde::Serialize;
use shared_protocol::record::Stamp;
use shared_protocol::state::CalibrationItem;

/// One limit judged.
#[derive(Debug, Serialize)]
pub struct LimitJudged<'a> {
    limits: &'static str,
    unit: &'static str,
    least: Option<f64>,
    most: f64,
    written: &'a str,
    source: &'a str,
    measured: Option<f64>,
    uncertainty_95: Option<f64>,
    guard_band: Option<f64>,
    plain: &'static str,
    guarded: &'static str,
    reasons: &'a [String],
}

/// One budget.
#[derive(Debug, Serialize)]
pub struct BudgetAttached<'a> {
    of: &'static str,
    unit: &'static str,
    standard: f64,
    /// Effective ones; none where nothing was estimated from readings.
    degrees_of_freedom: Option<f64>,
    factor: f64,
    uncertainty_95: f64,
    dominated_by: Option<&'static str>,
    sources: Vec<Source<'a>>,
}

#[derive(Debug, Serialize)]
struct Source<'a> {
    source: &'static str,
    basis: &'a str,
    unit: &'static str,
    distribution: &'static str,
    /// Standard deviation of a normal, half-width of a rectangular distribution, radius of a disc.
    value: f64,
    degrees_of_freedom: Option<f64>,
    /// What was added to the result for it, m; null where nothing is corrected.
    correction_m: Option<f64>,
    sensitivity: f64,
    along_hole: &'static str,
    contributes_standard: f64,
}

/// One calibration in force. Uncertainty and residual are in the item's own unit, as the record has them.
#[derive(Debug, Serialize)]
pub struct CalibrationAttached<'a> {
    item: u8,
    meaning: String,
    who: &'a str,
    on: String,
    holds_until: String,
    uncertainty: u32,
    residual: u32,
    value: i32,
    when_drilled: &'static str,
}

/// A measurement by hand, as it was entered: line axes, below the datum.
#[derive(Debug, Serialize)]
pub struct MeasuredByHand<'a> {
    kind: &'static str,
    depth_m: f64,
    ahead_m: f64,
    right_m: f64,
    standard_uncertainty_m: f64,
    who: &'a str,
    entered: String,
    remark: &'a str,
}

/// The mean of the soundings.
#[derive(Debug, Serialize)]
pub struct Sounded {
    depth_m: f64,
    uncertainty_95_m: f64,
}

/// A hand plumb beside the rig's axis, in the order of the measurements.
#[derive(Debug, Serialize)]
pub struct PlumbAttached {
    depth_m: f64,
    ahead_m: f64,
    right_m: f64,
    radius_95_m: f64,
    axis_ahead_m: Option<f64>,
    axis_right_m: Option<f64>,
    axis_radius_95_m: Option<f64>,
    difference_m: Option<f64>,
    within_both: Option<bool>,
}

/// Every measurement by hand.
#[must_use]
pub fn by_hand<'a>(hole: &Hole<'a>) -> Vec<MeasuredByHand<'a>> {
    let one = |m: &'a Measurement| MeasuredByHand {
        kind: if m.kind == Kind::Sounding { "sounding" } else { "hand plumb" },
        depth_m: m.depth,
        ahead_m: m.offset.ahead,
        right_m: m.offset.right,
        standard_uncertainty_m: m.standard,
        who: &m.author,
        entered: hole.wall(m.unix_ms).rfc3339(),
        remark: &m.remark,
    };
    hole.setup.measurements.iter().map(one).collect()
}

/// The depth by soundings.
#[must_use]
pub fn sounded(hole: &Hole<'_>) -> Option<Sounded> {
    hole.judged.sounded.map(|f| Sounded { depth_m: f.value, uncertainty_95_m: f.expanded })
}

/// Every hand plumb beside the axis.
#[must_use]
pub fn plumbs(hole: &Hole<'_>) -> Vec<PlumbAttached> {
    let one = |p: &Plumbed| PlumbAttached {
        depth_m: p.depth,
        ahead_m: p.offset.ahead,
        right_m: p.offset.right,
        radius_95_m: p.radius,
        axis_ahead_m: p.axis.map(|a| a.offset.ahead),
        axis_right_m: p.axis.map(|a| a.offset.right),
        axis_radius_95_m: p.axis.map(|a| a.radius),
        difference_m: p.off_axis,
        within_both: p.agrees(),
    };
    hole.judged.plumbed.iter().map(one).collect()
}

/// Every limit judged.
#[must_use]
pub fn verdicts<'a>(hole: &Hole<'a>) -> Vec<LimitJudged<'a>> {
    hole.judged.verdicts.iter().map(limit_judged).collect()
}

/// One limit judged.
#[must_use]
pub fn limit_judged(verdict: &Verdict) -> LimitJudged<'_> {
    let limit = &verdict.limit;
    let length = quantity(limit.measurand) != Quantity::Lean;
    LimitJudged {
        limits: statement::name(limit.measurand),
        unit: if length { "m" } else { "m/m" },
        least: limit.least,
        most: limit.most,
        written: &limit.written,
        source: &limit.source,
        measured: verdict.measured.map(|f| f.value),
        uncertainty_95: verdict.measured.map(|f| f.expanded),
        guard_band: verdict.measured.map(|f| f.guard),
        plain: standing(verdict.plain),
        guarded: guarded_briefly(&verdict.guarded),
        reasons: if let Guarded::NotShown(reasons) = &verdict.guarded { reasons } else { &[] },
    }
}

/// Which statement decides.
#[must_use]
pub fn governs(hole: &Hole<'_>) -> &'static str {
    match hole.judged.governs {
        Some(Governs::Plain) => "plain",
        Some(Governs::Guarded) => "guarded",
        None => "not said",
    }
}

/// Every budget: of the soundings where there are any, of the rig's figures where a hole was recorded below the ground.
#[must_use]
pub fn budgets<'a>(hole: &Hole<'a>) -> Vec<BudgetAttached<'a>> {
    let taped = hole.judged.soundings.iter().map(|budget| attached("depth of the hole by soundings", "m", budget));
    taped.chain(by_rig(hole)).collect()
}

fn by_rig<'a>(hole: &Hole<'a>) -> Vec<BudgetAttached<'a>> {
    let Some(Budgets { depth, edge, distance, place, local }) = &hole.judged.budgets else { return Vec::new() };
    let depths = [("depth of the hole", "m", depth), ("depth of the cutting edge", "m", edge)];
    let leans = [
        ("toe's distance off the vertical", "m", distance),
        ("toe as a place, radius of the circle", "m", place),
        ("lean over a stretch", "m/m", local),
    ];
    let known = depths.into_iter().chain(leans.into_iter().filter(|_| hole.judged.toe.is_some()));
    known.map(|(of, unit, budget)| attached(of, unit, budget)).collect()
}

fn attached<'a>(of: &'static str, unit: &'static str, budget: &'a Budget) -> BudgetAttached<'a> {
    let source = |row: &'a crate::judge::budget::Row| {
        let (distribution, value) = match row.value {
            Shape::Normal(deviation) => ("normal", deviation),
            Shape::Rectangular(half_width) => ("rectangular", half_width),
            Shape::Disc(radius) => ("disc", radius),
        };
        Source {
            source: row.source,
            basis: &row.basis,
            unit: match row.unit {
                Unit::Metres => "m",
                Unit::MetresPerMetre => "m/m",
                Unit::Radians => "rad",
            },
            distribution,
            value,
            degrees_of_freedom: row.freedom,
            correction_m: row.correction,
            sensitivity: row.sensitivity,
            along_hole: if row.along == Along::Same { "same" } else { "varies" },
            contributes_standard: row.contributes().standard(),
        }
    };
    BudgetAttached {
        of,
        unit,
        standard: budget.standard,
        degrees_of_freedom: budget.freedom,
        factor: budget.factor(),
        uncertainty_95: budget.expanded,
        dominated_by: budget.dominated_by,
        sources: budget.rows.iter().map(source).collect(),
    }
}

/// The calibrations in force; `None` where no record says which.
#[must_use]
pub fn calibrations<'a>(hole: &Hole<'a>) -> Option<Vec<CalibrationAttached<'a>>> {
    let attached = |stamp: &'a Stamp| CalibrationAttached {
        item: stamp.item,
        meaning: code(CalibrationItem::TABLE, stamp.item),
        who: &stamp.who,
        on: day(stamp.day),
        holds_until: day(stamp.expires),
        uncertainty: stamp.uncertainty,
        residual: stamp.residual,
        value: stamp.value,
        when_drilled: held(validity(hole.setup, stamp)),
    };
    hole.setup.instruments.as_ref().map(|i| i.stamps.iter().map(attached).collect())
}

/// Whether a calibration held, in a word.
#[must_use]
pub fn held(validity: Validity) -> &'static str {
    match validity {
        Validity::Held => "held",
        Validity::Expired => "expired",
        Validity::Unknown => "not known: no time of day",
    }
}
