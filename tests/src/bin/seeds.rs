//! Runs whole sites in which anything may fail: `seeds FROM COUNT [KIND...]`; one of them shows all of its faults.

use std::collections::BTreeMap;
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;
use tests::seeds::faults::Kind;
use tests::seeds::{Outcome, run};

/// Failing seeds that are shown with all their faults.
const SHOWN: usize = 5;

fn main() -> ExitCode {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let numbers: Vec<u64> = given.iter().take(2).filter_map(|word| word.parse().ok()).collect();
    let kind = |word: &String| Kind::ALL.into_iter().find(|(_, name)| name == word).map(|(kind, _)| kind);
    let only: Option<Vec<Kind>> = given.iter().skip(2).map(kind).collect();
    match (&numbers[..], only) {
        (&[from, count], Some(only)) if count > 0 => all(from, count, &only),
        _ => {
            let names = Kind::ALL.map(|(_, name)| name).join(", ");
            eprintln!("seeds: give the first seed and how many, then kinds of faults where not all are wanted: {names}");
            ExitCode::from(2)
        }
    }
}

/// What all seeds came to.
#[derive(Default)]
struct Sum {
    drawn: BTreeMap<Kind, u64>,
    failed: Vec<(u64, Outcome)>,
    virtual_ms: u64,
    slowest: (u64, u64),
}

impl Sum {
    fn add(&mut self, seed: u64, outcome: Outcome) {
        outcome.faults.iter().for_each(|fault| *self.drawn.entry(fault.what.kind()).or_default() += 1);
        self.virtual_ms += outcome.virtual_ms;
        self.slowest = self.slowest.max((outcome.converged_ms, seed));
        if outcome.wrong.is_some() {
            self.failed.push((seed, outcome));
        }
    }
}

fn all(from: u64, count: u64, only: &[Kind]) -> ExitCode {
    let (begun, next, sum) = (Instant::now(), AtomicU64::new(from), Mutex::new(Sum::default()));
    let worker = || {
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= from.saturating_add(count) {
                return;
            }
            let outcome = std::panic::catch_unwind(|| run(seed, only)).unwrap_or_else(|_| panicked(seed, only));
            if count == 1 {
                show(&outcome);
            }
            sum.lock().unwrap_or_else(PoisonError::into_inner).add(seed, outcome);
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| (0..threads).for_each(|_| drop(scope.spawn(worker))));
    let mut sum = sum.into_inner().unwrap_or_else(PoisonError::into_inner);
    sum.failed.sort_by_key(|(seed, _)| *seed);
    report(&sum, count, begun.elapsed().as_secs_f64());
    for (seed, outcome) in sum.failed.iter().take(SHOWN) {
        println!("\nFAILED seed {seed}: {}", outcome.wrong.as_deref().unwrap_or_default());
        if count > 1 {
            show(outcome);
        }
        println!("replay it with: cargo xtask seeds --seed {seed}{}", words(only));
    }
    let others: Vec<String> = sum.failed.iter().skip(SHOWN).map(|(seed, _)| seed.to_string()).collect();
    if !others.is_empty() {
        println!("\nfailed too: {}", others.join(" "));
    }
    println!("{} of {count} seeds failed", sum.failed.len());
    if sum.failed.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// A seed whose rig or host panicked.
fn panicked(seed: u64, only: &[Kind]) -> Outcome {
    let wrong = Some("it panicked; what it said is above".to_owned());
    Outcome { faults: tests::seeds::faults::draw(seed, only), wrong, converged_ms: 0, virtual_ms: 0, trace: 0 }
}

fn words(only: &[Kind]) -> String {
    let names = Kind::ALL.into_iter().filter(|(kind, _)| only.contains(kind));
    names.map(|(_, name)| format!(" --only {name}")).collect()
}

fn show(outcome: &Outcome) {
    outcome.faults.iter().for_each(|fault| println!("{fault}"));
}

#[allow(clippy::cast_precision_loss)] // figures for people
fn report(sum: &Sum, count: u64, took_s: f64) {
    let drawn = Kind::ALL.map(|(kind, name)| format!("{name} {}", sum.drawn.get(&kind).copied().unwrap_or_default()));
    println!("faults drawn: {}", drawn.join(", "));
    let hours = sum.virtual_ms as f64 / 3_600_000.0;
    println!("{count} seeds, {hours:.1} simulated hours in {took_s:.1} s: {:.2} hours a second", hours / took_s.max(1e-9));
    let (slowest_ms, seed) = sum.slowest;
    println!("all was done {:.0} s after the last fault at most (seed {seed})", slowest_ms as f64 / 1e3);
}
