//! From the cells of a row to the plan of a leg; whatever is wrong in it is said at once.

use super::columns::{Column, Kind};
use super::finding::Finding;
use super::grid::{Cell, Row, Value};
use super::leg_plan::{Basis, Butt, LINE_BYTES_MAX, LegPlan, STRUCTURE_BYTES_MAX, Ticket};
use super::names;
use super::written::{self, Unit};
use shared_protocol::state::{Datum, Leg, SheetUnits};

/// Bytes of a name that no record of the rig bounds.
const NAME_BYTES_MAX: usize = 60;

/// A column of this sheet.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Heading {
    pub column: Column,
    /// The unit that its header gives.
    pub unit: Option<Unit>,
    /// The header as it stands there.
    pub text: String,
    /// Its place, from 0.
    pub at: usize,
}

/// Reads a row.
pub(super) fn read(row: &Row, headings: &[Heading], decimal_comma: bool) -> Result<(LegPlan, Vec<Finding>), Vec<Finding>> {
    let mut reading = Reading { row, headings, decimal_comma, problems: Vec::new(), warnings: Vec::new() };
    let plan = reading.plan();
    match plan.filter(|_| reading.problems.is_empty()) {
        Some(plan) => Ok((plan, reading.warnings)),
        None => Err(reading.problems),
    }
}

struct Reading<'a> {
    row: &'a Row,
    headings: &'a [Heading],
    decimal_comma: bool,
    problems: Vec<Finding>,
    warnings: Vec<Finding>,
}

impl<'a> Reading<'a> {
    /// `None` where what every leg must have is missing; then a problem says so.
    fn plan(&mut self) -> Option<LegPlan> {
        let line = self.name(Column::Line, LINE_BYTES_MAX).unwrap_or_default();
        let structure = self.wanted(Column::Structure, |s| s.name(Column::Structure, STRUCTURE_BYTES_MAX));
        let leg = self.word(Column::Leg, LEGS).unwrap_or(Leg::Single);
        let depth = self.wanted(Column::Depth, |s| s.length_with_units(Column::Depth));
        let diameter = self.wanted(Column::Diameter, |s| s.length(Column::Diameter));
        let plan = LegPlan {
            row: self.row.number,
            line,
            structure: structure.clone().unwrap_or_default(),
            leg,
            units: if depth.is_some_and(|(_, metric)| metric) { SheetUnits::Metric } else { SheetUnits::FeetInches },
            station: self.name(Column::Station, NAME_BYTES_MAX),
            offset_m: self.offset(),
            latitude_deg: self.degrees(Column::Latitude),
            longitude_deg: self.degrees(Column::Longitude),
            depth_m: depth.map_or(0.0, |(depth, _)| depth),
            basis: self.basis(),
            datum: self.word(Column::Datum, DATUMS).unwrap_or(Datum::LowSide),
            diameter_m: diameter.unwrap_or(0.0),
            pole_length_m: self.length(Column::PoleLength),
            pole_class: self.name(Column::Class, NAME_BYTES_MAX),
            species: self.name(Column::Species, NAME_BYTES_MAX),
            butt: self.butt(),
            butt_to_framing_m: self.length(Column::ButtToFraming),
            pole_tag: self.name(Column::Tag, NAME_BYTES_MAX),
            ground_original_m: self.length(Column::GroundOriginal),
            ground_pad_m: self.length(Column::GroundPad),
            framed_spacing_m: self.length(Column::Spacing),
            line_heading_deg: self.degrees(Column::LineHeading),
            line_angle_deg: self.degrees(Column::LineAngle),
            guy_direction_deg: self.degrees(Column::GuyDirection),
            rake: self.lean(Column::Rake),
            tamping_room_m: self.length(Column::TampingRoom),
            plumb_limit: self.lean(Column::PlumbLimit),
            depth_under_m: self.length(Column::DepthUnder),
            depth_over_m: self.length(Column::DepthOver),
            centre_offset_limit_m: self.length(Column::CentreOffset),
            ticket: self.ticket(),
            remarks: self.remarks(),
        };
        self.errors_elsewhere();
        self.together(&plan);
        (structure.is_some() && depth.is_some() && diameter.is_some()).then_some(plan)
    }

    /// The cell of a column with its heading; `None` where there is no such column or nothing in it.
    fn cell(&self, column: Column) -> Option<(&'a Cell, &'a Heading)> {
        let heading = self.headings.iter().find(|heading| heading.column == column)?;
        let cell = self.row.cells.get(heading.at).filter(|cell| cell.value != Value::Empty)?;
        Some((cell, heading))
    }

    fn problem(&mut self, cell: &Cell, heading: &Heading, what: impl Into<String>) {
        self.problems.push(Finding::of_cell(self.row.number, &heading.text, &cell.written(), what));
    }

