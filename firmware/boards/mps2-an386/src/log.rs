//! The log: defmt frames out of UART2. A line that does not take them loses the frame, never time.

use crate::uart::LogPort;
use core::cell::UnsafeCell;
use critical_section::RestoreState;
use defmt::{Encoder, Logger, global_logger};

#[global_logger]
struct UartLog;

struct State {
    encoder: Encoder,
    restore: RestoreState,
    /// Somebody logs while logging; only the outer one is sent.
    depth: u8,
    opened: bool,
    /// The line did not take a byte of this frame: the rest is not tried.
    cut: bool,
}

struct Shared(UnsafeCell<State>);

// SAFETY: it is touched in critical sections only, on one core, and never by the handlers that those do not hold back.
unsafe impl Sync for Shared {}

static STATE: Shared =
    Shared(UnsafeCell::new(State { encoder: Encoder::new(), restore: RestoreState::invalid(), depth: 0, opened: false, cut: false }));

/// The rest of a cut frame is skipped, but for the zero that ends it.
fn put(cut: &mut bool, bytes: &[u8]) {
    for &byte in bytes {
        if !*cut || byte == 0 {
            *cut |= !LogPort::send(byte);
        }
    }
}

// SAFETY: `acquire` enters a critical section and the outermost `release` leaves it, as the trait asks.
unsafe impl Logger for UartLog {
    fn acquire() {
        // SAFETY: released in `release`, by the state kept here.
        let restore = unsafe { critical_section::acquire() };
        // SAFETY: interrupts are off, so nobody else has it.
        let state = unsafe { &mut *STATE.0.get() };
        state.depth = state.depth.saturating_add(1);
        if state.depth > 1 {
            return;
        }
        state.restore = restore;
        if !state.opened {
            state.opened = true;
            LogPort::open();
        }
        state.cut = false;
        let State { encoder, cut, .. } = state;
        encoder.start_frame(|bytes| put(cut, bytes));
    }

    // SAFETY: the line is not buffered, so there is nothing to wait for.
    unsafe fn flush() {}

    // SAFETY: called between `acquire` and `release` only, as the trait says.
    unsafe fn release() {
        // SAFETY: interrupts are off since `acquire`.
        let state = unsafe { &mut *STATE.0.get() };
        state.depth = state.depth.saturating_sub(1);
        if state.depth > 0 {
            return;
        }
        let State { encoder, cut, restore, .. } = state;
        encoder.end_frame(|bytes| put(cut, bytes));
        // SAFETY: the outermost `acquire` gave this state.
        unsafe { critical_section::release(*restore) };
    }

    // SAFETY: called between `acquire` and `release` only, as the trait says.
    unsafe fn write(bytes: &[u8]) {
        // SAFETY: interrupts are off since `acquire`.
        let state = unsafe { &mut *STATE.0.get() };
        if state.depth == 1 {
            let State { encoder, cut, .. } = state;
            encoder.write(bytes, |bytes| put(cut, bytes));
        }
    }
}
