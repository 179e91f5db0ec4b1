//! What the proofs share: roots, and the fuzzer of everything that bytes from a cable can reach.

pub mod fuzz;

use std::path::{Path, PathBuf};

/// The top of the tree.
#[must_use]
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap_or_else(|_| PathBuf::from(".."))
}