    /// Says that a column is needed where it holds nothing. What holds something that cannot be read was said already.
    fn wanted<T>(&mut self, column: Column, read: impl Fn(&mut Self) -> Option<T>) -> Option<T> {
        let value = read(self);
        let heading = self.headings.iter().find(|heading| heading.column == column); // that there is none is said once
        if let Some(heading) = heading.filter(|_| value.is_none() && self.cell(column).is_none()) {
            let what = "every leg needs it: fill it in, or begin the row with # if it is no leg";
            self.problems.push(Finding::of_cell(self.row.number, &heading.text, "", what));
        }
        value
    }

    fn name(&mut self, column: Column, bytes_max: usize) -> Option<String> {
        let (cell, heading) = self.cell(column)?;
        let text = cell.written();
        match (&cell.value, names::fault(&text, bytes_max)) {
            (Value::Error(_), _) => self.problem(cell, heading, "the spreadsheet could not compute it: mend its formula"),
            (Value::Day(_), _) => {
                self.problem(cell, heading, "the spreadsheet made a date of it: format the cell as text and write it again")
            }
            (_, Some(fault)) => self.problem(cell, heading, fault),
            (_, None) => return Some(text),
        }
        None
    }

    /// A figure within its column's bounds.
    fn figure<T: Copy>(
        &mut self,
        column: Column,
        read: fn(&Value, Option<Unit>, bool) -> Result<T, String>,
        of: fn(T) -> f64,
    ) -> Option<T> {
        let (cell, heading) = self.cell(column)?;
        match read(&cell.value, heading.unit, self.decimal_comma) {
            Err(what) => self.problem(cell, heading, what),
            Ok(value) => match out_of_bounds(column.kind(), of(value)) {
                Some(what) => self.problem(cell, heading, what),
                None => return Some(value),
            },
        }
        None
    }

    /// Metres, and whether it was written metric.
    fn length_with_units(&mut self, column: Column) -> Option<(f64, bool)> {
        self.figure(column, written::length, |(metres, _)| metres)
    }

    fn length(&mut self, column: Column) -> Option<f64> {
        self.length_with_units(column).map(|(metres, _)| metres)
    }

    fn offset(&mut self) -> Option<f64> {
        self.figure(Column::Offset, written::offset, |(metres, _)| metres).map(|(metres, _)| metres)
    }

    fn lean(&mut self, column: Column) -> Option<f64> {
        self.figure(column, written::lean, |lean| lean)
    }

    fn degrees(&mut self, column: Column) -> Option<f64> {
        self.figure(column, written::degrees, |degrees| degrees)
    }

    /// The meaning of one of a few words.
    fn word<T: Copy>(&mut self, column: Column, known: &[(&[&str], T)]) -> Option<T> {
        let (cell, heading) = self.cell(column)?;
        let text = plain(&cell.written());
        if let Some((_, meaning)) = known.iter().find(|(words, _)| words.contains(&text.as_str())) {
            return Some(*meaning);
        }
        let possible: Vec<&str> = known.iter().filter_map(|(words, _)| words.first().copied()).collect();
        self.problem(cell, heading, format!("write one of: {}", possible.join(", ")));
        None
    }

    fn basis(&mut self) -> Option<Basis> {
        let soil_depth_m = self.length(Column::SoilDepth);
        let soil = self.cell(Column::SoilDepth);
        let Some(word) = self.word(Column::Basis, BASES) else {
            if let Some((_, heading)) = soil {
                self.warnings.push(Finding::of_cell(
                    self.row.number,
                    &heading.text,
                    "",
                    "is not kept: no basis \"soil over rock\" stands beside it",
                ));
            }
            return None;
        };
        match (word, soil_depth_m, soil) {
            (Basis::SoilOverRock { .. }, Some(soil_depth_m), _) => Some(Basis::SoilOverRock { soil_depth_m }),
            (Basis::SoilOverRock { .. }, None, None) => {
                let (cell, heading) = self.cell(Column::Basis)?;
                self.problem(
                    cell,
                    heading,
                    format!("needs the soil's depth: fill \"{}\" in, 0 ft for rock alone", Column::SoilDepth.head()),
                );
                None
            }
            (basis, ..) => Some(basis),
        }
    }

    fn butt(&mut self) -> Option<Butt> {
        let round = self.length(Column::ButtCircumference);
        let across = self.length(Column::ButtDiameter);
        match (round, across) {
            (Some(round), Some(across)) if (Butt::CircumferenceM(round).diameter_m() - across).abs() > 0.05 * across => {
                let (cell, heading) = self.cell(Column::ButtDiameter)?;
                self.problem(cell, heading, "does not go with the circumference: correct one of them, or leave one out");
                None
            }
            (Some(round), _) => Some(Butt::CircumferenceM(round)),
            (None, across) => across.map(Butt::DiameterM),
        }
    }

