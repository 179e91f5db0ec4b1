//! `borewitness calibrate` as a person runs it: at a terminal, on the port of a simulated rig that somebody poses by hand.
#![cfg(unix)]

use simulator::pty::Pty;
use simulator::scenario::STILL_HOLE;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Output, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// Nothing that is waited for here takes longer.
const TOO_LONG: Duration = Duration::from_secs(90);
/// A sensor with a zero, and a string with play in its guide.
const ERRORS: &str = "\n[errors.tilt]\nzero_mg = [1.2, -0.7]\n\n[errors.tool]\nplay_mm_m = 3\n";

/// A program of the workspace, as it stands now.
fn program(name: &str) -> PathBuf {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    let folder = BUILT.get_or_init(|| {
        let mut build = Command::new(env!("CARGO"));
        build.args(["build", "--quiet", "--workspace", "--bin", "borewitness", "--bin", "bench"]).current_dir(tests::root());
        if !cfg!(debug_assertions) {
            build.arg("--release");
        }
        assert!(build.status().expect("cargo").success(), "what cargo says above is why");
        // beside this test's own folder
        std::env::current_exe().expect("a path").parent().and_then(Path::parent).expect("two folders up").to_owned()
    });
    folder.join(name)
}

/// A program that is ended when the test is over, however it ends.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

/// The bench, posed by orders.
struct Rig {
    orders: ChildStdin,
    said: Receiver<String>,
    port: String,
    _bench: Running,
}

impl Rig {
    fn start(folder: &Path) -> Self {
        let (scenario, link) = (folder.join("rig.toml"), folder.join("rig"));
        std::fs::write(&scenario, STILL_HOLE.to_owned() + ERRORS).expect("written");
        let mut bench = Command::new(program("bench"));
        bench.arg(&scenario).args(["--by-hand", "--every", "100000", "--link"]).arg(&link);
        let mut child = bench.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("starts");
        let (orders, out) = (child.stdin.take().expect("piped"), child.stdout.take().expect("piped"));
        let (tell, said) = channel();
        std::thread::spawn(move || BufReader::new(out).lines().map_while(Result::ok).all(|line| tell.send(line).is_ok()));
        let rig = Self { orders, said, port: link.to_str().expect("UTF-8").to_owned(), _bench: Running(child) };
        rig.says("SIMULATED: ");
        rig
    }

    fn says(&self, words: &str) -> String {
        loop {
            let line = self.said.recv_timeout(TOO_LONG).expect("the bench says something");
            if line.contains(words) {
                return line;
            }
        }
    }

    /// Poses it, and waits until that is done; what level or tape says.
    fn pose(&mut self, pose: &str) -> String {
        writeln!(self.orders, "pose {pose}").expect("it reads");
        self.says("bench: ")
    }

    /// What the level says forward, posed so.
    fn level(&mut self, pose: &str) -> String {
        let said = self.pose(pose);
        let forward = said.split_once("forward ").and_then(|(_, rest)| rest.split(' ').next()).expect("a level").to_owned();
        format!("{forward} mm/m")
    }
}

/// The program, at a terminal.
struct Typist {
    terminal: Pty,
    shown: String,
    /// How much of that has been read.
    read: usize,
    program: Running,
}

impl Typist {
    fn begin(rig: &Rig, folder: &Path, what: &[&str]) -> Self {
        let link = folder.join("terminal");
        let terminal = Pty::open(&link).expect("a terminal");
        let far = || Stdio::from(std::fs::OpenOptions::new().read(true).write(true).open(&link).expect("its far end"));
        let mut command = Command::new(program("borewitness"));
        command.arg("calibrate").args(what).args(["--who", "Tester", "--months", "12", "--port", &rig.port, "--store"]);
        let child = command.arg(folder.join("store.sqlite")).stdin(far()).stdout(far()).stderr(far()).spawn().expect("starts");
        Self { terminal, shown: String::new(), read: 0, program: Running(child) }
    }

    fn look(&mut self) {
        self.shown += &String::from_utf8_lossy(&self.terminal.read());
    }

