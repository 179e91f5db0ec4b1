//! `seeds`: whole sites in which anything may fail, a world for every seed; nothing may be lost unnamed.

use crate::test::run_command;
use crate::{Outcome, board};
use std::process::Command;

/// Which seeds.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The first seed
    #[arg(long, default_value_t = 1)]
    pub from: u64,
    /// How many
    #[arg(long, default_value_t = 300)]
    pub count: u64,
    /// Replay this one and show its faults
    #[arg(long, conflicts_with_all = ["from", "count"])]
    pub seed: Option<u64>,
    /// Faults of this kind only: torn, supply, rot, refusing, noise, unplugged, sensor, killed or other; may be given again
    #[arg(long)]
    pub only: Vec<String>,
}

pub fn run(arguments: &Arguments) -> Outcome {
    let Arguments { from, count, seed, only } = arguments;
    let (from, count) = seed.map_or((*from, *count), |seed| (seed, 1));
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.args(["run", "--release", "--quiet", "--package", "tests", "--bin", "seeds", "--"]);
    command.args([from.to_string(), count.to_string()]).args(only).current_dir(board::root());
    run_command(&mut command, "a seed")
}
