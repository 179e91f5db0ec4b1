//! The facts of a hole as JSON, attached to its certificate: to read, and to compute with. The evidence itself is
//! the slots beside it.
//!
//! Units are in the names: `_m` metres, `_um_per_m` micrometres per metre, `_ms` milliseconds on the rig's clock.
//! Codes stand as numbers with their meaning. Keys keep their order.

use super::LAYOUT;
use super::attached::{self, BudgetAttached, CalibrationAttached, LimitJudged, MeasuredByHand, PlumbAttached, Sounded};
use super::hole::Hole;
use super::words::{code, datum, hex, remarks, standing};
use crate::facts::{DigestState, Moment, Timed};
use crate::judge::budget::day;
use crate::judge::{LineAxes, metres};
use crate::proof::{self, SegmentState};
use serde::Serialize;
use shared_protocol::VERSION;
use shared_protocol::chain::End;
use shared_protocol::state::{CalibrationItem, Check, GapCause, Leg, ResetCause, Sensor, SensorFault, SheetUnits};
use shared_protocol::units::Micrometres;

#[derive(Serialize)]
struct Facts<'a> {
    program: &'a str,
    layout: u16,
    record_format: u8,
    hole: String,
    plan: Plan<'a>,
    rig: Option<Rig<'a>>,
    calibrations: Option<Vec<CalibrationAttached<'a>>>,
    judged: Verdict<'a>,
    hubs: Vec<Hub>,
    tools: Vec<Tool>,
    calibrated_meanwhile: Vec<Calibrated<'a>>,
    increments: Vec<Increment>,
    passes: Vec<Pass>,
    checks: Vec<Change>,
    refusals: Vec<Refusal>,
    measured_by_hand: Vec<MeasuredByHand<'a>>,
    sensor_faults: Vec<Fault>,
    restarts: Vec<Restart>,
    notes: Vec<Note<'a>>,
    gaps: Vec<Gap>,
    unknown_records: usize,
    unreadable_records: usize,
    closed: Option<Closed>,
    sealing: String,
    seal: Option<Seal>,
    slots: Slots,
}

/// Where and when a record was made.
#[derive(Serialize)]
struct When {
    slot: u32,
    start: u16,
    rig_ms: u32,
    time: Option<String>,
}

#[derive(Serialize)]
struct Code {
    code: u8,
    meaning: String,
}

#[derive(Serialize)]
struct Axes {
    ahead: f64,
    right: f64,
}

#[derive(Serialize)]
struct Plan<'a> {
    opened: When,
    request: u32,
    line: &'a str,
    structure: &'a str,
    leg: Code,
    attempt: u8,
    setup: u8,
    operator: &'a str,
    units: Code,
    datum: String,
    depth_m: f64,
    depth_under_m: f64,
    depth_over_m: f64,
    hub_above_datum_m: f64,
    diameter_m: f64,
    tool: u8,
    plumb_limit_um_per_m: i32,
    heading_deg: f64,
    heading_within_deg: f64,
}

#[derive(Serialize)]
struct Rig<'a> {
    name: &'a str,
    simulated: bool,
    firmware: &'a str,
    epoch: u32,
    guide_height_m: f64,
    encoder_absolute: bool,
    skew_ms: u16,
    increment_m: f64,
    configuration_sha256_start: String,
}

#[derive(Serialize)]
struct Verdict<'a> {
    depth_below_datum_m: Option<f64>,
    /// What the hub's correction added to the depth that the rig read; null where it read nothing, or nothing closes.
    depth_correction_m: Option<f64>,
    planned_m: f64,
    accepted_m: (f64, f64),
    depth: &'static str,
    toe_m: Option<Axes>,
    lean_m_per_m: Option<Axes>,
    mean_lean_m_per_m: Option<Axes>,
    lean_limit_m_per_m: f64,
    plumb: &'static str,
    largest_misclosure_m: Option<f64>,
    soundings: Option<Sounded>,
    hand_plumbs: Vec<PlumbAttached>,
    reservations: &'a [String],
    governing_statement: &'static str,
    verdicts: Vec<LimitJudged<'a>>,
    budgets: Vec<BudgetAttached<'a>>,
    axis: Vec<AxisPoint>,
}

#[derive(Serialize)]
struct AxisPoint {
    below_hub_m: f64,
    offset_m: Axes,
    stick_m: Axes,
    wall_guided_m: Axes,
    lean_m_per_m: Axes,
}

