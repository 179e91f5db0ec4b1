//! What was met at the hole, under which ticket it was dug, how it was kept, what was decided and what was corrected.

use super::hole::Hole;
use super::told::{by, corrections, counting};
use super::words::{NONE, count};
use super::{going, levels, told};
use crate::entry::{Entry, HoleState, NoteKind, Said, TicketStanding};
use crate::facts::Timed;
use crate::judge::measured::Kind;
use crate::planned::warning;
use crate::sheet::{LegPlan, Ticket};
use shared_protocol::record::Refusal;
use shared_protocol::state::{Check, Datum, Leg};

/// Corrections that stand on the second page; the list in the annex has all.
const CORRECTIONS: usize = 3;

/// A field: its name, and what stands in it.
pub type Field = (&'static str, String);

/// Every field: where it is, what was met, how it was kept, what was decided, remarked and corrected.
#[must_use]
pub fn fields(hole: &Hole<'_>) -> Vec<Field> {
    let (plan, sheet, units) = (hole.plan(), hole.sheet(), hole.units());
    let leg = match Leg::from_raw(plan.leg) {
        Some(Leg::Single) => "single pole".to_owned(),
        Some(leg) => format!("{} leg", crate::sheet::leg_text(leg)),
        None => format!("leg {}", plan.leg),
    };
    let station = sheet.and_then(|row| row.station.clone()).unwrap_or_else(|| "not on record".to_owned());
    let offset = sheet
        .and_then(|row| row.offset_m)
        .map_or_else(String::new, |offset| format!(", {} of the line", units.towards(offset, "right", "left")));
    let where_ = sheet.and_then(|row| row.latitude_deg.zip(row.longitude_deg)).map_or_else(String::new, |(north, east)| {
        let (ns, ew) = (if north < 0.0 { "S" } else { "N" }, if east < 0.0 { "W" } else { "E" });
        format!("; {}° {ns}, {}° {ew}", north.abs(), east.abs())
    });
    vec![
        ("Project, line", said(&plan.line)),
        ("Structure, leg", format!("{}, {leg}; attempt {}, set-up {}", said(&plan.structure), plan.attempt, plan.setup)),
        ("Station", format!("{station}{offset}{where_}")),
        ("Elevations", elevations(hole)),
        ("Other work", other_work(hole)),
        ("Unusual", unusual(hole)),
        ("Kind of ground", ground(hole)),
        ("Tests", "N/A: none recorded".to_owned()),
        ("Excavated", excavated(hole)),
        ("Rock, refusal", refusal(hole)),
        ("Water, seepage", water(hole)),
        ("Fall-in", fall_in(hole)),
        ("Casing", casing(hole)),
        ("Bottom", bottom(hole)),
        ("Locate ticket", ticket(hole)),
        ("State", state(hole)),
        ("Decision", decision(hole)),
        ("Remarks", remarks(hole)),
        ("Corrections", corrected(hole)),
    ]
}

fn said(text: &str) -> String {
    if text.trim().is_empty() { NONE.to_owned() } else { text.to_owned() }
}

/// When the hole was begun and done with, by the rig.
fn excavated(hole: &Hole<'_>) -> String {
    let done = hole.setup.closed.as_ref().map_or("not closed".to_owned(), |closed| closed.moment.text());
    let opened = hole.setup.opened.moment;
    let of_day = if opened.wall.is_some() { "; times without a day are of that one" } else { "" };
    format!("begun {}, done {done}{of_day}", opened.text())
}

/// Elevations of datum and bottom, where the sheet has that of the ground.
fn elevations(hole: &Hole<'_>) -> String {
    let units = hole.units();
    let ground = |row: &LegPlan| match row.datum {
        Datum::Pad => row.ground_pad_m,
        Datum::LowSide | Datum::Stake => row.ground_original_m,
    };
    let Some(datum) = hole.sheet().and_then(ground) else { return "not recorded: none on a sheet".to_owned() };
    let floor = hole.floor().filter(|_| hole.floor_known());
    let bottom = floor.map_or("not known".to_owned(), |floor| units.long(datum - floor));
    format!("top {}, bottom {bottom}", units.long(datum))
}

/// Other set-ups of this attempt and other attempts at this leg, and what was joined of them.
fn other_work(hole: &Hole<'_>) -> String {
    let Some((_, leg)) = hole.leg() else { return "not known: no structure".to_owned() };
    let plan = hole.plan();
    if leg.hole.attempt != plan.attempt {
        return format!("attempt {} counts for this leg; this one is earlier", leg.hole.attempt);
    }
    let others: Vec<String> = leg
        .attempt
        .set_ups
        .iter()
        .filter(|other| !std::ptr::eq(&other.setup, hole.setup))
        .map(|other| format!("set-up {} ({}, {})", other.setup.opened.body.plan.setup, other.handle, other.setup.opened.moment.text()))
        .collect();
    let earlier: Vec<String> = leg
        .earlier
        .iter()
        .map(|(number, state)| {
            format!("attempt {number}, {}", state.map_or("left without a word on how it was made safe", HoleState::word))
        })
        .collect();
    if others.is_empty() && earlier.is_empty() {
        return "no other set-up or attempt".to_owned();
    }
    let joined = if others.is_empty() {
        "no other set-up".to_owned()
    } else {
        format!("{}: its cuts, axis and depth are joined with these for fit, depth and volume", others.join(", "))
    };
    let earlier = if earlier.is_empty() { "no earlier attempt".to_owned() } else { earlier.join("; ") };
    format!("{joined}; {earlier}")
}

fn notes<'a>(hole: &Hole<'a>) -> impl Iterator<Item = (&'a NoteKind, &'a Entry)> + use<'a> {
    counting(hole).filter_map(|entry| match &entry.said {
        Said::Note { what } => Some((what, entry)),
        _ => None,
    })
}

