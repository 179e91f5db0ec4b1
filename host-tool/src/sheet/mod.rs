//! The structure sheet: one row for each leg's hole, from a text file or a workbook.
//!
//! Bytes become a `grid` of cells (`delimited` or `workbook`); its header says which `columns` there are; each `row`
//! becomes a [`LegPlan`]; `check` says what the rows must agree on. Everything wrong is said in one go, and
//! nothing is taken unless the whole sheet is sound.
//!
//! A bare figure is no length: its unit stands behind it or in its column's header. Degrees alone need none.

pub mod bases;
mod blank;
mod check;
mod columns;
mod delimited;
mod finding;
mod grid;
#[cfg(test)]
mod hostile_tests;
mod leg_plan;
mod merges;
mod names;
mod row;
#[cfg(test)]
pub(crate) mod tests;
mod unpacked;
mod workbook;
mod written;

pub use blank::blank;
pub(crate) use check::shallower_than_basis;
pub use finding::Finding;
pub use grid::{COLUMNS_MAX, FILE_BYTES_MAX, ROWS_MAX};
pub use leg_plan::{Basis, Butt, LegPlan, OnSite, Ticket, Unloadable, datum_text, leg_text};

use columns::{Column, Kind, known_in, letters};
use grid::{CELL_CHARS_MAX, Cell, Grid, Row, TITLE_ROWS_MAX, Value};
use jiff::civil::Date;
use row::Heading;
use serde::Serialize;

/// Problems that are listed; more are counted.
const PROBLEMS_LISTED: usize = 200;

/// What a user says beside the sheet.
#[derive(Clone, Debug)]
pub struct Options<'a> {
    /// Rows to leave out.
    pub leave: &'a [u32],
    /// Columns to ignore, by their headers.
    pub ignore: &'a [String],
    /// Today, for tickets.
    pub today: Date,
}

/// A sound sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sheet {
    /// Its name in the workbook.
    pub name: Option<String>,
    /// The legs in the order of their rows.
    pub legs: Vec<LegPlan>,
    /// What to know before boring.
    pub warnings: Vec<Finding>,
    /// How it was read.
    pub remarks: Vec<Finding>,
}

/// A sheet of which nothing was taken.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Unsound {
    /// What has to be mended.
    pub problems: Vec<Finding>,
    /// How it was read.
    pub remarks: Vec<Finding>,
}

impl Sheet {
    /// Reads a file's bytes: .csv, .xlsx or .ods, told by what they are.
    ///
    /// # Errors
    /// Every problem that was found, in the order of the rows.
    pub fn read(bytes: &[u8], options: &Options) -> Result<Self, Unsound> {
        let grid = grid_of(bytes).map_err(|problem| Unsound { problems: vec![problem], remarks: Vec::new() })?;
        of_grid(grid, options)
    }
}

/// The rows of the sheet in a file: the first in a workbook whose header fits.
fn grid_of(bytes: &[u8]) -> Result<Grid, Finding> {
    if bytes.len() > FILE_BYTES_MAX {
        return Err(Finding::of_file(format!("more than {} MB: that is no structure sheet", FILE_BYTES_MAX >> 20)));
    }
    if bytes.is_empty() {
        return Err(Finding::of_file("the file is empty: `borewitness sheet --blank` writes a sheet to fill in"));
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return workbook::read(bytes);
    }
    if bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err(Finding::of_file("a workbook of the old binary form, or one with a password: save it as .xlsx without a password"));
    }
    delimited::read(bytes)
}

/// The row that is the header: among the first ones, that with a structure column which names most columns.
fn header_of(grid: &Grid) -> Option<usize> {
    let known = |row: &Row| {
        let texts: Vec<String> = row.cells.iter().map(Cell::written).collect();
        let has_structure = texts.iter().any(|text| Column::of_header(text).is_some_and(|(column, _)| column == Column::Structure));
        if has_structure { known_in(texts.iter().map(String::as_str)) } else { 0 }
    };
    let counted = grid.rows.iter().take(TITLE_ROWS_MAX).map(known).enumerate();
    let first_best = counted.reduce(|best, next| if next.1 > best.1 { next } else { best });
    first_best.filter(|(_, known)| *known >= 2).map(|(at, _)| at)
}

