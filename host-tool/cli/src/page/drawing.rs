//! A hole's scale drawing as its certificate has it, in line axes: the same marks in the same places, within the page.

use host_tool::paper::Hole;
use host_tool::paper::drawing::{draw, height, in_words};
use host_tool::paper::layout::letters::{Letters, Line, Weight};
use host_tool::paper::layout::marks::{Frame, Mark, Pen, Point, Tone};
use maud::{Markup, html};

/// What the drawing may take, points: a page's width, and as much height as a screen has.
const WIDTH: f64 = 523.0;
const HEIGHT_MOST: f64 = 470.0;

/// Draws it.
pub fn drawing(hole: &Hole<'_>) -> Markup {
    let frame = Frame { x: 0.0, y: 0.0, width: WIDTH, height: height(hole, HEIGHT_MOST) };
    let marks = draw(&mut Letters::new(), frame, hole);
    html! {
        div.wide tabindex="0" role="region" aria-label="scale drawing" {
            svg.drawing role="img" aria-label=(in_words(hole)) viewBox=(format!("-2 0 {:.1} {:.1}", frame.width + 4.0, frame.height)) {
                @for mark in &marks { (one(mark)) }
            }
        }
    }
}

fn one(mark: &Mark) -> Markup {
    match mark {
        Mark::Line(points, pen, tone) => html! { polyline class={ "line " (weight(*pen)) " " (ink(*tone)) } points=(places(points)) {} },
        Mark::Area(points, tone) => html! { polygon class=(filled(*tone)) points=(places(points)) {} },
        Mark::Circle((x, y), radius, pen, tone) => {
            let outline = pen.map_or_else(|| "bare".to_owned(), |pen| format!("line {} ink", weight(pen)));
            let class = format!("{outline} {}", tone.map_or("hollow", filled));
            html! { circle class=(class) cx=(short(*x)) cy=(short(*y)) r=(short(*radius)) {} }
        }
        Mark::Text(at, line) => text(*at, line),
        Mark::Within(frame, marks) => html! {
            svg x=(short(frame.x)) y=(short(frame.y)) width=(short(frame.width)) height=(short(frame.height))
                viewBox=(format!("{} {} {} {}", short(frame.x), short(frame.y), short(frame.width), short(frame.height))) {
                @for mark in marks { (one(mark)) }
            }
        },
    }
}

/// Letters take the width that the paper's letters take, whatever this browser has.
fn text((x, y): Point, line: &Line) -> Markup {
    let ends = line.runs.iter().skip(1).map(|run| run.x).chain([line.width]);
    html! {
        @for (run, end) in line.runs.iter().zip(ends) {
            @let words = run.words().trim_end();
            @if !words.is_empty() {
                text class=[(run.weight == Weight::Strong).then_some("strong")] x=(short(x + run.x)) y=(short(y)) font-size=(run.size)
                    textLength=[(end > run.x && words.len() == run.words().len()).then(|| short(end - run.x))] lengthAdjust="spacingAndGlyphs" { (words) }
            }
        }
    }
}

fn places(points: &[Point]) -> String {
    points.iter().map(|(x, y)| format!("{},{}", short(*x), short(*y))).collect::<Vec<_>>().join(" ")
}

/// A hundredth of a point is finer than any screen.
fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

const fn weight(pen: Pen) -> &'static str {
    match pen {
        Pen::Fine => "fine",
        Pen::Dashed => "fine dashed",
        Pen::Strong => "heavy",
    }
}

const fn ink(tone: Tone) -> &'static str {
    match tone {
        Tone::Black => "ink",
        Tone::Grey => "grey",
        Tone::Pale => "pale",
        Tone::White => "blank",
    }
}

const fn filled(tone: Tone) -> &'static str {
    match tone {
        Tone::Black => "in-ink",
        Tone::Grey => "in-grey",
        Tone::Pale => "in-pale",
        Tone::White => "in-blank",
    }
}
