//! Feeds mutated inputs to whatever reads them: `fuzz TARGET SECONDS SEED`, TARGET one of slots, frames, memory, store.

use std::process::ExitCode;
use std::time::{Duration, Instant};
use tests::fuzz::frames::Frames;
use tests::fuzz::memory::Image;
use tests::fuzz::slots::Slots;
use tests::fuzz::store::File;
use tests::fuzz::{Found, Fuzzer, Seen, Target, corpus_folder};

/// Of the inputs so many must come past the checks, else the mutations are too rough to prove anything.
const SHARE_MIN: f64 = 0.5;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [target, seconds, seed] = &arguments[..] else { return usage() };
    let (Ok(seconds), Ok(seed)) = (seconds.parse(), seed.parse()) else { return usage() };
    let time = Duration::from_secs(seconds);
    match target.as_str() {
        Slots::NAME => fuzz(Slots, time, seed),
        Frames::NAME => fuzz(Frames, time, seed),
        Image::NAME => fuzz(Image, time, seed),
        File::NAME => fuzz(File::default(), time, seed),
        _ => usage(),
    }
}

fn usage() -> ExitCode {
    eprintln!("fuzz: say which of slots, frames, memory and store, for how many seconds, and a seed");
    ExitCode::from(2)
}

fn fuzz<T: Target>(target: T, time: Duration, seed: u64) -> ExitCode {
    std::panic::set_hook(Box::new(|_| {})); // what a panic says is said once, with where its input is
    match run(target, time, seed) {
        Ok(seen) => {
            let Seen { runs, outcomes, .. } = seen;
            let share = seen.share();
            println!(
                "{}: {runs} inputs in {} s, seed {seed}: {:.1} % came past the checks, {outcomes} outcomes, nothing found",
                T::NAME,
                time.as_secs(),
                share * 100.0
            );
            if share < SHARE_MIN {
                eprintln!("fuzz: fewer than half came past the checks: the mutations are too rough to prove anything");
                return ExitCode::FAILURE;
            }
            ExitCode::SUCCESS
        }
        Err(found) => {
            println!("{}: FOUND, seed {seed}: {}; {}", T::NAME, found.why, keep(T::NAME, &found.input));
            ExitCode::FAILURE
        }
    }
}

fn run<T: Target>(target: T, time: Duration, seed: u64) -> Result<Seen, Found> {
    let begun = Instant::now();
    let mut fuzzer = Fuzzer::begin(target, seed)?;
    while begun.elapsed() < time {
        for _ in 0..10 {
            fuzzer.step()?;
        }
    }
    Ok(fuzzer.seen)
}

/// Puts an input into the corpus, where every run begins with it.
fn keep(target: &str, input: &[u8]) -> String {
    let sum = shared_protocol::slot::CRC.checksum(input);
    let path = corpus_folder(target).join(format!("found-{sum:08x}"));
    let written = std::fs::create_dir_all(corpus_folder(target)).and_then(|()| std::fs::write(&path, input));
    match written {
        Ok(()) => format!("the input is now {}, with which every run begins", path.display()),
        Err(why) => format!("its input cannot be written to {}: {why}", path.display()),
    }
}
