//! What a host can ask the rig to do; each is done once, however often it is asked.

use crate::calibrate;
use crate::memory::Memory;
use crate::rig::{Answered, FIRMWARE, Rig};
use crate::seal::Unfinished;
use heapless::String;
use shared_protocol::chain::End;
use shared_protocol::message::{ChangeTool, Command, Commission, ConfirmRefusal, Reply, SetClock, TakeNote};
use shared_protocol::record::{
    Calibrated, Calibration, Change, Clock, Closed, Hub, Identity, Instruments, NO_TEMPERATURE, Note, Opened, Plan, Record, Refusal, Tool,
};
use shared_protocol::state::{Answer, CalibrationItem, Check, Leg};
use shared_protocol::units::{Lean, Micrometres, Millis};

/// Depths and diameters that a plan may have.
const DEPTH_RANGE: core::ops::RangeInclusive<i32> = 100_000..=30_000_000;
const DIAMETER_RANGE: core::ops::RangeInclusive<i32> = 100_000..=5_000_000;
/// How far hub and datum may lie apart, and how much a depth tolerance may be.
const HUB_MAX: Micrometres = Micrometres::from_mm(5_000);
/// Plumb limits that make sense: 1 mm/m to 200 mm/m.
const LIMIT_RANGE: core::ops::RangeInclusive<i32> = 1_000..=200_000;
const FULL_CIRCLE: i32 = 36_000;

type Done = Result<u32, Answer>;

// Each command is a function of its own in the image too: inlined into one, they would all take stack at once.

impl<M: Memory> Rig<M> {
    /// Does a command, or answers again what was answered.
    pub(crate) fn obey(&mut self, request: u32, command: &Command, now: Millis) -> Reply {
        if let Some(known) = self.answered.iter().find(|a| a.request == request) {
            return Reply { request, answer: known.answer, sequence: known.sequence };
        }
        if self.leaving.is_some() {
            return Reply { request, answer: Answer::NotReady.raw(), sequence: 0 }; // what is recorded stays all there is
        }
        let done = match command {
            Command::LoadHole(load) => self.load_hole(request, &load.plan, now),
            Command::TouchHub(_) => self.touch_hub(request, now),
            Command::ChangeTool(ChangeTool { tool }) => self.change_tool(request, *tool, now),
            Command::CloseHole(_) => self.close_hole(request, now),
            Command::TakeNote(note) => self.take_note(request, note, now),
            Command::SetClock(clock) => self.set_clock(*clock, now),
            Command::Calibrate(calibrate) => self.calibrate(request, &calibrate.calibration, now),
            Command::ConfirmRefusal(ConfirmRefusal { confirmed }) => self.confirm_refusal(request, *confirmed, now),
            Command::Commission(Commission { secret }) => self.commission(request, secret, now),
            Command::Decommission(decommission) => self.decommission(request, decommission, now),
        };
        let (answer, sequence) = match done {
            Ok(sequence) => (Answer::Done, sequence),
            Err(answer) => (answer, 0),
        };
        // What was refused for a passing reason may be asked again under the same number.
        if answer == Answer::Done {
            self.remember(Answered { request, answer: answer.raw(), sequence });
        }
        Reply { request, answer: answer.raw(), sequence }
    }

    fn kept(&mut self, record: &Record) -> Done {
        self.record(record).ok_or(Answer::NotRecorded)
    }

    #[inline(never)]
    fn load_hole(&mut self, request: u32, plan: &Plan, now: Millis) -> Done {
        if self.hole.is_some() {
            return Err(Answer::HoleOpen);
        }
        if !self.journal.has_room() {
            return Err(Answer::NumbersUsedUp);
        }
        if !sound(plan) {
            return Err(Answer::BadFigures);
        }
        if !self.profile.tools.iter().any(|t| t.number == plan.tool) {
            return Err(Answer::NoSuchTool);
        }
        if self.has_recorded() {
            return Err(Answer::NotReady); // an opening is most of what the memory's bus carries in a turn
        }
        self.settle_seal(now)?;
        self.journal.begin_run();
        let opened = Opened { at: now, request, plan: plan.clone() };
        let first = match self.kept(&Record::Opened(opened.clone())) {
            Ok(first) => first,
            Err(answer) => {
                self.journal.end_run();
                return Err(answer);
            }
        };
        self.hole = Some(self.begin(first, &opened));
        self.depth.untie(); // the hub belongs to the hole
        self.record_identity(now);
        if let Some((at, unix_ms, offset)) = self.clock {
            let unix_ms = unix_ms.saturating_add(i64::from(now.since(at)));
            self.record(&Record::Clock(Clock { at: now, unix_ms, offset }));
        }
        self.record_reference(now);
        Ok(first)
    }

