//! Measures what is promised to be small and fast, and prints a row of JSON for each: `measure [--quick] FOLDER [PART]`. The folder is for
//! what is written meanwhile; a part is one of those below, all otherwise.

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
    let part = given.get(usize::from(quick) + 1).map(String::as_str);
    for (name, measure) in PARTS {
        if part.is_some_and(|part| part != *name) {
            continue;
        }
        for row in measure(quick, Path::new(folder)) {
            match serde_json::to_string(&row) {
                Ok(line) => println!("{line}"),
                Err(why) => eprintln!("measure: {}: {why}", row.what),
            }
        }
    }
    ExitCode::SUCCESS
}

/// Rows of what can be measured alone, a little only or all, and what is written meanwhile in a folder.
type Part = fn(bool, &Path) -> Vec<Row>;

const PARTS: &[(&str, Part)] = &[
    ("week", of_week),
    ("codec", |quick, _| {
        vec![codec::both_ways(if quick { 200_000 } else { 1_000_000 }), codec::season(if quick { 1_000_000 } else { 4_000_000 })]
    }),
    ("store", |quick, folder| keeping::a_season(5_000 / scale(quick), folder).to_vec()),
    ("judge", |quick, _| vec![judging::season(if quick { 1_000 } else { 5_000 })]),
];

fn scale(quick: bool) -> u32 {
    if quick { 50 } else { 1 }
}

/// What a rig recorded in a week, its second hole, and all of it fetched.
fn of_week(quick: bool, _: &Path) -> Vec<Row> {
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
    rows.extend([evidence::of_live(), catching::up(memory)]);
    rows
}
