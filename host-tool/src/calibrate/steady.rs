//! When the sensors have come to rest: one reading out of many, with what it is worth.

use super::{Pair, count, mg};
use shared_protocol::message::Raw;
use shared_protocol::record::NO_TEMPERATURE;
use shared_protocol::units::Millis;
use std::collections::VecDeque;

/// Seconds of rest that make a reading; each gives one mean.
pub const SECONDS: usize = 5;
/// Raw readings are means over the last second: those nearer to each other than this share samples, ms.
const APART_MS: u32 = 950;
/// Readings further apart than this are not one rest, ms.
const BROKEN_MS: u32 = 3_000;
/// Samples that a second's mean needs at least.
const SAMPLES_MIN: u16 = 10;
/// Scatter within a second beyond which the sensor is shaken, µg.
pub const SCATTER_MAX: f64 = 5_000.0;
/// How far means of resting seconds may lie apart, beyond what their own noise makes of them, µg.
const DRIFT_MAX: f64 = 300.0;
/// Counts that a resting encoder may flicker.
const FLICKER: i32 = 2;

/// A steady reading of the tilt sensor, in its own axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attitude {
    /// Mean specific force on the two level axes, µg.
    pub level: Pair,
    /// Mean specific force along the tool, µg.
    pub up: f64,
    /// Standard uncertainty of the mean on each level axis, µg.
    pub standard: f64,
    /// Temperature, °C, where the sensor gives one.
    pub temperature: Option<f64>,
}

impl Attitude {
    /// Size of the whole vector, µg.
    #[must_use]
    pub fn gravity(&self) -> f64 {
        self.level.size().hypot(self.up)
    }

    /// For a person to read.
    #[must_use]
    pub fn text(&self) -> String {
        let temperature = self.temperature.map_or_else(String::new, |t| format!(", {t:.1} °C"));
        format!("forward {}, right {}, ±{:.2} mg{temperature}", mg(self.level.forward), mg(self.level.right), self.standard / 1e3)
    }
}

/// What a collector says of the readings so far.
#[derive(Clone, Debug, PartialEq)]
pub enum Rest<T> {
    /// At rest: the reading.
    Steady(T),
    /// Not yet, and why.
    Wait(String),
}

/// Collects raw readings until the tilt sensor rests.
#[derive(Clone, Debug, Default)]
pub struct Attitudes(VecDeque<Raw>);

impl Attitudes {
    /// Takes one more.
    pub fn take(&mut self, raw: &Raw) -> Rest<Attitude> {
        if raw.samples < SAMPLES_MIN {
            self.0.clear();
            return Rest::Wait(format!("{} samples a second from the tilt sensor, {SAMPLES_MIN} are needed: is it at fault?", raw.samples));
        }
        let scatter = f64::from(raw.scatter) * 10.0;
        if scatter > SCATTER_MAX {
            self.0.clear();
            return Rest::Wait(format!(
                "shaken: scatter {:.1} mg, {:.1} mg at most; engine off, hands off",
                scatter / 1e3,
                SCATTER_MAX / 1e3
            ));
        }
        if keep(&mut self.0, raw) && moves(&self.0) {
            let newest = self.0.pop_back();
            self.0 = newest.into_iter().collect();
            return Rest::Wait("moving".to_owned());
        }
        if self.0.len() < SECONDS {
            return Rest::Wait(format!("resting, {} of {SECONDS} s", self.0.len()));
        }
        Rest::Steady(attitude(&self.0))
    }
}

/// Adds a reading that shares no samples with the last one kept; whether it did.
fn keep(kept: &mut VecDeque<Raw>, raw: &Raw) -> bool {
    let since = kept.back().map(|last| raw.at.since(last.at));
    if since.is_some_and(|ms| ms < APART_MS) {
        return false;
    }
    if since.is_some_and(|ms| ms > BROKEN_MS) {
        kept.clear();
    }
    if kept.len() >= SECONDS {
        kept.pop_front();
    }
    kept.push_back(*raw);
    true
}

