//! After a restart: what the journal says about the hole that was open, and which commands were answered.

use crate::bore::Bore;
use crate::checks::Checks;
use crate::memory::Memory;
use crate::rig::{Answered, Hole, Rig};
use crate::seal::Unfinished;
use shared_protocol::assemble::{Assembled, Assembler};
use shared_protocol::chain::End;
use shared_protocol::record::{
    Asked, Calibrated, Change, Checkpoint, Closed, Commissioned, Gap, Hub, Identity, Increment, Instruments, Note, Opened, Pass, Plan,
    Refusal, Seal, Tool, Unsealed,
};
use shared_protocol::slot::Slot;
use shared_protocol::state::{Answer, Check};
use shared_protocol::units::Micrometres;

/// Slots that are walked back at most: the longest set-up worth taking up, four times a usual one.
const WALK_MAX: u32 = 1_100;
/// Slots that are read for answered commands, and for what is not sealed yet, when no hole is open: twenty power cuts in
/// a row while sealing.
const LAST_SLOTS: u32 = 256;

impl<M: Memory> Rig<M> {
    /// Takes up where the last run stopped.
    #[inline(never)]
    pub(crate) fn take_up(&mut self) {
        let head = self.journal.head();
        let open = self.open_set_up(head);
        let from = open.unwrap_or_else(|| head.saturating_sub(LAST_SLOTS)).max(self.journal.tail());
        let (mut assembler, mut ended) = (Assembler::default(), Ended::default());
        for sequence in from..head {
            let Some(slot) = self.slot(sequence) else {
                if open.is_some() {
                    let _ = self.unread.push(sequence); // what finds no room shows in the digest's count
                }
                continue;
            };
            if let Some(whole) = assembler.push(&slot) {
                ended.take(&whole);
                self.recall(whole.first, whole.kind, whole.body, open.is_some());
            }
        }
        if let Some((sequence, seal)) = &ended.seal {
            self.journal.anchor(&mut self.memory, *sequence, seal); // a power cut may have kept it out
        }
        self.take_up_digest(open.filter(|_| self.hole.is_some()), &ended);
    }

    /// Takes up the running digest behind the newest end of a segment, of which no more than one is read; and what was
    /// closed and not sealed.
    fn take_up_digest(&mut self, open: Option<u32>, ended: &Ended) {
        let behind = ended.segment.as_ref();
        let from = behind.map_or(open, |(sequence, ..)| Some(*sequence));
        let Some((first, from)) = open.or(ended.closed).zip(from) else { return };
        self.journal.resume_run(first, behind.map(|(_, _, end)| end));
        let end = if open.is_some() { self.journal.head() } else { behind.map_or(from, |(_, last, _)| last.saturating_add(1)) };
        for sequence in from..end {
            if let Some(slot) = self.slot(sequence) {
                self.journal.digest(&slot);
            }
        }
        if open.is_none() {
            self.unfinished = self.journal.run().map(|(first, end)| Unfinished::closed(first, &end));
            self.journal.end_run();
        }
    }

    /// The first slot of the set-up that was open when the rig stopped.
    fn open_set_up(&mut self, head: u32) -> Option<u32> {
        let floor = head.saturating_sub(WALK_MAX).max(self.journal.tail());
        for sequence in (floor..head).rev() {
            let part_of = |slot: Slot| (slot.kind(), slot.part().index, slot.part().of);
            match self.slot(sequence).map(part_of) {
                Some((Closed::KIND, index, of)) if index.saturating_add(1) == of => return None,
                Some((Opened::KIND, 0, _)) => return Some(sequence),
                _ => {}
            }
        }
        None
    }

