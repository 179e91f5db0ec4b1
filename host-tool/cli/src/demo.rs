//! `demo`: a simulated rig drills a two-pole structure in virtual time; this program captures, stores and prints it.

use crate::Failure;
use crate::job::STORE_FILE;
use crate::wire::{InMemory, Wire};
use host_tool::capture::{Capture, Event};
use host_tool::facts::Wall;
use host_tool::holes::{self, catalogue};
use host_tool::store::Store;
use indicatif::{ProgressBar, ProgressStyle};
use shared_protocol::message::{Calibrate, Command};
use shared_protocol::record::Calibration;
use shared_protocol::state::Answer;
use simulator::bench::Bench;
use simulator::cue::Cue;
use simulator::native::NativeMachine;
use simulator::operator::Progress;
use simulator::scenario::{Scenario, TWO_POLE};
use std::fs;
use std::io::{Write, stdout};
use std::path::{Path, PathBuf};

/// One turn of rig and host, virtual ms.
const TURN_MS: u8 = 10;
/// When the simulated day begins: 2026-05-12 07:30 at six hours behind UTC. Invented, so that every run is the same day.
const MORNING: Wall = Wall { unix_ms: 1_778_592_600_000, offset: -360 };
/// The day on which the rig was calibrated, and the last on which that holds: 2026-05-04 and a year on.
const CALIBRATED: (u32, u32) = (20_577, 20_942);
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
    if !matches!(done, Ok(()) | Err(Failure::PipeClosed)) {
        ["", "-wal", "-shm"].iter().for_each(|end| drop(fs::remove_file(folder.join(format!("{STORE_FILE}{end}")))));
        drop(fs::remove_dir(&folder)); // only where nothing else is in it
    }
    done
}

