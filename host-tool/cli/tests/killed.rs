//! `listen` killed by the system (SIGKILL) again and again while records come in: nothing is lost, nothing comes twice.
#![cfg(unix)]

mod common;

use common::{Killed, LiveRig, command, run, slots_in, store_in, stored};
use std::process::Stdio;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// How often, unless BOREWITNESS_KILLS says another number.
const KILLS: u32 = 30;
/// The first acknowledgement comes after half a second or so: one run in three is killed while it starts, ms from its start,
/// the others about then or later.
const WHILE_STARTING: std::ops::Range<u64> = 10..400;
const WHILE_FETCHING: std::ops::Range<u64> = 300..1_100;
/// Notes that wait in the rig: more than all the runs can fetch.
const NOTES: u32 = 750;

#[test]
fn killed_at_any_moment_it_has_on_disk_what_it_acknowledged_and_in_the_end_all() {
    let kills: u32 = std::env::var("BOREWITNESS_KILLS").map_or(KILLS, |said| said.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(folder.path());
    let rig = LiveRig::with_notes(<[u8]>::to_vec, NOTES);
    let (mut seed, mut acknowledged, mut rises) = (2_026_u64, 0, 0);
    for nth in 0..kills {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let life = if nth % 3 == 0 { WHILE_STARTING } else { WHILE_FETCHING };
        let life = life.start + (seed >> 33) % (life.end - life.start);
        let note = format!("note Tester: run {nth}");
        let mut command = command(&["listen", "--port", &rig.port, "--store", &store, "--wait", "--do", &note]);
        let child = Killed(command.stdout(Stdio::null()).stderr(Stdio::inherit()).spawn().unwrap());
        std::thread::sleep(Duration::from_millis(life));
        drop(child); // SIGKILL
        let now = rig.acknowledged.load(Ordering::Relaxed);
        rises += u32::from(now > acknowledged);
        acknowledged = now;
        if acknowledged > 0 {
            let held = stored(&store);
            let in_order = held.iter().zip(0..).all(|(slot, sequence)| slot.sequence() == sequence);
            assert!(in_order && held.len() >= acknowledged as usize, "kill {nth}: {} for {acknowledged} acknowledged", held.len());
        }
    }
    assert!(rises >= 3, "some of them got so far as to acknowledge: {rises}");
    let last = ["listen", "--port", &rig.port, "--store", &store, "--do", "note Tester: the last", "--leave", "--for", "120"];
    let last = run(&last);
    assert_eq!(last.status.code(), Some(0), "{}", String::from_utf8_lossy(&last.stderr));
    let (held, memory) = (stored(&store), slots_in(&rig.stop()));
    println!("{} slots after {kills} kills; {rises} runs acknowledged any", held.len());
    assert!(memory.len() > 4 * NOTES as usize, "{}", memory.len());
    assert!(held == memory, "{} slots are stored, the rig has {}", held.len(), memory.len());
}
