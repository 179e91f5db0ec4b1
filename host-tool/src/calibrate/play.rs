//! Play of the tool in its guide, from pushing the tool string to its four sides with a level held on it.

use super::{Found, Refused};
use shared_protocol::state::CalibrationItem;

/// The most play that a guide has before it is worn out, µm/m.
const PLAY_MOST: f64 = 50_000.0;
/// How far two rounds may differ: this, or a fifth of the play where that is more, µm/m.
const RESIDUAL_MOST: f64 = 1_000.0;

/// What the level reads with the string pushed to each side, µm/m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sides {
    /// Lean forward with the string pushed forward, and pushed back.
    pub forward_and_back: [f64; 2],
    /// Lean to the right with the string pushed to the right, and to the left.
    pub right_and_left: [f64; 2],
}

/// The play of a guide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Play {
    /// Half of the range of lean that it allows, in the worse direction, µm/m.
    pub half: f64,
    /// Standard uncertainty, µm/m.
    pub standard: f64,
    /// What two rounds differ, µm/m.
    pub residual: f64,
}

/// Finds the play from two rounds. `within` is what the level may be read wrong by, half-width, µm/m; its zero cancels.
///
/// Half-range: (a − b)/2 for each direction, the mean of both rounds, the larger direction. Standard uncertainty, after
/// JCGM 100:2008, 5.1.2: u² = w²/3/4 (four readings, each halved twice); where the rounds differ by more, half of that
/// (4.2.3).
///
/// # Errors
/// See [`Refused`].
pub fn find(rounds: &[Sides; 2], within: f64) -> Result<Play, Refused> {
    let half = |ends: [f64; 2]| (ends[0] - ends[1]) / 2.0;
    let [first, second] = rounds.map(|r| [half(r.forward_and_back), half(r.right_and_left)]);
    for (way, play) in [("forward and back", first[0].min(second[0])), ("right and left", first[1].min(second[1]))] {
        if play < -within {
            let why = format!("pushed {way}, the string leans the wrong way by {:.1} mm/m", -play / 1e3);
            return Err(Refused::new(why, "check the signs: a lean is + where the lower end goes, and begin again"));
        }
    }
    let both = [0, 1].map(|axis| f64::midpoint(first[axis], second[axis]).max(0.0));
    let residual = (first[0] - second[0]).abs().max((first[1] - second[1]).abs());
    let play = Play { half: both[0].max(both[1]), standard: (within / 12.0_f64.sqrt()).max(residual / 2.0), residual };
    plausible(&play).map_or(Ok(play), Err)
}

fn plausible(play: &Play) -> Option<Refused> {
    if play.residual > RESIDUAL_MOST.max(0.2 * play.half) {
        let why = format!("two rounds differ by {:.1} mm/m", play.residual / 1e3);
        return Some(Refused::new(why, "push as hard each time and hold the level on the same place, then begin again"));
    }
    if play.half > PLAY_MOST {
        let why = format!("the guide would have ±{:.0} mm/m of play", play.half / 1e3);
        return Some(Refused::new(why, "check the readings; if they are right, have the guide mended before drilling"));
    }
    None
}

impl Play {
    /// As a finding, in µm/m.
    #[must_use]
    pub fn found(&self) -> Found {
        let words = vec![format!("play in the guide: ±{:.1} mm/m", self.half / 1e3)];
        Found::new(CalibrationItem::GuidePlay, &[self.half], self.standard, self.residual, words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sides(forward: f64, back: f64, right: f64, left: f64) -> Sides {
        Sides { forward_and_back: [forward, back], right_and_left: [right, left] }
    }

    /// A guide that lets the string lean from −3 to +9 mm/m forward and from −4 to +4 to the right: ±6.
    #[test]
    fn it_is_half_of_the_range_in_the_worse_direction() {
        let rounds = [sides(9_000.0, -3_000.0, 4_000.0, -4_000.0), sides(9_400.0, -3_000.0, 4_000.0, -4_000.0)];
        let play = find(&rounds, 500.0).unwrap();
        assert_eq!((play.half, play.residual), (6_100.0, 200.0));
        assert!((play.standard - 144.3).abs() < 0.1, "500/√12: {play:?}");
        assert_eq!(play.found().values, [6_100]);
    }

    /// 10 mm over a metre, the design's figure for a guide that nobody measured, comes out as ±10 mm/m.
    #[test]
    fn ten_millimetres_over_a_metre() {
        let round = sides(10_000.0, -10_000.0, 10_000.0, -10_000.0);
        assert_eq!(find(&[round, round], 100.0).unwrap().found().values, [10_000]);
    }

    #[test]
    fn a_guide_without_play_has_none() {
        let round = sides(2_000.0, 2_100.0, -300.0, -300.0);
        assert_eq!(find(&[round, round], 100.0).unwrap().half, 0.0);
    }

    #[test]
    fn what_cannot_be_right_is_refused() {
        let good = sides(9_000.0, -3_000.0, 4_000.0, -4_000.0);
        let rows = [
            (
                find(&[good, sides(9_000.0, -3_000.0, -4_000.0, 4_000.0)], 500.0),
                "pushed right and left, the string leans the wrong way by 4.0",
            ),
            (find(&[good, sides(12_000.0, -3_000.0, 4_000.0, -4_000.0)], 500.0), "two rounds differ by 1.5 mm/m: push"),
            (find(&[sides(70_000.0, -40_000.0, 0.0, 0.0); 2], 500.0), "the guide would have ±55 mm/m of play: "),
        ];
        for (refused, want) in rows {
            let said = refused.unwrap_err().to_string();
            assert!(said.starts_with(want) && !said.contains('\n'), "{said}");
        }
    }
}
