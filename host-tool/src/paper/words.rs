//! Figures and codes as paper says them: lengths in the sheet's units, leans, directions, names of codes.
//!
//! Finer than the readout: millimetres, or eighths of an inch (one inch is 25.4 mm exactly).

use crate::judge::{LineAxes, Standing};
use shared_protocol::record::{Plan, quality};
use shared_protocol::state::{Datum, SheetUnits};

const EIGHTH_INCH: f64 = 0.0254 / 8.0;
const FOOT: f64 = 0.3048;
const MINUS: char = '\u{2212}';

/// What stands in a field that does not apply.
pub const NONE: &str = "–";

/// How this sheet's lengths are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Units {
    /// Metres and millimetres.
    Metric,
    /// Feet and inches, to the eighth.
    FeetInches,
}

impl Units {
    /// The sheet's; metric where the code is not known to this version.
    #[must_use]
    pub fn of(plan: &Plan) -> Self {
        match SheetUnits::from_raw(plan.units) {
            Some(SheetUnits::FeetInches) => Self::FeetInches,
            Some(SheetUnits::Metric) | None => Self::Metric,
        }
    }

    /// A length such as a depth: "3.187 m", "10 ft 5 1/2 in".
    #[must_use]
    pub fn long(self, metres: f64) -> String {
        match self {
            Self::Metric => signed(metres, format!("{:.3}", metres.abs()), " m"),
            Self::FeetInches => {
                let eighths = (metres.abs() / EIGHTH_INCH).round();
                let feet = (eighths / 96.0).floor();
                let rest = eighths - feet * 96.0;
                let whole = if feet > 0.0 && rest > 0.0 && rest < 8.0 { "0 " } else { "" };
                signed(metres, format!("{feet} ft {whole}{}", inches(rest)), " in")
            }
        }
    }

    /// A small length: "26 mm", "1 1/8 in". What is there and rounds to nothing is "under 0.5 mm", "under 1/16 in".
    #[must_use]
    pub fn short(self, metres: f64) -> String {
        let step = if self == Self::Metric { 1e-3 } else { EIGHTH_INCH };
        let steps = (metres.abs() / step).round();
        match self {
            _ if steps == 0.0 && metres.abs() > 1e-9 => format!("under {}", if self == Self::Metric { "0.5 mm" } else { "1/16 in" }),
            Self::Metric if steps >= 10_000.0 => self.long(metres),
            Self::Metric => signed(metres, format!("{steps}"), " mm"),
            Self::FeetInches if steps >= 96.0 => self.long(metres),
            Self::FeetInches => signed(metres, inches(steps), " in"),
        }
    }

    /// A small length with its sign, for differences: "+13 mm", "−1/2 in".
    #[must_use]
    pub fn difference(self, metres: f64) -> String {
        let text = self.short(metres);
        let plain = metres <= 0.0 || text.starts_with(['0', 'u']);
        if plain { text } else { format!("+{text}") }
    }

    /// A range of lengths: "3.100 to 3.250 m".
    #[must_use]
    pub fn range(self, (from, to): (f64, f64)) -> String {
        let (from, to) = (self.long(from), self.long(to));
        match self {
            Self::Metric => format!("{} to {to}", from.trim_end_matches(" m")),
            Self::FeetInches => format!("{from} to {to}"),
        }
    }

    /// A lean, metres per metre: "8.2 mm/m", "0.098 in/ft".
    #[must_use]
    pub fn lean(self, lean: f64) -> String {
        match self {
            Self::Metric => signed(lean, format!("{:.1}", lean.abs() * 1e3), " mm/m"),
            Self::FeetInches => signed(lean, format!("{:.3}", lean.abs() * 12.0), " in/ft"),
        }
    }

    /// By how much something is beyond a limit, fine enough that it is never nothing.
    #[must_use]
    pub fn excess(self, metres: f64) -> String {
        match self {
            Self::Metric if metres >= 0.001 => self.short(metres),
            Self::Metric => format!("{:.2} mm", (metres * 1e3).max(0.01)),
            Self::FeetInches if metres >= EIGHTH_INCH => self.short(metres),
            Self::FeetInches => format!("{:.3} in", (metres / 0.0254).max(0.001)),
        }
    }

    /// Where a pair of offsets lies: "24 mm ahead, 10 mm right".
    #[must_use]
    pub fn place(self, offset: LineAxes) -> String {
        let (ahead, right) = (axis_word(offset.ahead, "ahead", "back"), axis_word(offset.right, "right", "left"));
        format!("{} {ahead}, {} {right}", self.short(offset.ahead.abs()), self.short(offset.right.abs()))
    }

