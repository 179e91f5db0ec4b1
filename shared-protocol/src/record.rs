//! What slots mean: the records that the rig makes, each once.
//!
//! Depths in records count from the *hub*, positive downwards, because that is what the rig measures; the plan
//! carries the hub's height above the datum, and the host turns one into the other when it prints.

use crate::body::{CoarseLean, Row};
use crate::slot::RECORD_BYTES_MAX;
use crate::state::CalibrationItem;
use crate::units::{CentiDegrees, Lean, MicroG, Micrometres, Millis, RigAxes};
use crate::{fixed_body, text_body};
use heapless::{String, Vec};

fixed_body! {
    /// The rig started.
    pub struct Start {
        /// When, on its own clock.
        pub at: Millis,
        /// Why: a [`ResetCause`](crate::state::ResetCause).
        pub cause: u8,
        /// The epoch; a factory reset begins a new one.
        pub epoch: u32,
    }
}

text_body! {
    /// Who measures and with what: follows every [`Opened`], so that a set-up explains itself.
    pub struct Identity {
        /// When.
        pub at: Millis,
        /// The rig's name.
        pub rig: String<16>,
        /// True where no real hole was drilled.
        pub simulated: bool,
        /// Firmware version.
        pub firmware: String<12>,
        /// The epoch that the sequence belongs to.
        pub epoch: u32,
        /// Height above the hub of the guide that the tool pivots about.
        pub guide_height: Micrometres,
        /// Whether the encoder still knows its place after a power cut.
        pub encoder_absolute: bool,
        /// Milliseconds between reading depth and reading lean.
        pub skew_ms: u16,
        /// Increment of new depth that makes one record.
        pub increment: Micrometres,
        /// The end of the tilt sensor's range.
        pub tilt_range: MicroG,
        /// The most misclosure on the hub that is accepted.
        pub misclosure_limit: Micrometres,
        /// The tilt sensor's temperature, hundredths of a degree Celsius; [`NO_TEMPERATURE`] where it gives none.
        pub temperature: i16,
        /// First eight bytes of the configuration's SHA-256.
        pub configuration: [u8; 8],
    }
}

text_body! {
    /// What is to be drilled, from the structure sheet.
    pub struct Plan {
        /// Line.
        pub line: String<24>,
        /// Structure.
        pub structure: String<16>,
        /// Leg: a [`Leg`](crate::state::Leg).
        pub leg: u8,
        /// Attempt at this leg, from 1.
        pub attempt: u8,
        /// Set-up within the attempt, from 1.
        pub setup: u8,
        /// Who drills.
        pub operator: String<24>,
        /// Units of the sheet: a [`SheetUnits`](crate::state::SheetUnits).
        pub units: u8,
        /// What depths count from: a [`Datum`](crate::state::Datum).
        pub datum: u8,
        /// Depth below the datum.
        pub depth: Micrometres,
        /// Hub above the datum.
        pub hub_above_datum: Micrometres,
        /// Diameter of the hole.
        pub diameter: Micrometres,
        /// Tool, by its number in the rig's table.
        pub tool: u8,
        /// How much less than planned is accepted.
        pub depth_under: Micrometres,
        /// How much more than planned is accepted.
        pub depth_over: Micrometres,
        /// The most lean accepted over the whole hole.
        pub plumb_limit: Lean,
        /// From ahead on line to the rig's forward direction, clockwise.
        pub heading: CentiDegrees,
        /// How well the heading is known, as a half-width.
        pub heading_within: CentiDegrees,
    }
}

text_body! {
    /// A set-up began: the plan as the rig took it.
    pub struct Opened {
        /// When.
        pub at: Millis,
        /// The command that did it.
        pub request: u32,
        /// The plan.
        pub plan: Plan,
    }
}

/// Stands for a temperature that nobody measures.
pub const NO_TEMPERATURE: i16 = i16::MIN;

/// Values that one calibration may have.
pub const VALUES_MAX: usize = 16;

text_body! {
    /// The result of calibrating one thing, from whoever did it.
    pub struct Calibration {
        /// What: a [`CalibrationItem`].
        pub item: u8,
        /// Who did it.
        pub who: String<16>,
        /// When: days since 1970-01-01.
        pub day: u32,
        /// The last day on which it holds, days since 1970-01-01.
        pub expires: u32,
        /// Its standard uncertainty, in the unit of the item.
        pub uncertainty: u32,
        /// The largest disagreement that the procedure itself showed, in the unit of the item.
        pub residual: u32,
        /// The values; what they are depends on the item.
        pub values: Vec<i32, VALUES_MAX>,
    }
}

