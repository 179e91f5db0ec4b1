//! Time: read off a free-running timer, or told by the bench in lock-step; never counted in interrupts, which
//! an emulator on a busy machine leaves out.

use crate::registers::{Block, CLOCK_HZ};
use core::sync::atomic::{AtomicU32, Ordering::Relaxed};
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use shared_protocol::units::Millis;

const CONTROL: u16 = 0x0;
const VALUE: u16 = 0x4;
const RELOAD: u16 = 0x8;
const ENABLE: u32 = 1;
const TICKS_PER_MS: u32 = CLOCK_HZ / 1_000;

/// The last time that was read, for the log's stamps.
static LATEST_MS: AtomicU32 = AtomicU32::new(0);

defmt::timestamp!("{=u32:ms}", LATEST_MS.load(Relaxed));

/// The rig's clock.
#[derive(Clone, Copy, Debug)]
pub enum Clock {
    /// Read off the timer, which must be looked at once in 171 s.
    Running {
        /// The timer when it was read last; it counts down.
        last: u32,
        /// Ticks that did not make a millisecond yet.
        rest: u32,
        /// Milliseconds so far.
        ms: u32,
    },
    /// Told by the bench, milliseconds so far.
    Told(u32),
}

impl Clock {
    /// Starts at 0.
    pub fn start(lock_step: bool) -> Self {
        Block::TIMER0.write(RELOAD, u32::MAX);
        Block::TIMER0.write(VALUE, u32::MAX);
        Block::TIMER0.write(CONTROL, ENABLE);
        if lock_step { Self::Told(0) } else { Self::Running { last: u32::MAX, rest: 0, ms: 0 } }
    }

    /// The time since the start.
    pub fn now(&mut self) -> Millis {
        let ms = match self {
            Self::Told(ms) => *ms,
            Self::Running { last, rest, ms } => {
                let value = timer();
                let ticks = last.wrapping_sub(value);
                *last = value;
                let whole = ticks / TICKS_PER_MS;
                let left = *rest + ticks % TICKS_PER_MS; // both below one millisecond
                *rest = left % TICKS_PER_MS;
                *ms = ms.wrapping_add(whole + left / TICKS_PER_MS);
                *ms
            }
        };
        LATEST_MS.store(ms, Relaxed);
        Millis(ms)
    }

    /// The bench says that so much time has passed. Without lock-step nobody is asked.
    pub fn pass(&mut self, more: u8) {
        if let Self::Told(ms) = self {
            *ms = ms.wrapping_add(more.into());
        }
    }
}

/// The timer now. It counts down at 25 MHz.
pub fn timer() -> u32 {
    Block::TIMER0.read(VALUE)
}

/// Wakes the main loop every millisecond.
pub fn wake_every_ms(mut systick: SYST) {
    systick.set_clock_source(SystClkSource::Core);
    systick.set_reload(TICKS_PER_MS - 1);
    systick.clear_current();
    systick.enable_interrupt();
    systick.enable_counter();
}