    #[inline(never)]
    pub(crate) fn record_identity(&mut self, now: Millis) {
        let identity = Identity {
            at: now,
            rig: self.profile.rig.clone(),
            simulated: self.profile.simulated,
            firmware: String::try_from(FIRMWARE).unwrap_or_default(),
            epoch: self.journal.epoch(),
            guide_height: self.profile.guide_height,
            encoder_absolute: self.profile.encoder_absolute,
            skew_ms: self.profile.skew_ms,
            increment: self.profile.increment,
            tilt_range: self.profile.tilt_range,
            misclosure_limit: self.profile.misclosure_limit,
            temperature: self.lean.temperature().unwrap_or(NO_TEMPERATURE),
            configuration: self.config.configuration(),
        };
        self.record(&Record::Identity(identity));
        self.record(&Record::Instruments(Instruments { at: now, stamps: self.config.stamps() }));
    }

    #[inline(never)]
    fn touch_hub(&mut self, request: u32, now: Millis) -> Done {
        if self.quiet(now) || !self.depth.fresh() {
            return Err(Answer::NoDepth);
        }
        let (count, misclosure) = self.depth.touch_hub().ok_or(Answer::NotAtRest)?;
        let first = u8::from(misclosure.is_none());
        let sequence = self.kept(&Record::Hub(Hub { at: now, request, count, misclosure: misclosure.unwrap_or_default(), first }))?;
        let carried = self.hole.as_mut().is_some_and(|hole| core::mem::take(&mut hole.carried));
        if first == 1 || carried {
            self.record_reference(now);
        }
        if let Some(misclosure) = misclosure {
            self.judge_misclosure(misclosure, now);
        }
        Ok(sequence)
    }

    /// Records where the hub begins to close worse than its limit, and where it closes again.
    fn judge_misclosure(&mut self, misclosure: Micrometres, now: Millis) {
        let beyond = misclosure.0.unsigned_abs() > self.profile.misclosure_limit.0.unsigned_abs();
        let Some(hole) = self.hole.as_mut().filter(|hole| hole.misclosed != beyond) else { return };
        hole.misclosed = beyond;
        let depth = hole.bore.bottom();
        self.record(&Record::Change(Change { at: now, check: Check::Misclosure.raw(), state: beyond.into(), depth, figure: misclosure.0 }));
    }

    #[inline(never)]
    fn change_tool(&mut self, request: u32, tool: u8, now: Millis) -> Done {
        let entry = *self.profile.tools.iter().find(|t| t.number == tool).ok_or(Answer::NoSuchTool)?;
        if self.hole.is_none() {
            return Err(Answer::NoHoleOpen);
        }
        self.end_pass(now);
        let sequence = self.kept(&Record::Tool(Tool { at: now, request, tool, length: entry.length, diameter: entry.diameter }))?;
        self.depth.set_tool(entry.length);
        if let Some(hole) = &mut self.hole {
            hole.tool = tool;
            hole.carried = self.depth.referenced();
            hole.bore.set_diameter(entry.diameter, hole.plan.hub_above_datum);
        }
        if self.depth.referenced() {
            self.record_reference(now);
        }
        Ok(sequence)
    }

    fn end_pass(&mut self, now: Millis) {
        let temperature = self.lean.temperature();
        if let Some(pass) = self.hole.as_mut().and_then(|hole| hole.bore.end_pass(now, temperature)) {
            self.record(&Record::Pass(pass));
        }
    }

