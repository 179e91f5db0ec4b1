//! What a hole's figures are worth, as the attached facts have it: verdicts, budgets, calibrations.
//!
//! Verdicts are in metres or metres per metre, as their unit says; every budget's result and what its sources
//! contribute are in metres, but for the lean over a stretch of the hole, metres per metre.

use super::hole::Hole;
use super::limits::guarded_briefly;
use super::words::{code, standing};
use crate::judge::budget::{Along, Budget, Budgets, Unit, day};
use crate::judge::limits::{Governs, Measurand};
use crate::judge::spread::Shape;
use crate::judge::{Guarded, Validity, Verdict, statement, validity};
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

/// Every limit judged.
#[must_use]
pub fn verdicts<'a>(hole: &Hole<'a>) -> Vec<LimitJudged<'a>> {
    hole.judged.verdicts.iter().map(limit_judged).collect()
}

fn limit_judged(verdict: &Verdict) -> LimitJudged<'_> {
    let limit = &verdict.limit;
    let length = matches!(limit.measurand, Measurand::Depth | Measurand::Toe);
    LimitJudged {
        limits: statement::name(limit.measurand),
        unit: if length { "m" } else { "m/m" },
        least: limit.least,
        most: limit.most,
        written: &limit.written,
        source: &limit.source,
        measured: verdict.measured.map(|f| f.value),
        uncertainty_95: verdict.measured.map(|f| f.expanded),
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

/// Every budget; none where no hole was recorded below the ground.
#[must_use]
pub fn budgets<'a>(hole: &Hole<'a>) -> Vec<BudgetAttached<'a>> {
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
            sensitivity: row.sensitivity,
            along_hole: if row.along == Along::Same { "same" } else { "varies" },
            contributes_standard: row.contributes().standard(),
        }
    };
    BudgetAttached {
        of,
        unit,
        standard: budget.standard,
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
