//! Figures as a sheet writes them, with a unit of their own or their column's.

use super::grid::Value;
use crate::measure::{length_um, ratio};

/// A unit of a column or of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    Metres,
    Centimetres,
    Millimetres,
    Feet,
    Inches,
    /// Feet and inches: 10-6.
    FeetInches,
    Degrees,
    Percent,
    MillimetresPerMetre,
    InchesPerFoot,
}

impl Unit {
    /// As figures carry it.
    const fn text(self) -> &'static str {
        match self {
            Self::Metres => "m",
            Self::Centimetres => "cm",
            Self::Millimetres => "mm",
            Self::Feet => "ft",
            Self::Inches => "in",
            Self::FeetInches => "ft-in",
            Self::Degrees => "deg",
            Self::Percent => "%",
            Self::MillimetresPerMetre => "mm/m",
            Self::InchesPerFoot => "in/ft",
        }
    }

    const fn is_ratio(self) -> bool {
        matches!(self, Self::Percent | Self::MillimetresPerMetre | Self::InchesPerFoot)
    }
}

/// The unit that this text is.
pub(super) fn unit(text: &str) -> Option<Unit> {
    let text: String = words(text).split_whitespace().collect();
    Some(match text.as_str() {
        "m" => Unit::Metres,
        "cm" => Unit::Centimetres,
        "mm" => Unit::Millimetres,
        "ft" | "'" => Unit::Feet,
        "in" | "\"" => Unit::Inches,
        "ft-in" | "ft/in" | "ftin" | "ft&in" | "ftandin" | "'-\"" => Unit::FeetInches,
        "deg" | "°" => Unit::Degrees,
        "%" | "percent" => Unit::Percent,
        "mm/m" | "mmperm" => Unit::MillimetresPerMetre,
        "in/ft" | "inperft" => Unit::InchesPerFoot,
        _ => return None,
    })
}

/// Why a figure is none: what was expected and how to mend it.
pub(super) type Unfit = String;

/// A length, metres, with whether it was written metric.
///
/// # Errors
/// Where it is none, and where no unit is given anywhere.
pub(super) fn length(value: &Value, column: Option<Unit>, decimal_comma: bool) -> Result<(f64, bool), Unfit> {
    const WANTED: &str = "expected a length such as 10'-6\", 10 ft 6 in, 10.5 ft, 126\", 3.20 m or 3200 mm";
    if column.is_some_and(|unit| unit.is_ratio() || unit == Unit::Degrees) {
        return Err("a length's column cannot be headed with that unit: write ft, in, m or mm".to_owned());
    }
    let text = figure(value, decimal_comma)?;
    let written = match (bare(&text), column) {
        (true, None) => return Err("no unit: write it behind the figure, or in the header as in \"Depth (ft)\"".to_owned()),
        (true, Some(Unit::FeetInches)) => return Err("no unit: a column in feet and inches reads 10-6 or 10'-6\"".to_owned()),
        (true, Some(unit)) => format!("{text} {}", unit.text()),
        (false, Some(Unit::FeetInches)) => feet_and_inches(&text).unwrap_or(text),
        (false, _) => text,
    };
    let um = length_um(&written).map_err(|_| format!("{WANTED}, with its unit there or in the header"))?;
    Ok((um / 1e6, written.ends_with('m'))) // m, cm and mm end so, and no other
}

/// A lean or rake, sideways over length.
///
/// # Errors
/// As [`length`].
pub(super) fn lean(value: &Value, column: Option<Unit>, decimal_comma: bool) -> Result<f64, Unfit> {
    if column.is_some_and(|unit| !unit.is_ratio()) {
        return Err("a lean's column cannot be headed with that unit: write %, mm/m or in/ft".to_owned());
    }
    let text = figure(value, decimal_comma)?;
    let written = match (bare(&text), column) {
        (true, None) => return Err("no unit: write it behind the figure, or in the header as in \"Plumb limit (%)\"".to_owned()),
        (true, Some(unit)) => format!("{text} {}", unit.text()),
        (false, _) => text,
    };
    ratio(&written).map_err(|_| "expected a lean such as 1/4 in per ft, 2 %, 20 mm/m or 1:75".to_owned())
}

