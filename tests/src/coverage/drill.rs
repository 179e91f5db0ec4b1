//! A drawn hole drilled by the native rig, and judged by the host.

use super::draw::Drawn;
use crate::cab::MORNING;
use host_tool::facts::{SetUp, read};
use shared_protocol::message::{Calibrate, Command, SetClock};
use shared_protocol::slot::Slot;
use simulator::bench::Bench;
use simulator::commander::Commander;
use simulator::operator::Progress;
use simulator::truth::Truth;

/// One turn of rig and host, virtual ms.
const TURN_MS: u8 = 5;
/// No hole takes longer, virtual ms.
const TOO_LONG_MS: u64 = 3 * 3_600_000;

/// A hole as it was drilled.
#[derive(Clone, Debug)]
pub struct Drilled {
    /// How it was drawn.
    pub drawn: Drawn,
    /// What the rig recorded.
    pub setup: SetUp,
    /// What is truly there.
    pub truth: Truth,
}

/// Drills it.
///
/// # Errors
/// Where the rig does not do its part: one line.
pub fn drill(drawn: Drawn) -> Result<Drilled, String> {
    let told = |why: String| format!("hole of seed {}: {why}", drawn.seed);
    let mut bench = Bench::native(&drawn.scenario, drawn.seed).map_err(|fault| told(fault.to_string()))?;
    let mut host = Commander::default();
    host.order(Command::SetClock(SetClock { unix_ms: MORNING.unix_ms, offset: MORNING.offset }));
    drawn.calibrations.iter().for_each(|calibration| host.order(Command::Calibrate(Calibrate { calibration: calibration.clone() })));
    let mut to_rig = Vec::new();
    let mut after = None;
    while after.is_none_or(|end| bench.world().now().ms() < end) {
        let now = bench.world().now();
        if now.ms() > TOO_LONG_MS {
            return Err(told(format!("not finished: {:?}, refused {:?}", bench.progress(), host.refused())));
        }
        if bench.progress() == Some(Progress::Finished) && after.is_none() {
            after = Some(now.ms() + 5_000); // what was recorded last comes over
        }
        let from_rig = bench.advance(TURN_MS, &to_rig).map_err(|fault| told(fault.to_string()))?;
        let cue = bench.take_cue();
        let done;
        (to_rig, done) = host.step(bench.world().now(), &from_rig, cue);
        if done {
            bench.cue_done();
        }
    }
    if let Some((command, answer)) = host.refused().first() {
        return Err(told(format!("the rig will not {command:?}: {answer:?}")));
    }
    let slots: Vec<Slot> = host.slots().values().copied().collect();
    let setup = read(&slots).into_iter().next().ok_or_else(|| told("nothing was recorded".to_owned()))?;
    let cut = bench.truth().into_iter().next().ok_or_else(|| told("nothing was cut".to_owned()))?;
    let truth = drawn.scenario.truth(0, &cut).ok_or_else(|| told("nothing is true".to_owned()))?;
    Ok(Drilled { drawn, setup, truth })
}

/// Draws and drills the holes of these seeds, on all cores, and calls `done` after each.
///
/// # Errors
/// The first hole that could not be drilled.
pub fn drill_all(
    seeds: std::ops::Range<u64>,
    draw: impl Fn(u64) -> Result<Drawn, String> + Sync,
    done: impl Fn(usize) + Sync,
) -> Result<Vec<Drilled>, String> {
    side_by_side(seeds, |seed| draw(seed).and_then(drill), done)
}

/// Does something with each of many numbers, on all cores, and calls `done` after each; the results in their order.
///
/// # Errors
/// The first that could not be done.
pub fn side_by_side<T: Send>(
    numbers: std::ops::Range<u64>,
    one: impl Fn(u64) -> Result<T, String> + Sync,
    done: impl Fn(usize) + Sync,
) -> Result<Vec<T>, String> {
    let next = std::sync::atomic::AtomicU64::new(numbers.start);
    let worker = || {
        let mut results = Vec::new();
        loop {
            let number = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            if number >= numbers.end {
                return Ok(results);
            }
            results.push((number, one(number)?));
            done(results.len());
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let lots: Vec<Result<Vec<(u64, T)>, String>> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..threads).map(|_| scope.spawn(worker)).collect();
        handles.into_iter().map(|handle| handle.join().unwrap_or_else(|_| Err("a worker panicked".to_owned()))).collect()
    });
    let mut all: Vec<(u64, T)> = Vec::new();
    for lot in lots {
        all.extend(lot?);
    }
    all.sort_by_key(|(number, _)| *number);
    Ok(all.into_iter().map(|(_, result)| result).collect())
}

/// What is made of each of many holes, on all cores, in their order.
///
/// # Errors
/// Where a worker panics.
#[allow(clippy::cast_possible_truncation)] // counts of holes that are in memory
pub fn of_each<H: Sync, T: Send>(holes: &[H], make: impl Fn(&H) -> T + Sync) -> Result<Vec<T>, String> {
    side_by_side(0..holes.len() as u64, |n| Ok(make(&holes[n as usize])), |_| {})
}
