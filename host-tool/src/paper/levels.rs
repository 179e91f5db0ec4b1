//! The column beside the elevations: what each level is, and the plan view between them.

use super::drawing::{self, Picture, SMALL, circle, trace};
use super::hole::Hole;
use super::layout::letters::{Letters, Lines, Style, Weight};
use super::layout::marks::{Align, Frame, Mark, Pen, Tone, text_marks};
use super::words::datum;
use super::worth::Quantity;
use crate::judge::{AxisPoint, LineAxes};

const LEADER: f64 = 12.0;
const BETWEEN: f64 = 2.0;
const PLAN_LETTERS: f64 = 12.0;
const PLAN_TITLE: f64 = 16.0;
const UNDER_PLAN: f64 = 4.0;
/// How far the column may reach beyond the elevations: beside their titles, and beside the sideways scale.
const ABOVE: f64 = 38.0;
const BELOW: f64 = 14.0;

/// A named depth.
struct Level {
    depth: f64,
    text: Lines,
}

/// Draws the levels' names with leaders from `edge`, and the plan where the levels leave most room.
pub fn column(letters: &mut Letters, picture: &Picture<'_>, edge: f64, frame: Frame) -> Vec<Mark> {
    let mut named = names(letters, picture.hole, frame.width - LEADER);
    named.sort_by(|a, b| a.depth.total_cmp(&b.depth));
    let mut wanted: Vec<(f64, f64)> =
        named.iter().map(|l| (picture.depth.y(l.depth) - l.text.line_height / 2.0, l.text.height() + BETWEEN)).collect();
    let (at, middle) = most_room(&wanted, frame);
    let under = under_plan(letters, picture, frame.width - LEADER);
    let height = PLAN_TITLE + 2.0 * (reach(picture) + PLAN_LETTERS) + 2.0 * UNDER_PLAN + under.iter().map(Lines::height).sum::<f64>();
    wanted.insert(at, (middle - height / 2.0, height));
    let mut tops = spread(&wanted, frame.y - ABOVE, frame.bottom() + BELOW);
    let plan_top = tops.remove(at);
    let mut marks = Vec::new();
    for (level, top) in named.iter().zip(tops) {
        let (y, first) = (picture.depth.y(level.depth), top + level.text.line_height / 2.0);
        marks.push(Mark::Line(vec![(edge, y), (edge + LEADER - 3.0, first)], Pen::Fine, Tone::Grey));
        marks.extend(text_marks(&level.text, 0, level.text.lines.len(), (edge + LEADER, top), Align::Left));
    }
    marks.extend(plan(letters, picture, Frame { x: frame.x + LEADER, y: plan_top, width: frame.width - LEADER, height }, &under));
    marks
}

/// Before which of the items, each by top and height, the largest gap lies, and its middle.
fn most_room(items: &[(f64, f64)], frame: Frame) -> (usize, f64) {
    let mut best = (0, frame.y, 0.0);
    let mut free = frame.y;
    for (index, (top, height)) in items.iter().copied().chain([(frame.bottom(), 0.0)]).enumerate() {
        if top - free > best.2 {
            best = (index, (top + free) / 2.0, top - free);
        }
        free = free.max(top + height);
    }
    (best.0, best.1)
}

/// Tops for items in this order that overlap nowhere, each as near to where it is wanted as the others allow.
fn spread(items: &[(f64, f64)], top: f64, bottom: f64) -> Vec<f64> {
    let mut free = top;
    let mut tops: Vec<f64> = Vec::new();
    for (wanted, height) in items {
        tops.push(wanted.max(free));
        free = wanted.max(free) + height;
    }
    let mut limit = bottom;
    for (top, (_, height)) in tops.iter_mut().zip(items).rev() {
        *top = top.min(limit - height);
        limit = *top;
    }
    tops
}

fn names(letters: &mut Letters, hole: &Hole<'_>, width: f64) -> Vec<Level> {
    let (units, judged, hub) = (hole.units(), hole.judged, hole.hub_above_datum());
    let hub_words = match hub {
        h if h > 0.0 => format!("hub, {} above datum", units.long(h)),
        h if h < 0.0 => format!("hub, {} below datum", units.long(-h)),
        _ => "hub, at the datum".to_owned(),
    };
    let planned = format!("planned {}, accepted {}", units.long(judged.planned), units.range(judged.accepted));
    let datum = format!("datum: {}", datum(hole.plan()));
    let mut all = vec![(0.0, Weight::Regular, datum), (-hub, Weight::Regular, hub_words), (judged.planned, Weight::Regular, planned)];
    all.extend(hole.floor().map(|b| (b, Weight::Strong, bottom_words(hole))));
    let edge = hole.edge().filter(|_| judged.sounded.is_some());
    all.extend(edge.map(|edge| (edge, Weight::Regular, format!("cutting edge {}", edge_words(hole, edge)))));
    let set = |(depth, weight, text): (f64, Weight, String)| Level {
        depth,
        text: letters.set(&[(weight, &text)], SMALL.size + 0.5, Some(width)),
    };
    all.into_iter().map(set).collect()
}

fn edge_words(hole: &Hole<'_>, edge: f64) -> String {
    let tied = if hole.judged.depth.is_some() { "" } else { ", not tied to the hub" };
    format!("{}{tied}", hole.units().long(edge))
}

