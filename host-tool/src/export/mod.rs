//! Data out: everything that a store holds, for other programs. [`row`] is one set-up in plain figures, the same names in every format;
//! [`json`] holes and structures, by the schema in `host-tool/docs/export.schema.json`; [`csv`] a row to each set-up; [`geojson`] a feature
//! to each leg; and the rig's own slots as it wrote them.
//!
//! Names carry their units; depths count from the sheet's datum, down; offsets are ahead on line and right of somebody who looks ahead.
//! Times are RFC 3339 with the offset that the rig or the host had. What is not known is null, or an empty cell.

pub mod csv;
pub mod geojson;
pub mod json;
pub mod row;

use crate::facts::Wall;
use crate::files::{FileFault, apart, into_folder, whole_or_absent};
use crate::holes::Catalogue;
use crate::judge::limits::Governs;
use crate::limits_file::Limits;
use crate::paper::lists::Office;
use std::path::{Path, PathBuf};

/// The number of this format; it changes whenever a name changes its meaning.
pub const VERSION: u16 = 1;

/// What is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Holes and structures.
    Json,
    /// A row to each set-up.
    Csv,
    /// A feature to each leg.
    Geojson,
    /// A file of slots to each set-up, into a folder.
    Slots,
}

/// Why nothing was written; one line each.
#[derive(Debug, thiserror::Error)]
pub enum ExportFault {
    /// The file or the disk.
    #[error(transparent)]
    File(#[from] FileFault),
    /// It cannot be put into its format.
    #[error("the export could not be made ({0}); this is a fault of the program, the records are untouched")]
    NotMade(String),
}

/// What is exported: a store's contents, judged once.
#[derive(Debug)]
pub struct Exported<'a> {
    held: &'a Catalogue,
    office: Office<'a>,
    governs: Option<Governs>,
}

impl<'a> Exported<'a> {
    /// Of a catalogue.
    #[must_use]
    pub fn new(held: &'a Catalogue) -> Self {
        Self { held, office: Office::new(held.works(None)), governs: held.limits.as_ref().and_then(Limits::governs) }
    }

    /// The latest time in the records and entries.
    fn up_to(&self) -> Option<Wall> {
        let recorded = self.held.holes.iter().filter_map(|hole| crate::day_work::latest(&hole.setup));
        recorded.chain(self.held.entries.iter().map(|(_, entry)| entry.at)).max()
    }

    /// Whether anything in it is of a simulated rig.
    fn is_simulated(&self) -> bool {
        self.held.holes.iter().filter_map(|hole| hole.setup.identity.as_ref()).any(|identity| identity.simulated)
    }

    /// Writes it: a file, whole or absent; of slots, files into a folder. Returns the files.
    ///
    /// # Errors
    /// See [`ExportFault`].
    pub fn write(&self, format: Format, out: &Path) -> Result<Vec<PathBuf>, ExportFault> {
        if format == Format::Slots {
            return Ok(into_folder(out, &self.slots())?);
        }
        Ok(vec![whole_or_absent(out, &self.bytes(format)?)?])
    }

    /// What stands in the file; of slots, those of all set-ups one after the other.
    ///
    /// # Errors
    /// See [`ExportFault`].
    pub fn bytes(&self, format: Format) -> Result<Vec<u8>, ExportFault> {
        let made = match format {
            Format::Json => json::whole(self),
            Format::Csv => csv::whole(self),
            Format::Geojson => geojson::whole(self),
            Format::Slots => Ok(self.slots().into_iter().flat_map(|(_, bytes)| bytes).collect()),
        };
        made.map_err(ExportFault::NotMade)
    }

    /// The slots of each set-up, 32 bytes each in rising sequence, as the rig wrote them: `shared-protocol/WIRE.md` says what they are.
    #[must_use]
    pub fn slots(&self) -> Vec<(String, Vec<u8>)> {
        let holes = &self.held.holes;
        let names = apart(holes.iter().map(|hole| hole.handle.clone()));
        let bytes = |hole: &crate::holes::Hole| hole.setup.slots.iter().flat_map(|slot| *slot.bytes()).collect();
        names.into_iter().zip(holes).map(|(name, hole)| (format!("{name}.slots"), bytes(hole))).collect()
    }
}
