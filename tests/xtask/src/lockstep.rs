//! The bench's end of lock-step: tells the board how much time has passed, and takes what it sends meanwhile.
//!
//! Each command is one byte: 0 asks for the bytes received, 1 to 250 are milliseconds that have passed, 0xFE asks
//! for figures. Each answer has its fixed length.

use crate::Outcome;
use crate::emulator::Run;
use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::process::Child;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

const ASK_RECEIVED: u8 = 0x00;
const ASK_FIGURES: u8 = 0xFE;
const PATIENCE: Duration = Duration::from_secs(20);

/// What the image says of itself.
#[derive(Clone, Copy, Debug, Default)]
pub struct Figures {
    /// The most stack that was used, bytes.
    pub stack: u32,
    /// The longest ordinary turn, timer ticks.
    pub worst: u32,
    /// The longest declared long turn, timer ticks; 0 where there was none.
    pub long: u32,
    /// Turns run.
    pub turns: u32,
    /// The mean turn, sixteenths of a tick.
    pub mean_x16: u32,
}

/// One of the board's ports. A thread reads it, since a port that nobody reads makes the board wait.
#[derive(Debug)]
struct Port {
    stream: UnixStream,
    arriving: Receiver<Vec<u8>>,
    held: Vec<u8>,
}

impl Port {
    fn connect(path: &std::path::Path, emulator: &mut Child) -> Option<Self> {
        let begun = Instant::now();
        let stream = loop {
            match UnixStream::connect(path) {
                Ok(stream) => break stream,
                Err(_) if begun.elapsed() < PATIENCE && matches!(emulator.try_wait(), Ok(None)) => thread::sleep(Duration::from_millis(5)),
                Err(_) => return None,
            }
        };
        let mut reader = stream.try_clone().ok()?;
        let (sender, arriving) = channel();
        thread::spawn(move || {
            let mut bytes = [0; 4_096];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                if sender.send(bytes[..count].to_vec()).is_err() {
                    break;
                }
            }
        });
        Some(Self { stream, arriving, held: Vec::new() })
    }

    fn send(&mut self, bytes: &[u8]) -> Outcome {
        self.stream.write_all(bytes).map_err(|error| format!("the emulated board is gone: {error}"))
    }

    fn take(&mut self, count: usize) -> Outcome<Vec<u8>> {
        while self.held.len() < count {
            let more = self.arriving.recv_timeout(PATIENCE);
            self.held.extend(more.map_err(|_| "the emulated board does not answer".to_string())?);
        }
        Ok(self.held.drain(..count).collect())
    }
}

/// A board in lock-step. Dropping it kills the emulator.
#[derive(Debug)]
pub struct Board {
    emulator: Child,
    host: Port,
    sensors: Port,
    time: Port,
    received: [u16; 2],
    sent: [u16; 2],
}

impl Board {
    /// Starts it.
    pub fn start(run: &Run<'_>) -> Outcome<Self> {
        let mut emulator = run.start()?;
        let mut log = emulator.stdout.take().ok_or("the emulator's log is not connected")?;
        thread::spawn(move || std::io::copy(&mut log, &mut std::io::sink()));
        let ports = ["host", "sensors", "time"].map(|port| Port::connect(&run.socket(port), &mut emulator));
        let [Some(host), Some(sensors), Some(time)] = ports else {
            let _ = (emulator.kill(), emulator.wait());
            return Err(format!("the emulator did not start the board: {}", run.last_words()));
        };
        Ok(Self { emulator, host, sensors, time, received: [0; 2], sent: [0; 2] })
    }

    /// Lets so many milliseconds pass with these bytes arriving first, and returns what the board sends to the
    /// host and to the sensors.
    pub fn turn(&mut self, ms: u8, from_host: &[u8], from_sensors: &[u8]) -> Outcome<(Vec<u8>, Vec<u8>)> {
        self.deliver(from_host, from_sensors)?;
        let counts = self.ask(ms)?;
        let [to_host, to_sensors] = [0, 1].map(|port: usize| usize::from(counts[port].wrapping_sub(self.sent[port])));
        self.sent = counts;
        Ok((self.host.take(to_host)?, self.sensors.take(to_sensors)?))
    }

    /// The image's own figures of its run so far.
    pub fn figures(&mut self) -> Outcome<Figures> {
        self.time.send(&[ASK_FIGURES])?;
        let bytes = self.time.take(20)?;
        let mut words = bytes.chunks_exact(4).map(|word| u32::from_le_bytes([word[0], word[1], word[2], word[3]]));
        let mut word = || words.next().unwrap_or_default();
        Ok(Figures { stack: word(), worst: word(), turns: word(), mean_x16: word(), long: word() })
    }

    fn deliver(&mut self, from_host: &[u8], from_sensors: &[u8]) -> Outcome {
        self.host.send(from_host)?;
        self.sensors.send(from_sensors)?;
        for (received, bytes) in self.received.iter_mut().zip([from_host, from_sensors]) {
            let [low, high, ..] = bytes.len().to_le_bytes();
            *received = received.wrapping_add(u16::from_le_bytes([low, high]));
        }
        let begun = Instant::now();
        while self.ask(ASK_RECEIVED)? != self.received {
            if begun.elapsed() > PATIENCE {
                return Err("the emulated board does not take its bytes".into());
            }
        }
        Ok(())
    }

    fn ask(&mut self, command: u8) -> Outcome<[u16; 2]> {
        self.time.send(&[command])?;
        let answer = self.time.take(4)?;
        Ok([u16::from_le_bytes([answer[0], answer[1]]), u16::from_le_bytes([answer[2], answer[3]])])
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        let _ = (self.emulator.kill(), self.emulator.wait());
    }
}
