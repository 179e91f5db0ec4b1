//! `sheet`: check a structure sheet and print its schedule of holes.

use crate::bases;
use crate::show::read_limits;
use crate::station::wall;
use crate::{Failure, stores};
use host_tool::judge::statement::name as measurand;
use host_tool::measure::length_text;
use host_tool::planned::{Origin, TakenIn, take_in};
use host_tool::sheet::{self, FILE_BYTES_MAX, Finding, LegPlan, Options, Sheet, Unsound, datum_text, leg_text};
use host_tool::text::terminal;
use jiff::ZonedDateTime;
use serde_json::json;
use shared_protocol::record::Plan;
use shared_protocol::units::Micrometres;
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{Read, Write, stdout};
use std::path::{Path, PathBuf};

/// What to do with a sheet.
#[derive(Debug)]
pub struct Checking {
    /// The file.
    pub file: PathBuf,
    /// Rows to leave out.
    pub leave: Vec<u32>,
    /// Columns to ignore.
    pub ignore: Vec<String>,
    /// Every basis of setting depth instead of the schedule.
    pub bases: bool,
    /// As JSON.
    pub json: bool,
    /// Limits.
    pub limits: Option<PathBuf>,
    /// Who takes it into which store.
    pub keep: Option<(String, PathBuf)>,
}

/// Writes an empty sheet, to standard output where no file is named.
pub fn blank(file: Option<&Path>) -> Result<(), Failure> {
    let Some(path) = file else { return Ok(write!(stdout(), "{}", sheet::blank())?) };
    let shown = terminal(&path.display().to_string());
    let written = File::create_new(path).and_then(|mut file| file.write_all(sheet::blank().as_bytes()));
    written.map_err(|e| Failure::Failed(format!("{shown} cannot be written: {e}; nothing that is there is written over")))?;
    Ok(writeln!(stdout(), "{shown}: fill in one row for each leg, then `borewitness sheet {shown}` checks it")?)
}

/// Checks a sheet and prints what it plans, or everything that has to be mended.
pub fn check(checking: &Checking) -> Result<(), Failure> {
    let name = terminal(&checking.file.display().to_string());
    let bytes = read(&checking.file).map_err(|e| Failure::Failed(format!("{name} cannot be read: {e}")))?;
    let options = Options { leave: &checking.leave, ignore: &checking.ignore, today: ZonedDateTime::now().date() };
    match Sheet::read(&bytes, &options) {
        Ok(sheet) => {
            let taken = checking.keep.as_ref().map(|(who, store)| keep(&sheet, checking, &bytes, who, store)).transpose()?;
            if checking.json {
                let taken = taken.map(|t| json!({ "new": t.new, "changed": t.changed, "same": t.same, "left_out": t.left_out }));
                let bases = checking.bases.then(|| bases::object(&sheet));
                return Ok(writeln!(stdout(), "{}", json!({ "sheet": sheet, "problems": [], "taken_in": taken, "bases": bases }))?);
            }
            print(&name, &sheet, checking)?;
            taken.map_or(Ok(()), |taken| said_taken(&taken))
        }
        Err(unsound) => {
            if checking.json {
                writeln!(stdout(), "{}", json!({ "sheet": null, "problems": unsound.problems, "remarks": unsound.remarks }))?;
            } else {
                complain(&unsound)?;
            }
            let count = counted(unsound.problems.len(), "problem");
            Err(Failure::Failed(format!("{name} has {count}: nothing was taken of it; mend it, or leave rows out with --leave ROWS")))
        }
    }
}

fn keep(sheet: &Sheet, checking: &Checking, bytes: &[u8], who: &str, store: &Path) -> Result<TakenIn, Failure> {
    let file = checking.file.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    Ok(take_in(&mut stores::open(store)?, sheet, &Origin { file: &file, bytes, by: who, at: wall() })?)
}

fn said_taken(taken: &TakenIn) -> Result<(), Failure> {
    let changed = taken.changed.len();
    writeln!(stdout(), "taken into the store: {} new, {changed} changed, {} as before", taken.new, taken.same)?;
    for name in &taken.changed {
        writeln!(stdout(), "changed: {}: the older plan stays beside the new one", terminal(name))?;
    }
    for name in &taken.left_out {
        writeln!(stdout(), "not on this sheet: {}: it stays planned as it was", terminal(name))?;
    }
    Ok(())
}

