//! A set-up read from no more of its stream than it leans on says the same as one read from the whole stream.

use crate::holes::{Sample, good, good_feet, worst};
use host_tool::facts::{Alone, Leanings, SetUp, read};
use shared_protocol::assemble::slots;
use shared_protocol::record::{Clock, Gap, Increment, Record};
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
use shared_protocol::state::GapCause;
use shared_protocol::units::Millis;

/// The same slots under later numbers and, where asked, of a later start of the rig.
fn moved(all: &[Slot], by: u32, boots: u16) -> Vec<Slot> {
    let moved = |s: &Slot| Slot::build(s.sequence() + by, s.boot() + boots, s.kind(), s.part(), s.body()).expect("a slot");
    all.iter().map(moved).collect()
}

fn record(sequence: u32, boot: u16, record: &Record) -> Vec<Slot> {
    let mut body = [0; RECORD_BYTES_MAX];
    let used = record.encode(&mut body).expect("room");
    slots(sequence, boot, record.kind(), &body[..used]).expect("slots").to_vec()
}

/// Streams with several set-ups, whole and not, with what they lean on before and behind them.
fn streams() -> Vec<Vec<Slot>> {
    let change = |change: &dyn Fn(&mut Sample)| {
        let mut sample = good();
        change(&mut sample);
        sample.slots()
    };
    let open = change(&|s| s.closed = false);
    let unclocked = change(&|s| s.clock = false);
    let restarted = change(&|s| s.restart_after = Some(4));
    let end = |all: &[Slot]| all.last().map_or(0, |slot| slot.sequence() + 1);
    let behind = |first: &[Slot], second: &[Slot], boots: u16| {
        let by = end(first) - second[0].sequence();
        [first, &moved(second, by + 3, boots)].concat()
    };
    let mut late = open.clone();
    let boot = late[late.len() - 1].boot();
    // a gap behind its end, declared later, and a clock set later in the same run
    late.extend(record(
        end(&open) + 9,
        boot,
        &Record::Gap(Gap { at: Millis(9), first: end(&open), last: end(&open) + 8, cause: GapCause::Torn.raw() }),
    ));
    late.extend(record(end(&late), boot, &Record::Clock(Clock { at: Millis(900_000), unix_ms: 1_800_009_000_000, offset: 60 })));
    let mut clocked_later = unclocked.clone();
    clocked_later.extend(record(end(&unclocked), 7, &Record::Clock(Clock { at: Millis(900_000), unix_ms: 1_800_009_000_000, offset: 60 })));
    // a slot within a closed set-up that is lost, which the rig declares only later
    let mut declared_later = good().slots();
    let lost = declared_later.iter().position(|slot| slot.kind() == Increment::KIND).expect("one");
    let lost = declared_later.remove(lost).sequence();
    let gap = Gap { at: Millis(9), first: lost, last: lost, cause: GapCause::Torn.raw() };
    declared_later.extend(record(end(&declared_later), boot, &Record::Gap(gap)));
    assert!(read(&declared_later)[0].missing.iter().any(|missing| missing.cause.is_some()), "it is declared");
    vec![
        declared_later,
        good().slots(),
        good_feet().slots(),
        worst().slots(),
        behind(&good().slots(), &good().slots(), 1),
        behind(&good().slots(), &restarted, 3),
        behind(&good().slots(), &unclocked, 0),
        behind(&behind(&restarted, &open, 2), &good().slots(), 4),
        behind(&open, &open, 1),
        behind(&worst().slots(), &worst().slots(), 5),
        late,
        clocked_later,
    ]
}

fn lines(setup: &SetUp) -> Vec<String> {
    format!("{setup:#?}").lines().map(str::to_owned).collect()
}

#[test]
fn what_a_paper_carries_says_what_the_stream_says() {
    let mut seen = 0;
    for (n, stream) in streams().iter().enumerate() {
        let leanings = Leanings::of(stream);
        let set_ups = read(stream);
        assert!(!set_ups.is_empty());
        for setup in &set_ups {
            let alone =
                leanings.alone(setup).read().unwrap_or_else(|| panic!("stream {n}: set-up {} cannot be read", setup.opened.sequence));
            let (theirs, ours) = (lines(setup), lines(&alone));
            let differs = theirs.iter().zip(&ours).position(|(a, b)| a != b).or((theirs.len() != ours.len()).then_some(0));
            if let Some(line) = differs {
                let near = line.saturating_sub(12)..line + 3;
                let of = |lines: &[String]| lines.get(near.clone()).unwrap_or_default().join("\n");
                panic!("stream {n}, set-up {}, line {line}:\n{}\nalone:\n{}", setup.opened.sequence, of(&theirs), of(&ours));
            }
            seen += 1;
        }
    }
    assert!(seen >= 15, "{seen}");
}

/// Less than the whole stream is carried, and not much more than the set-up itself.
#[test]
fn no_more_is_carried_than_is_leant_on() {
    let stream = &streams()[5];
    let leanings = Leanings::of(stream);
    for setup in read(stream) {
        let alone = leanings.alone(&setup);
        assert!(alone.own.len() < stream.len() * 2 / 3 && alone.beside.len() < 40, "{} and {}", alone.own.len(), alone.beside.len());
    }
}

#[test]
fn slots_out_of_order_of_two_set_ups_or_of_none_are_refused() {
    let stream = &streams()[4];
    let leanings = Leanings::of(stream);
    let set_ups = read(stream);
    let alone = leanings.alone(&set_ups[1]);
    assert!(alone.read().is_some());
    let mut swapped = alone.clone();
    swapped.own.swap(3, 4);
    let both = Alone { own: stream.clone(), beside: Vec::new() };
    let tail = Alone { own: alone.own[3..].to_vec(), beside: alone.beside.clone() };
    let mut within = alone.clone();
    within.beside.push(alone.own[5]);
    for wrong in [swapped, both, tail, within, Alone::default()] {
        assert!(wrong.read().is_none());
    }
}
