//! Line axes, and the turn from rig axes into them.

use shared_protocol::units::CentiDegrees;

/// A pair in line axes, seen looking towards higher structure numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineAxes {
    /// Towards higher structure numbers.
    pub ahead: f64,
    /// To the right of someone looking ahead.
    pub right: f64,
}

impl LineAxes {
    /// Its size whichever way it goes.
    #[must_use]
    pub fn magnitude(self) -> f64 {
        self.ahead.hypot(self.right)
    }

    /// Each component times `factor`.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self { ahead: self.ahead * factor, right: self.right * factor }
    }

    /// Component by component.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self { ahead: self.ahead + other.ahead, right: self.right + other.right }
    }

    /// Component by component.
    #[must_use]
    pub fn minus(self, other: Self) -> Self {
        self.plus(other.times(-1.0))
    }
}

/// Turns rig axes into line axes by the heading: clockwise from ahead on line to the rig's forward direction.
#[must_use]
pub fn to_line(forward: f64, right: f64, heading: CentiDegrees) -> LineAxes {
    let (sin, cos) = (f64::from(heading.0) / 100.0).to_radians().sin_cos();
    LineAxes { ahead: forward * cos - right * sin, right: forward * sin + right * cos }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sign vector of the design: +12 mm/m in each of the rig's directions, at each of four headings.
    #[test]
    fn rig_axes_turn_into_line_axes_for_four_directions_and_headings() {
        // heading: forward is ahead, right, back, left; (forward, right) → (ahead, right), by geometry
        let rows = [
            (0, [(12.0, 0.0), (0.0, 12.0), (-12.0, 0.0), (0.0, -12.0)]),
            (9_000, [(0.0, 12.0), (-12.0, 0.0), (0.0, -12.0), (12.0, 0.0)]),
            (18_000, [(-12.0, 0.0), (0.0, -12.0), (12.0, 0.0), (0.0, 12.0)]),
            (27_000, [(0.0, -12.0), (12.0, 0.0), (0.0, 12.0), (-12.0, 0.0)]),
        ];
        let directions = [(12.0, 0.0), (0.0, 12.0), (-12.0, 0.0), (0.0, -12.0)];
        for (heading, want) in rows {
            for ((forward, right), (ahead, to_right)) in directions.into_iter().zip(want) {
                let got = to_line(forward, right, CentiDegrees(heading));
                assert!((got.ahead - ahead).abs() < 1e-9 && (got.right - to_right).abs() < 1e-9, "{heading} {forward} {right}: {got:?}");
            }
        }
    }
}
