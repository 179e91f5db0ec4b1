//! The board in real time, its sensors served by pymodbus, its host link on a real serial port, and the program that
//! people run at the other end.

use crate::image;
use host_tool::facts::{SetUp, read};
use host_tool::store::Store;
use shared_protocol::state::{Sensor, SensorFault};
use simulator::pty::Pty;
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// A child process that is spoken to line by line; neither it nor its own children outlive their owner.
struct Talker {
    child: Child,
    stdin: ChildStdin,
    lines: Receiver<(Instant, String)>,
    heard: Vec<String>,
}

impl Talker {
    fn start(command: &mut Command) -> Self {
        let mut child =
            command.process_group(0).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap_or_else(|e| panic!("{command:?}: {e}"));
        let (sender, lines) = channel();
        let out = BufReader::new(child.stdout.take().expect("piped"));
        std::thread::spawn(move || out.lines().map_while(Result::ok).all(|line| sender.send((Instant::now(), line)).is_ok()));
        Self { stdin: child.stdin.take().expect("piped"), child, lines, heard: Vec::new() }
    }

    fn say(&mut self, line: &str) {
        writeln!(self.stdin, "{line}").and_then(|()| self.stdin.flush()).expect("it listens");
    }

    /// Says a line and waits for the answer. What comes after the line was said counts, however long this thread was kept
    /// from listening.
    fn ask(&mut self, line: &str, within: Duration, is_it: impl FnMut(&str) -> bool) -> String {
        let begun = Instant::now();
        self.say(line);
        self.wait_since(begun, line, within, is_it).1
    }

    /// Waits for a line that comes from now on and says how long it took.
    fn wait_for(&mut self, what: &str, within: Duration, is_it: impl FnMut(&str) -> bool) -> (Duration, String) {
        self.wait_since(Instant::now(), what, within, is_it)
    }

    fn wait_since(&mut self, begun: Instant, what: &str, within: Duration, mut is_it: impl FnMut(&str) -> bool) -> (Duration, String) {
        while let Some(left) = within.checked_sub(begun.elapsed()) {
            let Ok((at, line)) = self.lines.recv_timeout(left) else { break };
            self.heard.push(line.clone());
            if at >= begun && is_it(&line) {
                return (at - begun, line);
            }
        }
        panic!("no {what} within {within:?}; heard last:\n{}", self.heard[self.heard.len().saturating_sub(12)..].join("\n"));
    }
}

impl Drop for Talker {
    fn drop(&mut self) {
        let _ = Command::new("kill").args(["-KILL", "--", &format!("-{}", self.child.id())]).status();
        let _ = self.child.wait();
    }
}

/// Carries bytes between the board's socket and a serial port, until told to stop.
struct Relay(Arc<AtomicBool>, Option<JoinHandle<()>>);

impl Relay {
    fn start(mut board: UnixStream, link: &Path) -> Self {
        let mut pty = Pty::open(link).expect("a pseudo-terminal");
        board.set_read_timeout(Some(Duration::from_millis(2))).expect("a timeout");
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut bytes = [0; 1_024];
            while !stopped.load(Ordering::Relaxed) {
                let count = board.read(&mut bytes).unwrap_or(0);
                pty.write(&bytes[..count]);
                let _ = board.write_all(&pty.read());
            }
        });
        Self(stop, Some(thread))
    }
}

impl Drop for Relay {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
        let _ = self.1.take().map(JoinHandle::join);
    }
}

/// A program of this workspace, built beside the test.
fn program(name: &str) -> PathBuf {
    let beside = std::env::current_exe().expect("known");
    let path = beside.ancestors().nth(2).expect("a target folder").join(name);
    assert!(path.exists(), "{} is not there: cargo build -p {}", path.display(), if name == "xtask" { name } else { "borewitness" });
    path
}

struct Site {
    slave: Talker,
    cab: Talker,
    _relay: Relay,
    _board: Talker,
    folder: TempDir,
}

