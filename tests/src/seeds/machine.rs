//! The native machine on a frail memory: both lose power together, wherever it goes.

use firmware_app::memory::Memory;
use simulator::frail::FrailMemory;
use simulator::machine::{Machine, MachineFault, Sent};
use simulator::native::NativeMachine;

/// A rig whose memory may take its power away.
#[derive(Debug)]
pub struct Fragile<M: Memory> {
    rig: NativeMachine<M>,
    memory: FrailMemory,
    /// The next starts lose power within these of the bytes that they write, the last first.
    pub again: Vec<u64>,
}

impl<M: Memory + Clone> Fragile<M> {
    /// Starts a rig on what stands before the memory.
    ///
    /// # Errors
    /// See [`NativeMachine::start`].
    pub fn start(memory: FrailMemory, before: M) -> Result<Self, MachineFault> {
        Ok(Self { rig: NativeMachine::start(before)?, memory, again: Vec::new() })
    }
}

impl<M: Memory + Clone> Machine for Fragile<M> {
    fn turn(&mut self, ms: u8, from_sensors: &[u8], from_host: &[u8]) -> Result<Sent, MachineFault> {
        let sent = self.rig.turn(ms, from_sensors, from_host)?;
        // A rig says what it has to say at the end of its turn, and had no power by then.
        Ok(if self.memory.is_dead() { Sent::default() } else { sent })
    }

    fn cut_power(&mut self) -> Result<(), MachineFault> {
        self.memory.cut();
        self.rig.cut_power()
    }

    fn restore_power(&mut self) -> Result<(), MachineFault> {
        self.memory.power_up();
        if let Some(byte) = self.again.pop() {
            self.memory.cut_at(self.memory.written() + byte);
        }
        self.rig.restore_power()
    }

    fn memory(&self) -> Result<Vec<u8>, MachineFault> {
        self.rig.memory()
    }
}
