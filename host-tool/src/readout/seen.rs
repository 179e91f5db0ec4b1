//! What is known at one moment, as figures: each ready made in the sheet's units, or a dash with its reason.

use super::mast::{magnitude, towards};
use crate::measure::length_text;
use crate::paper::words::{Units, code};
use serde::Serialize;
use shared_protocol::message::{Live, Outlook};
use shared_protocol::record::Plan;
use shared_protocol::state::{Activity, Belief, Datum, DepthState, PlumbState, SensorFault, SheetUnits, Status};
use shared_protocol::units::Micrometres;

/// Nearer to the centre than this no direction is named.
const ON_CENTRE: Micrometres = Micrometres::from_mm(1);
/// Nearer to the bottom, or to the ground, than this the tool stands on it: spoil and the encoder's noise are about as much.
const ON_BOTTOM: Micrometres = Micrometres::from_mm(10);
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
    pub(super) fn known(text: &str, more: impl Into<String>) -> Self {
        let alone = text.split_once(' ').filter(|(_, unit)| !unit.contains(' '));
        let (value, unit) = alone.unwrap_or((text, ""));
        Self::Known { value: value.to_owned(), unit: unit.to_owned(), more: more.into() }
    }
}

const INCH_UM: i32 = 25_400;

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

pub(super) fn fault(raw: Option<u8>) -> String {
    raw.filter(|raw| *raw > 0).map_or_else(|| "at fault".to_owned(), |raw| code(SensorFault::TABLE, raw))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_taken_apart_where_its_unit_stands_alone() {
        let known = |value: &str, unit: &str| Figure::Known { value: value.into(), unit: unit.into(), more: "x".into() };
        assert_eq!(Figure::known("1.05 m", "x"), known("1.05", "m"));
        assert_eq!(Figure::known("3 ft 7 1/2 in", "x"), known("3 ft 7 1/2 in", ""));
    }
}
