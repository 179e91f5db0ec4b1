//! Limits: what each one limits, and who says so.

use super::axis::metres;
use serde::Deserialize;
use shared_protocol::record::Plan;

/// What a limit limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measurand {
    /// Depth of the hole below the datum, metres.
    Depth,
    /// Toe over length of the bore, metres per metre.
    OverallLean,
    /// Lean of the axis over any 100 mm, metres per metre.
    LeanAnywhere,
    /// Toe off the vertical through the hole's start, metres.
    Toe,
    /// The hole's centre off its stake, metres.
    Centre,
    /// Room round the pole at its best place, metres.
    Room,
    /// Depth of a set pole's butt below the datum, metres.
    Embedment,
    /// How much higher one end of the arm is than the other over the distance between them, metres per metre.
    ArmTilt,
}

impl Measurand {
    /// Whether one set-up's records and what was measured in its hole say what it is; the others want a sheet, a pole or all legs.
    #[must_use]
    pub const fn is_of_bore(self) -> bool {
        matches!(self, Self::Depth | Self::OverallLean | Self::LeanAnywhere | Self::Toe)
    }
}

/// Which statement decides, by the contract.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Governs {
    /// The plain one: measured against limit.
    Plain,
    /// The guarded one: shown within, shown outside, not shown.
    Guarded,
}

/// One limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// What it limits.
    pub measurand: Measurand,
    /// The least accepted, metres or metres per metre; for depth only.
    pub least: Option<f64>,
    /// The most accepted, metres or metres per metre.
    pub most: f64,
    /// As it was written, with its unit.
    pub written: String,
    /// Who says so.
    pub source: String,
}

/// The limits that a hole is judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitSet {
    /// All of them; each is judged.
    pub limits: Vec<Limit>,
    /// Which statement decides; `None` where nobody has said.
    pub governs: Option<Governs>,
}

impl LimitSet {
    /// The limits that the plan itself carries.
    #[must_use]
    pub fn of_plan(plan: &Plan) -> Self {
        let source = || "plan as loaded into the rig".to_owned();
        let depth = metres(plan.depth);
        let lean = f64::from(plan.plumb_limit.0) / 1e6;
        let limits = vec![
            Limit {
                measurand: Measurand::Depth,
                least: Some(depth - metres(plan.depth_under)),
                most: depth + metres(plan.depth_over),
                written: String::new(),
                source: source(),
            },
            Limit { measurand: Measurand::OverallLean, least: None, most: lean, written: String::new(), source: source() },
        ];
        Self { limits, governs: None }
    }
}
