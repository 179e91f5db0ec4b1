//! Two copies through power cuts, damage and a full table.

use super::*;
use crate::calibrate::tests::of as calibration;
use shared_protocol::record::NO_TEMPERATURE;

/// A memory that loses power after so many bytes written.
struct Fram {
    bytes: std::vec::Vec<u8>,
    left: usize,
}

impl Fram {
    fn new() -> Self {
        Self { bytes: vec![0; 8_192], left: usize::MAX }
    }
}

impl Memory for Fram {
    type Error = ();
    fn size(&self) -> u32 {
        8_192
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        let at = usize::try_from(at).unwrap();
        into.copy_from_slice(&self.bytes[at..at + into.len()]);
        Ok(())
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
        for (n, byte) in bytes.iter().enumerate() {
            if self.left == 0 {
                return Err(());
            }
            self.left -= 1;
            self.bytes[usize::try_from(at).unwrap() + n] = *byte;
        }
        Ok(())
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

fn play(value: i32) -> Calibration {
    calibration(CalibrationItem::GuidePlay, &[value])
}

fn loaded(memory: &mut Fram) -> Config {
    let mut config = Config::over(&Profile::bench());
    config.load(memory);
    config
}

fn plays(config: &Config) -> std::vec::Vec<i32> {
    config.calibrations().map(|c| c.values[0]).collect()
}

#[test]
fn an_empty_memory_has_no_calibrations_and_the_profiles_own_digest_counts() {
    let mut memory = Fram::new();
    let config = loaded(&mut memory);
    assert_eq!(config.calibrations().count(), 0);
    assert!(config.stamps().is_empty());
    let other = Profile { winch_max: 2_501, ..Profile::bench() };
    assert_ne!(config.configuration(), Config::over(&other).configuration());
}

#[test]
fn what_is_taken_is_there_after_a_restart_in_place_of_the_one_before() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    let mut digests = vec![config.configuration()];
    for value in [8_000, 7_000, 6_000] {
        assert!(config.take(&mut memory, &play(value)));
        assert!(config.take(&mut memory, &calibration(CalibrationItem::TiltDrift, &[value, 0])));
        let again = loaded(&mut memory);
        assert_eq!(plays(&again), [value, value]);
        assert_eq!(again.configuration(), config.configuration());
        assert!(!digests.contains(&again.configuration()));
        digests.push(again.configuration());
    }
}

#[test]
fn a_power_cut_anywhere_leaves_the_one_before_or_the_new_one() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    assert!(config.take(&mut memory, &play(1_000)));
    assert!(config.take(&mut memory, &play(2_000)));
    let before = memory.bytes.clone();
    let mut seen = [0, 0];
    for left in 0..200 {
        let mut memory = Fram { bytes: before.clone(), left };
        let done = loaded(&mut memory).take(&mut memory, &play(3_000));
        memory.left = usize::MAX;
        match plays(&loaded(&mut memory))[..] {
            [2_000] if !done => seen[0] += 1,
            [3_000] => seen[1] += 1,
            ref other => panic!("{other:?} after {left} bytes"),
        }
    }
    assert!(seen[0] > 40 && seen[1] > 40, "{seen:?}");
}

#[test]
fn a_damaged_copy_gives_way_to_the_one_before() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    assert!(config.take(&mut memory, &play(1_000)));
    assert!(config.take(&mut memory, &play(2_000)));
    let newest = usize::try_from(place(config.number)).unwrap();
    let length = HEAD_BYTES + config.items.len() + 4;
    for bit in 0..length * 8 {
        let mut damaged = Fram { bytes: memory.bytes.clone(), left: usize::MAX };
        damaged.bytes[newest + bit / 8] ^= 1 << (bit % 8);
        assert_eq!(plays(&loaded(&mut damaged)), [1_000], "bit {bit}");
    }
    let mut swapped = Fram::new();
    swapped.bytes[usize::try_from(PLACES[0]).unwrap()..][..1_792]
        .copy_from_slice(&memory.bytes[usize::try_from(PLACES[1]).unwrap()..][..1_792]);
    assert_eq!(loaded(&mut swapped).calibrations().count(), 0, "a copy that does not belong there");
}

#[test]
fn a_copy_names_the_one_before_by_its_digest() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    assert!(config.take(&mut memory, &play(1_000)));
    let first = usize::try_from(place(1)).unwrap();
    let whole = Sha256::digest(&memory.bytes[first..first + HEAD_BYTES + config.items.len()]);
    assert!(config.take(&mut memory, &play(2_000)));
    let second = usize::try_from(place(2)).unwrap();
    assert_eq!(memory.bytes[second + 6..second + 38], whole[..]);
}

#[test]
fn a_key_is_kept_beside_the_calibrations_and_is_in_no_digest_that_leaves_the_rig() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    assert_eq!(config.key(), None);
    assert!(config.take(&mut memory, &play(1_000)));
    let digest = config.configuration();
    let key = Key { secret: Secret([7; 32]), public: [9; 32] };
    assert!(config.take_key(&mut memory, key));
    assert!(config.take(&mut memory, &play(1_000)));
    let again = loaded(&mut memory);
    assert_eq!((again.key(), plays(&again), again.configuration()), (Some(key), vec![1_000], digest));
    assert!(!format!("{again:?}").contains("7, 7"), "not for a log");
    memory.left = 60;
    assert!(!config.take_key(&mut memory, Key { public: [8; 32], ..key }));
    assert_eq!((config.key(), plays(&config)), (Some(key), vec![1_000]), "a memory that fails changes nothing in force");
}

