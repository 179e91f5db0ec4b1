//! One row of a structure sheet, in metres and plain words: what a hole is to be.
//!
//! It is kept as JSON, so names of fields and words in it never change their meaning: add others.

use serde::{Deserialize, Serialize};
use shared_protocol::record::Plan;
use shared_protocol::state::{Datum, Leg, SheetUnits};
use shared_protocol::units::{CentiDegrees, Lean, Micrometres};
use std::f64::consts::PI;

/// The plan of one leg's hole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LegPlan {
    /// The row that it stands in, as its file counts them.
    pub row: u32,
    /// Line; empty where the sheet names none.
    pub line: String,
    /// Structure.
    pub structure: String,
    /// Leg, looking ahead on line.
    #[serde(with = "legs")]
    pub leg: Leg,
    /// The row's own units, after those of its depth.
    #[serde(with = "units")]
    pub units: SheetUnits,
    /// Station as the line's own stationing writes it.
    pub station: Option<String>,
    /// From the line, right of somebody who looks ahead positive, metres.
    pub offset_m: Option<f64>,
    /// Degrees, north positive.
    pub latitude_deg: Option<f64>,
    /// Degrees, east positive.
    pub longitude_deg: Option<f64>,
    /// Planned depth below the datum, metres.
    pub depth_m: f64,
    /// What set that depth; `None` where the sheet does not say.
    pub basis: Option<Basis>,
    /// What depths count from.
    #[serde(with = "datums")]
    pub datum: Datum,
    /// Diameter of the hole, metres.
    pub diameter_m: f64,
    /// Length of the pole, metres.
    pub pole_length_m: Option<f64>,
    /// Class of the pole.
    pub pole_class: Option<String>,
    /// Species or material of the pole.
    pub species: Option<String>,
    /// The butt as it was measured.
    pub butt: Option<Butt>,
    /// Taped from butt to framing, metres.
    pub butt_to_framing_m: Option<f64>,
    /// Tag of the pole.
    pub pole_tag: Option<String>,
    /// Elevation of the original ground, metres.
    pub ground_original_m: Option<f64>,
    /// Elevation of the graded pad, metres.
    pub ground_pad_m: Option<f64>,
    /// Between the structure's poles as framed, metres.
    pub framed_spacing_m: Option<f64>,
    /// Ahead on line, clockwise from north, degrees.
    pub line_heading_deg: Option<f64>,
    /// How the line turns, right positive, degrees.
    pub line_angle_deg: Option<f64>,
    /// Where the guy leads, clockwise from north, degrees.
    pub guy_direction_deg: Option<f64>,
    /// Rake against the strain, sideways over height.
    pub rake: Option<f64>,
    /// Room around the butt for tamping, metres.
    pub tamping_room_m: Option<f64>,
    /// The most lean of the hole, sideways over depth.
    pub plumb_limit: Option<f64>,
    /// How much less than planned is accepted, metres.
    pub depth_under_m: Option<f64>,
    /// How much more than planned is accepted, metres.
    pub depth_over_m: Option<f64>,
    /// How far the hole's centre may be from the stake, metres.
    pub centre_offset_limit_m: Option<f64>,
    /// The utility-locate ticket.
    pub ticket: Option<Ticket>,
    /// Whatever else there is to say.
    pub remarks: String,
}

/// What set a planned depth. They disagree, so a depth is worth what its basis is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// The owner's own figure.
    OwnersFigure,
    /// A table of depth by pole length.
    Table,
    /// A tenth of the pole's length and 2 ft.
    TenPercentPlusTwoFeet,
    /// A sixth of the pole's length.
    SixthOfLength,
    /// Soil over rock.
    SoilOverRock {
        /// Depth of the soil, metres.
        soil_depth_m: f64,
    },
}

impl Basis {
    /// In words.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::OwnersFigure => "owner's figure",
            Self::Table => "table",
            Self::TenPercentPlusTwoFeet => "10 % + 2 ft",
            Self::SixthOfLength => "1/6 of length",
            Self::SoilOverRock { .. } => "soil over rock",
        }
    }
}

/// A butt as it was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Butt {
    /// Round it, metres.
    CircumferenceM(f64),
    /// Across it, metres.
    DiameterM(f64),
}