/// What stands at the bottom, and which depth that is: "as drilled 3.187 m, by the cutting edge", "3.150 m, by
/// soundings", "so far 3.187 m" in a hole not closed, or that it is not known.
#[must_use]
pub fn bottom_words(hole: &Hole<'_>) -> String {
    if let Some(sounded) = hole.judged.sounded {
        return format!("as drilled {}, by soundings", hole.units().long(sounded.value));
    }
    match (hole.judged.depth, hole.recorded_bottom()) {
        (Some(depth), _) if hole.setup.closed.is_none() => format!("so far {}, by the cutting edge", hole.units().long(depth)),
        (Some(depth), _) => format!("as drilled {}, by the cutting edge", hole.units().long(depth)),
        (None, Some(bottom)) => format!("recorded {}, not tied to the hub", hole.units().long(bottom)),
        (None, None) => "no bottom recorded".to_owned(),
    }
}

/// The plumb limit at the axis's end, metres off the vertical.
fn limit(picture: &Picture<'_>) -> f64 {
    let judged = picture.hole.judged;
    let length = judged.axis.last().map_or_else(|| judged.planned + picture.hole.hub_above_datum(), |p| p.depth);
    judged.lean_limit * length.max(0.0)
}

/// What the plan reaches to any side of its centre, points.
fn reach(picture: &Picture<'_>) -> f64 {
    (drawing::reach(picture.hole, limit(picture)) * picture.plan).max(12.0)
}

/// What is said under the plan; broken where it is too long for the column.
fn under_plan(letters: &mut Letters, picture: &Picture<'_>, width: f64) -> Vec<Lines> {
    let units = picture.hole.units();
    let toe = picture.hole.judged.toe.map(|toe| (Weight::Strong, format!("toe {}", units.place(toe))));
    let key = (Weight::Regular, format!("dashed: limit, {} at the bottom", units.short(limit(picture))));
    let around = circle(picture.hole);
    let around = around.map(|r| (Weight::Regular, format!("circle: 95 %, {} about the toe", units.amount(Quantity::Offset, r))));
    toe.into_iter().chain(around).chain([key]).map(|(weight, text)| letters.set(&[(weight, &text)], SMALL.size, Some(width))).collect()
}

/// The plan: the plumb limit at the bottom as a circle, the axis seen from above.
fn plan(letters: &mut Letters, picture: &Picture<'_>, frame: Frame, under: &[Lines]) -> Vec<Mark> {
    let (limit, reach) = (limit(picture), reach(picture));
    let (x, y) = (frame.x + frame.width / 2.0, frame.y + PLAN_TITLE + PLAN_LETTERS + reach);
    let mut marks = Vec::new();
    let mut text = |text: &str, style: Style, x: f64, y: f64, align: Align| {
        let line = letters.line(text, style);
        marks.push(Mark::Text((align.start(x, line.width), y), line));
    };
    text("Plan", Style::strong(9.5), x, frame.y + 11.0, Align::Centre);
    text("ahead", SMALL, x, y - reach - 6.0, Align::Centre);
    text("back", SMALL, x, y + reach + 12.0, Align::Centre);
    text("left", SMALL, x - reach - 6.0, y + 3.0, Align::Right);
    text("right", SMALL, x + reach + 6.0, y + 3.0, Align::Left);
    let mut below = y + reach + PLAN_LETTERS + UNDER_PLAN;
    for set in under {
        marks.extend(text_marks(set, 0, set.lines.len(), (x, below), Align::Centre));
        below += set.height();
    }
    let cross = reach + 4.0;
    marks.push(Mark::Line(vec![(x - cross, y), (x + cross, y)], Pen::Fine, Tone::Grey));
    marks.push(Mark::Line(vec![(x, y - cross), (x, y + cross)], Pen::Fine, Tone::Grey));
    if limit > 0.0 {
        marks.push(Mark::Circle((x, y), limit * picture.plan, Some(Pen::Dashed), None));
    }
    let place = |offset: LineAxes| (x + offset.right * picture.plan, y - offset.ahead * picture.plan);
    marks.extend(trace(picture, &|offset, _: &AxisPoint| place(offset)));
    let edge = Frame { x: x - cross, y: y - cross, width: 2.0 * cross, height: 2.0 * cross };
    let bobs = picture.hole.judged.plumbed.iter().flat_map(|p| drawing::cross(place(p.offset)));
    marks.push(Mark::Within(edge, bobs.collect()));
    if let Some((toe, radius)) = picture.hole.judged.toe.zip(circle(picture.hole)) {
        marks.push(Mark::Within(edge, vec![Mark::Circle(place(toe), radius * picture.plan, Some(Pen::Fine), None)]));
    }
    marks.push(Mark::Circle((x, y), 2.0, Some(Pen::Fine), Some(Tone::White)));
    marks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_never_overlap_and_stay_within_the_column() {
        let items = [(10.0, 12.0), (11.0, 24.0), (12.0, 100.0), (90.0, 12.0), (195.0, 24.0)];
        let tops = spread(&items, 0.0, 200.0);
        assert!(tops[0] >= 0.0 && tops[4] + 24.0 <= 200.0, "{tops:?}");
        for (i, pair) in tops.windows(2).enumerate() {
            assert!(pair[0] + items[i].1 <= pair[1], "{tops:?}");
        }
        assert_eq!(spread(&[(50.0, 10.0), (100.0, 10.0)], 0.0, 200.0), [50.0, 100.0]);
    }

    #[test]
    fn the_largest_gap_is_found() {
        let frame = Frame { x: 0.0, y: 0.0, width: 10.0, height: 200.0 };
        assert_eq!(most_room(&[(10.0, 10.0), (150.0, 10.0)], frame), (1, 85.0));
        assert_eq!(most_room(&[(110.0, 10.0), (150.0, 10.0)], frame), (0, 55.0));
        assert_eq!(most_room(&[(10.0, 10.0), (50.0, 10.0)], frame), (2, 130.0));
    }
}
