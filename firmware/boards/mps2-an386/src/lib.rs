//! The emulated Cortex-M4F bench board: serial ports, time, memory, watchdog, and how they meet the rig.
//!
//! UART0 is the host link, UART1 the sensor line, UART2 the log, UART3 the bench's lock-step time. Interrupts
//! count and buffer, nothing else. Registers and raw memory are touched in the modules that say so below.
#![no_std]

#[allow(unsafe_code)]
pub mod interrupts;
#[allow(unsafe_code)]
mod log;
#[allow(unsafe_code)]
pub mod memory;
#[allow(unsafe_code)]
pub mod note;
#[allow(unsafe_code)]
mod registers;
#[allow(unsafe_code)]
pub mod stack;
#[allow(unsafe_code)]
pub mod strap;

pub mod board;
pub mod lockstep;
pub mod sbcon;
pub mod time;
pub mod uart;
pub mod watchdog;
