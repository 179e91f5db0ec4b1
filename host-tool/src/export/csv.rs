//! A table of set-ups, RFC 4180: a header row with units in its names, lines that end in CR LF, quotes where they must be.

use super::Exported;
use super::row::Row;
use csv::{ReaderBuilder, StringRecord, Terminator, WriterBuilder};

/// The whole table.
///
/// # Errors
/// Where a row cannot be written: a fault of the program.
pub fn whole(exported: &Exported<'_>) -> Result<Vec<u8>, String> {
    let rows: Vec<Row> = exported.held.holes.iter().map(|hole| Row::of(hole, exported)).collect();
    table(&rows).map_err(|fault| fault.to_string())
}

fn table(rows: &[Row]) -> Result<Vec<u8>, csv::Error> {
    let mut plain = WriterBuilder::new().from_writer(Vec::new());
    rows.iter().try_for_each(|row| plain.serialize(row))?;
    let plain = plain.into_inner().map_err(csv::IntoInnerError::into_error)?;
    let mut guarded = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    for record in ReaderBuilder::new().has_headers(false).from_reader(&plain[..]).into_records() {
        guarded.write_record(&record?.iter().map(harmless).collect::<StringRecord>())?;
    }
    Ok(guarded.into_inner().map_err(csv::IntoInnerError::into_error)?)
}

/// A cell that no spreadsheet takes for a formula: what begins like one gets an apostrophe before it. A negative figure is none.
#[must_use]
pub fn harmless(cell: &str) -> String {
    let first = cell.trim_start_matches([' ', '\u{A0}']).chars().next();
    let begins = first.is_some_and(|c| matches!(c, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠'));
    let is_figure = cell.strip_prefix('-').is_some_and(|rest| {
        rest.starts_with(|c: char| c.is_ascii_digit())
            && rest.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | 'e' | '-'))
            && cell.parse::<f64>().is_ok()
    });
    if begins && !is_figure { format!("'{cell}") } else { cell.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_begins_like_a_formula_is_none() {
        for cell in ["=1+1", "+1", "-1+2", "@x", "\t=1", "\r", " =1", "-inf", "-", "－1", "=HYPERLINK(\"a\")", "-2-3", "-0x1"] {
            let harmless = harmless(cell);
            assert_eq!(harmless.strip_prefix('\''), Some(cell));
        }
        for cell in ["-0.012", "-3", "-1.5e-7", "3.187", "", "S-1", "41", "a=b", "'=1"] {
            assert_eq!(harmless(cell), cell);
        }
    }
}
