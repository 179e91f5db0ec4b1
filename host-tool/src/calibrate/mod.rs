//! Calibrations: from steady readings to a figure with its uncertainty and residual, or to a refusal in one line.
//!
//! [`steady`] makes one reading of many; [`zero`], [`drift`], [`mount`], [`level`], [`encoder`], [`play`] and [`tool`]
//! are the procedures' arithmetic, pure and each in a file; [`guide`] leads a person through them; [`in_force`] says
//! what a rig was calibrated with, by its own records.
//!
//! Specific forces are in µg in the sensor's own axes, before any correction; leans in µm/m in rig axes, positive where
//! the toe goes with depth. Every uncertainty here is a standard one. Limits beyond which a procedure is refused, and
//! allowances for what it cannot see, are common practice, no source, unless another is named.

pub mod drift;
pub mod encoder;
pub mod guide;
pub mod in_force;
pub mod level;
pub mod mount;
pub mod play;
pub mod procedure;
pub mod steady;
pub mod tool;
pub mod zero;

pub use steady::Attitude;

use shared_protocol::record::{Calibration, VALUES_MAX};
use shared_protocol::state::CalibrationItem;

/// Why a calibration cannot be right, and what to do next. Shown as one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{why}: {next}")]
pub struct Refused {
    /// What is wrong.
    pub why: String,
    /// What to do next.
    pub next: String,
}

impl Refused {
    pub(crate) fn new(why: impl Into<String>, next: impl Into<String>) -> Self {
        Self { why: why.into(), next: next.into() }
    }
}

/// A pair of figures in two level axes, forward and to the right.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pair {
    /// Forward.
    pub forward: f64,
    /// To the right.
    pub right: f64,
}

impl Pair {
    /// From its two parts.
    #[must_use]
    pub const fn new(forward: f64, right: f64) -> Self {
        Self { forward, right }
    }

    /// Its size whichever way it goes.
    #[must_use]
    pub fn size(self) -> f64 {
        self.forward.hypot(self.right)
    }

    /// The larger of its two parts, without sign.
    #[must_use]
    pub fn largest(self) -> f64 {
        self.forward.abs().max(self.right.abs())
    }

    /// Part by part.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self::new(self.forward + other.forward, self.right + other.right)
    }

    /// Part by part.
    #[must_use]
    pub fn minus(self, other: Self) -> Self {
        self.plus(other.times(-1.0))
    }

    /// Each part times `factor`.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self::new(self.forward * factor, self.right * factor)
    }

    /// Half of the sum.
    #[must_use]
    pub fn middle(self, other: Self) -> Self {
        self.plus(other).times(0.5)
    }

    /// Turned clockwise seen from above, given the cosine and sine of the turn: what a frame that is turned clockwise
    /// against another says, in that other's words.
    #[must_use]
    pub fn turned(self, cos: f64, sin: f64) -> Self {
        Self::new(self.forward * cos - self.right * sin, self.forward * sin + self.right * cos)
    }
}

/// What two determinations of the same pair are worth together by their own disagreement: the standard uncertainty of
/// their mean on one axis, both axes pooled, √(Σ d²/2)/2. JCGM 100:2008, 4.2.3, with two observations on each axis.
#[must_use]
pub(crate) fn by_disagreement(first: Pair, second: Pair) -> f64 {
    first.minus(second).size() / 2.0_f64.sqrt() / 2.0
}

/// What a procedure found, before anybody puts a name and a date to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// What was calibrated.
    pub item: CalibrationItem,
    /// Values, in the units of the item.
    pub values: Vec<i32>,
    /// Standard uncertainty, in the unit of the item, rounded up.
    pub uncertainty: u32,
    /// The largest disagreement that the procedure showed, in the unit of the item, rounded up; 0 where it can show none.
    pub residual: u32,
    /// The same in words, a line each.
    pub words: Vec<String>,
}

impl Found {
    fn new(item: CalibrationItem, values: &[f64], standard: f64, residual: f64, words: Vec<String>) -> Self {
        Self { item, values: values.iter().map(|v| whole(*v)).collect(), uncertainty: up(standard).max(1), residual: up(residual), words }
    }

    /// As the rig takes it, with who found it, on which day it was, and the last day on which it holds.
    ///
    /// # Errors
    /// Where the name is empty or too long, or the last day is before the first.
    pub fn signed(&self, who: &str, day: u32, expires: u32) -> Result<Calibration, Refused> {
        let who = signer(who)?;
        if expires < day {
            return Err(Refused::new("it would have expired before it was made", "give a later last day"));
        }
        let too_many = || Refused::new(format!("{} values are too many", self.values.len()), format!("{VALUES_MAX} at most"));
        Ok(Calibration {
            item: self.item.raw(),
            who,
            day,
            expires,
            uncertainty: self.uncertainty,
            residual: self.residual,
            values: heapless::Vec::from_slice(&self.values).map_err(|_| too_many())?,
        })
    }
}

