//! The ground: layers, and how the tool goes in each.

use serde::Deserialize;

/// One layer.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub struct Layer {
    /// What it is called.
    pub name: String,
    /// Its top, mm below ground at the hole.
    pub from_mm: f64,
    /// How fast a turning tool makes new bottom in it, mm/s.
    pub feed_mm_s: f64,
    /// Standard deviation of the acceleration that cutting it puts on each axis, mg, as the tilt sensor's own
    /// filter leaves it.
    #[serde(default)]
    pub vibration_mg: f64,
    /// How much of it lies on the bottom after a trip, mm.
    #[serde(default)]
    pub fall_in_mm: f64,
}

/// Layers from the top down.
#[derive(Clone, Debug)]
pub struct Ground {
    layers: Vec<Layer>,
}

impl Ground {
    /// Of at least one layer; the first reaches to the surface.
    #[must_use]
    pub fn new(layers: &[Layer]) -> Self {
        Self { layers: layers.to_vec() }
    }

    /// The layer at this depth below ground, mm.
    #[must_use]
    pub fn at(&self, below_ground_mm: f64) -> Going {
        let layer = self.layers.iter().rev().find(|layer| layer.from_mm <= below_ground_mm).or(self.layers.first());
        layer.map_or(Going::NONE, |l| Going { feed_mm_s: l.feed_mm_s, vibration_mg: l.vibration_mg, fall_in_mm: l.fall_in_mm })
    }

    /// The name of the layer at this depth below ground, mm.
    #[must_use]
    pub fn name_at(&self, below_ground_mm: f64) -> &str {
        self.layers.iter().rev().find(|layer| layer.from_mm <= below_ground_mm).or(self.layers.first()).map_or("", |l| &l.name)
    }
}

/// How the tool goes at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Going {
    /// New bottom, mm/s.
    pub feed_mm_s: f64,
    /// Vibration, mg.
    pub vibration_mg: f64,
    /// Fall-in after a trip, mm.
    pub fall_in_mm: f64,
}

impl Going {
    /// Where there is no ground.
    pub const NONE: Self = Self { feed_mm_s: 0.0, vibration_mg: 0.0, fall_in_mm: 0.0 };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_layer_is_the_lowest_whose_top_is_above() {
        let layer = |name: &str, from_mm, feed_mm_s| Layer { name: name.into(), from_mm, feed_mm_s, vibration_mg: 0.0, fall_in_mm: 0.0 };
        let ground = Ground::new(&[layer("loam", 0.0, 20.0), layer("rock", 1_500.0, 4.0)]);
        let names: Vec<_> = [-5.0, 0.0, 1_499.9, 1_500.0, 9e9].iter().map(|&d| ground.name_at(d)).collect();
        assert_eq!(names, ["loam", "loam", "loam", "rock", "rock"]);
        assert_eq!(ground.at(1_600.0).feed_mm_s, 4.0);
    }
}
