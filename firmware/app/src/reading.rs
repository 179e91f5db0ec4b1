//! What sensors say: a fault is a reading, not an error, and travels all the way to the paper.

use shared_protocol::state::{SensorFault, SpecificForce};

/// One quantity as a sensor last gave it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reading<T> {
    /// A sound figure.
    Good(T),
    /// None this time, and not yet long enough to call it a fault.
    Stale,
    /// None, for this reason.
    Fault(SensorFault),
}

/// What one round of the sensor line brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sensed {
    /// The depth encoder's count.
    pub count: Reading<i32>,
    /// The tilt sensor's specific force, in the sensor's own mounting turned to rig axes by the register map.
    pub force: Reading<SpecificForce>,
    /// The tilt sensor's temperature, hundredths of a degree Celsius; `None` where it gave none.
    pub temperature: Option<i16>,
}
