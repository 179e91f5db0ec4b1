//! The bench at the command line: a simulated rig, or an emulated board, worked by a scenario or by hand.

#[cfg(unix)]
mod console;
#[cfg(unix)]
mod host;
#[cfg(unix)]
mod work;

use clap::Parser;
use std::path::PathBuf;
use std::process::ExitCode;

/// Work a rig without hardware: by a scenario, or by hand with orders on standard input ("help" lists them).
///
/// Everything it makes is marked SIMULATED. Exit status: 0 done, 1 it could not be done, 2 usage.
#[derive(Debug, Parser)]
#[command(version)]
struct Arguments {
    /// A scenario file, or one of two-pole, still-hole, fault-parade, ordinary
    #[arg(default_value = "two-pole")]
    scenario: String,

    /// Take the levers yourself; the scenario gives ground, mast and sheet
    #[arg(long)]
    by_hand: bool,

    /// Seed of the world; the scenario's own if it is not given
    #[arg(long)]
    seed: Option<u64>,

    /// How many times as fast as real time
    #[arg(long, default_value_t = 1.0, value_parser = speed)]
    speed: f64,

    /// Offer the rig's host link as a serial port under this name; without it the bench is its own host
    #[arg(long, value_name = "PATH")]
    link: Option<PathBuf>,

    /// Run this image on an emulated board, in lock-step, instead of the native rig
    #[arg(long, value_name = "ELF", conflicts_with = "sensors")]
    board: Option<PathBuf>,

    /// With --board: keep the rig's memory in this file
    #[arg(long, value_name = "FILE", requires = "board")]
    memory: Option<PathBuf>,

    /// Be only the sensors of a board that runs by itself, on this unix socket: joined if it is served, else served
    #[arg(long, value_name = "SOCKET")]
    sensors: Option<PathBuf>,

    /// With --sensors: carry that board's host link too, from this unix socket
    #[arg(long, value_name = "SOCKET", requires = "sensors")]
    rig: Option<PathBuf>,

    /// Seconds of the world from one line of state to the next
    #[arg(long, value_name = "SECONDS", default_value_t = 1.0, value_parser = speed)]
    every: f64,
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if (0.01..=1e6).contains(&value) => Ok(value),
        _ => Err("expected a number from 0.01 to 1000000".into()),
    }
}

#[cfg(unix)]
fn main() -> ExitCode {
    match work::work(&Arguments::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("bench: {fault}");
            ExitCode::FAILURE
        }
    }
}

#[cfg(not(unix))]
fn main() -> ExitCode {
    eprintln!("bench: this system has neither pseudo-terminals nor unix sockets: run it on Linux or another Unix");
    let _ = Arguments::parse();
    ExitCode::FAILURE
}
