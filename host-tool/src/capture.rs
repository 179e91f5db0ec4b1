//! Session and store together: whatever a rig sends is on the disk before the rig is told so.

use crate::doubts::Doubts;
use crate::ending::Ending;
use crate::entry::{Entry, Place};
use crate::facts::{self, SetUp, Wall};
use crate::paper::words::code;
use crate::readout::Bored;
use crate::session::{Came, Introduction, Line, Outcome, Output, Session, Stream};
use crate::store::{Store, StoreFault};
use crate::text::terminal;
use shared_protocol::VERSION;
use shared_protocol::assemble::Assembler;
use shared_protocol::message::{Command, Live, Outlook, Raw, SetClock};
use shared_protocol::record::{Plan, Record, Start};
use shared_protocol::slot::{PARTS_MAX, Slot};
use shared_protocol::state::{Answer, ResetCause};

/// How often the records of the open hole are read for what a person should know of it, ms.
const DOUBTS_MS: u64 = 1_000;
/// A rig seals with the turn after the close: where no seal has come for so long, none will before its next start, ms.
const SEAL_MS: u64 = 10_000;

/// A clock that has come to differ so much from what the rig was told was set meanwhile, ms; no clock drifts so far in
/// a season between two starts of a rig.
const STEP_MS: u64 = 30_000;
/// Steps come every few tens of ms: where one is so late by either clock, the computer has slept, ms. Its count of milliseconds
/// may have stood still meanwhile, or gone on.
const SLEPT_MS: u64 = 5_000;

/// The time of day at a moment of the host's count of milliseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Told {
    at: u64,
    unix_ms: i64,
    offset: i16,
}

impl Told {
    /// Whether the clock on the wall has been set, or the computer has slept, since then.
    fn is_outdated(&self, now: u64, wall: Wall) -> bool {
        let passed = i64::try_from(now.saturating_sub(self.at)).unwrap_or(i64::MAX);
        wall.offset != self.offset || wall.unix_ms.abs_diff(self.unix_ms.saturating_add(passed)) > STEP_MS
    }
}

/// Something worth showing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// A rig is there that was not, or not in this run of it.
    Rig(Introduction),
    /// So many new slots are on the disk.
    Kept(u32),
    /// For eyes only.
    Live(Live),
    /// For eyes only.
    Outlook(Outlook),
    /// For calibrating.
    Raw(Raw),
    /// Another hole is open now, or none.
    Hole(Option<Box<Plan>>),
    /// What a person should know of the open hole has changed.
    Doubts(Doubts),
    /// What is bored of the open hole, as its records have it.
    Bored(Bored),
    /// The computer has slept: whatever was shown is old.
    Woke,
    /// The hole that was open is closed: whether it is sealed, and whether that is proven.
    Ended(Ending),
    /// What became of a command.
    Outcome(u32, Outcome),
    /// Something that a person should read.
    Notice(Notice),
}

/// What a person should read; one line each.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Notice {
    /// The rig speaks another version.
    OtherVersion(Stream, u8),
    /// Slots that were wanted and will not come: first and last.
    Missing(Stream, u32, u32),
    /// Slots that another host took from the rig, which has none of them left: first and last.
    Elsewhere(Stream, u32, u32),
    /// The rig's memory ends before what is stored of it.
    Behind(Stream),
    /// From this one on, slots differ from those stored under the same sequence; said once for each run of a rig.
    Differing(Stream, u32),
    /// The rig did not take the time of day.
    ClockNotSet(Outcome),
}

