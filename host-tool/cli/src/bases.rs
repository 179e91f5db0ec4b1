//! `sheet --bases`: what every basis of setting depth says of each leg, beside what the sheet plans.

use crate::Failure;
use crate::sheet::micrometres;
use host_tool::measure::length_text;
use host_tool::paper::words::Units;
use host_tool::sheet::bases::{Beside, bases};
use host_tool::sheet::{LegPlan, Sheet, datum_text};
use host_tool::text::terminal;
use serde_json::{Value, json};
use shared_protocol::state::SheetUnits;
use std::io::{Write, stdout};

/// What is said above the figures.
const CAUTION: &str = "Bases of setting depth disagree. None of these is a design: who answers for the line says which one holds.";

/// Prints every basis of each leg, in the units of its row.
pub fn print(sheet: &Sheet) -> Result<(), Failure> {
    writeln!(stdout(), "{CAUTION}")?;
    for leg in &sheet.legs {
        writeln!(stdout(), "{}", headline(leg))?;
        for beside in bases(leg) {
            writeln!(stdout(), "  {}", line(leg, &beside))?;
        }
    }
    Ok(())
}

/// Every basis of each leg for other programs; metres.
pub fn object(sheet: &Sheet) -> Value {
    let of_leg = |leg: &LegPlan| {
        let all: Vec<Value> = bases(leg).iter().map(basis).collect();
        json!({ "line": leg.line, "structure": leg.structure, "name": leg.name(), "row": leg.row, "depth_m": leg.depth_m, "bases": all })
    };
    sheet.legs.iter().map(of_leg).collect()
}

fn basis(beside: &Beside) -> Value {
    let said = &beside.said;
    json!({
        "basis": said.basis.text(),
        "depth_m": said.depth,
        "sheet_deeper_by_m": beside.deeper,
        "own": beside.own,
        "source": said.source.text,
        "status": said.source.status.text(),
    })
}

fn headline(leg: &LegPlan) -> String {
    let length = |metres: f64| length_text(micrometres(metres), leg.units);
    let line = if leg.line.is_empty() { String::new() } else { format!("line {}, ", terminal(&leg.line)) };
    let pole = leg.pole_length_m.map_or_else(|| "pole length not said".to_owned(), |metres| format!("pole {}", length(metres)));
    let own = leg.basis.map_or("nothing says what set it", |basis| basis.text());
    let depth = length(leg.depth_m);
    format!("{line}{}, row {}: {pole}, planned {depth} below {} by: {own}", terminal(&leg.name()), leg.row, datum_text(leg.datum))
}

fn line(leg: &LegPlan, beside: &Beside) -> String {
    let length = |metres: f64| length_text(micrometres(metres), leg.units);
    let short = |metres: f64| if leg.units == SheetUnits::Metric { Units::Metric } else { Units::FeetInches }.short(metres);
    let said = &beside.said;
    let figure = said.depth.map_or_else(|| "says nothing".to_owned(), length);
    let against = match beside.deeper {
        None => String::new(),
        Some(by) if by > 0.0 => format!(": the sheet is {} deeper", short(by)),
        Some(by) if by < 0.0 => format!(": THE SHEET IS {} SHALLOWER", short(-by)),
        Some(_) => ": as the sheet".to_owned(),
    };
    let own = if beside.own { "* " } else { "  " };
    let name = said.basis.text();
    format!("{own}{name:29}  {figure}{against}  ({}; {})", said.source.text, said.source.status.text())
}
