//! `fuzz`: feeds mutated frames, their checks repaired, to the decoder and to a whole rig.

use crate::test::run_command;
use crate::{Outcome, board};
use std::process::Command;

/// How much to fuzz.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Frames to feed
    #[arg(long, default_value_t = 10_000_000)]
    pub runs: u64,
    /// The same seed makes the same frames
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

pub fn run(arguments: &Arguments) -> Outcome {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.args(["run", "--release", "--quiet", "--package", "tests", "--bin", "fuzz", "--"]);
    command.args([arguments.runs.to_string(), arguments.seed.to_string()]).current_dir(board::root());
    run_command(&mut command, "the fuzzer")
}
