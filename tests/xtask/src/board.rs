//! Where the bench board's things are, and which compiler can build for it.

use std::env;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The board's processor, as compilers name it.
pub const TARGET: &str = "thumbv7em-none-eabihf";

/// The top of the tree.
pub fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    here.canonicalize().unwrap_or(here)
}

/// The board's folder.
pub fn folder() -> PathBuf {
    root().join("firmware/boards/mps2-an386")
}

/// Where its build goes: a folder of its own, since another compiler makes it.
pub fn target_folder() -> PathBuf {
    env::var_os("CARGO_TARGET_DIR").map_or_else(|| folder().join("target"), |outer| PathBuf::from(outer).join("board"))
}

/// A way to build for the board.
#[derive(Debug, PartialEq, Eq)]
pub enum Toolchain {
    /// The compiler that people use has the target installed.
    Target,
    /// A distribution's compiler, which builds `core` from its sources.
    Distribution,
}

const DISTRIBUTION_CARGO: &str = "/usr/bin/cargo";
const DISTRIBUTION_RUSTC: &str = "/usr/bin/rustc";

impl Toolchain {
    /// Finds one.
    pub fn find() -> Option<Self> {
        let has = |rustc: &str, part: &str| sysroot(rustc).is_some_and(|sysroot| sysroot.join(part).exists());
        if has("rustc", &format!("lib/rustlib/{TARGET}/lib")) {
            Some(Self::Target)
        } else if Path::new(DISTRIBUTION_CARGO).exists() && has(DISTRIBUTION_RUSTC, "lib/rustlib/src/rust/library/core") {
            Some(Self::Distribution)
        } else {
            None
        }
    }

    /// Cargo, ready to build in the board's folder whatever called us.
    pub fn cargo(&self) -> Command {
        let mut cargo = match self {
            Self::Target => {
                let mut cargo = Command::new("cargo");
                // The linker that comes with the compiler; no other need be installed.
                cargo.env("CARGO_TARGET_THUMBV7EM_NONE_EABIHF_LINKER", "rust-lld");
                cargo
            }
            Self::Distribution => {
                let mut cargo = Command::new(DISTRIBUTION_CARGO);
                // The distribution's cargo would take the first `rustc` on the path, which is another one where
                // rustup is installed; and building `core` is not for stable compilers without this.
                cargo.env("RUSTC", DISTRIBUTION_RUSTC).env("RUSTC_BOOTSTRAP", "1").env_remove("RUSTUP_TOOLCHAIN");
                cargo.args(["-Z", "build-std=core"]);
                cargo
            }
        };
        // Flags and folders that are meant for the build that runs this.
        for outer in ["RUSTFLAGS", "CARGO_ENCODED_RUSTFLAGS", "CARGO_BUILD_TARGET", "RUSTC_WORKSPACE_WRAPPER"] {
            cargo.env_remove(outer);
        }
        cargo.current_dir(folder()).env("CARGO_TARGET_DIR", target_folder());
        cargo
    }
}

fn sysroot(rustc: &str) -> Option<PathBuf> {
    let out = Command::new(rustc).args(["--print", "sysroot"]).stderr(Stdio::null()).output().ok()?;
    out.status.success().then(|| PathBuf::from(String::from_utf8_lossy(&out.stdout).trim()))
}
