//! The rig on the bench board: wiring only.
#![no_std]
#![no_main]

use cortex_m::singleton;
use cortex_m_rt::entry;
use defmt::{info, warn};
use firmware_app::board::{LONG_TURN_MS, RECEIVE_BYTES, TURN_BUS_MS, turn};
use firmware_app::profile::Profile;
use firmware_app::rig::Rig;
use firmware_drivers::sensor_line::{LineSettings, RegisterMap, SelfTurning, SensorLine};
use heapless::spsc::Queue;
use mps2_an386::board::BenchBoard;
use mps2_an386::memory::KeptRam;
use mps2_an386::time::{Clock, wake_every_ms};
use mps2_an386::uart::{BENCH, HOST, SENSORS};
use mps2_an386::watchdog::Watchdog;
use mps2_an386::{interrupts, lockstep, note, strap};
use shared_protocol::state::ResetCause;

/// Bits a second of the host link.
const HOST_BAUD: u32 = 115_200;
/// The bench's own port; the emulator does not pace it.
const BENCH_BAUD: u32 = 1_000_000;

/// The ring for bytes from the host; it holds one byte less than its size.
const HOST_RING: usize = 4_097;
/// Bytes that the host can send while the rig looks elsewhere for a whole long turn, waits for a memory on I²C in it, and the
/// turns beside it: the line's own bound, whoever sends. A byte takes ten bits.
const HOST_BYTES_UNSEEN: u32 = HOST_BAUD / 10 * (LONG_TURN_MS + TURN_BUS_MS + 2) / 1_000 + RECEIVE_BYTES as u32;
const _: () = assert!(HOST_BYTES_UNSEEN as usize <= HOST_RING - 1, "what the host sends meanwhile is kept");

/// What cannot be missing at the start is: note it and begin again.
fn needed<T>(part: Option<T>, name: &'static str) -> T {
    part.unwrap_or_else(|| note::give_up(ResetCause::Broken, name, 0))
}

#[entry]
fn main() -> ! {
    let (strap, ending) = (strap::read(), note::take());
    let mut core = needed(cortex_m::Peripherals::take(), "core");
    let mut clock = Clock::start(strap.lock_step);
    info!("start after {}; {}", ending.cause, strap);
    if !ending.place().is_empty() {
        warn!("the last run ended itself: {=str} {=u32}", ending.place(), ending.line);
    }

    let host = HOST.open(
        HOST_BAUD,
        needed(singleton!(: Queue<u8, HOST_RING> = Queue::new()), "ring"),
        needed(singleton!(: Queue<u8, 2049> = Queue::new()), "ring"),
    );
    let sensors = SENSORS.open(
        LineSettings::BENCH.baud,
        needed(singleton!(: Queue<u8, 257> = Queue::new()), "ring"),
        needed(singleton!(: Queue<u8, 33> = Queue::new()), "ring"),
    );
    let mut bench = BENCH.open(
        BENCH_BAUD,
        needed(singleton!(: Queue<u8, 17> = Queue::new()), "ring"),
        needed(singleton!(: Queue<u8, 33> = Queue::new()), "ring"),
    );
    interrupts::enable(&mut core.NVIC);

    let line = SensorLine::new(sensors, SelfTurning, RegisterMap::BENCH, LineSettings::BENCH);
    let line = needed(line.ok(), "sensor line");
    let profile = Profile { skew_ms: line.skew_ms(), ..Profile::bench() };
    let mut rig = Rig::start(needed(KeptRam::take(), "memory"), profile, ending.cause, clock.now());
    let mut board = BenchBoard::new(host, line, clock, Watchdog::start(!strap.watchdog_off));

    if strap.lock_step {
        lockstep::run(&mut bench, &mut board, &mut rig)
    }
    wake_every_ms(core.SYST);
    loop {
        cortex_m::asm::wfi();
        turn(&mut board, &mut rig);
    }
}
