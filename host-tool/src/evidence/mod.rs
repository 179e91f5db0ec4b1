//! What a paper rests on, in full: the slots of a structure's set-ups, what people entered about its holes, and the limits
//! that it was judged by. A paper is printed from this and nothing else, carries it, and is checked by printing it again.
//!
//! [`collect`] takes it out of a store; [`bundle`] writes it as files and reads it back, however hostile they are;
//! [`signing`] is what the host signs of it; [`short`] says a set-up in so few words that a reviewer's signature under them fits a
//! QR code; [`review`] who signed which words; [`printed`] makes the paper and [`verify`] checks one; [`keys`] are the keys that somebody
//! trusts, and [`reviewer`] is one of them under its passphrase; [`scan`] reads a photograph of a print.

pub mod bundle;
pub mod collect;
pub mod keys;
mod picture;
pub mod printed;
pub mod review;
pub mod reviewer;
pub mod scan;
pub mod short;
pub mod signing;
pub mod verify;

use crate::entry::{Entry, Link, Place, SetUpName};
use crate::facts::Alone;
use crate::holes::{Hole, Sayings, handles};
use crate::limits_file::Limits;
use crate::planned::{Plans, plans};
use crate::readiness::{Structure, Works, structures};
use crate::session::Stream;
use crate::store::measurement_of;
use crate::structure::volume::{SOILS, Soil};

/// A set-up as a rig recorded it.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    /// Whose records.
    pub stream: Stream,
    /// Its slots and what they lean on.
    pub slots: Alone,
    /// Measurements by hand from before entries stood in a chain.
    pub unchained: Vec<Entry>,
}

/// An entry in its chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Chained {
    /// The sum of the entry before it; zeros for a host's first.
    pub before: [u8; 32],
    /// The entry.
    pub link: Link,
}

/// All that is known of one structure.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// Line.
    pub line: String,
    /// Structure on the line.
    pub structure: String,
    /// Its set-ups, by rig, epoch and sequence.
    pub set_ups: Vec<Recorded>,
    /// What people entered about its holes, by host and number.
    pub entries: Vec<Chained>,
    /// The file of limits that it is judged by, beside the sheet's.
    pub limits: Option<String>,
    /// The ground's name, for what its volume becomes.
    pub soil: Option<String>,
}

/// Why evidence cannot be read; one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EvidenceFault {
    /// Slots that are not those of one set-up.
    #[error("the slots of set-up {opened} of rig {rig} are not those of one set-up, in order")]
    SetUp {
        /// The rig.
        rig: String,
        /// Sequence of the first slot.
        opened: u32,
    },
    /// A limits file that cannot be read.
    #[error("the limits cannot be read: {0}")]
    Limits(String),
    /// A ground that is not tabulated.
    #[error("the ground \"{0}\" is none that is tabulated")]
    Soil(String),
}

/// Evidence read and judged.
#[derive(Debug)]
pub struct Judged {
    /// Its set-ups.
    pub holes: Vec<Hole>,
    /// Everything that was entered and can be read.
    pub entries: Vec<(Place, Entry)>,
    plans: Plans,
    limits: Option<Limits>,
    soil: Option<Soil>,
}

impl Evidence {
    /// Reads and judges it.
    ///
    /// # Errors
    /// See [`EvidenceFault`].
    pub fn judged(&self) -> Result<Judged, EvidenceFault> {
        let limits = self.limits.as_deref().map(Limits::read).transpose().map_err(|e| EvidenceFault::Limits(e.to_string()))?;
        let soil = self.soil.as_deref().map(soil).transpose()?;
        let entries: Vec<(Place, Entry)> = self.entries.iter().filter_map(|e| Some((e.link.place, e.link.entry()?))).collect();
        let sayings = Sayings::of(entries.iter().map(|(place, entry)| (*place, entry)));
        let mut holes = Vec::new();
        for recorded in &self.set_ups {
            let fault = || EvidenceFault::SetUp { rig: recorded.stream.rig.clone(), opened: recorded.opened() };
            let setup = recorded.slots.read().ok_or_else(fault)?;
            let unchained = recorded.unchained.iter().filter_map(measurement_of).collect();
            holes.push(Hole::judged(recorded.stream.clone(), setup, unchained, &sayings, limits.as_ref()));
        }
        let given = handles(holes.iter().map(|hole: &Hole| (hole.plan(), hole.setup.opened.sequence, &hole.stream)));
        holes.iter_mut().zip(given).for_each(|(hole, given)| hole.handle = given.handle);
        let plans = plans(entries.iter().map(|(place, entry)| (*place, entry)));
        Ok(Judged { holes, entries, plans, limits, soil })
    }
}

fn soil(name: &str) -> Result<Soil, EvidenceFault> {
    SOILS.into_iter().find(|soil| soil.name == name).ok_or_else(|| EvidenceFault::Soil(name.to_owned()))
}

impl Recorded {
    /// Sequence of the set-up's first slot; 0 where there is none.
    #[must_use]
    pub fn opened(&self) -> u32 {
        self.slots.own.first().map_or(0, shared_protocol::slot::Slot::sequence)
    }

    /// What entries call it.
    #[must_use]
    pub fn name(&self) -> SetUpName {
        SetUpName::new(&self.stream, self.opened())
    }
}

impl Judged {
    /// The structures that it is about: one, unless the evidence is not what it says.
    #[must_use]
    pub fn structures(&self) -> Vec<Structure<'_>> {
        let works = Works { holes: &self.holes, plans: &self.plans, entries: &self.entries, limits: self.limits.as_ref(), soil: self.soil };
        structures(&works)
    }
}
