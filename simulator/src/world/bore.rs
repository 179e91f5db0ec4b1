//! One hole: what has been cut, what has fallen in, and the truth of it to compare measurements with.

use super::ground::Going;
use shared_protocol::units::RigAxes;
use std::collections::VecDeque;

/// New depth between two points of the true path, mm.
pub const PATH_STEP_MM: f64 = 5.0;
/// A tip that stays at or below a depth for this long has been held there, ms.
const HELD_MS: u64 = 500;
/// How much faster than virgin ground loose ground goes.
const LOOSE_FACTOR: f64 = 6.0;
/// A tip this far above the bottom has left it: loose ground comes down.
const TRIP_MM: f64 = 300.0;

/// One point of the hole's true path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathPoint {
    /// Below the hub, along the tool, mm.
    pub depth_mm: f64,
    /// The tool's true lean when this depth was cut, mm/m, toe forward and to the right.
    pub lean: RigAxes<f64>,
    /// Where the axis is, off the vertical through the hole's start, mm.
    pub axis_mm: RigAxes<f64>,
}

/// What truly is in the ground.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HoleTruth {
    /// Ground at the hole, below the hub, mm.
    pub surface_mm: f64,
    /// The deepest that any tool cut, below the hub, mm.
    pub cut_mm: f64,
    /// The deepest that the tip was held for half a second, below the hub, mm.
    pub held_mm: f64,
    /// The path from the surface down, a point for each 5 mm and one at the end.
    pub path: Vec<PathPoint>,
}

impl HoleTruth {
    /// The mean lean over the depth cut, mm/m; `None` before anything is.
    #[must_use]
    pub fn mean_lean(&self) -> Option<RigAxes<f64>> {
        let (mut forward, mut right, mut length) = (0.0, 0.0, 0.0);
        for pair in self.path.windows(2) {
            let step = pair[1].depth_mm - pair[0].depth_mm;
            forward += step * (pair[0].lean.forward + pair[1].lean.forward) / 2.0;
            right += step * (pair[0].lean.right + pair[1].lean.right) / 2.0;
            length += step;
        }
        (length > 0.0).then(|| RigAxes { forward: forward / length, right: right / length })
    }

    /// Where the axis ends, off the vertical through the hole's start, mm; `None` before anything is cut.
    #[must_use]
    pub fn toe_mm(&self) -> Option<RigAxes<f64>> {
        self.path.last().map(|p| p.axis_mm)
    }
}

/// A hole in the making.
#[derive(Clone, Debug)]
pub struct Bore {
    truth: HoleTruth,
    /// Diameter and bottom of what each tool cut, mm.
    cuts: Vec<(f64, f64)>,
    loose_mm: f64,
    away: bool,
    cutting: bool,
    recent: VecDeque<(u64, f64)>,
    /// Where the axis would be had the tool followed the wall alone, mm, and down to which depth.
    walled: RigAxes<f64>,
    walled_to_mm: f64,
}

/// What a hole's path is made of besides the tool's lean.
#[derive(Clone, Copy, Debug)]
pub struct Leading {
    /// Height above the hub of the guide that the tool pivots about, mm.
    pub guide_mm: f64,
    /// 0 where the path is a straight stick's, 1 where the tool follows the wall alone, between them as a share.
    pub wall_share: f64,
}

/// Where the tool is asked to go within one millisecond.
#[derive(Clone, Copy, Debug)]
pub struct Push {
    /// Where the tip would be if nothing stopped it, below the hub, mm.
    pub wanted_mm: f64,
    /// Whether the tool turns.
    pub turning: bool,
    /// Diameter of the tool, mm.
    pub diameter_mm: f64,
    /// How virgin ground goes at the bottom.
    pub going: Going,
}

impl Bore {
    /// Untouched ground, its surface so far below the hub, mm.
    #[must_use]
    pub fn new(surface_mm: f64) -> Self {
        let truth = HoleTruth { surface_mm, cut_mm: surface_mm, held_mm: 0.0, path: Vec::new() };
        Self {
            truth,
            cuts: Vec::new(),
            loose_mm: 0.0,
            away: true,
            cutting: false,
            recent: VecDeque::new(),
            walled: RigAxes { forward: 0.0, right: 0.0 },
            walled_to_mm: surface_mm,
        }
    }

    /// What truly is.
    #[must_use]
    pub fn truth(&self) -> &HoleTruth {
        &self.truth
    }

    /// Whether the tool made new bottom in the last millisecond.
    #[must_use]
    pub fn cutting(&self) -> bool {
        self.cutting
    }

    /// What a tool of this diameter stands on, below the hub, mm.
    #[must_use]
    pub fn floor_mm(&self, diameter_mm: f64) -> f64 {
        self.solid_mm(diameter_mm).min(self.truth.cut_mm - self.loose_mm)
    }

