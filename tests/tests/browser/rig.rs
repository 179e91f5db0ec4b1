//! A simulated rig on a pseudo-terminal that drills by itself in real time, or faster, and does what the test's hands do.

use simulator::bench::Bench;
use simulator::cue::Cue;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::operator::Progress;
use simulator::pty::Pty;
use simulator::scenario::Scenario;
use simulator::sensors::FaultKind;
use simulator::sensors::SensorName;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::{Duration, Instant};

/// One turn of the rig, ms.
pub const TURN_MS: u8 = 5;
/// No test takes longer, the shift of eight hours at twenty times its pace among them.
const TOO_LONG: Duration = Duration::from_secs(3_600);

/// Looks on: called after every turn with the rig's own milliseconds since it was started, and what it put on the line.
pub type Watch = Box<dyn FnMut(u32, &[u8]) + Send>;

/// What hands do to it.
#[derive(Debug)]
pub enum Hand {
    /// What the cue asked for was done.
    Done,
    /// The cable is out for so many of the rig's seconds.
    Unplug(f64),
    /// The cable is out while its tilt sensor comes and goes so often, once a second, in no time; then it is in again, at life's pace.
    Flicker(u32),
    /// A sensor fails for so many seconds.
    Fail(SensorName, FaultKind, f64),
    /// So many times as fast as life from now on.
    Pace(u32),
    /// These holes next.
    MoveOn(Box<Scenario>),
}

/// The rig. It stops when this is dropped.
#[derive(Debug)]
pub struct Rig {
    /// Its port.
    pub port: PathBuf,
    /// What its operator wants done.
    cues: Receiver<Cue>,
    hands: Sender<Hand>,
    thread: Option<JoinHandle<()>>,
}

impl Rig {
    /// Starts one with this scenario, so many times as fast as life, on a line of 115,200 baud.
    pub fn start(folder: &Path, scenario: &str, pace: u32, turn_ms: u8, watch: Watch) -> Self {
        let scenario = Scenario::parse("a test's", scenario).expect("sound");
        let machine = NativeMachine::behind_a_line(RamMemory::default()).expect("starts");
        let bench = Bench::new(&scenario, scenario.seed, machine).expect("fits");
        let port = folder.join("rig");
        let pty = Pty::open(&port).expect("a pseudo-terminal");
        let ((tell, cues), (hands, orders)) = (channel(), channel());
        let mut turns = Turns { bench, pty, pace, turn_ms, flickers: 0, watch, next: None };
        let thread = Some(spawn(move || turns.go_on(&tell, &orders)));
        Self { port, cues, hands, thread }
    }

    /// The next thing that its operator wants done.
    pub fn cue(&self) -> Cue {
        self.cues.recv_timeout(TOO_LONG).expect("the operator wants something")
    }

    /// Does something to it.
    pub fn hand(&self, hand: Hand) {
        self.hands.send(hand).expect("the rig is there");
    }
}

impl Drop for Rig {
    fn drop(&mut self) {
        let (nobody, _) = channel();
        self.hands = nobody; // the thread sees that nobody is left
        if let Some(thread) = self.thread.take() {
            drop(thread.join());
        }
    }
}

/// The rig's turns in real time, or faster.
struct Turns {
    bench: Bench<NativeMachine>,
    pty: Pty,
    pace: u32,
    turn_ms: u8,
    /// So often the tilt sensor is still to come and go.
    flickers: u32,
    watch: Watch,
    /// What the operator goes on to when he has finished where he is.
    next: Option<Box<Scenario>>,
}

impl Turns {
    fn go_on(&mut self, tell: &Sender<Cue>, orders: &Receiver<Hand>) {
        let (begun, mut next, mut ran_ms) = (Instant::now(), Instant::now(), 0_u32);
        while begun.elapsed() < TOO_LONG {
            match orders.try_recv() {
                Ok(Hand::Done) => self.bench.cue_done(),
                Ok(Hand::Unplug(for_s)) => self.bench.unplug(for_s),
                Ok(Hand::Flicker(times)) => {
                    self.bench.unplug(f64::from(times) * 2.0);
                    (self.flickers, self.pace) = (times, u32::MAX);
                }
                Ok(Hand::Fail(sensor, kind, for_s)) => self.bench.fault(sensor, kind, for_s),
                Ok(Hand::Pace(times)) => (self.pace, next) = (times.max(1), Instant::now()),
                Ok(Hand::MoveOn(scenario)) => self.next = Some(scenario),
                Err(TryRecvError::Empty) => {}
                Err(TryRecvError::Disconnected) => return,
            }
            if self.flickers > 0 && ran_ms.is_multiple_of(1_000) {
                self.bench.fault(SensorName::Tilt, FaultKind::Silent, 0.4);
                self.flickers -= 1;
                if self.flickers == 0 {
                    self.bench.plug();
                    (self.pace, next) = (1, Instant::now());
                }
            }
            next += Duration::from_millis(self.turn_ms.into()) / self.pace;
            sleep(next.saturating_duration_since(Instant::now()));
            let heard = self.pty.read();
            let sent = self.bench.advance(self.turn_ms, &heard).expect("it runs");
            ran_ms = ran_ms.wrapping_add(self.turn_ms.into());
            (self.watch)(ran_ms, &sent); // before anybody can have read it
            self.pty.write(&sent);
            if let Some(cue) = self.bench.take_cue() {
                drop(tell.send(cue));
            }
            if let Some(scenario) = self.next.take_if(|_| self.bench.progress().is_none_or(|at| !matches!(at, Progress::Working(_)))) {
                self.bench.move_on(&scenario).expect("he has finished");
            }
        }
    }
}