#[derive(Serialize)]
struct Hub {
    when: When,
    request: u32,
    count: i32,
    misclosure_m: f64,
    first: bool,
}

#[derive(Serialize)]
struct Tool {
    when: When,
    request: u32,
    tool: u8,
    length_m: f64,
    diameter_m: f64,
}

/// Taken by the rig while the hole was open. Uncertainty, residual and values are in the item's own unit, as the record
/// has them.
#[derive(Serialize)]
struct Calibrated<'a> {
    when: When,
    request: u32,
    item: Code,
    who: &'a str,
    on: String,
    holds_until: String,
    uncertainty: u32,
    residual: u32,
    values: &'a [i32],
}

#[derive(Serialize)]
struct Increment {
    when: When,
    below_hub_m: f64,
    forward_um_per_m: i32,
    right_um_per_m: i32,
    scatter_10_um_per_m: u16,
    samples: u16,
    took_ms: u32,
    quality: u8,
    remarks: String,
}

#[derive(Serialize)]
struct Pass {
    when: When,
    number: u16,
    ended_rig_ms: u32,
    met_below_hub_m: f64,
    left_below_hub_m: f64,
}

#[derive(Serialize)]
struct Change {
    when: When,
    check: Code,
    state: u8,
    below_hub_m: f64,
    figure: i32,
}

#[derive(Serialize)]
struct Refusal {
    when: When,
    request: u32,
    said: &'static str,
    below_hub_m: f64,
}

#[derive(Serialize)]
struct Fault {
    when: When,
    sensor: Code,
    fault: Code,
    began: bool,
    lasted_ms: u32,
}

#[derive(Serialize)]
struct Restart {
    when: When,
    cause: Code,
    epoch: u32,
}

#[derive(Serialize)]
struct Note<'a> {
    when: When,
    request: u32,
    author: &'a str,
    text: &'a str,
}

#[derive(Serialize)]
struct Gap {
    first: u32,
    last: u32,
    count: u32,
    cause: String,
}

#[derive(Serialize)]
struct Closed {
    when: When,
    request: u32,
    bottom_below_hub_m: f64,
    toe_forward_m: f64,
    toe_right_m: f64,
    passes: u16,
    increments: u16,
    first_slot: u32,
    slots: u32,
    digest: String,
}

#[derive(Serialize)]
struct Slots {
    file: &'static str,
    count: usize,
    first: u32,
    last: u32,
    digest: &'static str,
    segments: Vec<Segment>,
}

#[derive(Serialize)]
struct Segment {
    first_byte: u64,
    end_byte: u64,
    sha256: Option<String>,
    state: &'static str,
}

#[derive(Serialize)]
struct Seal {
    when: When,
    number: u32,
    previous: String,
    public_key: String,
    signed: String,
    signature: String,
}

/// The facts of a hole and their judgement, as JSON with line breaks.
#[must_use]
pub fn facts_json(hole: &Hole<'_>) -> String {
    let mut text = serde_json::to_string_pretty(&facts(hole)).unwrap_or_else(|e| format!("{{\"error\": \"{e}\"}}"));
    text.push('\n');
    text
}

fn facts<'a>(hole: &Hole<'a>) -> Facts<'a> {
    let setup = hole.setup;
    let (first, last) = hole.sequences();
    let digest = match setup.digest {
        DigestState::Fits => "fits",
        DigestState::Differs => "differs",
        DigestState::Lacking => "lacking",
        DigestState::Open => "open",
    };
    Facts {
        program: hole.program,
        layout: LAYOUT,
        record_format: VERSION,
        hole: hole.name(),
        plan: plan(hole),
        rig: setup.identity.as_ref().map(rig),
        calibrations: attached::calibrations(hole),
        judged: verdict(hole),
        hubs: setup.hubs.iter().map(hub).collect(),
        tools: setup.tools.iter().map(tool).collect(),
        calibrated_meanwhile: setup.calibrated.iter().map(calibrated).collect(),
        increments: setup.increments.iter().map(increment).collect(),
        passes: setup.passes.iter().map(pass).collect(),
        checks: setup.changes.iter().map(change).collect(),
        refusals: setup.refusals.iter().map(refusal).collect(),
        measured_by_hand: attached::by_hand(hole),
        sensor_faults: setup.faults.iter().map(fault).collect(),
        restarts: setup.restarts.iter().map(restart).collect(),
        notes: setup.notes.iter().map(note).collect(),
        gaps: setup.missing.iter().map(gap).collect(),
        unknown_records: setup.unknown,
        unreadable_records: setup.malformed,
        closed: setup.closed.as_ref().map(closed),
        sealing: setup.sealing.text(),
        seal: setup.seal.as_ref().map(seal),
        slots: Slots {
            file: "slots.bin",
            count: setup.slots.len(),
            first,
            last,
            digest,
            segments: setup.segments.iter().map(segment).collect(),
        },
    }
}

