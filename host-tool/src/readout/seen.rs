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

/// What is known at one moment.
pub(super) struct Seen<'a> {
    pub live: Live,
    pub status: Status,
    pub outlook: Option<Outlook>,
    pub plan: Option<&'a Plan>,
    pub units: SheetUnits,
}

impl Seen<'_> {
    pub fn depth_known(&self) -> bool {
        self.status.referenced && self.status.depth == Belief::Good
    }

    /// What remains to be bored: from the deepest that was held, or from the tip where it is cutting deeper. Negative where
    /// it is too deep already; `None` where it is not known.
    pub fn left(&self) -> Option<Micrometres> {
        let (plan, outlook) = self.plan.zip(self.outlook).filter(|_| self.depth_known())?;
        let cutting = self.status.activity == Activity::Cutting;
        let bored = if cutting { outlook.bottom.max(self.live.depth) } else { outlook.bottom };
        Some(plan.depth.plus(plan.hub_above_datum).minus(bored))
    }

    pub fn to_go(&self) -> Figure {
        match self.left() {
            Some(left) if left < Micrometres(0) => {
                Figure::known(&length_text(Micrometres(left.0.saturating_neg()), self.units), "too deep")
            }
            Some(left) => Figure::known(&length_text(left, self.units), "to go"),
            None if !self.status.hole_open => Figure::dash("no hole open"),
            None => self.depth_unknown().unwrap_or_else(|| Figure::dash("the hole's plan is on the way")),
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

    pub fn depth(&self) -> Figure {
        let (below, zero) = match self.plan {
            Some(plan) => (below_what(plan.datum), plan.hub_above_datum),
            None => ("below the hub", Micrometres(0)),
        };
        self.depth_unknown().unwrap_or_else(|| Figure::known(&length_text(self.live.depth.minus(zero), self.units), below))
    }

    pub fn lean_unknown(&self) -> Option<String> {
        match self.status.lean {
            Belief::Fault => Some(format!("tilt sensor: {}", fault(self.outlook.map(|o| o.tilt_fault)))),
            Belief::Stale => Some("tilt sensor: no news".to_owned()),
            Belief::Blank => Some("tool out of the ground, or moving".to_owned()),
            Belief::Good => None,
        }
    }

    /// The lean whichever way it goes, and which way that is.
    pub fn lean(&self) -> Figure {
        if let Some(why) = self.lean_unknown() {
            return Figure::dash(&why);
        }
        let (forward, right) = (self.live.forward.lean().0, self.live.right.lean().0);
        let text = lean_text(Lean(magnitude(forward, right)), self.units);
        let towards = if text == lean_text(Lean(0), self.units) { "plumb".to_owned() } else { towards(forward, right) };
        Figure::known(&text, towards)
    }

    /// The lean on each axis where it is not nothing, with the words for right and left.
    pub fn lean_parts(&self, to_right: &str, to_left: &str) -> Vec<String> {
        let part = |lean: Lean, plus: &str, minus: &str| {
            let size = lean_text(Lean(lean.0.saturating_abs()), self.units);
            let none = size == lean_text(Lean(0), self.units);
            (!none).then(|| format!("{size} {}", if lean.0 < 0 { minus } else { plus }))
        };
        let (forward, right) = (self.live.forward.lean(), self.live.right.lean());
        [part(forward, "forward", "back"), part(right, to_right, to_left)].into_iter().flatten().collect()
    }

    /// Which way the mast's top must go to be plumb: the same way as the toe errs.
    pub fn hint(&self) -> Option<String> {
        if self.lean_unknown().is_some() {
            return None;
        }
        let parts = self.lean_parts("to the right", "to the left");
        Some(if parts.is_empty() { "mast plumb".to_owned() } else { format!("mast top {}", parts.join(", ")) })
    }

    /// How far off the centre the axis ends now, which plumbing the mast alone does not mend.
    pub fn toe(&self) -> Figure {
        let known = self.outlook.filter(|_| self.status.hole_open && self.depth_known());
        let Some(outlook) = known else { return Figure::dash("not known now") };
        let (forward, right) = (outlook.toe_forward.0, outlook.toe_right.0);
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

    /// What is not as it should be, the gravest first; `true` for what an operator must act on.
    pub fn abnormal(&self) -> Vec<(&'static str, bool)> {
        let memory = self.status.memory_fault.then_some(("RIG'S MEMORY AT FAULT: records may be missing", true));
        let depth = match self.status.depth_check {
            DepthState::Drilling => None,
            DepthState::ComingUp => Some(("coming up to depth", false)),
            DepthState::OnDepth => Some(("ON DEPTH", false)),
            DepthState::Over => Some(("TOO DEEP", true)),
        };
        let plumb = match self.status.plumb_check {
            PlumbState::Unjudged | PlumbState::Good => None,
            PlumbState::Drifting => Some(("plumb drifting", false)),
            PlumbState::Out => Some(("OUT OF PLUMB", true)),
        };
        [depth, plumb, memory].into_iter().flatten().collect()
    }
}

/// The size of a pair whichever way it goes.
pub(super) fn magnitude(a: i32, b: i32) -> i32 {
    let squares = u64::from(a.unsigned_abs()).pow(2).saturating_add(u64::from(b.unsigned_abs()).pow(2));
    i32::try_from(squares.isqrt()).unwrap_or(i32::MAX)
}

/// Which way a pair goes, in words and in rig axes.
pub(super) fn towards(forward: i32, right: i32) -> String {
    let (f, r) = (u64::from(forward.unsigned_abs()), u64::from(right.unsigned_abs()));
    let along = (f > 0 && f * SIDEWAYS >= r).then_some(if forward < 0 { "back" } else { "forward" });
    let across = (r > 0 && r * SIDEWAYS >= f).then_some(if right < 0 { "left" } else { "right" });
    [along, across].into_iter().flatten().collect::<Vec<_>>().join(" and ")
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

    #[test]
    fn a_text_is_taken_apart_where_its_unit_stands_alone() {
        let known = |value: &str, unit: &str| Figure::Known { value: value.into(), unit: unit.into(), more: "x".into() };
        assert_eq!(Figure::known("1.05 m", "x"), known("1.05", "m"));
        assert_eq!(Figure::known("3 ft 7 1/2 in", "x"), known("3 ft 7 1/2 in", ""));
    }
}
