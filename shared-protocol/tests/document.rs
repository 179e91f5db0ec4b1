//! `WIRE.md` says what the code does, and the vectors pin the bytes. `BLESS=1` writes both anew.
#![allow(missing_docs, clippy::unwrap_used, clippy::indexing_slicing, clippy::arithmetic_side_effects)]

use shared_protocol::assemble::{Assembler, slots};
use shared_protocol::body::{CoarseLean, Row, Secret};
use shared_protocol::frame::wrap;
use shared_protocol::message::{
    Acknowledge, Ask, Calibrate, ChangeTool, CloseHole, Command, Commission, ConfirmRefusal, Decommission, Hello, Live, LoadHole, Message,
    Outlook, Raw, Replay, Reply, SLOTS_KIND, SetClock, TakeNote, TouchHub, text_field,
};
use shared_protocol::record::{
    Calibrated, Calibration, Change, Checkpoint, Clock, Closed, Commissioned, Decommissioned, Fault, Gap, Hub, Identity, Increment,
    Instruments, Note, Opened, Pass, Plan, Record, Refusal, Seal, Stamp, Start, Tool, Unsealed, quality,
};
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
use shared_protocol::state;
use shared_protocol::units::{CentiDegrees, Lean, MicroG, Micrometres, Millis, RigAxes};
use std::fmt::Write;
use std::path::Path;

fn layout(rows: &[Row]) -> String {
    if rows.is_empty() {
        return "nothing".to_owned();
    }
    let postcard = rows.iter().all(|(_, _, bytes)| *bytes == 0);
    let fields: Vec<String> = rows.iter().map(|(name, kind, _)| format!("`{name}` {}", kind.replace('<', "‹").replace('>', "›"))).collect();
    let how = if postcard { "*postcard:* ".to_owned() } else { format!("{} B: ", rows.iter().map(|r| r.2).sum::<usize>()) };
    how + &fields.join(", ")
}

fn kinds(table: &[(u8, &str, &[Row])]) -> String {
    let mut out = "| kind | name | body |\n|---|---|---|\n".to_owned();
    for (number, name, rows) in table {
        writeln!(out, "| {number} | {name} | {} |", layout(rows)).unwrap();
    }
    out
}

type Codes = &'static [(u8, &'static str, &'static str)];

fn codes() -> String {
    let tables: [(&str, Codes); 14] = [
        ("Leg", state::Leg::TABLE),
        ("Datum", state::Datum::TABLE),
        ("SheetUnits", state::SheetUnits::TABLE),
        ("ResetCause", state::ResetCause::TABLE),
        ("Sensor", state::Sensor::TABLE),
        ("SensorFault", state::SensorFault::TABLE),
        ("Check", state::Check::TABLE),
        ("CalibrationItem", state::CalibrationItem::TABLE),
        ("DepthState", state::DepthState::TABLE),
        ("PlumbState", state::PlumbState::TABLE),
        ("ReferenceState", state::ReferenceState::TABLE),
        ("GapCause", state::GapCause::TABLE),
        ("UnsealedCause", state::UnsealedCause::TABLE),
        ("Answer", state::Answer::TABLE),
    ];
    let live: [(&str, Codes); 2] = [("Activity", state::Activity::TABLE), ("Belief", state::Belief::TABLE)];
    let mut out = "| code | number | meaning |\n|---|---|---|\n".to_owned();
    for (name, table) in tables.iter().chain(&live) {
        for (number, code, meaning) in *table {
            writeln!(out, "| {name} | {number} {code} |{meaning} |").unwrap();
        }
    }
    out
}

fn quality_bits() -> String {
    let mut out = "| bit | meaning |\n|---|---|\n".to_owned();
    for (bit, meaning) in quality::TABLE {
        writeln!(out, "| {} | {meaning} |", bit.trailing_zeros()).unwrap();
    }
    out
}

fn with_block(document: &str, name: &str, block: &str) -> String {
    let (before, rest) = document.split_once(&format!("<!-- {name} -->\n")).unwrap();
    let (_, after) = rest.split_once("<!-- end -->").unwrap();
    format!("{before}<!-- {name} -->\n{block}<!-- end -->{after}")
}

