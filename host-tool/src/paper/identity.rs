//! Who measured, with what, when, and how the record can be checked.

use super::hole::{Hole, Reality};
use super::layout::flow::Flow;
use super::layout::letters::Weight;
use super::layout::table::{names, table, words};
use super::words::{NONE, capital, hex, remarks};
use super::{LAYOUT, figures, program};
use crate::facts::DigestState;
use crate::judge::metres;
use crate::proof::{Segment, SegmentState};
use shared_protocol::VERSION;
use shared_protocol::chain::End;
use shared_protocol::record::Identity;

const SIZE: f64 = 8.5;

/// Names and values, two to a row.
fn pairs(flow: &mut Flow, all: &[(&str, String)]) {
    let row = |some: &[(&str, String)]| {
        let mut cells: Vec<String> = some.iter().flat_map(|(name, value)| [(*name).to_owned(), value.clone()]).collect();
        cells.resize(4, String::new());
        cells
    };
    let rows: Vec<Vec<String>> = all.chunks(2).map(row).collect();
    table(flow, &[names("", 0.75), words("", 2.1), names("", 0.85), words("", 2.3)], &rows);
}

/// Who measured and with what.
pub fn instrument(flow: &mut Flow, hole: &Hole<'_>) {
    figures::heading(flow, "Who measured, and with what");
    let plan = hole.plan();
    let degrees = |centi: i32| format!("{:.1}°", f64::from(centi) / 100.0);
    let of = |f: &dyn Fn(&Identity) -> String| hole.setup.identity.as_ref().map_or("record missing".to_owned(), f);
    let units = hole.units();
    let closed = hole.setup.closed.as_ref().map_or("not closed".to_owned(), |c| c.moment.text());
    let reality = match hole.reality() {
        Reality::Drilled => "no",
        Reality::Simulated => "yes: no hole was drilled",
        Reality::Unknown => "not known",
    };
    pairs(
        flow,
        &[
            ("Operator", text(&plan.operator)),
            ("Line", text(&plan.line)),
            ("Opened", hole.setup.opened.moment.text()),
            ("Closed", closed),
            ("Clock", clock(hole)),
            ("Set-up", format!("{} of attempt {}", plan.setup, plan.attempt)),
            ("Rig", of(&|i| text(&i.rig))),
            ("Simulated", reality.to_owned()),
            ("Firmware", of(&|i| text(&i.firmware))),
            ("Configuration", of(&|i| hex(&i.configuration))),
            ("Tool", tool(hole)),
            (
                "Depth encoder",
                of(&|i| if i.encoder_absolute { "keeps its place without power".to_owned() } else { "incremental".to_owned() }),
            ),
            ("Mast's guide", of(&|i| format!("{} above the hub", units.long(metres(i.guide_height))))),
            ("Increment", of(&|i| format!("{} of new depth; lean read {} ms from it", units.short(metres(i.increment)), i.skew_ms))),
            (
                "Rig's heading",
                format!("{} clockwise from ahead, ±{}", degrees(plan.heading.0), degrees(plan.heading_within.0.saturating_abs())),
            ),
            ("Program", format!("{}, layout {LAYOUT}, record format {VERSION}", program())),
        ],
    );
}

fn text(raw: &str) -> String {
    if raw.trim().is_empty() { NONE.to_owned() } else { raw.to_owned() }
}

fn tool(hole: &Hole<'_>) -> String {
    let units = hole.units();
    match &hole.setup.tools[..] {
        [] => "not recorded".to_owned(),
        [tool] => {
            let (length, diameter) = (units.long(metres(tool.body.length)), units.long(metres(tool.body.diameter)));
            format!("{}, pin to cutting edge {length}, cuts {diameter}", tool.body.tool)
        }
        tools => format!("{} in turn, listed", tools.len()),
    }
}

fn clock(hole: &Hole<'_>) -> String {
    let known = hole.last_wall().is_some();
    (if known { "rig's own, set by the host's" } else { "time unknown: nobody told the rig" }).to_owned()
}

