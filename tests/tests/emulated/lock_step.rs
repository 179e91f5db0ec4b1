//! The board in lock-step with the simulated world: time is told to it, so every run is the same run.

use crate::image;
use host_tool::facts::DigestState;
use host_tool::papers::Job;
use host_tool::store::Store;
use shared_protocol::state::{Check, ReferenceState};
use simulator::bench::Bench;
use simulator::emulated::EmulatedMachine;
use simulator::machine::Machine;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::{FAULT_PARADE, STILL_HOLE, Scenario, TWO_POLE};
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;
use tests::cab::Cab;

fn site<M: Machine>(text: &str, seed: u64, machine: M, folder: &Path) -> Cab<M> {
    let scenario = Scenario::parse("a test's", text).expect("sound");
    Cab::new(Bench::new(&scenario, seed, machine).expect("fits"), folder.join("site.store"))
}

fn board() -> EmulatedMachine {
    EmulatedMachine::start(&image(), None).expect("the emulated board starts")
}

/// What a site leaves: every slot stored, and the whole memory.
///
/// The host's number is chance, and commands are numbered by it: both sites begin with a copy of one empty store.
fn leaves<M: Machine>(text: &str, seed: u64, machine: M, empty: &Path) -> (Vec<[u8; 32]>, Vec<u8>) {
    let folder = TempDir::new().expect("a folder");
    std::fs::copy(empty, folder.path().join("site.store")).expect("copied");
    let mut cab = site(text, seed, machine, folder.path());
    cab.finish();
    (cab.stored().iter().map(|slot| *slot.bytes()).collect(), cab.bench.machine().memory().expect("shown"))
}

fn the_same_to_the_byte(text: &str, seed: u64) {
    let folder = TempDir::new().expect("a folder");
    let empty = folder.path().join("empty.store");
    drop(Store::open(&empty).expect("made"));
    let native = leaves(text, seed, NativeMachine::start(RamMemory::default()).expect("starts"), &empty);
    let emulated = leaves(text, seed, board(), &empty);
    let differs = native.0.iter().zip(&emulated.0).position(|(a, b)| a != b);
    assert_eq!(differs, None, "the first slot that differs, of {} and {}", native.0.len(), emulated.0.len());
    assert_eq!(native.0.len(), emulated.0.len());
    assert!(native.1 == emulated.1, "the memories differ");
    assert!(native.0.len() > 40);
}

#[test]
fn a_still_hole_is_the_same_to_the_byte() {
    the_same_to_the_byte(STILL_HOLE, 1);
}

#[test]
fn a_parade_of_faults_with_a_power_cut_is_the_same_to_the_byte() {
    the_same_to_the_byte(FAULT_PARADE, 13);
}

#[test]
fn both_holes_are_drilled_by_the_image_and_the_store_holds_what_the_world_did() {
    let folder = TempDir::new().expect("a folder");
    let text = TWO_POLE.replace("seed = 27", "seed = 27\nstill = true").replace("slip_mm_per_trip = 0.2", "slip_mm_per_trip = 0");
    let mut cab = site(&text, 27, board(), folder.path());
    cab.finish();
    assert_eq!(cab.stored(), cab.remembered());
    let (setups, truth) = (cab.setups(), cab.bench.truth());
    assert_eq!((setups.len(), truth.len()), (2, 2));
    for (setup, truth) in setups.iter().zip(truth) {
        let bottom_mm = f64::from(setup.closed.as_ref().expect("closed").body.bottom.0) / 1e3;
        assert!((bottom_mm - truth.held_mm).abs() <= 0.2, "two counts of 0.1 mm: {bottom_mm} for {}", truth.held_mm);
        let mean = truth.mean_lean().expect("cut");
        let judged = host_tool::judge::judge(setup).mean_lean.expect("measured");
        let heading = setup.opened.body.plan.heading;
        let want = host_tool::judge::to_line(mean.forward, mean.right, heading);
        let off = (judged.ahead * 1e3 - want.ahead).hypot(judged.right * 1e3 - want.right);
        assert!(off <= 0.2, "mean lean is off by {off} mm/m");
        assert_eq!(setup.digest, DigestState::Fits);
    }
}