impl Butt {
    /// Its diameter, metres; of a circumference as if it were round.
    #[must_use]
    pub fn diameter_m(self) -> f64 {
        match self {
            Self::CircumferenceM(round) => round / PI,
            Self::DiameterM(across) => across,
        }
    }
}

/// A utility-locate ticket, its days as ISO 8601 writes them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ticket {
    /// Its number.
    pub number: String,
    /// The first day on which it is valid.
    pub from: Option<String>,
    /// The last day on which it is valid.
    pub until: Option<String>,
}

/// What the sheet does not know of a set-up and the crew does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OnSite<'a> {
    /// Attempt at this leg, from 1.
    pub attempt: u8,
    /// Set-up within the attempt, from 1.
    pub setup: u8,
    /// Who drills.
    pub operator: &'a str,
    /// Tool by its number in the rig's table.
    pub tool: u8,
    /// Hub above the datum.
    pub hub_above_datum: Micrometres,
    /// From ahead on line to the rig's forward direction, clockwise.
    pub heading: CentiDegrees,
    /// How well that is known.
    pub heading_within: CentiDegrees,
}

/// Why a hole cannot be loaded from a row.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unloadable {
    /// A limit that nobody set is none.
    #[error("row {row} has no {limit}: a hole cannot be judged without it, so add it to the sheet")]
    Lacking {
        /// The row.
        row: u32,
        /// Which.
        limit: &'static str,
    },
    /// A name longer than the rig's record.
    #[error("{0} is too long: at most {1} bytes")]
    Long(&'static str, usize),
    /// What the crew says cannot be.
    #[error("{0}")]
    Wrong(&'static str),
}

/// Bytes that the rig's records keep of a line's name.
pub const LINE_BYTES_MAX: usize = 24;
/// Bytes that the rig's records keep of a structure's name.
pub const STRUCTURE_BYTES_MAX: usize = 16;

impl LegPlan {
    /// "41" or "41 left".
    #[must_use]
    pub fn name(&self) -> String {
        match self.leg {
            Leg::Single => self.structure.clone(),
            leg => format!("{} {}", self.structure, leg_text(leg)),
        }
    }

    /// The plan that loads this hole into a rig.
    ///
    /// # Errors
    /// See [`Unloadable`].
    pub fn plan(&self, on_site: &OnSite) -> Result<Plan, Unloadable> {
        let OnSite { attempt, setup, operator, tool, hub_above_datum, heading, heading_within } = *on_site;
        if attempt == 0 || setup == 0 || tool == 0 {
            return Err(Unloadable::Wrong("attempt, set-up and tool are counted from 1"));
        }
        if !(0..36_000).contains(&heading.0) || !(0..=18_000).contains(&heading_within.0) {
            return Err(Unloadable::Wrong("the heading is 0 to 360 degrees, known within 180 at most"));
        }
        let lacking = |limit| Unloadable::Lacking { row: self.row, limit };
        let micrometres = |metres: f64| Micrometres(millionths(metres));
        let length = |metres: Option<f64>, limit| metres.map(micrometres).ok_or_else(|| lacking(limit));
        Ok(Plan {
            line: kept("line", &self.line)?,
            structure: kept("structure", &self.structure)?,
            leg: self.leg.raw(),
            attempt,
            setup,
            operator: kept("operator", operator)?,
            units: self.units.raw(),
            datum: self.datum.raw(),
            depth: micrometres(self.depth_m),
            hub_above_datum,
            diameter: micrometres(self.diameter_m),
            tool,
            depth_under: length(self.depth_under_m, "depth under")?,
            depth_over: length(self.depth_over_m, "depth over")?,
            plumb_limit: Lean(millionths(self.plumb_limit.ok_or_else(|| lacking("plumb limit"))?)),
            heading,
            heading_within,
        })
    }
}

fn kept<const N: usize>(what: &'static str, text: &str) -> Result<heapless::String<N>, Unloadable> {
    heapless::String::try_from(text).map_err(|_| Unloadable::Long(what, N))
}

/// To the nearest millionth; what a sheet may hold is far within 32 bits.
fn millionths(value: f64) -> i32 {
    #[allow(clippy::cast_possible_truncation)] // saturates
    let whole = (value * 1e6).round() as i32;
    whole
}

/// A leg in a word.
#[must_use]
pub const fn leg_text(leg: Leg) -> &'static str {
    match leg {
        Leg::Single => "single",
        Leg::Left => "left",
        Leg::Middle => "middle",
        Leg::Right => "right",
    }
}

