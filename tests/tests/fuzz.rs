//! A short run of each fuzzer with every test run, beginning with all that was ever found; the long ones are
//! `cargo xtask fuzz`.

use tests::fuzz::frames::Frames;
use tests::fuzz::memory::{Image, images};
use tests::fuzz::slots::Slots;
use tests::fuzz::store::{File, small};
use tests::fuzz::{Fuzzer, Target, corpus_folder};

fn fuzz<T: Target>(target: T, runs: u32, outcomes: usize) {
    let mut fuzzer = match Fuzzer::begin(target, 20_261_124) {
        Ok(fuzzer) => fuzzer,
        Err(found) => panic!("an input of the corpus, {} bytes: {}", found.input.len(), found.why),
    };
    for run in 0..runs {
        if let Err(found) = fuzzer.step() {
            panic!("run {run}, {} bytes: {}; `cargo xtask fuzz --target {}` keeps what it finds", found.input.len(), found.why, T::NAME);
        }
    }
    let seen = fuzzer.seen;
    println!("{}: {seen:?}, {:.1} % reached", T::NAME, seen.share() * 100.0);
    assert!(seen.share() >= 0.5, "{seen:?}");
    assert!(seen.outcomes >= outcomes, "too few ways were gone: {seen:?}");
}

#[test]
fn mutated_frames_reach_the_parsers_and_nothing_panics() {
    fuzz(Frames, 4_000, 200);
}

#[test]
fn mutated_slots_and_records_are_read_proven_and_judged_without_panic() {
    fuzz(Slots, 120, 60);
}

#[test]
fn a_rig_starts_on_a_mutated_memory_and_keeps_what_comes_next() {
    fuzz(Image, 150, 25);
}

#[test]
fn a_mutated_store_gives_what_checks_or_says_why_not() {
    fuzz(File::default(), 285, 30); // as many for each page of the file as when it was smaller
}

/// `BLESS=1` writes these files anew; whatever else lies in the corpus was found, and stays.
#[test]
fn the_corpus_begins_with_what_rigs_and_hosts_leave() {
    let memories = images().into_iter().map(|(name, bytes)| (Image::NAME, name, bytes));
    for (target, name, bytes) in memories.chain([(File::NAME, "small", small())]) {
        let path = corpus_folder(target).join(name);
        if std::env::var_os("BLESS").is_some() {
            std::fs::create_dir_all(corpus_folder(target)).expect("a folder");
            std::fs::write(&path, &bytes).expect("written");
        }
        let there = std::fs::read(&path).unwrap_or_default();
        assert_eq!(there.len(), bytes.len(), "{} is of another size: BLESS=1 writes it anew", path.display());
    }
    let size: u64 = [Image::NAME, File::NAME, Frames::NAME, Slots::NAME]
        .iter()
        .flat_map(|target| std::fs::read_dir(corpus_folder(target)).into_iter().flatten().flatten())
        .filter_map(|file| file.metadata().ok())
        .map(|file| file.len())
        .sum();
    assert!((1..200_000).contains(&size), "the corpus has {size} bytes");
}