impl std::fmt::Display for Notice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let rig = |stream: &Stream| terminal(&stream.rig);
        match self {
            Self::OtherVersion(stream, theirs) => write!(
                f,
                "rig {} speaks version {theirs}, this program version {VERSION}: its records are stored, but it is neither shown nor commanded",
                rig(stream)
            ),
            Self::Missing(stream, first, last) if first == last => {
                write!(f, "record {first} of rig {} is missing; the gap stays visible wherever it is used", rig(stream))
            }
            Self::Missing(stream, first, last) => {
                write!(f, "records {first} to {last} of rig {} are missing; the gap stays visible wherever they are used", rig(stream))
            }
            Self::Elsewhere(stream, first, last) => write!(
                f,
                "records {first} to {last} of rig {} are not in this store, another one has taken them: bring that one in with `borewitness merge`",
                rig(stream)
            ),
            Self::Behind(stream) => {
                write!(f, "rig {} has fewer records than are stored of it: its memory was changed; comparing all of them", rig(stream))
            }
            Self::Differing(stream, first) => write!(
                f,
                "records of rig {}, the first of them {first}, differ from those stored under the same numbers: both are kept, have it looked into",
                rig(stream)
            ),
            Self::ClockNotSet(outcome) => write!(f, "the rig does not know the time of day: {outcome}"),
        }
    }
}

impl std::fmt::Display for Outcome {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            _ if self.is_done() => f.write_str("done, and recorded"),
            Self::Answered { answer, .. } => write!(f, "the rig refused: {}", code(Answer::TABLE, *answer)),
            Self::Silent => f.write_str("the rig did not answer; look at the readout before you ask again"),
            Self::Dropped => f.write_str(
                "the rig restarted, the cable was pulled or this computer slept before it answered; look at the readout before you ask again",
            ),
            Self::NoRig => f.write_str("no rig has said hello yet"),
            Self::OtherVersion => f.write_str("the rig speaks another version and cannot be commanded"),
        }
    }
}

impl Outcome {
    /// The rig's answer; `None` where it gave none, or one that this version does not know.
    #[must_use]
    pub fn answer(&self) -> Option<Answer> {
        match self {
            Self::Answered { answer, .. } => Answer::from_raw(*answer),
            _ => None,
        }
    }

    /// Whether the rig did it.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.answer() == Some(Answer::Done)
    }
}

/// What a step brought.
#[derive(Debug, Default)]
pub struct Step {
    /// Bytes for the port.
    pub send: Vec<u8>,
    /// What to show, in order.
    pub events: Vec<Event>,
}

/// A rig being captured.
#[derive(Debug)]
pub struct Capture {
    session: Session,
    store: Store,
    clock_request: Option<u32>,
    /// The last run of a rig that took the time of day: whose, which start, and the time that it was asked to take.
    told: Option<(Stream, u16, Told)>,
    /// What it was asked to take last.
    telling: Told,
    boot: u16,
    /// Everything below this had been acknowledged when the rig was met.
    taken: u32,
    hole: Option<u32>,
    /// The hole that was open before, until its end is said: its first slot, and since when it is not open any more.
    ending: Option<(u32, u64)>,
    differs: bool,
    doubts: Doubts,
    /// Slots came since doubts were looked for.
    stale: bool,
    /// When they were looked for last.
    looked: u64,
    /// The last step by both clocks, ms.
    stepped: Option<(u64, i64)>,
    /// Nothing is stored of this rig's epoch, and what is before the oldest that the rig has, here, is not known yet.
    unsaid: Option<u32>,
}

impl Capture {
    /// Begins with a store and nobody on the line.
    ///
    /// # Errors
    /// Where the store does not say which host this is.
    pub fn new(store: Store) -> Result<Self, StoreFault> {
        let session = Session::new(store.host()?);
        let doubts = Doubts::default();
        let telling = Told::default();
        Ok(Self {
            session,
            store,
            clock_request: None,
            told: None,
            telling,
            boot: 0,
            taken: 0,
            hole: None,
            ending: None,
            differs: false,
            doubts,
            stale: false,
            looked: 0,
            stepped: None,
            unsaid: None,
        })
    }

    /// Takes what came by `now` (milliseconds, only rising), perhaps nothing; call it every few tens of milliseconds.
    /// `wall` is the time of day for a rig that has not been told.
    ///
    /// # Errors
    /// When the store fails: nothing that came is acknowledged then, and the rig keeps it.
    pub fn step(&mut self, now: u64, wall: Wall, bytes: &[u8]) -> Result<Step, StoreFault> {
        let mut step = Step::default();
        if self.has_slept(now, wall) {
            self.wake(now, wall, &mut step)?;
        }
        self.session.step(now, bytes);
        self.carry_out_all(now, wall, &mut step)?;
        self.tell_again(now, wall)?;
        Ok(step)
    }