/// A datum in words.
#[must_use]
pub const fn datum_text(datum: Datum) -> &'static str {
    match datum {
        Datum::LowSide => "original ground, low side",
        Datum::Stake => "grade at the stake",
        Datum::Pad => "graded pad",
    }
}

/// Codes of the wire by their names.
macro_rules! named {
    ($module:ident, $code:ident, $($name:literal $value:expr),*) => {
        mod $module {
            use super::$code;
            use serde::de::{Deserialize, Deserializer, Error};
            use serde::ser::Serializer;

            // serde hands over a reference.
            #[allow(clippy::trivially_copy_pass_by_ref)]
            pub fn serialize<S: Serializer>(code: &$code, serializer: S) -> Result<S::Ok, S::Error> {
                $(if *code == $value { return serializer.serialize_str($name); })*
                Err(serde::ser::Error::custom("a code without a name"))
            }

            pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<$code, D::Error> {
                let name = String::deserialize(deserializer)?;
                $(if name == $name { return Ok($value); })*
                Err(D::Error::custom("no such name"))
            }
        }
    };
}

named!(legs, Leg, "single" Leg::Single, "left" Leg::Left, "middle" Leg::Middle, "right" Leg::Right);
named!(units, SheetUnits, "metric" SheetUnits::Metric, "feet_inches" SheetUnits::FeetInches);
named!(datums, Datum, "low_side" Datum::LowSide, "stake" Datum::Stake, "pad" Datum::Pad);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::tests::{SHEET, read_text};

    #[test]
    fn a_row_is_kept_as_it_is_under_names_that_do_not_change() {
        let sheet = read_text(SHEET).unwrap();
        for leg in &sheet.legs {
            let json = serde_json::to_string(leg).unwrap();
            assert_eq!(serde_json::from_str::<LegPlan>(&json).unwrap(), *leg, "{json}");
        }
        let left = serde_json::to_value(&sheet.legs[0]).unwrap();
        assert_eq!((&left["leg"], &left["units"], &left["datum"]), (&"left".into(), &"feet_inches".into(), &"low_side".into()));
        assert_eq!(left["basis"], "table");
        assert_eq!(left["butt"]["circumference_m"], 1.27);
        assert_eq!(left["ticket"]["until"], "2026-12-15");
        let rock = serde_json::to_value(sheet.legs.last().unwrap()).unwrap();
        assert_eq!(rock["basis"]["soil_over_rock"]["soil_depth_m"], 0.6096);
    }

    #[test]
    fn a_row_loads_a_hole() {
        let mut leg = read_text(SHEET).unwrap().legs.remove(0);
        let on_site = OnSite {
            attempt: 1,
            setup: 1,
            operator: "nobody",
            tool: 2,
            hub_above_datum: Micrometres::from_mm(60),
            heading: CentiDegrees(9_000),
            heading_within: CentiDegrees(1_000),
        };
        let plan = leg.plan(&on_site).unwrap();
        assert_eq!((plan.line.as_str(), plan.structure.as_str(), plan.leg), ("SIMULATED tie", "41", Leg::Left.raw()));
        assert_eq!((plan.depth.0, plan.diameter.0, plan.depth_under.0, plan.plumb_limit.0), (3_048_000, 1_219_200, 152_400, 20_833));
        assert_eq!((plan.units, plan.datum), (SheetUnits::FeetInches.raw(), Datum::LowSide.raw()));
        assert!(leg.plan(&OnSite { tool: 0, ..on_site.clone() }).is_err());
        assert!(leg.plan(&OnSite { heading: CentiDegrees(36_000), ..on_site.clone() }).is_err());
        assert_eq!(leg.plan(&OnSite { operator: &"x".repeat(25), ..on_site.clone() }), Err(Unloadable::Long("operator", 24)));
        leg.plumb_limit = None;
        let said = leg.plan(&on_site).unwrap_err().to_string();
        assert!(said.starts_with("row 2 has no plumb limit"), "{said}");
    }
}
