//! `listen` as people run it: through a pipe, on a terminal, by script, and on what is no rig.
#![cfg(unix)]

mod common;

use common::{Killed, LOAD, LiveRig, assert_failed, command, pseudo_terminal, run, slots_in, store_in, stored};
use host_tool::entry::{HoleName, Said, TicketStanding};
use host_tool::facts::read;
use host_tool::sheet::{OnSite, Options, Sheet};
use host_tool::store::Store;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap_raw};
use shared_protocol::units::{CentiDegrees, Micrometres};
use std::fs::OpenOptions;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::Stdio;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

fn unchanged(bytes: &[u8]) -> Vec<u8> {
    bytes.to_vec()
}

/// What a rig of version 7 would send. (Frames may come in pieces, so the pieces wait here.)
fn of_version_7(bytes: &[u8]) -> Vec<u8> {
    thread_local!(static LINE: std::cell::RefCell<Accumulator> = const { std::cell::RefCell::new(Accumulator::new()) });
    let (mut message, mut sent) = ([0; ENCODED_BYTES_MAX], Vec::new());
    LINE.with_borrow_mut(|line| {
        for &byte in bytes {
            if let Some(Ok(plain)) = line.push(byte, &mut message) {
                let mut plain = plain.to_vec();
                plain[0] = 7;
                sent.extend_from_slice(&wrap_raw(&plain).unwrap());
            }
        }
    });
    sent
}

#[test]
fn figures_come_through_a_pipe_every_second_and_never_stale() {
    let folder = tempfile::tempdir().unwrap();
    let rig = LiveRig::start(unchanged);
    let mut command = command(&["listen", "--port", &rig.port, "--store", &store_in(folder.path()), "--do", LOAD, "--do", "touch"]);
    let mut child = Killed(command.stdin(Stdio::piped()).spawn().unwrap());
    let mut lines = BufReader::new(child.0.stdout.take().unwrap()).lines().map(|line| (line.unwrap(), Instant::now()));
    let (_, touched) = lines.find(|(line, _)| line == "touch: done, and recorded").unwrap();
    let is_figure = |line: &str| line.contains("| hole 0.00 m below ground at the low side |") && line.contains("to go 0.60 m");
    let (_, first) = lines.find(|(line, _)| is_figure(line)).unwrap();
    // Outlook and plan come within half a second, and a line each second.
    assert!(first - touched < Duration::from_millis(1_700), "{:?}", first - touched);
    let mut before = first;
    for (line, at) in lines.by_ref().take(4) {
        assert!(line.starts_with("SIMULATED SIM-BENCH-1 | S-9 left leg | "), "{line}");
        assert!(is_figure(&line) && at - before < Duration::from_millis(1_200), "{line} after {:?}", at - before);
        before = at;
    }
    rig.silent.store(true, Ordering::Relaxed);
    let silenced = Instant::now();
    let (line, at) = lines.find(|(line, _)| line.contains("| no data for ")).unwrap();
    assert!(line.contains("to go – | hole – | lean – |"), "{line}");
    assert!(at - silenced < Duration::from_millis(1_700), "{:?}", at - silenced);
    child.0.stdin.take().unwrap().write_all(b"leave\n").unwrap();
    assert_eq!(child.0.wait().unwrap().code(), Some(0));
}

#[test]
fn a_hole_is_done_by_script_and_every_record_of_it_is_in_the_store() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::start(unchanged);
    let orders = [LOAD, "touch", "note Tester: by script", "close"].map(|order| ["--do", order]).concat();
    let done = run(&[&["listen", "--port", &rig.port, "--store", &store, "--leave", "--for", "20"], &orders[..]].concat());
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said}");
    for word in ["load", "touch", "note", "close"] {
        assert!(said.contains(&format!("{word}: done, and recorded")), "{said}");
    }
    assert_eq!(stored(&store), slots_in(&rig.stop()));
    let listed = run(&["holes", "--store", &store]);
    let listed = String::from_utf8_lossy(&listed.stdout);
    assert!(
        listed.starts_with("S-9-left ")
            && listed.contains("closed")
            && listed.contains("digest fits  sealed by a simulated rig's known key"),
        "{listed}"
    );
}

