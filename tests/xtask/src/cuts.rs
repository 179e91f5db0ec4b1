//! `cuts`: cuts the rig's power after every byte that it writes, and again within every recovery.

use crate::test::run_command;
use crate::{Outcome, board};
use std::process::Command;

/// What to cut.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Decides what a cut does to the bytes on their way
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Try one byte of so many only
    #[arg(long, default_value_t = 1)]
    pub every: u64,
    /// Try one pair of so many only
    #[arg(long, default_value_t = 1)]
    pub pairs_every: u64,
    /// Replay the cut within this byte
    #[arg(long)]
    pub at: Option<u64>,
    /// Then the cut within this byte of the recovery
    #[arg(long, requires = "at")]
    pub then: Option<u64>,
}

pub fn run(arguments: &Arguments) -> Outcome {
    let Arguments { seed, every, pairs_every, at, then } = arguments;
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.args(["run", "--release", "--quiet", "--package", "tests", "--bin", "cuts", "--"]);
    command.args([*seed, *every, *pairs_every].into_iter().chain(*at).chain(*then).map(|n| n.to_string()));
    run_command(command.current_dir(board::root()), "the power cuts")
}
