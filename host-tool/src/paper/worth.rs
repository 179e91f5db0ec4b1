//! Figures with what they are worth: the half-width of the 95 % interval to two digits, the figure to the same place
//! (JCGM 100:2008, 7.2.6). Inches are decimal here, since an eighth says nothing of a half-width.

use super::words::Units;
use crate::judge::Figure;

const INCH: f64 = 0.0254;

/// What a figure counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// A depth: "3.187 m", "10 ft 5.5 in".
    Depth,
    /// A small length: "38 mm", "1.5 in".
    Offset,
    /// A lean: "8.2 mm/m", "0.098 in/ft".
    Lean,
}

impl Units {
    /// A figure with its half-width: "3.187 m ± 0.029 m".
    #[must_use]
    pub fn worth(self, quantity: Quantity, figure: Figure) -> String {
        let (times, unit) = self.counted(quantity);
        let Some(place) = place(figure.expanded * times) else { return self.bare(quantity, figure.value) };
        let value = match (self, quantity) {
            (Self::FeetInches, Quantity::Depth) => feet(figure.value * times, place),
            _ => format!("{} {unit}", rounded(figure.value * times, place)),
        };
        format!("{value} ± {}", self.amount(quantity, figure.expanded))
    }

    /// Something always positive to two digits: "0.029 m", "1.1 in".
    #[must_use]
    pub fn amount(self, quantity: Quantity, amount: f64) -> String {
        let (times, unit) = self.counted(quantity);
        format!("{} {unit}", two_digits(amount * times))
    }

    /// A correction with its sign, to two digits: "+2.8 mm", "−0.11 in", "0 mm".
    #[must_use]
    pub fn correction(self, metres: f64) -> String {
        let sign = if metres < -1e-9 { "\u{2212}" } else { "+" };
        let amount = self.amount(Quantity::Offset, metres.abs());
        if amount.starts_with("0 ") { amount } else { format!("{sign}{amount}") }
    }

    /// A sensitivity or an arm, to two digits: "3.2 m", "10 ft".
    #[must_use]
    pub fn arm(self, metres: f64) -> String {
        match self {
            Self::Metric => format!("{} m", two_digits(metres)),
            Self::FeetInches => format!("{} ft", two_digits(metres / 0.3048)),
        }
    }

    fn bare(self, quantity: Quantity, value: f64) -> String {
        match quantity {
            Quantity::Depth => self.long(value),
            Quantity::Offset => self.short(value),
            Quantity::Lean => self.lean(value),
        }
    }

    fn counted(self, quantity: Quantity) -> (f64, &'static str) {
        match (self, quantity) {
            (Self::Metric, Quantity::Depth) => (1.0, "m"),
            (Self::Metric, Quantity::Offset) => (1e3, "mm"),
            (Self::Metric, Quantity::Lean) => (1e3, "mm/m"),
            (Self::FeetInches, Quantity::Depth | Quantity::Offset) => (1.0 / INCH, "in"),
            (Self::FeetInches, Quantity::Lean) => (12.0, "in/ft"),
        }
    }
}

/// A positive amount to two digits; nothing is "0".
#[must_use]
pub fn two_digits(amount: f64) -> String {
    place(amount).map_or_else(|| "0".to_owned(), |place| rounded(amount, place))
}

/// The power of ten of the second digit of an amount; `None` where there is nothing to count.
fn place(amount: f64) -> Option<i32> {
    let exponents = -12..=12;
    let fits = |exponent: &i32| (amount / 10f64.powi(*exponent)).round() < 100.0;
    (amount.is_finite() && amount > 1e-9).then(|| exponents.into_iter().find(fits)).flatten()
}

/// A value rounded to a power of ten, with a true minus.
fn rounded(value: f64, place: i32) -> String {
    let step = 10f64.powi(place);
    let decimals = usize::try_from(-place).unwrap_or(0);
    let text = format!("{:.decimals$}", (value / step).round() * step);
    let nothing = text.chars().all(|c| !c.is_ascii_digit() || c == '0');
    if nothing { text.trim_start_matches('-').to_owned() } else { text.replace('-', "\u{2212}") }
}

