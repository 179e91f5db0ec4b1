//! Whole stores as people handle them: copied while they grow, brought together, salvaged, on a full or locked disk.
#![cfg(unix)]

mod common;

use common::{Killed, LiveRig, assert_failed, command, run, slots_in, store_in, stored};
use host_tool::store::photographs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::atomic::Ordering;

fn said(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Listens until everything is stored.
fn fetch(rig: &LiveRig, store: &str) -> String {
    said(&run(&["listen", "--port", &rig.port, "--store", store, "--do", "note Tester: all", "--leave", "--for", "60"]))
}

/// Starts listening and waits until the rig is there.
fn listen(rig: &LiveRig, store: &str) -> Killed {
    let mut child = Killed(command(&["listen", "--port", &rig.port, "--store", store]).stdin(Stdio::piped()).spawn().unwrap());
    let mut lines = BufReader::new(child.0.stdout.take().unwrap()).lines();
    lines.find(|line| line.as_ref().unwrap().starts_with("rig SIM-BENCH-1")).unwrap().unwrap();
    std::thread::spawn(move || lines.for_each(drop)); // so that it does not wait for a reader
    child
}

#[test]
fn a_store_that_grows_is_copied_and_merged_into_and_the_listener_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (store, other) = (store_in(folder.path()), path("other.sqlite"));
    let rig = LiveRig::with_notes(<[u8]>::to_vec, 300);
    fetch(&rig, &other);
    let mut listener = listen(&rig, &store);
    for n in 0..8 {
        let copied = said(&run(&["backup", &path(&format!("copy-{n}")), "--store", &store]));
        assert!(copied.contains(" records are in ") && copied.contains("compared"), "{copied}");
        let merged = said(&run(&["merge", &other, "--store", &store]));
        assert!(merged.contains("entries of") && !merged.contains("differ"), "{merged}");
        assert!(listener.0.try_wait().unwrap().is_none(), "the listener goes on");
    }
    drop(listener);
    fetch(&rig, &store);
    let (held, memory) = (stored(&store), slots_in(&rig.stop()));
    assert!(memory.len() > 1_200 && held == memory, "{} of {}", held.len(), memory.len());
    let copy = path("copy");
    said(&run(&["backup", &copy, "--store", &store]));
    assert_failed(&run(&["backup", &copy, "--store", &store]), 1, &["is there already", "nothing was changed"]);
    let new = path("new.sqlite");
    let restored = said(&run(&["restore", &copy, "--store", &new]));
    assert!(restored.starts_with(&format!("{} records and 0 entries of {copy} are new in {new}", memory.len())), "{restored}");
    assert_eq!(stored(&new), memory);
    let again = said(&run(&["merge", &copy, "--store", &new]));
    assert!(again.starts_with("0 records ") && again.contains(&format!("{} records were there already", memory.len())), "{again}");
}

/// Photographs lie beside a store, and go where it goes.
#[test]
fn photographs_go_with_a_store_and_spoilt_ones_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (store, copy, new) = (path("store"), path("copy"), path("new"));
    drop(host_tool::store::Store::open(Path::new(&store)).unwrap());
    let [one, two] = [b"one", b"two"].map(|bytes| photographs::keep(Path::new(&store), bytes).unwrap());
    let backed = said(&run(&["backup", &copy, "--store", &store]));
    assert!(backed.contains("2 photographs are new in "), "{backed}");
    std::fs::write(photographs::folder(Path::new(&copy)).join(&two), "rot").unwrap();
    let restored = said(&run(&["restore", &copy, "--store", &new]));
    assert!(restored.contains("1 photographs are new in "), "{restored}");
    assert!(restored.contains(&format!("photograph {two} beside {copy} is not what it was")), "{restored}");
    let there = |name: &str| photographs::read(Path::new(&new), name).ok().flatten();
    assert_eq!((there(&one).as_deref(), there(&two)), (Some(&b"one"[..]), None));
    let merged = said(&run(&["merge", &store, "--store", &new]));
    assert!(merged.contains("1 photographs are new in ") && merged.contains("1 photographs were in "), "{merged}");
    assert_eq!(there(&two).as_deref(), Some(&b"two"[..]));
}

#[test]
fn a_damaged_store_is_said_and_what_holds_is_salvaged() {
    let folder = tempfile::tempdir().unwrap();
    let (store, new) = (store_in(folder.path()), folder.path().join("new.sqlite").to_str().unwrap().to_owned());
    let rig = LiveRig::with_notes(<[u8]>::to_vec, 300);
    fetch(&rig, &store);
    let whole = stored(&store);
    let mut bytes = std::fs::read(&store).unwrap();
    let lost = &whole[500];
    let at = bytes.windows(32).position(|at| at == lost.bytes()).unwrap();
    bytes[at + 12] ^= 1;
    bytes[at - at % 4_096..][..8].fill(0xEE); // the head of its page: all on it is out of reach
    std::fs::write(&store, &bytes).unwrap();
    for arguments in [&["holes", "--store", &store][..], &["listen", "--port", &rig.port, "--store", &store]] {
        assert_failed(&run(arguments), 1, &["is damaged: keep it", "borewitness salvage", "--store NEW"]);
    }
    let salvaged = said(&run(&["salvage", &store, "--store", &new]));
    assert!(salvaged.starts_with(&format!("{} records and 0 entries that hold are in {new}; ", whole.len() - 1)), "{salvaged}");
    assert!(salvaged.contains("records 500 to 500 of rig SIM-BENCH-1 did not come back: listen to the rig"), "{salvaged}");
    assert!(std::fs::read(&store).unwrap() == bytes);
    assert_failed(&run(&["salvage", &store, "--store", &new]), 1, &["is there already"]);
    fetch(&rig, &new);
    let (held, memory) = (stored(&new), slots_in(&rig.stop()));
    assert!(held == memory, "the rig still had it: {} of {}", held.len(), memory.len());
}

