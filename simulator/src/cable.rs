//! The cable between rig and host: as fast as its baud rate, unplugged at times, and not always clean.

use crate::chance::{Chance, Drawer};
use crate::clock::Moment;
use crate::wire::Wire;
use serde::Deserialize;

/// Bits of a character on the host link: start, eight, stop.
const CHARACTER_BITS: u64 = 10;

/// Bytes that a burst spoils.
const BURST_BYTES: u8 = 12;

/// How fast and how bad a cable is.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct CableSettings {
    /// Bits per second.
    pub baud: u32,
    /// Share of bytes in which one bit is turned over.
    pub damaged: f64,
    /// Share of bytes that never arrive.
    pub lost: f64,
    /// Share of bytes that arrive twice.
    pub doubled: f64,
    /// Share of bytes at which a burst begins: a dozen bytes of which any bit is as likely turned over as not.
    pub bursts: f64,
}

impl Default for CableSettings {
    fn default() -> Self {
        Self { baud: 115_200, damaged: 0.0, lost: 0.0, doubled: 0.0, bursts: 0.0 }
    }
}

/// One direction.
#[derive(Clone, Debug)]
struct Lane {
    wire: Wire,
    settings: CableSettings,
    burst: u8,
    chance: Chance,
}

impl Lane {
    fn new(settings: CableSettings, chance: Chance) -> Self {
        Self { wire: Wire::new(CHARACTER_BITS, settings.baud), settings, burst: 0, chance }
    }

    fn send(&mut self, now: Moment, bytes: &[u8]) {
        let CableSettings { damaged, lost, doubled, bursts, .. } = self.settings;
        for &byte in bytes {
            let lost = self.chance.happens(lost);
            let mut flip = if self.chance.happens(damaged) { 1 << (self.chance.bits() % 8) } else { 0 };
            if self.chance.happens(bursts) {
                self.burst = BURST_BYTES;
            }
            if self.burst > 0 {
                self.burst -= 1;
                flip = self.chance.bits().to_le_bytes()[0];
            }
            let times = if self.chance.happens(doubled) { 2 } else { 1 };
            (0..times).for_each(|_| self.wire.send(now, (!lost).then_some(byte ^ flip)));
        }
    }

    fn arrived(&mut self, now: Moment, plugged: bool) -> Vec<u8> {
        let bytes = self.wire.due(now);
        if plugged { bytes } else { Vec::new() }
    }
}

/// Both directions.
#[derive(Clone, Debug)]
pub struct Cable {
    to_rig: Lane,
    to_host: Lane,
    plugged: bool,
}

impl Cable {
    /// Plugged in, with nothing on it.
    #[must_use]
    pub fn new(seed: u64, settings: CableSettings) -> Self {
        Self {
            to_rig: Lane::new(settings, Chance::new(seed, Drawer::CableToRig)),
            to_host: Lane::new(settings, Chance::new(seed, Drawer::CableToHost)),
            plugged: true,
        }
    }

    /// Pulls the cable out: what would arrive from now on is lost.
    pub fn unplug(&mut self) {
        self.plugged = false;
    }

    /// Puts it in again.
    pub fn plug(&mut self) {
        self.plugged = true;
    }

    /// From now on it is as bad as this; its speed stays.
    pub fn spoil(&mut self, settings: CableSettings) {
        (self.to_rig.settings, self.to_host.settings) = (settings, settings);
    }

    /// Whether it is in.
    #[must_use]
    pub fn is_plugged(&self) -> bool {
        self.plugged
    }

    /// The host sends.
    pub fn from_host(&mut self, now: Moment, bytes: &[u8]) {
        self.to_rig.send(now, bytes);
    }

    /// The rig sends.
    pub fn from_rig(&mut self, now: Moment, bytes: &[u8]) {
        self.to_host.send(now, bytes);
    }

    /// What has arrived at the rig by now.
    pub fn at_rig(&mut self, now: Moment) -> Vec<u8> {
        self.to_rig.arrived(now, self.plugged)
    }

