//! All legs of a structure together: how the poles fit, how level the arm is, and how much earth that is.
//!
//! Line axes and metres; legs stand across the line, the framed spacing apart. At an angle structure ahead is the bisector.

use super::Works;
use super::attempt::{Attempt, um};
use super::leg::{Leg, Stage};
use crate::entry::{Along, Said};
use crate::judge::freedom::INTERVAL;
use crate::judge::limits::{Limit, Measurand};
use crate::judge::statement::verdict;
use crate::judge::{Figure, LineAxes, Verdict};
use crate::sheet::{Butt, LegPlan};
use crate::structure::fit::{self, Station};
use crate::structure::joint::{Joint, joint};
use crate::structure::level::{self, Framing, Remedy, Tilt, across, bisector, level_spacing};
use crate::structure::pole::{Allowances, Class, Make, Outline, Pole, Species, Taped};
use crate::structure::setting::Window;
use crate::structure::volume::{self, Earth, Soil};
use shared_protocol::state;

/// How well stakes stand to each other as the frame has it, standard deviation on each axis, metres. Common practice, no source.
const STAKED: f64 = 0.010;
/// Levelling one leg's ground against another's, standard deviation, metres. Common practice, no source.
const LEVELLED: f64 = 0.006;
/// Taping a pole from butt to framing point, standard deviation, metres. Common practice, no source.
const TAPED: f64 = 0.005;
/// Two figures differ where they are further apart than once in a hundred times, in standard deviations.
const ONCE_IN_100: f64 = 2.576;

/// All legs together.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    /// How the poles fit, leg by leg in their order; `None` where something is not known, which `unknown` says.
    pub fit: Option<Joint>,
    /// Room against what tamping wants, by the sheet and by limits that were named.
    pub room: Vec<Verdict>,
    /// Why no fit can be said.
    pub unknown: Vec<String>,
    /// The arm as the sheet plans it.
    pub planned: Option<Arm>,
    /// The arm as the holes are.
    pub drilled: Option<Arm>,
    /// Distances between legs that were taped, beside what their middles make.
    pub spacings: Vec<Spacing>,
    /// Earth, leg by leg in their order.
    pub earth: Vec<Option<Ground>>,
}

/// The arm between the outer legs.
#[derive(Clone, Debug)]
pub struct Arm {
    /// Its tilt, positive where the right end is higher.
    pub tilt: Tilt,
    /// Between the outer legs as framed, metres.
    pub spacing: f64,
    /// Whether every pole was taped from butt to framing point; else nominal lengths swamp everything.
    pub taped: bool,
    /// What would make it level; `None` where the sheet gives no window to move within.
    pub remedy: Option<Remedy>,
    /// Against limits that were named.
    pub verdicts: Vec<Verdict>,
}

impl Arm {
    /// Whether the arm is shown to be out of level: the whole interval of its rise lies to one side of nought.
    #[must_use]
    pub fn is_out(&self) -> bool {
        self.tilt.rise.value.abs() > self.tilt.rise.expanded
    }
}

/// A distance between two legs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spacing {
    /// The legs, by their places in the structure.
    pub legs: (usize, usize),
    /// Taped, brought to the level, metres.
    pub taped: Figure,
    /// How much shorter level than along the slope it was taped, metres.
    pub shortened: f64,
    /// As framed, metres.
    pub framed: f64,
    /// From the middles that were measured, metres.
    pub by_middles: Option<Figure>,
}

impl Spacing {
    /// Whether tape and middles contradict each other.
    #[must_use]
    pub fn contradicts(&self) -> bool {
        let worth = |figure: Figure| figure.expanded / INTERVAL;
        self.by_middles.is_some_and(|by| (by.value - self.taped.value).abs() > ONCE_IN_100 * worth(by).hypot(worth(self.taped)))
    }
}

/// The earth of one hole, cubic metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ground {
    /// The hole, as the earth lay.
    pub hole: Figure,
    /// What becomes of it round the pole; `None` where pole or ground is not known.
    pub earth: Option<Earth>,
}

