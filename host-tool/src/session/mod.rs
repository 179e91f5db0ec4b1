//! The host's side of the cable: handed bytes and the time, it says what to send, what to store and what to show.
//!
//! It asks the rig for its name, then for every slot from the first that the store lacks; it asks again where
//! one is missing; it acknowledges what its caller has on disk and nothing else. Messages 1 to 15 are understood
//! from a rig of any version, so any rig can be emptied.

mod commands;
#[cfg(test)]
pub(crate) mod fake_rig;
mod intake;
#[cfg(test)]
mod tests;

pub use commands::Outcome;
pub(crate) use intake::gap_of;

use commands::Commands;
use intake::{Intake, Wanted};
use shared_protocol::VERSION;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap};
use shared_protocol::message::{Acknowledge, Ask, Command, Hello, Live, Message, Outlook, Raw, Repeat, Replay, field_text};
use shared_protocol::slot::Slot;
use shared_protocol::units::Millis;
use std::collections::VecDeque;

/// How often the rig is asked who it is: as a rule, when nothing comes from it, and when slots wait for it, ms.
const ASK_MS: u64 = 2_000;
const ASK_SILENT_MS: u64 = 500;
const ASK_WAITING_MS: u64 = 250;
/// Nothing from the rig for so long is silence, ms.
const SILENT_MS: u64 = 1_000;

/// One rig's records since its last factory reset.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stream {
    /// The rig's name as it gives it, which may be anything: see [`crate::text`] before showing it.
    pub rig: String,
    /// A factory reset begins a new one.
    pub epoch: u32,
}

impl Stream {
    /// The stream that a hello speaks of. A name that is not UTF-8 is written out in hexadecimal, so that two
    /// such rigs stay two.
    #[must_use]
    pub fn of(hello: &Hello) -> Self {
        let end = hello.rig.iter().position(|&b| b == 0).unwrap_or(hello.rig.len());
        let name = &hello.rig[..end];
        let hex = || name.iter().map(|b| format!("{b:02x}")).collect();
        Self { rig: std::str::from_utf8(name).map_or_else(|_| hex(), str::to_owned), epoch: hello.epoch }
    }
}

/// A rig that was not known, or not in this run of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Introduction {
    /// Whose records.
    pub stream: Stream,
    /// What it said.
    pub hello: Hello,
    /// The version that it speaks.
    pub version: u8,
    /// How it came.
    pub came: Came,
}

/// How a rig came to be here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Came {
    /// The first on this port.
    First,
    /// The same rig, started again.
    Restarted,
    /// In the place of this one.
    InPlaceOf(Stream),
}

impl Introduction {
    /// Its firmware's version.
    #[must_use]
    pub fn firmware(&self) -> &str {
        field_text(&self.hello.firmware)
    }

    /// Whether it can be commanded and watched, not only emptied.
    #[must_use]
    pub fn same_version(&self) -> bool {
        self.version == VERSION
    }
}

/// What the session wants done, in this order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Output {
    /// Send these bytes.
    Send(Vec<u8>),
    /// A rig is there: look up what is wanted of it and call [`Session::resume`].
    Introduced(Introduction),
    /// Store these, commit, and call [`Session::stored`].
    Keep {
        /// Whose.
        stream: Stream,
        /// In rising sequence.
        slots: Vec<Slot>,
        /// Everything below this is stored already or will never come.
        held: u32,
    },
    /// For eyes only.
    Live(Live),
    /// For eyes only.
    Outlook(Outlook),
    /// For calibrating.
    Raw(Raw),
    /// What became of a command.
    Outcome(u32, Outcome),
    /// Slots that were wanted and will not come: first and last.
    Missing(Stream, u32, u32),
    /// The rig's memory ends before what is held of it: it is not the memory it was. All of it is fetched again
    /// and compared.
    Behind(Stream),
}

/// What has come over the line so far, to tell a rig from something else.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Line {
    /// Bytes.
    pub bytes: u64,
    /// Sound frames.
    pub frames: u64,
    /// Damaged frames.
    pub damaged: u64,
}

#[derive(Debug)]
struct Known {
    stream: Stream,
    hello: Hello,
    version: u8,
    intake: Option<Intake>,
    held: u32,
}

/// A conversation over one port.
#[derive(Debug)]
pub struct Session {
    host: u32,
    accumulator: Accumulator,
    rig: Option<Known>,
    asked: Option<u64>,
    heard: u64,
    commands: Commands,
    greeted: u64,
    /// The computer has slept, and the rig has not said hello since.
    waking: bool,
    line: Line,
    out: VecDeque<Output>,
}

