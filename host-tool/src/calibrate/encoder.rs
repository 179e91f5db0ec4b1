//! Depth encoder against a tape: a straight line where the points lie on one, else a table from point to point.
//!
//! A rope that leaves a drum layer by layer bends the line one way only (a second layer differs by about 6 %); a length
//! that was read wrong bends it both ways.

use super::{Found, Refused, count};
use shared_protocol::state::CalibrationItem;

/// Points that a table has.
pub const POINTS: std::ops::RangeInclusive<usize> = 2..=8;
/// The least length that they must span, µm.
const SPAN_LEAST: f64 = 1_000_000.0;
/// Reading a tape against a mark, standard deviation, µm.
const READING: f64 = 1_000.0;
/// Within this every point lies on the straight line, and their scatter about it within this, µm: one in eight true lines
/// of eight points is taken for a bent one, which costs little; a bent one taken for straight would be millimetres off.
const STRAIGHT: f64 = 2.5 * READING;
const STRAIGHT_SCATTER: f64 = 1.3 * READING;
/// Beyond this a point may speak against its neighbours, µm.
const AGAINST: f64 = 5.0 * READING;
/// How far a point may lie off what its neighbours say: this share of the length between them, and reading, µm.
const RESIDUAL_SHARE: f64 = 0.02;
/// How much a slope may differ from the next.
const JUMP_MOST: f64 = 0.10;
/// What two points cannot show of how straight the encoder is, half-width, share of the length.
const UNSEEN: f64 = 0.005;

/// One taped length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// The encoder's count.
    pub count: i32,
    /// Length paid out by the tape, µm, positive downwards.
    pub length: f64,
}

/// What the encoder's counts are worth.
#[derive(Clone, Debug, PartialEq)]
pub struct Encoder {
    /// The table, by length.
    pub table: Vec<Point>,
    /// Whether it is a straight line through more than two points.
    pub fitted: bool,
    /// Standard uncertainty of a length between its ends, µm.
    pub standard: f64,
    /// How far an inner point lies off what the others say of it, µm; 0 with two points, which show nothing.
    pub residual: f64,
}

/// Makes the table of two to eight taped lengths, in any order.
///
/// Residual: each inner point left out in turn and looked up from its neighbours. Standard uncertainty, after
/// JCGM 100:2008: of a straight line s·L/√Σ(l − l̄)² (H.3), with L the length spanned and s the points' own scatter, 1 mm at
/// least; of two points besides that 0.5 % of L, half-width, for what they do not show; from point to point √2 · 1 mm, and
/// half of the residual as half-width; and always the tape's own error, half-width 0.3 mm + 0.2 mm/m · L (class II of
/// the European directive on measuring instruments, from memory).
///
/// # Errors
/// See [`Refused`].
pub fn find(points: &[Point]) -> Result<Encoder, Refused> {
    if !POINTS.contains(&points.len()) {
        return Err(Refused::new(format!("{} taped lengths", points.len()), "tape two to eight, five or more over a rope drum"));
    }
    let mut table = points.to_vec();
    table.sort_by(|a, b| a.length.total_cmp(&b.length));
    in_order(&table)?;
    let span = table[table.len() - 1].length - table[0].length;
    if span < SPAN_LEAST {
        return Err(Refused::new(format!("the taped lengths span {} only", m(span)), "tape over the depth of the deepest hole"));
    }
    no_jump(&table)?;
    let off = off_neighbours(&table);
    let residual = off.iter().map(|o| o.abs()).fold(0.0, f64::max);
    let line = Line::through(&table);
    let fitted = table.len() > 2 && line.furthest <= STRAIGHT && line.scatter <= STRAIGHT_SCATTER;
    if !fitted && table.len() > 2 {
        bends_one_way(&table, &off)?;
    }
    let tape = (300.0 + 0.2e-3 * span) / 3.0_f64.sqrt();
    let own = match () {
        () if fitted => line.scatter.max(READING) * span / line.squares.sqrt(),
        () if table.len() == 2 => (READING * 2.0_f64.sqrt()).hypot(UNSEEN * span / 3.0_f64.sqrt()),
        () => (READING * 2.0_f64.sqrt()).hypot(residual / 12.0_f64.sqrt()),
    };
    if fitted {
        let (first, last) = (table[0].count, table[table.len() - 1].count);
        table = [first, last].map(|count| Point { count, length: line.at(count) }).to_vec();
    }
    Ok(Encoder { table, fitted, standard: own.hypot(tape), residual })
}

fn m(length: f64) -> String {
    format!("{:.3} m", length / 1e6)
}

/// Lengths and counts must each be different and go one way.
fn in_order(table: &[Point]) -> Result<(), Refused> {
    let rises = table.last().map(|p| p.count) > table.first().map(|p| p.count);
    for pair in table.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let (counts, lengths) = (format!("{} and {}", a.count, b.count), format!("{} and {}", m(a.length), m(b.length)));
        if b.length - a.length < 1.0 {
            return Err(Refused::new(format!("counts {counts} have the same length, {}", m(a.length)), "tape one of them again"));
        }
        if a.count == b.count {
            let why = format!("lengths {lengths} have the same count, {}", a.count);
            return Err(Refused::new(why, "see that the encoder turns when the tool moves, then tape both again"));
        }
        if (b.count > a.count) != rises {
            return Err(Refused::new(
                format!("from {lengths} the count goes back, {counts}"),
                "tape both again, always letting the tool down",
            ));
        }
    }
    Ok(())
}

