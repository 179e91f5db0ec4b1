//! Paper: as-drilled certificates of holes and of structures.
//!
//! [`layout`] knows letters, pages and the archival file, and nothing of holes. [`hole`] is a hole as paper sees
//! it; [`words`], [`worth`] and [`told`] write figures and entries in the sheet's units. [`certificate`] puts together, on the
//! first page, [`drawing`], [`answer`] with [`limits`], and [`review`]; on the second [`figures`] against the plan, [`pole`], [`site`],
//! and [`identity`] with [`statements`]; in the annex [`uncertainty`], [`by_hand`] and every list. [`structure`] sets a
//! structure's holes side by side; [`attachment`], with [`attached`], is the record to read by machine. [`lists`] are hand-over,
//! day sheet, open holes and variations. Metadata and dates come from the
//! record, never from the clock, so that the same record gives the same bytes.

pub mod answer;
pub mod attached;
pub mod attachment;
pub mod by_hand;
pub mod certificate;
pub mod drawing;
pub mod figures;
pub mod going;
pub mod hole;
pub mod identity;
pub mod layout;
pub mod levels;
pub mod limits;
pub mod lists;
pub mod passes;
pub mod pole;
pub mod review;
pub mod scales;
pub mod site;
pub mod statements;
pub mod structure;
pub mod told;
pub mod uncertainty;
pub mod words;
pub mod worth;

pub use certificate::hole_certificate;
pub use hole::Hole;
pub use layout::PageSize;
pub use layout::pdf::Standard;
pub use structure::structure_certificate;

use hole::Reality;
use shared_protocol::record::Plan;
use shared_protocol::state::SheetUnits;

/// The number of this layout; it changes whenever the same record would print otherwise.
pub const LAYOUT: u16 = 3;

/// The cautions that every page carries.
const CAUTION: &str = "Open hole: cover it, guard it or attend it. Local codes and licensed people decide; this paper does not.";

/// How to print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Printing {
    /// Page size.
    pub size: PageSize,
    /// Standard that the file keeps.
    pub standard: Standard,
}

impl Printing {
    /// The file for keeping, on this size of page.
    #[must_use]
    pub const fn archive(size: PageSize) -> Self {
        Self { size, standard: Standard::Archive }
    }
}

/// Why there is no paper.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PaperError {
    /// A structure of no holes.
    #[error("there is no hole to print")]
    NoHole,
    /// The file does not keep its standard.
    #[error("the paper could not be made ({0}); this is a fault of the program, the record is untouched")]
    NotWritten(String),
}

/// Page size of the country of a sheet's units.
#[must_use]
pub fn page(plan: &Plan) -> PageSize {
    page_of(plan.units)
}

/// The same by the units as a plan has them.
#[must_use]
pub fn page_of(units: u8) -> PageSize {
    match SheetUnits::from_raw(units) {
        Some(SheetUnits::FeetInches) => PageSize::Letter,
        Some(SheetUnits::Metric) | None => PageSize::A4,
    }
}

/// The program's name and version.
pub(crate) const fn program() -> &'static str {
    concat!("Borewitness ", env!("CARGO_PKG_VERSION"))
}

/// What every page says across its top where no real hole was drilled, or where nobody can tell.
fn warning(reality: Reality) -> &'static str {
    match reality {
        Reality::Drilled => "",
        Reality::Simulated => "SIMULATED – no hole was drilled",
        Reality::Unknown => "RIG NOT IDENTIFIED – not known whether a hole was drilled",
    }
}
