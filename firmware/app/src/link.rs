//! The rig's side of the cable: what it hears, what it tells, and slots on request.

use crate::axis::Axis;
use crate::board::Outlet;
use crate::memory::Memory;
use crate::rig::{FIRMWARE, Rig};
use heapless::{Deque, Vec};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, FRAME_BYTES_MAX, wrap};
use shared_protocol::message::{Acknowledge, Hello, Live, Message, Outlook, Raw, Repeat, Replay, Reply, SLOTS_MAX, text_field};
use shared_protocol::record::{Gap, NO_TEMPERATURE};
use shared_protocol::slot::SLOT_BYTES;
use shared_protocol::state::{Activity, Answer, Belief, DepthState, GapCause, PlumbState, Status};
use shared_protocol::units::{Micrometres, Millis, RigAxes};

/// Time between outlooks, and between raw figures.
const OUTLOOK_MS: u32 = 500;
/// Time between live frames when the sensor line is quiet.
const QUIET_LIVE_MS: u32 = 200;
/// Frames of slots that one turn sends at most.
const SLOT_FRAMES: usize = 2;
/// How far behind slots that cannot be read the gap that names them is looked for: where power cuts tore them the record
/// of the start comes first, and what else was found then may.
const GAP_REACH: u32 = 8;
/// Runs of slots that the link declares at most in one run of the rig.
const DECLARED: usize = 8;
/// Stretches of slots that wait to be sent once more; what finds no room is asked for again.
const REPEATS: usize = 8;

/// The link's own state.
#[derive(Debug, Default)]
pub(crate) struct Link {
    accumulator: Accumulator,
    cursor: Option<u32>,
    /// First and last of what was damaged on the way, to be sent once more before anything else.
    repeats: Deque<(u32, u32), REPEATS>,
    /// A host has asked for slots, and has not yet been told of those that are gone.
    pub(crate) asked: bool,
    greeted: bool,
    last_live: Option<Millis>,
    last_outlook: Option<Millis>,
    /// Slots right before the cursor that could not be read, first and last.
    unread: Option<(u32, u32)>,
    /// The last slot of each run that was declared.
    declared: Vec<u32, DECLARED>,
}

impl<M: Memory> Rig<M> {
    /// Takes bytes from the host and does what whole frames among them say.
    pub(crate) fn hear(&mut self, received: &[u8], now: Millis, outlet: &mut impl Outlet) {
        let mut bytes = [0; ENCODED_BYTES_MAX];
        let mut ready = self.recovery.is_none();
        for &byte in received {
            let Some(Ok(message)) = self.link.accumulator.push(byte, &mut bytes) else { continue };
            let Ok(message) = Message::decode(message) else { continue };
            match message {
                Message::Command { request, .. } if !ready => {
                    send(outlet, &Message::Reply(Reply { request, answer: Answer::NotReady.raw(), sequence: 0 }));
                }
                // What is held is not known yet. Whoever asks is greeted when it is.
                _ if self.recovery.is_some() => {}
                message => ready &= !self.answer(&message, now, outlet),
            }
        }
    }

    /// Does what a message says; whether that was a command, of which a turn does one.
    #[inline(never)]
    fn answer(&mut self, message: &Message<'_>, now: Millis, outlet: &mut impl Outlet) -> bool {
        match message {
            Message::Ask(_) => self.link.greeted = false,
            Message::Replay(Replay { from }) => {
                self.link.cursor = Some((*from).max(self.journal.tail()).min(self.journal.head()));
                self.link.repeats.clear();
                self.link.asked = true;
                self.link.unread = None;
            }
            Message::Repeat(Repeat { first, last }) => {
                // Only what was sent: the rest comes anyway.
                let last = self.link.cursor.and_then(|cursor| cursor.checked_sub(1)).map_or(0, |sent| sent.min(*last));
                if *first <= last && !self.link.repeats.iter().any(|known| known.0 == *first) {
                    let _ = self.link.repeats.push_back((*first, last)); // no room: the host asks again
                }
            }
            Message::Acknowledge(Acknowledge { epoch, below, .. }) => {
                // What is gone is acknowledged too, so it is named first.
                if self.declare_loss(true, now) {
                    self.journal.acknowledge(&mut self.memory, *epoch, *below);
                }
            }
            Message::Command { request, command } => {
                let reply = self.obey(*request, command, now);
                send(outlet, &Message::Reply(reply)); // no room: the host asks again and hears the same
                return true;
            }
            // what only a rig says
            Message::Hello(_) | Message::Slots(_) | Message::Live(_) | Message::Outlook(_) | Message::Reply(_) | Message::Raw(_) => {}
        }
        false
    }

