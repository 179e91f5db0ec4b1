//! What a rig's slots say, set-up by set-up, in the rig's own words. Nothing is judged here, bridged or guessed.

mod alone;
mod runs;
mod sealed;
mod stretch;
#[cfg(test)]
mod tests;

pub use alone::{Alone, Leanings};
pub use stretch::{Placed, stretch};

use crate::judge::measured::Measurement;
use crate::proof::{Sealing, Segment, Stated};
use runs::{Along, Runs};
use shared_protocol::assemble::Assembler;
use shared_protocol::chain::End;
use shared_protocol::record::{
    Calibrated, Change, Closed, Fault, Hub, Identity, Increment, Instruments, Note, Opened, Pass, Record, RecordFault, Refusal, Seal,
    Start, Tool,
};
use shared_protocol::slot::Slot;
use shared_protocol::state::GapCause;
use shared_protocol::units::Millis;
use std::ops::RangeInclusive;

/// The time of day as the host told it to the rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Wall {
    /// Milliseconds since 1970-01-01T00:00Z.
    pub unix_ms: i64,
    /// Local offset from UTC, minutes.
    pub offset: i16,
}

impl Wall {
    /// RFC 3339 with offset, to the second.
    #[must_use]
    pub fn rfc3339(self) -> String {
        let offset = jiff::tz::Offset::from_seconds(i32::from(self.offset) * 60).unwrap_or(jiff::tz::Offset::UTC);
        jiff::Timestamp::from_millisecond(self.unix_ms).map_or_else(
            |_| "time unknown".to_owned(),
            |t| offset.to_datetime(t).strftime("%Y-%m-%dT%H:%M:%S").to_string() + &offset_text(self.offset),
        )
    }
}

fn offset_text(minutes: i16) -> String {
    let sign = if minutes < 0 { '-' } else { '+' };
    format!("{sign}{:02}:{:02}", minutes.unsigned_abs() / 60, minutes.unsigned_abs() % 60)
}

/// A moment on the rig's clock, and on the wall's where the rig was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    /// Which start of the rig; their count turns over.
    pub boot: u16,
    /// Since that start.
    pub at: Millis,
    /// The time of day, `None` where nobody told the rig during that run.
    pub wall: Option<Wall>,
}

impl Moment {
    /// RFC 3339, or the rig's own clock where the time of day is unknown.
    #[must_use]
    pub fn text(&self) -> String {
        self.wall.map_or_else(|| format!("time unknown (start {}, {} s)", self.boot, self.at.0 / 1000), Wall::rfc3339)
    }
}

/// A record's body with where and when.
#[derive(Clone, Debug, PartialEq)]
pub struct Timed<T> {
    /// Sequence of its first slot.
    pub sequence: u32,
    /// When.
    pub moment: Moment,
    /// What.
    pub body: T,
}

/// Slots that are not there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Missing {
    /// First missing sequence.
    pub first: u32,
    /// Last missing sequence.
    pub last: u32,
    /// Why, as the rig says; `None` where it says nothing and the slots may still come.
    pub cause: Option<GapCause>,
}

impl Missing {
    /// Slots that it covers.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.last.wrapping_sub(self.first).wrapping_add(1)
    }
}

/// Whether the rig's digest over a set-up fits the slots in hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DigestState {
    /// It fits.
    Fits,
    /// It does not: a slot was changed, put in or put elsewhere.
    Differs,
    /// Slots that it covers are not in hand; the others fit.
    Lacking,
    /// The set-up is not closed yet, so there is none.
    Open,
}

