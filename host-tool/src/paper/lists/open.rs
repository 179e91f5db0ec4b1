//! The register of open holes: every hole that was drilled and that neither a pole nor backfill keeps, those that owe something first.

use super::super::layout::letters::Weight;
use super::super::layout::table::{names, words};
use super::super::words::count;
use super::super::{PaperError, Printing};
use super::{Office, Origin, Sheet, line_text};
use crate::entry::HoleState;
use crate::facts::Wall;
use crate::holes::Hole;
use crate::readiness::variation::said;
use crate::register::words::{CAUTION, OWES, deep, name, open_for};
use crate::register::{DEEP, Registered, SHAFT};
use shared_protocol::state::SheetUnits;

/// Letters of what the register comes to.
const LARGE: f64 = 12.0;

/// The construction rules, each with the mark that stands for it in the table.
const RULES: [(&str, &str); 2] = [("A", SHAFT), ("B", DEEP)];

/// Prints the register of open holes.
///
/// # Errors
/// When the file cannot be made.
pub fn open_holes(office: &Office<'_>, printing: Printing) -> Result<Vec<u8>, PaperError> {
    let holes: Vec<&Hole> = office.works.holes.iter().collect();
    let origin = Origin::of(&holes, office.works.entries.iter().map(|(_, entry)| entry));
    let until = origin.until;
    let line = office.registered.first().filter(|_| one_line(office)).map(|hole| line_text(&hole.hole.line));
    let of = line.map_or_else(|| "all lines".to_owned(), str::to_owned);
    let mut sheet = Sheet::begin("Register of open holes", &of, CAUTION, origin, printing);
    let mut open: Vec<&Registered> = office.registered.iter().filter(|hole| hole.state.is_open()).collect();
    // longest open first; what nobody knows since when is before that
    open.sort_by_key(|hole| (hole.open_since.map(|since| since.unix_ms), &hole.hole));
    let (owing, kept): (Vec<&Registered>, Vec<&Registered>) = open.iter().partition(|hole| hole.owes());
    let text = match (open.len(), owing.len()) {
        (0, _) => "No hole is open.".to_owned(),
        (all, 0) => format!("{} open; somebody said of each how it is kept.", are(all)),
        (all, owing) => {
            format!("{} open, and {owing} of them {} a cover, a guard or attendance.", are(all), if owing == 1 { "owes" } else { "owe" })
        }
    };
    sheet.flow.space(4.0);
    sheet.flow.paragraph(&[(Weight::Strong, &text)], LARGE);
    let columns = [
        names("Hole", 1.1),
        words("Open", 2.3),
        words("How it is kept, by whom, since when", 2.7),
        words("Depth; rules", 1.5),
        words("Owes", 1.25),
    ];
    let rows = |list: &[&Registered]| list.iter().map(|hole| row(office, hole, until)).collect::<Vec<_>>();
    sheet.table("They owe a cover, a guard or attendance", &columns, &rows(&owing));
    sheet.table("Kept, until a pole or backfill ends it", &columns, &rows(&kept));
    let rules: Vec<String> = RULES.iter().map(|(mark, rule)| format!("Rule {mark} is {rule}.")).collect();
    sheet.say(&format!(
        "The construction rules that speak of a hole of its depth: {} One whose depth is not known counts as deep.",
        rules.join(" ")
    ));
    sheet.say(
        "A hole is open from its first cut until its pole is set and backfilled, or it is filled again; one that was given up stays open until \
         it is filled. A hole on which somebody drilled again after its state was entered counts as not kept. How long a hole has been open \
         is counted up to the latest time in the records.",
    );
    sheet.finish("Every hole that stands open, how it is kept and what it owes")
}

/// Whether all holes are of one line, which the heading then names.
fn one_line(office: &Office<'_>) -> bool {
    office.registered.windows(2).all(|pair| pair[0].hole.line == pair[1].hole.line)
}

fn are(many: usize) -> String {
    format!("{} {}", count(many, "hole"), if many == 1 { "is" } else { "are" })
}

fn row(office: &Office<'_>, hole: &Registered, until: Option<Wall>) -> Vec<String> {
    let since = |wall: Option<Wall>| wall.map_or_else(|| "a time that is not known".to_owned(), Wall::rfc3339);
    let long = until.map_or_else(|| "open for an unknown time".to_owned(), |until| open_for(hole, until.unix_ms));
    let kept = match &hole.by {
        Some(by) => {
            let remark =
                said(&hole.hole, hole.state, office.works.entries).map(|entry| entry.remark.as_str()).filter(|remark| !remark.is_empty());
            let remark = remark.map_or_else(String::new, |remark| format!(": {remark}"));
            format!("{}{remark}; {by}, {}", hole.state.word(), since(hole.since))
        }
        None => format!("nobody said; {} by the rig's records, {}", hole.state.word(), since(hole.since)),
    };
    let rules: Vec<&str> =
        hole.rules().into_iter().filter_map(|rule| RULES.iter().find(|(_, text)| *text == rule)).map(|(mark, _)| *mark).collect();
    let rules = if rules.is_empty() { String::new() } else { format!("; rules {}", rules.join(", ")) };
    let then = if hole.state == HoleState::Abandoned { "backfill" } else { "a pole or backfill" };
    let owes = if hole.owes() { format!("{OWES}; then {then}") } else { then.to_owned() };
    vec![
        if one_line(office) { name(&hole.hole) } else { format!("{}, {}", name(&hole.hole), line_text(&hole.hole.line)) },
        format!("{long}, since {}", since(hole.open_since)),
        kept,
        format!("{}{rules}", deep(hole, units(office, hole))),
        owes,
    ]
}

fn units(office: &Office<'_>, hole: &Registered) -> SheetUnits {
    office.works.holes.iter().find(|known| known.hole_name().as_ref() == Some(&hole.hole)).map_or(SheetUnits::Metric, Hole::units)
}
