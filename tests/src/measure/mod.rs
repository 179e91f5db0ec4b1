//! What is fast and small here, measured beside what a good engineer would otherwise have used, in the same run: each row says what, how
//! much, of what others take, and what is aimed at.

pub mod catching;
pub mod codec;
pub mod evidence;
pub mod facts;
pub mod growth;
pub mod judging;
pub mod keeping;

use serde::Serialize;
use std::time::Instant;

/// Another way to do the same.
#[derive(Clone, Debug, Serialize)]
pub struct Other {
    /// What it is.
    pub name: String,
    /// How much, in the row's unit.
    pub value: f64,
}

/// One line of the table.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// What is measured.
    pub what: String,
    /// Of what the figures are.
    pub unit: &'static str,
    /// Ours.
    pub ours: f64,
    /// Others'.
    pub others: Vec<Other>,
    /// What is wanted, in words.
    pub aim: &'static str,
    /// Whether it is reached.
    pub holds: bool,
    /// What has to be known to read it; may be empty.
    pub note: String,
}

/// Others by their names.
#[must_use]
pub fn others<const N: usize>(all: [(&str, f64); N]) -> Vec<Other> {
    all.map(|(name, value)| Other { name: name.to_owned(), value }).to_vec()
}

/// The shortest of several runs, s: what else the machine does only ever adds.
pub fn shortest<T>(runs: u32, mut work: impl FnMut() -> T) -> f64 {
    let once = |_| {
        let since = Instant::now();
        std::hint::black_box(work());
        since.elapsed().as_secs_f64()
    };
    (0..runs.max(1)).map(once).fold(f64::INFINITY, f64::min)
}

/// The least of several runs, s of this thread's processor: whatever else the machine does. Where the system does not say, s that went by.
pub fn least_work<T>(runs: u32, mut work: impl FnMut() -> T) -> f64 {
    let once = |_| {
        let (since, before) = (Instant::now(), processor_s());
        std::hint::black_box(work());
        processor_s().zip(before).map_or_else(|| since.elapsed().as_secs_f64(), |(after, before)| after - before)
    };
    (0..runs.max(1)).map(once).fold(f64::INFINITY, f64::min)
}

/// Time that this thread was on a processor, by Linux, s.
fn processor_s() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split(' ').next()?.parse::<f64>().ok().map(|ns| ns / 1e9)
}

/// A count as a figure.
#[must_use]
#[allow(clippy::cast_precision_loss)] // of things that are counted, far below 2⁵³
pub fn figure(count: usize) -> f64 {
    count as f64
}
