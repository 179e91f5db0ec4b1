//! A whole site in one process: world, rig on any machine, cable, and the real capture with its store.

use host_tool::capture::{Capture, Event, Notice};
use host_tool::facts::{SetUp, Wall, read};
use host_tool::session::{Outcome, Stream};
use host_tool::store::Store;
use shared_protocol::message::{Command, Live, Outlook, Raw};
use shared_protocol::slot::Slot;
use shared_protocol::state::Answer;
use simulator::bench::Bench;
use simulator::cue::Cue;
use simulator::machine::Machine;
use simulator::operator::Progress;
use std::path::PathBuf;

/// One turn of rig and host, virtual ms.
pub const TURN_MS: u8 = 5;
/// The virtual day begins here: 2026-05-12T07:30-06:00.
pub const MORNING: Wall = Wall { unix_ms: 1_778_592_600_000, offset: -360 };
/// No scenario of the tests takes longer, virtual ms.
const TOO_LONG_MS: u64 = 3 * 3_600_000;
/// What was not done is asked again after so long, virtual ms.
const AGAIN_MS: u64 = 500;
/// A slot's place in the memory: the ring begins here.
const RING_AT: usize = 4_096;

/// A cue that somebody sees to.
#[derive(Debug)]
struct Cued {
    cue: Cue,
    /// The command that is on its way for it.
    request: Option<u32>,
    /// When it is asked again.
    at: u64,
}

/// The site.
#[derive(Debug)]
pub struct Cab<M: Machine> {
    /// World and rig.
    pub bench: Bench<M>,
    capture: Option<Capture>,
    store: PathBuf,
    now: u64,
    to_rig: Vec<u8>,
    cue: Option<Cued>,
    asked: Option<(u32, Option<Outcome>)>,
    /// Raw readings that nobody has taken yet.
    pub raws: Vec<Raw>,
    /// What a person would have been told.
    pub notices: Vec<Notice>,
    /// The newest live sample and the newest outlook.
    pub shown: (Option<Live>, Option<Outlook>),
}

impl<M: Machine> Cab<M> {
    /// Puts a host with a store of that name beside a bench.
    ///
    /// # Panics
    /// When the store cannot be opened.
    #[must_use]
    pub fn new(bench: Bench<M>, store: PathBuf) -> Self {
        Self::beside(bench, Store::open(&store).expect("a store"))
    }

    /// Puts a host with this store beside a bench.
    ///
    /// # Panics
    /// When the store cannot be read.
    #[must_use]
    pub fn beside(bench: Bench<M>, store: Store) -> Self {
        Self {
            bench,
            store: store.path().to_owned(),
            capture: Some(Capture::new(store).expect("a host")),
            now: 0,
            to_rig: Vec::new(),
            cue: None,
            asked: None,
            raws: Vec::new(),
            notices: Vec::new(),
            shown: (None, None),
        }
    }

    /// Virtual milliseconds since the beginning.
    #[must_use]
    pub fn now(&self) -> u64 {
        self.now
    }

    /// Lets one turn pass.
    ///
    /// # Panics
    /// When rig or store do not do their part.
    pub fn turn(&mut self) {
        let to_rig = std::mem::take(&mut self.to_rig);
        let bytes = self.bench.advance(TURN_MS, &to_rig).expect("the machine runs");
        self.now += u64::from(TURN_MS);
        if !self.bench.is_powered() {
            self.cue = None; // the operator begins again when the power is back
        }
        let passed = i64::try_from(self.now).expect("a short day");
        let Some(capture) = &mut self.capture else { return };
        let step = capture.step(self.now, Wall { unix_ms: MORNING.unix_ms + passed, ..MORNING }, &bytes).expect("the store keeps");
        self.to_rig = step.send;
        for event in step.events {
            self.take(event);
        }
        if let Some(cue) = self.bench.take_cue() {
            self.cue = Some(Cued { cue, request: None, at: self.now });
        }
        if let (Some(cued), Some(capture)) = (&mut self.cue, &mut self.capture)
            && cued.request.is_none()
            && self.now >= cued.at
        {
            cued.request = Some(capture.command(self.now, cued.cue.command()).expect("a number"));
        }
    }

    fn take(&mut self, event: Event) {
        match event {
            Event::Live(live) => self.shown.0 = Some(live),
            Event::Outlook(outlook) => self.shown.1 = Some(outlook),
            Event::Notice(notice) => self.notices.push(notice),
            Event::Raw(raw) => self.raws.push(raw),
            Event::Outcome(request, outcome) if self.asked.as_ref().is_some_and(|(asked, _)| *asked == request) => {
                self.asked = Some((request, Some(outcome)));
            }
            Event::Outcome(request, outcome) if self.cue.as_ref().is_some_and(|cued| cued.request == Some(request)) => {
                if outcome.is_done() || matches!(outcome.answer(), Some(Answer::HoleOpen | Answer::NoHoleOpen)) {
                    self.cue = None;
                    self.bench.cue_done();
                } else if let Some(cued) = &mut self.cue {
                    (cued.request, cued.at) = (None, self.now + AGAIN_MS);
                }
            }
            _ => {}
        }
    }

