//! The world that a rig drills in, without hardware: ground, auger, mast, sensors, memory, cable and time.
//!
//! One seed is a whole world: the same scenario, seed and ticks give the same bytes, natively and on the
//! emulated board. Everything made here is marked SIMULATED by the rig's own identity.
//!
//! # In a minute
//!
//! A [`bench::Bench`] is all of it together: a [`world::World`] with its truth, [`sensors`] on a Modbus
//! [`mod@line`], a [`cable`] to the host, an [`operator`] who works a [`scenario`], and a [`machine::Machine`] that
//! runs the firmware. Whoever drives it does three things in turn: lets time pass, does what the operator's
//! [`cue::Cue`]s ask of the host, and says when that is done.
//!
//! ```
//! use simulator::bench::Bench;
//! use simulator::commander::Commander;
//! use simulator::operator::Progress;
//! use simulator::scenario::{STILL_HOLE, Scenario};
//!
//! let scenario = Scenario::parse("still-hole", STILL_HOLE)?; // or Scenario::load(path)
//! let mut bench = Bench::native(&scenario, scenario.seed)?; // or Bench::new(&scenario, seed, machine)
//! let mut host = Commander::default(); // a host session takes this place
//! let mut to_rig = Vec::new();
//! while let Some(Progress::Working(_)) = bench.progress() {
//!     let from_rig = bench.advance(5, &to_rig)?; // five milliseconds, and the bytes either way
//!     let cue = bench.take_cue(); // given once; cue.command() is what to send
//!     let done;
//!     (to_rig, done) = host.step(bench.world().now(), &from_rig, cue);
//!     if done {
//!         bench.cue_done(); // the operator goes on
//!     }
//! }
//! assert_eq!(bench.progress(), Some(Progress::Finished)); // or GaveUp(cue)
//! assert_eq!(bench.truth()[0].held_mm, 630.0); // compare with what the rig says
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # The machines
//!
//! | machine | runs | time |
//! |---|---|---|
//! | [`native::NativeMachine`] | the rig's code and its sensor-line driver, in this process | virtual, thousands of times real |
//! | [`emulated::EmulatedMachine`] | the real image on an emulated board | virtual, in lock-step |
//! | [`attached::AttachedMachine`] | whatever is at the far end of two unix sockets | its own, real |
//!
//! The first two can lose power and come back on the memory that they left: [`bench::Bench::cut_power`], or a
//! `power-cut` in the scenario. Their non-volatile memory is [`bench::Bench::machine`]`().memory()`.
//!
//! # Rules
//!
//! Nothing in the world asks a clock or the system for chance: time is a [`clock::Moment`] that only the bench
//! moves on, chance a stream from the seed. [`wall_clock`] is the one place that knows the time outside; it serves
//! the `bench` program and what starts an emulator. Depths are below the hub along the tool, positive downwards,
//! mm; leans are mm/m, positive where the toe goes, forward and to the right of the operator.

#[cfg(unix)]
pub mod attached;
pub mod bench;
pub mod cable;
pub mod calibration;
pub mod chance;
pub mod clock;
pub mod commander;
pub mod cue;
#[cfg(unix)]
pub mod emulated;
pub mod errors;
pub mod frail;
pub mod line;
pub mod machine;
pub mod memory;
pub mod modbus;
pub mod native;
pub mod operator;
pub mod pose;
#[cfg(unix)]
pub mod pty;
pub mod scenario;
pub mod sensors;
pub mod tilt;
pub mod truth;
pub mod wall_clock;
mod wire;
pub mod world;
