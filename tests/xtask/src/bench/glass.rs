//! The row of the way from a reading to the glass, with its parts, off the pages' own test on the release program.

use super::row::{Other, Row};
use crate::{Outcome, board};
use serde_json::Value;
use std::process::Command;

/// One frame of a screen of 60 Hz, ms.
const SCREEN_MS: f64 = 1_000.0 / 60.0;
/// A live frame's 20 bytes at 115,200 baud, ms.
const SERIAL_MS: f64 = 20.0 * 10.0 / 115.2;

/// Looks for so long; the row of the slowest hundredth, and of the middle.
pub fn rows(quick: bool) -> Outcome<Vec<Row>> {
    let mut test = Command::new(env!("CARGO"));
    test.args(["test", "--quiet", "--workspace", "--test", "browser", "glass", "--", "--nocapture"]).current_dir(board::root());
    test.env("BOREWITNESS_RELEASE", "1").env("BOREWITNESS_GLASS_SECONDS", if quick { "5" } else { "40" });
    let text = super::said(&mut test, "the pages' test")?;
    let line = text.lines().find_map(|line| line.split_once("glass {")).ok_or("the pages' test said nothing of the glass")?;
    let row: Value = serde_json::from_str(&format!("{{{}", line.1)).map_err(|why| format!("the pages' test: {why}"))?;
    ["p50", "p99"].iter().map(|part| one(&row, part).ok_or_else(|| "the pages' test left something out".to_owned())).collect()
}

fn one(row: &Value, quantile: &str) -> Option<Row> {
    let of = |part: &str| row["parts"][part][quantile].as_f64();
    let (interval, glass) = (row["interval"][quantile].as_f64()?, of("glass")?);
    let (limit, ours) = (interval + SERIAL_MS + SCREEN_MS, interval + glass);
    let mut others = vec![Other { name: "limit: interval, frame on the line, one screen of 60 Hz".into(), value: limit }];
    for (part, name) in [("line", "of it line"), ("program", "program"), ("drawing", "drawing"), ("frame", "screen")] {
        others.push(Other { name: name.into(), value: of(part)? });
    }
    others.push(Other { name: "reading to glass".into(), value: glass });
    others.push(Other { name: "reading to changed pixels".into(), value: row["changed"][quantile].as_f64()? });
    Some(Row {
        what: format!("what happens to what is seen, {quantile}, with {} clients", row["clients"]),
        unit: "ms".into(),
        ours,
        others,
        aim: "within 3 times the limit; p99 of reading to glass under 100 ms".into(),
        holds: ours <= 3.0 * limit && glass < 100.0,
        note: format!("{} readings; the sensors' longest interval is in it, the lean's window of 1 s is not", row["readings"]),
    })
}
