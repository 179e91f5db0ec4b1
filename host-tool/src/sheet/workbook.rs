//! Workbooks: .xlsx and .ods, their first sheet whose header fits.

use super::finding::{Finding, shown};
use super::grid::{COLUMNS_MAX, Cell, Grid, Merge, ROWS_MAX, Row, Value};
use super::header_of;
use super::unpacked::{self, Form, Unpacked};
use calamine::{Data, DataRef, Dimensions, ExcelDateTime, Ods, Reader, Xlsx, XlsxError};
use std::collections::BTreeMap;
use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Reads the first sheet whose header fits; without one, what the first sheet has.
///
/// # Errors
/// Where it is no workbook, or one too large when unpacked.
pub(super) fn read(bytes: &[u8]) -> Result<Grid, Finding> {
    let unpacked = unpacked::check(bytes)?;
    let read = || match unpacked.form {
        Form::Xlsx => xlsx(bytes).map_err(|e| e.to_string()),
        Form::Ods => ods(bytes, &unpacked).map_err(|e| e.to_string()),
    };
    // What a stranger wrote is read by what others wrote: whatever either of them gets wrong is a sheet that cannot be read.
    let sheets = catch_unwind(AssertUnwindSafe(read)).unwrap_or_else(|_| Err("it is damaged".to_owned()));
    let sheets =
        sheets.map_err(|e| Finding::of_file(format!("the workbook cannot be read: {}; save it again, or as CSV UTF-8", shown(&e))))?;
    first_that_fits(sheets)
}

fn first_that_fits(mut sheets: Vec<Grid>) -> Result<Grid, Finding> {
    let fits = sheets.iter().position(|grid| header_of(grid).is_some());
    let others: Vec<String> = sheets
        .iter()
        .enumerate()
        .filter(|(at, _)| Some(*at) != fits)
        .filter_map(|(_, grid)| Some(format!("\"{}\"", shown(grid.name.as_ref()?))))
        .collect();
    if sheets.is_empty() {
        return Err(Finding::of_file("the workbook has no sheet"));
    }
    let mut grid = sheets.swap_remove(fits.unwrap_or(0));
    if fits.is_some() && !others.is_empty() {
        let name = shown(grid.name.as_deref().unwrap_or_default());
        grid.remarks.push(Finding::of_file(format!("sheet \"{name}\" was read; its others were not: {}", few(&others))));
    }
    Ok(grid)
}

/// The first of them, and how many more there are.
fn few(names: &[String]) -> String {
    let first = names.iter().take(6).cloned().collect::<Vec<_>>().join(", ");
    if names.len() > 6 { format!("{first} and {} more", names.len() - 6) } else { first }
}

/// The sheets up to the first whose header fits, and the names of the others.
fn xlsx(bytes: &[u8]) -> Result<Vec<Grid>, XlsxError> {
    let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(bytes))?;
    let (mut grids, mut found) = (Vec::new(), false);
    for name in workbook.sheet_names() {
        let mut grid = Grid { name: Some(name.clone()), ..Grid::default() };
        if !found {
            match cells(&mut workbook, &name) {
                Ok(rows) => fill(&mut grid, rows),
                Err(XlsxError::NotAWorksheet(_)) => {} // a chart
                Err(e) => return Err(e),
            }
            found = header_of(&grid).is_some();
            if found {
                grid.merges = workbook.merge_cells_by_sheet_name(&name)?.iter().map(merge).collect();
            }
        }
        grids.push(grid);
    }
    Ok(grids)
}

