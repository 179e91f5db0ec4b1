//! The operator: works a scenario's holes one after the other, and says when the host has something to do.

use crate::clock::{Moment, ms_of};
use crate::cue::Cue;
use crate::scenario::{Event, Happening, HolePlan, Scenario, Work};
use crate::world::{Lever, Place, World};
use shared_protocol::record::Plan;
use std::collections::VecDeque;

/// How high above the hub the tip is brought to swing free, mm.
const CLEAR_MM: f64 = -400.0;
/// How high to change tools, mm.
const TOOL_CHANGE_MM: f64 = -1_200.0;
/// How fast the tip comes near something that it is to touch, mm/s, and from how far, mm.
const TOUCH_MM_S: f64 = 120.0;
const TOUCH_FROM_MM: f64 = 80.0;
/// How fast a turning tool is let down, mm/s: faster than any ground lets it.
const CROWD_MM_S: f64 = 250.0;
/// How long changing a tool takes, and looking round after a power cut, ms.
const TOOL_CHANGE_MS: u64 = 20_000;
const LOOK_ROUND_MS: u64 = 3_000;
/// Nearer than this is there, mm.
const THERE_MM: f64 = 1e-6;
/// How long the tool rests on the bottom before it turns, so that a tag is one, ms.
const TAG_MS: u64 = 700;

/// One thing to do after another.
#[derive(Clone, Debug, PartialEq)]
enum Act {
    SetUp,
    To { depth_mm: f64, speed_mm_s: f64 },
    Drill { to_mm: f64 },
    Hold { ms: u64 },
    Slew(Place),
    Throw,
    Mount(u8),
    Say(Cue),
    NextHole,
    Enter(Stage),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Open,
    Bore,
    Close,
    Finished,
}

/// How far the operator has come.
#[derive(Clone, Debug, PartialEq)]
pub enum Progress {
    /// At work on this hole, counted from 0.
    Working(usize),
    /// All holes are done.
    Finished,
    /// A cue was not done in time.
    GaveUp(Cue),
}

/// The operator.
#[derive(Clone, Debug)]
pub struct Operator {
    work: Work,
    holes: Vec<(HolePlan, Plan)>,
    hole: usize,
    begun: Moment,
    stage: Stage,
    acts: VecDeque<Act>,
    act_since: Option<Moment>,
    events: Vec<Event>,
    cue: Option<Cue>,
    cue_done: bool,
    powerless: bool,
    gave_up: Option<Cue>,
}

impl Operator {
    /// Ready to begin the scenario's first hole. `None` where its texts are too long for a plan.
    #[must_use]
    pub fn new(scenario: &Scenario) -> Option<Self> {
        let holes = scenario.hole.iter().enumerate().map(|(index, hole)| Some((hole.clone(), scenario.plan(index)?)));
        Some(Self {
            work: scenario.work,
            holes: holes.collect::<Option<_>>()?,
            hole: 0,
            begun: Moment(0),
            stage: Stage::Open,
            acts: VecDeque::new(),
            act_since: None,
            events: Vec::new(),
            cue: None,
            cue_done: false,
            powerless: false,
            gave_up: None,
        })
    }

    /// How far it has come.
    #[must_use]
    pub fn progress(&self) -> Progress {
        match &self.gave_up {
            Some(cue) => Progress::GaveUp(cue.clone()),
            None if self.hole == self.holes.len() => Progress::Finished,
            None => Progress::Working(self.hole),
        }
    }

    /// A cue that nobody has taken yet; each is given once, and again after a power cut.
    pub fn take_cue(&mut self) -> Option<Cue> {
        self.cue.take()
    }

    /// The cue was done: the operator goes on.
    pub fn cue_done(&mut self) {
        self.cue_done = matches!(self.acts.front(), Some(Act::Say(_)));
    }

    /// What happens now by the scenario. Tool changes and notes are the operator's own and are begun here.
    pub fn happenings(&mut self, world: &World) -> Vec<Happening> {
        let (bottom_mm, seconds) = (world.hole().cut_mm, Moment(world.now().0 - self.begun.0).seconds());
        let due = |e: &Event| e.at_mm.is_some_and(|mm| bottom_mm >= mm) || e.at_s.is_some_and(|s| seconds >= s);
        if self.stage == Stage::Open || !self.events.iter().any(due) {
            return Vec::new();
        }
        let happen: Vec<Happening> = self.events.extract_if(.., |e| due(e)).map(|e| e.what).collect();
        for happening in &happen {
            match happening {
                Happening::ChangeTool { tool } => self.change_tool(*tool),
                Happening::Note { author, text } => self.interrupt(Act::Say(Cue::Note { author: author.clone(), text: text.clone() })),
                _ => {}
            }
        }
        happen
    }

    /// The rig's power went or came back. Depth is lost with it, so the tip goes to the hub before work goes on.
    pub fn power(&mut self, on: bool) {
        self.powerless = !on;
        self.act_since = None;
        let touched = !self.acts.is_empty() && !self.acts.contains(&Act::Say(Cue::TouchHub));
        let on_the_way = self.stage == Stage::Open && touched;
        if on && (self.stage == Stage::Bore || on_the_way) {
            self.acts = [Act::Hold { ms: LOOK_ROUND_MS }].into();
            self.touch_hub();
            self.back_to_hole();
            self.acts.extend(on_the_way.then_some(Act::Enter(Stage::Bore)));
        }
    }

