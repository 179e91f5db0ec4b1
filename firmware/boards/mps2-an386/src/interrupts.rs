//! The interrupt table, and what is done at each: count, buffer, nothing else.

use crate::uart::{BENCH, HOST, SENSORS};
use cortex_m::peripheral::NVIC;
use cortex_m_rt::exception;

/// An entry of the table.
#[derive(Clone, Copy)]
#[repr(C)]
#[allow(missing_debug_implementations)] // a union cannot tell which it holds
pub union Vector {
    handler: extern "C" fn(),
    reserved: usize,
}

const NONE: Vector = Vector { reserved: 0 };

const fn on(handler: extern "C" fn()) -> Vector {
    Vector { handler }
}

extern "C" fn uart0_rx() {
    HOST.on_receive();
}
extern "C" fn uart0_tx() {
    HOST.on_transmit();
}
extern "C" fn uart1_rx() {
    SENSORS.on_receive();
}
extern "C" fn uart1_tx() {
    SENSORS.on_transmit();
}
extern "C" fn uart3_rx() {
    BENCH.on_receive();
}
extern "C" fn uart3_tx() {
    BENCH.on_transmit();
}

/// By number, as the board is wired.
#[unsafe(link_section = ".vector_table.interrupts")]
#[unsafe(no_mangle)]
pub static __INTERRUPTS: [Vector; 32] = {
    let mut table = [NONE; 32];
    table[0] = on(uart0_rx);
    table[1] = on(uart0_tx);
    table[2] = on(uart1_rx);
    table[3] = on(uart1_tx);
    table[18] = on(uart3_rx);
    table[19] = on(uart3_tx);
    table
};

/// Bits of the interrupts above in the NVIC's first enable register.
const USED: u32 = 1 << 0 | 1 << 1 | 1 << 2 | 1 << 3 | 1 << 18 | 1 << 19;

/// Lets the interrupts of the table happen.
pub fn enable(nvic: &mut NVIC) {
    if let Some(enable) = nvic.iser.first() {
        // SAFETY: each of these has its handler in the table, and the rings' locks are critical sections.
        unsafe { enable.write(USED) };
    }
}

/// Wakes the main loop once a millisecond; time is read from the timer, never counted here.
#[exception]
fn SysTick() {}
