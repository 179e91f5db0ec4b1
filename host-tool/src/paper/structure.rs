//! A structure's certificate: whether its poles can go in, its holes side by side on one depth scale, a table of its legs, and
//! what all of them make together.

use super::drawing::{SMALL, rectangle, ticks};
use super::figures::{fields, heading};
use super::hole::{Hole, Reality};
use super::layout::flow::{Flow, Running};
use super::layout::letters::{Letters, Style, Weight};
use super::layout::marks::{Align, Frame, Mark, Pen, Role, Tone, text_marks};
use super::layout::pdf::{About, Attachment, write};
use super::layout::table::{names, table, words};
use super::levels::bottom_words;
use super::scales::{DepthScale, depths};
use super::words::{NONE, Units, capital, datum, standing};
use super::worth::Quantity;
use super::{CAUTION, LAYOUT, PaperError, Printing, limits, pole, program, review, site, warning};
use crate::facts::DigestState;
use crate::judge::limits::{Governs, Measurand};
use crate::judge::{AxisPoint, Verdict};
use crate::readiness::Structure;
use crate::readiness::leg::{Leg as Judged, Stage};
use crate::readiness::words::{CAUTION as CARE, answer, remedy, spacing};
use crate::sheet::leg_text;
use crate::verdicts;
use shared_protocol::state::Leg;

/// Most that the drawing takes.
const HEIGHT: f64 = 312.0;
const RULER: f64 = 46.0;
const HEADER: f64 = 40.0;
const FOOTER: f64 = 66.0;
/// Holes that one drawing has room for.
const DRAWN: usize = 6;
const HEADLINE: f64 = 14.0;
const ANSWER: f64 = 10.0;
const INDENT: f64 = 60.0;
/// What stands together below the table goes to the next page where less room is left.
const TOGETHER: f64 = 200.0;