#[test]
fn what_cannot_be_done_is_said_in_one_line_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    std::fs::write(path("letter"), "what somebody else wrote, in a file long enough to be looked at as a database ".repeat(9)).unwrap();
    let none = path("none.sqlite");
    for verb in ["backup", "merge"] {
        assert_failed(&run(&[verb, &path("letter"), "--store", &none]), 1, &["there is no store at", "none.sqlite"]);
    }
    for verb in ["restore", "salvage"] {
        let words = if verb == "restore" { "is not a Borewitness store" } else { "no record that holds" };
        assert_failed(&run(&[verb, &path("letter"), "--store", &none]), 1, &[words, "letter"]);
        assert_failed(&run(&[verb, &path("nothing"), "--store", &none]), 1, &["there is no store at", "nothing"]);
        assert!(!Path::new(&none).exists(), "{verb}");
    }
}

#[test]
fn a_second_program_on_one_port_is_turned_away_and_the_first_fetches_all() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::with_notes(<[u8]>::to_vec, 50);
    let first = listen(&rig, &store);
    let second = run(&["listen", "--port", &rig.port, "--store", &folder.path().join("second").to_string_lossy()]);
    assert_failed(&second, 1, &["is in use by another program"]);
    let begun = std::time::Instant::now();
    while rig.acknowledged.load(Ordering::Relaxed) < 200 {
        assert!(begun.elapsed().as_secs() < 20);
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    drop(first);
    fetch(&rig, &store);
    assert_eq!(stored(&store), slots_in(&rig.stop()));
}

/// Runs `listen` by a shell that has prepared something; `None` where this system does not let it.
fn listen_after(shell: &[&str], prepare: &str, rig: &LiveRig, store: &str) -> Option<Output> {
    run_after(shell, prepare, &format!("listen --port '{}' --store '{store}' --leave --for 20", rig.port))
}

fn run_after(shell: &[&str], prepare: &str, arguments: &str) -> Option<Output> {
    let program = env!("CARGO_BIN_EXE_borewitness");
    let line = format!("{prepare} || exit 77; exec '{program}' {arguments}");
    let output = Command::new(shell[0]).args(&shell[1..]).args(["sh", "-c", &line]).stdin(Stdio::null()).output().unwrap();
    let refused = String::from_utf8_lossy(&output.stderr).starts_with("unshare") || output.status.code() == Some(77);
    (!refused).then_some(output)
}

#[test]
fn a_file_that_may_not_grow_is_said_and_what_was_acknowledged_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::with_notes(<[u8]>::to_vec, 1_200);
    // 80 KiB: room for the tables and some of the records
    let stopped = listen_after(&["env"], "trap '' XFSZ && ulimit -f 160", &rig, &store).unwrap();
    let line = String::from_utf8_lossy(&stopped.stderr).into_owned();
    assert_failed(&stopped, 1, &["make room", "What was stored before is safe"]);
    let (held, acknowledged) = (stored(&store).len(), rig.acknowledged.load(Ordering::Relaxed));
    assert!(held >= acknowledged as usize && (1..4_800).contains(&held), "{held}, {acknowledged}: {line}");
    fetch(&rig, &store);
    assert_eq!(stored(&store), slots_in(&rig.stop()));
}

/// A small disk and a locked one, where the system lets a program have its own.
#[test]
fn a_full_disk_and_a_locked_one_are_said() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().display().to_string();
    let own = ["unshare", "--user", "--map-root-user", "--mount"];
    let rig = LiveRig::with_notes(<[u8]>::to_vec, 300);
    let small = format!("mount -t tmpfs -o size=120k none '{place}'");
    let Some(full) = listen_after(&own, &small, &rig, &store_in(folder.path())) else {
        return println!("this system gives a program no disk of its own: only a file that may not grow was tried");
    };
    assert_failed(&full, 1, &["is full", "What was stored before is safe"]);
    let store = store_in(folder.path());
    fetch(&rig, &store);
    let copy = format!("{place}/copy");
    said(&run(&["backup", &copy, "--store", &store]));
    let locked = format!("mount --bind '{place}' '{place}' && mount -o remount,bind,ro '{place}'");
    let refused = listen_after(&own, &locked, &rig, &store).unwrap();
    assert_failed(&refused, 1, &["store.sqlite", "may write there", "--store"]);
    let read = run_after(&own, &locked, &format!("holes --store '{copy}'")).unwrap();
    assert_eq!(String::from_utf8_lossy(&read.stderr), "", "a copy is read from a locked disk");
    assert_eq!(stored(&store), slots_in(&rig.stop()));
}
