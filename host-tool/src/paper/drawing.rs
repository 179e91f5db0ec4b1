//! The scale drawing that leads a hole's certificate: two elevations and a plan, with the depth scale, the levels
//! that matter and what the record holds.
//!
//! Sideways everything is exaggerated alike, in the elevations and in the plan, and the drawing says how much.

use super::hole::{Hole, Reality};
use super::layout::letters::{Letters, Style, Weight};
use super::layout::marks::{Align, Frame, Mark, Pen, Point, Tone, text_marks};
use super::levels;
use super::scales::{DepthScale, depths, exaggeration};
use super::words::{Units, count};
use crate::judge::{AxisPoint, LineAxes, Plumbed};

/// Letters of the drawing.
pub const SMALL: Style = Style::regular(8.5);
const TITLE: Style = Style::strong(9.5);
const RULER: f64 = 41.0;
const LANE: f64 = 25.0;
const BETWEEN: f64 = 10.0;
const AFTER_LANES: f64 = 7.0;
const RIGHT: f64 = 172.0;
const HEADER: f64 = 40.0;
const FOOTER: f64 = 53.0;
/// Most that the plan and either side of an elevation may take.
const HALF: f64 = 51.0;
/// A drawing from this height on has room for a plan at the elevations' own scale.
const PLAN_WHOLE: f64 = 330.0;
/// A circle or a hand plumb that reaches farther than so many times the lines is cut off at the plan's edge.
const CIRCLE_MOST: f64 = 4.0;
const TICK_LEAST: f64 = 22.0;
/// Half of a cross.
const CROSS: f64 = 3.0;
/// What the marks mean.
const KEY: &str = " Grey: accepted depth; dashed: plumb limit; heavy: axis as drilled, midway between two models (fine lines). Passes: \
                   ticks where each left the bottom, bars for fall-in. Record: a line where lean was recorded, ticks for remarks.";

/// A hole with its scales.
#[derive(Debug)]
pub struct Picture<'a> {
    /// The hole.
    pub hole: &'a Hole<'a>,
    /// Depth.
    pub depth: DepthScale,
    /// Points to a metre sideways.
    pub sideways: f64,
    /// How many times larger than depth that is.
    pub exaggeration: f64,
    /// Points to a metre in the plan: as sideways, or half of that where the drawing is low.
    pub plan: f64,
    /// The axis, in stretches.
    pub stretches: Vec<Vec<AxisPoint>>,
}

/// One of the two elevations.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Look {
    /// Along line, ahead: right is to the right.
    Along,
    /// Across line, to the left: ahead is to the right.
    Across,
}

impl Look {
    fn title(self) -> &'static str {
        if self == Self::Along { "Along line" } else { "Across line" }
    }

    fn from(self) -> &'static str {
        if self == Self::Along { "looking ahead" } else { "looking left" }
    }

    /// What lies at the left and right edges.
    fn ends(self) -> (&'static str, &'static str) {
        if self == Self::Along { ("left", "right") } else { ("back", "ahead") }
    }

    fn side(self, offset: LineAxes) -> f64 {
        if self == Self::Along { offset.right } else { offset.ahead }
    }
}

impl<'a> Picture<'a> {
    /// Chooses the scales for a frame.
    #[must_use]
    pub fn new(hole: &'a Hole<'a>, frame: Frame) -> Self {
        let depth = DepthScale::fit(depths(hole).into_iter(), frame.y + HEADER, frame.bottom() - FOOTER);
        let reach = reach(hole, hole.judged.lean_limit * longest(hole));
        let exaggeration = exaggeration(reach, HALF, depth.per_metre);
        let sideways = depth.per_metre * exaggeration;
        let plan = if frame.height < PLAN_WHOLE { sideways / 2.0 } else { sideways };
        Self { hole, depth, sideways, exaggeration, plan, stretches: hole.axis_stretches() }
    }

    fn hub(&self) -> f64 {
        -self.hole.hub_above_datum()
    }

