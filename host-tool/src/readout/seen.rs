//! What is known at one moment, as figures: each ready made in the sheet's units, or a dash with its reason.

use crate::measure::{lean_text, length_text};
use crate::paper::words::{Units, code};
use serde::Serialize;
use shared_protocol::message::{Live, Outlook};
use shared_protocol::record::Plan;
use shared_protocol::state::{Activity, Belief, Datum, DepthState, PlumbState, SensorFault, SheetUnits, Status};
use shared_protocol::units::{Lean, Micrometres};

/// A component this much smaller than the other one does not change which way a person would call it: 1 in 3 is 18°.
const SIDEWAYS: u64 = 3;
/// Nearer to the centre than this no direction is named.
const ON_CENTRE: Micrometres = Micrometres::from_mm(1);
/// Nearer to the bottom, or to the ground, than this the tool stands on it: spoil and the encoder's noise are about as much.
const ON_BOTTOM: Micrometres = Micrometres::from_mm(10);
/// The mast is to be moved from this share of the limit on, percent: the rig calls a hole drifting at 70 of the limit, and a hole
/// that is bored with half of it throughout stays clear of that by what a lean is worth, 3 or 4 mm/m of 20.
const WORTH_MOVING: u64 = 50;
/// And is left again below this one, so that the order does not come and go with the mast's trembling.
const WORTH_LEAVING: u64 = 40;

/// A figure for eyes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(untagged)]
pub enum Figure {
    /// It is known.
    Known {
        /// The figure.
        value: String,
        /// Its unit; empty where the figure has its units in it.
        unit: String,
        /// What it is of, or which way it goes.
        more: String,
    },
    /// It is not.
    Dash {
        /// Why.
        dash: String,
    },
}

impl Figure {
    /// A dash with its reason.
    pub(super) fn dash(why: &str) -> Self {
        Self::Dash { dash: why.to_owned() }
    }

    /// From a text such as "1.05 m"; feet and inches stay as they are.
    fn known(text: &str, more: impl Into<String>) -> Self {
        let alone = text.split_once(' ').filter(|(_, unit)| !unit.contains(' '));
        let (value, unit) = alone.unwrap_or((text, ""));
        Self::Known { value: value.to_owned(), unit: unit.to_owned(), more: more.into() }
    }
}

const INCH_UM: i32 = 25_400;

/// How the lean stands against the plan's limit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Verdict {
    /// In words.
    pub text: String,
    /// Whether it is beyond the limit.
    pub beyond: bool,
}

/// What is known at one moment.
pub(super) struct Seen<'a> {
    pub live: Live,
    pub status: Status,
    pub outlook: Option<Outlook>,
    pub plan: Option<&'a Plan>,
    pub units: SheetUnits,
    /// Whether the lean is worth moving the mast for.
    pub moving: bool,
}