/// Every note that is wanted, with its remark and by whom; nothing where there is none.
fn told_of(hole: &Hole<'_>, wanted: fn(&NoteKind) -> bool) -> Vec<String> {
    notes(hole).filter(|(what, _)| wanted(what)).map(|(_, entry)| told::said(hole, entry)).collect()
}

fn or(all: Vec<String>, nothing: &str) -> String {
    if all.is_empty() { nothing.to_owned() } else { all.join("; ") }
}

fn ground(hole: &Hole<'_>) -> String {
    let rock = notes(hole).any(|(what, _)| matches!(what, NoteKind::Rock { .. }));
    (if rock { "rock; above it nobody recorded it" } else { "nobody recorded it" }).to_owned()
}

/// Rock as people say it, and slow going with the operator's answer.
fn refusal(hole: &Hole<'_>) -> String {
    let units = hole.units();
    let operator = if hole.plan().operator.trim().is_empty() { "the operator" } else { hole.plan().operator.as_str() };
    let answer = |r: &Timed<Refusal>| {
        format!(
            "{} at {}, says {operator} ({})",
            going::answered(&r.body),
            units.long(hole.below_datum(r.body.depth)),
            r.moment.wall.map_or_else(|| r.moment.text(), |wall| hole.when(wall))
        )
    };
    let mut all = told_of(hole, |what| matches!(what, NoteKind::Rock { .. }));
    if all.is_empty() {
        all.push("rock: none recorded".to_owned());
    }
    let slow = hole.setup.changes.iter().any(|c| Check::from_raw(c.body.check) == Some(Check::Going) && c.body.state == 1);
    match (&hole.setup.refusals[..], slow) {
        ([], true) => all.push("slow going, which nobody answered".to_owned()),
        ([], false) => all.push("refusal: none recorded, the rig found no slow going".to_owned()),
        (answers, _) => all.extend(answers.iter().map(answer)),
    }
    all.join("; ")
}