    fn solid_mm(&self, diameter_mm: f64) -> f64 {
        let wide_enough = self.cuts.iter().filter(|(d, _)| *d >= diameter_mm).map(|(_, bottom)| *bottom);
        wide_enough.fold(self.truth.surface_mm, f64::max)
    }

    /// One millisecond of pushing: returns where the tip ends, below the hub, mm.
    pub fn push(&mut self, push: Push) -> f64 {
        let floor = self.floor_mm(push.diameter_mm);
        self.cutting = false;
        if push.wanted_mm <= floor {
            return push.wanted_mm;
        }
        if !push.turning {
            return floor;
        }
        let solid = self.solid_mm(push.diameter_mm);
        let easy = floor < solid || solid < self.truth.cut_mm; // loose ground, or a ring to ream off
        let feed = push.going.feed_mm_s * if easy { LOOSE_FACTOR } else { 1.0 };
        let tip = push.wanted_mm.min(floor + feed * 0.001);
        if tip > solid {
            self.cutting = true;
            match self.cuts.iter_mut().find(|(d, _)| *d == push.diameter_mm) {
                Some((_, bottom)) => *bottom = bottom.max(tip),
                None => self.cuts.push((push.diameter_mm, tip)),
            }
        }
        self.truth.cut_mm = self.truth.cut_mm.max(tip);
        self.loose_mm = self.loose_mm.min(self.truth.cut_mm - tip);
        tip
    }

    /// Told once a millisecond where the tip is; returns true when it has just left the bottom.
    pub fn watch(&mut self, now_ms: u64, tip_mm: f64) -> bool {
        self.hold(now_ms, tip_mm);
        let away = tip_mm < self.truth.cut_mm - TRIP_MM;
        let left = away && !self.away;
        self.away = away;
        left
    }

    /// Loose ground comes to lie on the bottom, mm.
    pub fn fall_in(&mut self, mm: f64) {
        self.loose_mm = mm.clamp(0.0, self.truth.cut_mm - self.truth.surface_mm);
    }

    /// Notes the path when new depth is cut by a tool that leans so, mm/m.
    ///
    /// Two models bound it, both with depths from the hole's start: a straight stick about the guide, toe(L) =
    /// h·(s − s₀) + L·s with h the guide's height above the start, and a tool that follows the wall, toe = Σ ΔL·s.
    /// The truth is a mixture of both.
    pub fn note_path(&mut self, lean: RigAxes<f64>, leading: Leading) {
        let last = self.truth.path.last().map(|p| p.depth_mm);
        let cut = self.truth.cut_mm;
        if cut <= self.truth.surface_mm || last.is_some_and(|last| cut <= last) {
            return;
        }
        let start = self.truth.path.first().map_or(lean, |p| p.lean);
        let new_m = (cut - self.walled_to_mm) / 1_000.0;
        self.walled = RigAxes { forward: self.walled.forward + new_m * lean.forward, right: self.walled.right + new_m * lean.right };
        self.walled_to_mm = cut;
        let (above, length) = (leading.guide_mm + self.truth.surface_mm, cut - self.truth.surface_mm);
        let axis = |s: f64, s0: f64, walled: f64| {
            let stick = (above * (s - s0) + length * s) / 1_000.0;
            stick + leading.wall_share * (walled - stick)
        };
        let axis_mm = RigAxes {
            forward: axis(lean.forward, start.forward, self.walled.forward),
            right: axis(lean.right, start.right, self.walled.right),
        };
        let point = PathPoint { depth_mm: cut, lean, axis_mm };
        // The last point moves on with the bottom until it is a whole step below the one before.
        let settled = self.truth.path.len().checked_sub(2).map(|i| self.truth.path[i].depth_mm);
        match (settled, self.truth.path.last_mut()) {
            (Some(before), Some(end)) if end.depth_mm - before < PATH_STEP_MM => *end = point,
            _ => self.truth.path.push(point),
        }
    }

