//! The world that a rig drills in, without hardware.
pub mod bench;
pub mod cable;
mod chance;
pub mod clock;
pub mod commander;
pub mod cue;
#[cfg(unix)]
pub mod emulated;
pub mod line;
pub mod machine;
pub mod memory;
pub mod modbus;
pub mod native;
pub mod operator;
pub mod scenario;
pub mod sensors;
pub mod wall_clock;
mod wire;
pub mod world;
