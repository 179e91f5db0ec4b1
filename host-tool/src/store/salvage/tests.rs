//! A store damaged in a few hundred places, one by one and many at once: what holds comes back, and under its own rig.

use super::*;
use crate::judge::LineAxes;
use crate::judge::measured::{Kind, Measurement};
use crate::store::tests::{contents, in_folder};
use shared_protocol::assemble::slots;
use shared_protocol::record::{Identity, Note};
use shared_protocol::slot::RECORD_BYTES_MAX;

/// Three rigs, alike but for their names, one reset once: four streams whose numbers overlap.
/// Each rig's starts have numbers of their own, so that no two streams have the same slot.
const RIGS: [(&str, u32, u32); 4] = [("Alpha", 1, 700), ("Alpha", 2, 90), ("Bravo", 1, 520), ("Charlie", 1, 3)];

fn stream(rig: &str, epoch: u32) -> Stream {
    Stream { rig: rig.to_owned(), epoch }
}

fn add(into: &mut Vec<Slot>, boot: u16, record: &Record) {
    let mut body = [0; RECORD_BYTES_MAX];
    let used = record.encode(&mut body).unwrap();
    let next = u32::try_from(into.len()).unwrap();
    into.extend(slots(next, boot, record.kind(), &body[..used]).unwrap());
}

fn records(rig: &str, epoch: u32, count: u32) -> Vec<Slot> {
    let (mut all, boot) = (Vec::new(), u16::try_from(count).unwrap());
    for n in 0..count / 3 {
        if n % 60 == 0 {
            add(
                &mut all,
                boot,
                &Record::Identity(Identity { rig: rig.try_into().unwrap(), epoch, simulated: true, ..Identity::default() }),
            );
        }
        let text = format!("{rig} {epoch}, note {n}");
        add(&mut all, boot, &Record::Note(Note { text: text.as_str().try_into().unwrap(), ..Note::default() }));
    }
    all
}

fn sounding(n: u32) -> Measurement {
    let offset = LineAxes { ahead: 0.0, right: 0.0 };
    let (author, remark) = (format!("Tester {n}"), String::new());
    Measurement { author, unix_ms: 7, kind: Kind::Sounding, depth: 3.1, offset, standard: 0.004, remark }
}

/// What rigs recorded.
type All = Vec<(Stream, Vec<Slot>)>;

/// A store as a killed program left it, the newest in the log only; what is in it, and its two files.
fn filled() -> (All, Slot, [Vec<u8>; 2]) {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    let all: Vec<_> = RIGS.iter().map(|(rig, epoch, count)| (stream(rig, *epoch), records(rig, *epoch, *count))).collect();
    let fold = |store: &Store| store.db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).unwrap();
    for from in (0..3_000).step_by(7) {
        for (stream, slots) in &all {
            store.keep(stream, slots.get(from..slots.len().min(from + 7)).unwrap_or(&[])).unwrap();
        }
        if from == 630 {
            fold(&store);
        }
    }
    let odd = Slot::build(20, 9, 9, shared_protocol::slot::Part::ONLY, b"another").unwrap();
    store.keep(&all[0].0, &[odd]).unwrap();
    (0..5).for_each(|n| store.add_unchained(&all[2].0, 0, &sounding(n)).unwrap());
    let files = ["", "-wal"].map(|end| std::fs::read(copies::beside(&path, end)).unwrap());
    (all, odd, files)
}

/// Pseudo-random numbers, the same for the same seed.
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % end
    }
}

struct Bench {
    all: All,
    odd: Slot,
    /// Where each slot stands in the files.
    places: BTreeMap<[u8; SLOT_BYTES], Vec<(usize, usize)>>,
    folder: tempfile::TempDir,
}

