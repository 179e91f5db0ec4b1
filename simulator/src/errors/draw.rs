//! Errors drawn from their distributions.

use super::shape::Spread;
use super::{Depth, DrumLayer, Errors, Magnitudes, Path, Tilt, Tool, Warmth};
use crate::chance::{Chance, Drawer};

impl Errors {
    /// One rig's errors: the same seed and magnitudes give the same ones.
    #[must_use]
    pub fn draw(seed: u64, magnitudes: &Magnitudes) -> Self {
        let chance = &mut Chance::new(seed, Drawer::Errors);
        Self {
            depth: depth(&magnitudes.depth, chance),
            tilt: tilt(&magnitudes.tilt, chance),
            tool: tool(&magnitudes.tool, chance),
            path: Path {
                wall_share: magnitudes.path.wall_share.draw(chance).clamp(0.0, 1.0),
                heading_deg: magnitudes.path.heading_deg.draw(chance),
            },
            warmth: warmth(&magnitudes.warmth, chance),
        }
    }
}

fn each<const N: usize>(spreads: &[Spread; N], chance: &mut Chance) -> [f64; N] {
    spreads.each_ref().map(|spread| spread.draw(chance))
}

fn depth(m: &Depth<Spread>, chance: &mut Chance) -> Depth<f64> {
    Depth {
        scale: m.scale.draw(chance),
        drum: m.drum.iter().map(|l| DrumLayer { from_mm: l.from_mm.draw(chance), scale: l.scale.draw(chance) }).collect(),
        slip_mm_per_trip: m.slip_mm_per_trip.draw(chance),
        hub_touch_mm: m.hub_touch_mm.draw(chance),
        slack_on_bottom_mm: m.slack_on_bottom_mm.draw(chance),
        stretch_mm_m: m.stretch_mm_m.draw(chance),
        settling_mm_m: m.settling_mm_m.draw(chance),
        hub_level_mm: m.hub_level_mm.draw(chance),
        floor_mm: m.floor_mm.draw(chance),
    }
}

fn tilt(m: &Tilt<Spread>, chance: &mut Chance) -> Tilt<f64> {
    Tilt {
        zero_mg: each(&m.zero_mg, chance),
        drift_mg_deg: each(&m.drift_mg_deg, chance),
        cross_axis: each(&m.cross_axis, chance),
        mount_deg: m.mount_deg.draw(chance),
        noise_ug_rt_hz: m.noise_ug_rt_hz.draw(chance),
        filter_hz: m.filter_hz.draw(chance),
        range_g: m.range_g.draw(chance),
        vibration_inside: m.vibration_inside.draw(chance),
        rectified_mg_g2: each(&m.rectified_mg_g2, chance),
        tone_mg: m.tone_mg.draw(chance),
        tone_hz: m.tone_hz.draw(chance),
    }
}

fn tool(m: &Tool<Spread>, chance: &mut Chance) -> Tool<f64> {
    Tool {
        level_mm_m: each(&m.level_mm_m, chance),
        play_mm_m: m.play_mm_m.draw(chance),
        play_toward: each(&m.play_toward, chance),
        play_wander: m.play_wander.draw(chance),
        bend_mm_m_m: each(&m.bend_mm_m_m, chance),
    }
}

fn warmth(m: &Warmth<Spread>, chance: &mut Chance) -> Warmth<f64> {
    Warmth {
        day_deg: m.day_deg.draw(chance),
        rise_deg: m.rise_deg.draw(chance),
        half_s: m.half_s.draw(chance),
        rope_mm_m_deg: m.rope_mm_m_deg.draw(chance),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_seed_is_one_rig_and_no_magnitude_is_no_error() {
        let ordinary = Magnitudes::ordinary();
        assert_eq!(Errors::draw(5, &ordinary), Errors::draw(5, &ordinary));
        assert_ne!(Errors::draw(5, &ordinary), Errors::draw(6, &ordinary));
        assert_eq!(Errors::draw(5, &Magnitudes::default()), Errors::default());
    }

    #[test]
    fn every_rig_drawn_is_one_that_a_scenario_may_have() {
        for seed in 0..500 {
            for magnitudes in [Magnitudes::ordinary(), Magnitudes::uncalibrated()] {
                let errors = Errors::draw(seed, &magnitudes);
                for (name, value, low, high) in errors.figures() {
                    assert!((low..=high).contains(&value), "seed {seed}: {name} is {value}");
                }
            }
        }
    }
}