/// The ticket of 41 expired long ago; that is said and recorded, and the hole is loaded.
#[test]
fn a_hole_is_loaded_as_the_sheet_in_the_store_plans_it_and_its_ticket_goes_on_record() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let sheet = folder.path().join("holes.csv");
    let text = include_str!("../../src/sheet/simulated.csv").replace("2026-11-20", "2001-11-20").replace("2026-12-15", "2001-12-15");
    std::fs::write(&sheet, &text).unwrap();
    let taken = run(&["sheet", sheet.to_str().unwrap(), "--keep", "--who", "Office", "--store", &store]);
    assert_eq!(taken.status.code(), Some(0), "{}", String::from_utf8_lossy(&taken.stdout));
    let rig = LiveRig::start(unchanged);
    let pairs = "tool=2 hub_above_datum='0.2 ft' heading=90";
    let script = |order: &str| {
        let order = format!("load sheet {order} {pairs}");
        run(&["listen", "--port", &rig.port, "--store", &store, "--do", &order, "--leave", "--for", "20"])
    };
    assert_failed(&script("41"), 1, &["structure 41 has left, right: name one of its legs"]);
    let done = script("41 left operator='Drill operator'");
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said} {}", String::from_utf8_lossy(&done.stderr));
    let lines: Vec<&str> = said.lines().filter(|line| line.contains("LOCATE TICKET") || line.starts_with("load")).collect();
    let loading =
        "loading 41 left by holes.csv, row 2: 10 ft 0 in deep below original ground, low side; attempt 1 (the first), set-up 1 (the first)";
    assert_eq!(
        lines,
        [loading, "THE LOCATE TICKET HAS EXPIRED: have buried lines located anew before you dig", "load: done, and recorded"]
    );
    let options = Options { leave: &[], ignore: &[], today: jiff::civil::date(2001, 12, 1) };
    let row = Sheet::read(text.as_bytes(), &options).unwrap().legs.remove(0);
    let on_site = OnSite {
        attempt: 1,
        setup: 1,
        operator: "Drill operator",
        tool: 2,
        hub_above_datum: Micrometres(60_960),
        heading: CentiDegrees(9_000),
        heading_within: CentiDegrees(1_000),
    };
    let loaded = read(&stored(&store)).remove(0).opened.body.plan;
    assert_eq!(loaded, row.plan(&on_site).unwrap());
    let entries = Store::open_existing(Path::new(&store)).unwrap().entries().unwrap();
    let tickets: Vec<_> = entries.iter().filter(|entered| matches!(entered.entry.said, Said::Ticket { .. })).collect();
    let [ticket] = tickets[..] else { panic!("{tickets:?}") };
    assert_eq!(ticket.entry.said, Said::Ticket { number: "SIM-8412".to_owned(), standing: TicketStanding::Expired });
    assert_eq!((ticket.entry.by.as_str(), HoleName::of(&loaded)), ("Drill operator", Some(ticket.entry.hole.clone())));
    // a hole is open: what the rig refuses leaves no ticket
    let refused = script("41 right");
    assert_eq!(refused.status.code(), Some(1), "{}", String::from_utf8_lossy(&refused.stdout));
    assert_eq!(Store::open_existing(Path::new(&store)).unwrap().entries().unwrap().len(), entries.len());
}

#[test]
fn a_refused_order_is_said_and_ends_the_script() {
    let folder = tempfile::tempdir().unwrap();
    let rig = LiveRig::start(unchanged);
    let done = run(&[
        "listen",
        "--port",
        &rig.port,
        "--store",
        &store_in(folder.path()),
        "--do",
        "close",
        "--do",
        "touch",
        "--leave",
        "--for",
        "20",
    ]);
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(1));
    assert!(said.contains("close: the rig refused: no hole is open") && !said.contains("touch:"), "{said}");
}

#[test]
fn a_rig_of_another_version_is_emptied_and_said() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::start(of_version_7);
    let done = run(&["listen", "--port", &rig.port, "--store", &store, "--leave", "--for", "20"]);
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(1), "{said}");
    assert_eq!(said.matches("speaks version 7, this program version 1").count(), 1, "{said}");
    let memory = slots_in(&rig.stop());
    assert!(!memory.is_empty());
    assert_eq!(stored(&store), memory);
}