    /// One offset with its direction: "24 mm ahead".
    #[must_use]
    pub fn towards(self, metres: f64, positive: &str, negative: &str) -> String {
        format!("{} {}", self.short(metres.abs()), axis_word(metres, positive, negative))
    }

    /// One lean with its direction: "8.2 mm/m ahead".
    #[must_use]
    pub fn leaning(self, lean: f64, positive: &str, negative: &str) -> String {
        format!("{} {}", self.lean(lean.abs()), axis_word(lean, positive, negative))
    }

    /// A mark on the depth scale: whole units where the step is whole.
    #[must_use]
    pub fn tick(self, metres: f64, step: f64) -> String {
        match self {
            Self::Metric => {
                signed(metres, format!("{:.*}", if step >= 0.999 { 0 } else { 2 - usize::from(step >= 0.0999) }, metres.abs()), " m")
            }
            Self::FeetInches => signed(metres, format!("{}", (metres.abs() / FOOT).round()), " ft"),
        }
    }

    /// Steps that a scale may have in these units, metres, rising.
    pub fn steps(self) -> impl Iterator<Item = f64> {
        let unit = if self == Self::Metric { 0.1 } else { FOOT };
        (0..8).flat_map(move |decade| [1.0, 2.0, 5.0].map(|s| s * unit * 10f64.powi(decade)))
    }
}

fn axis_word<'a>(value: f64, positive: &'a str, negative: &'a str) -> &'a str {
    if value < 0.0 { negative } else { positive }
}

fn signed(value: f64, figure: String, unit: &str) -> String {
    let nothing = figure.chars().all(|c| !c.is_ascii_digit() || c == '0');
    if value < 0.0 && !nothing { format!("{MINUS}{figure}{unit}") } else { figure + unit }
}

/// Whole and eighths of inches, without the unit.
fn inches(eighths: f64) -> String {
    let whole = (eighths / 8.0).floor();
    let part = ["", "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8"]
        .into_iter()
        .zip(0..8)
        .find(|(_, n)| (f64::from(*n) - (eighths - whole * 8.0)).abs() < 0.5)
        .map_or("", |(text, _)| text);
    match (whole == 0.0, part.is_empty()) {
        (_, true) => format!("{whole}"),
        (true, false) => part.to_owned(),
        (false, false) => format!("{whole} {part}"),
    }
}

/// What depths count from: "original ground at the pole's low side".
#[must_use]
pub fn datum(plan: &Plan) -> String {
    code(Datum::TABLE, plan.datum)
}

/// A code's meaning as its table has it, in running words; an unknown one says so.
#[must_use]
pub fn code(table: &[(u8, &str, &str)], raw: u8) -> String {
    table
        .iter()
        .find(|(number, _, _)| *number == raw)
        .map_or_else(|| format!("code {raw}, unknown to this version"), |(_, _, meaning)| decapital(meaning.trim().trim_end_matches('.')))
}

/// What an increment's quality bits say.
#[must_use]
pub fn remarks(bits: u8) -> String {
    let known: Vec<&str> = quality::TABLE.iter().filter(|(bit, _)| bits & bit != 0).map(|(_, text)| *text).collect();
    let unknown = quality::TABLE.iter().fold(bits, |rest, (bit, _)| rest & !bit);
    let mut texts: Vec<String> = known.into_iter().map(str::to_owned).collect();
    if unknown != 0 {
        texts.push(format!("remark {unknown}, unknown to this version"));
    }
    texts.join("; ")
}

fn decapital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}

/// A sentence's first letter, large.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// A standing in one word or two.
#[must_use]
pub fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Within => "within",
        Standing::Outside => "outside",
        Standing::Unknown => "not known",
    }
}

/// A difference with its direction in a word: "40 mm higher"; "same" where there is none.
#[must_use]
pub fn difference_word(units: Units, metres: f64, more: &str, less: &str) -> String {
    if metres.abs() < 1e-9 { "same".to_owned() } else { units.towards(metres, more, less) }
}

/// So many of a thing: "1 record", "3 records".
#[must_use]
pub fn count(number: usize, thing: &str) -> String {
    if number == 1 { format!("1 {thing}") } else { format!("{number} {thing}s") }
}

