//! The real image on the emulated board: against the native rig byte for byte, against the world through the store,
//! against sensors that nobody here wrote, and killed again and again. `cargo xtask test` builds the image first; alone:
//! `cargo xtask firmware && cargo test -p tests --test emulated`.
#![cfg(unix)]

mod at24c;
mod independent;
mod kills;
mod lock_step;

use std::path::PathBuf;

/// The image that `cargo xtask firmware` built.
fn image() -> PathBuf {
    let built = tests::root().join("firmware/boards/mps2-an386/target/thumbv7em-none-eabihf/release/rig");
    let image = std::env::var_os("BOARD_IMAGE").map_or(built, PathBuf::from);
    assert!(image.exists(), "{} is not there: run cargo xtask firmware", image.display());
    image
}
