//! `pictures`: makes the documents' pictures anew, of the paper that the program prints and of its page in a browser.

use crate::test::{DEMONSTRATION, cargo_with, demonstration, run_command};
use crate::{Outcome, board, tools};
use std::path::Path;
use std::process::Command;
use std::time::SystemTime;

/// The first page of the left leg's certificate, as the README shows it.
const CERTIFICATE: &str = "host-tool/docs/certificate";
/// The cab page at its moments, as page.md shows them; the README shows one of them.
const PAGES: &str = "host-tool/docs/page";

pub fn run() -> Outcome {
    demonstration()?;
    let paper = board::root().join(DEMONSTRATION).join("S-27-left.pdf");
    let mut convert = Command::new("pdftoppm");
    convert.args(["-r", "72", "-gray", "-png", "-singlefile", "-f", "1", "-l", "1"]).arg(paper).arg(board::root().join(CERTIFICATE));
    run_command(&mut convert, "pdftoppm")?;
    pages()
}

/// The proof of what the page looks like keeps its pictures: what is measured and what is shown are one.
fn pages() -> Outcome {
    tools::browser()?;
    let begun = SystemTime::now();
    cargo_with(&["test", "--workspace", "--test", "browser", "looks::"], &[("BLESS", "1")])?;
    let old = old_ones(&board::root().join(PAGES), begun)?;
    if old.is_empty() { Ok(()) } else { Err(format!("{PAGES}: not made anew, so no proof keeps them any more: {}", old.join(", "))) }
}

/// The pictures of a folder that were not written since then.
fn old_ones(folder: &Path, since: SystemTime) -> Outcome<Vec<String>> {
    let trouble = |error: std::io::Error| format!("{}: {error}", folder.display());
    let mut old = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(trouble)? {
        let entry = entry.map_err(trouble)?;
        if entry.metadata().and_then(|data| data.modified()).map_err(trouble)? < since {
            old.push(entry.file_name().to_string_lossy().into_owned());
        }
    }
    Ok(old)
}