fn connect(socket: &Path) -> UnixStream {
    let until = Instant::now() + Duration::from_secs(20);
    loop {
        match UnixStream::connect(socket) {
            Ok(stream) => return stream,
            Err(e) => assert!(Instant::now() < until, "{}: {e}", socket.display()),
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn site() -> Site {
    let folder = TempDir::new().expect("a folder");
    let begun = Instant::now();
    let mut slave = Talker::start(Command::new(tests::python::interpreter()).arg(tests::root().join("tests/python/independent_slave.py")));
    let (_, said) = slave.wait_since(begun, "port", Duration::from_secs(20), |line| line.starts_with("port "));
    let sensors = format!("127.0.0.1:{}", &said["port ".len()..]);
    let mut emulate = Command::new(program("xtask"));
    emulate.args(["emulate", "--for", "400", "--sensors", &sensors, "--image"]).arg(image()).arg("--dir").arg(folder.path().join("board"));
    let board = Talker::start(&mut emulate);
    let link = folder.path().join("rig");
    let relay = Relay::start(connect(&folder.path().join("board/host")), &link);
    let mut listen = Command::new(program("borewitness"));
    listen.arg("listen").arg("--port").arg(&link).arg("--store").arg(folder.path().join("store")).arg("--wait");
    let cab = Talker::start(&mut listen);
    Site { slave, cab, _relay: relay, _board: board, folder }
}

impl Site {
    fn order(&mut self, order: &str) {
        let word = order.split(' ').next().expect("a word").to_owned() + ": ";
        let said = self.cab.ask(order, Duration::from_secs(10), |line| line.starts_with(&word));
        assert!(said.contains("done"), "{said}");
    }

    /// Moves the tip and waits until it is there.
    fn go(&mut self, mm: f64, speed: f64) {
        self.slave.say(&format!("tip {mm} {speed}"));
        loop {
            let said = self.slave.ask("where", Duration::from_secs(5), |line| line.starts_with("at "));
            let at: f64 = said.split(' ').nth(1).expect("a figure").parse().expect("a figure");
            if (at - mm).abs() < 0.01 {
                break;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        std::thread::sleep(Duration::from_millis(1_300));
    }

    /// Increments that the rig calls good.
    fn good(&self) -> usize {
        self.setup().increments.iter().filter(|i| i.body.quality == 0).count()
    }

    fn setup(&self) -> SetUp {
        let store = Store::open_existing(&self.folder.path().join("store")).expect("the store");
        let rig = store.rigs().expect("readable").remove(0);
        read(&store.stream(&rig).expect("readable").slots).pop().expect("a set-up")
    }
}

/// One real-time board at a time: two on two cores starve each other.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

#[test]
fn a_hole_is_measured_by_sensors_that_nobody_here_wrote_and_every_fault_of_theirs_is_shown_and_recorded() {
    let _alone = ONE_AT_A_TIME.lock();
    let begun = Instant::now();
    let mut site = site();
    site.cab.wait_since(begun, "rig", Duration::from_secs(20), |line| line.contains("is here"));
    site.order("load structure=P-9 leg=single depth=\"500 mm\" diameter=\"700 mm\" tool=1 depth_under=\"20 mm\" depth_over=\"40 mm\" plumb_limit=\"20 mm/m\" heading=0");
    site.slave.say("lean 12 -5");
    site.go(0.0, 100.0);
    site.order("touch");
    site.go(150.0, 25.0);
    let seconds = Duration::from_secs;
    site.cab.wait_for("lean", seconds(3), |line| line.contains("forward") && line.contains("left"));
    let kinds = [
        ("silent", SensorFault::Silent),
        ("slow", SensorFault::Silent),
        ("exception", SensorFault::Refused),
        ("unit", SensorFault::Mismatched),
        ("crc", SensorFault::Damaged),
        ("bytes", SensorFault::Mismatched),
    ];
    let sensors = [(1, Sensor::Encoder, "hole – (depth encoder"), (2, Sensor::Tilt, "lean – (tilt sensor")];
    let mut wanted: Vec<(u8, u8)> = Vec::new();
    for (kind, fault) in kinds {
        for (unit, sensor, shown) in sensors {
            site.slave.say(&format!("fault {kind} {unit}"));
            let (took, line) = site.cab.wait_for(kind, seconds(4), |line| line.contains(shown));
            assert!(took <= seconds(1), "{kind} of {sensor:?} was shown after {took:?}: {line}");
            std::thread::sleep(Duration::from_millis(1_200)); // long enough to be a fault on record
            site.slave.say(&format!("fault none {unit}"));
            site.cab.wait_for("good figures", seconds(4), |line| !line.contains("– (") && line.contains("| hole 0."));
            wanted.push((sensor.raw(), fault.raw()));
        }
    }
    // A sound frame with figures that cannot be: a depth that the winch cannot reach, a force that is not gravity.
    site.slave.say("fault values 2");
    site.cab.wait_for("nonsense", seconds(4), |line| line.contains("lean – (tilt sensor"));
    site.slave.say("fault none 2");
    site.cab.wait_for("good figures", seconds(4), |line| !line.contains("– (") && line.contains("| hole 0."));
    site.slave.say("fault values 1");
    let (took, _) = site.cab.wait_for("a jump", seconds(4), |line| line.contains("hole – (depth encoder"));
    site.slave.say("fault none 1"); // before it is taken for the truth, half a second after
    assert!(took <= seconds(1), "{took:?}");
    site.cab.wait_for("good figures", seconds(4), |line| !line.contains("– (") && line.contains("| hole 0."));
    // A busy machine makes a slave late now and then, and the rig leaves such an increment out of the good ones, as it should:
    // drill until there are enough.
    let mut deepest = 500.0;
    site.go(deepest, 25.0);
    while site.good() < 15 && deepest < 1_000.0 {
        deepest += 100.0;
        site.go(deepest, 25.0);
    }
    site.go(-400.0, 400.0);
    site.go(0.0, 100.0);
    site.order("touch");
    site.order("close");
    site.cab.say("leave");
    assert!(site.cab.child.wait().expect("it ends").success());

    let setup = site.setup();
    let bottom_mm = f64::from(setup.closed.as_ref().expect("closed").body.bottom.0) / 1e3;
    assert!((bottom_mm - deepest).abs() <= 0.2, "within two counts of 0.1 mm: {bottom_mm}");
    let good = setup.increments.iter().filter(|i| i.body.quality == 0).collect::<Vec<_>>();
    assert!(good.len() >= 15, "{} good increments", good.len());
    for increment in good {
        let (forward, right) = (increment.body.forward.lean().0, increment.body.right.lean().0);
        assert!((forward - 12_000).abs() <= 200 && (right + 5_000).abs() <= 200, "{forward} {right}");
    }
    let began: Vec<(u8, u8)> = setup.faults.iter().filter(|f| f.body.began == 1).map(|f| (f.body.sensor, f.body.fault)).collect();
    for fault in wanted {
        assert!(began.contains(&fault), "{fault:?} is not on record: {began:?}");
    }
    let ended = setup.faults.iter().filter(|f| f.body.began == 0).count();
    assert_eq!(ended, began.len(), "each fault is over");
    assert!(setup.missing.is_empty());
}
