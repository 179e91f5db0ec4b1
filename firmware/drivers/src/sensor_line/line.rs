//! Asking, listening and keeping silent: one round after the other, both sensors in each, without waiting.

use super::registers::{MapFault, POLL_REGISTERS_MAX, Poll, RegisterMap};
use super::reply::{answer, why_not};
use super::timing::{LineSettings, ROUND_MS, Timing, TooSlow, UNEVEN_MS};
use embedded_hal::digital::OutputPin;
use embedded_hal_nb::serial::{Read, Write};
use firmware_app::reading::{Reading, Sensed};
use heapless::Vec;
use modbus_core::rtu::crc16;
use shared_protocol::state::{SensorFault, SpecificForce};
use shared_protocol::units::Millis;

/// The longest reply: unit, function, byte count, data, check.
const REPLY_BYTES_MAX: usize = 5 + 2 * POLL_REGISTERS_MAX as usize;
/// What is kept of an exchange: an echo, a reply, and some bytes that nobody sent.
const HEARD_BYTES_MAX: usize = Poll::REQUEST_BYTES + REPLY_BYTES_MAX + 16;
/// Bytes taken off the line in one step at most, however many come.
const TAKEN_MAX: usize = 256;
/// Missed polls in a row that make a fault.
const MISSES_TO_FAULT: u8 = 3;
/// After a request that nobody answered, its sensor is left alone for so long with nothing coming. Replies carry
/// no number: one that comes late would be taken for the answer to the next request, sound and stale.
const REST_MS: u32 = 500;
/// Misses that such a request counts for: one alone is not yet a fault, the second is.
const SILENCE_WEIGHS: u8 = 2;
/// Where the generator of uneven instants begins: any number but 0.
const DICE: u32 = 0x2545_F491;
/// Changes of phase in one step at most: from idle over sending and draining to listening, and one to spare.
const CHANGES_MAX: usize = 4;

/// Stands for the direction pin where the transceiver turns itself.
#[derive(Clone, Copy, Debug, Default)]
pub struct SelfTurning;

impl embedded_hal::digital::ErrorType for SelfTurning {
    type Error = core::convert::Infallible;
}

impl OutputPin for SelfTurning {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

/// Why a line cannot be run as it is set up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refused {
    /// The register map cannot be used.
    Map(MapFault),
    /// The baud rate cannot be used.
    Rate(TooSlow),
}

impl core::fmt::Display for Refused {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Map(fault) => fault.fmt(f),
            Self::Rate(fault) => fault.fmt(f),
        }
    }
}

/// The sensor being asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    Encoder,
    Tilt,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// Until the next round is due.
    Idle,
    /// The request goes out, from its byte `next` on.
    Sending { next: usize, since: Millis },
    /// The request has been handed over and is still leaving.
    Draining { since: Millis },
    /// A reply may come.
    Listening { since: Millis },
    /// The line rests between frames.
    Silent { since: Millis },
}

/// What came of one sensor lately.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Track<T> {
    misses: u8,
    reading: Reading<T>,
    resting: Option<Millis>,
}

impl<T> Track<T> {
    const NEW: Self = Self { misses: 0, reading: Reading::Stale, resting: None };

    /// Whether the sensor is left alone; `stray` when bytes came that nobody had asked for.
    fn rests(&mut self, stray: bool, now: Millis) -> bool {
        if stray && self.resting.is_some() {
            self.resting = Some(now);
        }
        self.resting.is_some_and(|since| now.since(since) < REST_MS)
    }

    /// Takes what came of a poll, or of leaving the sensor alone.
    fn take(&mut self, result: Result<T, SensorFault>, now: Millis) {
        let weight = match result {
            Ok(_) => {
                (self.resting, self.misses) = (None, 0);
                0
            }
            Err(SensorFault::Silent) if self.rests(false, now) => 0,
            Err(SensorFault::Silent) => {
                self.resting = Some(now);
                SILENCE_WEIGHS
            }
            Err(_) => 1,
        };
        self.misses = self.misses.saturating_add(weight);
        self.reading = match result {
            Ok(figure) => Reading::Good(figure),
            Err(fault) if self.misses >= MISSES_TO_FAULT => Reading::Fault(fault),
            Err(_) => Reading::Stale,
        };
    }
}

