//! Lock-step: the bench says over UART3 how much time has passed, and the image runs one turn for it.
//!
//! Every command is one byte, every answer a fixed number of bytes, little-endian:
//! - `0x00`: how many bytes have been received? Answer: u16 of UART0, u16 of UART1. No turn is run.
//! - `0x01` to `0xFA`: so many milliseconds have passed. One turn; then, when all that it sent is out, u16 bytes
//!   sent on UART0 and u16 on UART1. The counts wrap.
//! - `0xFE`: figures. u32 most stack used, bytes; u32 worst ordinary turn, in ticks of the 25 MHz timer; u32 turns run;
//!   u32 mean turn × 16; u32 worst declared long turn, 0 where there was none.
//!
//! Other bytes are left unanswered.

use crate::board::BenchBoard;
use crate::time::timer;
use crate::uart::{HOST, SENSORS, Uart};
use crate::{stack, uart};
use firmware_app::board::{Length, turn};
use firmware_app::memory::Memory;
use firmware_app::rig::Rig;

const RECEIVED: u8 = 0x00;
const MS_MAX: u8 = 0xFA;
const FIGURES: u8 = 0xFE;

/// What turns cost.
#[derive(Clone, Copy, Debug, Default)]
struct Cost {
    turns: u32,
    worst: u32,
    long: u32,
    sum: u64,
}

impl Cost {
    fn take(&mut self, ticks: u32, length: Length) {
        self.turns = self.turns.saturating_add(1);
        let worst = if length == Length::Long { &mut self.long } else { &mut self.worst };
        *worst = ticks.max(*worst);
        self.sum = self.sum.saturating_add(ticks.into());
    }

    fn mean_x16(&self) -> u32 {
        let mean = self.sum.saturating_mul(16).checked_div(self.turns.into()).unwrap_or(0);
        u32::try_from(mean).unwrap_or(u32::MAX)
    }
}

/// Does as the bench says, for ever.
pub fn run<M: Memory>(bench: &mut Uart, board: &mut BenchBoard, rig: &mut Rig<M>) -> ! {
    let mut cost = Cost::default();
    loop {
        match next(bench) {
            RECEIVED => answer_counts(bench, uart::Port::received),
            ms @ 1..=MS_MAX => {
                board.pass(ms);
                let before = timer();
                let length = turn(board, rig);
                cost.take(before.wrapping_sub(timer()), length);
                while !(HOST.is_drained() && SENSORS.is_drained()) {}
                answer_counts(bench, uart::Port::sent);
            }
            FIGURES => {
                for figure in [stack::high_water(), cost.worst, cost.turns, cost.mean_x16(), cost.long] {
                    bench.send(&figure.to_le_bytes());
                }
            }
            other => defmt::warn!("lock-step: no command {=u8:#x}", other),
        }
    }
}

/// Sleeps until the bench says something.
fn next(bench: &mut Uart) -> u8 {
    loop {
        // With interrupts held back a byte cannot slip in between looking and sleeping; it wakes all the same.
        cortex_m::interrupt::free(|_| {
            if bench.is_empty() {
                cortex_m::asm::wfi();
            }
        });
        if let Some(byte) = bench.take() {
            return byte;
        }
    }
}

fn answer_counts(bench: &mut Uart, count: impl Fn(&uart::Port) -> u16) {
    let ([a, b], [c, d]) = (count(&HOST).to_le_bytes(), count(&SENSORS).to_le_bytes());
    bench.send(&[a, b, c, d]);
}