    /// The page's y of a point of the axis.
    fn y(&self, point: &AxisPoint) -> f64 {
        self.depth.y(point.depth + self.hub())
    }
}

/// How far from the vertical there is something to see, metres: either model, the plumb limit, and the circle about the
/// toe and hand plumbs unless they would make all else too small.
#[must_use]
pub fn reach(hole: &Hole<'_>, limit: f64) -> f64 {
    let models = hole.judged.axis.iter().flat_map(|p| [p.offset, p.stick, p.wall]).map(LineAxes::magnitude);
    let lines = models.fold(limit, f64::max);
    let circle = hole.judged.toe.map_or(0.0, |toe| toe.magnitude() + circle(hole).unwrap_or(0.0));
    let bobs = hole.judged.plumbed.iter().map(|p| p.offset.magnitude()).fold(circle, f64::max);
    lines.max(bobs.min(CIRCLE_MOST * lines))
}

/// Radius of the circle that holds the toe in 95 % of cases, metres.
#[must_use]
pub fn circle(hole: &Hole<'_>) -> Option<f64> {
    hole.judged.toe.and(hole.judged.budgets.as_ref()).map(|b| b.place.expanded)
}

/// The greatest length below the hub that the plumb limit applies to, metres.
fn longest(hole: &Hole<'_>) -> f64 {
    let planned = hole.judged.planned.max(hole.judged.accepted.1);
    let below_hub = hole.recorded_bottom().map_or(planned, |b| b.max(planned)) + hole.hub_above_datum();
    below_hub.max(0.0)
}

/// The height that a hole's drawing fills when it may take this much: as large as a plain ratio allows.
#[must_use]
pub fn height(hole: &Hole<'_>, most: f64) -> f64 {
    let depth = DepthScale::fit(depths(hole).into_iter(), HEADER, most - FOOTER);
    HEADER + (depth.greatest - depth.least) * depth.per_metre + FOOTER
}

/// Draws into the frame.
pub fn draw(letters: &mut Letters, frame: Frame, hole: &Hole<'_>) -> Vec<Mark> {
    let picture = Picture::new(hole, frame);
    let panel = (frame.width - RULER - 2.0 * LANE - AFTER_LANES - 2.0 * BETWEEN - RIGHT) / 2.0;
    let (top, height) = (frame.y + HEADER, frame.height - HEADER - FOOTER);
    let at = |x: f64, width: f64| Frame { x, y: top, width, height };
    let lanes = frame.x + RULER;
    let along = at(lanes + 2.0 * LANE + AFTER_LANES, panel);
    let across = at(along.right() + BETWEEN, panel);
    let column = at(across.right() + BETWEEN, RIGHT);
    let mut marks = ruler(letters, &picture, at(frame.x, RULER));
    marks.extend(pass_lane(letters, &picture, at(lanes, LANE)));
    marks.extend(record_lane(letters, &picture, at(lanes + LANE, LANE)));
    marks.extend(elevation(letters, &picture, along, Look::Along));
    marks.extend(elevation(letters, &picture, across, Look::Across));
    marks.extend(levels::column(letters, &picture, across.right(), column));
    marks.extend(foot(letters, &picture, frame));
    marks
}

/// The depth scale: a line with ticks and figures.
fn ruler(letters: &mut Letters, picture: &Picture<'_>, frame: Frame) -> Vec<Mark> {
    let (units, depth) = (picture.hole.units(), &picture.depth);
    let x = frame.right() - 4.0;
    let mut marks = vec![Mark::Line(vec![(x, depth.y(depth.least)), (x, depth.y(depth.greatest))], Pen::Fine, Tone::Black)];
    let head = letters.set(&[(Weight::Regular, "depth below datum")], SMALL.size, Some(frame.width - 6.0));
    marks.extend(text_marks(&head, 0, 3, (x - 4.0, frame.y - HEADER), Align::Right));
    for (tick, text) in ticks(depth, units) {
        let y = depth.y(tick);
        marks.push(Mark::Line(vec![(x - 4.0, y), (x, y)], Pen::Fine, Tone::Black));
        let line = letters.line(&text, SMALL);
        marks.push(Mark::Text((x - 7.0 - line.width, y + 3.0), line));
    }
    marks
}