/// One set-up: from the plan that the rig took to the close, or to the last slot in hand.
#[derive(Clone, Debug)]
pub struct SetUp {
    /// The plan as the rig took it.
    pub opened: Timed<Opened>,
    /// The rig and its instruments; `None` where that record is missing.
    pub identity: Option<Identity>,
    /// The calibrations in force; `None` where that record is missing.
    pub instruments: Option<Instruments>,
    /// What the operator said of slow going.
    pub refusals: Vec<Timed<Refusal>>,
    /// Calibrations taken while the set-up was open: what was drilled before and after was measured differently.
    pub calibrated: Vec<Timed<Calibrated>>,
    /// Touches of the hub.
    pub hubs: Vec<Timed<Hub>>,
    /// Tools put on.
    pub tools: Vec<Timed<Tool>>,
    /// Increments of new depth.
    pub increments: Vec<Timed<Increment>>,
    /// Passes.
    pub passes: Vec<Timed<Pass>>,
    /// Checks that changed their state.
    pub changes: Vec<Timed<Change>>,
    /// Sensor faults, beginnings and ends.
    pub faults: Vec<Timed<Fault>>,
    /// Notes as heard.
    pub notes: Vec<Timed<Note>>,
    /// Restarts of the rig within the set-up.
    pub restarts: Vec<Timed<Start>>,
    /// What people measured by hand, in the order in which they entered it. No slots hold it: whoever has it adds it.
    pub measurements: Vec<Measurement>,
    /// The rig's own summary, once closed.
    pub closed: Option<Timed<Closed>>,
    /// What is not there.
    pub missing: Vec<Missing>,
    /// Records of kinds that this version does not know, kept raw.
    pub unknown: usize,
    /// Records that could not be read.
    pub malformed: usize,
    /// Whether the rig's digest fits.
    pub digest: DigestState,
    /// The segments that it is made of, once closed.
    pub segments: Vec<Segment>,
    /// The checkpoints.
    pub checkpoints: Vec<Stated>,
    /// The rig's seal over the set-up.
    pub seal: Option<Timed<Seal>>,
    /// How it is sealed.
    pub sealing: Sealing,
    /// The slots themselves, verbatim, in order.
    pub slots: Vec<Slot>,
}

/// Reads one rig's stream of one epoch, slots in rising sequence, and returns its set-ups in order.
#[must_use]
pub fn read(stream: &[Slot]) -> Vec<SetUp> {
    read_within(stream, u32::MIN..=u32::MAX)
}

/// Reads the set-ups of a stream that begin and end within some of its sequences; what else of it is there says when, and what
/// was lost.
fn read_within(stream: &[Slot], own: RangeInclusive<u32>) -> Vec<SetUp> {
    let mut setups = unproven(stream, own);
    sealed::prove(&mut setups, stream);
    setups
}

/// The same without asking what digests and seals prove, which takes most of the time.
fn unproven(stream: &[Slot], own: RangeInclusive<u32>) -> Vec<SetUp> {
    let runs = Runs::of(stream);
    let causes = causes(stream);
    let mut setups: Vec<SetUp> = Vec::new();
    let (mut assembler, mut along) = (Assembler::default(), Along::default());
    let mut previous: Option<u32> = None;
    let mut pending: Vec<Slot> = Vec::new();
    for slot in stream {
        if own.contains(&slot.sequence()) {
            let gap = previous.and_then(|p| missing(p, slot.sequence(), &causes));
            previous = Some(slot.sequence());
            if let (Some(gap), Some(open)) = (gap, current(&mut setups)) {
                open.missing.extend(gap);
            }
            if slot.part().index == 0 {
                flush(&mut setups, &mut pending);
            }
            pending.push(*slot);
        }
        let Some(whole) = assembler.push(slot) else { continue };
        let record = Record::decode(whole.kind, whole.body);
        along.step(&whole, &record);
        if own.contains(&whole.first) && own.contains(&whole.last) {
            let moment = |at: Millis| Moment { boot: whole.boot, at, wall: runs.wall(&along, at) };
            take(&mut setups, &mut pending, whole.first, record, &moment);
        }
    }
    flush(&mut setups, &mut pending);
    setups
}

/// The set-up that is still taking records.
fn current(setups: &mut [SetUp]) -> Option<&mut SetUp> {
    setups.last_mut().filter(|s| s.closed.is_none())
}

fn flush(setups: &mut [SetUp], pending: &mut Vec<Slot>) {
    if let Some(open) = current(setups) {
        open.slots.append(pending);
    }
    pending.clear();
}

