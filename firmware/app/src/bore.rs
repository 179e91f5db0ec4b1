//! What the tool is doing and where the bottom is: held bottom, cutting and tripping, passes, increments.

use crate::axis::Axis;
use crate::correction::Correction;
use crate::depth::{RESTING_SPREAD, Window};
use crate::lean::Tally;
use heapless::Vec;
use shared_protocol::record::{Increment, Pass, quality};
use shared_protocol::state::{Activity, SpecificForce};
use shared_protocol::units::{Micrometres, Millis, div_round};

/// Nearer to the bottom than this the tool cuts.
const CUTTING_WITHIN: Micrometres = Micrometres::from_mm(10);
/// Further above the bottom than this it no longer does.
const CUTTING_UNTIL: Micrometres = Micrometres::from_mm(50);
/// A pass ends when the tip is this far above the bottom.
const PASS_ENDS_ABOVE: Micrometres = Micrometres::from_mm(300);
/// A tag that stops shorter than this is fall-in.
const FALL_IN: Micrometres = Micrometres::from_mm(50);
/// Diameters that one hole may see.
const DIAMETERS: usize = 4;
/// Samples that an increment's mean needs.
const SAMPLES_MIN: u16 = 5;
/// Scatter from which on an increment is flagged, in steps of 10 µm/m: 20 mm/m, as a tone of 28 mg on one axis has. The
/// broad vibration of gravel and rock, 10 mg and more on both axes, is scatter as well and no fault. What that leaves is
/// said in [`crate::lean`].
const SCATTER_MAX: u16 = 2_000;

/// The bottom that one diameter has reached.
#[derive(Clone, Copy, Debug)]
struct Cut {
    diameter: Micrometres,
    bottom: Micrometres,
}

/// What a round of sensing gives the bore.
#[derive(Clone, Copy, Debug)]
pub struct Round {
    /// When.
    pub now: Millis,
    /// The tip's last half second, `None` where depth is not known.
    pub window: Option<Window>,
    /// The tip now, below the hub.
    pub tip: Option<Micrometres>,
    /// A plausible tilt sample.
    pub force: Option<SpecificForce>,
    /// Whether the encoder's last round was good.
    pub depth_fresh: bool,
    /// What turns a mean force into the tool's lean.
    pub correction: Correction,
    /// The tilt sensor's temperature, hundredths of a degree Celsius.
    pub temperature: Option<i16>,
}

/// What the bore has to record after a round.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Made {
    /// A step of new depth.
    pub increment: Option<Increment>,
    /// A pass that ended.
    pub pass: Option<Pass>,
    /// The tip met something above the bottom: where, below the hub.
    pub fall_in: Option<Micrometres>,
    /// Milliseconds of cutting since the round before.
    pub cut_ms: u32,
}

#[derive(Clone, Copy, Debug)]
struct OpenPass {
    began: Millis,
    tag: Micrometres,
}

/// The bore of one set-up.
#[derive(Debug)]
pub struct Bore {
    step: Micrometres,
    cuts: Vec<Cut, DIAMETERS>,
    diameter: Micrometres,
    increment_top: Micrometres,
    tally: Tally,
    cutting_ms: u32,
    last_round: Option<Millis>,
    encoder_fault: bool,
    cutting: bool,
    above_hub: bool,
    descent_tag: Option<Micrometres>,
    pass: Option<OpenPass>,
    passes: u16,
    increments: u16,
    axis: Axis,
}

impl Bore {
    /// A hole not yet begun: its ground is at `ground` below the hub, `step` of new depth makes an increment.
    #[must_use]
    pub fn new(ground: Micrometres, step: Micrometres, diameter: Micrometres) -> Self {
        let mut cuts = Vec::new();
        let _ = cuts.push(Cut { diameter, bottom: ground });
        Self {
            step,
            cuts,
            diameter,
            increment_top: ground,
            tally: Tally::default(),
            cutting_ms: 0,
            last_round: None,
            encoder_fault: false,
            cutting: false,
            above_hub: true,
            descent_tag: None,
            pass: None,
            passes: 0,
            increments: 0,
            axis: Axis::new(ground),
        }
    }

