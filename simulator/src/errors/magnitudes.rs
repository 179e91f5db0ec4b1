//! How large errors are: a distribution for each, in the order of the errors themselves.
//!
//! No source gives these for a rig of one's own: unless it is said otherwise they are common practice, and what
//! proves an uncertainty is that it holds when the world is drawn from them.

use super::shape::Shape::{Arcsine, Peaked, Rectangular, Triangular, TwoHumps};
use super::shape::Spread;
use super::{Depth, DrumLayer, Path, Tilt, Tool, Warmth};

/// A distribution for every error.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Magnitudes {
    /// Of depth.
    pub depth: Depth<Spread>,
    /// Of the tilt sensor.
    pub tilt: Tilt<Spread>,
    /// Of the tool string against the mast.
    pub tool: Tool<Spread>,
    /// Of the hole's path and its directions.
    pub path: Path<Spread>,
    /// Warmth of rope and sensor.
    pub warmth: Warmth<Spread>,
}

impl Magnitudes {
    /// A rig in good order whose calibration has been taken off: what a careful one leaves.
    #[must_use]
    pub fn ordinary() -> Self {
        let about = Spread::about;
        let fixed = Spread::fixed;
        Self {
            depth: Depth {
                scale: about(Triangular, 0.000_8),
                drum: vec![DrumLayer { from_mm: fixed(1_500.0), scale: about(Peaked, 0.001) }],
                slip_mm_per_trip: about(Peaked, 0.3),
                hub_touch_mm: fixed(3.0),
                slack_on_bottom_mm: about(Triangular, 4.0),
                stretch_mm_m: about(Arcsine, 0.3),
                settling_mm_m: Spread::between(Triangular, 0.0, 1.5),
                hub_level_mm: about(Triangular, 10.0),
                floor_mm: about(Triangular, 30.0),
            },
            tilt: Tilt {
                zero_mg: [about(Triangular, 0.5); 2],
                drift_mg_deg: [about(Peaked, 0.06); 2],
                cross_axis: [about(Arcsine, 0.005); 2],
                mount_deg: about(Triangular, 1.5),
                noise_ug_rt_hz: fixed(100.0),
                filter_hz: fixed(5.0),
                range_g: fixed(0.0),
                vibration_inside: fixed(20.0),
                rectified_mg_g2: [about(Arcsine, 5.0); 3],
                tone_mg: fixed(0.0),
                tone_hz: fixed(0.0),
            },
            tool: Tool {
                level_mm_m: [about(TwoHumps, 1.0); 2],
                // 10 mm over 1 to 1.5 m is 7 to 10 mm/m.
                play_mm_m: Spread::between(Rectangular, 7.0, 10.0),
                play_toward: [about(Arcsine, 0.75); 2],
                play_wander: fixed(0.15),
                bend_mm_m_m: [about(Triangular, 0.3); 2],
            },
            path: Path { wall_share: Spread::between(Arcsine, 0.0, 1.0), heading_deg: about(Triangular, 10.0) },
            warmth: Warmth {
                day_deg: about(Triangular, 15.0),
                rise_deg: Spread::between(Triangular, 0.0, 8.0),
                half_s: fixed(900.0),
                // Steel, 11.5 µm/m and degree: a metallurgist's handbook figure, from memory.
                rope_mm_m_deg: fixed(0.011_5),
            },
        }
    }

    /// The same rig before anyone has calibrated it: what calibration is there to find.
    #[must_use]
    pub fn uncalibrated() -> Self {
        let mut all = Self::ordinary();
        all.depth.scale = Spread::about(Triangular, 0.02);
        all.depth.drum = vec![DrumLayer { from_mm: Spread::fixed(1_500.0), scale: Spread::about(Arcsine, 0.005) }];
        all.tilt.zero_mg = [Spread::about(TwoHumps, 8.0); 2];
        all.tilt.drift_mg_deg = [Spread::about(Triangular, 0.3); 2];
        all.tilt.mount_deg = Spread::about(Triangular, 5.0);
        all.tool.level_mm_m = [Spread::about(TwoHumps, 6.0); 2];
        all
    }
}