/// An angle, degrees; with a letter for its side (N, E, R are positive; S, W, L negative), and with minutes and seconds.
///
/// # Errors
/// Where it is none.
pub(super) fn degrees(value: &Value, column: Option<Unit>, decimal_comma: bool) -> Result<f64, Unfit> {
    let wanted = || "expected degrees such as 35, 12.5 R, 45.1234 N or 93°15'30\" W".to_owned();
    if column.is_some_and(|unit| unit != Unit::Degrees) {
        return Err("an angle's column can only be headed with degrees".to_owned());
    }
    let text = figure(value, decimal_comma)?;
    let (text, side) = without_side(&text);
    let (negative, text) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
    if negative && side.is_some() {
        return Err("both a sign and a side: write one of them".to_owned());
    }
    let mut sum = 0.0;
    let mut parts = text.split(['°', '\'', '"', ' ']).map(str::trim).filter(|part| !part.is_empty() && *part != "deg");
    for size in [1.0, 60.0, 3_600.0] {
        let Some(part) = parts.next() else { break };
        let plain = part.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        let figure = part.parse::<f64>().ok().filter(|figure| plain && (size < 2.0 || *figure < 60.0)).ok_or_else(wanted)?;
        sum += figure / size;
    }
    if parts.next().is_some() || !text.starts_with(|c: char| c.is_ascii_digit()) {
        return Err(wanted());
    }
    Ok(if negative || side == Some(false) { -sum } else { sum })
}

/// An offset: a length, with its side perhaps; right is positive.
///
/// # Errors
/// As [`length`].
pub(super) fn offset(value: &Value, column: Option<Unit>, decimal_comma: bool) -> Result<(f64, bool), Unfit> {
    let Value::Text(text) = value else { return length(value, column, decimal_comma) };
    let lower = words(text);
    let (unsided, side) = without_side(&lower);
    let (metres, metric) = length(&Value::Text(unsided.to_owned()), column, decimal_comma)?;
    if side.is_some() && metres < 0.0 {
        return Err("both a sign and a side: write one of them".to_owned());
    }
    Ok((if side == Some(false) { -metres } else { metres }, metric))
}

/// A day as ISO 8601 writes it.
///
/// # Errors
/// Where it is none: 3/4/2026 is a day of March here and of April there.
pub(super) fn day(value: &Value) -> Result<jiff::civil::Date, Unfit> {
    let wanted = || "expected a day as 2026-11-30: other ways mean different days to different people".to_owned();
    match value {
        Value::Day(text) | Value::Text(text) => {
            text.get(..10).filter(|_| text.len() == 10).and_then(|day| day.parse().ok()).ok_or_else(wanted)
        }
        _ => Err(wanted()),
    }
}

/// A figure's text with decimal points and the units' short names.
fn figure(value: &Value, decimal_comma: bool) -> Result<String, Unfit> {
    let text = match value {
        Value::Number(number) if number.is_finite() => return Ok((number + 0.0).to_string()),
        Value::Text(text) => words(text),
        Value::Day(_) => return Err("the spreadsheet made a date of it: format the cell as text and write it again".to_owned()),
        Value::Error(_) => return Err("the spreadsheet could not compute it: mend its formula".to_owned()),
        Value::Number(_) | Value::Empty => return Err("expected a figure".to_owned()),
    };
    match (text.contains(','), decimal_comma) {
        (true, false) => Err("a comma in a figure: write decimals with a point and thousands without a mark".to_owned()),
        (true, true) if text.contains('.') => Err("a comma and a point in one figure: write thousands without a mark".to_owned()),
        (true, true) => Ok(text.replace(',', ".")),
        (false, true) if groups_thousands(&text) => {
            Err("may be meant as thousands: write it without the point, or decimals with a comma".to_owned())
        }
        (false, _) => Ok(text),
    }
}

/// A point before exactly three digits, which where commas are decimal may part thousands.
fn groups_thousands(text: &str) -> bool {
    text.split_once('.').is_some_and(|(_, after)| after.bytes().take_while(u8::is_ascii_digit).count() == 3)
}

