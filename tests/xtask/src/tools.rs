//! What the tests need that is not Rust: Debian's packages, a Python environment with the pinned requirements, and what drives a
//! browser, by its lock file.

use crate::test::run_command;
use crate::{Outcome, board};
use std::path::PathBuf;
use std::process::Command;

const INSTALL: &str = "tests/install-debian.sh";
const REQUIREMENTS: &str = "tests/python/requirements.txt";
const BROWSER: &str = "tests/browser";

/// Makes the tools ready, or says in one line what to type.
pub fn ready() -> Outcome {
    packages()?;
    python()?;
    browser()
}

/// Installs what is missing where that is allowed: as root, or in CI.
fn packages() -> Outcome {
    let script = board::root().join(INSTALL);
    let missing = Command::new("sh").arg(&script).arg("--missing").output().map_err(|error| format!("sh cannot be started: {error}"))?;
    let missing = String::from_utf8_lossy(&missing.stdout).trim().to_owned();
    if missing.is_empty() {
        return Ok(());
    }
    if std::env::var_os("CI").is_some() || is_root() {
        return run_command(Command::new("sh").arg(&script), INSTALL);
    }
    Err(format!("these packages are missing: {missing}\n  type: sudo sh {INSTALL}"))
}

fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output();
    id.is_ok_and(|out| out.stdout.trim_ascii() == b"0")
}

/// The environment's folder.
fn venv() -> PathBuf {
    board::root().join("target/venv")
}

/// Makes the Python environment, or makes it anew when the requirements have changed.
fn python() -> Outcome {
    let trouble = |error: std::io::Error| format!("{REQUIREMENTS}: {error}");
    let wanted = std::fs::read_to_string(board::root().join(REQUIREMENTS)).map_err(trouble)?;
    let stamp = venv().join("requirements");
    if std::fs::read_to_string(&stamp).is_ok_and(|made| made == wanted) {
        return Ok(());
    }
    let _ = std::fs::remove_dir_all(venv());
    run_command(Command::new("python3").args(["-m", "venv"]).arg(venv()), "python3 -m venv")?;
    let mut pip = Command::new(venv().join("bin/pip"));
    pip.args(["install", "--quiet", "--requirement", REQUIREMENTS]).current_dir(board::root());
    run_command(&mut pip, "pip install")?;
    std::fs::write(stamp, wanted).map_err(trouble)
}

/// Installs what drives the browser, or does so anew when its lock file has changed.
pub fn browser() -> Outcome {
    let trouble = |error: std::io::Error| format!("{BROWSER}: {error}");
    let (from, to) = (board::root().join(BROWSER), board::root().join("target/browser"));
    let lock = "package-lock.json";
    let wanted = std::fs::read_to_string(from.join(lock)).map_err(trouble)?;
    let stamp = to.join("installed");
    if std::fs::read_to_string(&stamp).is_ok_and(|made| made == wanted) {
        return Ok(());
    }
    std::fs::create_dir_all(&to).map_err(trouble)?;
    for file in ["package.json", lock] {
        std::fs::copy(from.join(file), to.join(file)).map_err(trouble)?;
    }
    run_command(Command::new("npm").args(["ci", "--no-audit", "--no-fund", "--ignore-scripts"]).current_dir(&to), "npm ci")?;
    std::fs::write(stamp, wanted).map_err(trouble)
}
