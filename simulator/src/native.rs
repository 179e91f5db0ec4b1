//! The native machine: the rig's own code and the real sensor-line driver, in this process, in virtual time.

use crate::machine::{Machine, MachineFault, Sent};
use crate::memory::RamMemory;
use embedded_hal::digital::OutputPin;
use embedded_hal_nb::serial::{ErrorType, Read, Write};
use firmware_app::board::{Board, Outlet, Stage, turn};
use firmware_app::memory::Memory;
use firmware_app::profile::Profile;
use firmware_app::reading::Sensed;
use firmware_app::rig::Rig;
use firmware_drivers::sensor_line::{LineSettings, RegisterMap, SensorLine};
use shared_protocol::state::ResetCause;
use shared_protocol::units::Millis;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};

/// Bytes that the board's transmit ring to the host holds, the same as the emulated board's.
const HOST_RING_BYTES: usize = 2_048;
/// What the line to the host carries in a millisecond, hundredths of a byte: 115,200 baud, ten bits a byte.
const HOST_LINE_PER_MS: u32 = 1_152;

/// The sensor line's two wires and the pin that says which way they go.
#[derive(Debug, Default)]
struct Wires {
    received: VecDeque<u8>,
    sent: Vec<u8>,
    sending: bool,
}

/// A handle on the wires: the driver has two, port and pin, and the bench one.
#[derive(Clone, Debug, Default)]
struct Port(Arc<Mutex<Wires>>);

impl Port {
    fn with<T>(&self, act: impl FnOnce(&mut Wires) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl ErrorType for Port {
    type Error = Infallible;
}

impl Read for Port {
    fn read(&mut self) -> nb::Result<u8, Infallible> {
        self.with(|wires| wires.received.pop_front()).ok_or(nb::Error::WouldBlock)
    }
}

impl Write for Port {
    fn write(&mut self, byte: u8) -> nb::Result<(), Infallible> {
        // A transceiver that is not turned round puts nothing on the line.
        self.with(|wires| {
            if wires.sending {
                wires.sent.push(byte)
            }
        });
        Ok(())
    }
    fn flush(&mut self) -> nb::Result<(), Infallible> {
        Ok(())
    }
}

impl embedded_hal::digital::ErrorType for Port {
    type Error = Infallible;
}

impl OutputPin for Port {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.with(|wires| wires.sending = false);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.with(|wires| wires.sending = true);
        Ok(())
    }
}

/// What the rig's main loop sees.
#[derive(Debug)]
struct NativeBoard {
    now: Millis,
    line: SensorLine<Port, Port>,
    from_host: VecDeque<u8>,
    /// The ring: what the line has not taken yet.
    to_host: VecDeque<u8>,
    /// Hundredths of a byte that the line still carries by now.
    line_room: u32,
}

impl NativeBoard {
    /// What the line takes out of the ring in so long. A line that has nothing to carry saves up nothing.
    fn carry(&mut self, ms: u8) -> Vec<u8> {
        self.line_room += u32::from(ms) * HOST_LINE_PER_MS;
        let count = usize::try_from(self.line_room / 100).map_or(0, |room| room.min(self.to_host.len()));
        self.line_room = if count == self.to_host.len() { 0 } else { self.line_room % 100 };
        self.to_host.drain(..count).collect()
    }
}

impl Outlet for NativeBoard {
    fn room(&self) -> usize {
        HOST_RING_BYTES.saturating_sub(self.to_host.len())
    }
    fn send(&mut self, frame: &[u8]) {
        self.to_host.extend(frame);
    }
}

impl Board for NativeBoard {
    fn now(&mut self) -> Millis {
        self.now
    }
    fn sense(&mut self, now: Millis) -> Option<Sensed> {
        self.line.step(now)
    }
    fn receive(&mut self, into: &mut [u8]) -> usize {
        let count = into.len().min(self.from_host.len());
        for (to, from) in into.iter_mut().zip(self.from_host.drain(..count)) {
            *to = from;
        }
        count
    }
    fn alive(&mut self, _stage: Stage) {}
}

/// A rig that has power.
#[derive(Debug)]
struct Running<M: Memory> {
    board: NativeBoard,
    rig: Rig<M>,
    port: Port,
}

/// The native machine, on a memory whose clones are handles on the same.
#[derive(Debug)]
pub struct NativeMachine<M: Memory = RamMemory> {
    memory: M,
    running: Option<Running<M>>,
    paced: bool,
    /// What the rig's clock says when it gets power.
    clock: Millis,
}

impl<M: Memory + Clone> NativeMachine<M> {
    /// Starts a rig on a memory.
    ///
    /// # Errors
    /// Where the driver refuses the bench's own sensors.
    pub fn start(memory: M) -> Result<Self, MachineFault> {
        Self::with_clock(memory, Millis(0))
    }

