//! A function that is known at equal steps, and the least place at which one that grows reaches a share.

/// A reach is found to this part of the furthest one, in so many turns at most.
const NEAR: f64 = 1e-6;
const TURNS_MAX: usize = 60;
/// Between so many standard deviations what holds most is looked for first.
const FIRST: [f64; 2] = [1.5, 2.6];

/// A function by its values at equal steps; between them by the cubics of Catmull and Rom, which go through all of them.
#[derive(Clone, Debug)]
pub struct Curve {
    start: f64,
    steps_per_unit: f64,
    /// Of each step its cubic: its value, and what half the part of the step, its square and its cube are taken by.
    cubics: Vec<[f64; 4]>,
    /// What it is beyond them.
    last: f64,
}

impl Curve {
    /// From `start` to `end` in so many steps; `value` is asked one step before and two after as well.
    #[must_use]
    pub fn of(start: f64, end: f64, steps: u16, value: impl Fn(f64) -> f64) -> Self {
        let step = (end - start) / f64::from(steps);
        let at = |n: u32| value(start + step * (f64::from(n) - 1.0));
        let values: Vec<f64> = (0..u32::from(steps) + 4).map(at).collect();
        let cubic = |&[before, low, high, after]: &[f64; 4]| {
            [low, high - before, 2.0 * before - 5.0 * low + 4.0 * high - after, 3.0 * (low - high) + after - before]
        };
        let cubics = values.windows(4).filter_map(<[f64]>::first_chunk).map(cubic).collect();
        Self { start, steps_per_unit: 1.0 / step, cubics, last: values.last().copied().unwrap_or_default() }
    }

    /// The value at a place; before the start and beyond the end it is what it is there.
    #[must_use]
    pub fn at(&self, place: f64) -> f64 {
        let steps = ((place - self.start) * self.steps_per_unit).max(0.0);
        let whole = floor(steps);
        let Some([low, slope, bend, twist]) = self.cubics.get(usize::from(whole)) else { return self.last };
        let part = steps - f64::from(whole);
        low + 0.5 * part * (slope + part * (bend + part * twist))
    }
}

/// The least reach up to `furthest` that holds a share, of what grows with it from nought to all and is about as wide as `standard`.
/// By chords, and by halves where those do not bring the ends together.
pub fn least(share: f64, standard: f64, furthest: f64, held: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = ((0.0, -share), (furthest, 1.0 - share));
    let mut stayed = 0.0; // −1 where the lower end stayed the last time, 1 where the higher one did
    for turn in 0..TURNS_MAX {
        if high.0 - low.0 <= furthest * NEAR {
            break;
        }
        let chord = low.0 - low.1 * (high.0 - low.0) / (high.1 - low.1);
        let (at, by_chord) = match FIRST.get(turn).map(|times| times * standard).filter(|at| *at > low.0 && *at < high.0) {
            Some(first) => (first, false),
            None if turn % 4 == 3 => (f64::midpoint(low.0, high.0), false),
            None => (chord, true),
        };
        let there = held(at) - share;
        let stays = if there < 0.0 { 1.0 } else { -1.0 };
        // Illinois: an end that stays a second time counts for half, so that the next chord comes to its side
        let weight = if stays == stayed && by_chord { 0.5 } else { 1.0 };
        (low, high) = if there < 0.0 { ((at, there), (high.0, high.1 * weight)) } else { ((low.0, low.1 * weight), (at, there)) };
        stayed = stays;
    }
    high.0
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a float to integer cast saturates
fn floor(x: f64) -> u16 {
    x as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cubic of Catmull and Rom is a parabola where what it goes through is one.
    #[test]
    fn a_curve_goes_through_its_values_and_a_parabola_between_them() {
        let curve = Curve::of(-1.0, 3.0, 8, |x| 2.0 * x * x - x);
        for place in [-1.0, -0.9, 0.0, 0.26, 1.5, 2.99, 3.0] {
            assert!((curve.at(place) - (2.0 * place * place - place)).abs() < 1e-12, "{place}");
        }
        assert!((curve.at(-5.0) - 3.0).abs() < 1e-12, "before its start: as there");
        assert!(curve.at(1e300).is_finite() && curve.at(f64::NAN).is_finite());
    }

    #[test]
    fn the_least_reach_is_found_whatever_grows() {
        let kinds: [fn(f64) -> f64; 4] = [|x| x / 10.0, |x| (x / 10.0).powi(9), |x| 1.0 - (-x).exp(), |x| if x < 7.0 { 0.0 } else { 1.0 }];
        for (kind, want) in kinds.into_iter().zip([9.5, 10.0 * 0.95_f64.powf(1.0 / 9.0), 20.0_f64.ln(), 7.0]) {
            assert!((least(0.95, 1.0, 10.0, kind) - want).abs() < 2e-5, "{want}");
        }
    }
}