fn slope(a: &Point, b: &Point) -> f64 {
    (b.length - a.length) / (f64::from(b.count) - f64::from(a.count))
}

fn no_jump(table: &[Point]) -> Result<(), Refused> {
    for three in table.windows(3) {
        let (a, b, c) = (three[0], three[1], three[2]);
        let jump = (slope(&b, &c) / slope(&a, &b) - 1.0).abs();
        let by_reading = 2.0 * AGAINST / (b.length - a.length).min(c.length - b.length);
        if jump > JUMP_MOST + by_reading {
            let why = format!("at {} the length to a count jumps by {:.0} %", m(b.length), jump * 100.0);
            return Err(Refused::new(why, "tape that length and its neighbours again"));
        }
    }
    Ok(())
}

/// How far each inner point lies off the straight line between its neighbours, µm.
fn off_neighbours(table: &[Point]) -> Vec<f64> {
    let off = |three: &[Point]| {
        let (a, b, c) = (three[0], three[1], three[2]);
        b.length - (a.length + slope(&a, &c) * (f64::from(b.count) - f64::from(a.count)))
    };
    table.windows(3).map(off).collect()
}

/// Points that lie on no straight line must bend it one way, and not too far.
fn bends_one_way(table: &[Point], off: &[f64]) -> Result<(), Refused> {
    let worst = off.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).map_or(0, |(n, _)| n);
    let said = format!("at {} the length is {:.0} mm off what its neighbours say", m(table[worst + 1].length), off[worst].abs() / 1e3);
    if off.len() < 2 {
        return Err(Refused::new(said, "tape two more lengths between the ends, to see which is wrong"));
    }
    let both_ways = off.iter().any(|o| *o > AGAINST) && off.iter().any(|o| *o < -AGAINST);
    let allowed = RESIDUAL_SHARE * (table[worst + 2].length - table[worst].length) + AGAINST;
    if both_ways || off[worst].abs() > allowed {
        return Err(Refused::new(said, "tape that length again"));
    }
    Ok(())
}

/// A straight line of length over count, by least squares.
struct Line {
    slope: f64,
    middle: Point64,
    /// How far a point lies off it at most, µm.
    furthest: f64,
    /// Standard deviation of the points about it, µm.
    scatter: f64,
    /// Σ(l − l̄)², µm².
    squares: f64,
}

struct Point64 {
    count: f64,
    length: f64,
}

impl Line {
    fn through(table: &[Point]) -> Self {
        let n = count(table.len());
        let mean = |of: fn(&Point) -> f64| table.iter().map(of).sum::<f64>() / n;
        let middle = Point64 { count: mean(|p| f64::from(p.count)), length: mean(|p| p.length) };
        let (mut both, mut counts) = (0.0, 0.0);
        for point in table {
            let c = f64::from(point.count) - middle.count;
            (both, counts) = (both + c * (point.length - middle.length), counts + c * c);
        }
        let mut line = Self { slope: both / counts, middle, furthest: 0.0, scatter: 0.0, squares: 0.0 };
        let off: Vec<f64> = table.iter().map(|p| p.length - line.at(p.count)).collect();
        line.furthest = off.iter().map(|o| o.abs()).fold(0.0, f64::max);
        line.scatter = (off.iter().map(|o| o * o).sum::<f64>() / (n - 2.0).max(1.0)).sqrt();
        line.squares = table.iter().map(|p| (p.length - line.middle.length).powi(2)).sum();
        line
    }

    fn at(&self, count: i32) -> f64 {
        self.middle.length + self.slope * (f64::from(count) - self.middle.count)
    }
}

