//! One set-up in plain figures: a row of the table, and the beginning of its object.

use super::Exported;
use crate::facts::{DigestState, Missing, Wall};
use crate::holes::Hole;
use crate::judge::limits::Measurand;
use crate::judge::{Verdict, metres};
use crate::paper;
use crate::paper::limits::guarded_briefly;
use crate::paper::words::{code, datum, standing};
use serde::Serialize;
use shared_protocol::chain::End;
use shared_protocol::state::{Leg, SheetUnits};

/// The columns, in their order. Lengths are metres, leans metres per metre.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// What commands call it by.
    pub handle: String,
    /// Line, as loaded.
    pub line: String,
    /// Structure on it.
    pub structure: String,
    /// Leg in a word.
    pub leg: String,
    /// Attempt at this leg, from 1.
    pub attempt: u8,
    /// Set-up within the attempt, from 1.
    pub setup: u8,
    /// No such hole exists; `None` where the record of the rig is missing.
    pub simulated: Option<bool>,
    /// Whose records.
    pub rig: String,
    /// Epoch of the rig.
    pub epoch: u32,
    /// Its firmware.
    pub firmware: Option<String>,
    /// Who drilled.
    pub operator: String,
    /// When it was opened.
    pub opened: Option<String>,
    /// When it was closed; `None` where it was not, or nobody told the rig the time.
    pub closed: Option<String>,
    /// Whether it was closed.
    pub is_closed: bool,
    /// Whose clock the times of records are by.
    pub clock: &'static str,
    /// Where the sheet has the stake, degrees, north positive.
    pub latitude_deg: Option<f64>,
    /// The same, east positive.
    pub longitude_deg: Option<f64>,
    /// Station as the sheet writes it.
    pub station: Option<String>,
    /// Tag of the pole.
    pub pole_tag: Option<String>,
    /// What depths count from.
    pub datum: String,
    /// Units of the sheet; here all is metric.
    pub sheet_units: String,
    /// Hub above the datum.
    pub hub_above_datum_m: f64,
    /// Planned depth.
    pub planned_depth_m: f64,
    /// The least depth accepted by the plan.
    pub depth_least_m: f64,
    /// The most.
    pub depth_most_m: f64,
    /// The depth that counts.
    pub depth_m: Option<f64>,
    /// Half-width of its 95 % interval.
    pub depth_u95_m: Option<f64>,
    /// How it is known: `soundings` or `rig`.
    pub depth_by: Option<&'static str>,
    /// Depth of the cutting edge, corrected by how the hub closed.
    pub cutting_edge_m: Option<f64>,
    /// That correction.
    pub depth_correction_m: Option<f64>,
    /// The plain statement on depth by the plan.
    pub depth_measured: &'static str,
    /// The guarded one.
    pub depth_shown: &'static str,
    /// Toe over depth.
    pub overall_lean_m_per_m: Option<f64>,
    /// Half-width of its 95 % interval.
    pub overall_lean_u95_m_per_m: Option<f64>,
    /// The most accepted by the plan.
    pub lean_limit_m_per_m: f64,
    /// The plain statement on it.
    pub lean_measured: &'static str,
    /// The guarded one.
    pub lean_shown: &'static str,
    /// Mean lean of the increments, ahead.
    pub mean_lean_ahead_m_per_m: Option<f64>,
    /// The same, right.
    pub mean_lean_right_m_per_m: Option<f64>,
    /// Toe off the vertical through the hole's start, ahead.
    pub toe_ahead_m: Option<f64>,
    /// The same, right.
    pub toe_right_m: Option<f64>,
    /// Radius of the circle that holds it in 95 % of cases.
    pub toe_radius_95_m: Option<f64>,
    /// Planned diameter.
    pub planned_diameter_m: f64,
    /// What the last tool cuts.
    pub tool_diameter_m: Option<f64>,
    /// Increments of new depth in hand.
    pub increments: usize,
    /// Passes in hand.
    pub passes: usize,
    /// Touches of the hub.
    pub hub_touches: usize,
    /// The largest misclosure on it.
    pub misclosure_m: Option<f64>,
    /// Sensor faults that began.
    pub sensor_faults: usize,
    /// Restarts of the rig.
    pub restarts: usize,
    /// Records that are not in hand.
    pub records_missing: u32,
    /// State of the hole from the register.
    pub state: Option<&'static str>,
    /// Since when.
    pub state_since: Option<String>,
    /// Who said so; `None` where the rig's records do.
    pub state_by: Option<String>,
    /// Sequence of the first slot.
    pub first_slot: u32,
    /// Slots in hand.
    pub slots: usize,
    /// Whether the rig's digest fits them.
    pub digest: &'static str,
    /// That digest, hexadecimal; `None` where it is not closed.
    pub digest_sha256: Option<String>,
    /// How it is sealed.
    pub sealing: &'static str,
}

