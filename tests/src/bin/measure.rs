//! Measures what is promised to be small and fast, and prints a row of JSON for each: `measure [--quick] FOLDER`. The folder is for what
//! is written meanwhile.

use std::path::Path;
use std::process::ExitCode;
use tests::measure::{Row, catching, codec, evidence, judging, keeping};
use tests::week::{HOLES, Week};

fn main() -> ExitCode {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let quick = given.first().is_some_and(|word| word == "--quick");
    let Some(folder) = given.get(usize::from(quick)) else {
        eprintln!("measure: give a folder for what is written meanwhile");
        return ExitCode::from(2);
    };
    for row in rows(quick, Path::new(folder)) {
        match serde_json::to_string(&row) {
            Ok(line) => println!("{line}"),
            Err(why) => eprintln!("measure: {}: {why}", row.what),
        }
    }
    ExitCode::SUCCESS
}

fn rows(quick: bool, folder: &Path) -> Vec<Row> {
    let scale = if quick { 50 } else { 1 };
    let mut week = Week::new();
    (0..HOLES / if quick { 12 } else { 1 }).for_each(|hole| week.hole(hole));
    let memory = week.memory.clone();
    let (store, _) = week.drain();
    let rigs = store.rigs().unwrap_or_default();
    let slots = rigs.first().and_then(|rig| store.stream(rig).ok()).unwrap_or_default().slots;
    let setups = host_tool::facts::read(&slots);
    let second = setups.get(1).map(|setup| setup.opened.sequence).zip(setups.get(2).map(|setup| setup.opened.sequence));
    let hole = second.map(|(from, to)| slots.iter().filter(|slot| (from..to).contains(&slot.sequence())).copied().collect::<Vec<_>>());
    let mut rows: Vec<Row> = hole.iter().map(|hole| evidence::of_hole(hole)).collect();
    rows.push(evidence::of_live());
    rows.push(catching::up(memory));
    rows.push(codec::both_ways(200_000 / scale));
    rows.push(codec::season(1_000_000 / scale));
    rows.extend(keeping::a_season(5_000 / scale, folder));
    rows.push(judging::season(5_000 / scale));
    rows
}
