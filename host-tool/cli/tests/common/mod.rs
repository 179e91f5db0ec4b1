//! The program run as people run it, and a simulated rig in real time on a pseudo-terminal.
#![allow(dead_code)] // each test file uses its own part

use serialport::{SerialPort, TTYPort};
use simulator::bench::Bench;
use simulator::machine::Machine;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::{STILL_HOLE, Scenario};
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// A plan for the simulated rig, as it is typed.
pub const LOAD: &str = "load structure=S-9 leg=left depth='0.6 m' diameter='760 mm' tool=2 depth_under='20 mm' depth_over='40 mm' plumb_limit='15 mm/m' heading=0";

/// The program with these arguments, its input closed.
pub fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_borewitness"));
    command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// Runs it to its end.
pub fn run(arguments: &[&str]) -> Output {
    command(arguments).output().unwrap()
}

/// Asserts that it failed with this code, and said why in one line on standard error with these words in it.
pub fn assert_failed(output: &Output, code: i32, words: &[&str]) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!((output.status.code(), said.lines().count()), (Some(code), 1), "{said}");
    assert!(words.iter().all(|word| said.contains(word)), "{said}");
}

/// A child that is killed when the test is done with it.
pub struct Killed(pub Child);

impl Drop for Killed {
    fn drop(&mut self) {
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

/// A pseudo-terminal: the near end, and the path of the far one.
pub fn pseudo_terminal() -> (TTYPort, String) {
    let (mut near, far) = TTYPort::pair().unwrap();
    near.set_timeout(Duration::from_millis(2)).unwrap();
    (near, far.name().unwrap())
}

/// One turn of the rig.
const TURN_MS: u8 = 5;

/// What happens to the bytes that a rig sends.
pub type Change = fn(&[u8]) -> Vec<u8>;

/// A simulated rig, worked by nobody, in real time on a pseudo-terminal.
pub struct LiveRig {
    pub port: String,
    pub silent: Arc<AtomicBool>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<Vec<u8>>>,
}

impl LiveRig {
    pub fn start(change: Change) -> Self {
        let scenario = Scenario::parse("still-hole", STILL_HOLE).unwrap();
        let bench = Bench::by_hand(&scenario, 1, NativeMachine::start(RamMemory::default()).unwrap()).unwrap();
        let (near, port) = pseudo_terminal();
        let (silent, stop) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
        let signals = (Arc::clone(&silent), Arc::clone(&stop));
        let thread = Some(std::thread::spawn(move || work(bench, near, change, &signals.0, &signals.1)));
        Self { port, silent, stop, thread }
    }

    /// Ends it; returns its memory.
    pub fn stop(mut self) -> Vec<u8> {
        self.stop.store(true, Ordering::Relaxed);
        self.thread.take().unwrap().join().unwrap()
    }
}

impl Drop for LiveRig {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

fn work(mut bench: Bench<NativeMachine>, mut near: TTYPort, change: Change, silent: &AtomicBool, stop: &AtomicBool) -> Vec<u8> {
    (0..400).for_each(|_| drop(bench.advance(TURN_MS, &[]).unwrap())); // it has been on for two seconds, nobody listening
    let (begun, mut at) = (Instant::now(), Duration::ZERO);
    let mut buffer = [0; 1_024];
    while !stop.load(Ordering::Relaxed) && begun.elapsed() < Duration::from_secs(60) {
        // However long this thread was kept waiting, the rig takes turns as short as a board's: in a long one the sensors'
        // replies would come too late for it.
        at += Duration::from_millis(TURN_MS.into());
        std::thread::sleep(at.saturating_sub(begun.elapsed()));
        let count = near.read(&mut buffer).unwrap_or(0); // nothing within two milliseconds is as good as nothing
        let sent = bench.advance(TURN_MS, &buffer[..count]).unwrap();
        if !silent.load(Ordering::Relaxed) {
            drop(near.write_all(&change(&sent)));
        }
    }
    bench.machine().memory().unwrap()
}

/// A store's path in a folder.
pub fn store_in(folder: &Path) -> String {
    folder.join("store.sqlite").to_str().unwrap().to_owned()
}