    fn carry_out_all(&mut self, now: u64, wall: Wall, step: &mut Step) -> Result<(), StoreFault> {
        while let Some(output) = self.session.output() {
            self.carry_out(now, wall, output, step)?;
        }
        Ok(())
    }

    /// Whether the computer has slept since the last step, or stood still as long.
    fn has_slept(&mut self, now: u64, wall: Wall) -> bool {
        let Some((at, unix_ms)) = self.stepped.replace((now, wall.unix_ms)) else { return false };
        let by_count = now.saturating_sub(at);
        let by_wall = u64::try_from(wall.unix_ms.saturating_sub(unix_ms)).unwrap_or(0);
        by_count > SLEPT_MS || by_wall > by_count.saturating_add(SLEPT_MS)
    }

    /// What was to be said then is not said now; how a hole ended is waited for anew.
    fn wake(&mut self, now: u64, wall: Wall, step: &mut Step) -> Result<(), StoreFault> {
        step.events.push(Event::Woke);
        let telling = self.clock_request.is_some();
        self.session.wake();
        self.carry_out_all(now, wall, step)?;
        if let Some((_, since)) = &mut self.ending {
            *since = now;
        }
        if telling && self.session.rig().is_some() {
            self.tell(now, wall)?;
        }
        Ok(())
    }

    fn carry_out(&mut self, now: u64, wall: Wall, output: Output, step: &mut Step) -> Result<(), StoreFault> {
        match output {
            Output::Send(bytes) => step.send.extend(bytes),
            Output::Introduced(introduction) => self.welcome(now, wall, introduction, step)?,
            Output::Keep { stream, slots, held } => {
                self.say_beginning(&stream, &slots, step)?;
                let kept = self.store.keep(&stream, &slots)?;
                self.session.stored(self.store.next_wanted(&stream, held)?);
                self.stale |= kept.new > 0;
                step.events.push(Event::Kept(kept.new));
                if let Some(first) = kept.differing.first().filter(|_| !self.differs) {
                    self.differs = true;
                    step.events.push(Event::Notice(Notice::Differing(stream, *first)));
                }
            }
            Output::Raw(raw) => step.events.push(Event::Raw(raw)),
            Output::Live(live) => step.events.push(Event::Live(live)),
            Output::Outlook(outlook) => {
                self.look_for_hole(now, &outlook, step)?;
                self.look_for_ending(now, step)?;
                self.look_for_doubts(now, step)?;
                step.events.push(Event::Outlook(outlook));
            }
            Output::Outcome(request, outcome) if self.clock_request == Some(request) => {
                self.clock_request = None;
                self.told = self.session.rig().filter(|_| outcome.is_done()).map(|stream| (stream.clone(), self.boot, self.telling));
                // Not asked again in this run; what was given up is, as soon as the rig has said who it is.
                if self.told.is_none() && outcome != Outcome::Dropped {
                    step.events.push(Event::Notice(Notice::ClockNotSet(outcome)));
                }
            }
            Output::Outcome(request, outcome) => step.events.push(Event::Outcome(request, outcome)),
            Output::Missing(stream, first, last) => self.say_missing(&stream, first, last, step),
            Output::Behind(stream) => step.events.push(Event::Notice(Notice::Behind(stream))),
        }
        Ok(())
    }

