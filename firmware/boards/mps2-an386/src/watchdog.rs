//! The watchdog: fed only by a main loop whose every stage has been seen since it was fed last.

use crate::note;
use crate::registers::{Block, CLOCK_HZ};
use cortex_m_rt::exception;
use firmware_app::board::{LONG_TURN_MS, Stage};
use shared_protocol::state::ResetCause;

const LOAD: u16 = 0x000;
const CONTROL: u16 = 0x008;
const CLEAR: u16 = 0x00C;
const LOCK: u16 = 0xC00;
const UNLOCK: u32 = 0x1ACC_E551;
/// First expiry interrupts, second resets.
const INTERRUPT_THEN_RESET: u32 = 0b11;
/// Many turns, and far less than it takes to bore a hand's breadth.
const PATIENCE_S: u32 = 2;
const _: () = assert!(LONG_TURN_MS * 3 <= PATIENCE_S * 1_000, "a long turn is no reason to begin again");

const ALL_STAGES: u8 = 0b111;

/// The watchdog, and which stages were seen.
#[derive(Debug)]
pub struct Watchdog {
    on: bool,
    seen: u8,
}

impl Watchdog {
    /// Starts it, or leaves it off.
    pub fn start(on: bool) -> Self {
        if on {
            Block::WATCHDOG.write(LOCK, UNLOCK);
            Block::WATCHDOG.write(LOAD, CLOCK_HZ * PATIENCE_S);
            Block::WATCHDOG.write(CONTROL, INTERRUPT_THEN_RESET);
            Block::WATCHDOG.write(LOCK, 0);
        }
        Self { on, seen: 0 }
    }

    /// A stage was done; after all of them the watchdog is fed.
    pub fn see(&mut self, stage: Stage) {
        self.seen |= match stage {
            Stage::Sensors => 1 << 0,
            Stage::Host => 1 << 1,
            Stage::Rig => 1 << 2,
        };
        if self.seen == ALL_STAGES {
            self.seen = 0;
            if self.on {
                Block::WATCHDOG.write(LOCK, UNLOCK);
                Block::WATCHDOG.write(CLEAR, 1);
                Block::WATCHDOG.write(LOCK, 0);
            }
        }
    }
}

/// The first expiry: leave a note of the cause while there is still time.
#[exception]
#[allow(unsafe_code)]
// SAFETY: it touches the note only, which nothing reads before the next start.
unsafe fn NonMaskableInt() {
    note::give_up(ResetCause::Watchdog, "watchdog", 0);
}
