//! How time and memory grow with the number of holes in a store: kept, judged, printed, listed by the office's pages. A process does one of
//! these and no more, so that the most memory that it had is of that.

use super::{figure, processor_s as thread_s};
use crate::office::{self, Office};
use crate::samples::{fleet, season_sheet};
use host_tool::facts::Wall;
use host_tool::holes::catalogue;
use host_tool::papers::Job;
use host_tool::planned::{Origin, day, take_in};
use host_tool::sheet::{Options, Sheet};
use host_tool::store::Store;
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Rigs that drilled the holes in turn.
const RIGS: u32 = 5;
/// Papers that are printed out of any store, and holes whose pages are opened.
const PAPERS: u32 = 200;
/// Requests for what is the same each time.
const ASKED: u32 = 20;

/// One of a curve's points.
#[derive(Clone, Debug, Serialize)]
pub struct Point {
    /// What is done.
    pub what: &'static str,
    /// Holes in the store.
    pub holes: u32,
    /// How many things are done: where they are as many in any store, the time must be the same too.
    pub done: u32,
    /// s of processor, of all threads.
    pub seconds: f64,
    /// s that went by.
    pub elapsed: f64,
    /// The most memory that the process had by then, KiB.
    pub peak_kib: u64,
}

/// What a process does.
type Part = fn(&Path, u32) -> Result<Vec<Point>, String>;

/// By name. The first makes the store that the others read.
pub const PARTS: &[(&str, Part)] = &[("store", store), ("judge", judge), ("page", page), ("print", print)];

fn said(e: impl std::fmt::Display) -> String {
    e.to_string()
}

/// The store of so many holes.
fn at(folder: &Path, holes: u32) -> PathBuf {
    folder.join(format!("{holes}-holes.store"))
}

/// Does something and takes its time.
fn timed<T>(what: &'static str, holes: u32, done: u32, work: impl FnOnce() -> Result<T, String>) -> Result<(T, Point), String> {
    let (since, before) = (Instant::now(), office::processor_s("self"));
    let value = work()?;
    let (seconds, elapsed) = (office::processor_s("self") - before, since.elapsed().as_secs_f64());
    Ok((value, Point { what, holes, done, seconds, elapsed, peak_kib: office::peak_kib("self") }))
}

/// Keeping alone, not how an invented rig makes and seals its slots; then the sheet that plans these holes.
fn store(folder: &Path, holes: u32) -> Result<Vec<Point>, String> {
    let path = at(folder, holes);
    if path.exists() {
        return Err(format!("{} is there already: name an empty folder", path.display()));
    }
    let mut store = Store::open(&path).map_err(said)?;
    let (mut seconds, mut elapsed) = (0.0, 0.0);
    fleet(holes, RIGS, |stream, slots| {
        let (since, before) = (Instant::now(), thread_s());
        store.keep(stream, slots).map_err(said)?;
        elapsed += since.elapsed().as_secs_f64();
        seconds += thread_s().zip(before).map_or(0.0, |(after, before)| after - before);
        Ok::<_, String>(())
    })?;
    let kept = Point { what: "kept in a store", holes, done: holes, seconds, elapsed, peak_kib: office::peak_kib("self") };
    let text = season_sheet(holes);
    let at = Wall { unix_ms: 1_790_000_000_000, offset: 0 };
    let options = Options { leave: &[], ignore: &[], today: day(at).ok_or("no day")? };
    let sheet = Sheet::read(text.as_bytes(), &options).map_err(|e| format!("{e:?}"))?;
    let origin = Origin { file: "season.csv", bytes: text.as_bytes(), by: "Tester", at };
    let planned = timed("planned by a sheet", holes, holes, || take_in(&mut store, &sheet, &origin).map_err(said))?.1;
    Ok(vec![kept, planned])
}

/// As `borewitness holes` does.
fn judge(folder: &Path, holes: u32) -> Result<Vec<Point>, String> {
    let store = Store::open_existing(&at(folder, holes)).map_err(said)?;
    let (read, point) = timed("read and judged", holes, holes, || catalogue(&store).map_err(said))?;
    let judged = read.holes.iter().filter(|hole| !hole.judged.verdicts.is_empty()).count();
    if judged < holes as usize { Err(format!("only {judged} of {holes} holes were judged")) } else { Ok(vec![point]) }
}

/// The same number of holes' papers out of any store. The command reads all of a store besides, for what a person should know of it.
fn print(folder: &Path, holes: u32) -> Result<Vec<Point>, String> {
    let store = Store::open_existing(&at(folder, holes)).map_err(said)?;
    let names: Vec<String> = (0..PAPERS).map(|n| handle(n, holes)).collect();
    let (job, found) = timed("200 papers found", holes, holes, || Job::of(&store, &names, None).map_err(said))?;
    let into = folder.join(format!("{holes}-papers"));
    let (printed, point) = timed("200 papers printed", holes, PAPERS, || job.print(&into, |_| ()).map_err(said))?;
    let new = printed.iter().filter(|paper| !paper.was_there).count();
    if new == PAPERS as usize { Ok(vec![found, point]) } else { Err(format!("{new} papers were printed")) }
}

/// One of some holes that lie evenly in the store, each of another structure.
fn handle(n: u32, holes: u32) -> String {
    format!("S-{}-left", n * (holes / 2) / PAPERS + 1)
}

/// The office's program: its list when it was never asked before, the same again, and pages of single holes.
fn page(folder: &Path, holes: u32) -> Result<Vec<Point>, String> {
    let office = Office::start(&at(folder, holes))?;
    let mut points = Vec::new();
    let mut ask = |what, done, paths: &[String]| {
        let (since, before) = (Instant::now(), office::processor_s(&office.process()));
        for path in paths {
            let answer = office.ask(path)?;
            if answer.status != "200" {
                return Err(format!("{path}: {}", answer.status));
            }
        }
        let each = |all: f64| all / figure(paths.len());
        let (seconds, elapsed) = (office::processor_s(&office.process()) - before, since.elapsed().as_secs_f64());
        let (seconds, elapsed) = (each(seconds), each(elapsed));
        points.push(Point { what, holes, done, seconds, elapsed, peak_kib: office::peak_kib(&office.process()) });
        Ok(())
    };
    ask("the list's page, first asked", holes, &["/holes".to_owned()])?;
    ask("the list's page again", holes, &vec!["/holes".to_owned(); ASKED as usize])?;
    ask("one hole's page", 1, &(0..PAPERS).map(|n| format!("/holes/{}", handle(n, holes))).collect::<Vec<_>>())?;
    Ok(points)
}