/// No unit in it.
fn bare(text: &str) -> bool {
    !text.is_empty()
        && text.chars().enumerate().all(|(at, c)| c.is_ascii_digit() || matches!(c, '.' | ' ' | '/') || at == 0 && matches!(c, '-' | '+'))
}

/// "10-6" and "10-6 1/2" in a column of feet and inches.
fn feet_and_inches(text: &str) -> Option<String> {
    let (feet, inches) = text.split_once('-').filter(|(feet, _)| !feet.is_empty() && feet.bytes().all(|b| b.is_ascii_digit()))?;
    (bare(inches) && !inches.starts_with(['-', '+'])).then(|| format!("{feet} ft {inches} in"))
}

/// A text without the letter or word for its side at its end; `Some(true)` for right, north and east.
fn without_side(text: &str) -> (&str, Option<bool>) {
    let text = text.trim();
    let sides = [("right", true), ("left", false), ("rt", true), ("lt", false), ("r", true), ("l", false)];
    let winds = [("n", true), ("e", true), ("s", false), ("w", false)];
    let cut = |(word, side): &(&str, bool)| Some((text.strip_suffix(word)?, *side));
    let found = sides.iter().chain(&winds).find_map(cut);
    // "10 in" ends in n: a side stands after a figure, a unit or a space.
    let fits = |rest: &str| rest.ends_with([' ', '\'', '"', '°']) || rest.ends_with(|c: char| c.is_ascii_digit());
    found.filter(|(rest, _)| fits(rest)).map_or((text, None), |(rest, side)| (rest.trim_end(), Some(side)))
}

/// Lower case, plain quotation marks and fractions, short units.
fn words(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.trim().chars().flat_map(char::to_lowercase) {
        match c {
            '\u{2019}' | '\u{2018}' | '\u{2032}' | '`' => out.push('\''),
            '\u{201C}' | '\u{201D}' | '\u{2033}' => out.push('"'),
            '\u{A0}' | '\u{202F}' | '\t' => out.push(' '),
            '\u{2212}' | '\u{2013}' => out.push('-'),
            '½' => out.push_str(" 1/2"),
            '¼' => out.push_str(" 1/4"),
            '¾' => out.push_str(" 3/4"),
            c => out.push(c),
        }
    }
    let mut out = out.replace("''", "\"");
    for (long, short) in LONG {
        out = out.replace(long, short);
    }
    let out = out.replace("ft.", "ft").replace("in.", "in").replace(" -", "-").replace("- ", "-");
    out.trim().to_owned()
}

