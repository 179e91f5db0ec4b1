//! What a hole's figures rest on, in words: a sentence or two to each.

use super::hole::Hole;
use super::words::{code, count};
use crate::facts::DigestState;
use crate::judge::metres;
use shared_protocol::state::SheetUnits;

/// How the hub closed.
#[must_use]
pub fn hub(hole: &Hole<'_>) -> String {
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

/// How much of the record is in hand, and what digest and seal prove of it.
#[must_use]
pub fn record(hole: &Hole<'_>) -> String {
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

/// What a reader must know before all figures; empty where there is nothing.
#[must_use]
pub fn reservations(hole: &Hole<'_>) -> String {
    let mut all = hole.judged.reservations.clone();
    if SheetUnits::from_raw(hole.plan().units).is_none() {
        all.push(format!("Units are {}: metric printed.", code(SheetUnits::TABLE, hole.plan().units)));
    }
    all.join(" ")
}

/// What an axis is, and what is not measured.
#[must_use]
pub const fn basis() -> &'static str {
    "The axis is inferred from the attitude of the tool, midway between a straight stick turning about the mast's guide and a tool that \
     follows the bore; this is no calliper survey of the hole."
}