    /// A rig said who it is: tell the session what is wanted of it, and the rig what time it is.
    fn welcome(&mut self, now: u64, wall: Wall, introduction: Introduction, step: &mut Step) -> Result<(), StoreFault> {
        let Introduction { stream, hello, version, .. } = introduction.clone();
        self.store.met(&stream, hello.simulated != 0)?;
        let end = self.store.end(&stream)?;
        (self.hole, self.ending, self.differs, self.doubts) = (None, None, false, Doubts::default());
        step.events.extend([Event::Rig(introduction.clone()), Event::Hole(None)]);
        if !introduction.same_version() {
            step.events.push(Event::Notice(Notice::OtherVersion(stream.clone(), version)));
        }
        self.taken = hello.acknowledged;
        let of_a_reset = stream.epoch > 1 && end == 0;
        self.unsaid = Some(hello.tail).filter(|_| of_a_reset);
        if end < hello.tail && !of_a_reset {
            self.say_missing(&stream, end, hello.tail - 1, step);
        }
        self.session.resume(now, self.store.next_wanted(&stream, hello.tail)?);
        self.boot = hello.boot;
        let told = self.told.as_ref().is_some_and(|(rig, boot, _)| (rig, *boot) == (&stream, hello.boot));
        if introduction.same_version() && (introduction.came == Came::Restarted || !told) {
            self.tell(now, wall)?;
        }
        Ok(())
    }

    /// Says what will not come: what the rig let go because somebody had it is not lost.
    fn say_missing(&self, stream: &Stream, first: u32, last: u32, step: &mut Step) {
        let taken = self.taken.clamp(first, last.saturating_add(1));
        if first < taken {
            step.events.push(Event::Notice(Notice::Elsewhere(stream.clone(), first, taken - 1)));
        }
        if taken <= last {
            step.events.push(Event::Notice(Notice::Missing(stream.clone(), taken, last)));
        }
    }

    /// Says what is missing before the first records of an epoch that a factory reset began. Numbers go on from one epoch to
    /// the next, so what is before its own first start is of the one before, which some host has in full.
    fn say_beginning(&mut self, stream: &Stream, slots: &[Slot], step: &mut Step) -> Result<(), StoreFault> {
        let Some(tail) = self.unsaid.take().filter(|tail| *tail > 0) else { return Ok(()) };
        let earlier = self.store.rigs()?.into_iter().rfind(|other| other.rig == stream.rig && other.epoch < stream.epoch);
        let end = earlier.as_ref().map(|earlier| self.store.end(earlier)).transpose()?.unwrap_or(0);
        let begins = slots.first().is_some_and(|slot| {
            let start = Start::decode(slot.body()).filter(|_| slot.kind() == Start::KIND);
            start.is_some_and(|start| start.cause == ResetCause::Decommissioned.raw())
        });
        if end >= tail {
            return Ok(());
        }
        match earlier {
            Some(earlier) if begins => step.events.push(Event::Notice(Notice::Elsewhere(earlier, end, tail - 1))),
            None if begins => {}
            _ => self.say_missing(stream, end, tail - 1, step),
        }
        Ok(())
    }

    /// Tells the rig the time of day.
    fn tell(&mut self, now: u64, Wall { unix_ms, offset }: Wall) -> Result<(), StoreFault> {
        self.telling = Told { at: now, unix_ms, offset };
        self.clock_request = Some(self.command(now, Command::SetClock(SetClock { unix_ms, offset }))?);
        Ok(())
    }

    /// Tells a rig that was told already what is said now, where the clock was set since: a further record, the one
    /// before stays. What was recorded up to here keeps the time that was right by the clock of then.
    fn tell_again(&mut self, now: u64, wall: Wall) -> Result<(), StoreFault> {
        let Some((rig, boot, told)) = &self.told else { return Ok(()) };
        let same_rig = self.session.rig() == Some(rig) && *boot == self.boot;
        if same_rig && self.clock_request.is_none() && told.is_outdated(now, wall) {
            self.tell(now, wall)?;
        }
        Ok(())
    }

    /// Finds the plan of the hole that is open, once its record is in the store.
    fn look_for_hole(&mut self, now: u64, outlook: &Outlook, step: &mut Step) -> Result<(), StoreFault> {
        let open = (outlook.opened > 0).then_some(outlook.opened);
        let Some(stream) = self.session.rig().filter(|_| open != self.hole) else { return Ok(()) };
        let plan = match open {
            None => None,
            Some(first) => match self.plan(stream, first)? {
                None => return Ok(()), // on its way; the next outlook asks again
                plan => plan,
            },
        };
        if let Some(before) = self.hole {
            self.ending = Some((before, now));
        }
        (self.hole, self.stale) = (open, true);
        step.events.push(Event::Hole(plan.map(Box::new)));
        Ok(())
    }

