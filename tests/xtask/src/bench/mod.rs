//! `bench`: how small and fast this is beside what a good engineer would otherwise have used, as ratios from one run, written to the docs.

mod cold;
mod commands;
mod glass;
mod growth;
mod paper;
mod paths;
mod plot;
mod rig;
mod row;

use crate::test::run_command;
use crate::{Outcome, board, tools};
use clap::{Args, ValueEnum};
use row::Row;
use std::process::Command;

/// Where the tables go.
const DOCUMENT: &str = "host-tool/docs/speed.md";
/// Each between lines of its own there.
type Marks = [&'static str; 2];
const RATIOS: Marks = ["<!-- the table, by cargo xtask bench -->", "<!-- end of the table -->"];
const COLD: Marks = ["<!-- from a clean clone, by cargo xtask bench -->", "<!-- end of from a clean clone -->"];
const GROWTH: Marks = ["<!-- how it grows, by cargo xtask bench -->", "<!-- end of how it grows -->"];
const PATHS: Marks = ["<!-- instructions, by cargo xtask bench -->", "<!-- end of instructions -->"];
/// Where something has collapsed: a row by the beginning of its name, what it is held against, and the least that the other may take of
/// ours (a size or a time) or the most (a rate). The aims are in the table.
const COLLAPSED: &[(&str, &str, Held)] = &[
    ("evidence of a hole", "JSON lines", Held::AtLeast(3.0)),
    ("a live sample", "JSON lines", Held::AtLeast(3.0)),
    ("catching up", "the line's own time", Held::AtLeast(0.6)),
    ("records encoded", "protobuf", Held::AtMost(1.0)),
    ("a season in the store", "one SQLite row per slot", Held::AtLeast(1.0)),
    ("a season judged", "numpy and scipy by the same series", Held::AtLeast(5.0)),
    ("paper", "reportlab", Held::AtMost(10.0)),
    ("paper", "a headless browser", Held::AtMost(1.0)),
];

/// A ratio that still stands, the other's figure over ours.
#[derive(Clone, Copy, Debug)]
enum Held {
    AtLeast(f64),
    AtMost(f64),
}

/// How much.
#[derive(Debug, Args)]
pub struct Arguments {
    /// A little only, to see that it runs and that no ratio has collapsed; writes nothing
    #[arg(long)]
    quick: bool,
    /// One of its parts
    #[arg(long, conflicts_with = "quick")]
    only: Option<Part>,
}

impl Arguments {
    /// As it stands among what proves the tree.
    pub const QUICK: Self = Self { quick: true, only: None };
}

/// What can be measured alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Part {
    /// Beside what else could have been used
    Ratios,
    /// Time and memory by the number of holes, with a plot
    Growth,
    /// Instructions of the costliest paths
    Paths,
    /// From a clean clone of what is committed to the first papers
    Cold,
}

/// Measures, prints the tables, and writes them to the docs.
pub fn run(arguments: &Arguments) -> Outcome {
    let does = |part| arguments.only.is_none_or(|only| only == part);
    if does(Part::Ratios) {
        tools::ready()?;
        build(&["measure", "borewitness", "season", "seeds"])?;
        ratios(arguments.quick)?;
    }
    if does(Part::Growth) && !arguments.quick {
        build(&["growth", "borewitness"])?;
        say(GROWTH, &growth::table()?)?;
    }
    if does(Part::Paths) && !arguments.quick {
        build(&["paths"])?;
        say(PATHS, &paths::table()?)?;
    }
    if does(Part::Cold) && !arguments.quick {
        say(COLD, &cold::table()?)?;
    }
    Ok(())
}

fn build(bins: &[&str]) -> Outcome {
    let bins = bins.iter().flat_map(|bin| ["--bin", bin]);
    run_command(Command::new(env!("CARGO")).args(["build", "--release", "--quiet", "--workspace"]).args(bins), "cargo build")
}

