//! Where lines go: a terminal keeps one line for the readout and one to type on; a pipe gets a line each second.

use console::{Term, truncate_str};
use shared_protocol::state::Status;
use std::io::{self, Write};

/// Time between two readouts on a terminal, and through a pipe, ms.
const TERMINAL_MS: u64 = 200;
const PIPE_MS: u64 = 1_000;
/// Time that a state must have been shown before a change of it is, ms: a state that flickers does not flood a pipe.
const CHANGE_MS: u64 = 100;
const PROMPT: &str = "> ";

/// The screen.
#[derive(Debug)]
pub struct Screen {
    term: Term,
    is_terminal: bool,
    shown: Option<u64>,
    state: Option<Status>,
    readout: String,
}

impl Screen {
    /// Standard output as it is; on a terminal the readout's line and the prompt are set up.
    pub fn new() -> io::Result<Self> {
        let term = Term::stdout();
        let mut screen = Self { is_terminal: term.is_term(), term, shown: None, state: None, readout: String::new() };
        screen.entered()?;
        Ok(screen)
    }

    /// Somebody typed a line: the cursor stands below it, and a fresh readout goes there.
    pub fn entered(&mut self) -> io::Result<()> {
        if self.is_terminal {
            write!(self.term, "\n{PROMPT}")?;
            self.term.flush()?;
        }
        Ok(())
    }

    /// Says something that stays.
    pub fn say(&mut self, text: &str) -> io::Result<()> {
        if self.is_terminal {
            write!(self.term, "\r\x1b[1A\x1b[J{text}\n{}\n{PROMPT}", self.fitted())?;
        } else {
            writeln!(self.term, "{text}")?;
        }
        self.term.flush()
    }

    /// Shows the readout when it is due, or when its state has changed.
    pub fn readout(&mut self, now: u64, state: Option<Status>, line: impl FnOnce() -> String) -> io::Result<()> {
        let every = match (self.is_terminal, state == self.state) {
            (true, _) => TERMINAL_MS,
            (false, true) => PIPE_MS,
            (false, false) => CHANGE_MS,
        };
        if self.shown.is_some_and(|at| now.saturating_sub(at) < every) {
            return Ok(());
        }
        self.state = state;
        self.shown = Some(now);
        self.readout = line();
        if self.is_terminal {
            write!(self.term, "\x1b7\r\x1b[1A\x1b[K{}\x1b8", self.fitted())?; // and back to where somebody types
        } else {
            writeln!(self.term, "{}", self.readout)?;
        }
        self.term.flush()
    }

    /// Leaves the terminal on a line of its own.
    pub fn leave(&mut self) -> io::Result<()> {
        if self.is_terminal {
            write!(self.term, "\r\x1b[K")?;
            self.term.flush()?;
        }
        Ok(())
    }

    fn fitted(&self) -> String {
        let (_, columns) = self.term.size();
        truncate_str(&self.readout, usize::from(columns), "…").into_owned()
    }
}