fn compare(path: &str, want: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(&path, want).unwrap();
    }
    let have = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(have == want, "{} and the code differ: run BLESS=1 cargo test -p shared-protocol and read the difference", path.display());
}

#[test]
fn the_document_says_what_the_code_does() {
    let mut document = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("WIRE.md")).unwrap();
    let slots_row: (u8, &str, &[Row]) = (SLOTS_KIND, "Slots", &[("slots", "1 to 7 slots of 32 B", 0)]);
    let mut messages: Vec<_> = shared_protocol::message::TABLE.iter().copied().chain([slots_row]).collect();
    messages.sort_by_key(|m| m.0);
    let parts = [
        ("Plan", "`Opened` and `LoadHole`", Plan::TABLE),
        ("Calibration", "`Calibrated` and `Calibrate`", Calibration::TABLE),
        ("Stamp", "`Instruments`", Stamp::TABLE),
    ];
    let plan: String = parts.iter().map(|(name, within, table)| format!("\n`{name}` within {within}: {}\n", layout(table))).collect();
    for (name, block) in [
        ("records", kinds(Record::TABLE) + &plan),
        ("quality", quality_bits()),
        ("codes", codes()),
        ("messages", kinds(&messages).replace("*postcard:* `slots` ", "")),
    ] {
        document = with_block(&document, name, &block);
    }
    compare("WIRE.md", &document);
}

fn text<const N: usize>(s: &str) -> heapless::String<N> {
    s.try_into().unwrap()
}

fn plan() -> Plan {
    Plan {
        line: text("Larkfield–Ostrey"),
        structure: text("41"),
        leg: 1,
        attempt: 1,
        setup: 2,
        operator: text("rig crew 2"),
        units: 1,
        datum: 0,
        depth: Micrometres(3_048_000),
        hub_above_datum: Micrometres(-120_000),
        diameter: Micrometres(1_100_000),
        tool: 1,
        depth_under: Micrometres(152_400),
        depth_over: Micrometres(152_400),
        plumb_limit: Lean(20_833),
        heading: CentiDegrees(-9_000),
        heading_within: CentiDegrees(1_000),
    }
}

fn stamp(item: u8, value: i32) -> Stamp {
    Stamp { item, who: text("bench hand"), day: 20_600, expires: 20_965, uncertainty: 110, residual: 90, value }
}

fn calibration() -> Calibration {
    let values = heapless::Vec::from_slice(&[-1_850, 640, 2_150]).unwrap();
    Calibration { item: 1, who: text("bench hand"), day: 20_600, expires: 20_965, uncertainty: 110, residual: 90, values }
}

fn sum(n: u8) -> [u8; 32] {
    core::array::from_fn(|i| n.wrapping_mul(32).wrapping_add(u8::try_from(i).unwrap()))
}

/// Sealed with the published key of simulated rigs: key and signature are checked by `tests`, with programs of others.
fn seal() -> Seal {
    Seal {
        at: Millis(3_600_200),
        epoch: 1,
        boot: 3,
        rig: text_field("SIM-BENCH-1"),
        configuration: [1, 2, 3, 4, 5, 6, 7, 8],
        first: 5,
        slots: 197,
        digest: sum(5),
        number: 7,
        previous: sum(6),
        key: unhex(KEY),
        signature_r: unhex(SIGNATURE_R),
        signature_s: unhex(SIGNATURE_S),
    }
}

/// The public key of simulated rigs.
const KEY: &str = "3b1a0c21c0209fab4d3c47467cc076bfc19720afe22c3fc38b5352e23774618c";
const SIGNATURE_R: &str = "6c1ecedfa4133077f187bba3d8911521b18289e6d168e86492ad13bebf05ffda";
const SIGNATURE_S: &str = "9df50dc43cbd09138157ac913507735a4074537210bff2f4d01ea5c4036a0b02";

fn unhex(text: &str) -> [u8; 32] {
    core::array::from_fn(|n| u8::from_str_radix(&text[2 * n..2 * n + 2], 16).unwrap())
}

