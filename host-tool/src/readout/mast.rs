//! The lean and what is to be done about it: how it stands against the limit, and the order for the mast.

use super::seen::{Figure, Seen, fault};
use crate::measure::lean_text;
use serde::Serialize;
use shared_protocol::message::Live;
use shared_protocol::state::{Belief, DepthState};
use shared_protocol::units::Lean;

/// A component this much smaller than the other one does not change which way a person would call it: 1 in 3 is 18°.
const SIDEWAYS: u64 = 3;
/// The mast is to be moved from this share of the limit on, percent: the rig calls a hole drifting at 70 of the limit, and a hole
/// that is bored with half of it throughout stays clear of that by what a lean is worth, 3 or 4 mm/m of 20.
const WORTH_MOVING: u64 = 50;
/// And is left again below this one, so that the order does not come and go with the mast's trembling.
const WORTH_LEAVING: u64 = 40;

/// How the lean stands against the plan's limit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Verdict {
    /// In words.
    pub text: String,
    /// Whether it is beyond the limit.
    pub beyond: bool,
}

impl Seen<'_> {
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
            return Some("stop: depth reached".to_owned());
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
}
