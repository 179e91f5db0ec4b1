//! Persons led through procedures: what they are asked, what they answer, and what the rig would be given.

use super::{Guide, Heard, Say, Signature};
use crate::calibrate::Refused;
use crate::calibrate::in_force::{InForce, in_force};
use crate::calibrate::procedure::Procedure;
use shared_protocol::assemble::slots;
use shared_protocol::message::Raw;
use shared_protocol::record::{Calibrated, Calibration, Record};
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
use shared_protocol::state::CalibrationItem;
use shared_protocol::units::{MicroG, Millis};

/// 2024-10-04.
const TODAY: u32 = 20_000;

/// A guide, a clock, and what the sensors read.
struct Walk {
    guide: Guide,
    now: u32,
    raw: Raw,
    said: Vec<Say>,
}

impl Walk {
    fn begin(procedure: Procedure, known: InForce, signature: Signature) -> Result<Self, Refused> {
        let guide = Guide::begin(procedure, known, signature, TODAY, 0)?;
        let raw = Raw { up: MicroG(1_000_000), samples: 20, temperature: 1_800, count_good: 1, ..Raw::default() };
        Ok(Self { guide, now: 0, raw, said: Vec::new() })
    }

    /// The question that waits for a line.
    fn asked(&mut self) -> String {
        while let Some(said) = self.guide.say() {
            self.said.push(said);
        }
        match self.said.last() {
            Some(Say::Ask(question)) => question.clone(),
            other => panic!("nothing is asked: {other:?}"),
        }
    }

    fn line(&mut self, line: &str) -> Result<Heard, Refused> {
        self.asked();
        self.guide.line(u64::from(self.now), line)
    }

    fn answer(&mut self, line: &str) -> Result<(), Refused> {
        assert_eq!(self.line(line)?, Heard::Understood, "{line}");
        Ok(())
    }

    /// Half seconds with these readings.
    fn pass(&mut self, half_seconds: u32) -> Result<(), Refused> {
        for _ in 0..half_seconds {
            self.now += 500;
            self.raw.at = Millis(self.now);
            self.guide.raw(u64::from(self.now), &self.raw.clone())?;
        }
        Ok(())
    }

    /// Enter, and the sensor rests with these two specific forces.
    fn stand(&mut self, forward: i32, right: i32) -> Result<(), Refused> {
        self.answer("")?;
        (self.raw.forward, self.raw.right) = (MicroG(forward), MicroG(right));
        self.pass(10)
    }

    /// A length, and the encoder rests at this count.
    fn tape(&mut self, length: &str, count: i32) -> Result<(), Refused> {
        self.answer(length)?;
        self.raw.count = count;
        self.pass(6)
    }

    fn sent(&mut self) -> Calibration {
        while let Some(said) = self.guide.say() {
            self.said.push(said);
        }
        match self.said.last() {
            Some(Say::Send(calibration)) => (**calibration).clone(),
            other => panic!("nothing is sent: {other:?}"),
        }
    }

    fn lines(&self) -> Vec<&str> {
        self.said.iter().filter_map(|said| if let Say::Line(line) = said { Some(line.as_str()) } else { None }).collect()
    }
}

fn signed() -> Signature {
    Signature { who: Some("Tester".to_owned()), months: Some(12) }
}

fn walk(procedure: Procedure, known: InForce) -> Walk {
    Walk::begin(procedure, known, signed()).unwrap()
}

fn calibrated(rows: &[(CalibrationItem, u32, &[i32])]) -> InForce {
    let mut all: Vec<Slot> = Vec::new();
    for (item, day, values) in rows {
        let calibration = Calibration {
            item: item.raw(),
            who: "Tester".try_into().unwrap(),
            day: *day,
            expires: day + 365,
            uncertainty: 80,
            residual: 100,
            values: heapless::Vec::from_slice(values).unwrap(),
        };
        let record = Record::Calibrated(Calibrated { calibration, ..Calibrated::default() });
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        let next = all.last().map_or(0, |slot| slot.sequence() + 1);
        all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
    }
    in_force(&all)
}

