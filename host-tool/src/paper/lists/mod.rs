//! The lists that people work by, printed from everything that a store holds: the pole crew's hand-over sheet, a rig's day sheet, the
//! register of open holes, and a line's variations from its plan.
//!
//! [`Office`] is all of it, judged once. A list says on every page from whose records it is and up to which time in them; it knows
//! no clock. Its words are those of the command line: [`crate::readiness::words`], [`crate::register::words`], [`super::limits`].

mod day;
mod hand_over;
mod open;
mod place;
mod variations;

pub use day::day_sheet;
pub use hand_over::hand_over;
pub use open::open_holes;
pub use variations::variations;

use super::hole::Reality;
use super::layout::flow::{Flow, Laid, Running};
use super::layout::letters::{Style, Weight};
use super::layout::marks::Role;
use super::layout::pdf::{About, write};
use super::layout::table::{Column, sized};
use super::words::count;
use super::{LAYOUT, PaperError, Printing, program, warning};
use crate::day_work::latest;
use crate::entry::Entry;
use crate::facts::Wall;
use crate::holes::Hole;
use crate::paper;
use crate::readiness::{Structure, Works, structures};
use crate::register::{Registered, of_holes};
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;

const KIND: f64 = 11.0;
const TITLE: Style = Style::strong(22.0);
const HEADING: Style = Style::strong(13.0);
const TEXT: f64 = 10.0;
/// Letters of the tables that are read at a desk.
const CELLS: f64 = 8.5;
/// Room that a heading keeps for what it heads.
const KEEP: f64 = 60.0;

/// Everything that a store holds, judged once.
#[derive(Debug)]
pub struct Office<'a> {
    /// What is known.
    pub works: Works<'a>,
    /// Every structure, line by line in the order of its sheet.
    pub structures: Vec<Structure<'a>>,
    /// The register of holes, by their names.
    pub registered: Vec<Registered>,
}

impl<'a> Office<'a> {
    /// Judges what is known.
    #[must_use]
    pub fn new(works: Works<'a>) -> Self {
        Self { structures: structures(&works), registered: of_holes(works.holes, works.entries), works }
    }

    /// The structures of a line.
    fn of_line<'b>(&'b self, line: &'b str) -> impl Iterator<Item = &'b Structure<'a>> {
        self.structures.iter().filter(move |structure| structure.line == line)
    }
}

/// What a list is printed from: whose records, up to when, and whether a real hole was drilled.
#[derive(Clone, Debug)]
struct Origin {
    reality: Reality,
    rigs: Vec<String>,
    until: Option<Wall>,
    digest: String,
}

impl Origin {
    fn of<'a>(holes: &[&Hole], entries: impl Iterator<Item = &'a Entry>) -> Self {
        let on_paper = |hole: &&&Hole| paper::Hole::of_record(&hole.setup, &hole.judged).reality();
        let any = |reality: Reality| holes.iter().any(|hole| on_paper(&hole) == reality);
        let reality = match (any(Reality::Simulated), any(Reality::Unknown)) {
            (true, _) => Reality::Simulated,
            (false, true) => Reality::Unknown,
            (false, false) => Reality::Drilled,
        };
        let rigs: BTreeSet<&str> = holes.iter().map(|hole| hole.stream.rig.as_str()).collect();
        let mut digest = Sha256::new();
        holes.iter().flat_map(|hole| &hole.setup.slots).for_each(|slot| digest.update(slot.bytes()));
        let mut until = holes.iter().filter_map(|hole| latest(&hole.setup)).max();
        for entry in entries {
            until = until.max(Some(entry.at));
            digest.update(serde_json::to_vec(entry).unwrap_or_default());
        }
        let digest = digest.finalize().iter().take(16).map(|byte| format!("{byte:02x}")).collect();
        Self { reality, rigs: rigs.into_iter().map(str::to_owned).collect(), until, digest }
    }

    /// Of some structures of a line.
    fn of_structures(office: &Office<'_>, line: &str, chosen: &[&Structure<'_>]) -> Self {
        let is_of = |name: &str| chosen.iter().any(|structure| structure.structure == name);
        let of_these = |hole: &&Hole| {
            let plan = &hole.setup.opened.body.plan;
            plan.line.as_str() == line && is_of(&plan.structure)
        };
        let holes: Vec<&Hole> = office.works.holes.iter().filter(of_these).collect();
        let entries = office.works.entries.iter().map(|(_, entry)| entry);
        Self::of(&holes, entries.filter(|entry| entry.hole.line == line && is_of(&entry.hole.structure)))
    }

    /// "Printed from the records of rig A and of what people entered, up to 2026-05-15T13:40:00-06:00."
    fn text(&self) -> String {
        let rigs = match &self.rigs[..] {
            [] => "no rig yet".to_owned(),
            [rig] => format!("rig {rig}"),
            rigs => format!("rigs {}", rigs.join(", ")),
        };
        format!("Printed from the records of {rigs} and from what people entered, up to {}.", self.until())
    }

    fn until(&self) -> String {
        self.until.map_or_else(|| "a time that is not known".to_owned(), Wall::rfc3339)
    }

    /// As much of it as a page's foot has room for.
    fn briefly(&self) -> String {
        let rigs = match &self.rigs[..] {
            [] => "no rig yet".to_owned(),
            [rig] => format!("rig {rig}"),
            rigs => count(rigs.len(), "rig"),
        };
        format!("Printed from the records of {rigs}, up to {}.", self.until())
    }
}

