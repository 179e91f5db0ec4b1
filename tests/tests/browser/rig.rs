//! A simulated rig on a pseudo-terminal that drills by itself in real time, or faster, and does what the test's hands do.

use simulator::bench::Bench;
use simulator::cue::Cue;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::pty::Pty;
use simulator::scenario::Scenario;
use simulator::sensors::FaultKind;
use simulator::sensors::SensorName;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::{Duration, Instant};

/// One turn of the rig, ms.
const TURN_MS: u8 = 5;
/// No test takes longer.
const TOO_LONG: Duration = Duration::from_secs(300);

/// What hands do to it.
#[derive(Debug)]
pub enum Hand {
    /// What the cue asked for was done.
    Done,
    /// The cable is out for so many of the rig's seconds.
    Unplug(f64),
    /// A sensor fails for so many seconds.
    Fail(SensorName, FaultKind, f64),
    /// So many times as fast as life from now on.
    Pace(u32),
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
    /// Starts one with this scenario, so many times as fast as life.
    pub fn start(folder: &Path, scenario: &str, pace: u32) -> Self {
        let scenario = Scenario::parse("a test's", scenario).expect("sound");
        let bench = Bench::new(&scenario, scenario.seed, NativeMachine::start(RamMemory::default()).expect("starts")).expect("fits");
        let port = folder.join("rig");
        let pty = Pty::open(&port).expect("a pseudo-terminal");
        let ((tell, cues), (hands, orders)) = (channel(), channel());
        let thread = Some(spawn(move || work(bench, pty, pace, &tell, &orders)));
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

fn work(mut bench: Bench<NativeMachine>, mut pty: Pty, mut pace: u32, tell: &Sender<Cue>, orders: &Receiver<Hand>) {
    let begun = Instant::now();
    let mut next = Instant::now();
    while begun.elapsed() < TOO_LONG {
        match orders.try_recv() {
            Ok(Hand::Done) => bench.cue_done(),
            Ok(Hand::Unplug(for_s)) => bench.unplug(for_s),
            Ok(Hand::Fail(sensor, kind, for_s)) => bench.fault(sensor, kind, for_s),
            Ok(Hand::Pace(times)) => (pace, next) = (times.max(1), Instant::now()),
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => return,
        }
        next += Duration::from_millis(TURN_MS.into()) / pace;
        sleep(next.saturating_duration_since(Instant::now()));
        let heard = pty.read();
        let sent = bench.advance(TURN_MS, &heard).expect("it runs");
        pty.write(&sent);
        if let Some(cue) = bench.take_cue() {
            drop(tell.send(cue));
        }
    }
}