impl Session {
    /// A conversation that has not begun; `host` is this host's number.
    #[must_use]
    pub fn new(host: u32) -> Self {
        Self {
            host,
            accumulator: Accumulator::new(),
            rig: None,
            asked: None,
            heard: 0,
            greeted: 0,
            waking: false,
            commands: Commands::default(),
            line: Line::default(),
            out: VecDeque::new(),
        }
    }

    /// Takes what came by `now` (any count of milliseconds that only rises), perhaps nothing. Call it often, and
    /// do all that [`Session::output`] gives after each call.
    pub fn step(&mut self, now: u64, bytes: &[u8]) {
        if !bytes.is_empty() {
            self.heard = now;
            self.line.bytes += bytes.len() as u64;
        }
        let mut message = [0; ENCODED_BYTES_MAX];
        for &byte in bytes {
            match self.accumulator.push(byte, &mut message) {
                Some(Ok(bytes)) => {
                    self.line.frames += 1;
                    self.hear(now, bytes);
                }
                Some(Err(_)) => self.line.damaged += 1, // what was in it is missed, and asked for again
                None => {}
            }
        }
        self.speak(now);
    }

    /// The next thing to do.
    pub fn output(&mut self) -> Option<Output> {
        self.out.pop_front()
    }

    /// Answers [`Output::Introduced`]: the first sequence wanted, not below the rig's tail.
    pub fn resume(&mut self, now: u64, next: u32) {
        let Some(known) = &mut self.rig else { return };
        let behind = next > known.hello.head;
        if behind {
            self.out.push_back(Output::Behind(known.stream.clone()));
        }
        known.held = if behind { known.hello.tail } else { next };
        known.intake = Some(Intake::new(known.held, now));
        self.speak(now);
    }

    /// Answers [`Output::Keep`]: everything below this is on disk, or is known never to come.
    pub fn stored(&mut self, below: u32) {
        let Some(known) = &mut self.rig else { return };
        let Some(intake) = &known.intake else { return };
        let below = below.min(intake.confirmed());
        if below > known.held {
            known.held = below;
            self.acknowledge();
        }
    }

    /// Asks the rig to do something, once. `request` must be a number that no other command of any host has.
    pub fn command(&mut self, now: u64, request: u32, command: Command) {
        match self.rig.as_ref().map(|known| known.version) {
            None => self.out.push_back(Output::Outcome(request, Outcome::NoRig)),
            Some(VERSION) => {
                self.commands.push(now, request, command);
                self.speak(now);
            }
            Some(_) => self.out.push_back(Output::Outcome(request, Outcome::OtherVersion)),
        }
    }

    /// The port is gone. What has not been confirmed is forgotten; it will be fetched again.
    pub fn cut(&mut self) {
        self.drop_commands();
        (self.rig, self.asked, self.accumulator) = (None, None, Accumulator::new());
    }

    /// The computer has slept, for whatever the caller's count says. What comes from the line first may be as old as that, so
    /// nothing that is for eyes only is believed before the rig has answered anew; commands are given up, since a touch of the
    /// hub or a time of day that were meant then are not true now. Slots stay what they are, whenever they come.
    pub fn wake(&mut self) {
        self.drop_commands();
        (self.asked, self.accumulator, self.waking) = (None, Accumulator::new(), true);
    }

    /// What has come over the line.
    #[must_use]
    pub fn line(&self) -> Line {
        self.line
    }

    /// The rig at the other end.
    #[must_use]
    pub fn rig(&self) -> Option<&Stream> {
        self.rig.as_ref().map(|known| &known.stream)
    }

    /// Whether the rig has said hello since then and every slot that it had at that hello has come and was kept.
    #[must_use]
    pub fn drained(&self, since: u64) -> bool {
        let all_kept = |known: &Known| known.intake.as_ref().is_some_and(|intake| intake.confirmed() >= known.hello.head);
        self.greeted > since && self.rig.as_ref().is_some_and(all_kept)
    }

