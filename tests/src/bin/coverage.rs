//! Drills many holes with errors of their own and counts how often what is stated of them holds:
//! `coverage HOLES SEED [curves]`. The report is in Markdown; the curves are of errors that no budget covers.

use simulator::errors::Magnitudes;
use std::process::ExitCode;
use tests::coverage::detect::{CAUGHT_AT, CAUGHT_LEAST, FALSE_MOST, FLAGS, KINDS, covered, own_deviation};
use tests::coverage::draw;
use tests::coverage::drill::{Drilled, drill_all, of_each};
use tests::coverage::limits::{AT_LIMIT_MOST, POWER_LEAST, SIDES, near_a_limit, shown};
use tests::coverage::score::{ASIDE, BAND, Count, FIGURES, STRATA, Scored, coverage, score};

fn main() -> ExitCode {
    let mut given: Vec<String> = std::env::args().skip(1).collect();
    let curves = given.pop_if(|last| last == "curves").is_some();
    let numbers: Option<Vec<u64>> = given.iter().map(|a| a.parse().ok()).collect();
    let Some(&[holes, seed]) = numbers.as_deref() else {
        eprintln!("coverage: give how many holes and a seed, both whole numbers, and `curves` where they are wanted");
        return ExitCode::from(2);
    };
    match report(holes, seed, curves) {
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
fn report(holes: u64, seed: u64, curves: bool) -> Result<usize, String> {
    let first = seed.wrapping_mul(1_000_000);
    let magnitudes = Magnitudes::uncalibrated();
    let progress = |done: usize| {
        if done.is_multiple_of(100) {
            eprintln!("{done} holes by one worker, of {holes} by all");
        }
    };
    let drilled = drill_all(first..first + holes, |seed| draw::hole(seed, &magnitudes), progress)?;
    let scores = of_each(&drilled, score)?;
    let scored: Vec<(&Drilled, &Scored)> =
        drilled.iter().zip(&scores).filter_map(|(hole, scored)| Some((hole, scored.as_ref()?))).collect();
    println!("{holes} holes from seed {seed}, of which {} have every figure.\n", scored.len());
    let near = Count::of(scored.iter().map(|(_, s)| near_a_limit(s)));
    println!("{} lie within three expanded uncertainties of a limit of their plan ({:.0} %).\n", near.within, near.share() * 100.0);
    let mut wrong = usize::from(scored.len() < drilled.len()) + usize::from(near.share() < 0.5);
    wrong += print_coverage(&scored);
    wrong += print_limits(&scored)?;
    wrong += print_encoder((holes / 10).max(20), first + holes)?;
    if curves {
        wrong += print_detection(&drilled, (holes / 20).max(10), first + holes)?;
    }
    Ok(wrong)
}

fn print_coverage(scored: &[(&Drilled, &Scored)]) -> usize {
    let mut wrong = 0;
    println!("Truth within the stated 95 %:\n");
    println!("| stratum | holes |{} |", FIGURES.map(|(_, name)| format!(" {name} ")).join("|"));
    println!("|---|---|{}", "---|".repeat(FIGURES.len()));
    let judged = STRATA.map(|stratum| (stratum, true));
    for ((name, belongs), must_fit) in judged.into_iter().chain(ASIDE.map(|stratum| (stratum, false))) {
        let some: Vec<_> = scored.iter().filter(|(hole, scored)| belongs(hole, scored)).copied().collect();
        let cells = FIGURES.map(|(figure, _)| {
            let count = coverage(&some, figure);
            let fits = !must_fit || some.is_empty() || count.fits(&BAND);
            wrong += usize::from(!fits);
            format!(" {:.1} %{} ", count.share() * 100.0, if fits { "" } else { " (does not fit)" })
        });
        let aside = if must_fit { "" } else { " (to look at)" };
        println!("| {name}{aside} | {} |{}|", some.len(), cells.join("|"));
    }
    let mean = |figure: usize| {
        scored.iter().map(|(_, s)| s.off[figure].0).sum::<f64>() / f64::from(u32::try_from(scored.len().max(1)).unwrap_or(u32::MAX)) * 1e3
    };
    println!("\nStated less true, on average: depth {:+.1} mm, overall lean {:+.2} mm/m.", mean(0), mean(1));
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

fn print_limits(scored: &[(&Drilled, &Scored)]) -> Result<usize, String> {
    let mut wrong = 0;
    println!("| limit | evaluations | truth on it: \"shown within\" | truth inside by 2 U: \"shown within\" |");
    println!("|---|---|---|---|");
    let said = of_each(scored, |(hole, scored)| shown(hole, scored))?;
    for (side, (_, name)) in SIDES.iter().enumerate() {
        let [at, inside] = [0, 1].map(|beyond| Count::of(said.iter().map(|said| said[side][beyond])));
        let fits = at.fits(&(0.0..=AT_LIMIT_MOST)) && inside.fits(&(POWER_LEAST..=1.0));
        wrong += usize::from(!fits);
        let word = if fits { "" } else { " (does not fit)" };
        println!("| {name} | {} | {:.1} % | {:.1} %{word} |", at.of, at.share() * 100.0, inside.share() * 100.0);
    }
    Ok(wrong)
}

/// The cutting edge by the encoder alone: its scale and its drum are off until it is taped, and nothing else is.
fn print_encoder(holes: u64, first: u64) -> Result<usize, String> {
    let all = Magnitudes::uncalibrated();
    let mut only = Magnitudes::default();
    (only.depth.scale, only.depth.drum) = (all.depth.scale, all.depth.drum);
    let drilled = drill_all(first..first + holes, |seed| draw::hole(seed, &only), |_| {})?;
    let within = |hole: &Drilled| {
        let edge_mm = score(hole).and_then(|scored| scored.judged.depth).map_or(f64::INFINITY, |depth| depth * 1e3);
        (edge_mm - hole.truth.edge_mm).abs() <= 2.0 + 0.001 * hole.truth.edge_mm
    };
    let count = Count::of(drilled.iter().map(within));
    let fits = count.fits(&(0.95..=1.0));
    println!(
        "\nCutting edge by a taped encoder within 2 mm + 0.1 %: {} of {}{}.",
        count.within,
        count.of,
        if fits { "" } else { " (does not fit)" }
    );
    Ok(usize::from(!fits))
}

/// How many holes have a flag.
fn tally(holes: &[Drilled], flagged: fn(&Drilled) -> bool) -> Result<Count, String> {
    Ok(Count::of(of_each(holes, flagged)?.into_iter()))
}

/// Errors that no budget covers: the curves, what an independent check is worth, false flags.
fn print_detection(clean: &[Drilled], each: u64, first: u64) -> Result<usize, String> {
    let mut wrong = 0;
    println!("\n| error beyond the budget | size | flagged | truth within the stated 95 % all the same |");
    println!("|---|---|---|---|");
    for kind in KINDS {
        let spoiled = |size: f64| {
            let draw = |seed| {
                let mut drawn = draw::hole(seed, &Magnitudes::uncalibrated())?;
                (kind.spoil)(&mut drawn, size);
                Ok(drawn)
            };
            drill_all(first..first + each, draw, |_| {})
        };
        for size in kind.sizes {
            let holes = spoiled(*size)?;
            let flagged = tally(&holes, kind.flagged)?;
            let covered = Count::of(of_each(&holes, |hole| score(hole).map(|scored| covered(&scored, kind.figure)))?.into_iter().flatten());
            println!("| {} | {size} | {:.0} % | {:.0} % |", kind.name, flagged.share() * 100.0, covered.share() * 100.0);
        }
        if let Some(check) = kind.check {
            let own = own_deviation(&of_each(clean, check)?);
            let caught = tally(&spoiled(CAUGHT_AT * own)?, kind.flagged)?;
            let fits = caught.fits(&(CAUGHT_LEAST..=1.0));
            wrong += usize::from(!fits);
            let word = if fits { "" } else { " (does not fit)" };
            println!(
                "| {}: 4.2 of the check's own {own:.1} | {:.1} | {:.0} %{word} | |",
                kind.name,
                CAUGHT_AT * own,
                caught.share() * 100.0
            );
        }
    }
    println!("\n| flag | clean holes flagged |\n|---|---|");
    for (name, flagged) in FLAGS {
        let count = tally(clean, flagged)?;
        let fits = count.fits(&(0.0..=FALSE_MOST));
        wrong += usize::from(!fits);
        println!("| {name} | {} of {}{} |", count.within, count.of, if fits { "" } else { " (does not fit)" });
    }
    Ok(wrong)
}