/// A list being printed.
struct Sheet {
    flow: Flow,
    origin: Origin,
    title: String,
    printing: Printing,
}

impl Sheet {
    /// Begins it: what kind of list, of what, from which records.
    fn begin(kind: &str, of: &str, caution: &str, origin: Origin, printing: Printing) -> Self {
        let title = format!("{kind}, {of}");
        let running = Running {
            warning: warning(origin.reality).to_owned(),
            head: title.clone(),
            foot: format!("{} {}, layout {LAYOUT}.", origin.briefly(), program()),
            caution: caution.to_owned(),
        };
        let mut flow = Flow::new(printing.size, running);
        flow.begin(Role::Section);
        flow.paragraph(&[(Weight::Regular, kind)], KIND);
        flow.heading(1, of, TITLE, KEEP);
        // the warning across the top is a running head, which nobody reads out; here it is read
        let warned = match warning(origin.reality) {
            "" => String::new(),
            warning => format!(" {warning}."),
        };
        flow.paragraph(&[(Weight::Regular, &origin.text()), (Weight::Strong, &warned)], TEXT);
        flow.paragraph(&[(Weight::Regular, caution)], TEXT);
        flow.space(6.0);
        Self { flow, origin, title, printing }
    }

    /// A heading over a table, and the table; nothing where there is nothing to list. Says whether there was.
    fn table(&mut self, title: &str, columns: &[Column<'_>], rows: &[Vec<String>]) -> bool {
        if rows.is_empty() {
            return false;
        }
        self.heading(title);
        sized(&mut self.flow, columns, rows, CELLS);
        true
    }

    fn heading(&mut self, title: &str) {
        self.flow.space(9.0);
        self.flow.heading(2, title, HEADING, KEEP);
        self.flow.space(2.0);
    }

    fn say(&mut self, text: &str) {
        self.flow.space(3.0);
        self.flow.paragraph(&[(Weight::Regular, text)], TEXT);
    }

    /// The file.
    fn finish(mut self, subject: &str) -> Result<Vec<u8>, PaperError> {
        self.flow.end();
        let laid: Laid = self.flow.finish();
        let (origin, title) = (self.origin, self.title);
        let about = About {
            title: if origin.reality == Reality::Drilled { title.clone() } else { format!("{}: {title}", warning(origin.reality)) },
            subject: subject.to_owned(),
            author: if origin.rigs.is_empty() { "no rig".to_owned() } else { format!("Rig {}", origin.rigs.join(", ")) },
            identity: format!("{title}/{}/layout-{LAYOUT}", origin.digest),
            date: origin.until,
            program: program().to_owned(),
        };
        write(&laid, &about, Vec::new(), self.printing.standard).map_err(PaperError::NotWritten)
    }
}

/// A line's name, or that it has none.
fn line_text(line: &str) -> &str {
    if line.trim().is_empty() { "no line named" } else { line }
}
