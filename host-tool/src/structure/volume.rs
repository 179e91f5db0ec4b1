//! How much earth: the hole, the pole in it, the backfill round it, and the spoil as bank, loose and compacted.
//!
//! Two conventions are both called shrinkage and differ (25 % is × 0.80 by one, × 0.75 by the other), so every factor here
//! names its own. Bank is the earth as it lay. Metres and cubic metres.

use super::{Confidence, FOOT, Source, Status};
use crate::judge::Figure;
use crate::judge::freedom::INTERVAL;
use std::f64::consts::PI;

/// Volume of a frustum of a cone by its radii and height: πh(a² + ab + b²)/3.
#[must_use]
pub fn frustum(a: f64, b: f64, height: f64) -> f64 {
    PI * height * (a * a + a * b + b * b) / 3.0
}

/// Cubic feet.
#[must_use]
pub fn cubic_feet(cubic_metres: f64) -> f64 {
    cubic_metres / FOOT.powi(3)
}

/// Cubic yards.
#[must_use]
pub fn cubic_yards(cubic_metres: f64) -> f64 {
    cubic_feet(cubic_metres) / 27.0
}

/// Radius of a hole at a depth, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    /// Below the datum.
    pub depth: f64,
    /// Radius there.
    pub radius: f64,
}

/// Volume of a hole, frusta between its sections from the first to the last, with what it is worth by the standard uncertainties
/// of all radii together and of the depth. `None` where fewer than two sections stand in order of depth.
#[must_use]
pub fn hole(sections: &[Section], radius_standard: f64, depth_standard: f64) -> Option<Figure> {
    let sound = |s: &Section| s.depth.is_finite() && s.radius.is_finite() && s.radius >= 0.0;
    let last = sections.last().filter(|_| sections.len() > 1)?;
    if !sections.iter().all(sound) || !sections.windows(2).all(|pair| pair[0].depth <= pair[1].depth) {
        return None;
    }
    let between = |pair: &[Section]| {
        let ([a, b], height) = ([pair[0].radius, pair[1].radius], pair[1].depth - pair[0].depth);
        (frustum(a, b, height), PI * height * (a + b)) // and the derivative for both radii
    };
    let (value, wall) = sections.windows(2).map(between).fold((0.0, 0.0), |sum, part| (sum.0 + part.0, sum.1 + part.1));
    let floor = PI * last.radius * last.radius;
    Some(Figure::of(value, INTERVAL * (wall * radius_standard).hypot(floor * depth_standard)))
}

/// What a percentage of shrinkage is meant by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shrink {
    /// Compacted = bank / (1 + s). Source: FHWA Federal Lands Highway PDDM 9.4.C, read.
    OverOnePlus,
    /// Compacted = bank × (1 − s), s a share of the bank volume. Quoted.
    OfBank,
}

impl Shrink {
    /// Compacted volume per bank volume, from a share of shrinkage (0.25 for 25 %).
    #[must_use]
    pub fn factor(self, shrinkage: f64) -> f64 {
        match self {
            Self::OverOnePlus => 1.0 / (1.0 + shrinkage),
            Self::OfBank => 1.0 - shrinkage,
        }
    }

    /// In plain words, for paper.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::OverOnePlus => "compacted = bank / (1 + shrinkage)",
            Self::OfBank => "compacted = bank × (1 − shrinkage), shrinkage in percent of bank",
        }
    }
}

/// Loose volume per bank volume, from a share of swell: 1 + s. Source: FHWA Federal Lands Highway PDDM 9.4.C, read.
#[must_use]
pub fn swell(share: f64) -> f64 {
    1.0 + share
}

/// A ground's volumes against the same earth in bank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Soil {
    /// Its name.
    pub name: &'static str,
    /// Loose per bank.
    pub loose: f64,
    /// Compacted per bank.
    pub compacted: f64,
    /// Where from.
    pub source: Source,
}

const FIELD_MANUAL: Source = Source { text: "FM 5-434, table 1-2, loose and compacted per bank", status: Status::Memory(Confidence::High) };

