//! Chance from a seed: the same seed gives the same world, and one part's draws do not disturb another's.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// Who draws. Each has a stream of its own.
#[derive(Clone, Copy, Debug)]
pub enum Drawer {
    /// Mast wander.
    Mast = 1,
    /// Going and fall-in.
    Ground = 2,
    /// Encoder noise.
    Encoder = 3,
    /// Tilt noise and vibration.
    Tilt = 4,
    /// What a sensor at fault says.
    Faults = 5,
    /// Damage on the way to the rig.
    CableToRig = 6,
    /// Damage on the way to the host.
    CableToHost = 7,
    /// How the tool string moves in its guide.
    Play = 8,
    /// How the tip is set on the hub.
    Touch = 9,
    /// The errors of one rig.
    Errors = 10,
    /// Reading what calibration needs.
    Calibration = 11,
    /// How each hole of a line turns out.
    Hole = 12,
    /// What people measure in it.
    Crew = 13,
    /// What a power cut does to bytes on their way into the memory.
    Power = 20,
}

/// A stream of draws.
#[derive(Clone, Debug)]
pub struct Chance(Pcg32);

impl Chance {
    /// The stream of one drawer in the world of one seed.
    #[must_use]
    pub fn new(seed: u64, drawer: Drawer) -> Self {
        // An odd constant keeps the streams of neighbouring seeds apart.
        Self(Pcg32::seed_from_u64(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(drawer as u64)))
    }

    /// Another stream, from this one's next draws.
    #[must_use]
    pub fn fork(&mut self) -> Self {
        Self(Pcg32::seed_from_u64(u64::from(self.bits()) << 32 | u64::from(self.bits())))
    }

    /// Any 32 bits.
    pub fn bits(&mut self) -> u32 {
        self.0.next_u32()
    }

    /// From 0 up to, but never, 1.
    pub fn uniform(&mut self) -> f64 {
        f64::from(self.bits()) / 4_294_967_296.0
    }

    /// Near enough to normal, mean 0, variance 1, never beyond ±6: twelve uniform draws added up. No logarithm
    /// and no cosine, whose last bits differ between machines.
    pub fn bell(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }

    /// True at this rate.
    pub fn happens(&mut self, rate: f64) -> bool {
        rate > 0.0 && self.uniform() < rate
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bell_has_mean_zero_and_variance_one() {
        let mut chance = Chance::new(4, Drawer::Tilt);
        let draws: Vec<f64> = (0..100_000).map(|_| chance.bell()).collect();
        let mean = draws.iter().sum::<f64>() / 1e5;
        let variance = draws.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>() / 1e5;
        // Five standard errors: 1/sqrt(n) of the mean, sqrt(2/n) of the variance (identities of the normal law).
        assert!(mean.abs() < 0.016, "{mean}");
        assert!((variance - 1.0).abs() < 0.023, "{variance}");
    }

    #[test]
    fn one_seed_one_stream_and_each_drawer_its_own() {
        let first = |seed, drawer| (0..4).map(|_| Chance::new(seed, drawer).bits()).collect::<Vec<_>>();
        assert_eq!(first(1, Drawer::Mast), first(1, Drawer::Mast));
        assert_ne!(first(1, Drawer::Mast), first(2, Drawer::Mast));
        assert_ne!(first(1, Drawer::Mast), first(1, Drawer::Ground));
    }
}