/// A file as far as it can be a sheet, and one byte more.
fn read(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(FILE_BYTES_MAX as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn complain(unsound: &Unsound) -> Result<(), Failure> {
    for finding in &unsound.problems {
        writeln!(stdout(), "{finding}")?;
    }
    for remark in &unsound.remarks {
        writeln!(stdout(), "remark: {remark}")?;
    }
    Ok(())
}

fn print(name: &str, sheet: &Sheet, checking: &Checking) -> Result<(), Failure> {
    let structures: BTreeSet<(&str, &str)> = sheet.legs.iter().map(|leg| (leg.line.as_str(), leg.structure.as_str())).collect();
    let (structures, holes) = (counted(structures.len(), "structure"), counted(sheet.legs.len(), "hole"));
    writeln!(stdout(), "{name}: {structures}, {holes}: sound")?;
    if checking.bases {
        bases::print(sheet)?;
    } else {
        schedule(sheet)?;
    }
    if let Some(path) = &checking.limits {
        // How a limit is written does not depend on the hole.
        for limit in read_limits(path)?.of(&Plan::default()).limits {
            writeln!(stdout(), "judged by {} too: {}, {}", measurand(limit.measurand), terminal(&limit.written), terminal(&limit.source))?;
        }
    }
    for line in together(&sheet.warnings) {
        writeln!(stdout(), "warning: {line}")?;
    }
    for remark in &sheet.remarks {
        writeln!(stdout(), "remark: {remark}")?;
    }
    Ok(())
}

/// The holes, a block for each line.
fn schedule(sheet: &Sheet) -> Result<(), Failure> {
    const HEADS: [&str; 9] = ["structure", "leg", "depth", "below", "by", "hole", "pole", "spacing", "locate ticket"];
    let rows: Vec<[String; 9]> = sheet.legs.iter().map(cells).collect();
    let width = |at: usize| rows.iter().map(|row| row[at].chars().count()).chain([HEADS[at].len()]).max().unwrap_or(0);
    let widths: [usize; 9] = std::array::from_fn(width);
    let text = |cells: &[String; 9]| {
        let padded: Vec<String> = cells.iter().zip(widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        format!("  {}", padded.join("  ").trim_end())
    };
    let mut line = None;
    for (leg, row) in sheet.legs.iter().zip(&rows) {
        if line != Some(&leg.line) {
            line = Some(&leg.line);
            let shown = if leg.line.is_empty() { "no line named".to_owned() } else { format!("line {}", terminal(&leg.line)) };
            writeln!(stdout(), "{shown}\n{}", text(&HEADS.map(str::to_owned)))?;
        }
        writeln!(stdout(), "{}", text(row))?;
    }
    Ok(())
}

fn cells(leg: &LegPlan) -> [String; 9] {
    let dash = || "–".to_owned();
    let length = |metres: f64| length_text(micrometres(metres), leg.units);
    let pole = match (leg.pole_length_m, &leg.pole_class) {
        (Some(metres), Some(class)) => format!("{} class {}", length(metres), terminal(class)),
        (Some(metres), None) => length(metres),
        (None, Some(class)) => format!("class {}", terminal(class)),
        (None, None) => dash(),
    };
    let ticket = leg.ticket.as_ref().map_or_else(
        || "none".to_owned(),
        |ticket| {
            let until = ticket.until.as_ref().map_or_else(String::new, |until| format!(" until {until}"));
            format!("{}{until}", terminal(&ticket.number))
        },
    );
    [
        terminal(&leg.structure),
        leg_text(leg.leg).to_owned(),
        length(leg.depth_m),
        datum_text(leg.datum).to_owned(),
        leg.basis.map_or_else(dash, |basis| basis.text().to_owned()),
        length(leg.diameter_m),
        pole,
        leg.framed_spacing_m.map_or_else(dash, length),
        ticket,
    ]
}

/// Findings that say the same of several rows, in one line each.
fn together(findings: &[Finding]) -> Vec<String> {
    let mut lines: Vec<(Finding, Vec<u32>)> = Vec::new();
    for finding in findings {
        let alike = |(other, _): &&mut (Finding, Vec<u32>)| (&other.column, &other.what) == (&finding.column, &finding.what);
        match lines.iter_mut().find(alike) {
            Some((_, rows)) => rows.extend(finding.row),
            None => lines.push((finding.clone(), finding.row.into_iter().collect())),
        }
    }
    let text = |(finding, rows): (Finding, Vec<u32>)| {
        if rows.len() < 2 {
            return finding.to_string();
        }
        let first: Vec<String> = rows.iter().take(12).map(u32::to_string).collect();
        let more = if rows.len() > 12 { format!(" and {} more", rows.len() - 12) } else { String::new() };
        format!("rows {}{more}: {}", first.join(", "), Finding { row: None, ..finding })
    };
    lines.into_iter().map(text).collect()
}

fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// Metres as lengths are shown.
pub fn micrometres(metres: f64) -> Micrometres {
    #[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
    let whole = (metres * 1e6).round() as i32;
    Micrometres(whole)
}
