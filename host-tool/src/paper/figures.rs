//! The figures of a hole, table by table.

use super::hole::Hole;
use super::layout::flow::Flow;
use super::layout::letters::{Style, Weight};
use super::layout::table::{Column, figures, names, table, times, words};
use super::words::{NONE, Units, code, datum, duration, standing};
use super::worth::Quantity;
use super::{by_hand, going, limits, passes, pole, told, uncertainty};
use crate::facts::{Missing, Timed};
use crate::judge::limits::Measurand;
use crate::judge::{AxisPoint, Figure, LineAxes, Verdict, metres};
use shared_protocol::record::{Fault, Tool};
use shared_protocol::state::{GapCause, ResetCause, Sensor, SensorFault};

const HEADING: Style = Style::strong(10.0);
const REMARK: f64 = 8.5;
/// Room that a heading keeps for what it heads.
const KEEP: f64 = 40.0;

/// A heading over a table or a paragraph.
pub fn heading(flow: &mut Flow, text: &str) {
    flow.space(5.0);
    flow.heading(2, text, HEADING, KEEP);
    flow.space(1.0);
}

/// A heading and a table, unless there is nothing to list; says whether there was.
pub fn list(flow: &mut Flow, title: &str, columns: &[Column<'_>], rows: &[Vec<String>]) -> bool {
    if !rows.is_empty() {
        heading(flow, title);
        table(flow, columns, rows);
    }
    !rows.is_empty()
}

/// A remark under a table, smaller than what stands for itself.
pub fn remark(flow: &mut Flow, text: &str) {
    flow.space(3.0);
    flow.paragraph(&[(Weight::Regular, text)], REMARK);
}

/// Room that a field's name takes.
const FIELD: f64 = 78.0;
const BETWEEN_FIELDS: f64 = 0.5;

/// Fields, none ever empty: two to a line where that saves room, else over the whole width.
pub fn fields(flow: &mut Flow, all: &[(&'static str, String)]) {
    let filled = |text: &String| if text.trim().is_empty() { NONE.to_owned() } else { text.clone() };
    let all: Vec<(&str, String)> = all.iter().map(|(name, text)| (*name, filled(text))).collect();
    let mut rest = &all[..];
    while let [(name, text), after @ ..] = rest {
        let pair = after.first().filter(|(beside, other)| {
            let alone = flow.measure_labelled(name, &[(Weight::Regular, text)], REMARK, FIELD)
                + flow.measure_labelled(beside, &[(Weight::Regular, other)], REMARK, FIELD);
            let half = flow.measure_half(name, text, REMARK, FIELD).max(flow.measure_half(beside, other, REMARK, FIELD));
            half < alone - 0.5
        });
        match pair {
            Some((beside, other)) => flow.labelled_pair([(name, text), (beside, other)], REMARK, FIELD),
            None => flow.labelled(name, &[(Weight::Regular, text)], REMARK, FIELD),
        }
        rest = after.get(usize::from(pair.is_some())..).unwrap_or_default();
        flow.space(BETWEEN_FIELDS);
    }
}

/// Plan against as drilled: what has a limit first.
pub fn against_plan(flow: &mut Flow, hole: &Hole<'_>) {
    let (units, judged) = (hole.units(), hole.judged);
    let verdicts: Vec<&Verdict> = judged.verdicts.iter().chain(pole::verdicts(hole)).collect();
    let mut sources: Vec<&str> = Vec::new();
    for source in verdicts.iter().map(|verdict| verdict.limit.source.as_str()) {
        if !sources.contains(&source) {
            sources.push(source);
        }
    }
    let limited = |v: &&Verdict| {
        let of = v.limit.measurand;
        vec![
            item(units, of),
            limits::planned(hole, of),
            measured(hole, v),
            limits::variation(hole, v),
            format!("{} [{}]", limits::limit_words(units, &v.limit), 1 + sources.iter().position(|s| *s == v.limit.source).unwrap_or(0)),
            format!("{}; {}", standing(v.plain), limits::guarded_briefly(&v.guarded)),
        ]
    };
    let mut rows: Vec<Vec<String>> = verdicts.iter().map(limited).collect();
    rows.extend(unlimited(hole));
    heading(flow, &format!("Plan and as drilled; depths below {}", datum(hole.plan())));
    let columns = [
        names("Item", 1.6),
        words("Planned", 1.0),
        words("As drilled, ± 95 %", 2.6),
        words("Variation", 1.2),
        words("Limit", 2.05),
        words("Measured; shown", 1.85),
    ];
    table(flow, &columns, &rows);
    let numbered: Vec<String> = sources.iter().enumerate().map(|(n, source)| format!("[{}] {source}", n + 1)).collect();
    if !numbered.is_empty() {
        remark(flow, &format!("Limits set by: {}.", numbered.join("; ")));
    }
}

fn item(units: Units, measurand: Measurand) -> String {
    match measurand {
        Measurand::Depth => "Depth of the hole".to_owned(),
        Measurand::OverallLean => "Plumb, toe/depth".to_owned(),
        Measurand::LeanAnywhere => format!("Lean over any {}, at most", units.short(limits::MEAN_LENGTH)),
        Measurand::Toe => "Toe off the vertical".to_owned(),
        Measurand::Centre => "Centre off stake".to_owned(),
        Measurand::Room => "Room round pole".to_owned(),
        Measurand::Embedment => "Embedment".to_owned(),
        Measurand::ArmTilt => "Tilt of the arm".to_owned(),
    }
}

/// A figure with what it is worth; of a centre also where it lies.
fn measured(hole: &Hole<'_>, verdict: &Verdict) -> String {
    let of = verdict.limit.measurand;
    let place = pole::centre(hole).filter(|_| of == Measurand::Centre && verdict.measured.is_some());
    let figure = verdict.measured.map_or("not known".to_owned(), |f| hole.units().worth(limits::quantity(of), f));
    place.map_or(figure, |(text, _)| text)
}

/// What has no limit of its own and was planned all the same.
fn unlimited(hole: &Hole<'_>) -> Vec<Vec<String>> {
    let (units, judged) = (hole.units(), hole.judged);
    let row = |name: &str, planned: String, drilled: Option<String>, variation: Option<String>| {
        let drilled = drilled.unwrap_or_else(|| "not known".to_owned());
        vec![name.to_owned(), planned, drilled, variation.unwrap_or_else(|| NONE.to_owned()), "none".to_owned(), NONE.to_owned()]
    };
    let place = judged.budgets.as_ref().map(|b| b.place.expanded);
    let toe = |t: LineAxes| match place {
        Some(place) => format!("{}; ± {}", units.place(t), units.amount(Quantity::Offset, place)),
        None => units.place(t),
    };
    let (planned, cut) = (metres(hole.plan().diameter), hole.cut_diameter());
    let diameters = pole::diameters(hole);
    let measured = if diameters.is_empty() { "none measured".to_owned() } else { diameters.join(", ") };
    let tool = cut.map_or("tool's not known".to_owned(), |cut| format!("tool's {}", units.long(cut)));
    let centre = pole::centre(hole);
    let off = centre.as_ref().map(|(_, figure)| units.difference(figure.value));
    let limited = pole::verdicts(hole).any(|verdict| verdict.limit.measurand == Measurand::Centre);
    let centre = centre.map_or("not measured".to_owned(), |(text, _)| text);
    let centre = (!limited).then(|| row("Centre off stake", units.short(0.0), Some(centre), off));
    let all = vec![
        row("Toe, as a place", units.short(0.0), judged.toe.map(toe), judged.toe.map(|_| "as drilled".to_owned())),
        row("Diameter", units.long(planned), Some(format!("{tool}, {measured}")), cut.map(|d| units.difference(d - planned))),
    ];
    all.into_iter().chain(centre).collect()
}

/// What the rig measured beside that and nothing is planned of.
pub fn beside(flow: &mut Flow, hole: &Hole<'_>) {
    let (units, judged) = (hole.units(), hole.judged);
    let edge = judged.depth.zip(judged.budgets.as_ref()).map(|(value, b)| Figure::of(value, b.edge.expanded));
    let as_read = hole.corrected().map_or_else(String::new, |(_, read)| format!("; read {}", units.long(read)));
    let edge = edge.map_or("not known".to_owned(), |edge| units.worth(Quantity::Depth, edge) + &as_read);
    let lean = |l: LineAxes| format!("{}, {}", units.leaning(l.ahead, "ahead", "back"), units.leaning(l.right, "right", "left"));
    let mean = judged.mean_lean.map_or("not known".to_owned(), lean);
    fields(flow, &[("Cutting edge", edge), ("Mean lean", mean)]);
}

/// The axis at some depths: recorded points, none made up between them.
pub fn axis(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let units = hole.units();
    let rows: Vec<Vec<String>> = axis_points(hole, units)
        .map(|p| {
            vec![
                units.long(p.depth - hole.hub_above_datum()),
                units.towards(p.offset.ahead, "ahead", "back"),
                units.towards(p.offset.right, "right", "left"),
                units.leaning(p.lean.ahead, "ahead", "back"),
                units.leaning(p.lean.right, "right", "left"),
            ]
        })
        .collect();
    let title = format!("Axis, off the vertical through the hole's start; depths below {}", datum(hole.plan()));
    let columns = [
        names("Depth", 1.3),
        words("Along line", 1.5),
        words("Across line", 1.5),
        words("Lean of the tool, along", 1.6),
        words("Lean of the tool, across", 1.6),
    ];
    list(flow, &title, &columns, &rows)
}

/// The recorded points next below each of some even depths, and the last.
fn axis_points<'a>(hole: &Hole<'a>, units: Units) -> impl Iterator<Item = &'a AxisPoint> {
    let axis = &hole.judged.axis;
    let length = axis.last().map_or(0.0, |p| p.depth);
    let step = units.steps().filter(|s| *s > 0.19).find(|s| length / s <= 8.0).unwrap_or(length.max(1.0));
    let last = axis.len().saturating_sub(1);
    let mut next = step;
    axis.iter().enumerate().filter_map(move |(i, point)| {
        let due = point.depth >= next - 1e-9;
        while point.depth >= next - 1e-9 && next <= length {
            next += step;
        }
        (due || i == last).then_some(point)
    })
}

/// Every list of things that happened; what there was none of is said in one sentence.
pub fn lists(flow: &mut Flow, hole: &Hole<'_>) {
    let listed = [
        ("soundings", by_hand::soundings(flow, hole)),
        ("hand plumbs", by_hand::plumbs(flow, hole)),
        ("slow going and refusal", going::list_of(flow, hole)),
        ("hub touches", hubs(flow, hole)),
        ("tools", tools(flow, hole)),
        ("calibrations meanwhile", uncertainty::calibrated_meanwhile(flow, hole)),
        ("passes", passes::list_of(flow, hole)),
        ("sensor faults", faults(flow, hole)),
        ("restarts", restarts(flow, hole)),
        ("stretches without a tie to the hub", unreferenced(flow, hole)),
        ("gaps", gaps(flow, hole)),
        ("notes", notes(flow, hole)),
        ("entries by people", told::list_of(flow, hole)),
    ];
    let none: Vec<&str> = listed.iter().filter(|(_, some)| !some).map(|(name, _)| *name).collect();
    if !none.is_empty() {
        flow.space(6.0);
        let text = format!("{}.", none.join(", "));
        flow.paragraph(&[(Weight::Strong, "None recorded  "), (Weight::Regular, &text)], REMARK);
    }
}

fn hubs(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let rows: Vec<Vec<String>> = (hole.setup.hubs.iter())
        .map(|h| {
            let closed =
                if h.body.first == 1 { "depth was not tied before".to_owned() } else { hole.units().short(metres(h.body.misclosure)) };
            vec![h.moment.text(), h.body.count.to_string(), closed]
        })
        .collect();
    list(flow, "Hub touches", &[times("When", 2.0), figures("Encoder's count", 1.0), words("Misclosure", 2.0)], &rows)
}

/// Changes of tool; a single tool stands with the instrument.
fn tools(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let units = hole.units();
    let row = |t: &Timed<Tool>| {
        vec![t.body.tool.to_string(), t.moment.text(), units.long(metres(t.body.length)), units.long(metres(t.body.diameter))]
    };
    let rows: Vec<Vec<String>> = hole.setup.tools.iter().map(row).collect();
    let columns = [names("Tool", 0.5), words("Put on", 2.0), words("Pin to cutting edge", 1.2), words("Cuts", 1.2)];
    rows.len() == 1 || list(flow, "Tools", &columns, &rows)
}

/// A row to each fault, from its beginning; the record of an end stands alone only where the beginning is missing.
fn faults(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let all = &hole.setup.faults;
    let same = |a: &Fault, b: &Fault| (a.sensor, a.fault) == (b.sensor, b.fault);
    let row = |(i, f): (usize, &Timed<Fault>)| {
        let lasted = if f.body.began == 1 {
            let after = all.iter().skip(i + 1).find(|g| same(&g.body, &f.body));
            let end = after.filter(|g| g.body.began != 1);
            end.map_or("end not recorded".to_owned(), |g| duration(g.body.lasted))
        } else {
            let before = all.iter().take(i).rev().find(|g| same(&g.body, &f.body));
            if before.is_some_and(|g| g.body.began == 1) {
                return None;
            }
            format!("{}, until then", duration(f.body.lasted))
        };
        Some(vec![f.moment.text(), code(Sensor::TABLE, f.body.sensor), code(SensorFault::TABLE, f.body.fault), lasted])
    };
    let rows: Vec<Vec<String>> = all.iter().enumerate().filter_map(row).collect();
    let columns = [times("Began", 1.8), words("Sensor", 1.2), words("What", 2.2), words("Lasted", 1.4)];
    list(flow, "Sensor faults", &columns, &rows)
}

fn restarts(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let rows: Vec<Vec<String>> = (hole.setup.restarts.iter())
        .map(|r| vec![r.moment.text(), code(ResetCause::TABLE, r.body.cause), r.moment.boot.to_string(), r.sequence.to_string()])
        .collect();
    let columns = [times("When", 2.0), words("Why", 2.0), figures("Start number", 1.0), figures("Slot", 1.0)];
    list(flow, "Restarts of the rig", &columns, &rows)
}

/// A sentence to each stretch of time; every set-up begins with one.
fn unreferenced(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let stretches = hole.unreferenced();
    for stretch in &stretches {
        let until = stretch.until.map_or_else(|| "on: not tied again".to_owned(), |c| format!("until {}", c.moment.text()));
        let bottom = hole.units().long(hole.below_datum(stretch.from.body.depth));
        let text = format!("from {} {until}; bottom then at {bottom}.", stretch.from.moment.text());
        flow.space(6.0);
        flow.paragraph(&[(Weight::Strong, "Depth not tied to the hub  "), (Weight::Regular, &text)], REMARK);
    }
    !stretches.is_empty()
}

fn gaps(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let row = |m: &Missing| {
        let cause = m.cause.map_or_else(|| "not received".to_owned(), |c| code(GapCause::TABLE, c.raw()));
        let slots = if m.first == m.last { m.first.to_string() } else { format!("{}–{}", m.first, m.last) };
        vec![slots, m.count().to_string(), cause]
    };
    let rows: Vec<Vec<String>> = hole.setup.missing.iter().map(row).collect();
    list(flow, "Gaps in the record", &[names("Slots", 1.0), figures("How many", 0.6), words("Why", 3.0)], &rows)
}

fn notes(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let rows: Vec<Vec<String>> =
        hole.setup.notes.iter().map(|n| vec![n.moment.text(), n.body.author.to_string(), n.body.text.to_string()]).collect();
    list(flow, "Notes, as heard by the rig", &[times("When", 1.55), words("Who", 1.1), words("What was said", 3.2)], &rows)
}
