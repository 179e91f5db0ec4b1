//! Set-ups found among slots that come in any order, held against a whole reading.

use super::*;
use crate::facts;
use crate::store::tests::{in_folder, rot};
use shared_protocol::assemble::slots;
use shared_protocol::record::{Clock, Closed, Gap, Increment, Opened, Plan, Record, Start};
use shared_protocol::slot::RECORD_BYTES_MAX;
use shared_protocol::state::GapCause;
use shared_protocol::units::Millis;

fn alpha() -> Stream {
    Stream { rig: "Alpha".to_owned(), epoch: 1 }
}

/// Twelve holes: some in runs that are told the time late or never, some not closed, some with records lost and declared so later.
fn season() -> Vec<Slot> {
    let mut all: Vec<Slot> = Vec::new();
    let mut boot = 1;
    for n in 0..12_u32 {
        let mut add = |record: &Record, boot: u16| {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = record.encode(&mut body).unwrap();
            let next = all.last().map_or(0, |slot| slot.sequence() + 1);
            all.extend(slots(next, boot, record.kind(), &body[..used]).unwrap());
            next
        };
        let at = Millis(10_000 * n + 1_000);
        let told = Record::Clock(Clock { at, unix_ms: 1_800_000_000_000 + i64::from(n) * 60_000, offset: -420 });
        if n % 3 == 0 {
            boot += 1;
            add(&Record::Start(Start { at, ..Start::default() }), boot);
        }
        let structure = format!("S-{n}").as_str().try_into().unwrap();
        add(&Record::Opened(Opened { at, plan: Plan { structure, attempt: 1, setup: 1, ..Plan::default() }, ..Opened::default() }), boot);
        if n == 1 || n == 7 || n == 8 {
            add(&told, boot);
        }
        let lost = add(&Record::Increment(Increment { at: at.plus(500), ..Increment::default() }), boot);
        add(&Record::Increment(Increment { at: at.plus(900), ..Increment::default() }), boot);
        if n != 5 {
            add(&Record::Closed(Closed { at: at.plus(1_500), ..Closed::default() }), boot);
        }
        if n == 4 || n == 9 {
            add(&Record::Gap(Gap { at: at.plus(1_600), first: lost - 12, last: lost - 12, cause: GapCause::Torn.raw() }), boot);
        }
    }
    all
}

/// What a whole reading says, and what the set-ups that are kept say one by one.
fn both(store: &Store) -> (Vec<String>, Vec<String>) {
    let whole = facts::read(&store.stream(&alpha()).unwrap().slots);
    let found = select(&store.db, "1", []).unwrap();
    let one = |found: &Found| format!("{:?}", store.alone(found).unwrap().read().expect("a set-up"));
    (whole.iter().map(|set_up| format!("{set_up:?}")).collect(), found.iter().map(one).collect())
}

#[test]
fn set_ups_are_found_the_same_however_few_slots_are_read_together() {
    for together in [1, 3, 7, 20, 33, 64, 1_000] {
        let mut store = Store::in_memory(7).unwrap();
        store.keep(&alpha(), &season()).unwrap();
        store.find_in_all(TransactionBehavior::Immediate, together).unwrap();
        let (whole, found) = both(&store);
        assert_eq!((whole.len(), &found), (12, &whole), "{together} together");
    }
}

/// Slots come late, one here and one there, and after each the set-ups are what a whole reading makes of it.
#[test]
fn what_is_written_later_changes_what_it_may_and_nothing_is_left_as_it_was() {
    let all = season();
    for (late, every) in [(0, 4), (1, 5), (2, 7), (3, 11), (5, 13), (8, 17)] {
        let mut store = Store::in_memory(7).unwrap();
        let is_late = |slot: &&Slot| slot.sequence() % every == late;
        let (last, first): (Vec<Slot>, Vec<Slot>) = all.iter().partition(is_late);
        for slots in first.chunks(23).chain(last.chunks(2)) {
            store.keep(&alpha(), slots).unwrap();
            store.find_in_all(TransactionBehavior::Immediate, 50).unwrap();
            let (whole, found) = both(&store);
            assert_eq!(found, whole, "each {every}th is late");
        }
    }
}

/// A second write to a long stream finds what is new alone: the set-ups before it stay as they were found.
#[test]
fn a_slot_at_the_end_leaves_what_was_found_before_it() {
    let mut store = Store::in_memory(7).unwrap();
    let all = season();
    let (before, after) = all.split_at(all.len() - 2);
    store.keep(&alpha(), before).unwrap();
    store.found().unwrap();
    store.keep(&alpha(), after).unwrap();
    let left: u32 = store.db.query_row("SELECT count(*) FROM set_ups", [], |row| row.get(0)).unwrap();
    assert_eq!(left, 8, "the last run was never told the time: its holes may still be; and one ends in the block that the slots come into");
}

#[test]
fn a_slot_that_is_mended_and_a_row_that_is_damaged_are_read_again() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&alpha(), &season()).unwrap();
    let whole = store.found().unwrap();
    rot(&store, &alpha(), 1, [0; 32]);
    assert_eq!(store.found().unwrap().len(), 11, "one cannot be read");
    store.keep(&alpha(), &season()).unwrap();
    assert_eq!(store.found().unwrap(), whole);
    // a row that still reads well, and says another hole, another end, or that nothing may change it
    let rot = ["brief = ''", "brief = replace(brief, '\"attempt\":1', '\"attempt\":2')", "until = 0", "line = 'x'", "sum = x'00'"];
    for rot in rot {
        store.db.execute(&format!("UPDATE set_ups SET {rot} WHERE opened > 20"), []).unwrap();
        assert_eq!(store.found().unwrap(), whole, "{rot}");
    }
}

#[test]
fn a_store_that_cannot_be_written_says_the_same() {
    let (_folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    store.keep(&alpha(), &season()).unwrap();
    drop(store);
    let store = Store::open_existing(&path).unwrap();
    let holds = rusqlite::Connection::open(&path).unwrap();
    holds.execute_batch("BEGIN IMMEDIATE").unwrap(); // somebody keeps the file to himself
    store.db.busy_timeout(std::time::Duration::from_millis(10)).unwrap();
    let apart = store.found().unwrap();
    holds.execute_batch("ROLLBACK").unwrap();
    let kept = || -> u32 { store.db.query_row("SELECT count(*) FROM main.set_ups", [], |row| row.get(0)).unwrap() };
    assert_eq!((apart.len(), kept()), (12, 0));
    assert_eq!((store.found().unwrap(), kept()), (apart, 12));
}
