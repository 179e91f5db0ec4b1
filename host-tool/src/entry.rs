//! What people enter: measurements, states and notes, each by somebody, at a time, about one hole.
//!
//! An entry is never changed, only followed; one that corrects another names it, and both stay. Its bytes are JSON, and those
//! very bytes are digested and kept ([`Link`]).

mod correction;
mod link;
mod words;

pub use correction::{CorrectionFault, may_correct};
pub use link::{Link, Place, SIGNED_TAG, Signed, TAG};
pub use words::{Along, CleanOut, Disposition, Finding, HoleState, NoteKind, TicketStanding};

use crate::facts::Wall;
use crate::session::Stream;
use crate::sheet::LegPlan;
use serde::{Deserialize, Serialize};
use shared_protocol::record::Plan;
use shared_protocol::state::Leg;

/// Bytes of a name, of an instrument and of a text.
pub const NAME_BYTES: usize = 60;
/// See [`NAME_BYTES`].
pub const TEXT_BYTES: usize = 500;

/// A hole as people call it. Every attempt is a hole of its own.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HoleName {
    /// Line.
    pub line: String,
    /// Structure on the line.
    pub structure: String,
    /// Leg of the structure.
    #[serde(with = "words::leg")]
    pub leg: Leg,
    /// Attempt, from 1.
    pub attempt: u8,
}

impl HoleName {
    /// The name in a plan; `None` where the plan's leg is none that is known.
    #[must_use]
    pub fn of(plan: &Plan) -> Option<Self> {
        let leg = Leg::from_raw(plan.leg)?;
        Some(Self { line: plan.line.as_str().to_owned(), structure: plan.structure.as_str().to_owned(), leg, attempt: plan.attempt })
    }
}

/// A set-up: whose records, and the sequence of its first slot.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetUpName {
    /// The rig.
    pub rig: String,
    /// Its epoch.
    pub epoch: u32,
    /// Sequence of the set-up's first slot.
    pub opened: u32,
}

impl SetUpName {
    /// Of a stream and the sequence of its first slot.
    #[must_use]
    pub fn new(stream: &Stream, opened: u32) -> Self {
        Self { rig: stream.rig.clone(), epoch: stream.epoch, opened }
    }
}

/// One entry.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Who says so.
    pub by: String,
    /// When it was entered.
    #[serde(with = "words::moment")]
    pub at: Wall,
    /// With what, where something was measured.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub with: String,
    /// About which hole.
    pub hole: HoleName,
    /// About which of its set-ups, where it is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_up: Option<SetUpName>,
    /// The entry that this one corrects.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrects: Option<Place>,
    /// What is said.
    pub said: Said,
    /// The row of the structure sheet, where [`Said::Planned`] says so. It stands here since it has fractions, which JSON
    /// under a tag does not bring back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<Box<LegPlan>>,
    /// Whatever else there is to say.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub remark: String,
}