/// Prints a structure's holes side by side, in the order given (left, middle, right). The first hole's sheet names
/// structure and units.
///
/// # Errors
/// Where there is no hole, and when the file cannot be made.
pub fn structure_certificate(holes: &[Hole<'_>], attachments: Vec<Attachment>, printing: Printing) -> Result<Vec<u8>, PaperError> {
    let Some(first) = holes.first() else { return Err(PaperError::NoHole) };
    let reality = reality(holes);
    let title = format!("Structure certificate, {}", first.plan().structure);
    let mut flow = Flow::new(printing.size, running(holes, reality, &title));
    flow.begin(Role::Section);
    flow.paragraph(&[(Weight::Regular, "Structure certificate, holes as drilled")], 11.0);
    flow.heading(1, &first.plan().structure, Style::strong(22.0), HEIGHT);
    let warned = match warning(reality) {
        "" => String::new(),
        warning => format!(" {warning}."),
    };
    flow.paragraph(&[(Weight::Regular, &subtitle(holes)), (Weight::Strong, &warned)], 10.0);
    flow.space(6.0);
    poles(&mut flow, first.structure);
    flow.space(8.0);
    flow.figure(height(holes), &in_words(holes), |letters, frame| draw(letters, frame, holes));
    flow.space(6.0);
    legs(&mut flow, holes);
    if let Some(structure) = first.structure {
        together(&mut flow, structure);
    }
    flow.space(4.0);
    flow.paragraph(&[(Weight::Strong, CARE)], 8.5);
    flow.space(3.0);
    flow.paragraph(&[(Weight::Regular, notes())], 8.5);
    flow.end();
    let about = About {
        title: if reality == Reality::Drilled { title } else { format!("{}: {title}", warning(reality)) },
        subject: format!("The holes of one structure, line {}", first.plan().line),
        author: first.setup.identity.as_ref().map_or("Rig unknown".to_owned(), |i| format!("Rig {}", i.rig)),
        identity: holes.iter().map(|h| format!("{}:{:?}", h.name(), h.sequences())).collect::<Vec<_>>().join("/"),
        date: holes.iter().filter_map(Hole::last_wall).max(),
        program: first.program.to_owned(),
    };
    write(&flow.finish(), &about, attachments, printing.standard).map_err(PaperError::NotWritten)
}

/// Whether the poles can go in, why not, and what to do.
fn poles(flow: &mut Flow, structure: Option<&Structure<'_>>) {
    let Some(structure) = structure else {
        let text = "Not judged here: neither a sheet nor other entries stand beside these records.";
        return flow.labelled("Poles", &[(Weight::Regular, text)], ANSWER, INDENT);
    };
    flow.paragraph(&[(Weight::Strong, &format!("{}.", capital(&answer(structure))))], HEADLINE);
    flow.space(3.0);
    let mut lines = |label: &str, all: &[String], none: &str| {
        let all = if all.is_empty() { vec![none.to_owned()] } else { all.to_vec() };
        for (n, line) in all.iter().enumerate() {
            flow.labelled(if n == 0 { label } else { "" }, &[(Weight::Regular, &format!("{}.", capital(line)))], ANSWER, INDENT);
        }
    };
    lines("Why", &structure.answer.why, "nothing stands in the way");
    lines("To do", &structure.answer.act, "nothing is proposed");
    let text = match governs(structure) {
        Some(Governs::Guarded) => "goes by what is shown",
        Some(Governs::Plain) => "goes by what was measured",
        None => "goes by what was measured, since nobody has said which statement governs",
    };
    lines("Answer", &[], text);
}

/// Which statement decides, as the limits have it by which the holes were judged.
fn governs(structure: &Structure<'_>) -> Option<Governs> {
    structure.legs.iter().flat_map(|leg| &leg.attempt.set_ups).find_map(|hole| hole.judged.governs)
}

/// What all legs make together, and what was decided of each.
fn together(flow: &mut Flow, structure: &Structure<'_>) {
    let (units, frame) = (structure.units, &structure.frame);
    let governs = governs(structure);
    let fit = match &frame.fit {
        None => format!("not known: {}", if frame.unknown.is_empty() { "nothing is drilled".to_owned() } else { frame.unknown.join("; ") }),
        Some(fit) => format!(
            "room round the poles {} where they stand {} off their stakes; {} at the stakes",
            units.worth(Quantity::Offset, fit.most),
            units.place(fit.shift),
            units.worth(Quantity::Offset, fit.at_stake)
        ),
    };
    let room: Vec<String> = frame.room.iter().map(|verdict| verdicts::line(verdict, governs, units)).collect();
    let spacings: Vec<String> = frame.spacings.iter().map(|taped| spacing(taped, &structure.legs, units)).collect();
    let or = |all: Vec<String>, none: &str| if all.is_empty() { none.to_owned() } else { all.join("; ") };
    flow.need(TOGETHER);
    heading(flow, "All legs together");
    fields(
        flow,
        &[
            ("Joint fit", fit),
            ("Room", or(room, "no limit says how much is wanted")),
            ("Spacing", or(spacings, if structure.legs.len() > 1 { "not measured" } else { "N/A: one pole" })),
            ("Arm", pole::crossarm(structure)),
            ("Not drilled", or(not_drilled(structure), "none of its legs")),
        ],
    );
    heading(flow, "Leg by leg");
    for leg in &structure.legs {
        let text = leg_by_leg(leg, governs);
        let name = if structure.legs.len() > 1 { format!("{} leg", capital(leg_text(leg.hole.leg))) } else { "Single pole".to_owned() };
        flow.labelled(&name, &[(Weight::Regular, &text)], 8.5, INDENT + 18.0);
        flow.space(1.0);
    }
}

/// What is proposed of a leg and what was decided, with every limit judged of the joined bore.
fn leg_by_leg(leg: &Judged<'_>, governs: Option<Governs>) -> String {
    let judged: Vec<String> = leg.verdicts.iter().map(|verdict| verdicts::line(verdict, governs, leg.units())).collect::<Vec<String>>();
    let judged: Vec<String> = judged.iter().map(|line| capital(line)).collect();
    let judged = if judged.is_empty() { "no limit judged".to_owned() } else { judged.join(". ") };
    let known: Vec<&str> = leg.findings.iter().filter(|finding| finding.remedy.is_none()).map(|finding| finding.what.as_str()).collect();
    let known = if known.is_empty() { String::new() } else { format!(" To know: {}.", known.join("; ")) };
    let decided = leg.accepted.as_ref().map_or("nothing decided yet".to_owned(), |accepted| {
        let overtaken = if accepted.overtaken { ", and drilled or measured again since" } else { "" };
        format!("decided “{}” by {}, {}: {}{overtaken}", accepted.disposition.word(), accepted.by, accepted.at.rfc3339(), accepted.reason)
    });
    format!("Proposed: {}; {decided}. {}.{known}", remedy(leg), capital(&judged))
}

fn not_drilled(structure: &Structure<'_>) -> Vec<String> {
    let planned = structure.legs.iter().filter(|leg| leg.stage == Stage::Planned);
    planned.map(|leg| format!("{} leg", leg_text(leg.hole.leg))).collect()
}

/// One simulated hole makes the page a simulated one.
fn reality(holes: &[Hole<'_>]) -> Reality {
    let any = |r: Reality| holes.iter().any(|h| h.reality() == r);
    match (any(Reality::Simulated), any(Reality::Unknown)) {
        (true, _) => Reality::Simulated,
        (false, true) => Reality::Unknown,
        (false, false) => Reality::Drilled,
    }
}

fn running(holes: &[Hole<'_>], reality: Reality, title: &str) -> Running {
    let mut rigs: Vec<&str> = holes.iter().map(|h| h.setup.identity.as_ref().map_or("not identified", |i| i.rig.as_str())).collect();
    rigs.dedup();
    Running {
        warning: warning(reality).to_owned(),
        head: title.to_owned(),
        foot: format!("Rig {}. {}, layout {LAYOUT}.", rigs.join(", "), holes.first().map_or(program(), |hole| hole.program)),
        caution: CAUTION.to_owned(),
    }
}

fn subtitle(holes: &[Hole<'_>]) -> String {
    let line = holes.first().map_or("", |h| h.plan().line.as_str());
    let line = if line.trim().is_empty() { String::new() } else { format!("Line {line}. ") };
    let closed = holes.iter().filter(|h| h.setup.closed.is_some()).count();
    format!("{line}Holes closed: {closed} of {}.", holes.len())
}

fn notes() -> &'static str {
    "Widths and depths in the drawing have one scale. Each depth counts from its own hole's datum; the legs are drawn at even distances, \
     not at their spacing. The axis is inferred from the tool's attitude, no calliper survey. Figures after ± are 95 % uncertainties; \
     “shown” says that the whole interval lies on one side of the limit. Each hole's limits, budget and evidence are with its own \
     certificate."
}

fn leg_name(hole: &Hole<'_>) -> String {
    let leg = match Leg::from_raw(hole.plan().leg) {
        Some(Leg::Single) => "Single pole".to_owned(),
        Some(Leg::Left) => "Left leg".to_owned(),
        Some(Leg::Middle) => "Middle leg".to_owned(),
        Some(Leg::Right) => "Right leg".to_owned(),
        None => format!("Leg {}", hole.plan().leg),
    };
    let attempt = if hole.plan().attempt > 1 { format!(", attempt {}", hole.plan().attempt) } else { String::new() };
    let setup = if hole.plan().setup > 1 { format!(", set-up {}", hole.plan().setup) } else { String::new() };
    leg + &attempt + &setup
}

/// What is said of each leg, top to bottom.
const ROWS: [&str; 13] = [
    "Datum",
    "Planned; accepted",
    "Depth as drilled, ± 95 %",
    "Lean, toe/depth, ± 95 %",
    "Limit of lean",
    "Toe",
    "Measured; shown",
    "Pole",
    "Butt",
    "Room",
    "State",
    "Decision; reviewed",
    "Record",
];

/// A column to each leg, four to a table.
fn legs(flow: &mut Flow, holes: &[Hole<'_>]) {
    for some in holes.chunks(4) {
        let heads: Vec<String> = some.iter().map(leg_name).collect();
        let mut columns = vec![names("Item", 1.25)];
        columns.extend(heads.iter().map(|head| words(head, 1.5)));
        let legs: Vec<[String; 13]> = some.iter().map(leg).collect();
        let row = |(i, name): (usize, &&str)| std::iter::once((*name).to_owned()).chain(legs.iter().map(|l| l[i].clone())).collect();
        let rows: Vec<Vec<String>> = ROWS.iter().enumerate().map(row).collect();
        table(flow, &columns, &rows);
        flow.space(4.0);
    }
}

/// One leg's column, in the order of [`ROWS`].
fn leg(hole: &Hole<'_>) -> [String; 13] {
    let (units, judged) = (hole.units(), hole.judged);
    let lost: u32 = hole.setup.missing.iter().fold(0, |sum, m| sum.saturating_add(m.count()));
    let record = match (hole.setup.digest, lost) {
        (DigestState::Fits, 0) => format!("whole; the rig's digest fits; {}", hole.setup.sealing.briefly()),
        (DigestState::Open, 0) => "not closed".to_owned(),
        (DigestState::Differs | DigestState::Lacking, 0) => "the rig's digest does not fit".to_owned(),
        (_, lost) => format!("{lost} slots missing"),
    };
    let room = hole.counting().and_then(|(n, _)| Some((n, hole.structure?.frame.fit.as_ref()?)));
    let room = room
        .and_then(|(n, fit)| fit.legs.get(n))
        .map_or("not known".to_owned(), |seat| format!("{}; {} at the stake", units.short(seat.room), units.short(seat.at_stake)));
    [
        datum(hole.plan()),
        format!("{}; {}", units.long(judged.planned), units.range(judged.accepted)),
        figure(hole, Measurand::Depth),
        figure(hole, Measurand::OverallLean),
        units.lean(judged.lean_limit),
        judged.toe.map_or(NONE.to_owned(), |t| units.place(t)),
        judged.verdicts.iter().map(briefly).collect::<Vec<_>>().join(". "),
        pole::pole(hole),
        pole::butt_briefly(hole),
        room,
        site::state_briefly(hole),
        format!("{}; {}", site::decision_briefly(hole), review::briefly(hole)),
        record,
    ]
}

/// What the plan limits, with its half-width.
fn figure(hole: &Hole<'_>, measurand: Measurand) -> String {
    let verdict = hole.judged.verdicts.iter().find(|v| v.limit.measurand == measurand);
    let figure = verdict.and_then(|v| v.measured);
    figure.map_or("not known".to_owned(), |f| hole.units().worth(limits::quantity(measurand), f))
}

/// "Depth within; shown within".
fn briefly(verdict: &Verdict) -> String {
    let (subject, shown) = (limits::subject(verdict.limit.measurand), limits::guarded_briefly(&verdict.guarded));
    format!("{subject} {}; {shown}", standing(verdict.plain))
}

fn in_words(holes: &[Hole<'_>]) -> String {
    let each = holes.iter().map(|h| format!("{}: planned {}, {}.", leg_name(h), h.units().long(h.judged.planned), bottom_words(h)));
    format!("Scale drawing of the holes side by side on one depth scale. {}", each.collect::<Vec<_>>().join(" "))
}

fn shown<'a, 'b>(holes: &'b [Hole<'a>]) -> &'b [Hole<'a>] {
    holes.get(..DRAWN).unwrap_or(holes)
}

/// As large as a plain ratio allows.
fn height(holes: &[Hole<'_>]) -> f64 {
    let depth = DepthScale::fit(shown(holes).iter().flat_map(depths), HEADER, HEIGHT - FOOTER);
    HEADER + (depth.greatest - depth.least) * depth.per_metre + FOOTER
}

fn draw(letters: &mut Letters, frame: Frame, holes: &[Hole<'_>]) -> Vec<Mark> {
    let shown = shown(holes);
    let units = shown.first().map_or(Units::Metric, Hole::units);
    let depth = DepthScale::fit(shown.iter().flat_map(depths), frame.y + HEADER, frame.bottom() - FOOTER);
    let x = frame.x + RULER;
    let mut marks = vec![Mark::Line(vec![(x, depth.y(depth.least)), (x, depth.y(depth.greatest))], Pen::Fine, Tone::Black)];
    let head = letters.set(&[(Weight::Regular, "depth below datum")], SMALL.size, Some(RULER - 6.0));
    marks.extend(text_marks(&head, 0, 3, (x - 4.0, frame.y), Align::Right));
    for (tick, text) in ticks(&depth, units) {
        let y = depth.y(tick);
        marks.push(Mark::Line(vec![(x - 4.0, y), (x, y)], Pen::Fine, Tone::Black));
        let line = letters.line(&text, SMALL);
        marks.push(Mark::Text((x - 7.0 - line.width, y + 3.0), line));
    }
    let width = (frame.width - RULER - 8.0) / shown.len() as f64;
    let mut left = x + 8.0;
    for hole in shown {
        let column = Frame { x: left, width, ..frame };
        marks.extend(one(letters, column, &depth, hole));
        left += width;
    }
    let rest = if holes.len() > DRAWN { format!(" The first {DRAWN} of {} holes are drawn.", holes.len()) } else { String::new() };
    let scale =
        letters.line(&format!("Scale 1:{}, all ways. Grey: accepted depth. Line within the hole: its axis.{rest}", depth.ratio), SMALL);
    marks.push(Mark::Text((frame.x, frame.bottom() - 4.0), scale));
    marks
}

/// One hole in true proportions: walls of the tool's diameter about the axis, the planned depth, the accepted range.
fn one(letters: &mut Letters, frame: Frame, depth: &DepthScale, hole: &Hole<'_>) -> Vec<Mark> {
    let judged = hole.judged;
    let middle = frame.x + frame.width / 2.0;
    let panel = Frame { x: frame.x + 4.0, y: frame.y + HEADER, width: frame.width - 8.0, height: frame.height - HEADER - FOOTER };
    let level = |d: f64, pen: Pen| Mark::Line(vec![(panel.x, depth.y(d)), (panel.right(), depth.y(d))], pen, Tone::Black);
    let accepted = rectangle((panel.x, depth.y(judged.accepted.0)), (panel.right(), depth.y(judged.accepted.1)));
    let mut inner = vec![Mark::Area(accepted, Tone::Pale), level(0.0, Pen::Fine), level(judged.planned, Pen::Dashed)];
    inner.extend(walls(hole, depth, middle));
    let mut marks = vec![Mark::Within(panel, inner)];
    let name = letters.set(&[(Weight::Strong, &leg_name(hole))], 9.5, Some(panel.width));
    marks.extend(text_marks(&name, 0, 2, (middle, frame.y), Align::Centre));
    let below = [(Weight::Strong, bottom_words(hole)), (Weight::Regular, format!("planned {}", hole.units().long(judged.planned)))];
    let mut y = panel.bottom() + 4.0;
    for (weight, text) in below {
        let set = letters.set(&[(weight, &text)], SMALL.size, Some(panel.width));
        marks.extend(text_marks(&set, 0, 2, (middle, y), Align::Centre));
        y += set.height().min(2.0 * set.line_height);
    }
    marks
}

/// Walls and bottom as drilled; the axis seen looking ahead.
fn walls(hole: &Hole<'_>, depth: &DepthScale, middle: f64) -> Vec<Mark> {
    let radius = hole.radius() * depth.per_metre;
    let hub = -hole.hub_above_datum();
    let place = |p: &AxisPoint, side: f64| (middle + p.offset.right * depth.per_metre + side * radius, depth.y(p.depth + hub));
    let mut marks = Vec::new();
    for stretch in hole.axis_stretches() {
        for side in [-1.0, 1.0] {
            marks.push(Mark::Line(stretch.iter().map(|p| place(p, side)).collect(), Pen::Strong, Tone::Black));
        }
        marks.push(Mark::Line(stretch.iter().map(|p| place(p, 0.0)).collect(), Pen::Fine, Tone::Black));
    }
    let toe = hole.judged.toe.map_or(0.0, |t| t.right * depth.per_metre);
    if let Some(bottom) = hole.floor() {
        let pen = if hole.floor_known() { Pen::Strong } else { Pen::Dashed };
        let y = depth.y(bottom);
        marks.push(Mark::Line(vec![(middle + toe - radius, y), (middle + toe + radius, y)], pen, Tone::Black));
    }
    marks
}
