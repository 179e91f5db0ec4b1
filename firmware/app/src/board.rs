//! The board as the rig sees it, and the one main loop.

use crate::memory::Memory;
use crate::reading::Sensed;
use crate::rig::Rig;
use shared_protocol::units::Millis;

/// Where frames for the host go. Sending never waits: what finds no room is kept by the rig or dropped by it.
pub trait Outlet {
    /// Bytes that can be taken now.
    fn room(&self) -> usize;
    /// Takes a whole frame; called only with no more than [`Outlet::room`] bytes.
    fn send(&mut self, frame: &[u8]);
}

/// A part of the turn whose doing proves that the rig is alive. A watchdog is fed when all have been seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Stage {
    /// The sensor line was looked after.
    Sensors,
    /// The host's bytes were looked after.
    Host,
    /// The rig decided.
    Rig,
}

/// What a board gives the rig. A method enters here when two boards implement it.
pub trait Board: Outlet {
    /// Time since start.
    fn now(&mut self) -> Millis;
    /// Moves the sensor line on by one step, without waiting, and returns a round when one is complete.
    fn sense(&mut self, now: Millis) -> Option<Sensed>;
    /// Takes bytes that arrived from the host, at most `into.len()`, without waiting.
    fn receive(&mut self, into: &mut [u8]) -> usize;
    /// Told after each stage of a turn.
    fn alive(&mut self, stage: Stage);
}

/// How long a turn of the main loop takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Length {
    /// As nearly every turn.
    Ordinary,
    /// A declared exception, once a hole and once a commissioning: keys are reckoned with. At most [`LONG_TURN_MS`].
    Long,
}

/// The most that a long turn may take. Watchdog and receive buffers of a board reckon with it.
pub const LONG_TURN_MS: u32 = 300;

/// The most that a turn may wait for the memory's bus, long ones too, reckoned by [`crate::memory::read_us`] and
/// [`crate::memory::write_us`]: less than the mean time from one round of the sensors to the next, so that one round at most
/// comes late. The longest is one in which a hole is opened under every calibration: 39 ms, three acknowledgements in the same
/// bytes and the gap that they name first 4, what says that the hole before stays without a seal 2. It is not opened in a turn
/// in which a round of the sensors has recorded something. Keeping the longest calibration takes 30, with all that may come
/// beside it 41. One command is done in a turn; a seal, 20, waits for one that records nothing else, and slots for the host for
/// one that does neither. Recovery is bound to less by counting.
pub const TURN_BUS_MS: u32 = 46;

/// Bytes taken from the host in one turn.
pub const RECEIVE_BYTES: usize = 64;

/// One turn of the main loop: bounded work, and nothing in it waits.
pub fn turn<B: Board, M: Memory>(board: &mut B, rig: &mut Rig<M>) -> Length {
    let now = board.now();
    let sensed = board.sense(now);
    board.alive(Stage::Sensors);
    let mut bytes = [0; RECEIVE_BYTES];
    let count = board.receive(&mut bytes);
    board.alive(Stage::Host);
    let length = rig.poll(now, sensed, bytes.get(..count).unwrap_or(&[]), board);
    board.alive(Stage::Rig);
    length
}