    /// Asks the rig to do something, waits for its answer, and until every record of it is on disk.
    ///
    /// # Panics
    /// When there is no host, or no answer.
    pub fn ask(&mut self, command: Command) -> Option<Answer> {
        let request = self.capture.as_mut().expect("a host").command(self.now, command).expect("a number");
        self.asked = Some((request, None));
        self.until("an answer", |cab| cab.asked.as_ref().is_some_and(|(_, outcome)| outcome.is_some()));
        self.drain();
        self.asked.take().and_then(|(_, outcome)| outcome?.answer())
    }

    /// Runs until every record that the rig has by now is on disk.
    ///
    /// # Panics
    /// When there is no host, or they do not come.
    pub fn drain(&mut self) {
        let since = self.now;
        self.until("the last record", |cab| cab.capture.as_ref().is_some_and(|capture| capture.drained(since)));
    }

    /// The host is killed: all that it has not on disk is gone.
    pub fn kill_host(&mut self) {
        self.put_host(None);
    }

    /// The host is killed, and its store handed over; another starts on this one. Whoever gave a command gives it again.
    ///
    /// # Panics
    /// When the store cannot be read.
    pub fn put_host(&mut self, store: Option<Store>) -> Option<Store> {
        self.to_rig.clear();
        self.shown = (None, None);
        if let Some(cued) = &mut self.cue {
            (cued.request, cued.at) = (None, self.now);
        }
        let next = store.map(|store| Capture::new(store).expect("a host"));
        std::mem::replace(&mut self.capture, next).map(Capture::into_store)
    }

    /// The host.
    #[must_use]
    pub fn host(&self) -> Option<&Capture> {
        self.capture.as_ref()
    }

    /// What the host has just said.
    #[must_use]
    pub fn said(&self) -> &[u8] {
        &self.to_rig
    }

    /// The host comes back on its store, and is asked again for what it had not done yet.
    ///
    /// # Panics
    /// When the store cannot be opened.
    pub fn start_host(&mut self) {
        self.put_host(Some(Store::open_existing(&self.store).expect("the store")));
    }

    /// Another host comes, with a store of its own.
    ///
    /// # Panics
    /// When the store cannot be opened.
    pub fn start_other_host(&mut self, store: PathBuf) {
        self.store = store;
        self.capture = Some(Capture::new(Store::open(&self.store).expect("a store")).expect("a host"));
    }

    /// Runs until something holds.
    ///
    /// # Panics
    /// When it does not come to hold in three virtual hours.
    pub fn until(&mut self, what: &str, mut holds: impl FnMut(&Self) -> bool) {
        while !holds(self) {
            assert!(self.now < TOO_LONG_MS, "{what} does not come: {:?}", self.bench.progress());
            self.turn();
        }
    }

    /// Runs for so long.
    pub fn run_for(&mut self, ms: u64) {
        let end = self.now + ms;
        while self.now < end {
            self.turn();
        }
    }

    /// Runs until the operator has finished and every record is on disk.
    ///
    /// # Panics
    /// When that does not come in three virtual hours.
    pub fn finish(&mut self) {
        self.until("the end of the work", |cab| cab.bench.progress() == Some(Progress::Finished));
        self.drain();
    }

    /// The one rig that the store knows.
    ///
    /// # Panics
    /// When there is none, or more than one.
    #[must_use]
    pub fn rig(&self) -> Stream {
        let rigs = self.capture.as_ref().expect("a host").store().rigs().expect("readable");
        assert_eq!(rigs.len(), 1, "{rigs:?}");
        rigs.into_iter().next().expect("one")
    }

    /// What the store holds of it.
    ///
    /// # Panics
    /// When the store is damaged or holds two versions of a slot.
    #[must_use]
    pub fn stored(&self) -> Vec<Slot> {
        let held = self.capture.as_ref().expect("a host").store().stream(&self.rig()).expect("readable");
        assert!(held.damaged.is_empty() && held.aside == 0, "{held:?}");
        held.slots
    }

    /// The set-ups that the store holds.
    #[must_use]
    pub fn setups(&self) -> Vec<SetUp> {
        read(&self.stored())
    }

    /// The slots that stand in the rig's own memory, as bytes, in the order of their places.
    ///
    /// # Panics
    /// When the machine does not show its memory.
    #[must_use]
    pub fn remembered(&self) -> Vec<Slot> {
        let memory = self.bench.machine().memory().expect("shows its memory");
        let mut slots: Vec<Slot> = memory[RING_AT..].as_chunks().0.iter().filter_map(|bytes| Slot::check(bytes).ok()).collect();
        slots.sort_by_key(Slot::sequence);
        slots
    }
}