    fn ticket(&mut self) -> Option<Ticket> {
        let number = self.name(Column::Ticket, NAME_BYTES_MAX);
        let from = self.day(Column::TicketFrom);
        let until = self.day(Column::TicketUntil);
        if let (Some(from), Some(until)) = (from, until)
            && until < from
        {
            let (cell, heading) = self.cell(Column::TicketUntil)?;
            self.problem(cell, heading, format!("is before the day from which the ticket is valid, {from}"));
        }
        let day = |day: Option<jiff::civil::Date>| day.map(|day| day.to_string());
        Some(Ticket { number: number?, from: day(from), until: day(until) })
    }

    fn day(&mut self, column: Column) -> Option<jiff::civil::Date> {
        let (cell, heading) = self.cell(column)?;
        written::day(&cell.value).map_err(|what| self.problem(cell, heading, what)).ok()
    }

    fn remarks(&mut self) -> String {
        let Some((cell, heading)) = self.cell(Column::Remarks) else { return String::new() };
        names::remark(&cell.written()).unwrap_or_else(|| {
            self.problem(cell, heading, "has characters that are not seen: type it again");
            String::new()
        })
    }

    /// Formulas that nobody computed, and text that a spreadsheet would compute.
    fn errors_elsewhere(&mut self) {
        for heading in self.headings {
            let Some(cell) = self.row.cells.get(heading.at) else { continue };
            match &cell.value {
                Value::Empty if cell.formula => {
                    self.problem(cell, heading, "a formula without a value: open the workbook in a spreadsheet program and save it again");
                }
                Value::Text(text) if text.starts_with('=') && heading.column.kind() != Kind::Name => {
                    self.problem(cell, heading, "a formula that nobody computes here: write its value");
                }
                _ => {}
            }
        }
    }

    /// What must be there together.
    fn together(&mut self, plan: &LegPlan) {
        if plan.latitude_deg.is_some() != plan.longitude_deg.is_some() {
            self.problems.push(Finding::of_row(self.row.number, "latitude and longitude go together: write both or neither"));
        }
        if plan.rake.is_some_and(|rake| rake > 0.0)
            && plan.guy_direction_deg.is_none()
            && let Some((cell, heading)) = self.cell(Column::Rake)
        {
            self.problem(cell, heading, format!("needs its direction: fill \"{}\" in", Column::GuyDirection.head()));
        }
    }
}

/// Why a figure cannot be, with its bounds.
fn out_of_bounds(kind: Kind, value: f64) -> Option<String> {
    let (least, most, unit, size) = match kind {
        Kind::Length(least, most) => (least, most, "m", 1.0),
        Kind::Ratio(least, most) => (least, most, "%", 100.0),
        Kind::Degrees(least, most) => (least, most, "degrees", 1.0),
        Kind::Name | Kind::Text | Kind::Word | Kind::Day => return None,
    };
    let what = || {
        let (least, most, value) = (least * size, most * size, (value * size * 1e3).round() / 1e3);
        format!("that is {value} {unit}, and must be from {least} to {most} {unit}: check figure and unit")
    };
    (!(least..=most).contains(&value)).then(what)
}

/// Lower case without spaces and points.
fn plain(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace() && *c != '.').flat_map(char::to_lowercase).collect()
}

/// Words for legs; the first of each is how it is asked for.
const LEGS: &[(&[&str], Leg)] = &[
    (&["single", "s", "only", "one", "monopole", "-", "n/a"], Leg::Single),
    (&["left", "l", "lt", "leftleg", "leftpole"], Leg::Left),
    (&["middle", "m", "mid", "centre", "center", "c", "middleleg", "middlepole"], Leg::Middle),
    (&["right", "r", "rt", "rightleg", "rightpole"], Leg::Right),
];

const DATUMS: &[(&[&str], Datum)] = &[
    (
        &["low side", "lowside", "low", "originalground", "originalground,lowside", "originalgroundlowside", "og", "og,lowside"],
        Datum::LowSide,
    ),
    (&["stake", "stakegrade", "gradeatstake", "gradeatthestake", "centrestake", "centerstake"], Datum::Stake),
    (&["pad", "gradedpad", "padgrade"], Datum::Pad),
];

const BASES: &[(&[&str], Basis)] = &[
    (
        &[
            "owner's figure",
            "owner'sfigure",
            "owner\u{2019}sfigure",
            "ownersfigure",
            "owner",
            "owners",
            "specified",
            "engineered",
            "design",
        ],
        Basis::OwnersFigure,
    ),
    (&["table", "depthtable", "settingtable"], Basis::Table),
    (&["10 % + 2 ft", "10%+2ft", "10%+2", "10%+2'", "10%plus2ft", "10%and2ft", "tenpercentplustwofeet"], Basis::TenPercentPlusTwoFeet),
    (&["1/6 of length", "1/6oflength", "1/6", "l/6", "sixth", "onesixth", "sixthoflength", "onesixthoflength"], Basis::SixthOfLength),
    (&["soil over rock", "soiloverrock", "soil/rock", "rock"], Basis::SoilOverRock { soil_depth_m: 0.0 }),
];
