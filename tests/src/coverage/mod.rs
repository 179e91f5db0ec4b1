//! Whether a stated uncertainty holds: holes drilled in a world with errors of its own, judged by the host, and held
//! against the truth.
//!
//! [`draw`] draws a hole, its rig's errors and the calibrations that a careful person would make of them; [`drill`] has
//! the rig drill it; [`score`] counts how often the truth lies within what was printed; [`limits`] puts the truth on a
//! limit and asks what is said; [`detect`] adds errors that no budget covers and asks whether they are noticed.

pub mod detect;
pub mod draw;
pub mod drill;
pub mod limits;
pub mod score;