fn when<T>(timed: &Timed<T>) -> When {
    let Moment { boot, at, wall } = timed.moment;
    When { slot: timed.sequence, start: boot, rig_ms: at.0, time: wall.map(crate::facts::Wall::rfc3339) }
}

fn coded(table: &[(u8, &str, &str)], raw: u8) -> Code {
    Code { code: raw, meaning: code(table, raw) }
}

fn axes(pair: LineAxes) -> Axes {
    Axes { ahead: pair.ahead, right: pair.right }
}

fn plan<'a>(hole: &Hole<'a>) -> Plan<'a> {
    let (plan, opened) = (hole.plan(), &hole.setup.opened);
    Plan {
        opened: when(opened),
        request: opened.body.request,
        line: &plan.line,
        structure: &plan.structure,
        leg: coded(Leg::TABLE, plan.leg),
        attempt: plan.attempt,
        setup: plan.setup,
        operator: &plan.operator,
        units: coded(SheetUnits::TABLE, plan.units),
        datum: datum(plan),
        depth_m: metres(plan.depth),
        depth_under_m: metres(plan.depth_under),
        depth_over_m: metres(plan.depth_over),
        hub_above_datum_m: metres(plan.hub_above_datum),
        diameter_m: metres(plan.diameter),
        tool: plan.tool,
        plumb_limit_um_per_m: plan.plumb_limit.0,
        heading_deg: f64::from(plan.heading.0) / 100.0,
        heading_within_deg: f64::from(plan.heading_within.0) / 100.0,
    }
}

fn rig(identity: &shared_protocol::record::Identity) -> Rig<'_> {
    Rig {
        name: &identity.rig,
        simulated: identity.simulated,
        firmware: &identity.firmware,
        epoch: identity.epoch,
        guide_height_m: metres(identity.guide_height),
        encoder_absolute: identity.encoder_absolute,
        skew_ms: identity.skew_ms,
        increment_m: metres(identity.increment),
        configuration_sha256_start: hex(&identity.configuration).replace(' ', ""),
    }
}

fn verdict<'a>(hole: &Hole<'a>) -> Verdict<'a> {
    let judged = hole.judged;
    let point = |p: &crate::judge::AxisPoint| AxisPoint {
        below_hub_m: p.depth,
        offset_m: axes(p.offset),
        stick_m: axes(p.stick),
        wall_guided_m: axes(p.wall),
        lean_m_per_m: axes(p.lean),
    };
    Verdict {
        depth_below_datum_m: judged.depth,
        depth_correction_m: judged.correction.map(|correction| correction.value),
        planned_m: judged.planned,
        accepted_m: judged.accepted,
        depth: standing(judged.depth_standing),
        toe_m: judged.toe.map(axes),
        lean_m_per_m: judged.lean.map(axes),
        mean_lean_m_per_m: judged.mean_lean.map(axes),
        lean_limit_m_per_m: judged.lean_limit,
        plumb: standing(judged.lean_standing),
        largest_misclosure_m: judged.misclosure,
        soundings: attached::sounded(hole),
        hand_plumbs: attached::plumbs(hole),
        reservations: &judged.reservations,
        governing_statement: attached::governs(hole),
        verdicts: attached::verdicts(hole),
        budgets: attached::budgets(hole),
        axis: judged.axis.iter().map(point).collect(),
    }
}

fn hub(hub: &Timed<shared_protocol::record::Hub>) -> Hub {
    let body = &hub.body;
    Hub { when: when(hub), request: body.request, count: body.count, misclosure_m: metres(body.misclosure), first: body.first == 1 }
}

fn tool(tool: &Timed<shared_protocol::record::Tool>) -> Tool {
    let body = &tool.body;
    Tool { when: when(tool), request: body.request, tool: body.tool, length_m: metres(body.length), diameter_m: metres(body.diameter) }
}

