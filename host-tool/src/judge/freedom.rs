//! How many readings stand behind a standard uncertainty, and the coverage factors that few of them ask for.
//!
//! A scatter of few readings is itself poorly known: Student's t then takes the place of the normal distribution, with
//! the effective degrees of freedom of the sum (JCGM 100:2008, annex G).

use super::budget::Row;
use super::spread::COVERAGE;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Half-width of an interval that holds 95 % of a normal error, in standard deviations.
pub const INTERVAL: f64 = 1.96;
/// Radius of a circle that holds 95 % of a normal error on two axes, in standard deviations: √(−2 ln 0.05).
pub const CIRCLE: f64 = 2.447_7;
/// So many degrees of freedom are as good as no end of them: the factors differ by less than 0.001.
const MANY: f64 = 10_000.0;

/// Effective degrees of freedom of a sum with this standard deviation, after Welch and Satterthwaite (JCGM 100, G.2b);
/// `None` where nothing in it was estimated from readings.
#[must_use]
pub fn effective(rows: &[Row], standard: f64) -> Option<f64> {
    let makes = rows.iter().filter(|row| row.contributes().standard() > 0.0);
    let estimated = makes.filter_map(|row| Some(row.contributes().standard().powi(4) / row.freedom?));
    let of_fourths: f64 = estimated.sum();
    (of_fourths > 0.0).then(|| standard.powi(4) / of_fourths)
}

/// How many standard deviations hold 95 % of an error on one axis; not rounded down to a whole degree (JCGM 100, G.4.1).
#[must_use]
pub fn interval(freedom: Option<f64>) -> f64 {
    let student = few(freedom).and_then(|freedom| StudentsT::new(0.0, 1.0, freedom).ok());
    student.map_or(INTERVAL, |student| student.inverse_cdf(f64::midpoint(1.0, COVERAGE)))
}

/// How many standard deviations the radius of a circle takes that holds 95 % of an error on two axes, one scatter
/// estimated for both: √(2·F), F the quantile of Fisher's distribution with 2 and ν degrees of freedom, which has a closed
/// form.
#[must_use]
pub fn circle(freedom: Option<f64>) -> f64 {
    few(freedom).map_or(CIRCLE, |freedom| (freedom * ((1.0 - COVERAGE).powf(-2.0 / freedom) - 1.0)).sqrt())
}

fn few(freedom: Option<f64>) -> Option<f64> {
    freedom.filter(|freedom| *freedom < MANY)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::budget::{Along, Unit};
    use crate::judge::spread::Shape;

    /// JCGM 100:2008, table G.2, fraction p = 95 % (from memory, high confidence: it is the published t table).
    #[test]
    fn factors_of_table_g_2() {
        let rows = [
            (1.0, 12.71),
            (2.0, 4.30),
            (3.0, 3.18),
            (4.0, 2.78),
            (5.0, 2.57),
            (6.0, 2.45),
            (7.0, 2.36),
            (8.0, 2.31),
            (9.0, 2.26),
            (10.0, 2.23),
            (16.0, 2.12),
            (20.0, 2.09),
            (50.0, 2.01),
            (100.0, 1.984),
        ];
        for (freedom, want) in rows {
            assert!((interval(Some(freedom)) - want).abs() < 0.005, "{freedom}: {}", interval(Some(freedom)));
        }
        let just = Some(MANY - 1.0);
        assert!((interval(just) - interval(None)).abs() < 1e-3 && (circle(just) - circle(None)).abs() < 1e-3);
        assert_eq!((interval(Some(1e300)), circle(Some(1e300))), (INTERVAL, CIRCLE));
    }

    /// Table of F at 95 % with 2 and ν degrees of freedom (from memory): 6.94 at 4, 5.14 at 6, 4.10 at 10.
    #[test]
    fn a_circle_of_few_readings_is_wider() {
        for (freedom, f) in [(4.0, 6.94), (6.0, 5.14), (10.0, 4.10)] {
            assert!((circle(Some(freedom)).powi(2) / 2.0 - f).abs() < 0.006, "{freedom}");
        }
    }

    fn row(deviation: f64, freedom: Option<f64>) -> Row {
        let (value, unit, along) = (Shape::Normal(deviation), Unit::Metres, Along::Same);
        Row { source: "", basis: String::new(), value, freedom, correction: None, unit, sensitivity: 1.0, along }
    }

    /// JCGM 100:2008, H.1.6 (from memory, high confidence): 32 nm from 25 (18), 9.7 (25.6), 2.9 (50) and 16.6 (2) make 16.7
    /// degrees of freedom, for which the guide takes 16.
    #[test]
    fn the_end_gauge_of_the_guide() {
        let rows = [row(25.0, Some(18.0)), row(9.7, Some(25.6)), row(2.9, Some(50.0)), row(16.6, Some(2.0))];
        let effective = effective(&rows, 32.0).unwrap();
        assert!((16.0..17.5).contains(&effective), "{effective}");
    }

    #[test]
    fn what_is_stated_has_no_end_of_freedom() {
        assert_eq!(effective(&[row(3.0, None)], 3.0), None);
        assert_eq!(effective(&[row(3.0, None), row(0.0, Some(2.0))], 3.0), None);
        assert_eq!(effective(&[row(3.0, Some(4.0))], 3.0), Some(4.0));
    }
}
