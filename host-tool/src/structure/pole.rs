//! How thick a pole is from its butt up: by tape where somebody taped it, else by the least that its class allows.
//!
//! The standard's tables give the least circumference 6 ft from the butt and at the top. Between the two, and on down to the butt, the
//! taper is taken as straight, unless a taper is given: an assumption, and steeper near the butt than the standard's own
//! note has it. A butt that was taped wins over the table. Lengths in metres, heights from the butt up.

use super::{Confidence, FOOT, INCH, Source, Status};
use std::f64::consts::{PI, TAU};

/// What tree a wood pole is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Species {
    /// Southern pine.
    SouthernPine,
    /// Douglas fir.
    DouglasFir,
    /// Another: no table is in hand.
    Other,
}

/// A wood pole's class.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// H1 and up, stouter than class 1.
    H(u8),
    /// Class 1 to 10, stoutest first.
    Ordinary(u8),
}

/// What was taped at the butt, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Taped {
    /// Round it.
    Circumference(f64),
    /// Across it.
    Diameter(f64),
}

/// What a pole is made of and what is known of its girth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Make {
    /// Wood, by species and class.
    Wood(Species, Class),
    /// Steel or concrete, round: diameter at butt and top, metres.
    Round(f64, f64),
}

/// A pole as the sheet and the yard describe it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pole {
    /// Its make.
    pub make: Make,
    /// Nominal length, metres.
    pub length: f64,
    /// The butt, taped.
    pub taped: Option<Taped>,
    /// Circumference lost per metre of height, where somebody gives it.
    pub taper: Option<f64>,
}

/// What no tape says. Common practice, no source, but for the ceiling.
#[derive(Clone, Copy, Debug)]
pub struct Allowances {
    /// Taping round a butt, standard deviation of the circumference, m.
    pub round: f64,
    /// Taping across a butt, standard deviation of the diameter, m: it is not round.
    pub across: f64,
    /// A butt's farthest point beyond its mean radius, standard deviation, m.
    pub out_of_round: f64,
    /// A made pole's radius, standard deviation, m.
    pub made: f64,
    /// How much more than its class's least circumference a pole may have, m, and as a share; the larger counts. Source:
    /// ANSI O5.1, 7 in or 20 %, MEMORY medium.
    pub ceiling: (f64, f64),
}

impl Default for Allowances {
    fn default() -> Self {
        Self { round: 0.005, across: 0.008, out_of_round: 0.004, made: 0.001_5, ceiling: (7.0 * INCH, 0.20) }
    }
}

/// Where a girth comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Girth {
    /// The butt was taped.
    Taped,
    /// The table's minimum: the pole may be larger.
    TablesMinimum,
    /// As made.
    Made,
}

impl Girth {
    /// In plain words, for paper.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Taped => "butt taped",
            Self::TablesMinimum => "table's minimum: the pole may be larger; tape the butt",
            Self::Made => "as made",
        }
    }
}

/// Where a taper comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taper {
    /// Given.
    Given,
    /// Straight from the top's least circumference through the one at 6 ft, on down to the butt.
    Straight,
    /// None: as thick as at the butt, since nothing else is known. On the safe side for the fit.
    None,
}

impl Taper {
    /// In plain words, for paper.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Given => "taper given",
            Self::Straight => "straight taper from the top through the 6 ft mark to the butt",
            Self::None => "no taper known: as thick as its butt",
        }
    }
}

/// A pole's outline: a frustum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outline {
    /// Radius at the butt, metres.
    pub butt: f64,
    /// Radius lost per metre of height.
    pub narrows: f64,
    /// Standard uncertainty of the radius, the same all along, metres.
    pub standard: f64,
    /// How much larger the radius may be though the table says less, metres: an allowance to one side, nought for a taped butt.
    pub larger: f64,
    /// Where the girth comes from.
    pub girth: Girth,
    /// Where the taper comes from.
    pub taper: Taper,
    /// The table, where one was used.
    pub source: Option<Source>,
}

impl Outline {
    /// A round pole of one thickness, as made.
    #[must_use]
    pub fn cylinder(radius: f64, standard: f64) -> Self {
        Self { butt: radius, narrows: 0.0, standard, larger: 0.0, girth: Girth::Made, taper: Taper::Given, source: None }
    }