    /// Takes from a record no more than is needed: most kinds are not even read.
    #[inline(never)]
    fn recall(&mut self, sequence: u32, kind: u8, body: &[u8], set_up_open: bool) {
        if let Some(request) = request_of(kind, body) {
            self.remember(Answered { request, answer: Answer::Done.raw(), sequence });
        }
        if !set_up_open {
            return;
        }
        if kind == Opened::KIND {
            self.hole = Opened::decode(body).map(|opened| self.begin(sequence, &opened));
            return;
        }
        let absolute = self.profile.encoder_absolute;
        let Some(hole) = &mut self.hole else { return };
        match kind {
            Gap::KIND => {
                let Some(gap) = Gap::decode(body) else { return };
                self.unread.retain(|sequence| !(gap.first..=gap.last).contains(sequence));
            }
            Increment::KIND => drop(Increment::decode(body).map(|increment| hole.bore.recall_increment(&increment))),
            Pass::KIND => drop(Pass::decode(body).map(|pass| hole.bore.recall_pass(&pass))),
            Tool::KIND => {
                let Some(tool) = Tool::decode(body) else { return };
                (hole.tool, hole.carried) = (tool.tool, true);
                hole.bore.set_diameter(tool.diameter, hole.plan.hub_above_datum);
                self.depth.set_tool(tool.length);
            }
            Hub::KIND => {
                let Some(hub) = Hub::decode(body) else { return };
                hole.carried = false;
                if absolute {
                    self.depth.restore_hub(&self.profile, hub.count);
                }
            }
            Change::KIND => {
                let Some(change) = Change::decode(body) else { return };
                hole.recall_change(&change);
            }
            Identity::KIND => hole.identity_kept = true,
            Instruments::KIND => hole.instruments_kept = true,
            _ => {}
        }
    }

    /// The hole of an accepted plan.
    pub(crate) fn begin(&mut self, first: u32, opened: &Opened) -> Hole {
        let plan: Plan = opened.plan.clone();
        let entry = self.profile.tools.iter().find(|t| t.number == plan.tool);
        let diameter = entry.map_or(plan.diameter, |t| t.diameter);
        self.depth.set_tool(entry.map_or(Micrometres(0), |t| t.length));
        let bore = Bore::new(plan.hub_above_datum, self.profile.increment, diameter);
        Hole {
            first,
            checks: Checks::new(&plan),
            tool: plan.tool,
            bore,
            plan,
            carried: false,
            misclosed: false,
            identity_kept: false,
            instruments_kept: false,
        }
    }

    /// Remembers an answered command; the oldest is forgotten.
    pub(crate) fn remember(&mut self, answered: Answered) {
        if self.answered.is_full() {
            self.answered.pop_front();
        }
        let _ = self.answered.push_back(answered);
    }
}

/// What was met of ended segments, closed set-ups and seals.
#[derive(Default)]
struct Ended {
    /// The newest end of a segment: first and last slot of the record that says it.
    segment: Option<(u32, u32, End)>,
    /// First slot of the set-up that was closed last, where it is neither sealed nor said not to be.
    closed: Option<u32>,
    /// The newest seal.
    seal: Option<(u32, Seal)>,
}

impl Ended {
    fn take(&mut self, whole: &Assembled<'_>) {
        let place = |end| (whole.first, whole.last, end);
        match whole.kind {
            Opened::KIND => (self.segment, self.closed) = (None, None),
            Checkpoint::KIND => self.segment = Checkpoint::decode(whole.body).map(|checkpoint| place(End::from(&checkpoint))),
            Closed::KIND => {
                let closed = Closed::decode(whole.body);
                self.segment = closed.as_ref().map(|closed| place(End::from(closed)));
                self.closed = closed.map(|closed| closed.first);
            }
            Seal::KIND => {
                self.seal = Seal::decode(whole.body).map(|seal| (whole.first, seal));
                self.closed = None;
            }
            Unsealed::KIND => self.closed = None,
            _ => {}
        }
    }
}

impl Hole {
    /// A check goes on in the state that is on record, and slow going from the bottom that it was found at.
    fn recall_change(&mut self, change: &Change) {
        match Check::from_raw(change.check) {
            Some(Check::Misclosure) => self.misclosed = change.state == 1,
            Some(Check::Depth | Check::Plumb | Check::Going) => {
                self.bore.reach(change.depth);
                self.checks.recall(change);
            }
            _ => {}
        }
    }
}

/// The command that left the record.
fn request_of(kind: u8, body: &[u8]) -> Option<u32> {
    match kind {
        Opened::KIND | Note::KIND | Closed::KIND | Calibrated::KIND => Asked::decode(body).map(|asked| asked.request),
        Hub::KIND => Hub::decode(body).map(|hub| hub.request),
        Tool::KIND => Tool::decode(body).map(|tool| tool.request),
        Refusal::KIND => Refusal::decode(body).map(|refusal| refusal.request),
        Commissioned::KIND => Commissioned::decode(body).map(|commissioned| commissioned.request),
        _ => None,
    }
}