fn ratios(quick: bool) -> Outcome {
    let folder = board::root().join("target/measured");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).map_err(|why| format!("{}: {why}", folder.display()))?;
    let mut measure = Command::new(board::root().join("target/release/measure"));
    let text = said(measure.args(quick.then_some("--quick")).arg(&folder), "measure")?;
    let mut rows: Vec<Row> =
        text.lines().map(|line| serde_json::from_str(line).map_err(|why| format!("measure: {why}: {line}"))).collect::<Result<_, _>>()?;
    rows.push(paper::row(quick)?);
    rows.push(commands::simulated(quick)?);
    rows.push(commands::list(&folder.join("ours.store"))?);
    rows.extend(glass::rows(quick)?);
    if !quick {
        rows.extend(rig::rows()?);
    }
    let table = row::table(&rows);
    if quick {
        println!("{table}");
        return collapsed(&rows);
    }
    // a table that shows what has collapsed is printed, not written
    collapsed(&rows).inspect_err(|_| println!("{table}"))?;
    say(RATIOS, &table)
}

/// Prints a table and writes it to the docs.
fn say(marks: Marks, table: &str) -> Outcome {
    println!("{table}");
    write(marks, table)
}

/// What a program says, or why it said nothing.
fn said(command: &mut Command, name: &str) -> Outcome<String> {
    let out = command.output().map_err(|why| format!("{name} cannot be started: {why}"))?;
    if out.status.success() {
        return Ok(String::from_utf8_lossy(&out.stdout).into_owned());
    }
    Err(format!("{name}: {}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr)))
}

fn collapsed(rows: &[Row]) -> Outcome {
    for (what, name, held) in COLLAPSED {
        let row = rows.iter().find(|row| row.what.starts_with(what)).ok_or_else(|| format!("{what}: not measured"))?;
        let other = row.others.iter().find(|other| other.name.starts_with(name)).ok_or_else(|| format!("{what}: {name} not measured"))?;
        let ratio = other.value / row.ours;
        let stands = match held {
            Held::AtLeast(least) => ratio >= *least,
            Held::AtMost(most) => ratio <= *most,
        };
        if !stands {
            return Err(format!("{what}: {name} is {ratio:.2} times ours, and {held:?} is what has held: look what has changed"));
        }
    }
    Ok(())
}

fn write(marks: Marks, table: &str) -> Outcome {
    let path = board::root().join(DOCUMENT);
    let text = std::fs::read_to_string(&path).map_err(|why| format!("{DOCUMENT}: {why}"))?;
    let whole = with(&text, marks, table).ok_or_else(|| format!("{DOCUMENT}: put back the two marks: {} and {}", marks[0], marks[1]))?;
    std::fs::write(&path, whole).map_err(|why| format!("{DOCUMENT}: {why}"))
}

/// The document with another table in it; what people wrote round it stays.
fn with(text: &str, marks: Marks, table: &str) -> Option<String> {
    let (before, rest) = text.split_once(marks[0])?;
    let after = rest.split_once(marks[1])?.1;
    Some(format!("{before}{}\n\n{}\n\n{table}\n{}{after}", marks[0], machine(), marks[1]))
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

#[cfg(test)]
mod tests {
    use super::*;
    use row::Other;

    #[test]
    fn a_table_goes_between_its_own_marks() {
        let text = format!("a\n{}\nold\n{}\nb\n{}\nold\n{}\nc\n", RATIOS[0], RATIOS[1], GROWTH[0], GROWTH[1]);
        let new = with(&text, GROWTH, "| new |\n").expect("marks");
        assert!(
            new.contains("old") && new.matches("old").count() == 1 && new.contains("| new |\n\n<!-- end of how it grows -->\nc\n"),
            "{new}"
        );
        assert_eq!((new.find("old") < new.find("\nb\n"), with(&text, PATHS, "")), (true, None));
    }

    #[test]
    fn a_ratio_that_has_collapsed_is_named() {
        let row = |what: &str, name: &str, value: f64| Row {
            what: what.into(),
            unit: String::new(),
            ours: 1.0,
            others: vec![Other { name: name.into(), value }],
            aim: String::new(),
            holds: true,
            note: String::new(),
        };
        let good = |held: &Held| match held {
            Held::AtLeast(least) => least * 1.1,
            Held::AtMost(most) => most * 0.9,
        };
        let mut rows: Vec<Row> = COLLAPSED.iter().map(|(what, name, held)| row(what, name, good(held))).collect();
        rows[6].others.push(Other { name: "a headless browser".into(), value: 0.1 });
        assert_eq!(collapsed(&rows), Ok(()));
        rows[0].others[0].value = 2.0;
        assert!(collapsed(&rows).is_err_and(|why| why.contains("evidence of a hole: JSON lines is 2.00 times ours")));
        rows.remove(0);
        assert!(collapsed(&rows).is_err_and(|why| why.contains("not measured")));
    }
}
