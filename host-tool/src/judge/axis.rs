//! The axis of the bore by two models that bound it, computed here anew from the increments in 64-bit floating point.
//!
//! *Stick*: a straight tool that pivots about the mast's guide, read from above: offset(L) = (h + L)·s − (h + G)·s₀,
//! with h the guide's height above the hub, G the ground's depth below it, s₀ the lean where drilling began, s the
//! lean where the bottom was at L. *Wall-guided*: a tool that follows the bore: offset = Σ ΔL·s. The truth lies
//! between, so the middle is shown and half the difference is in the budget. All off the vertical through the
//! hole's start, below the hub, metres.

use super::axes::{LineAxes, to_line};
use crate::facts::SetUp;
use shared_protocol::record::Increment;
use shared_protocol::units::{CentiDegrees, Micrometres};

/// Increments in the mean lean at either end of the bore: 100 mm as a rule. The rig does the same.
pub const MEAN_OF: usize = 4;
/// What a tone of vibration that folds down may move a mean by and not show in how increments differ, as a standard
/// deviation: so many times the recorded scatter over the root of the samples. Found and held by
/// `firmware/drivers/tests/sampling.rs`.
const FOLDED: f64 = 1.2;

/// One point of the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisPoint {
    /// Below the hub, metres.
    pub depth: f64,
    /// In the middle of both models, metres.
    pub offset: LineAxes,
    /// Mean lean of the tool over the last increments there, metres per metre.
    pub lean: LineAxes,
    /// By the stick model, metres.
    pub stick: LineAxes,
    /// By the wall-guided model, metres.
    pub wall: LineAxes,
}

/// The bore's axis with what its uncertainty needs.
#[derive(Clone, Debug, Default)]
pub struct Axis {
    /// From the top down; a point for each increment with samples.
    pub points: Vec<AxisPoint>,
    /// Guide's height above the hub, metres.
    pub guide: f64,
    /// Ground below the hub, metres.
    pub ground: f64,
    /// Noise of the mean lean at the bottom, from how the last increments differ and how the samples within them scatter.
    pub end_noise: Noise,
    /// The same where drilling began.
    pub start_noise: Noise,
}

/// How much a mean of a few leans may be off by chance, estimated from how they differ.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Noise {
    /// Standard deviation per axis, metres per metre.
    pub deviation: f64,
    /// Degrees of freedom: both axes count.
    pub freedom: f64,
}

impl Axis {
    /// Computes it.
    #[must_use]
    pub fn of(setup: &SetUp) -> Self {
        Self::turned(setup, setup.opened.body.plan.heading)
    }

    /// Computes it for the cab, which looks along the rig's axes: "ahead" is the rig's forward here.
    #[must_use]
    pub fn in_rig_axes(setup: &SetUp) -> Self {
        Self::turned(setup, CentiDegrees(0))
    }

    fn turned(setup: &SetUp, heading: CentiDegrees) -> Self {
        let measured: Vec<&Increment> = setup.increments.iter().map(|i| &i.body).filter(|i| i.samples > 0).collect();
        let lean = |i: &Increment| to_line(f64::from(i.forward.lean().0) / 1e6, f64::from(i.right.lean().0) / 1e6, heading);
        let leans: Vec<LineAxes> = measured.iter().map(|i| lean(i)).collect();
        let guide = setup.identity.as_ref().map_or(0.0, |i| metres(i.guide_height));
        let ground = metres(setup.opened.body.plan.hub_above_datum);
        let (mut wall, mut above) = (LineAxes::default(), ground);
        let points = measured.iter().enumerate().map(|(n, increment)| {
            let depth = metres(increment.depth);
            wall = wall.plus(leans[n].times(depth - above));
            above = depth;
            let now = mean(&leans[(n + 1).saturating_sub(MEAN_OF)..=n]);
            let start = mean(&leans[..MEAN_OF.min(n + 1)]);
            let stick = now.times(guide + depth).minus(start.times(guide + ground));
            AxisPoint { depth, offset: stick.plus(wall).times(0.5), lean: now, stick, wall }
        });
        let points = points.collect();
        let last = leans.len().saturating_sub(MEAN_OF);
        let first = MEAN_OF.min(leans.len());
        let end_noise = noise(&leans[last..], &measured[last..]);
        let start_noise = noise(&leans[..first], &measured[..first]);
        Self { points, guide, ground, end_noise, start_noise }
    }

    /// The axis carried on from its last point to the bottom, with the lean of the last increments; `None` where no
    /// lean was recorded. `bottom` is below the hub.
    #[must_use]
    pub fn at(&self, bottom: f64) -> Option<AxisPoint> {
        let last = self.points.last()?;
        let rest = last.lean.times(bottom - last.depth);
        let (stick, wall) = (last.stick.plus(rest), last.wall.plus(rest));
        Some(AxisPoint { depth: bottom, offset: stick.plus(wall).times(0.5), lean: last.lean, stick, wall })
    }

    /// The axis as it was when the bore had come to `depth` below the hub, with the noise of the whole.
    #[must_use]
    pub fn down_to(&self, depth: f64) -> Self {
        let points = self.points.iter().position(|p| p.depth >= depth).map_or(&self.points[..], |last| &self.points[..=last]);
        Self { points: points.to_vec(), ..*self }
    }

    /// Length of the bore from the ground to `bottom` below the hub.
    #[must_use]
    pub fn length(&self, bottom: f64) -> f64 {
        bottom - self.ground
    }
}

/// Metres from micrometres.
#[must_use]
pub fn metres(length: Micrometres) -> f64 {
    f64::from(length.0) / 1e6
}

fn count(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}

fn mean(leans: &[LineAxes]) -> LineAxes {
    leans.iter().fold(LineAxes::default(), |sum, lean| sum.plus(*lean)).times(1.0 / count(leans.len().max(1)))
}

/// Standard deviation of the mean of a few leans, per axis, both axes pooled.
fn scatter(leans: &[LineAxes]) -> Noise {
    let n = count(leans.len());
    if n < 2.0 {
        return Noise::default();
    }
    let middle = mean(leans);
    let squares: f64 = leans.iter().map(|l| l.minus(middle)).map(|d| d.ahead * d.ahead + d.right * d.right).sum();
    let freedom = 2.0 * (n - 1.0);
    Noise { deviation: (squares / freedom / n).sqrt(), freedom }
}

/// How the increments differ, and what moves the mean of all of them and shows in their samples alone.
fn noise(leans: &[LineAxes], increments: &[&Increment]) -> Noise {
    let samples: f64 = increments.iter().map(|i| f64::from(i.samples)).sum();
    let squares: f64 = increments.iter().map(|i| f64::from(i.samples) * (f64::from(i.scatter) * 1e-5).powi(2)).sum();
    let folded = if samples > 0.0 { FOLDED * squares.sqrt() / samples } else { 0.0 };
    let differ = scatter(leans);
    let deviation = differ.deviation.hypot(folded);
    // Welch and Satterthwaite, with so many samples that their own scatter is as good as known
    let freedom = if differ.deviation > 0.0 { differ.freedom * (deviation / differ.deviation).powi(4) } else { samples };
    Noise { deviation, freedom }
}