fn calibrated(calibrated: &Timed<shared_protocol::record::Calibrated>) -> Calibrated<'_> {
    let calibration = &calibrated.body.calibration;
    Calibrated {
        when: when(calibrated),
        request: calibrated.body.request,
        item: coded(CalibrationItem::TABLE, calibration.item),
        who: &calibration.who,
        on: day(calibration.day),
        holds_until: day(calibration.expires),
        uncertainty: calibration.uncertainty,
        residual: calibration.residual,
        values: &calibration.values,
    }
}

fn increment(increment: &Timed<shared_protocol::record::Increment>) -> Increment {
    let body = &increment.body;
    Increment {
        when: when(increment),
        below_hub_m: metres(body.depth),
        forward_um_per_m: body.forward.lean().0,
        right_um_per_m: body.right.lean().0,
        scatter_10_um_per_m: body.scatter,
        samples: body.samples,
        took_ms: u32::from(body.took) * 100,
        quality: body.quality,
        remarks: remarks(body.quality),
    }
}

fn pass(pass: &Timed<shared_protocol::record::Pass>) -> Pass {
    let body = &pass.body;
    Pass {
        when: when(pass),
        number: body.number,
        ended_rig_ms: body.ended.0,
        met_below_hub_m: metres(body.tag),
        left_below_hub_m: metres(body.bottom),
    }
}

fn change(change: &Timed<shared_protocol::record::Change>) -> Change {
    let body = &change.body;
    Change {
        when: when(change),
        check: coded(Check::TABLE, body.check),
        state: body.state,
        below_hub_m: metres(body.depth),
        figure: body.figure,
    }
}

fn refusal(refusal: &Timed<shared_protocol::record::Refusal>) -> Refusal {
    let body = &refusal.body;
    Refusal { when: when(refusal), request: body.request, said: super::going::answered(body), below_hub_m: metres(body.depth) }
}

fn fault(fault: &Timed<shared_protocol::record::Fault>) -> Fault {
    let body = &fault.body;
    Fault {
        when: when(fault),
        sensor: coded(Sensor::TABLE, body.sensor),
        fault: coded(SensorFault::TABLE, body.fault),
        began: body.began == 1,
        lasted_ms: body.lasted,
    }
}

fn restart(start: &Timed<shared_protocol::record::Start>) -> Restart {
    Restart { when: when(start), cause: coded(ResetCause::TABLE, start.body.cause), epoch: start.body.epoch }
}

fn note(note: &Timed<shared_protocol::record::Note>) -> Note<'_> {
    Note { when: when(note), request: note.body.request, author: &note.body.author, text: &note.body.text }
}

fn gap(missing: &crate::facts::Missing) -> Gap {
    let cause = missing.cause.map_or_else(|| "not received".to_owned(), |c| code(GapCause::TABLE, c.raw()));
    Gap { first: missing.first, last: missing.last, count: missing.count(), cause }
}

fn closed(closed: &Timed<shared_protocol::record::Closed>) -> Closed {
    let body = &closed.body;
    let um = |length: Micrometres| metres(length);
    Closed {
        when: when(closed),
        request: body.request,
        bottom_below_hub_m: um(body.bottom),
        toe_forward_m: um(body.toe.forward),
        toe_right_m: um(body.toe.right),
        passes: body.passes,
        increments: body.increments,
        first_slot: body.first,
        slots: body.slots,
        digest: plain_hex(&End::from(body).digest()),
    }
}

fn plain_hex(bytes: &[u8]) -> String {
    hex(bytes).replace(' ', "")
}

fn segment(segment: &proof::Segment) -> Segment {
    let state = match segment.state {
        SegmentState::Fits => "fits",
        SegmentState::Lacking => "lacking",
        SegmentState::Differs => "differs",
    };
    let sha256 = segment.sum.map(|sum| plain_hex(&sum));
    Segment { first_byte: u64::from(segment.from) * 32, end_byte: u64::from(segment.to) * 32, sha256, state }
}

fn seal(seal: &Timed<shared_protocol::record::Seal>) -> Seal {
    let body = &seal.body;
    Seal {
        when: when(seal),
        number: body.number,
        previous: plain_hex(&body.previous),
        public_key: plain_hex(&body.key),
        signed: body.signed().map_or_else(String::new, |signed| plain_hex(&signed)),
        signature: plain_hex(&body.signature()),
    }
}
