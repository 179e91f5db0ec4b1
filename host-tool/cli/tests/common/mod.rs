//! The program run as people run it, and a simulated rig in real time on a pseudo-terminal.
#![allow(dead_code)] // each test file uses its own part

use host_tool::session::Stream;
use host_tool::store::Store;
use serialport::{SerialPort, TTYPort};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap};
use shared_protocol::message::{Command as Order, Message, TakeNote};
use shared_protocol::slot::Slot;
use simulator::bench::Bench;
use simulator::machine::Machine;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::{STILL_HOLE, Scenario};
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
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
    /// Everything below this was acknowledged by a host.
    pub acknowledged: Arc<AtomicU32>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<Vec<u8>>>,
}

impl LiveRig {
    pub fn start(change: Change) -> Self {
        Self::with_notes(change, 0)
    }

    /// One that has so many notes in its memory that nobody has fetched, four slots each.
    pub fn with_notes(change: Change, notes: u32) -> Self {
        let mut scenario = Scenario::parse("still-hole", STILL_HOLE).unwrap();
        if notes > 0 {
            scenario.cable.baud = 2_000_000; // all that waits goes onto the simulated wire at once, and a hello after it
        }
        let mut bench = Bench::by_hand(&scenario, 1, NativeMachine::start(RamMemory::default()).unwrap()).unwrap();
        (0..400).for_each(|_| drop(bench.advance(TURN_MS, &[]).unwrap())); // it has been on for two seconds, nobody listening
        for number in 0..notes {
            let text = format!("note {number} of many that wait here for somebody who listens");
            let note = TakeNote { author: "Tester".try_into().unwrap(), text: text.as_str().try_into().unwrap() };
            let asked = wrap(&Message::Command { request: number + 1, command: Order::TakeNote(note) }).unwrap();
            bench.advance(TURN_MS, &asked).unwrap();
            (0..3).for_each(|_| drop(bench.advance(TURN_MS, &[]).unwrap()));
        }
        let (near, port) = pseudo_terminal();
        let (silent, stop) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
        let acknowledged = Arc::new(AtomicU32::new(0));
        let signals = (Arc::clone(&silent), Arc::clone(&stop), Arc::clone(&acknowledged));
        let thread = Some(std::thread::spawn(move || work(bench, near, change, &signals)));
        Self { port, silent, acknowledged, stop, thread }
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

type Signals = (Arc<AtomicBool>, Arc<AtomicBool>, Arc<AtomicU32>);

fn work(mut bench: Bench<NativeMachine>, mut near: TTYPort, change: Change, (silent, stop, acknowledged): &Signals) -> Vec<u8> {
    let (begun, mut at) = (Instant::now(), Duration::ZERO);
    let mut buffer = [0; 1_024];
    let mut ear = Accumulator::new();
    while !stop.load(Ordering::Relaxed) && begun.elapsed() < Duration::from_secs(600) {
        // However long this thread was kept waiting, the rig takes turns as short as a board's: in a long one the sensors'
        // replies would come too late for it.
        at += Duration::from_millis(TURN_MS.into());
        std::thread::sleep(at.saturating_sub(begun.elapsed()));
        let count = near.read(&mut buffer).unwrap_or(0); // nothing within two milliseconds is as good as nothing
        for byte in &buffer[..count] {
            let mut message = [0; ENCODED_BYTES_MAX];
            if let Some(Ok(message)) = ear.push(*byte, &mut message)
                && let Ok(Message::Acknowledge(said)) = Message::decode(message)
            {
                acknowledged.fetch_max(said.below, Ordering::Relaxed);
            }
        }
        let sent = bench.advance(TURN_MS, &buffer[..count]).unwrap();
        if !silent.load(Ordering::Relaxed) {
            drop(near.write_all(&change(&sent)));
        }
    }
    bench.machine().memory().unwrap()
}

/// The whole slots of the ring in a rig's memory, which begins after 4,096 bytes of marks.
pub fn slots_in(memory: &[u8]) -> Vec<Slot> {
    memory[4_096..].chunks_exact(32).filter_map(|bytes| Slot::check(bytes.try_into().unwrap()).ok()).collect()
}

/// What a store holds of the simulated rig.
pub fn stored(store: &str) -> Vec<Slot> {
    let store = Store::open_existing(Path::new(store)).unwrap();
    store.stream(&Stream { rig: "SIM-BENCH-1".to_owned(), epoch: 1 }).unwrap().slots
}

/// A store's path in a folder.
pub fn store_in(folder: &Path) -> String {
    folder.join("store.sqlite").to_str().unwrap().to_owned()
}