    /// Radius at a height above the butt, metres.
    #[must_use]
    pub fn radius(&self, height: f64) -> f64 {
        (self.butt - self.narrows * height).max(0.0)
    }

    /// Volume of what stands below the ground, cubic metres.
    #[must_use]
    pub fn volume(&self, embedded: f64) -> f64 {
        super::volume::frustum(self.butt, self.radius(embedded), embedded)
    }

    /// The same pole, its radius `more` metres larger all along.
    #[must_use]
    pub fn stouter(&self, more: f64) -> Self {
        Self { butt: self.butt + more, ..*self }
    }
}

/// Length, then classes 1 to 5: least circumference 6 ft from the butt, feet and inches. Southern pine.
type Row = (f64, [Option<f64>; 5]);
const SIX_FEET: [Row; 12] = [
    (40.0, [Some(41.0), Some(38.5), Some(36.0), Some(33.5), Some(31.0)]),
    (45.0, [Some(43.0), Some(40.5), Some(37.5), Some(35.0), Some(32.5)]),
    (50.0, [Some(45.0), Some(42.0), Some(39.0), Some(36.5), Some(34.0)]),
    (55.0, [Some(46.5), Some(43.5), Some(40.5), Some(38.0), Some(35.0)]),
    (60.0, [Some(48.0), Some(45.0), Some(42.0), Some(39.0), Some(36.0)]),
    (65.0, [Some(49.5), Some(46.0), Some(43.0), Some(40.5), Some(37.5)]),
    (70.0, [Some(51.0), Some(48.0), Some(45.0), Some(41.5), Some(38.5)]),
    (75.0, [Some(52.5), Some(49.0), Some(46.0), Some(43.0), None]),
    (80.0, [Some(54.0), Some(50.5), Some(47.0), Some(44.0), None]),
    (85.0, [Some(55.0), Some(51.5), Some(48.0), None, None]),
    (90.0, [Some(56.0), Some(53.0), Some(49.0), None, None]),
    (95.0, [Some(57.0), Some(54.0), Some(50.0), None, None]),
];

/// Least circumference 6 ft from the butt, metres, with its source; `None` for what the table does not list: classes H1 and
/// up, other trees, other lengths. At 65 ft, class 2, it is 46.0 in by the handbook and 46.5 by memory of the standard.
#[must_use]
pub fn least_at_six_feet(species: Species, class: Class, length: f64) -> Option<(f64, Source)> {
    let source = match species {
        Species::SouthernPine => {
            Source { text: "least circumference 6 ft from the butt, Service Foresters' handbook, southern pine", status: Status::Quoted }
        }
        Species::DouglasFir => Source {
            text: "least circumference 6 ft from the butt, ANSI O5.1, Douglas fir as southern pine",
            status: Status::Memory(Confidence::Medium),
        },
        Species::Other => return None,
    };
    let Class::Ordinary(class) = class else { return None };
    let row = SIX_FEET.iter().find(|row| super::listed(row.0, length))?;
    let inches = (*row.1.get(usize::from(class).checked_sub(1)?)?)?;
    Some((inches * INCH, source))
}

/// Least circumference at the top, metres: classes 1 to 7, H1 to H5. Source: the handbook; legalbeagle.com for H; both quoted.
#[must_use]
pub fn least_at_top(class: Class) -> Option<f64> {
    match class {
        Class::Ordinary(class @ 1..=7) => Some((29.0 - 2.0 * f64::from(class)) * INCH),
        Class::H(class @ 1..=5) => Some((27.0 + 2.0 * f64::from(class)) * INCH),
        _ => None,
    }
}

