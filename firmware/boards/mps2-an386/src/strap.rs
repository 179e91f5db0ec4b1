//! How the image is to run, in a word of RAM that the bench sets before the start.
//!
//! The word is `0x424F5200` and two bits; anything else, such as what RAM holds when power comes on, is no strap.

use core::mem::MaybeUninit;
use core::ptr::addr_of;

const MARK: u32 = 0x424F_5200;
const LOCK_STEP: u32 = 1 << 0;
const WATCHDOG_OFF: u32 = 1 << 1;

/// The bench finds it by this name in the image.
#[unsafe(no_mangle)]
#[unsafe(link_section = ".uninit.strap")]
static STRAP: MaybeUninit<u32> = MaybeUninit::uninit();

/// How to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub struct Strap {
    /// Time is told by the bench.
    pub lock_step: bool,
    /// The watchdog stays off.
    pub watchdog_off: bool,
}

/// Reads the word.
pub fn read() -> Strap {
    // SAFETY: every bit pattern is a `u32`, and nothing in the image writes it.
    let word = unsafe { addr_of!(STRAP).cast::<u32>().read_volatile() };
    let valid = word & !(LOCK_STEP | WATCHDOG_OFF) == MARK;
    Strap { lock_step: valid && word & LOCK_STEP != 0, watchdog_off: valid && word & WATCHDOG_OFF != 0 }
}
