//! One hole's as-drilled certificate: a page of drawing and answer, a page of figures and facts, and an annex of what is long.

use super::hole::{Hole, Reality};
use super::layout::flow::{Flow, Running};
use super::layout::letters::{Style, Weight};
use super::layout::marks::Role;
use super::layout::pdf::{About, Attachment, write};
use super::{CAUTION, LAYOUT, PaperError, Printing, answer, drawing, figures, identity, pole, review, site, uncertainty, warning};
use shared_protocol::chain::End;

const TITLE: Style = Style::strong(22.0);
const KIND: Style = Style::regular(11.0);
const STATEMENT: f64 = 10.0;
const ANNEX: Style = Style::strong(14.0);
/// The drawing takes what the answer leaves of the first page, within these.
const DRAWING_HEIGHTS: (f64, f64) = (276.0, 470.0);

/// Prints one hole's certificate with these files attached. The same hole, files and printing give the same bytes.
///
/// # Errors
/// When the file cannot be made: a fault of this program, not of the hole.
pub fn hole_certificate(hole: &Hole<'_>, attachments: Vec<Attachment>, printing: Printing) -> Result<Vec<u8>, PaperError> {
    let title = format!("As-drilled certificate, {}", hole.name());
    let mut flow = Flow::new(printing.size, running(hole, &title));
    flow.begin(Role::Section);
    head(&mut flow, hole);
    let foot = review::place(&mut flow, hole);
    let explained = drawing_and_answer(&mut flow, hole);
    foot.claim(&mut flow);
    flow.turn_page();
    if !explained {
        answer::note(&mut flow, hole);
    }
    second_page(&mut flow, hole);
    flow.turn_page();
    annex(&mut flow, hole);
    flow.end();
    write(&flow.finish(), &about(hole, title), attachments, printing.standard).map_err(PaperError::NotWritten)
}

/// The drawing as large as the answer under it lets it be; says whether there was room for what the answer's words mean.
fn drawing_and_answer(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let answers = answer::answers(hole);
    let words = answer::height(flow, &answers) + answer::note_height(flow, hole);
    let most = (flow.room() - words - 1.0).clamp(DRAWING_HEIGHTS.0, DRAWING_HEIGHTS.1);
    let height = drawing::height(hole, most);
    flow.figure(height, &drawing::in_words(hole), |letters, frame| drawing::draw(letters, frame, hole));
    answer::put(flow, &answers);
    if flow.room() >= answer::note_height(flow, hole) {
        answer::note(flow, hole);
        return true;
    }
    false
}

/// Figures against the plan, then fields: every one is filled.
fn second_page(flow: &mut Flow, hole: &Hole<'_>) {
    figures::against_plan(flow, hole);
    figures::heading(flow, "Pole and fit");
    figures::fields(flow, &pole::fields(hole));
    figures::heading(flow, "Place, ground and state");
    figures::fields(flow, &site::fields(hole));
    identity::instrument_and_record(flow, hole);
}

/// What is long: budget, calibrations, axis, every list, the instrument in full.
fn annex(flow: &mut Flow, hole: &Hole<'_>) {
    flow.heading(2, &format!("Annex to the as-drilled certificate of {}", hole.name()), ANNEX, 60.0);
    review::revisions(flow, hole);
    figures::beside(flow, hole);
    uncertainty::budget(flow, hole);
    uncertainty::calibrations(flow, hole);
    figures::axis(flow, hole);
    figures::lists(flow, hole);
    identity::settings(flow, hole);
}

fn head(flow: &mut Flow, hole: &Hole<'_>) {
    let plan = hole.plan();
    flow.paragraph(&[(KIND.weight, "As-drilled certificate")], KIND.size);
    flow.heading(1, &hole.name(), TITLE, DRAWING_HEIGHTS.0);
    let until = hole.setup.closed.as_ref().map_or("; not closed".to_owned(), |c| format!(" to {}", c.moment.text()));
    let line = if plan.line.trim().is_empty() { String::new() } else { format!("Line {}. ", plan.line) };
    let operator = if plan.operator.trim().is_empty() { "operator not named".to_owned() } else { format!("by {}", plan.operator) };
    let text = format!("{line}Drilled {operator}, from {}{until}.", hole.setup.opened.moment.text());
    // The warning across the top is a running head, which nobody reads out; here it is read.
    let warned = match warning(hole.reality()) {
        "" => String::new(),
        warning => format!(" {warning}."),
    };
    flow.paragraph(&[(Weight::Regular, &text), (Weight::Strong, &warned)], STATEMENT);
    flow.space(3.0);
}

fn running(hole: &Hole<'_>, title: &str) -> Running {
    let (first, last) = hole.sequences();
    let rig = hole.setup.identity.as_ref().map_or("Rig not identified".to_owned(), |i| format!("Rig {}, epoch {}", i.rig, i.epoch));
    Running {
        warning: warning(hole.reality()).to_owned(),
        head: title.to_owned(),
        foot: format!("{rig}, slots {first} to {last}. {}, layout {LAYOUT}.", hole.program),
        caution: CAUTION.to_owned(),
    }
}

fn about(hole: &Hole<'_>, title: String) -> About {
    let (first, last) = hole.sequences();
    let (rig, epoch) = hole.setup.identity.as_ref().map_or(("unknown", 0), |i| (i.rig.as_str(), i.epoch));
    let digest = hole.setup.closed.as_ref().map_or("open".to_owned(), |c| super::words::hex(&End::from(&c.body).digest()).replace(' ', ""));
    let warning = warning(hole.reality());
    let revision = hole.reviewed.map_or(0, |reviewed| reviewed.reviews.len());
    About {
        title: if hole.reality() == Reality::Drilled { title } else { format!("{warning}: {title}") },
        subject: format!("As-drilled record of one hole, line {}, set-up {}", hole.plan().line, hole.plan().setup),
        author: format!("Rig {rig}, operator {}", hole.plan().operator),
        identity: format!("{rig}/{epoch}/{first}-{last}/{digest}/revision-{revision}/layout-{LAYOUT}"),
        date: hole.last_wall(),
        program: hole.program.to_owned(),
    }
}
