//! Instructions of the three costliest paths, counted by callgrind: between a count and half of it lies the path alone, without start-up
//! and what is made ready.

use super::row::short;
use crate::{Outcome, board};
use std::process::Command;

/// A path by its name in `paths`.
struct Path {
    name: &'static str,
    what: &'static str,
    /// How often it is gone through; each is half as many times more than its half.
    count: u32,
    /// Instructions for each at `BEFORE`, counted the same way: errors were added up on grids, set texts not kept, slots checked by one table.
    before: f64,
}

/// The commit that the figures before are of, and its day.
const BEFORE: &str = "92d0926 of 2026-11-29";

const PATHS: [Path; 3] = [
    Path { name: "judge", what: "a hole of 3.3 m judged", count: 20, before: 240_976_958.0 },
    Path { name: "slots", what: "a slot checked and digested", count: 20_000, before: 1_945.0 },
    Path { name: "paper", what: "a paper judged, set, tagged, signed, written", count: 6, before: 444_398_135.0 },
];

/// Counts and returns the table.
pub fn table() -> Outcome<String> {
    let mut table = format!("| what, once | instructions | before ({BEFORE}) | of before |\n|---|---|---|---|\n");
    for path in &PATHS {
        let each = f64::from(path.count - path.count / 2);
        let now = (counted(path, path.count)? - counted(path, path.count / 2)?) / each;
        table += &row(path, now);
    }
    Ok(table)
}

fn row(path: &Path, now: f64) -> String {
    format!("| {} | {} | {} | {} |\n", path.what, thousands(now), thousands(path.before), short(now / path.before))
}

/// All instructions of a run.
fn counted(path: &Path, count: u32) -> Outcome<f64> {
    let program = board::root().join("target/release/paths");
    let mut callgrind = Command::new("valgrind");
    // workers that look for work would count
    callgrind.args(["--tool=callgrind", "--callgrind-out-file=/dev/null"]).env("RAYON_NUM_THREADS", "1");
    callgrind.arg(program).args([path.name, &count.to_string(), &path.count.to_string()]);
    let out = callgrind.output().map_err(|why| format!("valgrind cannot be started: {why}"))?;
    let text = String::from_utf8_lossy(&out.stderr);
    let figure = text.lines().find_map(|line| line.split_once("Collected : ")?.1.trim().parse().ok());
    figure.filter(|_| out.status.success()).ok_or_else(|| format!("valgrind said no count of {}: {text}", path.name))
}

/// A whole number, its thousands apart.
fn thousands(value: f64) -> String {
    let digits = format!("{value:.0}");
    let apart = |(n, digit): (usize, char)| {
        let comma = (n > 0 && (digits.len() - n).is_multiple_of(3)).then_some(',');
        comma.into_iter().chain([digit])
    };
    digits.chars().enumerate().flat_map(apart).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_says_how_much_less_it_became() {
        let path = Path { name: "", what: "judged", count: 2, before: 40_000_000.0 };
        assert_eq!(row(&path, 1_000_000.4), "| judged | 1,000,000 | 40,000,000 | 0.025 |\n");
        assert_eq!([thousands(7.0), thousands(999.6), thousands(123_456.0)], ["7", "1,000", "123,456"]);
    }
}