fn drill_and_print(scenario: &Scenario, folder: &Path, wire: &mut dyn Wire) -> Result<(), Failure> {
    let store = Store::open(&folder.join(STORE_FILE))?;
    writeln!(stdout(), "SIMULATED: {}. The rig is calibrated by {}. No hole is drilled.", scenario.title, fitter::WHO)?;
    let calibrations = fitter::calibrate(&scenario.errors, scenario.seed, scenario.sensors.count_at_hub, CALIBRATED)?;
    let store = Site::new(scenario, store, wire, calibrations)?.work()?;
    let catalogue = catalogue(&store)?;
    for hole in &catalogue.holes {
        writeln!(stdout(), "{}", crate::show::row(hole))?;
    }
    for paper in holes::print(&holes::called(&catalogue.holes, &[])?, folder)? {
        writeln!(stdout(), "{}", paper.display())?;
    }
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
fn folder(named: Option<PathBuf>) -> Result<PathBuf, Failure> {
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

/// The simulated site: world, rig, wire and host.
struct Site<'a> {
    bench: Bench<NativeMachine>,
    wire: &'a mut dyn Wire,
    capture: Capture,
    now: u64,
    to_rig: Vec<u8>,
    /// What the rig is still to be calibrated with, the first of them last; the number of the command under way.
    calibrations: Vec<Calibration>,
    calibrating: Option<u32>,
    /// The cue being done, with the number of its command.
    cue: Option<(Cue, u32)>,
    bar: ProgressBar,
    /// Depth of the holes before this one, and of this one, mm.
    bored: (u64, u64),
}

impl<'a> Site<'a> {
    fn new(scenario: &Scenario, store: Store, wire: &'a mut dyn Wire, mut calibrations: Vec<Calibration>) -> Result<Self, Failure> {
        calibrations.reverse();
        let plans = (0..scenario.hole.len()).filter_map(|hole| scenario.plan(hole));
        let depth = plans.map(|plan| mm(plan.depth.plus(plan.hub_above_datum).0)).sum();
        let bar = ProgressBar::new(depth);
        let style = ProgressStyle::with_template("{msg:32} {wide_bar} {pos}/{len} mm").map_err(|e| Failure::Failed(e.to_string()))?;
        bar.set_style(style);
        Ok(Self {
            bench: Bench::native(scenario, scenario.seed)?,
            wire,
            capture: Capture::new(store)?,
            now: 0,
            to_rig: Vec::new(),
            calibrations,
            calibrating: None,
            cue: None,
            bar,
            bored: (0, 0),
        })
    }

    /// Works until every hole is closed and every record is stored; returns the store.
    fn work(mut self) -> Result<Store, Failure> {
        let mut finished = None;
        while self.now < TOO_LONG_MS {
            self.turn()?;
            match (self.bench.progress(), finished) {
                (Some(Progress::GaveUp(cue)), _) => return Err(Failure::Failed(format!("the simulated rig did not do this: {cue}"))),
                (Some(Progress::Finished), None) => finished = Some(self.now),
                (_, Some(since)) if self.capture.drained(since) => {
                    self.bar.finish_and_clear();
                    return Ok(self.capture.into_store());
                }
                _ => {}
            }
        }
        Err(Failure::Failed("the simulated day was over before the work was".to_owned()))
    }

    fn turn(&mut self) -> Result<(), Failure> {
        let to_rig = self.wire.to_rig(std::mem::take(&mut self.to_rig))?;
        let bytes = self.bench.advance(TURN_MS, &to_rig)?;
        let bytes = self.wire.to_host(bytes)?;
        self.now += u64::from(TURN_MS);
        let passed = i64::try_from(self.now).unwrap_or(i64::MAX);
        let step = self.capture.step(self.now, Wall { unix_ms: MORNING.unix_ms + passed, ..MORNING }, &bytes)?;
        self.to_rig = step.send;
        for event in step.events {
            self.take(&event)?;
        }
        self.calibrate()?;
        if self.calibrations.is_empty()
            && self.calibrating.is_none()
            && let Some(cue) = self.bench.take_cue()
        {
            self.ask(cue)?;
        }
        Ok(())
    }

    /// The next calibration, when the rig is there and has answered to the one before; the work begins after the last.
    fn calibrate(&mut self) -> Result<(), Failure> {
        if self.calibrating.is_none()
            && self.capture.rig().is_some()
            && let Some(calibration) = self.calibrations.pop()
        {
            self.calibrating = Some(self.capture.command(self.now, Command::Calibrate(Calibrate { calibration }))?);
        }
        Ok(())
    }

    fn ask(&mut self, cue: Cue) -> Result<(), Failure> {
        let request = self.capture.command(self.now, cue.command())?;
        self.cue = Some((cue, request));
        Ok(())
    }

    fn take(&mut self, event: &Event) -> Result<(), Failure> {
        match event {
            Event::Outcome(request, outcome) if self.calibrating == Some(*request) => {
                self.calibrating = None;
                if !outcome.is_done() {
                    return Err(Failure::Failed(format!("the simulated rig was not calibrated: {outcome}")));
                }
            }
            Event::Outcome(request, outcome) => {
                let Some((cue, _)) = self.cue.take_if(|(_, asked)| asked == request) else { return Ok(()) };
                if outcome.is_done() {
                    match cue {
                        // Told which tool is on, the rig records what that tool cuts.
                        Cue::LoadHole(plan) => self.ask(Cue::ChangeTool(plan.tool))?,
                        _ => self.bench.cue_done(),
                    }
                } else if outcome.answer().is_none_or(|answer| matches!(answer, Answer::NoDepth | Answer::NotAtRest | Answer::NotReady)) {
                    self.ask(cue)?; // it may be otherwise in a moment
                } else {
                    return Err(Failure::Failed(format!("{cue}: {outcome}")));
                }
            }
            Event::Hole(Some(plan)) => {
                self.bar.set_message(host_tool::text::terminal(&host_tool::judge::hole_name(plan)));
                self.bored = (self.bored.0 + self.bored.1, 0);
            }
            Event::Outlook(outlook) if outlook.opened > 0 => {
                self.bored.1 = self.bored.1.max(mm(outlook.bottom.0));
                self.bar.set_position(self.bored.0 + self.bored.1);
            }
            Event::Notice(notice) => self.bar.suspend(|| writeln!(stdout(), "{notice}"))?,
            _ => {}
        }
        Ok(())
    }
}

fn mm(micrometres: i32) -> u64 {
    u64::from(micrometres.max(0).unsigned_abs() / 1_000)
}