text_body! {
    /// A calibration was taken into the rig's configuration.
    pub struct Calibrated {
        /// When.
        pub at: Millis,
        /// The command that brought it.
        pub request: u32,
        /// The calibration.
        pub calibration: Calibration,
    }
}

text_body! {
    /// One calibration in force, without its values: enough to know what a figure is worth.
    pub struct Stamp {
        /// What: a [`CalibrationItem`].
        pub item: u8,
        /// Who did it.
        pub who: String<16>,
        /// When: days since 1970-01-01.
        pub day: u32,
        /// The last day on which it holds, days since 1970-01-01.
        pub expires: u32,
        /// Its standard uncertainty, in the unit of the item.
        pub uncertainty: u32,
        /// The largest disagreement that the procedure itself showed, in the unit of the item.
        pub residual: u32,
        /// The first value where one value says it all (guide play), the temperature of a tilt zero; else 0.
        pub value: i32,
    }
}

impl From<Calibration> for Stamp {
    fn from(calibration: Calibration) -> Self {
        let Calibration { item, who, day, expires, uncertainty, residual, values } = calibration;
        let value = match CalibrationItem::from_raw(item) {
            Some(CalibrationItem::GuidePlay) => values.first(),
            Some(CalibrationItem::TiltZero) => values.last(),
            _ => None,
        };
        Self { item, who, day, expires, uncertainty, residual, value: value.copied().unwrap_or(0) }
    }
}

/// Stamps that a set-up carries at most.
pub const STAMPS_MAX: usize = 6;

text_body! {
    /// The calibrations in force: follows every [`Identity`]. What is not among them was never calibrated.
    pub struct Instruments {
        /// When.
        pub at: Millis,
        /// One stamp for each.
        pub stamps: Vec<Stamp, STAMPS_MAX>,
    }
}

fixed_body! {
    /// The operator said whether slow going was refusal.
    pub struct Refusal {
        /// When.
        pub at: Millis,
        /// The command that said so.
        pub request: u32,
        /// 1 refusal, 0 not.
        pub confirmed: u8,
        /// Where the bottom was, below the hub.
        pub depth: Micrometres,
    }
}

fixed_body! {
    /// The tip was set on the hub.
    pub struct Hub {
        /// When.
        pub at: Millis,
        /// The command that said so.
        pub request: u32,
        /// The encoder's count.
        pub count: i32,
        /// Depth that the rig would have shown: zero but for the misclosure. 0 when depth was unreferenced.
        pub misclosure: Micrometres,
        /// 1 when depth was unreferenced before.
        pub first: u8,
    }
}

fixed_body! {
    /// Another tool was put on.
    pub struct Tool {
        /// When.
        pub at: Millis,
        /// The command that said so.
        pub request: u32,
        /// Its number in the rig's table.
        pub tool: u8,
        /// Pin to cutting edge.
        pub length: Micrometres,
        /// Diameter that it cuts.
        pub diameter: Micrometres,
    }
}

fixed_body! {
    /// A step of new depth.
    pub struct Increment {
        /// When its bottom was reached.
        pub at: Millis,
        /// Its bottom, below the hub.
        pub depth: Micrometres,
        /// Mean lean over it, forward.
        pub forward: CoarseLean,
        /// Mean lean over it, to the right.
        pub right: CoarseLean,
        /// Standard deviation of the samples' lean, both axes together, in steps of 10 µm/m.
        pub scatter: u16,
        /// Samples in the mean.
        pub samples: u16,
        /// Time spent making it, tenths of a second.
        pub took: u16,
        /// Why it may be worth less, bit by bit: see [`quality`].
        pub quality: u8,
    }
}

/// Bits of an increment's quality; 0 is good.
pub mod quality {
    /// Fewer samples than a mean needs.
    pub const FEW_SAMPLES: u8 = 1;
    /// Samples were left out because the tilt sensor was stale or at fault.
    pub const TILT_FAULT: u8 = 1 << 1;
    /// The encoder was stale or at fault on the way.
    pub const ENCODER_FAULT: u8 = 1 << 2;
    /// The leans scatter more than a steady tool's.
    pub const SCATTERED: u8 = 1 << 3;
    /// More than one increment deep: depth came in one step.
    pub const SKIPPED: u8 = 1 << 4;
    /// Every bit with its number and meaning, for the document.
    pub const TABLE: &[(u8, &str)] = &[
        (FEW_SAMPLES, "fewer samples than a mean needs"),
        (TILT_FAULT, "samples left out: tilt sensor stale or at fault"),
        (ENCODER_FAULT, "encoder stale or at fault on the way"),
        (SCATTERED, "leans scatter more than a steady tool's"),
        (SKIPPED, "more than one increment deep: depth came in one step"),
    ];
}

