//! A simulated site: world, rig and wire, and this program's own capture beside them, in virtual time.

use crate::Failure;
use crate::wire::Wire;
use host_tool::capture::{Capture, Event};
use host_tool::facts::Wall;
use host_tool::session::Stream;
use host_tool::store::Store;
use shared_protocol::message::{Calibrate, Command, LoadHole};
use shared_protocol::record::{Calibration, Plan};
use shared_protocol::state::Answer;
use simulator::bench::Bench;
use simulator::cue::Cue;
use simulator::native::NativeMachine;
use simulator::operator::Progress;
use simulator::scenario::Scenario;

/// One turn of rig and host, virtual ms.
const TURN_MS: u8 = 10;
/// How long a rig that was switched on is left alone, virtual ms: it says hello and is told the time of day.
const SETTLE_MS: u64 = 2_000;
/// No rig takes longer to say hello, virtual ms.
const HELLO_MS: u64 = 60_000;

/// The site.
pub struct Site<'a> {
    /// World and rig.
    pub bench: Bench<NativeMachine>,
    wire: &'a mut dyn Wire,
    capture: Capture,
    now: u64,
    /// What the clock on the wall said at a moment of the site's own count.
    clock: (u64, Wall),
    to_rig: Vec<u8>,
    /// What the rig is still to be calibrated with, the first of them last; the number of the command under way.
    calibrations: Vec<Calibration>,
    calibrating: Option<u32>,
    /// The cue being done, with the number of its command.
    cue: Option<(Cue, u32)>,
    /// Loaded in place of what the operator's scenario plans.
    plan: Option<Plan>,
    /// The first slot of the set-up loaded last, and when that was.
    pub loaded: Option<(u32, Wall)>,
    /// When the hole closed last was closed.
    pub closed: Option<Wall>,
    /// Nobody closes the hole in hand; then whether it is ready to be closed.
    leave_open: bool,
    /// The hole in hand is drilled, and left open.
    pub left_open: bool,
}

impl<'a> Site<'a> {
    /// A site with a rig that is calibrated before its first hole, on a day that begins now.
    pub fn new(
        bench: Bench<NativeMachine>,
        store: Store,
        wire: &'a mut dyn Wire,
        mut calibrations: Vec<Calibration>,
        morning: Wall,
    ) -> Result<Self, Failure> {
        calibrations.reverse();
        Ok(Self {
            bench,
            wire,
            capture: Capture::new(store)?,
            now: 0,
            clock: (0, morning),
            to_rig: Vec::new(),
            calibrations,
            calibrating: None,
            cue: None,
            plan: None,
            loaded: None,
            closed: None,
            leave_open: false,
            left_open: false,
        })
    }

    /// Virtual milliseconds since the beginning.
    pub fn now(&self) -> u64 {
        self.now
    }

    /// The time of day.
    pub fn wall(&self) -> Wall {
        let (at, wall) = self.clock;
        let passed = i64::try_from(self.now.saturating_sub(at)).unwrap_or(i64::MAX);
        Wall { unix_ms: wall.unix_ms.saturating_add(passed), ..wall }
    }

    /// The rig.
    pub fn stream(&self) -> Option<&Stream> {
        self.capture.rig()
    }

    /// Whether the operator has finished.
    pub fn finished(&self) -> Result<bool, Failure> {
        match self.bench.progress() {
            Some(Progress::GaveUp(cue)) => Err(Failure::Failed(format!("the simulated rig did not do this: {cue}"))),
            progress => Ok(progress == Some(Progress::Finished)),
        }
    }

    /// Whether all that the rig had at a moment since then is stored.
    pub fn drained(&self, since: u64) -> bool {
        self.capture.drained(since)
    }

    /// Gives the store back.
    pub fn into_store(self) -> Store {
        self.capture.into_store()
    }

    /// The rig and its operator go on to another scenario's hole, which is loaded by this plan.
    pub fn move_on(&mut self, scenario: &Scenario, plan: Plan, leave_open: bool) -> Result<(), Failure> {
        self.bench.move_on(scenario)?;
        (self.plan, self.loaded, self.closed) = (Some(plan), None, None);
        (self.leave_open, self.left_open) = (leave_open, false);
        Ok(())
    }

    /// The rig is switched off, and on again at another time of day, elsewhere perhaps.
    pub fn switch_on_at(&mut self, wall: Wall) -> Result<(), Failure> {
        self.bench.cut_power()?;
        self.clock = (self.now, wall);
        self.bench.restore_power()?;
        let since = self.now;
        while !self.turn()?.iter().any(|event| matches!(event, Event::Rig(_))) {
            if self.now > since + HELLO_MS {
                return Err(Failure::Failed("the simulated rig was switched on and says nothing".to_owned()));
            }
        }
        let since = self.now;
        while self.now < since + SETTLE_MS {
            self.turn()?;
        }
        Ok(())
    }

    /// One turn: what came, but for the outcomes of what the site itself asked.
    pub fn turn(&mut self) -> Result<Vec<Event>, Failure> {
        let to_rig = self.wire.to_rig(std::mem::take(&mut self.to_rig))?;
        let bytes = self.bench.advance(TURN_MS, &to_rig)?;
        let bytes = self.wire.to_host(bytes)?;
        self.now += u64::from(TURN_MS);
        let step = self.capture.step(self.now, self.wall(), &bytes)?;
        self.to_rig = step.send;
        let mut others = Vec::new();
        for event in step.events {
            match event {
                Event::Outcome(request, outcome) => self.answered(request, &outcome)?,
                other => others.push(other),
            }
        }
        self.calibrate()?;
        if self.calibrations.is_empty()
            && self.calibrating.is_none()
            && let Some(cue) = self.bench.take_cue()
        {
            self.ask(cue)?;
        }
        Ok(others)
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
        if cue == Cue::CloseHole && self.leave_open {
            self.left_open = true;
            return Ok(());
        }
        let command = match (&cue, &self.plan) {
            (Cue::LoadHole(_), Some(plan)) => Command::LoadHole(LoadHole { plan: plan.clone() }),
            _ => cue.command(),
        };
        let request = self.capture.command(self.now, command)?;
        self.cue = Some((cue, request));
        Ok(())
    }

    fn answered(&mut self, request: u32, outcome: &host_tool::session::Outcome) -> Result<(), Failure> {
        if self.calibrating == Some(request) {
            self.calibrating = None;
            let refused = || Failure::Failed(format!("the simulated rig was not calibrated: {outcome}"));
            return outcome.is_done().then_some(()).ok_or_else(refused);
        }
        let Some((cue, _)) = self.cue.take_if(|(_, asked)| *asked == request) else { return Ok(()) };
        if !outcome.is_done() {
            // it may be otherwise in a moment
            let passing = outcome.answer().is_none_or(|a| matches!(a, Answer::NoDepth | Answer::NotAtRest | Answer::NotReady));
            return if passing { self.ask(cue) } else { Err(Failure::Failed(format!("{cue}: {outcome}"))) };
        }
        match cue {
            Cue::LoadHole(plan) => {
                if let host_tool::session::Outcome::Answered { sequence, .. } = outcome {
                    self.loaded = Some((*sequence, self.wall()));
                }
                // Told which tool is on, the rig records what that tool cuts.
                self.ask(Cue::ChangeTool(plan.tool))
            }
            cue => {
                if cue == Cue::CloseHole {
                    self.closed = Some(self.wall());
                }
                self.bench.cue_done();
                Ok(())
            }
        }
    }
}
