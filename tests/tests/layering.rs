//! The arrows of the house: which crate may know which.

use cargo_metadata::{DependencyKind, MetadataCommand};

/// Every crate with the crates of the project that it may depend on.
const ARROWS: &[(&str, &[&str])] = &[
    ("shared-protocol", &[]),
    ("firmware-app", &["shared-protocol"]),
    ("firmware-drivers", &["firmware-app", "shared-protocol"]),
    ("simulator", &["firmware-app", "firmware-drivers", "shared-protocol"]),
    ("host-tool", &["shared-protocol"]),
    ("borewitness", &["host-tool", "shared-protocol", "simulator"]),
    ("tests", &["borewitness", "firmware-app", "firmware-drivers", "host-tool", "shared-protocol", "simulator"]),
    ("xtask", &[]),
];

#[test]
fn no_crate_knows_more_than_it_may() {
    let metadata = MetadataCommand::new().manifest_path(tests::root().join("Cargo.toml")).exec().expect("cargo metadata");
    let members = metadata.workspace_packages();
    let mut names: Vec<_> = members.iter().map(|p| p.name.to_string()).collect();
    let mut known: Vec<_> = ARROWS.iter().map(|(name, _)| (*name).to_owned()).collect();
    names.sort();
    known.sort();
    assert_eq!(names, known, "every member has its row in ARROWS");
    for package in members {
        let (_, allowed) = ARROWS.iter().find(|(name, _)| *name == package.name.as_str()).expect("in the table");
        for dependency in &package.dependencies {
            let ours = ARROWS.iter().any(|(name, _)| *name == dependency.name);
            let proof = package.name.as_str() == "tests" && dependency.kind == DependencyKind::Development;
            assert!(!ours || proof || allowed.contains(&dependency.name.as_str()), "{} must not know {}", package.name, dependency.name);
        }
    }
}

#[test]
fn the_core_of_the_firmware_stays_small() {
    let metadata = MetadataCommand::new().manifest_path(tests::root().join("Cargo.toml")).exec().expect("cargo metadata");
    let foreign = |name: &str| {
        let package = metadata.workspace_packages().into_iter().find(|p| p.name.as_str() == name).expect("a member");
        let normal = package.dependencies.iter().filter(|d| d.kind == DependencyKind::Normal);
        let mut names: Vec<_> = normal.map(|d| d.name.clone()).filter(|n| !ARROWS.iter().any(|(ours, _)| ours == n)).collect();
        names.sort();
        names
    };
    assert_eq!(foreign("firmware-app"), ["defmt", "ed25519-dalek", "heapless", "sha2"]);
    assert_eq!(foreign("firmware-drivers"), ["defmt", "embedded-hal", "embedded-hal-nb", "heapless", "modbus-core", "nb"]);
    assert_eq!(foreign("shared-protocol"), ["cobs", "crc", "defmt", "heapless", "postcard", "serde", "sha2"]);
}

#[test]
fn the_only_feature_is_defmt() {
    let metadata = MetadataCommand::new().manifest_path(tests::root().join("Cargo.toml")).exec().expect("cargo metadata");
    for package in metadata.workspace_packages() {
        let others: Vec<_> = package.features.keys().filter(|f| *f != "defmt").collect();
        assert!(others.is_empty(), "{} has {others:?}", package.name);
    }
}
