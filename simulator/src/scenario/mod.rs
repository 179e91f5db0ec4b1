//! Scenarios: what is drilled, in what ground, by what rig, and what goes wrong when. Each is a TOML file.
//!
//! Every name in one is invented, and everything made from one is marked SIMULATED by the rig's own identity.

mod check;

use crate::cable::CableSettings;
use crate::errors::Errors;
use crate::sensors::{FaultKind, Quality, SensorName};
use crate::world::ground::Layer;
use crate::world::mast::{LeanPoint, Wander};
use firmware_app::profile::{Profile, ToolEntry};
use serde::Deserialize;
use shared_protocol::record::Plan;
use shared_protocol::state::{Datum, Leg, SheetUnits};
use shared_protocol::units::{CentiDegrees, Lean, Micrometres};
use std::path::Path;

use crate::clock::round_i32;

/// The two-pole structure of the demonstration.
pub const TWO_POLE: &str = include_str!("../../scenarios/two-pole.toml");
/// A short hole in a world without wander, vibration or noise.
pub const STILL_HOLE: &str = include_str!("../../scenarios/still-hole.toml");
/// One hole with every fault in it.
pub const FAULT_PARADE: &str = include_str!("../../scenarios/fault-parade.toml");

/// One hole by a rig that has ordinary errors of every kind.
pub const ORDINARY: &str = include_str!("../../scenarios/ordinary.toml");

/// One structure's work.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// What it is, in words.
    pub title: String,
    /// The seed that it is run with when nobody says another.
    pub seed: u64,
    /// No wander, no vibration and no noise but what `[errors]` says: for exact comparisons.
    #[serde(default)]
    pub still: bool,
    /// The structure sheet.
    pub sheet: Sheet,
    /// The ground, from the top down.
    pub layer: Vec<Layer>,
    /// How the mast wanders.
    #[serde(default = "no_wander")]
    pub mast: Wander,
    /// How good the sensors are.
    #[serde(default)]
    pub sensors: Quality,
    /// What rig, rope, guide and people do to a measurement.
    #[serde(default)]
    pub errors: Errors,
    /// How good the cable is.
    #[serde(default)]
    pub cable: CableSettings,
    /// How the operator works.
    #[serde(default)]
    pub work: Work,
    /// Tools beside those of the bench's own table, or in place of those with the same number; the rig has to be told of
    /// them by calibration.
    #[serde(default)]
    pub tool: Vec<ToolShape>,
    /// The holes, in the order in which they are drilled.
    pub hole: Vec<HolePlan>,
}

fn no_wander() -> Wander {
    Wander { sd_mm_m: 0.0, over_s: 30.0 }
}

/// A tool as it truly is.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct ToolShape {
    /// Its number in the rig's table.
    pub number: u8,
    /// Pin to cutting edge, mm.
    pub length_mm: f64,
    /// Diameter that it cuts, mm.
    pub diameter_mm: f64,
}

/// What all holes of the structure have in common.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// Line.
    pub line: String,
    /// Structure.
    pub structure: String,
    /// Who drills.
    pub operator: String,
    /// Whether the sheet is in feet and inches.
    #[serde(default)]
    pub feet_and_inches: bool,
    /// What depths count from.
    pub datum: DatumName,
    /// Diameter of the holes, mm.
    pub diameter_mm: f64,
    /// Tool, by its number in the rig's table.
    pub tool: u8,
    /// How much less than planned is accepted, mm.
    pub depth_under_mm: f64,
    /// How much more than planned is accepted, mm.
    pub depth_over_mm: f64,
    /// The most lean accepted, mm/m.
    pub plumb_limit_mm_m: f64,
    /// From ahead on line to the rig's forward direction, clockwise, degrees.
    pub heading_deg: f64,
    /// How well the heading is known, half-width, degrees.
    pub heading_within_deg: f64,
}

/// What a sheet's depths count from.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub enum DatumName {
    /// Original ground at the pole's low side.
    LowSide,
    /// Grade at the stake.
    Stake,
    /// Graded pad.
    Pad,
}

/// Which pole of the structure.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub enum LegName {
    /// The only one.
    Single,
    /// Left, looking ahead on line.
    Left,
    /// Middle.
    Middle,
    /// Right, looking ahead on line.
    Right,
}

/// One hole.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct HolePlan {
    /// Which pole it is for.
    pub leg: LegName,
    /// Attempt at this leg, from 1.
    #[serde(default = "one")]
    pub attempt: u8,
    /// Planned depth below the datum, mm.
    pub depth_mm: f64,
    /// Hub above the datum, mm.
    pub hub_above_datum_mm: f64,
    /// Ground at the hole, below the hub, mm.
    pub ground_below_hub_mm: f64,
    /// How much deeper than planned the operator goes, mm; less where it is negative.
    #[serde(default)]
    pub drill_past_mm: f64,
    /// Set up over the hole drilled last, which is as deep as it was left; otherwise the ground is untouched.
    #[serde(default)]
    pub goes_on: bool,
    /// The mast's lean by depth of the bottom.
    pub lean: Vec<LeanPoint>,
    /// What happens on the way.
    #[serde(default)]
    pub event: Vec<Event>,
}

fn one() -> u8 {
    1
}

/// Something that happens once in a hole, when the bottom or the time is there.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct Event {
    /// When the bottom is so deep below the hub, mm.
    pub at_mm: Option<f64>,
    /// So long after the hole was begun, s.
    pub at_s: Option<f64>,
    /// What.
    pub what: Happening,
}

