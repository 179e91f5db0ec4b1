//! The codes that records and messages carry: hand-assigned numbers that never change their meaning.
//!
//! Bodies keep them as raw bytes, so a code from a later version is *unknown*, which differs from *malformed*.

use crate::units::RigAxes;

/// Declares a set of codes with its table for the document.
macro_rules! codes {
    ($(#[$meta:meta])* pub enum $name:ident { $($(#[doc = $text:literal])+ $code:ident = $raw:literal),* $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[repr(u8)]
        pub enum $name { $($(#[doc = $text])+ $code = $raw),* }

        impl $name {
            /// Every code with its number and meaning, for the document.
            pub const TABLE: &'static [(u8, &'static str, &'static str)] = &[$(($raw, stringify!($code), concat!($($text),+))),*];

            /// The code with this number, `None` where this version knows none.
            #[must_use]
            pub const fn from_raw(raw: u8) -> Option<Self> {
                match raw { $($raw => Some(Self::$code),)* _ => None }
            }

            /// Its number.
            #[must_use]
            pub const fn raw(self) -> u8 { self as u8 }
        }
    };
}

codes! {
    /// Which pole of its structure a hole is for, as seen looking ahead on line.
    pub enum Leg {
        /// The only leg.
        Single = 0,
        /// Left leg.
        Left = 1,
        /// Middle leg.
        Middle = 2,
        /// Right leg.
        Right = 3,
    }
}

codes! {
    /// What the sheet's depths count from.
    pub enum Datum {
        /// Original ground at the pole's low side.
        LowSide = 0,
        /// Grade at the stake.
        Stake = 1,
        /// Graded pad.
        Pad = 2,
    }
}

codes! {
    /// The units of the structure sheet.
    pub enum SheetUnits {
        /// Metres and millimetres.
        Metric = 0,
        /// Feet and inches.
        FeetInches = 1,
    }
}

codes! {
    /// Why the rig started.
    pub enum ResetCause {
        /// Not known.
        Unknown = 0,
        /// Power came on.
        Power = 1,
        /// The watchdog.
        Watchdog = 2,
        /// The firmware gave up on itself and said why.
        Broken = 3,
        /// A factory reset: the first start of an epoch.
        Decommissioned = 4,
    }
}

codes! {
    /// A sensor of the rig.
    pub enum Sensor {
        /// The depth encoder.
        Encoder = 1,
        /// The tilt sensor.
        Tilt = 2,
    }
}

codes! {
    /// What is wrong with a sensor's reading.
    pub enum SensorFault {
        /// No answer in time.
        Silent = 1,
        /// An answer whose check was wrong.
        Damaged = 2,
        /// The sensor answered that it cannot.
        Refused = 3,
        /// A sound answer to something else than was asked.
        Mismatched = 4,
        /// A figure that the quantity cannot have.
        OutOfRange = 5,
        /// At the end of the sensor's range: clipped.
        Saturated = 6,
        /// The three axes do not add up to gravity.
        NotGravity = 7,
        /// A step faster than the winch can run.
        Jump = 8,
        /// The same figures to the last digit for too long: no sensor that lives does that.
        Stuck = 9,
    }
}

codes! {
    /// What a check watches.
    pub enum Check {
        /// Depth against plan.
        Depth = 1,
        /// Lean against the limit.
        Plumb = 2,
        /// Whether depth is tied to the hub.
        Reference = 3,
        /// Whether the tip met bottom where it left it.
        FallIn = 4,
        /// How fast new depth is made: 1 slow, a candidate for refusal; 0 as usual again.
        Going = 5,
        /// The misclosure on the hub against its limit: 1 beyond, 0 within again.
        Misclosure = 6,
    }
}

codes! {
    /// What can be calibrated, with the unit of its uncertainty and residual, and its values.
    pub enum CalibrationItem {
        /// Tilt zero, µg: forward, right, temperature in hundredths of a degree Celsius.
        TiltZero = 1,
        /// Tilt drift with temperature, tenths of µg per degree: forward, right.
        TiltDrift = 2,
        /// Turn of the sensor about the tool's axis, hundredths of a degree: the turn clockwise from above, then its cosine and sine in millionths.
        Mount = 3,
        /// Tool against mast, µm/m: lean of the tool string less that of the mast, forward, right.
        ToolLevel = 4,
        /// Encoder table, µm: count, length, count, length and so on, two to eight points.
        Encoder = 5,
        /// Play of the tool in its guide, µm/m: half of the range of lean that it allows.
        GuidePlay = 6,
        /// A tool, µm: number, length from pin to cutting edge, diameter.
        Tool = 7,
    }
}

codes! {
    /// States of the depth check.
    pub enum DepthState {
        /// Not yet near.
        Drilling = 0,
        /// Less than the warning distance to go.
        ComingUp = 1,
        /// Planned depth reached, within its tolerance.
        OnDepth = 2,
        /// Deeper than the tolerance allows.
        Over = 3,
    }
}

codes! {
    /// States of the plumb check.
    pub enum PlumbState {
        /// Nothing to judge by yet.
        Unjudged = 0,
        /// Within the limit, with room.
        Good = 1,
        /// Within the limit, near it.
        Drifting = 2,
        /// Beyond the limit.
        Out = 3,
    }
}

codes! {
    /// States of the depth reference.
    pub enum ReferenceState {
        /// Depth is not tied to anything: touch the hub.
        Unreferenced = 0,
        /// Depth is tied to the hub.
        Hub = 1,
        /// Carried over a change of tool by the tool table: touch the hub to prove it.
        Carried = 2,
    }
}

codes! {
    /// What the tool is doing.
    pub enum Activity {
        /// No hole is open.
        Idle = 0,
        /// The tip is above the ground.
        Clear = 1,
        /// In the hole, above its bottom.
        Tripping = 2,
        /// Making new bottom.
        Cutting = 3,
        /// Widening what a smaller tool cut.
        Reaming = 4,
        /// The rig has just started and reads its memory: whether a hole is open is not known yet.
        Starting = 5,
    }
}

codes! {
    /// How far a reading can be believed.
    pub enum Belief {
        /// A good reading.
        Good = 0,
        /// No news within the last moments.
        Stale = 1,
        /// The sensor is at fault.
        Fault = 2,
        /// Not meaningful now: the tool is out of the ground or has just moved.
        Blank = 3,
    }
}

codes! {
    /// Why slots are missing.
    pub enum GapCause {
        /// A slot was being written when power failed.
        Torn = 1,
        /// Memory was full and the oldest, not yet acknowledged, gave way.
        Reclaimed = 2,
        /// Slots were found damaged.
        Damaged = 3,
    }
}

codes! {
    /// Why a set-up is not sealed.
    pub enum UnsealedCause {
        /// The rig was never commissioned: it has no key.
        NoKey = 1,
        /// The memory refused the seal, and the next hole was opened.
        Refused = 2,
    }
}

codes! {
    /// The rig's answer to a command.
    pub enum Answer {
        /// Done, and recorded.
        Done = 0,
        /// No hole is open.
        NoHoleOpen = 1,
        /// A hole is open already: close it first.
        HoleOpen = 2,
        /// The encoder gives no good reading now.
        NoDepth = 3,
        /// The command's figures cannot be right.
        BadFigures = 4,
        /// The rig's tool table has no such tool.
        NoSuchTool = 5,
        /// The record did not reach the memory.
        NotRecorded = 6,
        /// The rig is not ready yet.
        NotReady = 7,
        /// A calibration whose figures cannot be right.
        BadCalibration = 8,
        /// The tip moves or has not rested: hold it on the hub for a second and touch again.
        NotAtRest = 9,
        /// A key that anybody knows: commission again with a new one.
        KnownKey = 10,
        /// A simulated rig seals with its published key and takes no other.
        Simulated = 11,
        /// No numbers are left for this: drain the rig, then reset it, or have its memory replaced.
        NumbersUsedUp = 12,
        /// It was asked of another epoch: the rig has been reset since.
        OtherEpoch = 13,
        /// Some records are on no host's disk yet: drain the rig first.
        NotDrained = 14,
    }
}

/// What one live sample says beside its figures; packed into 16 bits on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Status {
    /// Depth is tied to the hub.
    pub referenced: bool,
    /// A hole is open.
    pub hole_open: bool,
    /// How far the depth can be believed.
    pub depth: Belief,
    /// How far the lean can be believed.
    pub lean: Belief,
    /// What the tool is doing.
    pub activity: Activity,
    /// The depth check.
    pub depth_check: DepthState,
    /// The plumb check.
    pub plumb_check: PlumbState,
    /// Since it started the memory has refused something, or not kept what it took: records may be missing.
    pub memory_fault: bool,
    /// The rig is a simulated one.
    pub simulated: bool,
}

impl Status {
    /// Packs into 16 bits: bit 0 referenced, 1 hole open, 2–3 depth belief, 4–5 lean belief, 6–8 activity,
    /// 9–10 depth check, 11–12 plumb check, 13 memory fault, 15 simulated.
    #[must_use]
    pub fn to_bits(self) -> u16 {
        let field = |value: u8, at: u32| u16::from(value) << at;
        field(u8::from(self.referenced), 0)
            | field(u8::from(self.hole_open), 1)
            | field(self.depth.raw(), 2)
            | field(self.lean.raw(), 4)
            | field(self.activity.raw(), 6)
            | field(self.depth_check.raw(), 9)
            | field(self.plumb_check.raw(), 11)
            | field(u8::from(self.memory_fault), 13)
            | field(u8::from(self.simulated), 15)
    }

    /// Unpacks; `None` where a code is not known to this version.
    #[must_use]
    pub fn from_bits(bits: u16) -> Option<Self> {
        let field = |at: u32, mask: u8| bits.checked_shr(at).unwrap_or(0).to_le_bytes()[0] & mask;
        Some(Self {
            referenced: field(0, 1) == 1,
            hole_open: field(1, 1) == 1,
            depth: Belief::from_raw(field(2, 3))?,
            lean: Belief::from_raw(field(4, 3))?,
            activity: Activity::from_raw(field(6, 7))?,
            depth_check: DepthState::from_raw(field(9, 3))?,
            plumb_check: PlumbState::from_raw(field(11, 3))?,
            memory_fault: field(13, 1) == 1,
            simulated: field(15, 1) == 1,
        })
    }
}

/// A three-axis specific force in sensor-independent rig axes, millionths of gravity: at rest and plumb the
/// third component is +1,000,000; a toe that goes forward with depth makes `level.forward` positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpecificForce {
    /// The two level components.
    pub level: RigAxes<crate::units::MicroG>,
    /// Along the tool, upward.
    pub up: crate::units::MicroG,
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::{prop_assert_eq, proptest};

    proptest! {
        #[test]
        fn status_bits_go_both_ways(bits: u16) {
            if let Some(status) = Status::from_bits(bits) {
                prop_assert_eq!(status.to_bits(), bits & 0xBFFF);
            }
        }
    }

    #[test]
    fn codes_go_both_ways_and_unknown_is_none() {
        for (raw, _, _) in SensorFault::TABLE {
            assert_eq!(SensorFault::from_raw(*raw).unwrap().raw(), *raw);
        }
        assert_eq!(SensorFault::from_raw(0), None);
        assert_eq!(SensorFault::from_raw(200), None);
    }
}
