//! What a rig is calibrated with, by its own records, and whether that still holds.

use super::drift::ZeroAt;
use super::{Attitude, Pair};
use crate::facts::{Wall, records};
use crate::judge::budget::day;
use crate::text::terminal;
use shared_protocol::record::{Calibration, Instruments, NO_TEMPERATURE, Record, Stamp};
use shared_protocol::slot::Slot;
use shared_protocol::state::CalibrationItem;

/// Items in the order in which they are calibrated.
pub const ITEMS: [CalibrationItem; 6] = [
    CalibrationItem::TiltZero,
    CalibrationItem::TiltDrift,
    CalibrationItem::Mount,
    CalibrationItem::ToolLevel,
    CalibrationItem::GuidePlay,
    CalibrationItem::Encoder,
];

const DAY_MS: i64 = 86_400_000;

/// What an item is called.
#[must_use]
pub fn name(item: CalibrationItem) -> &'static str {
    match item {
        CalibrationItem::TiltZero => "tilt zero",
        CalibrationItem::TiltDrift => "tilt drift",
        CalibrationItem::Mount => "mount",
        CalibrationItem::ToolLevel => "tool level",
        CalibrationItem::Encoder => "encoder",
        CalibrationItem::GuidePlay => "guide play",
        CalibrationItem::Tool => "tool",
    }
}

/// A figure in the unit of an item.
#[must_use]
pub fn figure(item: CalibrationItem, value: u32) -> String {
    let value = f64::from(value);
    match item {
        CalibrationItem::TiltZero => format!("{:.2} mg", value / 1e3),
        CalibrationItem::TiltDrift => format!("{:.1} µg/°C", value / 10.0),
        CalibrationItem::Mount => format!("{:.2}°", value / 100.0),
        CalibrationItem::ToolLevel | CalibrationItem::GuidePlay => format!("{:.2} mm/m", value / 1e3),
        CalibrationItem::Encoder | CalibrationItem::Tool => format!("{:.1} mm", value / 1e3),
    }
}

/// A tool in one line.
#[must_use]
pub fn tool_text(tool: &Calibration) -> String {
    let item = CalibrationItem::Tool;
    let [number, length, diameter] = tool.values[..] else { return format!("{:10}  figures unknown", name(item)) };
    let mm = |um: i32| f64::from(um) / 1e3;
    format!(
        "{:10}  {:.0} mm from pin to cutting edge, cuts {:.0} mm; of {} by {}; ±{} (standard), residual {}",
        format!("tool {number}"),
        mm(length),
        mm(diameter),
        day(tool.day),
        terminal(&tool.who),
        figure(item, tool.uncertainty),
        figure(item, tool.residual),
    )
}

/// The local day of a time, days since 1970-01-01; 0 before that.
#[must_use]
pub fn day_of(wall: Wall) -> u32 {
    u32::try_from((wall.unix_ms + i64::from(wall.offset) * 60_000).div_euclid(DAY_MS)).unwrap_or(0)
}

/// How an item stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Nobody calibrated it.
    Never,
    /// It holds.
    Holds,
    /// It held until a day that has passed.
    Expired,
}

/// One item as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// What.
    pub item: CalibrationItem,
    /// How it stands.
    pub standing: Standing,
    /// Who calibrated it, when, until when and how well; `None` where nobody did.
    pub stamp: Option<Stamp>,
}

/// Every item by a record of instruments, on a day.
#[must_use]
pub fn items(instruments: &Instruments, today: u32) -> Vec<Item> {
    ITEMS
        .iter()
        .map(|&item| {
            let stamp = instruments.stamps.iter().find(|s| s.item == item.raw()).cloned();
            let standing = match &stamp {
                None => Standing::Never,
                Some(stamp) if stamp.expires < today => Standing::Expired,
                Some(_) => Standing::Holds,
            };
            Item { item, standing, stamp }
        })
        .collect()
}

