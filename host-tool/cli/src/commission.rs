//! `commission`: a rig gets a key to seal with, made of this computer's chance and forgotten here.

use crate::Failure;
use crate::bench::{Bench, failed};
use host_tool::facts;
use host_tool::paper::words::hex;
use shared_protocol::body::Secret;
use shared_protocol::message::{Command, Commission};
use shared_protocol::record::{Commissioned, Record};
use shared_protocol::state::Answer;
use std::io::{Write, stdout};
use std::path::PathBuf;

/// What to commission.
#[derive(Debug)]
pub struct Commissioning {
    /// The port.
    pub port: String,
    /// Bits per second.
    pub baud: u32,
    /// The store.
    pub store: PathBuf,
    /// Though it has a key.
    pub again: bool,
}

/// Commissions the rig on a port.
pub fn commission(job: &Commissioning) -> Result<(), Failure> {
    let mut bench = Bench::open(&job.port, job.baud, &job.store)?;
    let stream = bench.meet()?;
    if bench.hole_open == Some(true) {
        return failed("a hole is open on the rig: close it, then commission");
    }
    if let Some(before) = latest(&bench.store().stream(&stream)?.slots).filter(|_| !job.again) {
        return failed(&format!("the rig has a key, {}: to give it another, say --again", hex(&before.key)));
    }
    let mut secret = Secret::default();
    getrandom::fill(&mut secret.0).map_err(|e| Failure::Failed(format!("this computer gives no random bytes: {e}")))?;
    let outcome = bench.ask(Command::Commission(Commission { secret }))?;
    if !outcome.is_done() {
        let why = match outcome.answer() {
            Some(Answer::Simulated) => "; there is nothing to commission",
            _ => "; begin again",
        };
        return failed(&format!("{outcome}{why}"));
    }
    bench.drain()?;
    match latest(&bench.store().stream(&stream)?.slots) {
        Some(commissioned) => Ok(writeln!(stdout(), "done, and recorded: this rig seals with key {}", hex(&commissioned.key))?),
        None => failed("the rig says it is done, and its record of that is not here: listen to it once more"),
    }
}

/// The last key that the records name.
fn latest(slots: &[shared_protocol::slot::Slot]) -> Option<Commissioned> {
    let commissioned = |record| if let Record::Commissioned(commissioned) = record { Some(commissioned) } else { None };
    facts::records(slots).filter_map(|(_, record)| commissioned(record)).last()
}
