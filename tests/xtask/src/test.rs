//! `test`: everything that proves the tree, in order, with one summary at the end.

use crate::{Outcome, bench, board, coverage, cuts, firmware, fuzz, seeds, size, tools, unpanicking};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// Minutes that each fuzzer runs.
const FUZZ_MINUTES: f64 = 0.2;
/// Whole sites in which anything may fail.
const SEEDS: u64 = 300;
/// Holes that are drilled to see whether what is stated of them holds.
const COVERAGE_HOLES: u64 = 200;
/// Papers that the demonstration must leave: two certificates and a summary.
const PAPERS_MIN: usize = 3;

/// Where the demonstration leaves its papers, from the top.
pub const DEMONSTRATION: &str = "target/demonstration";

/// One step: its name and what it does.
type Step = (&'static str, fn() -> Outcome);

const STEPS: &[Step] = &[
    ("tools", tools::ready),
    ("format", || cargo(&["fmt", "--all", "--check"])),
    ("lints", || cargo(&["clippy", "--workspace", "--all-targets", "--quiet", "--", "-D", "warnings"])),
    ("tests", || cargo(&["test", "--workspace", "--quiet"])),
    ("documentation", || cargo_with(&["doc", "--workspace", "--no-deps", "--quiet"], &[("RUSTDOCFLAGS", "-D warnings")])),
    ("demonstration", demonstration),
    ("ratios", || bench::run(&bench::Arguments::QUICK)),
    ("fuzzer", || fuzz::run(&fuzz::Arguments { target: fuzz::Target::All, minutes: FUZZ_MINUTES, seed: 1 })),
    ("power cuts", || cuts::run(&cuts::Arguments { seed: 1, every: 1, pairs_every: 1, at: None, then: None })),
    ("seeds", || seeds::run(&seeds::Arguments { from: 1, count: SEEDS, seed: None, only: Vec::new() })),
    ("coverage", || coverage::run(&coverage::Arguments { holes: COVERAGE_HOLES, seed: 1, curves: false })),
    ("board's image", || firmware::build().map(drop)),
    ("no panic", unpanicking::run),
    ("board's budget", size::run),
    ("emulated board", || cargo(&["test", "--package", "tests", "--test", "emulated", "--quiet", "--", "--test-threads=1"])),
];

/// Runs every step; the first that fails ends it.
pub fn run() -> Outcome {
    let begun = Instant::now();
    let mut summary = Vec::new();
    for (name, step) in STEPS {
        println!("== {name}");
        let since = Instant::now();
        let outcome = step();
        summary.push((*name, since.elapsed(), outcome.is_ok()));
        if let Err(why) = outcome {
            print_summary(&summary, begun.elapsed());
            return Err(format!("{name}: {why}"));
        }
    }
    print_summary(&summary, begun.elapsed());
    Ok(())
}

fn print_summary(summary: &[(&str, Duration, bool)], total: Duration) {
    println!("\n{:<16} {:>8}", "step", "seconds");
    for (name, took, passed) in summary {
        println!("{name:<16} {:>8.1}  {}", took.as_secs_f64(), if *passed { "passed" } else { "FAILED" });
    }
    println!("{:<16} {:>8.1}", "all", total.as_secs_f64());
}

fn cargo(arguments: &[&str]) -> Outcome {
    cargo_with(arguments, &[])
}

/// Runs cargo here with these variables set.
pub fn cargo_with(arguments: &[&str], environment: &[(&str, &str)]) -> Outcome {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.args(arguments).envs(environment.iter().copied()).current_dir(board::root());
    run_command(&mut command, &format!("cargo {}", arguments.join(" ")))
}

/// Runs a command whose own words say what is wrong.
pub fn run_command(command: &mut Command, name: &str) -> Outcome {
    let status = command.status().map_err(|error| format!("{name} cannot be started: {error}"))?;
    if status.success() { Ok(()) } else { Err(format!("{name} failed; what it says above is why")) }
}

/// The README's first command, as a newcomer runs it.
pub fn demonstration() -> Outcome {
    let folder = board::root().join(DEMONSTRATION);
    let _ = std::fs::remove_dir_all(&folder);
    cargo(&["build", "--release", "--quiet"])?;
    let since = Instant::now();
    let out = folder.to_string_lossy().into_owned();
    cargo(&["run", "--release", "--quiet", "--", "demo", "--out", &out])?;
    println!("drilled and printed in {:.1} s", since.elapsed().as_secs_f64());
    let papers = papers(&folder)?;
    if papers < PAPERS_MIN { Err(format!("{papers} papers in {out}, {PAPERS_MIN} wanted")) } else { Ok(()) }
}

fn papers(folder: &Path) -> Outcome<usize> {
    let entries = std::fs::read_dir(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    Ok(entries.filter_map(Result::ok).filter(|entry| entry.path().extension().is_some_and(|e| e == "pdf")).count())
}
