//! Faults: which, when, and how large, drawn from a seed. Each seed leaves some kinds out, so that the others meet.

use crate::cuts::site::RING_AT;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use simulator::sensors::{FaultKind, SensorName};
use std::fmt;

/// Between these, virtual ms, faults come to their end.
const CALM_FROM_MS: (u32, u32) = (40_000, 150_000);
/// The most faults of one kind.
const EACH_MOST: u32 = 4;

/// The kinds of faults.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// The power goes within a byte that the rig writes.
    Torn,
    /// The power goes, and again while the rig recovers.
    Supply,
    /// Bits of the memory turn over at rest.
    Rot,
    /// The memory takes no more writes.
    Refusing,
    /// The cable turns bits over, drops and doubles bytes.
    Noise,
    /// The cable is out.
    Unplugged,
    /// A sensor fails.
    Sensor,
    /// The host is killed.
    Killed,
    /// Another host has the rig.
    Other,
}

impl Kind {
    /// Every kind with its name.
    pub const ALL: [(Self, &'static str); 9] = [
        (Self::Torn, "torn"),
        (Self::Supply, "supply"),
        (Self::Rot, "rot"),
        (Self::Refusing, "refusing"),
        (Self::Noise, "noise"),
        (Self::Unplugged, "unplugged"),
        (Self::Sensor, "sensor"),
        (Self::Killed, "killed"),
        (Self::Other, "other"),
    ];
}

/// A fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// When, virtual ms.
    pub at_ms: u64,
    /// What.
    pub what: What,
}

/// What fails, and how much.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// The power goes within this byte of those that the rig writes from then on.
    Torn {
        /// Which byte, from 1.
        byte: u64,
        /// How long it is gone.
        off_ms: u64,
    },
    /// The power goes.
    Supply {
        /// How long it is gone, each time.
        off_ms: u64,
        /// And again within these bytes of those that the rig writes in recovering, the last first.
        again: Vec<u64>,
    },
    /// Bits turn over: where, and which.
    Rot(Vec<(usize, u8)>),
    /// The memory takes so many bytes, then none.
    Refusing {
        /// How many.
        after: u64,
        /// For how long.
        for_ms: u64,
    },
    /// Of a million bytes, so many have a bit turned over, begin a burst, are dropped, come twice.
    Noise {
        /// With a bit turned over, at which a burst begins, dropped, doubled.
        per_million: [u32; 4],
        /// For how long.
        for_ms: u64,
    },
    /// The cable is out.
    Unplugged {
        /// For how long.
        for_ms: u64,
    },
    /// A sensor fails.
    Sensor {
        /// Which.
        sensor: SensorName,
        /// How.
        how: FaultKind,
        /// For how long.
        for_ms: u64,
    },
    /// The host is killed.
    Killed {
        /// How long there is none.
        for_ms: u64,
    },
    /// The other host, with a store of its own, is at the cable.
    Other {
        /// For how long.
        for_ms: u64,
    },
}

impl What {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Torn { .. } => Kind::Torn,
            Self::Supply { .. } => Kind::Supply,
            Self::Rot(_) => Kind::Rot,
            Self::Refusing { .. } => Kind::Refusing,
            Self::Noise { .. } => Kind::Noise,
            Self::Unplugged { .. } => Kind::Unplugged,
            Self::Sensor { .. } => Kind::Sensor,
            Self::Killed { .. } => Kind::Killed,
            Self::Other { .. } => Kind::Other,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let seconds = |ms: &u64| format!("{}.{:03} s", ms / 1_000, ms % 1_000);
        write!(f, "{:>10}  ", seconds(&self.at_ms))?;
        match &self.what {
            What::Torn { byte, off_ms } => {
                write!(f, "the power goes within the rig's next written byte but {}, for {}", byte - 1, seconds(off_ms))
            }
            What::Supply { off_ms, again } => {
                write!(f, "the power goes for {}", seconds(off_ms))?;
                again.iter().rev().try_for_each(|byte| write!(f, ", then within byte {byte} of the recovery"))
            }
            What::Rot(bits) => {
                f.write_str("bits turn over:")?;
                bits.iter().try_for_each(|(at, bits)| write!(f, " {bits:#04x} at {at}"))
            }
            What::Refusing { after, for_ms } => write!(f, "the memory takes {after} bytes more, then none, within {}", seconds(for_ms)),
            What::Noise { per_million: [flipped, bursts, lost, doubled], for_ms } => write!(
                f,
                "of a million bytes on the cable {flipped} have a bit turned over, {bursts} begin a burst, {lost} are dropped, \
                 {doubled} come twice, for {}",
                seconds(for_ms)
            ),
            What::Unplugged { for_ms } => write!(f, "the cable is out for {}", seconds(for_ms)),
            What::Sensor { sensor, how, for_ms } => write!(f, "the sensor {sensor:?} fails: {how:?}, for {}", seconds(for_ms)),
            What::Killed { for_ms } => write!(f, "the host is killed, and back after {}", seconds(for_ms)),
            What::Other { for_ms } => write!(f, "another host is at the cable for {}", seconds(for_ms)),
        }
    }
}

