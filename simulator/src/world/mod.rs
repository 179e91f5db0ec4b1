//! The world that a rig drills in: ground, tool, mast and winch, moved on a millisecond at a time.
//!
//! Depths are millimetres below the hub along the tool, positive downwards; leans are mm/m, positive where the
//! toe goes. The world keeps the truth, so that what the rig says can be compared with it.

pub mod bore;
pub mod ground;
pub mod mast;
pub mod rope;
pub mod string;
mod winch;

use crate::chance::{Chance, Drawer};
use crate::clock::Moment;
use crate::errors::{STATED_AT_DEG, Warmth};
use crate::pose::Held;
use crate::scenario::{HolePlan, Scenario};
use bore::{Bore, HoleTruth, Leading, Push};
use firmware_app::profile::{Profile, ToolEntry};
use ground::{Going, Ground};
use mast::Mast;
use rope::{Rest, Rope};
use shared_protocol::units::RigAxes;
use string::ToolString;
use winch::Winch;

/// The tip must be this far above the hub before the rig slews, mm.
const CLEAR_MM: f64 = 150.0;
/// How long the rig slews between hole and hub, ms.
const SLEW_MS: u64 = 4_000;
/// What a slewing rig's tilt sensor reads too little on the forward axis, mg: 2 rpm at 4 m.
const SLEW_MG: f64 = -18.0;
/// Share of a layer's vibration that a tool turning free makes.
const FREE_SHARE: f64 = 0.2;

/// Where the tool hangs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Over the hub, beside the hole.
    Hub,
    /// Over the hole.
    Hole,
}

/// What the levers ask for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lever {
    /// Nothing: the tool hangs where it is.
    Stop,
    /// To a depth below the hub, mm, no faster than this, mm/s.
    To {
        /// Where to.
        depth_mm: f64,
        /// How fast at most.
        speed_mm_s: f64,
    },
}

/// All that is outside the rig's electronics.
#[derive(Clone, Debug)]
pub struct World {
    now: Moment,
    still: bool,
    ground: Ground,
    mast: Mast,
    winch: Winch,
    bore: Bore,
    done: Vec<HoleTruth>,
    place: Place,
    slewing: Option<(Place, u64)>,
    tool: ToolEntry,
    tools: Vec<ToolEntry>,
    leading: Leading,
    rope: Rope,
    string: ToolString,
    warmth: Warmth<f64>,
    /// What was paid out when the first tool's tip was on the hub, mm.
    paid_at_hub_mm: f64,
    held: Held,
    going_factor: f64,
    chance: Chance,
    /// The winch lever.
    pub lever: Lever,
    /// Whether the tool turns.
    pub turning: bool,
}

impl World {
    /// The scenario's world before its first hole, from a seed. `None` where the scenario names a tool that the
    /// rig has not.
    #[must_use]
    pub fn new(scenario: &Scenario, seed: u64) -> Option<Self> {
        let profile = Profile::bench();
        let tools = scenario.tools();
        let tool = *tools.iter().find(|t| t.number == scenario.sheet.tool)?;
        let errors = &scenario.errors;
        let mut wander = scenario.mast;
        if scenario.still {
            wander.sd_mm_m = 0.0;
        }
        Some(Self {
            now: Moment::default(),
            still: scenario.still,
            ground: Ground::new(&scenario.layer),
            mast: Mast::new(seed, wander),
            winch: Winch::at(-400.0),
            bore: Bore::new(0.0),
            done: Vec::new(),
            place: Place::Hub,
            slewing: None,
            tool,
            tools,
            leading: Leading { guide_mm: f64::from(profile.guide_height.0) / 1_000.0, wall_share: errors.path.wall_share },
            rope: Rope::new(seed, &errors.depth, errors.warmth.rope_mm_m_deg),
            string: ToolString::new(seed, errors.tool),
            warmth: errors.warmth,
            paid_at_hub_mm: -length_mm(&tool),
            held: Held::Free,
            going_factor: 1.0,
            chance: Chance::new(seed, Drawer::Ground),
            lever: Lever::Stop,
            turning: false,
        })
    }

    /// The rig has moved to another structure: other ground, and the tools that it carries. Time, rope and chance go on,
    /// and so do the errors of the rig, whatever the scenario says of them.
    pub fn move_on(&mut self, scenario: &Scenario) {
        self.ground = Ground::new(&scenario.layer);
        self.tools = scenario.tools();
    }