/// A sheet's cells one after the other, since a rectangle around a few far apart would not fit any memory.
fn cells(workbook: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Result<BTreeMap<u32, Row>, XlsxError> {
    let mut rows: BTreeMap<u32, Row> = BTreeMap::new();
    let mut reader = workbook.worksheet_cells_reader(name)?;
    while let Some(record) = reader.next_cell_with_formula_metadata()? {
        let cell = Cell { value: value_ref(&record.value), formula: record.formula.is_some() };
        if cell.is_empty() {
            continue;
        }
        let number = record.pos.0.saturating_add(1);
        let row = rows.entry(number).or_insert_with(|| Row { number, cells: Vec::new() });
        let at = usize::try_from(record.pos.1).unwrap_or(usize::MAX).min(COLUMNS_MAX); // one beyond stands for all that are
        if row.cells.len() <= at {
            row.cells.resize(at + 1, Cell::default());
        }
        row.cells[at] = cell;
        if rows.len() > ROWS_MAX + 1 {
            break; // too many, which is said when they are taken up
        }
    }
    Ok(rows)
}

fn fill(grid: &mut Grid, rows: BTreeMap<u32, Row>) {
    for row in rows.into_values() {
        if let Err(problem) = grid.push(row) {
            grid.problems.push(problem);
            return;
        }
    }
}

fn ods(bytes: &[u8], unpacked: &Unpacked) -> Result<Vec<Grid>, calamine::OdsError> {
    let mut workbook: Ods<_> = Ods::new(Cursor::new(bytes))?;
    let mut grids = Vec::new();
    for (place, name) in workbook.sheet_names().into_iter().enumerate() {
        let (range, formulas) = (workbook.worksheet_range(&name)?, workbook.worksheet_formula(&name)?);
        let mut rows: BTreeMap<u32, Row> = BTreeMap::new();
        let mut put = |(down, right): (u32, u32), change: &dyn Fn(&mut Cell)| {
            let number = down.saturating_add(1);
            let row = rows.entry(number).or_insert_with(|| Row { number, cells: Vec::new() });
            let at = usize::try_from(right).unwrap_or(usize::MAX).min(COLUMNS_MAX);
            if row.cells.len() <= at {
                row.cells.resize(at + 1, Cell::default());
            }
            change(&mut row.cells[at]);
        };
        used(&range, |at, data| put(at, &|cell| cell.value = value(data)));
        used(&formulas, |at, _| put(at, &|cell| cell.formula = true));
        let mut grid = Grid { name: Some(name.clone()), ..Grid::default() };
        fill(&mut grid, rows);
        grid.merges = unpacked.merges.iter().filter(|(sheet, _)| *sheet == place).map(|(_, merge)| *merge).collect();
        grids.push(grid);
    }
    Ok(grids)
}

/// Every cell with something in it, by its place in the sheet.
fn used<T: calamine::CellType>(range: &calamine::Range<T>, mut each: impl FnMut((u32, u32), &T)) {
    let Some((down, right)) = range.start() else { return };
    for (row, column, data) in range.used_cells() {
        let place = |from: u32, by: usize| from.saturating_add(u32::try_from(by).unwrap_or(u32::MAX));
        each((place(down, row), place(right, column)), data);
    }
}

fn merge(area: &Dimensions) -> Merge {
    let column = |column: u32| usize::try_from(column).unwrap_or(usize::MAX).min(COLUMNS_MAX);
    Merge { rows: (area.start.0.saturating_add(1), area.end.0.saturating_add(1)), columns: (column(area.start.1), column(area.end.1)) }
}

fn value_ref(data: &DataRef) -> Value {
    match data {
        DataRef::SharedString(text) => Cell::text(text).value,
        DataRef::String(text) => Cell::text(text).value,
        DataRef::Int(number) => whole(*number),
        DataRef::Float(number) => Value::Number(*number),
        DataRef::Bool(is) => Value::Text(is.to_string()),
        DataRef::DateTime(day) => day_of(day),
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => iso(text),
        DataRef::Error(error) => Value::Error(error.to_string()),
        DataRef::Empty => Value::Empty,
    }
}

fn value(data: &Data) -> Value {
    match data {
        Data::String(text) => Cell::text(text).value,
        Data::Int(number) => whole(*number),
        Data::Float(number) => Value::Number(*number),
        Data::Bool(is) => Value::Text(is.to_string()),
        Data::DateTime(day) => day_of(day),
        Data::DateTimeIso(text) | Data::DurationIso(text) => iso(text),
        Data::Error(error) => Value::Error(error.to_string()),
        Data::Empty => Value::Empty,
    }
}

fn whole(number: i64) -> Value {
    #[allow(clippy::cast_precision_loss)] // no figure of a sheet comes near 2^53
    Value::Number(number as f64)
}

fn day_of(day: &ExcelDateTime) -> Value {
    let (year, month, day_of_month, ..) = day.to_ymd_hms_milli();
    Value::Day(format!("{year:04}-{month:02}-{day_of_month:02}"))
}

fn iso(text: &str) -> Value {
    Value::Day(text.chars().take(10).collect())
}