/// Numbers from a seed, apart from the world's own.
#[derive(Debug)]
pub struct Dice(Pcg32);

impl Dice {
    /// The dice of a seed for one purpose.
    #[must_use]
    pub fn new(seed: u64, purpose: u64) -> Self {
        Self(Pcg32::seed_from_u64(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ purpose))
    }

    /// From `low` up to and with `high`, each as likely.
    pub fn between(&mut self, low: u32, high: u32) -> u32 {
        low + self.0.next_u32() % (high - low + 1)
    }

    /// The same, small ones more likely: each length of number as likely as any.
    fn skewed(&mut self, low: u32, high: u32) -> u32 {
        let span = high - low + 1;
        let bits = self.between(0, u32::BITS - 1 - span.leading_zeros());
        low + self.0.next_u32() % (span >> bits).max(1)
    }

    /// One of them.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        let index = usize::try_from(self.0.next_u32()).unwrap_or(0) % of.len();
        of[index]
    }
}

/// How long anything may fail in the world of a seed, virtual ms.
#[must_use]
pub fn calm_from_ms(seed: u64) -> u64 {
    Dice::new(seed, 1).between(CALM_FROM_MS.0, CALM_FROM_MS.1).into()
}

/// Slots that the ring of a seed's rig holds.
#[must_use]
pub fn ring_slots(seed: u64) -> usize {
    usize::try_from(Dice::new(seed, 2).between(64, 256)).unwrap_or(64)
}

/// Draws the faults of a seed, in order; only those of some kinds where any are named.
#[must_use]
pub fn draw(seed: u64, only: &[Kind]) -> Vec<Fault> {
    let mut dice = Dice::new(seed, 3);
    let calm_ms = u32::try_from(calm_from_ms(seed)).unwrap_or(u32::MAX);
    let bytes = RING_AT + ring_slots(seed) * 32;
    let mut faults = Vec::new();
    for (kind, _) in Kind::ALL {
        let drawn = if dice.between(0, 99) < 45 { dice.between(1, EACH_MOST) } else { 0 };
        for _ in 0..drawn {
            let at_ms = dice.between(500, calm_ms - 1).into();
            faults.push(Fault { at_ms, what: dice.fault(kind, bytes) });
        }
    }
    faults.retain(|fault| only.is_empty() || only.contains(&fault.what.kind()));
    faults.sort_by_key(|fault| fault.at_ms);
    faults
}

impl Dice {
    fn fault(&mut self, kind: Kind, bytes: usize) -> What {
        let for_ms = |dice: &mut Self, most: u32| u64::from(dice.skewed(500, most));
        match kind {
            Kind::Torn => What::Torn { byte: self.skewed(1, 2_000).into(), off_ms: for_ms(self, 20_000) },
            Kind::Supply => {
                let times = self.between(0, 3);
                What::Supply { off_ms: for_ms(self, 20_000), again: (0..times).map(|_| self.between(1, 160).into()).collect() }
            }
            Kind::Rot => {
                let bits = self.skewed(1, 12);
                let last = u32::try_from(bytes - 1).unwrap_or(u32::MAX);
                let mut place = || usize::try_from(if self.between(0, 9) == 0 { self.between(0, 255) } else { self.between(0, last) });
                let places: Vec<usize> = (0..bits).filter_map(|_| place().ok()).collect();
                What::Rot(places.into_iter().map(|at| (at, 1 << self.between(0, 7))).collect())
            }
            Kind::Refusing => What::Refusing { after: self.skewed(0, 1_000).into(), for_ms: for_ms(self, 60_000) },
            Kind::Noise => {
                let per_million = [20_000, 1_000, 5_000, 5_000].map(|most| if self.between(0, 1) == 0 { self.skewed(10, most) } else { 0 });
                What::Noise { per_million, for_ms: self.skewed(2_000, 90_000).into() }
            }
            Kind::Unplugged => What::Unplugged { for_ms: self.skewed(2_000, 180_000).into() },
            Kind::Sensor => {
                use FaultKind::{BadCrc, Exception, Jump, Nonsense, Silent, Slow, Stuck, WrongUnit};
                What::Sensor {
                    sensor: self.pick(&[SensorName::Encoder, SensorName::Tilt]),
                    how: self.pick(&[Silent, Stuck, Jump, Nonsense, Exception, Slow, WrongUnit, BadCrc]),
                    for_ms: for_ms(self, 30_000),
                }
            }
            Kind::Killed => What::Killed { for_ms: for_ms(self, 30_000) },
            Kind::Other => What::Other { for_ms: self.skewed(2_000, 60_000).into() },
        }
    }
}
