//! Errors that no budget covers: how large they must be to be noticed, and what they do where they are not.

use super::draw::Drawn;
use super::drill::Drilled;
use super::score::Scored;
use host_tool::facts::SetUp;
use host_tool::judge::measured::{Kind, Measurement};
use host_tool::judge::{LineAxes, judge};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use shared_protocol::record::{Calibration, quality};
use shared_protocol::state::CalibrationItem;
use simulator::scenario::{Event, Happening};
use simulator::sensors::{FaultKind, SensorName};

/// An independent check may need a size of so many of its own standard deviations to catch it 95 times in 100: 2.576 that
/// it must exceed to be false in one clean hole of a hundred, and 1.645 on top of that.
pub const CAUGHT_AT: f64 = 4.2;
/// How often that must be.
pub const CAUGHT_LEAST: f64 = 0.95;
/// Clean holes that may be flagged.
pub const FALSE_MOST: f64 = 0.01;

/// How far from the slewing axis the sensor is, m, and the standard acceleration of gravity, m/s² (exact by definition).
const SLEWING_AT_M: f64 = 4.0;
const STANDARD_GRAVITY: f64 = 9.806_65;
/// How well a bob is read, standard deviation on each axis, m.
const PLUMBED_TO_M: f64 = 0.005;

/// An independent check: what it says of a hole, in the unit of the kind that it catches.
pub type Check = fn(&Drilled) -> Option<f64>;

/// One kind of error.
#[derive(Clone, Copy, Debug)]
pub struct Kindred {
    /// What it is, and in what unit its size is.
    pub name: &'static str,
    /// Sizes that are tried.
    pub sizes: &'static [f64],
    /// Puts it into a hole.
    pub spoil: fn(&mut Drawn, f64),
    /// Whether somebody is told.
    pub flagged: fn(&Drilled) -> bool,
    /// The check that catches it, where there is one of its own.
    pub check: Option<Check>,
    /// The figure that it spoils, by its place among the figures.
    pub figure: usize,
}

/// Every kind that is tried.
pub const KINDS: [Kindred; 10] = [
    Kindred {
        name: "rope slipping either way, in all, mm",
        sizes: &[2.0, 5.0, 8.0, 12.0, 20.0],
        spoil: slip,
        flagged: misclosed,
        check: Some(misclosure),
        figure: 0,
    },
    Kindred {
        name: "tool longer or shorter than its table says, mm",
        sizes: &[2.0, 5.0, 8.0, 12.0, 20.0],
        spoil: tool,
        flagged: misclosed,
        check: Some(misclosure),
        figure: 0,
    },
    Kindred {
        name: "encoder counting wrong, at the bottom, mm",
        sizes: &[10.0, 20.0, 40.0, 60.0, 100.0],
        spoil: scale,
        flagged: sounded_off,
        check: Some(sounding_off),
        figure: 0,
    },
    Kindred { name: "tilt sensor stuck, s", sizes: &[2.0, 4.0, 6.0, 10.0, 30.0], spoil: stuck, flagged: faulty, check: None, figure: 1 },
    Kindred {
        name: "sensor clipping at, g (smaller is worse)",
        sizes: &[1.9, 1.6, 1.4, 1.2, 1.05],
        spoil: clip,
        flagged: faulty,
        check: None,
        figure: 1,
    },
    Kindred {
        name: "sensor grown noisy, both axes together, mg",
        sizes: &[5.0, 10.0, 15.0, 20.0, 30.0],
        spoil: noisy,
        flagged: scattered,
        check: Some(scatter),
        figure: 1,
    },
    Kindred {
        name: "tone near a multiple of the sampling rate, mg",
        sizes: &[2.0, 5.0, 10.0, 20.0, 40.0],
        spoil: tone,
        flagged: scattered,
        check: None,
        figure: 1,
    },
    Kindred {
        name: "heading further off than entered, degrees",
        sizes: &[10.0, 20.0, 45.0, 90.0],
        spoil: heading,
        flagged: any,
        check: None,
        figure: 2,
    },
    Kindred {
        name: "slewing while it cuts, 4 m out, rpm; no record shows it, and a hand plumb's flag is what stands here",
        sizes: &[0.25, 0.5, 1.0, 1.5, 2.0],
        spoil: slewing,
        flagged: plumbed_off,
        check: None,
        figure: 1,
    },
    Kindred {
        name: "floor lower than the cutting edge, mm",
        sizes: &[20.0, 40.0, 60.0, 100.0],
        spoil: floor,
        flagged: sounded_off,
        check: None,
        figure: 0,
    },
];