#[test]
fn a_cable_out_for_a_minute_costs_the_board_no_slot() {
    let folder = TempDir::new().expect("a folder");
    let event = "event = [{ at_mm = 200, what = { unplug = { for_s = 60 } } }]\nlean = [";
    let text = STILL_HOLE.replace("lean = [", event).replace("feed_mm_s = 20", "feed_mm_s = 5");
    let mut cab = site(&text, 1, board(), folder.path());
    cab.until("the cable out", |cab| !cab.bench.is_plugged());
    let (out, before) = (cab.now(), cab.stored().len());
    cab.until("the cable in again", |cab| cab.bench.is_plugged());
    assert!(cab.now() - out >= 59_990 && cab.remembered().len() > before + 5, "a minute of drilling");
    cab.finish();
    assert_eq!(cab.stored(), cab.remembered());
    let sequences: Vec<u32> = cab.stored().iter().map(|slot| slot.sequence()).collect();
    assert_eq!(sequences, (0..u32::try_from(sequences.len()).expect("few")).collect::<Vec<_>>(), "none missing, none twice");
}

#[test]
fn a_board_killed_in_mid_hole_keeps_its_slots_and_the_paper_says_what_happened() {
    let folder = TempDir::new().expect("a folder");
    let text = STILL_HOLE.replace("lean = [", "event = [{ at_mm = 400, what = { power-cut = { off_s = 5 } } }]\nlean = [");
    let memory = folder.path().join("memory, with a comma");
    let machine = EmulatedMachine::start(&image(), Some(&memory)).expect("starts");
    let mut cab = site(&text, 1, machine, folder.path());
    cab.until("the power cut", |cab| !cab.bench.is_powered());
    let kept = cab.remembered();
    cab.finish();
    assert_eq!(cab.remembered()[..kept.len()], kept, "what stood in the memory stands there still");
    assert_eq!(cab.stored(), cab.remembered());
    let setup = cab.setups().remove(0);
    let reference = |c: &&host_tool::facts::Timed<shared_protocol::record::Change>| c.body.check == Check::Reference.raw();
    let states: Vec<_> = setup.changes.iter().filter(reference).map(|c| ReferenceState::from_raw(c.body.state)).collect();
    let (none, hub) = (Some(ReferenceState::Unreferenced), Some(ReferenceState::Hub));
    assert_eq!(states, [none, hub, none, hub]);
    assert_eq!(setup.restarts.len(), 1);
    let restarted = setup.restarts[0].sequence;
    let tied = setup.hubs.iter().find(|hub| hub.sequence > restarted).expect("the hub is touched again").sequence;
    assert!(setup.increments.iter().all(|i| !(restarted..tied).contains(&i.sequence)), "no depth that nobody knows");
    let paper = text_of_paper(&folder.path().join("site.store"), folder.path());
    for words in ["restarted once", "Depth not tied to the hub", "SIMULATED"] {
        assert!(paper.to_lowercase().contains(&words.to_lowercase()), "{words} is not on paper");
    }
}

fn text_of_paper(store: &Path, folder: &Path) -> String {
    let store = Store::open_existing(store).expect("the store");
    let papers = Job::of(&store, &[], None).expect("all").print(folder, |_| ()).expect("printed");
    let out =
        Command::new("pdftotext").arg("-layout").arg(&papers[0].path).arg("-").output().expect("pdftotext: run tests/install-debian.sh");
    String::from_utf8(out.stdout).expect("UTF-8")
}

#[test]
fn the_image_knows_its_own_figures_and_logs() {
    let folder = TempDir::new().expect("a folder");
    let mut cab = site(STILL_HOLE, 1, board(), folder.path());
    cab.run_for(20_000);
    let figures = cab.bench.machine_mut().figures().expect("answers");
    assert!(figures.turns > 1_000 && figures.stack_bytes > 500 && figures.worst_ticks * 16 >= figures.mean_ticks_x16, "{figures:?}");
    assert!(!cab.bench.machine().log().is_empty());
}