    /// The rig is set up over an untouched hole, its tool over the hub, or again over the hole in hand. The truth of the
    /// hole before is kept.
    pub fn set_up(&mut self, hole: &HolePlan) {
        if !hole.goes_on {
            self.finish();
            self.bore = Bore::new(hole.ground_below_hub_mm);
        }
        self.mast.set_up(&hole.lean);
        self.place = Place::Hub;
        self.slewing = None;
    }

    /// The hole in hand is left as it is.
    pub fn finish(&mut self) {
        let left = std::mem::replace(&mut self.bore, Bore::new(0.0));
        if !left.truth().path.is_empty() {
            self.done.push(left.truth().clone());
        }
    }

    /// Puts another tool on, by its number in the rig's table; false where there is none.
    pub fn mount(&mut self, number: u8) -> bool {
        let found = self.tools.iter().find(|t| t.number == number).copied();
        // The pin stays where it is; a longer tool reaches deeper.
        if let Some(tool) = found {
            self.winch.shift(length_mm(&tool) - length_mm(&self.tool));
            self.tool = tool;
        }
        found.is_some()
    }

    /// Slews to a place. Refused, with false, while the tip is not clear of the ground.
    pub fn slew(&mut self, to: Place) -> bool {
        let free = self.clear();
        if free && self.slewing.is_none() {
            self.slewing = Some((to, SLEW_MS));
        }
        free
    }

    fn clear(&self) -> bool {
        self.winch.tip_mm <= self.bore.truth().surface_mm.min(0.0) - CLEAR_MM
    }

    /// Holds it, or lets it go. Refused, with false, where the tip is to go beside hub and hole, or comes from there,
    /// and is not clear of the ground.
    pub fn hold(&mut self, held: Held) -> bool {
        let moves = (held == Held::Beside) != (self.held == Held::Beside);
        let allowed = !moves || (self.clear() && self.slewing.is_none());
        if allowed {
            self.held = held;
        }
        allowed
    }

    /// What a sensor on a plate feels, g, in its own axes; `None` where it is on its mast.
    #[must_use]
    pub fn plate_g(&self) -> Option<[f64; 3]> {
        if let Held::Plate(force_g) = self.held { Some(force_g) } else { None }
    }

    /// Another day: this temperature now, °C, and rising as before.
    pub fn another_day(&mut self, temperature_deg: f64) {
        self.warmth.day_deg += temperature_deg - self.temperature_deg();
    }

    /// Slews aside and back to throw spoil. Refused, with false, while the tip is not clear of the ground.
    pub fn throw(&mut self) -> bool {
        self.slew(self.place)
    }

    /// Leans the mast by hand from now on, mm/m.
    pub fn lean_by_hand(&mut self, lean: RigAxes<f64>) {
        self.mast.lean_by_hand(lean);
    }

    /// A millisecond passes.
    pub fn step(&mut self) {
        self.now = self.now.plus_ms(1);
        let wanted_mm = self.winch.reach(self.lever);
        let tip_mm = match (self.slewing, self.place) {
            _ if self.held == Held::Beside => wanted_mm,
            (Some(_), _) => self.winch.tip_mm,
            (None, Place::Hub) => wanted_mm.min(0.0),
            (None, Place::Hole) => {
                let mut going = self.going();
                going.feed_mm_s *= self.going_factor;
                self.bore.push(Push { wanted_mm, turning: self.turning, diameter_mm: f64::from(self.tool.diameter.0) / 1_000.0, going })
            }
        };
        self.winch.arrive(tip_mm);
        if let Some((to, left)) = self.slewing {
            self.slewing = left.checked_sub(1).map(|left| (to, left));
            if self.slewing.is_none() {
                self.place = to;
            }
        }
        let in_hole = self.place == Place::Hole && self.slewing.is_none() && self.held != Held::Beside;
        if in_hole && self.bore.watch(self.now.ms(), tip_mm) {
            self.left_bottom();
        }
        self.rope.rest(self.rest());
        self.mast.step(self.now.ms(), self.bore.truth().cut_mm, self.held == Held::Free);
        self.string.step(self.now.ms());
        if self.bore.cutting() {
            self.bore.note_path(self.tool_lean(), self.leading);
        }
    }

