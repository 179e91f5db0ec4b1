//! What a structure asks of its holes and what the holes allow: how deep by which basis, whether the poles fit with
//! room to tamp, whether their tops carry a level arm, and how much earth that moves.
//!
//! [`setting`] is how deep and why, [`pole`] how thick, [`volume`] how much earth; [`circles`] is the arithmetic of
//! [`fit`], one leg in its hole, and of [`joint`], all legs of a frame at once; [`level`] is butts, tops and arm;
//! [`embedment`] how deep a pole stands once it is set. All of it is arithmetic on plain figures: metres, radians
//! nowhere, angles in degrees.

pub mod circles;
pub mod embedment;
pub mod fit;
pub mod joint;
pub mod level;
pub mod pole;
pub mod setting;
pub mod volume;

/// Metres in a foot.
pub const FOOT: f64 = 0.3048;
/// Metres in an inch.
pub const INCH: f64 = 0.0254;
/// Lengths that differ by less are the same: what a record resolves, metres.
const SAME: f64 = 1e-6;
/// A sheet in metres rounds a pole's length to a decimetre at worst; tables go by 5 ft.
const ROUNDED: f64 = 0.05;

/// Whether a length is the one that a table lists in feet.
fn listed(feet: f64, length: f64) -> bool {
    (feet * FOOT - length).abs() <= ROUNDED
}

/// How well a published figure is known here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Whoever answers for the job said so.
    Stated,
    /// Read in the source named.
    Read,
    /// Read in a page that quotes the source named.
    Quoted,
    /// From memory: not to be cited as verified.
    Memory(Confidence),
}

/// How much a memory is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Confidence {
    /// Several people would say the same.
    High,
    /// Likely.
    Medium,
    /// A starting point for looking it up.
    Low,
}

impl Status {
    /// In plain words, for paper.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Stated => "stated by the owner",
            Self::Read => "read in the source",
            Self::Quoted => "read in a page that quotes the source",
            Self::Memory(Confidence::High) => "from memory, high confidence",
            Self::Memory(Confidence::Medium) => "from memory, medium confidence",
            Self::Memory(Confidence::Low) => "from memory, low confidence",
        }
    }
}

/// Where a figure comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Source {
    /// The source, as it is printed.
    pub text: &'static str,
    /// How well it is known here.
    pub status: Status,
}
