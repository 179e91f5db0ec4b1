//! A structure's holes seen from above, each to scale about its stake: the hole at the ground and at the floor, and the butt where it
//! has most room.

use super::super::layout::POINTS_PER_METRE;
use super::super::layout::letters::{Letters, Style};
use super::super::layout::marks::{Align, Frame, Mark, Pen, Point, Tone};
use super::super::scales::nice_ratio;
use crate::judge::LineAxes;
use crate::readiness::Structure;
use crate::readiness::frame::{places, rake, stations};
use crate::sheet::leg_text;

const LETTERS: Style = Style::regular(8.5);
const NAMES: Style = Style::strong(10.0);
/// Height of the part that is drawn to scale.
const PANEL: f64 = 124.0;
const NAME: f64 = 15.0;
/// Room for the axes' names beyond what is drawn.
const MARGIN: f64 = 13.0;
const CROSS: f64 = 4.0;

/// A circle of a leg's plan, metres off its stake.
#[derive(Clone, Copy, Debug)]
struct Round {
    centre: LineAxes,
    radius: f64,
}

/// One leg's plan.
#[derive(Clone, Debug)]
struct Panel {
    name: String,
    ground: Round,
    floor: Round,
    butt: Round,
}

/// How the plans are read.
pub const KEY: &str = "The plans are seen from above, each hole about its own stake. Up is ahead on line, right is right of somebody who looks \
ahead. Cross: the stake. Thin circle: the hole at the ground; dashed: at the floor. Heavy: the butt where it has most room. Legs are not drawn at \
their spacing.";

/// The plan of a structure.
#[derive(Clone, Debug)]
pub struct Plan {
    panels: Vec<Panel>,
    ratio: f64,
    apart: bool,
}

impl Plan {
    /// The plan, where it is known how the poles fit.
    pub fn of(structure: &Structure<'_>) -> Option<Self> {
        let fit = structure.frame.fit.as_ref()?;
        let middles = places(&structure.legs);
        let panels = structure.legs.iter().zip(&fit.legs).zip(&middles).map(|((leg, seat), (middle, _))| {
            let bore = stations(leg, *middle);
            let (first, last) = (bore.first()?, bore.last()?);
            let round = |station: &crate::structure::fit::Station| Round { centre: station.centre, radius: station.radius };
            let butt = seat.place.plus(rake(leg.plan).times(last.depth));
            let name = if structure.legs.len() > 1 { format!("{} leg", leg_text(leg.hole.leg)) } else { String::new() };
            Some(Panel { name, ground: round(first), floor: round(last), butt: Round { centre: butt, radius: leg.pole?.butt } })
        });
        let panels: Vec<Panel> = panels.collect::<Option<_>>()?;
        let reach = panels
            .iter()
            .flat_map(|panel| [panel.ground, panel.floor, panel.butt])
            .map(|round| round.centre.ahead.abs().max(round.centre.right.abs()) + round.radius);
        let reach = reach.fold(0.05, f64::max);
        let ratio = nice_ratio(reach * POINTS_PER_METRE / (PANEL / 2.0 - MARGIN));
        Some(Self { apart: panels.len() > 1, panels, ratio })
    }

    /// Its width and height, points, where a whole line has this width: one hole takes part of it.
    pub fn size(&self, width: f64) -> (f64, f64) {
        if self.apart { (width, NAME + PANEL) } else { (PANEL + 2.0 * MARGIN, PANEL + NAME) }
    }

    /// Whether it stands beside the text.
    pub fn is_narrow(&self) -> bool {
        !self.apart
    }

    /// What it shows, for whoever cannot see it.
    pub fn in_words(&self, structure: &Structure<'_>) -> String {
        let units = structure.units;
        let each = self.panels.iter().map(|panel| {
            let name = if panel.name.is_empty() { String::new() } else { format!("{}: ", panel.name) };
            let across = |round: Round| units.short(2.0 * round.radius);
            format!(
                "{name}hole {} across at the ground, its middle {} of the stake; at the floor {} of it; the butt {} across, {} of it.",
                across(panel.ground),
                units.place(panel.ground.centre),
                units.place(panel.floor.centre),
                across(panel.butt),
                units.place(panel.butt.centre)
            )
        });
        format!("Plan of the holes and butts at 1:{}, seen from above. {}", self.ratio, each.collect::<Vec<_>>().join(" "))
    }

    /// Draws it.
    pub fn draw(&self, letters: &mut Letters, frame: Frame) -> Vec<Mark> {
        #[allow(clippy::cast_precision_loss)] // a structure has three legs
        let width = frame.width / self.panels.len().max(1) as f64;
        let mut marks = Vec::new();
        let mut left = frame.x;
        let top = frame.y + if self.apart { NAME } else { 0.0 };
        for panel in &self.panels {
            let middle = (left + width / 2.0, top + PANEL / 2.0);
            if self.apart {
                let name = letters.line(&panel.name, NAMES);
                marks.push(Mark::Text((Align::Centre.start(middle.0, name.width), frame.y + NAMES.size), name));
            }
            let within = Frame { x: left, y: top, width, height: PANEL };
            marks.extend(self.axes(letters, middle));
            marks.push(Mark::Within(within, self.rounds(panel, middle)));
            left += width;
        }
        let scale = letters.line(&format!("1:{}", self.ratio), LETTERS);
        marks.push(Mark::Text((frame.x, frame.bottom() - 3.0), scale));
        marks
    }