fn level(raw: &Raw) -> Pair {
    Pair::new(f64::from(raw.forward.0), f64::from(raw.right.0))
}

/// Standard uncertainty of one second's mean by its own scatter, which counts both axes together: s/√2/√n, µg.
fn of_one(raw: &Raw) -> f64 {
    f64::from(raw.scatter) * 10.0 / 2.0_f64.sqrt() / f64::from(raw.samples.max(1)).sqrt()
}

fn moves(kept: &VecDeque<Raw>) -> bool {
    let noise = kept.iter().map(of_one).fold(0.0, f64::max);
    let range = |part: fn(Pair) -> f64| {
        let parts = || kept.iter().map(|raw| part(level(raw)));
        parts().fold(f64::NEG_INFINITY, f64::max) - parts().fold(f64::INFINITY, f64::min)
    };
    range(|p| p.forward).max(range(|p| p.right)) > DRIFT_MAX + 5.0 * noise
}

/// The mean of the seconds, and what it is worth: by how the seconds differ (JCGM 100:2008, 4.2.3, both axes pooled) or
/// by the scatter within them, whichever is more. The first sees what is slower than a second, the second what a few
/// seconds hide by chance.
fn attitude(kept: &VecDeque<Raw>) -> Attitude {
    let n = count(kept.len().max(1));
    let mean = kept.iter().map(level).fold(Pair::default(), Pair::plus).times(1.0 / n);
    let squares: f64 = kept.iter().map(|raw| level(raw).minus(mean).size().powi(2)).sum();
    let between = (squares / (2.0 * (n - 1.0).max(1.0)) / n).sqrt();
    let within = (kept.iter().map(|raw| of_one(raw).powi(2)).sum::<f64>() / n / n).sqrt();
    let temperatures: Vec<f64> =
        kept.iter().filter(|raw| raw.temperature != NO_TEMPERATURE).map(|raw| f64::from(raw.temperature)).collect();
    Attitude {
        level: mean,
        up: kept.iter().map(|raw| f64::from(raw.up.0)).sum::<f64>() / n,
        standard: between.max(within),
        temperature: (temperatures.len() == kept.len()).then(|| temperatures.iter().sum::<f64>() / n / 100.0),
    }
}

/// Collects raw readings until the encoder rests.
#[derive(Clone, Debug, Default)]
pub struct Counts(VecDeque<(Millis, i32)>);

