//! Two statements on each limit: the plain one, measured against limit, and the guarded one after JCGM 106, which
//! speaks only when the whole 95 % interval lies on one side, or the guard band where that reaches further.

use super::limits::{Limit, Measurand};

/// How a figure stands to its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Measured within the limit.
    Within,
    /// Measured outside the limit.
    Outside,
    /// Not measured, or not to be believed.
    Unknown,
}

/// What the measurement shows, its uncertainty taken into account.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Guarded {
    /// All of the interval is within.
    ShownWithin,
    /// All of the interval is outside.
    ShownOutside,
    /// Neither is shown; the reasons where there are any beside the uncertainty itself.
    NotShown(Vec<String>),
}

/// Why nothing is shown where only the guard band reaches over the limit.
const GUARD_BAND: &str = "errors in any direction make a short distance longer, and the limit is too close for that";

/// A figure with what it is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    /// The figure, metres or metres per metre.
    pub value: f64,
    /// Half-width of its 95 % interval.
    pub expanded: f64,
    /// Beyond value + guard lies no more than once in forty what is truly there: the half-width itself, or more where errors of
    /// any direction make a distance longer. The guard band of JCGM 106.
    pub guard: f64,
}

impl Figure {
    /// A figure whose interval has 2.5 % on either side of it.
    #[must_use]
    pub const fn of(value: f64, expanded: f64) -> Self {
        Self { value, expanded, guard: expanded }
    }
}

/// One limit judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The limit.
    pub limit: Limit,
    /// What was measured; `None` where nothing was.
    pub measured: Option<Figure>,
    /// The plain statement.
    pub plain: Standing,
    /// The guarded statement.
    pub guarded: Guarded,
}

/// Judges a figure against a limit. `barred` are reasons why nothing can be shown whatever the figure.
#[must_use]
pub fn verdict(limit: &Limit, measured: Option<Figure>, unfinished: bool, barred: &[String]) -> Verdict {
    let (least, most) = (limit.least.unwrap_or(f64::NEG_INFINITY), limit.most);
    let plain = match measured {
        None => Standing::Unknown,
        Some(figure) if (least..=most).contains(&figure.value) => Standing::Within,
        // a hole that is still being made is not outside for being short
        Some(figure) if unfinished && figure.value < least => Standing::Unknown,
        Some(_) => Standing::Outside,
    };
    let guarded = match measured {
        _ if !barred.is_empty() => Guarded::NotShown(barred.to_vec()),
        None => Guarded::NotShown(vec![format!("{} was not measured", name(limit.measurand))]),
        Some(_) if plain == Standing::Unknown => Guarded::NotShown(vec!["the hole is not finished".to_owned()]),
        Some(Figure { value, expanded, guard }) => {
            if value - expanded >= least && value + guard <= most {
                Guarded::ShownWithin
            } else if value - expanded >= least && value + expanded <= most {
                Guarded::NotShown(vec![GUARD_BAND.to_owned()])
            } else if value + expanded < least || value - expanded > most {
                Guarded::ShownOutside
            } else {
                Guarded::NotShown(Vec::new())
            }
        }
    };
    Verdict { limit: limit.clone(), measured, plain, guarded }
}

/// What a measurand is called.
#[must_use]
pub fn name(measurand: Measurand) -> &'static str {
    match measurand {
        Measurand::Depth => "depth",
        Measurand::OverallLean => "overall lean",
        Measurand::LeanAnywhere => "lean along the hole",
        Measurand::Toe => "toe",
        Measurand::Centre => "centre off the stake",
        Measurand::Room => "room round the pole",
        Measurand::Embedment => "embedment",
        Measurand::ArmTilt => "tilt of the arm",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(least: Option<f64>, most: f64) -> Limit {
        Limit { measurand: Measurand::Depth, least, most, written: String::new(), source: String::new() }
    }

    fn both(value: f64, expanded: f64) -> (Standing, Guarded) {
        let judged = verdict(&limit(Some(3.0), 3.2), Some(Figure::of(value, expanded)), false, &[]);
        (judged.plain, judged.guarded)
    }

    #[test]
    fn the_guarded_statement_speaks_only_when_the_whole_interval_is_on_one_side() {
        let none = || Guarded::NotShown(Vec::new());
        assert_eq!(both(3.1, 0.05), (Standing::Within, Guarded::ShownWithin));
        assert_eq!(both(3.03, 0.05), (Standing::Within, none()));
        assert_eq!(both(2.98, 0.05), (Standing::Outside, none()));
        assert_eq!(both(2.90, 0.05), (Standing::Outside, Guarded::ShownOutside));
        assert_eq!(both(3.26, 0.05), (Standing::Outside, Guarded::ShownOutside));
        assert_eq!(both(3.1, 0.2), (Standing::Within, none()));
    }

    #[test]
    fn a_guard_band_that_reaches_over_the_limit_shows_nothing() {
        let guarded = |guard| verdict(&limit(None, 3.2), Some(Figure { guard, ..Figure::of(3.1, 0.05) }), false, &[]).guarded;
        assert_eq!((guarded(0.09), guarded(0.11)), (Guarded::ShownWithin, Guarded::NotShown(vec![GUARD_BAND.to_owned()])));
    }

    #[test]
    fn a_bar_silences_the_guarded_statement_only() {
        let judged = verdict(&limit(None, 1.0), Some(Figure::of(0.5, 0.01)), false, &["expired".to_owned()]);
        assert_eq!((judged.plain, judged.guarded), (Standing::Within, Guarded::NotShown(vec!["expired".to_owned()])));
    }

    #[test]
    fn a_hole_not_finished_is_not_short() {
        let judged = verdict(&limit(Some(3.0), 3.2), Some(Figure::of(1.0, 0.01)), true, &[]);
        assert_eq!(judged.plain, Standing::Unknown);
        let deep = verdict(&limit(Some(3.0), 3.2), Some(Figure::of(3.5, 0.01)), true, &[]);
        assert_eq!((deep.plain, deep.guarded), (Standing::Outside, Guarded::ShownOutside));
    }
}
