//! How a hole turns out: ground, lean and depth, drawn from the line's seed and the row of the sheet; a few on purpose.

use host_tool::sheet::{Basis, LegPlan};
use shared_protocol::state::{Datum, Leg, SheetUnits};
use simulator::chance::{Chance, Drawer};
use simulator::scenario::{DatumName, Event, Happening, HolePlan, LegName, Scenario};
use simulator::world::ground::Layer;
use simulator::world::mast::LeanPoint;

/// The tool that drills pilots, in the line's table.
const PILOT: u8 = 5;

/// What is written for a hole and not left to chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Incident {
    /// Shallower than the sheet accepts.
    Shallow,
    /// Deeper than it accepts.
    Deep,
    /// Further out of plumb than it accepts.
    OutOfPlumb,
    /// Within what is accepted, and at odds with the leg beside it.
    OneOfAPair {
        /// How much past the plan, mm.
        past_mm: i16,
    },
    /// Given up at a boulder and filled again; a second attempt beside it is drilled.
    Boulder,
    /// A pilot first, then the whole width.
    Pilot,
    /// Not finished on the day: set up again over it on the next.
    SecondDay,
    /// Drilled, and nobody says how it is kept.
    Uncovered,
    /// Not drilled yet.
    NotYet,
    /// Drilled, and not closed when the work stops.
    Unclosed,
}

/// What befalls which hole.
const INCIDENTS: [(&str, Leg, Incident); 11] = [
    ("111", Leg::Single, Incident::Shallow),
    ("113", Leg::Left, Incident::OutOfPlumb),
    ("115", Leg::Single, Incident::Deep),
    ("117", Leg::Left, Incident::OneOfAPair { past_mm: 110 }),
    ("117", Leg::Right, Incident::OneOfAPair { past_mm: -110 }),
    ("118", Leg::Single, Incident::Boulder),
    ("119", Leg::Middle, Incident::SecondDay),
    ("123", Leg::Left, Incident::Pilot),
    ("128", Leg::Single, Incident::Uncovered),
    ("141", Leg::Single, Incident::NotYet),
    ("142", Leg::Right, Incident::Unclosed),
];

/// What is written for this leg.
pub fn incident(leg: &LegPlan) -> Option<Incident> {
    INCIDENTS.iter().find(|(structure, which, _)| (*structure, *which) == (leg.structure.as_str(), leg.leg)).map(|(.., what)| *what)
}

/// Which part of a hole's life a set-up is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// All of it, to its depth.
    Whole,
    /// As far as it comes, and no further.
    CutShort,
    /// The rest, over the same hole.
    Rest,
}

/// The scenario of one set-up at a leg; the attempt is counted from 1. All parts of an attempt have the same ground and hub.
pub fn scenario(base: &Scenario, leg: &LegPlan, attempt: u8, part: Part) -> Scenario {
    let chance = &mut Chance::new(base.seed + u64::from(leg.row) + 1_000 * u64::from(attempt - 1), Drawer::Hole);
    let incident = incident(leg);
    let hub_above_datum_mm = (40.0 + 25.0 * chance.bell().clamp(-2.5, 2.5)).round();
    let depth_mm = leg.depth_m * 1e3;
    let mut one = base.clone();
    one.title = format!("{} attempt {attempt} (SIMULATED)", leg.name());
    one.layer = layers(leg, chance);
    one.errors.depth.hub_level_mm = 3.0 * chance.bell();
    one.errors.depth.floor_mm = -4.0 + 5.0 * chance.bell();
    one.errors.path.heading_deg = 3.0 * chance.bell();
    one.sheet.line.clone_from(&leg.line);
    one.sheet.structure.clone_from(&leg.structure);
    one.sheet.feet_and_inches = leg.units == SheetUnits::FeetInches;
    one.sheet.datum = match leg.datum {
        Datum::LowSide => DatumName::LowSide,
        Datum::Stake => DatumName::Stake,
        Datum::Pad => DatumName::Pad,
    };
    one.sheet.diameter_mm = leg.diameter_m * 1e3;
    let full = tool_for(base, leg.diameter_m * 1e3);
    one.sheet.tool = if incident == Some(Incident::Pilot) { PILOT } else { full };
    let mut hole = HolePlan {
        leg: leg_name(leg.leg),
        attempt,
        depth_mm,
        hub_above_datum_mm,
        // the middle of the hole is a little above the pole's low side
        ground_below_hub_mm: hub_above_datum_mm - (40.0 * chance.uniform()).round(),
        drill_past_mm: 35.0 + (10.0 * chance.bell()).round(),
        goes_on: part == Part::Rest,
        lean: lean(depth_mm, incident, chance),
        event: Vec::new(),
    };
    match incident {
        _ if part == Part::CutShort => hole.drill_past_mm = -(depth_mm * 0.45).round(),
        Some(Incident::Shallow) => hole.drill_past_mm = -260.0,
        Some(Incident::Deep) => hole.drill_past_mm = 330.0,
        Some(Incident::OneOfAPair { past_mm }) => hole.drill_past_mm = past_mm.into(),
        Some(Incident::Pilot) => {
            let at_mm = Some(hole.target_mm() - 150.0);
            hole.event.push(Event { at_mm, at_s: None, what: Happening::ChangeTool { tool: full } });
        }
        _ => {}
    }
    one.hole = vec![hole];
    one
}

