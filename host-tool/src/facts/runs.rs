//! The time of day at moments of the rig's clock, run by run.
//!
//! A run goes from one start of the rig to the next. The count of starts turns over, so that it names no run: another begins
//! where that count changes, where a start is on record, and behind a gap in which all starts up to the same count may stand.
//! Milliseconds turn over within a run: they are counted on from record to record.

use super::Wall;
use shared_protocol::assemble::{Assembled, Assembler};
use shared_protocol::record::{Clock, Record, RecordFault};
use shared_protocol::slot::Slot;
use shared_protocol::units::Millis;

/// A record may say a time that is before that of its neighbour by this much at most, ms; whatever seems to be further back is
/// so much later. So two neighbours may be 48 days apart.
const BACK_MS: u32 = 86_400_000;
/// Starts until their count is the same again; each leaves a slot at least.
const STARTS: u32 = 65_536;
/// Where milliseconds turn over.
const ROUND_MS: i64 = 1 << 32;

/// The clock was set: when, in milliseconds that do not turn over, and to what.
#[derive(Clone, Copy, Debug)]
struct Setting {
    at: i64,
    clock: Clock,
}

/// Every setting of the clock, run by run.
#[derive(Debug, Default)]
pub struct Runs(Vec<Vec<Setting>>);

/// The way along a stream, record by record.
#[derive(Debug, Default)]
pub struct Along {
    run: usize,
    /// The last slot of the record before, and the count of starts in it.
    before: Option<(u32, u16)>,
    /// The rig's clock at the last record that says it, and the same in milliseconds that do not turn over.
    now: Option<(Millis, i64)>,
}

impl Along {
    /// Goes on to the next whole record.
    pub fn step(&mut self, whole: &Assembled<'_>, record: &Result<Record, RecordFault>) {
        if let Some((last, boot)) = self.before.replace((whole.last, whole.boot)) {
            let again = matches!(record, Ok(Record::Start(_)));
            let all_between = whole.first.saturating_sub(last) >= STARTS;
            if again || boot != whole.boot || all_between {
                (self.run, self.now) = (self.run.saturating_add(1), None);
            }
        }
        let Some(at) = record.as_ref().ok().and_then(said_at) else { return };
        let counted = self.now.map_or(i64::from(at.0), |(before, counted)| {
            let on = at.since(before);
            let back = if on > u32::MAX - BACK_MS { ROUND_MS } else { 0 };
            counted.saturating_add(i64::from(on) - back)
        });
        self.now = Some((at, counted));
    }

    /// The run, from 0.
    pub const fn run(&self) -> usize {
        self.run
    }

    /// The last moment that a record of the run says, in milliseconds that do not turn over; 0 where none has.
    pub fn now(&self) -> i64 {
        self.now.map_or(0, |(_, counted)| counted)
    }

    /// A moment that the record in hand says, not after its own, in milliseconds that do not turn over.
    fn counted(&self, at: Millis) -> i64 {
        self.now.map_or(i64::from(at.0), |(own, counted)| counted.saturating_sub(i64::from(own.since(at))))
    }
}

impl Runs {
    /// Of a stream, in a first reading.
    pub fn of(stream: &[Slot]) -> Self {
        let (mut runs, mut along, mut assembler) = (Self::default(), Along::default(), Assembler::default());
        for slot in stream {
            let Some(whole) = assembler.push(slot) else { continue };
            let record = Record::decode(whole.kind, whole.body);
            along.step(&whole, &record);
            runs.0.resize(along.run.saturating_add(1), Vec::new());
            if let (Ok(Record::Clock(clock)), Some(run)) = (record, runs.0.last_mut()) {
                run.push(Setting { at: along.counted(clock.at), clock });
            }
        }
        runs
    }

    /// The wall's time at a moment that the record in hand says: from the last setting of its run before it, else from the
    /// first after it.
    pub fn wall(&self, along: &Along, at: Millis) -> Option<Wall> {
        let (settings, at) = (self.0.get(along.run)?, along.counted(at));
        let Setting { at: set, clock } = settings.iter().rev().find(|setting| setting.at <= at).or_else(|| settings.first())?;
        Some(Wall { unix_ms: clock.unix_ms.saturating_add(at.saturating_sub(*set)), offset: clock.offset })
    }
}

/// When a record was made.
fn said_at(record: &Record) -> Option<Millis> {
    Some(match record {
        Record::Start(body) => body.at,
        Record::Identity(body) => body.at,
        Record::Opened(body) => body.at,
        Record::Hub(body) => body.at,
        Record::Tool(body) => body.at,
        Record::Increment(body) => body.at,
        Record::Pass(body) => body.ended,
        Record::Change(body) => body.at,
        Record::Fault(body) => body.at,
        Record::Note(body) => body.at,
        Record::Clock(body) => body.at,
        Record::Closed(body) => body.at,
        Record::Gap(body) => body.at,
        Record::Instruments(body) => body.at,
        Record::Calibrated(body) => body.at,
        Record::Refusal(body) => body.at,
        Record::Checkpoint(_) => return None,
        Record::Seal(body) => body.at,
        Record::Unsealed(body) => body.at,
        Record::Commissioned(body) => body.at,
        Record::Decommissioned(body) => body.at,
    })
}