fixed_body! {
    /// One trip to the bottom and up again.
    pub struct Pass {
        /// Counted within the set-up, from 1.
        pub number: u16,
        /// When the tip met bottom.
        pub began: Millis,
        /// When it left.
        pub ended: Millis,
        /// Where it met bottom, below the hub.
        pub tag: Micrometres,
        /// The bottom when it left, below the hub.
        pub bottom: Micrometres,
        /// The tilt sensor's temperature, whole degrees Celsius; −128 where it gives none.
        pub temperature: i8,
    }
}

fixed_body! {
    /// A check changed its state.
    pub struct Change {
        /// When.
        pub at: Millis,
        /// What is watched: a [`Check`](crate::state::Check).
        pub check: u8,
        /// The new state, a code of that check's own.
        pub state: u8,
        /// Where the bottom was, below the hub.
        pub depth: Micrometres,
        /// The figure that decided: micrometres for depth, fall-in and misclosure, µm/m for plumb, µm a second for going.
        pub figure: i32,
    }
}

fixed_body! {
    /// A sensor fault began or ended.
    pub struct Fault {
        /// When.
        pub at: Millis,
        /// Which: a [`Sensor`](crate::state::Sensor).
        pub sensor: u8,
        /// What: a [`SensorFault`](crate::state::SensorFault).
        pub fault: u8,
        /// 1 began, 0 ended.
        pub began: u8,
        /// Milliseconds that it lasted; 0 at its beginning, at most 49.7 days.
        pub lasted: u32,
    }
}

text_body! {
    /// How every record begins that a command left and postcard lays out.
    pub struct Asked {
        /// When.
        pub at: Millis,
        /// The command that did it.
        pub request: u32,
    }
}

text_body! {
    /// What somebody said, as heard by the rig.
    pub struct Note {
        /// When.
        pub at: Millis,
        /// The command that brought it.
        pub request: u32,
        /// Who says so.
        pub author: String<24>,
        /// What was said.
        pub text: String<120>,
    }
}

fixed_body! {
    /// The rig was told the time of day.
    pub struct Clock {
        /// When, on its own clock.
        pub at: Millis,
        /// Milliseconds since 1970-01-01T00:00Z, by the host's clock.
        pub unix_ms: i64,
        /// The local offset from UTC, minutes.
        pub offset: i16,
    }
}

text_body! {
    /// A set-up ended: the rig's own summary, and the digest over everything it said since [`Opened`] (see
    /// [`chain`](crate::chain)).
    pub struct Closed {
        /// When.
        pub at: Millis,
        /// The command that did it.
        pub request: u32,
        /// The deepest that the tip was held, below the hub.
        pub bottom: Micrometres,
        /// Where the axis ends by the stick model, off the vertical through the hole's start.
        pub toe: RigAxes<Micrometres>,
        /// Where the axis ends by the wall-guided model, off the vertical through the hole's start.
        pub wall: RigAxes<Micrometres>,
        /// Passes made.
        pub passes: u16,
        /// Increments recorded.
        pub increments: u16,
        /// Sequence of the first slot of [`Opened`].
        pub first: u32,
        /// Slots from there to where the last segment begins.
        pub from: u32,
        /// Slots from there up to this record.
        pub slots: u32,
        /// The digest before the last segment.
        pub before: [u8; 32],
        /// SHA-256 over the slots of the last segment, in order, 32 bytes each.
        pub segment: [u8; 32],
    }
}

fixed_body! {
    /// A segment of a set-up ended: what its digest is so far.
    pub struct Checkpoint {
        /// Sequence of the first slot of [`Opened`].
        pub first: u32,
        /// Slots from there to where the segment begins.
        pub from: u32,
        /// Slots from there up to this record.
        pub slots: u32,
        /// The digest before the segment.
        pub before: [u8; 32],
        /// SHA-256 over the slots of the segment, in order, 32 bytes each.
        pub segment: [u8; 32],
    }
}

fixed_body! {
    /// The rig signs what it said of a set-up, its [`Closed`] included (see [`seal`](crate::seal)).
    pub struct Seal {
        /// When.
        pub at: Millis,
        /// The epoch that the sequences belong to.
        pub epoch: u32,
        /// Which start of the rig sealed.
        pub boot: u16,
        /// The rig's name, UTF-8, zero-filled.
        pub rig: [u8; 16],
        /// First eight bytes of the configuration's SHA-256.
        pub configuration: [u8; 8],
        /// Sequence of the first slot of [`Opened`].
        pub first: u32,
        /// Slots of the set-up, those of [`Closed`] included.
        pub slots: u32,
        /// The digest over them.
        pub digest: [u8; 32],
        /// Seals of this rig before it.
        pub number: u32,
        /// SHA-256 over the body of the seal before it; zeros where there is none.
        pub previous: [u8; 32],
        /// The public key.
        pub key: [u8; 32],
        /// The signature, its first half.
        pub signature_r: [u8; 32],
        /// The signature, its second half.
        pub signature_s: [u8; 32],
    }
}

