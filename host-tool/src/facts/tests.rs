//! Streams made by hand, read back.

use super::*;
use shared_protocol::assemble::slots;
use shared_protocol::chain::Chain;
use shared_protocol::record::{Clock, Gap, Unsealed};
use shared_protocol::slot::{Part, RECORD_BYTES_MAX};
use shared_protocol::state::UnsealedCause;
use shared_protocol::units::Micrometres;

/// A stream made by hand, with the sequence running on.
#[derive(Default)]
struct Stream(Vec<Slot>);

impl Stream {
    fn add(&mut self, boot: u16, record: &Record) -> u32 {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        let first = self.0.last().map_or(5, |s| s.sequence() + 1);
        self.0.extend(slots(first, boot, record.kind(), &body[..used]).unwrap());
        first
    }

    fn hole(&mut self) {
        self.add(1, &Record::Clock(Clock { at: Millis(500), unix_ms: 1_800_000_000_000, offset: -420 }));
        let first = self.add(1, &Record::Opened(Opened { at: Millis(1_500), ..Opened::default() }));
        let from = self.0.iter().position(|s| s.sequence() == first).unwrap();
        self.add(1, &Record::Increment(Increment { at: Millis(2_500), depth: Micrometres::from_mm(25), ..Increment::default() }));
        let mut chain = Chain::default();
        self.0[from..].iter().for_each(|s| chain.push(s));
        let End { slots, segment, .. } = chain.end();
        self.add(1, &Record::Closed(Closed { at: Millis(3_500), first, slots, segment, ..Closed::default() }));
    }
}

#[test]
fn a_set_up_runs_from_open_to_close_and_its_digest_fits() {
    let mut stream = Stream::default();
    stream.hole();
    stream.hole();
    let setups = read(&stream.0);
    assert_eq!(setups.len(), 2);
    for setup in &setups {
        assert_eq!((setup.increments.len(), setup.digest, setup.missing.len()), (1, DigestState::Fits, 0));
        assert_eq!(setup.slots[0].sequence(), setup.opened.sequence);
    }
    assert_eq!(setups[0].increments[0].moment.text(), "2027-01-15T01:00:02-07:00");
}

#[test]
fn a_missing_slot_is_said_and_spoils_the_digest() {
    let mut stream = Stream::default();
    stream.hole();
    let lost = stream.0.iter().position(|s| s.kind() == 6).unwrap();
    let sequence = stream.0.remove(lost).sequence();
    let setup = &read(&stream.0)[0];
    assert_eq!(setup.missing, [Missing { first: sequence, last: sequence, cause: None }]);
    assert_eq!(setup.digest, DigestState::Lacking);
}

#[test]
fn a_gap_that_the_rig_declares_has_its_cause() {
    let mut stream = Stream::default();
    stream.add(1, &Record::Opened(Opened::default()));
    let torn = stream.add(1, &Record::Increment(Increment::default()));
    stream.0.pop();
    stream.0.extend(slots(torn + 1, 2, 13, &gap_body(torn)).unwrap());
    assert_eq!(read(&stream.0)[0].missing, [Missing { first: torn, last: torn, cause: Some(GapCause::Torn) }]);
}

fn gap_body(torn: u32) -> Vec<u8> {
    let mut body = [0; RECORD_BYTES_MAX];
    let used = Record::Gap(Gap { first: torn, last: torn, cause: GapCause::Torn.raw(), at: Millis(1) }).encode(&mut body).unwrap();
    body[..used].to_vec()
}

#[test]
fn time_of_day_is_unknown_in_a_run_that_was_never_told() {
    let mut stream = Stream::default();
    stream.hole();
    stream.add(2, &Record::Opened(Opened { at: Millis(9_000), ..Opened::default() }));
    assert_eq!(read(&stream.0)[1].opened.moment.text(), "time unknown (start 2, 9 s)");
}

/// When holes were opened, as their papers say it.
fn opened(stream: &Stream) -> Vec<String> {
    read(&stream.0).iter().map(|setup| setup.opened.moment.text()).collect()
}

const NEW_YEAR_MS: i64 = 1_798_761_600_000;
const DAY_MS: u32 = 86_400_000;

fn told(at: Millis, days: i64) -> Record {
    Record::Clock(Clock { at, unix_ms: NEW_YEAR_MS + days * i64::from(DAY_MS), offset: 0 })
}

fn opening(at: Millis) -> Record {
    Record::Opened(Opened { at, ..Opened::default() })
}

#[test]
fn a_moment_before_the_first_setting_counts_back_from_it() {
    let mut stream = Stream::default();
    stream.add(1, &opening(Millis(4_000)));
    stream.add(1, &told(Millis(10_000), 0));
    stream.add(1, &opening(Millis(11_000)));
    assert_eq!(opened(&stream), ["2026-12-31T23:59:54+00:00", "2027-01-01T00:00:01+00:00"]);
}

/// Starts are counted to 65,535 and from 0 again: the same number is another run then, known by the record of its start.
#[test]
fn two_runs_of_the_same_number_have_each_their_own_time_of_day() {
    let start = Record::Start(Start { at: Millis(100), ..Start::default() });
    let mut stream = Stream::default();
    for day in [0, 300] {
        stream.add(7, &start);
        stream.add(7, &told(Millis(200), day));
        stream.add(7, &opening(Millis(1_200)));
        stream.add(8, &start);
        stream.add(8, &opening(Millis(1_200)));
    }
    stream.add(8, &start); // all starts between gave way
    stream.add(8, &told(Millis(200), 400));
    stream.add(8, &opening(Millis(1_200)));
    let unknown = "time unknown (start 8, 1 s)".to_owned();
    let at = |day: &str| format!("{day}T00:00:01+00:00");
    assert_eq!(opened(&stream), [at("2027-01-01"), unknown.clone(), at("2027-10-28"), unknown, at("2028-02-05")]);
}

