//! Lists on paper, as files: which are printed, what they are called, and into which folder.

use crate::day_work::days;
use crate::files::{apart, into_folder};
use crate::holes::{CalledFault, Hole};
use crate::paper::lists::{Office, day_sheet, hand_over, open_holes, variations};
use crate::paper::{PageSize, PaperError, Printing};
use crate::papers::PrintFault;
use crate::readiness::Works;
use crate::text::{file_name, terminal};
use shared_protocol::state::SheetUnits;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// A list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum List {
    /// The pole crew's hand-over sheet, one for each line.
    HandOver,
    /// Day sheets, one for each rig and day.
    Day,
    /// The register of open holes.
    Open,
    /// Variations from the plan, one list for each line.
    Variations,
}

/// Prints a list into a folder. `names` are structures, of a day sheet days as ISO 8601 writes them; without any, all. Every file is whole
/// or absent. Returns the files.
///
/// # Errors
/// See [`PrintFault`].
pub fn print(works: Works<'_>, list: List, names: &[String], folder: &Path) -> Result<Vec<PathBuf>, PrintFault> {
    let office = Office::new(works);
    let papers = match list {
        List::HandOver => of_lines(&office, "hand-over", names, hand_over)?,
        List::Variations => of_lines(&office, "variations", names, variations)?,
        List::Open => vec![("open-holes".to_owned(), open_holes(&office, printing(works.holes))?)],
        List::Day => of_days(&office, names)?,
    };
    let called = apart(papers.iter().map(|(name, _)| file_name(name)));
    let files: Vec<(String, Vec<u8>)> = called.into_iter().zip(papers).map(|(name, (_, bytes))| (format!("{name}.pdf"), bytes)).collect();
    Ok(into_folder(folder, &files)?)
}

type OfLine = fn(&Office<'_>, &str, &[String], Printing) -> Result<Vec<u8>, PaperError>;

/// A paper for each line that has one of the structures.
fn of_lines(office: &Office<'_>, kind: &str, names: &[String], print: OfLine) -> Result<Vec<(String, Vec<u8>)>, PrintFault> {
    if let Some(name) = names.iter().find(|name| !office.structures.iter().any(|structure| structure.structure == **name)) {
        return Err(PrintFault::NoSuchStructure(terminal(name)));
    }
    let wanted = office.structures.iter().filter(|structure| names.is_empty() || names.contains(&structure.structure));
    let lines: BTreeSet<&str> = wanted.map(|structure| structure.line.as_str()).collect();
    if lines.is_empty() {
        return Err(CalledFault::NoHole.into());
    }
    let one = |line: &&str| {
        let feet = office
            .structures
            .iter()
            .find(|structure| structure.line == **line)
            .is_some_and(|structure| structure.units == crate::paper::words::Units::FeetInches);
        let name = if line.trim().is_empty() { kind.to_owned() } else { format!("{kind}-{line}") };
        Ok((name, print(office, line, names, Printing::archive(size(feet)))?))
    };
    lines.iter().map(one).collect()
}

fn of_days(office: &Office<'_>, names: &[String]) -> Result<Vec<(String, Vec<u8>)>, PrintFault> {
    let days = days(office.works.holes);
    let date = |day: &crate::day_work::Day<'_>| day.date.map_or_else(|| "not-known".to_owned(), |date| date.to_string());
    if let Some(name) = names.iter().find(|name| !days.iter().any(|day| date(day) == **name)) {
        return Err(PrintFault::NoSuchDay(terminal(name)));
    }
    let wanted: Vec<_> = days.iter().filter(|day| names.is_empty() || names.contains(&date(day))).collect();
    if wanted.is_empty() {
        return Err(CalledFault::NoHole.into());
    }
    let one = |day: &&crate::day_work::Day<'_>| {
        let holes: Vec<&Hole> = day.set_ups.iter().map(|worked| worked.hole).collect();
        Ok((format!("day-{}-{}", date(day), day.rig), day_sheet(office, day, printing(holes))?))
    };
    wanted.iter().map(one).collect()
}

/// The page of the country of the first hole's units.
fn printing<'a>(holes: impl IntoIterator<Item = &'a Hole>) -> Printing {
    Printing::archive(size(holes.into_iter().next().is_some_and(|hole| hole.units() == SheetUnits::FeetInches)))
}

const fn size(feet: bool) -> PageSize {
    if feet { PageSize::Letter } else { PageSize::A4 }
}
