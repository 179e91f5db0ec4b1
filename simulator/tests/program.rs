//! The `bench` program as an engineer meets it: orders in, lines out, exit status, and a host on its link.
#![cfg(unix)]

use simulator::clock::Moment;
use simulator::commander::Commander;
use simulator::cue::Cue;
use simulator::scenario::{STILL_HOLE, Scenario};
use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

fn bench(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bench"));
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn run(arguments: &[&str], orders: &str) -> Output {
    let mut child = bench(arguments).spawn().unwrap();
    child.stdin.take().unwrap().write_all(orders.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

/// A program that is killed when the test is over, however it ends.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_scenario_runs_to_its_end_by_itself_and_says_what_is_true() {
    let output = run(&["still-hole", "--speed", "100000"], "");
    let said = text(&output.stdout);
    assert!(output.status.success(), "{}", text(&output.stderr));
    assert!(said.starts_with("SIMULATED: "));
    assert!(said.contains("cue: touch hub") && said.contains("slots kept, 0 commands refused"));
    assert!(said.contains("hole 1: truly 630.0 mm below the hub, toe +7.2 mm forward -3.0 mm right"), "{said}");
}

#[test]
fn by_hand_the_tool_goes_where_it_is_sent() {
    let orders = "lean 12 -5\nload\nwait 1\ndown 200\nwait 4\nstop\ntouch\nwait 1\nstate\nup\nwait 3\nstop\nhole\nwait 5\ndown\nwait 30\ndrill\nwait 3\nquit\n";
    let output = run(&["still-hole", "--by-hand", "--speed", "100000", "--every", "100000"], orders);
    let said = text(&output.stdout);
    assert_eq!((output.status.code(), text(&output.stderr)), (Some(0), ""));
    // A count is 0.1 mm, and the hub is the mean of half a second: what the rig says may be a count off.
    let on_hub = said.lines().filter(|line| line.contains("tip      0.0 mm over hub")).filter_map(|line| line.split_once("rig says "));
    let depth: Vec<f64> = on_hub.filter_map(|(_, rig)| rig.split(' ').next()?.parse().ok()).collect();
    assert!(!depth.is_empty() && depth.iter().all(|mm| mm.abs() < 0.15), "{said}");
}

#[test]
fn an_order_that_cannot_be_is_answered_in_one_line_and_the_work_goes_on() {
    let output = run(
        &["still-hole", "--by-hand", "--speed", "100000"],
        "frobnicate\nlean a b\nfault tilt bored\nfault nose silent\ntool 9\nturn round\ndown 1e99\nload\ndown\nwait 9\nhole\npower off\npower on\nquit\n",
    );
    let complaints: Vec<&str> = text(&output.stderr).lines().collect();
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(complaints.len(), 8, "{complaints:?}");
    assert!(complaints[7].contains("go up first"));
    let output = run(&["still-hole", "--speed", "20"], "down\nquit\n");
    assert!(text(&output.stderr).contains("start with --by-hand"));
}

#[test]
fn what_cannot_be_done_is_said_in_one_line_with_an_exit_status_that_means_it() {
    let rows: [(&[&str], i32, &str); 4] = [
        (&["no-such.toml"], 1, "no-such.toml: cannot be read"),
        (&["--board", "no-such-image"], 1, "the image cannot be read"),
        (&["--link", "/no/such/folder/rig"], 1, "the link cannot be made"),
        (&["--speed", "0"], 2, "expected a number from 0.01"),
    ];
    for (arguments, status, said) in rows {
        let output = run(arguments, "");
        assert_eq!(output.status.code(), Some(status), "{arguments:?}");
        assert!(text(&output.stderr).contains(said), "{arguments:?}: {}", text(&output.stderr));
    }
}

#[test]
fn a_host_on_the_link_has_a_whole_hole_drilled_for_it() {
    let folder = tempfile::TempDir::new().unwrap();
    let link = folder.path().join("rig");
    let mut child = Running(bench(&["still-hole", "--speed", "20", "--every", "5", "--link", link.to_str().unwrap()]).spawn().unwrap());
    let mut lines = BufReader::new(child.0.stdout.take().unwrap()).lines();
    assert!(lines.next().unwrap().unwrap().starts_with("SIMULATED"));
    let port = std::fs::OpenOptions::new().read(true).write(true).open(&link).unwrap();
    let (cues, given) = std::sync::mpsc::channel();
    let reader = std::thread::spawn(move || {
        let mut last = String::new();
        for line in lines.map_while(Result::ok) {
            if let Some((_, cue)) = line.split_once("cue: ") {
                let _ = cues.send(cue.to_string());
            }
            last = line;
        }
        last
    });
    let (incoming, from_rig) = std::sync::mpsc::channel();
    let mut near = port.try_clone().unwrap();
    std::thread::spawn(move || {
        let mut bytes = [0; 512];
        while let Ok(count) = near.read(&mut bytes)
            && count > 0
            && incoming.send(bytes[..count].to_vec()).is_ok()
        {}
    });
    let (mut host, mut out, started) = (Commander::default(), port, Instant::now());
    let plan = Scenario::parse("still-hole", STILL_HOLE).unwrap().plan(0).unwrap();
    while child.0.try_wait().unwrap().is_none() {
        assert!(started.elapsed() < Duration::from_secs(60), "the bench does not come to an end");
        let bytes = from_rig.recv_timeout(Duration::from_millis(5)).unwrap_or_default();
        let cue = given.try_recv().ok().map(|cue| match cue.as_str() {
            "touch hub" => Cue::TouchHub,
            "close hole" => Cue::CloseHole,
            _ => Cue::LoadHole(plan.clone()),
        });
        // The rig's time runs twenty times as fast as ours.
        let now = Moment(u64::try_from(started.elapsed().as_micros()).unwrap() * 20);
        let (to_rig, _) = host.step(now, &bytes, cue);
        if out.write_all(&to_rig).is_err() {
            break; // the bench has finished and taken its port along
        }
    }
    assert!(child.0.wait().unwrap().success());
    assert!(reader.join().unwrap().contains("truly 630.0 mm"));
    assert!(host.slots().len() > 35 && host.refused().is_empty(), "{} slots", host.slots().len());
    assert!(!link.is_symlink());
}

/// The zero of a sensor as found by hand on the bench's plate: half a turn apart, whatever the plate leans.
#[test]
fn a_rig_can_be_calibrated_by_hand() {
    let orders = "pose plate 0\nwait 1\npose plate 2\nday 35\npose mast\nlean 3 4\nwait 9\npose string 0\npose string 2\npose push left\npose tape 2000\nwait 8\nstate\npose work\nup\nwait 9\nstop\npose work\nquit\n";
    let output = run(&["ordinary", "--by-hand", "--speed", "100000", "--every", "100000"], orders);
    let (said, complaints) = (text(&output.stdout), text(&output.stderr));
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(complaints.trim(), "bench: the tip is in the ground or too near it: go up first");
    let level: Vec<&str> = said.lines().filter_map(|line| line.strip_prefix("bench: the level says forward ")).collect();
    assert_eq!(level.len(), 3, "{said}");
    let forward = |line: &str| line.split_whitespace().next().unwrap().parse::<f64>().unwrap();
    // 3 mm/m of the mast, 0.5 of the string, and what level, reading and hanging may add; half a turn cancels the rest.
    assert!((f64::midpoint(forward(level[0]), forward(level[1])) - 3.5).abs() < 1.0 && said.contains("the tape says "), "{said}");
    assert!(said.contains("tip   2000.0 mm"), "{said}");
    let scenario_has_the_levers = run(&["still-hole", "--speed", "20"], "pose mast\nquit\n");
    assert!(text(&scenario_has_the_levers.stderr).contains("start with --by-hand"));
    assert!(text(&run(&["still-hole", "--by-hand", "--speed", "100000"], "pose plate 4\npose\n").stderr).lines().count() == 2);
}