impl Pole {
    /// Its outline; `None` where neither a tape nor a table says how thick it is, or what they say is no pole.
    #[must_use]
    pub fn outline(&self, allowances: &Allowances) -> Option<Outline> {
        let table = self.table();
        let straight = match self.make {
            Make::Wood(..) => table.map(|table| table.lost),
            Make::Round(butt, top) => (self.length > 0.0).then(|| PI * (butt - top) / self.length),
        };
        let (lost, taper) = match (self.taper, straight) {
            (Some(given), _) => (given, Taper::Given),
            (None, Some(lost)) => (lost, Taper::Straight),
            (None, None) => (0.0, Taper::None),
        };
        let wood = |standard: f64| standard.hypot(allowances.out_of_round);
        let (butt, standard, girth) = match (self.taped, self.make, table) {
            (Some(Taped::Circumference(round)), ..) => (round / TAU, wood(allowances.round / TAU), Girth::Taped),
            (Some(Taped::Diameter(across)), ..) => (across / 2.0, wood(allowances.across / 2.0), Girth::Taped),
            (None, Make::Round(across, _), _) => (across / 2.0, allowances.made, Girth::Made),
            (None, Make::Wood(..), table) => ((table?.six_feet + lost * 6.0 * FOOT) / TAU, wood(0.0), Girth::TablesMinimum),
        };
        let table = table.filter(|_| girth == Girth::TablesMinimum);
        let larger = table.map_or(0.0, |table| allowances.ceiling.0.max(allowances.ceiling.1 * table.six_feet) / TAU);
        let outline = Outline { butt, narrows: lost / TAU, standard, larger, girth, taper, source: table.map(|table| table.source) };
        (butt > 0.0 && butt.is_finite() && lost.is_finite()).then_some(outline)
    }

    fn table(&self) -> Option<Table> {
        let Make::Wood(species, class) = self.make else { return None };
        let (six_feet, source) = least_at_six_feet(species, class, self.length)?;
        let lost = (six_feet - least_at_top(class)?) / (self.length - 6.0 * FOOT);
        Some(Table { six_feet, lost, source })
    }
}

/// What the tables say of a pole: circumference at 6 ft, m; circumference lost per metre; where from.
#[derive(Clone, Copy)]
struct Table {
    six_feet: f64,
    lost: f64,
    source: Source,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pine(class: u8, feet: f64) -> Pole {
        Pole { make: Make::Wood(Species::SouthernPine, Class::Ordinary(class)), length: feet * FOOT, taped: None, taper: None }
    }

    fn outline(pole: &Pole) -> Outline {
        pole.outline(&Allowances::default()).expect("known")
    }

    /// Check values §8, derived by straight taper (CALC from SEEN-2nd).
    #[test]
    fn worked_poles_of_the_check_values() {
        // class, ft, set ft, taper in/ft, butt circumference and diameter, groundline ones, in, frustum ft³
        let rows = [
            (1, 70.0, 9.0, 0.3750, 53.25, 16.95, 49.88, 15.88, 13.228),
            (2, 70.0, 9.0, 0.3594, 50.16, 15.97, 46.92, 14.94, 11.722),
            (1, 80.0, 10.0, 0.3649, 56.19, 17.89, 52.54, 16.72, 16.339),
            (2, 80.0, 10.0, 0.3446, 52.57, 16.73, 49.12, 15.64, 14.292),
        ];
        for (class, feet, set, taper, round, across, ground_round, ground_across, cubic_feet) in rows {
            let got = outline(&pine(class, feet));
            let ground = got.radius(set * FOOT) / INCH;
            let near = |got: f64, want: f64, by: f64| assert!((got - want).abs() <= by, "class {class}, {feet} ft: {got} for {want}");
            near(got.narrows * TAU * FOOT / INCH, taper, 5e-5);
            near(got.butt * TAU / INCH, round, 0.005_1);
            near(got.butt * 2.0 / INCH, across, 0.005_1);
            near(ground * TAU, ground_round, 0.005_1);
            near(ground * 2.0, ground_across, 0.005_1);
            near(got.volume(set * FOOT) / FOOT.powi(3), cubic_feet, 6e-4);
            assert_eq!((got.girth, got.taper), (Girth::TablesMinimum, Taper::Straight));
            assert_eq!(got.source.map(|s| s.status), Some(Status::Quoted));
        }
    }

