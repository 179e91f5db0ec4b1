//! The office's program on a store, asked for its pages: how long each takes, and how much memory it has had.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Instant;

/// The program beside this one, ended when this is dropped, and by itself after a quarter of an hour.
#[derive(Debug)]
pub struct Office {
    child: Child,
    address: String,
}

/// What came of a request.
#[derive(Clone, Debug)]
pub struct Answer {
    /// HTTP's three digits.
    pub status: String,
    /// Bytes, head and all.
    pub bytes: usize,
    /// Until the last of them, s.
    pub seconds: f64,
}

impl Office {
    /// Starts it and waits until it listens.
    ///
    /// # Errors
    /// Where it does not.
    pub fn start(store: &Path) -> Result<Self, String> {
        let program = std::env::current_exe().map_err(|e| e.to_string())?.with_file_name("borewitness");
        let mut command = Command::new(program);
        command.args(["office", "--page-port", "0", "--for", "900", "--store"]).arg(store).stdout(Stdio::piped());
        let mut child = command.spawn().map_err(|e| format!("borewitness cannot be started: {e}"))?;
        let out = child.stdout.take().ok_or("no output")?;
        let line = BufReader::new(out).lines().next().and_then(Result::ok).unwrap_or_default();
        let address = line.split("http://").nth(1).and_then(|rest| rest.split('/').next()).map(str::to_owned);
        let mut office = Self { child, address: String::new() };
        office.address = address.ok_or(line)?;
        Ok(office)
    }

    /// Fetches a page.
    ///
    /// # Errors
    /// Where the program is not reached.
    pub fn ask(&self, path: &str) -> Result<Answer, String> {
        let begun = Instant::now();
        let mut stream = TcpStream::connect(&self.address).map_err(|e| e.to_string())?;
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.address).map_err(|e| e.to_string())?;
        let mut all = Vec::new();
        stream.read_to_end(&mut all).map_err(|e| e.to_string())?;
        let status = String::from_utf8_lossy(all.get(9..12).unwrap_or_default()).into_owned();
        Ok(Answer { status, bytes: all.len(), seconds: begun.elapsed().as_secs_f64() })
    }

    /// Its number in `/proc`.
    #[must_use]
    pub fn process(&self) -> String {
        self.child.id().to_string()
    }
}

impl Drop for Office {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// The most memory that a process had so far, KiB, by Linux; 0 elsewhere. `self` is this one.
#[must_use]
pub fn peak_kib(process: &str) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()).and_then(|figure| figure.parse().ok()).unwrap_or(0)
}

/// Time that all of a process was on a processor, in steps of 10 ms, by Linux, s; 0 elsewhere.
#[must_use]
pub fn processor_s(process: &str) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    // its name, in parentheses, may have anything in it
    let behind = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    behind.split_whitespace().skip(11).take(2).filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / 100.0
}
