//! The geometry that rig and host must agree on to the micrometre.

use crate::units::{Lean, Micrometres, RigAxes};

/// Where the toe is, by the *stick* model: a straight tool that pivots about the mast's guide, read from above.
/// toe(L) = h·(s − s₀) + L·s, with `guide` the guide's height h above the hub, `start` the lean s₀ where
/// drilling began, `now` the lean s and `depth` the length L below the hub. Offsets are off the vertical through the hole's start.
#[must_use]
pub fn stick(guide: Micrometres, start: RigAxes<Lean>, now: RigAxes<Lean>, depth: Micrometres) -> RigAxes<Micrometres> {
    let one = |start: Lean, now: Lean| guide.along(Lean(now.0.saturating_sub(start.0))).plus(depth.along(now));
    RigAxes { forward: one(start.forward, now.forward), right: one(start.right, now.right) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_stick_lands_where_length_times_lean_says() {
        let lean = RigAxes { forward: Lean(12_000), right: Lean(-5_000) };
        let toe = stick(Micrometres::from_mm(1_400), lean, lean, Micrometres::from_mm(3_000));
        assert_eq!(toe, RigAxes { forward: Micrometres::from_mm(36), right: Micrometres::from_mm(-15) });
    }

    #[test]
    fn a_mast_that_tips_about_its_guide_swings_the_toe_by_guide_height_too() {
        let start = RigAxes { forward: Lean(0), right: Lean(0) };
        let now = RigAxes { forward: Lean(10_000), right: Lean(0) };
        let toe = stick(Micrometres::from_mm(1_400), start, now, Micrometres::from_mm(3_000));
        assert_eq!(toe.forward, Micrometres::from_mm(44));
    }
}
