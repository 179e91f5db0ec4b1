//! The Python environment with the packages that the proofs borrow from others.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

/// The interpreter of the environment that `cargo xtask test` makes.
///
/// # Panics
/// When it is not there; the message says what to do.
#[must_use]
pub fn interpreter() -> PathBuf {
    let venv = crate::root().join("target/venv/bin/python");
    let python = std::env::var_os("PYTHON_WITH_REQUIREMENTS").map_or(venv, PathBuf::from);
    assert!(python.exists(), "{} is not there: cargo xtask tools makes it", python.display());
    python
}

/// Asks `reference.py` for the answers to several problems.
///
/// # Panics
/// When Python fails or says something else than JSON.
#[must_use]
pub fn reference(what: &str, problems: &serde_json::Value) -> serde_json::Value {
    let mut command = Command::new(interpreter());
    command.arg(crate::root().join("tests/python/reference.py")).arg(what).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.spawn().expect("Python starts");
    child.stdin.take().expect("piped").write_all(problems.to_string().as_bytes()).expect("it reads");
    let out = child.wait_with_output().expect("it ends");
    assert!(out.status.success(), "reference.py {what} failed; what it says above is why");
    serde_json::from_slice(&out.stdout).expect("JSON")
}
