//! What a hole's figures mean, in words: one sentence to a statement, the subject first.

use super::hole::Hole;
use super::levels::bottom_words;
use super::words::{Units, capital, code, count, datum};
use crate::facts::DigestState;
use crate::judge::Standing;
use shared_protocol::state::SheetUnits;

/// A statement: what it is about, and what it says of it.
pub type Statement = (&'static str, String);

/// All statements of a hole, in the order of their weight.
#[must_use]
pub fn statements(hole: &Hole<'_>) -> Vec<Statement> {
    let mut all = vec![("Depth", depth(hole)), ("Plumb", plumb(hole)), ("Toe", toe(hole)), ("Hub", hub(hole)), ("Record", record(hole))];
    let reservations = reservations(hole);
    if !reservations.is_empty() {
        all.push(("Reservations", reservations));
    }
    all.push(("What this is", basis().to_owned()));
    all
}

fn depth(hole: &Hole<'_>) -> String {
    let (units, judged) = (hole.units(), hole.judged);
    let range = units.range(judged.accepted);
    let Some(depth) = judged.depth else {
        if hole.recorded_bottom().is_none() {
            return format!("not known, since no bottom was recorded. Accepted is {range} below {}.", datum(hole.plan()));
        }
        return format!(
            "not known, since it was not tied to the hub at the end. Accepted is {range} below {}. {}.",
            datum(hole.plan()),
            capital(&bottom_words(hole))
        );
    };
    let measured = format!("{} below {}", units.long(depth), datum(hole.plan()));
    match judged.depth_standing {
        Standing::Within => format!("{measured}: within {range}."),
        Standing::Unknown => format!("{measured}: not judged."),
        Standing::Outside if depth > judged.accepted.1 => {
            format!("{measured}: outside {range}, too deep by {}.", units.excess(depth - judged.accepted.1))
        }
        Standing::Outside => format!("{measured}: outside {range}, short by {}.", units.excess(judged.accepted.0 - depth)),
    }
}

fn plumb(hole: &Hole<'_>) -> String {
    let (units, judged) = (hole.units(), hole.judged);
    let limit = units.lean(judged.lean_limit);
    let Some(lean) = judged.lean.map(|l| l.magnitude()) else {
        return format!("not known, since no lean was recorded. The limit is {limit}.");
    };
    let measured = format!("{} over the whole hole (toe over depth)", units.lean(lean));
    match judged.lean_standing {
        Standing::Within => format!("{measured}: within {limit}."),
        Standing::Outside => format!("{measured}: outside {limit} by {}.", lean_excess(units, lean - judged.lean_limit)),
        Standing::Unknown => format!("{measured}: not judged against {limit}, since depth is not known."),
    }
}

/// By how much a lean is beyond its limit, never nothing.
fn lean_excess(units: Units, excess: f64) -> String {
    let least = if units == Units::Metric { 0.000_1 } else { 0.001 / 12.0 };
    if excess < least { format!("less than {}", units.lean(least)) } else { units.lean(excess) }
}

fn toe(hole: &Hole<'_>) -> String {
    let (units, plan) = (hole.units(), hole.plan());
    let Some(toe) = hole.judged.toe else { return "not known, since no lean was recorded.".to_owned() };
    let heading = f64::from(plan.heading_within.0).abs() / 100.0;
    format!(
        "{} off the vertical through the hole's start: {}. Directions are in line axes and as good as the rig's heading, ±{heading}°.",
        units.short(toe.magnitude()),
        units.place(toe),
    )
}

fn hub(hole: &Hole<'_>) -> String {
    let touches = hole.setup.hubs.len();
    match (touches, hole.judged.misclosure) {
        (0, _) => "never touched.".to_owned(),
        (_, None) => format!("touched {}; nothing to close on.", times(touches)),
        (_, Some(misclosure)) => {
            format!("touched {}; largest misclosure {}, no limit set.", times(touches), hole.units().short(misclosure))
        }
    }
}

fn times(number: usize) -> String {
    match number {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        _ => format!("{number} times"),
    }
}

fn record(hole: &Hole<'_>) -> String {
    let (first, last) = hole.sequences();
    let slots = count(hole.setup.slots.len(), "slot");
    let held = format!("{slots} in hand, {first} to {last}");
    let lost: u32 = hole.setup.missing.iter().fold(0, |sum, m| sum.saturating_add(m.count()));
    let lost = if lost == 0 { "none missing".to_owned() } else { format!("{lost} missing") };
    let digest = match hole.setup.digest {
        DigestState::Fits => "the rig's digest fits them",
        DigestState::Differs => "the rig's digest does not fit them",
        DigestState::Open => "no digest, since the hole was not closed",
    };
    format!("{held}, {lost}; {digest}.")
}

fn reservations(hole: &Hole<'_>) -> String {
    let mut all = hole.judged.reservations.clone();
    if SheetUnits::from_raw(hole.plan().units).is_none() {
        all.push(format!("Units are {}: metric printed.", code(SheetUnits::TABLE, hole.plan().units)));
    }
    all.join(" ")
}

fn basis() -> &'static str {
    "the axis is inferred from the attitude of the tool, a straight stick turning about the mast's guide; this is no calliper survey of \
     the hole. The diameter is the tool's. Uncertainty is not evaluated in this version: “within” and “outside” compare the measured \
     figure with the limit, and no guarded statement is made."
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
}