    /// As [`NativeMachine::start`], with a clock that does not begin at nought: a rig that has run for long, or nearly so long
    /// that its clock turns over.
    ///
    /// # Errors
    /// As [`NativeMachine::start`].
    pub fn with_clock(memory: M, clock: Millis) -> Result<Self, MachineFault> {
        let mut machine = Self { memory, running: None, paced: false, clock };
        machine.restore_power()?;
        Ok(machine)
    }

    /// As [`NativeMachine::start`], with a line to the host that is as fast as a board's: 115,200 baud, behind its ring. The
    /// emulated board has none, so runs that are to be the same as its runs have none either.
    ///
    /// # Errors
    /// As [`NativeMachine::start`].
    pub fn behind_a_line(memory: M) -> Result<Self, MachineFault> {
        Ok(Self { paced: true, ..Self::start(memory)? })
    }
}

impl<M: Memory + Clone> Machine for NativeMachine<M> {
    fn turn(&mut self, ms: u8, from_sensors: &[u8], from_host: &[u8]) -> Result<Sent, MachineFault> {
        let Some(Running { board, rig, port }) = &mut self.running else { return Ok(Sent::default()) };
        board.now = board.now.plus(u32::from(ms));
        let carried = self.paced.then(|| board.carry(ms));
        board.from_host.extend(from_host);
        // A receiver that is turned off while the other half sends hears nothing of the line.
        port.with(|wires| {
            if !wires.sending {
                wires.received.extend(from_sensors)
            }
        });
        turn(board, rig);
        let to_host = carried.unwrap_or_else(|| board.to_host.drain(..).collect());
        Ok(Sent { to_sensors: port.with(|wires| std::mem::take(&mut wires.sent)), to_host })
    }

    fn cut_power(&mut self) -> Result<(), MachineFault> {
        self.running = None;
        Ok(())
    }

    fn restore_power(&mut self) -> Result<(), MachineFault> {
        let port = Port::default();
        let line = SensorLine::new(port.clone(), port.clone(), RegisterMap::BENCH, LineSettings::BENCH)
            .map_err(|refused| MachineFault(format!("the sensor line cannot be run: {refused}")))?;
        let profile = Profile { skew_ms: line.skew_ms(), ..Profile::bench() };
        let board = NativeBoard { now: self.clock, line, from_host: VecDeque::new(), to_host: VecDeque::new(), line_room: 0 };
        let rig = Rig::start(self.memory.clone(), profile, ResetCause::Power, self.clock);
        self.running = Some(Running { board, rig, port });
        Ok(())
    }

    fn memory(&self) -> Result<Vec<u8>, MachineFault> {
        let mut memory = self.memory.clone();
        let mut contents = vec![0; usize::try_from(memory.size()).unwrap_or(0)];
        let read = memory.read(0, &mut contents);
        read.map_err(|error| MachineFault(format!("the memory cannot be read ({error:?}): give it power first")))?;
        Ok(contents)
    }
}