    /// A millisecond of work.
    pub fn step(&mut self, world: &mut World) {
        world.lever = Lever::Stop;
        world.turning = false;
        if self.powerless || self.gave_up.is_some() || self.stage == Stage::Finished {
            return;
        }
        let Some(act) = self.acts.front().cloned() else {
            self.plan_next(world);
            return;
        };
        let first = self.act_since.is_none();
        let since = *self.act_since.get_or_insert(world.now());
        if self.perform(&act, first, world.now().ms() - since.ms(), world) {
            self.acts.pop_front();
            self.act_since = None;
        }
    }

    /// Does one act for a millisecond, and says whether it is finished.
    fn perform(&mut self, act: &Act, first: bool, for_ms: u64, world: &mut World) -> bool {
        match act {
            Act::SetUp => {
                let (hole, plan) = &self.holes[self.hole];
                world.mount(plan.tool); // the last hole may have ended with another
                world.set_up(hole);
                self.events.clone_from(&hole.event);
                self.begun = world.now();
                true
            }
            Act::To { depth_mm, speed_mm_s } => {
                world.lever = Lever::To { depth_mm: *depth_mm, speed_mm_s: *speed_mm_s };
                (world.tip_mm() - depth_mm).abs() < THERE_MM
                    || (*depth_mm > world.tip_mm() && world.tip_mm() >= world.floor_mm() - THERE_MM)
            }
            Act::Drill { to_mm } => {
                world.turning = true;
                world.lever = Lever::To { depth_mm: *to_mm, speed_mm_s: CROWD_MM_S };
                world.tip_mm() >= to_mm - THERE_MM
            }
            Act::Hold { ms } => for_ms >= *ms,
            Act::Slew(to) => {
                let _ = world.place() == Some(*to) || world.slew(*to);
                world.place() == Some(*to)
            }
            Act::Throw => {
                world.turning = true;
                let _ = first && world.throw();
                !first && world.place().is_some()
            }
            Act::Mount(tool) => {
                // A scenario's tools were checked when it was read.
                let _ = for_ms == TOOL_CHANGE_MS && world.mount(*tool);
                for_ms >= TOOL_CHANGE_MS
            }
            Act::Say(cue) => self.say(cue, first, for_ms),
            Act::NextHole => {
                self.hole += 1;
                true
            }
            Act::Enter(stage) => {
                self.stage = *stage;
                true
            }
        }
    }

    fn say(&mut self, cue: &Cue, first: bool, for_ms: u64) -> bool {
        if first {
            self.cue = Some(cue.clone());
            self.cue_done = false;
        } else if for_ms >= ms_of(self.work.patience_s) {
            self.gave_up = Some(cue.clone());
        }
        std::mem::take(&mut self.cue_done)
    }

    fn plan_next(&mut self, world: &World) {
        match self.stage {
            Stage::Open if self.hole < self.holes.len() => {
                let plan = self.holes[self.hole].1.clone();
                self.acts = [Act::SetUp, Act::Say(Cue::LoadHole(plan))].into();
                self.touch_hub();
                self.back_to_hole();
                self.acts.push_back(Act::Enter(Stage::Bore));
            }
            Stage::Open | Stage::Finished => self.stage = Stage::Finished,
            Stage::Bore => self.plan_pass(world),
            Stage::Close => {
                self.touch_hub();
                self.acts.push_back(Act::Say(Cue::CloseHole));
                self.go(CLEAR_MM);
                self.acts.extend([Act::NextHole, Act::Enter(Stage::Open)]);
            }
        }
    }

    /// Down to the bottom, a bite, and up to throw spoil; the last bite is held and not thrown.
    fn plan_pass(&mut self, world: &World) {
        let target = self.holes[self.hole].0.target_mm();
        let floor = world.floor_mm();
        let to_mm = target.min(floor + self.work.bite_mm);
        self.go(floor - TOUCH_FROM_MM);
        self.acts.extend([Act::To { depth_mm: floor, speed_mm_s: TOUCH_MM_S }, Act::Hold { ms: TAG_MS }, Act::Drill { to_mm }]);
        if to_mm >= target {
            self.acts.extend([Act::Hold { ms: ms_of(self.work.hold_s) }, Act::Enter(Stage::Close)]);
        } else {
            self.go(CLEAR_MM);
            self.acts.push_back(Act::Throw);
        }
    }

    fn go(&mut self, depth_mm: f64) {
        self.acts.push_back(Act::To { depth_mm, speed_mm_s: self.work.hoist_mm_s });
    }

    fn touch_hub(&mut self) {
        self.go(CLEAR_MM);
        self.acts.push_back(Act::Slew(Place::Hub));
        self.go(-TOUCH_FROM_MM);
        self.acts.extend([
            Act::To { depth_mm: 0.0, speed_mm_s: TOUCH_MM_S },
            Act::Hold { ms: ms_of(self.work.dwell_s) },
            Act::Say(Cue::TouchHub),
        ]);
    }

    fn back_to_hole(&mut self) {
        self.go(CLEAR_MM);
        self.acts.push_back(Act::Slew(Place::Hole));
    }

    fn change_tool(&mut self, tool: u8) {
        self.acts.clear();
        self.act_since = None;
        self.go(TOOL_CHANGE_MM);
        self.acts.extend([Act::Mount(tool), Act::Say(Cue::ChangeTool(tool))]);
        self.touch_hub();
        self.back_to_hole();
    }

    /// Before what is being done, but not before a cue that somebody is already seeing to.
    fn interrupt(&mut self, act: Act) {
        let at = usize::from(matches!(self.acts.front(), Some(Act::Say(_))));
        if at == 0 {
            self.act_since = None;
        }
        self.acts.insert(at.min(self.acts.len()), act);
    }
}

#[cfg(test)]
#[path = "operator_tests.rs"]
mod tests;
