//! What each basis of setting depth says of a leg, beside what the sheet plans: they disagree, and none of them is the one.

use super::leg_plan::{Basis, LegPlan};
use crate::structure::setting::{self, Site};

/// A sheet in feet and a rule in metres are rounded apart by less than this, metres.
pub const ROUNDED: f64 = 1e-3;

/// One basis beside a leg's planned depth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// What the basis says.
    pub said: setting::Said,
    /// The sheet names it as its own.
    pub own: bool,
    /// How much deeper the sheet plans than the basis says, metres; shallower is negative. `None` where the basis says nothing,
    /// nought where the two differ by rounding.
    pub deeper: Option<f64>,
}

/// Every basis beside a leg's planned depth.
#[must_use]
pub fn bases(leg: &LegPlan) -> Vec<Beside> {
    let (own, site) = (leg.basis.map(setting_basis), site(leg));
    let beside = |said: setting::Said| {
        let deeper = said.depth.map(|depth| leg.depth_m - depth).map(|by| if by.abs() < ROUNDED { 0.0 } else { by });
        Beside { said, own: own == Some(said.basis), deeper }
    };
    setting::all(&site).into_iter().map(beside).collect()
}

/// A sheet's basis as the tables know it. The sheet's 10 % and 2 ft is the bare rule, without a minimum.
pub(super) const fn setting_basis(basis: Basis) -> setting::Basis {
    match basis {
        Basis::OwnersFigure => setting::Basis::Owner,
        Basis::Table => setting::Basis::Table,
        Basis::TenPercentPlusTwoFeet => setting::Basis::TenthAndTwoFeet,
        Basis::SixthOfLength => setting::Basis::Sixth,
        Basis::SoilOverRock { .. } => setting::Basis::SoilOverRock,
    }
}

/// What the bases depend on, as far as a row says it.
pub(super) fn site(leg: &LegPlan) -> Site {
    let soil = if let Some(Basis::SoilOverRock { soil_depth_m }) = leg.basis { Some(soil_depth_m) } else { None };
    let owner = (leg.basis == Some(Basis::OwnersFigure)).then_some(leg.depth_m);
    Site { length: leg.pole_length_m.unwrap_or(0.0), soil, owner }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::tests::{SHEET, read_text};
    use crate::structure::FOOT;

    /// Planned by the table for each length. Check values §1.1: butt to groundline (Service Foresters' handbook, SEEN-2nd) less
    /// 10 % and 2 ft (arithmetic) is +0.5 ft at 25, 30 and 35 ft, −0.5 ft at 95 ft, and nought at every other length.
    #[test]
    fn the_table_and_the_rule_stand_side_by_side_and_part_at_four_lengths() {
        let table = [4.0, 5.0, 5.5, 6.0, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5, 10.0, 10.5, 11.0, 11.0];
        let leg = read_text(SHEET).unwrap().legs.remove(0);
        let mut apart = Vec::new();
        for (length, depth) in (4..20).map(|n| 5.0 * f64::from(n)).zip(table) {
            let row = LegPlan { pole_length_m: Some(length * FOOT), depth_m: depth * FOOT, ..leg.clone() };
            let all = bases(&row);
            let own: Vec<&Beside> = all.iter().filter(|beside| beside.own).collect();
            assert_eq!((own.len(), own[0].said.basis, own[0].deeper), (1, setting::Basis::Table, Some(0.0)), "{length}");
            let rule = all.iter().find(|beside| beside.said.basis == setting::Basis::TenthAndTwoFeet).unwrap();
            let by = (rule.deeper.unwrap() / FOOT * 1e6).round() / 1e6;
            apart.extend((by != 0.0).then_some((length, by)));
        }
        assert_eq!(apart, [(25.0, 0.5), (30.0, 0.5), (35.0, 0.5), (95.0, -0.5)]);
    }

    #[test]
    fn an_owners_figure_and_soil_are_said_only_where_the_row_says_them() {
        let legs = read_text(SHEET).unwrap().legs;
        let said = |leg: &LegPlan, basis| {
            let beside = bases(leg).into_iter().find(|beside| beside.said.basis == basis).unwrap();
            (beside.own, beside.said.depth.is_some())
        };
        assert_eq!((said(&legs[1], setting::Basis::Owner), said(&legs[0], setting::Basis::Owner)), ((true, true), (false, false)));
        let rock = legs.last().unwrap();
        assert_eq!(said(rock, setting::Basis::SoilOverRock), (true, true));
        assert_eq!(said(&legs[0], setting::Basis::SoilOverRock), (false, false));
        let bare = LegPlan { basis: None, pole_length_m: None, ..legs[0].clone() };
        assert!(bases(&bare).iter().all(|beside| !beside.own && beside.deeper.is_none()));
    }
}
