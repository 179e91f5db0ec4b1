//! Poses for calibrating a bench worked by hand: what holds the sensor, the string or the rope, and what a level or a
//! tape says meanwhile.

/// To which side the tool string is pushed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Away from the cab.
    Forward,
    /// Towards it.
    Back,
    /// To the operator's right.
    Right,
    /// To his left.
    Left,
}

/// A pose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pose {
    /// None: everything is where it works.
    Work,
    /// The tilt sensor on a plate, turned on clockwise from above by so many quarters.
    Plate {
        /// Quarters.
        quarter: u8,
    },
    /// The mast held still.
    Mast,
    /// The mast held still, the tool string hanging free with a level on it, turned on by so many quarters.
    String {
        /// Quarters.
        quarter: u8,
    },
    /// The mast held still, the tool string pushed to a side with a level on it.
    Pushed(Side),
    /// The tip free of hub and ground, on its way to this length below the hub, taped, mm.
    Taped {
        /// Length.
        mm: f64,
    },
}

/// What the world is held by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// Nothing.
    Free,
    /// The sensor lies on a plate and feels this force, g, in its own axes.
    Plate([f64; 3]),
    /// The mast stands still.
    Mast,
    /// The tip is beside hub and hole, and goes down as far as it is let.
    Beside,
}

/// What is read by hand in a pose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ByHand {
    /// Nothing.
    Nothing,
    /// The level on the tool string, mm/m: forward, right.
    Level([f64; 2]),
    /// The tape when the tip has come to rest, mm below the hub.
    Tape(f64),
}

impl std::fmt::Display for ByHand {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Nothing => f.write_str("nothing to read by hand"),
            Self::Level([forward, right]) => write!(f, "the level says forward {forward:+.1} right {right:+.1} mm/m"),
            Self::Tape(mm) => write!(f, "the tape says {mm:.0} mm below the hub when the tip rests"),
        }
    }
}