impl Item {
    /// The item in one line.
    #[must_use]
    pub fn text(&self) -> String {
        let Some(stamp) = &self.stamp else { return format!("{:10}  never calibrated", name(self.item)) };
        let holds = if self.standing == Standing::Expired { "EXPIRED on" } else { "holds until" };
        format!(
            "{:10}  {holds} {}; of {} by {}; ±{} (standard), residual {}",
            name(self.item),
            day(stamp.expires),
            day(stamp.day),
            terminal(&stamp.who),
            figure(self.item, stamp.uncertainty),
            figure(self.item, stamp.residual),
        )
    }
}

/// A calibration in force: its stamp, and itself where its own record is at hand.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// Its stamp.
    pub stamp: Stamp,
    /// Itself; `None` where only the stamp is known.
    pub whole: Option<Calibration>,
}

/// Everything that a stream says of a rig's calibrations.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InForce {
    held: Vec<Held>,
    /// The tools that were measured, the latest of each number.
    pub tools: Vec<Calibration>,
    /// Every zero that was found with its temperature, with the day.
    pub zeros: Vec<(u32, ZeroAt)>,
}

/// Reads one rig's stream of one epoch, slots in rising sequence. A record of instruments is the rig's own list: what is
/// not on it is not in force.
#[must_use]
pub fn in_force(stream: &[Slot]) -> InForce {
    let mut all = InForce::default();
    for (_, record) in records(stream) {
        match record {
            Record::Calibrated(calibrated) => all.take(calibrated.calibration),
            Record::Instruments(instruments) => all.listed(&instruments),
            _ => {}
        }
    }
    all
}

impl InForce {
    fn take(&mut self, calibration: Calibration) {
        match CalibrationItem::from_raw(calibration.item) {
            Some(CalibrationItem::Tool) => {
                self.tools.retain(|tool| tool.values.first() != calibration.values.first());
                self.tools.push(calibration);
            }
            Some(item) => {
                if item == CalibrationItem::TiltZero {
                    self.zeros.extend(zero_at(&calibration).map(|zero| (calibration.day, zero)));
                }
                self.held.retain(|held| held.stamp.item != calibration.item);
                self.held.push(Held { stamp: calibration.clone().into(), whole: Some(calibration) });
            }
            None => {} // of a later version
        }
    }

    fn listed(&mut self, instruments: &Instruments) {
        let same = |held: &Held, stamp: &Stamp| {
            let of = |s: &Stamp| (s.item, s.who.clone(), s.day, s.expires, s.uncertainty, s.residual);
            of(&held.stamp) == of(stamp)
        };
        let known = std::mem::take(&mut self.held);
        self.held = instruments
            .stamps
            .iter()
            .map(|stamp| Held { stamp: stamp.clone(), whole: known.iter().find(|h| same(h, stamp)).and_then(|h| h.whole.clone()) })
            .collect();
    }

    /// The calibration of an item.
    #[must_use]
    pub fn of(&self, item: CalibrationItem) -> Option<&Held> {
        self.held.iter().find(|held| held.stamp.item == item.raw())
    }

    /// Whether this very calibration is in force.
    #[must_use]
    pub fn holds(&self, calibration: &Calibration) -> bool {
        self.held.iter().any(|held| held.whole.as_ref() == Some(calibration))
    }

    /// The same as a record of instruments.
    #[must_use]
    pub fn instruments(&self) -> Instruments {
        Instruments {
            stamps: self.held.iter().map(|held| held.stamp.clone()).take(shared_protocol::record::STAMPS_MAX).collect(),
            ..Instruments::default()
        }
    }

