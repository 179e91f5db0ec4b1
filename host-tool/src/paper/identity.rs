//! Who measured, with what, when, and how the record can be checked.

use super::hole::{Hole, Reality};
use super::layout::flow::Flow;
use super::layout::letters::Weight;
use super::words::{NONE, capital, hex, remarks};
use super::{LAYOUT, by_hand, figures, statements};
use crate::facts::DigestState;
use crate::judge::budget::day;
use crate::judge::{Validity, metres, validity};
use crate::proof::{Segment, SegmentState};
use shared_protocol::VERSION;
use shared_protocol::chain::End;
use shared_protocol::record::Identity;

const SIZE: f64 = 8.5;

/// Who measured with what, when, and how the record can be checked.
pub fn instrument_and_record(flow: &mut Flow, hole: &Hole<'_>) {
    figures::heading(flow, "Instrument and record");
    let setup = hole.setup;
    let of = |f: &dyn Fn(&Identity) -> String| setup.identity.as_ref().map_or("record missing".to_owned(), f);
    let reality = match hole.reality() {
        Reality::Drilled => "not simulated",
        Reality::Simulated => "SIMULATED: no hole was drilled",
        Reality::Unknown => "not known whether simulated",
    };
    let digest = setup.closed.as_ref().map_or("none".to_owned(), |c| hex(&End::from(&c.body).digest()));
    figures::fields(
        flow,
        &[
            (
                "Rig, operator",
                format!(
                    "{}, {reality}; firmware {}; operator {}",
                    of(&|i| text(&i.rig)),
                    of(&|i| text(&i.firmware)),
                    text(&hole.plan().operator)
                ),
            ),
            ("Calibrations", calibrations(hole)),
            ("Clock", clock(hole)),
            ("Hub", capital(&statements::hub(hole))),
            ("By hand", by_hand::in_words(hole).unwrap_or_else(|| "Nothing was sounded or plumbed by hand.".to_owned())),
            ("Record", capital(&statements::record(hole))),
            ("Digest by the rig", digest),
            ("To check", check(hole)),
        ],
    );
}

/// How many calibrations, and whether each held while the hole was drilled.
fn calibrations(hole: &Hole<'_>) -> String {
    let Some(instruments) = &hole.setup.instruments else { return "no record of them; the budget takes allowances".to_owned() };
    let stamps = &instruments.stamps;
    let held = stamps.iter().filter(|stamp| validity(hole.setup, stamp) == Validity::Held).count();
    let days: Vec<u32> = stamps.iter().map(|stamp| stamp.day).collect();
    let dated = match (days.iter().min(), days.iter().max()) {
        (Some(first), Some(last)) if first == last => format!(", of {}", day(*first)),
        (Some(first), Some(last)) => format!(", of {} to {}", day(*first), day(*last)),
        _ => String::new(),
    };
    format!("{held} of {} held{dated}; see annex", stamps.len())
}

/// How the rig was set, in full.
pub fn settings(flow: &mut Flow, hole: &Hole<'_>) {
    figures::heading(flow, "Settings and counts");
    let (plan, units, setup) = (hole.plan(), hole.units(), hole.setup);
    let degrees = |centi: i32| format!("{:.1}°", f64::from(centi) / 100.0);
    let of = |f: &dyn Fn(&Identity) -> String| setup.identity.as_ref().map_or("record missing".to_owned(), f);
    let told = |f: &dyn Fn(&shared_protocol::record::Closed) -> String| setup.closed.as_ref().map_or(NONE.to_owned(), |c| f(&c.body));
    let (first, last) = hole.sequences();
    let epoch = setup.identity.as_ref().map_or("not recorded".to_owned(), |i| i.epoch.to_string());
    figures::fields(
        flow,
        &[
            ("Tool", tool(hole)),
            ("Configuration", of(&|i| hex(&i.configuration))),
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
            ("Slots", format!("{} of 32 bytes, {first} to {last}, epoch {epoch}", setup.slots.len())),
            ("Increments", format!("{}; by the rig's own count {}", setup.increments.len(), told(&|c| c.increments.to_string()))),
            ("Passes", format!("{}; by the rig's own count {}", setup.passes.len(), told(&|c| c.passes.to_string()))),
            ("Not read", format!("{} of unknown kinds, {} unreadable", setup.unknown, setup.malformed)),
            ("Quality", quality(hole)),
            ("Program", format!("{}, layout {LAYOUT}, record format {VERSION}", hole.program)),
            ("Axes", "of the line: ahead towards higher structure numbers".to_owned()),
        ],
    );
    let key = setup.seal.as_ref().map_or("none".to_owned(), |seal| hex(&seal.body.key));
    let says = if setup.seal.is_some() { ". A seal says which rig, not that sensors were right." } else { "" };
    flow.paragraph(&[(Weight::Strong, "Key of the seal  "), (Weight::Regular, &format!("{key}{says}"))], SIZE);
    for segment in setup.segments.iter().filter(|_| setup.digest != DigestState::Fits) {
        flow.paragraph(&[(Weight::Regular, &segment_words(segment))], SIZE);
    }
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
        DigestState::Fits => {
            "borewitness verify, on this file; by hand: facts.json, attached, has the sums of slots.bin, and what is signed."
        }
        DigestState::Differs | DigestState::Lacking => "slots.bin, attached, does not give all of it: see gaps and segments in the annex.",
        DigestState::Open => "borewitness verify, on this file; the rig gives a digest when the hole is closed.",
    };
    how.to_owned()
}

/// Remarks on quality and how many increments carry them.
fn quality(hole: &Hole<'_>) -> String {
    let bits = hole.setup.increments.iter().fold(0, |all, i| all | i.body.quality);
    let marked = hole.setup.increments.iter().filter(|i| i.body.quality != 0).count();
    if bits == 0 { "no remarks".to_owned() } else { format!("{marked} increments with remarks: {}", remarks(bits)) }
}
