//! One set-up with no more of its stream than it leans on: what a paper carries, and what it is read from again.

use super::runs::Along;
use super::{Record, SetUp, causes, missing, read_within};
use shared_protocol::assemble::Assembler;
use shared_protocol::slot::Slot;
use std::collections::BTreeMap;

/// A set-up's slots.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Alone {
    /// From its first to its last, in rising sequence.
    pub own: Vec<Slot>,
    /// What else of the stream its times, its gaps and its seal lean on, in rising sequence.
    pub beside: Vec<Slot>,
}

/// What set-ups of a stream lean on, found once for all of them.
#[derive(Debug)]
pub struct Leanings<'a> {
    stream: &'a [Slot],
    /// Where each run of the rig begins.
    runs: Vec<u32>,
    /// Records that lead from a run's settings of the clock to its other records, in order.
    milestones: Vec<Milestone>,
    /// What the rig declared lost: from, to, and where it says so.
    gaps: Vec<(u32, u32, Span)>,
    seals: Vec<Span>,
    /// Every record that names the rig's key, seals among them.
    named: Vec<Span>,
}

/// First and last sequence of a record's slots.
type Span = (u32, u32);

/// A setting of the clock, or a record so far behind the last milestone that whoever reads only these might lose count.
#[derive(Debug)]
struct Milestone {
    span: Span,
    run: usize,
    sets_clock: bool,
}

/// Slots between milestones: half of what all starts of the rig leave until their count is the same again.
const SLOTS_APART: u32 = 32_768;
/// Milliseconds between milestones, ten days: they turn over after 49.
const MS_APART: i64 = 864_000_000;

impl<'a> Leanings<'a> {
    /// Looks through a stream, slots in rising sequence.
    #[must_use]
    pub fn of(stream: &'a [Slot]) -> Self {
        let (runs, milestones, gaps) = (Vec::new(), Vec::new(), Vec::new());
        let mut found = Self { stream, runs, milestones, gaps, seals: Vec::new(), named: Vec::new() };
        let (mut assembler, mut along, mut last) = (Assembler::default(), Along::default(), (0, 0));
        for slot in stream {
            let Some(whole) = assembler.push(slot) else { continue };
            let span = (whole.first, whole.last);
            let record = Record::decode(whole.kind, whole.body);
            along.step(&whole, &record);
            let begins = found.runs.len() <= along.run();
            found.runs.resize(along.run().saturating_add(1), whole.first);
            let sets_clock = matches!(record, Ok(Record::Clock(_)));
            let far = whole.first.saturating_sub(last.0) > SLOTS_APART || along.now().saturating_sub(last.1) > MS_APART;
            if begins || sets_clock || far {
                last = (whole.first, along.now());
                found.milestones.push(Milestone { span, run: along.run(), sets_clock });
            }
            match record {
                Ok(Record::Gap(gap)) => found.gaps.push((gap.first, gap.last, span)),
                Ok(Record::Seal(_)) => {
                    found.seals.push(span);
                    found.named.push(span);
                }
                Ok(Record::Commissioned(_)) => found.named.push(span),
                _ => {}
            }
        }
        found
    }

    fn within(&self, (first, last): Span) -> &'a [Slot] {
        let place = |end: u32, or_equal: bool| self.stream.partition_point(|s| s.sequence() < end || (or_equal && s.sequence() == end));
        self.stream.get(place(first, false)..place(last, true)).unwrap_or(&[])
    }

    /// What says the time of day in a set-up: of the run in which it was opened the last setting of the clock before it, of the one in
    /// which it ended the first behind it where there is none before, each with all that leads there.
    fn clocks(&self, first: u32, last: u32) -> Vec<Span> {
        let run = |sequence: u32| self.runs.partition_point(|begins| *begins <= sequence).checked_sub(1);
        let of_run = |wanted: Option<usize>| self.milestones.iter().filter(move |m| Some(m.run) == wanted);
        let mut clocks: Vec<Span> = Vec::new();
        let before: Vec<&Milestone> = of_run(run(first)).filter(|m| m.span.0 < first).collect();
        let from = before.iter().rposition(|m| m.sets_clock);
        clocks.extend(from.and_then(|from| before.get(from..)).unwrap_or_default().iter().map(|m| m.span));
        let set_already = of_run(run(last)).any(|m| m.sets_clock && m.span.0 <= last);
        if !set_already {
            let behind: Vec<&Milestone> = of_run(run(last)).filter(|m| m.span.0 > last).collect();
            let to = behind.iter().position(|m| m.sets_clock);
            clocks.extend(to.and_then(|to| behind.get(..=to)).unwrap_or_default().iter().map(|m| m.span));
        }
        clocks
    }

    /// Whether a clock that is set later would still say the time of day at this sequence.
    pub(super) fn may_be_told_time(&self, sequence: u32) -> bool {
        let run = self.runs.partition_point(|begins| *begins <= sequence);
        run == self.runs.len() && !self.milestones.iter().any(|m| m.run.saturating_add(1) == run && m.sets_clock)
    }

    /// Takes a set-up out of the stream that it was read from.
    #[must_use]
    pub fn alone(&self, setup: &SetUp) -> Alone {
        let (Some(first), Some(last)) = (setup.slots.first().map(Slot::sequence), setup.slots.last().map(Slot::sequence)) else {
            return Alone::default();
        };
        let own = self.within((first, last));
        let after = self.stream.partition_point(|slot| slot.sequence() <= last);
        let next = self.stream.get(after).map(Slot::sequence).filter(|_| setup.closed.is_none());
        let mut wanted = self.clocks(first, last);
        let touches = |(from, to, _): &&(u32, u32, Span)| *from <= next.unwrap_or(last) && *to >= first;
        wanted.extend(self.gaps.iter().filter(touches).map(|(_, _, span)| span));
        let before = |spans: &[Span]| spans.iter().rev().find(|(from, _)| *from < first).copied();
        wanted.extend(before(&self.seals));
        // all that stands between the record that named the rig's key last and this set-up shows that nothing is left out there
        wanted.extend(before(&self.named).and_then(|(from, _)| Some((from, first.checked_sub(1)?))));
        wanted.extend(next.map(|next| (next, next)));
        let slots = wanted.into_iter().flat_map(|span| self.within(span)).filter(|slot| !(first..=last).contains(&slot.sequence()));
        let beside: BTreeMap<u32, Slot> = slots.map(|slot| (slot.sequence(), *slot)).collect();
        Alone { own: own.to_vec(), beside: beside.into_values().collect() }
    }
}

impl Alone {
    /// Reads it; `None` where the slots are not those of one set-up.
    #[must_use]
    pub fn read(&self) -> Option<SetUp> {
        let rising = |slots: &[Slot]| slots.windows(2).all(|pair| pair[0].sequence() < pair[1].sequence());
        let (first, last) = (self.own.first()?.sequence(), self.own.last()?.sequence());
        let foreign = self.beside.iter().all(|slot| !(first..=last).contains(&slot.sequence()));
        if !rising(&self.own) || !rising(&self.beside) || !foreign {
            return None;
        }
        let (before, after): (Vec<Slot>, Vec<Slot>) = self.beside.iter().partition(|slot| slot.sequence() < first);
        let whole = [&before[..], &self.own, &after].concat();
        let [mut setup] = <[SetUp; 1]>::try_from(read_within(&whole, first..=last)).ok()?;
        if setup.closed.is_none()
            && let Some(next) = after.first()
        {
            setup.missing.extend(missing(last, next.sequence(), &causes(&whole)).unwrap_or_default());
        }
        (setup.opened.sequence == first).then_some(setup)
    }
}
