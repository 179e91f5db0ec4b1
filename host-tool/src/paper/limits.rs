//! Limits in words: the figure with what it is worth, the limit with its source, and both statements.

use super::hole::Hole;
use super::layout::letters::Weight;
use super::levels::bottom_words;
use super::words::{NONE, Units, capital, datum};
use super::worth::Quantity;
use crate::judge::limits::{Governs, Limit, Measurand};
use crate::judge::{Guarded, Standing, Verdict};

/// Length that a lean anywhere is the mean of: four increments as a rule, metres.
pub const MEAN_LENGTH: f64 = 0.1;

/// What a measurand is called at the head of its statement.
#[must_use]
pub fn subject(measurand: Measurand) -> &'static str {
    match measurand {
        Measurand::Depth => "Depth",
        Measurand::OverallLean => "Plumb",
        Measurand::LeanAnywhere => "Lean along the hole",
        Measurand::Toe => "Toe's distance",
        Measurand::Centre => "Centre",
        Measurand::Room => "Room",
        Measurand::Embedment => "Embedment",
        Measurand::ArmTilt => "Arm",
    }
}

/// How a measurand is counted.
#[must_use]
pub fn quantity(measurand: Measurand) -> Quantity {
    match measurand {
        Measurand::Depth | Measurand::Embedment => Quantity::Depth,
        Measurand::OverallLean | Measurand::LeanAnywhere | Measurand::ArmTilt => Quantity::Lean,
        Measurand::Toe | Measurand::Centre | Measurand::Room => Quantity::Offset,
    }
}

/// One verdict in a sentence or three, what matters most in strong letters: "3.187 m ± 0.029 m below …; limit 3.100 to
/// 3.250 m, source: plan. Measured within. Shown within."
#[must_use]
pub fn statement(hole: &Hole<'_>, verdict: &Verdict) -> Vec<(Weight, String)> {
    let (units, limit) = (hole.units(), &verdict.limit);
    let set_by = format!("; limit {}, source: {}. ", limit_words(units, limit), limit.source);
    let mut spans = match verdict.measured {
        Some(figure) => vec![
            (Weight::Strong, units.worth(quantity(limit.measurand), figure)),
            (Weight::Regular, format!(" {}{set_by}", of_what(hole, limit.measurand))),
        ],
        None => vec![(Weight::Strong, "Not known".to_owned()), (Weight::Regular, format!(", {}{set_by}", why_not(hole, limit.measurand)))],
    };
    spans.extend(standing_spans(units, verdict));
    spans
}

/// Both statements, the reasons of what is not shown in regular letters.
#[must_use]
pub fn standing_spans(units: Units, verdict: &Verdict) -> Vec<(Weight, String)> {
    let (plain, guarded) = (capital(&plain(units, verdict)), capital(&guarded(&verdict.guarded)));
    match guarded.strip_prefix("Not shown") {
        Some(why) => vec![(Weight::Strong, format!("{plain}. Not shown")), (Weight::Regular, format!("{why}."))],
        None => vec![(Weight::Strong, format!("{plain}. {guarded}."))],
    }
}

/// What a figure is of.
fn of_what(hole: &Hole<'_>, of: Measurand) -> String {
    match of {
        Measurand::Depth if hole.judged.sounded.is_some() => format!("by soundings, below {}", datum(hole.plan())),
        Measurand::Depth | Measurand::Embedment => format!("below {}", datum(hole.plan())),
        Measurand::OverallLean => "over the whole hole (toe over depth)".to_owned(),
        Measurand::LeanAnywhere => format!("at most, over any {}", hole.units().short(MEAN_LENGTH)),
        Measurand::Toe => "off the vertical through the hole's start".to_owned(),
        Measurand::Centre => "off the stake".to_owned(),
        Measurand::Room => "round the pole where it has most".to_owned(),
        Measurand::ArmTilt => "between the outer legs".to_owned(),
    }
}

/// Why a figure is not known.
fn why_not(hole: &Hole<'_>, of: Measurand) -> String {
    match of {
        Measurand::Centre | Measurand::Embedment | Measurand::Room | Measurand::ArmTilt => "since nobody measured it".to_owned(),
        _ if of != Measurand::Depth && hole.judged.toe.is_none() => "since no lean was recorded".to_owned(),
        _ if hole.recorded_bottom().is_none() => "since no bottom was recorded".to_owned(),
        _ if hole.judged.depth.is_none() => {
            let recorded = if of == Measurand::Depth { format!(" ({})", bottom_words(hole)) } else { String::new() };
            format!("since depth was not tied to the hub at the end{recorded}")
        }
        _ => "since the bottom lies above the ground".to_owned(),
    }
}

/// A limit as it was written, and in the sheet's units: "up to 20.0 mm/m".
#[must_use]
pub fn limit_words(units: Units, limit: &Limit) -> String {
    let in_units = match (limit.measurand, limit.least) {
        (Measurand::Depth | Measurand::Embedment, Some(least)) => units.range((least, limit.most)),
        (Measurand::Depth | Measurand::Embedment, None) => format!("up to {}", units.long(limit.most)),
        (Measurand::OverallLean | Measurand::LeanAnywhere | Measurand::ArmTilt, _) => format!("up to {}", units.lean(limit.most)),
        (Measurand::Room, least) => format!("at least {}", units.short(least.unwrap_or(0.0))),
        (Measurand::Toe | Measurand::Centre, _) => format!("up to {}", units.short(limit.most)),
    };
    match limit.written.trim() {
        "" => in_units,
        written => format!("{written} ({in_units})"),
    }
}

