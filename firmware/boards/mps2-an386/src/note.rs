//! A note from one run to the next, in RAM that a reset leaves alone: why the last run ended.

use core::mem::MaybeUninit;
use core::panic::PanicInfo;
use core::ptr::addr_of_mut;
use cortex_m::peripheral::SCB;
use cortex_m_rt::{ExceptionFrame, exception};
use shared_protocol::state::ResetCause;

/// Bytes kept of the place where a run ended: the end of a file's path.
const PLACE_BYTES: usize = 32;
/// A note is there at all; garbage after power came on is taken for one once in 2⁶⁴.
const WRITTEN: [u32; 2] = [0xB0_4E_17_4E, 0x0E_5E_70_0D];

/// What a run leaves behind.
#[derive(Clone, Copy)]
#[repr(C)]
struct Note {
    written: [u32; 2],
    cause: u32,
    line: u32,
    place: [u8; PLACE_BYTES],
}

#[unsafe(link_section = ".uninit.note")]
static mut NOTE: MaybeUninit<Note> = MaybeUninit::uninit();

/// Why the last run ended.
#[derive(Clone, Copy, Debug)]
pub struct Ending {
    /// The cause as the rig records it.
    pub cause: ResetCause,
    /// Line of the file, or program counter of a fault.
    pub line: u32,
    place: [u8; PLACE_BYTES],
}

impl Ending {
    /// The end of the file's path, or what kind of end it was; empty where the run was not ended by itself.
    pub fn place(&self) -> &str {
        let text = self.place.split(|&byte| byte == 0).next_back().unwrap_or(&[]);
        core::str::from_utf8(text).unwrap_or("?")
    }
}

/// Reads the note of the last run and begins this run's.
pub fn take() -> Ending {
    let at = addr_of_mut!(NOTE).cast::<Note>();
    // SAFETY: the address is that of a static with room for a `Note`, every bit pattern is one, and neither
    // interrupts nor anything before `main` uses it.
    let last = unsafe { at.read_volatile() };
    write(ResetCause::Unknown, "", 0);
    if last.written != WRITTEN {
        return Ending { cause: ResetCause::Power, line: 0, place: [0; PLACE_BYTES] };
    }
    let cause = u8::try_from(last.cause).ok().and_then(ResetCause::from_raw).unwrap_or(ResetCause::Unknown);
    Ending { cause, line: last.line, place: last.place }
}

/// Notes why this run ends and resets.
pub fn give_up(cause: ResetCause, place: &str, line: u32) -> ! {
    cortex_m::interrupt::disable();
    write(cause, place, line);
    SCB::sys_reset()
}

fn write(cause: ResetCause, place: &str, line: u32) {
    let mut note = Note { written: WRITTEN, cause: cause.raw().into(), line, place: [0; PLACE_BYTES] };
    // Right-aligned: the end of a path says most.
    for (to, from) in note.place.iter_mut().rev().zip(place.bytes().rev()) {
        *to = from;
    }
    let at = addr_of_mut!(NOTE).cast::<Note>();
    // SAFETY: as in `take`; the run ends here or has just begun, so that nobody else reads or writes it.
    unsafe { at.write_volatile(note) };
}

/// Nothing is logged here: the panic may have come out of the log itself. The next start tells.
#[cfg(not(feature = "unpanicking"))]
#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    let (place, line) = info.location().map_or(("panic", 0), |at| (at.file(), at.line()));
    give_up(ResetCause::Broken, place, line)
}

/// In the image that is only linked: the linker fails wherever a panic is reachable.
#[cfg(feature = "unpanicking")]
#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    // SAFETY: no such function is there, so that an image with a way to it is never linked.
    unsafe extern "C" {
        fn a_panic_is_reachable() -> !;
    }
    // SAFETY: nobody has it, so that no image in which this can be called links.
    unsafe { a_panic_is_reachable() }
}

#[exception]
// SAFETY: the run ends here; nothing of it is used any more.
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    give_up(ResetCause::Broken, "hard fault", frame.pc())
}

/// An interrupt that nobody expects.
#[exception]
// SAFETY: the run ends here; nothing of it is used any more.
unsafe fn DefaultHandler(number: i16) {
    give_up(ResetCause::Broken, "stray interrupt", u32::from(number.unsigned_abs()))
}
