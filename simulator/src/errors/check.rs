//! What errors may be set to.

use super::Errors;

/// A figure with its name and the range that it must lie in.
pub type Figure<'a> = (&'a str, f64, f64, f64);

impl Errors {
    /// Every error with the range that it may be set in.
    #[must_use]
    pub fn figures(&self) -> Vec<Figure<'static>> {
        let mut all = self.depth_figures();
        let Self { tilt, tool, path, warmth, .. } = self;
        all.extend([
            ("tilt.mount_deg", tilt.mount_deg, -180.0, 180.0),
            ("tilt.noise_ug_rt_hz", tilt.noise_ug_rt_hz, 0.0, 100_000.0),
            ("tilt.filter_hz", tilt.filter_hz, 0.0, 10_000.0),
            ("tilt.range_g", tilt.range_g, 0.0, 3.0),
            ("tilt.vibration_inside", tilt.vibration_inside, 0.0, 1_000.0),
            ("tilt.tone_mg", tilt.tone_mg, 0.0, 1_000.0),
            ("tilt.tone_hz", tilt.tone_hz, 0.0, 10_000.0),
            ("tool.play_mm_m", tool.play_mm_m, 0.0, 100.0),
            ("tool.play_wander", tool.play_wander, 0.0, 1.0),
            ("path.wall_share", path.wall_share, 0.0, 1.0),
            ("path.heading_deg", path.heading_deg, -180.0, 180.0),
            ("warmth.day_deg", warmth.day_deg, -70.0, 60.0),
            ("warmth.rise_deg", warmth.rise_deg, -60.0, 60.0),
            ("warmth.half_s", warmth.half_s, 0.0, 360_000.0),
            ("warmth.rope_mm_m_deg", warmth.rope_mm_m_deg, 0.0, 1.0),
        ]);
        for axis in 0..2 {
            all.extend([
                ("tilt.zero_mg", tilt.zero_mg[axis], -500.0, 500.0),
                ("tilt.drift_mg_deg", tilt.drift_mg_deg[axis], -10.0, 10.0),
                ("tilt.cross_axis", tilt.cross_axis[axis], -0.5, 0.5),
                ("tool.level_mm_m", tool.level_mm_m[axis], -100.0, 100.0),
                ("tool.play_toward", tool.play_toward[axis], -1.0, 1.0),
                ("tool.bend_mm_m_m", tool.bend_mm_m_m[axis], -20.0, 20.0),
            ]);
        }
        all.extend(tilt.rectified_mg_g2.map(|mg| ("tilt.rectified_mg_g2", mg, -1_000.0, 1_000.0)));
        all
    }

    fn depth_figures(&self) -> Vec<Figure<'static>> {
        let depth = &self.depth;
        let mut all = vec![
            ("depth.scale", depth.scale, -0.5, 0.5),
            ("depth.slip_mm_per_trip", depth.slip_mm_per_trip, -100.0, 100.0),
            ("depth.hub_touch_mm", depth.hub_touch_mm, 0.0, 200.0),
            ("depth.slack_on_bottom_mm", depth.slack_on_bottom_mm, -500.0, 500.0),
            ("depth.stretch_mm_m", depth.stretch_mm_m, -100.0, 100.0),
            ("depth.settling_mm_m", depth.settling_mm_m, -100.0, 100.0),
            ("depth.hub_level_mm", depth.hub_level_mm, -1_000.0, 1_000.0),
            ("depth.floor_mm", depth.floor_mm, -1_000.0, 1_000.0),
            ("the number of drum layers", depth.drum.iter().fold(0.0, |n, _| n + 1.0), 0.0, 8.0),
        ];
        for (index, layer) in depth.drum.iter().enumerate() {
            let above = if index == 0 { -20_000.0 } else { depth.drum[index - 1].from_mm };
            all.extend([("depth.drum from_mm", layer.from_mm, above, 20_000.0), ("depth.drum scale", layer.scale, -0.5, 0.5)]);
        }
        all
    }
}