/// Seconds as people say them: "42 s", "3 min 20 s", "1 h 05 min".
#[must_use]
pub fn duration(ms: u32) -> String {
    let s = ms.saturating_add(500) / 1000;
    match s {
        0..60 => format!("{s} s"),
        60..3600 => format!("{} min {:02} s", s / 60, s % 60),
        _ => format!("{} h {:02} min", s / 3600, s % 3600 / 60),
    }
}

/// Bytes in hexadecimal, in groups of four so that two prints can be compared by eye.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    let groups = bytes.chunks(4).map(|group| group.iter().map(|b| format!("{b:02x}")).collect::<String>());
    groups.collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use Units::{FeetInches, Metric};

    #[test]
    fn long_lengths() {
        // 1 in = 25.4 mm exactly: 10 ft 5 1/2 in = 125.5 in = 3.1877 m
        let rows = [
            (3.1877, "10 ft 5 1/2 in"),
            (3.048, "10 ft 0 in"),
            (0.0, "0 ft 0 in"),
            (-0.0762, "−0 ft 3 in"),
            (0.3034, "1 ft 0 in"),
            (0.3175, "1 ft 0 1/2 in"),
            (0.0127, "0 ft 1/2 in"),
        ];
        for (metres, want) in rows {
            assert_eq!(FeetInches.long(metres), want);
        }
        assert_eq!(FeetInches.long(2.9972), "9 ft 10 in");
        assert_eq!(Metric.long(3.1874), "3.187 m");
        assert_eq!(Metric.long(-0.12), "−0.120 m");
        assert_eq!(Metric.long(-0.0001), "0.000 m");
        assert_eq!(FeetInches.long(-0.0001), "0 ft 0 in");
        assert_eq!(Metric.range((3.1, 3.25)), "3.100 to 3.250 m");
        assert_eq!(FeetInches.range((3.048, 3.2004)), "10 ft 0 in to 10 ft 6 in");
    }

    #[test]
    fn short_lengths_never_round_to_nothing_silently() {
        let rows = [
            (0.0262, "26 mm", "1 in"),
            (0.0004, "under 0.5 mm", "under 1/16 in"),
            (0.0, "0 mm", "0 in"),
            (-0.013, "−13 mm", "−1/2 in"),
            (0.47, "470 mm", "1 ft 6 1/2 in"),
        ];
        for (metres, metric, feet) in rows {
            assert_eq!((Metric.short(metres).as_str(), FeetInches.short(metres).as_str()), (metric, feet));
        }
        assert_eq!(Metric.difference(0.013), "+13 mm");
        assert_eq!(Metric.difference(-0.013), "−13 mm");
        assert_eq!(Metric.difference(0.0001), "under 0.5 mm");
        assert_eq!(Metric.excess(0.000_000_1), "0.01 mm");
        assert_eq!(FeetInches.excess(0.000_5), "0.020 in");
    }

    #[test]
    fn leans_and_places() {
        // check value: 1/4 in per ft is 20.83 mm/m
        assert_eq!((Metric.lean(0.020_833).as_str(), FeetInches.lean(0.020_833).as_str()), ("20.8 mm/m", "0.250 in/ft"));
        assert_eq!(Metric.place(LineAxes { ahead: 0.024, right: -0.010 }), "24 mm ahead, 10 mm left");
        assert_eq!(Metric.place(LineAxes { ahead: -0.024, right: 0.010 }), "24 mm back, 10 mm right");
    }

    #[test]
    fn codes_and_counts() {
        assert_eq!(code(Datum::TABLE, 0), "original ground at the pole's low side");
        assert_eq!(code(Datum::TABLE, 9), "code 9, unknown to this version");
        assert_eq!(remarks(0b100_0001), "fewer samples than a mean needs; remark 64, unknown to this version");
        assert_eq!((count(1, "record"), count(2, "record")), ("1 record".to_owned(), "2 records".to_owned()));
        assert_eq!((duration(59_499), duration(200_000), duration(3_900_000)), ("59 s".into(), "3 min 20 s".into(), "1 h 05 min".into()));
        assert_eq!(hex(&[1, 2, 3, 4, 255]), "01020304 ff");
    }

    #[test]
    fn ticks() {
        assert_eq!(
            (Metric.tick(0.5, 0.5).as_str(), Metric.tick(2.0, 1.0).as_str(), FeetInches.tick(0.6096, FOOT).as_str()),
            ("0.5 m", "2 m", "2 ft")
        );
    }
}
