//! Gives the linker its scripts. Here and not among the compiler's flags, which an outer RUSTFLAGS would replace.

use std::{env, fs, path::Path};

fn main() {
    let out = env::var("OUT_DIR").expect("cargo sets OUT_DIR");
    for script in ["memory.x", "device.x"] {
        fs::copy(script, Path::new(&out).join(script)).expect("the linker script is beside build.rs");
        println!("cargo:rerun-if-changed={script}");
    }
    println!("cargo:rustc-link-search={out}");
    for argument in ["-Tlink.x", "-Tdefmt.x", "--nmagic"] {
        println!("cargo:rustc-link-arg-bins={argument}");
    }
}