/// The record: how much of it, its digest, and how anyone checks it.
pub fn record(flow: &mut Flow, hole: &Hole<'_>) {
    figures::heading(flow, "The record");
    let (first, last) = hole.sequences();
    let setup = hole.setup;
    let closed = setup.closed.as_ref();
    let state = match setup.digest {
        DigestState::Fits => "fits the slots in hand",
        DigestState::Differs => "does not fit the slots in hand",
        DigestState::Lacking => "covers slots that are not in hand",
        DigestState::Open => "none: not closed",
    };
    let epoch = setup.identity.as_ref().map_or("not recorded".to_owned(), |i| i.epoch.to_string());
    let told = |f: &dyn Fn(&shared_protocol::record::Closed) -> String| closed.map_or(NONE.to_owned(), |c| f(&c.body));
    pairs(
        flow,
        &[
            ("Slots", format!("{} of 32 bytes, {first} to {last}, epoch {epoch}", setup.slots.len())),
            ("Rig's digest", state.to_owned()),
            ("Increments", format!("{}; by the rig's own count {}", setup.increments.len(), told(&|c| c.increments.to_string()))),
            ("Passes", format!("{}; by the rig's own count {}", setup.passes.len(), told(&|c| c.passes.to_string()))),
            ("Not read", format!("{} of unknown kinds, {} unreadable", setup.unknown, setup.malformed)),
            ("Quality", quality(hole)),
        ],
    );
    flow.space(4.0);
    let digest = closed.map_or("none".to_owned(), |c| hex(&End::from(&c.body).digest()));
    flow.paragraph(&[(Weight::Strong, "Digest by the rig  "), (Weight::Regular, &digest)], SIZE);
    let key = setup.seal.as_ref().map_or(String::new(), |seal| format!(". Its key: {}", hex(&seal.body.key)));
    flow.paragraph(&[(Weight::Strong, "Seal  "), (Weight::Regular, &format!("{}{key}", capital(&setup.sealing.text())))], SIZE);
    for segment in setup.segments.iter().filter(|_| setup.digest != DigestState::Fits) {
        flow.paragraph(&[(Weight::Regular, &segment_words(segment))], SIZE);
    }
    flow.paragraph(&[(Weight::Regular, &check(hole))], SIZE);
}

/// One segment of the digest, and how its slots stand to it.
fn segment_words(segment: &Segment) -> String {
    let state = match segment.state {
        SegmentState::Fits => "fits",
        SegmentState::Lacking => "cannot be checked: slots are not in hand",
        SegmentState::Differs => "does not fit",
    };
    let sum = segment.sum.map_or("not in hand".to_owned(), |sum| hex(&sum));
    let (from, to) = (u64::from(segment.from) * 32, u64::from(segment.to) * 32);
    format!("Segment of bytes {from} to {to}: {state}; SHA-256 by the rig {sum}.")
}

/// How anyone checks the record with common tools.
fn check(hole: &Hole<'_>) -> String {
    let how = match hole.setup.digest {
        DigestState::Fits => "To check: facts.json has the sums of slots.bin.",
        DigestState::Differs | DigestState::Lacking => "The attached slots.bin does not give all of it: see gaps and segments.",
        DigestState::Open => "The rig gives one when the hole is closed.",
    };
    let signed = match hole.setup.seal {
        Some(_) => "What is signed is there too. A seal says which rig, not that sensors were right.",
        None => "The attached facts.json holds the facts of these pages for machines to read.",
    };
    format!("{how} {signed}")
}

/// Remarks on quality and how many increments carry them.
fn quality(hole: &Hole<'_>) -> String {
    let bits = hole.setup.increments.iter().fold(0, |all, i| all | i.body.quality);
    let marked = hole.setup.increments.iter().filter(|i| i.body.quality != 0).count();
    if bits == 0 { "no remarks".to_owned() } else { format!("{marked} increments with remarks: {}", remarks(bits)) }
}

/// Fields that no version yet fills.
const NOT_RECORDED: [&str; 7] =
    ["Reviewed by", "Kind of ground", "Water, casing", "Fit of the pole", "Volumes", "Locate ticket", "State of the hole"];

/// What a certificate must have a place for and this version does not record.
pub fn not_recorded(flow: &mut Flow) {
    flow.space(6.0);
    let text = format!("{} {NONE}. Revision: first; supersedes nothing.", NOT_RECORDED.join(&format!(" {NONE}; ")));
    flow.paragraph(&[(Weight::Strong, "Not recorded in this version  "), (Weight::Regular, &text)], SIZE);
}