/// A name that may sign.
pub(crate) fn signer(who: &str) -> Result<heapless::String<16>, Refused> {
    let who = who.trim();
    if who.is_empty() {
        return Err(Refused::new("nobody is named", "say who calibrates"));
    }
    let too_long = |_| Refused::new(format!("\"{}\" is too long a name", crate::text::terminal(who)), "16 bytes at most");
    who.try_into().map_err(too_long)
}

/// What a finding's uncertainty does to a hole, in one line. Two standard uncertainties stand for 95 %; play is a range.
#[must_use]
pub(crate) fn meaning(found: &Found) -> String {
    let twice = 2.0 * f64::from(found.uncertainty);
    let toe = |lean: f64| format!("in a hole 3 m deep this alone leaves the toe unknown by {:.0} mm either way", lean * 3.0 / 1e3);
    let first = found.values.first().map_or(0.0, |v| f64::from(*v));
    match found.item {
        CalibrationItem::TiltZero | CalibrationItem::ToolLevel => toe(twice),
        CalibrationItem::GuidePlay => toe(first.abs() + twice),
        CalibrationItem::TiltDrift => {
            format!("20 °C off the zero's temperature this alone leaves a lean unknown by {:.2} mm/m either way", twice * 0.1 * 20.0 / 1e3)
        }
        CalibrationItem::Mount => {
            let across = 20.0 * (twice / 100.0).to_radians();
            format!("of a lean of 20 mm/m this alone leaves {across:.1} mm/m across it unknown either way")
        }
        CalibrationItem::Encoder | CalibrationItem::Tool => {
            format!("this alone leaves a depth unknown by {:.0} mm either way", twice / 1e3)
        }
    }
}

/// The nearest whole number; the ends of the range stand for all beyond.
#[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
fn whole(value: f64) -> i32 {
    value.round() as i32
}

/// The next whole number that is not less, but for what a float's own rounding makes.
fn up(value: f64) -> u32 {
    whole((value - 1e-6).ceil().max(0.0)).unsigned_abs()
}

pub(crate) fn count(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}

/// A specific force of µg in mg, with its sign.
pub(crate) fn mg(ug: f64) -> String {
    format!("{:+.2} mg", tidy(ug / 1e3, 100.0))
}

/// A lean of µm/m in mm/m, with its sign.
pub(crate) fn mm_m(um_m: f64) -> String {
    format!("{:+.2} mm/m", tidy(um_m / 1e3, 100.0))
}

/// Rounded to a part, and to 0 rather than −0.
fn tidy(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found() -> Found {
        Found::new(CalibrationItem::TiltZero, &[1.4, -2.6, 1_850.0], 0.2, 3.1, Vec::new())
    }

    #[test]
    fn a_finding_is_rounded_to_the_safe_side_and_signed() {
        let calibration = found().signed(" Tester ", 20_000, 20_365).unwrap();
        assert_eq!(calibration.values[..], [1, -3, 1_850]);
        assert_eq!((calibration.uncertainty, calibration.residual, calibration.who.as_str()), (1, 4, "Tester"));
        assert_eq!((calibration.item, calibration.day, calibration.expires), (1, 20_000, 20_365));
    }

    #[test]
    fn what_nobody_signs_or_has_expired_is_refused() {
        let said = |who, expires| found().signed(who, 20_000, expires).unwrap_err().to_string();
        assert_eq!(said(" ", 20_001), "nobody is named: say who calibrates");
        assert_eq!(said("A name that is too long", 20_001), "\"A name that is too long\" is too long a name: 16 bytes at most");
        assert_eq!(said("Tester", 19_999), "it would have expired before it was made: give a later last day");
    }

    #[test]
    fn a_turn_clockwise_takes_forward_to_the_right() {
        let turned = Pair::new(1.0, 0.0).turned(0.0, 1.0); // by a quarter
        assert_eq!(turned, Pair::new(0.0, 1.0));
        assert_eq!(Pair::new(0.0, 1.0).turned(0.0, 1.0), Pair::new(-1.0, 0.0));
    }

    /// JCGM 100:2008, 4.2.3: of two observations d apart the standard deviation is d/√2 and that of their mean d/2.
    #[test]
    fn two_observations_disagree() {
        assert!((by_disagreement(Pair::new(3.0, 5.0), Pair::new(1.0, 7.0)) - 1.0).abs() < 1e-12);
    }
}
