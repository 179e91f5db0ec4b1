//! The day sheet: what one rig did on one day, hole by hole.

use super::super::layout::letters::Weight;
use super::super::layout::table::{names, times, words};
use super::super::words::{NONE, Units, count, duration};
use super::super::{CAUTION, PaperError, Printing};
use super::{Office, Origin, Sheet, TEXT};
use crate::day_work::{Day, Lost, Worked};
use crate::facts::{Moment, Timed, Wall};
use crate::holes::Hole;
use crate::judge::metres;
use shared_protocol::record::{Hub, Note, Tool};
use shared_protocol::state::SheetUnits;

/// Prints a day of a rig.
///
/// # Errors
/// When the file cannot be made.
pub fn day_sheet(office: &Office<'_>, day: &Day<'_>, printing: Printing) -> Result<Vec<u8>, PaperError> {
    let holes: Vec<&Hole> = office.works.holes.iter().filter(|hole| hole.stream.rig == day.rig).collect();
    let of = format!("rig {}, {}", day.rig, day.date.map_or_else(|| "day not known".to_owned(), |date| date.to_string()));
    let mut sheet = Sheet::begin("Day sheet", &of, CAUTION, Origin::of(&holes, std::iter::empty()), printing);
    totals(&mut sheet, day);
    worked_on(&mut sheet, day);
    let listed = [
        ("faults, restarts, gaps", lost(&mut sheet, day)),
        ("tools put on", tools(&mut sheet, day)),
        ("hub touches", hubs(&mut sheet, day)),
        ("notes", notes(&mut sheet, day)),
    ];
    let none: Vec<&str> = listed.iter().filter(|(_, some)| !some).map(|(what, _)| *what).collect();
    if !none.is_empty() {
        sheet.flow.space(6.0);
        sheet.flow.paragraph(&[(Weight::Strong, "None recorded  "), (Weight::Regular, &format!("{}.", none.join(", ")))], TEXT);
    }
    sheet.say(
        "Depths are as the rig read them, below each sheet's own datum; new depth counts from there, or from where the hole was left before. \
         A time is lost from a sensor's fault to its end, from the last record before a restart until the hub was touched again or, where \
         depth kept its tie, until the rig had started, and over missing records. Calibrations in hand and seals are on the certificates.",
    );
    sheet.finish(&format!("What rig {} did on one day", day.rig))
}

fn units(worked: &Worked<'_>) -> Units {
    if worked.hole.units() == SheetUnits::FeetInches { Units::FeetInches } else { Units::Metric }
}

fn totals(sheet: &mut Sheet, day: &Day<'_>) {
    let all = &day.set_ups;
    let sum = |of: fn(&Worked<'_>) -> usize| all.iter().map(of).sum::<usize>();
    let mut holes: Vec<String> = all.iter().map(|worked| worked.hole.name()).collect();
    holes.sort();
    holes.dedup();
    let shown = all.first().map_or(Units::Metric, units);
    let gained: f64 = all.iter().map(Worked::gained).sum();
    let at_holes: i64 = all.iter().filter_map(Worked::ms).sum();
    let lost: i64 = all.iter().map(Worked::lost_ms).sum();
    let (from, to) = (all.iter().filter_map(|w| w.from.wall).min(), all.iter().filter_map(|w| w.to.wall).max());
    let mut operators: Vec<&str> =
        all.iter().map(|worked| worked.hole.setup.opened.body.plan.operator.as_str()).filter(|who| !who.trim().is_empty()).collect();
    operators.sort_unstable();
    operators.dedup();
    let or_none = |text: String| if text.is_empty() { NONE.to_owned() } else { text };
    let wall = |wall: Option<Wall>| wall.map_or_else(|| "not known".to_owned(), Wall::rfc3339);
    let open_ended = all.iter().flat_map(|worked| &worked.lost).filter(|lost| lost.ms().is_none()).count();
    let unknown = if open_ended == 0 {
        String::new()
    } else {
        format!(", and {} of which the length is not known", count(open_ended, "stretch").replace("stretchs", "stretches"))
    };
    let rows = [
        ("Operator", or_none(operators.join(", "))),
        ("First record", wall(from)),
        ("Last record", wall(to)),
        ("Holes worked on", holes.len().to_string()),
        ("New depth", shown.long(gained)),
        ("Passes", sum(|w| w.passes.len()).to_string()),
        ("Tools put on", sum(|w| w.tools.len()).to_string()),
        ("Hub touches", sum(|w| w.hubs.len()).to_string()),
        ("Time at the holes", time(at_holes)),
        ("Time lost", format!("{}{unknown}", time(lost))),
    ];
    let rows: Vec<Vec<String>> = rows.into_iter().map(|(name, value)| vec![name.to_owned(), value]).collect();
    sheet.table("Totals of the day", &[names("", 1.0), words("", 4.0)], &rows);
}

fn time(ms: i64) -> String {
    duration(u32::try_from(ms.max(0)).unwrap_or(u32::MAX))
}

fn worked_on(sheet: &mut Sheet, day: &Day<'_>) {
    let row = |worked: &Worked<'_>| {
        let units = units(worked);
        let from = if worked.began_at > 0.0 { format!(", from {}", units.long(worked.began_at)) } else { String::new() };
        let gained = worked.reached.map_or_else(|| "none".to_owned(), |_| format!("{}{from}", units.long(worked.gained())));
        let ended = match &worked.hole.setup.closed {
            Some(closed) if closed.moment == worked.to => "closed",
            Some(_) => "goes on",
            None => "not closed",
        };
        vec![
            format!("{}{}", worked.hole.name(), set_up(worked.hole)),
            format!("{} – {}", clock(worked.from, day), clock(worked.to, day)),
            worked.ms().map_or_else(|| "not known".to_owned(), time),
            gained,
            worked.reached.map_or_else(|| NONE.to_owned(), |reached| units.long(reached)),
            worked.passes.len().to_string(),
            ended.to_owned(),
            time(worked.lost_ms()),
        ]
    };
    let rows: Vec<Vec<String>> = day.set_ups.iter().map(row).collect();
    let columns = [
        names("Hole", 1.25),
        words("From – to", 1.8),
        words("Took", 1.05),
        words("New depth", 1.2),
        words("Bottom at", 1.2),
        words("Passes", 0.65),
        words("Left", 0.9),
        words("Lost", 1.05),
    ];
    sheet.table("Holes worked on", &columns, &rows);
}

