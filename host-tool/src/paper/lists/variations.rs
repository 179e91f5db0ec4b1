//! The variations of a line: every hole that differs from its plan beyond what is accepted, or whose plan was departed from.

use super::super::layout::letters::Weight;
use super::super::layout::table::{names, words};
use super::super::limits::{guarded_briefly, limit_words, plain, planned_text, quantity, subject, varies};
use super::super::words::{NONE, Units, count};
use super::super::worth::Quantity;
use super::super::{CAUTION, PaperError, Printing};
use super::{Office, Origin, Sheet, line_text};
use crate::judge::Verdict;
use crate::judge::limits::Governs;
use crate::limits_file::Limits;
use crate::readiness::Structure;
use crate::readiness::variation::{Item, Variation, of_structure};
use crate::register::words::name;

const LARGE: f64 = 12.0;

/// Prints the variations of a line: of all its structures, or of those that are named.
///
/// # Errors
/// Where the line has no such structure, and when the file cannot be made.
pub fn variations(office: &Office<'_>, line: &str, only: &[String], printing: Printing) -> Result<Vec<u8>, PaperError> {
    let chosen: Vec<&Structure<'_>> =
        office.of_line(line).filter(|structure| only.is_empty() || only.contains(&structure.structure)).collect();
    if chosen.is_empty() {
        return Err(PaperError::NoHole);
    }
    let governs = office.works.limits.and_then(Limits::governs);
    let origin = Origin::of_structures(office, line, &chosen);
    let mut sheet = Sheet::begin("Variations from the plan", line_text(line), CAUTION, origin, printing);
    let found: Vec<(&Structure<'_>, Variation<'_>)> = chosen
        .iter()
        .flat_map(|structure| of_structure(structure, office.works.entries, governs).into_iter().map(move |one| (*structure, one)))
        .collect();
    summary(&mut sheet, &chosen, &found);
    let columns = [
        names("Hole", 0.95),
        words("What", 0.9),
        words("Planned", 1.0),
        words("As drilled, ± 95 %", 1.5),
        words("Variation", 1.6),
        words("Limit and its source", 1.5),
        words("Who accepted it, and why", 2.8),
    ];
    for (title, open) in [("Open: nobody has accepted them", true), ("Accepted or made good", false)] {
        let rows: Vec<Vec<String>> = found.iter().filter(|(_, one)| one.open == open).map(|(structure, one)| row(structure, one)).collect();
        sheet.table(title, &columns, &rows);
    }
    let decides = match governs {
        Some(Governs::Plain) => "The plain statement governs here.",
        Some(Governs::Guarded) => "The guarded statement governs here: what is not shown within is listed too.",
        None => "Nobody has said which statement governs; what is measured outside, or shown outside, is listed.",
    };
    sheet.say(&format!(
        "{decides} Figures after ± are 95 % uncertainties. A variation is accepted where a named person decided that the hole stands, and nothing \
         was drilled or measured there since. An earlier attempt is made good where it is filled again."
    ));
    sheet.finish(&format!("Every departure from the plan of line {}", line_text(line)))
}

fn summary(sheet: &mut Sheet, chosen: &[&Structure<'_>], found: &[(&Structure<'_>, Variation<'_>)]) {
    let open = found.iter().filter(|(_, one)| one.open).count();
    let text = match found.len() {
        0 => "No variation.".to_owned(),
        all => format!("{}, {open} of them open.", count(all, "variation")),
    };
    sheet.flow.space(4.0);
    sheet.flow.paragraph(&[(Weight::Strong, &text)], LARGE);
    let has = |structure: &Structure<'_>| found.iter().any(|(other, _)| other.structure == structure.structure);
    let begun = |structure: &Structure<'_>| structure.legs.iter().any(|leg| leg.attempt.is_begun());
    let list = |is: &dyn Fn(&Structure<'_>) -> bool| {
        chosen.iter().filter(|structure| is(structure)).map(|structure| structure.structure.as_str()).collect::<Vec<_>>().join(", ")
    };
    for (what, text) in
        [("As planned, as far as drilled", list(&|s| !has(s) && begun(s))), ("Nothing drilled", list(&|s| !has(s) && !begun(s)))]
    {
        if !text.is_empty() {
            sheet.flow.space(3.0);
            sheet.flow.paragraph(&[(Weight::Strong, &format!("{what}  ")), (Weight::Regular, &text)], super::TEXT);
        }
    }
}

/// By how much a limit's figure differs from the plan, and how it stands by both statements.
fn differs(units: Units, verdict: &Verdict, planned: Option<f64>) -> String {
    let by = match varies(units, verdict, planned) {
        by if by == NONE => String::new(),
        by => format!("{by}; "),
    };
    format!("{by}{}; {}", plain(units, verdict), guarded_briefly(&verdict.guarded))
}

fn row(structure: &Structure<'_>, one: &Variation<'_>) -> Vec<String> {
    let units = structure.units;
    let hole = one.leg.map_or_else(|| structure.structure.clone(), |leg| name(&leg.hole));
    let accepted = one
        .accepted
        .clone()
        .unwrap_or_else(|| format!("nobody{}", one.proposed.as_ref().map_or_else(String::new, |what| format!("; proposed: {what}"))));
    let (what, planned, drilled, variation, limit) = match &one.item {
        Item::Limit { verdict, planned } => {
            let of = verdict.limit.measurand;
            let stands = format!("{} ({})", limit_words(units, &verdict.limit), verdict.limit.source);
            (
                subject(of).to_owned(),
                planned_text(units, of, *planned),
                verdict.measured.map_or_else(|| "not known".to_owned(), |figure| units.worth(quantity(of), figure)),
                differs(units, verdict, *planned),
                stands,
            )
        }
        Item::Diameter { planned, cut, measured } => (
            "Diameter".to_owned(),
            units.long(*planned),
            format!("{}, {}", units.worth(Quantity::Offset, *cut), if *measured { "measured" } else { "by the tool" }),
            units.difference(cut.value - planned),
            format!("{NONE} (the sheet sets none)"),
        ),
        Item::Plan { sheet, loaded } => (
            "Plan".to_owned(),
            units.long(*sheet),
            format!("drilled to a plan of {}", units.long(*loaded)),
            units.difference(loaded - sheet),
            format!("{NONE} (the sheet as it is now)"),
        ),
        Item::Attempt { number, state } => {
            ("Attempt".to_owned(), "one attempt".to_owned(), format!("attempt {number} {state}"), "given up".to_owned(), NONE.to_owned())
        }
    };
    vec![hole, what, planned, drilled, variation, limit, accepted]
}
