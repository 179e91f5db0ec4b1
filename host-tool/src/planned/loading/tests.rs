//! Which hole is loaded, from sheets, records and what people say.

use super::*;
use crate::entry::TicketStanding;
use crate::facts::Wall;
use crate::planned::{Origin, take_in};
use crate::session::Stream;
use crate::sheet::tests::{SHEET, read_text};
use crate::store::tests::in_folder;
use shared_protocol::assemble::slots;
use shared_protocol::record::{Increment, Opened, Record};
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};

const MORNING: Wall = Wall { unix_ms: 1_778_592_600_000, offset: -360 };
const DAY: Option<Date> = Some(jiff::civil::date(2026, 12, 1));

/// A store with the invented sheet, and the same structures on another line.
fn store(other_line: bool) -> (tempfile::TempDir, Store) {
    let (folder, path) = in_folder();
    let mut store = Store::open(&path).unwrap();
    let texts = [Some(SHEET.to_owned()), other_line.then(|| SHEET.replace("SIMULATED tie", "SIMULATED spur").replace("10 ft,", "11 ft,"))];
    for text in texts.iter().flatten() {
        let origin = Origin { file: "holes.csv", bytes: text.as_bytes(), by: "Office", at: MORNING };
        take_in(&mut store, &read_text(text).unwrap(), &origin).unwrap();
    }
    (folder, store)
}

fn wanted(order: &str) -> Wanted {
    let pairs = ["tool=1", "hub_above_datum=0.2 ft", "heading=90"].map(str::to_owned);
    Wanted::read(&order.split_whitespace().map(str::to_owned).chain(pairs).collect::<Vec<_>>()).unwrap()
}

fn refused(store: &Store, order: &str) -> String {
    wanted(order).find(store, DAY).unwrap_err().to_string()
}

fn counted(store: &Store, order: &str) -> (u8, u8) {
    let plan = wanted(order).find(store, DAY).unwrap().plan;
    (plan.attempt, plan.setup)
}

/// Records a set-up of these plans, each with a cut.
fn drill(store: &mut Store, epoch: u32, plan: &Plan) {
    let mut all: Vec<Slot> = Vec::new();
    let cut = Record::Increment(Increment { depth: Micrometres::from_mm(25), samples: 20, ..Increment::default() });
    for record in [Record::Opened(Opened { plan: plan.clone(), ..Opened::default() }), cut] {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        all.extend(slots(u32::try_from(all.len()).unwrap(), 1, record.kind(), &body[..used]).unwrap());
    }
    store.keep(&Stream { rig: "Alpha".to_owned(), epoch }, &all).unwrap();
}

fn say(store: &mut Store, hole: &HoleName, state: HoleState) {
    store.enter(&Entry::new("Tester", MORNING, hole.clone(), Said::State { state })).unwrap();
}

#[test]
fn the_plan_is_the_rows_own() {
    let (_folder, store) = store(false);
    let loading = wanted("41 right").find(&store, DAY).unwrap();
    let row = read_text(SHEET).unwrap().legs.into_iter().find(|leg| leg.name() == "41 right").unwrap();
    let on_site = OnSite {
        attempt: 1,
        setup: 1,
        operator: "",
        tool: 1,
        hub_above_datum: Micrometres(60_960),
        heading: CentiDegrees(9_000),
        heading_within: BY_EYE,
    };
    assert_eq!(loading.plan, row.plan(&on_site).unwrap());
    assert_eq!(loading.ticket, Said::Ticket { number: "SIM-8412".to_owned(), standing: TicketStanding::Valid });
    assert_eq!(
        loading.text,
        "41 right by holes.csv, row 3: 10 ft 6 in deep below original ground, low side; attempt 1 (the first), set-up 1 (the first)"
    );
    let late = wanted("41 right").find(&store, Some(jiff::civil::date(2026, 12, 16))).unwrap();
    assert!(matches!(late.ticket, Said::Ticket { standing: TicketStanding::Expired, .. }), "and it is loaded all the same");
}

#[test]
fn what_is_not_one_leg_of_one_line_is_refused_with_the_choice() {
    let (_folder, alone) = store(false);
    assert!(refused(&alone, "99").starts_with("no sheet in the store plans structure \"99\": take one in with `borewitness sheet"));
    assert_eq!(refused(&alone, "41"), "structure 41 has left, right: name one of its legs behind it");
    assert_eq!(refused(&alone, "42 left"), "structure 42 has single: name one of its legs behind it");
    assert_eq!(wanted("42").find(&alone, DAY).unwrap().hole.leg, Leg::Single);
    let (_folder, both) = store(true);
    let lines = "structure 41 is on several lines: say which with line=, one of \"SIMULATED spur\", \"SIMULATED tie\"";
    assert_eq!(refused(&both, "41 left"), lines);
    let of = |line: &str| Wanted { line: Some(line.to_owned()), ..wanted("41 left") }.find(&both, DAY);
    assert_eq!(of("nowhere").unwrap_err().to_string(), lines);
    assert_eq!(of("SIMULATED spur").unwrap().plan.depth.0, 3_352_800);
    assert_eq!(of("SIMULATED tie").unwrap().plan.depth.0, 3_048_000);
}

/// An attempt goes on until it is given up; each time that a rig is set up over it counts.
#[test]
fn attempt_and_set_up_follow_what_is_on_record() {
    let (_folder, mut store) = store(false);
    let first = wanted("41 left").find(&store, DAY).unwrap();
    assert_eq!(counted(&store, "41 left"), (1, 1));
    drill(&mut store, 1, &first.plan);
    assert_eq!((counted(&store, "41 left"), counted(&store, "41 right")), ((1, 2), (1, 1)));
    assert_eq!((counted(&store, "41 left setup=5"), counted(&store, "41 left attempt=3")), ((1, 5), (3, 1)));
    let text = wanted("41 left").find(&store, DAY).unwrap().text;
    assert!(text.ends_with("attempt 1 (it is drilled), set-up 2 (set-up 1 is on record)"), "{text}");
    let again = HoleName { attempt: 2, ..first.hole.clone() };
    say(&mut store, &first.hole, HoleState::Covered);
    assert_eq!(counted(&store, "41 left"), (1, 2));
    for given_up in [HoleState::Abandoned, HoleState::Backfilled] {
        say(&mut store, &first.hole, given_up);
        let text = wanted("41 left").find(&store, DAY).unwrap().text;
        assert!(text.ends_with(&format!("attempt 2 (attempt 1 is {}), set-up 1 (the first)", given_up.word())), "{text}");
    }
    let second = wanted("41 left").find(&store, DAY).unwrap();
    drill(&mut store, 2, &second.plan);
    assert_eq!(counted(&store, "41 left"), (2, 2));
    say(&mut store, &again, HoleState::PoleSet);
    assert!(refused(&store, "41 left").starts_with("41 left: somebody said that its pole is set; name the attempt with attempt=N"));
    assert_eq!(counted(&store, "41 left attempt=3"), (3, 1));
}