    /// Sends what there is to say, most urgent first, as far as there is room.
    pub(crate) fn tell(&mut self, now: Millis, fresh: bool, outlet: &mut impl Outlet) {
        let starting = self.recovery.is_some();
        if !self.link.greeted && !starting {
            let hello = Message::Hello(self.hello(now));
            self.link.greeted = send(outlet, &hello);
        }
        let due = |last: Option<Millis>, every: u32| last.is_none_or(|last| now.since(last) >= every);
        if fresh || due(self.link.last_live, QUIET_LIVE_MS) {
            let live = Message::Live(self.live(now));
            if send(outlet, &live) {
                self.link.last_live = Some(now);
            }
        }
        if due(self.link.last_outlook, OUTLOOK_MS) && !starting {
            let outlook = Message::Outlook(self.outlook(now));
            if send(outlet, &outlook) {
                self.link.last_outlook = Some(now);
                send(outlet, &Message::Raw(self.raw(now))); // for eyes only too: where there is no room, the next will do
            }
        }
    }

    /// Sends slots that a host has asked for, as far as there is room.
    pub(crate) fn tell_slots(&mut self, now: Millis, outlet: &mut impl Outlet) {
        for _ in 0..SLOT_FRAMES {
            if outlet.room() < FRAME_BYTES_MAX || !self.send_slots(now, outlet) {
                break;
            }
        }
    }

    /// Sends the next slots: those that are wanted once more, else from the cursor on; `false` where there are none.
    #[inline(never)]
    fn send_slots(&mut self, now: Millis, outlet: &mut impl Outlet) -> bool {
        if let Some((first, last)) = self.link.repeats.pop_front() {
            self.declare_unread(now); // of another stretch
            let (next, sent) = self.send_from(first, last.saturating_add(1), now, outlet);
            if next <= last && next < self.journal.head() {
                let _ = self.link.repeats.push_front((next, last)); // its own place
            }
            return sent;
        }
        let Some(cursor) = self.link.cursor else { return false };
        self.link.asked |= cursor < self.journal.tail();
        let (next, sent) = self.send_from(cursor, self.journal.head(), now, outlet);
        self.link.cursor = Some(next);
        sent
    }

    /// Sends a message of slots from one sequence on, below another; returns which is next, and whether any were sent.
    #[inline(never)]
    fn send_from(&mut self, from: u32, end: u32, now: Millis, outlet: &mut impl Outlet) -> (u32, bool) {
        let mut raw: Vec<u8, { SLOTS_MAX * SLOT_BYTES }> = Vec::new();
        let mut next = from.max(self.journal.tail());
        for _ in 0..SLOTS_MAX {
            if next >= end.min(self.journal.head()) {
                self.declare_unread(now);
                break;
            }
            let slot = self.slot(next);
            if slot.is_some() && self.declare_unread(now) {
                break;
            }
            match slot {
                Some(slot) => drop(raw.extend_from_slice(slot.bytes())),
                None => self.link.unread = Some((self.link.unread.map_or(next, |(first, _)| first), next)),
            }
            next = next.saturating_add(1);
        }
        (next, Message::slots(&raw).is_some_and(|message| send(outlet, &message)))
    }

    /// Slots in a row that cannot be read back are declared together, once per run of the rig, so that the host need not
    /// ask for ever; those that a gap right behind them names already are not. Says whether there were any.
    #[inline(never)]
    fn declare_unread(&mut self, now: Millis) -> bool {
        let Some((mut first, mut last)) = self.link.unread.take() else { return false };
        let behind = last;
        for gap in (1..=GAP_REACH).filter_map(|n| self.gap(behind.saturating_add(n))) {
            let named = gap.first..=gap.last;
            first = if named.contains(&first) { gap.last.saturating_add(1) } else { first };
            last = if named.contains(&last) { gap.first.saturating_sub(1) } else { last };
        }
        let declared = &self.link.declared;
        if first <= last && !declared.contains(&last) && !declared.is_full() && self.declare(first, last, GapCause::Damaged, now) {
            let _ = self.link.declared.push(last); // there is room
        }
        true
    }

    /// The gap that a slot declares.
    fn gap(&mut self, sequence: u32) -> Option<Gap> {
        self.slot(sequence).filter(|slot| slot.kind() == Gap::KIND).and_then(|slot| Gap::decode(slot.body()))
    }

