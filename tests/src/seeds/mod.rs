//! Whole sites in which anything may fail: one seed draws a swarm of faults, and in the end nothing is lost unnamed.
//!
//! First memory, cable, sensors, supply and hosts fail as [`faults`] says, then nothing does any more. A [`site`] is
//! worked all the while; [`ledger`] keeps what the memory held and what hosts acknowledged, and [`oracle`] says what is
//! wrong.

pub mod faults;
pub mod ledger;
pub mod machine;
pub mod oracle;
pub mod site;

use faults::{Fault, Kind};
use firmware_app::memory::Memory;
use host_tool::store::Store;
use simulator::frail::FrailMemory;
use std::fmt::Debug;

/// What became of a seed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// The faults, in order.
    pub faults: Vec<Fault>,
    /// What does not hold: one line.
    pub wrong: Option<String>,
    /// How long it took to finish all after the last fault, virtual ms.
    pub converged_ms: u64,
    /// All of it, virtual ms.
    pub virtual_ms: u64,
    /// A check over everything said on the cable, and over memory and stores in the end.
    pub trace: u64,
}

/// Runs a seed with faults of these kinds, or of those that it draws.
#[must_use]
pub fn run(seed: u64, only: &[Kind]) -> Outcome {
    run_with(seed, only, |memory| memory, |store| store)
}

/// The same, gone wrong on purpose: `wrap` stands between rig and memory, `lose` between a host that is killed and its
/// next start.
#[must_use]
pub fn run_with<M: Memory + Clone + Debug>(
    seed: u64,
    only: &[Kind],
    wrap: impl FnOnce(FrailMemory) -> M,
    lose: fn(Store) -> Store,
) -> Outcome {
    let faults = faults::draw(seed, only);
    let site = site::Site::start(seed, faults.clone(), wrap, lose);
    let site::Ended { wrong, converged_ms, virtual_ms, trace } = site.run();
    Outcome { faults, wrong, converged_ms, virtual_ms, trace }
}