/// Reversal, check value: true = (m0 − m180)/2, zero = (m0 + m180)/2. A plate of +4 mm/m, a zero of (+1, −0.5) mg.
#[test]
fn a_zero_is_found_asked_for_signed_and_sent() {
    let mut walk = Walk::begin(Procedure::Zero { four: false }, InForce::default(), Signature::default()).unwrap();
    assert!(walk.asked().starts_with("Set it against a straightedge"));
    walk.stand(5_000, -500).unwrap();
    assert!(walk.asked().starts_with("Turn it half a turn clockwise"));
    walk.stand(-3_000, -500).unwrap();
    assert!(walk.asked().starts_with("Who calibrated it"));
    assert_eq!(walk.line("").unwrap(), Heard::NotUnderstood("nobody is named: say who calibrates".to_owned()));
    assert!(walk.asked().starts_with("Who calibrated it"), "it is asked again");
    walk.answer(" Tester ").unwrap();
    assert_eq!(walk.asked(), "Until which day does it hold (Enter for 2025-10-04)?");
    for (line, want) in [
        ("soon", "\"soon\" is no date: write for example 2031-05-12"),
        ("2024-10-03", "2024-10-03 has passed: a calibration that has expired is none"),
        ("2060-01-01", "2060-01-01 is too far away: 2029-10-08 at the latest"),
    ] {
        assert_eq!(walk.line(line).unwrap(), Heard::NotUnderstood(want.to_owned()));
    }
    walk.answer("2025-04-01").unwrap();
    assert_eq!(walk.asked(), "Shall the rig have it? yes or no");
    assert_eq!(walk.line("perhaps").unwrap(), Heard::NotUnderstood("\"perhaps\" is neither yes nor no".to_owned()));
    walk.answer("yes").unwrap();
    let sent = walk.sent();
    assert_eq!((sent.item, &sent.values[..]), (CalibrationItem::TiltZero.raw(), &[1_000, -500, 1_800][..]));
    assert_eq!((sent.who.as_str(), sent.day, sent.expires), ("Tester", TODAY, 20_179));
    // seat 200/√3/√2 and turn 4,000 · 0.035/√3/√4: 81.6 and 40.4, together 91.1 µg, up to 92; twice that over 3 m
    let said = walk.lines();
    assert!(said.contains(&"zero: forward +1.00 mg, right -0.50 mg, at 18.0 °C"), "{said:?}");
    assert!(said.contains(&"standard uncertainty 0.09 mg, residual 0.00 mg"), "{said:?}");
    assert!(said.contains(&"in a hole 3 m deep this alone leaves the toe unknown by 1 mm either way"), "{said:?}");
    assert_eq!(walk.line_after_the_end(), Heard::NotUnderstood("nothing was asked".to_owned()));
}

impl Walk {
    fn line_after_the_end(&mut self) -> Heard {
        self.guide.line(u64::from(self.now), "yes").unwrap()
    }
}

/// Readings are means over a second: one that came half a second after Enter is half of the position before.
#[test]
fn a_mean_from_before_enter_does_not_count() {
    let mut walk = walk(Procedure::Zero { four: false }, InForce::default());
    for forward in [5_000, -3_000] {
        walk.answer("").unwrap();
        walk.raw.forward = MicroG(forward + 250);
        walk.pass(1).unwrap();
        walk.raw.forward = MicroG(forward);
        walk.pass(9).unwrap();
    }
    walk.answer("yes").unwrap();
    assert_eq!(walk.sent().values[0], 1_000);
}

#[test]
fn who_signs_and_for_how_long_need_not_be_asked() {
    let mut walk = walk(Procedure::Tool, InForce::default());
    for line in ["2", "1302 mm", "1.298 m", "760 mm"] {
        walk.answer(line).unwrap();
    }
    assert_eq!(walk.asked(), "Shall the rig have it? yes or no");
    walk.answer("yes").unwrap();
    let sent = walk.sent();
    assert_eq!((&sent.values[..], sent.who.as_str(), sent.expires), (&[2, 1_300_000, 760_000][..], "Tester", 20_365));
    // the end of January and one month: the month's last day
    assert_eq!(super::after_months(19_753, 1), 19_782); // 2024-01-31 and 2024-02-29
    let long = Signature { who: Some("A name that is too long".to_owned()), months: None };
    let refused = Walk::begin(Procedure::Tool, InForce::default(), long).err().unwrap().to_string();
    assert_eq!(refused, "\"A name that is too long\" is too long a name: 16 bytes at most");
}

#[test]
fn nothing_is_sent_without_a_yes() {
    let mut walk = walk(Procedure::Tool, InForce::default());
    for line in ["2", "1.3 m", "1.3 m", "760 mm"] {
        walk.answer(line).unwrap();
    }
    assert_eq!(walk.line("no").unwrap_err().to_string(), "nothing was sent: the rig is as it was");
    assert!(walk.guide.say().is_none());
}