    /// Check values §8: minimum circumferences (SEEN-2nd), tops (SEEN-2nd); Douglas fir by MEMORY medium.
    #[test]
    fn the_tables_and_nothing_outside_them() {
        let pine = |class, feet: f64| {
            least_at_six_feet(Species::SouthernPine, Class::Ordinary(class), feet * FOOT).map(|(c, _)| (c / INCH * 10.0).round() / 10.0)
        };
        assert_eq!([pine(1, 40.0), pine(5, 70.0), pine(3, 95.0), pine(2, 65.0)], [41.0, 38.5, 50.0, 46.0].map(Some));
        assert_eq!([pine(0, 70.0), pine(6, 70.0), pine(5, 75.0), pine(1, 35.0), pine(1, 100.0), pine(1, 72.0)], [None; 6]);
        assert_eq!(SIX_FEET.iter().flat_map(|row| row.1).flatten().count(), 12 * 3 + 9 + 7);
        for row in &SIX_FEET {
            let falls = row.1.iter().flatten().collect::<Vec<_>>().windows(2).all(|pair| pair[0] > pair[1]);
            assert!(falls, "a higher class number is a thinner pole: {row:?}");
        }
        let fir = least_at_six_feet(Species::DouglasFir, Class::Ordinary(1), 70.0 * FOOT).expect("as pine");
        assert_eq!(((fir.0 / INCH).round(), fir.1.status), (51.0, Status::Memory(Confidence::Medium)));
        assert_eq!(least_at_six_feet(Species::Other, Class::Ordinary(1), 70.0 * FOOT), None);
        assert_eq!(least_at_six_feet(Species::SouthernPine, Class::H(1), 70.0 * FOOT), None, "no numbers in hand");
        let top = |class| least_at_top(class).map(|c| (c / INCH).round());
        let tops = [Class::Ordinary(1), Class::Ordinary(7), Class::H(1), Class::H(5)].map(top);
        assert_eq!(tops, [27.0, 15.0, 29.0, 37.0].map(Some));
        assert_eq!([Class::Ordinary(0), Class::Ordinary(8), Class::H(0), Class::H(6)].map(top), [None; 4]);
    }

    #[test]
    fn a_taped_butt_wins_and_says_so() {
        let round = outline(&Pole { taped: Some(Taped::Circumference(56.0 * INCH)), ..pine(1, 70.0) });
        let across = outline(&Pole { taped: Some(Taped::Diameter(56.0 * INCH / PI)), ..pine(1, 70.0) });
        for got in [round, across] {
            assert!((got.butt * TAU / INCH - 56.0).abs() < 1e-9, "{got:?}");
            assert_eq!((got.girth, got.taper, got.larger, got.source), (Girth::Taped, Taper::Straight, 0.0, None));
        }
        assert!(across.standard > round.standard, "one diameter says less of a butt that is not round");
        let unknown = Pole { make: Make::Wood(Species::Other, Class::Ordinary(1)), ..pine(1, 70.0) };
        assert_eq!(unknown.outline(&Allowances::default()), None, "neither table nor tape");
        let taped = outline(&Pole { taped: Some(Taped::Diameter(0.4)), ..unknown });
        assert_eq!((taped.taper, taped.radius(3.0)), (Taper::None, 0.2));
        assert_eq!(Pole { taped: Some(Taped::Diameter(-0.4)), ..unknown }.outline(&Allowances::default()), None);
    }

    /// ANSI O5.1, MEMORY medium: at most 7 in or 20 % over the least circumference, the larger of both.
    #[test]
    fn a_minimum_is_a_minimum() {
        let (stout, thin) = (outline(&pine(1, 70.0)), outline(&pine(5, 40.0)));
        assert!((stout.larger - 0.2 * 51.0 * INCH / TAU).abs() < 1e-12, "{stout:?}");
        assert!((thin.larger - 7.0 * INCH / TAU).abs() < 1e-12, "{thin:?}");
        assert!(stout.girth.text().contains("the pole may be larger"));
    }

    #[test]
    fn a_taper_given_and_a_pole_as_made() {
        // the standard's 0.25 in per ft for southern pine near the butt, MEMORY low
        let given = outline(&Pole { taper: Some(0.25 / 12.0), ..pine(1, 70.0) });
        assert!((given.butt * TAU / INCH - 52.5).abs() < 1e-9 && given.taper == Taper::Given, "51 + 6 × 0.25: {given:?}");
        let made = outline(&Pole { make: Make::Round(0.6, 0.3), length: 20.0, taped: None, taper: None });
        assert!(
            (made.radius(20.0) - 0.15).abs() < 1e-12 && (made.radius(0.0) - 0.3).abs() < 1e-12 && made.girth == Girth::Made,
            "{made:?}"
        );
        assert_eq!(made.radius(1e3), 0.0, "a pole ends");
        assert!((made.stouter(0.01).radius(20.0) - 0.16).abs() < 1e-12);
    }
}
