//! How to talk to the rig's parts, generic over embedded-hal 1.0.
//!
//! [`sensor_line`] asks a depth encoder and a tilt sensor on one RS-485 line in turn; [`quadrature`] counts an
//! encoder that is wired straight to two pins; [`i2c_memory`] keeps the rig's slots in an FRAM or EEPROM.
//! Nothing here allocates or waits longer than one bus transfer, and no byte that arrives can stop it.
#![cfg_attr(not(test), no_std)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::arithmetic_side_effects))]

pub mod i2c_memory;
pub mod quadrature;
pub mod sensor_line;
