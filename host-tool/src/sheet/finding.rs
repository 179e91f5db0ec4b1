//! What is said of a sheet: where, what was read, what was expected and how to mend it.

use crate::text::terminal;
use serde::Serialize;
use std::fmt::{Display, Formatter, Result};

/// Characters of what was read that are repeated.
const SHOWN_CHARS: usize = 40;

/// One thing to say of a sheet, in one line that no hostile cell can steer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The row as the file counts them, from 1.
    pub row: Option<u32>,
    /// The column as it is headed.
    pub column: Option<String>,
    /// What was read, shortened.
    pub read: Option<String>,
    /// What is wrong or what was expected, and how to mend it.
    pub what: String,
}

impl Finding {
    /// Of the file as a whole.
    pub(super) fn of_file(what: impl Into<String>) -> Self {
        Self { row: None, column: None, read: None, what: what.into() }
    }

    /// Of a row as a whole.
    pub(super) fn of_row(row: u32, what: impl Into<String>) -> Self {
        Self { row: Some(row), ..Self::of_file(what) }
    }

    /// Of a column as a whole.
    pub(super) fn of_column(column: &str, what: impl Into<String>) -> Self {
        Self { column: Some(shown(column)), ..Self::of_file(what) }
    }

    /// Of a cell.
    pub(super) fn of_cell(row: u32, column: &str, read: &str, what: impl Into<String>) -> Self {
        Self { row: Some(row), column: Some(shown(column)), read: Some(shown(read)), what: what.into() }
    }
}

impl Display for Finding {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        let row = self.row.map(|row| format!("row {row}"));
        let column = self.column.as_ref().map(|column| format!("column \"{column}\""));
        let place: Vec<String> = row.into_iter().chain(column).collect();
        if !place.is_empty() {
            write!(f, "{}: ", place.join(", "))?;
        }
        match self.read.as_deref() {
            None => {}
            Some("") => write!(f, "nothing read; ")?,
            Some(read) => write!(f, "read \"{read}\"; ")?,
        }
        f.write_str(&self.what)
    }
}

/// A text of the sheet, fit to be shown: short and without anything that steers a terminal.
pub(super) fn shown(text: &str) -> String {
    let text = terminal(text.trim());
    if text.chars().count() <= SHOWN_CHARS {
        return text;
    }
    text.chars().take(SHOWN_CHARS).chain(['…']).collect()
}