/// The tool of the line's table that comes nearest to a diameter, mm.
fn tool_for(base: &Scenario, diameter_mm: f64) -> u8 {
    let off = |tool: &&simulator::scenario::ToolShape| (tool.diameter_mm - diameter_mm).abs();
    base.tool.iter().min_by(|a, b| off(a).total_cmp(&off(b))).map_or(1, |tool| tool.number)
}

const fn leg_name(leg: Leg) -> LegName {
    match leg {
        Leg::Single => LegName::Single,
        Leg::Left => LegName::Left,
        Leg::Middle => LegName::Middle,
        Leg::Right => LegName::Right,
    }
}

/// Topsoil, one kind of soil, and rock where the sheet says so. Rates of going are common practice, no source.
fn layers(leg: &LegPlan, chance: &mut Chance) -> Vec<Layer> {
    const SOILS: [(&str, f64, f64, f64); 4] =
        [("sandy loam", 24.0, 3.0, 15.0), ("silty clay", 17.0, 3.0, 5.0), ("gravel", 13.0, 7.0, 35.0), ("sandy clay", 20.0, 3.0, 10.0)];
    let layer = |name: &str, from_mm: f64, feed_mm_s: f64, vibration_mg: f64, fall_in_mm: f64| Layer {
        name: name.to_owned(),
        from_mm,
        feed_mm_s,
        vibration_mg,
        fall_in_mm,
    };
    let topsoil_mm = 250.0 + (150.0 * chance.uniform()).round();
    let kind = usize::try_from(chance.bits() % 4).unwrap_or(0);
    let (name, feed, vibration, fall_in) = SOILS[kind];
    let mut layers = vec![layer("topsoil", 0.0, 30.0, 2.0, 0.0), layer(name, topsoil_mm, feed, vibration, fall_in)];
    if let Some(Basis::SoilOverRock { soil_depth_m }) = leg.basis {
        let rock_mm = (soil_depth_m * 1e3).round();
        layers.retain(|layer| layer.from_mm < rock_mm);
        layers.push(layer("soft rock", rock_mm, 8.0, 9.0, 2.0));
    }
    layers
}

/// How the mast leans on the way down.
fn lean(depth_mm: f64, incident: Option<Incident>, chance: &mut Chance) -> Vec<LeanPoint> {
    let extra = if incident == Some(Incident::OutOfPlumb) { 29.0 } else { 0.0 };
    let mut axis = |extra: f64| (2.5 * chance.bell()).clamp(-6.0, 6.0) + extra;
    let (forward, right) = (axis(extra), axis(0.0));
    let mut point = |at_mm: f64| LeanPoint { at_mm, forward: forward + chance.bell(), right: right + chance.bell() };
    vec![point(0.0), point(depth_mm / 2.0), point(depth_mm)]
}
