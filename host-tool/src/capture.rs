//! Session and store together: whatever a rig sends is on the disk before the rig is told so.

use crate::doubts::Doubts;
use crate::facts::{self, SetUp, Wall};
use crate::paper::words::code;
use crate::session::{Came, Introduction, Line, Outcome, Output, Session, Stream};
use crate::store::{Store, StoreFault};
use crate::text::terminal;
use shared_protocol::VERSION;
use shared_protocol::assemble::Assembler;
use shared_protocol::message::{Command, Live, Outlook, Raw, SetClock};
use shared_protocol::record::{Plan, Record};
use shared_protocol::slot::PARTS_MAX;
use shared_protocol::state::Answer;

/// How often the records of the open hole are read for what a person should know of it, ms.
const DOUBTS_MS: u64 = 1_000;

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
            Self::Dropped => {
                f.write_str("the rig restarted or the cable was pulled before it answered; look at the readout before you ask again")
            }
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
    /// The last run of a rig that took the time of day: whose, and which start.
    told: Option<(Stream, u16)>,
    boot: u16,
    hole: Option<u32>,
    differs: bool,
    doubts: Doubts,
    /// Slots came since doubts were looked for.
    stale: bool,
    /// When they were looked for last.
    looked: u64,
}

impl Capture {
    /// Begins with a store and nobody on the line.
    ///
    /// # Errors
    /// Where the store does not say which host this is.
    pub fn new(store: Store) -> Result<Self, StoreFault> {
        let session = Session::new(store.host()?);
        let doubts = Doubts::default();
        Ok(Self { session, store, clock_request: None, told: None, boot: 0, hole: None, differs: false, doubts, stale: false, looked: 0 })
    }

    /// Takes what came by `now` (milliseconds, only rising), perhaps nothing; call it every few tens of milliseconds.
    /// `wall` is the time of day for a rig that has not been told.
    ///
    /// # Errors
    /// When the store fails: nothing that came is acknowledged then, and the rig keeps it.
    pub fn step(&mut self, now: u64, wall: Wall, bytes: &[u8]) -> Result<Step, StoreFault> {
        self.session.step(now, bytes);
        let mut step = Step::default();
        while let Some(output) = self.session.output() {
            self.carry_out(now, wall, output, &mut step)?;
        }
        Ok(step)
    }

    fn carry_out(&mut self, now: u64, wall: Wall, output: Output, step: &mut Step) -> Result<(), StoreFault> {
        match output {
            Output::Send(bytes) => step.send.extend(bytes),
            Output::Introduced(introduction) => self.welcome(now, wall, introduction, step)?,
            Output::Keep { stream, slots, held } => {
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
                self.look_for_hole(&outlook, step)?;
                self.look_for_doubts(now, step)?;
                step.events.push(Event::Outlook(outlook));
            }
            Output::Outcome(request, outcome) if self.clock_request == Some(request) => {
                self.clock_request = None;
                if outcome.is_done() {
                    self.told = self.session.rig().map(|stream| (stream.clone(), self.boot));
                } else {
                    step.events.push(Event::Notice(Notice::ClockNotSet(outcome)));
                }
            }
            Output::Outcome(request, outcome) => step.events.push(Event::Outcome(request, outcome)),
            Output::Missing(stream, first, last) => step.events.push(Event::Notice(Notice::Missing(stream, first, last))),
            Output::Behind(stream) => step.events.push(Event::Notice(Notice::Behind(stream))),
        }
        Ok(())
    }