impl Bench {
    /// Salvages these files; checks that nothing is under a wrong rig, and that every slot whose bytes still stand
    /// somewhere in the files is somewhere in what comes out. Returns how many of the stored ones are in their place.
    fn salvage(&self, files: &[Vec<u8>; 2], what: &str) -> (Result<Salvaged, StoreFault>, usize) {
        let [old, new, aside] = ["old", "new", "new.unplaced"].map(|name| self.folder.path().join(name));
        for path in [&new, &copies::beside(&new, "-wal"), &aside] {
            drop(fs::remove_file(path));
        }
        for (file, end) in files.iter().zip(["", "-wal"]) {
            fs::write(copies::beside(&old, end), file).unwrap();
        }
        let salvaged = salvage(&old, &new);
        for (file, end) in files.iter().zip(["", "-wal"]) {
            assert!(fs::read(copies::beside(&old, end)).unwrap() == *file, "{what}: the damaged file was touched");
        }
        assert!(!copies::beside(&old, "-shm").exists(), "{what}");
        let Ok(found) = &salvaged else { return (salvaged, 0) };
        let store = Store::open_existing(&new).unwrap();
        let unplaced = fs::read(&aside).unwrap_or_default();
        assert_eq!(found.unplaced.as_ref().map_or(0, |(count, _)| *count), unplaced.len() / SLOT_BYTES, "{what}");
        let unplaced: BTreeSet<&[u8]> = unplaced.chunks(SLOT_BYTES).collect();
        for rig in store.rigs().unwrap() {
            assert!(self.all.iter().any(|(known, _)| *known == rig), "{what}: a rig that never was, {rig:?}");
        }
        let stands = |slot: &Slot| {
            self.places[slot.bytes()].iter().any(|(file, at)| files[*file].get(*at..at + SLOT_BYTES) == Some(&slot.bytes()[..]))
        };
        let mut in_place = 0;
        for (stream, slots) in &self.all {
            let held = store.stream(stream).unwrap();
            let beside = store.aside(stream).unwrap();
            for slot in held.slots.iter().chain(&beside) {
                let own = slots.get(slot.sequence() as usize) == Some(slot) || (*slot == self.odd && *stream == self.all[0].0);
                assert!(own, "{what}: {slot:?} is not of {stream:?}");
            }
            in_place += held.slots.iter().filter(|slot| **slot != self.odd).count();
            let back: BTreeSet<&[u8]> =
                held.slots.iter().chain(&beside).map(|slot| &slot.bytes()[..]).chain(unplaced.iter().copied()).collect();
            for slot in slots.iter().filter(|slot| stands(slot)) {
                let back = back.contains(&slot.bytes()[..]);
                assert!(back, "{what}: {slot:?} of {stream:?} stands in the file and did not come back");
            }
        }
        (salvaged, in_place)
    }
}

fn bench() -> (Bench, [Vec<u8>; 2]) {
    let (all, odd, files) = filled();
    let mut places: BTreeMap<_, Vec<_>> = all.iter().flat_map(|(_, slots)| slots).map(|slot| (*slot.bytes(), Vec::new())).collect();
    for (nth, file) in files.iter().enumerate() {
        for (at, bytes) in file.windows(SLOT_BYTES).enumerate() {
            if let Some(known) = bytes.first_chunk().and_then(|bytes| places.get_mut(bytes)) {
                known.push((nth, at));
            }
        }
    }
    assert!(places.values().all(|at| !at.is_empty()));
    (Bench { all, odd, places, folder: tempfile::tempdir().unwrap() }, files)
}

#[test]
fn a_store_that_is_whole_comes_back_whole() {
    let (bench, files) = bench();
    let (found, in_place) = bench.salvage(&files, "whole");
    let count: usize = bench.all.iter().map(|(_, slots)| slots.len()).sum();
    let expected = Salvaged { slots: count as u64, aside: 1, measurements: 5, ..Salvaged::default() };
    assert_eq!((found.unwrap(), in_place), (expected, count));
    let store = Store::open_existing(&bench.folder.path().join("new")).unwrap();
    assert_eq!(store.stream(&bench.all[0].0).unwrap().slots, bench.all[0].1);
    assert_eq!(store.aside(&bench.all[0].0).unwrap(), [bench.odd]);
    assert_eq!(store.measurements(&bench.all[2].0, 0).unwrap(), (0..5).map(sounding).collect::<Vec<_>>());
    assert_eq!(store.simulated(&bench.all[3].0).unwrap(), Some(true));
}

#[test]
fn damage_in_one_place_costs_one_slot_at_most_wherever_it_is() {
    let (bench, files) = bench();
    let count: usize = bench.all.iter().map(|(_, slots)| slots.len()).sum();
    let mut chance = Chance(7);
    for nth in 0..120 {
        let mut damaged = files.clone();
        let file = usize::from(nth % 4 == 3);
        let length = damaged[file].len();
        let at = if nth % 4 == 0 { chance.below(6 * 4_096) } else { chance.below(length) };
        damaged[file][at] ^= 1 << chance.below(8);
        let (found, in_place) = bench.salvage(&damaged, &format!("bit in byte {at} of file {file}"));
        let found = found.unwrap();
        let aside = found.unplaced.as_ref().map_or(0, |(count, _)| *count);
        assert!(in_place + aside + 1 >= count && aside <= 1, "byte {at} of file {file}: {found:?}, {in_place} of {count}");
    }
}

#[test]
fn damage_all_over_costs_what_it_hits_and_nothing_else() {
    let (bench, files) = bench();
    let mut chance = Chance(11);
    for round in 0..30 {
        let mut damaged = files.clone();
        for _ in 0..300 {
            let file = usize::from(chance.below(3) == 0);
            let at = chance.below(damaged[file].len());
            let end = damaged[file].len().min(at + 1 + chance.below(40));
            let with = chance.0.to_le_bytes()[0];
            damaged[file][at..end].fill(with);
        }
        if round % 4 == 0 {
            damaged[0][..100 * round].fill(0); // head and tables gone
        }
        if round % 5 == 0 {
            let length = damaged[0].len() - chance.below(20_000);
            damaged[0].truncate(length);
            damaged[1].clear();
        }
        let (found, in_place) = bench.salvage(&damaged, &format!("round {round}"));
        let found = found.unwrap();
        assert!(found.slots >= in_place as u64 && in_place > 0, "{found:?}");
    }
}