/// The plain statement: "measured within", "measured outside, too deep by 30 mm".
#[must_use]
pub fn plain(units: Units, verdict: &Verdict) -> String {
    match (verdict.plain, verdict.measured) {
        (Standing::Within, _) => "measured within".to_owned(),
        (Standing::Outside, Some(figure)) => format!("measured outside, {}", excess(units, &verdict.limit, figure.value)),
        (Standing::Outside | Standing::Unknown, _) => "not judged as measured".to_owned(),
    }
}

/// By how much, and which way, never nothing.
fn excess(units: Units, limit: &Limit, value: f64) -> String {
    match limit.least {
        Some(least) if value < least => format!("short by {}", units.excess(least - value)),
        _ => match quantity(limit.measurand) {
            Quantity::Depth => format!("too deep by {}", units.excess(value - limit.most)),
            Quantity::Offset => format!("by {}", units.excess(value - limit.most)),
            Quantity::Lean => format!("by {}", lean_excess(units, value - limit.most)),
        },
    }
}

fn lean_excess(units: Units, excess: f64) -> String {
    let least = if units == Units::Metric { 0.000_1 } else { 0.001 / 12.0 };
    if excess < least { format!("less than {}", units.lean(least)) } else { units.lean(excess) }
}

/// The guarded statement, with the reasons where there are any.
#[must_use]
pub fn guarded(guarded: &Guarded) -> String {
    match guarded {
        Guarded::ShownWithin => "shown within".to_owned(),
        Guarded::ShownOutside => "shown outside".to_owned(),
        Guarded::NotShown(reasons) if reasons.is_empty() => "not shown, since the 95 % interval reaches over the limit".to_owned(),
        Guarded::NotShown(reasons) => format!("not shown: {}", reasons.join("; ")),
    }
}

/// The guarded statement in as few words as a table has room for.
#[must_use]
pub fn guarded_briefly(guarded: &Guarded) -> &'static str {
    match guarded {
        Guarded::ShownWithin => "shown within",
        Guarded::ShownOutside => "shown outside",
        Guarded::NotShown(_) => "not shown",
    }
}

/// What "measured" and "shown" mean, and which of them decides.
#[must_use]
pub fn meaning(governs: Option<Governs>) -> String {
    let decides = match governs {
        Some(Governs::Plain) => "By the limit set the first of them decides.",
        Some(Governs::Guarded) => "By the limit set the second of them decides.",
        None => "Nobody has said here which of them decides.",
    };
    format!(
        "“Measured” compares the figure itself with the limit; “shown” says that the whole 95 % interval lies on one side of it. {decides}"
    )
}

/// A planned value of what a limit is about; there is none but for depth, where it is not nought.
#[must_use]
pub fn planned(hole: &Hole<'_>, measurand: Measurand) -> String {
    planned_text(hole.units(), measurand, Some(hole.judged.planned))
}

/// The same, of a planned depth.
#[must_use]
pub fn planned_text(units: Units, measurand: Measurand, depth: Option<f64>) -> String {
    match measurand {
        Measurand::Depth | Measurand::Embedment => depth.map_or_else(|| NONE.to_owned(), |depth| units.long(depth)),
        Measurand::OverallLean | Measurand::LeanAnywhere | Measurand::ArmTilt => units.lean(0.0),
        Measurand::Toe | Measurand::Centre => units.short(0.0),
        Measurand::Room => NONE.to_owned(),
    }
}

/// How far what was measured is from what was planned.
#[must_use]
pub fn variation(hole: &Hole<'_>, verdict: &Verdict) -> String {
    varies(hole.units(), verdict, Some(hole.judged.planned))
}

/// The same, from a planned depth.
#[must_use]
pub fn varies(units: Units, verdict: &Verdict, depth: Option<f64>) -> String {
    let Some(figure) = verdict.measured else { return NONE.to_owned() };
    match verdict.limit.measurand {
        Measurand::Depth | Measurand::Embedment => depth.map_or_else(|| NONE.to_owned(), |depth| units.difference(figure.value - depth)),
        Measurand::OverallLean | Measurand::LeanAnywhere | Measurand::ArmTilt => format!("+{}", units.lean(figure.value)),
        Measurand::Toe | Measurand::Centre => units.difference(figure.value),
        Measurand::Room => NONE.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_excess_is_never_nothing() {
        assert_eq!(lean_excess(Units::Metric, 1e-9), "less than 0.1 mm/m");
        assert_eq!(lean_excess(Units::FeetInches, 1e-9), "less than 0.001 in/ft");
        assert_eq!(lean_excess(Units::Metric, 0.0012), "1.2 mm/m");
    }

    /// 1/4 in per ft is 1/48, 0.250 in/ft, 20.8 mm/m.
    #[test]
    fn a_limit_stands_as_written_and_in_the_sheets_units() {
        let limit = |written: &str| Limit {
            measurand: Measurand::OverallLean,
            least: None,
            most: 1.0 / 48.0,
            written: written.to_owned(),
            source: String::new(),
        };
        assert_eq!(limit_words(Units::Metric, &limit("1/4 in per ft")), "1/4 in per ft (up to 20.8 mm/m)");
        assert_eq!(limit_words(Units::FeetInches, &limit("")), "up to 0.250 in/ft");
    }

    #[test]
    fn reasons_stand_beside_what_is_not_shown() {
        assert_eq!(guarded(&Guarded::NotShown(vec!["a".into(), "b".into()])), "not shown: a; b");
        assert!(guarded(&Guarded::NotShown(Vec::new())).contains("reaches over the limit"));
    }
}
