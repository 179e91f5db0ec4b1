//! What people said of a hole, in words: each entry, what became of it, and all of them in a list.

use super::figures;
use super::hole::Hole;
use super::layout::flow::Flow;
use super::layout::table::{names, table_with_struck, times, words};
use super::words::{NONE, Units};
use crate::entry::{Along, CleanOut, Entry, NoteKind, Said};
use crate::holes::Told;
use crate::judge::LineAxes;
use crate::planned::warning;
use shared_protocol::state::Leg;

/// What an entry says, with what it is good to (two standard uncertainties): "diameter 1.210 m ±10 mm at 1.000 m".
#[must_use]
pub fn what(said: &Said, units: Units) -> String {
    let metres = |um: i32| f64::from(um) / 1e6;
    let long = |um: i32| units.long(metres(um));
    let within = |standard_um: i32| format!("±{}", units.short(2.0 * metres(standard_um)));
    let place = |ahead: i32, right: i32| units.place(LineAxes { ahead: metres(ahead), right: metres(right) });
    match said {
        Said::Sounding { depth_um, standard_um, clean_out, .. } => {
            let spoil = if *clean_out == CleanOut::Before { " before clean-out, which is not the hole's depth" } else { "" };
            format!("sounded {} {}{spoil}", long(*depth_um), within(*standard_um))
        }
        Said::HandPlumb { depth_um, ahead_um, right_um, standard_um } => {
            format!("hand plumb at {}: {} {}", long(*depth_um), place(*ahead_um, *right_um), within(*standard_um))
        }
        Said::Centre { ahead_um, right_um, standard_um } => {
            format!("centre off its stake {} {}", place(*ahead_um, *right_um), within(*standard_um))
        }
        Said::Diameter { depth_um, diameter_um, standard_um } => {
            format!("diameter {} {} at {}", long(*diameter_um), within(*standard_um), long(*depth_um))
        }
        Said::Spacing { to, distance_um, standard_um, along } => {
            let lay = match along {
                Along::Level => "level".to_owned(),
                Along::Slope { rise_ppm } => format!("along ground that rises {:.1} %", f64::from(*rise_ppm) / 1e4),
            };
            format!("{} {} to the{}, {lay}", long(*distance_um), within(*standard_um), leg(*to))
        }
        Said::Water { depth_um: None } => "dry".to_owned(),
        Said::Water { depth_um: Some(depth) } => format!("water from {} on", long(*depth)),
        Said::Brand { height_um, to_butt_um, standard_um } => {
            format!("brand {} {} over the datum, {} from the butt", long(*height_um), within(*standard_um), long(*to_butt_um))
        }
        Said::State { state } => state.word().to_owned(),
        Said::Note { what } => note(what),
        Said::Planned { file, .. } => format!("planned by {file}"),
        Said::Ticket { number, standing } => {
            let number = if number.is_empty() { "none" } else { number };
            format!("locate ticket {number}{}", warning(*standing).map_or_else(String::new, |text| format!(": {text}")))
        }
        Said::Accepted { disposition } => format!("accepted: {}", disposition.word()),
        Said::Reviewed { finding, .. } => format!("record reviewed: {}", finding.word()),
    }
}

fn note(what: &NoteKind) -> String {
    match what {
        NoteKind::WaterAdded => "water put in".to_owned(),
        NoteKind::Rock { shot: false, .. } => "rock, not shot".to_owned(),
        NoteKind::Rock { shot: true, by } => format!("rock, shot by {by}"),
        NoteKind::Casing { left: true } => "casing, left in".to_owned(),
        NoteKind::Casing { left: false } => "casing, drawn again".to_owned(),
        NoteKind::FallIn => "fall-in".to_owned(),
        NoteKind::Other => "note".to_owned(),
    }
}

/// A leg behind its structure's name: " left leg", nothing of a single pole.
#[must_use]
pub const fn leg(leg: Leg) -> &'static str {
    match leg {
        Leg::Single => "",
        Leg::Left => " left leg",
        Leg::Middle => " middle leg",
        Leg::Right => " right leg",
    }
}

