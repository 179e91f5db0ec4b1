//! Lengths, leans and directions as people write and read them.
//!
//! Inside everything is metric; one inch is 25.4 mm and one foot 304.8 mm exactly (international yard and pound
//! agreement, 1959).

use shared_protocol::state::SheetUnits;
use shared_protocol::units::{CentiDegrees, Lean, Micrometres};

const INCH_UM: f64 = 25_400.0;
const FOOT_UM: f64 = 12.0 * INCH_UM;

/// Why a written figure was not understood; says what would be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unread {
    /// No length.
    #[error("\"{0}\" is no length: write for example 3.2 m, 250 mm, 10 ft 6 in or 1/2 in")]
    Length(String),
    /// No lean.
    #[error("\"{0}\" is no lean: write for example 20 mm/m, 2 %, 1/4 in per ft or 1:75")]
    Lean(String),
    /// No direction.
    #[error("\"{0}\" is no angle: write degrees, for example 90")]
    Angle(String),
    /// A figure too large to be one.
    #[error("\"{0}\" is too much")]
    TooMuch(String),
}

/// Reads a length with its unit: m, cm, mm, ft, in, ' or ", alone or feet before inches, with decimals or fractions.
///
/// # Errors
/// Where no length can be read; a number without a unit is none.
pub fn length(text: &str) -> Result<Micrometres, Unread> {
    micrometres(length_um(text)?).ok_or_else(|| Unread::TooMuch(text.to_owned()))
}

/// As [`length`], not rounded, µm.
///
/// # Errors
/// As [`length`].
pub fn length_um(text: &str) -> Result<f64, Unread> {
    let bad = || Unread::Length(text.to_owned());
    let (negative, unsigned) = sign(text);
    let pieces = pieces(unsigned).ok_or_else(bad)?;
    let mut sum = 0.0;
    let mut left = f64::INFINITY; // units fall from left to right, so that "6 in 10 ft" is no length
    for (figure, unit) in pieces {
        let size = unit_um(unit).ok_or_else(bad)?;
        if size >= left {
            return Err(bad());
        }
        left = size;
        sum += figure * size;
    }
    within_range(sum).ok_or_else(|| Unread::TooMuch(text.to_owned()))?;
    Ok(if negative { -sum } else { sum })
}

fn unit_um(unit: &str) -> Option<f64> {
    match unit {
        "m" => Some(1e6),
        "cm" => Some(1e4),
        "mm" => Some(1e3),
        "ft" | "'" | "′" | "ft-" | "'-" => Some(FOOT_UM),
        "in" | "\"" | "″" => Some(INCH_UM),
        _ => None,
    }
}

/// Reads a lean, as [`ratio`] does, to the millionth.
///
/// # Errors
/// Where no lean can be read.
pub fn lean(text: &str) -> Result<Lean, Unread> {
    let millionths = micrometres(ratio(text)? * 1e6).ok_or_else(|| Unread::TooMuch(text.to_owned()))?;
    Ok(Lean(millionths.0))
}

/// Reads a lean, sideways over length: %, mm/m, in/ft, one length per another ("1/4 in per ft", "2 in per 10 ft") or
/// one to a number ("1:75").
///
/// # Errors
/// Where no lean can be read.
pub fn ratio(text: &str) -> Result<f64, Unread> {
    let (negative, unsigned) = sign(text);
    let ratio = unsigned_ratio(unsigned).ok_or_else(|| Unread::Lean(text.to_owned()))?;
    within_range(ratio * 1e6).ok_or_else(|| Unread::TooMuch(text.to_owned()))?;
    Ok(if negative { -ratio } else { ratio })
}

fn unsigned_ratio(text: &str) -> Option<f64> {
    if let Some((one, to)) = text.split_once(':') {
        let to = number(to.trim()).filter(|to| *to > 0.0)?;
        return Some(number(one.trim())? / to);
    }
    if let Some((over, per)) = text.split_once(" per ") {
        let per = unit_um(per.trim()).map_or_else(|| length_um(per).ok(), Some).filter(|per| *per > 0.0)?;
        return Some(length_um(over).ok().filter(|over| *over >= 0.0)? / per);
    }
    match pieces(text)?[..] {
        [(figure, "%")] => Some(figure / 100.0),
        [(figure, unit)] => {
            let (over, per) = unit.split_once('/')?;
            Some(figure * unit_um(over)? / unit_um(per)?)
        }
        _ => None,
    }
}

