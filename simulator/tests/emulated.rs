//! The emulated board on the bench, against the native rig: the same scenario, seed and ticks make the same bytes.
//! They need the image: `BOARD_IMAGE=path/to/rig cargo test -p simulator --test emulated -- --ignored`
#![cfg(unix)]

mod common;

use common::{closed, raw, run, scenario};
use simulator::bench::Bench;
use simulator::emulated::EmulatedMachine;
use simulator::machine::Machine;
use simulator::scenario::{FAULT_PARADE, STILL_HOLE, TWO_POLE};
use std::path::PathBuf;

fn image() -> PathBuf {
    PathBuf::from(std::env::var_os("BOARD_IMAGE").expect("BOARD_IMAGE names the image; build it with cargo xtask firmware"))
}

/// The slots as they came, and the memory where they are kept.
fn both<M: Machine>(text: &str, seed: u64, machine: M) -> (Vec<[u8; 32]>, Vec<u8>, Vec<f64>) {
    let mut bench = Bench::new(&scenario(text), seed, machine).unwrap();
    let host = run(&mut bench);
    (raw(&host), bench.machine().memory().unwrap(), closed(&host))
}

fn compare(text: &str, seed: u64) {
    let native = both(text, seed, simulator::native::NativeMachine::start(simulator::memory::RamMemory::default()).unwrap());
    let emulated = both(text, seed, EmulatedMachine::start(&image(), None).unwrap());
    let differs = native.0.iter().zip(&emulated.0).position(|(a, b)| a != b);
    assert_eq!(differs, None, "slot {differs:?} of {} and {}", native.0.len(), emulated.0.len());
    assert_eq!(native.0.len(), emulated.0.len());
    assert!(native.1 == emulated.1, "the memories differ");
}

#[test]
#[ignore = "needs the board's image"]
fn a_still_hole_is_the_same_to_the_byte() {
    compare(STILL_HOLE, 1);
}

#[test]
#[ignore = "needs the board's image"]
fn both_holes_of_the_structure_are_the_same_to_the_byte() {
    compare(TWO_POLE, 27);
}

#[test]
#[ignore = "needs the board's image"]
fn a_parade_of_faults_with_a_power_cut_is_the_same_to_the_byte() {
    compare(FAULT_PARADE, 13);
}

#[test]
#[ignore = "needs the board's image"]
fn a_killed_board_goes_on_with_the_memory_that_it_left() {
    let folder = tempfile::TempDir::new().unwrap();
    let memory = folder.path().join("memory,with a comma");
    let text = STILL_HOLE.replace("lean = [", "event = [{ at_mm = 400, what = { power-cut = { off_s = 5 } } }]\nlean = [");
    let mut bench = Bench::new(&scenario(&text), 1, EmulatedMachine::start(&image(), Some(&memory)).unwrap()).unwrap();
    let host = run(&mut bench);
    assert_eq!(host.rig().unwrap().boot, 2);
    assert!((closed(&host)[0] - 630.0).abs() <= 0.2);
    let figures = bench.machine_mut().figures().unwrap();
    assert!(figures.turns > 1_000 && figures.stack_bytes > 500 && figures.worst_ticks * 16 >= figures.mean_ticks_x16, "{figures:?}");
    assert!(!bench.machine().log().is_empty());
    drop(bench);
    let mut again = EmulatedMachine::start(&image(), Some(&memory)).unwrap();
    again.turn(5, &[], &[]).unwrap();
    drop(again);
    assert!(memory.exists(), "a memory that was given stays");
}
