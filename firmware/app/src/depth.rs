//! Counts to depth: calibration, refused steps, the tie to the hub, and a short window to tell rest from motion.

use crate::profile::{CalibrationPoint, Profile};
use crate::reading::Reading;
use heapless::Deque;
use shared_protocol::state::SensorFault;
use shared_protocol::units::{Micrometres, Millis, clamp_i32, div_round};

/// How far back the window goes.
const WINDOW_MS: u32 = 500;
/// A window that covers less of the past says nothing yet of rest or motion.
const COVERED_MS: u32 = 400;
/// Samples that it can hold: rounds are 33 ms apart or more.
const WINDOW: usize = 16;
/// Play that a step may have beyond what the winch can run.
const STEP_PLAY: u32 = 3_000;
/// A tip that stays within this for the window is at rest or cutting, not travelling.
pub const RESTING_SPREAD: u32 = 15_000;
/// Rounds that a refused figure must agree with itself before it is taken for the truth.
const REFUSED_ROUNDS: u8 = 10;

/// Length along the tool for a count, by the calibration table: straight between points and beyond its ends.
/// Micrometres, positive downwards, within half a micrometre of exact arithmetic for counts of 33 bits and less, which
/// no counter leaves without turning over twice; saturates at the ends of the range.
#[must_use]
pub fn length(table: &[CalibrationPoint], count: i64) -> Micrometres {
    let mut segments = table.windows(2).filter_map(|w| if let [a, b] = w { Some((a, b)) } else { None });
    let reaches = |end: &CalibrationPoint, start: &CalibrationPoint| {
        let (start, end) = (i64::from(start.count), i64::from(end.count));
        if end > start { count <= end } else { count >= end }
    };
    // the first segment that reaches the count, else the last one
    let last = segments.clone().next_back();
    let Some((a, b)) = segments.find(|(a, b)| reaches(b, a)).or(last) else { return Micrometres(0) };
    let run = i64::from(b.count).saturating_sub(i64::from(a.count));
    let rise = i64::from(b.length.0).saturating_sub(i64::from(a.length.0));
    let along = count.saturating_sub(i64::from(a.count));
    Micrometres(clamp_i32(i64::from(a.length.0).saturating_add(div_round(along.saturating_mul(rise), run))))
}

/// A count as the table knows it: a counter that has wrapped since the table was made is as far from the table's first point as
/// the shorter way round.
fn unwrapped(table: &[CalibrationPoint], count: i32) -> i64 {
    let from = table.first().map_or(0, |point| point.count);
    i64::from(from).saturating_add(i64::from(count.wrapping_sub(from)))
}

/// The tip's last half second.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Window {
    /// Shallowest, below the hub.
    pub shallowest: Micrometres,
    /// Deepest, below the hub.
    pub deepest: Micrometres,
    /// Mean, below the hub.
    pub mean: Micrometres,
}

impl Window {
    /// How far apart its ends are, micrometres.
    #[must_use]
    pub fn spread(&self) -> u32 {
        self.deepest.0.abs_diff(self.shallowest.0)
    }
}

#[derive(Clone, Copy, Debug)]
struct Refused {
    position: i64,
    rounds: u8,
}

/// What a round did to the depth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// The tip moved, or stayed.
    Moved,
    /// Nothing new to believe.
    Nothing,
    /// A step that the winch cannot have made came to stay: the tie to the hub is gone.
    ReferenceLost,
}

/// The depth side of the rig.
#[derive(Debug, Default)]
pub struct Depth {
    position: i64,
    last_raw: Option<i32>,
    last_good: Option<Millis>,
    refused: Option<Refused>,
    fault: Option<SensorFault>,
    stale: bool,
    tool_length: Micrometres,
    zero: Option<Micrometres>,
    window: Deque<(Millis, Micrometres), WINDOW>,
}

impl Depth {
    /// Takes one round's reading.
    pub fn take(&mut self, profile: &Profile, reading: Reading<i32>, now: Millis) -> Taken {
        match reading {
            Reading::Good(raw) => self.take_count(profile, raw, now),
            Reading::Stale => {
                self.stale = true;
                Taken::Nothing
            }
            Reading::Fault(fault) => {
                self.fault = Some(fault);
                self.window.clear();
                Taken::Nothing
            }
        }
    }

    fn take_count(&mut self, profile: &Profile, raw: i32, now: Millis) -> Taken {
        let position = match self.last_raw {
            // the counter may wrap: the shorter way round is the way it went
            Some(last) => self.position.saturating_add(i64::from(raw.wrapping_sub(last))),
            None => unwrapped(&profile.calibration, raw),
        };
        if !self.plausible(profile, self.position, position, now) {
            return self.refuse(profile, raw, position, now);
        }
        self.refused = None;
        self.accept(profile, raw, position, now);
        Taken::Moved
    }

    fn plausible(&self, profile: &Profile, from: i64, to: i64, now: Millis) -> bool {
        let Some(last) = self.last_good else { return true };
        let step = length(&profile.calibration, to).0.abs_diff(length(&profile.calibration, from).0);
        let reach = profile.winch_max.saturating_mul(now.since(last)).saturating_add(STEP_PLAY);
        step <= reach
    }