impl Counts {
    /// Takes one more.
    pub fn take(&mut self, raw: &Raw) -> Rest<i32> {
        if raw.count_good != 1 {
            self.0.clear();
            return Rest::Wait("no good count from the depth encoder: is it at fault?".to_owned());
        }
        let (least, most) = self.0.iter().fold((raw.count, raw.count), |(l, m), (_, c)| (l.min(*c), m.max(*c)));
        let broken = self.0.back().is_some_and(|(at, _)| raw.at.since(*at) > BROKEN_MS);
        if broken || most.saturating_sub(least) > FLICKER {
            self.0.clear();
        }
        self.0.push_back((raw.at, raw.count));
        let rested = self.0.front().map_or(0, |(at, _)| raw.at.since(*at));
        if rested < APART_MS * 2 {
            return Rest::Wait(format!("count {}, waiting for it to rest", raw.count));
        }
        let sum: f64 = self.0.iter().map(|(_, c)| f64::from(*c)).sum();
        Rest::Steady(super::whole(sum / count(self.0.len())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::units::MicroG;

    fn raw(n: u32, forward: i32, right: i32, scatter: u16) -> Raw {
        Raw {
            at: Millis(n * 500),
            count: 4_000,
            forward: MicroG(forward),
            right: MicroG(right),
            up: MicroG(1_000_000),
            samples: 20,
            scatter,
            temperature: 1_850,
            count_good: 1,
        }
    }

    fn after<T: std::fmt::Debug>(rest: &Rest<T>) -> &T {
        match rest {
            Rest::Steady(reading) => reading,
            Rest::Wait(why) => panic!("{why}"),
        }
    }

    fn why<T: std::fmt::Debug>(rest: Rest<T>) -> String {
        match rest {
            Rest::Wait(why) => why,
            Rest::Steady(reading) => panic!("{reading:?}"),
        }
    }

    #[test]
    fn five_seconds_that_share_no_samples_make_a_reading() {
        let mut attitudes = Attitudes::default();
        // 8 more half seconds: one mean a second
        assert_eq!(why(attitudes.take(&raw(0, 1_000, -500, 0))), "resting, 1 of 5 s");
        for n in 1..8 {
            why(attitudes.take(&raw(n, 1_000, -500, 0)));
        }
        let rest = attitudes.take(&raw(8, 1_000, -500, 0));
        let reading = after(&rest);
        assert_eq!((reading.level, reading.temperature, reading.standard), (Pair::new(1_000.0, -500.0), Some(18.5), 0.0));
        assert_eq!(reading.text(), "forward +1.00 mg, right -0.50 mg, ±0.00 mg, 18.5 °C");
    }

    /// 20 samples a second scatter by 447 µg, both axes together: 316 on each, 70.7 a second's mean, 31.6 the mean of five.
    #[test]
    fn a_reading_is_worth_what_its_samples_scatter() {
        let mut attitudes = Attitudes::default();
        let rest = (0..9).map(|n| attitudes.take(&raw(n, 0, 0, 45))).last().unwrap();
        assert!((after(&rest).standard - 450.0 / 2.0_f64.sqrt() / 100.0_f64.sqrt()).abs() < 1e-9);
    }

    /// Means −100, 0, 100, 0, −100 on one axis and nothing on the other: Σ = 28,000 about −20, so √(28,000/8/5).
    #[test]
    fn or_what_its_seconds_differ_where_that_is_more() {
        let mut attitudes = Attitudes::default();
        let means = [-100, -100, 0, 0, 100, 100, 0, 0, -100];
        let rest = (0..).zip(means).map(|(n, mean)| attitudes.take(&raw(n, mean, 0, 1))).last().unwrap();
        assert!((after(&rest).standard - (28_000.0_f64 / 8.0 / 5.0).sqrt()).abs() < 1e-9, "{rest:?}");
    }

    #[test]
    fn what_moves_or_shakes_is_waited_for() {
        let mut attitudes = Attitudes::default();
        why(attitudes.take(&raw(0, 0, 0, 0)));
        assert_eq!(why(attitudes.take(&raw(2, 400, 0, 0))), "moving");
        assert_eq!(why(attitudes.take(&raw(4, 400, 0, 0))), "resting, 2 of 5 s");
        assert!(why(attitudes.take(&raw(6, 400, 0, 501))).starts_with("shaken: scatter 5.0 mg"));
        let noisy = |n| raw(n, if n % 4 == 0 { 0 } else { 700 }, 0, 60); // 95 µg on a second's mean: 700 is within 300 + 5·95
        assert!(matches!((8..17).map(|n| attitudes.take(&noisy(n))).last(), Some(Rest::Steady(_))));
        let few = Raw { samples: 9, ..raw(20, 0, 0, 0) };
        assert!(why(attitudes.take(&few)).starts_with("9 samples a second"));
        assert_eq!(why(attitudes.take(&raw(22, 0, 0, 0))), "resting, 1 of 5 s");
        assert_eq!(why(attitudes.take(&raw(30, 0, 0, 0))), "resting, 1 of 5 s", "after four seconds without news");
    }

    #[test]
    fn a_count_rests_for_two_seconds() {
        let mut counts = Counts::default();
        let at = |n, count| Raw { count, ..raw(n, 0, 0, 0) };
        for n in 0..4 {
            why(counts.take(&at(n, 4_000)));
        }
        assert_eq!(*after(&counts.take(&at(4, 4_002))), 4_000); // (4 × 4,000 + 4,002)/5
        why(counts.take(&at(5, 4_003)));
        let good = Raw { count_good: 0, ..at(6, 4_003) };
        assert!(why(counts.take(&good)).starts_with("no good count"));
    }
}
