//! What the sensors' registers mean: a table, one row per quantity.
//!
//! Angles are not among the quantities: turning one into a specific force takes a sine, which integers do
//! not give exactly. A sensor that offers both is read for its acceleration.

use shared_protocol::state::{SensorFault, SpecificForce};
use shared_protocol::units::{MicroG, RigAxes, div_round};

/// The most registers one request may ask for (Modbus application protocol 1.1b3, 6.3).
const REGISTERS_MAX: u16 = 125;
/// The most a table can make of it: three axes and a temperature of two registers each.
pub const POLL_REGISTERS_MAX: u16 = 8;
const _: () = assert!(POLL_REGISTERS_MAX <= REGISTERS_MAX);
/// The highest unit that a sensor may have; those above are reserved (Modbus over serial line 1.02, 2.2).
const UNIT_MAX: u8 = 247;

/// How a register is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Function {
    /// Read holding registers.
    Holding = 3,
    /// Read input registers.
    Input = 4,
}

impl Function {
    /// Its code on the line.
    #[must_use]
    pub const fn code(self) -> u8 {
        self as u8
    }
}

/// An axis of the rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// Away from the cab.
    Forward,
    /// To the operator's right.
    Right,
    /// Along the tool, upward.
    Up,
}

/// What a row gives, and by which convention.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// The encoder's count; base unit one count.
    Count,
    /// Specific force, as an accelerometer feels it: +1 g upward at rest. Base unit µg.
    SpecificForce(Axis),
    /// Gravity's own component: −1 g upward at rest. Base unit µg.
    Gravity(Axis),
    /// The tilt sensor's temperature; base unit a hundredth of a degree Celsius. It may be missing.
    Temperature,
}

impl Quantity {
    const fn axis(self) -> Option<Axis> {
        match self {
            Self::Count | Self::Temperature => None,
            Self::SpecificForce(axis) | Self::Gravity(axis) => Some(axis),
        }
    }
}

/// Which half of a 32-bit figure is at the lower address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WordOrder {
    /// The high half.
    HighFirst,
    /// The low half.
    LowFirst,
}

/// How the figure is stored. Each register has its high byte first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// One register, unsigned.
    U16,
    /// One register, two's complement.
    I16,
    /// Two registers, unsigned.
    U32(WordOrder),
    /// Two registers, two's complement.
    I32(WordOrder),
}

impl Format {
    const fn registers(self) -> u16 {
        match self {
            Self::U16 | Self::I16 => 1,
            Self::U32(_) | Self::I32(_) => 2,
        }
    }

    fn read(self, bytes: &[u8]) -> Option<i64> {
        let wide = |order: WordOrder| {
            let [a, b, c, d] = *bytes.first_chunk()?;
            Some(match order {
                WordOrder::HighFirst => [a, b, c, d],
                WordOrder::LowFirst => [c, d, a, b],
            })
        };
        Some(match self {
            Self::U16 => u16::from_be_bytes(*bytes.first_chunk()?).into(),
            Self::I16 => i16::from_be_bytes(*bytes.first_chunk()?).into(),
            Self::U32(order) => u32::from_be_bytes(wide(order)?).into(),
            Self::I32(order) => i32::from_be_bytes(wide(order)?).into(),
        })
    }
}

/// One quantity of one sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// The sensor's unit on the line, 1 to 247.
    pub unit: u8,
    /// How it is asked for.
    pub function: Function,
    /// Its first register, counted from 0 as on the line.
    pub address: u16,
    /// What it gives.
    pub quantity: Quantity,
    /// How it is stored.
    pub format: Format,
    /// Base units in so many steps of the register.
    pub times: u32,
    /// So many steps of the register.
    pub over: u32,
    /// Whether the sensor is mounted the other way round on this axis.
    pub turned: bool,
    /// The end of its range either way, base units: beyond it no figure can be.
    pub range: i32,
}

impl Row {
    /// The figure in base units, from the reply's data that begins at register `first`.
    fn value(&self, first: u16, data: &[u8]) -> Result<i32, SensorFault> {
        let at = usize::from(self.address.saturating_sub(first)).saturating_mul(2);
        let raw = data.get(at..).and_then(|bytes| self.format.read(bytes)).ok_or(SensorFault::Mismatched)?;
        let negative = self.turned != matches!(self.quantity, Quantity::Gravity(_));
        let steps = if negative { raw.saturating_neg() } else { raw };
        let value = div_round(steps.saturating_mul(i64::from(self.times)), i64::from(self.over));
        match i32::try_from(value) {
            Ok(value) if value.unsigned_abs() <= self.range.unsigned_abs() => Ok(value),
            _ => Err(SensorFault::OutOfRange),
        }
    }
}

