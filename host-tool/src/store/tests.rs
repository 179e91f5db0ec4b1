//! What a store promises, asked of it.

use super::*;
use shared_protocol::assemble::slots;
use shared_protocol::record::{Gap, Record};
use shared_protocol::slot::{Part, RECORD_BYTES_MAX};
use std::collections::BTreeMap;

pub(super) fn slot(sequence: u32, body: &[u8]) -> Slot {
    Slot::build(sequence, 1, 9, Part::ONLY, body).unwrap()
}

fn gap(sequence: u32, first: u32, last: u32) -> Slot {
    let mut body = [0; RECORD_BYTES_MAX];
    let used = Record::Gap(Gap { first, last, cause: 1, ..Gap::default() }).encode(&mut body).unwrap();
    slots(sequence, 2, 13, &body[..used]).unwrap()[0]
}

/// Puts other bytes where a slot is stored.
pub(crate) fn rot(store: &Store, stream: &Stream, sequence: u32, bytes: [u8; SLOT_BYTES]) {
    let id = id_of(&store.db, stream).unwrap();
    let mut block = Block::load(&store.db, id, sequence).unwrap();
    *block.at(sequence) = Some(bytes);
    block.save(&store.db, id).unwrap();
}

fn stream() -> Stream {
    Stream { rig: "Alpha'; DROP TABLE slots; --".to_owned(), epoch: u32::MAX }
}

pub(crate) fn in_folder() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("store.sqlite");
    (folder, path)
}

/// Every file of a folder with its bytes.
pub(super) fn contents(folder: &tempfile::TempDir) -> BTreeMap<PathBuf, Vec<u8>> {
    std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()).map(|p| (p.clone(), std::fs::read(p).unwrap())).collect()
}

#[test]
fn slots_are_kept_verbatim_and_once() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    let all = [slot(3, b"three"), slot(4, b""), slot(5, b"five")];
    assert_eq!(store.keep(&stream(), &all).unwrap(), Kept { new: 3, ..Kept::default() });
    assert_eq!(store.keep(&stream(), &all[1..]).unwrap(), Kept { same: 2, ..Kept::default() });
    drop(store);
    let store = Store::open_existing(&path).unwrap();
    assert_eq!(store.stream(&stream()).unwrap().slots, all);
    assert_eq!(store.part(&stream(), 4, 4).unwrap().slots, all[1..2]);
    assert_eq!(store.rigs().unwrap(), [stream()]);
    assert_eq!(store.stream(&Stream { rig: "Bravo".to_owned(), epoch: 1 }).unwrap(), Held::default());
}

#[test]
fn commits_are_asked_to_survive_a_power_cut() {
    let (_folder, path) = in_folder();
    let store = Store::open(&path).unwrap();
    assert_eq!(store.db.pragma_query_value(None, "journal_mode", |r| r.get::<_, String>(0)).unwrap(), "wal");
    assert_eq!(store.pragma("synchronous").unwrap(), 2); // FULL, by SQLite's documentation of that pragma
}

#[test]
fn a_different_slot_under_the_same_sequence_is_said_and_both_are_kept() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&stream(), &[slot(3, b"first")]).unwrap();
    let kept = store.keep(&stream(), &[slot(3, b"second"), slot(4, b"next")]).unwrap();
    assert_eq!(kept, Kept { new: 1, same: 0, differing: vec![3] });
    store.keep(&stream(), &[slot(3, b"second")]).unwrap();
    let held = store.stream(&stream()).unwrap();
    assert_eq!((held.slots[0], held.aside), (slot(3, b"first"), 1));
    let aside: [u8; SLOT_BYTES] = store.db.query_row("SELECT slot FROM aside", [], |row| row.get(0)).unwrap();
    assert_eq!(aside, *slot(3, b"second").bytes());
}

#[test]
fn what_is_wanted_next_is_the_first_that_is_neither_there_nor_declared_lost() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    let wanted = |store: &Store, from| store.next_wanted(&stream(), from).unwrap();
    assert_eq!(wanted(&store, 17), 17);
    store.keep(&stream(), &[slot(3, b""), slot(4, b""), slot(6, b""), slot(7, b"")]).unwrap();
    assert_eq!([0, 3, 4, 5, 6, 8].map(|from| wanted(&store, from)), [0, 5, 5, 5, 8, 8]);
    store.keep(&stream(), &[gap(8, 5, 5), gap(9, 0, 2)]).unwrap();
    assert_eq!([0, 3, 5].map(|from| wanted(&store, from)), [10, 10, 10]);
    store.keep(&stream(), &[gap(12, 11, 11)]).unwrap();
    assert_eq!(wanted(&store, 0), 10);
    store.keep(&stream(), &[gap(13, 10, u32::MAX)]).unwrap();
    assert!(wanted(&store, 0) >= 14, "a foolish gap ends the search, it does not hang it");
}

#[test]
fn a_slot_that_rotted_in_the_store_is_said_and_not_handed_out() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&stream(), &[slot(3, b"good"), slot(4, b"bad")]).unwrap();
    rot(&store, &stream(), 4, [0; SLOT_BYTES]);
    rot(&store, &stream(), 9, *slot(5, b"moved").bytes());
    let held = store.stream(&stream()).unwrap();
    assert_eq!((held.slots, held.damaged), (vec![slot(3, b"good")], vec![4, 9]));
}

