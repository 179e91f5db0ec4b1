//! A week's holes fetched over the line after the cable was out, against the time that the line itself takes for those bytes.

use super::{Row, figure, others};
use crate::cab::Cab;
use host_tool::store::Store;
use shared_protocol::slot::SLOT_BYTES;
use simulator::bench::Bench;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::{Scenario, TWO_POLE};

/// Characters a second of 115,200 baud, ten bits each.
const CHARACTERS: f64 = 11_520.0;
/// Bytes of a frame with seven slots, which seven of them take together: COBS, kind and check.
const FRAME_BYTES: f64 = 232.0;
const SLOTS: f64 = 7.0;

/// From this memory into a host's store.
///
/// # Panics
/// Where the bench cannot be set up.
#[must_use]
pub fn up(memory: RamMemory) -> Row {
    let scenario = Scenario::parse("catching up", TWO_POLE).expect("a scenario");
    let bench = Bench::by_hand(&scenario, 5, NativeMachine::behind_a_line(memory).expect("a rig")).expect("fits");
    let mut cab = Cab::beside(bench, Store::in_memory(7).expect("a store"));
    cab.until("the last record", |cab| cab.host().is_some_and(|host| host.drained(0)));
    #[allow(clippy::cast_precision_loss)] // minutes, in ms
    let ours = cab.now() as f64 / 1e3;
    let slots = figure(cab.stored().len());
    let line = slots / SLOTS * FRAME_BYTES / CHARACTERS;
    Row {
        what: "catching up after a week without cable, 60 holes".to_owned(),
        unit: "virtual s",
        ours,
        others: others([("the line's own time for those frames", line), ("for the slots alone", slots * figure(SLOT_BYTES) / CHARACTERS)]),
        aim: "within 1.15 times the line's time",
        holds: ours <= 1.15 * line,
        note: format!("{slots} slots; from power-on, recovery and greeting included"),
    }
}