/// What can happen.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Happening {
    /// A sensor fails for a time.
    Fault {
        /// Which.
        sensor: SensorName,
        /// How.
        kind: FaultKind,
        /// How long, s.
        for_s: f64,
    },
    /// The cable to the host is out for a time.
    Unplug {
        /// How long, s.
        for_s: f64,
    },
    /// The rig and its sensors lose power for a time.
    PowerCut {
        /// How long, s.
        off_s: f64,
    },
    /// The operator puts another tool on.
    ChangeTool {
        /// Its number in the rig's table.
        tool: u8,
    },
    /// Somebody says something worth recording.
    Note {
        /// Who.
        author: String,
        /// What.
        text: String,
    },
}

/// How the operator works.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Work {
    /// New depth in one pass, mm.
    pub bite_mm: f64,
    /// How fast the tool goes up and down free, mm/s.
    pub hoist_mm_s: f64,
    /// How long the tip rests on the hub before anyone says so, s.
    pub dwell_s: f64,
    /// How long the tool is held at the bottom at the end, s.
    pub hold_s: f64,
    /// How long the operator waits for a cue to be done before giving up, s.
    pub patience_s: f64,
}

impl Default for Work {
    fn default() -> Self {
        Self { bite_mm: 350.0, hoist_mm_s: 700.0, dwell_s: 1.5, hold_s: 2.0, patience_s: 120.0 }
    }
}

/// Why a scenario cannot be run: one line that says where, what, and what was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScenarioFault(pub String);

impl std::fmt::Display for ScenarioFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for ScenarioFault {}

impl Scenario {
    /// Reads a scenario from a file.
    ///
    /// # Errors
    /// One line: the file, what is wrong, what was expected and what to do.
    pub fn load(path: &Path) -> Result<Self, ScenarioFault> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path)
            .map_err(|error| ScenarioFault(format!("{name}: cannot be read ({error}); give the path of a scenario file")))?;
        Self::parse(&name, &text)
    }

    /// Reads a scenario from text; `name` is what errors call it.
    ///
    /// # Errors
    /// As [`Scenario::load`].
    pub fn parse(name: &str, text: &str) -> Result<Self, ScenarioFault> {
        let scenario: Self = toml::from_str(text).map_err(|error| {
            let line =
                error.span().map_or(1, |span| 1 + text.as_bytes()[..span.start.min(text.len())].iter().filter(|b| **b == b'\n').count());
            let what = error.message().replace('\n', " ");
            ScenarioFault(format!("{name}: line {line}: {what}; mend that line, simulator/scenarios holds files that work"))
        })?;
        scenario.check(name)?;
        Ok(scenario)
    }

    /// Whether it can be run: for one that was put together and not read; `name` is what errors call it.
    ///
    /// # Errors
    /// As [`Scenario::load`].
    pub fn check(&self, name: &str) -> Result<(), ScenarioFault> {
        let fault = check::faults(self).into_iter().next();
        fault.map_or(Ok(()), |fault| Err(ScenarioFault(format!("{name}: {fault}; mend the file"))))
    }

    /// Every tool that can be on: the bench's own table with this scenario's in it.
    #[must_use]
    pub fn tools(&self) -> Vec<ToolEntry> {
        let um = |mm: f64| Micrometres(round_i32(mm * 1_000.0));
        let own = |t: &ToolShape| ToolEntry { number: t.number, length: um(t.length_mm), diameter: um(t.diameter_mm) };
        let bench = Profile::bench().tools;
        let kept = bench.iter().filter(|t| self.tool.iter().all(|own| own.number != t.number)).copied();
        kept.chain(self.tool.iter().map(own)).collect()
    }

    /// What the host is to load for a hole, counted from 0; `None` where there is no such hole.
    #[must_use]
    pub fn plan(&self, hole: usize) -> Option<Plan> {
        let (sheet, hole) = (&self.sheet, self.hole.get(hole)?);
        let um = |mm: f64| Micrometres(round_i32(mm * 1_000.0));
        let leg = match hole.leg {
            LegName::Single => Leg::Single,
            LegName::Left => Leg::Left,
            LegName::Middle => Leg::Middle,
            LegName::Right => Leg::Right,
        };
        let datum = match sheet.datum {
            DatumName::LowSide => Datum::LowSide,
            DatumName::Stake => Datum::Stake,
            DatumName::Pad => Datum::Pad,
        };
        let units = if sheet.feet_and_inches { SheetUnits::FeetInches } else { SheetUnits::Metric };
        Some(Plan {
            line: sheet.line.as_str().try_into().ok()?,
            structure: sheet.structure.as_str().try_into().ok()?,
            leg: leg.raw(),
            attempt: hole.attempt,
            setup: 1,
            operator: sheet.operator.as_str().try_into().ok()?,
            units: units.raw(),
            datum: datum.raw(),
            depth: um(hole.depth_mm),
            hub_above_datum: um(hole.hub_above_datum_mm),
            diameter: um(sheet.diameter_mm),
            tool: sheet.tool,
            depth_under: um(sheet.depth_under_mm),
            depth_over: um(sheet.depth_over_mm),
            plumb_limit: Lean(round_i32(sheet.plumb_limit_mm_m * 1_000.0)),
            heading: CentiDegrees(round_i32(sheet.heading_deg * 100.0)),
            heading_within: CentiDegrees(round_i32(sheet.heading_within_deg * 100.0)),
        })
    }
}

impl HolePlan {
    /// Where the operator stops, below the hub, mm.
    #[must_use]
    pub fn target_mm(&self) -> f64 {
        self.depth_mm + self.hub_above_datum_mm + self.drill_past_mm
    }
}