#[test]
fn what_is_not_understood_is_asked_again() {
    let mut walk = walk(Procedure::Tool, InForce::default());
    for (line, want) in [("300", "\"300\" is no number from 1 to 255"), ("0", "\"0\" is no number from 1 to 255")] {
        assert_eq!(walk.line(line).unwrap(), Heard::NotUnderstood(want.to_owned()));
    }
    walk.answer("1").unwrap();
    assert!(matches!(walk.line("1.3").unwrap(), Heard::NotUnderstood(why) if why.starts_with("\"1.3\" is no length")));
    assert_eq!(walk.asked(), "Its length from pin to cutting edge, by tape?");
}

#[test]
fn a_sensor_that_does_not_come_to_rest_or_is_silent_ends_it() {
    let mut silent = walk(Procedure::Zero { four: true }, InForce::default());
    silent.answer("").unwrap();
    silent.guide.tick(4_999).unwrap();
    assert!(silent.guide.tick(5_000).unwrap_err().to_string().starts_with("no raw readings came from the rig in 5 s: "));
    let mut shaken = walk(Procedure::Zero { four: true }, InForce::default());
    shaken.answer("").unwrap();
    shaken.raw.scatter = 600;
    shaken.pass(119).unwrap();
    let said = shaken.pass(1).unwrap_err().to_string();
    assert_eq!(said, "no rest in 60 s, shaken: scatter 6.0 mg, 5.0 mg at most; engine off, hands off: see to that and begin again");
}

/// Lengths of 0, 1, 2 and 3 m at 8,000 counts a metre, then "done": 0.125 mm to a count.
#[test]
fn an_encoder_is_taped_until_somebody_says_done() {
    let mut walk = walk(Procedure::Encoder, InForce::default());
    walk.tape("0.5 m", 4_000).unwrap();
    assert!(matches!(walk.line("done").unwrap(), Heard::NotUnderstood(_)), "two lengths at least");
    walk.tape("1.5 m", 12_000).unwrap();
    walk.tape("2500 mm", 20_000).unwrap();
    walk.answer("done").unwrap();
    walk.answer("yes").unwrap();
    assert_eq!(walk.sent().values[..], [4_000, 500_000, 20_000, 2_500_000]);
    assert!(walk.lines().iter().any(|line| line.starts_with("0.1250 mm to a count from 0.500 m to 2.500 m")), "{:?}", walk.lines());
}

/// A sensor turned by 30° clockwise whose mast's top goes forward: the toe goes back, the sensor reads (−cos, +sin).
#[test]
fn a_mount_is_found_by_leaning_the_mast() {
    let mut walk = walk(Procedure::Mount, InForce::default());
    for (forward, right) in [(0, 0), (-8_660, 5_000), (8_660, -5_000)] {
        walk.stand(forward, right).unwrap();
    }
    walk.answer("yes").unwrap();
    let sent = walk.sent();
    assert!(sent.values[0].abs_diff(3_000) <= 1 && sent.values[1].abs_diff(866_025) < 20, "{sent:?}");
    assert!(sent.values[2].abs_diff(500_000) < 40, "{sent:?}");
}

/// The mast leans (2, −1) mm/m after a zero of (1, 0) mg; the string hangs (5, 1) off plumb, and 1 mm/m of bend turns
/// with it. String less mast: (3, 2).
#[test]
fn a_tool_is_levelled_against_its_mast_at_four_quarter_turns() {
    let zero = calibrated(&[(CalibrationItem::TiltZero, 19_990, &[1_000, 0, 1_800])]);
    let refused = Walk::begin(Procedure::Level, InForce::default(), signed()).err().unwrap().to_string();
    assert_eq!(refused, "the rig has no tilt zero: calibrate the zero first");
    let mut walk = walk(Procedure::Level, zero);
    walk.answer("0.5 mm/m").unwrap();
    for (forward, right) in [("6 mm/m", "1 mm/m"), ("5 mm/m", "2 mm/m"), ("4 mm/m", "1 mm/m"), ("5 mm/m", "0 mm/m")] {
        walk.stand(3_000, -1_000).unwrap();
        walk.answer(forward).unwrap();
        walk.answer(right).unwrap();
    }
    walk.answer("yes").unwrap();
    let sent = walk.sent();
    assert!(sent.values[0].abs_diff(3_000) <= 1 && sent.values[1].abs_diff(2_000) <= 1, "{sent:?}");
    // 0.5 mm/m as half-width: over √12 for reading it in four, over √3 for its own zero: 0.323
    assert_eq!((sent.uncertainty, sent.residual), (323, 0));
}