/// The ticks of a depth scale with their figures, not closer than their letters.
#[must_use]
pub fn ticks(depth: &DepthScale, units: Units) -> Vec<(f64, String)> {
    let Some(step) = units.steps().find(|s| s * depth.per_metre >= TICK_LEAST) else { return Vec::new() };
    let first = (depth.least / step).ceil();
    let nth = |n: i32| (first + f64::from(n)) * step;
    (0..64).map(nth).take_while(|d| *d <= depth.greatest).map(|d| (d, units.tick(d, step))).collect()
}

fn lane_head(letters: &mut Letters, frame: Frame, text: &str, above: f64) -> Mark {
    let line = letters.line(text, SMALL);
    Mark::Text((frame.x + (frame.width - line.width) / 2.0, frame.y - above), line)
}

/// Where each pass left the bottom, and fall-in as bars.
fn pass_lane(letters: &mut Letters, picture: &Picture<'_>, frame: Frame) -> Vec<Mark> {
    let middle = frame.x + frame.width / 2.0;
    let mut inner = Vec::new();
    for pass in &picture.hole.setup.passes {
        let y = picture.depth.y(picture.hole.below_datum(pass.body.bottom));
        inner.push(Mark::Line(vec![(middle - 5.0, y), (middle + 5.0, y)], Pen::Fine, Tone::Black));
    }
    for fall in picture.hole.fall_ins() {
        let (from, to) = (picture.depth.y(fall.from), picture.depth.y(fall.to));
        inner.push(Mark::Line(vec![(middle, from), (middle, to)], Pen::Strong, Tone::Black));
    }
    vec![lane_head(letters, frame, "passes", 19.0), Mark::Within(frame, inner)]
}

/// A line where the axis was recorded, ticks where a remark on quality stands.
fn record_lane(letters: &mut Letters, picture: &Picture<'_>, frame: Frame) -> Vec<Mark> {
    let middle = frame.x + frame.width / 2.0;
    let mut inner = Vec::new();
    for stretch in &picture.stretches {
        let (Some(first), Some(last)) = (stretch.first(), stretch.last()) else { continue };
        let (from, to) = (picture.y(first) - 1.0, picture.y(last));
        inner.push(Mark::Line(vec![(middle, from), (middle, to)], Pen::Fine, Tone::Black));
    }
    for increment in picture.hole.setup.increments.iter().filter(|i| i.body.quality != 0) {
        let y = picture.depth.y(picture.hole.below_datum(increment.body.depth));
        inner.push(Mark::Line(vec![(middle, y), (middle + 5.0, y)], Pen::Fine, Tone::Black));
    }
    vec![lane_head(letters, frame, "record", 6.0), Mark::Within(frame, inner)]
}

fn elevation(letters: &mut Letters, picture: &Picture<'_>, frame: Frame, look: Look) -> Vec<Mark> {
    let mut marks = titles(letters, frame, look);
    let mut inner = background(picture, frame);
    inner.extend(axis(picture, frame, look));
    marks.push(Mark::Within(frame, inner));
    if picture.hole.judged.axis.is_empty() {
        let text = letters.set(&[(Weight::Regular, "No axis: no increment was recorded.")], SMALL.size, Some(frame.width - 30.0));
        let middle = frame.y + frame.height / 2.0;
        let (x, half) = (frame.x + frame.width / 2.0, text.width() / 2.0 + 3.0);
        let box_ = rectangle((x - half, middle - 2.0), (x + half, middle + text.height() + 2.0));
        marks.push(Mark::Area(box_, Tone::White));
        marks.extend(text_marks(&text, 0, 4, (x, middle), Align::Centre));
    }
    marks
}