    /// A rig said who it is: tell the session what is wanted of it, and the rig what time it is.
    fn welcome(&mut self, now: u64, wall: Wall, introduction: Introduction, step: &mut Step) -> Result<(), StoreFault> {
        let Introduction { stream, hello, version, .. } = introduction.clone();
        self.store.met(&stream, hello.simulated != 0)?;
        let end = self.store.end(&stream)?;
        (self.hole, self.differs, self.doubts) = (None, false, Doubts::default());
        step.events.extend([Event::Rig(introduction.clone()), Event::Hole(None)]);
        if !introduction.same_version() {
            step.events.push(Event::Notice(Notice::OtherVersion(stream.clone(), version)));
        }
        if (1..hello.tail).contains(&end) {
            step.events.push(Event::Notice(Notice::Missing(stream.clone(), end, hello.tail - 1)));
        }
        self.session.resume(now, self.store.next_wanted(&stream, hello.tail)?);
        self.boot = hello.boot;
        let told = introduction.came != Came::Restarted && self.told == Some((stream, hello.boot));
        if introduction.same_version() && !told {
            let Wall { unix_ms, offset } = wall;
            self.clock_request = Some(self.command(now, Command::SetClock(SetClock { unix_ms, offset }))?);
        }
        Ok(())
    }

