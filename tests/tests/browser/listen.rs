//! `borewitness listen` as a person starts it, on a rig's port, with its page.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// Nothing that is waited for takes longer.
pub const TOO_LONG: Duration = Duration::from_secs(60);

fn program() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        let mut build = Command::new(env!("CARGO"));
        build.args(["build", "--quiet", "--workspace", "--bin", "borewitness"]).current_dir(tests::root());
        let release = std::env::var_os("BOREWITNESS_RELEASE").is_some(); // for what is measured
        if release {
            build.arg("--release");
        }
        assert!(build.status().expect("cargo").success(), "what cargo says above is why");
        let target = std::env::current_exe().expect("a path").ancestors().nth(3).expect("three folders up").to_owned();
        target.join(if release { "release/borewitness" } else { "debug/borewitness" })
    })
}

/// The program, ended when this is dropped.
#[derive(Debug)]
pub struct Listen {
    child: Child,
    lines: Receiver<String>,
    /// Where its page is.
    pub page: SocketAddr,
}

impl Listen {
    /// Starts it and waits for its page.
    pub fn start(port: &Path, store: &Path, more: &[&str]) -> Self {
        let mut command = Command::new(program());
        command.args(["listen", "--wait", "--port"]).arg(port).arg("--store").arg(store).args(more);
        if !more.contains(&"--page-port") {
            command.args(["--page-port", "0"]);
        }
        Self::run(command)
    }

    /// Starts the pages over a store without a rig.
    pub fn office(store: &Path) -> Self {
        let mut command = Command::new(program());
        command.args(["office", "--page-port", "0", "--for", "240", "--store"]).arg(store);
        Self::run(command)
    }

    fn run(mut command: Command) -> Self {
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn().expect("it starts");
        let out = child.stdout.take().expect("piped");
        let (tell, lines) = channel();
        std::thread::spawn(move || BufReader::new(out).lines().map_while(Result::ok).for_each(|line| drop(tell.send(line))));
        let mut listen = Self { child, lines, page: SocketAddr::from(([127, 0, 0, 1], 0)) };
        let said = listen.says("the page is at http://");
        let at = said.split("http://").nth(1).and_then(|rest| rest.split('/').next()).expect("an address");
        let there: SocketAddr = at.parse().expect("an address");
        listen.page.set_port(there.port()); // shared or not, the cab's own tablet is this computer
        listen
    }

    /// The next line with this in it.
    pub fn says(&self, what: &str) -> String {
        let until = Instant::now() + TOO_LONG;
        let mut before = Vec::new();
        while let Ok(line) = self.lines.recv_timeout(until.saturating_duration_since(Instant::now())) {
            if line.contains(what) {
                return line;
            }
            before.push(line);
        }
        panic!("it never said \"{what}\", but {before:#?}");
    }

    /// Its number with the system.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

impl Drop for Listen {
    fn drop(&mut self) {
        self.kill();
    }
}

/// What came back.
#[derive(Debug)]
pub struct Answer {
    /// HTTP's number for it.
    pub status: u16,
    /// Everything before the body.
    pub head: String,
    /// The body.
    pub body: String,
}

/// Asks for something as a program would that sends exactly this.
pub fn ask(page: SocketAddr, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
    let mut stream = TcpStream::connect(page).expect("it listens");
    stream.set_read_timeout(Some(TOO_LONG)).expect("settable");
    let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
    if !headers.iter().any(|(name, _)| *name == "Host") {
        text += &format!("Host: {page}\r\n");
    }
    headers.iter().for_each(|(name, value)| text += &format!("{name}: {value}\r\n"));
    drop(stream.write_all(format!("{text}\r\n{body}").as_bytes())); // one that refuses a long body may not read all of it
    let mut all = Vec::new();
    drop(stream.read_to_end(&mut all));
    let all = String::from_utf8_lossy(&all).into_owned();
    let (head, body) = all.split_once("\r\n\r\n").unwrap_or((&all, ""));
    let status = head.split(' ').nth(1).and_then(|text| text.parse().ok()).unwrap_or(0);
    Answer { status, head: head.to_owned(), body: body.to_owned() }
}

/// What the page shows, as it comes.
#[derive(Debug)]
pub struct Live(BufReader<TcpStream>);

impl Live {
    /// Begins to look.
    pub fn look(page: SocketAddr) -> Self {
        let mut stream = TcpStream::connect(page).expect("it listens");
        stream.set_read_timeout(Some(TOO_LONG)).expect("settable");
        write!(stream, "GET /live HTTP/1.1\r\nHost: {page}\r\n\r\n").expect("sent");
        Self(BufReader::new(stream))
    }

    /// The next sight.
    pub fn next(&mut self) -> serde_json::Value {
        loop {
            let mut line = String::new();
            assert!(self.0.read_line(&mut line).expect("it goes on") > 0, "the stream has ended");
            if let Some(json) = line.strip_prefix("data: ") {
                return serde_json::from_str(json).expect("JSON");
            }
        }
    }

    /// The next sight of which this holds.
    pub fn until(&mut self, what: &str, holds: impl Fn(&serde_json::Value) -> bool) -> serde_json::Value {
        let until = Instant::now() + TOO_LONG;
        let mut last = serde_json::Value::Null;
        while Instant::now() < until {
            last = self.next();
            if holds(&last) {
                return last;
            }
        }
        panic!("never {what}; last {last:#}");
    }
}