fn take(
    setups: &mut Vec<SetUp>,
    pending: &mut Vec<Slot>,
    sequence: u32,
    record: Result<Record, RecordFault>,
    moment: &dyn Fn(Millis) -> Moment,
) {
    if let Ok(Record::Opened(body)) = record {
        let opened = Timed { sequence, moment: moment(body.at), body };
        setups.push(SetUp::new(opened));
        flush(setups, pending);
        return;
    }
    if let Some(last) = setups.last_mut() {
        match &record {
            Ok(Record::Seal(body)) => {
                last.slots.append(pending);
                last.seal = Some(Timed { sequence, moment: moment(body.at), body: *body });
            }
            Ok(Record::Unsealed(body)) if body.first == last.opened.sequence => {
                last.slots.append(pending);
                last.sealing = sealed::unsealed(body);
            }
            _ => {}
        }
    }
    let Some(open) = current(setups) else { return };
    match record {
        Ok(Record::Checkpoint(body)) if body.first == open.opened.sequence => {
            open.checkpoints.push(Stated { at: sequence, end: End::from(&body) });
        }
        Ok(Record::Identity(body)) => open.identity = Some(body),
        Ok(Record::Hub(body)) => open.hubs.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Tool(body)) => open.tools.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Increment(body)) => open.increments.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Pass(body)) => open.passes.push(Timed { sequence, moment: moment(body.began), body }),
        Ok(Record::Change(body)) => open.changes.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Fault(body)) => open.faults.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Note(body)) => open.notes.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Start(body)) => open.restarts.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Closed(body)) => {
            open.slots.append(pending);
            open.closed = Some(Timed { sequence, moment: moment(body.at), body });
        }
        Ok(Record::Instruments(body)) => open.instruments = Some(body),
        Ok(Record::Refusal(body)) => open.refusals.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(Record::Calibrated(body)) => open.calibrated.push(Timed { sequence, moment: moment(body.at), body }),
        Ok(
            Record::Opened(_)
            | Record::Clock(_)
            | Record::Gap(_)
            | Record::Checkpoint(_)
            | Record::Seal(_)
            | Record::Unsealed(_)
            | Record::Commissioned(_)
            | Record::Decommissioned(_),
        ) => {}
        Err(RecordFault::Unknown(_)) => open.unknown += 1,
        Err(RecordFault::Malformed(_)) => open.malformed += 1,
    }
}

impl SetUp {
    /// When it was closed; where it was not, when the last increment was recorded.
    #[must_use]
    pub fn last_moment(&self) -> Option<Moment> {
        self.closed.as_ref().map(|closed| closed.moment).or_else(|| self.increments.last().map(|increment| increment.moment))
    }

    fn new(opened: Timed<Opened>) -> Self {
        Self {
            opened,
            identity: None,
            instruments: None,
            refusals: Vec::new(),
            calibrated: Vec::new(),
            hubs: Vec::new(),
            tools: Vec::new(),
            increments: Vec::new(),
            passes: Vec::new(),
            changes: Vec::new(),
            faults: Vec::new(),
            notes: Vec::new(),
            restarts: Vec::new(),
            measurements: Vec::new(),
            closed: None,
            missing: Vec::new(),
            unknown: 0,
            malformed: 0,
            digest: DigestState::Open,
            segments: Vec::new(),
            checkpoints: Vec::new(),
            seal: None,
            sealing: Sealing::Open,
            slots: Vec::new(),
        }
    }
}

type Causes = Vec<(u32, u32, GapCause)>;

/// Every gap that the rig itself declares, in a first reading of the stream.
fn causes(stream: &[Slot]) -> Causes {
    records(stream)
        .filter_map(|(_, record)| match record {
            Record::Gap(gap) => GapCause::from_raw(gap.cause).map(|cause| (gap.first, gap.last, cause)),
            _ => None,
        })
        .collect()
}

/// What lies between two neighbours of the stream, split by cause; `None` where nothing does.
fn missing(previous: u32, next: u32, causes: &Causes) -> Option<Vec<Missing>> {
    let (mut from, to) = (previous.wrapping_add(1), next.wrapping_sub(1));
    if from == next {
        return None;
    }
    let mut out = Vec::new();
    let mut known: Vec<_> = causes.iter().filter(|(first, last, _)| *first <= to && *last >= from).collect();
    known.sort_by_key(|(first, _, _)| *first);
    for &&(first, last, cause) in &known {
        if last < from {
            continue; // declared again, within what was declared before
        }
        if first > from {
            out.push(Missing { first: from, last: first - 1, cause: None });
        }
        out.push(Missing { first: first.max(from), last: last.min(to), cause: Some(cause) });
        from = last.saturating_add(1);
    }
    if from <= to {
        out.push(Missing { first: from, last: to, cause: None });
    }
    Some(out)
}

/// Every whole record of a stream that this version knows, with the sequence of its first slot.
pub fn records(stream: &[Slot]) -> impl Iterator<Item = (u32, Record)> {
    let mut assembler = Assembler::default();
    stream.iter().filter_map(move |slot| {
        let whole = assembler.push(slot)?;
        Some((whole.first, Record::decode(whole.kind, whole.body).ok()?))
    })
}
