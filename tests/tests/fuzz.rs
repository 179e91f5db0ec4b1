//! A short run of the fuzzer with every test run; the long one is `cargo xtask fuzz`.

use tests::fuzz::Fuzzer;

#[test]
fn mutated_frames_reach_the_parsers_and_nothing_panics() {
    let mut fuzzer = Fuzzer::new(20_261_124);
    (0..60_000).for_each(|_| fuzzer.run());
    let seen = fuzzer.seen;
    assert!(seen.share() >= 0.5, "{seen:?}");
    assert!(seen.records > 3_000 && seen.messages > 3_000 && seen.refused > 3_000, "{seen:?}");
}
