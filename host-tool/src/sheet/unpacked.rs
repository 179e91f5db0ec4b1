//! What a workbook would be unpacked, measured before anything else reads it.
//!
//! A workbook is a zip archive, and a small one can unpack to more than any memory holds: by its parts, by a count
//! that somebody makes room for, by cells that are to be repeated. Each is bounded here.

use super::finding::Finding;
use super::grid::{MERGES_MAX, Merge};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use std::io::{BufRead, BufReader, Cursor, Read};
use zip::ZipArchive;

/// Bytes of all parts together.
pub(super) const UNPACKED_BYTES_MAX: u64 = 64 << 20;
/// Parts.
const PARTS_MAX: usize = 2_000;
/// Texts that cells share.
const SHARED_MAX: u64 = 1_000_000;
/// Bytes that repeated cells come to.
const REPEATED_BYTES_MAX: u64 = 128 << 20;
/// What a cell weighs beside its text.
const CELL_BYTES: u64 = 64;

/// Which form of workbook it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Xlsx,
    Ods,
}

/// A workbook that may be read.
#[derive(Debug)]
pub(super) struct Unpacked {
    pub form: Form,
    /// Merged cells of an .ods by the places of their sheets, from 0; one more than may be applied stands for all.
    pub merges: Vec<(usize, Merge)>,
}

/// Measures an archive.
///
/// # Errors
/// Where it is no workbook, damaged, or unpacks to too much.
pub(super) fn check(bytes: &[u8]) -> Result<Unpacked, Finding> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| damaged())?;
    let names: Vec<String> =
        archive.file_names().map(|name| Ok(name.map_err(|_| damaged())?.into_owned())).collect::<Result<_, Finding>>()?;
    if names.len() > PARTS_MAX {
        return Err(Finding::of_file(format!("the workbook has more than {PARTS_MAX} parts: save it as CSV UTF-8")));
    }
    let has = |wanted: &str| names.iter().any(|name| name.eq_ignore_ascii_case(wanted));
    let form = match (has("content.xml"), has("[Content_Types].xml")) {
        (true, _) => Form::Ods,
        (false, true) if names.iter().any(|name| name.to_ascii_lowercase().ends_with("workbook.xml")) => Form::Xlsx,
        _ => return Err(Finding::of_file("a zip archive and no workbook that can be read: save the sheet as .xlsx, .ods or CSV UTF-8")),
    };
    let mut left = UNPACKED_BYTES_MAX;
    let mut merges = Vec::new();
    for at in 0..archive.len() {
        let part = archive.by_index(at).map_err(|_| damaged())?;
        let name = part.name().map_err(|_| damaged())?.to_ascii_lowercase();
        if part.size() > left {
            return Err(too_much()); // by its own account
        }
        // And whatever its own account.
        let mut part = Counted { part: part.take(left + 1), bytes: 0 };
        let mut reader = BufReader::new(&mut part);
        match form {
            Form::Ods if name == "content.xml" => merges = content(&mut reader)?,
            Form::Xlsx if name.ends_with("sharedstrings.xml") => shared(&mut reader)?,
            Form::Ods | Form::Xlsx => {}
        }
        std::io::copy(&mut reader, &mut std::io::sink()).map_err(|_| damaged())?;
        left = left.checked_sub(part.bytes).ok_or_else(too_much)?;
    }
    Ok(Unpacked { form, merges })
}

fn damaged() -> Finding {
    Finding::of_file("the workbook is damaged or locked with a password: save it again without one, or as CSV UTF-8")
}

fn too_much() -> Finding {
    Finding::of_file(format!("the workbook unpacks to more than {} MB: that is no structure sheet", UNPACKED_BYTES_MAX >> 20))
}

/// Counts what was really unpacked.
struct Counted<R> {
    part: R,
    bytes: u64,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.part.read(buffer)?;
        self.bytes += count as u64;
        Ok(count)
    }
}

fn xml<R: BufRead>(part: R) -> Reader<R> {
    let mut reader = Reader::from_reader(part);
    let config = reader.config_mut();
    config.expand_empty_elements = true;
    config.check_end_names = false;
    reader
}

/// The greatest value of an attribute, should it be there twice; 1 where it is not.
fn count(element: &BytesStart, wanted: &str) -> Result<u64, Finding> {
    let mut greatest = 1;
    for attribute in element.attributes().with_checks(false) {
        let attribute = attribute.map_err(|_| damaged())?;
        if attribute.key.as_ref() == wanted {
            greatest = greatest.max(attribute.value.trim().parse::<u64>().map_err(|_| damaged())?);
        }
    }
    Ok(greatest)
}