fn titles(letters: &mut Letters, frame: Frame, look: Look) -> Vec<Mark> {
    let (left, right) = look.ends();
    let middle = frame.x + frame.width / 2.0;
    let mut marks = Vec::new();
    let mut text = |text: &str, style: Style, x: f64, y: f64, align: Align| {
        let line = letters.line(text, style);
        marks.push(Mark::Text((align.start(x, line.width), y), line));
    };
    text(look.title(), TITLE, middle, frame.y - HEADER + 10.0, Align::Centre);
    text(look.from(), SMALL, middle, frame.y - HEADER + 21.0, Align::Centre);
    text(left, SMALL, frame.x, frame.y - 6.0, Align::Left);
    text(right, SMALL, frame.right(), frame.y - 6.0, Align::Right);
    marks
}

/// What was planned, and the levels.
fn background(picture: &Picture<'_>, frame: Frame) -> Vec<Mark> {
    let judged = picture.hole.judged;
    let depth = &picture.depth;
    let middle = frame.x + frame.width / 2.0;
    let level = |d: f64, pen: Pen, tone: Tone| Mark::Line(vec![(frame.x, depth.y(d)), (frame.right(), depth.y(d))], pen, tone);
    let accepted = rectangle((frame.x, depth.y(judged.accepted.0)), (frame.right(), depth.y(judged.accepted.1)));
    let long = longest(picture.hole);
    let wide = judged.lean_limit.max(0.0) * long * picture.sideways;
    let apex = (middle, depth.y(picture.hub()));
    let foot = depth.y(picture.hub() + long);
    let mut marks = vec![
        Mark::Area(accepted, Tone::Pale),
        Mark::Line(vec![(middle, frame.y), (middle, frame.bottom())], Pen::Fine, Tone::Grey),
        Mark::Line(vec![apex, (middle - wide, foot)], Pen::Dashed, Tone::Black),
        Mark::Line(vec![apex, (middle + wide, foot)], Pen::Dashed, Tone::Black),
        level(0.0, Pen::Fine, Tone::Black),
        level(picture.hub(), Pen::Fine, Tone::Grey),
        level(judged.planned, Pen::Fine, Tone::Black),
    ];
    if let Some(floor) = picture.hole.floor() {
        let pen = if picture.hole.floor_known() { Pen::Strong } else { Pen::Dashed };
        marks.push(level(floor, pen, Tone::Black));
    }
    if let Some(edge) = picture.hole.edge().filter(|_| judged.sounded.is_some()) {
        marks.push(level(edge, Pen::Dashed, Tone::Black));
    }
    marks
}

fn axis(picture: &Picture<'_>, frame: Frame, look: Look) -> Vec<Mark> {
    let middle = frame.x + frame.width / 2.0;
    let place = |offset: LineAxes, p: &AxisPoint| (middle + look.side(offset) * picture.sideways, picture.y(p));
    let bob = |p: &Plumbed| cross((middle + look.side(p.offset) * picture.sideways, picture.depth.y(p.depth)));
    let mut marks = trace(picture, &place);
    marks.extend(picture.hole.judged.plumbed.iter().flat_map(bob));
    marks
}

/// The axis in any view: for each stretch a fine line by either model and a heavy one in their middle, a dot for a lone
/// point and for the toe.
pub fn trace(picture: &Picture<'_>, place: &dyn Fn(LineAxes, &AxisPoint) -> Point) -> Vec<Mark> {
    let mut marks = Vec::new();
    for stretch in &picture.stretches {
        let line = |of: fn(&AxisPoint) -> LineAxes, pen| Mark::Line(stretch.iter().map(|p| place(of(p), p)).collect(), pen, Tone::Black);
        match &stretch[..] {
            [lone] => marks.push(Mark::Circle(place(lone.offset, lone), 1.2, None, Some(Tone::Black))),
            _ => marks.extend([line(|p| p.stick, Pen::Fine), line(|p| p.wall, Pen::Fine), line(|p| p.offset, Pen::Strong)]),
        }
    }
    let toe = picture.stretches.last().and_then(|s| s.last());
    marks.extend(toe.map(|p| Mark::Circle(place(p.offset, p), 2.8, None, Some(Tone::Black))));
    marks
}