impl Seen<'_> {
    pub fn depth_known(&self) -> bool {
        self.status.referenced && self.status.depth == Belief::Good
    }

    /// How deep the hole is below the hub: the deepest that was held, or the tip where it is cutting deeper.
    fn bored(&self) -> Option<Micrometres> {
        let outlook = self.outlook.filter(|_| self.depth_known() && self.status.hole_open)?;
        let cutting = self.status.activity == Activity::Cutting;
        Some(if cutting { outlook.bottom.max(self.live.depth) } else { outlook.bottom })
    }

    /// What remains to be bored. Negative where it is deeper than planned already; `None` where it is not known.
    pub fn left(&self) -> Option<Micrometres> {
        let (plan, bored) = self.plan.zip(self.bored())?;
        Some(plan.depth.plus(plan.hub_above_datum).minus(bored))
    }

    pub fn to_go(&self) -> Figure {
        match self.left() {
            Some(left) if left < Micrometres(0) => {
                let over = self.plan.map_or(Micrometres(0), |plan| plan.depth_over);
                let past = Micrometres(left.0.saturating_neg());
                Figure::known(&length_text(past, self.units), if past > over { "too deep" } else { "past plan" })
            }
            Some(left) => Figure::known(&length_text(left, self.units), "to go"),
            None => self.hole_unknown(),
        }
    }

    /// Why nothing can be said of how deep the hole is.
    fn hole_unknown(&self) -> Figure {
        match self.plan {
            _ if self.status.activity == Activity::Starting => Figure::dash("the rig is starting"),
            _ if !self.status.hole_open => Figure::dash("no hole open"),
            None => self.depth_unknown().unwrap_or_else(|| Figure::dash("the hole's plan is on the way")),
            Some(_) => self.depth_unknown().unwrap_or_else(|| Figure::dash("the hole so far is on the way")),
        }
    }

    fn depth_unknown(&self) -> Option<Figure> {
        match self.status {
            Status { depth: Belief::Fault, .. } => {
                Some(Figure::dash(&format!("depth encoder: {}", fault(self.outlook.map(|o| o.encoder_fault)))))
            }
            Status { depth: Belief::Stale | Belief::Blank, .. } => Some(Figure::dash("depth encoder: no news")),
            Status { referenced: false, .. } => Some(Figure::dash("touch the hub")),
            Status { .. } => None,
        }
    }

    /// How deep the hole is below the sheet's datum: with what is to go it makes the planned depth.
    pub fn depth(&self) -> Figure {
        match self.plan.zip(self.bored()) {
            Some((plan, bored)) => {
                let left = plan.depth.plus(plan.hub_above_datum).minus(bored);
                // of the figures as shown, so that both make the planned depth to a person who adds them up
                let depth = self.shown(plan.depth).minus(self.shown(left)).max(Micrometres(0));
                Figure::known(&length_text(depth, self.units), below_what(plan.datum))
            }
            None => self.hole_unknown(),
        }
    }

    /// Whether the open hole itself is still to come from the rig.
    pub fn is_awaited(&self) -> bool {
        self.status.hole_open && self.depth_known() && (self.plan.is_none() || self.outlook.is_none())
    }

    /// A length to what is shown of it.
    fn shown(&self, length: Micrometres) -> Micrometres {
        nearest(length, if self.units == SheetUnits::FeetInches { INCH_UM / 4 } else { 10_000 })
    }

    /// What the tool does, or where it is; empty where that is not known.
    pub fn place(&self) -> String {
        let away = |length: Micrometres| {
            let size = Micrometres(length.0.saturating_abs());
            length_text(if self.units == SheetUnits::FeetInches { nearest(size, INCH_UM) } else { size }, self.units)
        };
        let depth = self.live.depth;
        let Some(plan) = self.plan.filter(|_| self.depth_known()) else {
            return match self.status {
                Status { activity: Activity::Starting, .. } => String::new(),
                _ if self.depth_known() => format!("tool {} {} the hub", away(depth), if depth.0 < 0 { "above" } else { "below" }),
                Status { hole_open, .. } => if hole_open { "tool: depth not known" } else { "" }.to_owned(),
            };
        };
        let (above_ground, off) = (plan.hub_above_datum.minus(depth), self.outlook.map(|outlook| outlook.bottom.minus(depth)));
        match (self.status.activity, off) {
            (Activity::Idle | Activity::Starting, _) => String::new(),
            (Activity::Cutting, _) => "cutting".to_owned(),
            (Activity::Clear, _) if above_ground < ON_BOTTOM => "tool at the ground".to_owned(),
            (Activity::Clear, _) => format!("tool {} above ground", away(above_ground)),
            (Activity::Tripping, _) if above_ground > ON_BOTTOM => format!("tool {} above ground", away(above_ground)),
            (Activity::Reaming, None) => "reaming".to_owned(),
            (Activity::Reaming, Some(off)) => format!("reaming {} off the bottom", away(off.max(Micrometres(0)))),
            (Activity::Tripping, None) => "tool off the bottom".to_owned(),
            (Activity::Tripping, Some(off)) if off < ON_BOTTOM => "tool on the bottom".to_owned(),
            (Activity::Tripping, Some(off)) => format!("tool {} off the bottom", away(off)),
        }
    }

    pub fn lean_unknown(&self) -> Option<String> {
        match self.status.lean {
            Belief::Fault => Some(format!("tilt sensor: {}", fault(self.outlook.map(|o| o.tilt_fault)))),
            Belief::Stale => Some("tilt sensor: no news".to_owned()),
            Belief::Blank => Some("tool out of the ground, or moving".to_owned()),
            Belief::Good => None,
        }
    }

    /// The lean whichever way it goes, and which way that is where the mast is to be moved for it: of a small one it is noise.
    pub fn lean(&self) -> Figure {
        if let Some(why) = self.lean_unknown() {
            return Figure::dash(&why);
        }
        let [forward, right] = self.leans();
        let text = lean_text(Lean(magnitude(forward, right)), self.units);
        let goes = match text == lean_text(Lean(0), self.units) {
            true => "plumb".to_owned(),
            false if !self.moving => String::new(),
            false => format!("toe goes {}", towards(forward, right)),
        };
        Figure::known(&text, goes)
    }

    /// Forward and right, millionths.
    fn leans(&self) -> [i32; 2] {
        [self.live.forward.lean().0, self.live.right.lean().0]
    }

    /// The lean against the plan's limit.
    pub fn verdict(&self) -> Option<Verdict> {
        let limit = self.plan.map(|plan| plan.plumb_limit).filter(|limit| limit.0 > 0 && self.lean_unknown().is_none())?;
        let [forward, right] = self.leans();
        let lean = Lean(magnitude(forward, right));
        let most = lean_text(limit, self.units);
        let beyond = lean.0 > limit.0;
        Some(match beyond {
            true if lean_text(lean, self.units) == most => Verdict { text: format!("AT {most}"), beyond },
            true => Verdict { text: format!("BEYOND {most}"), beyond },
            false => Verdict { text: format!("within {most}"), beyond },
        })
    }

    /// The order to the operator: which way the mast's top must go to be plumb, the same way as the toe errs. An axis that does
    /// not change which way a person would call it is left out. At planned depth there is nothing left to steer.
    pub fn hint(&self) -> Option<String> {
        if self.depth_known() && matches!(self.status.depth_check, DepthState::OnDepth | DepthState::Over) {
            return Some("planned depth reached: stop".to_owned());
        }
        if self.lean_unknown().is_some() {
            return None;
        }
        let [forward, right] = self.leans();
        let total = magnitude(forward, right);
        if !self.moving || lean_text(Lean(total), self.units) == lean_text(Lean(0), self.units) {
            return Some("leave the mast".to_owned());
        }
        let named = towards_each(forward, right);
        let alone = named.iter().flatten().count() == 1;
        let part = |(way, size): (&str, i32)| {
            let text = lean_text(Lean(if alone { total } else { size }.saturating_abs()), self.units);
            // two sizes have their unit from the lean, so that a glance takes both
            let size = if alone { &text } else { text.split(' ').next().unwrap_or_default() };
            format!("{} {size} {way}", arrow(way))
        };
        let parts: Vec<String> = named.into_iter().zip([forward, right]).filter_map(|(way, size)| Some(part((way?, size)))).collect();
        Some(format!("move mast top {}", parts.join(", ")))
    }

    /// How far off the centre the axis ends now, which plumbing the mast alone does not mend.
    pub fn toe(&self) -> Figure {
        let known = self.outlook.filter(|_| self.status.hole_open && self.depth_known());
        let Some(outlook) = known else { return Figure::dash("not known now") };
        let [forward, right] = toe(&outlook);
        let size = magnitude(forward, right);
        let units = if self.units == SheetUnits::FeetInches { Units::FeetInches } else { Units::Metric };
        let text = units.short(f64::from(size) / 1e6);
        Figure::known(&text, if size < ON_CENTRE.0 { String::new() } else { towards(forward, right) })
    }

    pub fn activity(&self) -> &'static str {
        match self.status.activity {
            _ if !self.depth_known() => "",
            Activity::Idle | Activity::Starting => "",
            Activity::Clear => "clear of the hole",
            Activity::Tripping => "tripping",
            Activity::Cutting => "cutting",
            Activity::Reaming => "reaming",
        }
    }

    /// The hole's plumb where nothing is wrong with it.
    pub fn plumb(&self) -> &'static str {
        let judged = self.status.hole_open && self.plan.is_some();
        if judged && self.status.plumb_check == PlumbState::Good { "hole plumb so far" } else { "" }
    }

    /// What is not as it should be, the gravest first; `true` for what an operator must act on.
    pub fn abnormal(&self) -> Vec<(&'static str, bool)> {
        let memory = self.status.memory_fault.then_some(("RIG'S MEMORY AT FAULT: records may be missing", true));
        let depth = match self.status.depth_check {
            DepthState::Drilling => None,
            DepthState::ComingUp => Some(("nearly at depth", false)),
            DepthState::OnDepth => Some(("DEEP ENOUGH", false)),
            DepthState::Over => Some(("TOO DEEP", true)),
        };
        let plumb = match self.status.plumb_check {
            PlumbState::Unjudged | PlumbState::Good => None,
            PlumbState::Drifting => Some(("hole near its plumb limit", false)),
            PlumbState::Out => Some(("HOLE OUT OF PLUMB", true)),
        };
        [depth, plumb, memory].into_iter().flatten().collect()
    }
}