/// Units written out; longer ones first.
const LONG: [(&str, &str); 14] = [
    ("millimetres", "mm"),
    ("millimeters", "mm"),
    ("centimetres", "cm"),
    ("centimeters", "cm"),
    ("metres", "m"),
    ("meters", "m"),
    ("metre", "m"),
    ("meter", "m"),
    ("inches", "in"),
    ("inch", "in"),
    ("feet", "ft"),
    ("foot", "ft"),
    ("degrees", "deg"),
    ("degree", "deg"),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn text(text: &str) -> Value {
        Value::Text(text.to_owned())
    }

    #[test]
    fn lengths_read_alike_however_they_are_written() {
        // 1 ft is 0.3048 m exactly
        let rows = [
            ("10'-6\"", None),
            ("10' 6\"", None),
            ("10’-6”", None),
            ("10' - 6\"", None),
            ("10 ft 6 in", None),
            ("10 FT. 6 IN.", None),
            ("10 feet 6 inches", None),
            ("10.5 ft", None),
            ("10.5ft", None),
            ("10½ ft", None),
            ("126\"", None),
            ("126''", None),
            ("126 in", None),
            ("3.2004 m", None),
            ("3200.4 mm", None),
            ("320.04 cm", None),
            ("3.2004 metres", None),
            ("10.5", Some(Unit::Feet)),
            ("10 1/2", Some(Unit::Feet)),
            ("126", Some(Unit::Inches)),
            ("3.2004", Some(Unit::Metres)),
            ("3200.4", Some(Unit::Millimetres)),
            ("10-6", Some(Unit::FeetInches)),
            ("10'-6\"", Some(Unit::FeetInches)),
            ("10'-6\"", Some(Unit::Metres)), // a figure's own unit stands before its column's
        ];
        for (written, column) in rows {
            let (metres, _) = length(&text(written), column, false).unwrap_or_else(|e| panic!("{written}: {e}"));
            assert!((metres - 3.2004).abs() < 1e-9, "{written}: {metres}");
        }
        assert_eq!(length(&Value::Number(10.5), Some(Unit::Feet), false).map(|l| l.1), Ok(false));
        assert_eq!(length(&text("3200 mm"), None, false), Ok((3.2, true)));
        assert_eq!(length(&text("10 ft 6 in"), None, false).map(|l| l.1), Ok(false));
    }

    #[test]
    fn a_figure_without_a_unit_anywhere_is_none() {
        for value in [text("10.5"), text("10 1/2"), text("-3"), Value::Number(10.5)] {
            assert!(length(&value, None, false).unwrap_err().starts_with("no unit"), "{value:?}");
            assert!(lean(&value, None, false).unwrap_err().starts_with("no unit"), "{value:?}");
        }
        assert!(length(&text("10.5"), Some(Unit::FeetInches), false).unwrap_err().starts_with("no unit"));
        assert!(length(&text("3.2"), Some(Unit::Percent), false).unwrap_err().contains("cannot be headed"));
        for written in ["ten feet", "10 ft 6", "6 in 10 ft", "10 furlongs", "3 m 2 m", "", "1e3 m", "nan m"] {
            assert!(length(&text(written), None, false).is_err(), "{written}");
        }
    }

    #[test]
    fn a_decimal_comma_is_read_where_semicolons_separate_and_nothing_is_guessed() {
        assert_eq!(length(&text("3,20 m"), None, true), Ok((3.2, true)));
        assert_eq!(length(&text("3.20 m"), None, true), Ok((3.2, true)));
        assert!(length(&text("3,20 m"), None, false).unwrap_err().contains("a comma"));
        assert!(length(&text("3.200 mm"), None, true).unwrap_err().contains("thousands"));
        assert!(length(&text("1.234,5 mm"), None, true).unwrap_err().contains("thousands"));
        assert!(length(&Value::Day("2026-10-06".to_owned()), None, true).unwrap_err().contains("made a date of it"));
    }

    #[test]
    fn leans_angles_offsets_and_days() {
        let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
        // check value: 1/4 in per ft is 2.0833 %, not 2 %
        assert!(near(lean(&text("1/4 in per ft"), None, false).unwrap(), 0.25 / 12.0));
        assert!(near(lean(&Value::Number(2.0), Some(Unit::Percent), false).unwrap(), 0.02));
        assert!(near(lean(&text("0.25"), Some(Unit::InchesPerFoot), false).unwrap(), 0.25 / 12.0));
        assert!(near(lean(&text("1:75"), None, false).unwrap(), 1.0 / 75.0));
        for (written, want) in [
            ("35", 35.0),
            ("12.5 R", 12.5),
            ("12.5° left", -12.5),
            ("-12.5", -12.5),
            ("93°15'30\" W", -93.258_333_333),
            ("45.5N", 45.5),
            ("7 deg", 7.0),
        ] {
            assert!(near(degrees(&text(written), None, false).unwrap(), want), "{written}");
        }
        for written in ["", "north", "1 2 3 4", "-3 L", "12 75", "1e2", "..", "°"] {
            assert!(degrees(&text(written), None, false).is_err(), "{written}");
        }
        for (written, want) in [("12 in L", -0.3048), ("1 ft right", 0.3048), ("-1 ft", -0.3048), ("12 in", 0.3048), ("1' LT", -0.3048)] {
            assert!(near(offset(&text(written), None, false).unwrap().0, want), "{written}");
        }
        assert!(offset(&text("-1 ft L"), None, false).is_err());
        assert_eq!(day(&text("2026-11-30")).unwrap(), jiff::civil::date(2026, 11, 30));
        for written in ["11/30/2026", "2026-13-01", "2026-11-30T00:00", "", "é026-11-3"] {
            assert!(day(&text(written)).is_err(), "{written}");
        }
    }
}
