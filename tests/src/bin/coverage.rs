//! Drills many holes with errors of their own and counts how often what is stated of them holds:
//! `coverage HOLES SEED`. The report is in Markdown.

use simulator::errors::Magnitudes;
use std::process::ExitCode;
use tests::coverage::draw;
use tests::coverage::drill::{Drilled, drill_all};
use tests::coverage::limits::{AT_LIMIT_MOST, POWER_LEAST, SIDES, near_a_limit, shown_within};
use tests::coverage::score::{BAND, Count, FIGURES, STRATA, Scored, coverage, score};

fn main() -> ExitCode {
    let numbers: Option<Vec<u64>> = std::env::args().skip(1).map(|a| a.parse().ok()).collect();
    let Some(&[holes, seed]) = numbers.as_deref() else {
        eprintln!("coverage: give how many holes and a seed, both whole numbers");
        return ExitCode::from(2);
    };
    match report(holes, seed) {
        Ok(0) => ExitCode::SUCCESS,
        Ok(wrong) => {
            println!("\n{wrong} statements do not hold.");
            ExitCode::FAILURE
        }
        Err(why) => {
            eprintln!("coverage: {why}");
            ExitCode::FAILURE
        }
    }
}

/// Drills, prints, and returns how many statements do not hold.
fn report(holes: u64, seed: u64) -> Result<usize, String> {
    let first = seed.wrapping_mul(1_000_000);
    let magnitudes = Magnitudes::uncalibrated();
    let progress = |done: usize| {
        if done.is_multiple_of(100) {
            eprintln!("{done} holes by one worker, of {holes} by all");
        }
    };
    let drilled = drill_all(first..first + holes, |seed| draw::hole(seed, &magnitudes), progress)?;
    let scored: Vec<(&Drilled, Scored)> = drilled.iter().filter_map(|hole| Some((hole, score(hole)?))).collect();
    let scored: Vec<(&Drilled, &Scored)> = scored.iter().map(|(hole, scored)| (*hole, scored)).collect();
    println!("{holes} holes from seed {seed}, of which {} have every figure.\n", scored.len());
    let near = Count::of(scored.iter().map(|(_, s)| near_a_limit(s)));
    println!("{} lie within three expanded uncertainties of a limit of their plan ({:.0} %).\n", near.within, near.share() * 100.0);
    let mut wrong = usize::from(scored.len() < drilled.len()) + usize::from(near.share() < 0.5);
    wrong += print_coverage(&scored);
    wrong += print_limits(&scored);
    Ok(wrong)
}

fn print_coverage(scored: &[(&Drilled, &Scored)]) -> usize {
    let mut wrong = 0;
    println!("Truth within the stated 95 %:\n");
    println!("| stratum | holes |{} |", FIGURES.map(|(_, name)| format!(" {name} ")).join("|"));
    println!("|---|---|{}", "---|".repeat(FIGURES.len()));
    for (name, belongs) in STRATA {
        let some: Vec<_> = scored.iter().filter(|(hole, _)| belongs(hole)).copied().collect();
        let cells = FIGURES.map(|(figure, _)| {
            let count = coverage(&some, figure);
            let fits = some.is_empty() || count.fits(&BAND);
            wrong += usize::from(!fits);
            format!(" {:.1} %{} ", count.share() * 100.0, if fits { "" } else { " (does not fit)" })
        });
        println!("| {name} | {} |{}|", some.len(), cells.join("|"));
    }
    let typical = |figure: usize| {
        let mut halves: Vec<f64> = scored.iter().map(|(_, s)| s.off[figure].1).collect();
        halves.sort_by(f64::total_cmp);
        halves.get(halves.len() / 2).copied().unwrap_or(0.0) * 1e3
    };
    println!(
        "\nHalf of the stated uncertainties are below: depth {:.0} mm, overall lean {:.1} mm/m, toe {:.0} mm.\n",
        typical(0),
        typical(1),
        typical(2)
    );
    wrong
}

fn print_limits(scored: &[(&Drilled, &Scored)]) -> usize {
    let mut wrong = 0;
    println!("| limit | evaluations | truth on it: \"shown within\" | truth inside by 2 U: \"shown within\" |");
    println!("|---|---|---|---|");
    for (side, name) in SIDES {
        let (at, inside) = (shown_within(scored, side, 0.0), shown_within(scored, side, 2.0));
        let fits = at.fits(&(0.0..=AT_LIMIT_MOST)) && inside.fits(&(POWER_LEAST..=1.0));
        wrong += usize::from(!fits);
        let word = if fits { "" } else { " (does not fit)" };
        println!("| {name} | {} | {:.1} % | {:.1} %{word} |", at.of, at.share() * 100.0, inside.share() * 100.0);
    }
    wrong
}
