//! A few of the worlds in which anything may fail; `cargo xtask seeds` runs many.

use simulator::sensors::{FaultKind, SensorName};
use std::collections::BTreeSet;
use tests::seeds::faults::{Fault, Kind, What, draw};
use tests::seeds::site::{Ended, Site};
use tests::seeds::{Outcome, run};

#[test]
fn nothing_is_lost_unnamed_and_all_converges() {
    for seed in 1..=12 {
        let Outcome { wrong, faults, .. } = run(seed, &[]);
        assert_eq!(wrong, None, "seed {seed}: {faults:#?}");
    }
}

#[test]
fn the_same_seed_is_the_same_world_to_the_byte() {
    assert_eq!(run(7, &[]), run(7, &[]));
    assert_ne!(run(7, &[]).trace, run(8, &[]).trace);
}

#[test]
fn every_kind_is_drawn_some_are_left_out_and_each_says_itself_in_a_line() {
    let drawn: Vec<Vec<Fault>> = (0..60).map(|seed| draw(seed, &[])).collect();
    let kinds = |faults: &[Fault]| faults.iter().map(|fault| fault.what.kind()).collect::<BTreeSet<Kind>>();
    assert_eq!(kinds(&drawn.concat()).len(), Kind::ALL.len());
    assert!(drawn.iter().filter(|faults| kinds(faults).len() < Kind::ALL.len()).count() > 50);
    let lines: Vec<String> = drawn.concat().iter().map(Fault::to_string).collect();
    assert!(lines.iter().all(|line| line.len() > 20 && !line.contains('\n')), "{lines:#?}");
    let only = draw(3, &[Kind::Rot, Kind::Torn]);
    assert!(kinds(&only).is_subset(&[Kind::Rot, Kind::Torn].into()) && !draw(3, &[]).is_empty());
}

fn with(fault: Option<What>) -> Ended {
    let faults = fault.into_iter().map(|what| Fault { at_ms: 20_000, what }).collect();
    Site::start(5, faults, |memory| memory, |store| store).run()
}

#[test]
fn each_fault_that_is_set_changes_the_world_and_is_borne() {
    let quiet = with(None);
    assert_eq!(quiet.wrong, None);
    let for_ms = 9_000;
    let faults = [
        What::Torn { byte: 40, off_ms: 700 },
        What::Supply { off_ms: 700, again: vec![20, 5] },
        What::Rot((0..64).map(|n| (4_096 + n * 37, 4)).collect()),
        What::Refusing { after: 9, for_ms },
        What::Noise { per_million: [20_000, 1_000, 5_000, 5_000], for_ms },
        What::Unplugged { for_ms },
        What::Sensor { sensor: SensorName::Encoder, how: FaultKind::Stuck, for_ms },
        What::Killed { for_ms },
        What::Other { for_ms },
    ];
    for fault in faults {
        let Ended { wrong, trace, .. } = with(Some(fault.clone()));
        assert_eq!(wrong, None, "{fault:?}");
        assert_ne!(trace, quiet.trace, "{fault:?}");
    }
}
