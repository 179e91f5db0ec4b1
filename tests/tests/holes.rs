//! Holes that are read and judged one by one are those of a whole reading, whatever came when, and so is the evidence of their papers.

use host_tool::entry::{CleanOut, Entry, Said};
use host_tool::evidence::collect::{of_store, of_structure};
use host_tool::facts::{self, Leanings, Wall};
use host_tool::holes::index::Index;
use host_tool::holes::{Sayings, catalogue};
use host_tool::judge::standings;
use host_tool::store::Store;
use shared_protocol::slot::Slot;
use tests::samples::{Rig, Sample, good, good_feet, measured, of_season, worst};

/// Holes of every kind: lost records, restarts, torn slots, no clock, not closed, drilled again.
fn season() -> Vec<Sample> {
    let mut all: Vec<Sample> = (0..6).map(of_season).collect();
    all.extend([worst(), good_feet(), measured(), good()]);
    let mut lost = good();
    lost.lost = vec![0..1, 40..44];
    all.push(Sample { clock: false, ..good() });
    all.push(lost);
    all.push(Sample { closed: false, ..of_season(9) });
    all.push(Sample { restart_after: Some(3), torn: true, ..of_season(10) });
    all.push(Sample { restart_after: Some(5), clock: false, ..of_season(11) });
    all.push(Sample { identity: None, ..of_season(12) });
    all
}

/// Slots in the order in which they arrive: some of them late.
fn arriving(rig: &mut Rig, seed: usize) -> Vec<Vec<Slot>> {
    let all: Vec<Slot> = season().into_iter().flat_map(|sample| rig.drill(sample)).collect();
    let (late, first): (Vec<Slot>, Vec<Slot>) = all.iter().partition(|slot| (slot.sequence() as usize * 7 + seed).is_multiple_of(61));
    first.chunks(400 + seed * 37).chain(late.chunks(3)).map(<[Slot]>::to_vec).collect()
}

fn say(store: &mut Store) {
    let holes = catalogue(store).expect("readable").holes;
    let wall = Wall { unix_ms: 1_800_003_600_000, offset: -420 };
    for (n, hole) in holes.iter().enumerate().filter(|(n, _)| n % 2 == 0) {
        let Some(name) = hole.hole_name() else { continue };
        // some of them contradict the rig
        let depth_um = if n % 3 == 0 { 2_900_000 } else { 3_150_000 } + i32::try_from(n).expect("small") * 1_000;
        let said = Said::Sounding { depth_um, ahead_um: 0, right_um: 0, standard_um: 5_000, clean_out: CleanOut::After };
        let entry = Entry { set_up: Some(hole.set_up_name()), ..Entry::new("Tester", wall, name.clone(), said) };
        let place = store.enter(&entry).expect("entered");
        store
            .enter(&Entry::new(
                "Tester",
                wall,
                name,
                Said::HandPlumb { depth_um: 1_500_000, ahead_um: 9_000, right_um: -4_000, standard_um: 2_000 },
            ))
            .expect("entered");
        if n % 4 == 0 {
            store.enter(&Entry { corrects: Some(place), ..entry }).expect("entered");
        }
    }
}

/// Each hole by itself, to the last figure of its judgement.
fn is_the_same(store: &Store) {
    let whole = catalogue(store).expect("readable");
    let index = Index::of(store).expect("readable");
    assert_eq!(index.set_ups.len(), whole.holes.len());
    let sayings = Sayings::of(whole.entries.iter().map(|(place, entry)| (*place, entry)));
    for (listed, hole) in index.set_ups.iter().zip(&whole.holes) {
        let one = listed.judged(store, &sayings, None).expect("readable").expect("a set-up");
        assert_eq!(format!("{one:?}"), format!("{hole:?}"), "{}", hole.handle);
        let plain = (hole.judged.depth_standing, hole.judged.lean_standing);
        assert_eq!((listed.standings(store, &sayings).expect("readable"), standings(&hole.setup)), (plain, plain), "{}", hole.handle);
        assert_eq!(index.get(&listed.handle), Some(listed));
    }
}

#[test]
fn holes_one_by_one_are_those_of_a_whole_reading() {
    for seed in 0..3 {
        let mut store = Store::in_memory(9).expect("a store");
        let mut rigs = [Rig::new("SIM-A"), Rig::new("SIM-B")];
        let coming: Vec<_> = rigs.iter_mut().enumerate().map(|(n, rig)| (arriving(rig, seed + n), rig.stream.clone())).collect();
        let most = coming.iter().map(|(slots, _)| slots.len()).max().unwrap_or(0);
        for n in 0..most {
            for (slots, stream) in &coming {
                if let Some(slots) = slots.get(n) {
                    store.keep(stream, slots).expect("kept");
                }
            }
            if n % 3 == 0 {
                Index::of(&store).expect("readable"); // what was found so far must not be in the way of what comes
            }
        }
        say(&mut store);
        is_the_same(&store);
    }
}

/// What papers carry of one structure is what they carry when all of the store is read, and what its streams say.
#[test]
fn evidence_of_a_structure_is_that_of_the_whole_store() {
    let mut store = Store::in_memory(9).expect("a store");
    let mut rig = Rig::new("SIM-A");
    for slots in arriving(&mut rig, 1) {
        store.keep(&rig.stream, &slots).expect("kept");
    }
    say(&mut store);
    let all = of_store(&store, None, None).expect("readable");
    for (name, evidence) in &all {
        assert_eq!(of_structure(&store, name, None, None).expect("readable"), *evidence, "{name:?}");
        assert!(!evidence.set_ups.is_empty());
    }
    let held = store.stream(&rig.stream).expect("readable");
    let leanings = Leanings::of(&held.slots);
    let read: Vec<_> = facts::read(&held.slots).iter().map(|set_up| (set_up.opened.sequence, leanings.alone(set_up))).collect();
    let mut carried: Vec<_> = all.values().flat_map(|of| &of.set_ups).map(|recorded| (recorded.opened(), recorded.slots.clone())).collect();
    carried.sort_by_key(|(opened, _)| *opened);
    assert_eq!(carried, read);
}
