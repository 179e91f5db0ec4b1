//! A limit judged, in one line of plain text: figure, uncertainty, limit, who sets it, and both statements. Its words
//! are those of the paper.

use crate::judge::limits::Governs;
use crate::judge::statement::{Verdict, name};
use crate::paper::limits::{guarded, limit_words, plain, quantity};
use crate::paper::words::Units;
use crate::text::terminal;

/// The line. Which statement decides is said where somebody has said so.
#[must_use]
pub fn line(verdict: &Verdict, governs: Option<Governs>, units: Units) -> String {
    let limit = &verdict.limit;
    let figure = verdict.measured.map_or_else(|| "not known".to_owned(), |figure| units.worth(quantity(limit.measurand), figure));
    let decides = |which: Governs| if governs == Some(which) { " (this decides)" } else { "" };
    terminal(&format!(
        "{} {figure}; limit {} by {}: {}{}; {}{}",
        name(limit.measurand),
        limit_words(units, limit),
        limit.source,
        plain(units, verdict),
        decides(Governs::Plain),
        guarded(&verdict.guarded),
        decides(Governs::Guarded),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::limits::{Limit, Measurand};
    use crate::judge::statement::{Figure, verdict};

    fn judged(measurand: Measurand, range: (Option<f64>, f64), written: &str, figure: Option<(f64, f64)>, barred: &[&str]) -> Verdict {
        let limit =
            Limit { measurand, least: range.0, most: range.1, written: written.to_owned(), source: "Invented\x1b county".to_owned() };
        let barred: Vec<String> = barred.iter().map(|b| (*b).to_owned()).collect();
        verdict(&limit, figure.map(|(value, expanded)| Figure::of(value, expanded)), false, &barred)
    }

    #[test]
    fn both_statements_are_in_the_line() {
        let depth = judged(Measurand::Depth, (Some(3.1), 3.35), "", Some((3.182, 0.021)), &[]);
        assert_eq!(
            line(&depth, None, Units::Metric),
            "depth 3.182 m ± 0.021 m; limit 3.100 to 3.350 m by Invented\u{FFFD} county: measured within; shown within"
        );
        // 1/48 is 0.250 in/ft
        let lean = judged(Measurand::OverallLean, (None, 1.0 / 48.0), "1/4 in per ft", Some((0.022, 0.003)), &[]);
        assert_eq!(
            line(&lean, Some(Governs::Guarded), Units::FeetInches),
            "overall lean 0.264 in/ft ± 0.036 in/ft; limit 1/4 in per ft (up to 0.250 in/ft) by Invented\u{FFFD} county: \
             measured outside, by 0.014 in/ft; not shown, since the 95 % interval reaches over the limit (this decides)"
        );
    }

    #[test]
    fn what_bars_a_statement_is_said() {
        let toe = judged(Measurand::Toe, (None, 0.075), "", Some((0.2, 0.02)), &["the calibration of the tilt zero expired on 2026-01-01"]);
        let said = line(&toe, Some(Governs::Plain), Units::Metric);
        assert!(
            said.ends_with("measured outside, by 125 mm (this decides); not shown: the calibration of the tilt zero expired on 2026-01-01"),
            "{said}"
        );
        let none = judged(Measurand::LeanAnywhere, (None, 0.02), "", None, &[]);
        assert!(line(&none, None, Units::Metric).starts_with("lean along the hole not known; limit up to 20.0 mm/m by "));
        assert!(line(&none, None, Units::Metric).ends_with("not judged as measured; not shown: lean along the hole was not measured"));
        let out = judged(Measurand::Toe, (None, 0.075), "", Some((0.2, 0.02)), &[]);
        assert!(line(&out, None, Units::Metric).ends_with("measured outside, by 125 mm; shown outside"));
    }
}
