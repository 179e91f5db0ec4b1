//! A tool of the rig's table: its length from pin to cutting edge, taped twice, and the diameter that it cuts.

use super::{Found, Refused};
use shared_protocol::state::CalibrationItem;

/// Lengths and diameters that a tool can have, µm.
const LENGTH: std::ops::RangeInclusive<f64> = 100_000.0..=10_000_000.0;
const DIAMETER: std::ops::RangeInclusive<f64> = 100_000.0..=5_000_000.0;
/// Reading a tape at both ends, standard deviation, µm.
const READING: f64 = 1_500.0;
/// How much two tapings may differ, µm.
const RESIDUAL_MOST: f64 = 5_000.0;

/// A tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tool {
    /// Its number, as people say it.
    pub number: u8,
    /// Pin to cutting edge, µm.
    pub length: f64,
    /// Diameter that it cuts, µm.
    pub diameter: f64,
    /// Standard uncertainty of the length, µm.
    pub standard: f64,
    /// What two tapings differ, µm.
    pub residual: f64,
}

/// Takes the mean of two tapings. Standard uncertainty, after JCGM 100:2008, 4.2.3 and 5.1.2: 1.5 mm/√2, or half of what
/// they differ where that is more.
///
/// # Errors
/// See [`Refused`].
pub fn find(number: u8, taped: [f64; 2], diameter: f64) -> Result<Tool, Refused> {
    let residual = (taped[0] - taped[1]).abs();
    let length = f64::midpoint(taped[0], taped[1]);
    let again = |why: String| Err(Refused::new(why, "measure it again"));
    if number == 0 {
        return Err(Refused::new("tools count from 1", "give the tool the number that people call it by"));
    }
    if !LENGTH.contains(&length) {
        return again(format!("a tool {:.2} m long is none", length / 1e6));
    }
    if !DIAMETER.contains(&diameter) {
        return again(format!("a tool that cuts {:.0} mm is none", diameter / 1e3));
    }
    if residual > RESIDUAL_MOST {
        return again(format!("its length taped twice differs by {:.0} mm, {:.0} mm at most", residual / 1e3, RESIDUAL_MOST / 1e3));
    }
    Ok(Tool { number, length, diameter, standard: (READING / 2.0_f64.sqrt()).max(residual / 2.0), residual })
}

impl Tool {
    /// As a finding: number, length and diameter, µm.
    #[must_use]
    pub fn found(&self) -> Found {
        let Self { number, length, diameter, .. } = *self;
        let words = vec![format!("tool {number}: {:.0} mm from pin to cutting edge, cuts {:.0} mm", length / 1e3, diameter / 1e3)];
        Found::new(CalibrationItem::Tool, &[f64::from(number), length, diameter], self.standard, self.residual, words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_tapings_make_a_length() {
        let tool = find(2, [1_302_000.0, 1_298_000.0], 760_000.0).unwrap();
        assert_eq!((&tool.found().values[..], tool.residual, tool.standard), (&[2, 1_300_000, 760_000][..], 4_000.0, 2_000.0));
        assert!((find(2, [1_300_000.0; 2], 760_000.0).unwrap().standard - 1_060.7).abs() < 0.1);
    }

    #[test]
    fn what_cannot_be_right_is_refused() {
        let rows = [
            (find(0, [1e6; 2], 1e6), "tools count from 1: "),
            (find(1, [5e4; 2], 1e6), "a tool 0.05 m long is none: "),
            (find(1, [1e6; 2], 9e6), "a tool that cuts 9000 mm is none: "),
            (find(1, [1_000_000.0, 1_006_000.0], 1e6), "its length taped twice differs by 6 mm, 5 mm at most: measure it again"),
        ];
        for (refused, want) in rows {
            let said = refused.unwrap_err().to_string();
            assert!(said.starts_with(want) && !said.contains('\n'), "{said}");
        }
    }
}
