//! Who is at the host's end of the cable: a program on a pseudo-terminal, the bench itself, or somebody else.

use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX};
use shared_protocol::message::{Live, Message};
use shared_protocol::state::{Answer, Status};
use simulator::clock::Moment;
use simulator::commander::Commander;
use simulator::cue::Cue;
use simulator::pty::Pty;
use std::path::Path;

enum End {
    Link(Box<Pty>),
    Own(Box<Commander>),
    Elsewhere,
}

/// The host's end of the cable, with an ear on what the rig says.
pub struct Host {
    end: End,
    cue: Option<Cue>,
    waiting: bool,
    ear: Accumulator,
    live: Option<Live>,
}

impl Host {
    fn at(end: End) -> Self {
        Self { end, cue: None, waiting: false, ear: Accumulator::new(), live: None }
    }

    /// A program that opens the link.
    pub fn on_link(link: &Path) -> std::io::Result<Self> {
        Ok(Self::at(End::Link(Box::new(Pty::open(link)?))))
    }

    /// The bench itself.
    pub fn own() -> Self {
        Self::at(End::Own(Box::default()))
    }

    /// Somebody whose cable does not go through here.
    pub fn elsewhere() -> Self {
        Self::at(End::Elsewhere)
    }

    /// Something for the host to do.
    pub fn give(&mut self, cue: Cue) {
        self.cue = Some(cue);
        self.waiting = true;
    }

    /// What came from the rig goes to the host; returns what the host sends, and whether the cue was done.
    pub fn exchange(&mut self, now: Moment, from_rig: &[u8]) -> (Vec<u8>, bool) {
        let answered = self.listen(from_rig);
        let cue = self.cue.take();
        match &mut self.end {
            End::Own(commander) => commander.step(now, from_rig, cue),
            End::Link(pty) => {
                pty.write(from_rig);
                (pty.read(), answered && std::mem::take(&mut self.waiting))
            }
            End::Elsewhere => (Vec::new(), answered && std::mem::take(&mut self.waiting)),
        }
    }

    /// Hears live samples, and whether the rig answered that it did what a host asked.
    fn listen(&mut self, from_rig: &[u8]) -> bool {
        let mut done = false;
        for byte in from_rig {
            let mut bytes = [0; ENCODED_BYTES_MAX];
            let Some(Ok(message)) = self.ear.push(*byte, &mut bytes) else { continue };
            match Message::decode(message) {
                Ok(Message::Live(live)) => self.live = Some(live),
                Ok(Message::Reply(reply)) => done |= Answer::from_raw(reply.answer) == Some(Answer::Done),
                _ => {}
            }
        }
        done
    }

    /// What the rig said last, for the line of state.
    pub fn heard(&self) -> String {
        let Some(live) = self.live else { return String::new() };
        let referenced = Status::from_bits(live.status).is_some_and(|status| status.referenced);
        let depth = if referenced { format!("{:.1} mm", f64::from(live.depth.0) / 1_000.0) } else { "no reference".into() };
        format!("  rig says {depth}")
    }

    /// What the host kept, for the summary.
    pub fn kept(&self) -> String {
        match &self.end {
            End::Own(commander) => format!(", {} slots kept, {} commands refused", commander.slots().len(), commander.refused().len()),
            _ => String::new(),
        }
    }
}
