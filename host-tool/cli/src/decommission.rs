//! `decommission`: a rig forgets everything, its key too, once all of its records are here and a person has typed its name.

use crate::Failure;
use crate::bench::{Bench, failed};
use crate::station::typed_lines;
use host_tool::facts;
use host_tool::paper::words::hex;
use host_tool::session::Stream;
use host_tool::text::terminal;
use shared_protocol::message::{Command, Decommission};
use shared_protocol::record::{Decommissioned, Record};
use shared_protocol::state::Answer;
use std::io::{Write, stdout};
use std::path::PathBuf;
use std::sync::mpsc::TryRecvError;

/// How long a rig takes at most to begin its next epoch, ms: it calls a reset off after 10 s, and begins in less than one.
const BEGINS_WITHIN_MS: u64 = 15_000;

/// What to decommission.
#[derive(Debug)]
pub struct Decommissioning {
    /// The port.
    pub port: String,
    /// Bits per second.
    pub baud: u32,
    /// The store.
    pub store: PathBuf,
    /// Who asks.
    pub who: String,
    /// Without typing the rig's name.
    pub yes: bool,
}

/// Has the rig on a port forget everything.
pub fn decommission(job: &Decommissioning) -> Result<(), Failure> {
    let unsaid = || Failure::Usage("say with --who who asks, in at most 16 bytes".to_owned());
    let who = job.who.trim().try_into().map_err(|_| unsaid())?;
    if job.who.trim().is_empty() {
        return Err(unsaid());
    }
    let mut bench = Bench::open(&job.port, job.baud, &job.store)?;
    writeln!(stdout(), "fetching every record that the rig has")?;
    let before = bench.meet()?;
    if bench.hole_open == Some(true) {
        return failed("a hole is open on the rig: close it, then decommission");
    }
    let slots = bench.store().stream(&before)?.slots.len();
    writeln!(stdout(), "all of its records are here: {slots} of epoch {} in {}", before.epoch, terminal(&job.store.display().to_string()))?;
    if !job.yes {
        confirm(&mut bench, &before)?;
    }
    bench.drain()?; // the time that it was told just now is a record too
    bench.may_begin_anew();
    let outcome = bench.ask(Command::Decommission(Decommission { epoch: before.epoch, who }))?;
    // The answer may be lost in the reset itself: then the next epoch says that it was done.
    if outcome.answer().is_some_and(|answer| answer != Answer::Done) {
        return failed(&format!("{outcome}; nothing was forgotten"));
    }
    let after = match bench.begun_anew(&before, BEGINS_WITHIN_MS)? {
        Some(after) => after,
        None => return failed("the rig has not begun anew: it forgets nothing without this store having all; begin again"),
    };
    bench.drain()?;
    let Some(said) = last(&bench.store().stream(&before)?.slots) else {
        return failed("the rig has begun anew, and its record of what it forgot is not here: listen with the store that has it");
    };
    Ok(writeln!(stdout(), "{}", forgotten(&said, &after))?)
}

/// Has the rig's name typed; the rig is heard meanwhile.
fn confirm(bench: &mut Bench, stream: &Stream) -> Result<(), Failure> {
    let name = terminal(&stream.rig);
    writeln!(stdout(), "it is to forget its key, its calibrations and all records that it still has; type its name, {name}, to go on:")?;
    let typed = typed_lines();
    loop {
        match typed.try_recv() {
            Ok(line) if line.trim() == stream.rig => return Ok(()),
            Ok(_) => return failed(&format!("that is not {name}: nothing was sent, and nothing is forgotten")),
            Err(TryRecvError::Disconnected) => {
                return failed("the input ended before the rig's name was typed: nothing was sent, and nothing is forgotten");
            }
            Err(TryRecvError::Empty) => bench.turn()?,
        }
        bench.still_there()?;
    }
}

/// What was forgotten, for people.
fn forgotten(said: &Decommissioned, after: &Stream) -> String {
    let key = if said.key == [0; 32] { "no key".to_owned() } else { format!("key {}", hex(&said.key)) };
    format!(
        "done, and recorded: the rig has forgotten {key}, {} calibrations, {} seals and {} starts of epoch {}; it is in epoch {} now, as new: commission and calibrate it before it drills",
        said.calibrations, said.seals, said.boot, said.epoch, after.epoch
    )
}

/// The last record of a reset.
fn last(slots: &[shared_protocol::slot::Slot]) -> Option<Decommissioned> {
    let of_reset = |record| if let Record::Decommissioned(said) = record { Some(said) } else { None };
    facts::records(slots).filter_map(|(_, record)| of_reset(record)).last()
}