#[test]
fn what_is_lost_is_named_and_what_is_nobodys_is_put_aside() {
    let (bench, mut files) = bench();
    let (lost, unsaid) = (bench.all[2].1[100], bench.all[0].1[186]); // this one begins a block
    for file in &mut files {
        let places = |slot: &Slot, file: &[u8]| -> Vec<usize> {
            file.windows(SLOT_BYTES).enumerate().filter(|(_, bytes)| bytes == slot.bytes()).map(|(at, _)| at).collect()
        };
        for at in places(&lost, file) {
            file[at + 12] ^= 4;
        }
        for at in places(&unsaid, file) {
            file[at - blocks::HEAD - 1] ^= 0x55; // its row no longer says whose it is
        }
    }
    let (found, _) = bench.salvage(&files, "one lost");
    let found = found.unwrap();
    assert_eq!(found.missing, [(bench.all[2].0.clone(), 100, 100)]);
    assert!(found.unplaced.is_none(), "the block's sum says whose it is: {found:?}");
    // without tables and without a record that names its rig, a stream is nobody's
    let mut nameless = files.clone();
    nameless[0][..5 * 4_096].fill(0);
    for slot in bench.all[1].1.iter().filter(|slot| slot.kind() == bench.all[1].1[0].kind()) {
        for file in &mut nameless {
            while let Some(at) = file.windows(SLOT_BYTES).position(|bytes| bytes == slot.bytes()) {
                file[at + 12] ^= 4;
            }
        }
    }
    let (found, _) = bench.salvage(&nameless, "nameless");
    let (count, file) = found.unwrap().unplaced.unwrap();
    assert!(count > 50, "{count}");
    assert_eq!(file, bench.folder.path().join("new.unplaced"));
}

#[test]
fn a_row_that_says_another_rig_than_its_page_is_believed_only_where_its_sum_says_so_too() {
    let (bench, mut files) = bench();
    let mut changed = 0;
    let [first, second] = [93, 94].map(|n| bench.all[2].1[n]); // of the block that begins at 93
    for (file, at) in &bench.places[first.bytes()] {
        // before the block's head stand the row's, five bytes, or four where it is short, and its number, whose first byte has the stream's
        let [of_the_third, of_the_fourth] = [3, 4].map(|stream| 0x80 | stream << 4);
        let number = [10, 9].into_iter().map(|back| at - blocks::HEAD - back).find(|at| files[*file][*at] == of_the_third);
        // left over from a row that was written anew, it may have none
        number.into_iter().for_each(|at| (files[*file][at], changed) = (of_the_fourth, changed + 1)); // that is short, and has no such block
    }
    assert!(changed > 0);
    let (found, in_place) = bench.salvage(&files, "another rig's");
    let count: usize = bench.all.iter().map(|(_, slots)| slots.len()).sum();
    assert_eq!((found.unwrap().unplaced, in_place), (None, count));
    for (file, at) in &bench.places[second.bytes()] {
        files[*file][at + 12] ^= 4;
    }
    let (found, _) = bench.salvage(&files, "another rig's, and its sum does not hold");
    let found = found.unwrap();
    assert_eq!(found.unplaced.map(|(count, _)| count), Some(30));
    assert_eq!(found.missing, [(bench.all[2].0.clone(), 93, 123)]);
}

#[test]
fn a_name_that_stands_in_one_place_only_is_not_believed() {
    let (bench, mut files) = bench();
    let (stream, slots) = &bench.all[3];
    for (file, at) in &bench.places[slots[0].bytes()] {
        files[*file][at + 12] ^= 4; // its own record that names it
    }
    let (found, in_place) = bench.salvage(&files, "named by table and index");
    assert!(found.unwrap().unplaced.is_none() && in_place > 0);
    let at = files[0].windows(7).position(|bytes| bytes == stream.rig.as_bytes()).unwrap();
    files[0][at + 2] = b'b';
    let (found, _) = bench.salvage(&files, "table and index differ");
    assert_eq!(found.unwrap().unplaced.map(|(count, _)| count), Some(slots.len() - 1));
}

#[test]
fn a_file_with_nothing_in_it_makes_no_store_and_a_store_that_is_there_is_left() {
    let (folder, path) = in_folder();
    fs::write(&path, vec![7; 9_000]).unwrap();
    let new = folder.path().join("new");
    let before = contents(&folder);
    assert!(matches!(salvage(&path, &new), Err(StoreFault::Nothing(_))));
    assert!(matches!(salvage(&folder.path().join("none"), &new), Err(StoreFault::Absent(_))));
    assert!(matches!(salvage(&path, &path), Err(StoreFault::Taken(_))));
    assert!(contents(&folder) == before);
}