#[test]
fn putting_back_is_a_copy_of_its_own_with_the_old_figures() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    assert!(config.take(&mut memory, &play(1_000)));
    let digest = config.configuration();
    assert!(config.take(&mut memory, &play(2_000)));
    config.put_back(&mut memory);
    assert_eq!((config.number, config.configuration()), (3, digest));
    assert_eq!(plays(&loaded(&mut memory)), [1_000]);
    let (mut memory, mut config) = (Fram::new(), Config::default());
    assert!(config.take(&mut memory, &play(2_000)));
    config.put_back(&mut memory);
    assert_eq!((config.number, plays(&config).len(), plays(&loaded(&mut memory)).len()), (2, 0, 0), "there was none before");
}

/// The number comes round: what is taken, cut or put back on either side of that is what it is anywhere else.
#[test]
fn copies_go_on_over_the_wrap_of_their_number() {
    for number in [u32::MAX - 2, u32::MAX - 1, u32::MAX, 0, 1] {
        let mut memory = Fram::new();
        let mut config = Config { number: number.wrapping_sub(2), ..loaded(&mut memory) };
        assert!(config.take(&mut memory, &play(1_000)));
        assert!(config.take(&mut memory, &play(2_000)));
        assert_eq!((config.number, plays(&loaded(&mut memory))), (number, vec![2_000]));
        let mut seen = [0, 0];
        for left in 0..200 {
            let mut memory = Fram { bytes: memory.bytes.clone(), left };
            let done = loaded(&mut memory).take(&mut memory, &play(3_000));
            memory.left = usize::MAX;
            match plays(&loaded(&mut memory))[..] {
                [2_000] if !done => seen[0] += 1,
                [3_000] => seen[1] += 1,
                ref other => panic!("{other:?} after {left} bytes behind copy {number}"),
            }
        }
        assert!(seen[0] > 40 && seen[1] > 40, "{seen:?}");
        assert!(config.take(&mut memory, &play(3_000)));
        config.put_back(&mut memory);
        let again = loaded(&mut memory);
        assert_eq!(
            (again.number, plays(&again), plays(&config)),
            (number.wrapping_add(2), vec![2_000], vec![2_000]),
            "behind copy {number}"
        );
    }
}

#[test]
fn a_memory_that_fails_changes_nothing_in_force() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    assert!(config.take(&mut memory, &play(1_000)));
    let digest = config.configuration();
    memory.left = 10;
    assert!(!config.take(&mut memory, &play(2_000)));
    assert_eq!((plays(&config), config.configuration()), (vec![1_000], digest));
}

#[test]
fn there_is_room_for_the_longest_of_every_kind() {
    let mut memory = Fram::new();
    let mut config = loaded(&mut memory);
    let who = || "W".repeat(16).as_str().try_into().unwrap();
    let long = |item: CalibrationItem, values: &[i32]| {
        let most = u32::MAX;
        let values = Vec::from_slice(values).unwrap();
        Calibration { item: item.raw(), who: who(), day: most, expires: most, uncertainty: most, residual: most, values }
    };
    let taken = [
        long(CalibrationItem::Encoder, &[i32::MIN; 16]),
        long(CalibrationItem::TiltZero, &[-100_000, -100_000, i32::from(NO_TEMPERATURE)]),
        long(CalibrationItem::TiltDrift, &[-10_000; 2]),
        long(CalibrationItem::Mount, &[-18_000, -1_000_000, -1_000_000]),
        long(CalibrationItem::ToolLevel, &[-50_000; 2]),
        long(CalibrationItem::GuidePlay, &[50_000]),
    ];
    taken.iter().for_each(|calibration| assert!(config.take(&mut memory, calibration)));
    for number in (248..=255).rev() {
        assert!(config.take(&mut memory, &long(CalibrationItem::Tool, &[number, 10_000_000, 5_000_000])));
    }
    let again = loaded(&mut memory);
    assert_eq!(again.calibrations().count(), 14);
    assert_eq!(again.stamps().iter().map(|s| s.item).collect::<std::vec::Vec<_>>(), [1, 2, 3, 4, 5, 6]);
    assert_eq!(again.stamps()[0].value, i32::from(NO_TEMPERATURE));
    assert_eq!(again.stamps()[5].value, 50_000);
    let numbers: std::vec::Vec<i32> = again.calibrations().skip(6).map(|c| c.values[0]).collect();
    assert_eq!(numbers, (248..=255).collect::<std::vec::Vec<_>>(), "in the order of their numbers");
}

proptest::proptest! {
    #[test]
    fn any_bytes_in_memory_are_judged_without_panic(junk in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..64), at in 0usize..3_900) {
        let mut memory = Fram::new();
        let mut config = loaded(&mut memory);
        assert!(config.take(&mut memory, &play(1_000)));
        memory.bytes[at..at + junk.len()].copy_from_slice(&junk);
        let _ = loaded(&mut memory).stamps();
    }
}