    /// Says how the hole that was open before ended, once its seal is in the store or will not come.
    fn look_for_ending(&mut self, now: u64, step: &mut Step) -> Result<(), StoreFault> {
        let Some((first, since)) = self.ending.filter(|_| self.stale || self.looked < now.saturating_sub(DOUBTS_MS)) else { return Ok(()) };
        let Some(stream) = self.session.rig() else { return Ok(()) };
        let setup = facts::read(&self.store.part(stream, first, u32::MAX)?.slots).into_iter().next();
        let Some(ending) = setup.as_ref().map(Ending::of) else { return Ok(()) };
        if ending.is_settled() || now.saturating_sub(since) >= SEAL_MS {
            self.ending = None;
            step.events.push(Event::Ended(ending));
        }
        Ok(())
    }

    /// Reads what there is to know of the open hole from its records in the store, when more of them have come.
    fn look_for_doubts(&mut self, now: u64, step: &mut Step) -> Result<(), StoreFault> {
        if !self.stale || now.saturating_sub(self.looked) < DOUBTS_MS {
            return Ok(());
        }
        let Some(stream) = self.session.rig() else { return Ok(()) };
        let doubts = match self.hole {
            // from there on only: a store holds seasons of other holes
            Some(first) => match facts::read(&self.store.part(stream, first, u32::MAX)?.slots).into_iter().next() {
                Some(setup) => {
                    step.events.push(Event::Bored(Bored::of(&setup)));
                    Doubts::of(&SetUp { measurements: self.store.measurements(stream, first)?, ..setup })
                }
                None => Doubts::default(),
            },
            None => Doubts::default(),
        };
        (self.stale, self.looked) = (false, now);
        if doubts != self.doubts {
            self.doubts = doubts.clone();
            step.events.push(Event::Doubts(doubts));
        }
        Ok(())
    }

    fn plan(&self, stream: &Stream, first: u32) -> Result<Option<Plan>, StoreFault> {
        let parts = u32::try_from(PARTS_MAX).unwrap_or(u32::MAX);
        let slots = self.store.part(stream, first, first.saturating_add(parts - 1))?.slots;
        let mut assembler = Assembler::default();
        let whole = slots.iter().find_map(|slot| assembler.push(slot).map(|whole| (whole.first, Record::decode(whole.kind, whole.body))));
        Ok(match whole {
            Some((at, Ok(Record::Opened(opened)))) if at == first => Some(opened.plan),
            _ => None,
        })
    }

    /// Asks the rig to do something, once; returns the number that its [`Event::Outcome`] will have.
    ///
    /// # Errors
    /// When the store fails.
    pub fn command(&mut self, now: u64, command: Command) -> Result<u32, StoreFault> {
        let request = self.store.next_request()?;
        self.session.command(now, request, command);
        Ok(request)
    }

    /// The port is gone.
    pub fn cut(&mut self) {
        self.session.cut();
        self.hole = None;
    }

    /// What has come over the line.
    #[must_use]
    pub fn line(&self) -> Line {
        self.session.line()
    }

    /// The rig at the other end.
    #[must_use]
    pub fn rig(&self) -> Option<&Stream> {
        self.session.rig()
    }

    /// Whether the rig has said hello since then, and everything that it had at that hello is stored.
    #[must_use]
    pub fn drained(&self, since: u64) -> bool {
        self.session.drained(since)
    }

    /// Enters what somebody says while the rig is listened to.
    ///
    /// # Errors
    /// As [`Store::enter`].
    pub fn enter(&mut self, entry: &Entry) -> Result<Place, StoreFault> {
        self.store.enter(entry)
    }

    /// The store.
    #[must_use]
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// Gives the store back.
    #[must_use]
    pub fn into_store(self) -> Store {
        self.store
    }
}

#[cfg(test)]
mod tests;
