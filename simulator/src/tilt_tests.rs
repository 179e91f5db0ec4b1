//! The tilt sensor against published figures and its own filter.

use super::*;
use crate::chance::Drawer;

const PLUMB: Felt = Felt { force_g: [0.0, 0.0, 1.0], vibration_mg: 0.0, temperature_deg: 20.0 };

fn level(force_g: [f64; 3]) -> Felt {
    Felt { force_g, ..PLUMB }
}

/// check-values §6.3, a ±2 g axis in the 1 g field under normal vibration: its row of Gaussian clipping, whose 1 g
/// figure a published note on rectification measures as about -100 mg; an axis at 0 g is not shifted.
#[test]
fn clipping_moves_the_mean_as_published() {
    for (rms_g, shift_mg) in [(0.1, 0.0), (0.3, -0.034), (0.5, -4.245), (1.0, -82.933), (2.0, -336.98)] {
        let found = 1_000.0 * clipping_shift(1.0, rms_g, 2.0);
        assert!((found - shift_mg).abs() < 0.005, "{rms_g} g: {found} mg");
        assert!(clipping_shift(0.0, rms_g, 2.0).abs() < 1e-15);
        assert!((clipping_shift(-1.0, rms_g, 2.0) * 1_000.0 + shift_mg).abs() < 0.005);
    }
    assert_eq!(clipping_shift(1.0, 0.0, 2.0), 0.0);
}

/// check-values §6.3: a lean of 1.5 % whose z axis alone is shifted by -82.933 mg reads 1.6357 %. The level axis does
/// not keep its own either: of a small mean, the share of the vibration within the range is left, 95.45 % within two
/// standard deviations (tables of the normal law).
#[test]
fn a_filter_behind_does_not_mend_what_clipped() {
    let tilt = Tilt { vibration_inside: 100.0, filter_hz: 1.0, ..Tilt::default() };
    let (f, up) = (0.014_998_3, 0.999_887_5);
    let says = tilt.says_g(&Felt { vibration_mg: 10.0, ..level([f, 0.0, up]) });
    assert!((100.0 * f / says[2] - 1.6357).abs() < 0.000_3, "{says:?}");
    assert!((says[0] / f - 0.9545).abs() < 0.000_1, "{says:?}");
}

/// check-values §6.3: 5 mg rectified on x is 0.5 % of lean. Rectified is what goes with the square of vibration.
#[test]
fn rectification_goes_with_the_square() {
    let tilt = Tilt { range_g: 3.0, vibration_inside: 50.0, rectified_mg_g2: [20.0, -20.0, 0.0], ..Tilt::default() };
    let says = |vibration_mg| tilt.says_g(&Felt { vibration_mg, ..PLUMB });
    let (half, quarter) = (says(10.0), says(5.0));
    assert!((half[0] - 0.005).abs() < 1e-9 && (half[1] + 0.005).abs() < 1e-9 && (quarter[0] - 0.001_25).abs() < 1e-9, "{half:?}");
    assert!((100.0 * half[0] / half[2] - 0.5).abs() < 0.001);
}

/// check-values §6.2: 25 µg/√Hz through one pole at 10 Hz is 0.0991 mg, 300 µg/√Hz 1.189 mg.
#[test]
fn noise_density_and_corner_make_the_noise() {
    for (density, want_mg) in [(25.0, 0.0991), (300.0, 1.189)] {
        let tilt = Tilt { noise_ug_rt_hz: density, filter_hz: 10.0, ..Tilt::default() };
        assert!((tilt.noise_mg() / want_mg - 1.0).abs() < 0.001, "{}", tilt.noise_mg());
        let mut memory = Memory::new(Chance::new(3, Drawer::Tilt));
        let said: Vec<f64> = (0..40_000_u64).map(|n| f64::from(memory.read(&tilt, &PLUMB, 0.0, Moment(5_000 * n))[0]) / 10.0).collect();
        let sd = (said.iter().map(|mg| mg * mg).sum::<f64>() / 40_000.0).sqrt();
        // With quantisation to 0.1 mg (variance q²/12). Each draw keeps 0.73 of the one before, so that 40,000 are worth
        // 12,000 for a variance: five standard errors.
        let want = (want_mg * want_mg + 0.01 / 12.0_f64).sqrt();
        assert!((sd / want - 1.0).abs() < 0.033, "{sd} {want}");
    }
}

#[test]
fn zero_drift_and_cross_axis_come_with_their_signs() {
    let tilt = Tilt { zero_mg: [3.0, -2.0], drift_mg_deg: [0.1, 0.2], cross_axis: [0.01, -0.02], ..Tilt::default() };
    let close = |felt: Felt, want: [f64; 3]| {
        let says = tilt.says_g(&felt);
        assert!((0..3).all(|axis| (says[axis] - want[axis]).abs() < 1e-12), "{says:?}, expected {want:?}");
    };
    close(PLUMB, [0.003, -0.002, 1.0]);
    close(Felt { temperature_deg: 30.0, ..PLUMB }, [0.004, 0.0, 1.0]);
    close(level([0.1, 0.0, 1.0]), [0.103, -0.004, 1.0]);
    close(level([0.0, 0.1, 1.0]), [0.004, 0.098, 1.0]);
}

/// A sensor turned clockwise by a quarter has its forward axis where the rig's right is.
#[test]
fn a_mounting_turned_clockwise_reads_the_right_side_in_front() {
    let quarter = Tilt { mount_deg: 90.0, ..Tilt::default() };
    let [f, r, _] = quarter.mounted([0.0, 0.012, 1.0]);
    assert!((f - 0.012).abs() < 1e-12 && r.abs() < 1e-12);
    let [f, r, _] = Tilt { mount_deg: 3.0, ..Tilt::default() }.mounted([0.02, 0.0, 1.0]);
    assert!((f - 0.02 * 0.998_63).abs() < 1e-7 && (r + 0.02 * 0.052_336).abs() < 1e-7, "{f} {r}");
}

/// One pole: after 1/(2πf) a step has gone 63.2 % of its way.
#[test]
fn the_filter_takes_its_time() {
    let tilt = Tilt { filter_hz: 1.0, ..Tilt::default() };
    let mut memory = Memory::new(Chance::new(1, Drawer::Tilt));
    let step = |memory: &mut Memory, us, f| memory.read(&tilt, &level([f, 0.0, 1.0]), 0.0, Moment(us))[0];
    assert_eq!(step(&mut memory, 1_000, 0.0), 0);
    assert_eq!(step(&mut memory, 1_000, 0.1), 0, "no time has passed");
    assert_eq!(step(&mut memory, 1_000 + 159_155, 0.1), 632);
    assert_eq!(step(&mut memory, 9_000_000, 0.1), 1_000);
}

#[test]
fn the_range_cuts_what_is_said() {
    let tilt = Tilt::default();
    assert_eq!([2.5, -2.5, 1.0].map(|g| tilt.steps(g)), [20_000, -20_000, 10_000]);
    assert_eq!(Tilt { range_g: 1.05, ..tilt }.steps(2.0), 10_500);
}