/// One request: so many registers of one unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Poll {
    /// The sensor's unit.
    pub unit: u8,
    /// How it is asked.
    pub function: Function,
    /// First register.
    pub first: u16,
    /// Registers.
    pub registers: u16,
}

impl Poll {
    /// Bytes of a request.
    pub const REQUEST_BYTES: usize = 8;

    /// Bytes of data in a good reply.
    #[must_use]
    pub fn data_bytes(&self) -> usize {
        usize::from(self.registers).saturating_mul(2)
    }

    /// Bytes of a good reply: unit, function and byte count before the data, a check behind.
    #[must_use]
    pub fn reply_bytes(&self) -> usize {
        self.data_bytes().saturating_add(5)
    }
}

/// Why a table cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MapFault {
    /// There must be one count, each axis once, and a temperature at most once.
    Quantities,
    /// A sensor's quantities must have one unit and one function.
    Scattered,
    /// A sensor's registers must follow one another, none left out and none twice.
    Gaps,
    /// No sensor can have this unit.
    Unit,
    /// Registers end at 65535.
    Address,
    /// A scale or a range of nothing.
    Scale,
}

impl core::fmt::Display for MapFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Quantities => "the register map needs one count, one row for each of the three axes, and one temperature at most",
            Self::Scattered => "a sensor's rows in the register map must have the same unit and function",
            Self::Gaps => "a sensor's registers must follow one another in the register map",
            Self::Unit => "units in the register map go from 1 to 247",
            Self::Address => "registers in the register map end at 65535",
            Self::Scale => "scale and range in the register map must not be zero",
        })
    }
}

/// The table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RegisterMap {
    /// Its rows; a sensor's in the order of their registers.
    pub rows: &'static [Row],
}

/// A row of the bench's own tilt sensor: steps of 0.1 mg, ±2 g.
const fn bench_tilt(address: u16, axis: Axis) -> Row {
    Row {
        unit: 2,
        function: Function::Input,
        address,
        quantity: Quantity::SpecificForce(axis),
        format: Format::I16,
        times: 100,
        over: 1,
        turned: false,
        range: 2_000_000,
    }
}

impl RegisterMap {
    /// The bench's own, invented sensors: a 32-bit encoder as unit 1, a three-axis tilt sensor with a
    /// thermometer, in steps of 0.01 degree Celsius, as unit 2.
    pub const BENCH: Self = Self {
        rows: &[
            Row {
                unit: 1,
                function: Function::Input,
                address: 0,
                quantity: Quantity::Count,
                format: Format::I32(WordOrder::HighFirst),
                times: 1,
                over: 1,
                turned: false,
                range: i32::MAX,
            },
            bench_tilt(0, Axis::Forward),
            bench_tilt(1, Axis::Right),
            bench_tilt(2, Axis::Up),
            Row { quantity: Quantity::Temperature, times: 1, range: 10_000, ..bench_tilt(3, Axis::Up) },
        ],
    };

    /// The two requests of a round: encoder, tilt sensor.
    ///
    /// # Errors
    /// [`MapFault`] where the table cannot be used.
    pub fn polls(&self) -> Result<(Poll, Poll), MapFault> {
        let count = |wanted: fn(Quantity) -> bool| self.rows.iter().filter(|row| wanted(row.quantity)).count();
        let once: [fn(Quantity) -> bool; 4] = [
            |q| q == Quantity::Count,
            |q| q.axis() == Some(Axis::Forward),
            |q| q.axis() == Some(Axis::Right),
            |q| q.axis() == Some(Axis::Up),
        ];
        if once.into_iter().any(|wanted| count(wanted) != 1) || count(|q| q == Quantity::Temperature) > 1 {
            return Err(MapFault::Quantities);
        }
        if self.rows.iter().any(|row| row.times == 0 || row.over == 0 || row.range <= 0) {
            return Err(MapFault::Scale);
        }
        Ok((self.poll(|row| row.quantity == Quantity::Count)?, self.poll(|row| row.quantity != Quantity::Count)?))
    }

    fn poll(&self, of_sensor: impl Fn(&&Row) -> bool) -> Result<Poll, MapFault> {
        let mut rows = self.rows.iter().filter(of_sensor);
        let first = rows.next().ok_or(MapFault::Quantities)?;
        let mut poll = Poll { unit: first.unit, function: first.function, first: first.address, registers: first.format.registers() };
        for row in rows {
            if (row.unit, row.function) != (poll.unit, poll.function) {
                return Err(MapFault::Scattered);
            }
            if Some(row.address) != poll.first.checked_add(poll.registers) {
                return Err(MapFault::Gaps);
            }
            poll.registers = poll.registers.saturating_add(row.format.registers());
        }
        if poll.unit == 0 || poll.unit > UNIT_MAX {
            return Err(MapFault::Unit);
        }
        // The last register, not the one behind it, is what must exist.
        poll.first.checked_add(poll.registers.saturating_sub(1)).map(|_| poll).ok_or(MapFault::Address)
    }