    /// What makes the mast's lean of what its sensor reads; the name of an item that is in force and whose values are not
    /// known here, where there is one.
    ///
    /// # Errors
    /// The name of that item.
    pub fn correction(&self) -> Result<Correction, &'static str> {
        let values = |item| match self.of(item) {
            None => Ok(None),
            Some(Held { whole: Some(whole), .. }) => Ok(Some(whole.values.as_slice())),
            Some(Held { whole: None, .. }) => Err(name(item)),
        };
        let mut correction = Correction::NONE;
        if let Some(&[forward, right, temperature]) = values(CalibrationItem::TiltZero)? {
            correction.zero = Pair::new(f64::from(forward), f64::from(right));
            correction.at = known_temperature(temperature);
        }
        if let Some(&[forward, right]) = values(CalibrationItem::TiltDrift)? {
            correction.drift = Pair::new(f64::from(forward), f64::from(right)).times(0.1);
        }
        if let Some(&[_, cos, sin]) = values(CalibrationItem::Mount)? {
            correction.turn = (f64::from(cos) / 1e6, f64::from(sin) / 1e6);
        }
        Ok(correction)
    }
}

fn known_temperature(hundredths: i32) -> Option<f64> {
    (hundredths != i32::from(NO_TEMPERATURE)).then(|| f64::from(hundredths) / 100.0)
}

fn zero_at(calibration: &Calibration) -> Option<ZeroAt> {
    let &[forward, right, temperature] = calibration.values.as_slice() else { return None };
    let zero = Pair::new(f64::from(forward), f64::from(right));
    Some(ZeroAt { temperature: known_temperature(temperature)?, zero, standard: f64::from(calibration.uncertainty) })
}

/// From what a sensor reads to the lean of its mast: minus the zero, and its drift since it was found, then turned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// Zero, µg.
    pub zero: Pair,
    /// Temperature at which it was found, °C.
    pub at: Option<f64>,
    /// Drift, µg/°C.
    pub drift: Pair,
    /// Cosine and sine of the sensor's turn.
    pub turn: (f64, f64),
}

impl Correction {
    /// No correction at all.
    pub const NONE: Self = Self { zero: Pair::new(0.0, 0.0), at: None, drift: Pair::new(0.0, 0.0), turn: (1.0, 0.0) };