    fn at(&self, middle: Point, offset: LineAxes) -> Point {
        let points = POINTS_PER_METRE / self.ratio;
        (middle.0 + offset.right * points, middle.1 - offset.ahead * points)
    }

    /// The line's axes through the stake.
    fn axes(&self, letters: &mut Letters, (x, y): Point) -> Vec<Mark> {
        let half = PANEL / 2.0 - MARGIN;
        let line = |from: Point, to: Point| Mark::Line(vec![from, to], Pen::Fine, Tone::Grey);
        let (ahead, right) = (letters.line("ahead", LETTERS), letters.line("right", LETTERS));
        vec![
            line((x, y + half), (x, y - half)),
            line((x - half, y), (x + half, y)),
            line((x - 3.0, y - half + 5.0), (x, y - half)),
            line((x + 3.0, y - half + 5.0), (x, y - half)),
            Mark::Text((Align::Centre.start(x, ahead.width), y - half - 3.0), ahead),
            Mark::Text((x + half + 3.0, y + 3.0), right),
        ]
    }

    fn rounds(&self, panel: &Panel, middle: Point) -> Vec<Mark> {
        let points = POINTS_PER_METRE / self.ratio;
        let round = |round: Round, pen: Pen| Mark::Circle(self.at(middle, round.centre), round.radius * points, Some(pen), None);
        let (x, y) = middle;
        let cross = |from: Point, to: Point| Mark::Line(vec![from, to], Pen::Strong, Tone::Black);
        vec![
            round(panel.ground, Pen::Fine),
            round(panel.floor, Pen::Dashed),
            round(panel.butt, Pen::Strong),
            cross((x - CROSS, y - CROSS), (x + CROSS, y + CROSS)),
            cross((x - CROSS, y + CROSS), (x + CROSS, y - CROSS)),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Said;
    use crate::readiness::tests::{Drill, hole, judged, load, said};
    use shared_protocol::state::Leg;

    /// A bore of 3 m that leans 20 mm/m ahead, its middle 50 mm right of the stake: its floor is 60 mm ahead. The pole is 1.4 m round, 222.8 mm
    /// in radius, and by its taper of about 30 mm round a metre 14 mm thinner at the ground: it has as much room at the floor as there where it
    /// stands (60 + 14) / 2 = 37 mm ahead.
    #[test]
    fn circles_lie_where_the_hole_and_the_butt_are() {
        let drilled = [Leg::Left, Leg::Right].map(|leg| hole(&load("42", leg, 1), &Drill { lean: 20.0, ..Drill::straight(&[(1.2, 3.0)]) }));
        let centre = |leg| said("42", leg, 1, 5, Said::Centre { ahead_um: 0, right_um: 50_000, standard_um: 1_000 });
        judged("42", &drilled, vec![centre(Leg::Left), centre(Leg::Right)], None, |structure| {
            let plan = Plan::of(structure).unwrap();
            let frame = Frame { x: 50.0, y: 100.0, width: 500.0, height: plan.size(500.0).1 };
            let marks = plan.draw(&mut Letters::new(), frame);
            let panels: Vec<(&Frame, &Vec<Mark>)> =
                marks.iter().filter_map(|mark| if let Mark::Within(at, inner) = mark { Some((at, inner)) } else { None }).collect();
            assert_eq!((panels.len(), panels[0].0.x, panels[1].0.x), (2, 50.0, 300.0));
            let points = POINTS_PER_METRE / plan.ratio;
            for (at, inner) in panels {
                let stake = (at.x + at.width / 2.0, at.y + at.height / 2.0);
                let circle = |pen: Pen| {
                    let found = inner.iter().find_map(|mark| match mark {
                        Mark::Circle(centre, radius, Some(with), None) if *with == pen => Some((*centre, *radius)),
                        _ => None,
                    });
                    let ((x, y), radius) = found.unwrap();
                    [(x - stake.0) / points, (stake.1 - y) / points, radius / points]
                };
                let near = |got: [f64; 3], want: [f64; 3]| got.iter().zip(want).all(|(got, want)| (got - want).abs() < 5e-4);
                assert!(near(circle(Pen::Fine), [0.05, 0.0, 0.6]), "ground {:?}", circle(Pen::Fine));
                assert!(near(circle(Pen::Dashed), [0.05, 0.06, 0.6]), "floor {:?}", circle(Pen::Dashed));
                assert!(near(circle(Pen::Strong), [0.05, 0.037, 0.2228]), "butt {:?}", circle(Pen::Strong));
                assert!(inner.iter().all(|mark| !matches!(mark, Mark::Circle((x, _), r, ..) if x - r < at.x || x + r > at.x + at.width)));
            }
        });
    }
}
