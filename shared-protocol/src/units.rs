//! Quantities as integers with their unit in the type.
//!
//! Every operation saturates: a figure out of range stays at the end of its range and is judged there,
//! it never wraps to a plausible one.

use serde::{Deserialize, Serialize};

/// A length, micrometres. Depths are positive downwards; offsets follow the axes of [`Lean`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Micrometres(pub i32);

/// A lean in parts per million, that is micrometres sideways per metre along the tool: the sine of the
/// angle. Positive where the *toe* goes with depth, so +12,000 forward means that a metre deeper is
/// 12 mm further forward.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Lean(pub i32);

/// A specific force on one axis, millionths of standard gravity. At rest it points up: a plumb sensor reads
/// +1,000,000 on its upward axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MicroG(pub i32);

/// The rig's time, milliseconds since it started. Wraps after 49.7 days; compare with [`Millis::since`] only.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Millis(pub u32);

/// An angle in the horizontal, hundredths of a degree, clockwise seen from above.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CentiDegrees(pub i32);

/// A pair in rig axes, as the operator faces the hole: forward is away from the cab, right is to his right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RigAxes<T> {
    /// Away from the cab.
    pub forward: T,
    /// To the operator's right.
    pub right: T,
}

impl Micrometres {
    /// One millimetre.
    pub const MILLIMETRE: Self = Self(1_000);

    /// From whole millimetres.
    #[must_use]
    pub const fn from_mm(mm: i32) -> Self {
        Self(mm.saturating_mul(1_000))
    }

    /// `self + other`.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// `self − other`.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    /// The sideways offset after going `self` along a tool that leans by `lean`: length × sine, rounded to
    /// the nearest micrometre, halves away from zero.
    #[must_use]
    pub fn along(self, lean: Lean) -> Self {
        Self(clamp_i32(div_round(i64::from(self.0).saturating_mul(i64::from(lean.0)), 1_000_000)))
    }

    /// The lean of a line that is `self` off after `length`: the inverse of [`Micrometres::along`].
    /// `None` where `length` is not positive.
    #[must_use]
    pub fn over(self, length: Self) -> Option<Lean> {
        (length.0 > 0).then(|| Lean(clamp_i32(div_round(i64::from(self.0).saturating_mul(1_000_000), i64::from(length.0)))))
    }
}

impl Millis {
    /// Milliseconds from `earlier` to `self`, right across the wrap as long as they are less than 49.7 days apart.
    #[must_use]
    pub const fn since(self, earlier: Self) -> u32 {
        self.0.wrapping_sub(earlier.0)
    }

    /// `self` and `ms` more.
    #[must_use]
    pub const fn plus(self, ms: u32) -> Self {
        Self(self.0.wrapping_add(ms))
    }
}

impl RigAxes<Lean> {
    /// The lean whichever way it goes, parts per million, rounded down.
    #[must_use]
    pub fn magnitude(self) -> u32 {
        magnitude(self.forward.0, self.right.0)
    }
}

impl RigAxes<Micrometres> {
    /// The distance whichever way it goes, micrometres, rounded down.
    #[must_use]
    pub fn magnitude(self) -> u32 {
        magnitude(self.forward.0, self.right.0)
    }
}

fn magnitude(a: i32, b: i32) -> u32 {
    let square = |v: i32| u64::from(v.unsigned_abs()).saturating_mul(u64::from(v.unsigned_abs()));
    u32::try_from(square(a).saturating_add(square(b)).isqrt()).unwrap_or(u32::MAX)
}

/// `value / by`, rounded to the nearest, halves away from zero; 0 where `by` is 0.
#[must_use]
pub const fn div_round(value: i64, by: i64) -> i64 {
    let (quotient, rest) = match (value.checked_div(by), value.checked_rem(by)) {
        (Some(q), Some(r)) => (q, r),
        _ => return 0,
    };
    if rest.unsigned_abs() >= by.unsigned_abs().div_ceil(2) && rest != 0 {
        if (value < 0) == (by < 0) { quotient.saturating_add(1) } else { quotient.saturating_sub(1) }
    } else {
        quotient
    }
}

/// The nearest `i32`.
#[must_use]
pub const fn clamp_i32(value: i64) -> i32 {
    #[allow(clippy::cast_possible_truncation)] // bounded on both sides just here
    if value > i32::MAX as i64 {
        i32::MAX
    } else if value < i32::MIN as i64 {
        i32::MIN
    } else {
        value as i32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::{prop_assert, prop_assert_eq, proptest};

    #[test]
    fn offset_is_length_times_lean() {
        assert_eq!(Micrometres::from_mm(1_000).along(Lean(12_000)), Micrometres::from_mm(12));
        assert_eq!(Micrometres::from_mm(-1_000).along(Lean(12_000)), Micrometres::from_mm(-12));
        assert_eq!(Micrometres(3_200_000).along(Lean(-20_833)), Micrometres(-66_666));
        assert_eq!(Micrometres::from_mm(12).over(Micrometres::from_mm(1_000)), Some(Lean(12_000)));
        assert_eq!(Micrometres::from_mm(12).over(Micrometres(0)), None);
    }

    #[test]
    fn rounding_is_to_nearest_halves_away_from_zero() {
        let rows = [(7, 2, 4), (-7, 2, -4), (6, 4, 2), (5, 4, 1), (-5, 4, -1), (1, 3, 0), (2, 3, 1), (0, 5, 0), (9, 0, 0)];
        for (value, by, want) in rows {
            assert_eq!(div_round(value, by), want, "{value} / {by}");
        }
    }

    #[test]
    fn time_is_right_across_its_wrap() {
        assert_eq!(Millis(4).since(Millis(u32::MAX - 5)), 10);
        assert_eq!(Millis(u32::MAX).plus(2), Millis(1));
    }

    proptest! {
        #[test]
        fn along_agrees_with_64_bit_floating_point(length in -20_000_000i32..20_000_000, lean in -500_000i32..500_000) {
            let truth = f64::from(length) * f64::from(lean) / 1e6;
            let ours = f64::from(Micrometres(length).along(Lean(lean)).0);
            prop_assert!((truth - ours).abs() <= 0.5 + 1e-6);
        }

        #[test]
        fn nothing_overflows(a: i32, b: i32) {
            let _ = Micrometres(a).along(Lean(b));
            let _ = Micrometres(a).over(Micrometres(b));
            let _ = Micrometres(a).plus(Micrometres(b)).minus(Micrometres(b));
            let m = RigAxes { forward: Lean(a), right: Lean(b) }.magnitude();
            prop_assert_eq!(u64::from(m) <= 3_037_000_500, true);
        }
    }
}