    fn hear(&mut self, now: u64, bytes: &[u8]) {
        let Ok(message) = Message::decode(bytes) else { return };
        match message {
            Message::Hello(hello) => self.greet(now, hello, bytes.first().copied().unwrap_or(VERSION)),
            Message::Slots(slots) => {
                let Some(known) = &mut self.rig else { return };
                let Some(intake) = &mut known.intake else { return };
                intake.take(now, slots, self.line.damaged);
            }
            Message::Live(_) | Message::Outlook(_) | Message::Raw(_) if self.waking => {}
            Message::Live(live) if self.rig.is_some() => self.out.push_back(Output::Live(live)),
            Message::Outlook(outlook) if self.rig.is_some() => self.out.push_back(Output::Outlook(outlook)),
            Message::Raw(raw) if self.rig.is_some() => self.out.push_back(Output::Raw(raw)),
            Message::Reply(reply) if self.commands.answered(reply.request) => {
                let outcome = Outcome::Answered { answer: reply.answer, sequence: reply.sequence };
                self.out.push_back(Output::Outcome(reply.request, outcome));
            }
            // From a rig that has not said who it is, an answer that nobody waits for, or what only a host says.
            _ => {}
        }
    }

    fn greet(&mut self, now: u64, hello: Hello, version: u8) {
        self.greeted = now;
        self.waking &= self.asked.is_none(); // one that came before it was asked may have waited as long
        let stream = Stream::of(&hello);
        let came = match &self.rig {
            None => Came::First,
            Some(known) if known.stream != stream => Came::InPlaceOf(known.stream.clone()),
            Some(known) if restarted(&known.hello, &hello) || known.version != version => Came::Restarted,
            Some(_) => return self.still_there(hello),
        };
        self.drop_commands();
        if came == Came::Restarted {
            self.still_there(hello); // what waited is its own
        }
        self.out.push_back(Output::Introduced(Introduction { stream: stream.clone(), hello, version, came }));
        self.rig = Some(Known { stream, hello, version, intake: None, held: 0 });
    }

    /// The same rig said hello again.
    fn still_there(&mut self, hello: Hello) {
        let Some(known) = &mut self.rig else { return };
        known.hello = hello;
        if let Some(intake) = &mut known.intake {
            let (slots, mut missing) = intake.confirm(hello.head);
            if !slots.is_empty() {
                self.out.push_back(Output::Keep { stream: known.stream.clone(), slots, held: known.held });
            }
            if let Some(gone) = intake.raise(hello.tail) {
                known.held = known.held.max(hello.tail); // what is gone need not be held
                missing.push(gone);
            }
            self.out.extend(missing.into_iter().map(|(first, last)| Output::Missing(known.stream.clone(), first, last)));
        }
        if known.held.min(hello.head) > hello.acknowledged {
            self.acknowledge();
        }
    }

    fn acknowledge(&mut self) {
        let Some(known) = &self.rig else { return };
        let below = known.held.min(known.hello.head);
        let message = Message::Acknowledge(Acknowledge { epoch: known.stream.epoch, below, host: self.host });
        self.send(&message);
    }

    fn drop_commands(&mut self) {
        self.out.extend(self.commands.drop_all().map(|request| Output::Outcome(request, Outcome::Dropped)));
    }

    /// Says whatever is due.
    fn speak(&mut self, now: u64) {
        if let Some(request) = self.commands.too_late(now) {
            self.out.push_back(Output::Outcome(request, Outcome::Silent));
        }
        if let Some(command) = self.commands.due(now) {
            self.send(&command);
        }
        if let Some(known) = &mut self.rig
            && let Some(intake) = &mut known.intake
        {
            for wanted in intake.wanted(now, known.hello.head, self.line.damaged) {
                self.send(&match wanted {
                    Wanted::From(from) => Message::Replay(Replay { from }),
                    Wanted::Stretch(first, last) => Message::Repeat(Repeat { first, last }),
                });
            }
        }
        if self.asked.is_none_or(|asked| now.saturating_sub(asked) >= self.ask_every(now)) {
            self.asked = Some(now);
            self.out.push_back(Output::Send(vec![0])); // whatever was on the line before ends here
            self.send(&Message::Ask(Ask { host: self.host }));
        }
    }

    fn ask_every(&self, now: u64) -> u64 {
        let waiting = self.rig.as_ref().and_then(|known| known.intake.as_ref()).is_some_and(Intake::needs_hello);
        match () {
            () if waiting => ASK_WAITING_MS,
            () if self.rig.is_none() || now.saturating_sub(self.heard) >= SILENT_MS => ASK_SILENT_MS,
            () => ASK_MS,
        }
    }

    fn send(&mut self, message: &Message<'_>) {
        if let Some(frame) = wrap(message) {
            self.out.push_back(Output::Send(frame.to_vec()));
        }
    }
}

/// Whether the same rig has started again between two hellos.
fn restarted(before: &Hello, now: &Hello) -> bool {
    let went_back = now.now.since(before.now) > Millis(u32::MAX / 2).0;
    now.boot != before.boot || went_back
}
