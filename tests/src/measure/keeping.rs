//! The store: how large a season is in it, how fast records are on the disk, and how fast one hole is opened.

use super::{Other, Row, figure, others, shortest};
use crate::samples::{Rig, of_season};
use host_tool::session::Stream;
use host_tool::store::Store;
use rusqlite::{Connection, params};
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use super::facts::Facts;

/// Slots that come in one step of a host while it catches up at full speed: a quarter of a second's.
const BATCH: usize = 84;
/// Slots a second that a line of 115,200 baud brings, seven to a frame of 232 bytes.
const LINE_SLOTS: f64 = 11_520.0 / 232.0 * 7.0;

/// Rigs that drill a season's holes in turn.
const RIGS: usize = 5;

/// A season's slots, hole after hole, each with its rig.
fn season(holes: u32) -> Vec<(Stream, Vec<Slot>)> {
    let mut rigs: Vec<Rig> = (0..RIGS).map(|number| Rig::new(&format!("SIM-{number}"))).collect();
    let turns = (0..RIGS).cycle();
    let drilled = (0..holes).zip(turns).map(|(n, rig)| {
        let slots = rigs[rig].drill(of_season(n));
        (rigs[rig].stream.clone(), slots)
    });
    drilled.collect()
}

/// A file with what belongs to it, bytes.
fn size(path: &Path) -> f64 {
    let of = |ending: &str| std::fs::metadata(format!("{}{ending}", path.display())).map_or(0, |data| data.len());
    #[allow(clippy::cast_precision_loss)] // far below 2⁵³
    let sum = (of("") + of("-wal")) as f64;
    sum
}

/// As a good engineer would begin: a table with a row for each slot, found by rig and sequence, durable.
fn row_per_slot(path: &Path) -> rusqlite::Result<Connection> {
    let db = Connection::open(path)?;
    db.execute_batch(
        "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
         CREATE TABLE slot (id INTEGER PRIMARY KEY, rig TEXT NOT NULL, epoch INTEGER NOT NULL, sequence INTEGER NOT NULL, body BLOB NOT NULL);
         CREATE UNIQUE INDEX place ON slot (rig, epoch, sequence);",
    )?;
    Ok(db)
}

fn put_rows(db: &mut Connection, rig: &str, slots: &[Slot]) -> rusqlite::Result<()> {
    let act = db.transaction()?;
    {
        let mut put = act.prepare_cached("INSERT INTO slot (rig, epoch, sequence, body) VALUES (?1, 1, ?2, ?3)")?;
        slots.iter().try_for_each(|slot| put.execute(params![rig, slot.sequence(), slot.bytes()]).map(drop))?;
    }
    act.commit()
}

fn json_lines(rig: &str, slots: &[Slot]) -> Vec<u8> {
    let mut out = Vec::new();
    for (sequence, record) in host_tool::facts::records(slots) {
        let mut line = serde_json::to_value(Facts::of(sequence, 7, &record)).expect("plain");
        line["rig"] = rig.into();
        serde_json::to_writer(&mut out, &line).expect("into memory");
        out.push(b'\n');
    }
    out
}

/// Bytes after the usual compressor's usual level.
fn compressed(bytes: &[u8]) -> std::io::Result<usize> {
    let mut child = Command::new("zstd").args(["-q", "-3", "-c"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn()?;
    let mut input = child.stdin.take().ok_or_else(|| std::io::Error::other("no input"))?;
    let bytes = bytes.to_vec();
    let feeding = std::thread::spawn(move || input.write_all(&bytes));
    let out = child.wait_with_output()?;
    feeding.join().map_err(|_| std::io::Error::other("feeding ended"))??;
    if out.status.success() { Ok(out.stdout.len()) } else { Err(std::io::Error::other("zstd failed")) }
}

/// How large, and how fast durably.
///
/// # Panics
/// Where a folder cannot be written.
#[must_use]
pub fn a_season(holes: u32, folder: &Path) -> [Row; 2] {
    let season = season(holes);
    let slots: usize = season.iter().map(|(_, hole)| hole.len()).sum();
    let raw = figure(slots * SLOT_BYTES);

    let path = folder.join("ours.store");
    let mut ours = Store::open(&path).expect("a store");
    let took = shortest(1, || {
        for (rig, hole) in &season {
            hole.chunks(BATCH).for_each(|some| drop(ours.keep(rig, some).expect("kept")));
        }
    });
    let listed = ours.found().expect("found").len();
    drop(ours);
    let theirs = folder.join("rows.sqlite");
    let mut db = row_per_slot(&theirs).expect("a table");
    let rows = shortest(1, || {
        for (Stream { rig, .. }, hole) in &season {
            hole.chunks(BATCH).for_each(|some| put_rows(&mut db, rig, some).expect("kept"));
        }
    });
    drop(db);
    let lines = folder.join("lines.jsonl");
    let mut file = std::fs::File::create(&lines).expect("a file");
    let written = shortest(1, || {
        for (Stream { rig, .. }, hole) in &season {
            for some in hole.chunks(BATCH) {
                file.write_all(&json_lines(rig, some)).and_then(|()| file.sync_data()).expect("written");
            }
        }
    });
    let zipped = compressed(&std::fs::read(&lines).expect("a file")).map_or(f64::NAN, figure);
    let part = |bytes: f64| bytes / raw;
    let (mine, row_file) = (size(&path), size(&theirs));
    let rate = |took: f64| figure(slots) / took / 1e3;
    let small = Row {
        what: format!("a season in the store, {holes} holes"),
        unit: "times the raw slots",
        ours: part(mine),
        others: others([
            ("one SQLite row per slot", part(row_file)),
            ("JSON lines", part(size(&lines))),
            ("JSON lines + zstd", part(zipped)),
        ]),
        aim: "at most 1.1; under three quarters of a row per slot",
        holds: part(mine) <= 1.1 && mine <= 0.75 * row_file,
        note: format!("{:.1} MB of slots, drilled by {RIGS} rigs in turn; where each of {listed} set-ups stands is in it", raw / 1e6),
    };
    let fast = Row {
        what: "records on the disk before they are acknowledged".to_owned(),
        unit: "thousand slots a second",
        ours: rate(took),
        others: vec![
            Other { name: "one SQLite row per slot".to_owned(), value: rate(rows) },
            Other { name: "JSON lines, written through".to_owned(), value: rate(written) },
            Other { name: "what the line brings".to_owned(), value: LINE_SLOTS / 1e3 },
        ],
        aim: "100 times the line's rate",
        holds: rate(took) * 1e3 >= 100.0 * LINE_SLOTS,
        note: format!("{BATCH} slots to a commit, each waits for the disk"),
    };
    [small, fast]
}