    /// Another diameter from here on; one that was on before goes on where it left.
    pub fn set_diameter(&mut self, diameter: Micrometres, ground: Micrometres) {
        self.diameter = diameter;
        if !self.cuts.iter().any(|c| c.diameter == diameter) {
            let _ = self.cuts.push(Cut { diameter, bottom: ground });
        }
        self.increment_top = self.deepest();
    }

    /// Takes back what a record says, after a restart.
    pub fn recall_increment(&mut self, increment: &Increment) {
        self.reach(increment.depth);
        self.increment_top = self.increment_top.max(increment.depth);
        self.increments = self.increments.saturating_add(1);
        self.axis.add(increment);
    }

    /// Takes back what a record says, after a restart.
    pub fn recall_pass(&mut self, pass: &Pass) {
        self.passes = self.passes.max(pass.number);
        self.reach(pass.bottom);
    }

    /// The bottom is at least this deep.
    pub(crate) fn reach(&mut self, bottom: Micrometres) {
        let diameter = self.diameter;
        if let Some(cut) = self.cuts.iter_mut().find(|c| c.diameter == diameter) {
            cut.bottom = cut.bottom.max(bottom);
        }
    }

    /// The bottom at the diameter that is on, below the hub: the deepest that the tip was held for half a second. With
    /// noise of standard deviation σ on the encoder it is 1.5 σ shallow after half a second at rest, and within σ/2
    /// after ten thousand samples.
    #[must_use]
    pub fn bottom(&self) -> Micrometres {
        self.cuts.iter().find(|c| c.diameter == self.diameter).map_or(Micrometres(0), |c| c.bottom)
    }

    /// The bottom at whatever diameter, below the hub.
    fn deepest(&self) -> Micrometres {
        self.cuts.iter().map(|c| c.bottom).max().unwrap_or_default()
    }

    /// Passes ended, and increments recorded.
    #[must_use]
    pub const fn counts(&self) -> (u16, u16) {
        (self.passes, self.increments)
    }

    /// The pass that is going on or was the last, from 1.
    #[must_use]
    pub fn pass_number(&self) -> u16 {
        self.passes.saturating_add(u16::from(self.pass.is_some()))
    }

    /// The axis so far.
    #[must_use]
    pub const fn axis(&self) -> &Axis {
        &self.axis
    }

    /// What the tool is doing.
    #[must_use]
    pub fn activity(&self) -> Activity {
        if self.above_hub {
            Activity::Clear
        } else if !self.cutting {
            Activity::Tripping
        } else if self.bottom() < self.deepest() {
            Activity::Reaming
        } else {
            Activity::Cutting
        }
    }

    /// Takes one round.
    pub fn take(&mut self, round: &Round) -> Made {
        let mut made = Made::default();
        let elapsed = self.last_round.map_or(0, |last| round.now.since(last));
        self.last_round = Some(round.now);
        self.encoder_fault |= !round.depth_fresh && self.cutting;
        let Some(tip) = round.tip else {
            self.cutting = false;
            return made;
        };
        self.above_hub = tip < Micrometres(0);
        let above_bottom = self.bottom().minus(tip);
        self.cutting = !self.above_hub && above_bottom < if self.cutting { CUTTING_UNTIL } else { CUTTING_WITHIN };
        self.follow_descent(round, above_bottom, &mut made);
        if self.cutting {
            self.cut(round, elapsed, &mut made);
        }
        self.follow_pass(round, tip, &mut made);
        made
    }

