//! Rows of whole programs: simulated hours, and the list of holes beside SQLite's own program on the same file.

use super::row::{Other, Row};
use crate::{Outcome, board};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Runs of a command; the shortest counts, since what else the machine does only ever adds.
const RUNS: usize = 5;

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
    let ours = shortest(|| {
        let mut command = Command::new(board::root().join("target/release/borewitness"));
        command.args(["holes", "--store"]).arg(store);
        command
    })?;
    let sql = "SELECT rig, epoch, sum((length(slots) - 12) / 32), min(blocks.id), max(blocks.id), hex(max(slots)) FROM blocks JOIN streams ON streams.id = blocks.id >> 32 GROUP BY streams.id";
    let theirs = shortest(|| {
        let mut command = Command::new("sqlite3");
        command.arg("-readonly").arg(store).arg(sql);
        command
    })?;
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

fn shortest(command: impl Fn() -> Command) -> Outcome<f64> {
    let mut best = f64::INFINITY;
    for _ in 0..RUNS {
        let (mut command, since) = (command(), Instant::now());
        let status = command.stdout(Stdio::null()).status().map_err(|why| format!("{command:?} cannot be started: {why}"))?;
        if !status.success() {
            return Err(format!("{command:?} failed; what it says above is why"));
        }
        best = best.min(since.elapsed().as_secs_f64());
    }
    Ok(best)
}
