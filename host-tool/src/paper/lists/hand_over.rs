//! The hand-over sheet: what the pole crew reads beside the truck, a block for each structure in the order of the line.

use super::super::layout::letters::{Style, Weight};
use super::super::layout::table::{Column, measure, names, sized, words};
use super::super::words::{NONE, Units};
use super::super::worth::Quantity;
use super::super::{PaperError, Printing};
use super::place::{KEY, Plan};
use super::{Flow, Office, Origin, Sheet, line_text};
use crate::entry::{HoleState, NoteKind, Said};
use crate::judge::limits::Governs;
use crate::judge::{LineAxes, Verdict};
use crate::limits_file::Limits;
use crate::readiness::Structure;
use crate::readiness::answer::{Ready, met_in};
use crate::readiness::attempt::um;
use crate::readiness::frame::{places, rake, stations};
use crate::readiness::leg::{Leg, Stage};
use crate::readiness::words::{CAUTION, GROUPS, answer, arm, stage};
use crate::register::words::OWES;
use crate::sheet::{datum_text, leg_text};
use crate::structure::joint::{Joint, Seat};
use crate::verdicts;

const BLOCK: Style = Style::strong(18.0);
const WHY: f64 = 12.0;
/// Letters of a block's table: it is read at arm's length. The largest that keeps the block on one page.
const LETTERS: [f64; 3] = [10.5, 9.5, 8.5];
const BETWEEN: f64 = 3.0;
const BETWEEN_BLOCKS: f64 = 16.0;
/// Room for a table's head and for what stands before and behind it.
const UNDER_TEXT: f64 = 24.0;

/// Prints a line's hand-over sheet: every structure of it, or those that are named.
///
/// # Errors
/// Where the line has no such structure, and when the file cannot be made.
pub fn hand_over(office: &Office<'_>, line: &str, only: &[String], printing: Printing) -> Result<Vec<u8>, PaperError> {
    let chosen: Vec<&Structure<'_>> =
        office.of_line(line).filter(|structure| only.is_empty() || only.contains(&structure.structure)).collect();
    if chosen.is_empty() {
        return Err(PaperError::NoHole);
    }
    let origin = Origin::of_structures(office, line, &chosen);
    let mut sheet = Sheet::begin("Hand-over sheet for the pole crew", line_text(line), CAUTION, origin, printing);
    let governs = office.works.limits.and_then(Limits::governs);
    overview(&mut sheet, &chosen, governs);
    for structure in chosen.iter().filter(|structure| is_told(structure)) {
        block(&mut sheet.flow, structure, governs);
    }
    sheet.finish(&format!("Which structures are ready for their poles, line {}", line_text(line)))
}

/// Whether there is more to say than that nothing is drilled or that poles stand.
fn is_told(structure: &Structure<'_>) -> bool {
    structure.answer.ready != Ready::Set && structure.legs.iter().any(|leg| leg.stage != Stage::Planned)
}

