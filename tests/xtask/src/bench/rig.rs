//! The rig's rows: work of a turn and size of the image, against the board's budget.

use super::row::{Other, Row};
use crate::size::{self, Sizes};
use crate::{Outcome, firmware};

/// The board's clock.
const CLOCK_HZ: f64 = 25e6;
/// Turns a second of the session that is measured, one each 5 ms, its sensors at their full rate. A board that wakes more often has more of
/// them, each with as much less to do.
const TURNS_A_SECOND: f64 = 200.0;
/// The shortest time between two rounds, ms.
const PERIOD_MS: f64 = 33.0;

#[allow(clippy::cast_precision_loss)] // bytes of an image
fn figure(count: u64) -> f64 {
    count as f64
}

/// Builds the image and measures it in a whole session on the emulated board.
pub fn rows() -> Outcome<Vec<Row>> {
    let path = firmware::build()?;
    let Sizes { flash, loaded, without_seal, ram, stack, worst, long, mean, .. } = size::sizes(&path)?;
    let other = |name: &str, value: f64| Other { name: name.into(), value };
    let ms = |instructions: u64| figure(instructions) / CLOCK_HZ * 1e3;
    let row = |what: &str, unit: &str, ours, others, aim: &str, holds, note: &str| Row {
        what: what.into(),
        unit: unit.into(),
        ours,
        others,
        aim: aim.into(),
        holds,
        note: note.into(),
    };
    let share = ms(mean) * TURNS_A_SECOND / 10.0;
    Ok(vec![
        row(
            "a turn's work, mean",
            "% of 25 MHz",
            share,
            vec![other("instructions", figure(mean))],
            "under 5 %",
            share < 5.0,
            "instructions counted on the emulated board, one a cycle, a turn each 5 ms",
        ),
        row(
            "a turn's work, worst",
            "ms",
            ms(worst),
            vec![other("the sensors' shortest period", PERIOD_MS), other("the declared turn that seals", ms(long))],
            "within the period",
            ms(worst) < PERIOD_MS,
            "the bus of the memory comes to it, 46 ms at most in a turn of recovery",
        ),
        row(
            "flash without the seal",
            "KiB",
            figure(without_seal) / 1024.0,
            vec![other("with it, by sections", figure(flash) / 1024.0), other("by what is loaded", figure(loaded) / 1024.0)],
            "under 40 without, 96 with",
            without_seal < 40 * 1024 && flash < 96 * 1024,
            "without: less all symbols of curve, big numbers and digest, by the link",
        ),
        row(
            "RAM, variables and most stack while sealing",
            "KiB",
            figure(ram + stack) / 1024.0,
            vec![other("variables", figure(ram) / 1024.0), other("stack", figure(stack) / 1024.0)],
            "under 16, 32 while sealing",
            ram + stack < 32 * 1024,
            "stack by its paint after a whole session",
        ),
    ])
}