    fn refuse(&mut self, profile: &Profile, raw: i32, position: i64, now: Millis) -> Taken {
        let rounds = match self.refused {
            Some(refused) if self.near(profile, refused.position, position) => refused.rounds.saturating_add(1),
            _ => 1,
        };
        if rounds >= REFUSED_ROUNDS {
            self.refused = None;
            self.accept(profile, raw, position, now);
            self.zero = None;
            return Taken::ReferenceLost;
        }
        self.refused = Some(Refused { position, rounds });
        self.fault = Some(SensorFault::Jump);
        self.window.clear();
        Taken::Nothing
    }

    /// Whether two refused figures agree as two rounds of a moving tool would.
    fn near(&self, profile: &Profile, from: i64, to: i64) -> bool {
        let step = length(&profile.calibration, to).0.abs_diff(length(&profile.calibration, from).0);
        step <= profile.winch_max.saturating_mul(100).saturating_add(STEP_PLAY)
    }

    fn accept(&mut self, profile: &Profile, raw: i32, position: i64, now: Millis) {
        self.position = position;
        self.last_raw = Some(raw);
        self.last_good = Some(now);
        self.fault = None;
        self.stale = false;
        while self.window.is_full() || self.window.front().is_some_and(|(at, _)| now.since(*at) > WINDOW_MS) {
            self.window.pop_front();
        }
        let _ = self.window.push_back((now, length(&profile.calibration, position)));
    }

    /// Pin to cutting edge of the tool that is on.
    pub fn set_tool(&mut self, length: Micrometres) {
        self.tool_length = length;
    }

    /// Another encoder table is in force: what was measured by the one before is forgotten.
    pub fn forget(&mut self) {
        self.zero = None;
        self.window.clear();
    }

    /// Ties depth to the hub: the tip is on it now. Returns the count and the misclosure, the depth that was
    /// shown until now (`None` where it was not tied). `None` where the encoder gives nothing to tie to, or the tip moves.
    pub fn touch_hub(&mut self) -> Option<(i32, Option<Micrometres>)> {
        let rest = self.window_lengths().filter(|window| self.fresh() && window.spread() <= RESTING_SPREAD)?;
        let paid_out = rest.mean;
        let misclosure = self.zero.map(|zero| paid_out.plus(self.tool_length).minus(zero));
        self.zero = Some(paid_out.plus(self.tool_length));
        Some((self.last_raw?, misclosure))
    }

    /// Forgets the tie: another hole has another hub.
    pub fn untie(&mut self) {
        self.zero = None;
    }

    /// Ties depth to an earlier touch of the hub, for encoders that keep their place.
    pub fn restore_hub(&mut self, profile: &Profile, count: i32) {
        self.zero = Some(length(&profile.calibration, unwrapped(&profile.calibration, count)).plus(self.tool_length));
    }

    /// Whether depth is tied to the hub.
    #[must_use]
    pub fn referenced(&self) -> bool {
        self.zero.is_some()
    }

    /// The encoder's fault.
    #[must_use]
    pub fn fault(&self) -> Option<SensorFault> {
        self.fault
    }

    /// Whether the last round brought a good count.
    #[must_use]
    pub fn fresh(&self) -> bool {
        self.fault.is_none() && !self.stale && self.last_good.is_some()
    }

    /// Depth of the tip below the hub, `None` where it is not known now.
    #[must_use]
    pub fn tip(&self) -> Option<Micrometres> {
        let (_, last) = self.window.back().filter(|_| self.fresh())?;
        Some(self.below_hub(*last, self.zero?))
    }

    /// The tip's last half second below the hub, `None` where that is not known.
    #[must_use]
    pub fn window(&self) -> Option<Window> {
        let zero = self.zero.filter(|_| self.fresh())?;
        let lengths = self.window_lengths()?;
        Some(Window {
            shallowest: self.below_hub(lengths.shallowest, zero),
            deepest: self.below_hub(lengths.deepest, zero),
            mean: self.below_hub(lengths.mean, zero),
        })
    }

    fn below_hub(&self, paid_out: Micrometres, zero: Micrometres) -> Micrometres {
        paid_out.plus(self.tool_length).minus(zero)
    }

    /// The window in lengths paid out, `None` until it covers enough of the past.
    fn window_lengths(&self) -> Option<Window> {
        let ((oldest, _), (newest, last)) = (*self.window.front()?, *self.window.back()?);
        let lengths = || self.window.iter().map(|(_, length)| *length);
        // Sixteen differences of 33 bits.
        let sum = lengths().fold(0i64, |sum, l| sum.wrapping_add(i64::from(l.0)).wrapping_sub(i64::from(last.0)));
        let mean = i64::from(last.0).wrapping_add(div_round(sum, i64::try_from(self.window.len()).ok()?));
        let window = Window { shallowest: lengths().min()?, deepest: lengths().max()?, mean: Micrometres(clamp_i32(mean)) };
        (newest.since(oldest) >= COVERED_MS).then_some(window)
    }

    /// The encoder's count as it came last, wrapped or not.
    #[must_use]
    pub const fn count(&self) -> Option<i32> {
        self.last_raw
    }
}

#[cfg(test)]
mod tests;
