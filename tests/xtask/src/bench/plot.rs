//! Curves over the number of holes, both axes by powers of ten: ink lines told apart by their dashes, each named at its end.

use std::fmt::Write;

/// A line and its name.
#[derive(Clone, Debug)]
pub struct Curve {
    pub name: String,
    pub points: Vec<(f64, f64)>,
}

const WIDTH: f64 = 780.0;
/// Where a panel's lines are drawn, from the left.
const LEFT: f64 = 70.0;
const RIGHT: f64 = 500.0;
const TOP: f64 = 34.0;
/// So high is a power of ten.
const DECADE: f64 = 76.0;
const UNDER: f64 = 56.0;
/// From one name to the next, at least.
const LINE: f64 = 17.0;
const DASHES: [&str; 8] = ["", "9 4", "2 3", "12 3 2 3", "5 2", "1 5", "16 5", "7 2 2 2 2 2"];
const INK: &str = "#1c1c1c";
const PALE: &str = "#cfcfcf";

/// Panels under each other, each with what its figures are of.
pub fn drawn(panels: &[(&str, &[Curve])]) -> String {
    let (mut body, mut top) = (String::new(), 0.0);
    for (unit, curves) in panels {
        let panel = Panel::of(curves, top + TOP);
        panel.draw(&mut body, unit, curves);
        top = panel.bottom + UNDER;
    }
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {top:.0}\" width=\"{WIDTH}\" height=\"{top:.0}\" \
         font-family=\"sans-serif\" font-size=\"13\" fill=\"{INK}\">\n<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n{body}</svg>\n"
    )
}

/// Where a panel's figures lie.
struct Panel {
    /// Its holes.
    holes: Vec<f64>,
    /// The powers of ten that it begins and ends with.
    from: f64,
    to: f64,
    top: f64,
    bottom: f64,
}

impl Panel {
    fn of(curves: &[Curve], top: f64) -> Self {
        let all = || curves.iter().flat_map(|curve| &curve.points).filter(|point| point.1 > 0.0);
        let from = all().map(|point| point.1.log10().floor()).fold(f64::INFINITY, f64::min);
        let to = all().map(|point| point.1.log10().ceil()).fold(from + 1.0, f64::max);
        let mut holes: Vec<f64> = all().map(|point| point.0).collect();
        holes.sort_by(f64::total_cmp);
        holes.dedup();
        Self { holes, from, to, top, bottom: top + (to - from) * DECADE }
    }

    fn x(&self, holes: f64) -> f64 {
        let (first, last) = (self.holes.first().copied().unwrap_or(1.0), self.holes.last().copied().unwrap_or(10.0));
        LEFT + (RIGHT - LEFT) * (holes / first).ln() / (last / first).ln()
    }

    fn y(&self, value: f64) -> f64 {
        self.bottom - (value.log10() - self.from) * DECADE
    }

    fn draw(&self, out: &mut String, unit: &str, curves: &[Curve]) {
        self.axes(out, unit);
        let mut names: Vec<(f64, usize)> = Vec::new();
        for (n, curve) in curves.iter().enumerate() {
            let points: Vec<(f64, f64)> =
                curve.points.iter().filter(|point| point.1 > 0.0).map(|point| (self.x(point.0), self.y(point.1))).collect();
            let line = points.iter().map(|(x, y)| format!("{x:.1},{y:.1}")).collect::<Vec<_>>().join(" ");
            let dash = DASHES[n % DASHES.len()];
            let _ = writeln!(
                out,
                "<polyline points=\"{line}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.8\" stroke-dasharray=\"{dash}\"/>"
            );
            for (x, y) in &points {
                let _ = writeln!(out, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2.6\"/>");
            }
            names.extend(points.last().map(|end| (end.1, n)));
        }
        let ends: Vec<f64> = names.iter().map(|(y, _)| *y).collect();
        for ((end, n), y) in names.iter().zip(apart(&ends)) {
            let (x, dash, name) = (RIGHT + 8.0, DASHES[n % DASHES.len()], &curves[*n].name);
            let _ = writeln!(out, "<path d=\"M{x:.1} {end:.1}L{:.1} {y:.1}\" stroke=\"{INK}\" stroke-width=\"0.7\"/>", x + 14.0);
            let _ = writeln!(
                out,
                "<path d=\"M{:.1} {y:.1}h30\" stroke=\"{INK}\" stroke-width=\"1.8\" stroke-dasharray=\"{dash}\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\">{name}</text>",
                x + 14.0,
                x + 50.0,
                y + 4.5
            );
        }
    }

