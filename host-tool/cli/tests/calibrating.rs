//! `calibrate` as people run it, answers typed or through a pipe, against the simulated rig.
#![cfg(unix)]

mod common;

use common::{Killed, LOAD, LiveRig, assert_failed, command, run, store_in};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap, wrap_raw};
use shared_protocol::message::Message;
use shared_protocol::units::MicroG;
use std::io::{BufRead, BufReader, Write};
use std::process::{Output, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};

fn unchanged(bytes: &[u8]) -> Vec<u8> {
    bytes.to_vec()
}

/// Which quarter turn the sensor stands at, clockwise from above.
static QUARTER: AtomicUsize = AtomicUsize::new(0);

/// What the rig would send of a sensor with a zero of (+1.2, −0.7) mg on a plate that leans (+5, −3) mm/m: after a
/// quarter turn clockwise a lean of (f, r) reads (r, −f).
fn on_a_plate(bytes: &[u8]) -> Vec<u8> {
    thread_local!(static LINE: std::cell::RefCell<Accumulator> = const { std::cell::RefCell::new(Accumulator::new()) });
    let seen = [(5_000, -3_000), (-3_000, -5_000), (-5_000, 3_000), (3_000, 5_000)][QUARTER.load(Ordering::Relaxed)];
    let (mut message, mut sent) = ([0; ENCODED_BYTES_MAX], Vec::new());
    LINE.with_borrow_mut(|line| {
        for &byte in bytes {
            let Some(Ok(plain)) = line.push(byte, &mut message) else { continue };
            match Message::decode(plain) {
                Ok(Message::Raw(mut raw)) => {
                    (raw.forward, raw.right, raw.up) = (MicroG(1_200 + seen.0), MicroG(-700 + seen.1), MicroG(999_980));
                    (raw.samples, raw.scatter) = (20, 30);
                    sent.extend_from_slice(&wrap(&Message::Raw(raw)).unwrap());
                }
                _ => sent.extend_from_slice(&wrap_raw(plain).unwrap()),
            }
        }
    });
    sent
}

/// Runs it with these lines typed beforehand.
fn typed(arguments: &[&str], lines: &str) -> Output {
    let mut child = Killed(command(arguments).stdin(Stdio::piped()).spawn().unwrap());
    child.0.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    let said = |stream: Option<&mut dyn std::io::Read>| {
        let mut text = Vec::new();
        stream.unwrap().read_to_end(&mut text).unwrap();
        text
    };
    let stdout = said(child.0.stdout.as_mut().map(|s| s as _));
    let stderr = said(child.0.stderr.as_mut().map(|s| s as _));
    Output { status: child.0.wait().unwrap(), stdout, stderr }
}

/// As the program is told in the guide: four positions against a straightedge, each when it asks for it.
#[test]
fn a_zero_is_found_on_a_plate_and_the_rig_has_it() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::start(on_a_plate);
    let arguments = ["calibrate", "zero", "--port", &rig.port, "--store", &store, "--who", "Tester", "--months", "12"];
    let mut child = Killed(command(&arguments).stdin(Stdio::piped()).spawn().unwrap());
    let mut keys = child.0.stdin.take().unwrap();
    let (mut position, mut said) = (0, Vec::new());
    for line in BufReader::new(child.0.stdout.take().unwrap()).lines().map(Result::unwrap) {
        if line.ends_with("then Enter.") {
            QUARTER.store(position, Ordering::Relaxed);
            position += 1;
            std::thread::sleep(std::time::Duration::from_millis(200)); // what is under way still tells of the position before
            keys.write_all(b"\n").unwrap();
        }
        if line.ends_with("yes or no") {
            keys.write_all(b"yes\n").unwrap();
        }
        said.push(line);
    }
    assert_eq!((child.0.wait().unwrap().code(), position), (Some(0), 4), "{said:#?}");
    assert!(said[0].starts_with("rig SIM-BENCH-1, SIMULATED is here"), "{said:#?}");
    assert!(said.iter().any(|line| line.starts_with("zero: forward +1.20 mg, right -0.70 mg")), "{said:#?}");
    assert!(said.iter().any(|line| line == "the plate itself leans: forward +5.00 mm/m, right -3.00 mm/m"), "{said:#?}");
    assert!(said.last().unwrap().starts_with("done, and recorded: tilt zero   holds until "), "{said:#?}");
    drop(rig);
    let listed = run(&["calibrate", "list", "--store", &store]);
    let listed = String::from_utf8_lossy(&listed.stdout);
    assert!(
        listed.contains("  tilt zero   holds until ") && listed.contains(" by Tester; ") && listed.contains("never calibrated"),
        "{listed}"
    );
}

