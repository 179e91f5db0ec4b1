//! `firmware`: builds the bench board's image and prints its path.

use crate::Outcome;
use crate::board::{TARGET, Toolchain, target_folder};
use std::path::PathBuf;

/// The rig's image among the board's programs.
pub const IMAGE: &str = "rig";

pub fn run() -> Outcome {
    println!("{}", build()?.display());
    Ok(())
}

/// A compiler for the board.
pub fn toolchain() -> Outcome<Toolchain> {
    Toolchain::find().ok_or_else(|| {
        format!("no compiler for the board: run `rustup target add {TARGET}`, or on Debian `sudo sh tests/install-debian.sh`")
    })
}

/// Builds all of the board's programs and returns the path of the rig's.
pub fn build() -> Outcome<PathBuf> {
    let status = toolchain()?
        .cargo()
        .args(["build", "--release", "--locked"])
        .status()
        .map_err(|error| format!("cargo cannot be started for the board: {error}"))?;
    if !status.success() {
        return Err("the board's image was not built; what cargo says above is why".into());
    }
    Ok(target_folder().join(TARGET).join("release").join(IMAGE))
}
