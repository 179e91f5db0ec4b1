//! A rig on a port for jobs that ask it one thing: met, waited for, commanded.

use crate::station::{NO_RIG_MS, greeting, no_rig, wall};
use crate::{Failure, stores};
use host_tool::capture::{Capture, Event};
use host_tool::port::{FromPort, Port};
use host_tool::session::{Came, Outcome, Stream};
use host_tool::store::Store;
use shared_protocol::message::{Command, Raw};
use std::io::{Write, stdout};
use std::path::Path;
use std::time::{Duration, Instant};

/// How long to wait for bytes before looking at everything else.
const TURN: Duration = Duration::from_millis(20);
/// A rig that is there says something twice a second; so long without, ms.
const SILENT_MS: u64 = 5_000;

/// A rig on a port, and what it said.
pub struct Bench {
    port: Port,
    place: String,
    baud: u32,
    capture: Capture,
    begun: Instant,
    /// When anything came last, ms.
    heard: u64,
    /// Whether a rig is there, and whether it can be commanded.
    met: Option<bool>,
    /// Whether a hole is open on it.
    pub hole_open: Option<bool>,
    /// What its sensors gave since this was emptied.
    pub raws: Vec<Raw>,
    outcome: Option<Outcome>,
    /// The same rig may come in its next epoch, and has come so.
    anew: bool,
}

impl Bench {
    /// Opens port and store.
    pub fn open(place: &str, baud: u32, store: &Path) -> Result<Self, Failure> {
        let port = Port::open(place, baud)?;
        let capture = Capture::new(stores::open(store)?)?;
        let place = place.to_owned();
        Ok(Self {
            port,
            place,
            baud,
            capture,
            begun: Instant::now(),
            heard: 0,
            met: None,
            hole_open: None,
            raws: Vec::new(),
            outcome: None,
            anew: false,
        })
    }

    /// Since it was opened, ms.
    pub fn now(&self) -> u64 {
        u64::try_from(self.begun.elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    /// Where everything is kept.
    pub fn store(&self) -> &Store {
        self.capture.store()
    }

    /// One turn of the port.
    pub fn turn(&mut self) -> Result<(), Failure> {
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
                let next = |before: &Stream, now: &Stream| before.rig == now.rig && before.epoch.checked_add(1) == Some(now.epoch);
                let began = self.anew && matches!(&introduction.came, Came::InPlaceOf(before) if next(before, &introduction.stream));
                if self.met.replace(introduction.same_version()).is_some() && !began {
                    return failed("the rig has started again or is another: begin again");
                }
            }
            Event::Outlook(outlook) => self.hole_open = Some(outlook.opened > 0),
            Event::Raw(raw) => self.raws.push(raw),
            Event::Outcome(_, outcome) => self.outcome = Some(outcome),
            Event::Notice(notice) => writeln!(stdout(), "{notice}")?,
            Event::Kept(_) | Event::Live(_) | Event::Hole(_) | Event::Doubts(_) | Event::Bored(_) | Event::Ended(_) | Event::Woke => {}
        }
        Ok(())
    }

    /// Waits for a rig and for every record that it has.
    pub fn meet(&mut self) -> Result<Stream, Failure> {
        loop {
            self.turn()?;
            match (self.met, self.capture.rig()) {
                (Some(false), _) => return failed("a rig of another version cannot be commanded: use a program of its version"),
                (Some(true), Some(stream)) if self.hole_open.is_some() && self.capture.drained(0) => return Ok(stream.clone()),
                (None, _) if self.now() >= NO_RIG_MS => return failed(&no_rig(&self.place, self.baud, self.capture.line())),
                _ => self.still_there()?,
            }
        }
    }

    /// Fails where nothing was heard for too long.
    pub fn still_there(&self) -> Result<(), Failure> {
        if self.met.is_some() && self.now().saturating_sub(self.heard) >= SILENT_MS {
            return failed("the rig has fallen silent and nothing was sent: see that it is on and the cable in, then begin again");
        }
        Ok(())
    }

    /// Asks the rig to do something and waits for its answer.
    pub fn ask(&mut self, command: Command) -> Result<Outcome, Failure> {
        let asked_at = self.now();
        self.capture.command(asked_at, command)?;
        self.outcome = None;
        loop {
            if let Some(outcome) = self.outcome {
                return Ok(outcome);
            }
            self.turn()?;
        }
    }

    /// From now on the rig may begin its next epoch.
    pub fn may_begin_anew(&mut self) {
        self.anew = true;
    }

    /// Waits so long for the rig to begin the epoch after that one; `None` where it does not.
    pub fn begun_anew(&mut self, before: &Stream, within_ms: u64) -> Result<Option<Stream>, Failure> {
        let since = self.now();
        while self.now().saturating_sub(since) < within_ms {
            if let Some(now) = self.capture.rig().filter(|now| now.epoch != before.epoch) {
                return Ok(Some(now.clone()));
            }
            self.turn()?;
            self.still_there()?;
        }
        Ok(None)
    }

    /// Waits until every record that the rig has by now is stored.
    pub fn drain(&mut self) -> Result<(), Failure> {
        let since = self.now();
        while !self.capture.drained(since) {
            self.turn()?;
            self.still_there()?;
        }
        Ok(())
    }
}

/// A job that failed, for this reason.
pub fn failed<T>(why: &str) -> Result<T, Failure> {
    Err(Failure::Failed(why.to_owned()))
}