/// The line's master. [`SensorLine::step`] must be called at least once a millisecond. A turn that waits for a slow memory
/// makes it later by [`TURN_BUS_MS`](firmware_app::board::TURN_BUS_MS) at most: no reply is missed for that, since what came
/// is looked at before it is found to be late, but lean is read so much longer after depth.
///
/// The serial port's `flush` must say that it is done only when the last stop bit has left, since the
/// direction pin turns then. The pin is high while sending.
#[derive(Debug)]
pub struct SensorLine<S, D> {
    serial: S,
    direction: D,
    map: RegisterMap,
    polls: (Poll, Poll),
    timing: Timing,
    echo: bool,
    phase: Phase,
    asked: Asked,
    due: Option<Millis>,
    request: Vec<u8, { Poll::REQUEST_BYTES }>,
    heard: Vec<u8, HEARD_BYTES_MAX>,
    line_error: bool,
    count: Track<i32>,
    force: Track<SpecificForce>,
    temperature: Option<i16>,
    dice: u32,
    round: Option<Sensed>,
}

impl<S: Read + Write, D: OutputPin> SensorLine<S, D> {
    /// Takes the port and the direction pin.
    ///
    /// # Errors
    /// [`Refused`] where the map or the baud rate cannot be used.
    pub fn new(serial: S, direction: D, map: RegisterMap, settings: LineSettings) -> Result<Self, Refused> {
        let polls = map.polls().map_err(Refused::Map)?;
        let timing = Timing::new(settings, &polls.0, &polls.1).map_err(Refused::Rate)?;
        Ok(Self {
            serial,
            direction,
            map,
            polls,
            timing,
            echo: settings.echo,
            phase: Phase::Idle,
            asked: Asked::Encoder,
            due: None,
            request: Vec::new(),
            heard: Vec::new(),
            line_error: false,
            count: Track::NEW,
            force: Track::NEW,
            temperature: None,
            dice: DICE,
            round: None,
        })
    }

    /// The times that the line keeps.
    #[must_use]
    pub const fn timing(&self) -> &Timing {
        &self.timing
    }

    /// Milliseconds between reading depth and reading lean in one round.
    #[must_use]
    pub const fn skew_ms(&self) -> u16 {
        self.timing.skew
    }

    /// Moves on as far as it goes without waiting. Returns a round when one is complete, every 33 to 67 ms.
    pub fn step(&mut self, now: Millis) -> Option<Sensed> {
        for _ in 0..CHANGES_MAX {
            let next = self.advance(now);
            if next == self.phase {
                break;
            }
            self.phase = next;
        }
        self.round.take()
    }

    fn advance(&mut self, now: Millis) -> Phase {
        match self.phase {
            Phase::Idle => {
                if self.is_round_due(now) {
                    self.begin(Asked::Encoder, now)
                } else {
                    Phase::Idle
                }
            }
            Phase::Sending { next, since } => self.send(next, since, now),
            Phase::Draining { since } => match self.serial.flush() {
                Ok(()) if self.direction.set_low().is_ok() => Phase::Listening { since: now },
                Err(nb::Error::WouldBlock) if now.since(since) < self.timing.request => self.phase,
                _ => self.give_up(now),
            },
            Phase::Listening { since } => self.listen(since, now),
            Phase::Silent { since } if now.since(since) < self.timing.silence => self.phase,
            Phase::Silent { .. } => match self.asked {
                Asked::Encoder => self.begin(Asked::Tilt, now),
                Asked::Tilt => Phase::Idle,
            },
        }
    }

    /// Rounds are due at uneven instants from the first on; those that could not begin in their time are left out.
    fn is_round_due(&mut self, now: Millis) -> bool {
        let due = self.due.unwrap_or(now);
        let late = now.since(due);
        if late > u32::MAX / 2 {
            return false; // before its time
        }
        let interval = self.interval();
        self.due = Some(if late < interval { due.plus(interval) } else { now.plus(interval) });
        true
    }

    /// The time to the next round: every millisecond from 33 to 67 equally often and in no order, by a generator that
    /// begins alike at every start (xorshift with shifts 13, 17, 5).
    fn interval(&mut self) -> u32 {
        self.dice ^= self.dice.wrapping_shl(13);
        self.dice ^= self.dice.wrapping_shr(17);
        self.dice ^= self.dice.wrapping_shl(5);
        let span = UNEVEN_MS.saturating_mul(2).saturating_add(1);
        ROUND_MS.saturating_sub(UNEVEN_MS).saturating_add(self.dice.checked_rem(span).unwrap_or(UNEVEN_MS))
    }

