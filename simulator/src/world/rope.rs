//! The rope between tool and drum: why the encoder counts another length than the tool is deep.

use crate::chance::{Chance, Drawer};
use crate::errors::Depth;

/// Where the tip is, for the rope.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rest {
    /// Hanging, or turning: the rope is tight.
    Hanging,
    /// On the hub.
    Hub,
    /// On the bottom, not turning.
    Bottom,
}

/// The rope of one rig.
#[derive(Clone, Debug)]
pub struct Rope {
    errors: Depth<f64>,
    /// Lengthening, mm per metre and degree.
    warms_mm_m_deg: f64,
    slipped_mm: f64,
    /// Paid out beyond the tip, mm.
    slack_mm: f64,
    rest: Rest,
    chance: Chance,
}

impl Rope {
    /// Tight and unslipped; it lengthens by so many mm per metre and degree.
    #[must_use]
    pub fn new(seed: u64, errors: &Depth<f64>, warms_mm_m_deg: f64) -> Self {
        let chance = Chance::new(seed, Drawer::Touch);
        Self { errors: errors.clone(), warms_mm_m_deg, slipped_mm: 0.0, slack_mm: 0.0, rest: Rest::Hanging, chance }
    }

    /// The tool has left the bottom.
    pub fn trip(&mut self) {
        self.slipped_mm += self.errors.slip_mm_per_trip;
    }

    /// Told once a millisecond how the tool rests.
    pub fn rest(&mut self, rest: Rest) {
        if rest == self.rest {
            return;
        }
        self.rest = rest;
        self.slack_mm = match rest {
            Rest::Hanging => 0.0,
            Rest::Bottom => self.errors.slack_on_bottom_mm,
            // Triangular: two uniform draws.
            Rest::Hub if self.errors.hub_touch_mm > 0.0 => self.errors.hub_touch_mm * (self.chance.uniform() + self.chance.uniform() - 1.0),
            Rest::Hub => 0.0,
        };
    }

    /// What the encoder has seen paid out, mm, where the pin has truly come down by `paid_mm` since the first tool's
    /// tip was on the hub, from a rig that has sunk for so many metres of hole, at so many degrees above 20 °C.
    #[must_use]
    pub fn seen_mm(&self, paid_mm: f64, hole_m: f64, above_deg: f64) -> f64 {
        let lengthening = (self.errors.stretch_mm_m + self.warms_mm_m_deg * above_deg) / 1_000.0;
        let off_drum = (paid_mm - self.errors.settling_mm_m * hole_m.max(0.0)) / (1.0 + lengthening) + self.slack_mm;
        off_drum + self.errors.miscounted_mm(off_drum) - self.slipped_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::errors::DrumLayer;

    fn rope(errors: Depth<f64>) -> Rope {
        Rope::new(1, &errors, 0.0)
    }

    #[test]
    fn a_rope_without_errors_is_seen_as_it_is() {
        let mut plain = rope(Depth::default());
        plain.trip();
        plain.rest(Rest::Hub);
        for mm in [-2_300.0, 0.0, 0.05, 3_150.25] {
            assert_eq!(plain.seen_mm(mm, 3.0, 1e4), mm);
        }
    }

    /// check-values §9: a drum of 300 mm with rope of 10 mm takes 973.8937 mm in a turn of its first layer and
    /// 1036.7256 in one of its second; counted at the first layer's rate 10.5 ft reads 9.864 ft, -6.061 %.
    #[test]
    fn a_second_layer_counted_as_the_first_reads_six_percent_short() {
        let layer = DrumLayer { from_mm: 0.0, scale: 973.893_7 / 1_036.725_6 - 1.0 };
        let drum = rope(Depth { drum: vec![layer], ..Depth::default() });
        let read = drum.seen_mm(10.5 * 304.8, 0.0, 0.0);
        assert!((read / 304.8 - 9.864).abs() < 0.000_5, "{}", read / 304.8);
        assert!((read / (10.5 * 304.8) - 1.0 + 0.060_61).abs() < 0.000_005);
        // And above the layer nothing is changed, on either side of the hub.
        let deep = rope(Depth { drum: vec![DrumLayer { from_mm: 1_000.0, scale: -0.06 }], ..Depth::default() });
        assert_eq!([-400.0, 0.0, 999.0, 1_000.0, 2_000.0].map(|mm| deep.seen_mm(mm, 0.0, 0.0)), [-400.0, 0.0, 999.0, 1_000.0, 1_940.0]);
    }

    /// check-values §9: 30 K on 3.3 m of steel is 1.148 mm, and 0.210 mm of stretch is 0.0636 mm/m. A rope that is
    /// longer than counted hides depth.
    #[test]
    fn stretch_and_warming_read_too_shallow() {
        let rope = Rope::new(1, &Depth::default(), 0.011_6);
        assert!((3_300.0 - rope.seen_mm(3_300.0, 0.0, 30.0) - 1.148).abs() < 0.001);
        let stretched = super::tests::rope(Depth { stretch_mm_m: 0.210 / 3.3, ..Depth::default() });
        assert!((3_300.0 - stretched.seen_mm(3_300.0, 0.0, 0.0) - 0.210).abs() < 0.001);
    }

    #[test]
    fn slip_and_settling_read_too_shallow_and_scale_too_deep() {
        let mut slipping = rope(Depth { slip_mm_per_trip: 0.5, ..Depth::default() });
        (0..4).for_each(|_| slipping.trip());
        assert_eq!(slipping.seen_mm(1_000.0, 1.0, 0.0), 998.0);
        // Sinking by 2 mm in each metre of hole, none of it above ground.
        let sinking = rope(Depth { settling_mm_m: 2.0, ..Depth::default() });
        assert_eq!((sinking.seen_mm(0.0, 3.0, 0.0), sinking.seen_mm(-400.0, -0.4, 0.0)), (-6.0, -400.0));
        assert_eq!(rope(Depth { scale: 0.001, ..Depth::default() }).seen_mm(3_000.0, 3.0, 0.0), 3_003.0);
    }

    #[test]
    fn slack_comes_on_resting_and_goes_on_lifting_anew_at_each_touch() {
        let mut slack = rope(Depth { hub_touch_mm: 3.0, slack_on_bottom_mm: 4.0, ..Depth::default() });
        let mut touches = Vec::new();
        for _ in 0..1_000 {
            slack.rest(Rest::Hub);
            touches.push(slack.seen_mm(0.0, 0.0, 0.0));
            slack.rest(Rest::Hub);
            assert_eq!(touches.last().copied(), Some(slack.seen_mm(0.0, 0.0, 0.0)), "one touch is one");
            slack.rest(Rest::Hanging);
            assert_eq!(slack.seen_mm(0.0, 0.0, 0.0), 0.0);
        }
        assert!(touches.iter().all(|mm| mm.abs() <= 3.0) && touches.iter().any(|mm| *mm > 2.0) && touches.iter().any(|mm| *mm < -2.0));
        slack.rest(Rest::Bottom);
        assert_eq!(slack.seen_mm(3_000.0, 3.0, 0.0), 3_004.0);
    }
}
