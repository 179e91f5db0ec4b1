//! What lies between the simulated rig and this program: nothing, or a real port.

use crate::Failure;

/// A wire that carries bytes both ways, whole and in order.
pub trait Wire {
    /// Carries what the rig sends; returns it as it arrives here.
    fn to_host(&mut self, bytes: Vec<u8>) -> Result<Vec<u8>, Failure>;
    /// Carries what this program sends; returns it as it arrives at the rig.
    fn to_rig(&mut self, bytes: Vec<u8>) -> Result<Vec<u8>, Failure>;
}

/// No wire at all.
#[derive(Debug)]
pub struct InMemory;

impl Wire for InMemory {
    fn to_host(&mut self, bytes: Vec<u8>) -> Result<Vec<u8>, Failure> {
        Ok(bytes)
    }

    fn to_rig(&mut self, bytes: Vec<u8>) -> Result<Vec<u8>, Failure> {
        Ok(bytes)
    }
}

#[cfg(unix)]
pub use pseudo_terminal::PseudoTerminal;

#[cfg(unix)]
mod pseudo_terminal {
    use super::Wire;
    use crate::Failure;
    use host_tool::port::{FromPort, Port};
    use serialport::{SerialPort, TTYPort};
    use std::io::{Read, Write};
    use std::time::Duration;

    /// Bytes that are not through by then are lost.
    const PATIENCE: Duration = Duration::from_secs(5);

    /// A pseudo-terminal: the rig at one end, a [`Port`] at the other. The world stands still while bytes are on
    /// their way, so that its time and the port's do not drift apart.
    #[derive(Debug)]
    pub struct PseudoTerminal {
        rig_end: TTYPort,
        port: Port,
    }

    impl PseudoTerminal {
        /// Makes one and opens its port.
        pub fn new() -> Result<Self, Failure> {
            let failed = |e: serialport::Error| Failure::Failed(format!("no pseudo-terminal can be made: {e}"));
            let (mut rig_end, slave) = TTYPort::pair().map_err(failed)?;
            rig_end.set_timeout(PATIENCE).map_err(failed)?;
            let path = slave.name().ok_or_else(|| Failure::Failed("the pseudo-terminal has no name".to_owned()))?;
            drop(slave);
            Ok(Self { rig_end, port: Port::open(&path, 115_200)? })
        }
    }

    impl Wire for PseudoTerminal {
        fn to_host(&mut self, bytes: Vec<u8>) -> Result<Vec<u8>, Failure> {
            self.rig_end.write_all(&bytes).map_err(lost)?;
            let mut arrived = Vec::with_capacity(bytes.len());
            while arrived.len() < bytes.len() {
                match self.port.receive(PATIENCE) {
                    Some(FromPort::Bytes(more)) => arrived.extend(more),
                    other => return Err(Failure::Failed(format!("the pseudo-terminal does not carry what the rig sends: {other:?}"))),
                }
            }
            Ok(arrived)
        }

        fn to_rig(&mut self, bytes: Vec<u8>) -> Result<Vec<u8>, Failure> {
            let mut arrived = vec![0; bytes.len()];
            if !bytes.is_empty() {
                self.port.send(bytes);
                self.rig_end.read_exact(&mut arrived).map_err(lost)?;
            }
            Ok(arrived)
        }
    }

    fn lost(error: std::io::Error) -> Failure {
        Failure::Failed(format!("the pseudo-terminal does not carry: {error}"))
    }
}
