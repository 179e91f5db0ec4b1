//! Cuts the power after every byte that the rig writes, and again within every recovery:
//! `cuts SEED EVERY PAIRS-EVERY [BYTE [SECOND]]`.

use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use tests::cuts::oracle::aftermath;
use tests::cuts::reset;
use tests::cuts::script::{Cut, Length, cuts, seconds};

/// What is cut once: two holes in a ring that wraps, one with a checkpoint, whose bytes are counted from a million on, and a
/// factory reset, from two million on.
const SINGLES: [(Length, u64, &str); 3] =
    [(Length::Long, 0, "two holes"), (Length::Deep, DEEP_FROM, "one deep hole"), (Length::Reset, RESET_FROM, "a factory reset")];
const DEEP_FROM: u64 = 1_000_000;
const RESET_FROM: u64 = 2_000_000;
/// Failures that are printed.
const SHOWN: usize = 8;

fn main() -> ExitCode {
    let numbers: Option<Vec<u64>> = std::env::args().skip(1).map(|a| a.parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[seed, every, pairs_every]) => all(seed, every.max(1), pairs_every.max(1)),
        Some(&[seed, _, _, byte]) => one(seed, byte, None),
        Some(&[seed, _, _, byte, second]) => one(seed, byte, Some(second)),
        _ => {
            eprintln!("cuts: give a seed, every which byte, every which pair, and to replay one the byte and the second byte");
            ExitCode::from(2)
        }
    }
}

fn all(seed: u64, every: u64, pairs_every: u64) -> ExitCode {
    let picked = |cuts: Vec<Cut>, every: u64| cuts.into_iter().filter(|cut| cut.byte % every == 0).collect::<Vec<_>>();
    let (mut tried, mut failed) = (0, Vec::new());
    for (length, from, word) in SINGLES {
        let singles = picked(cuts(length, seed, |m| m), every);
        let (count, more) = try_all(&singles, |cut| vec![(None, after(length, cut, seed ^ cut.byte))]);
        println!("{count} cuts of {word}, each taken up again, worked on and drained");
        tried += count;
        failed.extend(more.into_iter().map(|(byte, second, why)| (from + byte, second, why)));
    }
    let short = cuts(Length::Short, seed, |m| m);
    let (pairs, more) = try_all(&short, |cut| {
        let seconds = seconds(Length::Short, cut, seed).into_iter().filter(|second| (cut.byte + second.byte) % pairs_every == 0);
        seconds.map(|second| (Some(second.byte), aftermath(&second, seed ^ second.byte, false))).collect()
    });
    println!("{pairs} pairs of cuts, the second while the rig recovered from the first");
    failed.extend(more);
    for (byte, second, why) in failed.iter().take(SHOWN) {
        let second = second.map_or(String::new(), |second| format!(" --then {second}"));
        println!("FAILED: {why}; replay it with: cargo xtask cuts --seed {seed} --at {byte}{second}");
    }
    println!("{} failed", failed.len());
    if failed.is_empty() && tried > 0 && pairs > 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn after(length: Length, cut: &Cut, seed: u64) -> Result<(), String> {
    if length == Length::Reset { reset::aftermath(cut, seed) } else { aftermath(cut, seed, true) }
}

type Failure = (u64, Option<u64>, String);

fn try_all(cuts: &[Cut], attempt: impl Fn(&Cut) -> Vec<(Option<u64>, Result<(), String>)> + Sync) -> (usize, Vec<Failure>) {
    let (next, tried) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let worker = || {
        let mut failed = Vec::new();
        while let Some(cut) = cuts.get(next.fetch_add(1, Ordering::Relaxed)) {
            for (second, outcome) in attempt(cut) {
                tried.fetch_add(1, Ordering::Relaxed);
                failed.extend(outcome.err().map(|why| (cut.byte, second, why)));
            }
        }
        failed
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut failed: Vec<Failure> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..threads).map(|_| scope.spawn(worker)).collect();
        handles.into_iter().flat_map(|handle| handle.join().unwrap_or_default()).collect()
    });
    failed.sort();
    (tried.into_inner(), failed)
}

fn one(seed: u64, byte: u64, second: Option<u64>) -> ExitCode {
    let from = SINGLES.into_iter().rfind(|(_, from, _)| byte >= *from);
    let (length, byte) = match from.filter(|_| second.is_none()) {
        Some((length, from, _)) => (length, byte - from),
        None => (Length::Short, byte),
    };
    let Some(cut) = cuts(length, seed, |m| m).into_iter().find(|cut| cut.byte == byte) else {
        eprintln!("cuts: the rig does not write byte {byte}");
        return ExitCode::from(2);
    };
    let outcome = match second {
        None => after(length, &cut, seed ^ byte),
        Some(second) => match seconds(Length::Short, &cut, seed).into_iter().find(|cut| cut.byte == second) {
            Some(cut) => aftermath(&cut, seed ^ second, false),
            None => Err(format!("the recovery does not write byte {second}")),
        },
    };
    match outcome {
        Ok(()) => println!("all holds"),
        Err(why) => println!("FAILED: {why}"),
    }
    ExitCode::SUCCESS
}
