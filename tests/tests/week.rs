//! A week without a cable: sixty holes, forty passes each, in the rig's own memory. Nothing gives way, and in the end a host takes all
//! of it and proves every seal.

use host_tool::facts::{DigestState, read};
use host_tool::proof::{Before, Sealing, SegmentState, Signer};
use shared_protocol::frame::wrap;
use shared_protocol::message::{Ask, Hello, Message};
use tests::week::{HOLES, NOTED, PASSES, SILENT, Week};

/// The most slots that a hole may take, with all of its events.
const SLOTS_PER_HOLE: u32 = 270;

#[test]
fn a_week_without_a_cable_fits_the_memory_and_every_seal_is_proven_at_its_end() {
    let mut week = Week::new();
    for hole in 0..HOLES {
        week.hole(hole);
    }
    week.turn(&wrap(&Message::Ask(Ask { host: 1 })).expect("fits"));
    week.stay(200);
    let Hello { tail, head, capacity, acknowledged, .. } = week.hello;
    assert_eq!((tail, acknowledged), (0, 0), "nothing gave way, and nobody took anything");

    let (store, kept) = week.drain();
    assert!(kept >= head, "{kept} of {head}");
    let rigs = store.rigs().expect("readable");
    let slots = store.stream(&rigs[0]).expect("readable").slots;
    let setups = read(&slots);
    assert_eq!(setups.len(), usize::try_from(HOLES).expect("few"));
    let mut most = 0;
    for (n, setup) in setups.iter().enumerate() {
        let before = if n == 0 { Before::First } else { Before::Follows };
        assert_eq!((setup.digest, setup.sealing), (DigestState::Fits, Sealing::Fits(Signer::Simulated, before)), "hole {n}");
        assert!(setup.segments.iter().all(|segment| segment.state == SegmentState::Fits) && setup.missing.is_empty());
        assert!(setup.passes.len() >= usize::try_from(PASSES).expect("few"));
        assert!(setup.increments.len() >= 130, "{} increments of 25 mm in 3.3 m", setup.increments.len());
        let next = setups.get(n + 1).map_or(head, |next| next.opened.sequence);
        most = most.max(next - setup.opened.sequence);
    }
    let kinds =
        |setup: usize| [setups[setup].increments.len(), setups[setup].changes.len(), setups[setup].faults.len(), setups[setup].notes.len()];
    println!(
        "{HOLES} holes: {head} slots, {:.1} a hole, at most {most}, {:.1} % of {capacity}; increments, changes, faults and notes of one: {:?}",
        f64::from(head) / f64::from(HOLES),
        100.0 * f64::from(head) / f64::from(capacity),
        kinds(0)
    );
    assert!(most <= SLOTS_PER_HOLE, "a hole takes {most} slots");
    assert!(kinds(0)[1] >= 8 && kinds(0)[2] >= 2 * SILENT.len() && kinds(0)[3] == NOTED.len(), "the events are there: {:?}", kinds(0));
}