    /// What has arrived at the host by now.
    pub fn at_host(&mut self, now: Moment) -> Vec<u8> {
        self.to_host.arrived(now, self.plugged)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cable(damaged: f64, lost: f64) -> Cable {
        Cable::new(5, CableSettings { damaged, lost, ..CableSettings::default() })
    }

    #[test]
    fn a_second_carries_what_the_baud_rate_says() {
        let mut cable = cable(0.0, 0.0);
        cable.from_rig(Moment(0), &[0x55; 30_000]);
        let first = cable.at_host(Moment(1_000_000)).len();
        // 115,200 bits a second over ten bits a byte is 11,520; a character is rounded up to 87 µs.
        assert!((11_400..=11_520).contains(&first), "{first}");
        assert_eq!(cable.at_host(Moment(1_000_000)), []);
        cable.at_host(Moment(3_000_000));
        cable.from_rig(Moment(9_000_000), &[1]);
        assert_eq!(cable.at_host(Moment(9_000_086)), []);
        assert_eq!(cable.at_host(Moment(9_000_087)), [1]);
    }

    #[test]
    fn a_clean_cable_changes_nothing_either_way() {
        let all: Vec<u8> = (0..=255).collect();
        let mut cable = cable(0.0, 0.0);
        cable.from_rig(Moment(0), &all);
        cable.from_host(Moment(0), &all);
        assert_eq!((cable.at_host(Moment(9_000_000)), cable.at_rig(Moment(9_000_000))), (all.clone(), all));
    }

    #[test]
    fn damage_and_loss_come_at_their_rates_and_from_the_seed() {
        let run = || {
            let mut cable = cable(0.01, 0.002);
            cable.from_rig(Moment(0), &[0; 100_000]);
            cable.at_host(Moment(60_000_000))
        };
        let arrived = run();
        let damaged = arrived.iter().filter(|b| **b != 0).count();
        assert!(arrived.iter().all(|b| b.count_ones() <= 1));
        // Binomial: 1,000 expected with sd 31, 200 lost with sd 14; five sd.
        assert!(damaged.abs_diff(1_000) < 157, "{damaged}");
        assert!((100_000 - arrived.len()).abs_diff(200) < 71, "{}", arrived.len());
        assert_eq!(arrived, run());
    }

    #[test]
    fn bytes_come_twice_and_bursts_spoil_a_dozen() {
        let mut cable = cable(0.0, 0.0);
        cable.spoil(CableSettings { doubled: 0.1, ..CableSettings::default() });
        cable.from_rig(Moment(0), &[0; 10_000]);
        // Binomial: 1,000 expected with sd 30; five sd.
        assert!((cable.at_host(Moment(9_000_000)).len() - 10_000).abs_diff(1_000) < 150);
        cable.spoil(CableSettings { bursts: 0.001, ..CableSettings::default() });
        cable.from_rig(Moment(9_000_000), &[0; 100_000]);
        let bad = cable.at_host(Moment(90_000_000)).iter().filter(|byte| **byte != 0).count();
        // A hundred bursts, sd 10, of a dozen bytes of which one in 256 stays as it was; five sd.
        assert!(bad.abs_diff(1_195) < 600, "{bad}");
        cable.spoil(CableSettings::default());
        cable.from_rig(Moment(90_000_000), &[0; 100]);
        assert_eq!(cable.at_host(Moment(99_000_000)), [0; 100]);
    }

    #[test]
    fn what_arrives_while_it_is_out_is_lost_and_no_more() {
        let mut cable = cable(0.0, 0.0);
        cable.from_rig(Moment(0), &[1, 2]);
        assert_eq!(cable.at_host(Moment(87)), [1]);
        cable.unplug();
        assert_eq!(cable.at_host(Moment(200)), []);
        cable.from_rig(Moment(300), &[3]);
        assert_eq!(cable.at_host(Moment(500)), []);
        cable.plug();
        cable.from_rig(Moment(500), &[4]);
        assert_eq!(cable.at_host(Moment(9_000)), [4]);
    }
}