/// What an entry says. Lengths are whole micrometres; depths count from the sheet's datum, down; `standard_um` is one
/// standard uncertainty.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Said {
    /// The floor by tape, from a straightedge or string at one height.
    Sounding {
        /// Depth.
        depth_um: i32,
        /// Where in the hole, ahead on line off its start.
        ahead_um: i32,
        /// The same, right of somebody who looks ahead.
        right_um: i32,
        /// Of the depth.
        standard_um: i32,
        /// Before or after the floor was cleaned out.
        #[serde(default)]
        clean_out: CleanOut,
    },
    /// Where a plumb bob shows the bore's middle at a depth.
    HandPlumb {
        /// Depth.
        depth_um: i32,
        /// Ahead on line off the hole's start.
        ahead_um: i32,
        /// Right of it.
        right_um: i32,
        /// On each axis.
        standard_um: i32,
    },
    /// The hole's middle at the ground, off its stake.
    Centre {
        /// Ahead on line off the stake.
        ahead_um: i32,
        /// Right of it.
        right_um: i32,
        /// On each axis.
        standard_um: i32,
    },
    /// The hole's diameter, measured.
    Diameter {
        /// At which depth.
        depth_um: i32,
        /// Across.
        diameter_um: i32,
        /// Of the diameter.
        standard_um: i32,
    },
    /// From this hole's middle to that of another leg of its structure.
    Spacing {
        /// The other leg.
        #[serde(with = "words::leg")]
        to: Leg,
        /// How far.
        distance_um: i32,
        /// Of the distance.
        standard_um: i32,
        /// How the tape lay.
        along: Along,
    },
    /// Water stands in the hole from this depth on; `None` where it is dry.
    Water {
        /// Depth of its surface.
        depth_um: Option<i32>,
    },
    /// The pole's brand over the ground after setting, hence how deep the butt really is.
    Brand {
        /// Height of the brand over the datum.
        height_um: i32,
        /// From the brand to the butt, taped or as the brand's standard has it.
        to_butt_um: i32,
        /// Of the height.
        standard_um: i32,
    },
    /// The hole's state from now on.
    State {
        /// Which.
        state: HoleState,
    },
    /// Something met or done.
    Note {
        /// What.
        what: NoteKind,
    },
    /// The structure sheet plans this leg; [`Entry::plan`] is its row, of whatever attempt.
    Planned {
        /// Name of the sheet's file.
        file: String,
        /// SHA-256 of its bytes, hexadecimal.
        sha256: String,
    },
    /// The hole was loaded into a rig under this locate ticket.
    Ticket {
        /// Its number; empty where there is none.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        number: String,
        /// How it stood on that day.
        standing: TicketStanding,
    },
    /// What is to become of the hole, by somebody who answers for it; the reason is in the remark.
    Accepted {
        /// What.
        disposition: Disposition,
    },
    /// Somebody has reviewed a set-up's record and signs what it comes to.
    Reviewed {
        /// Accepted, or returned for the reason in the remark.
        finding: Finding,
        /// What is signed: the record in short.
        short: String,
        /// The reviewer's public key, Ed25519, hexadecimal.
        key: String,
        /// The signature of `short` (with what stands before it), hexadecimal.
        signature: String,
    },
}

/// Why an entry cannot be taken; one line, with what would be right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EntryFault {
    /// Nobody said it.
    #[error("say who says so, in {NAME_BYTES} bytes at most")]
    Who,
    /// No hole.
    #[error("name the hole by its structure, in {NAME_BYTES} bytes at most, and an attempt from 1 on")]
    Hole,
    /// A text beyond its bound.
    #[error("texts have {TEXT_BYTES} bytes at most")]
    Long,
    /// A length that no hole has.
    #[error("lengths are within 100 m, and what they are good to is more than nothing")]
    Length,
    /// A plan where none is said, or none where one is, or that of another leg.
    #[error("an entry that something is planned has the plan of its own leg, and no other has one")]
    Plan,
    /// Somebody decides about a hole, or returns its record, and does not say why.
    #[error("say why with a remark: whoever decides about a hole answers for it")]
    Reason,
}

/// The most of any length, µm.
const LENGTH_MOST: i32 = 100_000_000;

impl Entry {
    /// What a person enters now about a hole.
    #[must_use]
    pub fn new(by: &str, at: Wall, hole: HoleName, said: Said) -> Self {
        let (by, with, remark) = (by.trim().to_owned(), String::new(), String::new());
        Self { by, at, with, hole, set_up: None, corrects: None, said, plan: None, remark }
    }