#[test]
fn a_store_of_a_later_version_is_refused_and_not_touched() {
    let (folder, path) = in_folder();
    let store = Store::open(&path).unwrap();
    store.db.pragma_update(None, "user_version", STORE_VERSION + 3).unwrap();
    drop(store);
    let before = contents(&folder);
    for opened in [Store::open(&path), Store::open_existing(&path)] {
        let said = opened.unwrap_err().to_string();
        assert!(said.contains("later version") && said.contains("store version 10, this one knows 7") && !said.contains('\n'), "{said}");
    }
    assert_eq!(contents(&folder), before);
}

#[test]
fn another_programs_file_is_refused_and_not_touched() {
    let (folder, path) = in_folder();
    let other = folder.path().join("other.sqlite");
    Connection::open(&other).unwrap().execute_batch("CREATE TABLE theirs (x)").unwrap();
    std::fs::write(&path, "Not a database at all, and longer than the head of one would be: a letter, say, to someone.").unwrap();
    let before = contents(&folder);
    for path in [&path, &other] {
        assert!(matches!(Store::open(path), Err(StoreFault::Foreign(_))), "{path:?}");
        assert!(matches!(Store::open_existing(path), Err(StoreFault::Foreign(_))), "{path:?}");
    }
    assert_eq!(contents(&folder), before);
    assert!(matches!(Store::open_existing(&folder.path().join("none")), Err(StoreFault::Absent(_))));
    assert!(matches!(Store::open(&folder.path().join("no/folder")), Err(StoreFault::Closed(_))));
    assert_eq!(contents(&folder), before);
}

#[test]
fn a_full_disk_leaves_nothing_half_written() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&stream(), &[slot(0, b"before")]).unwrap();
    let pages = store.pragma("page_count").unwrap();
    store.db.pragma_update(None, "max_page_count", pages + 2).unwrap();
    let many: Vec<Slot> = (1..2_000).map(|n| slot(n, b"too many")).collect();
    let said = store.keep(&stream(), &many).unwrap_err();
    assert!(matches!(said, StoreFault::Full(_)) && !said.to_string().contains('\n'), "{said}");
    assert_eq!(store.stream(&stream()).unwrap().slots, [slot(0, b"before")]);
    drop(store);
    assert_eq!(Store::open(&path).unwrap().stream(&stream()).unwrap().slots, [slot(0, b"before")]);
}

#[test]
fn a_store_that_another_program_holds_is_said() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.db.busy_timeout(Duration::from_millis(10)).unwrap();
    let other = Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    assert!(matches!(store.keep(&stream(), &[slot(0, b"")]), Err(StoreFault::Busy(_))));
}

#[test]
fn a_store_that_may_not_be_written_is_said_and_can_be_read() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&stream(), &[slot(0, b"before")]).unwrap();
    store.db.pragma_update(None, "query_only", true).unwrap(); // root may write to any file, so not by permissions
    assert!(matches!(store.keep(&stream(), &[slot(1, b"")]), Err(StoreFault::ReadOnly(_))));
    assert_eq!(store.stream(&stream()).unwrap().slots.len(), 1);
}

#[test]
fn requests_are_never_the_same_across_restarts_and_hosts() {
    let (folder, path) = in_folder();
    let first = Store::open(&path).unwrap();
    let (host, a, b) = (first.host().unwrap(), first.next_request().unwrap(), first.next_request().unwrap());
    drop(first);
    let again = Store::open(&path).unwrap();
    assert_eq!((again.host().unwrap(), again.next_request().unwrap()), (host, b + 1));
    assert_eq!((a + 1, a >> 16), (b, host >> 16));
    // 40 hosts share one upper half by chance less than once in 80 runs; that all do, never.
    let hosts: Vec<u32> = (0..40).map(|n| Store::open(&folder.path().join(n.to_string())).unwrap().next_request().unwrap() >> 16).collect();
    assert!(hosts.iter().any(|h| *h != hosts[0]));
}

#[test]
fn a_slot_that_rotted_is_wanted_again_and_gives_way_to_one_that_holds() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&stream(), &(0..9).map(|n| slot(n, b"good")).collect::<Vec<_>>()).unwrap();
    let rotten = [7_u8; SLOT_BYTES];
    for n in [4, 8] {
        rot(&store, &stream(), n, rotten);
    }
    assert_eq!([0, 5].map(|from| store.next_wanted(&stream(), from).unwrap()), [4, 8]);
    let kept = store.keep(&stream(), &[slot(4, b"good"), slot(5, b"good"), slot(8, b"good")]).unwrap();
    assert_eq!(kept, Kept { new: 2, same: 1, ..Kept::default() });
    let held = store.stream(&stream()).unwrap();
    assert_eq!((held.slots.len(), held.damaged, held.aside), (9, vec![], 2));
    assert_eq!(store.next_wanted(&stream(), 0).unwrap(), 9);
}

#[test]
fn a_damaged_page_is_found_when_the_store_is_opened_though_nobody_asks_for_what_is_on_it() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&stream(), &(0..2_000).map(|n| slot(n, b"good")).collect::<Vec<_>>()).unwrap();
    drop(store);
    let mut bytes = std::fs::read(&path).unwrap();
    let at = bytes.windows(SLOT_BYTES).position(|at| at == slot(900, b"good").bytes()).unwrap();
    bytes[at - at % 4_096..][..8].fill(0xEE);
    std::fs::write(&path, &bytes).unwrap();
    assert!(Store::open_again(&path).is_ok_and(|store| store.stream(&stream()).is_err()), "not looked over again: where a read fails");
    for opened in [Store::open(&path), Store::open_existing(&path)] {
        let said = opened.unwrap_err();
        assert!(matches!(said, StoreFault::Damaged(_)) && said.to_string().contains("borewitness salvage"), "{said}");
    }
    assert!(std::fs::read(&path).unwrap() == bytes);
}