fn set_up(hole: &Hole) -> String {
    let number = hole.setup.opened.body.plan.setup;
    if number > 1 { format!(", set-up {number}") } else { String::new() }
}

/// The time alone where the day is known; else what the rig's own clock said.
fn clock(moment: Moment, day: &Day<'_>) -> String {
    let text = moment.text();
    if day.date.is_none() { text } else { of_day(&text) }
}

/// "07:31:10" of "2026-05-11T07:31:10-06:00".
fn of_day(text: &str) -> String {
    text.split_once('T').and_then(|(_, time)| time.get(..8)).unwrap_or(text).to_owned()
}

fn lost(sheet: &mut Sheet, day: &Day<'_>) -> bool {
    let wall = |wall: Option<Wall>| wall.map_or_else(|| "not known".to_owned(), Wall::rfc3339);
    let row = |worked: &Worked<'_>, lost: &Lost| {
        let took = lost.ms().map_or_else(|| "not known".to_owned(), time);
        vec![wall(lost.from), worked.hole.name(), lost.cause.text(), wall(lost.to), took]
    };
    let rows: Vec<Vec<String>> = day.set_ups.iter().flat_map(|worked| worked.lost.iter().map(move |lost| row(worked, lost))).collect();
    let columns = [times("From", 2.0), words("Hole", 0.9), words("What", 2.1), words("Until", 2.0), words("Lost", 0.9)];
    sheet.table("Faults, restarts and gaps", &columns, &rows)
}

/// The rows of every hole, one after the other.
fn each(day: &Day<'_>, of: impl Fn(&Worked<'_>) -> Vec<Vec<String>>) -> Vec<Vec<String>> {
    day.set_ups.iter().flat_map(of).collect()
}

fn tools(sheet: &mut Sheet, day: &Day<'_>) -> bool {
    let rows = |worked: &Worked<'_>| -> Vec<Vec<String>> {
        let units = units(worked);
        let row = |tool: &&Timed<Tool>| {
            let (length, diameter) = (units.long(metres(tool.body.length)), units.long(metres(tool.body.diameter)));
            vec![tool.moment.text(), worked.hole.name(), tool.body.tool.to_string(), length, diameter]
        };
        worked.tools.iter().map(row).collect()
    };
    let columns = [times("When", 1.8), words("Hole", 1.4), words("Tool", 0.5), words("Pin to cutting edge", 1.3), words("Cuts", 1.2)];
    let rows = each(day, rows);
    sheet.table("Tools put on", &columns, &rows)
}

fn hubs(sheet: &mut Sheet, day: &Day<'_>) -> bool {
    let rows = |worked: &Worked<'_>| -> Vec<Vec<String>> {
        let row = |hub: &&Timed<Hub>| {
            let closed =
                if hub.body.first == 1 { "depth was not tied before".to_owned() } else { units(worked).short(metres(hub.body.misclosure)) };
            vec![hub.moment.text(), worked.hole.name(), closed]
        };
        worked.hubs.iter().map(row).collect()
    };
    let rows = each(day, rows);
    sheet.table("Hub touches", &[times("When", 1.8), words("Hole", 1.4), words("Misclosure", 3.0)], &rows)
}

fn notes(sheet: &mut Sheet, day: &Day<'_>) -> bool {
    let rows = |worked: &Worked<'_>| -> Vec<Vec<String>> {
        let row =
            |note: &&Timed<Note>| vec![note.moment.text(), worked.hole.name(), note.body.author.to_string(), note.body.text.to_string()];
        worked.notes.iter().map(row).collect()
    };
    let rows = each(day, rows);
    sheet.table(
        "Notes, as heard by the rig",
        &[times("When", 1.8), words("Hole", 1.1), words("Who", 1.1), words("What was said", 3.2)],
        &rows,
    )
}
