//! The words that rig and host say to each other, and their units.
//!
//! Read in this order: [`units`] are the quantities; a [`slot`] is 32 self-checked bytes, the same in the rig's
//! memory, on the cable, in the store and in the paper's attachment; a [`record`] is what one or several slots
//! mean, and [`assemble`] puts their parts together; the [`chain`] runs over the slots of a set-up, and a [`seal`] signs it; a [`message`] is what travels the cable; a [`frame`] is how it survives the cable.
//! `WIRE.md` beside this crate says all of it to the bit, and a test holds the two together.
#![cfg_attr(not(test), no_std)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::arithmetic_side_effects))]

pub mod assemble;
pub mod body;
pub mod chain;
pub mod frame;
pub mod message;
pub mod packed;
pub mod record;
pub mod seal;
pub mod slot;
pub mod state;
pub mod units;

/// The version of everything on the wire and in memory: frozen. What it says never changes its meaning; more may be added where
/// WIRE.md says that readers leave alone what they do not know, and anything else is another version.
pub const VERSION: u8 = 1;
