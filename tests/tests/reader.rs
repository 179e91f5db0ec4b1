//! A reader of a hundred lines in another language, written from the document of the wire alone, against ours.

#[path = "lists/office.rs"]
#[allow(dead_code)]
mod office;

use tests::samples as holes;

use host_tool::export::{Exported, Format};
use host_tool::holes::{Catalogue, catalogue_by};
use host_tool::judge::to_line;
use host_tool::store::Store;
use office::Line;
use serde_json::{Value, json};
use shared_protocol::slot::Slot;
use simulator::bench::Bench;
use simulator::scenario::{Scenario, TWO_POLE};
use std::path::{Path, PathBuf};
use std::process::Command;
use tests::cab::Cab;
use tests::python::interpreter;

/// The demonstration's two holes: the store they are in, and the files of their slots as they are exported.
fn demonstration(folder: &Path) -> (Catalogue, Vec<PathBuf>) {
    let scenario = Scenario::parse("two-pole", TWO_POLE).expect("sound");
    let path = folder.join("store.sqlite");
    let mut cab = Cab::new(Bench::native(&scenario, scenario.seed).expect("fits"), path.clone());
    cab.finish();
    drop(cab);
    exported(&Store::open_existing(&path).unwrap(), folder)
}

fn exported(store: &Store, folder: &Path) -> (Catalogue, Vec<PathBuf>) {
    let held = catalogue_by(store, None).unwrap();
    let files = Exported::new(&held).write(Format::Slots, &folder.join("slots")).expect("an export");
    (held, files)
}

/// What the reader says of a file, and its exit code.
fn read(file: &Path) -> (Value, Option<i32>) {
    let out = Command::new(interpreter()).arg(tests::root().join("tests/python/reader.py")).arg(file).output().expect("Python starts");
    (serde_json::from_slice(&out.stdout).expect("JSON"), out.status.code())
}

/// What it finds wrong with each of many files, in one process.
fn wrong(files: &[Vec<u8>]) -> Vec<Vec<String>> {
    let folder = tempfile::tempdir().unwrap();
    let list = folder.path().join("files.json");
    let hex: Vec<String> = files.iter().map(|file| file.iter().map(|byte| format!("{byte:02x}")).collect()).collect();
    std::fs::write(&list, json!(hex).to_string()).unwrap();
    let script =
        "import json, sys, reader; print(json.dumps([reader.read(bytes.fromhex(f))['wrong'] for f in json.load(open(sys.argv[1]))]))";
    let mut python = Command::new(interpreter());
    python.args(["-c", script]).arg(&list).env("PYTHONPATH", tests::root().join("tests/python")).env("PYTHONDONTWRITEBYTECODE", "1");
    let out = python.output().expect("Python starts");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).expect("JSON")
}

#[test]
fn it_stays_short_and_needs_nothing_but_the_standard_library() {
    let text = std::fs::read_to_string(tests::root().join("tests/python/reader.py")).unwrap();
    assert!(text.lines().count() <= 100 && text.lines().all(|line| line.len() <= 140), "{} lines", text.lines().count());
    let imports: Vec<&str> = text.lines().filter(|line| line.starts_with("import ") || line.starts_with("from ")).collect();
    assert_eq!(imports, ["import hashlib", "import json", "import struct", "import sys", "import zlib"]);
}

#[test]
fn it_reads_what_we_read() {
    let folder = tempfile::tempdir().unwrap();
    let (held, files) = demonstration(folder.path());
    assert_eq!(files.len(), 2);
    for (hole, file) in held.holes.iter().zip(&files) {
        let ((said, code), setup) = (read(file), &hole.setup);
        assert_eq!((&said["wrong"], code), (&json!([]), Some(0)), "{said}");
        let plan = &setup.opened.body.plan;
        for (name, value) in [
            ("line", json!(plan.line.as_str())),
            ("structure", json!(plan.structure.as_str())),
            ("leg", json!(plan.leg)),
            ("operator", json!(plan.operator.as_str())),
            ("depth", json!(plan.depth.0)),
            ("hub_above_datum", json!(plan.hub_above_datum.0)),
            ("diameter", json!(plan.diameter.0)),
            ("depth_under", json!(plan.depth_under.0)),
            ("plumb_limit", json!(plan.plumb_limit.0)),
            ("heading", json!(plan.heading.0)),
            ("heading_within", json!(plan.heading_within.0)),
        ] {
            assert_eq!(said["plan"][name], value, "{name}");
        }
        let increments: Vec<Value> =
            setup.increments.iter().map(|i| json!([i.body.depth.0, i.body.forward.lean().0, i.body.right.lean().0])).collect();
        assert!(increments.len() > 60 && said["increments"] == json!(increments));
        let closed = &setup.closed.as_ref().expect("closed").body;
        assert_eq!((&said["bottom_um"], &said["passes"]), (&json!(closed.bottom.0), &json!(setup.passes.len())));
        assert_eq!((&said["slots"], &said["missing"], &said["seal"]), (&json!(setup.slots.len()), &json!([]), &json!("fits")));
        let [forward, right] = [0, 1].map(|n: usize| said["mean_lean"][n].as_f64().expect("a lean"));
        let (theirs, ours) = (to_line(forward, right, plan.heading), hole.judged.mean_lean.expect("a lean"));
        assert!((theirs.ahead - ours.ahead).abs() < 1e-9 && (theirs.right - ours.right).abs() < 1e-9, "{theirs:?} {ours:?}");
    }
    let out = folder.path().join("all.json");
    Exported::new(&held).write(Format::Json, &out).expect("an export");
    let whole: Value = serde_json::from_slice(&std::fs::read(out).unwrap()).unwrap();
    for (set_up, file) in whole["set_ups"].as_array().unwrap().iter().zip(&files) {
        assert_eq!(read(file).0["digest"], set_up["digest_sha256"]);
    }
}

