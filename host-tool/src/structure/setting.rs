//! How deep a pole is set, by each of the bases in use, with where it comes from. The bases disagree, so a planned
//! depth is worth nothing without the name of its own.

use super::{Confidence, FOOT, INCH, SAME, Source, Status};

/// What sets a planned depth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The owner's figure.
    Owner,
    /// Butt to groundline by the pole's length; the soil column of the tables that have one for rock too.
    Table,
    /// A transmission owner's table, which goes on at 95 ft where [`Basis::Table`] stops rising.
    TransmissionTable,
    /// Rock from the surface down.
    AllRock,
    /// A tenth of the length and two feet.
    TenthAndTwoFeet,
    /// The same, five feet at least.
    TenthAndTwoFeetAtLeastFive,
    /// A sixth of the length.
    Sixth,
    /// By how much soil lies over rock.
    SoilOverRock,
}

/// Every basis, in the order in which they are shown.
pub const BASES: [Basis; 8] = [
    Basis::Owner,
    Basis::Table,
    Basis::TransmissionTable,
    Basis::AllRock,
    Basis::SoilOverRock,
    Basis::TenthAndTwoFeet,
    Basis::TenthAndTwoFeetAtLeastFive,
    Basis::Sixth,
];

/// What the bases depend on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Site {
    /// The pole's nominal length, metres.
    pub length: f64,
    /// Soil over rock, metres; `None` where nobody knows or no rock is met.
    pub soil: Option<f64>,
    /// The owner's figure, metres.
    pub owner: Option<f64>,
}

/// One basis with what it says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Said {
    /// The basis.
    pub basis: Basis,
    /// Depth below the datum, metres; `None` where it says nothing.
    pub depth: Option<f64>,
    /// Where it comes from.
    pub source: Source,
}

/// Pole length, butt to groundline, transmission owner's table, all rock; feet.
type Row = (f64, f64, Option<f64>, Option<f64>);
const TABLE: [Row; 16] = [
    (20.0, 4.0, None, None),
    (25.0, 5.0, None, Some(3.5)),
    (30.0, 5.5, None, Some(3.5)),
    (35.0, 6.0, None, Some(4.0)),
    (40.0, 6.0, Some(6.0), Some(4.0)),
    (45.0, 6.5, Some(6.5), Some(4.5)),
    (50.0, 7.0, Some(7.0), Some(4.5)),
    (55.0, 7.5, Some(7.5), Some(5.0)),
    (60.0, 8.0, Some(8.0), Some(5.0)),
    (65.0, 8.5, Some(8.5), None),
    (70.0, 9.0, Some(9.0), None),
    (75.0, 9.5, Some(9.5), None),
    (80.0, 10.0, Some(10.0), None),
    (85.0, 10.5, Some(10.5), None),
    (90.0, 11.0, Some(11.0), None),
    (95.0, 11.0, Some(11.5), None),
];
/// Soil over rock above which the soil column holds.
const SOIL_MOST: f64 = 2.0 * FOOT;