/// Presets, for when nobody gives factors of the site.
pub const SOILS: [Soil; 4] = [
    Soil {
        name: "sand",
        loose: 1.11,
        compacted: 0.95,
        source: Source { text: "soil conversion factors, table 10-1: 100 in place are 111 loose, 95 compacted", status: Status::Quoted },
    },
    Soil { name: "loam", loose: 1.25, compacted: 0.90, source: FIELD_MANUAL },
    Soil { name: "clay", loose: 1.43, compacted: 0.90, source: FIELD_MANUAL },
    Soil { name: "blasted rock", loose: 1.50, compacted: 1.30, source: FIELD_MANUAL },
];

/// A second published set of swell, as shares. Source: Alaska DOT 1983 by a page that quotes it. It has sand at 5 % where the first
/// has 11.
pub const SWELL_ALASKA: [(&str, f64); 9] = [
    ("sandy gravel", 0.05),
    ("sand", 0.05),
    ("silt", 0.35),
    ("loess", 0.35),
    ("shale", 0.40),
    ("siltstone", 0.45),
    ("sandstone", 0.61),
    ("limestone", 0.63),
    ("granite", 0.72),
];

/// The earth of one hole, cubic metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Earth {
    /// The hole: the spoil in bank.
    pub bank: f64,
    /// The pole below ground.
    pub pole: f64,
    /// Round the pole, tamped.
    pub backfill: f64,
    /// The spoil as it lies beside the hole.
    pub loose: f64,
    /// The spoil if all of it were tamped.
    pub compacted: f64,
    /// Loose spoil to keep for the backfill. More than `loose` where the spoil does not suffice.
    pub keep: f64,
    /// Loose spoil left over, to be hauled; negative: so much is to be brought.
    pub left: f64,
}