impl Row {
    /// The row of a set-up.
    #[must_use]
    pub fn of(hole: &Hole, exported: &Exported<'_>) -> Self {
        let (setup, judged) = (&hole.setup, &hole.judged);
        let plan = &setup.opened.body.plan;
        let name = hole.hole_name();
        let sheet = name.as_ref().and_then(|name| exported.held.plans.get(&(name.line.clone(), name.structure.clone(), name.leg)));
        let sheet = sheet.map(|(_, plan)| plan);
        let registered = exported.office.registered.iter().find(|known| Some(&known.hole) == name.as_ref());
        let verdict = |measurand| judged.verdicts.iter().find(|verdict| verdict.limit.measurand == measurand);
        let (depth, lean) = (verdict(Measurand::Depth), verdict(Measurand::OverallLean));
        let figure = |verdict: Option<&Verdict>| verdict.and_then(|verdict| verdict.measured);
        let said = |verdict: Option<&Verdict>| verdict.map_or("not known", |verdict| standing(verdict.plain));
        let shown = |verdict: Option<&Verdict>| verdict.map_or("not shown", |verdict| guarded_briefly(&verdict.guarded));
        let identity = setup.identity.as_ref();
        let known = figure(depth);
        let on_paper = paper::Hole::of_record(setup, judged);
        Self {
            handle: hole.handle.clone(),
            line: plan.line.as_str().to_owned(),
            structure: plan.structure.as_str().to_owned(),
            leg: Leg::from_raw(plan.leg).map_or_else(|| format!("leg {}", plan.leg), |leg| crate::sheet::leg_text(leg).to_owned()),
            attempt: plan.attempt,
            setup: plan.setup,
            simulated: identity.map(|identity| identity.simulated),
            rig: hole.stream.rig.clone(),
            epoch: hole.stream.epoch,
            firmware: identity.map(|identity| identity.firmware.as_str().to_owned()),
            operator: plan.operator.as_str().to_owned(),
            opened: setup.opened.moment.wall.map(Wall::rfc3339),
            closed: setup.closed.as_ref().and_then(|closed| closed.moment.wall).map(Wall::rfc3339),
            is_closed: setup.closed.is_some(),
            clock: if on_paper.last_wall().is_some() { "rig's own, set by the host's" } else { "not known: nobody told the rig" },
            latitude_deg: sheet.and_then(|sheet| sheet.latitude_deg),
            longitude_deg: sheet.and_then(|sheet| sheet.longitude_deg),
            station: sheet.and_then(|sheet| sheet.station.clone()),
            pole_tag: sheet.and_then(|sheet| sheet.pole_tag.clone()),
            datum: datum(plan),
            sheet_units: code(SheetUnits::TABLE, plan.units),
            hub_above_datum_m: metres(plan.hub_above_datum),
            planned_depth_m: judged.planned,
            depth_least_m: judged.accepted.0,
            depth_most_m: judged.accepted.1,
            depth_m: known.map(|figure| figure.value),
            depth_u95_m: known.map(|figure| figure.expanded),
            depth_by: known.map(|_| if judged.sounded.is_some() { "soundings" } else { "rig" }),
            cutting_edge_m: judged.depth,
            depth_correction_m: judged.correction.map(|correction| correction.value),
            depth_measured: said(depth),
            depth_shown: shown(depth),
            overall_lean_m_per_m: figure(lean).map(|figure| figure.value),
            overall_lean_u95_m_per_m: figure(lean).map(|figure| figure.expanded),
            lean_limit_m_per_m: judged.lean_limit,
            lean_measured: said(lean),
            lean_shown: shown(lean),
            mean_lean_ahead_m_per_m: judged.mean_lean.map(|lean| lean.ahead),
            mean_lean_right_m_per_m: judged.mean_lean.map(|lean| lean.right),
            toe_ahead_m: judged.toe.map(|toe| toe.ahead),
            toe_right_m: judged.toe.map(|toe| toe.right),
            toe_radius_95_m: judged.toe.and(judged.budgets.as_ref()).map(|budgets| budgets.place.expanded),
            planned_diameter_m: metres(plan.diameter),
            tool_diameter_m: on_paper.cut_diameter(),
            increments: setup.increments.len(),
            passes: setup.passes.len(),
            hub_touches: setup.hubs.len(),
            misclosure_m: judged.misclosure,
            sensor_faults: setup.faults.iter().filter(|fault| fault.body.began == 1).count(),
            restarts: setup.restarts.len(),
            records_missing: setup.missing.iter().map(Missing::count).fold(0, u32::saturating_add),
            state: registered.map(|known| known.state.word()),
            state_since: registered.and_then(|known| known.since).map(Wall::rfc3339),
            state_by: registered.and_then(|known| known.by.clone()),
            first_slot: on_paper.sequences().0,
            slots: setup.slots.len(),
            digest: match setup.digest {
                DigestState::Fits => "fits",
                DigestState::Differs => "differs",
                DigestState::Lacking => "covers more",
                DigestState::Open => "not closed",
            },
            digest_sha256: setup.closed.as_ref().map(|closed| hexadecimal(&End::from(&closed.body).digest())),
            sealing: setup.sealing.briefly(),
        }
    }
}

/// Bytes in hexadecimal.
#[must_use]
pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
