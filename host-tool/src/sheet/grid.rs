//! Rows of cells, whatever file they came from.

use super::finding::Finding;

/// Bytes of a file.
pub const FILE_BYTES_MAX: usize = 32 << 20;
/// Rows of a sheet, its header aside.
pub const ROWS_MAX: usize = 20_000;
/// Columns of a sheet.
pub const COLUMNS_MAX: usize = 100;
/// Characters of a cell.
pub const CELL_CHARS_MAX: usize = 1_000;
/// Merged cells of a sheet.
pub(super) const MERGES_MAX: usize = 5_000;
/// Rows that may stand above the header: titles, the project, dates.
pub(super) const TITLE_ROWS_MAX: usize = 20;

/// What a cell holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) enum Value {
    #[default]
    Empty,
    Text(String),
    Number(f64),
    /// A day as ISO 8601 writes it.
    Day(String),
    /// An error of the spreadsheet's own, such as a division by zero.
    Error(String),
}

/// A cell.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Cell {
    pub value: Value,
    /// The value is what a formula gave when the file was saved.
    pub formula: bool,
}

impl Cell {
    /// A text's beginning, as much as can be of use.
    pub fn text(text: &str) -> Self {
        let text = text.trim();
        let value = if text.is_empty() { Value::Empty } else { Value::Text(text.chars().take(CELL_CHARS_MAX + 1).collect()) };
        Self { value, formula: false }
    }

    pub fn is_empty(&self) -> bool {
        self.value == Value::Empty && !self.formula
    }

    /// As it is shown and as names are read.
    pub fn written(&self) -> String {
        match &self.value {
            Value::Empty => String::new(),
            Value::Text(text) | Value::Day(text) | Value::Error(text) => text.clone(),
            Value::Number(number) => (number + 0.0).to_string(), // 41 and not 41.0
        }
    }
}

/// A row with the number that the file's own program gives it.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Row {
    pub number: u32,
    pub cells: Vec<Cell>,
}

/// Cells that are merged: first and last row by their numbers, first and last column from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Merge {
    pub rows: (u32, u32),
    pub columns: (usize, usize),
}

/// The rows of a sheet, empty ones left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Grid {
    /// The sheet's name in its workbook.
    pub name: Option<String>,
    pub rows: Vec<Row>,
    /// The file writes decimals with a comma.
    pub decimal_comma: bool,
    /// Cells that are merged.
    pub merges: Vec<Merge>,
    /// What has to be mended before rows can be taken.
    pub problems: Vec<Finding>,
    /// What was done to read it.
    pub remarks: Vec<Finding>,
}

impl Grid {
    /// Takes a row up.
    ///
    /// # Errors
    /// Where there are too many.
    pub fn push(&mut self, row: Row) -> Result<(), Finding> {
        if row.cells.len() > COLUMNS_MAX && row.cells.iter().skip(COLUMNS_MAX).any(|cell| !cell.is_empty()) {
            return Err(Finding::of_row(
                row.number,
                format!("more than {COLUMNS_MAX} columns: a structure sheet has one row for each leg"),
            ));
        }
        if row.cells.iter().all(Cell::is_empty) {
            return Ok(());
        }
        if self.rows.len() > ROWS_MAX {
            return Err(Finding::of_file(format!("more than {ROWS_MAX} rows: split the sheet by line")));
        }
        self.rows.push(row);
        Ok(())
    }
}
