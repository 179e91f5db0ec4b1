//! `demo --line`: an invented line from its structure sheet to its verdicts, drilled by one simulated rig.
//!
//! One seed is the whole line: `jobs` makes of each row of the sheet what is drilled there and how it turns out, `work`
//! drills it through the rig, the cable and the capture that a real one has, and `crew` says what people measure and enter.

mod crew;
mod jobs;
mod turns_out;
mod work;

use crate::Failure;
use crate::demo::{CALIBRATED, folder, take_away};
use crate::enter::open_holes;
use crate::job::STORE_FILE;
use host_tool::calibrate::tool;
use host_tool::facts::Wall;
use host_tool::holes::catalogue;
use host_tool::planned::{Origin, day, take_in};
use host_tool::sheet::{Options, Sheet};
use host_tool::store::Store;
use shared_protocol::record::Calibration;
use simulator::scenario::Scenario;
use std::io::{Write, stdout};
use std::path::{Path, PathBuf};

/// The line's structure sheet.
const SHEET: &str = include_str!("../../demo/line.csv");
/// What its holes have in common.
const BASE: &str = include_str!("../../demo/line.toml");
/// When the work begins: Monday 2026-05-11, 07:30 at six hours behind UTC. Invented, so that every run is the same week.
const MORNING: Wall = Wall { unix_ms: 1_778_506_200_000, offset: -360 };
/// The host's number, made up too, so that every run makes the same store.
const HOST: u32 = 0x51D0_0000;

/// Runs the demonstration over the first structures of the line, or over all. It is drilled into memory and written when it is
/// whole: where it fails, nothing is left.
pub fn line(out: Option<PathBuf>, structures: Option<u16>) -> Result<(), Failure> {
    let folder = folder(out)?;
    let done = from_sheet_to_records(&folder, structures);
    done.inspect_err(|failure| take_away(&folder, failure))
}

fn from_sheet_to_records(folder: &Path, structures: Option<u16>) -> Result<(), Failure> {
    let base = Scenario::parse("line.toml", BASE).map_err(|e| Failure::Failed(e.to_string()))?;
    let (sheet, mut store) = (sheet()?, Store::in_memory(HOST)?);
    writeln!(stdout(), "SIMULATED: {}. The rig is calibrated by {}. No hole is drilled.", base.title, fitter::WHO)?;
    for warning in &sheet.warnings {
        writeln!(stdout(), "warning: {warning}")?;
    }
    let origin = Origin { file: "line.csv", bytes: SHEET.as_bytes(), by: "SIM Office", at: MORNING };
    take_in(&mut store, &sheet, &origin)?;
    let jobs = jobs::jobs(&base, &sheet.legs, structures.map_or(usize::MAX, usize::from))?;
    let (mut store, entries, ended) = work::work(&base, store, calibrations(&base)?, &jobs)?;
    store.enter_all(&entries)?;
    store.backup(&folder.join(STORE_FILE))?;
    let catalogue = catalogue(&store)?;
    for hole in &catalogue.holes {
        writeln!(stdout(), "{}", crate::show::row(hole))?;
    }
    writeln!(stdout(), "Open when all have stopped, {}:", ended.rfc3339())?;
    for line in open_holes(&store, &catalogue.holes, ended.unix_ms)? {
        writeln!(stdout(), "{line}")?;
    }
    writeln!(stdout(), "Can the poles go in?")?;
    crate::judge::print(&store, &[], None, None, false)?;
    Ok(writeln!(stdout(), "The store is {}", folder.join(STORE_FILE).display())?)
}

/// The sheet as it is read on the first morning.
fn sheet() -> Result<Sheet, Failure> {
    let today = day(MORNING).unwrap_or_default();
    let read = Sheet::read(SHEET.as_bytes(), &Options { leave: &[], ignore: &[], today });
    read.map_err(|unsound| Failure::Failed(unsound.problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")))
}

/// All that the rig is calibrated with, its tools among it.
fn calibrations(base: &Scenario) -> Result<Vec<Calibration>, Failure> {
    let mut all = fitter::calibrate(&base.errors, base.seed, base.sensors.count_at_hub, CALIBRATED)?;
    for shape in &base.tool {
        let taped = [1.0, -1.0].map(|off| (shape.length_mm + off) * 1e3);
        let found = tool::find(shape.number, taped, shape.diameter_mm * 1e3)?;
        all.push(found.found().signed(fitter::WHO, CALIBRATED.0, CALIBRATED.1)?);
    }
    Ok(all)
}

#[cfg(test)]
mod tests;
