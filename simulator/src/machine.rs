//! What the rig's firmware runs on, as the bench sees it: bytes in, bytes out, one turn at a time.

/// What a rig sent in one turn.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sent {
    /// To its sensors.
    pub to_sensors: Vec<u8>,
    /// To the host.
    pub to_host: Vec<u8>,
}

/// A machine that runs the firmware. The same bytes at the same times make the same slots on each.
pub trait Machine {
    /// `ms` milliseconds have passed, 1 to 250, and these bytes have arrived: one turn of the main loop.
    ///
    /// # Errors
    /// When the machine does not do its part.
    fn turn(&mut self, ms: u8, from_sensors: &[u8], from_host: &[u8]) -> Result<Sent, MachineFault>;

    /// Power fails now, in whatever it is doing.
    ///
    /// # Errors
    /// As [`Machine::turn`].
    fn cut_power(&mut self) -> Result<(), MachineFault>;

    /// Power comes back: it starts on the memory that it left.
    ///
    /// # Errors
    /// As [`Machine::turn`].
    fn restore_power(&mut self) -> Result<(), MachineFault>;

    /// The bytes of its non-volatile memory.
    ///
    /// # Errors
    /// As [`Machine::turn`], and where the machine does not show its memory.
    fn memory(&self) -> Result<Vec<u8>, MachineFault>;
}

impl<M: Machine + ?Sized> Machine for Box<M> {
    fn turn(&mut self, ms: u8, from_sensors: &[u8], from_host: &[u8]) -> Result<Sent, MachineFault> {
        (**self).turn(ms, from_sensors, from_host)
    }
    fn cut_power(&mut self) -> Result<(), MachineFault> {
        (**self).cut_power()
    }
    fn restore_power(&mut self) -> Result<(), MachineFault> {
        (**self).restore_power()
    }
    fn memory(&self) -> Result<Vec<u8>, MachineFault> {
        (**self).memory()
    }
}

/// Why a machine does not do its part, in one line that says what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MachineFault(pub String);

impl std::fmt::Display for MachineFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for MachineFault {}