#[test]
fn play_is_felt_twice_and_the_mast_must_stand_still() {
    let mut walk = walk(Procedure::Play, InForce::default());
    walk.answer("0.3 mm/m").unwrap();
    for side in ["9 mm/m", "-3 mm/m", "4 mm/m", "-4 mm/m"].repeat(2) {
        walk.stand(2_000, 0).unwrap();
        walk.answer(side).unwrap();
    }
    walk.answer("yes").unwrap();
    assert_eq!(walk.sent().values[..], [6_000]);
    let mut moved = super::tests::walk(Procedure::Play, InForce::default());
    moved.answer("0.3 mm/m").unwrap();
    moved.stand(2_000, 0).unwrap();
    moved.answer("9 mm/m").unwrap();
    let said = moved.stand(2_000, 600).unwrap_err().to_string();
    assert!(said.starts_with("the mast moved by +0.60 mm/m meanwhile: push the string"), "{said}");
}

/// Zeros of 3 and 23 °C, and one of four hundred days ago that says nothing any more.
#[test]
fn a_drift_is_drawn_from_fresh_zeros() {
    let zero = |day, forward, temperature| (CalibrationItem::TiltZero, day, [forward, 0, temperature]);
    let rows = [zero(19_500, 9_000, 1_300), zero(19_900, 400, 300), zero(19_990, 1_600, 2_300)];
    let rows: Vec<_> = rows.iter().map(|(item, day, values)| (*item, *day, &values[..])).collect();
    let mut drawn = walk(Procedure::Drift, calibrated(&rows));
    drawn.answer("yes").unwrap();
    assert_eq!(drawn.sent().values[..], [600, 0]); // 1.2 mg over 20 °C
    assert!(drawn.lines().contains(&"zero of 2024-06-26 at 3.0 °C: forward +0.40 mg, right +0.00 mg"), "{:?}", drawn.lines());
    let refused = Walk::begin(Procedure::Drift, calibrated(&rows[..2]), signed()).err().unwrap().to_string();
    assert!(refused.starts_with("only one zero is known, at 3.0 °C: calibrate the zero at two temperatures"), "{refused}");
}

/// Whatever cannot be right ends the procedure before anybody is asked whether the rig shall have it.
#[test]
fn what_cannot_be_right_is_never_sent() {
    type Steps = fn(&mut Walk) -> Result<(), Refused>;
    let rows: [(Procedure, Steps, &str); 6] = [
        (Procedure::Encoder, |w| tapes(w, &[("0.5 m", 4_000), ("1.5 m", 12_000), ("2.5 m", 10_000)]), "the count goes back"),
        (Procedure::Encoder, |w| tapes(w, &[("0.5 m", 4_000), ("1.5 m", 4_000)]), "have the same count, 4000"),
        (
            Procedure::Encoder,
            |w| tapes(w, &[("0 m", 0), ("1 m", 8_000), ("2.04 m", 16_000), ("3 m", 24_000)]),
            "off what its neighbours say",
        ),
        // forward by (m0 + m180)/2 = 1 mg, by the other pair (right at 90 and 270) 3 mg
        (Procedure::Zero { four: true }, |w| stands(w, &[(5_000, 0), (3_000, -4_000), (-3_000, 0), (3_000, 4_000)]), "differ"),
        // turned by 60°
        (Procedure::Mount, |w| stands(w, &[(0, 0), (-5_000, 8_660), (5_000, -8_660)]), "60"),
        // by 0° leaning forward and by 6° leaning back
        (Procedure::Mount, |w| stands(w, &[(0, 0), (-10_000, 0), (9_945, -1_045)]), "6.0"),
    ];
    for (procedure, steps, why) in rows {
        let mut walk = walk(procedure, InForce::default());
        let said = steps(&mut walk).expect_err(why).to_string();
        assert!(said.contains(why) && said.contains(": ") && !said.contains('\n'), "{said}");
        while let Some(said) = walk.guide.say() {
            walk.said.push(said);
        }
        let asked = |said: &Say| matches!(said, Say::Send(_)) || matches!(said, Say::Ask(q) if q.starts_with("Shall the rig"));
        assert!(!walk.said.iter().any(asked), "{:?}", walk.said);
        assert_eq!(walk.line_after_the_end(), Heard::NotUnderstood("nothing was asked".to_owned()), "it is over");
    }
}

fn tapes(walk: &mut Walk, lengths: &[(&str, i32)]) -> Result<(), Refused> {
    lengths.iter().try_for_each(|(length, count)| walk.tape(length, *count))?;
    walk.answer("done")
}

fn stands(walk: &mut Walk, forces: &[(i32, i32)]) -> Result<(), Refused> {
    forces.iter().try_for_each(|(forward, right)| walk.stand(*forward, *right))
}
