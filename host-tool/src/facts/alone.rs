//! One set-up with no more of its stream than it leans on: what a paper carries, and what it is read from again.

use super::{Record, SetUp, causes, missing, read_within};
use shared_protocol::assemble::Assembler;
use shared_protocol::slot::Slot;
use std::collections::{BTreeMap, BTreeSet};

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
    /// Settings of the clock, by start of the rig.
    clocks: BTreeMap<u16, Vec<Span>>,
    /// What the rig declared lost: from, to, and where it says so.
    gaps: Vec<(u32, u32, Span)>,
    seals: Vec<Span>,
    /// Every record that names the rig's key, seals among them.
    named: Vec<Span>,
}

/// First and last sequence of a record's slots.
type Span = (u32, u32);

impl<'a> Leanings<'a> {
    /// Looks through a stream, slots in rising sequence.
    #[must_use]
    pub fn of(stream: &'a [Slot]) -> Self {
        let mut found = Self { stream, clocks: BTreeMap::new(), gaps: Vec::new(), seals: Vec::new(), named: Vec::new() };
        let mut assembler = Assembler::default();
        for slot in stream {
            let Some(whole) = assembler.push(slot) else { continue };
            let span = (whole.first, slot.sequence());
            match Record::decode(whole.kind, whole.body) {
                Ok(Record::Clock(_)) => found.clocks.entry(whole.boot).or_default().push(span),
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

    /// Takes a set-up out of the stream that it was read from.
    #[must_use]
    pub fn alone(&self, setup: &SetUp) -> Alone {
        let (Some(first), Some(last)) = (setup.slots.first().map(Slot::sequence), setup.slots.last().map(Slot::sequence)) else {
            return Alone::default();
        };
        let own = self.within((first, last));
        let after = self.stream.partition_point(|slot| slot.sequence() <= last);
        let next = self.stream.get(after).map(Slot::sequence).filter(|_| setup.closed.is_none());
        let boots: BTreeSet<u16> = own.iter().map(Slot::boot).collect();
        let mut wanted: Vec<Span> = boots.iter().filter_map(|boot| self.clocks.get(boot)).flatten().copied().collect();
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
        let [mut setup] = <[SetUp; 1]>::try_from(read_within(&self.own, &whole)).ok()?;
        if setup.closed.is_none()
            && let Some(next) = after.first()
        {
            setup.missing.extend(missing(last, next.sequence(), &causes(&whole)).unwrap_or_default());
        }
        (setup.opened.sequence == first).then_some(setup)
    }
}