fn water(hole: &Hole<'_>) -> String {
    let said = counting(hole).filter(|entry| matches!(entry.said, Said::Water { .. } | Said::Note { what: NoteKind::WaterAdded }));
    or(said.map(|entry| told::said(hole, entry)).collect(), "nobody recorded any, nor a dry hole")
}

fn fall_in(hole: &Hole<'_>) -> String {
    let units = hole.units();
    let by_rig = hole.fall_ins();
    let most = by_rig.iter().map(|interval| interval.to - interval.from).fold(0.0, f64::max);
    let by_rig = (!by_rig.is_empty()).then(|| format!("by the rig {}, {} at most", count(by_rig.len(), "time"), units.short(most)));
    let mut all: Vec<String> = by_rig.into_iter().collect();
    all.extend(told_of(hole, |what| *what == NoteKind::FallIn));
    or(all, "none recorded by rig or people")
}

fn casing(hole: &Hole<'_>) -> String {
    or(told_of(hole, |what| matches!(what, NoteKind::Casing { .. })), "N/A: none recorded, none left in")
}

/// How level the bottom is: the spread of its soundings.
fn bottom(hole: &Hole<'_>) -> String {
    let units = hole.units();
    let soundings = hole.setup.measurements.iter().filter(|m| m.kind == Kind::Sounding).map(|m| m.depth);
    let (many, least, most) = soundings.fold((0, f64::INFINITY, f64::NEG_INFINITY), |(n, a, b), d| (n + 1, d.min(a), d.max(b)));
    match many {
        0 => format!("{}; levelness not measured: no soundings", levels::bottom_words(hole)),
        1 => format!("{}; levelness not measured: one sounding", levels::bottom_words(hole)),
        _ => format!("{}; level within {} by {many} soundings", levels::bottom_words(hole), units.short(most - least)),
    }
}

/// What the record itself shows to be out of the ordinary.
fn unusual(hole: &Hole<'_>) -> String {
    let setup = hole.setup;
    let untied = hole.unreferenced().len().saturating_sub(1); // every set-up begins with one
    let all = [
        (setup.restarts.len(), "restart"),
        (setup.faults.iter().filter(|fault| fault.body.began == 1).count(), "sensor fault"),
        (setup.missing.len(), "gap"),
        (untied, "stretch without a tie to the hub"),
        (setup.notes.len(), "note heard by the rig"),
    ];
    let some: Vec<String> = all.into_iter().filter(|(many, _)| *many > 0).map(|(many, what)| plural(many, what)).collect();
    if some.is_empty() { "none recorded".to_owned() } else { format!("{}: see the annex", some.join(", ")) }
}

fn plural(many: usize, what: &str) -> String {
    match (many, what) {
        (1, _) => format!("1 {what}"),
        (_, "stretch without a tie to the hub") => format!("{many} stretches without a tie to the hub"),
        (_, "note heard by the rig") => format!("{many} notes heard by the rig"),
        _ => count(many, what),
    }
}

/// The ticket under which the hole was loaded, and the one on the sheet.
fn ticket(hole: &Hole<'_>) -> String {
    let loaded = counting(hole).rev().find_map(|entry| match &entry.said {
        Said::Ticket { number, standing } => Some((number.as_str(), *standing, entry)),
        _ => None,
    });
    let on_sheet = hole.sheet().map(|row| row.ticket.as_ref());
    let days = |ticket: &Ticket| {
        let day = |day: &Option<String>, word: &str| day.as_ref().map_or_else(String::new, |day| format!(" {word} {day}"));
        format!("{}{}{}", ticket.number, day(&ticket.from, "from"), day(&ticket.until, "until"))
    };
    match (loaded, on_sheet) {
        (Some((number, standing, entry)), sheet) => {
            let named = sheet.flatten().filter(|ticket| ticket.number == number).map(days);
            let number = named.unwrap_or_else(|| if number.is_empty() { "none".to_owned() } else { number.to_owned() });
            format!("{number}; {} when it was loaded ({})", stood(standing), by(hole, entry))
        }
        (None, Some(Some(ticket))) => {
            let standing = hole.counting().map_or(TicketStanding::Unknown, |(_, leg)| leg.ticket);
            format!("{} on the sheet; {} on the day of drilling", days(ticket), stood(standing))
        }
        (None, Some(None)) => "NONE on the sheet".to_owned(),
        (None, None) => "not recorded".to_owned(),
    }
}