    fn hello(&self, now: Millis) -> Hello {
        Hello {
            simulated: u8::from(self.profile.simulated),
            epoch: self.journal.epoch(),
            boot: self.journal.boot(),
            now,
            tail: self.journal.tail(),
            head: self.journal.head(),
            acknowledged: self.journal.held_below(),
            capacity: self.journal.capacity(),
            rig: text_field(&self.profile.rig),
            firmware: text_field(FIRMWARE),
        }
    }

    fn status(&self, now: Millis) -> Status {
        let believed = |fault: bool, fresh: bool| match (fault, fresh && !self.quiet(now)) {
            (true, _) => Belief::Fault,
            (false, true) => Belief::Good,
            (false, false) => Belief::Stale,
        };
        // What was read of the hole so far may be half of it.
        let starting = self.recovery.is_some();
        let lean = match believed(self.lean.fault().is_some(), self.lean.fresh()) {
            Belief::Good if starting || !self.lean_applies() => Belief::Blank,
            other => other,
        };
        let hole = self.hole.as_ref().filter(|_| !starting);
        let (depth_check, plumb_check) = hole.map_or((DepthState::Drilling, PlumbState::Unjudged), |hole| hole.checks.states());
        let without = if starting { Activity::Starting } else { Activity::Idle };
        Status {
            referenced: self.depth.referenced() && !starting,
            hole_open: hole.is_some(),
            depth: believed(self.depth.fault().is_some(), self.depth.fresh()),
            lean,
            activity: hole.map_or(without, |hole| hole.bore.activity()),
            depth_check,
            plumb_check,
            memory_fault: self.journal.memory_faults > 0,
            simulated: self.profile.simulated,
        }
    }

    fn live(&self, now: Millis) -> Live {
        let status = self.status(now);
        let lean =
            self.lean.lean(&self.profile.correction).filter(|_| status.lean == Belief::Good).map(crate::lean::coarse).unwrap_or_default();
        let [low, high, ..] = now.0.to_le_bytes();
        Live {
            at: u16::from_le_bytes([low, high]),
            depth: self.depth.tip().filter(|_| status.referenced).unwrap_or_default(),
            forward: lean.forward,
            right: lean.right,
            status: status.to_bits(),
        }
    }

    /// What the sensors give before any correction, for calibrating.
    fn raw(&self, now: Millis) -> Raw {
        let good = self.lean.fresh() && !self.quiet(now);
        let tally = self.lean.raw();
        let mean = tally.mean().unwrap_or_default();
        Raw {
            at: now,
            count: self.depth.count().unwrap_or_default(),
            forward: mean.level.forward,
            right: mean.level.right,
            up: mean.up,
            samples: if good { tally.samples } else { 0 },
            scatter: tally.scatter(),
            temperature: self.lean.temperature().unwrap_or(NO_TEMPERATURE),
            count_good: u8::from(self.depth.fresh() && !self.quiet(now)),
        }
    }

    fn outlook(&self, now: Millis) -> Outlook {
        let ends = |of: fn(&Axis, Micrometres, Micrometres) -> Option<RigAxes<Micrometres>>| {
            self.hole.as_ref().and_then(|hole| of(hole.bore.axis(), self.profile.guide_height, hole.bore.bottom())).unwrap_or_default()
        };
        let (toe, wall) = (ends(Axis::stick), ends(|axis, _, depth| axis.wall(depth)));
        let planned = self.toe(self.hole.as_ref().map(|hole| hole.checks.target())).unwrap_or_default();
        Outlook {
            at: now,
            bottom: self.hole.as_ref().map_or(Micrometres(0), |hole| hole.bore.bottom()),
            toe_forward: toe.forward,
            toe_right: toe.right,
            wall_forward: wall.forward,
            wall_right: wall.right,
            planned_forward: planned.forward,
            planned_right: planned.right,
            pass: self.hole.as_ref().map_or(0, |hole| hole.bore.pass_number()),
            opened: self.hole.as_ref().map_or(0, |hole| hole.first),
            encoder_fault: self.depth.fault().map_or(0, |f| f.raw()),
            tilt_fault: self.lean.fault().map_or(0, |f| f.raw()),
            waiting: self.journal.head().saturating_sub(self.journal.held_below().max(self.journal.tail())),
        }
    }
}

/// Sends a whole frame or nothing; says which.
#[inline(never)]
fn send(outlet: &mut impl Outlet, message: &Message<'_>) -> bool {
    let Some(frame) = wrap(message) else { return false };
    let fits = frame.len() <= outlet.room();
    if fits {
        outlet.send(&frame);
    }
    fits
}
