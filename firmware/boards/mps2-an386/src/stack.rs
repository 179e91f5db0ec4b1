//! How much stack was ever used: the start-up code paints it, and what is no longer painted was used.

use core::ptr::addr_of;
use cortex_m_rt::STACK_PAINT_VALUE;

// SAFETY: the linker script of cortex-m-rt defines both; they are only asked for their addresses.
unsafe extern "C" {
    static _stack_end: u32;
    static _stack_start: u32;
}

/// The most that was used since the start, bytes.
pub fn high_water() -> u32 {
    // Only the addresses are taken: the linker's symbols are places, not values.
    let (end, start) = (addr_of!(_stack_end), addr_of!(_stack_start));
    let mut at = end;
    // SAFETY: from `_stack_end` up to `_stack_start` is the stack, aligned to words; all of it was written by the
    // paint, and the words below the stack pointer belong to nobody.
    while at < start && unsafe { at.read_volatile() } == STACK_PAINT_VALUE {
        // SAFETY: still at most one word past the end of the stack.
        at = unsafe { at.add(1) };
    }
    u32::try_from((start as usize).saturating_sub(at as usize)).unwrap_or(u32::MAX)
}
