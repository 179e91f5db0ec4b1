//! The foot of the first page: who measured, who reviewed, which revision, beside the place of a code for machines.

use super::figures;
use super::hole::{Hole, Reality};
use super::layout::flow::Flow;
use super::layout::letters::{Lines, Weight};
use super::layout::marks::{Align, Mark, Pen, Role, Tone, text_marks};
use super::layout::table::{names, words};
use super::layout::{POINTS_PER_METRE, marks::Frame};
use super::words::{NONE, count};
use crate::evidence::review::Review;
use crate::evidence::short::key_name;
use crate::judge::measured::Measurement;
use qrcodegen::{QrCode, QrCodeEcc};
use std::collections::BTreeSet;

/// Side of the code at the right with its quiet zone, points: 40 mm, so that a module of the largest is more than half a millimetre.
const CODE_SIDE: f64 = 0.040 * POINTS_PER_METRE;
/// Modules left white around the code (ISO/IEC 18004).
const QUIET: i32 = 4;
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
    /// Where the code is.
    frame: Frame,
    /// What the code says, and its squares.
    code: Option<(String, Piece)>,
}

/// What is said of each, top to bottom.
fn rows(hole: &Hole<'_>) -> [(&'static str, String); 3] {
    [("Measured by", measured_by(hole)), ("Reviewed by", reviewed_by(hole)), ("Revision", revision(hole))]
}

/// Who reviewed the record last, what was found, and whether that is the record as it is printed.
#[must_use]
pub fn reviewed_by(hole: &Hole<'_>) -> String {
    let Some(reviewed) = hole.reviewed else { return NONE.to_owned() };
    let Some(last) = reviewed.reviews.last() else { return format!("{NONE}; nobody has reviewed this record") };
    let reason = if last.reason.is_empty() { String::new() } else { format!(": {}", last.reason) };
    let signed = match (reviewed.current, last.is_signed()) {
        (true, _) => "signed",
        (false, true) => "SIGNED BEFORE THE RECORD CHANGED: what is printed here is not reviewed",
        (false, false) => "THE SIGNATURE DOES NOT FIT",
    };
    format!("{}, {} on {}{reason}; {signed}", last.by, last.finding.word(), last.at.rfc3339())
}

/// The same in a few words: "revision 1 accepted by Q. Example".
pub fn briefly(hole: &Hole<'_>) -> String {
    let reviewed = hole.reviewed.and_then(|reviewed| Some((reviewed, reviewed.reviews.last()?)));
    let Some((reviewed, last)) = reviewed else { return "by nobody".to_owned() };
    let said = format!("revision {} {} by {}", last.revision, last.finding.word(), last.by);
    if reviewed.current { said } else { format!("{said}, BEFORE THE RECORD CHANGED") }
}

/// Which revision is printed, and what it supersedes.
fn revision(hole: &Hole<'_>) -> String {
    let reviews = hole.reviewed.map_or(&[][..], |reviewed| &reviewed.reviews);
    let Some((last, earlier)) = reviews.split_last() else { return format!("{NONE}; supersedes nothing") };
    if !hole.reviewed.is_some_and(|reviewed| reviewed.current) {
        return format!("unreviewed, after revision {}", last.revision);
    }
    match earlier.last() {
        None => format!("{}; supersedes nothing", last.revision),
        Some(before) => format!("{}; supersedes revision {}, in the annex", last.revision, before.revision),
    }
}

/// The heads of what is said of each revision.
pub const REVISIONS: [&str; 6] = ["No.", "Found", "By", "Figures that were signed", "Why", "Key"];
/// How the figures that were signed are read.
pub const KEY: &str =
    "in, out: measured within, outside the limit; + shown so; ? not known. Each was signed over the record as it was then.";

/// Every revision, with the figures that were signed, by the heads of [`REVISIONS`].
#[must_use]
pub fn revision_rows(hole: &Hole<'_>) -> Vec<Vec<String>> {
    let reviews = hole.reviewed.map_or(&[][..], |reviewed| &reviewed.reviews);
    let row = |review: &Review| {
        let figures: Vec<&str> = review.short.lines().skip(2).take(2).collect();
        let reason = if review.reason.is_empty() { NONE.to_owned() } else { review.reason.clone() };
        vec![
            review.revision.to_string(),
            format!("{}, {}", review.finding.word(), review.at.rfc3339()),
            review.by.clone(),
            figures.join("; "),
            reason,
            key_name(&review.key),
        ]
    };
    reviews.iter().map(row).collect()
}

/// The older revisions stay, side by side with the newer.
pub fn revisions(flow: &mut Flow, hole: &Hole<'_>) {
    let [number, found, by, signed, why, key] = REVISIONS;
    let columns = [names(number, 0.35), words(found, 1.5), words(by, 1.0), words(signed, 2.2), words(why, 1.4), words(key, 0.8)];
    if figures::list(flow, "Revisions", &columns, &revision_rows(hole)) {
        figures::remark(flow, KEY);
    }
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
    let frame = Frame { x: frame.right() - CODE_SIDE, y: frame.y + ABOVE, width: CODE_SIDE, height: CODE_SIDE };
    let code = hole.reviewed.map(|reviewed| {
        let words = format!("QR code with this record in short: {}", reviewed.code.replace('\n', "; "));
        (words, flow.place(modules(frame, &reviewed.code)))
    });
    Foot { rows, frame, code }
}

/// The code as squares (ISO/IEC 18004, level M), its quiet zone within the frame; nothing where the text fits no code.
fn modules(frame: Frame, text: &str) -> Vec<Mark> {
    let Ok(code) = QrCode::encode_text(text, QrCodeEcc::Medium) else { return Vec::new() };
    let side = frame.width / f64::from(code.size() + 2 * QUIET);
    let mut marks = Vec::new();
    for y in 0..code.size() {
        // neighbours are one area, so that no hairline shows between them
        let mut x = 0;
        while x < code.size() {
            let from = x;
            while x < code.size() && code.get_module(x, y) {
                x += 1;
            }
            if x > from {
                let at = |n: i32| f64::from(n + QUIET) * side;
                let (left, right, top, bottom) = (frame.x + at(from), frame.x + at(x), frame.y + at(y), frame.y + at(y + 1));
                marks.push(Mark::Area(vec![(left, top), (right, top), (right, bottom), (left, bottom)], Tone::Black));
            }
            x += 1;
        }
    }
    marks
}

impl Foot {
    /// Takes its place in the reading order.
    pub fn claim(self, flow: &mut Flow) {
        for row in self.rows {
            flow.begin(Role::Paragraph);
            row.into_iter().for_each(|piece| flow.claim(piece));
            flow.end();
        }
        if let Some((words, piece)) = self.code {
            flow.begin(Role::Figure(self.frame, words));
            flow.claim(piece);
            flow.end();
        }
    }
}
