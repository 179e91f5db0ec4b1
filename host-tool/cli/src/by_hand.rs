//! `sound` and `plumb`: what somebody measured in a hole by hand, put beside the rig's records of it.

use crate::args::ByHand;
use crate::enter::{self, put};
use crate::station::wall;
use crate::{Failure, stores};
use host_tool::entry::{CleanOut, Entry, Said};
use host_tool::holes::index::Index;
use host_tool::holes::{Hole, Sayings, Told};
use host_tool::judge::LineAxes;
use host_tool::judge::measured::{Kind, Measurement};
use host_tool::measure::length_um;
use host_tool::paper::words::Units;
use host_tool::store::{entry_of, measurement_of};
use host_tool::text::terminal;
use std::io::{Write, stdout};
use std::path::Path;

/// Depths and offsets that a hole can have, and bytes of a name and of a remark.
const DEPTH_MOST_M: f64 = 100.0;
const OFFSET_MOST_M: f64 = 5.0;
const WHO_BYTES: usize = 60;
const REMARK_BYTES: usize = 500;

/// Enters a measurement. An entry stays; a wrong one is followed by a right one that names it.
pub fn enter(kind: Kind, typed: &ByHand, before_clean_out: bool, store: &Path) -> Result<(), Failure> {
    let (measurement, corrects) = (measurement(kind, typed)?, typed.entering.corrects()?);
    let mut store = stores::open_existing(store)?;
    let index = Index::of(&store)?;
    let [listed] = index.called(std::slice::from_ref(&typed.hole))?[..] else {
        return Err(Failure::Failed(format!(
            "several holes are called \"{}\": use the handle that `borewitness holes` gives",
            terminal(&typed.hole)
        )));
    };
    let hole = listed.judged(&store, &Sayings::default(), None)?;
    let hole = &hole.ok_or_else(|| Failure::Failed(format!("{} cannot be read: its records are damaged", listed.handle)))?;
    let name = hole.hole_name().ok_or_else(|| Failure::Failed(format!("{} has a leg that this version does not know", hole.handle)))?;
    let mut entry = Entry { corrects, ..entry_of(&measurement, wall().offset, name, hole.set_up_name()) };
    if let Said::Sounding { clean_out, .. } = &mut entry.said
        && before_clean_out
    {
        *clean_out = CleanOut::Before;
    }
    let place = put(&mut store, &entry)?;
    let told = Told { place, entry, corrected: None };
    Ok(writeln!(stdout(), "{}: {}", hole.handle, told_of(hole, &told))?)
}

fn measurement(kind: Kind, typed: &ByHand) -> Result<Measurement, Failure> {
    let usage = |name: &str, why: String| Failure::Usage(format!("--{name}: {why}"));
    let metres = |name: &'static str, text: &str| length_um(text).map(|um| um / 1e6).map_err(|e| usage(name, e.to_string()));
    let (depth, within) = (metres("depth", &typed.depth)?, metres("within", &typed.within)?);
    let offset = LineAxes { ahead: metres("ahead", &typed.ahead)?, right: metres("right", &typed.right)? };
    let who = typed.entering.who()?.trim();
    let remark = typed.entering.remark.trim();
    let bad = [
        ("depth", !(0.0..=DEPTH_MOST_M).contains(&depth), "no hole is so deep"),
        ("within", !(0.000_1..=1.0).contains(&within), "write what the tape or line is good to, 0.1 mm to 1 m"),
        ("ahead", offset.ahead.abs() > OFFSET_MOST_M, "that is outside any hole"),
        ("right", offset.right.abs() > OFFSET_MOST_M, "that is outside any hole"),
        ("who", who.is_empty() || who.len() > WHO_BYTES, "say who measured, in 60 bytes at most"),
        ("remark", remark.len() > REMARK_BYTES, "500 bytes at most"),
    ];
    match bad.iter().find(|(_, is, _)| *is) {
        Some((name, _, why)) => Err(usage(name, (*why).to_owned())),
        None => Ok(Measurement {
            author: who.to_owned(),
            unix_ms: wall().unix_ms,
            kind,
            depth,
            offset,
            standard: within / 2.0,
            remark: remark.to_owned(),
        }),
    }
}

/// An entry about a hole in one line: what it says, where it stands, and whether it still counts.
pub fn told_of(hole: &Hole, told: &Told) -> String {
    let Told { place, entry, corrected } = told;
    let counts = measurement_of(entry).filter(|_| corrected.is_none());
    let said = counts.map_or_else(|| enter::text(entry, Units::of(&hole.setup.opened.body.plan)), |measurement| text(hole, &measurement));
    let corrects = entry.corrects.map_or_else(String::new, |wrong| format!("; corrects entry {wrong}"));
    let counts_no_more = corrected
        .as_ref()
        .map_or_else(String::new, |(right, by)| format!("; CORRECTED by entry {right}, by {}: it counts no more", terminal(by)));
    format!("{said}; entry {place}{corrects}{counts_no_more}")
}

/// A measurement in one line.
pub fn text(hole: &Hole, measurement: &Measurement) -> String {
    let Measurement { author, kind, depth, offset, standard, remark, .. } = measurement;
    let units = Units::of(&hole.setup.opened.body.plan);
    let within = units.short(2.0 * standard);
    let what = match kind {
        Kind::Sounding => format!("sounded {} ±{within} at {} from the start", units.long(*depth), units.place(*offset)),
        Kind::HandPlumb => format!("hand plumb at {}: {} ±{within}{}", units.long(*depth), units.place(*offset), beside(hole, measurement)),
    };
    let remark = if remark.is_empty() { String::new() } else { format!("; {}", terminal(remark)) };
    format!("{what}, by {}{remark}", terminal(author))
}

/// How far the rig's axis is off a hand plumb, where the hole was judged with it.
fn beside(hole: &Hole, measurement: &Measurement) -> String {
    let units = Units::of(&hole.setup.opened.body.plan);
    let same = |p: &&host_tool::judge::Plumbed| p.depth == measurement.depth && p.offset == measurement.offset;
    let off = hole.judged.plumbed.iter().find(same).and_then(|p| p.off_axis);
    off.map_or_else(String::new, |off| format!(" (the rig's axis is {} off it there)", units.short(off)))
}