    /// On the way down after being out of the hole, the first rest above the bottom is where the tip met something.
    fn follow_descent(&mut self, round: &Round, above_bottom: Micrometres, made: &mut Made) {
        if self.above_hub {
            self.descent_tag = None;
        }
        let Some(window) = round.window else { return };
        let resting = !self.above_hub && window.shallowest > Micrometres(0) && window.spread() <= RESTING_SPREAD;
        if resting && self.pass.is_none() && self.descent_tag.is_none() {
            self.descent_tag = Some(window.mean);
            if above_bottom > FALL_IN {
                made.fall_in = Some(window.mean);
            }
        }
    }

    fn cut(&mut self, round: &Round, elapsed: u32, made: &mut Made) {
        made.cut_ms = elapsed.min(1_000);
        self.cutting_ms = self.cutting_ms.saturating_add(made.cut_ms);
        match &round.force {
            Some(force) => self.tally.add(force),
            None => self.tally.left_out = true,
        }
        let Some(window) = round.window else { return };
        // For half a second the tip was at least this deep. The deepest mean of many windows would be biased deep by noise.
        self.reach(window.shallowest);
        let new = self.deepest().minus(self.increment_top);
        if self.step.0 > 0 && new >= self.step {
            made.increment = Some(self.make_increment(round, new));
        }
    }

    fn make_increment(&mut self, round: &Round, new: Micrometres) -> Increment {
        let whole = new.0.checked_div(self.step.0).unwrap_or(1).max(1);
        self.increment_top = self.increment_top.plus(Micrometres(self.step.0.saturating_mul(whole)));
        let lean =
            crate::lean::coarse(self.tally.mean().and_then(|mean| round.correction.lean(&mean, round.temperature)).unwrap_or_default());
        let scatter = self.tally.scatter();
        let bit = |when: bool, bit: u8| if when { bit } else { 0 };
        let increment = Increment {
            at: round.now,
            depth: self.increment_top,
            forward: lean.forward,
            right: lean.right,
            scatter,
            samples: self.tally.samples,
            took: u16::try_from(self.cutting_ms.div_ceil(100)).unwrap_or(u16::MAX),
            quality: bit(self.tally.samples < SAMPLES_MIN, quality::FEW_SAMPLES)
                | bit(self.tally.left_out, quality::TILT_FAULT)
                | bit(self.encoder_fault, quality::ENCODER_FAULT)
                | bit(scatter > SCATTER_MAX, quality::SCATTERED)
                | bit(whole > 1, quality::SKIPPED),
        };
        self.tally = Tally::default();
        self.cutting_ms = 0;
        self.encoder_fault = false;
        self.increments = self.increments.saturating_add(1);
        self.axis.add(&increment);
        increment
    }

    fn follow_pass(&mut self, round: &Round, tip: Micrometres, made: &mut Made) {
        if self.cutting && self.pass.is_none() {
            // A tip that runs into the bottom between two rounds met it where it is.
            let tag = self.descent_tag.unwrap_or(tip).min(self.bottom());
            self.pass = Some(OpenPass { began: round.now, tag });
        } else if self.bottom().minus(tip) > PASS_ENDS_ABOVE || self.above_hub {
            made.pass = self.end_pass(round.now, round.temperature);
        }
    }

    /// Ends the pass that is going on, if one is: at a trip, or when the hole is closed.
    pub fn end_pass(&mut self, now: Millis, temperature: Option<i16>) -> Option<Pass> {
        let pass = self.pass.take()?;
        self.descent_tag = None;
        self.passes = self.passes.saturating_add(1);
        Some(Pass {
            number: self.passes,
            began: pass.began,
            ended: now,
            tag: pass.tag,
            bottom: self.bottom(),
            temperature: whole_degrees(temperature),
        })
    }
}

/// Hundredths of a degree as passes carry them: whole degrees, and the end of the range for none.
fn whole_degrees(hundredths: Option<i16>) -> i8 {
    hundredths.map_or(i8::MIN, |t| i8::try_from(div_round(t.into(), 100)).unwrap_or(i8::MIN))
}
