//! The wall clock, at the edge: the only place where the simulator knows what time it is outside.

use crate::clock::Moment;
use std::time::{Duration, Instant};

/// How often something that is not there yet is tried again.
const RETRY: Duration = Duration::from_millis(5);

/// Keeps a world in step with the wall clock, or so many times as fast.
#[derive(Debug)]
pub struct Pacer {
    started: Instant,
    speed: f64,
}

impl Pacer {
    /// From now on; a speed of 1 is real time.
    #[must_use]
    pub fn new(speed: f64) -> Self {
        Self { started: Instant::now(), speed }
    }

    /// Waits until a moment of the world has come. Returns at once when it has passed.
    pub fn wait_for(&self, moment: Moment) {
        let due = Duration::try_from_secs_f64(moment.seconds() / self.speed).unwrap_or(Duration::MAX);
        std::thread::sleep(due.saturating_sub(self.started.elapsed()));
    }
}

/// Tries until it succeeds or the time is over; then the last failure.
///
/// # Errors
/// Whatever the last try gave.
pub fn keep_trying<T, E>(for_ms: u64, mut attempt: impl FnMut() -> Result<T, E>) -> Result<T, E> {
    let started = Instant::now();
    loop {
        match attempt() {
            Err(_) if started.elapsed() < Duration::from_millis(for_ms) => std::thread::sleep(RETRY),
            result => return result,
        }
    }
}