impl Frame {
    /// Puts a structure's legs together, from left to right.
    #[must_use]
    pub fn of(legs: &mut [Leg<'_>], works: &Works<'_>) -> Self {
        let plans: Option<Vec<&LegPlan>> = legs.iter().map(|leg| leg.plan).collect();
        let planned = plans.and_then(|plans| planned_arm(&plans));
        let mut frame = Self { planned, drilled: drilled_arm(legs, works), ..Self::default() };
        let places = places(legs);
        frame.spacings = spacings(legs, &places);
        frame.earth = legs.iter().map(|leg| ground(leg, works.soil)).collect();
        match seats(legs, &places) {
            Ok(seats) => frame.seat(legs, &seats, works),
            Err(unknown) => frame.unknown = unknown,
        }
        for (n, leg) in legs.iter_mut().enumerate() {
            leg.findings = super::answer::findings(n, leg, &frame, works);
            leg.proposed = super::answer::proposed(leg);
        }
        frame
    }

    fn seat(&mut self, legs: &[Leg<'_>], seats: &[fit::Leg], works: &Works<'_>) {
        let wanted = legs.iter().filter_map(|leg| leg.plan).filter_map(|plan| Some((plan.tamping_room_m?, plan.row)));
        let wanted = wanted.max_by(|a, b| a.0.total_cmp(&b.0));
        match joint(seats, wanted.map_or(0.0, |(room, _)| room)) {
            Ok(fitted) => {
                let of_sheet = wanted.map(|(room, row)| Limit {
                    measurand: Measurand::Room,
                    least: Some(room),
                    most: f64::INFINITY,
                    written: String::new(),
                    source: format!("structure sheet, row {row}"),
                });
                let of_file = of_file(works, Measurand::Room);
                self.room = of_sheet.iter().chain(&of_file).map(|limit| verdict(limit, Some(fitted.most), false, &[])).collect();
                self.fit = Some(fitted);
            }
            Err(why) => self.unknown.push(why.to_string()),
        }
    }
}

fn of_file(works: &Works<'_>, measurand: Measurand) -> Vec<Limit> {
    let all = works.limits.map(|limits| limits.about(0.0).limits).unwrap_or_default();
    all.into_iter().filter(|limit| limit.measurand == measurand).collect()
}

/// Where each leg stands off the structure's middle as framed: the right-hand distance, metres.
fn framed(legs: &[Leg<'_>]) -> Option<Vec<f64>> {
    let spacing = legs.iter().filter_map(|leg| leg.plan?.framed_spacing_m).next();
    let many = legs.len();
    if many == 1 {
        return Some(vec![0.0]);
    }
    #[allow(clippy::cast_precision_loss)] // a structure has three legs
    let middle = (many - 1) as f64 / 2.0;
    let spacing = spacing?;
    #[allow(clippy::cast_precision_loss)]
    Some((0..many).map(|n| (n as f64 - middle) * spacing).collect())
}

/// Each leg's middle off its stake, with its standard uncertainty on each axis: measured; else by a tape from a leg whose middle
/// is; else on the stake, give or take.
#[must_use]
pub fn places(legs: &[Leg<'_>]) -> Vec<(LineAxes, f64)> {
    let framed = framed(legs);
    let mut places: Vec<Option<(LineAxes, f64)>> = legs.iter().map(|leg| leg.attempt.middle()).collect();
    if places.iter().all(Option::is_none)
        && let Some(first) = places.first_mut()
    {
        *first = legs.first().map(|leg| leg.attempt.middle_or_stake());
    }
    for (from, to, taped, standard, _) in taped(legs) {
        let Some(framed) = &framed else { break };
        let apart = framed[to] - framed[from];
        let over = (taped - apart.abs()) * apart.signum();
        match (places[from], places[to]) {
            (Some((place, worth)), None) => places[to] = Some((place.plus(across(over)), worth.hypot(standard))),
            (None, Some((place, worth))) => places[from] = Some((place.minus(across(over)), worth.hypot(standard))),
            _ => {}
        }
    }
    places.into_iter().zip(legs).map(|(place, leg)| place.unwrap_or_else(|| leg.attempt.middle_or_stake())).collect()
}

/// Every distance that was taped between two legs, brought to the level: from, to, distance, standard uncertainty, and how much
/// longer it was along the slope.
fn taped(legs: &[Leg<'_>]) -> Vec<(usize, usize, f64, f64, f64)> {
    let found = legs.iter().enumerate().flat_map(|(from, leg)| leg.attempt.said.iter().map(move |entry| (from, entry)));
    let spacing = found.filter_map(|(from, entry)| match &entry.said {
        Said::Spacing { to, distance_um, standard_um, along } => {
            let to = legs.iter().position(|leg| leg.hole.leg == *to).filter(|to| *to != from)?;
            let along_ground = um(*distance_um);
            let level = match along {
                Along::Level => along_ground,
                Along::Slope { rise_ppm } => level_spacing(along_ground, f64::from(*rise_ppm) / 1e6),
            };
            Some((from, to, level, um(*standard_um), along_ground - level))
        }
        _ => None,
    });
    spacing.collect()
}

fn spacings(legs: &[Leg<'_>], places: &[(LineAxes, f64)]) -> Vec<Spacing> {
    let Some(framed) = framed(legs) else { return Vec::new() };
    let of = |(from, to, level, standard, shortened): (usize, usize, f64, f64, f64)| {
        let measured = legs[from].attempt.middle().is_some() && legs[to].attempt.middle().is_some();
        let by_middles = measured.then(|| {
            let apart = across(framed[to] - framed[from]).plus(places[to].0).minus(places[from].0).magnitude();
            Figure::of(apart, INTERVAL * places[to].1.hypot(places[from].1).hypot(STAKED))
        });
        let worth = INTERVAL * standard;
        Spacing { legs: (from, to), taped: Figure::of(level, worth), shortened, framed: (framed[to] - framed[from]).abs(), by_middles }
    };
    taped(legs).into_iter().map(of).collect()
}

/// Legs and poles for the fit, or everything that is not known.
fn seats(legs: &[Leg<'_>], places: &[(LineAxes, f64)]) -> Result<Vec<fit::Leg>, Vec<String>> {
    let mut unknown = Vec::new();
    let framed = framed(legs);
    if framed.is_none() {
        unknown.push("the sheet gives no framed spacing".to_owned());
    }
    let mut seats = Vec::new();
    for (n, leg) in legs.iter().enumerate() {
        let name = if legs.len() > 1 { format!("{} leg: ", crate::sheet::leg_text(leg.hole.leg)) } else { String::new() };
        let stations = stations(leg, places[n].0);
        if stations.len() < 2 {
            unknown.push(format!("{name}the bore is not known"));
        } else if let Some(pole) = leg.pole {
            let at = across(framed.as_ref().map_or(0.0, |framed| framed[n]));
            let place_standard = places[n].1.hypot(STAKED);
            seats.push(fit::Leg { stations, pole, rake: rake(leg.plan), stake: at, framed: at, place_standard });
        } else {
            unknown.push(format!("{name}neither a tape round the butt nor a class in the table says how thick the pole is"));
        }
    }
    if unknown.is_empty() { Ok(seats) } else { Err(unknown) }
}

/// The bore of a hole that counts, its middle at the ground so far off the stake; empty where there is none.
#[must_use]
pub fn stations(leg: &Leg<'_>, middle: LineAxes) -> Vec<Station> {
    if matches!(leg.stage, Stage::Planned | Stage::GivenUp) { Vec::new() } else { leg.attempt.stations(middle) }
}

/// The rake of a guyed pole: its top leans towards the guy; where its toe goes with depth.
#[must_use]
pub fn rake(plan: Option<&LegPlan>) -> LineAxes {
    let wanted =
        plan.and_then(|plan| Some((plan.rake?, plan.guy_direction_deg?, plan.line_heading_deg?, plan.line_angle_deg.unwrap_or(0.0))));
    let raked = wanted.and_then(|(rate, guy, heading, angle)| {
        let (ahead, _) = bisector(heading, heading + angle)?;
        Some(fit::rake(guy - ahead, rate))
    });
    raked.unwrap_or_default()
}

/// A pole's outline by the sheet; `None` where nothing says how thick it is.
#[must_use]
pub fn outline(plan: &LegPlan) -> Option<Outline> {
    let taped = plan.butt.map(|butt| match butt {
        Butt::CircumferenceM(round) => Taped::Circumference(round),
        Butt::DiameterM(across) => Taped::Diameter(across),
    });
    let class = plan.pole_class.as_deref().and_then(class).unwrap_or(Class::Ordinary(0));
    let make = Make::Wood(plan.species.as_deref().map_or(Species::Other, species), class);
    Pole { make, length: plan.pole_length_m.unwrap_or(0.0), taped, taper: None }.outline(&Allowances::default())
}

fn class(text: &str) -> Option<Class> {
    let text = text.trim().to_lowercase();
    let text = text.strip_prefix("class").unwrap_or(&text).trim();
    match text.strip_prefix('h') {
        Some(number) => number.trim().parse().ok().map(Class::H),
        None => text.parse().ok().map(Class::Ordinary),
    }
}

fn species(text: &str) -> Species {
    let text = text.to_lowercase();
    match () {
        () if text.contains("southern") && text.contains("pine") => Species::SouthernPine,
        () if text.contains("douglas") && text.contains("fir") => Species::DouglasFir,
        () => Species::Other,
    }
}

/// The arm as a sheet plans it, its legs from left to right; `None` where it has one leg, or does not say what is needed.
#[must_use]
pub fn planned_arm(plans: &[&LegPlan]) -> Option<Arm> {
    let legs: Vec<(&LegPlan, (f64, f64))> = plans.iter().map(|plan| (*plan, (plan.depth_m, 0.0))).collect();
    arm(&legs, &[])
}

/// The arm as the holes are drilled.
fn drilled_arm(legs: &[Leg<'_>], works: &Works<'_>) -> Option<Arm> {
    let with_depth = |leg: &Leg<'_>| {
        let known = !matches!(leg.stage, Stage::Planned | Stage::GivenUp);
        // the butt of a set pole is where its brand says
        let figure = leg.embedment.or(leg.depth).filter(|_| known)?;
        Some((figure.value, figure.expanded / INTERVAL))
    };
    let legs = legs.iter().map(|leg| Some((leg.plan?, with_depth(leg)?))).collect::<Option<Vec<_>>>()?;
    arm(&legs, &of_file(works, Measurand::ArmTilt))
}

/// The arm of legs from left to right, each with its depth and the standard uncertainty of it.
fn arm(legs: &[(&LegPlan, (f64, f64))], limits: &[Limit]) -> Option<Arm> {
    let apart = legs.iter().find_map(|(plan, _)| plan.framed_spacing_m).filter(|_| legs.len() > 1)?;
    #[allow(clippy::cast_precision_loss)] // a structure has three legs
    let spacing = apart * (legs.len() - 1) as f64;
    let on_level: Vec<level::Leg> = legs.iter().map(|(plan, depth)| on_level(plan, *depth)).collect::<Option<_>>()?;
    let tilt = level::tilt(on_level.first()?, on_level.last()?, spacing)?;
    let windows = legs.iter().map(|(plan, _)| Some((plan.depth_under_m?, plan.depth_over_m?))).collect::<Option<Vec<_>>>();
    let window = windows.map(|windows| {
        let least = |of: fn(&(f64, f64)) -> f64| windows.iter().map(of).fold(f64::INFINITY, f64::min);
        Window { under: least(|window| window.0), over: least(|window| window.1) }
    });
    let figure = Figure::of(tilt.rise.value.abs() / spacing, tilt.rise.expanded / spacing);
    Some(Arm {
        tilt,
        spacing,
        taped: on_level.iter().all(|leg| matches!(leg.framing, Framing::Taped(..))),
        remedy: window.and_then(|window| level::remedy(&on_level, &window, tilt.rise.expanded)),
        verdicts: limits.iter().map(|limit| verdict(limit, Some(figure), false, &[])).collect(),
    })
}

fn on_level(plan: &LegPlan, depth: (f64, f64)) -> Option<level::Leg> {
    let ground = if plan.datum == state::Datum::Pad { plan.ground_pad_m } else { plan.ground_original_m };
    let framing = plan.butt_to_framing_m.map(|length| Framing::Taped(length, TAPED)).or(plan.pole_length_m.map(Framing::Nominal))?;
    Some(level::Leg { datum: (ground?, LEVELLED), depth, planned: plan.depth_m, framing })
}

/// The earth of a leg's hole.
fn ground(leg: &Leg<'_>, soil: Option<Soil>) -> Option<Ground> {
    let stations = stations(leg, LineAxes::default());
    let depth = leg.depth?;
    let radius = stations.iter().map(|station| station.radius_standard).fold(0.0, f64::max);
    let hole = volume::hole(&Attempt::sections(&stations), radius, depth.expanded / INTERVAL)?;
    let pole = leg.pole.map(|pole| pole.volume(depth.value));
    Some(Ground { hole, earth: soil.zip(pole).and_then(|(soil, pole)| volume::earth(hole.value, pole, soil.loose, soil.compacted)) })
}
