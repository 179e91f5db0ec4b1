//! What a hole's figures mean, in words: one sentence to a statement, the subject first.

use super::hole::Hole;
use super::words::{code, count};
use super::worth::Quantity;
use super::{by_hand, limits};
use crate::facts::DigestState;
use crate::judge::{Figure, metres};
use shared_protocol::state::SheetUnits;

/// A statement: what it is about, and what it says of it.
pub type Statement = (&'static str, String);

/// All statements of a hole, in the order of their weight.
#[must_use]
pub fn statements(hole: &Hole<'_>) -> Vec<Statement> {
    let limited = hole.judged.verdicts.iter().map(|v| (limits::subject(v.limit.measurand), limits::statement(hole, v)));
    let mut all: Vec<Statement> = limited.collect();
    all.push(("Toe", toe(hole)));
    all.extend(by_hand::in_words(hole).map(|text| ("By hand", text)));
    all.extend([("Hub", hub(hole)), ("Record", record(hole))]);
    let reservations = reservations(hole);
    if !reservations.is_empty() {
        all.push(("Reservations", reservations));
    }
    all.push(("What this is", basis(hole)));
    all
}

fn toe(hole: &Hole<'_>) -> String {
    let (units, plan) = (hole.units(), hole.plan());
    let Some(toe) = hole.judged.toe else { return "not known, since no lean was recorded.".to_owned() };
    let heading = f64::from(plan.heading_within.0).abs() / 100.0;
    let Some(budgets) = &hole.judged.budgets else { return format!("{}, worth nothing above the ground.", units.place(toe)) };
    format!(
        "{} off the vertical through the hole's start: {}, within {} of there in 95 % of cases. Directions are in line axes; the rig's \
         heading, ±{heading}°, is in that.",
        units.worth(Quantity::Offset, Figure::of(toe.magnitude(), budgets.distance.expanded)),
        units.place(toe),
        units.amount(Quantity::Offset, budgets.place.expanded),
    )
}

fn hub(hole: &Hole<'_>) -> String {
    let touches = hole.setup.hubs.len();
    match (touches, hole.judged.misclosure) {
        (0, _) => "never touched.".to_owned(),
        (_, None) => format!("touched {}; nothing to close on.", times(touches)),
        (_, Some(misclosure)) => {
            let most = hole.setup.identity.as_ref().map(|i| hole.units().short(metres(i.misclosure_limit)));
            let accepted = most.map_or("the most accepted is not known".to_owned(), |most| format!("{most} is the most accepted"));
            let touched = format!("touched {}; largest misclosure {}, and {accepted}.", times(touches), hole.units().short(misclosure));
            format!("{touched}{}", corrected(hole))
        }
    }
}

/// What the rig read and what was corrected: the paper says both.
fn corrected(hole: &Hole<'_>) -> String {
    let units = hole.units();
    hole.corrected().map_or_else(String::new, |(correction, read)| {
        format!(
            " Depth as read, {}, is corrected by {}; what else is in the record is as read.",
            units.long(read),
            units.correction(correction)
        )
    })
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
        DigestState::Lacking => "the rig's digest covers more",
        DigestState::Open => "no digest, since the hole was not closed",
    };
    format!("{held}, {lost}; {digest}; {}.", hole.setup.sealing.text())
}

fn reservations(hole: &Hole<'_>) -> String {
    let mut all = hole.judged.reservations.clone();
    if SheetUnits::from_raw(hole.plan().units).is_none() {
        all.push(format!("Units are {}: metric printed.", code(SheetUnits::TABLE, hole.plan().units)));
    }
    all.join(" ")
}

fn basis(hole: &Hole<'_>) -> String {
    format!(
        "the axis is inferred from the attitude of the tool, in the middle between a straight stick turning about the mast's guide and a \
         tool that follows the bore; this is no calliper survey of the hole. The diameter is the tool's. Figures after ± are 95 % \
         uncertainties. {}",
        limits::meaning(hole.judged.governs)
    )
}