/// Reads an angle in degrees, with or without "deg" or "°".
///
/// # Errors
/// Where no angle can be read.
pub fn angle(text: &str) -> Result<CentiDegrees, Unread> {
    let (negative, unsigned) = sign(text);
    let figure = unsigned.trim_end_matches("deg").trim_end_matches('°').trim();
    let degrees = number(figure).ok_or_else(|| Unread::Angle(text.to_owned()))?;
    let centi = micrometres(degrees * 100.0).ok_or_else(|| Unread::TooMuch(text.to_owned()))?.0;
    Ok(CentiDegrees(if negative { -centi } else { centi }))
}

/// A length in the sheet's units: metres to the centimetre, or feet and inches to the quarter inch.
#[must_use]
pub fn length_text(length: Micrometres, units: SheetUnits) -> String {
    let um = f64::from(length.0);
    match units {
        SheetUnits::Metric => format!("{:.2} m", tidy(um / 1e4) / 100.0),
        SheetUnits::FeetInches => {
            let quarters = (um.abs() / INCH_UM * 4.0).round();
            let sign = if um < 0.0 && quarters > 0.0 { "-" } else { "" };
            let (feet, rest) = ((quarters / 48.0).floor(), quarters % 48.0);
            let fraction = [" ", " 1/4 ", " 1/2 ", " 3/4 "][[1.0, 2.0, 3.0].iter().filter(|&&q| rest % 4.0 >= q).count()];
            format!("{sign}{feet} ft {}{fraction}in", (rest / 4.0).floor())
        }
    }
}

/// A lean's size in the sheet's units: mm/m to the whole one, or in/ft to the hundredth.
#[must_use]
pub fn lean_text(lean: Lean, units: SheetUnits) -> String {
    let ppm = f64::from(lean.0);
    match units {
        SheetUnits::Metric => format!("{:.0} mm/m", tidy(ppm / 1e3)),
        SheetUnits::FeetInches => format!("{:.2} in/ft", tidy(ppm * 12.0 / 1e4) / 100.0),
    }
}

/// Rounds to a whole number, and to 0 rather than −0.
fn tidy(value: f64) -> f64 {
    value.round() + 0.0
}

fn sign(text: &str) -> (bool, &str) {
    let text = text.trim();
    text.strip_prefix('-').map_or_else(|| (false, text.strip_prefix('+').unwrap_or(text)), |rest| (true, rest))
}

/// Splits "10 ft 6 1/2 in" into figures with their units; `None` where one lacks the other.
fn pieces(text: &str) -> Option<Vec<(f64, &str)>> {
    let is_figure = |c: char| c.is_ascii_digit() || c == '.' || c == ' ';
    let mut out = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        // A slash belongs to the figure between digits ("1/4"), and to the unit otherwise ("mm/m").
        let end = rest.char_indices().find(|&(i, c)| !(is_figure(c) || c == '/' && rest[..i].ends_with(|d: char| d.is_ascii_digit())))?.0;
        let (figure, tail) = rest.split_at(end);
        let end = tail.find(|c: char| c.is_ascii_digit() || c == ' ' || c == '.').unwrap_or(tail.len());
        let (unit, tail) = tail.split_at(end);
        out.push((number(figure.trim())?, unit));
        rest = tail.trim_start();
    }
    (!out.is_empty()).then_some(out)
}

/// A figure without a sign: decimal, fraction, or a whole number and a fraction.
fn number(text: &str) -> Option<f64> {
    let plain = |t: &str| t.starts_with(|c: char| c.is_ascii_digit()).then(|| t.parse::<f64>().ok()).flatten().filter(|v| v.is_finite());
    let fraction = |t: &str| {
        let (over, under) = t.split_once('/')?;
        let (over, under) = (plain(over)?, plain(under)?);
        (under > 0.0).then_some(over / under)
    };
    match text.split_once(' ') {
        Some((whole, part)) => Some(plain(whole)? + fraction(part.trim())?),
        None => plain(text).or_else(|| fraction(text)),
    }
}

/// The nearest whole number, `None` beyond what 32 bits hold.
fn micrometres(value: f64) -> Option<Micrometres> {
    let rounded = within_range(value)?.round();
    #[allow(clippy::cast_possible_truncation)] // whole and within range, as just checked
    Some(Micrometres(rounded as i32))
}

