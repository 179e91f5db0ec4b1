//! Counts to depth against 64-bit floating point, round the counter's wrap, and what noise does to the bottom.

use super::*;
use crate::bore::{Bore, Round};
use crate::correction::Correction;
use proptest::prelude::{prop_assert, proptest};

fn point(count: i32, length: i32) -> CalibrationPoint {
    CalibrationPoint { count, length: Micrometres(length) }
}

/// The same in 64-bit floating point, written from the definition: straight between the neighbours, straight on beyond.
fn truth(table: &[CalibrationPoint], count: i64) -> f64 {
    let falls = table[1].count < table[0].count;
    let past = |p: &CalibrationPoint| if falls { count < i64::from(p.count) } else { count > i64::from(p.count) };
    let n = table.iter().skip(1).take(table.len() - 2).filter(|p| past(p)).count();
    let (a, b) = (&table[n], &table[n + 1]);
    let slope = (f64::from(b.length.0) - f64::from(a.length.0)) / (f64::from(b.count) - f64::from(a.count));
    f64::from(a.length.0) + slope * (count as f64 - f64::from(a.count))
}

/// A second rope layer runs 6.061 % slower or faster (check values: drum layers); between points by hand.
#[test]
fn a_table_is_straight_between_its_points_and_beyond() {
    let table = [point(0, 0), point(100_000, 10_000_000), point(200_000, 19_393_900)];
    for (count, want) in [(0, 0), (50_000, 5_000_000), (100_000, 10_000_000), (150_000, 14_696_950), (210_000, 20_333_290), (-10, -1_000)] {
        assert_eq!(length(&table, count).0, want, "{count}");
    }
    assert_eq!(length(&[], 5).0, 0);
    assert_eq!(length(&table[..1], 5).0, 0);
}

fn reading(depth: &mut Depth, profile: &Profile, count: i32, now: u32) -> Taken {
    depth.take(profile, Reading::Good(count), Millis(now))
}

/// The same count every 50 ms.
fn still(depth: &mut Depth, profile: &Profile, count: i32, rounds: core::ops::Range<u32>) {
    for n in rounds {
        let _ = reading(depth, profile, count, n * 50);
    }
}

/// An encoder that keeps its place has wrapped since the hub was touched, and the rig was started again.
#[test]
fn the_hub_is_restored_on_the_right_side_of_the_counters_wrap() {
    for (hub, sign) in [(i32::MAX - 100, 1), (i32::MIN + 100, -1), (500, 1)] {
        let calibration = [point(hub - sign * 199_000, -sign * 19_900_000), point(hub - sign * 900, -sign * 90_000)].into_iter().collect();
        let (profile, mut depth) = (Profile { calibration, ..Profile::bench() }, Depth::default());
        depth.set_tool(Micrometres::from_mm(900));
        depth.restore_hub(&profile, hub);
        assert!(depth.referenced());
        still(&mut depth, &profile, hub.wrapping_add(sign * 1_000), 0..12);
        assert_eq!(depth.tip().unwrap().0, sign * 100_000, "1,000 counts from {hub}");
        depth.restore_hub(&profile, hub.wrapping_add(sign * 500)); // touched beyond the wrap
        assert_eq!(depth.tip().unwrap().0, sign * 50_000);
    }
}

#[test]
fn the_counter_may_wrap_either_way() {
    for (start, step) in [(i32::MAX - 300, 100), (i32::MIN + 300, -100)] {
        let table = [point(start - 10_000 * step, -100_000_000), point(start, 0)].into_iter().collect();
        let (profile, mut depth) = (Profile { calibration: table, ..Profile::bench() }, Depth::default());
        let mut count = start;
        still(&mut depth, &profile, count, 0..12);
        depth.touch_hub().unwrap();
        for n in 12..40 {
            count = count.wrapping_add(step);
            assert_eq!(reading(&mut depth, &profile, count, n * 50), Taken::Moved);
        }
        assert_eq!(depth.tip().unwrap().0, 280_000, "28 steps of 10 mm");
    }
}

#[test]
fn the_hub_is_not_touched_by_a_tip_that_moves() {
    let (profile, mut depth) = (Profile::bench(), Depth::default());
    for n in 0..20 {
        let _ = reading(&mut depth, &profile, i32::try_from(n).unwrap() * 50, n * 50); // 100 mm/s
    }
    assert_eq!(depth.touch_hub(), None);
    still(&mut depth, &profile, 1_000, 20..32);
    assert!(depth.touch_hub().is_some());
}

#[test]
fn a_window_needs_four_tenths_of_a_second_whatever_the_instants() {
    let (profile, mut depth) = (Profile::bench(), Depth::default());
    for (n, now) in [0, 67, 134, 201, 268, 335].into_iter().enumerate() {
        let _ = reading(&mut depth, &profile, 0, now);
        assert!(depth.window_lengths().is_none(), "{n}");
    }
    let _ = reading(&mut depth, &profile, 0, 402);
    assert!(depth.window_lengths().is_some());
    for n in 0..100 {
        let _ = reading(&mut depth, &profile, 0, 435 + n * 33);
        assert!(depth.window_lengths().is_some() && depth.window.len() <= WINDOW);
    }
}

/// Noise of a normal distribution, near enough: twelve uniform numbers (Irwin–Hall), from a generator of 64 bits.
fn bell(state: &mut u64) -> f64 {
    let mut sum = -6.0;
    for _ in 0..12 {
        *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        sum += f64::from(u32::try_from(*state >> 32).unwrap()) / 4_294_967_296.0;
    }
    sum
}