/// Inches as feet and inches, rounded to a power of ten of an inch.
fn feet(inches: f64, place: i32) -> String {
    let step = 10f64.powi(place);
    let steps = (inches.abs() / step).round();
    let feet = ((steps * step + 1e-9) / 12.0).floor();
    let rest = rounded((steps * step - feet * 12.0).max(0.0), place.min(0));
    let minus = if inches < 0.0 && steps > 0.0 { "\u{2212}" } else { "" };
    format!("{minus}{feet} ft {rest} in")
}

#[cfg(test)]
mod tests {
    use super::*;
    use Units::{FeetInches, Metric};

    fn figure(value: f64, expanded: f64) -> Figure {
        Figure::of(value, expanded)
    }

    /// JCGM 100:2008, 7.2.6 (from memory): uncertainties to at most two digits, estimates rounded to agree with them.
    #[test]
    fn the_half_width_has_two_digits_and_the_figure_ends_where_it_does() {
        let rows = [
            (Quantity::Depth, figure(3.187_43, 0.0287), "3.187 m ± 0.029 m"),
            (Quantity::Depth, figure(3.187_43, 0.287), "3.19 m ± 0.29 m"),
            (Quantity::Depth, figure(-0.02, 0.0287), "−0.020 m ± 0.029 m"),
            (Quantity::Offset, figure(0.0376, 0.0995), "40 mm ± 100 mm"),
            (Quantity::Offset, figure(0.0376, 0.0994), "38 mm ± 99 mm"),
            (Quantity::Offset, figure(0.0376, 0.123), "40 mm ± 120 mm"),
            (Quantity::Offset, figure(0.0376, 0.002_34), "37.6 mm ± 2.3 mm"),
            (Quantity::Lean, figure(0.012_34, 0.008_4), "12.3 mm/m ± 8.4 mm/m"),
            (Quantity::Lean, figure(0.012_34, 0.0), "12.3 mm/m"),
        ];
        for (quantity, figure, want) in rows {
            assert_eq!(Metric.worth(quantity, figure), want);
        }
    }

    /// 1 in = 25.4 mm exactly: 3.1874 m are 125.49 in, 10 ft 5.49 in, to tens 130 in; 28.7 mm are 1.130 in; 1/4 in per ft is 1/48.
    #[test]
    fn inches_are_decimal_beside_a_half_width() {
        let rows = [
            (Quantity::Depth, figure(3.1874, 0.0287), "10 ft 5.5 in ± 1.1 in"),
            (Quantity::Depth, figure(3.6574, 0.0287), "12 ft 0.0 in ± 1.1 in"),
            (Quantity::Depth, figure(3.1874, 3.3), "10 ft 10 in ± 130 in"),
            (Quantity::Depth, figure(-0.0762, 0.0287), "−0 ft 3.0 in ± 1.1 in"),
            (Quantity::Offset, figure(0.0376, 0.0287), "1.5 in ± 1.1 in"),
            (Quantity::Lean, figure(1.0 / 48.0, 0.0084), "0.25 in/ft ± 0.10 in/ft"),
        ];
        for (quantity, figure, want) in rows {
            assert_eq!(FeetInches.worth(quantity, figure), want);
        }
    }

    #[test]
    fn amounts_and_arms() {
        assert_eq!((Metric.amount(Quantity::Offset, 0.0), Metric.amount(Quantity::Lean, 0.000_12)), ("0 mm".into(), "0.12 mm/m".into()));
        assert_eq!((Metric.arm(3.187), Metric.arm(0.0376), FeetInches.arm(3.187)), ("3.2 m".into(), "0.038 m".into(), "10 ft".into()));
        assert_eq!(two_digits(f64::INFINITY), "0");
    }

    /// 1 in = 25.4 mm exactly: 2.893 mm are 0.1139 in.
    #[test]
    fn a_correction_always_has_its_sign() {
        let rows = [(0.002_893, "+2.9 mm", "+0.11 in"), (-0.002_893, "\u{2212}2.9 mm", "\u{2212}0.11 in"), (0.0, "0 mm", "0 in")];
        for (metres, mm, inches) in rows {
            assert_eq!((Metric.correction(metres), FeetInches.correction(metres)), (mm.to_owned(), inches.to_owned()));
        }
    }
}