/// One record of every kind, with values that use the ends of their ranges.
fn records() -> Vec<Record> {
    let at = Millis(3_600_123);
    vec![
        Record::Start(Start { at: Millis(2), cause: 1, epoch: 1 }),
        Record::Identity(Identity {
            at,
            rig: text("SIM-BENCH-1"),
            simulated: true,
            firmware: text("0.1.0"),
            epoch: 1,
            guide_height: Micrometres(1_400_000),
            encoder_absolute: false,
            skew_ms: 20,
            increment: Micrometres(25_000),
            tilt_range: MicroG(2_000_000),
            misclosure_limit: Micrometres(10_000),
            temperature: -1_250,
            configuration: [1, 2, 3, 4, 5, 6, 7, 8],
        }),
        Record::Opened(Opened { at, request: 0xDEAD_BEEF, plan: plan() }),
        Record::Hub(Hub { at, request: 7, count: -30_001, misclosure: Micrometres(-1_900), first: 0 }),
        Record::Tool(Tool { at, request: 8, tool: 2, length: Micrometres(1_300_000), diameter: Micrometres(760_000) }),
        Record::Increment(Increment {
            at,
            depth: Micrometres(1_225_000),
            forward: CoarseLean(-1_200),
            right: CoarseLean(i16::MAX),
            scatter: 35,
            samples: 25,
            took: 12,
            quality: 0b1_0010,
        }),
        Record::Pass(Pass {
            number: 17,
            began: at,
            ended: Millis(u32::MAX),
            tag: Micrometres(1_190_000),
            bottom: Micrometres(1_225_000),
            temperature: -12,
        }),
        Record::Change(Change { at, check: 2, state: 3, depth: Micrometres(1_225_000), figure: -20_834 }),
        Record::Fault(Fault { at, sensor: 2, fault: 6, began: 0, lasted: 1_250 }),
        Record::Note(Note { at, request: 9, author: text("ground hand"), text: text("water at 2.1 m, Ø 1.1") }),
        Record::Clock(Clock { at, unix_ms: 1_800_000_000_000, offset: -420 }),
        Record::Closed(Closed {
            at,
            request: 10,
            bottom: Micrometres(3_050_000),
            toe: RigAxes { forward: Micrometres(-31_000), right: Micrometres(12_500) },
            wall: RigAxes { forward: Micrometres(-29_500), right: Micrometres(12_100) },
            passes: 38,
            increments: 122,
            first: 5,
            from: 129,
            slots: 190,
            before: sum(1),
            segment: sum(2),
        }),
        Record::Gap(Gap { at, first: 400, last: 463, cause: 2 }),
        Record::Instruments(Instruments { at, stamps: heapless::Vec::from_slice(&[stamp(1, 2_150), stamp(6, 2_000)]).unwrap() }),
        Record::Calibrated(Calibrated { at, request: 11, calibration: calibration() }),
        Record::Refusal(Refusal { at, request: 12, confirmed: 1, depth: Micrometres(2_675_000) }),
        Record::Checkpoint(Checkpoint { first: 5, from: 0, slots: 129, before: [0; 32], segment: sum(3) }),
        Record::Seal(seal()),
        Record::Unsealed(Unsealed { at, first: 5, cause: 1 }),
        Record::Commissioned(Commissioned { at, request: 13, key: sum(4), before: [0; 32] }),
        Record::Decommissioned(Decommissioned {
            at,
            request: 14,
            who: text("Fitter Ümit"),
            epoch: 1,
            boot: 300,
            seals: 61,
            copies: 9,
            calibrations: 7,
            configuration: [8, 7, 6, 5, 4, 3, 2, 1],
            key: sum(4),
        }),
    ]
}

