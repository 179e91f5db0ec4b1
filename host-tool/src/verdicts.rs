//! A limit judged, in one line of plain text: figure, uncertainty, limit, who sets it, and both statements.

use crate::judge::limits::{Governs, Measurand};
use crate::judge::statement::{Guarded, Standing, Verdict, name};
use crate::paper::words::Units;
use crate::text::terminal;

/// The line. Which statement decides is said where somebody has said so.
#[must_use]
pub fn line(verdict: &Verdict, governs: Option<Governs>, units: Units) -> String {
    let by = terminal(&verdict.limit.source);
    let decides = |which: Governs| if governs == Some(which) { " (this decides)" } else { "" };
    format!(
        "{} {}; {} by {by}: {}{}; {}{}",
        name(verdict.limit.measurand),
        measured(verdict, units),
        accepted(verdict, units),
        plain(verdict.plain),
        decides(Governs::Plain),
        guarded(verdict),
        decides(Governs::Guarded),
    )
}

fn measured(verdict: &Verdict, units: Units) -> String {
    let Some(figure) = verdict.measured else { return "not known".to_owned() };
    let (value, within) = match verdict.limit.measurand {
        Measurand::Depth => (units.long(figure.value), units.short(figure.expanded)),
        Measurand::Toe => (units.short(figure.value), units.short(figure.expanded)),
        Measurand::OverallLean | Measurand::LeanAnywhere => (units.lean(figure.value), units.lean(figure.expanded)),
    };
    format!("{value} ±{within} (95 %)")
}

fn accepted(verdict: &Verdict, units: Units) -> String {
    let limit = &verdict.limit;
    let figure = |value: f64| match limit.measurand {
        Measurand::Depth => units.long(value),
        Measurand::Toe => units.short(value),
        Measurand::OverallLean | Measurand::LeanAnywhere => units.lean(value),
    };
    let range = limit.least.map_or_else(|| format!("at most {}", figure(limit.most)), |least| units.range((least, limit.most)));
    if limit.written.is_empty() { range } else { format!("{range}, written {},", terminal(&limit.written)) }
}

fn plain(standing: Standing) -> &'static str {
    match standing {
        Standing::Within => "measured within",
        Standing::Outside => "measured OUTSIDE",
        Standing::Unknown => "not judged",
    }
}

fn guarded(verdict: &Verdict) -> String {
    match &verdict.guarded {
        Guarded::ShownWithin => "shown within".to_owned(),
        Guarded::ShownOutside => "shown OUTSIDE".to_owned(),
        Guarded::NotShown(why) if why.is_empty() => "not shown, the limit lies within the uncertainty".to_owned(),
        Guarded::NotShown(why) => format!("not shown, {}", why.join("; ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::limits::Limit;
    use crate::judge::statement::{Figure, verdict};

    fn judged(measurand: Measurand, range: (Option<f64>, f64), written: &str, figure: Option<(f64, f64)>, barred: &[&str]) -> Verdict {
        let limit =
            Limit { measurand, least: range.0, most: range.1, written: written.to_owned(), source: "Invented\x1b county".to_owned() };
        let barred: Vec<String> = barred.iter().map(|b| (*b).to_owned()).collect();
        verdict(&limit, figure.map(|(value, expanded)| Figure { value, expanded }), false, &barred)
    }

    #[test]
    fn both_statements_are_in_the_line() {
        let depth = judged(Measurand::Depth, (Some(3.1), 3.35), "", Some((3.182, 0.021)), &[]);
        assert_eq!(
            line(&depth, None, Units::Metric),
            "depth 3.182 m ±21 mm (95 %); 3.100 to 3.350 m by Invented\u{FFFD} county: measured within; shown within"
        );
        // 1/48 is 0.250 in/ft
        let lean = judged(Measurand::OverallLean, (None, 1.0 / 48.0), "1/4 in per ft", Some((0.022, 0.003)), &[]);
        assert_eq!(
            line(&lean, Some(Governs::Guarded), Units::FeetInches),
            "overall lean 0.264 in/ft ±0.036 in/ft (95 %); at most 0.250 in/ft, written 1/4 in per ft, by Invented\u{FFFD} county: measured OUTSIDE; not shown, the limit lies within the uncertainty (this decides)"
        );
    }

    #[test]
    fn what_bars_a_statement_is_said() {
        let toe = judged(Measurand::Toe, (None, 0.075), "", Some((0.2, 0.02)), &["the calibration of the tilt zero expired on 2026-01-01"]);
        let said = line(&toe, Some(Governs::Plain), Units::Metric);
        assert!(
            said.ends_with("measured OUTSIDE (this decides); not shown, the calibration of the tilt zero expired on 2026-01-01"),
            "{said}"
        );
        let none = judged(Measurand::LeanAnywhere, (None, 0.02), "", None, &[]);
        assert!(line(&none, None, Units::Metric).starts_with("lean along the hole not known; at most 20.0 mm/m by "));
        assert!(line(&none, None, Units::Metric).ends_with("not judged; not shown, lean along the hole was not measured"));
        let out = judged(Measurand::Toe, (None, 0.075), "", Some((0.2, 0.02)), &[]);
        assert!(line(&out, None, Units::Metric).ends_with("measured OUTSIDE; shown OUTSIDE"));
    }
}