#[test]
fn a_terminal_keeps_a_line_for_the_readout_and_one_to_type_on() {
    let folder = tempfile::tempdir().unwrap();
    let rig = LiveRig::start(unchanged);
    let (mut screen, path) = pseudo_terminal();
    let end = || Stdio::from(OpenOptions::new().read(true).write(true).open(&path).unwrap());
    let mut command = command(&["listen", "--port", &rig.port, "--store", &store_in(folder.path())]);
    let mut child = Killed(command.stdin(end()).stdout(end()).spawn().unwrap());
    drop(command);
    let mut seen = String::new();
    let mut wait_for = |words: &str, screen: &mut serialport::TTYPort| {
        let begun = Instant::now();
        while !seen.contains(words) {
            assert!(begun.elapsed() < Duration::from_secs(10), "no {words:?} in {seen:?}");
            let mut buffer = [0; 512];
            let count = screen.read(&mut buffer).unwrap_or(0);
            seen.push_str(&String::from_utf8_lossy(&buffer[..count]));
        }
    };
    wait_for("> ", &mut screen);
    wait_for("\x1b7\r\x1b[1A\x1b[KSIMULATED SIM-BENCH-1 | no hole open | ", &mut screen);
    screen.write_all(b"note Tester: typed\n").unwrap();
    wait_for("\x1b8\n> ", &mut screen); // a fresh line to type on, and one above it for the readout
    wait_for("note: done, and recorded", &mut screen);
    screen.write_all(b"dig\n").unwrap();
    wait_for("\"dig\" is no order", &mut screen);
    screen.write_all(b"leave\n").unwrap();
    let begun = Instant::now();
    while child.0.try_wait().unwrap().is_none() {
        assert!(begun.elapsed() < Duration::from_secs(5));
        drop(screen.read(&mut [0; 512]));
    }
    assert_eq!(child.0.wait().unwrap().code(), Some(0));
}

#[test]
fn what_is_no_rig_is_said_after_five_seconds_and_how_to_mend_it() {
    let folder = tempfile::tempdir().unwrap();
    let listen = |port: &str, store: &str| {
        let begun = Instant::now();
        let output = run(&["listen", "--port", port, "--store", store, "--for", "12"]);
        assert!((4..9).contains(&begun.elapsed().as_secs()), "{:?}", begun.elapsed());
        output
    };
    let (_silent, port) = pseudo_terminal();
    let silence = std::thread::scope(|scope| {
        let silence = scope.spawn(|| listen(&port, &store_in(folder.path())));
        let (mut chatty, port) = pseudo_terminal();
        let noise = scope.spawn(move || listen(&port, &store_in(tempfile::tempdir().unwrap().path())));
        while !noise.is_finished() {
            drop(chatty.write_all(b"$GPGGA,123519,4807.038,N\r\n\0\x01\x02"));
            drop(chatty.read(&mut [0; 64])); // and waits two milliseconds
        }
        assert_failed(&noise.join().unwrap(), 1, &["is no rig's", "no whole frame", "--baud (now 115200)"]);
        silence.join().unwrap()
    });
    assert_failed(&silence, 1, &["nothing came from /dev/pts/", "rig is on", "--wait"]);
}

#[test]
fn a_rig_is_found_on_one_of_several_ports() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let (_silent, other) = pseudo_terminal();
    let rig = LiveRig::start(unchanged);
    let names = ["--port", "/dev/no-such-port", "--port", &other, "--port", &rig.port];
    let done = run(&[&["listen"], &names[..], &["--store", &store, "--do", "note Tester: found", "--leave", "--for", "20"]].concat());
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said}{}", String::from_utf8_lossy(&done.stderr));
    assert!(said.contains(&format!("trying port {}", rig.port)) && said.contains("note: done, and recorded"), "{said}");
    assert_eq!(stored(&store), slots_in(&rig.stop()));
}

#[test]
fn what_cannot_be_listened_to_is_said_in_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    assert_failed(&run(&["listen", "--port", "/dev/no-such-port", "--store", &store]), 1, &["there is no port /dev/no-such-port"]);
    assert_failed(&run(&["listen", "--port", "/dev/null", "--store", &store]), 1, &["/dev/null is no serial port"]);
    assert!(!Path::new(&store).exists(), "nothing is made for a port that is not there");
    assert_failed(&run(&["listen", "--port", "x", "--store", &store, "--do", "dig"]), 2, &["\"dig\" is no order"]);
    let (_near, port) = pseudo_terminal();
    std::fs::write(&store, "what somebody else wrote, in a file long enough to be looked at as a database").unwrap();
    assert_failed(&run(&["listen", "--port", &port, "--store", &store]), 1, &["is not a Borewitness store", "Nothing was changed"]);
}