/// What becomes of a hole's earth once a pole stands in it, by loose and compacted volume per bank volume. `None` where a
/// factor is not a positive number, or the pole is larger than its hole.
#[must_use]
pub fn earth(hole: f64, pole: f64, loose: f64, compacted: f64) -> Option<Earth> {
    let sound =
        [loose, compacted].into_iter().all(|factor| factor > 0.0 && factor.is_finite()) && pole >= 0.0 && hole >= pole && hole.is_finite();
    let backfill = hole - pole;
    let keep = backfill / compacted * loose;
    sound.then_some(Earth { bank: hole, pole, backfill, loose: hole * loose, compacted: hole * compacted, keep, left: hole * loose - keep })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::structure::INCH;

    fn straight(feet: f64) -> Figure {
        let section = |depth| Section { depth, radius: 2.0 * FOOT };
        hole(&[section(0.0), section(feet * FOOT)], 0.0, 0.0).expect("a hole")
    }

    /// Check values §4, CALC: a 4 ft hole.
    #[test]
    fn holes_in_three_units() {
        for (feet, cubic, yards, metres) in
            [(10.0, 125.6637, 4.6542, 3.5584), (10.5, 131.9469, 4.8869, 3.7363), (11.0, 138.2301, 5.1196, 3.9142)]
        {
            let volume = straight(feet).value;
            let near = |got: f64, want: f64| (got - want).abs() < 5.1e-5;
            assert!(near(cubic_feet(volume), cubic) && near(cubic_yards(volume), yards) && near(volume, metres), "{feet}: {volume}");
        }
        assert!((cubic_feet(straight(10.1).value - straight(10.0).value) - 1.2566).abs() < 5e-5);
    }

    /// Check values §4, identity: V = πh(d₁² + d₁d₂ + d₂²)/12.
    #[test]
    fn a_hole_that_narrows_and_what_it_is_worth() {
        let sections = [(0.0, 0.6), (1.0, 0.6), (3.0, 0.4)].map(|(depth, radius)| Section { depth, radius });
        let want = PI * 0.36 + PI * 2.0 * (1.44 + 0.96 + 0.64) / 12.0;
        let got = hole(&sections, 0.01, 0.02).expect("a hole");
        assert!((got.value - want).abs() < 1e-12, "{got:?}");
        let larger = hole(&sections.map(|s| Section { radius: s.radius + 1e-6, ..s }), 0.0, 0.0).expect("a hole").value;
        let by_radius = (larger - got.value) / 1e-6 * 0.01;
        assert!((got.expanded / 1.96 - by_radius.hypot(PI * 0.16 * 0.02)).abs() < 1e-6, "{got:?}");
        let swapped = [sections[1], sections[0]];
        assert_eq!([hole(&swapped, 0.0, 0.0), hole(&sections[..1], 0.0, 0.0), hole(&[], 0.0, 0.0)], [None; 3]);
    }

    /// Check values §8, CALC: backfill of a 48 in hole round poles by the table.
    #[test]
    fn backfill_of_the_worked_poles() {
        for (depth, pole, backfill, yards) in
            [(9.0, 13.228, 99.869, 3.699), (9.0, 11.722, 101.375, 3.755), (10.0, 16.339, 109.325, 4.049), (10.0, 14.292, 111.372, 4.125)]
        {
            let earth = earth(straight(depth).value, pole * FOOT.powi(3), 1.0, 1.0).expect("factors");
            assert!(
                (cubic_feet(earth.backfill) - backfill).abs() < 1.1e-3 && (cubic_yards(earth.backfill) - yards).abs() < 6e-4,
                "{earth:?}"
            );
        }
        assert!((frustum(24.0 * INCH, 24.0 * INCH, 9.0 * FOOT) / FOOT.powi(3) - 113.097).abs() < 5e-4);
    }

    /// Check values §4: 0.80 SEEN (FHWA), 0.75 SEEN-2nd; 200 yd³ at 40 % is 280 loose, SEEN; swell 67 % is a load factor of 0.599, SEEN.
    #[test]
    fn two_conventions_of_shrinkage() {
        assert_eq!((Shrink::OverOnePlus.factor(0.25), Shrink::OfBank.factor(0.25)), (0.8, 0.75));
        assert_ne!(Shrink::OverOnePlus.text(), Shrink::OfBank.text());
        assert!(
            (swell(0.25) - 1.25).abs() < 1e-12 && (200.0 * swell(0.40) - 280.0).abs() < 1e-9 && (1.0 / swell(0.67) - 0.599).abs() < 5e-4
        );
    }

    /// Check values §4: sand SEEN-2nd; loam, clay, rock MEMORY high: a hole of 131.9469 ft³ loose.
    #[test]
    fn spoil_of_four_soils() {
        let hole = straight(10.5).value;
        let loose =
            SOILS.map(|soil| (cubic_yards(earth(hole, 0.0, soil.loose, soil.compacted).expect("factors").loose) * 1e3).round() / 1e3);
        assert_eq!(loose, [5.424, 6.109, 6.988, 7.330]);
    }

    #[test]
    fn spoil_kept_for_the_backfill_fills_it() {
        for soil in SOILS {
            let earth = earth(3.7, 0.4, soil.loose, soil.compacted).expect("factors");
            assert!((earth.keep / soil.loose * soil.compacted - 3.3).abs() < 1e-12, "what is kept, tamped, is the backfill: {earth:?}");
            assert!((earth.keep + earth.left - earth.loose).abs() < 1e-12, "{earth:?}");
            let lacking = soil.compacted * 3.7 < 3.3;
            assert_eq!(earth.left < 0.0, lacking, "{}: earth is to be brought where all of the spoil, tamped, is less", soil.name);
        }
        assert!(earth(3.7, 0.1, 1.43, 0.90).expect("factors").left < 0.0, "clay round a thin pole");
        assert_eq!([earth(1.0, 0.0, 0.0, 1.0), earth(1.0, 0.0, 1.0, f64::NAN), earth(1.0, 1.1, 1.0, 1.0)], [None; 3]);
        assert!(SWELL_ALASKA.iter().any(|(name, swell)| *name == "granite" && (swell - 0.72).abs() < 1e-9));
    }
}