    fn rest(&self) -> Rest {
        match self.place() {
            _ if self.held == Held::Beside => Rest::Hanging,
            Some(Place::Hub) if self.winch.tip_mm >= 0.0 => Rest::Hub,
            Some(Place::Hole) if !self.turning && self.winch.tip_mm >= self.floor_mm() => Rest::Bottom,
            _ => Rest::Hanging,
        }
    }

    fn left_bottom(&mut self) {
        let share = if self.still { 1.0 } else { 0.5 + self.chance.uniform() };
        self.going_factor = if self.still { 1.0 } else { (1.0 + 0.12 * self.chance.bell()).clamp(0.6, 1.4) };
        self.rope.trip();
        self.bore.fall_in(self.going().fall_in_mm * share);
    }

    /// How it goes at the bottom.
    fn going(&self) -> Going {
        self.ground.at(self.bore.truth().cut_mm - self.bore.truth().surface_mm)
    }

    /// The name of the layer at the bottom.
    #[must_use]
    pub fn layer(&self) -> &str {
        self.ground.name_at(self.bore.truth().cut_mm - self.bore.truth().surface_mm)
    }

    /// Time now.
    #[must_use]
    pub fn now(&self) -> Moment {
        self.now
    }

    /// The tip, below the hub, mm.
    #[must_use]
    pub fn tip_mm(&self) -> f64 {
        self.winch.tip_mm
    }

    /// Length that the encoder has seen paid out since the first tool's tip was on the hub, mm: with all that rope
    /// and drum make of it.
    #[must_use]
    pub fn seen_paid_mm(&self) -> f64 {
        let paid_mm = self.winch.tip_mm - length_mm(&self.tool) - self.paid_at_hub_mm;
        self.rope.seen_mm(paid_mm, self.hole_m(), self.warmth.above_deg(self.now.seconds()))
    }

    /// Depth of the hole below ground, m.
    fn hole_m(&self) -> f64 {
        (self.bore.truth().cut_mm - self.bore.truth().surface_mm) / 1_000.0
    }

    /// What the tool would stand on if it came down here, below the hub, mm.
    #[must_use]
    pub fn floor_mm(&self) -> f64 {
        match self.place {
            Place::Hub => 0.0,
            Place::Hole => self.bore.floor_mm(f64::from(self.tool.diameter.0) / 1_000.0),
        }
    }

    /// Where the tool hangs, `None` while the rig slews.
    #[must_use]
    pub fn place(&self) -> Option<Place> {
        self.slewing.is_none().then_some(self.place)
    }

    /// The tool's number in the rig's table.
    #[must_use]
    pub fn tool(&self) -> u8 {
        self.tool.number
    }

    /// The mast's true lean now, mm/m.
    #[must_use]
    pub fn lean(&self) -> RigAxes<f64> {
        self.mast.lean()
    }

    /// The tool's true lean now, mm/m: the mast's, and what the string does in its guide.
    #[must_use]
    pub fn tool_lean(&self) -> RigAxes<f64> {
        self.string.lean(self.mast.lean(), self.hole_m())
    }

    /// Temperature of rope and sensor, °C.
    #[must_use]
    pub fn temperature_deg(&self) -> f64 {
        STATED_AT_DEG + self.warmth.above_deg(self.now.seconds())
    }

    /// Acceleration that is not gravity: what slewing adds to the forward axis, and the standard deviation of
    /// what vibration adds to each, both mg.
    #[must_use]
    pub fn shaking_mg(&self) -> (f64, f64) {
        if self.still {
            return (0.0, 0.0);
        }
        if self.plate_g().is_some() {
            return (0.0, 0.0);
        }
        let slew = if self.slewing.is_some() { SLEW_MG } else { 0.0 };
        let share = if self.bore.cutting() { 1.0 } else { FREE_SHARE };
        (slew, if self.turning { self.going().vibration_mg * share } else { 0.0 })
    }

    /// The truth of the hole in hand.
    #[must_use]
    pub fn hole(&self) -> &HoleTruth {
        self.bore.truth()
    }

    /// The truth of every hole so far that has any depth, the one in hand last.
    #[must_use]
    pub fn truth(&self) -> Vec<HoleTruth> {
        let in_hand = Some(self.bore.truth()).filter(|t| !t.path.is_empty());
        self.done.iter().chain(in_hand).cloned().collect()
    }
}

fn length_mm(tool: &ToolEntry) -> f64 {
    f64::from(tool.length.0) / 1_000.0
}
