//! What a rig is: its name, its sensors' calibration, its tools and the figures it judges by.

use crate::correction::Correction;
use heapless::{String, Vec};
use sha2::{Digest, Sha256};
use shared_protocol::units::{MicroG, Micrometres};

/// Points in a calibration table.
pub const CALIBRATION_POINTS: usize = 8;
/// Tools in the rig's table.
pub const TOOLS: usize = 8;

/// One point of the encoder's calibration: at this count, this much tool has been paid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CalibrationPoint {
    /// Encoder count.
    pub count: i32,
    /// Length paid out, positive downwards.
    pub length: Micrometres,
}

/// One tool of the rig's table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ToolEntry {
    /// Its number, as people say it.
    pub number: u8,
    /// Pin to cutting edge.
    pub length: Micrometres,
    /// Diameter that it cuts.
    pub diameter: Micrometres,
}

/// Everything about the rig that is not measured while drilling.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Profile {
    /// The rig's name.
    pub rig: String<16>,
    /// True where no real hole is drilled; every record and page says so.
    pub simulated: bool,
    /// Encoder calibration, two to eight points, counts and lengths both rising or counts falling as lengths rise.
    pub calibration: Vec<CalibrationPoint, CALIBRATION_POINTS>,
    /// Tools that can be on.
    pub tools: Vec<ToolEntry, TOOLS>,
    /// Whether the encoder still knows its place after a power cut.
    pub encoder_absolute: bool,
    /// Height above the hub of the guide that the tool pivots about.
    pub guide_height: Micrometres,
    /// The fastest the winch can run, micrometres per millisecond (the same as millimetres per second).
    pub winch_max: u32,
    /// Milliseconds between reading depth and reading lean within one round, from the sensor line's timing.
    pub skew_ms: u16,
    /// New depth that makes one increment record.
    pub increment: Micrometres,
    /// The end of the tilt sensor's range.
    pub tilt_range: MicroG,
    /// The most misclosure on the hub that is accepted.
    pub misclosure_limit: Micrometres,
    /// What calibrations say of the tilt sensor; no part of a board's own profile.
    pub correction: Correction,
}

impl Profile {
    /// First eight bytes of the SHA-256 over every figure of a board's own profile.
    #[must_use]
    pub fn digest(&self) -> [u8; 8] {
        let mut hash = Sha256::new();
        hash.update(self.rig.as_bytes());
        hash.update([0, u8::from(self.simulated), u8::from(self.encoder_absolute)]);
        for point in &self.calibration {
            hash.update(point.count.to_le_bytes());
            hash.update(point.length.0.to_le_bytes());
        }
        for tool in &self.tools {
            hash.update([tool.number]);
            hash.update(tool.length.0.to_le_bytes());
            hash.update(tool.diameter.0.to_le_bytes());
        }
        hash.update(self.guide_height.0.to_le_bytes());
        hash.update(self.winch_max.to_le_bytes());
        hash.update(self.skew_ms.to_le_bytes());
        hash.update(self.increment.0.to_le_bytes());
        hash.update(self.tilt_range.0.to_le_bytes());
        hash.update(self.misclosure_limit.0.to_le_bytes());
        let digest: [u8; 32] = hash.finalize().into();
        let [a, b, c, d, e, f, g, h, ..] = digest;
        [a, b, c, d, e, f, g, h]
    }

    /// The profile of the bench: an invented rig with a 0.1 mm encoder, marked simulated. It is what the
    /// emulated board and the simulator run with.
    #[must_use]
    pub fn bench() -> Self {
        let point = |count, mm| CalibrationPoint { count, length: Micrometres::from_mm(mm) };
        let tool =
            |number, length, diameter| ToolEntry { number, length: Micrometres::from_mm(length), diameter: Micrometres::from_mm(diameter) };
        Self {
            rig: String::try_from("SIM-BENCH-1").unwrap_or_default(),
            simulated: true,
            calibration: Vec::from_slice(&[point(0, 0), point(200_000, 20_000)]).unwrap_or_default(),
            tools: Vec::from_slice(&[tool(1, 900, 1_100), tool(2, 1_300, 760), tool(3, 1_000, 1_300)]).unwrap_or_default(),
            encoder_absolute: false,
            guide_height: Micrometres::from_mm(1_400),
            winch_max: 2_500,
            skew_ms: 14,
            increment: Micrometres::from_mm(25),
            tilt_range: MicroG(2_000_000),
            // what sound holes close by, a rig that settles and rope that slips a little among it, once in a hundred times
            misclosure_limit: Micrometres::from_mm(7),
            correction: Correction::default(),
        }
    }
}
