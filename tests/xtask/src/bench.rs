//! `bench`: how fast this is beside what a good engineer would otherwise have used, as ratios from one run, written to the docs.

use crate::test::run_command;
use crate::{Outcome, board, tools};
use clap::Args;
use serde_json::Value;
use std::process::Command;

/// Where the table goes.
const DOCUMENT: &str = "host-tool/docs/speed.md";
/// Below these ratios something has collapsed; the aims are in the table.
const COLLAPSED: [(&str, f64); 2] = [("reportlab", 0.1), ("browser", 1.0)];

/// How much.
#[derive(Debug, Args)]
pub struct Arguments {
    /// A few papers only, to see that it runs and that no ratio has collapsed; writes nothing
    #[arg(long)]
    quick: bool,
}

/// One way to print.
struct Printed {
    name: String,
    papers: u64,
    pages: f64,
    seconds: f64,
}

/// Measures, prints the table, and writes it to the docs.
pub fn run(arguments: &Arguments) -> Outcome {
    tools::ready()?;
    run_command(Command::new(env!("CARGO")).args(["build", "--release", "--quiet", "-p", "tests", "--bin", "season"]), "cargo build")?;
    let count = if arguments.quick { "8" } else { "100" };
    let root = board::root();
    let mut speed = Command::new(root.join("target/venv/bin/python"));
    speed.arg(root.join("tests/python/paper_speed.py")).arg(root.join("target/release/season"));
    speed.arg(root.join("target/browser/node_modules")).arg(count);
    let out = speed.output().map_err(|error| format!("python cannot be started: {error}"))?;
    if !out.status.success() {
        return Err(format!("paper_speed.py: {}", String::from_utf8_lossy(&out.stderr)));
    }
    let text = String::from_utf8_lossy(&out.stdout);
    let printed = text.lines().map(read).collect::<Option<Vec<_>>>().ok_or("paper_speed.py said something else")?;
    let table = table(&printed)?;
    println!("{table}");
    if arguments.quick {
        return collapsed(&printed);
    }
    let head = "# How fast it is\n\nMade by `cargo xtask bench`; each row is a ratio from one run on one machine. Times of other runs and machines differ, ratios less.\n\n";
    std::fs::write(root.join(DOCUMENT), format!("{head}{}\n\n{table}", machine())).map_err(|error| format!("{DOCUMENT}: {error}"))
}

fn read(line: &str) -> Option<Printed> {
    let value: Value = serde_json::from_str(line).ok()?;
    let name = value.get("name")?.as_str()?.to_owned();
    Some(Printed {
        name,
        papers: value.get("papers")?.as_u64()?,
        pages: value.get("pages")?.as_f64()?,
        seconds: value.get("seconds")?.as_f64()?,
    })
}

fn ratio(ours: &Printed, other: &Printed) -> f64 {
    other.seconds / ours.seconds
}

fn table(printed: &[Printed]) -> Outcome<String> {
    let ours = printed.first().filter(|first| first.name == "ours").ok_or("nothing of ours was printed")?;
    let mut table = String::from("| paper per second of processor | pages a second | ours is so many times as fast |\n|---|---|---|\n");
    for one in printed {
        let what = match one.name.as_str() {
            "ours" => format!("this project: {} papers stored, judged, set, tagged, signed, with their evidence", one.papers),
            "reportlab" => "the same words and as many strokes set by reportlab, and no more".to_owned(),
            _ => "the same printed by a headless browser, one page object for all, and no more".to_owned(),
        };
        table += &format!("| {what} | {:.1} | {:.2} |\n", one.pages / one.seconds, ratio(ours, one));
    }
    Ok(table)
}

fn collapsed(printed: &[Printed]) -> Outcome {
    let ours = printed.first().ok_or("nothing was printed")?;
    for (name, least) in COLLAPSED {
        let other = printed.iter().find(|one| one.name == name).ok_or_else(|| format!("{name} printed nothing"))?;
        if ratio(ours, other) < least {
            return Err(format!(
                "beside {name} paper is {:.2} times as fast, and {least} is the least: look what has become slow",
                ratio(ours, other)
            ));
        }
    }
    Ok(())
}

/// What it ran on.
fn machine() -> String {
    let cpu = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let model = cpu
        .lines()
        .find_map(|line| line.strip_prefix("model name"))
        .map_or("an unnamed processor", |rest| rest.trim_start_matches([' ', '\t', ':']));
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    format!("Machine: {model}, {cores} of its cores.")
}