/// A cross where a plumb bob hung.
pub fn cross((x, y): Point) -> [Mark; 2] {
    let stroke = |rise: f64| Mark::Line(vec![(x - CROSS, y - rise), (x + CROSS, y + rise)], Pen::Fine, Tone::Black);
    [stroke(CROSS), stroke(-CROSS)]
}

/// The corners of an upright rectangle.
#[must_use]
pub fn rectangle((x, y): Point, (right, bottom): Point) -> Vec<Point> {
    vec![(x, y), (right, y), (right, bottom), (x, bottom)]
}

/// Scales in words, with a bar for the sideways one.
fn foot(letters: &mut Letters, picture: &Picture<'_>, frame: Frame) -> Vec<Mark> {
    let units = picture.hole.units();
    let y = frame.bottom() - FOOTER + 6.0;
    let bar = bar_length(units, picture.sideways);
    let (x, length) = (frame.x + RULER + 2.0 * LANE + AFTER_LANES, bar * picture.sideways);
    let ends = [x, x + length].map(|x| Mark::Line(vec![(x, y + 2.0), (x, y + 8.0)], Pen::Fine, Tone::Black));
    let mut marks = vec![Mark::Line(vec![(x, y + 5.0), (x + length, y + 5.0)], Pen::Fine, Tone::Black)];
    marks.extend(ends);
    let size = letters.line(&format!("{} sideways", units.short(bar)), SMALL);
    marks.push(Mark::Text((x + length + 5.0, y + 8.0), size));
    let simulated = if picture.hole.reality() == Reality::Simulated { "SIMULATED. " } else { "" };
    let crosses = if picture.hole.judged.plumbed.is_empty() { "" } else { " Crosses: hand plumbs." };
    let words = scale_words(picture) + KEY + crosses;
    let text = letters.set(&[(Weight::Strong, simulated), (Weight::Regular, &words)], SMALL.size, Some(frame.width));
    marks.extend(text_marks(&text, 0, 3, (frame.x, y + 12.0), Align::Left));
    marks
}

fn scale_words(picture: &Picture<'_>) -> String {
    let (depth, times) = (picture.depth.ratio, picture.exaggeration);
    let ratio = |scale: f64| if scale >= 1.0 { format!("1:{}", tidy(scale)) } else { format!("{}:1", tidy(1.0 / scale)) };
    let sideways = ratio(depth / times);
    let plan = if picture.plan < picture.sideways {
        format!("sideways {sideways}, exaggerated {} times; plan {}", tidy(times), ratio(2.0 * depth / times))
    } else {
        format!("sideways and plan {sideways}, exaggerated {} times", tidy(times))
    };
    format!("Depth 1:{}; {plan}; walls not drawn.", tidy(depth))
}

/// A number without needless decimals.
fn tidy(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A plain length that is 20 to 60 points long at this scale, metres.
fn bar_length(units: Units, per_metre: f64) -> f64 {
    let unit = if units == Units::Metric { 0.001 } else { 0.0254 };
    let lengths = (0..8).flat_map(|decade| [1.0, 2.0, 5.0].map(|s| s * unit * 10f64.powi(decade)));
    lengths.into_iter().find(|l| l * per_metre >= 24.0).unwrap_or(unit)
}

/// What the drawing shows, for someone who cannot see it.
#[must_use]
pub fn in_words(hole: &Hole<'_>) -> String {
    let (units, judged) = (hole.units(), hole.judged);
    let axis = match (judged.axis.len(), judged.toe) {
        (0, _) | (_, None) => "No axis was recorded.".to_owned(),
        (points, Some(toe)) => format!(
            "The drilled axis, {}, ends {} of the vertical through its start; the plumb limit widens with depth to {} either side.",
            count(points, "point"),
            units.place(toe),
            units.short(judged.lean_limit * longest(hole)),
        ),
    };
    format!(
        "Scale drawing of the hole: two elevations, looking ahead and looking left, and a plan. Planned depth {}, accepted {}. {}. {axis}",
        units.long(judged.planned),
        units.range(judged.accepted),
        levels::bottom_words(hole),
    )
}
