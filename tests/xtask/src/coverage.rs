//! `coverage`: drills many holes with errors of their own and counts how often what is stated of them holds.

use crate::test::run_command;
use crate::{Outcome, board};
use std::process::Command;

/// How many.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Holes to drill
    #[arg(long, default_value_t = 2_000)]
    pub holes: u64,
    /// The same seed makes the same holes
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Then put errors in that no budget covers, and see from which size on they are noticed
    #[arg(long)]
    pub curves: bool,
}

pub fn run(arguments: &Arguments) -> Outcome {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.args(["run", "--release", "--quiet", "--package", "tests", "--bin", "coverage", "--"]);
    command.args([arguments.holes.to_string(), arguments.seed.to_string()]).args(arguments.curves.then_some("curves"));
    command.current_dir(board::root());
    run_command(&mut command, "the coverage")
}
