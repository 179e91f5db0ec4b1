//! The verbs a person runs on this tree, listed here; each has a file of its own.

mod bench;
mod board;
mod coverage;
mod cuts;
mod emulate;
mod emulator;
mod firmware;
mod fuzz;
mod host;
mod image;
mod lockstep;
mod log;
mod pictures;
mod seeds;
mod session;
mod size;
mod test;
mod tools;
mod unpanicking;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// What can be done with this tree beyond `cargo build` and `cargo run`.
///
/// Exit status: 0 done, 1 it failed or something was found, 2 usage.
#[derive(Debug, Parser)]
#[command(name = "cargo xtask", bin_name = "cargo xtask")]
struct Arguments {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Prove everything, the image on the emulated board included
    Test,
    /// Make ready what the tests need that is not Rust
    Tools,
    /// Feed mutated slots, frames, memories and stores to whatever reads them
    Fuzz(fuzz::Arguments),
    /// Cut the rig's power after every byte that it writes, and again within every recovery
    Cuts(cuts::Arguments),
    /// Run whole sites in which anything may fail, and see that nothing is lost unnamed
    Seeds(seeds::Arguments),
    /// Drill many holes and count how often what is stated of them holds
    Coverage(coverage::Arguments),
    /// Measure it beside what else could have been used, and write the table to the docs
    Bench(bench::Arguments),
    /// Build the bench board's image and print its path
    Firmware,
    /// Run the image on an emulated board and show its log
    Emulate(emulate::Arguments),
    /// Make the documents' pictures anew: the certificate, and the cab page at its ten moments
    Pictures,
    /// Hold the image's flash, RAM, stack and work per turn against the board's budget
    Size,
    /// Prove at link that nothing in the release image can panic
    Unpanicking,
}

/// What a verb comes to: one line for a person where it failed.
type Outcome<T = ()> = Result<T, String>;

fn main() -> ExitCode {
    let outcome = match Arguments::parse().verb {
        Verb::Test => test::run(),
        Verb::Tools => tools::ready(),
        Verb::Fuzz(arguments) => fuzz::run(&arguments),
        Verb::Cuts(arguments) => cuts::run(&arguments),
        Verb::Seeds(arguments) => seeds::run(&arguments),
        Verb::Coverage(arguments) => coverage::run(&arguments),
        Verb::Bench(arguments) => bench::run(&arguments),
        Verb::Firmware => firmware::run(),
        Verb::Emulate(arguments) => emulate::run(&arguments),
        Verb::Pictures => pictures::run(),
        Verb::Size => size::run(),
        Verb::Unpanicking => unpanicking::run(),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("xtask: {fault}");
            ExitCode::FAILURE
        }
    }
}
