//! `calibrate`: a person led through a procedure, at a terminal or from a file, and what the rig made of it.

use crate::bench::{Bench, failed};
use crate::job::Calibrating;
use crate::station::{typed_lines, wall};
use crate::{Failure, stores};
use console::Term;
use host_tool::calibrate::guide::{Guide, Heard, Say};
use host_tool::calibrate::in_force::{InForce, Item, day_of, in_force, items, tool_text};
use host_tool::calibrate::procedure::Procedure;
use host_tool::facts;
use host_tool::session::{Outcome, Stream};
use host_tool::text::terminal;
use shared_protocol::message::{Calibrate, Command};
use shared_protocol::record::Calibration;
use shared_protocol::state::Answer;
use std::collections::BTreeMap;
use std::io::{self, Write, stdout};
use std::path::Path;
use std::sync::mpsc::{Receiver, TryRecvError};

/// Lists what the rigs of a store are calibrated with.
pub fn list(store: &Path) -> Result<(), Failure> {
    let store = stores::open_existing(store)?;
    let mut latest: BTreeMap<String, Stream> = BTreeMap::new();
    for stream in store.rigs()? {
        latest.insert(stream.rig.clone(), stream); // epochs come in rising order
    }
    if latest.is_empty() {
        writeln!(stdout(), "no rig yet")?;
    }
    for stream in latest.values() {
        let slots = store.stream(stream)?.slots;
        let by_records = || facts::read(&slots).iter().filter_map(|setup| setup.identity.as_ref()).any(|identity| identity.simulated);
        let simulated = store.simulated(stream)?.unwrap_or_else(by_records);
        writeln!(stdout(), "rig {}{}", terminal(&stream.rig), if simulated { ", SIMULATED" } else { "" })?;
        let known = in_force(&slots);
        for item in items(&known.instruments(), day_of(wall())) {
            writeln!(stdout(), "  {}", item.text())?;
        }
        for tool in &known.tools {
            writeln!(stdout(), "  {}", tool_text(tool))?;
        }
    }
    Ok(())
}

/// Leads somebody through a procedure.
pub fn calibrate(job: Calibrating) -> Result<(), Failure> {
    let mut bench = Bench::open(&job.port, job.baud, &job.store)?;
    let stream = bench.meet()?; // what it is calibrated with stands in its records
    // A tool that does not drill this hole may be measured while it is open.
    if bench.hole_open == Some(true) && job.procedure != Procedure::Tool {
        return failed("a hole is open on the rig: close it, then calibrate");
    }
    let known = in_force(&bench.store().stream(&stream)?.slots);
    let today = day_of(wall());
    let guide = Guide::begin(job.procedure, known, job.signature, today, bench.now())?;
    let calibration = lead(&mut bench, guide, &typed_lines())?;
    hand_over(&mut bench, &calibration, &stream)
}

/// Leads somebody to the end of the procedure.
fn lead(bench: &mut Bench, mut guide: Guide, typed: &Receiver<String>) -> Result<Calibration, Failure> {
    let mut paper = Paper::new();
    let mut asked = false;
    loop {
        while let Some(said) = guide.say() {
            asked = matches!(said, Say::Ask(_));
            match said {
                Say::Line(line) => paper.line(&line)?,
                Say::Watch(line) => paper.watch(&line)?,
                Say::Ask(question) => paper.ask(&question)?,
                Say::Send(calibration) => return Ok(*calibration),
            }
        }
        bench.turn()?;
        bench.still_there()?;
        let now = bench.now();
        for raw in std::mem::take(&mut bench.raws) {
            guide.raw(now, &raw)?;
        }
        guide.tick(now)?;
        if asked && let Some(line) = next_line(typed)? {
            asked = false;
            if let Heard::NotUnderstood(why) = guide.line(now, &line)? {
                paper.line(&why)?;
            }
        }
    }
}

/// Asks the rig to take it, and waits until its record of that is stored.
fn hand_over(bench: &mut Bench, calibration: &Calibration, stream: &Stream) -> Result<(), Failure> {
    let outcome = bench.ask(Command::Calibrate(Calibrate { calibration: calibration.clone() }))?;
    if !outcome.is_done() {
        return failed(&format!("{outcome}; {}", what_next(outcome)));
    }
    bench.drain()?;
    let known = in_force(&bench.store().stream(stream)?.slots);
    match line_of(&known, calibration) {
        Some(line) => Ok(writeln!(stdout(), "done, and recorded: {line}")?),
        None => failed("the rig says it is done, and its record of that is not here: look with `borewitness calibrate list`"),
    }
}

/// How the calibration stands among those in force, where it does.
fn line_of(known: &InForce, calibration: &Calibration) -> Option<String> {
    let today = day_of(wall());
    let tool = known.tools.iter().find(|tool| *tool == calibration).map(tool_text);
    let held = || known.holds(calibration).then(|| items(&known.instruments(), today));
    tool.or_else(|| held()?.iter().find(|item| item.item.raw() == calibration.item).map(Item::text))
}

fn what_next(outcome: Outcome) -> &'static str {
    match outcome.answer() {
        Some(Answer::BadCalibration) => "it is calibrated as it was; check the readings and begin again",
        Some(Answer::HoleOpen) => "it is calibrated as it was; close the hole and begin again",
        _ => "`borewitness calibrate list` says what is in force",
    }
}

/// The next line, where one was typed.
fn next_line(typed: &Receiver<String>) -> Result<Option<String>, Failure> {
    match typed.try_recv() {
        Ok(line) => Ok(Some(line)),
        Err(TryRecvError::Empty) => Ok(None),
        Err(TryRecvError::Disconnected) => failed("the input ended before everything was answered and nothing was sent: begin again"),
    }
}

/// Where lines go; on a terminal one line shows how the sensors stand until the next line takes its place.
struct Paper {
    term: Term,
    watching: bool,
}

impl Paper {
    fn new() -> Self {
        Self { term: Term::stdout(), watching: false }
    }

    fn clear(&mut self) -> io::Result<()> {
        if std::mem::take(&mut self.watching) { write!(self.term, "\r\x1b[K") } else { Ok(()) }
    }

    fn line(&mut self, line: &str) -> io::Result<()> {
        self.clear()?;
        writeln!(self.term, "{line}")?;
        self.term.flush()
    }

    fn ask(&mut self, question: &str) -> io::Result<()> {
        self.line(question)?;
        if self.term.is_term() {
            write!(self.term, "> ")?;
        }
        self.term.flush()
    }

    fn watch(&mut self, line: &str) -> io::Result<()> {
        if self.term.is_term() {
            self.clear()?;
            write!(self.term, "{line}")?;
            self.watching = true;
        }
        self.term.flush()
    }
}