/// A tool at rest at 1,000 mm, seen through noise of 2 mm 10,000 times: a running maximum is 8 mm too deep, and the bottom
/// that was held less than 1 mm (design: arithmetic, depth).
#[test]
fn held_bottom_is_not_biased_by_noise() {
    let mut worst: f64 = 0.0;
    for seed in 1..=20 {
        let (profile, mut depth, mut state) = (Profile::bench(), Depth::default(), seed);
        still(&mut depth, &profile, 0, 0..12);
        depth.touch_hub().unwrap();
        let mut bore = Bore::new(Micrometres(0), Micrometres::from_mm(25), Micrometres::from_mm(1_000));
        let (mut tip, mut deepest) = (0.0, 0.0f64);
        for n in 12..10_400 {
            tip = f64::min(tip + 5.0, 1_000.0); // 100 mm/s down to the bottom, then at rest
            #[allow(clippy::cast_possible_truncation)]
            let count = ((tip + 2.0 * bell(&mut state)) * 10.0).round() as i32;
            deepest = deepest.max(f64::from(count) / 10.0);
            let now = Millis(n * 50);
            let _ = reading(&mut depth, &profile, count, n * 50);
            let (window, tip) = (depth.window(), depth.tip());
            let round = Round { now, window, tip, force: None, depth_fresh: true, correction: Correction::default(), temperature: None };
            bore.take(&round);
        }
        assert!(deepest - 1_000.0 > 6.0, "a running maximum: {deepest}");
        let bias = f64::from(bore.bottom().0) / 1e3 - 1_000.0;
        worst = if bias.abs() > worst.abs() { bias } else { worst };
    }
    assert!(worst.abs() < 1.0, "{worst} mm");
}

/// What a cut of the power can cost of a hole: an increment, and what the going cuts while the window fills and until the round
/// that makes the record. Rounds come 33 to 67 ms apart; the one before may have missed the step by nothing.
#[test]
fn what_is_cut_and_not_on_record_is_an_increment_a_window_and_a_round() {
    const GOING: u32 = 20; // mm/s, which is µm/ms
    let (profile, mut depth) = (Profile::bench(), Depth::default());
    still(&mut depth, &profile, 0, 0..12);
    depth.touch_hub().unwrap();
    let mut bore = Bore::new(Micrometres(0), Micrometres::from_mm(25), Micrometres::from_mm(3_000));
    let (mut at, mut recorded, mut worst) = (600, Micrometres(0), 0);
    for n in 0..3_000 {
        at += 33 + n * n % 35;
        let cut = i32::try_from(GOING * (at - 600)).unwrap();
        worst = worst.max(Micrometres(cut).minus(recorded).0); // the power goes just before this round
        let _ = reading(&mut depth, &profile, cut / 100, at);
        let (now, window, tip) = (Millis(at), depth.window(), depth.tip());
        let round = Round { now, window, tip, force: None, depth_fresh: true, correction: Correction::default(), temperature: None };
        recorded = bore.take(&round).increment.map_or(recorded, |increment| increment.depth);
    }
    let without_the_round = 25_000 + i32::try_from(GOING).unwrap() * 500 + 200;
    let with_it = without_the_round + i32::try_from(GOING).unwrap() * 67;
    assert!((without_the_round + 1..=with_it).contains(&worst), "{worst} µm of {with_it}");
}

proptest! {
    #[test]
    fn tables_agree_with_64_bit_floating_point(
        start: i32,
        first in -100_000_000i32..0,
        steps in proptest::collection::vec((1_000i32..100_000_000, 1i32..14_000_000), 1..8),
        falls: bool,
        count in -(1i64 << 32)..(1i64 << 32),
    ) {
        let mut table = vec![point(start, first)];
        for (run, rise) in steps {
            let last = *table.last().unwrap();
            let Some(next) = last.count.checked_add(if falls { -run } else { run }) else { break };
            table.push(point(next, last.length.0 + rise));
        }
        if table.len() > 1 {
            let want = truth(&table, count);
            let ours = f64::from(length(&table, count).0);
            if want.abs() < 2e9 {
                prop_assert!((ours - want).abs() <= 0.5 + 1e-5, "{ours} for {want}");
            } else {
                prop_assert!(ours.abs() >= 1.99e9 && ours.signum() == want.signum(), "{ours} for {want}");
            }
        }
    }

    #[test]
    fn nothing_overflows_whatever_the_encoder_says(
        table in proptest::collection::vec((proptest::prelude::any::<i32>(), proptest::prelude::any::<i32>()), 0..9),
        rounds in proptest::collection::vec((0u8..12, proptest::prelude::any::<i32>(), proptest::prelude::any::<u32>()), 0..60),
        tool: i32,
    ) {
        let table = table.iter().take(8).map(|&(count, length)| point(count, length)).collect();
        let profile = Profile { calibration: table, ..Profile::bench() };
        let mut depth = Depth::default();
        depth.set_tool(Micrometres(tool));
        let mut now = Millis(0);
        for (kind, count, ms) in rounds {
            now = now.plus(if kind % 2 == 0 { ms % 200 } else { ms });
            let reading = match kind {
                0 => Reading::Stale,
                1 => Reading::Fault(SensorFault::Silent),
                2..=5 => Reading::Good(count),
                _ => Reading::Good(count % 100),
            };
            depth.take(&profile, reading, now);
            let _ = (depth.touch_hub(), depth.tip(), depth.window().map(|w| w.spread()));
        }
    }
}