#[test]
fn a_tool_is_measured_through_a_pipe_and_what_cannot_be_right_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::start(unchanged);
    let calibrate = |what: &str, lines: &str| {
        typed(&["calibrate", what, "--port", &rig.port, "--store", &store, "--who", "Tester", "--months", "12"], lines)
    };
    let done = calibrate("tool", "2\n1302 mm\n1.298 m\n760 mm\nyes\n");
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said} {}", String::from_utf8_lossy(&done.stderr));
    assert!(said.contains("done, and recorded: tool 2      1300 mm from pin to cutting edge, cuts 760 mm; of "), "{said}");
    // the encoder of a rig that nobody works stands still
    assert_failed(&calibrate("encoder", "0.5 m\n1.5 m\ndone\n2.5 m\ndone\n"), 1, &["lengths 0.500 m and 1.500 m have the same count"]);
    assert_failed(&calibrate("tool", "2\n1302 mm\n"), 1, &["the input ended before everything was answered and nothing was sent"]);
    assert_failed(&calibrate("drift", ""), 1, &["no zero with its temperature is known", "calibrate the zero at two temperatures"]);
    assert_failed(&calibrate("level", ""), 1, &["the rig has no tilt zero: calibrate the zero first"]);
    let listed = |what: &str| {
        let listed = String::from_utf8(run(&["calibrate", "list", "--store", &store]).stdout).unwrap();
        assert!(listed.starts_with("rig SIM-BENCH-1, SIMULATED\n"), "{what}: {listed}");
        listed
    };
    listed("a rig that no hole was ever opened on");
    let opened = run(&["listen", "--port", &rig.port, "--store", &store, "--do", LOAD, "--leave", "--for", "20"]);
    assert_eq!(opened.status.code(), Some(0), "{}", String::from_utf8_lossy(&opened.stdout));
    assert_failed(&calibrate("zero", ""), 1, &["a hole is open on the rig: close it, then calibrate"]);
    let listed = listed("with a hole");
    assert_eq!(listed.matches("never calibrated").count(), 6, "{listed}");
    assert!(listed.contains("\n  tool 2      1300 mm from pin"), "{listed}");
}

/// The guide in the documents names every calibration, and the program knows all that it names.
#[test]
fn the_guide_and_the_program_know_the_same_calibrations() {
    let guide = include_str!("../../docs/calibrating.md");
    let word = |rest: &'static str| rest.split(|c: char| !c.is_ascii_lowercase()).next().unwrap_or("");
    let named: std::collections::BTreeSet<&str> = guide.split("borewitness calibrate ").skip(1).map(word).collect();
    assert_eq!(named.iter().copied().collect::<Vec<_>>(), ["drift", "encoder", "level", "list", "mount", "play", "tool", "zero"]);
    let help = String::from_utf8(run(&["calibrate", "--help"]).stdout).unwrap();
    for what in &named {
        assert!(help.lines().any(|line| line.trim_start().starts_with(&format!("- {what}: "))), "{what}: {help}");
    }
    let known = help.lines().filter(|line| line.trim_start().starts_with("- ")).count();
    assert_eq!(known, named.len(), "{help}");
}

