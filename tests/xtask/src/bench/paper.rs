//! Paper's row: pages per second of processor, beside a PDF library of Python's and a browser that set the same words.

use super::row::{Other, Row};
use crate::{Outcome, board};
use serde_json::Value;
use std::process::Command;

/// Measures; fewer papers where it need only be quick.
pub fn row(quick: bool) -> Outcome<Row> {
    let root = board::root();
    let mut speed = Command::new(root.join("target/venv/bin/python"));
    speed.arg(root.join("tests/python/paper_speed.py")).arg(root.join("target/release/season"));
    speed.arg(root.join("target/browser/node_modules")).arg(if quick { "8" } else { "100" });
    let text = super::said(&mut speed, "paper_speed.py")?;
    let printed = text.lines().map(read).collect::<Option<Vec<_>>>().ok_or("paper_speed.py said something else")?;
    let [(_, papers, ours), (_, _, reportlab), (_, _, browser)] = &printed[..] else {
        return Err("paper_speed.py measured too little".into());
    };
    let other = |name: &str, value: f64| Other { name: name.into(), value };
    Ok(Row {
        what: "paper".into(),
        unit: "pages per second of processor".into(),
        ours: *ours,
        others: vec![other("reportlab", *reportlab), other("a headless browser", *browser)],
        aim: "20 times the browser; ahead of the library".into(),
        holds: *ours >= 20.0 * browser && ours > reportlab,
        note: format!(
            "{papers} papers stored, judged, set, tagged, signed, with their evidence; the others set the same words and as many strokes, no more"
        ),
    })
}

/// Name, papers, pages a second.
fn read(line: &str) -> Option<(String, u64, f64)> {
    let value: Value = serde_json::from_str(line).ok()?;
    let name = value.get("name")?.as_str()?.to_owned();
    let (papers, pages, seconds) = (value.get("papers")?.as_u64()?, value.get("pages")?.as_f64()?, value.get("seconds")?.as_f64()?);
    Some((name, papers, pages / seconds))
}
