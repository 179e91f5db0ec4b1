//! Text files: which encoding, which separator, and their rows.

use super::columns::known_in;
use super::finding::Finding;
use super::grid::{CELL_CHARS_MAX, Cell, Grid, Row, TITLE_ROWS_MAX};
use csv::{ReaderBuilder, StringRecord};
use encoding_rs::{Encoding, WINDOWS_1252};

/// What may stand between two cells.
const SEPARATORS: [(u8, &str); 3] = [(b',', "commas"), (b';', "semicolons"), (b'\t', "tabs")];

/// Bytes of a file from which the separator is told.
const BEGINNING_BYTES: usize = 64 << 10;

/// Reads rows of separated values.
///
/// # Errors
/// Where it is no text, or too much of it.
pub(super) fn read(bytes: &[u8]) -> Result<Grid, Finding> {
    let (text, encoding) = decoded(bytes)?;
    let mut grid = Grid::default();
    if encoding != "UTF-8" {
        let what = format!("read as {encoding}: if a name looks wrong, save the sheet as CSV UTF-8");
        grid.remarks.push(Finding::of_file(what));
    }
    let (separator, name) = separator(&text);
    if separator != b',' {
        grid.remarks.push(Finding::of_file(format!("cells are separated by {name}")));
    }
    grid.decimal_comma = separator == b';';
    rows(&text, separator, &mut grid)?;
    Ok(grid)
}

/// The text with the name of its encoding: what the byte order mark says; UTF-8 where it is that; else Windows-1252.
fn decoded(bytes: &[u8]) -> Result<(String, &'static str), Finding> {
    if let Some((encoding, mark)) = Encoding::for_bom(bytes) {
        let text = encoding.decode_without_bom_handling_and_without_replacement(&bytes[mark..]);
        let broken = || Finding::of_file(format!("begins as {} and is not that: save the sheet again as CSV UTF-8", encoding.name()));
        return text.map(|text| (text.into_owned(), encoding.name())).ok_or_else(broken);
    }
    if bytes.iter().any(|b| b.is_ascii_control() && !matches!(b, b'\t' | b'\r' | b'\n')) {
        return Err(Finding::of_file("neither text nor a workbook: save the sheet as CSV UTF-8, .xlsx or .ods"));
    }
    Ok(std::str::from_utf8(bytes).map_or_else(
        |_| (WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned(), "Windows-1252"),
        |text| (text.to_owned(), "UTF-8"),
    ))
}

/// The separator with which one of the first rows names most columns.
fn separator(text: &str) -> (u8, &'static str) {
    let end = (0..=BEGINNING_BYTES.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    let known = |separator: u8| {
        let mut reader = ReaderBuilder::new().delimiter(separator).has_headers(false).flexible(true).from_reader(&text.as_bytes()[..end]);
        let records = reader.records().take(TITLE_ROWS_MAX).map_while(Result::ok);
        records.map(|record| known_in(record.iter())).max().unwrap_or(0)
    };
    // The last of equals is what max_by_key gives: commas, then semicolons, come last.
    SEPARATORS.into_iter().rev().max_by_key(|(separator, _)| known(*separator)).unwrap_or(SEPARATORS[0])
}

fn rows(text: &str, separator: u8, grid: &mut Grid) -> Result<(), Finding> {
    let mut reader = ReaderBuilder::new().delimiter(separator).has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut record = StringRecord::new();
    let (mut line, mut counted) = (1_u32, 0);
    while reader.read_record(&mut record).map_err(|e| Finding::of_file(format!("cannot be read as rows: {e}")))? {
        let begun = record.position().map_or(0, |p| usize::try_from(p.byte()).unwrap_or(usize::MAX)).min(text.len());
        // The reader steps over empty lines and counts from before them.
        let blank = text.as_bytes()[begun..].iter().take_while(|b| matches!(b, b'\r' | b'\n')).count();
        let at = begun + blank;
        line = line.saturating_add(breaks(&text.as_bytes()[counted..at]));
        counted = at;
        if record.iter().any(|cell| cell.trim().chars().count() > CELL_CHARS_MAX) {
            let what = format!("a cell has more than {CELL_CHARS_MAX} characters: a quotation mark may not be closed there");
            grid.problems.push(Finding::of_row(line, what));
        }
        grid.push(Row { number: line, cells: record.iter().map(Cell::text).collect() })?;
    }
    Ok(())
}

/// Line breaks, of one character or of two.
fn breaks(bytes: &[u8]) -> u32 {
    let single = bytes.windows(2).filter(|pair| pair[0] == b'\r' && pair[1] != b'\n').count() + usize::from(bytes.last() == Some(&b'\r'));
    let count = bytes.iter().filter(|b| **b == b'\n').count() + single;
    u32::try_from(count).unwrap_or(u32::MAX)
}
