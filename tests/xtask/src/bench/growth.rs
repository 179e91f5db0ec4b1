//! How time and memory grow with the holes in a store: a table, and a plot of it. Nothing may grow faster than its work.

use super::plot::{self, Curve};
use super::row::short;
use crate::{Outcome, board};
use serde::Deserialize;
use std::path::Path;
use std::process::Command;

/// Holes in a store: a crew's, a season's, some seasons'.
const HOLES: [u32; 3] = [500, 5_000, 20_000];
/// What a process does, and what its memory is of in the plot.
const PARTS: [(&str, &str); 4] = [("store", "store"), ("judge", "judge"), ("page", "office's program"), ("print", "print")];
/// How far the exponent may lie over that of the work: sorting, deeper trees, caches that no longer hold all, what else the machine did.
const OVER: f64 = 0.15;
/// The same from any store to the next: what is done once hides nothing that grows there, nor does what is done up to a size only. One of
/// them measured a third too long or too short comes to 0.2.
const OVER_A_STEP: f64 = 0.3;
/// Where the plot goes.
const PLOT: &str = "host-tool/docs/speed/growth.svg";

/// A curve's point, as `growth` says it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
struct Point {
    what: String,
    holes: u32,
    done: u32,
    seconds: f64,
    elapsed: f64,
    peak_kib: u32,
}

/// How a thing grows, and how its work does.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Exponent {
    /// From the first of its points to the last.
    whole: f64,
    /// Where it is steepest from one point to the next.
    steepest: f64,
    work: f64,
}

impl Exponent {
    fn of(points: &[&Point]) -> Option<Self> {
        let (first, last) = (points.first()?, points.last()?);
        let more = |from: &Point, to: &Point| (f64::from(to.holes) / f64::from(from.holes)).ln();
        let time = |from: &Point, to: &Point| (to.seconds / from.seconds).ln() / more(from, to);
        let work = (f64::from(last.done) / f64::from(first.done)).ln() / more(first, last);
        let steepest = points.windows(2).map(|step| time(step[0], step[1])).fold(f64::NEG_INFINITY, f64::max);
        Some(Self { whole: time(first, last), steepest, work })
    }

    fn holds(self) -> bool {
        self.whole <= self.work + OVER && self.steepest <= self.work + OVER_A_STEP
    }
}

/// Measures all points, draws them, and returns the table.
pub fn table() -> Outcome<String> {
    let folder = board::root().join("target/grown");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).map_err(|why| format!("{}: {why}", folder.display()))?;
    let mut parts: Vec<Vec<Point>> = vec![Vec::new(); PARTS.len()];
    for holes in HOLES {
        for ((part, _), points) in PARTS.iter().zip(&mut parts) {
            points.extend(measured(&folder, holes, part)?);
        }
    }
    let _ = std::fs::remove_dir_all(&folder);
    let path = board::root().join(PLOT);
    let cannot = |why| format!("{PLOT}: {why}");
    path.parent().map_or(Ok(()), std::fs::create_dir_all).map_err(cannot)?;
    std::fs::write(&path, drawn(&parts)).map_err(cannot)?;
    Ok(written(&parts))
}

fn measured(folder: &Path, holes: u32, part: &str) -> Outcome<Vec<Point>> {
    let mut growth = Command::new(board::root().join("target/release/growth"));
    let text = super::said(growth.arg(folder).arg(holes.to_string()).arg(part), "growth")?;
    text.lines().map(|line| serde_json::from_str(line).map_err(|why| format!("growth: {why}: {line}"))).collect()
}

/// Things in their order, each with its points.
fn curves(points: &[Point]) -> Vec<(&str, Vec<&Point>)> {
    let mut curves: Vec<(&str, Vec<&Point>)> = Vec::new();
    for point in points {
        match curves.iter_mut().find(|(what, _)| *what == point.what) {
            Some((_, all)) => all.push(point),
            None => curves.push((&point.what, vec![point])),
        }
    }
    curves
}

