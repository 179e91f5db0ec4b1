//! `demo`: a simulated rig drills a two-pole structure in virtual time; this program captures, stores and prints it.

use crate::Failure;
use crate::job::STORE_FILE;
use crate::site::Site;
use crate::wire::{InMemory, Wire};
use host_tool::capture::Event;
use host_tool::facts::Wall;
use host_tool::holes::catalogue;
use host_tool::store::Store;
use indicatif::{ProgressBar, ProgressStyle};
use simulator::bench::Bench;
use simulator::scenario::{Scenario, TWO_POLE};
use std::fs;
use std::io::{Write, stdout};
use std::path::{Path, PathBuf};

/// When the simulated day begins: 2026-05-12 07:30 at six hours behind UTC. Invented, so that every run is the same day.
const MORNING: Wall = Wall { unix_ms: 1_778_592_600_000, offset: -360 };
/// The day on which the rig was calibrated, and the last on which that holds: 2026-05-04 and a year on.
pub const CALIBRATED: (u32, u32) = (20_577, 20_942);
/// No scenario takes longer, virtual ms: twelve hours.
const TOO_LONG_MS: u64 = 12 * 3_600_000;
/// Folders of demonstrations that one place may hold.
const FOLDERS: u32 = 1_000;

/// Runs the demonstration. Where it fails, what it made is taken away again: it is all invented.
pub fn demo(out: Option<PathBuf>, pty: bool) -> Result<(), Failure> {
    let scenario = Scenario::parse("two-pole", TWO_POLE).map_err(|e| Failure::Failed(e.to_string()))?;
    let mut wire = wire(pty)?;
    let folder = folder(out)?;
    let done = drill_and_print(&scenario, &folder, wire.as_mut());
    done.inspect_err(|failure| take_away(&folder, failure))
}

/// Takes away what a demonstration that failed has made; whoever only wants to read no more keeps it.
pub fn take_away(folder: &Path, failure: &Failure) {
    if !matches!(failure, Failure::PipeClosed) {
        ["", "-wal", "-shm", ".part"].iter().for_each(|end| drop(fs::remove_file(folder.join(format!("{STORE_FILE}{end}")))));
        drop(fs::remove_dir(folder)); // only where nothing else is in it
    }
}

fn drill_and_print(scenario: &Scenario, folder: &Path, wire: &mut dyn Wire) -> Result<(), Failure> {
    let store = Store::open(&folder.join(STORE_FILE))?;
    writeln!(stdout(), "SIMULATED: {}. The rig is calibrated by {}. No hole is drilled.", scenario.title, fitter::WHO)?;
    let calibrations = fitter::calibrate(&scenario.errors, scenario.seed, scenario.sensors.count_at_hub, CALIBRATED)?;
    let bench = Bench::native(scenario, scenario.seed)?;
    let store = work(Site::new(bench, store, wire, calibrations, MORNING)?, scenario)?;
    let catalogue = catalogue(&store)?;
    for hole in &catalogue.holes {
        writeln!(stdout(), "{}", crate::show::row(hole))?;
    }
    crate::show::print_from(&store, &[], folder, None, None)?;
    Ok(writeln!(stdout(), "Store and papers are in {}", folder.display())?)
}

fn wire(pty: bool) -> Result<Box<dyn Wire>, Failure> {
    if !pty {
        return Ok(Box::new(InMemory));
    }
    #[cfg(unix)]
    let wire = crate::wire::PseudoTerminal::new().map(|wire| Box::new(wire) as Box<dyn Wire>);
    #[cfg(not(unix))]
    let wire = Err(Failure::Usage("--pty needs a Unix system: leave it out".to_owned()));
    wire
}

/// The folder named, or a new one here. A store is never added to: its records would be those of two worlds.
pub fn folder(named: Option<PathBuf>) -> Result<PathBuf, Failure> {
    let cannot =
        |path: &Path, e: std::io::Error| Failure::Failed(format!("{} cannot be made: {e}; name a folder with --out", path.display()));
    if let Some(path) = named {
        if path.join(STORE_FILE).exists() {
            return Err(Failure::Failed(format!("{} already holds a store: name a new folder with --out", path.display())));
        }
        return fs::create_dir_all(&path).map(|()| path.clone()).map_err(|e| cannot(&path, e));
    }
    for number in 1..FOLDERS {
        let path = PathBuf::from(if number == 1 { "borewitness-demo".to_owned() } else { format!("borewitness-demo-{number}") });
        match fs::create_dir(&path) {
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            made => return made.map(|()| path.clone()).map_err(|e| cannot(&path, e)),
        }
    }
    Err(Failure::Failed(format!("{FOLDERS} folders of demonstrations are here: name one with --out, or take some away")))
}

/// Depth of the holes before this one, and of this one, mm.
type Bored = (u64, u64);

/// Works until every hole is closed and every record is stored; returns the store.
fn work(mut site: Site, scenario: &Scenario) -> Result<Store, Failure> {
    let plans = (0..scenario.hole.len()).filter_map(|hole| scenario.plan(hole));
    let bar = bar(plans.map(|plan| mm(plan.depth.plus(plan.hub_above_datum).0)).sum(), "{msg:32} {wide_bar} {pos}/{len} mm")?;
    let (mut finished, mut bored) = (None, (0, 0));
    while site.now() < TOO_LONG_MS {
        for event in site.turn()? {
            show(&event, &bar, &mut bored)?;
        }
        match (site.finished()?, finished) {
            (true, None) => finished = Some(site.now()),
            (_, Some(since)) if site.drained(since) => {
                bar.finish_and_clear();
                return Ok(site.into_store());
            }
            _ => {}
        }
    }
    Err(Failure::Failed("the simulated day was over before the work was".to_owned()))
}

fn show(event: &Event, bar: &ProgressBar, bored: &mut Bored) -> Result<(), Failure> {
    match event {
        Event::Hole(Some(plan)) => {
            bar.set_message(host_tool::text::terminal(&host_tool::judge::hole_name(plan)));
            *bored = (bored.0 + bored.1, 0);
        }
        Event::Outlook(outlook) if outlook.opened > 0 => {
            bored.1 = bored.1.max(mm(outlook.bottom.0));
            bar.set_position(bored.0 + bored.1);
        }
        Event::Notice(notice) => bar.suspend(|| writeln!(stdout(), "{notice}"))?,
        _ => {}
    }
    Ok(())
}

/// A bar of so many steps; it is drawn on a terminal alone.
pub fn bar(steps: u64, template: &str) -> Result<ProgressBar, Failure> {
    let style = ProgressStyle::with_template(template).map_err(|e| Failure::Failed(e.to_string()))?;
    Ok(ProgressBar::new(steps).with_style(style))
}

fn mm(micrometres: i32) -> u64 {
    u64::from(micrometres.max(0).unsigned_abs() / 1_000)
}
