//! The jobs of the line: one for each set-up, in the order in which they are drilled.

use super::turns_out::{Incident, Part, incident, scenario};
use crate::Failure;
use host_tool::sheet::{LegPlan, OnSite};
use shared_protocol::record::Plan;
use shared_protocol::units::{CentiDegrees, Micrometres};
use simulator::chance::{Chance, Drawer};
use simulator::scenario::Scenario;

/// Who drills.
const OPERATOR: &str = "SIM Operator";

/// When a job begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Begins {
    /// At the structure where the rig stands.
    Here,
    /// After the rig has moved to another structure.
    Elsewhere,
    /// On the next working day.
    NextDay,
}

/// One set-up.
#[derive(Clone, Debug)]
pub struct Job {
    /// The row of the sheet.
    pub leg: LegPlan,
    /// What is written for it.
    pub incident: Option<Incident>,
    /// Which part of its hole.
    pub part: Part,
    /// Its world.
    pub scenario: Scenario,
    /// What is loaded into the rig.
    pub plan: Plan,
    /// When.
    pub begins: Begins,
}

impl Job {
    /// A boulder ended it: the hole is given up and filled.
    pub fn is_given_up(&self) -> bool {
        self.incident == Some(Incident::Boulder) && self.part == Part::CutShort
    }

    /// The hole goes on on another day.
    pub fn is_unfinished(&self) -> bool {
        self.incident == Some(Incident::SecondDay) && self.part == Part::CutShort
    }

    /// Nobody closes it.
    pub fn stays_open(&self) -> bool {
        self.incident == Some(Incident::Unclosed)
    }
}

/// The jobs of the first structures among these legs, which are in the order of the line.
pub fn jobs(base: &Scenario, legs: &[LegPlan], structures: usize) -> Result<Vec<Job>, Failure> {
    let mut jobs: Vec<Job> = Vec::new();
    for of_one in legs.chunk_by(|a, b| a.structure == b.structure).take(structures) {
        let heading_deg = heading(base.seed, of_one);
        let mut begins = Begins::Elsewhere;
        for leg in of_one {
            for (attempt, setup, part) in parts(leg) {
                if part == Part::Rest {
                    begins = Begins::NextDay;
                }
                jobs.push(job(base, leg, (attempt, setup, part), heading_deg, begins)?);
                begins = Begins::Here;
            }
        }
    }
    Ok(jobs)
}

/// Attempt, set-up and part of each set-up at a leg.
fn parts(leg: &LegPlan) -> Vec<(u8, u8, Part)> {
    match incident(leg) {
        Some(Incident::NotYet) => Vec::new(),
        Some(Incident::Boulder) => vec![(1, 1, Part::CutShort), (2, 1, Part::Whole)],
        Some(Incident::SecondDay) => vec![(1, 1, Part::CutShort), (1, 2, Part::Rest)],
        _ => vec![(1, 1, Part::Whole)],
    }
}

/// Where the rig's forward direction points at a structure, degrees clockwise from ahead: along the line or across it, about.
fn heading(seed: u64, legs: &[LegPlan]) -> f64 {
    let row = legs.first().map_or(0, |leg| leg.row);
    let chance = &mut Chance::new(seed + 500 + u64::from(row), Drawer::Hole);
    let quarter = f64::from(chance.bits() % 4) * 90.0;
    (quarter + (10.0 * chance.bell()).round()).rem_euclid(360.0)
}

fn job(base: &Scenario, leg: &LegPlan, (attempt, setup, part): (u8, u8, Part), heading_deg: f64, begins: Begins) -> Result<Job, Failure> {
    let mut scenario = scenario(base, leg, attempt, part);
    scenario.sheet.heading_deg = heading_deg;
    let whole = |value: f64| {
        #[allow(clippy::cast_possible_truncation)] // saturates
        let whole = value.round() as i32;
        whole
    };
    let on_site = OnSite {
        attempt,
        setup,
        operator: OPERATOR,
        tool: scenario.sheet.tool,
        hub_above_datum: Micrometres(whole(scenario.hole[0].hub_above_datum_mm * 1e3)),
        heading: CentiDegrees(whole(heading_deg * 100.0)),
        heading_within: CentiDegrees(1_000),
    };
    let plan = leg.plan(&on_site).map_err(|e| Failure::Failed(e.to_string()))?;
    Ok(Job { leg: leg.clone(), incident: incident(leg), part, scenario, plan, begins })
}