    #[inline(never)]
    fn close_hole(&mut self, request: u32, now: Millis) -> Done {
        if self.hole.is_none() {
            return Err(Answer::NoHoleOpen);
        }
        self.end_pass(now);
        let hole = self.hole.as_ref().ok_or(Answer::NoHoleOpen)?;
        let (first, end) = self.journal.run().ok_or(Answer::NotRecorded)?;
        let (passes, increments) = hole.bore.counts();
        let bottom = hole.bore.bottom();
        let toe = hole.bore.axis().stick(self.profile.guide_height, bottom).unwrap_or_default();
        let wall = hole.bore.axis().wall(bottom).unwrap_or_default();
        let End { from, slots, before, segment } = end;
        let closed = Closed { at: now, request, bottom, toe, wall, passes, increments, first, from, slots, before, segment };
        let record = Record::Closed(closed);
        let sequence = self.journal.append_end(&mut self.memory, &record, end).map_err(|_| Answer::NotRecorded)?;
        self.unfinished = self.journal.run().map(|(first, end)| Unfinished::closed(first, &end));
        self.journal.end_run();
        self.hole = None;
        self.depth.untie();
        Ok(sequence)
    }

    #[inline(never)]
    fn take_note(&mut self, request: u32, note: &TakeNote, now: Millis) -> Done {
        self.kept(&Record::Note(Note { at: now, request, author: note.author.clone(), text: note.text.clone() }))
    }

    /// Takes a calibration into the configuration: kept, recorded, then in force. Refused while a hole is open, which
    /// must be measured by one configuration from end to end, but for tools that are not in it.
    #[inline(never)]
    fn calibrate(&mut self, request: u32, calibration: &Calibration, now: Millis) -> Done {
        if self.hole.as_ref().is_some_and(|hole| !is_tool_beside(calibration, [hole.tool, hole.plan.tool])) {
            return Err(Answer::HoleOpen);
        }
        if !calibrate::sound(calibration) || !calibrate::has_room(&self.profile, calibration) {
            return Err(Answer::BadCalibration);
        }
        if !self.config.take(&mut self.memory, calibration) {
            return Err(Answer::NotRecorded);
        }
        let record = Record::Calibrated(Calibrated { at: now, request, calibration: calibration.clone() });
        match self.kept(&record) {
            Ok(sequence) => {
                calibrate::apply(&mut self.profile, calibration);
                if calibration.item == CalibrationItem::Encoder.raw() {
                    self.depth.forget();
                }
                Ok(sequence)
            }
            Err(answer) => {
                self.config.put_back(&mut self.memory);
                Err(answer)
            }
        }
    }

    #[inline(never)]
    fn confirm_refusal(&mut self, request: u32, confirmed: u8, now: Millis) -> Done {
        let depth = self.hole.as_ref().ok_or(Answer::NoHoleOpen)?.bore.bottom();
        if confirmed > 1 {
            return Err(Answer::BadFigures);
        }
        self.kept(&Record::Refusal(Refusal { at: now, request, confirmed, depth }))
    }

    #[inline(never)]
    fn set_clock(&mut self, SetClock { unix_ms, offset }: SetClock, now: Millis) -> Done {
        if !(-1_440..=1_440).contains(&offset) || unix_ms < 0 {
            return Err(Answer::BadFigures);
        }
        let sequence = self.kept(&Record::Clock(Clock { at: now, unix_ms, offset }))?;
        self.clock = Some((now, unix_ms, offset));
        Ok(sequence)
    }
}

/// Whether it speaks of a tool that is none of those that measured the hole.
fn is_tool_beside(calibration: &Calibration, used: [u8; 2]) -> bool {
    let number = calibration.values.first().copied().unwrap_or(0);
    calibration.item == CalibrationItem::Tool.raw() && used.iter().all(|&tool| i32::from(tool) != number)
}

/// Whether a plan's figures can be drilled and judged.
fn sound(plan: &Plan) -> bool {
    let within = |v: Micrometres| (0..=HUB_MAX.0).contains(&v.0);
    DEPTH_RANGE.contains(&plan.depth.0)
        && DIAMETER_RANGE.contains(&plan.diameter.0)
        && within(Micrometres(plan.hub_above_datum.0.saturating_abs()))
        && within(plan.depth_under)
        && within(plan.depth_over)
        && limit_is_sound(plan.plumb_limit)
        && (-FULL_CIRCLE..=FULL_CIRCLE).contains(&plan.heading.0)
        && (0..=FULL_CIRCLE).contains(&plan.heading_within.0)
        && Leg::from_raw(plan.leg).is_some()
        && !plan.structure.is_empty()
}

fn limit_is_sound(limit: Lean) -> bool {
    LIMIT_RANGE.contains(&limit.0)
}