fn messages() -> Vec<(&'static str, Message<'static>)> {
    let command = |command| Message::Command { request: 0x0102_0304, command };
    vec![
        ("Ask", Message::Ask(Ask { host: 77 })),
        (
            "Hello",
            Message::Hello(Hello {
                simulated: 1,
                epoch: 1,
                boot: 3,
                now: Millis(9),
                tail: 0,
                head: 190,
                acknowledged: 180,
                capacity: 16_256,
                rig: text_field("SIM-BENCH-1"),
                firmware: text_field("0.1.0"),
            }),
        ),
        ("Replay", Message::Replay(Replay { from: 180 })),
        ("Repeat", Message::Repeat(shared_protocol::message::Repeat { first: 77, last: 90 })),
        ("Acknowledge", Message::Acknowledge(Acknowledge { epoch: 1, below: 190, host: 77 })),
        (
            "Live",
            Message::Live(Live {
                at: 4_500,
                depth: Micrometres(1_225_100),
                forward: CoarseLean(1_200),
                right: CoarseLean(-40),
                status: 0x8AC3,
            }),
        ),
        (
            "Outlook",
            Message::Outlook(Outlook {
                bottom: Micrometres(1_225_000),
                toe_forward: Micrometres(-14_700),
                pass: 17,
                opened: 5,
                ..Outlook::default()
            }),
        ),
        ("Reply", Message::Reply(Reply { request: 0x0102_0304, answer: 2, sequence: 0 })),
        ("LoadHole", command(Command::LoadHole(LoadHole { plan: plan() }))),
        ("TouchHub", command(Command::TouchHub(TouchHub {}))),
        ("ChangeTool", command(Command::ChangeTool(ChangeTool { tool: 2 }))),
        ("CloseHole", command(Command::CloseHole(CloseHole {}))),
        ("TakeNote", command(Command::TakeNote(TakeNote { author: text("cab"), text: text("rock, not shot") }))),
        ("SetClock", command(Command::SetClock(SetClock { unix_ms: 1_800_000_000_000, offset: 60 }))),
        (
            "Raw",
            Message::Raw(Raw {
                count: -30_001,
                forward: MicroG(-1_850),
                right: MicroG(640),
                up: MicroG(999_990),
                samples: 20,
                ..Raw::default()
            }),
        ),
        ("Calibrate", command(Command::Calibrate(Calibrate { calibration: calibration() }))),
        ("ConfirmRefusal", command(Command::ConfirmRefusal(ConfirmRefusal { confirmed: 1 }))),
        ("Commission", command(Command::Commission(Commission { secret: Secret(sum(7)) }))),
        ("Decommission", command(Command::Decommission(Decommission { epoch: 1, who: text("Fitter Ümit") }))),
    ]
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut out, b| {
        write!(out, "{b:02x}").unwrap();
        out
    })
}

fn record_slots(record: &Record) -> Vec<Slot> {
    let mut body = [0xA5; RECORD_BYTES_MAX];
    let used = record.encode(&mut body).unwrap();
    slots(1_000, 3, record.kind(), &body[..used]).unwrap().to_vec()
}

#[test]
fn the_vectors_pin_every_record_and_each_reads_back() {
    let all = records();
    assert_eq!(all.iter().map(Record::kind).collect::<Vec<_>>(), Record::TABLE.iter().map(|r| r.0).collect::<Vec<_>>(), "one of each kind");
    let mut file =
        "# One record of every kind as slots: sequence 1000 on, boot 3. Written by BLESS=1 cargo test -p shared-protocol.\n".to_owned();
    for record in &all {
        for slot in record_slots(record) {
            writeln!(file, "{} {}", record.kind(), hex(slot.bytes())).unwrap();
        }
    }
    compare("vectors/slots.txt", &file);
    for record in &all {
        let mut assembler = Assembler::default();
        let parts = record_slots(record);
        let (end, rest) = parts.split_last().unwrap();
        rest.iter().for_each(|slot| assert_eq!(assembler.push(slot), None));
        let whole = assembler.push(end).unwrap();
        assert_eq!(Record::decode(whole.kind, whole.body).unwrap(), *record);
    }
}

#[test]
fn the_vectors_pin_every_message() {
    let all = messages();
    let mut names: Vec<&str> = all.iter().map(|(name, _)| *name).collect();
    let mut table: Vec<&str> = shared_protocol::message::TABLE.iter().map(|(_, name, _)| *name).collect();
    names.sort_unstable();
    table.sort_unstable();
    assert_eq!(names, table, "one of each kind");
    let mut file = "# One frame of every message. Written by BLESS=1 cargo test -p shared-protocol.\n".to_owned();
    for (name, message) in &all {
        writeln!(file, "{name} {}", hex(&wrap(message).unwrap())).unwrap();
    }
    let slot = record_slots(&records()[0])[0];
    writeln!(file, "Slots {}", hex(&wrap(&Message::slots(slot.bytes()).unwrap()).unwrap())).unwrap();
    compare("vectors/frames.txt", &file);
}
