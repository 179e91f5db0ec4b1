//! The foot of the first page: who measured, who reviewed, which revision, beside the place of a code for machines.

use super::hole::{Hole, Reality};
use super::layout::flow::Flow;
use super::layout::letters::{Lines, Weight};
use super::layout::marks::{Align, Mark, Pen, Role, Tone, text_marks};
use super::layout::{POINTS_PER_METRE, marks::Frame};
use super::words::{NONE, count};
use crate::judge::measured::Measurement;
use std::collections::BTreeSet;

/// Side of the square at the right that is kept for a code to scan, points: 32 mm.
pub const CODE_SIDE: f64 = 0.032 * POINTS_PER_METRE;
const SIZE: f64 = 9.0;
const INDENT: f64 = 76.0;
const BETWEEN: f64 = 3.0;
const ABOVE: f64 = 7.0;
/// Between the rows and the square.
const BESIDE: f64 = 14.0;

/// A row that was put on the page and is not yet in the reading order.
type Piece = (usize, usize);

/// The foot, on the first page, waiting for its turn to be read.
#[derive(Debug)]
pub struct Foot {
    rows: Vec<[Piece; 2]>,
    /// The square kept for a code.
    pub code: Frame,
}

/// What is said of each, top to bottom.
fn rows(hole: &Hole<'_>) -> [(&'static str, String); 3] {
    [("Measured by", measured_by(hole)), ("Reviewed by", NONE.to_owned()), ("Revision", format!("{NONE}; supersedes nothing"))]
}

/// Operator and rig, and who measured by hand, each once.
fn measured_by(hole: &Hole<'_>) -> String {
    let plan = hole.plan();
    let operator = if plan.operator.trim().is_empty() { "operator not named" } else { plan.operator.as_str() };
    let rig = hole.setup.identity.as_ref().map_or("rig not identified", |identity| identity.rig.as_str());
    let real = match hole.reality() {
        Reality::Drilled => "not simulated",
        Reality::Simulated => "SIMULATED",
        Reality::Unknown => "not known whether simulated",
    };
    let ended = hole.setup.closed.as_ref().map_or("not closed".to_owned(), |closed| closed.moment.text());
    let by_hand: BTreeSet<&str> = hole.setup.measurements.iter().map(|m: &Measurement| m.author.as_str()).collect();
    let by_hand: Vec<&str> = by_hand.into_iter().collect();
    let number = hole.setup.measurements.len();
    let by_hand = if by_hand.is_empty() {
        "nobody by hand".to_owned()
    } else {
        format!("by hand {} ({})", by_hand.join(", "), count(number, "measurement"))
    };
    format!("{operator} with rig {rig} ({real}), {ended}; {by_hand}")
}

/// Keeps the foot of this page and puts down what there is to say.
pub fn place(flow: &mut Flow, hole: &Hole<'_>) -> Foot {
    let width = flow.width() - CODE_SIDE - BESIDE;
    let set: Vec<[Lines; 2]> = rows(hole)
        .iter()
        .map(|(label, text)| {
            let name = flow.letters.set(&[(Weight::Strong, label)], SIZE, Some(INDENT));
            [name, flow.letters.set(&[(Weight::Regular, text)], SIZE, Some(width - INDENT))]
        })
        .collect();
    let tall = |row: &[Lines; 2]| row.iter().map(Lines::height).fold(0.0, f64::max) + BETWEEN;
    let rows_height: f64 = set.iter().map(tall).sum();
    let frame = flow.keep_foot(ABOVE + CODE_SIDE.max(rows_height));
    let rule = frame.y + ABOVE / 2.0;
    flow.decorate(vec![Mark::Line(vec![(frame.x, rule), (frame.right(), rule)], Pen::Fine, Tone::Black)]);
    let mut y = frame.y + ABOVE;
    let mut rows = Vec::new();
    for row in &set {
        let [name, text] = row;
        let left = flow.place(text_marks(name, 0, name.lines.len(), (frame.x, y), Align::Left));
        let right = flow.place(text_marks(text, 0, text.lines.len(), (frame.x + INDENT, y), Align::Left));
        rows.push([left, right]);
        y += tall(row);
    }
    let code = Frame { x: frame.right() - CODE_SIDE, y: frame.y + ABOVE, width: CODE_SIDE, height: CODE_SIDE };
    Foot { rows, code }
}

impl Foot {
    /// Takes its place in the reading order.
    pub fn claim(self, flow: &mut Flow) {
        for row in self.rows {
            flow.begin(Role::Paragraph);
            row.into_iter().for_each(|piece| flow.claim(piece));
            flow.end();
        }
    }
}
