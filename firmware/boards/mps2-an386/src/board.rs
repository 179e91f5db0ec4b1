//! The board as the rig's main loop sees it.

use crate::time::Clock;
use crate::uart::{HOST, SENSORS, Uart};
use crate::watchdog::Watchdog;
use firmware_app::board::{Board, Outlet, Stage};
use firmware_app::reading::{Reading, Sensed};
use firmware_drivers::sensor_line::{SelfTurning, SensorLine};
use shared_protocol::state::SensorFault;
use shared_protocol::units::Millis;

/// The sensor line: the emulator has no pins, so its transceiver is one that turns itself.
pub type Line = SensorLine<Uart, SelfTurning>;

/// Port, line, clock and watchdog together.
#[derive(Debug)]
pub struct BenchBoard {
    host: Uart,
    line: Line,
    clock: Clock,
    watchdog: Watchdog,
    told: Told,
}

/// What the log has been told last, so that it is told once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Told {
    encoder: Option<SensorFault>,
    tilt: Option<SensorFault>,
    lost: [u16; 2],
    dropped: u16,
}

impl BenchBoard {
    /// Puts them together.
    pub fn new(host: Uart, line: Line, clock: Clock, watchdog: Watchdog) -> Self {
        Self { host, line, clock, watchdog, told: Told::default() }
    }

    /// The time since the start.
    pub fn time(&mut self) -> Millis {
        self.clock.now()
    }

    /// The bench says that so many milliseconds have passed.
    pub fn pass(&mut self, ms: u8) {
        self.clock.pass(ms);
    }

    fn tell(&mut self, sensed: &Sensed) {
        let now = Told {
            encoder: fault(sensed.count),
            tilt: fault(sensed.force),
            lost: [HOST.lost(), SENSORS.lost()],
            dropped: self.told.dropped,
        };
        tell_change("encoder", self.told.encoder, now.encoder);
        tell_change("tilt sensor", self.told.tilt, now.tilt);
        if now.lost != self.told.lost {
            defmt::warn!("bytes lost so far, host and sensors: {}", now.lost);
        }
        self.told = now;
    }
}

fn tell_change(sensor: &'static str, before: Option<SensorFault>, now: Option<SensorFault>) {
    match now {
        _ if now == before => {}
        Some(fault) => defmt::info!("{=str}: {}", sensor, fault),
        None => defmt::info!("{=str}: well again", sensor),
    }
}

fn fault<T>(reading: Reading<T>) -> Option<SensorFault> {
    match reading {
        Reading::Fault(fault) => Some(fault),
        Reading::Good(_) | Reading::Stale => None,
    }
}

impl Outlet for BenchBoard {
    fn room(&self) -> usize {
        self.host.room()
    }

    fn send(&mut self, frame: &[u8]) {
        if !self.host.send(frame) {
            self.told.dropped = self.told.dropped.saturating_add(1);
            defmt::warn!("frames dropped so far: {=u16}", self.told.dropped);
        }
    }
}

impl Board for BenchBoard {
    fn now(&mut self) -> Millis {
        self.clock.now()
    }

    fn sense(&mut self, now: Millis) -> Option<Sensed> {
        let sensed = self.line.step(now)?;
        self.tell(&sensed);
        Some(sensed)
    }

    fn receive(&mut self, into: &mut [u8]) -> usize {
        let mut count = 0;
        for (to, byte) in into.iter_mut().zip(core::iter::from_fn(|| self.host.take())) {
            *to = byte;
            count += 1;
        }
        count
    }

    fn alive(&mut self, stage: Stage) {
        self.watchdog.see(stage);
    }
}
