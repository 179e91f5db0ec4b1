//! A hole's plan as people write it, a TOML file or `key=value` pairs, turned into the wire's [`Plan`].
//!
//! Figures without which a hole cannot be judged have no default: a limit that nobody set is not a limit.

use crate::measure::{Unread, angle, lean, length};
use serde::Deserialize;
use shared_protocol::record::Plan;
use shared_protocol::state::{Datum, Leg, SheetUnits};
use shared_protocol::units::{CentiDegrees, Lean, Micrometres};

/// Why a plan cannot be sent.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlanFault {
    /// Not TOML, a key that no plan has, or one that is missing.
    #[error("{0}")]
    Form(String),
    /// A figure that cannot be read.
    #[error("{0}: {1}")]
    Figure(&'static str, Unread),
    /// A figure that cannot be right.
    #[error("{0} {1}")]
    Wrong(&'static str, &'static str),
    /// A word that is none of those possible.
    #[error("{0} is one of: {1}")]
    Word(&'static str, &'static str),
    /// A text longer than its record holds.
    #[error("{0} is too long: at most {1} bytes")]
    Long(&'static str, usize),
}

/// A value of a plan: written as text or as a bare number.
#[derive(Deserialize)]
#[serde(untagged)]
enum Written {
    Text(String),
    Whole(i64),
    Decimal(f64),
}

impl Written {
    fn text(&self) -> String {
        match self {
            Self::Text(text) => text.clone(),
            Self::Whole(number) => number.to_string(),
            Self::Decimal(number) => number.to_string(),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Sheet {
    #[serde(default = "nothing")]
    line: Written,
    structure: Written,
    #[serde(default = "nothing")]
    leg: Written,
    #[serde(default = "one")]
    attempt: Written,
    #[serde(default = "one")]
    setup: Written,
    #[serde(default = "nothing")]
    operator: Written,
    #[serde(default = "nothing")]
    units: Written,
    #[serde(default = "nothing")]
    datum: Written,
    depth: Written,
    #[serde(default = "zero_length")]
    hub_above_datum: Written,
    diameter: Written,
    tool: Written,
    depth_under: Written,
    depth_over: Written,
    plumb_limit: Written,
    heading: Written,
    #[serde(default = "by_eye")]
    heading_within: Written,
}

fn nothing() -> Written {
    Written::Text(String::new())
}

fn one() -> Written {
    Written::Whole(1)
}

fn zero_length() -> Written {
    Written::Text("0 m".to_owned())
}

/// A heading taken by eye is good to about 10°.
fn by_eye() -> Written {
    Written::Whole(10)
}

/// Reads a plan from TOML.
///
/// # Errors
/// See [`PlanFault`]; each is one line.
pub fn from_toml(text: &str) -> Result<Plan, PlanFault> {
    let sheet: Sheet = toml::from_str(text).map_err(|e| PlanFault::Form(one_line(&e, text)))?;
    plan(&sheet)
}

/// Reads a plan from `key=value` pairs.
///
/// # Errors
/// See [`PlanFault`]; each is one line.
pub fn from_pairs<'a>(pairs: impl IntoIterator<Item = &'a str>) -> Result<Plan, PlanFault> {
    let mut table = toml::Table::new();
    for pair in pairs {
        let (key, value) = pair.split_once('=').ok_or_else(|| PlanFault::Form(format!("\"{pair}\" is not key=value")))?;
        if table.insert(key.trim().to_owned(), toml::Value::String(value.trim().to_owned())).is_some() {
            return Err(PlanFault::Form(format!("{key} is given twice")));
        }
    }
    let sheet: Sheet = table.try_into().map_err(|e: toml::de::Error| PlanFault::Form(e.message().to_owned()))?;
    plan(&sheet)
}

fn one_line(error: &toml::de::Error, text: &str) -> String {
    let message = error.message().replace('\n', "; ");
    let line = error.span().map(|s| text[..s.start.min(text.len())].matches('\n').count() + 1);
    line.filter(|_| error.span().is_some_and(|s| s.start > 0)).map_or_else(|| message.clone(), |n| format!("line {n}: {message}"))
}

fn plan(sheet: &Sheet) -> Result<Plan, PlanFault> {
    let measured = |name: &'static str, written: &Written| length(&written.text()).map_err(|e| PlanFault::Figure(name, e));
    let turned = |name: &'static str, written: &Written| angle(&written.text()).map_err(|e| PlanFault::Figure(name, e));
    let plan = Plan {
        line: short("line", &sheet.line)?,
        structure: short("structure", &sheet.structure)?,
        leg: word(
            "leg",
            &sheet.leg,
            &[("", Leg::Single), ("single", Leg::Single), ("left", Leg::Left), ("middle", Leg::Middle), ("right", Leg::Right)],
        )?
        .raw(),
        attempt: counted("attempt", &sheet.attempt)?,
        setup: counted("setup", &sheet.setup)?,
        operator: short("operator", &sheet.operator)?,
        units: word(
            "units",
            &sheet.units,
            &[("", SheetUnits::Metric), ("metric", SheetUnits::Metric), ("feet-inches", SheetUnits::FeetInches)],
        )?
        .raw(),
        datum: word(
            "datum",
            &sheet.datum,
            &[("", Datum::LowSide), ("low-side", Datum::LowSide), ("stake", Datum::Stake), ("pad", Datum::Pad)],
        )?
        .raw(),
        depth: measured("depth", &sheet.depth)?,
        hub_above_datum: measured("hub_above_datum", &sheet.hub_above_datum)?,
        diameter: measured("diameter", &sheet.diameter)?,
        tool: counted("tool", &sheet.tool)?,
        depth_under: measured("depth_under", &sheet.depth_under)?,
        depth_over: measured("depth_over", &sheet.depth_over)?,
        plumb_limit: lean(&sheet.plumb_limit.text()).map_err(|e| PlanFault::Figure("plumb_limit", e))?,
        heading: turned("heading", &sheet.heading)?,
        heading_within: turned("heading_within", &sheet.heading_within)?,
    };
    sensible(&plan).map_or(Ok(plan), Err)
}

/// The first figure that cannot be right.
fn sensible(plan: &Plan) -> Option<PlanFault> {
    let zero = Micrometres(0);
    let wrong = [
        (plan.structure.is_empty(), "structure", "must have a name"),
        (plan.depth <= zero, "depth", "must be below the datum, that is more than 0"),
        (plan.diameter <= zero, "diameter", "must be more than 0"),
        (plan.depth_under < zero || plan.depth_over < zero, "depth_under and depth_over", "must not be negative"),
        (plan.plumb_limit <= Lean(0), "plumb_limit", "must be more than 0"),
        (!(0..36_000).contains(&plan.heading.0), "heading", "must be at least 0 and less than 360 degrees"),
        (!(CentiDegrees(0)..=CentiDegrees(18_000)).contains(&plan.heading_within), "heading_within", "must be 0 to 180 degrees"),
    ];
    wrong.into_iter().find(|(is, ..)| *is).map(|(_, name, why)| PlanFault::Wrong(name, why))
}

fn short<const N: usize>(name: &'static str, written: &Written) -> Result<heapless::String<N>, PlanFault> {
    heapless::String::try_from(written.text().trim()).map_err(|_| PlanFault::Long(name, N))
}

fn counted(name: &'static str, written: &Written) -> Result<u8, PlanFault> {
    written.text().trim().parse().ok().filter(|&n| n > 0).ok_or(PlanFault::Wrong(name, "must be a whole number from 1 to 255"))
}

/// The code that a word stands for; the first word of `known` may be "", for what was left out.
fn word<T: Copy>(name: &'static str, written: &Written, known: &[(&str, T)]) -> Result<T, PlanFault> {
    let possible = match name {
        "leg" => "single, left, middle, right",
        "units" => "metric, feet-inches",
        _ => "low-side, stake, pad",
    };
    let text = written.text();
    known.iter().find(|(word, _)| *word == text.trim()).map(|(_, code)| *code).ok_or(PlanFault::Word(name, possible))
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHOLE: &str = r#"
        line = "SIMULATED tie"
        structure = 41
        leg = "left"
        operator = "nobody"
        units = "feet-inches"
        depth = "10 ft 6 in"
        hub_above_datum = "0.2 ft"
        diameter = "48 in"
        tool = 1
        depth_under = "6 in"
        depth_over = "6 in"
        plumb_limit = "1/4 in/ft"
        heading = 90
    "#;

    #[test]
    fn a_plan_is_read_from_a_file() {
        let plan = from_toml(WHOLE).unwrap();
        assert_eq!((plan.structure.as_str(), plan.leg, plan.attempt, plan.setup), ("41", Leg::Left.raw(), 1, 1));
        assert_eq!((plan.depth.0, plan.diameter.0, plan.hub_above_datum.0), (3_200_400, 1_219_200, 60_960));
        assert_eq!((plan.plumb_limit.0, plan.heading.0, plan.heading_within.0), (20_833, 9_000, 1_000));
        assert_eq!((plan.units, plan.datum), (SheetUnits::FeetInches.raw(), Datum::LowSide.raw()));
    }

    #[test]
    fn pairs_say_the_same_as_a_file() {
        let pairs = [
            "line=SIMULATED tie",
            "structure=41",
            "leg=left",
            "operator=nobody",
            "units=feet-inches",
            "depth=10 ft 6 in",
            "hub_above_datum=0.2 ft",
            "diameter=48 in",
            "tool=1",
            "depth_under=6 in",
            "depth_over=6 in",
            "plumb_limit=1/4 in/ft",
            "heading=90",
        ];
        assert_eq!(from_pairs(pairs), from_toml(WHOLE));
        assert_eq!(from_pairs(["depth"]), Err(PlanFault::Form("\"depth\" is not key=value".to_owned())));
        assert_eq!(from_pairs(["depth=1 m", "depth=2 m"]), Err(PlanFault::Form("depth is given twice".to_owned())));
    }

    #[test]
    fn what_cannot_be_right_is_said_in_one_line() {
        let rows = [
            ("depth = \"10 ft 6 in\"", "depth = 3.2", "depth: \"3.2\" is no length: write for example 3.2 m, 250 mm, 10 ft 6 in or 1/2 in"),
            ("depth = \"10 ft 6 in\"", "depth = \"-1 m\"", "depth must be below the datum, that is more than 0"),
            ("leg = \"left\"", "leg = \"port\"", "leg is one of: single, left, middle, right"),
            ("tool = 1", "tool = 256", "tool must be a whole number from 1 to 255"),
            ("tool = 1", "", "missing field `tool`"),
            ("tool = 1", "tools = 1", "line 10: unknown field `tools`"),
            ("tool = 1", "tool = ", "line 10: "),
            ("structure = 41", "structure = \"longer than sixteen\"", "structure is too long: at most 16 bytes"),
            ("structure = 41", "structure = \"\"", "structure must have a name"),
            ("heading = 90", "heading = 360", "heading must be at least 0 and less than 360 degrees"),
            ("plumb_limit = \"1/4 in/ft\"", "plumb_limit = \"0 %\"", "plumb_limit must be more than 0"),
        ];
        for (from, to, want) in rows {
            let said = from_toml(&WHOLE.replace(from, to)).unwrap_err().to_string();
            assert!(said.starts_with(want) && !said.contains('\n'), "{to}: {said}");
        }
    }
}
