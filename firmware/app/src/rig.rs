//! The whole rig: every part together, handed time and bytes.

use crate::board::Outlet;
use crate::memory::Memory;
use crate::profile::Profile;
use crate::reading::Sensed;
use shared_protocol::state::ResetCause;
use shared_protocol::units::Millis;

/// The rig.
#[derive(Debug)]
pub struct Rig<M: Memory> {
    memory: M,
    profile: Profile,
}

impl<M: Memory> Rig<M> {
    /// Starts on a memory: finds where the last run stopped, and records the start.
    pub fn start(memory: M, profile: Profile, cause: ResetCause, now: Millis) -> Self {
        let _ = (cause, now);
        Self { memory, profile }
    }

    /// One decision: takes what came since the last, sends what there is to say. Bounded work; never waits.
    pub fn poll(&mut self, now: Millis, sensed: Option<Sensed>, received: &[u8], outlet: &mut impl Outlet) {
        let _ = (now, sensed, received, outlet.room(), self.memory.size(), &self.profile);
    }
}