/// Where the records of all the starts between are lost too, only so many of them can stand in the gap.
#[test]
fn a_gap_that_has_room_for_every_start_ends_a_run_and_a_shorter_one_does_not() {
    for (gap, same) in [(65_534, true), (65_535, false)] {
        let mut stream = Stream::default();
        let last = stream.add(7, &told(Millis(200), 0));
        let filler = Slot::build(last + gap, 7, Note::KIND, Part { index: 1, of: 2 }, &[0; 9]).unwrap();
        stream.0.push(filler);
        stream.add(7, &opening(Millis(1_200)));
        let want = if same { "2027-01-01T00:00:01+00:00" } else { "time unknown (start 7, 1 s)" };
        assert_eq!(opened(&stream), [want], "{gap} slots are not in hand");
    }
}

/// The rig's milliseconds turn over while it runs: within an increment, within a pass, and while it stands for weeks.
#[test]
fn times_go_on_where_the_rigs_milliseconds_turn_over() {
    let wrap = Millis(u32::MAX).plus(1);
    let before = |ms: u32| Millis(wrap.0.wrapping_sub(ms));
    let mut stream = Stream::default();
    stream.add(1, &told(before(60_000), 0));
    stream.add(1, &opening(before(50_000)));
    for at in [before(10_000), before(1), wrap, wrap.plus(9_000)] {
        stream.add(1, &Record::Increment(Increment { at, took: 100, ..Increment::default() }));
    }
    stream.add(1, &Record::Pass(Pass { began: before(30_000), ended: wrap.plus(15_000), ..Pass::default() }));
    let setup = &read(&stream.0)[0];
    let times: Vec<String> = setup.increments.iter().map(|i| i.moment.text()).collect();
    assert_eq!(times, ["00:00:50", "00:00:59", "00:01:00", "00:01:09"].map(|time| format!("2027-01-01T{time}+00:00")));
    let pass = &setup.passes[0];
    assert_eq!((pass.moment.text(), pass.body.ended.since(pass.body.began)), ("2027-01-01T00:00:30+00:00".to_owned(), 45_000));

    // Told once, and then no computer for a season: each record is weeks behind the one before.
    let mut stream = Stream::default();
    stream.add(1, &told(Millis(1_000), 0));
    for days in [26, 60, 100] {
        stream.add(1, &opening(Millis(1_000).plus(DAY_MS.wrapping_mul(days))));
    }
    assert_eq!(opened(&stream), ["2027-01-27", "2027-03-02", "2027-04-11"].map(|day| format!("{day}T00:00:00+00:00")));
}

/// An opening says the time of day itself, in the same turn: after any rest that is right.
#[test]
fn a_hole_that_is_opened_after_months_of_rest_has_its_own_time() {
    let mut stream = Stream::default();
    stream.add(1, &told(Millis(1_000), 0));
    let months = Millis(1_000).plus(DAY_MS.wrapping_mul(120));
    stream.add(1, &opening(months));
    stream.add(1, &told(months, 120));
    stream.add(1, &Record::Increment(Increment { at: months.plus(5_000), ..Increment::default() }));
    let setup = &read(&stream.0)[0];
    assert_eq!(setup.opened.moment.text(), "2027-05-01T00:00:00+00:00");
    assert_eq!(setup.increments[0].moment.text(), "2027-05-01T00:00:05+00:00");
}

/// Figures of a stranger's making at the ends of their ranges.
#[test]
fn no_time_that_a_stream_may_say_is_out_of_reach() {
    for unix_ms in [i64::MIN, i64::MAX] {
        let mut stream = Stream::default();
        stream.add(1, &opening(Millis(7)));
        stream.add(1, &Record::Clock(Clock { at: Millis(u32::MAX), unix_ms, offset: i16::MAX }));
        stream.add(1, &opening(Millis(3)));
        assert_eq!(opened(&stream), ["time unknown"; 2]);
    }
}

/// The rig's own word for why there is no seal goes with the hole, and a reader of it alone finds the same.
#[test]
fn slots_that_say_why_there_is_no_seal_are_kept_with_the_hole() {
    for (cause, said) in [(UnsealedCause::NoKey, Sealing::NoKey), (UnsealedCause::Refused, Sealing::Refused)] {
        let mut stream = Stream::default();
        stream.hole();
        let first = read(&stream.0)[0].opened.sequence;
        stream.add(1, &Record::Note(Note::default()));
        let at = stream.add(1, &Record::Unsealed(Unsealed { at: Millis(4_000), first, cause: cause.raw() }));
        stream.add(1, &Record::Unsealed(Unsealed { at: Millis(4_500), first: first + 1, cause: cause.raw() }));
        stream.hole();
        let setups = read(&stream.0);
        assert_eq!(setups[0].slots.last().map(Slot::sequence), Some(at), "and what is of no hole, or of another, is not");
        let again = read(&setups[0].slots);
        let of = |setup: &SetUp| (setup.sealing, setup.digest, setup.missing.len(), setup.slots.len());
        assert_eq!((again.len(), of(&again[0])), (1, of(&setups[0])));
        assert_eq!(of(&again[0]), (said, DigestState::Fits, 0, setups[0].slots.len()));
        assert_eq!((setups[1].sealing, setups[1].slots[0].sequence()), (Sealing::Absent, setups[1].opened.sequence));
    }
}
