//! What a record that is read after a restart says about the hole that was open, and which command it answered.

use crate::bore::Bore;
use crate::checks::Checks;
use crate::memory::Memory;
use crate::rig::{Answered, Hole, Rig};
use shared_protocol::record::{
    Asked, Calibrated, Change, Closed, Commissioned, Decommissioned, Gap, Hub, Identity, Increment, Instruments, Note, Opened, Pass, Plan,
    Refusal, Tool,
};
use shared_protocol::state::{Answer, Check};
use shared_protocol::units::Micrometres;

impl<M: Memory> Rig<M> {
    /// Takes from a record no more than is needed: most kinds are not even read.
    #[inline(never)]
    pub(crate) fn recall(&mut self, sequence: u32, kind: u8, body: &[u8]) {
        if let Some(request) = request_of(kind, body) {
            self.remember(Answered { request, answer: Answer::Done.raw(), sequence });
        }
        if !self.journal.runs() {
            return;
        }
        if let Some(gap) = Some(body).filter(|_| kind == Gap::KIND).and_then(Gap::decode) {
            self.unread.retain(|sequence| !(gap.first..=gap.last).contains(sequence));
        }
        if kind == Opened::KIND {
            self.hole = Opened::decode(body).map(|opened| self.begin(sequence, &opened));
            return;
        }
        let absolute = self.profile.encoder_absolute;
        let Some(hole) = &mut self.hole else { return };
        match kind {
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
        Opened::KIND | Note::KIND | Closed::KIND | Calibrated::KIND | Decommissioned::KIND => {
            Asked::decode(body).map(|asked| asked.request)
        }
        Hub::KIND => Hub::decode(body).map(|hub| hub.request),
        Tool::KIND => Tool::decode(body).map(|tool| tool.request),
        Refusal::KIND => Refusal::decode(body).map(|refusal| refusal.request),
        Commissioned::KIND => Commissioned::decode(body).map(|commissioned| commissioned.request),
        _ => None,
    }
}