/// Refuses a count of shared texts for which no memory could make room.
fn shared(part: &mut dyn BufRead) -> Result<(), Finding> {
    let mut reader = xml(part);
    let mut buffer = Vec::new();
    loop {
        buffer.clear();
        match reader.read_event_into(&mut buffer).map_err(|_| damaged())? {
            Event::Start(element) if element.local_name().as_ref() == "sst" && count(&element, "uniqueCount")? > SHARED_MAX => {
                return Err(too_much());
            }
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

/// A row while it is read.
#[derive(Default)]
struct OdsRow {
    /// What its cells up to the last with something in it come to.
    bytes: u64,
    columns: u64,
    /// Empty cells that count only if another follows.
    pending: u64,
    /// Of the cell that is being read: how often it is there.
    repeats: u64,
    filled: bool,
}

/// Weighs an .ods' cells with their repetitions, and finds what is merged.
fn content(part: &mut dyn BufRead) -> Result<Vec<(usize, Merge)>, Finding> {
    let mut reader = xml(part);
    let (mut buffer, mut merges) = (Vec::new(), Vec::new());
    let (mut tables, mut row, mut row_repeats, mut down) = (0_usize, OdsRow::default(), 1, 0_u64);
    let (mut weight, mut empty_rows, mut widest) = (0_u64, 0_u64, 0_u64);
    loop {
        buffer.clear();
        match reader.read_event_into(&mut buffer).map_err(|_| damaged())? {
            Event::Start(element) => match element.name().as_ref() {
                "table:table" => {
                    tables += usize::from(is_named(&element)?); // those without a name are not read
                    (down, empty_rows, widest) = (0, 0, 0);
                }
                "table:table-row" => {
                    row = OdsRow::default();
                    row_repeats = count(&element, "table:number-rows-repeated")?;
                }
                "table:table-cell" | "table:covered-table-cell" => {
                    let at = row.columns.saturating_add(row.pending);
                    let spanned = merge(&element, down, at)?.filter(|_| merges.len() <= MERGES_MAX);
                    merges.extend(spanned.map(|merge| (tables.saturating_sub(1), merge)));
                    row.start(&element)?;
                }
                _ => {}
            },
            Event::Text(text) => row.bytes = row.bytes.saturating_add(row.repeats.saturating_mul(text.len() as u64)),
            Event::GeneralRef(_) => row.bytes = row.bytes.saturating_add(row.repeats.saturating_mul(4)),
            Event::End(element) if element.name().as_ref() == "table:table-row" => {
                widest = widest.max(row.columns);
                down = down.saturating_add(row_repeats);
                if row.filled {
                    weight = weight.saturating_add(empty_rows.saturating_mul(widest).saturating_mul(CELL_BYTES));
                    weight = weight.saturating_add(row.bytes.saturating_mul(row_repeats.max(1)));
                    empty_rows = 0;
                } else {
                    weight = weight.saturating_add(row.bytes);
                    empty_rows = empty_rows.saturating_add(row_repeats);
                }
            }
            Event::Eof => return Ok(merges),
            _ => {}
        }
        if weight > REPEATED_BYTES_MAX || row.bytes > REPEATED_BYTES_MAX {
            return Err(Finding::of_file(
                "the workbook repeats cells without end: clear the rows and columns below and beside the sheet, or save it as CSV UTF-8",
            ));
        }
    }
}

impl OdsRow {
    fn start(&mut self, element: &BytesStart) -> Result<(), Finding> {
        let repeats = count(element, "table:number-columns-repeated")?;
        self.bytes = self.bytes.saturating_add(self.pending.saturating_mul(CELL_BYTES));
        self.columns = self.columns.saturating_add(self.pending);
        (self.pending, self.repeats) = (0, repeats);
        if has_value(element)? {
            let size = CELL_BYTES + element.len() as u64;
            self.bytes = self.bytes.saturating_add(repeats.saturating_mul(size));
            self.columns = self.columns.saturating_add(repeats);
            self.filled = true;
        } else {
            self.pending = repeats;
        }
        Ok(())
    }
}

/// Whether a cell has anything in it, by what it says besides its looks.
fn has_value(element: &BytesStart) -> Result<bool, Finding> {
    for attribute in element.attributes().with_checks(false) {
        let attribute = attribute.map_err(|_| damaged())?;
        if attribute.key.as_ref().starts_with("office:")
            || attribute.key.as_ref().starts_with("calcext:")
            || attribute.key.as_ref() == "table:formula"
        {
            return Ok(true);
        }
    }
    Ok(false)
}

fn is_named(element: &BytesStart) -> Result<bool, Finding> {
    for attribute in element.attributes().with_checks(false) {
        if attribute.map_err(|_| damaged())?.key.as_ref() == "table:name" {
            return Ok(true);
        }
    }
    Ok(false)
}

/// What a cell spans, where it spans more than itself.
fn merge(element: &BytesStart, down: u64, right: u64) -> Result<Option<Merge>, Finding> {
    let (wide, high) = (count(element, "table:number-columns-spanned")?, count(element, "table:number-rows-spanned")?);
    let row = |at: u64| u32::try_from(at.saturating_add(1)).unwrap_or(u32::MAX);
    let column = |at: u64| usize::try_from(at).unwrap_or(usize::MAX);
    let is = wide > 1 || high > 1;
    Ok(is.then(|| Merge {
        rows: (row(down), row(down.saturating_add(high - 1))),
        columns: (column(right), column(right.saturating_add(wide - 1))),
    }))
}