/// One bit anywhere in every slot, with its check left as it was, and with the check made to fit again; a slot left out, put in twice,
/// or in its neighbour's place; half a slot.
#[test]
fn nothing_that_is_changed_goes_unnoticed() {
    let folder = tempfile::tempdir().unwrap();
    let (held, files) = demonstration(folder.path());
    let whole = std::fs::read(&files[0]).unwrap();
    let slots: Vec<&[u8]> = whole.chunks_exact(32).collect();
    let mut changed: Vec<(String, Vec<u8>)> = Vec::new();
    for (n, slot) in slots.iter().enumerate() {
        let put = |slot: &[u8]| [&whole[..32 * n], slot, &whole[32 * n + 32..]].concat();
        let (byte, bit) = ((n * 13 + 5) % 32, n % 8);
        let mut turned = slot.to_vec();
        turned[byte] ^= 1 << bit;
        changed.push((format!("bit {bit} of byte {byte} of slot {n}"), put(&turned)));
        let used = usize::from(slot[8]); // bytes of the body, from byte 9 on
        let within = 9 + (n * 7) % used;
        let mut repaired = slot.to_vec();
        repaired[within] ^= 1 << bit;
        let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&repaired[..28]);
        repaired[28..].copy_from_slice(&check.to_le_bytes());
        assert!(Slot::check(repaired.as_slice().try_into().unwrap()).is_ok(), "the slot by itself is a sound one");
        changed.push((format!("byte {within} of slot {n}, its check repaired"), put(&repaired)));
        changed.push((format!("slot {n} left out"), put(&[])));
        changed.push((format!("slot {n} twice"), put(&[*slot, *slot].concat())));
        if let Some(next) = slots.get(n + 1) {
            let turned = [&whole[..32 * n], next, slot, &whole[32 * n + 64..]].concat();
            changed.push((format!("slots {n} and {} in each other's place", n + 1), turned));
        }
    }
    changed.push(("half a slot more".to_owned(), [&whole[..], &[0; 16]].concat()));
    let other = std::fs::read(&files[1]).unwrap();
    changed.push(("the end of another hole".to_owned(), [&whole[..whole.len() / 64 * 32], &other[other.len() / 64 * 32..]].concat()));
    let bytes: Vec<Vec<u8>> = changed.iter().map(|(_, bytes)| bytes.clone()).collect();
    let found = wrong(&bytes);
    let unnoticed: Vec<&String> = changed.iter().zip(&found).filter(|(_, wrong)| wrong.is_empty()).map(|((what, _), _)| what).collect();
    assert!(unnoticed.is_empty() && changed.len() > 500, "{} of {}: {unnoticed:?}", unnoticed.len(), changed.len());
    assert_eq!(wrong(&[whole, other]), [Vec::<String>::new(), Vec::new()], "what is not changed is not complained of");
    assert_eq!(held.holes.len(), 2);
}

/// A hole of whose records some did not arrive: the same are missing to both, and neither takes the rest for whole.
#[test]
fn what_is_missing_to_us_is_missing_to_it() {
    let line = Line::worst();
    let (held, files) = exported(&line.store, line.folder.path());
    let (hole, file) = held.holes.iter().zip(&files).find(|(hole, _)| !hole.setup.missing.is_empty()).expect("the worst");
    let (said, code) = read(file);
    let mut ours: Vec<[u32; 2]> = Vec::new();
    for missing in &hole.setup.missing {
        match ours.last_mut().filter(|last| last[1] + 1 == missing.first) {
            Some(last) => last[1] = missing.last,
            None => ours.push([missing.first, missing.last]),
        }
    }
    assert_eq!((&said["missing"], code), (&json!(ours), Some(1)));
    assert_eq!(said["gaps"], json!([[1157, 1157]]), "the one that the rig itself declares");
    assert!(said["wrong"].as_array().unwrap().iter().any(|wrong| wrong.as_str().unwrap().starts_with("the segment before slot")), "{said}");
}
