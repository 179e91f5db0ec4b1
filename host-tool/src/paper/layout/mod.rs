//! Laying out paper: letters into lines, lines and tables into pages, pages into an archival file.
//!
//! Nothing here knows about holes. Lengths are PostScript points (1/72 in), x to the right, y downwards from
//! the page's top left corner.

pub mod flow;
pub mod letters;
pub mod marks;
pub mod pdf;
pub mod table;

/// The page's size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PageSize {
    /// US Letter, 8.5 by 11 in.
    Letter,
    /// ISO 216 A4, 210 by 297 mm.
    A4,
}

/// Points in a metre of paper.
pub const POINTS_PER_METRE: f64 = 72.0 / 0.0254;

impl PageSize {
    /// Width and height, points.
    #[must_use]
    pub fn points(self) -> (f64, f64) {
        match self {
            Self::Letter => (612.0, 792.0),
            Self::A4 => (0.210 * POINTS_PER_METRE, 0.297 * POINTS_PER_METRE),
        }
    }
}

/// The only way from our arithmetic to the file's single precision.
#[allow(clippy::cast_possible_truncation)] // rounding is meant; out of range becomes infinite and is refused further on
pub(crate) fn single(value: f64) -> f32 {
    value as f32
}
