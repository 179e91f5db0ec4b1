//! `fuzz`: feeds mutated slots, frames, memories and stores, their checks repaired, to whatever reads them.

use crate::test::run_command;
use crate::{Outcome, board};
use clap::ValueEnum;
use std::process::Command;

/// What reads hostile bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Target {
    /// Slots and records, as a host assembles, proves and judges them
    Slots,
    /// Frames on the cable, heard by a rig and by a host
    Frames,
    /// Memories that a rig starts on
    Memory,
    /// Files of stores that are opened and salvaged
    Store,
    /// Each of these, one after the other
    All,
}

/// What to fuzz, and how long.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// What to fuzz
    #[arg(long, value_enum, default_value = "all")]
    pub target: Target,
    /// Minutes for each, fractions allowed
    #[arg(long, default_value_t = 1.0)]
    pub minutes: f64,
    /// The same seed makes the same inputs
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

pub fn run(arguments: &Arguments) -> Outcome {
    let seconds = (arguments.minutes * 60.0).round();
    if !(1.0..=1e6).contains(&seconds) {
        return Err("--minutes: give at least a second, 0.02".to_owned());
    }
    // Built with checks of overflow, as the tests are and with what they have built already.
    let mut build = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    build.args(["build", "--quiet", "--workspace", "--bin", "fuzz"]).current_dir(board::root());
    run_command(&mut build, "building the fuzzer")?;
    let beside = std::env::current_exe().map_err(|error| format!("where this program is cannot be found: {error}"))?;
    let program = beside.with_file_name(format!("fuzz{}", std::env::consts::EXE_SUFFIX));
    let chosen = |target: &&Target| **target != Target::All && (arguments.target == Target::All || **target == arguments.target);
    for target in Target::value_variants().iter().filter(chosen) {
        let name = target.to_possible_value().map_or_else(String::new, |value| value.get_name().to_owned());
        let mut command = Command::new(&program);
        command.args([name, seconds.to_string(), arguments.seed.to_string()]);
        run_command(&mut command, "the fuzzer")?;
    }
    Ok(())
}