/// An entry in one line, its time in full.
#[must_use]
pub fn text(entry: &Entry, units: Units) -> String {
    let with = if entry.with.is_empty() { String::new() } else { format!(" with {}", entry.with) };
    let remark = if entry.remark.is_empty() { String::new() } else { format!("; {}", entry.remark) };
    format!("{}{with}, by {}, {}{remark}", what(&entry.said, units), entry.by, entry.at.rfc3339())
}

/// The entries that count: none that another corrects.
pub fn counting<'a>(hole: &Hole<'a>) -> impl DoubleEndedIterator<Item = &'a Entry> + use<'a> {
    hole.told.iter().filter(|told| told.corrected.is_none()).map(|told| &told.entry)
}

/// An entry as the certificate says it: the same, with the time of day alone on the day of opening.
#[must_use]
pub fn said(hole: &Hole<'_>, entry: &Entry) -> String {
    let more = [&entry.with, &entry.remark].into_iter().filter(|text| !text.trim().is_empty());
    let more: String = more.map(|text| format!(", {text}")).collect();
    format!("{}{more} ({})", what(&entry.said, hole.units()), by(hole, entry))
}

/// "Ground hand, 07:30".
#[must_use]
pub fn by(hole: &Hole<'_>, entry: &Entry) -> String {
    format!("{}, {}", entry.by, hole.when(entry.at))
}

/// Each wrong entry with the right one beside it, and who corrected it: "sounded 3.610 m ±10 mm (entry 7-3, by …) corrected to
/// sounded 3.160 m ±10 mm (entry 7-4, by …)".
#[must_use]
pub fn corrections(hole: &Hole<'_>) -> Vec<String> {
    let units = hole.units();
    let one = |told: &Told| {
        let (right, author) = told.corrected.as_ref()?;
        let is = hole.told.iter().find(|other| other.place == *right);
        let to = is.map_or_else(String::new, |is| format!(" to {}", what(&is.entry.said, units)));
        let wrong = what(&told.entry.said, units);
        Some(format!("{wrong} (entry {}, by {}) corrected{to} (entry {right}, by {author})", told.place, told.entry.by))
    };
    hole.told.iter().filter_map(one).collect()
}

/// The heads of what people entered.
pub const ENTERED: [&str; 5] = ["Entry", "By whom, when", "What was entered", "With what; remark", "Corrected to"];

/// Every entry about the hole in the order in which it was entered, by the heads of [`ENTERED`].
#[must_use]
pub fn rows(hole: &Hole<'_>) -> Vec<Vec<String>> {
    let units = hole.units();
    let right = |told: &Told| {
        let (right, by) = told.corrected.as_ref()?;
        let is = hole.told.iter().find(|other| other.place == *right);
        let is = is.map_or_else(String::new, |is| format!("{}; ", what(&is.entry.said, units)));
        Some(format!("{is}entry {right}, by {by}"))
    };
    let row = |told: &Told| {
        let entry = &told.entry;
        let more = [&entry.with, &entry.remark].into_iter().filter(|text| !text.trim().is_empty());
        let more: Vec<&str> = more.map(String::as_str).collect();
        let more = if more.is_empty() { NONE.to_owned() } else { more.join("; ") };
        vec![told.place.to_string(), by(hole, entry), what(&entry.said, units), more, right(told).unwrap_or_else(|| NONE.to_owned())]
    };
    hole.told.iter().map(row).collect()
}

/// All of them as a table; says whether there were any. What is corrected is struck through and stays legible, with the right figure
/// beside it.
pub fn list_of(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let rows = rows(hole);
    if rows.is_empty() {
        return false;
    }
    let wrong: Vec<(usize, usize)> =
        hole.told.iter().enumerate().filter(|(_, told)| told.corrected.is_some()).map(|(row, _)| (row, 2)).collect();
    let [entry, by, what, with, right] = ENTERED;
    let columns = [names(entry, 1.3), times(by, 1.95), words(what, 2.2), words(with, 1.45), words(right, 1.4)];
    figures::heading(flow, "What people entered about this hole");
    table_with_struck(flow, &columns, &rows, &wrong);
    if !wrong.is_empty() {
        figures::remark(flow, "Struck through: entered wrongly, and counts no more.");
    }
    true
}
