//! Set-ups joined.

use super::*;
use crate::readiness::tests::{Drill, hole, load, said};
use shared_protocol::state::Leg;

const ON_STAKE: LineAxes = LineAxes { ahead: 0.0, right: 0.0 };

fn radius(attempt: &Attempt<'_>, depth: f64) -> f64 {
    let stations = attempt.stations(ON_STAKE);
    stations.iter().min_by(|a, b| (a.depth - depth).abs().total_cmp(&(b.depth - depth).abs())).unwrap().radius
}

#[test]
fn a_pilot_that_was_reamed_is_as_wide_as_the_reamer_as_far_as_it_went() {
    let plan = load("41", Leg::Single, 1);
    let both = hole(&plan, &Drill::straight(&[(0.76, 3.0), (1.3, 2.0)]));
    let attempt = Attempt::new(vec![&both], Vec::new());
    let stairs: Vec<(f64, f64)> = attempt.cuts.iter().map(|cut| (cut.diameter, cut.bottom)).collect();
    assert_eq!(stairs, [(1.3, 2.0), (0.76, 3.0)]);
    assert_eq!([0.0, 1.9, 2.1, 3.0].map(|depth| radius(&attempt, depth)), [0.65, 0.65, 0.38, 0.38]);
    let stations = attempt.stations(ON_STAKE);
    assert!(stations.windows(2).all(|pair| pair[0].depth < pair[1].depth));
    let ledge: Vec<f64> = stations.iter().filter(|station| (station.depth - 2.0).abs() < 1e-3).map(|station| station.radius).collect();
    assert_eq!(ledge, [0.65, 0.38], "both sides of the ledge are looked at");
}

#[test]
fn set_ups_are_joined_in_the_order_of_their_work_and_the_last_soundings_govern() {
    let plan = load("41", Leg::Single, 1);
    let pilot = hole(&plan, &Drill::straight(&[(0.76, 2.0)]));
    let later = hole(&plan, &Drill { minutes: 600, ..Drill::straight(&[(1.2, 3.0)]) });
    let attempt = Attempt::new(vec![&later, &pilot], Vec::new());
    assert_eq!(attempt.set_ups.iter().map(|hole| hole.handle.as_str()).collect::<Vec<_>>(), ["41-0", "41-600"]);
    assert_eq!(attempt.cuts.len(), 1, "the pilot is gone");
    assert!((attempt.depth().unwrap().value - 3.0).abs() < 1e-6);
    assert_eq!(attempt.leading().unwrap().handle, "41-600");
    assert!(attempt.is_closed() && !attempt.is_sounded());
}

#[test]
fn a_diameter_that_was_measured_counts_and_lies_between_two() {
    let bored = hole(&load("41", Leg::Single, 1), &Drill::straight(&[(1.2, 3.0)]));
    let diameter = |depth_um, diameter_um| said("41", Leg::Single, 1, 5, Said::Diameter { depth_um, diameter_um, standard_um: 4_000 });
    let (top, low) = (diameter(0, 1_300_000), diameter(2_000_000, 1_200_000));
    let attempt = Attempt::new(vec![&bored], vec![&low, &top]);
    let got = [0.0, 1.0, 2.0, 3.0].map(|depth| radius(&attempt, depth));
    assert!(got.iter().zip([0.65, 0.625, 0.6, 0.6]).all(|(got, want)| (got - want).abs() < 1e-9), "{got:?}");
    assert!((attempt.stations(ON_STAKE)[0].radius_standard - 0.002).abs() < 1e-12);
}

/// The axis leads from the hole's middle; 10 mm/m ahead over 3 m is 30 mm, by hand.
#[test]
fn the_bore_leads_from_where_its_middle_is() {
    let bored = hole(&load("41", Leg::Single, 1), &Drill { lean: 10.0, ..Drill::straight(&[(1.2, 3.0)]) });
    let attempt = Attempt::new(vec![&bored], Vec::new());
    let middle = LineAxes { ahead: 0.02, right: -0.03 };
    let stations = attempt.stations(middle);
    let (first, last) = (stations[0], *stations.last().unwrap());
    assert_eq!(first.centre, middle);
    assert!((last.centre.ahead - 0.05).abs() < 2e-4 && (last.centre.right + 0.03).abs() < 1e-9, "{last:?}");
    let half = stations.iter().find(|station| (station.depth - 1.5).abs() < 1e-6).unwrap();
    assert!((half.centre.ahead - 0.035).abs() < 2e-4, "{half:?}");
    assert!((half.centre_standard - last.centre_standard / 2.0).abs() < 1e-9 && first.centre_standard == 0.0);
}

#[test]
fn nothing_is_known_of_a_hole_that_was_not_begun() {
    let loaded = hole(&load("41", Leg::Single, 1), &Drill::straight(&[]));
    let attempt = Attempt::new(vec![&loaded], Vec::new());
    assert!(!attempt.is_begun() && attempt.stations(ON_STAKE).is_empty() && attempt.leading().is_none());
}
