//! What others wrote and the project stands on: where it comes from, under which licences, why each, and what is there twice.

use cargo_metadata::{Metadata, MetadataCommand, Package};
use spdx::{Expression, Licensee, ParseMode};
use std::collections::{BTreeMap, BTreeSet};

/// Licences that let the whole be given on as it is, their texts kept. A library under MPL-2.0 stays a file apart.
const LICENCES: &[&str] =
    &["MIT", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "Zlib", "Unicode-3.0", "Unlicense", "0BSD", "BSL-1.0", "MPL-2.0"];

/// What is there in two versions, and who holds on to the older one.
const TWICE: &[(&str, &str)] = &[
    ("bitflags", "serialport, and the board's runtime"),
    ("cobs", "postcard"),
    ("embedded-hal", "embedded-hal-mock, and the board's runtime"),
    ("embedded-io", "postcard, which can take either"),
    ("font-types", "krilla"),
    ("miniz_oxide", "png"),
    ("nb", "embedded-hal of before"),
    ("nix", "serialport"),
    ("object", "defmt-decoder"),
    ("read-fonts", "krilla"),
    ("rustc_version", "the board's runtime, while it is built"),
    ("semver", "the same"),
    ("skrifa", "krilla"),
    ("syn", "macros of a library for Windows"),
    ("windows-sys", "serialport and defmt-decoder, on Windows only"),
];

/// The workspace, and the board's own.
fn trees() -> [Metadata; 2] {
    ["Cargo.toml", "firmware/boards/mps2-an386/Cargo.toml"].map(|manifest| {
        MetadataCommand::new()
            .manifest_path(tests::root().join(manifest))
            .other_options(["--locked".to_owned()])
            .exec()
            .expect("cargo metadata")
    })
}

/// Packages that others wrote.
fn foreign(tree: &Metadata) -> impl Iterator<Item = &Package> {
    tree.packages.iter().filter(|package| package.source.is_some())
}

fn allows(licence: &str) -> bool {
    let allowed: Vec<Licensee> = LICENCES.iter().map(|id| Licensee::parse(id).expect("a licence's short name")).collect();
    Expression::parse_mode(licence, ParseMode::LAX)
        .is_ok_and(|expression| expression.evaluate(|wanted| allowed.iter().any(|licensee| licensee.satisfies(wanted))))
}

#[test]
fn everything_comes_from_the_registry_under_a_licence_that_is_allowed() {
    for tree in trees() {
        for package in foreign(&tree) {
            let from = package.source.as_ref().expect("foreign");
            assert!(from.is_crates_io(), "{} comes from {from}: only the public registry is kept for good", package.name);
            let licence = package.license.as_deref().unwrap_or("nothing said");
            assert!(allows(licence), "{} {} is under {licence}", package.name, package.version);
        }
    }
    assert!(allows("MIT OR GPL-3.0-only") && !allows("GPL-3.0-only") && !allows("MIT AND GPL-3.0-only") && !allows("nothing said"));
}

#[test]
fn what_is_there_twice_is_known() {
    let trees = trees();
    let twice: BTreeSet<&str> = trees.iter().flat_map(in_two_versions).collect();
    let known: BTreeSet<&str> = TWICE.iter().map(|(name, _)| *name).collect();
    let new: Vec<_> = twice.difference(&known).collect();
    assert!(new.is_empty(), "{new:?} are there twice: bring them to one version, or say in TWICE who holds on to the older one");
    let gone: Vec<_> = known.difference(&twice).collect();
    assert!(gone.is_empty(), "{gone:?} are there once now: take them out of TWICE");
}

fn in_two_versions(tree: &Metadata) -> Vec<&str> {
    let mut versions: BTreeMap<&str, usize> = BTreeMap::new();
    foreign(tree).for_each(|package| *versions.entry(package.name.as_str()).or_default() += 1);
    versions.into_iter().filter(|(_, count)| *count > 1).map(|(name, _)| name).collect()
}

#[test]
fn every_direct_dependency_has_a_line_that_says_why() {
    let document = std::fs::read_to_string(tests::root().join("DEVELOPERS.md")).expect("readable");
    let said: BTreeSet<&str> =
        document.lines().filter_map(|line| line.strip_prefix("| `")?.split_once("` | for ")).map(|(name, _)| name).collect();
    let trees = trees();
    let direct: BTreeSet<&str> = trees
        .iter()
        .flat_map(Metadata::workspace_packages)
        .flat_map(|member| member.dependencies.iter())
        .filter(|dependency| dependency.path.is_none())
        .map(|dependency| dependency.name.as_str())
        .collect();
    let (unsaid, gone): (Vec<_>, Vec<_>) = (direct.difference(&said).collect(), said.difference(&direct).collect());
    assert!(unsaid.is_empty(), "{unsaid:?}: say in DEVELOPERS.md what each is for");
    assert!(gone.is_empty(), "{gone:?} are not depended on any more");
}