#[test]
fn a_calibration_needs_a_rig() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    assert_failed(&run(&["calibrate", "zero", "--store", &store]), 2, &["name the rig's port with --port"]);
    assert_failed(&run(&["calibrate", "zero", "--port", "/dev/no-such-port", "--store", &store]), 1, &["there is no port"]);
    assert_failed(&run(&["calibrate", "list", "--store", &store]), 1, &["there is no store at"]);
}

/// The simulated rig seals with the key that everybody knows, and says so when it is given another.
#[test]
fn a_simulated_rig_cannot_be_commissioned() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::start(unchanged);
    let commission = || run(&["commission", "--port", &rig.port, "--store", &store]);
    assert_failed(&commission(), 1, &["a simulated rig seals with its published key and takes no other", "nothing to commission"]);
    let opened = run(&["listen", "--port", &rig.port, "--store", &store, "--do", LOAD, "--leave", "--for", "20"]);
    assert_eq!(opened.status.code(), Some(0), "{}", String::from_utf8_lossy(&opened.stdout));
    assert_failed(&commission(), 1, &["a hole is open on the rig: close it, then commission"]);
}

/// Its name is asked for, then everything is fetched, forgotten and said; its records are kept by epoch.
#[test]
fn a_rig_is_decommissioned_when_its_name_is_typed() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::start(unchanged);
    let arguments = ["decommission", "--port", &rig.port, "--store", &store, "--who", "Tester"];
    assert_failed(&typed(&arguments, "SIM-OTHER\n"), 1, &["that is not SIM-BENCH-1", "nothing is forgotten"]);
    assert_failed(&typed(&arguments, ""), 1, &["the input ended before the rig's name was typed"]);
    assert_failed(&run(&["decommission", "--port", &rig.port, "--store", &store, "--who", " "]), 2, &["say with --who who asks"]);
    let tool = ["calibrate", "tool", "--port", &rig.port, "--store", &store, "--who", "Tester", "--months", "12"];
    assert_eq!(typed(&tool, "2\n1302 mm\n1.298 m\n760 mm\nyes\n").status.code(), Some(0));
    let done = typed(&arguments, "SIM-BENCH-1\n");
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said} {}", String::from_utf8_lossy(&done.stderr));
    assert!(said.contains("has been reset: its records begin anew"), "{said}");
    assert!(said.contains("forgotten no key, 1 calibrations, 0 seals and 1 starts of epoch 1; it is in epoch 2 now"), "{said}");
    assert!(!said.contains("missing"), "{said}");
    let again = run(&["decommission", "--port", &rig.port, "--store", &store, "--who", "Tester", "--yes"]);
    assert_eq!(again.status.code(), Some(0), "{}", String::from_utf8_lossy(&again.stderr));
    assert!(String::from_utf8_lossy(&again.stdout).contains("of epoch 2; it is in epoch 3 now"));
    let opened = run(&["listen", "--port", &rig.port, "--store", &store, "--do", LOAD, "--leave", "--for", "20"]);
    assert_eq!(opened.status.code(), Some(0), "{}", String::from_utf8_lossy(&opened.stdout));
    assert_failed(
        &run(&["decommission", "--port", &rig.port, "--store", &store, "--who", "Tester", "--yes"]),
        1,
        &["a hole is open on the rig"],
    );
    let stored = host_tool::store::Store::open_existing(std::path::Path::new(&store)).unwrap();
    let rigs = stored.rigs().unwrap();
    assert_eq!(rigs.iter().map(|rig| rig.epoch).collect::<Vec<_>>(), [1, 2, 3]);
    let mut next = 0;
    for rig in rigs {
        for slot in stored.stream(&rig).unwrap().slots {
            assert_eq!(slot.sequence(), next, "epoch {}", rig.epoch);
            next += 1;
        }
    }
}
