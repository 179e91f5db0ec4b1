//! `calibrate`: a person led through a procedure, at a terminal or from a file, and what the rig made of it.

use crate::job::Calibrating;
use crate::station::{NO_RIG_MS, greeting, no_rig, typed_lines, wall};
use crate::{Failure, stores};
use console::Term;
use host_tool::calibrate::guide::{Guide, Heard, Say};
use host_tool::calibrate::in_force::{InForce, Item, day_of, in_force, items, tool_text};
use host_tool::calibrate::procedure::Procedure;
use host_tool::capture::{Capture, Event};
use host_tool::facts;
use host_tool::port::{FromPort, Port};
use host_tool::session::{Outcome, Stream};
use host_tool::text::terminal;
use shared_protocol::message::{Calibrate, Command, Raw};
use shared_protocol::record::Calibration;
use shared_protocol::state::Answer;
use std::collections::BTreeMap;
use std::io::{self, Write, stdout};
use std::path::Path;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

/// How long to wait for bytes before looking at everything else.
const TURN: Duration = Duration::from_millis(20);
/// A rig that is there says something twice a second; so long without, ms.
const SILENT_MS: u64 = 5_000;

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
    let port = Port::open(&job.port, job.baud)?;
    let capture = Capture::new(stores::open(&job.store)?)?;
    let mut bench = Bench { port, capture, begun: Instant::now(), heard: 0, met: None, hole_open: None, raws: Vec::new(), outcome: None };
    let stream = bench.meet(&job)?;
    let known = in_force(&bench.capture.store().stream(&stream)?.slots);
    let today = day_of(wall());
    let guide = Guide::begin(job.procedure, known, job.signature, today, bench.now())?;
    let calibration = bench.lead(guide, &typed_lines())?;
    bench.hand_over(&calibration, &stream)
}

/// A rig on a port, and what it said.
struct Bench {
    port: Port,
    capture: Capture,
    begun: Instant,
    /// When anything came last, ms.
    heard: u64,
    /// Whether a rig is there, and whether it can be commanded.
    met: Option<bool>,
    /// Whether a hole is open on it.
    hole_open: Option<bool>,
    raws: Vec<Raw>,
    outcome: Option<Outcome>,
}

impl Bench {
    fn now(&self) -> u64 {
        u64::try_from(self.begun.elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    /// One turn of the port.
    fn turn(&mut self) -> Result<(), Failure> {
        let bytes = match self.port.receive(TURN) {
            Some(FromPort::Bytes(bytes)) => bytes,
            Some(FromPort::Lost) => return failed("the port is gone and nothing was sent: plug the cable in and begin again"),
            Some(FromPort::Back(_)) | None => Vec::new(),
        };
        let now = self.now();
        let step = self.capture.step(now, wall(), &bytes)?;
        if !step.send.is_empty() {
            self.port.send(step.send);
        }
        for event in step.events {
            self.heard = now;
            self.take(event)?;
        }
        Ok(())
    }

    fn take(&mut self, event: Event) -> Result<(), Failure> {
        match event {
            Event::Rig(introduction) => {
                writeln!(stdout(), "{}", greeting(&introduction))?;
                if self.met.replace(introduction.same_version()).is_some() {
                    return failed("the rig has started again or is another: begin again");
                }
            }
            Event::Outlook(outlook) => self.hole_open = Some(outlook.opened > 0),
            Event::Raw(raw) => self.raws.push(raw),
            Event::Outcome(_, outcome) => self.outcome = Some(outcome),
            Event::Notice(notice) => writeln!(stdout(), "{notice}")?,
            Event::Kept(_) | Event::Live(_) | Event::Hole(_) | Event::Doubts(_) => {}
        }
        Ok(())
    }

    /// Waits for a rig and for every record that it has: what it is calibrated with stands in them.
    fn meet(&mut self, job: &Calibrating) -> Result<Stream, Failure> {
        loop {
            self.turn()?;
            match (self.met, self.capture.rig()) {
                (Some(false), _) => return failed("a rig of another version cannot be calibrated: use a program of its version"),
                (Some(true), Some(stream)) if self.hole_open.is_some() && self.capture.drained(0) => {
                    // A tool that does not drill this hole may be measured while it is open.
                    if self.hole_open == Some(true) && job.procedure != Procedure::Tool {
                        return failed("a hole is open on the rig: close it, then calibrate");
                    }
                    return Ok(stream.clone());
                }
                (None, _) if self.now() >= NO_RIG_MS => return failed(&no_rig(&job.port, job.baud, self.capture.line())),
                _ => self.still_there()?,
            }
        }
    }

    fn still_there(&self) -> Result<(), Failure> {
        if self.met.is_some() && self.now().saturating_sub(self.heard) >= SILENT_MS {
            return failed("the rig has fallen silent and nothing was sent: see that it is on and the cable in, then begin again");
        }
        Ok(())
    }

    /// Leads somebody to the end of the procedure.
    fn lead(&mut self, mut guide: Guide, typed: &Receiver<String>) -> Result<Calibration, Failure> {
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
            self.turn()?;
            self.still_there()?;
            let now = self.now();
            for raw in std::mem::take(&mut self.raws) {
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
    fn hand_over(&mut self, calibration: &Calibration, stream: &Stream) -> Result<(), Failure> {
        let asked_at = self.now();
        self.capture.command(asked_at, Command::Calibrate(Calibrate { calibration: calibration.clone() }))?;
        self.outcome = None;
        let outcome = loop {
            if let Some(outcome) = self.outcome {
                break outcome;
            }
            self.turn()?;
        };
        if !outcome.is_done() {
            return failed(&format!("{outcome}; {}", what_next(outcome)));
        }
        let answered_at = self.now();
        while !self.capture.drained(answered_at) {
            self.turn()?;
            self.still_there()?;
        }
        let known = in_force(&self.capture.store().stream(stream)?.slots);
        match line_of(&known, calibration) {
            Some(line) => Ok(writeln!(stdout(), "done, and recorded: {line}")?),
            None => failed("the rig says it is done, and its record of that is not here: look with `borewitness calibrate list`"),
        }
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

fn failed<T>(why: &str) -> Result<T, Failure> {
    Err(Failure::Failed(why.to_owned()))
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
