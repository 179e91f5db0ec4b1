//! What the rig decides, without registers and without a clock.
//!
//! One natural way through: encoder counts and specific force arrive as [`reading::Sensed`]; [`depth`] and
//! [`lean`] turn them into lengths and leans; [`bore`] knows what the tool is doing and where the bottom is, and
//! [`axis`] where the toe went;
//! [`checks`] compare with the plan; [`calibrate`] says what a calibration may be, [`config`] keeps those in force and [`correction`]
//! applies them to the tilt sensor; [`journal`] keeps every record as slots in a [`memory::Memory`]; `link`
//! talks to the host and `commands` does what it asks; `seal` signs what is closed; `reset` forgets everything when a host has it; `recovery` reads the journal after a restart and `take_up` says what of it counts; [`rig::Rig`] is all of them together, handed time and bytes by [`board::turn`], the one
//! main loop on silicon, in the emulator and in the simulator.
#![cfg_attr(not(test), no_std)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::arithmetic_side_effects))]

pub mod axis;
pub mod board;
pub mod bore;
pub mod calibrate;
pub mod checks;
mod commands;
pub mod config;
pub mod correction;
pub mod depth;
pub mod journal;
pub mod lean;
mod link;
pub mod memory;
pub mod profile;
pub mod reading;
pub mod recovery;
mod reset;
pub mod rig;
mod seal;
mod take_up;