fn stood(standing: TicketStanding) -> String {
    warning(standing).map_or_else(|| "valid".to_owned(), |warning| warning.split(':').next().unwrap_or(warning).to_owned())
}

/// From the first cut to the pole, each state with when and by whom.
fn state(hole: &Hole<'_>) -> String {
    let drilled = hole.setup.closed.as_ref().map_or_else(
        || "drilling begun, not closed".to_owned(),
        |closed| format!("drilled {}", closed.moment.wall.map_or_else(|| closed.moment.text(), |wall| hole.when(wall))),
    );
    let mut said: Vec<(i64, String)> = counting(hole)
        .filter_map(|entry| match entry.said {
            Said::State { state } => {
                let remark = if entry.remark.trim().is_empty() { String::new() } else { format!(" ({})", entry.remark) };
                Some((entry.at.unix_ms, format!("{} {} by {}{remark}", state.word(), hole.when(entry.at), entry.by)))
            }
            _ => None,
        })
        .collect();
    said.sort_by_key(|(at, _)| *at);
    if said.is_empty() {
        return format!("{drilled}; nobody recorded how it was kept since: attended, guarded, covered or fenced {NONE}");
    }
    std::iter::once(drilled).chain(said.into_iter().map(|(_, text)| text)).collect::<Vec<_>>().join("; ")
}

/// The state as somebody said it last.
#[must_use]
pub fn state_briefly(hole: &Hole<'_>) -> String {
    let states = counting(hole).filter_map(|entry| match entry.said {
        Said::State { state } => Some((entry.at.unix_ms, state, entry)),
        _ => None,
    });
    let last = states.max_by_key(|(at, ..)| *at);
    let drilled = if hole.setup.closed.is_some() { "drilled" } else { "not closed" };
    last.map_or_else(
        || format!("{drilled}; nobody said how it is kept"),
        |(_, state, entry)| format!("{} ({})", state.word(), by(hole, entry)),
    )
}

/// What was decided last, and by whom.
#[must_use]
pub fn decision_briefly(hole: &Hole<'_>) -> String {
    let last = counting(hole).rev().find_map(|entry| match entry.said {
        Said::Accepted { disposition } => Some((disposition, entry)),
        _ => None,
    });
    last.map_or("none on record".to_owned(), |(disposition, entry)| format!("“{}” by {}", disposition.word(), by(hole, entry)))
}

/// What was decided of the hole, and why.
fn decision(hole: &Hole<'_>) -> String {
    let decided = counting(hole).filter_map(|entry| match entry.said {
        Said::Accepted { disposition } => Some(format!("“{}” by {}: {}", disposition.word(), by(hole, entry), entry.remark)),
        _ => None,
    });
    or(decided.collect(), "none on record")
}

fn remarks(hole: &Hole<'_>) -> String {
    let mut all: Vec<String> = hole
        .sheet()
        .map(|row| row.remarks.trim())
        .filter(|text| !text.is_empty())
        .map(|text| format!("sheet: {text}"))
        .into_iter()
        .collect();
    all.extend(
        notes(hole).filter(|(what, _)| **what == NoteKind::Other).map(|(_, entry)| format!("{}: {}", by(hole, entry), entry.remark)),
    );
    or(all, NONE)
}

fn corrected(hole: &Hole<'_>) -> String {
    let all = corrections(hole);
    let more = all.len().saturating_sub(CORRECTIONS);
    let more = if more > 0 { format!("; {more} more in the annex") } else { String::new() };
    format!("{}{more}", or(all.into_iter().take(CORRECTIONS).collect(), "none: no entry was corrected"))
}
