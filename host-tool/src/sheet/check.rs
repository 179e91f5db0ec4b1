//! What rows must agree on among themselves, and what a foreman should know before boring.

use super::bases::{ROUNDED, setting_basis, site};
use super::columns::Column;
use super::finding::{Finding, shown};
use super::leg_plan::{Basis, LegPlan, Ticket, leg_text};
use crate::measure::length_text;
use crate::paper::words::Units;
use crate::readiness::frame::planned_arm;
use jiff::civil::Date;
use shared_protocol::state::{Leg, SheetUnits};
use shared_protocol::units::Micrometres;
use std::collections::BTreeMap;

/// A structure by its line and its name.
pub(super) type Key = (String, String);

/// Legs that are there twice, and structures whose legs make none. A structure of which the user leaves rows may be
/// incomplete: that is a warning.
pub(super) fn structures(legs: &[LegPlan], left: &[Key], problems: &mut Vec<Finding>, warnings: &mut Vec<Finding>) {
    let mut by_structure: BTreeMap<Key, Vec<&LegPlan>> = BTreeMap::new();
    for leg in legs {
        by_structure.entry((leg.line.clone(), leg.structure.clone())).or_default().push(leg);
    }
    for (key, legs) in &by_structure {
        let mut first: BTreeMap<u8, u32> = BTreeMap::new();
        for leg in legs {
            if let Some(row) = first.get(&leg.leg.raw()) {
                let what = format!(
                    "structure {} has its {} leg in row {row} already: leave one of the two out",
                    shown(&leg.structure),
                    leg_text(leg.leg)
                );
                problems.push(Finding::of_row(leg.row, what));
            } else {
                first.insert(leg.leg.raw(), leg.row);
            }
        }
        let is = |leg: Leg| first.contains_key(&leg.raw());
        let whole = match (is(Leg::Single), is(Leg::Left), is(Leg::Middle), is(Leg::Right)) {
            (true, left, middle, right) => !(left || middle || right),
            (false, left, _, right) => left && right,
        };
        warnings.extend(unlevel(legs));
        if !whole && let Some(leg) = legs.first() {
            let names: Vec<&str> = [Leg::Single, Leg::Left, Leg::Middle, Leg::Right].into_iter().filter(|l| is(*l)).map(leg_text).collect();
            let what = format!(
                "structure {} has {}: a structure is a single leg, left and right, or left, middle and right",
                shown(&leg.structure),
                names.join(" and ")
            );
            (if left.contains(key) { &mut *warnings } else { &mut *problems }).push(Finding::of_row(leg.row, what));
        }
    }
}

/// A structure whose arm would not be level though every hole came out as planned.
fn unlevel(legs: &[&LegPlan]) -> Option<Finding> {
    let mut legs = legs.to_vec();
    legs.sort_by_key(|leg| leg.leg.raw());
    let arm = planned_arm(&legs).filter(crate::readiness::frame::Arm::is_out)?;
    let (first, last) = (legs.first()?, legs.last()?);
    let units = if first.units == SheetUnits::FeetInches { Units::FeetInches } else { Units::Metric };
    let what = format!(
        "{} as planned: look at depths, grounds and pole lengths",
        crate::readiness::words::arm_between(&arm, leg_text(first.leg), leg_text(last.leg), units)
    );
    Some(Finding::of_row(first.row, what))
}

/// What to know of a leg before boring: nothing here stops anybody.
pub(super) fn warnings(leg: &LegPlan, today: Date) -> Vec<Finding> {
    let of = |column: Column, what: String| Finding { row: Some(leg.row), column: Some(column.head().to_owned()), read: None, what };
    let ticket = ticket(leg.ticket.as_ref(), today).map(|what| of(Column::Ticket, what));
    let basis = leg
        .basis
        .is_none()
        .then(|| of(Column::Basis, "is not said: write what set the depth, since one basis gives another than the next".to_owned()));
    let limits = [(Column::PlumbLimit, leg.plumb_limit), (Column::DepthUnder, leg.depth_under_m), (Column::DepthOver, leg.depth_over_m)];
    let missing = limits.into_iter().filter(|(_, limit)| limit.is_none());
    let missing = missing.map(|(column, _)| of(column, "is not set: a rig cannot be loaded from this row before it is".to_owned()));
    let shallow = shallower_than_basis(leg).map(|what| of(Column::Depth, what));
    let tight = tight(leg).map(|what| of(Column::Diameter, what));
    ticket.into_iter().chain(basis).chain(shallow).chain(missing).chain(tight).collect()
}

fn ticket(ticket: Option<&Ticket>, today: Date) -> Option<String> {
    let day = |text: &Option<String>| text.as_ref().and_then(|day| day.parse::<Date>().ok());
    let Some(ticket) = ticket else { return Some("there is none: have buried lines located before opening the ground".to_owned()) };
    let number = shown(&ticket.number);
    match (day(&ticket.from), day(&ticket.until)) {
        (_, None) => Some(format!("{number} has no last day: write until when it is valid")),
        (_, Some(until)) if until < today => Some(format!("{number} was valid until {until}: have buried lines located again")),
        (Some(from), _) if from > today => Some(format!("{number} is not valid before {from}")),
        _ => None,
    }
}

/// Whether the butt has less than the tamping room around it, in the middle of the hole.
fn tight(leg: &LegPlan) -> Option<String> {
    let butt = leg.butt?.diameter_m();
    let room = (leg.diameter_m - butt) / 2.0;
    let wanted = leg.tamping_room_m.unwrap_or(0.0);
    let text = |metres: f64| length_text(micrometres(metres), leg.units);
    (room < wanted - 1e-9).then(|| {
        if room <= 0.0 {
            format!("{} does not take a butt of {}", text(leg.diameter_m), text(butt))
        } else {
            format!(
                "{} leaves {} around a butt of {}, and {} is wanted for tamping",
                text(leg.diameter_m),
                text(room),
                text(butt),
                text(wanted)
            )
        }
    })
}

/// A planned depth that is shallower than its own basis gives; an owner's figure is its own basis, and of a pole that no table
/// lists nothing is said.
pub fn shallower_than_basis(leg: &LegPlan) -> Option<String> {
    let said = leg.basis.filter(|basis| *basis != Basis::OwnersFigure)?;
    let by_basis = setting_basis(said).depth(&site(leg))?;
    (leg.depth_m < by_basis - ROUNDED).then(|| {
        let text = |metres: f64| length_text(micrometres(metres), leg.units);
        format!("{} is less than {} by {}: correct it, or say whose figure it is", text(leg.depth_m), text(by_basis), said.text())
    })
}

/// Metres as lengths are shown.
fn micrometres(metres: f64) -> Micrometres {
    #[allow(clippy::cast_possible_truncation)] // saturates
    let whole = (metres * 1e6).round() as i32;
    Micrometres(whole)
}