    /// Waits until these words stand on the terminal, after those waited for before.
    fn until(&mut self, words: &str) {
        let begun = Instant::now();
        loop {
            self.look();
            if let Some(at) = self.shown[self.read..].find(words) {
                self.read += at + words.len();
                return;
            }
            let ended = self.program.0.try_wait().expect("it is ours").is_some();
            assert!(!ended && begun.elapsed() < TOO_LONG, "{words:?} does not come: {}", self.shown);
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Waits for a question with these words and its prompt, and answers.
    fn answer(&mut self, question: &str, line: &str) {
        self.until(question);
        self.until("\n> ");
        let typed = format!("{line}\n");
        assert_eq!(self.terminal.write(typed.as_bytes()), typed.len());
    }

    /// Its exit code, once it has ended, and all that was shown.
    fn end(mut self) -> (Option<i32>, String) {
        let begun = Instant::now();
        loop {
            let ended = self.program.0.try_wait().expect("it is ours");
            self.look();
            if let Some(status) = ended {
                return (status.code(), self.shown.clone());
            }
            assert!(begun.elapsed() < TOO_LONG, "it does not end: {}", self.shown);
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

fn listed(folder: &Path) -> String {
    let Output { stdout, .. } = Command::new(program("borewitness"))
        .args(["calibrate", "list", "--store"])
        .arg(folder.join("store.sqlite"))
        .output()
        .expect("runs");
    String::from_utf8(stdout).expect("UTF-8")
}

/// The rig's own zero is (1.2, −0.7) mg. A foot on dirt and a hand that turns not quite by half add 0.3 mg at most.
#[test]
fn a_zero_is_found_in_two_positions_and_recorded() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(folder.path());
    let mut typist = Typist::begin(&rig, folder.path(), &["zero", "--two"]);
    typist.until("rig SIM-BENCH-1, SIMULATED is here");
    rig.pose("plate 0");
    typist.answer("Set it against a straightedge on the plate. Hands off, then Enter.", "");
    typist.until("resting, 1 of 5 s");
    typist.until("Turn it half a turn clockwise, seen from above, against the same straightedge.");
    rig.pose("plate 2");
    typist.answer("then Enter.", "");
    typist.answer("Shall the rig have it? yes or no", "perhaps");
    typist.answer("yes or no?", "yes");
    typist.until("done, and recorded: tilt zero ");
    let (code, shown) = typist.end();
    assert_eq!(code, Some(0), "{shown}");
    assert!(shown.contains("\"perhaps\" is neither yes nor no"), "{shown}");
    let found = shown.split_once("zero: forward ").and_then(|(_, rest)| rest.split_once(" mg, right ")).expect("a zero");
    let right = found.1.split(' ').next().expect("a figure");
    let (forward, right): (f64, f64) = (found.0.parse().expect("forward"), right.parse().expect("right"));
    assert!((forward - 1.2).abs() < 0.3 && (right + 0.7).abs() < 0.3, "{shown}");
    let listed = listed(folder.path());
    assert!(listed.contains("  tilt zero   holds until ") && listed.contains(" by Tester; "), "{listed}");
}

/// Whoever pushes the string takes the mast along, by 4 mm/m.
#[test]
fn a_mast_that_moved_between_two_readings_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(folder.path());
    let mut typist = Typist::begin(&rig, folder.path(), &["play"]);
    typist.answer("What may the level be wrong by", "0.5 mm/m");
    typist.until("Push the string forward and hold it there (first round)");
    let level = rig.level("push forward");
    typist.answer("then Enter.", "");
    typist.answer("The string's lean forward, by the level?", &level);
    typist.until("Push the string back, towards the cab");
    writeln!(rig.orders, "lean 16 -5\nwait 3").expect("it reads");
    rig.level("push back");
    typist.answer("then Enter.", "");
    let (code, shown) = typist.end();
    assert_eq!(code, Some(1), "{shown}");
    let last = shown.lines().last().expect("something");
    assert!(last.contains("borewitness: the mast moved by +4.") || last.contains("borewitness: the mast moved by +3."), "{shown}");
    assert!(last.ends_with("push the string, not the mast, and begin again"), "{shown}");
    assert!(listed(folder.path()).contains("never calibrated") && !listed(folder.path()).contains("guide play  holds"), "{shown}");
}