fn of_grid(grid: Grid, options: &Options) -> Result<Sheet, Unsound> {
    let header = header_of(&grid);
    let Grid { name, mut rows, decimal_comma, merges, mut problems, mut remarks } = grid;
    let Some(at) = header else {
        let what = format!(
            "no header is among its first {TITLE_ROWS_MAX} rows: head the columns Structure, Leg, Depth (ft) and so on; `borewitness sheet --blank` writes them all"
        );
        problems.push(Finding::of_file(what));
        return Err(Unsound { problems, remarks });
    };
    merges::apply(&mut rows, at, &merges, options.leave, &mut problems, &mut remarks);
    let body = &rows[at + 1..];
    let headings = headings(&rows[at], body, options, &mut problems, &mut remarks);
    let unknown = options.leave.iter().filter(|left| !body.iter().any(|row| row.number == **left));
    problems.extend(unknown.map(|left| Finding::of_row(*left, "is to be left out, and the sheet has no such row with anything in it")));
    let (mut legs, mut warnings, mut left) = (Vec::new(), Vec::new(), Vec::new());
    for row in body {
        if is_comment(row) {
            remarks.push(Finding::of_row(row.number, "begins with #, so it is a comment"));
        } else if options.leave.contains(&row.number) {
            remarks.push(Finding::of_row(row.number, "is left out, as was said"));
            left.push(key_of(row, &headings));
        } else {
            match row::read(row, &headings, decimal_comma) {
                Ok((leg, said)) => {
                    warnings.extend(said);
                    legs.push(leg);
                }
                Err(said) => {
                    problems.extend(said);
                    left.push(key_of(row, &headings)); // nothing is said of a structure one of whose rows was not read
                }
            }
        }
    }
    remarks.extend(formulas(body, &headings));
    check::structures(&legs, &left, &mut problems, &mut warnings);
    warnings.extend(legs.iter().flat_map(|leg| check::warnings(leg, options.today)));
    warnings.sort_by_key(|finding| finding.row);
    if legs.is_empty() && problems.is_empty() {
        problems.push(Finding::of_file("has no row with a leg: write one row for each hole"));
    }
    if problems.is_empty() {
        return Ok(Sheet { name, legs, warnings, remarks });
    }
    problems.sort_by_key(|finding| finding.row);
    if problems.len() > PROBLEMS_LISTED {
        let more = problems.len() - PROBLEMS_LISTED;
        problems.truncate(PROBLEMS_LISTED);
        problems.push(Finding::of_file(format!("{more} problems more: mend these first")));
    }
    Err(Unsound { problems, remarks })
}

/// The columns of this sheet. A header that is not known is a problem until the user names it to be ignored, for it
/// may be a limit with a slip of the pen in it.
fn headings(header: &Row, body: &[Row], options: &Options, problems: &mut Vec<Finding>, remarks: &mut Vec<Finding>) -> Vec<Heading> {
    let mut headings: Vec<Heading> = Vec::new();
    let mut ignored = Vec::new();
    for (at, cell) in header.cells.iter().enumerate() {
        let text = cell.written();
        let is_ignored = |name: &&String| letters(name) == letters(&text) && !letters(name).is_empty();
        if let Some(name) = options.ignore.iter().find(is_ignored) {
            ignored.push(name);
            remarks.push(Finding::of_column(&text, "is ignored, as was said"));
        } else if cell.is_empty() {
            if let Some(row) = body.iter().find(|row| !is_comment(row) && row.cells.get(at).is_some_and(|cell| !cell.is_empty())) {
                problems.push(Finding::of_row(
                    row.number,
                    format!("its cell {} stands in a column without a header: head it or clear it", at + 1),
                ));
            }
        } else if text.chars().count() > CELL_CHARS_MAX || Column::of_header(&text).is_none() {
            let what = "is not known: `borewitness sheet --blank` shows what columns there are; a header may end in a unit such as (ft); or say --ignore";
            problems.push(Finding::of_column(&text, what));
        } else if let Some((column, unit)) = Column::of_header(&text) {
            match headings.iter().find(|heading| heading.column == column) {
                Some(other) => problems
                    .push(Finding::of_column(&text, format!("means the same as \"{}\": keep one of them", finding::shown(&other.text)))),
                None if unit.is_some() && !column.needs_unit() && !matches!(column.kind(), Kind::Degrees(..)) => {
                    problems.push(Finding::of_column(&text, "has a unit, and its cells are no figures: take it out"));
                }
                None => headings.push(Heading { column, unit, text, at }),
            }
        }
    }
    for name in options.ignore.iter().filter(|name| !ignored.contains(name)) {
        problems.push(Finding::of_column(name, "is to be ignored, and the sheet has no such column"));
    }
    for column in [Column::Depth, Column::Diameter] {
        if !headings.iter().any(|heading| heading.column == column) {
            problems.push(Finding::of_file(format!("no column \"{}\": every leg needs it", column.head())));
        }
    }
    let beyond = body.iter().find_map(|row| {
        let at = row.cells.iter().skip(header.cells.len()).position(|cell| !cell.is_empty())?;
        Some(Finding::of_row(
            row.number,
            format!("its cell {} stands in a column without a header: head it or clear it", header.cells.len() + at + 1),
        ))
    });
    problems.extend(beyond);
    headings
}

/// A row whose first cell with anything in it begins with #.
fn is_comment(row: &Row) -> bool {
    let first = row.cells.iter().find(|cell| !cell.is_empty());
    first.is_some_and(|cell| matches!(&cell.value, Value::Text(text) if text.starts_with('#')))
}

/// Line and structure of a row that is not taken.
fn key_of(row: &Row, headings: &[Heading]) -> check::Key {
    let text =
        |column| headings.iter().find(|h| h.column == column).and_then(|h| row.cells.get(h.at)).map(Cell::written).unwrap_or_default();
    (text(Column::Line), text(Column::Structure))
}

/// Says where formulas' values were used.
fn formulas(body: &[Row], headings: &[Heading]) -> Option<Finding> {
    let is_used = |row: &&Row| headings.iter().any(|h| row.cells.get(h.at).is_some_and(|cell| cell.formula && cell.value != Value::Empty));
    let rows: Vec<String> = body.iter().filter(is_used).map(|row| row.number.to_string()).collect();
    let (first, more) = (rows.iter().take(12).cloned().collect::<Vec<_>>().join(", "), rows.len().saturating_sub(12));
    let more = if more == 0 { String::new() } else { format!(" and {more} more") };
    (!rows.is_empty()).then(|| Finding::of_file(format!("formulas stand in rows {first}{more}: their values as last saved are used")))
}
