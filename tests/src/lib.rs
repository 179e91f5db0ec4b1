//! What the proofs share: the top of the tree, a whole site in one process, power cuts, swarms
//! of faults, a fuzzer of the cable, invented holes slot by slot, a week of them, measurements beside others, the office's program, Python.

pub mod cab;
pub mod coverage;
pub mod cuts;
pub mod fuzz;
pub mod measure;
pub mod office;
pub mod python;
pub mod samples;
pub mod seeds;
pub mod week;

use std::path::{Path, PathBuf};

/// The top of the tree.
#[must_use]
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap_or_else(|_| PathBuf::from(".."))
}