fixed_body! {
    /// The rig does not seal what it said of a set-up, and says why.
    pub struct Unsealed {
        /// When.
        pub at: Millis,
        /// Sequence of the first slot of [`Opened`].
        pub first: u32,
        /// Why: an [`UnsealedCause`](crate::state::UnsealedCause).
        pub cause: u8,
    }
}

fixed_body! {
    /// The rig was given a key to seal with.
    pub struct Commissioned {
        /// When.
        pub at: Millis,
        /// The command that brought it.
        pub request: u32,
        /// The public key.
        pub key: [u8; 32],
        /// The public key before it, zeros where there was none; the same where only this record was made again.
        pub before: [u8; 32],
    }
}

text_body! {
    /// A factory reset was asked for, and this is what it forgets. It is carried out as soon as a host has this record too:
    /// whatever the rig says next is of a later epoch then. A record of the same epoch behind it says that it was not.
    pub struct Decommissioned {
        /// When.
        pub at: Millis,
        /// The command that asked for it.
        pub request: u32,
        /// Who asked, as heard.
        pub who: String<16>,
        /// The epoch that ends with it.
        pub epoch: u32,
        /// Starts counted in it.
        pub boot: u16,
        /// Seals made in it.
        pub seals: u32,
        /// Copies of the configuration made in it; comes round.
        pub copies: u32,
        /// Calibrations in force, each tool's among them.
        pub calibrations: u8,
        /// First eight bytes of the configuration's SHA-256.
        pub configuration: [u8; 8],
        /// The public key, zeros where there is none.
        pub key: [u8; 32],
    }
}

fixed_body! {
    /// Slots that will never be seen, and why.
    pub struct Gap {
        /// When it was found.
        pub at: Millis,
        /// First missing sequence.
        pub first: u32,
        /// Last missing sequence.
        pub last: u32,
        /// Why: a [`GapCause`](crate::state::GapCause).
        pub cause: u8,
    }
}

/// Declares the kinds: number, name and layout in one list.
macro_rules! kinds {
    ($($number:literal $name:ident),* $(,)?) => {
        /// Any record of this version.
        #[derive(Clone, Debug, PartialEq, Eq)]
        #[allow(missing_docs, clippy::large_enum_variant)] // each variant is documented at its body; no heap to box on
        pub enum Record { $($name($name)),* }

        $(impl $name {
            /// Its record's hand-assigned number.
            pub const KIND: u8 = $number;
        })*

        impl Record {
            /// Number, name and layout of every kind, for the document.
            pub const TABLE: &'static [(u8, &'static str, &'static [Row])] = &[$(($number, stringify!($name), $name::TABLE)),*];

            /// Its hand-assigned number.
            #[must_use]
            pub const fn kind(&self) -> u8 {
                match self { $(Self::$name(_) => $number),* }
            }

            /// Writes the body at the front of `into` and returns how many bytes it took.
            #[must_use]
            pub fn encode(&self, into: &mut [u8; RECORD_BYTES_MAX]) -> Option<usize> {
                match self { $(Self::$name(body) => body.encode(into)),* }
            }

            /// Reads a record.
            ///
            /// # Errors
            /// [`RecordFault::Unknown`] where this version has no such kind (keep the slots raw),
            /// [`RecordFault::Malformed`] where it has and the body does not fit it.
            pub fn decode(kind: u8, body: &[u8]) -> Result<Self, RecordFault> {
                match kind {
                    $($number => $name::decode(body).map(Self::$name).ok_or(RecordFault::Malformed(kind)),)*
                    _ => Err(RecordFault::Unknown(kind)),
                }
            }
        }
    };
}

kinds! {
    1 Start,
    2 Identity,
    3 Opened,
    4 Hub,
    5 Tool,
    6 Increment,
    7 Pass,
    8 Change,
    9 Fault,
    10 Note,
    11 Clock,
    12 Closed,
    13 Gap,
    14 Instruments,
    15 Calibrated,
    16 Refusal,
    17 Checkpoint,
    18 Seal,
    19 Unsealed,
    20 Commissioned,
    21 Decommissioned,
}

/// Why a sound slot is no record that this version understands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecordFault {
    /// No such kind in this version.
    Unknown(u8),
    /// The body does not fit its kind.
    Malformed(u8),
}

#[cfg(test)]
mod tests;