impl Encoder {
    /// As a finding: count and length in µm, point by point.
    #[must_use]
    pub fn found(&self) -> Found {
        let (first, last) = (self.table[0], self.table[self.table.len() - 1]);
        let scale = format!("{:.4} mm to a count", slope(&first, &last) / 1e3);
        let how = match (self.fitted, self.table.len()) {
            (true, _) => "a straight line through all points",
            (false, 2) => "a straight line through two points, which cannot show whether it is one",
            (false, _) => "from point to point",
        };
        let words = vec![format!("{scale} from {} to {}: {how}", m(first.length), m(last.length))];
        let values: Vec<f64> = self.table.iter().flat_map(|p| [f64::from(p.count), p.length]).collect();
        Found::new(CalibrationItem::Encoder, &values, self.standard, self.residual, words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(rows: &[(i32, f64)]) -> Vec<Point> {
        rows.iter().map(|&(count, mm)| Point { count, length: mm * 1e3 }).collect()
    }

    fn table(encoder: &Encoder) -> Vec<(i32, f64)> {
        encoder.table.iter().map(|p| (p.count, (p.length / 10.0).round() / 100.0)).collect()
    }

    /// Check value: 1000 pulses, fourfold, on 500 mm of circumference: 0.125 mm a count.
    #[test]
    fn points_on_a_line_make_one() {
        let encoder = find(&points(&[(24_000, 3_000.0), (0, 0.0), (8_000, 1_000.0), (16_000, 2_000.0)])).unwrap();
        assert_eq!((table(&encoder), encoder.fitted), (vec![(0, 0.0), (24_000, 3_000.0)], true));
        // √Σ(l − l̄)² = √5 m: 1·3/√5 = 1.342 mm, and the tape (0.3 + 0.6)/√3 = 0.520 mm
        assert!((encoder.standard - 1_342.0_f64.hypot(519.6)).abs() < 1.0 && encoder.residual < 1e-6, "{encoder:?}");
        assert_eq!(encoder.found().values, [0, 0, 24_000, 3_000_000]);
        assert!(encoder.found().words[0].starts_with("0.1250 mm to a count from 0.000 m to 3.000 m: a straight line"));
    }

    #[test]
    fn a_falling_count_and_reading_noise_make_a_line_too() {
        let encoder = find(&points(&[(0, 100.0), (-8_000, 1_101.0), (-16_000, 2_099.0), (-24_000, 3_100.0)])).unwrap();
        assert!(encoder.fitted && (encoder.residual - 1_500.0).abs() < 1.0, "{encoder:?}");
        assert_eq!(encoder.table.iter().map(|p| p.count).collect::<Vec<_>>(), [0, -24_000]);
    }

    /// Two points: √2 mm of reading, 0.5 % of 4 m over √3, and the tape's (0.3 + 0.8)/√3.
    #[test]
    fn two_points_cannot_show_whether_it_is_straight() {
        let encoder = find(&points(&[(0, 0.0), (40_000, 4_000.0)])).unwrap();
        let want = (2.0 + 400.0 / 3.0 + 1.21 / 3.0_f64).sqrt() * 1e3;
        assert!((encoder.standard - want).abs() < 1.0 && encoder.residual == 0.0 && !encoder.fitted, "{encoder:?} {want}");
    }

    /// Check values of a drum: 973.8937 mm a turn on the first layer and 1036.7256 on the second, which is 6 % more. 1,000
    /// counts a turn; the rope leaves the second layer first.
    #[test]
    fn the_second_layer_of_a_drum_bends_the_line() {
        let (second, first) = (1_036.725_6, 973.8937);
        let turns = [(0, 0.0), (1_000, second), (2_000, 2.0 * second), (3_000, 2.0 * second + first), (4_000, 2.0 * second + 2.0 * first)];
        let encoder = find(&points(&turns)).unwrap();
        assert!(!encoder.fitted && encoder.table.len() == 5, "{encoder:?}");
        // where the layers meet a point lies half of their difference off its neighbours: 31.4 mm
        assert!((encoder.residual - 31_416.0).abs() < 1.0, "{encoder:?}");
        assert!((encoder.standard - (2.0 + 31.416_f64.powi(2) / 12.0 + (0.3 + 0.2 * 4.021_f64).powi(2) / 3.0).sqrt() * 1e3).abs() < 1.0);
    }

    #[test]
    fn what_cannot_be_right_is_refused() {
        let rows = [
            (vec![(0, 0.0)], "1 taped lengths: tape two to eight"),
            ((0..9).map(|n| (n * 1_000, f64::from(n) * 500.0)).collect(), "9 taped lengths: "),
            (vec![(0, 0.0), (5_000, 500.0)], "the taped lengths span 0.500 m only: "),
            (vec![(0, 0.0), (0, 2_000.0)], "lengths 0.000 m and 2.000 m have the same count, 0: see that the encoder turns"),
            (vec![(0, 1_000.0), (9_000, 1_000.0)], "counts 0 and 9000 have the same length, 1.000 m: "),
            (
                vec![(0, 0.0), (20_000, 1_000.0), (10_000, 2_000.0), (30_000, 3_000.0)],
                "from 1.000 m and 2.000 m the count goes back, 20000 and 10000: ",
            ),
            (vec![(0, 0.0), (10_000, 1_000.0), (20_000, 2_200.0), (30_000, 3_200.0)], "at 1.000 m the length to a count jumps by 20 %: "),
            (
                vec![(0, 0.0), (10_000, 1_020.0), (20_000, 2_000.0)],
                "at 1.020 m the length is 20 mm off what its neighbours say: tape two more",
            ),
            (
                vec![(0, 0.0), (10_000, 1_000.0), (20_000, 2_040.0), (30_000, 3_000.0)],
                "at 2.040 m the length is 40 mm off what its neighbours say: tape that",
            ),
            (
                vec![(0, 0.0), (10_000, 1_000.0), (20_000, 2_000.0), (30_000, 3_100.0), (40_000, 4_310.0)],
                "at 3.100 m the length is 55 mm off",
            ),
        ];
        for (taped, want) in rows {
            let said = find(&points(&taped)).map(|e| format!("{e:?}")).unwrap_err().to_string();
            assert!(said.starts_with(want) && !said.contains('\n'), "{said}");
        }
    }
}