/// Which structures are how, a line to each answer.
fn overview(sheet: &mut Sheet, chosen: &[&Structure<'_>], governs: Option<Governs>) {
    for (ready, word) in GROUPS {
        let alike: Vec<&str> =
            chosen.iter().filter(|structure| structure.answer.ready == ready).map(|structure| structure.structure.as_str()).collect();
        if !alike.is_empty() {
            sheet.flow.space(BETWEEN);
            let text = format!("  {}", alike.join(", "));
            let head = format!("{} {word}:", alike.len());
            sheet.flow.paragraph(&[(Weight::Strong, &head), (Weight::Regular, &text)], WHY);
        }
    }
    let decides = match governs {
        Some(Governs::Plain) => "The plain statement governs: what was measured, held against the limit.",
        Some(Governs::Guarded) => "The guarded statement governs: the whole 95 % interval lies within the limit, or it is not shown.",
        None => "Nobody has said which statement governs: the answer goes by what was measured.",
    };
    let told = "Structures whose poles stand, and those of which nothing is drilled, have no block below.";
    sheet.say(&format!("{decides} Figures after ± are 95 % uncertainties. {told} {KEY}"));
}

/// One structure as it is printed.
struct Block {
    title: String,
    said: Vec<(String, String)>,
    plan: Option<Plan>,
    heads: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Block {
    fn of(structure: &Structure<'_>, governs: Option<Governs>) -> Self {
        Self {
            title: format!("{}: {}", structure.structure, answer(structure)),
            said: said(structure, governs),
            plan: Plan::of(structure),
            heads: structure.legs.iter().map(head).collect(),
            rows: rows(structure),
        }
    }

    /// The columns of its table; one hole needs no head.
    fn columns(&self) -> Vec<Column<'_>> {
        match &self.heads[..] {
            [_] => vec![names("", 0.75), words("", 2.6)],
            heads => std::iter::once(names("", 0.8)).chain(heads.iter().map(|head| words(head, 1.6))).collect(),
        }
    }

    /// The plan where it stands beside the text, with its width and height.
    fn beside(&self, flow: &Flow) -> Option<(&Plan, (f64, f64))> {
        self.plan.as_ref().filter(|plan| plan.is_narrow()).map(|plan| (plan, plan.size(flow.width())))
    }

    /// The largest letters of its table that keep it on one page, and its height with them.
    fn fit(&self, flow: &mut Flow) -> (f64, f64) {
        let beside = self.beside(flow).map(|(_, size)| size);
        let of_title = flow.measure(&[(BLOCK.weight, &self.title)], BLOCK.size);
        let across = self.plan.as_ref().filter(|_| beside.is_none()).map_or(0.0, |plan| plan.size(flow.width()).1 + BETWEEN);
        flow.narrow(beside.map_or(0.0, |(width, _)| width));
        let texts: f64 =
            self.said.iter().map(|(strong, text)| BETWEEN + flow.measure(&[(Weight::Strong, strong), (Weight::Regular, text)], WHY)).sum();
        let mut found = (0.0, 0.0);
        for letters in LETTERS {
            let text = texts + across + measure(flow, &self.columns(), &self.rows, letters) + UNDER_TEXT;
            found = (letters, of_title + beside.map_or(text, |(_, height)| text.max(height)));
            if found.1 <= flow.page_room() {
                break;
            }
        }
        flow.narrow(0.0);
        found
    }
}

/// One structure, whole on a page where a page can hold it.
fn block(flow: &mut Flow, structure: &Structure<'_>, governs: Option<Governs>) {
    let block = Block::of(structure, governs);
    let (letters, height) = block.fit(flow);
    flow.space(BETWEEN_BLOCKS);
    flow.need(height);
    if !flow.at_top() {
        flow.rule();
        flow.advance(5.0);
    }
    flow.heading(2, &block.title, BLOCK, 80.0);
    let beside = block.beside(flow).map(|(plan, size)| {
        let ends = flow.figure_beside(size, &plan.in_words(structure), |letters, frame| plan.draw(letters, frame));
        flow.narrow(size.0);
        ends
    });
    for (strong, text) in &block.said {
        flow.space(BETWEEN);
        flow.paragraph(&[(Weight::Strong, strong), (Weight::Regular, text)], WHY);
    }
    if let Some(plan) = block.plan.as_ref().filter(|_| beside.is_none()) {
        flow.space(BETWEEN);
        let height = plan.size(flow.width()).1;
        flow.figure(height, &plan.in_words(structure), |letters, frame| plan.draw(letters, frame));
    }
    flow.space(BETWEEN);
    sized(flow, &block.columns(), &block.rows, letters);
    if let Some(ends) = beside {
        flow.widen(ends);
    }
}

fn head(leg: &Leg<'_>) -> String {
    let attempt = if leg.hole.attempt > 1 { format!(", attempt {}", leg.hole.attempt) } else { String::new() };
    let mut name = format!("{} leg{attempt}", leg_text(leg.hole.leg));
    name.get_mut(..1).map(str::make_ascii_uppercase);
    name
}

/// Why, what to do, and what is of all legs together.
fn said(structure: &Structure<'_>, governs: Option<Governs>) -> Vec<(String, String)> {
    let (units, frame) = (structure.units, &structure.frame);
    let line = |strong: &str, text: String| (format!("{strong}  "), text);
    let mut all: Vec<(String, String)> = structure.answer.why.iter().map(|why| line("Why", why.clone())).collect();
    all.extend(structure.answer.act.iter().map(|act| line("Do", act.clone())));
    all.extend(frame.fit.as_ref().map(|fit| line("Room", together(fit, &frame.room, governs, units))));
    all.extend(frame.unknown.iter().map(|unknown| line("Fit not known", unknown.clone())));
    match (&frame.drilled, &frame.planned) {
        (Some(drilled), _) => all.push(line("Arm", plain_end(&arm(drilled, &structure.legs), "arm "))),
        (None, Some(planned)) => all.push(line("Arm, as planned", plain_end(&arm(planned, &structure.legs), "arm "))),
        (None, None) if structure.legs.len() > 1 => all.push(line("Arm", "not known: the sheet lacks ground levels or lengths".to_owned())),
        (None, None) => {}
    }
    all
}

/// What follows a line's first words, which stand before it already.
fn plain_end(line: &str, begins: &str) -> String {
    line.strip_prefix(begins).unwrap_or(line).to_owned()
}

/// Room of all legs together, against what tamping wants where somebody says so.
fn together(fit: &Joint, wanted: &[Verdict], governs: Option<Governs>, units: Units) -> String {
    let wanted: Vec<String> =
        wanted.iter().map(|verdict| plain_end(&verdicts::line(verdict, governs, units), "room round the pole ")).collect();
    let best = if wanted.is_empty() { units.worth(Quantity::Offset, fit.most) } else { wanted.join("; ") };
    let larger = if fit.most.value - fit.if_larger > 1e-4 {
        let least = if fit.if_larger < 0.0 { "none".to_owned() } else { units.short(fit.if_larger) };
        format!("; {least} if the pole is as thick as its class allows, so tape the butt")
    } else {
        String::new()
    };
    format!("at the best place {best}; at the stake {}{larger}", left(units, fit.at_stake.value))
}

fn left(units: Units, room: f64) -> String {
    if room < 0.0 { format!("none, {} too little", units.short(-room)) } else { units.short(room) }
}

/// A row to each thing that a crew asks about, a column to each leg.
fn rows(structure: &Structure<'_>) -> Vec<Vec<String>> {
    let middles = places(&structure.legs);
    let seats = structure.frame.fit.as_ref().map(|fit| &fit.legs);
    let legs: Vec<Vec<(&str, String)>> = structure
        .legs
        .iter()
        .enumerate()
        .map(|(n, leg)| items(leg, seats.and_then(|seats| seats.get(n)), middles.get(n).map_or(LineAxes::default(), |(middle, _)| *middle)))
        .collect();
    let Some(first) = legs.first() else { return Vec::new() };
    let row = |(n, (name, _)): (usize, &(&str, String))| {
        let cells: Vec<String> = legs.iter().filter_map(|leg| leg.get(n)).map(|(_, text)| text.clone()).collect();
        cells.iter().any(|text| !text.is_empty()).then(|| std::iter::once((*name).to_owned()).chain(cells).collect())
    };
    first.iter().enumerate().filter_map(row).collect()
}

/// Everything about one hole, the same names in the same order for each; what has no text is asked about by nobody.
fn items(leg: &Leg<'_>, seat: Option<&Seat>, middle: LineAxes) -> Vec<(&'static str, String)> {
    vec![
        ("Hole", how_far(leg)),
        ("Floor", floor(leg)),
        ("Clean width", width(leg, middle)),
        ("Set the butt", seat.map_or_else(|| format!("not known; the hole's middle is {}", middle_text(leg)), |seat| butt(leg, seat))),
        ("Room there", seat.map_or_else(|| "not known".to_owned(), |seat| room(leg.units(), seat))),
        ("Water", water(leg)),
        ("Rock, casing", noted(leg)),
        ("Cover, fence", kept(leg)),
        ("Pole", pole(leg)),
        ("Rake, guy", raked(leg)),
        ("Decided", decided(leg)),
        ("Know too", known(leg)),
    ]
}

/// How far it has come where that is not the usual, and what was drilled beside it before.
fn how_far(leg: &Leg<'_>) -> String {
    let stage = (leg.stage != Stage::Drilled).then(|| stage(leg.stage).to_owned());
    let attempt = (leg.hole.attempt > 1).then(|| format!("attempt {}", leg.hole.attempt));
    let before = leg.earlier.iter().map(|(number, state)| {
        let left = state.map_or("left without a word on how it was made safe", HoleState::word);
        format!("attempt {number} before it, near here: {left}")
    });
    stage.into_iter().chain(attempt).chain(before).collect::<Vec<_>>().join("; ")
}

fn floor(leg: &Leg<'_>) -> String {
    let units = leg.units();
    let planned = leg.planned.map_or_else(String::new, |planned| format!("; planned {}", units.long(planned)));
    let by = if leg.attempt.is_sounded() { "by tape" } else { "by the cutting edge, not sounded" };
    let datum = leg.datum.map_or("a datum that nobody said", datum_text);
    match leg.depth {
        Some(depth) => format!("{} below {datum}; {by}{planned}", units.worth(Quantity::Depth, depth)),
        None => format!("not known{planned} below {datum}"),
    }
}

/// The narrowest of the bore, and where it steps in.
fn width(leg: &Leg<'_>, middle: LineAxes) -> String {
    let units = leg.units();
    let bore = stations(leg, middle);
    let Some(narrowest) = bore.iter().map(|station| 2.0 * station.radius).reduce(f64::min) else { return "not known".to_owned() };
    let measured: Vec<String> =
        leg.attempt.diameters().map(|(depth, across, _)| format!("{} at {}", units.short(across), units.long(depth))).collect();
    let how = if measured.is_empty() { "by the tool".to_owned() } else { format!("measured {}", measured.join(", ")) };
    let steps = match &leg.attempt.cuts[..] {
        [] | [_] => String::new(),
        cuts => {
            let steps = cuts.iter().map(|cut| format!("{} to {}", units.short(cut.diameter), units.long(cut.bottom)));
            format!("; tools cut {}", steps.collect::<Vec<_>>().join(", "))
        }
    };
    format!("{}, {how}{steps}", units.short(narrowest))
}

fn middle_text(leg: &Leg<'_>) -> String {
    match leg.attempt.middle() {
        Some((middle, _)) => off_stake(leg.units(), middle),
        None => "not measured".to_owned(),
    }
}

fn off_stake(units: Units, place: LineAxes) -> String {
    if place.magnitude() < 5e-4 { "on the stake".to_owned() } else { format!("{} of the stake", units.place(place)) }
}

/// Where the pole stands at the ground; a raked one's butt is elsewhere.
fn butt(leg: &Leg<'_>, seat: &Seat) -> String {
    let units = leg.units();
    let rake = rake(leg.plan);
    let at_ground = off_stake(units, seat.place);
    match leg.depth.filter(|_| rake.magnitude() > 1e-9) {
        Some(depth) => format!("{}; at the ground {at_ground}", off_stake(units, seat.place.plus(rake.times(depth.value)))),
        None => at_ground,
    }
}

fn room(units: Units, seat: &Seat) -> String {
    format!("{}, least at {}; {} at the stake", left(units, seat.room), units.long(seat.tightest), left(units, seat.at_stake))
}

fn water(leg: &Leg<'_>) -> String {
    let said = leg.attempt.said.iter().rev().find_map(|entry| match entry.said {
        Said::Water { depth_um } => Some((entry, depth_um)),
        _ => None,
    });
    let Some((entry, depth)) = said else { return "nobody said".to_owned() };
    let how = depth.map_or_else(|| "dry".to_owned(), |depth| format!("from {} on", leg.units().long(um(depth))));
    format!("{how}, {}", entry.at.rfc3339())
}

/// Rock, casing and fall-in as they were noted, with the remarks.
fn noted(leg: &Leg<'_>) -> String {
    let said = leg.attempt.said.iter().filter_map(|entry| match &entry.said {
        Said::Note { what } => {
            let word = match what {
                NoteKind::Rock { shot: false, .. } => "rock".to_owned(),
                NoteKind::Rock { shot: true, by } => format!("rock, shot by {by}"),
                NoteKind::Casing { left: true } => "casing left in".to_owned(),
                NoteKind::Casing { left: false } => "casing, drawn again".to_owned(),
                NoteKind::FallIn => "walls fell in".to_owned(),
                NoteKind::WaterAdded | NoteKind::Other => return None,
            };
            Some(if entry.remark.is_empty() { word } else { format!("{word}: {}", entry.remark) })
        }
        _ => None,
    });
    let said: Vec<String> = said.collect();
    if said.is_empty() { "nobody said".to_owned() } else { said.join("; ") }
}

/// How the hole is kept, by whom and since when; what it owes where nobody said.
fn kept(leg: &Leg<'_>) -> String {
    let said = leg.attempt.said.iter().filter(|entry| matches!(entry.said, Said::State { .. })).max_by_key(|entry| entry.at.unix_ms);
    let open = matches!(leg.stage, Stage::Drilled | Stage::UnderWay) && !leg.state.is_some_and(HoleState::is_kept);
    let owes = if open { OWES } else { "" };
    match (said, leg.state) {
        (Some(entry), Some(state)) => {
            let remark = if entry.remark.is_empty() { String::new() } else { format!(": {}", entry.remark) };
            let owes = if open { format!("; {owes}") } else { String::new() };
            format!("{}{remark}; {}, {}{owes}", state.word(), entry.by, entry.at.rfc3339())
        }
        _ if open => owes.to_owned(),
        _ => NONE.to_owned(),
    }
}

fn pole(leg: &Leg<'_>) -> String {
    let units = leg.units();
    let Some(plan) = leg.plan else { return "no sheet says".to_owned() };
    let length = plan.pole_length_m.map(|length| units.long(length));
    let class = plan.pole_class.as_ref().map(|class| format!("class {class}"));
    let tag = Some(plan.pole_tag.as_ref().map_or_else(|| "no tag on the sheet".to_owned(), |tag| format!("tag {tag}")));
    let butt = leg.pole.map(|pole| format!("butt {} across, {}", units.short(2.0 * pole.butt), pole.girth.text()));
    [length, class, plan.species.clone(), tag, butt].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn raked(leg: &Leg<'_>) -> String {
    let Some(plan) = leg.plan else { return "no sheet says".to_owned() };
    let guy = plan.guy_direction_deg.map(|direction| format!("guy leads {direction:.0}° clockwise from north"));
    let toe = rake(leg.plan);
    let rake = match plan.rake.filter(|rake| *rake > 0.0) {
        None => "plumb".to_owned(),
        Some(rate) if toe.magnitude() > 1e-9 => format!("top {} towards its guy", leg.units().lean(rate)),
        Some(rate) => format!("top {}; the sheet does not say which way, so the fit takes it as plumb", leg.units().lean(rate)),
    };
    std::iter::once(rake).chain(guy).collect::<Vec<_>>().join("; ")
}

fn decided(leg: &Leg<'_>) -> String {
    leg.accepted.as_ref().map_or_else(String::new, |accepted| {
        let overtaken = if accepted.overtaken { "; DRILLED OR MEASURED AGAIN SINCE, so ask again" } else { "" };
        let (word, by) = (accepted.disposition.word(), &accepted.by);
        format!("{word}, by {by}, {}: {}{overtaken}", accepted.at.rfc3339(), accepted.reason)
    })
}

/// What is to be known and has no row of its own.
fn known(leg: &Leg<'_>) -> String {
    let met = met_in(leg);
    let has_row = |what: &str| {
        met.iter().any(|line| line == what) || what.starts_with("open: it owes") || what.starts_with("nobody measured where its centre")
    };
    let rest: Vec<&str> = leg
        .findings
        .iter()
        .filter(|finding| finding.remedy.is_none())
        .map(|finding| finding.what.as_str())
        .filter(|what| !has_row(what))
        .collect();
    rest.join("; ")
}