/// A value, where its nearest whole number is one that 32 bits hold.
fn within_range(value: f64) -> Option<f64> {
    (value.round().abs() <= f64::from(i32::MAX)).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_as_people_write_them() {
        // 1 in = 25.4 mm exactly
        let rows = [
            ("3.2 m", 3_200_000),
            ("250mm", 250_000),
            ("25 cm", 250_000),
            ("10 ft 6 in", 3_200_400),
            ("10.5 ft", 3_200_400),
            ("10'6\"", 3_200_400),
            ("10′ 6″", 3_200_400),
            ("10'-6\"", 3_200_400),
            ("6 1/2 in", 165_100),
            ("1/4 in", 6_350),
            ("-0.2 ft", -60_960),
            ("+6 in", 152_400),
            ("0 m", 0),
        ];
        for (text, want) in rows {
            assert_eq!(length(text), Ok(Micrometres(want)), "{text}");
        }
    }

    #[test]
    fn what_is_no_length_is_refused() {
        for text in
            ["", "3.2", "m", "3.2 furlongs", "6 in 10 ft", "1 m 1 m", "1/0 in", "3,2 m", "1e9 m", "- 3", "10 ft -6 in", "inf m", "1/2/3 in"]
        {
            assert_eq!(length(text), Err(Unread::Length(text.to_owned())), "{text}");
        }
        assert_eq!(length("9999999 m"), Err(Unread::TooMuch("9999999 m".to_owned())));
    }

    #[test]
    fn leans_and_angles() {
        assert_eq!(lean("20 mm/m"), Ok(Lean(20_000)));
        assert_eq!(lean("2 %"), Ok(Lean(20_000)));
        // check value: 1/4 in per ft is 2.0833 %, not 2 %
        assert_eq!(lean("1/4 in/ft"), Ok(Lean(20_833)));
        assert_eq!(lean("0.25in/ft"), Ok(Lean(20_833)));
        assert_eq!(lean("-1 %"), Ok(Lean(-10_000)));
        for text in
            ["20", "20 mm", "1 % 2 %", "", "steep", "1 in 75", "1:0", ":75", "1 : -75", "1/4 in per", "per ft", "1 in per 0 ft", "%/m"]
        {
            assert_eq!(lean(text), Err(Unread::Lean(text.to_owned())));
        }
        assert_eq!(angle("90"), Ok(CentiDegrees(9_000)));
        assert_eq!(angle("-12.5 deg"), Ok(CentiDegrees(-1_250)));
        assert_eq!(angle("270°"), Ok(CentiDegrees(27_000)));
        assert_eq!(angle("north"), Err(Unread::Angle("north".to_owned())));
    }

    /// The table of conversions in the check values: tolerance, percent, angle in degrees, toe at 10 ft in inches.
    #[test]
    fn published_tolerances_convert_as_published() {
        let rows = [
            ("1/4 in per ft", 2.0833, 1.1935, 2.500),
            ("1/4 in/ft", 2.0833, 1.1935, 2.500),
            ("2 %", 2.0, 1.1458, 2.400),
            ("20 mm/m", 2.0, 1.1458, 2.400),
            ("2 in per 10 ft", 1.6667, 0.9548, 2.000),
            ("1.5 %", 1.5, 0.8594, 1.800),
            ("1:75", 1.3333, 0.7639, 1.600),
            ("1 %", 1.0, 0.5729, 1.200),
            ("1 in per 10 ft", 0.8333, 0.4775, 1.000),
        ];
        for (text, percent, degrees, toe) in rows {
            let ratio = ratio(text).unwrap();
            assert!((ratio * 100.0 - percent).abs() < 0.000_05, "{text}: {ratio}");
            assert!((ratio.atan().to_degrees() - degrees).abs() < 0.000_06, "{text}: {ratio}"); // 1 % is 0.57294
            assert!((ratio * 120.0 - toe).abs() < 1e-9, "{text}: {ratio}");
        }
        assert!((ratio("-1/4 in per ft").unwrap() + 1.0 / 48.0).abs() < 1e-15);
    }

    #[test]
    fn lengths_are_shown_in_the_sheets_units() {
        let feet = |um| length_text(Micrometres(um), SheetUnits::FeetInches);
        assert_eq!(feet(3_200_400), "10 ft 6 in");
        assert_eq!(feet(3_206_750), "10 ft 6 1/4 in");
        assert_eq!(feet(3_213_100), "10 ft 6 1/2 in");
        assert_eq!(feet(19_050), "0 ft 0 3/4 in");
        assert_eq!(feet(304_799), "1 ft 0 in");
        assert_eq!(feet(-60_960), "-0 ft 2 1/2 in");
        assert_eq!(feet(-100), "0 ft 0 in");
        assert_eq!(length_text(Micrometres(-1), SheetUnits::Metric), "0.00 m");
        assert_eq!(length_text(Micrometres(3_204_999), SheetUnits::Metric), "3.20 m");
        assert_eq!(lean_text(Lean(12_400), SheetUnits::Metric), "12 mm/m");
        assert_eq!(lean_text(Lean(20_833), SheetUnits::FeetInches), "0.25 in/ft");
    }
}
