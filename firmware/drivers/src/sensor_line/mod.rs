//! The RS-485 line with the depth encoder and the tilt sensor on it, asked by Modbus RTU.
//!
//! [`registers`] say what the sensors' registers mean, [`timing`] what the baud rate allows, [`reply`] what
//! came back, and [`mod@line`] asks, listens and keeps silent in turn.

pub mod line;
pub mod registers;
pub mod reply;
pub mod timing;

pub use line::{Refused, SelfTurning, SensorLine};
pub use registers::RegisterMap;
pub use timing::LineSettings;