fn mib(point: &Point) -> f64 {
    f64::from(point.peak_kib) / 1024.0
}

/// Three figures of a time, in the unit that suits it.
fn time(seconds: f64) -> String {
    match seconds {
        s if s >= 1.0 => format!("{} s", short(s)),
        s if s >= 1e-3 => format!("{} ms", short(s * 1e3)),
        s => format!("{} µs", short(s * 1e6)),
    }
}

fn written(parts: &[Vec<Point>]) -> String {
    let head = "| what | holes | of processor | for each | went by | peak, MiB | exponent; steepest step; of its work | holds |\n|---|---|---|---|---|---|---|---|\n";
    let mut table = head.to_owned();
    for (what, points) in parts.iter().flat_map(|points| curves(points)) {
        let exponent = Exponent::of(&points);
        for (n, point) in points.iter().enumerate() {
            let Point { holes, done, seconds, elapsed, .. } = point;
            let (each, peak) = (time(seconds / f64::from(*done)), short(mib(point)));
            let (exponent, holds) = match exponent.filter(|_| n + 1 == points.len()) {
                Some(all) => (format!("{:.2}; {:.2}; {:.0}", all.whole, all.steepest, all.work), if all.holds() { "yes" } else { "NO" }),
                None => (String::new(), ""),
            };
            let (seconds, elapsed) = (time(*seconds), time(*elapsed));
            table += &format!("| {what} | {holes} | {seconds} | {each} | {elapsed} | {peak} | {exponent} | {holds} |\n");
        }
    }
    table
}

fn drawn(parts: &[Vec<Point>]) -> String {
    let of = |what: &str, points: &[&Point], value: fn(&Point) -> f64| Curve {
        name: what.to_owned(),
        points: points.iter().map(|point| (f64::from(point.holes), value(point))).collect(),
    };
    let times: Vec<Curve> = parts.iter().flat_map(|points| curves(points)).map(|(what, points)| of(what, &points, |p| p.seconds)).collect();
    // a process's peak is that of the last thing that it did
    let last = |points: &[Point], name: &str| curves(points).last().map(|(_, points)| of(name, points, mib));
    let peaks: Vec<Curve> = parts.iter().zip(PARTS).filter_map(|(points, (_, name))| last(points, name)).collect();
    plot::drawn(&[("s of processor", &times), ("MiB at most", &peaks)])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(what: &str, holes: u32, done: u32, seconds: f64) -> Point {
        Point { what: what.into(), holes, done, seconds, elapsed: seconds, peak_kib: 2_048 }
    }

    #[test]
    fn what_grows_faster_than_its_work_is_said() {
        let grown = |what, done: [u32; 3], seconds: [f64; 3]| {
            HOLES.iter().zip(done).zip(seconds).map(|((holes, done), seconds)| point(what, *holes, done, seconds)).collect::<Vec<_>>()
        };
        let table = written(&[grown("judged", HOLES, [1.0, 10.0, 40.0]), grown("printed", [200; 3], [1.0, 2.0, 2.0])]);
        assert!(table.contains("| judged | 500 | 1.00 s | 2.00 ms | 1.00 s | 2.00 |  |  |\n"), "{table}");
        assert!(table.contains("| judged | 20000 | 40.0 s | 2.00 ms | 40.0 s | 2.00 | 1.00; 1.00; 1 | yes |\n"), "{table}");
        assert!(table.ends_with("| printed | 20000 | 2.00 s | 10.0 ms | 2.00 s | 2.00 | 0.19; 0.30; 0 | NO |\n"), "{table}");
        // what is done once hides it at first, or what is done up to a size hides it at last
        let table = written(&[grown("listed", HOLES, [1.0, 2.0, 16.0])]);
        assert!(table.ends_with("| 0.75; 1.50; 1 | NO |\n"), "{table}");
        let table = written(&[grown("shown", [1; 3], [1.0, 4.0, 1.0])]);
        assert!(table.ends_with("| 0.00; 0.60; 0 | NO |\n"), "{table}");
    }
}