impl Basis {
    /// In words.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Owner => "owner's figure",
            Self::Table => "table, butt to groundline",
            Self::TransmissionTable => "table, transmission owner's",
            Self::AllRock => "solid rock from the surface",
            Self::TenthAndTwoFeet => "10 % + 2 ft",
            Self::TenthAndTwoFeetAtLeastFive => "10 % + 2 ft, 5 ft at least",
            Self::Sixth => "1/6 of length",
            Self::SoilOverRock => "soil over rock",
        }
    }

    /// Where it comes from.
    #[must_use]
    pub fn source(self) -> Source {
        let (text, status) = match self {
            Self::Owner => ("the owner's figure", Status::Stated),
            Self::Table => (
                "Service Foresters' handbook, pole specifications (southern pine), after Hawes 1947 and the American standard",
                Status::Quoted,
            ),
            Self::TransmissionTable => ("transmission pole specification TS-7, Idaho PUC, 31 July 2024", Status::Read),
            Self::AllRock => ("lineman's handbook, section 11, solid rock", Status::Quoted),
            Self::TenthAndTwoFeet => ("a tenth of the length and 2 ft, without the 5 ft minimum; lineman's handbook", Status::Quoted),
            Self::TenthAndTwoFeetAtLeastFive => {
                ("a tenth of the length and 2 ft, 5 ft at least; lineman's handbook, 5th edition", Status::Quoted)
            }
            Self::Sixth => ("a sixth of the total length from the downhill side; Utah DOT standard", Status::Quoted),
            Self::SoilOverRock => ("RUS 1728F-803 and 1728F-804, soil over rock", Status::Memory(Confidence::High)),
        };
        Source { text, status }
    }

    /// Depth below the datum, metres. `None` for a length that its table does not list, and where what it depends on
    /// is not known: nothing is interpolated or extrapolated.
    #[must_use]
    pub fn depth(self, site: &Site) -> Option<f64> {
        let listed = TABLE.iter().find(|row| super::listed(row.0, site.length));
        let long = (site.length > 0.0 && site.length.is_finite()).then_some(site.length);
        let tenth = long.map(|length| length / 10.0 + 2.0 * FOOT);
        match self {
            Self::Owner => site.owner,
            Self::Table => listed.map(|row| row.1 * FOOT),
            Self::TransmissionTable => listed.and_then(|row| row.2).map(|feet| feet * FOOT),
            Self::AllRock => listed.and_then(|row| row.3).map(|feet| feet * FOOT),
            Self::TenthAndTwoFeet => tenth,
            Self::TenthAndTwoFeetAtLeastFive => tenth.map(|depth| depth.max(5.0 * FOOT)),
            Self::Sixth => long.map(|length| length / 6.0),
            Self::SoilOverRock => {
                let (soil, full) = (site.soil.filter(|soil| *soil >= 0.0)?, Self::Table.depth(site)?);
                if soil > SOIL_MOST + SAME { Some(full) } else { Some((soil + Self::AllRock.depth(site)?).min(full)) }
            }
        }
    }
}

/// Every basis side by side.
#[must_use]
pub fn all(site: &Site) -> Vec<Said> {
    BASES.into_iter().map(|basis| Said { basis, depth: basis.depth(site), source: basis.source() }).collect()
}

/// By how much a planned depth is shallower than its own basis says, metres: a finding. `None` where it is not, or the
/// basis says nothing.
#[must_use]
pub fn shallower(planned: f64, basis: Basis, site: &Site) -> Option<f64> {
    basis.depth(site).map(|depth| depth - planned).filter(|short| *short > SAME)
}

/// What an embedment may differ from the planned by, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Shallower.
    pub under: f64,
    /// Deeper.
    pub over: f64,
}

impl Window {
    /// ±6 in. Source: transmission pole specification TS-7, read.
    pub const SIX_INCHES: Self = Self { under: 6.0 * INCH, over: 6.0 * INCH };

    /// Whether a depth lies within, the ends too.
    #[must_use]
    pub fn holds(&self, planned: f64, depth: f64) -> bool {
        depth >= planned - self.under - SAME && depth <= planned + self.over + SAME
    }
}

/// Free space round a butt for backfill and tamping, metres. Source: US Army subcourse SS0439, p. 1-8, read.
pub const TAMPING_FOUR_INCHES: f64 = 4.0 * INCH;
/// The same by a pole-structure erection guide: 6 in over the full depth. Quoted.
pub const TAMPING_SIX_INCHES: f64 = 6.0 * INCH;

/// Diameter of the hole that a butt of `diameter` needs, with `room` all round it, metres.
#[must_use]
pub fn hole_for(diameter: f64, room: f64) -> f64 {
    diameter + 2.0 * room
}

/// How far the low lip of a round thing of `diameter` lies below its centre on ground of `slope` (m/m), metres: what a depth
/// that is counted from the centre reads too much of the depth on the low side. The rule speaks of the pole's low side.
#[must_use]
pub fn low_lip(diameter: f64, slope: f64) -> f64 {
    diameter / 2.0 * slope.abs()
}

