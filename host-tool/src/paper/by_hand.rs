//! What people measured in the hole by tape and plumb line, beside what the rig measured.

use super::figures::{list, remark};
use super::hole::Hole;
use super::layout::flow::Flow;
use super::layout::table::{Column, names, words};
use super::words::{NONE, Units, count, datum};
use super::worth::Quantity;
use crate::judge::measured::{Kind, Measurement, Plumbed};
use crate::judge::{Figure, LineAxes};

/// A sounding this near to the wall, as a share of the radius, is one of the edge.
const EDGE: f64 = 0.75;

/// Soundings, as they were entered, and what comes of them; says whether there were any.
pub fn soundings(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let units = hole.units();
    let row = |m: &Measurement| {
        vec![
            place_in_hole(hole, m.offset),
            units.long(m.depth),
            format!("± {}", units.amount(Quantity::Offset, 2.0 * m.standard)),
            said(hole, m),
        ]
    };
    let rows: Vec<Vec<String>> = entered(hole, Kind::Sounding).map(row).collect();
    let columns = [names("Where", 1.3), words("Depth", 0.9), words("Tape good to, 95 %", 1.1), BY_WHOM];
    let some = list(flow, &format!("Soundings of the floor; depths below {}", datum(hole.plan())), &columns, &rows);
    if let Some(mean) = sounded(hole) {
        remark(flow, &mean);
    }
    some
}

/// Hand plumbs beside the rig's axis; says whether there were any.
pub fn plumbs(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let units = hole.units();
    let row = |(m, plumbed): (&Measurement, &Plumbed)| {
        let worth = |place: LineAxes, radius: f64| format!("{} ± {}", units.place(place), units.amount(Quantity::Offset, radius));
        vec![
            units.long(plumbed.depth),
            worth(plumbed.offset, plumbed.radius),
            plumbed.axis.map_or_else(|| "does not reach there".to_owned(), |axis| worth(axis.offset, axis.radius)),
            plumbed.off_axis.map_or_else(|| NONE.to_owned(), |off| units.short(off)),
            together(units, plumbed),
            said(hole, m),
        ]
    };
    let rows: Vec<Vec<String>> = entered(hole, Kind::HandPlumb).zip(&hole.judged.plumbed).map(row).collect();
    let columns = [
        names("Depth", 0.75),
        words("Bob hung at, circle of 95 %", 1.5),
        words("Rig's axis there, circle of 95 %", 1.5),
        words("Difference", 0.75),
        words("Both together", 1.0),
        BY_WHOM,
    ];
    let title = format!("Hand plumbs, off the vertical through the hole's start; depths below {}", datum(hole.plan()));
    let some = list(flow, &title, &columns, &rows);
    if some {
        remark(
            flow,
            "Both together: the root of the sum of both radii's squares. A difference beyond it says that one of the two is wrong.",
        );
    }
    some
}

const BY_WHOM: Column<'static> = words("By whom, when entered, remark", 2.4);

fn entered<'a>(hole: &Hole<'a>, kind: Kind) -> impl Iterator<Item = &'a Measurement> {
    hole.setup.measurements.iter().filter(move |m| m.kind == kind)
}

fn said(hole: &Hole<'_>, measurement: &Measurement) -> String {
    let Measurement { author, remark, .. } = measurement;
    let remark = if remark.trim().is_empty() { String::new() } else { format!("; {remark}") };
    format!("{author}, {}{remark}", hole.wall(measurement.unix_ms).rfc3339())
}

/// "centre", "edge, 500 mm ahead", "200 mm ahead, 150 mm left".
fn place_in_hole(hole: &Hole<'_>, offset: LineAxes) -> String {
    let units = hole.units();
    let axes = [(offset.ahead, "ahead", "back"), (offset.right, "right", "left")];
    let some = axes.iter().filter(|(metres, ..)| metres.abs() >= 0.000_5);
    let sides: Vec<String> = some.map(|(metres, positive, negative)| units.towards(*metres, positive, negative)).collect();
    match &sides[..] {
        [] => "centre".to_owned(),
        sides if offset.magnitude() >= EDGE * hole.radius() => format!("edge, {}", sides.join(", ")),
        sides => sides.join(", "),
    }
}

/// The mean of the soundings against the cutting edge, where that is known.
fn sounded(hole: &Hole<'_>) -> Option<String> {
    let (units, judged) = (hole.units(), hole.judged);
    let mean = judged.sounded?;
    let edge = judged.depth.zip(judged.budgets.as_ref()).map(|(value, budgets)| Figure::of(value, budgets.edge.expanded));
    let beside = edge.map_or_else(String::new, |edge| {
        let higher = if mean.value < edge.value { "higher" } else { "deeper" };
        let by = units.short((mean.value - edge.value).abs());
        format!("; the cutting edge came to {}, and the floor is {by} {higher}", units.worth(Quantity::Depth, edge))
    });
    Some(format!("Their mean, {}, is the hole's depth{beside}.", units.worth(Quantity::Depth, mean)))
}

fn together(units: Units, plumbed: &Plumbed) -> String {
    let Some((axis, agrees)) = plumbed.axis.zip(plumbed.agrees()) else { return NONE.to_owned() };
    let both = units.amount(Quantity::Offset, plumbed.radius.hypot(axis.radius));
    format!("{both}: {}", if agrees { "agrees" } else { "does not agree" })
}

/// What the hand measurements come to; `None` where there are none.
#[must_use]
pub fn in_words(hole: &Hole<'_>) -> Option<String> {
    let number = entered(hole, Kind::Sounding).count();
    let sounded = sounded(hole).map(|mean| format!("{} of the floor. {mean}", count(number, "sounding")));
    let all: Vec<String> = sounded.into_iter().chain(plumbs_in_words(hole)).collect();
    (!all.is_empty()).then(|| all.join(" "))
}

/// "Of 3 hand plumbs 2 agreed with the rig's axis; at 3.000 m it is 78 mm off, beyond the 18 mm of both uncertainties
/// together."
fn plumbs_in_words(hole: &Hole<'_>) -> Option<String> {
    let (units, all) = (hole.units(), &hole.judged.plumbed);
    let agreeing = all.iter().filter(|p| p.agrees() == Some(true)).count();
    let farthest =
        all.iter().filter(|p| p.agrees() == Some(false)).max_by(|a, b| a.off_axis.unwrap_or(0.0).total_cmp(&b.off_axis.unwrap_or(0.0)));
    let beyond = farthest.and_then(|p| Some((p, p.off_axis?, p.axis?))).map_or_else(String::new, |(plumbed, off, axis)| {
        let both = units.amount(Quantity::Offset, plumbed.radius.hypot(axis.radius));
        format!("; at {} it is {} off, beyond the {both} of both uncertainties together", units.long(plumbed.depth), units.short(off))
    });
    let alone = match all.iter().filter(|p| p.axis.is_none()).count() {
        0 => String::new(),
        alone => format!(", {alone} where it does not reach"),
    };
    (!all.is_empty()).then(|| format!("Of {} {agreeing} agreed with the rig's axis{alone}{beyond}.", count(all.len(), "hand plumb")))
}