    /// Finds the plan of the hole that is open, once its record is in the store.
    fn look_for_hole(&mut self, outlook: &Outlook, step: &mut Step) -> Result<(), StoreFault> {
        let open = (outlook.opened > 0).then_some(outlook.opened);
        let Some(stream) = self.session.rig().filter(|_| open != self.hole) else { return Ok(()) };
        let plan = match open {
            None => None,
            Some(first) => match self.plan(stream, first)? {
                None => return Ok(()), // on its way; the next outlook asks again
                plan => plan,
            },
        };
        (self.hole, self.stale) = (open, true);
        step.events.push(Event::Hole(plan.map(Box::new)));
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
                Some(setup) => Doubts::of(&SetUp { measurements: self.store.measurements(stream, first)?, ..setup }),
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
mod tests {
    use super::*;
    use crate::judge::LineAxes;
    use crate::judge::measured::{Kind, Measurement};
    use crate::session::fake_rig::FakeRig;
    use shared_protocol::record::{Change, Increment, Opened};
    use shared_protocol::state::Check;
    use shared_protocol::units::Micrometres;

    const WALL: Wall = Wall { unix_ms: 1_800_000_000_000, offset: -420 };

    struct Bench {
        capture: Capture,
        now: u64,
        to_rig: Vec<u8>,
        events: Vec<Event>,
        folder: tempfile::TempDir,
    }

    impl Bench {
        fn new() -> Self {
            let folder = tempfile::tempdir().unwrap();
            let store = Store::open(&folder.path().join("store.sqlite")).unwrap();
            Self { capture: Capture::new(store).unwrap(), now: 0, to_rig: Vec::new(), events: Vec::new(), folder }
        }

        fn run(&mut self, rig: &mut FakeRig, ms: u64) {
            for _ in 0..ms / 20 {
                self.now += 20;
                let bytes = rig.turn(20, &std::mem::take(&mut self.to_rig));
                let step = self.capture.step(self.now, WALL, &bytes).unwrap();
                self.to_rig.extend(step.send);
                self.events.extend(step.events);
            }
        }

        /// What is said of the open hole that begins there, in three seconds.
        fn doubts(&mut self, rig: &mut FakeRig, opened: u32) -> Vec<Doubts> {
            for _ in 0..6 {
                let mut bytes = Vec::new();
                rig.send(&shared_protocol::message::Message::Outlook(Outlook { opened, ..Outlook::default() }), &mut bytes);
                self.events.extend(self.capture.step(self.now, WALL, &bytes).unwrap().events);
                self.run(rig, 500);
            }
            self.events.drain(..).filter_map(|e| if let Event::Doubts(doubts) = e { Some(doubts) } else { None }).collect()
        }

        fn notices(&self) -> Vec<String> {
            self.events.iter().filter_map(|e| if let Event::Notice(n) = e { Some(n.to_string()) } else { None }).collect()
        }

        fn restart_host(&mut self) {
            let store = Store::open(&self.folder.path().join("store.sqlite")).unwrap();
            self.capture = Capture::new(store).unwrap();
            self.to_rig.clear();
        }
    }

    #[test]
    fn slots_are_in_the_store_before_they_are_acknowledged_and_survive_the_host() {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(100);
        bench.run(&mut rig, 1_500);
        bench.restart_host();
        rig.record(50);
        bench.run(&mut rig, 2_000);
        let stream = bench.capture.rig().unwrap().clone();
        assert_eq!(bench.capture.store().stream(&stream).unwrap().slots, rig.memory.values().copied().collect::<Vec<_>>());
        assert_eq!(rig.acknowledged, 150);
        assert_eq!(*rig.replays.last().unwrap(), 100, "the second host asks for what the first lacked");
        assert!(bench.capture.drained(0));
    }

    #[test]
    fn a_rig_is_told_the_time_once_in_each_run() {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        bench.run(&mut rig, 5_000);
        bench.capture.cut(); // and the cable is in again: the rig still knows
        bench.run(&mut rig, 2_000);
        rig.restart();
        bench.run(&mut rig, 5_000);
        let told: Vec<&Command> = rig.done.iter().map(|(_, command)| command).collect();
        assert!(
            matches!(told[..], [Command::SetClock(a), Command::SetClock(b)] if a.unix_ms == WALL.unix_ms && b.offset == WALL.offset),
            "{told:?}"
        );
        rig.restart();
        rig.deaf = true;
        bench.run(&mut rig, 6_000);
        assert_eq!(bench.notices().len(), 1, "{:?}", bench.notices());
        assert!(bench.notices()[0].starts_with("the rig does not know the time of day: the rig did not answer"));
    }

    #[test]
    fn the_open_hole_is_found_in_the_store_when_it_is_there() {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(20);
        let opened = rig.head;
        let plan = Plan { structure: "S-1".try_into().unwrap(), ..Plan::default() };
        rig.add(&Record::Opened(Opened { plan: plan.clone(), ..Opened::default() }));
        rig.add(&Record::Opened(Opened::default()));
        rig.record(40);
        let mut outlook = |bench: &mut Bench, opened: u32| {
            let mut bytes = Vec::new();
            rig.send(&shared_protocol::message::Message::Outlook(Outlook { opened, ..Outlook::default() }), &mut bytes);
            bench.events.extend(bench.capture.step(bench.now, WALL, &bytes).unwrap().events);
            bench.run(&mut rig, 1_000);
        };
        let mut bench_holes = |opened| {
            outlook(&mut bench, opened);
            bench.events.drain(..).filter_map(|e| if let Event::Hole(plan) = e { Some(plan) } else { None }).collect::<Vec<_>>()
        };
        assert_eq!(bench_holes(opened), [None], "nobody knows this rig yet");
        assert_eq!(bench_holes(opened), [Some(Box::new(plan))]);
        assert_eq!(bench_holes(opened), []);
        assert_eq!(bench_holes(0), [None]);
        assert_eq!(bench_holes(opened + 1), [], "a plan goes on there, and the next begins later");
    }

    #[test]
    fn slow_going_in_the_open_hole_is_said_once_and_when_it_is_over() {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(3);
        let opened = rig.head;
        rig.add(&Record::Opened(Opened::default()));
        let said = |bench: &mut Bench, rig: &mut FakeRig| bench.doubts(rig, opened).iter().map(|doubts| doubts.slow).collect::<Vec<_>>();
        let going = |state| Record::Change(Change { check: Check::Going.raw(), state, ..Change::default() });
        bench.run(&mut rig, 1_000);
        assert_eq!(said(&mut bench, &mut rig), [false; 0]);
        rig.add(&going(1));
        assert_eq!(said(&mut bench, &mut rig), [true]);
        rig.add(&going(0));
        assert_eq!(said(&mut bench, &mut rig), [false]);
    }

    /// Somebody else enters it while the rig drills; the next record brings it to the operator's eyes.
    #[test]
    fn a_hand_plumb_that_does_not_agree_is_a_doubt_of_the_open_hole() {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(3);
        let opened = rig.head;
        rig.add(&Record::Opened(Opened::default()));
        let deepen = |rig: &mut FakeRig, mm| {
            let depth = Micrometres::from_mm(mm);
            rig.add(&Record::Increment(Increment { depth, samples: 20, ..Increment::default() }));
        };
        (1..=10).for_each(|n| deepen(&mut rig, 100 * n));
        let said = |bench: &mut Bench, rig: &mut FakeRig| {
            bench.doubts(rig, opened).into_iter().flat_map(|doubts| doubts.reasons).collect::<Vec<_>>()
        };
        bench.run(&mut rig, 1_000);
        let before = said(&mut bench, &mut rig);
        assert!(before.iter().all(|reason| !reason.contains("hand plumb")), "{before:?}");
        let stream = bench.capture.rig().unwrap().clone();
        let plumb = Measurement {
            author: "Tester".to_owned(),
            unix_ms: WALL.unix_ms,
            kind: Kind::HandPlumb,
            depth: 1.0,
            offset: LineAxes { ahead: 0.5, right: 0.0 },
            standard: 0.003,
            remark: String::new(),
        };
        bench.capture.store.add_measurement(&stream, opened, &plumb).unwrap();
        deepen(&mut rig, 1_100);
        let after = said(&mut bench, &mut rig);
        let why = "the hand plumb does not agree with the rig's axis, so plumb the hole again";
        assert!(after.iter().any(|reason| reason == why), "{after:?}");
    }

    #[test]
    fn what_is_missing_or_differs_is_said() {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(30);
        bench.run(&mut rig, 2_000);
        bench.restart_host();
        rig.record(100);
        rig.tail = 60;
        bench.run(&mut rig, 2_000);
        assert_eq!(bench.notices(), ["records 30 to 59 of rig Alpha are missing; the gap stays visible wherever they are used"]);
        bench.events.clear();
        let mut other = FakeRig::new("Alpha");
        other.boot = 9;
        other.record(20);
        bench.run(&mut other, 3_000);
        let said = bench.notices();
        assert!(said[0].starts_with("rig Alpha has fewer records than are stored of it"), "{said:?}");
        assert!(said[1].starts_with("records of rig Alpha, the first of them 0, differ") && said.len() == 2, "{said:?}");
        assert_eq!(bench.capture.store().stream(&Stream { rig: "Alpha".to_owned(), epoch: 1 }).unwrap().aside, 20);
    }

    #[test]
    fn another_version_is_said_with_both_numbers() {
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Al\x1b[2Jpha"));
        rig.version = 9;
        rig.record(10);
        bench.run(&mut rig, 2_000);
        let [said] = &bench.notices()[..] else { panic!("{:?}", bench.notices()) };
        assert!(said.starts_with("rig Al\u{FFFD}[2Jpha speaks version 9, this program version 0: "), "{said}");
        assert_eq!((rig.acknowledged, rig.done.len()), (10, 0));
    }

    #[test]
    fn a_full_memory_is_stored_faster_than_a_cable_brings_it() {
        // 115,200 bits a second, ten bits a byte, seven slots in a frame of 232 bytes: 347 slots a second at most
        const CABLE: f64 = 11_520.0 / 232.0 * 7.0;
        let (mut bench, mut rig) = (Bench::new(), FakeRig::new("Alpha"));
        rig.record(16_256); // what 512 KiB hold
        let begun = std::time::Instant::now();
        while rig.acknowledged < 16_256 {
            bench.run(&mut rig, 1_000);
        }
        let rate = 16_256.0 / begun.elapsed().as_secs_f64();
        println!("{rate:.0} slots a second, each on the disk before it was acknowledged");
        assert!(rate > CABLE, "{rate}");
    }
}