    /// Whether it can be taken.
    ///
    /// # Errors
    /// See [`EntryFault`].
    pub fn check(&self) -> Result<(), EntryFault> {
        let named = |text: &str| !text.trim().is_empty() && text.len() <= NAME_BYTES;
        if !named(&self.by) || self.with.len() > NAME_BYTES {
            return Err(EntryFault::Who);
        }
        if !named(&self.hole.structure) || self.hole.line.len() > NAME_BYTES || self.hole.attempt == 0 {
            return Err(EntryFault::Hole);
        }
        if self.remark.len() > TEXT_BYTES || self.said.texts().iter().any(|text| text.len() > TEXT_BYTES) {
            return Err(EntryFault::Long);
        }
        if self.said.lengths().iter().any(|um| um.abs() > LENGTH_MOST) || self.said.standard().is_some_and(|um| um <= 0) {
            return Err(EntryFault::Length);
        }
        if matches!(self.said, Said::Accepted { .. } | Said::Reviewed { finding: Finding::Returned, .. }) && self.remark.trim().is_empty() {
            return Err(EntryFault::Reason);
        }
        let of_this_leg =
            |plan: &LegPlan| (&plan.line, &plan.structure, plan.leg) == (&self.hole.line, &self.hole.structure, self.hole.leg);
        match (&self.said, &self.plan) {
            (Said::Planned { .. }, Some(plan)) if of_this_leg(plan) => Ok(()),
            (Said::Planned { .. }, _) | (_, Some(_)) => Err(EntryFault::Plan),
            _ => Ok(()),
        }
    }
}

impl Said {
    /// What kind of thing is said, behind "a".
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Sounding { .. } => "sounding",
            Self::HandPlumb { .. } => "hand plumb",
            Self::Centre { .. } => "centre",
            Self::Diameter { .. } => "diameter",
            Self::Spacing { .. } => "spacing",
            Self::Water { .. } => "report on water",
            Self::Brand { .. } => "brand height",
            Self::State { .. } => "state",
            Self::Note { .. } => "note",
            Self::Planned { .. } => "plan",
            Self::Ticket { .. } => "locate ticket",
            Self::Accepted { .. } => "decision",
            Self::Reviewed { .. } => "review",
        }
    }

    fn texts(&self) -> Vec<&str> {
        match self {
            Self::Note { what: NoteKind::Rock { by, .. } } => vec![by],
            Self::Planned { file, sha256 } => vec![file, sha256],
            Self::Ticket { number, .. } => vec![number],
            Self::Reviewed { short, key, signature, .. } => vec![short, key, signature],
            _ => Vec::new(),
        }
    }

    fn lengths(&self) -> Vec<i32> {
        match self {
            Self::Sounding { depth_um, ahead_um, right_um, .. } | Self::HandPlumb { depth_um, ahead_um, right_um, .. } => {
                vec![*depth_um, *ahead_um, *right_um]
            }
            Self::Centre { ahead_um, right_um, .. } => vec![*ahead_um, *right_um],
            Self::Diameter { depth_um, diameter_um, .. } => vec![*depth_um, *diameter_um],
            Self::Spacing { distance_um, .. } => vec![*distance_um],
            Self::Water { depth_um } => depth_um.iter().copied().collect(),
            Self::Brand { height_um, to_butt_um, .. } => vec![*height_um, *to_butt_um],
            Self::State { .. }
            | Self::Note { .. }
            | Self::Planned { .. }
            | Self::Ticket { .. }
            | Self::Accepted { .. }
            | Self::Reviewed { .. } => Vec::new(),
        }
    }

    /// What a measurement is good to, one standard uncertainty, µm; `None` for what is none.
    #[must_use]
    pub const fn standard(&self) -> Option<i32> {
        match self {
            Self::Sounding { standard_um, .. }
            | Self::HandPlumb { standard_um, .. }
            | Self::Centre { standard_um, .. }
            | Self::Diameter { standard_um, .. }
            | Self::Spacing { standard_um, .. }
            | Self::Brand { standard_um, .. } => Some(*standard_um),
            Self::Water { .. }
            | Self::State { .. }
            | Self::Note { .. }
            | Self::Planned { .. }
            | Self::Ticket { .. }
            | Self::Accepted { .. }
            | Self::Reviewed { .. } => None,
        }
    }
}

#[cfg(test)]
mod tests;
