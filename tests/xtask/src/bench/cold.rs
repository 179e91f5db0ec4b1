//! From a clean clone to the first paper: how long that takes, and what each crate that is asked for by name has of it.

use super::row::short;
use crate::test::run_command;
use crate::{Outcome, board};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// Whatever is built for the paper begins here.
const PROGRAM: &str = "borewitness";
/// From a clean clone to the paper, s.
const AIM: f64 = 360.0;

/// Crates by the name and version that cargo gives them, and which they ask for.
#[derive(Debug, Default)]
struct Crates {
    asks: BTreeMap<String, BTreeSet<String>>,
    ours: BTreeSet<String>,
}

/// Clones what is committed, runs the README's first command there, and returns the table.
pub fn table() -> Outcome<String> {
    let clone = board::root().join("target/measured/clone");
    let _ = std::fs::remove_dir_all(&clone);
    run_command(Command::new("git").args(["clone", "--quiet"]).arg(board::root()).arg(&clone), "git clone")?;
    let mut first = Command::new(env!("CARGO"));
    first.args(["run", "--release", "--quiet", "--timings"]).current_dir(&clone).env_remove("CARGO_TARGET_DIR");
    let since = Instant::now();
    run_command(&mut first, "the README's first command")?;
    let took = since.elapsed().as_secs_f64();
    let took_by = built(&clone.join("target/cargo-timings/cargo-timing.html"))?;
    let crates = Crates::of(&super::said(
        Command::new(env!("CARGO")).args(["metadata", "--format-version", "1", "--filter-platform", &host()?]).current_dir(&clone),
        "cargo metadata",
    )?)?;
    let _ = std::fs::remove_dir_all(&clone);
    Ok(written(took, &took_by, &crates))
}

/// What this machine's programs are built for.
fn host() -> Outcome<String> {
    let text = super::said(Command::new("rustc").arg("-vV"), "rustc")?;
    text.lines().find_map(|line| Some(line.strip_prefix("host: ")?.to_owned())).ok_or_else(|| "rustc did not say its host".to_owned())
}

/// Seconds that cargo took for each crate, all its parts together.
fn built(page: &Path) -> Outcome<BTreeMap<String, f64>> {
    let text = std::fs::read_to_string(page).map_err(|why| format!("{}: {why}", page.display()))?;
    let units = text.split_once("const UNIT_DATA = ").and_then(|(_, rest)| Some(rest.split_once("\n];")?.0.to_owned() + "\n]"));
    let units: Vec<Value> = units
        .and_then(|units| serde_json::from_str(&units).ok())
        .ok_or_else(|| format!("{}: no times that can be read", page.display()))?;
    let mut took = BTreeMap::new();
    for unit in &units {
        if let (Some(name), Some(version), Some(seconds)) = (unit["name"].as_str(), unit["version"].as_str(), unit["duration"].as_f64()) {
            *took.entry(format!("{name} {version}")).or_insert(0.0) += seconds;
        }
    }
    Ok(took)
}

impl Crates {
    /// Reads what `cargo metadata` says; what only tests ask for is left out.
    fn of(text: &str) -> Outcome<Self> {
        let all: Value = serde_json::from_str(text).map_err(|why| format!("cargo metadata: {why}"))?;
        let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
        let said = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let names: BTreeMap<String, String> = list(&all["packages"])
            .iter()
            .map(|one| (said(&one["id"]), format!("{} {}", said(&one["name"]), said(&one["version"]))))
            .collect();
        let named = |id: &Value| names.get(&said(id)).cloned();
        let mut crates = Self { ours: list(&all["workspace_members"]).iter().filter_map(named).collect(), ..Self::default() };
        for node in list(&all["resolve"]["nodes"]) {
            let wanted = |dep: &&Value| list(&dep["dep_kinds"]).iter().any(|kind| kind["kind"].as_str() != Some("dev"));
            let deps = list(&node["deps"]);
            let asks = deps.iter().filter(wanted).filter_map(|dep| named(&dep["pkg"])).collect();
            crates.asks.extend(named(&node["id"]).map(|name| (name, asks)));
        }
        Ok(crates)
    }

    /// All that the program needs, where one crate is not there.
    fn reached(&self, without: Option<&str>) -> BTreeSet<&str> {
        let mut reached = BTreeSet::new();
        let mut next: Vec<&str> = self.asks.keys().map(String::as_str).filter(|name| name.split(' ').next() == Some(PROGRAM)).collect();
        while let Some(one) = next.pop() {
            if Some(one) != without && reached.insert(one) {
                next.extend(self.asks.get(one).into_iter().flatten().map(String::as_str));
            }
        }
        reached
    }

