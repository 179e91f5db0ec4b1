//! Fuzzers: inputs that were sound are mutated, their checks repaired, and whatever reads such bytes must come through.
//!
//! An input whose outcome was not seen before is kept and mutated further. An outcome is what its reader could tell of it:
//! kinds, faults, answers, sizes. No counters of the compiler's are asked, since the stable compiler's can be read from
//! within only by code that is not safe.

mod draw;
pub mod frames;
pub mod memory;
mod patch;
pub mod slots;
pub mod store;

pub use draw::Draw;

use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// Inputs that are kept at most; what is found beyond takes the place of another one found.
const POOL: usize = 512;

/// What came of one input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// Whether it came past the checks, to what reads figures out of it.
    pub reached: bool,
    /// What could be told of it; two inputs that went the same way have the same.
    pub signature: u64,
}

impl Outcome {
    /// An outcome of what could be told.
    #[must_use]
    pub fn of(reached: bool, told: &impl Hash) -> Self {
        let mut hasher = DefaultHasher::new();
        told.hash(&mut hasher);
        Self { reached, signature: hasher.finish() }
    }
}

/// Something that reads bytes which may be hostile.
pub trait Target {
    /// Its name, and that of its folder in the corpus.
    const NAME: &'static str;

    /// Sound inputs to begin with, beside those of the corpus.
    fn seeds(&self) -> Vec<Vec<u8>>;

    /// Mutates an input, perhaps with pieces of another, and repairs its checks.
    fn mutate(&self, input: &[u8], other: &[u8], draw: &mut Draw) -> Vec<u8>;

    /// Reads an input.
    ///
    /// # Errors
    /// One line: what does not hold.
    fn run(&mut self, input: &[u8]) -> Result<Outcome, String>;
}

/// What a run of a fuzzer saw.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// Inputs read.
    pub runs: u64,
    /// Of these, inputs that came past the checks.
    pub reached: u64,
    /// Outcomes that differ.
    pub outcomes: usize,
}

impl Seen {
    /// Share of the inputs that came past the checks.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // a share for people
    pub fn share(&self) -> f64 {
        self.reached as f64 / self.runs.max(1) as f64
    }
}

/// An input that something does not come through.
#[derive(Clone, Debug)]
pub struct Found {
    /// The input.
    pub input: Vec<u8>,
    /// What does not hold.
    pub why: String,
}

/// A fuzzer of one target.
#[derive(Debug)]
pub struct Fuzzer<T> {
    target: T,
    draw: Draw,
    pool: Vec<Vec<u8>>,
    /// So many of the pool are what it began with.
    begun: usize,
    signatures: BTreeSet<u64>,
    /// What was seen so far.
    pub seen: Seen,
}

impl<T: Target> Fuzzer<T> {
    /// Reads what the corpus holds, which includes everything that was once found, and begins with it.
    ///
    /// # Errors
    /// An input of the corpus that the target does not come through.
    pub fn begin(target: T, seed: u64) -> Result<Self, Found> {
        let mut pool = target.seeds();
        pool.extend(corpus(T::NAME));
        let begun = pool.len();
        let mut fuzzer =
            Self { target, draw: Draw::new(seed), pool: Vec::new(), begun, signatures: BTreeSet::new(), seen: Seen::default() };
        for input in pool {
            fuzzer.read(&input)?;
            fuzzer.pool.push(input);
        }
        Ok(fuzzer)
    }

    /// Mutates an input and reads it.
    ///
    /// # Errors
    /// The input, where the target does not come through it.
    pub fn step(&mut self) -> Result<(), Found> {
        let [one, other] = [(); 2].map(|()| self.draw.below(self.pool.len()));
        let input = self.target.mutate(&self.pool[one], &self.pool[other], &mut self.draw);
        if self.read(&input)? {
            if self.pool.len() < self.begun + POOL {
                self.pool.push(input);
            } else {
                let place = self.begun + self.draw.below(POOL);
                self.pool[place] = input;
            }
        }
        Ok(())
    }

    /// Reads an input; whether its outcome is new.
    fn read(&mut self, input: &[u8]) -> Result<bool, Found> {
        let target = &mut self.target;
        // What a panic leaves behind is not used any more.
        let outcome = catch_unwind(AssertUnwindSafe(|| target.run(input))).unwrap_or_else(|panic| {
            let words = panic.downcast_ref::<String>().cloned().or(panic.downcast_ref::<&str>().map(|s| (*s).to_owned()));
            Err(format!("it panics: {}", words.unwrap_or_default()))
        });
        let outcome = outcome.map_err(|why| Found { input: input.to_vec(), why })?;
        self.seen.runs += 1;
        self.seen.reached += u64::from(outcome.reached);
        let new = self.signatures.insert(outcome.signature);
        self.seen.outcomes = self.signatures.len();
        Ok(new)
    }
}

/// Where a target's corpus is: small files, each of them an input.
#[must_use]
pub fn corpus_folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus").join(name)
}

/// The corpus of a target, in the order of the files' names.
fn corpus(name: &str) -> Vec<Vec<u8>> {
    let files = std::fs::read_dir(corpus_folder(name)).map(|files| files.flatten().map(|file| file.path()).collect::<BTreeSet<_>>());
    files.unwrap_or_default().iter().filter_map(|path| std::fs::read(path).ok()).collect()
}

/// A size in steps that grow, so that no two inputs differ only by a little more of the same.
fn about(count: usize) -> u32 {
    count.checked_ilog2().map_or(0, |log| log + 1)
}

/// The pinned vectors of a file: bytes behind each name.
fn vectors(text: &'static str) -> impl Iterator<Item = Vec<u8>> {
    let bytes =
        |hex: &str| hex.as_bytes().chunks(2).filter_map(|two| u8::from_str_radix(std::str::from_utf8(two).ok()?, 16).ok()).collect();
    text.lines().filter(|line| !line.starts_with('#')).filter_map(|line| line.split_once(' ')).map(move |(_, hex)| bytes(hex))
}
