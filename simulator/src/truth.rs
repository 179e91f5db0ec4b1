//! The truth of a hole in the words of its sheet: depths below the datum, the path in line axes.
//!
//! Worked out from what was cut and from the scenario's errors alone, so that whatever a rig or a host says can be
//! held against it.

use crate::scenario::Scenario;
use crate::world::bore::HoleTruth;
use shared_protocol::units::RigAxes;

/// A pair in line axes: ahead is towards higher structure numbers, right is to the right of who looks ahead.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineAxes {
    /// Ahead on line.
    pub ahead: f64,
    /// To the right.
    pub right: f64,
}

impl LineAxes {
    /// A pair in rig axes, where the rig's forward direction is so many degrees clockwise from ahead.
    #[must_use]
    pub fn turned(rig: RigAxes<f64>, heading_deg: f64) -> Self {
        let (sin, cos) = (libm::sin(heading_deg.to_radians()), libm::cos(heading_deg.to_radians()));
        Self { ahead: rig.forward * cos - rig.right * sin, right: rig.forward * sin + rig.right * cos }
    }

    /// Whichever way it goes.
    #[must_use]
    pub fn size(&self) -> f64 {
        (self.ahead * self.ahead + self.right * self.right).sqrt()
    }
}

/// What is truly there.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// The floor of the hole, below the datum, mm.
    pub floor_mm: f64,
    /// The deepest that the cutting edge was held, below the datum, mm.
    pub edge_mm: f64,
    /// From the hole's start to the deepest that was cut, along the tool, mm.
    pub length_mm: f64,
    /// Where the axis ends, off the vertical through the hole's start, mm.
    pub toe_mm: LineAxes,
    /// The same over the hole's length, mm/m.
    pub lean_mm_m: LineAxes,
    /// The axis: depth below the datum, and how far off the vertical through the hole's start, mm.
    pub path: Vec<(f64, LineAxes)>,
}

impl Scenario {
    /// The truth of one of its holes, counted from 0, from what the bench says was cut; `None` where there is no such
    /// hole or nothing was cut.
    #[must_use]
    pub fn truth(&self, hole: usize, cut: &HoleTruth) -> Option<Truth> {
        let plan = self.hole.get(hole)?;
        let hub_mm = plan.hub_above_datum_mm + self.errors.depth.hub_level_mm;
        let heading_deg = self.sheet.heading_deg + self.errors.path.heading_deg;
        let line = |rig| LineAxes::turned(rig, heading_deg);
        let toe_mm = line(cut.toe_mm()?);
        let length_mm = cut.cut_mm - cut.surface_mm;
        let share = 1_000.0 / length_mm;
        Some(Truth {
            floor_mm: cut.held_mm - hub_mm + self.errors.depth.floor_mm,
            edge_mm: cut.held_mm - hub_mm,
            length_mm,
            toe_mm,
            lean_mm_m: LineAxes { ahead: toe_mm.ahead * share, right: toe_mm.right * share },
            path: cut.path.iter().map(|point| (point.depth_mm - hub_mm, line(point.axis_mm))).collect(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::STILL_HOLE;
    use crate::world::bore::PathPoint;

    fn cut() -> HoleTruth {
        let pair = |forward, right| RigAxes { forward, right };
        let point = |depth_mm, axis_mm| PathPoint { depth_mm, lean: pair(12.0, -5.0), axis_mm };
        HoleTruth {
            surface_mm: 30.0,
            cut_mm: 630.0,
            held_mm: 629.0,
            path: vec![point(30.0, pair(0.0, 0.0)), point(630.0, pair(7.2, -3.0))],
        }
    }

    fn truth(errors: &str) -> Truth {
        Scenario::parse("still-hole", &(STILL_HOLE.to_owned() + errors)).unwrap().truth(0, &cut()).unwrap()
    }

    /// Design: depth counts from the datum, and a hub 30 mm above it takes 30 mm off; a lean forward is a lean ahead
    /// where the rig looks ahead.
    #[test]
    fn without_errors_it_is_what_was_cut() {
        let plain = truth("");
        assert_eq!((plain.floor_mm, plain.edge_mm, plain.length_mm), (599.0, 599.0, 600.0));
        assert_eq!(plain.toe_mm, LineAxes { ahead: 7.2, right: -3.0 });
        assert_eq!(plain.path, [(0.0, LineAxes::default()), (600.0, plain.toe_mm)]);
        assert!((plain.lean_mm_m.ahead - 12.0).abs() < 1e-12 && (plain.lean_mm_m.right + 5.0).abs() < 1e-12);
    }

    /// A hub truly higher than levelled makes the hole shallower below the datum; a floor below the edge deeper. A rig
    /// that looks right (90° clockwise) leans the hole to the right where it leans forward, and back where it leans right.
    #[test]
    fn hub_floor_and_heading_go_the_way_that_they_should() {
        let other = truth("\n[errors]\ndepth = { hub_level_mm = 10.0, floor_mm = 4.0 }\npath = { heading_deg = 90.0 }\n");
        assert_eq!((other.floor_mm, other.edge_mm), (593.0, 589.0));
        assert!((other.toe_mm.right - 7.2).abs() < 1e-12 && (other.toe_mm.ahead - 3.0).abs() < 1e-12, "{:?}", other.toe_mm);
        assert!((other.toe_mm.size() - 7.8).abs() < 1e-12);
    }

    #[test]
    fn no_hole_has_no_truth() {
        let scenario = Scenario::parse("still-hole", STILL_HOLE).unwrap();
        assert_eq!((scenario.truth(1, &cut()), scenario.truth(0, &HoleTruth::default())), (None, None));
    }
}