    /// The encoder's count from its reply's data.
    ///
    /// # Errors
    /// [`SensorFault::Mismatched`] where the data is too short, [`SensorFault::OutOfRange`] where the figure cannot be.
    pub fn count(&self, first: u16, data: &[u8]) -> Result<i32, SensorFault> {
        let row = self.rows.iter().find(|row| row.quantity == Quantity::Count).ok_or(SensorFault::Mismatched)?;
        row.value(first, data)
    }

    /// The specific force from the tilt sensor's reply's data.
    ///
    /// # Errors
    /// As [`RegisterMap::count`].
    pub fn force(&self, first: u16, data: &[u8]) -> Result<SpecificForce, SensorFault> {
        let on = |axis| {
            let row = self.rows.iter().find(|row| row.quantity.axis() == Some(axis)).ok_or(SensorFault::Mismatched)?;
            row.value(first, data).map(MicroG)
        };
        Ok(SpecificForce { level: RigAxes { forward: on(Axis::Forward)?, right: on(Axis::Right)? }, up: on(Axis::Up)? })
    }

    /// The temperature from the tilt sensor's reply's data, hundredths of a degree Celsius; `None` where the map has
    /// none or the figure cannot be: lean is good without it.
    #[must_use]
    pub fn temperature(&self, first: u16, data: &[u8]) -> Option<i16> {
        let row = self.rows.iter().find(|row| row.quantity == Quantity::Temperature)?;
        i16::try_from(row.value(first, data).ok()?).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A table with one row changed, for as long as the test runs.
    fn bench_with(index: usize, change: impl Fn(&mut Row)) -> RegisterMap {
        let mut rows = RegisterMap::BENCH.rows.to_vec();
        change(&mut rows[index]);
        RegisterMap { rows: rows.leak() }
    }

    #[test]
    fn the_bench_asks_for_two_and_four_registers() {
        let (encoder, tilt) = RegisterMap::BENCH.polls().unwrap();
        assert_eq!(encoder, Poll { unit: 1, function: Function::Input, first: 0, registers: 2 });
        assert_eq!(tilt, Poll { unit: 2, function: Function::Input, first: 0, registers: 4 });
        assert_eq!((encoder.reply_bytes(), tilt.reply_bytes()), (9, 13));
    }

    #[test]
    fn a_table_that_cannot_be_used_says_why() {
        let cases = [
            (bench_with(1, |row| row.quantity = Quantity::Count), MapFault::Quantities),
            (bench_with(1, |row| row.quantity = Quantity::Gravity(Axis::Up)), MapFault::Quantities),
            (RegisterMap { rows: &[] }, MapFault::Quantities),
            (bench_with(2, |row| row.unit = 3), MapFault::Scattered),
            (bench_with(3, |row| row.function = Function::Holding), MapFault::Scattered),
            (bench_with(3, |row| row.address = 3), MapFault::Gaps),
            (bench_with(2, |row| row.address = 0), MapFault::Gaps),
            (bench_with(0, |row| row.unit = 0), MapFault::Unit),
            (bench_with(0, |row| row.unit = 248), MapFault::Unit),
            (bench_with(0, |row| row.address = 0xFFFF), MapFault::Address),
            (bench_with(0, |row| row.times = 0), MapFault::Scale),
            (bench_with(2, |row| row.over = 0), MapFault::Scale),
            (bench_with(3, |row| row.range = 0), MapFault::Scale),
        ];
        for (map, fault) in cases {
            assert_eq!(map.polls(), Err(fault), "{fault}");
        }
        assert!(bench_with(0, |row| row.address = 0xFFFE).polls().is_ok(), "the last two registers that there are");
        assert!(bench_with(0, |row| row.unit = 247).polls().is_ok());
    }

    /// Values of the read-register examples of the Modbus application protocol, 6.3 and 6.4.
    #[test]
    fn registers_have_their_high_byte_first() {
        assert_eq!(Format::U16.read(&[0x02, 0x2B]), Some(555));
        assert_eq!(Format::U16.read(&[0x00, 0x64]), Some(100));
        assert_eq!(Format::I16.read(&[0xFF, 0xFE]), Some(-2));
        assert_eq!(Format::U16.read(&[0xFF, 0xFE]), Some(65_534));
    }

    #[test]
    fn both_word_orders_and_both_signs() {
        let bytes = [0xFF, 0xFE, 0x1D, 0xC0];
        assert_eq!(Format::I32(WordOrder::HighFirst).read(&bytes), Some(-123_456));
        assert_eq!(Format::U32(WordOrder::HighFirst).read(&bytes), Some(4_294_843_840));
        assert_eq!(Format::I32(WordOrder::LowFirst).read(&[0x1D, 0xC0, 0xFF, 0xFE]), Some(-123_456));
        assert_eq!(Format::U32(WordOrder::LowFirst).read(&[0x00, 0x01, 0x00, 0x00]), Some(1));
        assert_eq!(Format::I32(WordOrder::LowFirst).read(&[0x00, 0x01, 0x00]), None);
    }

    #[test]
    fn a_toe_that_goes_forward_reads_positive_by_either_convention_and_either_mounting() {
        // Specific force forward +0.012 g, up +1 g; gravity's components are the opposite.
        let (forward, gravity) = ([0x00, 0x78], [0xFF, 0x88]);
        for (quantity, turned, raw) in [
            (Quantity::SpecificForce(Axis::Forward), false, forward),
            (Quantity::SpecificForce(Axis::Forward), true, gravity),
            (Quantity::Gravity(Axis::Forward), false, gravity),
            (Quantity::Gravity(Axis::Forward), true, forward),
        ] {
            let map = bench_with(1, |row| (row.quantity, row.turned) = (quantity, turned));
            let data = [raw, [0xFF, 0xFF], [0x27, 0x10]].concat();
            let force = map.force(0, &data).unwrap();
            assert_eq!(force.level.forward, MicroG(12_000), "{quantity:?} turned {turned}");
            assert_eq!((force.level.right, force.up), (MicroG(-100), MicroG(1_000_000)));
        }
    }

    #[test]
    fn scale_is_a_rational_and_rounds_to_the_nearest() {
        let map = bench_with(0, |row| (row.times, row.over) = (10, 3));
        assert_eq!(map.count(0, &[0, 0, 0, 2]), Ok(7));
        assert_eq!(map.count(0, &[0xFF, 0xFF, 0xFF, 0xFE]), Ok(-7));
    }

    #[test]
    fn a_figure_beyond_the_end_of_the_range_cannot_be() {
        let up = |raw: i16| RegisterMap::BENCH.force(0, &[[0, 0], [0, 0], raw.to_be_bytes()].concat()).map(|force| force.up.0);
        assert_eq!(up(20_000), Ok(2_000_000));
        assert_eq!(up(-20_000), Ok(-2_000_000));
        assert_eq!(up(20_001), Err(SensorFault::OutOfRange));
        assert_eq!(up(i16::MIN), Err(SensorFault::OutOfRange));
        assert_eq!(RegisterMap::BENCH.count(0, &[0x7F, 0xFF, 0xFF, 0xFF]), Ok(i32::MAX));
        let wide = bench_with(0, |row| row.format = Format::U32(WordOrder::HighFirst));
        assert_eq!(wide.count(0, &[0x80, 0, 0, 0]), Err(SensorFault::OutOfRange));
    }

    #[test]
    fn a_temperature_is_read_where_there_is_one_and_missing_where_it_cannot_be() {
        let read = |data: &[u8]| RegisterMap::BENCH.temperature(0, data);
        assert_eq!(read(&[0, 0, 0, 0, 0, 0, 0x07, 0xD0]), Some(2_000));
        assert_eq!(read(&[0, 0, 0, 0, 0, 0, 0xFC, 0x18]), Some(-1_000));
        assert_eq!(read(&[0, 0, 0, 0, 0, 0, 0x7F, 0xFF]), None, "beyond 100 degrees");
        assert_eq!(read(&[0, 0, 0, 0, 0, 0]), None);
        let rows = RegisterMap::BENCH.rows;
        let without = RegisterMap { rows: &rows[..4] };
        assert_eq!(without.polls().unwrap().1.registers, 3);
        assert_eq!(without.temperature(0, &[0; 8]), None);
        let twice = bench_with(3, |row| row.quantity = Quantity::Temperature);
        assert_eq!(twice.polls(), Err(MapFault::Quantities));
    }

    #[test]
    fn data_that_is_too_short_is_no_figure() {
        assert_eq!(RegisterMap::BENCH.count(0, &[0, 0, 0]), Err(SensorFault::Mismatched));
        assert_eq!(RegisterMap::BENCH.force(0, &[0; 5]), Err(SensorFault::Mismatched));
        assert_eq!(RegisterMap { rows: &[] }.count(0, &[0; 4]), Err(SensorFault::Mismatched));
    }
}
