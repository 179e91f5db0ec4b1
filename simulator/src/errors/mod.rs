//! Errors that a real rig has: what its sensors, rope, guide, ground and people do to a measurement.
//!
//! Every one can be set in a scenario's `[errors]` table and is nought where it is not; [`Errors::draw`] makes a
//! whole rig's from a seed. Axis pairs are `[forward, right]`. A positive depth error makes the encoder read deeper
//! than true; a positive lean is where the toe goes.

mod check;
mod draw;
mod magnitudes;
pub mod shape;

pub use check::Figure;
pub use magnitudes::Magnitudes;

use serde::Deserialize;

/// The errors of one rig at one hole.
#[derive(Clone, Debug, Default, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Errors {
    /// Of depth.
    pub depth: Depth<f64>,
    /// Of the tilt sensor.
    pub tilt: Tilt<f64>,
    /// Of the tool string against the mast.
    pub tool: Tool<f64>,
    /// Of the hole's path and its directions.
    pub path: Path<f64>,
    /// Warmth of rope and sensor.
    pub warmth: Warmth<f64>,
}

/// What makes the encoder's depth another than the cutting edge's, and the hole's depth another than that.
#[derive(Clone, Debug, Default, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Depth<T: Default> {
    /// Encoder against true length, relative: 0.001 counts 1 mm too much in each metre.
    pub scale: T,
    /// Layers of rope on the drum, by the length paid out since the first tool's tip was on the hub.
    pub drum: Vec<DrumLayer<T>>,
    /// What the encoder loses each time that the tool leaves the bottom, mm.
    pub slip_mm_per_trip: T,
    /// Half of the range within which the tip is set off on touching the hub, mm: rope still tight reads shallower,
    /// rope already slack deeper. Drawn anew at each touch.
    pub hub_touch_mm: T,
    /// Rope paid out beyond the tip while the tool rests on the bottom without turning, mm.
    pub slack_on_bottom_mm: T,
    /// How much the rope lengthens under load, mm per metre paid out: the tip is deeper than counted.
    pub stretch_mm_m: T,
    /// How much the rig sinks while it drills, mm per metre of hole: the tip is deeper than counted.
    pub settling_mm_m: T,
    /// True height of the hub above the datum less the height levelled and entered, mm.
    pub hub_level_mm: T,
    /// The hole's floor below the deepest that the cutting edge was held, mm; negative where crumbs are left on it.
    pub floor_mm: T,
}

/// Rope that leaves the drum from another layer is counted at another rate.
#[derive(Clone, Copy, Debug, Default, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct DrumLayer<T> {
    /// From this length paid out on, mm.
    pub from_mm: T,
    /// Rate of counting against the first layer's, relative.
    pub scale: T,
}

/// What makes the tilt sensor's reading another than the mast's lean.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Tilt<T> {
    /// Reading of a plumb sensor at 20 °C, mg.
    pub zero_mg: [T; 2],
    /// Drift of that zero, mg per degree above 20 °C.
    pub drift_mg_deg: [T; 2],
    /// What each axis reads of the other one's force, relative.
    pub cross_axis: [T; 2],
    /// Turn of the sensor about the tool's axis, clockwise from above, degrees.
    pub mount_deg: T,
    /// Noise density of each axis, µg/√Hz, before the sensor's own low-pass filter.
    pub noise_ug_rt_hz: T,
    /// Corner of the sensor's own low-pass filter of one pole, Hz; 0 for none.
    pub filter_hz: T,
    /// The sensor clips here, g; 0 for its usual ±2 g.
    pub range_g: T,
    /// How many times as strong vibration is inside the sensor, before its filter, as the ground's figure says; what
    /// clips and is rectified is this. 0 for none.
    pub vibration_inside: T,
    /// Shift of each axis with vibration inside the sensor, mg per g² rms: forward, right, up.
    pub rectified_mg_g2: [T; 3],
    /// A pure tone on the forward axis, as the filter leaves it: amplitude, mg.
    pub tone_mg: T,
    /// Its frequency, Hz.
    pub tone_hz: T,
}

impl<T: Default> Default for Tilt<T> {
    fn default() -> Self {
        let pair = <[T; 2]>::default;
        let rectified_mg_g2 = <[T; 3]>::default();
        let (mount_deg, noise_ug_rt_hz, filter_hz, range_g, vibration_inside) =
            (T::default(), T::default(), T::default(), T::default(), T::default());
        let (tone_mg, tone_hz) = (T::default(), T::default());
        Self {
            zero_mg: pair(),
            drift_mg_deg: pair(),
            cross_axis: pair(),
            mount_deg,
            noise_ug_rt_hz,
            filter_hz,
            range_g,
            vibration_inside,
            rectified_mg_g2,
            tone_mg,
            tone_hz,
        }
    }
}

/// What makes the tool string lean otherwise than the mast, unseen by its sensor.
#[derive(Clone, Copy, Debug, Default, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Tool<T: Default> {
    /// Lean of the tool string less that of the mast, mm/m.
    pub level_mm_m: [T; 2],
    /// Half of the range of lean that the play in the guide allows, mm/m.
    pub play_mm_m: T,
    /// Where within the play the string lies, −1 to 1 on each axis; no further than 1 altogether.
    pub play_toward: [T; 2],
    /// How far it wanders within the play by itself, standard deviation as a share of the play.
    pub play_wander: T,
    /// Bending of the string, mm/m of lean at its lower end per metre of hole.
    pub bend_mm_m_m: [T; 2],
}

/// What makes the hole's path another than the tool's lean says, and its directions others than entered.
#[derive(Clone, Copy, Debug, Default, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Path<T: Default> {
    /// How far the hole follows its own wall: 0 a straight stick about the guide, 1 a tool led by the wall alone.
    pub wall_share: T,
    /// True heading less the one entered, degrees clockwise.
    pub heading_deg: T,
}

/// How warm rope and sensor are, and what the rope does of it.
#[derive(Clone, Copy, Debug, Default, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Warmth<T: Default> {
    /// The day's temperature, °C above 20.
    pub day_deg: T,
    /// How much warmer it gets in the end, °C; half of it after `half_s`.
    pub rise_deg: T,
    /// When half of the rise is there, s; 0 for at once.
    pub half_s: T,
    /// How much the rope lengthens, mm per metre paid out and degree above 20 °C.
    pub rope_mm_m_deg: T,
}

/// The temperature at which a sensor's zero is stated, °C.
pub const STATED_AT_DEG: f64 = 20.0;

impl Warmth<f64> {
    /// Degrees above 20 °C, so many seconds after the world began.
    #[must_use]
    pub fn above_deg(&self, seconds: f64) -> f64 {
        let share = if self.rise_deg == 0.0 { 0.0 } else { seconds / (seconds + self.half_s).max(1e-9) };
        self.day_deg + self.rise_deg * share
    }
}

impl Depth<f64> {
    /// What the encoder counts too much for scale and drum alone when this much has been paid out since the first
    /// tool's tip was on the hub, mm.
    #[must_use]
    pub fn miscounted_mm(&self, paid_mm: f64) -> f64 {
        let layer = |(index, layer): (usize, &DrumLayer<f64>)| {
            let ends = self.drum.get(index + 1).map_or(f64::INFINITY, |next| next.from_mm);
            // Signed, so that the count at the hub stays what it is wherever layers begin.
            let within = |mm: f64| mm.clamp(layer.from_mm, ends);
            layer.scale * (within(paid_mm) - within(0.0))
        };
        self.scale * paid_mm + self.drum.iter().enumerate().map(layer).sum::<f64>()
    }
}
