//! Records at the ends of their ranges, and what is none.

use super::*;
use crate::slot::BODY_BYTES;

#[test]
fn hand_laid_bodies_fit_one_slot() {
    let sizes = [
        Start::BYTES,
        Hub::BYTES,
        Tool::BYTES,
        Increment::BYTES,
        Pass::BYTES,
        Change::BYTES,
        Fault::BYTES,
        Clock::BYTES,
        Gap::BYTES,
        Unsealed::BYTES,
    ];
    assert!(sizes.iter().all(|&s| s <= BODY_BYTES), "{sizes:?}");
    let long = [Checkpoint::BYTES, Seal::BYTES, Commissioned::BYTES].map(|bytes| bytes.div_ceil(BODY_BYTES));
    assert_eq!(long, [4, 11, 4], "slots of those that no one slot holds");
}

#[test]
fn the_longest_texts_fit_a_record() {
    let full = |n| "W".repeat(n);
    let (i, l) = (Micrometres(i32::MIN), Lean(i32::MIN));
    let h = CentiDegrees(i32::MIN);
    let plan = Plan {
        line: full(24).as_str().try_into().unwrap(),
        structure: full(16).as_str().try_into().unwrap(),
        leg: 255,
        attempt: 255,
        setup: 255,
        operator: full(24).as_str().try_into().unwrap(),
        units: 255,
        datum: 255,
        depth: i,
        hub_above_datum: i,
        diameter: i,
        tool: 255,
        depth_under: i,
        depth_over: i,
        plumb_limit: l,
        heading: h,
        heading_within: h,
    };
    let at = Millis(u32::MAX);
    let (who, most) = (full(16).as_str().try_into().unwrap(), u32::MAX);
    let values = Vec::from_slice(&[i32::MIN; VALUES_MAX]).unwrap();
    let calibration = Calibration { item: 255, who, day: most, expires: most, uncertainty: most, residual: most, values };
    let who = full(16).as_str().try_into().unwrap();
    let stamp = Stamp { item: 255, who, day: most, expires: most, uncertainty: most, residual: most, value: i32::MIN };
    let stamps = core::iter::repeat_n(stamp, STAMPS_MAX).collect();
    let records = [
        Record::Calibrated(Calibrated { at, request: most, calibration }),
        Record::Instruments(Instruments { at, stamps }),
        Record::Opened(Opened { at, request: u32::MAX, plan }),
        Record::Note(Note {
            at,
            request: u32::MAX,
            author: full(24).as_str().try_into().unwrap(),
            text: full(120).as_str().try_into().unwrap(),
        }),
        Record::Closed(Closed {
            at,
            request: u32::MAX,
            bottom: i,
            toe: RigAxes { forward: i, right: i },
            wall: RigAxes { forward: i, right: i },
            passes: u16::MAX,
            increments: u16::MAX,
            first: u32::MAX,
            from: u32::MAX,
            slots: u32::MAX,
            before: [255; 32],
            segment: [255; 32],
        }),
    ];
    for record in records {
        let mut body = [0xA5; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        assert_eq!(Record::decode(record.kind(), &body[..used]).unwrap(), record);
    }
}

#[test]
fn records_that_commands_left_begin_alike() {
    let (at, request) = (Millis(300), 0xDEAD_BEEF);
    let records = [
        Record::Opened(Opened { at, request, ..Opened::default() }),
        Record::Note(Note { at, request, ..Note::default() }),
        Record::Closed(Closed { at, request, ..Closed::default() }),
        Record::Calibrated(Calibrated { at, request, ..Calibrated::default() }),
    ];
    assert_eq!(records.each_ref().map(Record::kind), [Opened::KIND, Note::KIND, Closed::KIND, Calibrated::KIND]);
    for record in records {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        assert_eq!(Asked::decode(&body[..used]), Some(Asked { at, request }));
    }
}

#[test]
fn unknown_is_not_malformed() {
    assert_eq!(Record::decode(200, &[]), Err(RecordFault::Unknown(200)));
    assert_eq!(Record::decode(6, &[1, 2]), Err(RecordFault::Malformed(6)));
    assert_eq!(Record::decode(10, &[1, 2, 5, 0xFF]), Err(RecordFault::Malformed(10)));
}
