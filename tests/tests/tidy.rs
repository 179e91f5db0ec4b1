//! Rules of the house that no compiler knows, read off the sources.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Files that git keeps, by their path from the top.
fn files() -> Vec<PathBuf> {
    let out = Command::new("git").args(["ls-files", "-co", "--exclude-standard"]).current_dir(tests::root()).output().expect("git");
    assert!(out.status.success(), "git ls-files failed: run the tests in a clone");
    String::from_utf8(out.stdout).expect("UTF-8 names").lines().map(PathBuf::from).filter(|p| tests::root().join(p).is_file()).collect()
}

fn sources(extensions: &[&str]) -> Vec<(PathBuf, String)> {
    let of_kind = |p: &Path| p.extension().and_then(|e| e.to_str()).is_some_and(|e| extensions.contains(&e));
    files()
        .into_iter()
        .filter(|p| of_kind(p))
        .map(|p| {
            let text = std::fs::read_to_string(tests::root().join(&p)).expect("readable");
            (p, text)
        })
        .collect()
}

fn complain(complaints: &[String]) {
    assert!(complaints.is_empty(), "\n{}", complaints.join("\n"));
}

#[test]
fn the_top_level_is_as_agreed() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE-APACHE",
        "LICENSE-MIT",
        "firmware",
        "host-tool",
        "shared-protocol",
        "tests",
        "simulator",
    ];
    let tops = files().into_iter().map(|p| p.components().next().expect("a path").as_os_str().to_string_lossy().into_owned());
    let strange: Vec<_> = tops.filter(|t| !t.starts_with('.') && !allowed.contains(&t.as_str())).collect();
    complain(&strange);
}

#[test]
fn every_module_says_what_it_is_for_and_stays_small() {
    let mut complaints = Vec::new();
    for (path, text) in sources(&["rs"]) {
        if !text.starts_with("//!") {
            complaints.push(format!("{}: begin with a //! sentence that says what it is for", path.display()));
        }
        let lines = text.lines().count();
        if lines > 600 {
            complaints.push(format!("{}: {lines} lines; split what is past 600", path.display()));
        }
    }
    complain(&complaints);
}

#[test]
fn unsafe_stays_on_the_boards_and_says_why() {
    let mut complaints = Vec::new();
    let word = concat!("un", "safe");
    for (path, text) in sources(&["rs"]) {
        let code = |line: &str| line.split("//").next().unwrap_or("").contains(&format!("{word} "));
        for (number, line) in text.lines().enumerate().filter(|(_, line)| code(line)) {
            let before: Vec<&str> = text.lines().take(number).collect();
            let excused = before.iter().rev().take(6).any(|l| l.contains("SAFETY:"));
            if !path.starts_with("firmware/boards") || !excused {
                complaints.push(format!("{}:{}: {}", path.display(), number + 1, line.trim()));
            }
        }
    }
    complain(&complaints);
}

#[test]
fn nothing_is_left_for_later_and_nothing_is_skipped() {
    let marks = [concat!("to", "do!("), concat!("unimple", "mented!("), concat!("FIX", "ME"), concat!("XX", "X:"), concat!("#[ig", "nore")];
    let mut complaints = Vec::new();
    for (path, text) in sources(&["rs", "py", "md", "toml", "js", "css", "html", "sh"]) {
        for (number, line) in text.lines().enumerate() {
            if marks.iter().any(|m| line.contains(m)) {
                complaints.push(format!("{}:{}: {}", path.display(), number + 1, line.trim()));
            }
        }
    }
    complain(&complaints);
}

#[test]
fn the_firmware_neither_allocates_nor_floats() {
    let mut complaints = Vec::new();
    let is_shipped = |path: &Path| path.starts_with("firmware/app/src") && !path.ends_with("tests.rs");
    for (path, text) in sources(&["rs"]).into_iter().filter(|(path, _)| is_shipped(path)) {
        let shipped = text.split("#[cfg(test)]").next().unwrap_or("");
        for (number, line) in shipped.lines().enumerate() {
            let code = line.split("//").next().unwrap_or("");
            if ["f32", "f64", "alloc::", "std::", "Box<", " Vec<u8>", "String::new"].iter().any(|w| code.contains(w)) {
                complaints.push(format!("{}:{}: {}", path.display(), number + 1, line.trim()));
            }
        }
    }
    complain(&complaints);
}

#[test]
fn the_simulated_world_and_the_session_read_no_clock() {
    let mut complaints = Vec::new();
    for (path, text) in sources(&["rs"]) {
        let pure =
            path.starts_with("simulator/src/world") || path.starts_with("host-tool/src/session") || path.starts_with("firmware/app/src");
        let clocks = ["Instant::now", "SystemTime::now", "thread::sleep", "HashMap", "Timestamp::now", "Zoned::now"];
        for (number, line) in text.lines().enumerate().filter(|(_, line)| pure && clocks.iter().any(|c| line.contains(c))) {
            complaints.push(format!("{}:{}: {}", path.display(), number + 1, line.trim()));
        }
    }
    complain(&complaints);
}

#[test]
fn links_in_the_documents_lead_somewhere() {
    let mut complaints = Vec::new();
    for (path, text) in sources(&["md"]) {
        let folder = tests::root().join(path.parent().unwrap_or(Path::new("")));
        for link in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let target = link.split('#').next().unwrap_or("");
            if !target.is_empty() && !target.contains("://") && !folder.join(target).exists() {
                complaints.push(format!("{}: {target} is not there", path.display()));
            }
        }
    }
    complain(&complaints);
}