    /// Keeps the deepest depth that the tip has stayed at or below for half a second. Each entry of `recent` says
    /// since when the tip has been at least so deep; depths and times both rise from front to back.
    fn hold(&mut self, now_ms: u64, tip_mm: f64) {
        if tip_mm <= self.truth.held_mm {
            self.recent.clear();
            return;
        }
        let mut since = now_ms;
        while let Some((start, depth)) = self.recent.back()
            && *depth >= tip_mm
        {
            since = *start;
            self.recent.pop_back();
        }
        self.recent.push_back((since, tip_mm));
        while let Some((start, depth)) = self.recent.front()
            && now_ms - start >= HELD_MS
        {
            self.truth.held_mm = *depth;
            self.recent.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOING: Going = Going { feed_mm_s: 10.0, vibration_mg: 0.0, fall_in_mm: 0.0 };
    const STICK: Leading = Leading { guide_mm: 1_400.0, wall_share: 0.0 };
    const PLUMB: RigAxes<f64> = RigAxes { forward: 0.0, right: 0.0 };

    fn push(bore: &mut Bore, wanted_mm: f64, turning: bool, diameter_mm: f64) -> f64 {
        bore.push(Push { wanted_mm, turning, diameter_mm, going: GOING })
    }

    #[test]
    fn only_a_turning_tool_goes_in_and_no_faster_than_the_ground_lets_it() {
        let mut bore = Bore::new(50.0);
        assert_eq!(push(&mut bore, 90.0, false, 1_100.0), 50.0);
        assert_eq!(push(&mut bore, 90.0, true, 1_100.0), 50.01);
        assert!(bore.cutting());
        assert_eq!(push(&mut bore, 20.0, true, 1_100.0), 20.0);
        assert!(!bore.cutting());
    }

    #[test]
    fn loose_ground_goes_fast_and_a_wider_tool_reams_from_the_top() {
        let mut bore = Bore::new(0.0);
        for _ in 0..10_000 {
            push(&mut bore, 100.0, true, 760.0);
        }
        assert_eq!((bore.truth().cut_mm, bore.floor_mm(760.0), bore.floor_mm(1_100.0)), (100.0, 100.0, 0.0));
        assert_eq!(push(&mut bore, 100.0, true, 1_100.0), 0.06);
        bore.fall_in(40.0);
        assert_eq!(bore.floor_mm(760.0), 60.0);
        assert!((push(&mut bore, 100.0, true, 760.0) - 60.06).abs() < 1e-9);
    }

    #[test]
    fn held_is_the_deepest_of_half_a_second() {
        // 30 for 400 ms, then 25 for so long, then up. At 25 or below for half a second, or for a millisecond less.
        for (at_25_ms, want) in [(100, 20.0), (101, 25.0)] {
            let mut bore = Bore::new(0.0);
            for ms in 0..2_000 {
                let tip = match ms {
                    0..100 => 20.0,
                    100..500 => 30.0,
                    _ if ms < 500 + at_25_ms => 25.0,
                    _ => 5.0,
                };
                bore.watch(ms, tip);
            }
            assert_eq!(bore.truth().held_mm, want);
            for ms in 2_000..2_600 {
                bore.watch(ms, 41.5);
            }
            assert_eq!(bore.truth().held_mm, 41.5);
        }
    }

    #[test]
    fn a_straight_hole_has_a_straight_axis() {
        let mut bore = Bore::new(0.0);
        let lean = RigAxes { forward: 12.0, right: -4.0 };
        for _ in 0..100_000 {
            push(&mut bore, 1_000.0, true, 1_100.0);
            bore.note_path(lean, STICK);
        }
        let toe = bore.truth().toe_mm().unwrap();
        assert!((toe.forward - 12.0).abs() < 1e-9 && (toe.right + 4.0).abs() < 1e-9, "{toe:?}");
        let mean = bore.truth().mean_lean().unwrap();
        assert!((mean.forward - 12.0).abs() < 1e-9);
        assert_eq!(bore.truth().path.len(), 201);
    }

    #[test]
    fn a_mast_that_tips_swings_the_toe_by_guide_height_too() {
        let mut bore = Bore::new(0.0);
        for ms in 0..100_000 {
            push(&mut bore, 1_000.0, true, 1_100.0);
            let lean = if ms < 50_000 { PLUMB } else { RigAxes { forward: 10.0, right: 0.0 } };
            bore.note_path(lean, STICK);
        }
        // 1.4 m × 10 mm/m + 1 m × 10 mm/m (design: toe(L) = h·(s − s0) + L·s)
        assert!((bore.truth().toe_mm().unwrap().forward - 24.0).abs() < 1e-9);
    }

    /// The same mast led by the wall alone, and half and half: 0.5 m × 10 mm/m, and the mean of 5 and 24 mm.
    #[test]
    fn a_tool_led_by_the_wall_goes_on_from_where_the_hole_is() {
        for (wall_share, toe) in [(1.0, 5.0), (0.5, 14.5)] {
            let mut bore = Bore::new(40.0);
            for ms in 0..100_000 {
                push(&mut bore, 1_040.0, true, 1_100.0);
                let lean = if ms < 50_000 { PLUMB } else { RigAxes { forward: 10.0, right: -10.0 } };
                bore.note_path(lean, Leading { guide_mm: 1_360.0, wall_share });
            }
            let found = bore.truth().toe_mm().unwrap();
            assert!((found.forward - toe).abs() < 1e-6 && (found.right + toe).abs() < 1e-6, "{wall_share}: {found:?}");
        }
    }
}