    fn poll(&self) -> &Poll {
        match self.asked {
            Asked::Encoder => &self.polls.0,
            Asked::Tilt => &self.polls.1,
        }
    }

    /// Begins an exchange, or lets the sensor rest. What came too late for the last one is thrown away.
    fn begin(&mut self, asked: Asked, now: Millis) -> Phase {
        self.asked = asked;
        self.heard.clear();
        let stray = self.throw_away();
        let (encoder, tilt) = (self.count.rests(stray, now), self.force.rests(stray, now));
        if matches!(asked, Asked::Encoder if encoder) || matches!(asked, Asked::Tilt if tilt) {
            return self.conclude(Err(SensorFault::Silent), now);
        }
        self.ask(now)
    }

    /// Empties the port; whether there was anything.
    fn throw_away(&mut self) -> bool {
        let mut any = false;
        for _ in 0..TAKEN_MAX {
            if matches!(self.serial.read(), Err(nb::Error::WouldBlock)) {
                break;
            }
            any = true;
        }
        any
    }

    fn ask(&mut self, now: Millis) -> Phase {
        self.line_error = false;
        match request(self.poll()) {
            Some(request) if self.direction.set_high().is_ok() => {
                self.request = request;
                Phase::Sending { next: 0, since: now }
            }
            _ => self.give_up(now),
        }
    }

    fn send(&mut self, from: usize, since: Millis, now: Millis) -> Phase {
        let mut next = from;
        while let Some(&byte) = self.request.get(next) {
            match self.serial.write(byte) {
                Ok(()) => next = next.saturating_add(1),
                Err(nb::Error::WouldBlock) if now.since(since) < self.timing.request => return Phase::Sending { next, since },
                Err(_) => return self.give_up(now),
            }
        }
        Phase::Draining { since }
    }

    /// The port or the pin does not do its part: nothing was asked, so nothing answers.
    fn give_up(&mut self, now: Millis) -> Phase {
        // A pin that cannot be turned back is found again at the next request.
        let _ = self.direction.set_low();
        self.conclude(Err(SensorFault::Silent), now)
    }

    fn listen(&mut self, since: Millis, now: Millis) -> Phase {
        for _ in 0..TAKEN_MAX {
            match self.serial.read() {
                Ok(byte) => self.line_error |= self.heard.push(byte).is_err(),
                Err(nb::Error::WouldBlock) => break,
                Err(nb::Error::Other(_)) => self.line_error = true,
            }
        }
        let heard = match self.heard.strip_prefix(self.request.as_slice()) {
            Some(behind_echo) if self.echo => behind_echo,
            _ => &self.heard,
        };
        let limit = match self.asked {
            Asked::Encoder => self.timing.encoder_reply,
            Asked::Tilt => self.timing.tilt_reply,
        };
        match answer(self.poll(), heard) {
            Some(Ok(data)) => {
                // The longest data is no longer than this: the map was checked.
                let data: Vec<u8, REPLY_BYTES_MAX> = Vec::from_slice(data).unwrap_or_default();
                self.conclude(Ok(&data), now)
            }
            Some(Err(fault)) => self.conclude(Err(fault), now),
            None if now.since(since) < limit => self.phase,
            None => {
                let fault = why_not(heard, self.line_error);
                self.conclude(Err(fault), now)
            }
        }
    }

    /// Ends an exchange, and after the tilt sensor's the round.
    fn conclude(&mut self, result: Result<&[u8], SensorFault>, now: Millis) -> Phase {
        let first = self.poll().first;
        match self.asked {
            Asked::Encoder => self.count.take(result.and_then(|data| self.map.count(first, data)), now),
            Asked::Tilt => {
                self.temperature = result.ok().and_then(|data| self.map.temperature(first, data));
                self.force.take(result.and_then(|data| self.map.force(first, data)), now);
                self.round = Some(Sensed { count: self.count.reading, force: self.force.reading, temperature: self.temperature });
            }
        }
        Phase::Silent { since: now }
    }
}

/// A request's bytes with the check behind, its low byte first.
fn request(poll: &Poll) -> Option<Vec<u8, { Poll::REQUEST_BYTES }>> {
    let ([a, b], [c, d]) = (poll.first.to_be_bytes(), poll.registers.to_be_bytes());
    let mut bytes = Vec::from_slice(&[poll.unit, poll.function.code(), a, b, c, d]).ok()?;
    bytes.extend_from_slice(&crc16(&bytes).to_be_bytes()).ok()?;
    Some(bytes)
}

#[cfg(test)]
mod tests;