    /// What our own crates ask for that is not ours.
    fn direct(&self) -> BTreeSet<&str> {
        let ours = self.reached(None).into_iter().filter(|name| self.ours.contains(*name));
        ours.flat_map(|name| &self.asks[name]).map(String::as_str).filter(|name| !self.ours.contains(*name)).collect()
    }
}

fn written(took: f64, took_by: &BTreeMap<String, f64>, crates: &Crates) -> String {
    let sum = |names: &BTreeSet<&str>| names.iter().filter_map(|name| took_by.get(*name)).sum::<f64>();
    let (all, whole) = (crates.reached(None), took_by.values().sum::<f64>());
    let own = sum(&all.iter().copied().filter(|name| crates.ours.contains(*name)).collect());
    let holds = if took <= AIM { "yes" } else { "NO" };
    let mut text = format!(
        "From a clean clone to the first papers: {} s, {} s of it the building of its crates on all processors together, {} of those its own \
         crates'. Under 6 minutes: {holds}.\n\n| crate asked for by name | s, itself | s, with all that goes if it goes | of all |\n|---|---|---|---|\n",
        short(took),
        short(whole),
        short(own)
    );
    let row = |name: &str| {
        let left = crates.reached(Some(name));
        let goes = sum(&all.iter().copied().filter(|other| !left.contains(other)).collect());
        (
            goes,
            format!(
                "| {name} | {} | {} | {} % |\n",
                short(took_by.get(name).copied().unwrap_or(0.0)),
                short(goes),
                short(100.0 * goes / whole)
            ),
        )
    };
    let mut rows: Vec<(f64, String)> = crates.direct().into_iter().map(row).collect();
    rows.sort_by(|a, b| b.0.total_cmp(&a.0));
    text.extend(rows.into_iter().map(|(_, row)| row));
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The program asks for `a` and `b`, both ask for `shared`, and `a` for `alone`; `t` is for tests.
    const METADATA: &str = r#"{
        "packages": [
            {"id": "p", "name": "borewitness", "version": "1"}, {"id": "a", "name": "a", "version": "1"}, {"id": "b", "name": "b", "version": "1"},
            {"id": "s", "name": "shared", "version": "2"}, {"id": "l", "name": "alone", "version": "3"}, {"id": "t", "name": "t", "version": "1"}
        ],
        "workspace_members": ["p"],
        "resolve": {"nodes": [
            {"id": "p", "deps": [{"pkg": "a", "dep_kinds": [{"kind": null}]}, {"pkg": "b", "dep_kinds": [{"kind": "build"}]}, {"pkg": "t", "dep_kinds": [{"kind": "dev"}]}]},
            {"id": "a", "deps": [{"pkg": "s", "dep_kinds": [{"kind": null}]}, {"pkg": "l", "dep_kinds": [{"kind": null}]}]},
            {"id": "b", "deps": [{"pkg": "s", "dep_kinds": [{"kind": null}]}]},
            {"id": "s", "deps": []}, {"id": "l", "deps": []}, {"id": "t", "deps": []}
        ]}
    }"#;

    #[test]
    fn a_crate_is_charged_with_what_only_it_asks_for() {
        let crates = Crates::of(METADATA).expect("as cargo writes it");
        assert_eq!(crates.direct(), BTreeSet::from(["a 1", "b 1"]));
        let took = [("borewitness 1", 10.0), ("a 1", 4.0), ("b 1", 1.0), ("shared 2", 3.0), ("alone 3", 2.0)];
        let table = written(400.0, &took.map(|(name, s)| (name.to_owned(), s)).into(), &crates);
        assert!(table.contains("| a 1 | 4.00 | 6.00 | 30.0 % |\n| b 1 | 1.00 | 1.00 | 5.00 % |\n"), "{table}");
        assert!(table.contains("minutes: NO.") && table.contains("20.0 s of it") && table.contains("10.0 of those"), "{table}");
    }

    #[test]
    fn times_are_read_as_cargo_writes_them() {
        let folder = tempfile::tempdir().expect("a folder");
        let page = folder.path().join("page.html");
        let units = r#"[{"name": "a", "version": "1", "duration": 1.5}, {"name": "a", "version": "1", "duration": 0.5}"#;
        std::fs::write(&page, format!("<script>const UNIT_DATA = {units}\n];\nmore")).expect("written");
        assert_eq!(built(&page), Ok(BTreeMap::from([("a 1".to_owned(), 2.0)])));
        std::fs::write(&page, "nothing").expect("written");
        assert!(built(&page).is_err_and(|why| why.contains("no times")));
    }
}
