//! `unpanicking`: proves that nothing in the release image can panic.
//!
//! The image is linked once more with a panic handler that calls a symbol that does not exist. That links only where
//! the linker has dropped the handler with all that leads to it. Otherwise it is linked with the symbol made up and its
//! relocations kept, and they say which functions lead there.

use crate::board::{TARGET, Toolchain, target_folder};
use crate::{Outcome, firmware};
use object::{Object, ObjectSection, ObjectSymbol, RelocationTarget, SectionKind};
use std::collections::{BTreeMap, BTreeSet};
use std::process::Stdio;

/// What the handler calls, in `note.rs` of the board.
const MISSING: &str = "a_panic_is_reachable";

pub fn run() -> Outcome {
    let toolchain = firmware::toolchain()?;
    let proved = link(&toolchain, &[])?;
    let paths = if proved { Vec::new() } else { paths(&toolchain)? };
    firmware::build()?; // the image that runs stands where this one stood
    if proved {
        println!("no panic is reachable in the release image");
        return Ok(());
    }
    paths.iter().for_each(|path| println!("  {path}"));
    Err(format!("{} functions of the release image reach a panic, as named above", paths.len()))
}

/// Links the image whose handler calls what does not exist; says whether that went well.
fn link(toolchain: &Toolchain, arguments: &[&str]) -> Outcome<bool> {
    let mut cargo = toolchain.cargo();
    cargo.args(["rustc", "--release", "--locked", "--quiet", "--bin", firmware::IMAGE, "--features", "unpanicking", "--"]);
    for argument in arguments {
        cargo.args(["-C", &format!("link-arg={argument}")]);
    }
    // What the linker says of its one symbol helps nobody; what is wrong otherwise shows in the build of the ordinary image.
    let status = cargo.stderr(Stdio::null()).status();
    status.map(|status| status.success()).map_err(|error| format!("cargo cannot be started for the board: {error}"))
}

/// The functions from which a panic is reached, each with its way there.
fn paths(toolchain: &Toolchain) -> Outcome<Vec<String>> {
    firmware::build()?;
    if !link(toolchain, &["--emit-relocs", &format!("--defsym={MISSING}=0")])? {
        return Err("the image cannot be linked at all; cargo xtask firmware says why".into());
    }
    let path = target_folder().join(TARGET).join("release").join(firmware::IMAGE);
    let bytes = std::fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    let file = object::File::parse(&*bytes).map_err(|error| format!("{}: not an image ({error})", path.display()))?;
    Ok(lead_to(&references(&file), MISSING))
}

/// Who refers to whom, by name: from the one referred to.
type References = BTreeMap<String, BTreeSet<String>>;

fn references(file: &object::File<'_>) -> References {
    let mut places = BTreeMap::new();
    for symbol in file.symbols().filter(|symbol| symbol.size() > 0) {
        if let Ok(name) = symbol.name() {
            places.insert(symbol.address() & !1, (symbol.size(), readable(name)));
        }
    }
    let within = |at: u64| {
        let (begin, (size, name)) = places.range(..=at).next_back()?;
        (at < begin + size).then(|| name.clone())
    };
    let mut references = References::new();
    for section in file.sections().filter(|section| section.kind() != SectionKind::Other) {
        for (at, relocation) in section.relocations() {
            let RelocationTarget::Symbol(index) = relocation.target() else { continue };
            let Some(to) = file.symbol_by_index(index).ok().and_then(|symbol| symbol.name().ok().map(readable)) else { continue };
            if let Some(from) = within(at).filter(|from| *from != to) {
                references.entry(to).or_default().insert(from);
            }
        }
    }
    references
}

/// Whoever leads to `end` over the standard library alone, with the way there.
fn lead_to(references: &References, end: &str) -> Vec<String> {
    let (mut found, mut seen) = (Vec::new(), BTreeSet::from([end.to_string()]));
    let mut open = vec![(end.to_string(), String::new())];
    while let Some((name, way)) = open.pop() {
        for from in references.get(&name).into_iter().flatten() {
            let way = if name == end { String::new() } else { format!(" -> {name}{way}") };
            let standard = from.starts_with("core::") || from.starts_with("__rust") || from.starts_with("rust_");
            if !standard {
                found.push(format!("{from}{way}"));
            } else if seen.insert(from.clone()) {
                open.push((from.clone(), way));
            }
        }
    }
    found.sort();
    found
}

/// A symbol's name as a person reads it, without the compiler's hash.
fn readable(name: &str) -> String {
    format!("{:#}", rustc_demangle::demangle(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_leads_to_a_panic_is_named_with_the_way() {
        let edges = [("end", "rust_begin_unwind"), ("rust_begin_unwind", "core::panicking::panic"), ("core::panicking::panic", "rig::a")];
        let mut references = References::new();
        for (to, from) in edges.into_iter().chain([("rig::a", "rig::b"), ("rig::c", "rig::d")]) {
            references.entry(to.into()).or_default().insert(from.into());
        }
        assert_eq!(lead_to(&references, "end"), ["rig::a -> core::panicking::panic -> rust_begin_unwind"]);
        assert_eq!(lead_to(&references, "elsewhere"), Vec::<String>::new());
    }

    #[test]
    fn names_lose_their_hashes() {
        assert_eq!(readable("_ZN4core9panicking5panic17h0123456789abcdefE"), "core::panicking::panic");
    }
}