    /// Lean of the mast, rig axes, µm/m.
    #[must_use]
    pub fn mast(&self, reading: &Attitude) -> Pair {
        let warmer = reading.temperature.zip(self.at).map_or(0.0, |(now, then)| now - then);
        let level = reading.level.minus(self.zero).minus(self.drift.times(warmer)).turned(self.turn.0, self.turn.1);
        let whole = level.size().hypot(reading.up);
        level.times(1e6 / whole.max(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::assemble::slots;
    use shared_protocol::record::Calibrated;
    use shared_protocol::slot::RECORD_BYTES_MAX;

    fn stream(records: &[Record]) -> Vec<Slot> {
        let mut all: Vec<Slot> = Vec::new();
        for record in records {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = record.encode(&mut body).unwrap();
            let next = all.last().map_or(0, |slot| slot.sequence() + 1);
            all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
        }
        all
    }

    fn calibration(item: CalibrationItem, day: u32, values: &[i32]) -> Calibration {
        let values = heapless::Vec::from_slice(values).unwrap();
        Calibration { item: item.raw(), who: "Tester".try_into().unwrap(), day, expires: day + 365, uncertainty: 80, residual: 120, values }
    }

    fn taken(item: CalibrationItem, day: u32, values: &[i32]) -> Record {
        Record::Calibrated(Calibrated { calibration: calibration(item, day, values), ..Calibrated::default() })
    }

    fn all_records() -> Vec<Record> {
        vec![
            taken(CalibrationItem::TiltZero, 20_000, &[400, 100, 300]),
            taken(CalibrationItem::TiltZero, 20_040, &[1_000, -500, 2_300]),
            taken(CalibrationItem::TiltDrift, 20_041, &[300, -100]),
            taken(CalibrationItem::Mount, 20_042, &[3_000, 866_025, 500_000]),
            taken(CalibrationItem::Tool, 20_043, &[2, 1_300_000, 760_000]),
            taken(CalibrationItem::Tool, 20_044, &[2, 1_310_000, 760_000]),
            taken(CalibrationItem::Tool, 20_044, &[1, 900_000, 1_100_000]),
        ]
    }

    #[test]
    fn the_latest_of_each_item_is_in_force() {
        let all = in_force(&stream(&all_records()));
        let zero = all.of(CalibrationItem::TiltZero).unwrap();
        assert_eq!((zero.stamp.day, zero.stamp.value), (20_040, 2_300));
        assert_eq!(all.tools.iter().map(|t| t.values[1]).collect::<Vec<_>>(), [1_310_000, 900_000]);
        assert_eq!(all.zeros.iter().map(|(day, zero)| (*day, zero.temperature)).collect::<Vec<_>>(), [(20_000, 3.0), (20_040, 23.0)]);
        assert_eq!(all.instruments().stamps.len(), 3);
    }

    /// By hand: (10,000, 2,000) less zero (1,000, −500) and 2 °C of drift (30, −10) µg is (8,940, 2,520); turned by 30°
    /// clockwise (6,482.3, 6,652.4); over a vector of 1,000,043 µg.
    #[test]
    fn a_reading_becomes_the_lean_of_the_mast() {
        let correction = in_force(&stream(&all_records())).correction().unwrap();
        let reading = Attitude { level: Pair::new(10_000.0, 2_000.0), up: 1e6, standard: 0.0, temperature: Some(25.0) };
        let mast = correction.mast(&reading);
        assert!(mast.minus(Pair::new(6_482.0, 6_652.1)).size() < 0.2, "{mast:?}");
        let unknown = Attitude { temperature: None, ..reading };
        assert!(correction.mast(&unknown).size() > mast.size(), "no drift is taken off where no temperature is known");
        assert_eq!(Correction::NONE.mast(&Attitude { level: Pair::new(3e4, 4e4), up: 0.0, ..reading }), Pair::new(6e5, 8e5));
    }

    /// The rig's own list settles what is in force: an item that is off it is not, and one whose stamp is another was
    /// calibrated by somebody whose record is not here.
    #[test]
    fn a_record_of_instruments_settles_it() {
        let mut list = in_force(&stream(&all_records())).instruments();
        list.stamps.retain(|s| s.item != CalibrationItem::TiltDrift.raw());
        list.stamps[0].day = 20_050; // the zero
        let mut records = all_records();
        records.push(Record::Instruments(list));
        let all = in_force(&stream(&records));
        assert_eq!((all.of(CalibrationItem::TiltDrift), all.correction()), (None, Err("tilt zero")));
        assert!(all.of(CalibrationItem::Mount).unwrap().whole.is_some());
        assert!(in_force(&[]).correction().unwrap() == Correction::NONE);
    }

    #[test]
    fn an_item_holds_expires_or_was_never_calibrated() {
        let instruments = in_force(&stream(&all_records())).instruments();
        let text = |today| items(&instruments, today).iter().map(Item::text).collect::<Vec<_>>();
        // 20,040 days after 1970-01-01 is 2024-11-13
        assert_eq!(text(20_405)[0], "tilt zero   holds until 2025-11-13; of 2024-11-13 by Tester; ±0.08 mg (standard), residual 0.12 mg");
        assert!(text(20_406)[0].starts_with("tilt zero   EXPIRED on 2025-11-13; "), "{:?}", text(20_406)[0]);
        assert_eq!(text(20_406)[5], "encoder     never calibrated");
        assert!(text(20_405)[1].ends_with("±8.0 µg/°C (standard), residual 12.0 µg/°C") && text(20_405)[2].ends_with("residual 1.20°"));
    }

    #[test]
    fn a_day_is_a_local_one() {
        let half_past_ten_in_the_evening = Wall { unix_ms: 86_400_000 * 20_000 + 5_400_000, offset: -180 };
        assert_eq!(day_of(half_past_ten_in_the_evening), 19_999);
    }
}
