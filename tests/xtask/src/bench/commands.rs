//! Rows of whole programs: simulated hours, and the list of holes beside SQLite's own program on the same file.

use super::row::{Other, Row};
use crate::{Outcome, board};
use serde::Deserialize;
use std::ffi::OsStr;
use std::path::Path;
use std::process::Command;

/// Runs of a command; the shortest counts, since what else the machine does only ever adds.
const RUNS: &str = "5";

/// Sites with every kind of fault, on native rigs.
pub fn simulated(quick: bool) -> Outcome<Row> {
    let mut seeds = Command::new(board::root().join("target/release/seeds"));
    let text = super::said(seeds.args(["1", if quick { "40" } else { "1000" }]), "seeds")?;
    let rate = text.lines().find_map(|line| line.split_once(" s: ")?.1.split(' ').next()?.parse::<f64>().ok());
    let ours = rate.ok_or("seeds did not say how many hours it simulated")? * 3_600.0;
    Ok(Row {
        what: "simulated hours an hour, native rigs with every kind of fault".into(),
        unit: "times real time".into(),
        ours,
        others: vec![Other { name: "real time".into(), value: 1.0 }],
        aim: "1,000 times".into(),
        holds: ours >= 1_000.0,
        note: "all processors".into(),
    })
}

/// `borewitness holes` on a store that `measure` left, beside the slots of each stream counted and its newest read by SQLite's program.
pub fn list(store: &Path) -> Outcome<Row> {
    let ours = board::root().join("target/release/borewitness");
    let ours = shortest(&[ours.as_os_str(), "holes".as_ref(), "--store".as_ref(), store.as_os_str()])?;
    let sql = "SELECT rig, epoch, sum((length(slots) - 12) / 32), min(blocks.id), max(blocks.id), hex(max(slots)) FROM blocks JOIN streams ON streams.id = blocks.id >> 32 GROUP BY streams.id";
    let theirs = shortest(&["sqlite3".as_ref(), "-readonly".as_ref(), store.as_os_str(), sql.as_ref()])?;
    Ok(Row {
        what: "the list of a season's holes, the whole command".into(),
        unit: "s".into(),
        ours,
        others: vec![Other { name: "sqlite3 reading and counting the same slots".into(), value: theirs }],
        aim: "within 2 times".into(),
        holds: ours <= 2.0 * theirs,
        note: "ours checks each slot, reads its records and judges each hole".into(),
    })
}

/// Seconds of a whole command, by hyperfine; it says itself where a command fails.
fn shortest(command: &[&OsStr]) -> Outcome<f64> {
    let export = board::root().join("target/measured/hyperfine.json");
    let mut hyperfine = Command::new("hyperfine");
    hyperfine.args(["--shell=none", "--style=none", "--warmup=1", "--runs", RUNS, "--export-json"]).arg(&export);
    hyperfine.arg(shell_words::join(command.iter().map(|part| part.to_string_lossy())));
    super::said(&mut hyperfine, "hyperfine")?;
    let text = std::fs::read_to_string(&export).map_err(|why| format!("{}: {why}", export.display()))?;
    let found: Export = serde_json::from_str(&text).map_err(|why| format!("{}: {why}", export.display()))?;
    found.results.first().map(|one| one.min).ok_or_else(|| "hyperfine timed nothing".to_owned())
}

/// What hyperfine writes of each command.
#[derive(Deserialize)]
struct Export {
    results: Vec<Timed>,
}

#[derive(Deserialize)]
struct Timed {
    /// Seconds of its shortest run.
    min: f64,
}