/// To the nearest whole number of steps.
fn nearest(length: Micrometres, step: i32) -> Micrometres {
    let steps = length.0.saturating_abs().saturating_add(step / 2) / step;
    Micrometres(steps.saturating_mul(step).saturating_mul(length.0.signum()))
}

/// The size of a pair whichever way it goes.
pub(super) fn magnitude(a: i32, b: i32) -> i32 {
    let squares = u64::from(a.unsigned_abs()).pow(2).saturating_add(u64::from(b.unsigned_abs()).pow(2));
    i32::try_from(squares.isqrt()).unwrap_or(i32::MAX)
}

/// Which way a pair goes, in words and in rig axes.
pub(super) fn towards(forward: i32, right: i32) -> String {
    towards_each(forward, right).into_iter().flatten().collect::<Vec<_>>().join(" and ")
}

/// The words for each axis of a pair; `None` where it is too small beside the other one.
fn towards_each(forward: i32, right: i32) -> [Option<&'static str>; 2] {
    let (f, r) = (u64::from(forward.unsigned_abs()), u64::from(right.unsigned_abs()));
    let along = (f > 0 && f * SIDEWAYS >= r).then_some(if forward < 0 { "back" } else { "forward" });
    let across = (r > 0 && r * SIDEWAYS >= f).then_some(if right < 0 { "left" } else { "right" });
    [along, across]
}

