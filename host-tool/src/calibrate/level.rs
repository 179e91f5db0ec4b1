//! Tool string against mast, from a level held on the tool string at four quarter turns of it.
//!
//! A bent string and a crooked seat of the level turn with the tool, so the mean of two readings half a turn apart is
//! free of them. Four quarter turns give that mean twice, and what both disagree is the residual.

use super::in_force::Correction;
use super::{Attitude, Found, Pair, Refused, by_disagreement, mm_m};
use shared_protocol::state::CalibrationItem;

/// The most disagreement between the two means, µm/m.
const RESIDUAL_MOST: f64 = 3_000.0;
/// The most that a tool string hangs off its mast, µm/m.
const LEVEL_MOST: f64 = 50_000.0;

/// One quarter turn: the sensor's steady reading, and the level's at that time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quarter {
    /// The mast by its sensor.
    pub mast: Attitude,
    /// Lean of the tool string by the level, rig axes, µm/m.
    pub tool: Pair,
}

/// The tool string against its mast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToolLevel {
    /// Lean of the tool string less that of the mast, µm/m.
    pub lean: Pair,
    /// What turns with the tool: half of what opposite readings differ, µm/m.
    pub run_out: f64,
    /// Standard uncertainty on each axis, µm/m.
    pub standard: f64,
    /// What both pairs of quarter turns disagree, the larger of both axes, µm/m.
    pub residual: f64,
}

/// Finds it from four quarter turns, each 90° on from the one before. `correction` makes the mast's lean of what its
/// sensor reads; `within` is what the level itself may be wrong by, half-width, µm/m.
///
/// Standard uncertainty, after JCGM 100:2008, 5.1.2: u² = Σuᵢ²/16 (noise of the sensor) + w²/3/4 (reading the level) +
/// w²/3 (the level's own zero, the same in all four). Where the two pairs disagree by more than the first two make it,
/// half of that instead, both axes pooled (4.2.3). The uncertainty of the sensor's zero is not in it: as long as that
/// zero is in force, its error is taken off here and put on again when the lean is measured.
///
/// # Errors
/// See [`Refused`].
pub fn find(quarters: &[Quarter; 4], correction: &Correction, within: f64) -> Result<ToolLevel, Refused> {
    let apart = quarters.each_ref().map(|q| q.tool.minus(correction.mast(&q.mast)));
    let [at_0, at_90, at_180, at_270] = apart;
    let (first, second) = (at_0.middle(at_180), at_90.middle(at_270));
    let run_out = at_0.minus(at_180).size().max(at_90.minus(at_270).size()) / 2.0;
    let noise = quarters.iter().map(|q| q.mast.standard.powi(2)).sum::<f64>() / 16.0;
    let repeated = (noise + within.powi(2) / 12.0).sqrt().max(by_disagreement(first, second));
    let level = ToolLevel {
        lean: first.middle(second),
        run_out,
        standard: repeated.hypot(within / 3.0_f64.sqrt()),
        residual: first.minus(second).largest(),
    };
    plausible(&level).map_or(Ok(level), Err)
}

fn plausible(level: &ToolLevel) -> Option<Refused> {
    if level.residual > RESIDUAL_MOST {
        let why =
            format!("the two pairs of quarter turns differ by {:.1} mm/m, {:.1} mm/m at most", level.residual / 1e3, RESIDUAL_MOST / 1e3);
        return Some(Refused::new(
            why,
            "turn the tool by exact quarters, hold the level on one clean place, let nothing push, and begin again",
        ));
    }
    if level.lean.largest() > LEVEL_MOST {
        let why = format!("the tool string would lean {} off its mast", mm_m(level.lean.largest()));
        return Some(Refused::new(why, "check the signs of the level's readings and that the string hangs free, then begin again"));
    }
    None
}

impl ToolLevel {
    /// As a finding, in µm/m.
    #[must_use]
    pub fn found(&self) -> Found {
        let Pair { forward, right } = self.lean;
        let words = vec![
            format!("tool string less mast: forward {}, right {}", mm_m(forward), mm_m(right)),
            format!("what turns with the tool and cancels: {}", mm_m(self.run_out)),
        ];
        Found::new(CalibrationItem::ToolLevel, &[forward, right], self.standard, self.residual, words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MAST: Pair = Pair::new(6_000.0, -2_000.0);

    /// A string that hangs off its mast, bent so that a level on it reads the bend as it comes round.
    fn quarters(off: Pair, bend: Pair) -> [Quarter; 4] {
        let mast = Attitude { level: MAST.plus(Pair::new(1_000.0, 0.0)), up: 1e6, standard: 40.0, temperature: None };
        let turned = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)].map(|(cos, sin)| bend.turned(cos, sin));
        turned.map(|bend| Quarter { mast, tool: MAST.plus(off).plus(bend) })
    }

    fn correction() -> Correction {
        Correction { zero: Pair::new(1_000.0, 0.0), ..Correction::NONE }
    }

    /// The mast's lean is a sine: 6,000 µg over a vector 20 ppm longer than 1 g.
    #[test]
    fn run_out_cancels() {
        let level = find(&quarters(Pair::new(1_500.0, -400.0), Pair::new(3_000.0, 1_000.0)), &correction(), 500.0).unwrap();
        assert!(level.lean.minus(Pair::new(1_500.0, -400.0)).size() < 0.5 && level.residual < 0.5, "{level:?}");
        assert!((level.run_out - 3_000.0_f64.hypot(1_000.0)).abs() < 0.5, "{level:?}");
        assert_eq!(level.found().values, [1_500, -400]);
    }

    /// By the stated formula: 4·40²/16 = 20², 500²/12 = 144.3², 500²/3 = 288.7²: 323.4.
    #[test]
    fn its_uncertainty_and_residual_are_the_stated_ones() {
        let mut all = quarters(Pair::default(), Pair::default());
        assert!((find(&all, &correction(), 500.0).unwrap().standard - 323.4).abs() < 0.1);
        all[0].tool.right += 2_000.0; // that pair's mean is off by 1,000: pooled with nothing forward, 354
        let level = find(&all, &correction(), 500.0).unwrap();
        assert!((level.residual - 1_000.0).abs() < 0.5 && (level.standard - 353.6_f64.hypot(288.7)).abs() < 0.5, "{level:?}");
    }

    #[test]
    fn what_cannot_be_right_is_refused() {
        let mut crooked = quarters(Pair::default(), Pair::default());
        crooked[3].tool.forward += 7_000.0;
        let said = find(&crooked, &correction(), 500.0).unwrap_err().to_string();
        assert!(said.starts_with("the two pairs of quarter turns differ by 3.5 mm/m, 3.0 mm/m at most: turn the tool"), "{said}");
        let said = find(&quarters(Pair::new(60_000.0, 0.0), Pair::default()), &correction(), 500.0).unwrap_err().to_string();
        assert!(said.starts_with("the tool string would lean +60.00 mm/m off its mast: check the signs"), "{said}");
    }
}