    /// Powers of ten, numbers of holes, and how steep it is where twice the holes take twice as much.
    fn axes(&self, out: &mut String, unit: &str) {
        let _ = writeln!(out, "<text x=\"{LEFT}\" y=\"{:.1}\">{unit}</text>", self.top - 14.0);
        let mut power = self.from;
        while power <= self.to {
            let y = self.y(10_f64.powf(power));
            let _ = writeln!(
                out,
                "<path d=\"M{LEFT} {y:.1}H{RIGHT}\" stroke=\"{PALE}\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
                LEFT - 8.0,
                y + 4.5,
                10_f64.powf(power)
            );
            power += 1.0;
        }
        for holes in &self.holes {
            let x = self.x(*holes);
            let _ = writeln!(
                out,
                "<path d=\"M{x:.1} {:.1}V{:.1}\" stroke=\"{PALE}\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{holes}</text>",
                self.top,
                self.bottom,
                self.bottom + 18.0
            );
        }
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">holes</text>",
            f64::midpoint(LEFT, RIGHT),
            self.bottom + 34.0
        );
        if let Some((first, last)) = self.holes.first().zip(self.holes.last()) {
            // from the bottom left corner, as far as the panel goes
            let most = first * 10_f64.powf(self.to - self.from);
            let to = last.min(most);
            let (x, y) = (self.x(to), self.bottom - (to / first).log10() * DECADE);
            let _ = writeln!(out, "<path d=\"M{LEFT} {:.1}L{x:.1} {y:.1}\" stroke=\"{PALE}\" stroke-width=\"5\"/>", self.bottom);
        }
    }
}

/// The same heights, moved as little as need be to lie a line apart, in their order.
fn apart(heights: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..heights.len()).collect();
    order.sort_by(|a, b| heights[*a].total_cmp(&heights[*b]));
    let mut moved = heights.to_vec();
    // each pair that is too near gives way on both sides, until none is
    for _ in 0..200 {
        for pair in order.windows(2) {
            let near = LINE - (moved[pair[1]] - moved[pair[0]]);
            if near > 0.0 {
                moved[pair[0]] -= near / 2.0;
                moved[pair[1]] += near / 2.0;
            }
        }
    }
    moved
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lie_apart_and_in_order() {
        let moved = apart(&[100.0, 101.0, 300.0, 99.0]);
        assert!(moved[1] - moved[0] > LINE - 0.1 && moved[0] - moved[3] > LINE - 0.1, "{moved:?}");
        assert!((moved[2] - 300.0).abs() < 1e-9, "{moved:?}");
    }

    #[test]
    fn twice_the_holes_and_twice_the_time_is_as_steep_as_the_band() {
        let curve = Curve { name: "kept".into(), points: vec![(500.0, 0.1), (5_000.0, 1.0)] };
        let panel = Panel::of(std::slice::from_ref(&curve), 10.0);
        assert_eq!((panel.from, panel.to, panel.bottom), (-1.0, 0.0, 10.0 + DECADE));
        let text = drawn(&[("s", &[curve])]);
        assert!(text.contains("points=\"70.0,110.0 500.0,34.0\"") && text.contains("M70 110.0L500.0 34.0"), "{text}");
    }
}