/// As on a screen that stands before the operator: forward is away from the cab.
fn arrow(way: &str) -> char {
    match way {
        "forward" => '↑',
        "back" => '↓',
        "left" => '←',
        _ => '→',
    }
}

/// Whether a lean is worth moving the mast for, when it was so before or not; without a limit any is.
pub(super) fn worth_moving(live: &Live, limit: Option<Lean>, before: bool) -> bool {
    let lean = u64::from(magnitude(live.forward.lean().0, live.right.lean().0).unsigned_abs());
    let share = if before { WORTH_LEAVING } else { WORTH_MOVING };
    limit.filter(|limit| limit.0 > 0).is_none_or(|limit| lean * 100 > share * u64::from(limit.0.unsigned_abs()))
}

/// Where the axis ends now, in the middle of both models, as the rig judges it: forward, right, µm.
pub(super) fn toe(outlook: &Outlook) -> [i32; 2] {
    let middle = |stick: Micrometres, wall: Micrometres| stick.0.midpoint(wall.0);
    [middle(outlook.toe_forward, outlook.wall_forward), middle(outlook.toe_right, outlook.wall_right)]
}

pub(super) fn below_what(datum: u8) -> &'static str {
    match Datum::from_raw(datum) {
        Some(Datum::LowSide) => "below ground at the low side",
        Some(Datum::Stake) => "below grade at the stake",
        Some(Datum::Pad) => "below the pad",
        None => "below a datum that this version does not know",
    }
}

fn fault(raw: Option<u8>) -> String {
    raw.filter(|raw| *raw > 0).map_or_else(|| "at fault".to_owned(), |raw| code(SensorFault::TABLE, raw))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pair_goes_the_way_that_a_person_would_say() {
        let rows = [
            ((12, 0), "forward"),
            ((-12, 3), "back"),
            ((-12, 4), "back and right"),
            ((5, -12), "forward and left"),
            ((3, -12), "left"),
            ((0, 7), "right"),
            ((0, 0), ""),
            ((i32::MIN, i32::MAX), "back and right"),
        ];
        for ((forward, right), want) in rows {
            assert_eq!(towards(forward, right), want, "{forward} {right}");
        }
        assert_eq!((magnitude(3, -4), magnitude(i32::MIN, i32::MIN)), (5, i32::MAX));
    }

    fn at(forward: i32, right: i32) -> Live {
        let lean = |millionths: i32| shared_protocol::body::CoarseLean(i16::try_from(millionths / 10).expect("small"));
        Live { forward: lean(forward), right: lean(right), ..Live::default() }
    }

    /// Half of 20 mm/m and not less: under it the mast is left alone, and it is left again under 8.
    #[test]
    fn the_mast_is_moved_from_half_of_the_limit_on_and_left_under_two_fifths() {
        let limit = Some(Lean(20_000));
        let mut moving = false;
        let said: Vec<bool> = [9_900, 10_100, 9_000, 8_100, 7_900, 9_900]
            .map(|lean| {
                moving = worth_moving(&at(0, -lean), limit, moving);
                moving
            })
            .into();
        assert_eq!(said, [false, true, true, true, false, false]);
        assert!(worth_moving(&at(8_000, 8_000), limit, false), "11.3 whichever way it goes");
        assert!(worth_moving(&at(100, 0), None, false) && worth_moving(&at(100, 0), Some(Lean(0)), false), "nothing to be small against");
    }

    #[test]
    fn a_text_is_taken_apart_where_its_unit_stands_alone() {
        let known = |value: &str, unit: &str| Figure::Known { value: value.into(), unit: unit.into(), more: "x".into() };
        assert_eq!(Figure::known("1.05 m", "x"), known("1.05", "m"));
        assert_eq!(Figure::known("3 ft 7 1/2 in", "x"), known("3 ft 7 1/2 in", ""));
    }
}