/// A flag: its name, and whether a hole has it.
pub type Flag = (&'static str, fn(&Drilled) -> bool);

/// Every flag that a clean hole should not have.
pub const FLAGS: [Flag; 4] = [
    ("misclosure on the hub", misclosed),
    ("sensor at fault", faulty),
    ("soundings contradict the rig", sounded_off),
    ("scatter", scattered),
];

/// Up in one hole, down in the next.
fn either_way(drawn: &Drawn, size: f64) -> f64 {
    if drawn.seed.is_multiple_of(2) { size } else { -size }
}

fn slip(drawn: &mut Drawn, size: f64) {
    let hole = &drawn.scenario.hole[0];
    let trips = (hole.depth_mm / drawn.scenario.work.bite_mm).ceil().max(1.0);
    drawn.scenario.errors.depth.slip_mm_per_trip += either_way(drawn, size) / trips;
}

/// Another tool goes on half way down, and what the rig was told of its length is short by the size.
fn tool(drawn: &mut Drawn, size: f64) {
    let half_way = drawn.scenario.hole[0].depth_mm / 2.0;
    let event = Event { at_mm: Some(half_way), at_s: None, what: Happening::ChangeTool { tool: 3 } };
    drawn.scenario.hole[0].event.push(event);
    #[allow(clippy::cast_possible_truncation)] // a few millimetres
    let told = 1_000_000 - (either_way(drawn, size) * 1e3) as i32;
    let like = drawn.calibrations[0].clone();
    let values = heapless::Vec::from_slice(&[3, told, 1_300_000]).unwrap_or_default();
    drawn.calibrations.push(Calibration { item: CalibrationItem::Tool.raw(), uncertainty: 1_000, residual: 0, values, ..like });
}

fn scale(drawn: &mut Drawn, size: f64) {
    drawn.scenario.errors.depth.scale += either_way(drawn, size) / drawn.scenario.hole[0].depth_mm;
}

fn stuck(drawn: &mut Drawn, for_s: f64) {
    let what = Happening::Fault { sensor: SensorName::Tilt, kind: FaultKind::Stuck, for_s };
    let at_mm = Some(drawn.scenario.hole[0].depth_mm * 0.6);
    drawn.scenario.hole[0].event.push(Event { at_mm, at_s: None, what });
}

fn clip(drawn: &mut Drawn, range_g: f64) {
    drawn.scenario.errors.tilt.range_g = range_g;
    drawn.scenario.errors.tilt.vibration_inside = 40.0;
}

/// White noise that the sensor's own filter of one pole leaves this much of, half of its square on either axis: density times
/// the root of the noise bandwidth, π/2 of the corner.
fn noisy(drawn: &mut Drawn, size_mg: f64) {
    let tilt = &mut drawn.scenario.errors.tilt;
    let bandwidth_hz = std::f64::consts::FRAC_PI_2 * tilt.filter_hz;
    let more = size_mg * 1e3 / (2.0 * bandwidth_hz).sqrt();
    tilt.noise_ug_rt_hz = tilt.noise_ug_rt_hz.hypot(more);
}

fn tone(drawn: &mut Drawn, size: f64) {
    let mut dice = Pcg32::seed_from_u64(drawn.seed ^ 0x70E5);
    let mut part = || f64::from(dice.next_u32()) / 4_294_967_296.0;
    drawn.scenario.errors.tilt.tone_mg = size;
    drawn.scenario.errors.tilt.tone_hz = 20.0 * (1.0 + (part() * 4.0).floor()) + 0.2 * (part() - 0.5);
}

fn heading(drawn: &mut Drawn, size: f64) {
    drawn.scenario.errors.path.heading_deg = size;
}

fn floor(drawn: &mut Drawn, size: f64) {
    drawn.scenario.errors.depth.floor_mm = size;
}

/// The sensor feels ω²·r away from the slewing axis, steadily: 2 rpm at 4 m are 18 mg. With the tip above the ground no lean
/// is taken, so that it is as if it slewed all the time; its size, scatter and |g| are those of a lean.
fn slewing(drawn: &mut Drawn, rpm: f64) {
    let radians_s = rpm * std::f64::consts::TAU / 60.0;
    drawn.scenario.errors.tilt.zero_mg[0] -= 1e3 * radians_s * radians_s * SLEWING_AT_M / STANDARD_GRAVITY;
}

fn misclosure(hole: &Drilled) -> Option<f64> {
    judge(&hole.setup).misclosure.map(|m| m * 1e3)
}

fn misclosed(hole: &Drilled) -> bool {
    let limit = hole.setup.identity.as_ref().map_or(0.0, |i| f64::from(i.misclosure_limit.0) / 1e3);
    misclosure(hole).is_some_and(|m| m.abs() > limit)
}

fn faulty(hole: &Drilled) -> bool {
    !hole.setup.faults.is_empty()
}

fn scattered(hole: &Drilled) -> bool {
    hole.setup.increments.iter().any(|i| i.body.quality & quality::SCATTERED != 0)
}

/// The largest scatter of any increment, mm/m, which is mg: a size that is never nought.
fn scatter(hole: &Drilled) -> Option<f64> {
    hole.setup.increments.iter().map(|i| f64::from(i.body.scatter) * 0.01).max_by(f64::total_cmp)
}

/// A ground hand's three soundings, each to 5 mm, of the floor as it truly is.
fn soundings(hole: &Drilled) -> Vec<Measurement> {
    let mut dice = Pcg32::seed_from_u64(hole.drawn.seed ^ 0x7A9E);
    let mut one = |remark: &str| Measurement {
        author: "Sim. Ground hand".to_owned(),
        unix_ms: 1_778_600_000_000,
        kind: Kind::Sounding,
        depth: hole.truth.floor_mm / 1e3 + 0.005 * bell(&mut dice),
        offset: LineAxes::default(),
        standard: 0.005,
        remark: remark.to_owned(),
    };
    ["middle", "left edge", "right edge"].iter().map(|remark| one(remark)).collect()
}

fn with_soundings(hole: &Drilled) -> host_tool::judge::Judged {
    let mut setup = hole.setup.clone();
    setup.measurements = soundings(hole);
    judge(&setup)
}

fn sounding_off(hole: &Drilled) -> Option<f64> {
    let judged = with_soundings(hole);
    Some((judged.sounded?.value - judged.depth?) * 1e3)
}

fn sounded_off(hole: &Drilled) -> bool {
    with_soundings(hole).contradicted
}

/// Whether a bob that hangs at the hole's true end, to 5 mm on each axis, does not agree with the rig's axis.
fn plumbed_off(hole: &Drilled) -> bool {
    let mut dice = Pcg32::seed_from_u64(hole.drawn.seed ^ 0xB0B);
    let mut read = |mm: f64| mm / 1e3 + PLUMBED_TO_M * bell(&mut dice);
    let offset = LineAxes { ahead: read(hole.truth.toe_mm.ahead), right: read(hole.truth.toe_mm.right) };
    let bob = Measurement {
        kind: Kind::HandPlumb,
        depth: hole.truth.edge_mm / 1e3,
        offset,
        standard: PLUMBED_TO_M,
        ..soundings(hole).swap_remove(0)
    };
    judge(&SetUp { measurements: vec![bob], ..hole.setup.clone() }).plumbed.iter().any(|plumbed| plumbed.agrees() == Some(false))
}

/// Nearly normal, of standard deviation 1.
fn bell(dice: &mut Pcg32) -> f64 {
    (0..12).map(|_| f64::from(dice.next_u32()) / 4_294_967_296.0).sum::<f64>() - 6.0
}

fn any(hole: &Drilled) -> bool {
    misclosed(hole) || faulty(hole) || sounded_off(hole)
}

/// What a check says of clean holes, where it should say nothing, mm: the root mean square, since a rig that settles makes
/// its misclosure lean to one side.
#[must_use]
pub fn own_deviation(said_of_clean: &[Option<f64>]) -> f64 {
    let squares: Vec<f64> = said_of_clean.iter().flatten().map(|said| said * said).collect();
    let n = squares.iter().fold(0.0, |n, _| n + 1.0_f64).max(1.0);
    (squares.iter().sum::<f64>() / n).sqrt()
}

/// Whether the truth of the figure that a kind spoils lies within its interval all the same.
#[must_use]
pub fn covered(scored: &Scored, figure: usize) -> bool {
    let (off, expanded) = scored.off[figure];
    off.abs() <= expanded
}