/// Whether a hole of `diameter` in solid rock may be shallower than in firm ground: from 2 ft on it may not.
/// Source: US Army subcourse SS0439, p. 1-8, read.
#[must_use]
pub fn rock_may_be_shallower(diameter: f64) -> bool {
    diameter < 2.0 * FOOT - SAME
}

/// Whether a hole that ends on rock at `depth` may stay short of the `wanted` depth: rock within 6 in of it, and the poles
/// next to it at their full depth. Source: US Army subcourse SS0439, p. 1-9, read.
#[must_use]
pub fn rock_may_end_it(wanted: f64, depth: f64, neighbours_at_full_depth: bool) -> bool {
    neighbours_at_full_depth && wanted - depth <= 6.0 * INCH + SAME
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(feet: f64) -> Site {
        Site { length: feet * FOOT, ..Site::default() }
    }

    fn feet(basis: Basis, length: f64) -> Option<f64> {
        basis.depth(&site(length)).map(|depth| (depth / FOOT * 1e6).round() / 1e6)
    }

    fn lengths() -> impl Iterator<Item = f64> {
        (4..20).map(|n| 5.0 * f64::from(n))
    }

    /// Check values §1.1: butt to groundline and soil/rock, SEEN-2nd. TS-7 §1.2, SEEN.
    #[test]
    fn the_whole_table_and_nothing_outside_it() {
        let groundline = [4.0, 5.0, 5.5, 6.0, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5, 10.0, 10.5, 11.0, 11.0];
        let got: Vec<f64> = lengths().map(|l| feet(Basis::Table, l).expect("listed")).collect();
        assert_eq!(got, groundline);
        let rock: Vec<_> = lengths().filter_map(|l| feet(Basis::AllRock, l).map(|depth| (l, depth))).collect();
        assert_eq!(rock, [(25.0, 3.5), (30.0, 3.5), (35.0, 4.0), (40.0, 4.0), (45.0, 4.5), (50.0, 4.5), (55.0, 5.0), (60.0, 5.0)]);
        let transmission: Vec<_> = lengths().filter_map(|l| feet(Basis::TransmissionTable, l)).collect();
        assert_eq!(transmission, [6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5, 10.0, 10.5, 11.0, 11.5]);
        for outside in [0.0, 15.0, 19.0, 52.5, 100.0, 125.0, f64::NAN, f64::INFINITY] {
            let said = all(&Site { soil: Some(0.3), ..site(outside) });
            let tabulated =
                said.iter().filter(|s| !matches!(s.basis, Basis::TenthAndTwoFeet | Basis::TenthAndTwoFeetAtLeastFive | Basis::Sixth));
            assert!(tabulated.clone().count() == 5 && tabulated.into_iter().all(|s| s.depth.is_none()), "{outside}");
        }
        assert_eq!(Basis::Table.depth(&Site { length: 18.3, ..Site::default() }), Some(8.0 * FOOT), "60 ft on a sheet in metres");
    }

    /// Check values §1.1 and §13.1: the bare rule, as that table has it, differs at 25, 30, 35 and 95 ft only. Its minimum
    /// of 5 ft mends 25 ft and spoils 20 ft, where the table has 4 ft.
    #[test]
    fn the_rule_and_the_table_disagree_at_four_lengths() {
        let differ = |basis| -> Vec<_> {
            let apart = |l| feet(Basis::Table, l).expect("listed") - feet(basis, l).expect("a rule");
            lengths().map(|l| (l, apart(l))).filter(|(_, by)| by.abs() > 1e-6).collect()
        };
        assert_eq!(differ(Basis::TenthAndTwoFeet), [(25.0, 0.5), (30.0, 0.5), (35.0, 0.5), (95.0, -0.5)]);
        assert_eq!(differ(Basis::TenthAndTwoFeetAtLeastFive), [(20.0, -1.0), (30.0, 0.5), (35.0, 0.5), (95.0, -0.5)]);
        let conflict: Vec<_> =
            lengths().filter(|l| feet(Basis::TransmissionTable, *l).is_some_and(|d| Some(d) != feet(Basis::Table, *l))).collect();
        assert_eq!(conflict, [95.0], "the two tables");
        assert_eq!(feet(Basis::Sixth, 60.0), Some(10.0), "SEEN-2nd: 10 ft, not the table's 8");
    }

    /// Check values §1.2, MEMORY high: a 50 ft pole.
    #[test]
    fn soil_over_rock_steps_at_two_feet() {
        let depth =
            |soil: f64| Basis::SoilOverRock.depth(&Site { soil: Some(soil * FOOT), ..site(50.0) }).map(|d| (d / FOOT * 1e6).round() / 1e6);
        let got: Vec<_> = [0.0, 1.0, 2.0, 2.1].into_iter().map(|soil| depth(soil).expect("listed")).collect();
        assert_eq!(got, [4.5, 5.5, 6.5, 7.0]);
        let short = Site { soil: Some(1.9 * FOOT), ..site(25.0) };
        assert_eq!(Basis::SoilOverRock.depth(&short), Some(5.0 * FOOT), "3.5 + 1.9 is more than the soil column's 5.0");
        let none = [site(50.0), Site { soil: Some(-0.1), ..site(50.0) }, Site { soil: Some(0.1), ..site(70.0) }];
        assert!(none.iter().all(|site| Basis::SoilOverRock.depth(site).is_none()), "unknown soil, nonsense, no rock column");
        assert_eq!(Basis::SoilOverRock.depth(&Site { soil: Some(1.0), ..site(70.0) }), Some(9.0 * FOOT));
    }

    #[test]
    fn a_sheet_shallower_than_its_own_basis_is_a_finding() {
        let short = shallower(9.5 * FOOT, Basis::Table, &site(80.0)).expect("half a foot short");
        assert!((short - 0.5 * FOOT).abs() < 1e-9, "{short}");
        assert_eq!(shallower(10.0 * FOOT, Basis::Table, &site(80.0)), None);
        assert_eq!(shallower(1.0, Basis::Table, &site(81.0)), None, "no basis, no finding");
        assert!(shallower(2.0, Basis::Owner, &Site { owner: Some(2.2), ..site(80.0) }).is_some());
    }

    /// Check values §1.2, SEEN: TS-7 at an 80 ft pole.
    #[test]
    fn six_inches_either_way() {
        let passes = |depth: f64| Window::SIX_INCHES.holds(10.0 * FOOT, depth * FOOT);
        assert_eq!([9.49, 9.50, 10.50, 10.51].map(passes), [false, true, true, false]);
    }

    /// Check values §1.2: 4 in SEEN (SS0439), 6 in SEEN-2nd; low side CALC; rock SEEN (SS0439).
    #[test]
    fn room_low_side_and_rock() {
        assert!((hole_for(16.0 * INCH, TAMPING_FOUR_INCHES) - 24.0 * INCH).abs() < 1e-12, "butt + 8 in");
        assert!((hole_for(16.0 * INCH, TAMPING_SIX_INCHES) - 28.0 * INCH).abs() < 1e-12, "butt + 12 in");
        assert!((low_lip(4.0 * FOOT, 0.10) / FOOT - 0.20).abs() < 1e-12);
        assert!((low_lip(16.0 * INCH, -0.10) / FOOT - 0.066_667).abs() < 1e-6);
        assert_eq!([23.9 * INCH, 2.0 * FOOT, 4.0 * FOOT].map(rock_may_be_shallower), [true, false, false]);
        let may = |short: f64, neighbours| rock_may_end_it(3.0, 3.0 - short * INCH, neighbours);
        assert_eq!([may(6.0, true), may(6.1, true), may(6.0, false)], [true, false, false]);
    }

    #[test]
    fn every_basis_says_where_it_comes_from() {
        let texts: std::collections::BTreeSet<_> = all(&site(50.0)).into_iter().map(|said| said.source.text).collect();
        assert_eq!(texts.len(), BASES.len());
        assert_eq!(Basis::SoilOverRock.source().status.text(), "from memory, high confidence");
    }
}
