//! Memories in any state: a rig must start on each, with bounded work, go on measuring, and keep what comes next soundly.

use super::frames::Said;
use super::{Draw, Outcome, Target, about, patch};
use crate::cuts::script::{note, plan};
use firmware_app::config::Config;
use firmware_app::memory::Memory;
use firmware_app::profile::Profile;
use firmware_app::reading::{Reading, Sensed};
use firmware_app::rig::Rig;
use host_tool::facts::{DigestState, read};
use host_tool::proof::{Sealing, Unfit};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap};
use shared_protocol::message::{Ask, CloseHole, Command, Hello, LoadHole, Message, Replay, TouchHub};
use shared_protocol::slot::{CRC, SLOT_BYTES, Slot};
use shared_protocol::state::{Answer, Belief, CalibrationItem, ResetCause, SpecificForce, Status};
use shared_protocol::units::{MicroG, Millis, RigAxes};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

pub use crate::cuts::site::RING_AT;

/// Turns within which a rig has looked through its memory: twice through the ring of the largest image at eight slots a turn,
/// and as much again for what it searches first.
const START_TURNS_MAX: u32 = 4 * 256 / 8;
/// Reads of an ordinary turn at most: two frames of seven slots, each with four neighbours where it cannot be read.
const TURN_READS_MAX: u32 = 2 * 7 * 5 + 10;
/// Turns within which the rig must have said all that it has: it says two frames of slots in each.
const DRAIN_TURNS: u32 = 400;
/// Turns without a slot after which there are no more: a whole ring that cannot be read takes 37.
const QUIET_TURNS: u32 = 60;
/// A turn, ms.
const TURN_MS: u32 = 50;
/// From here on the rig takes no new hole: a million numbers are left, or fewer before the work is done.
const NEARLY_USED_UP: u32 = u32::MAX - 0x0010_1000;
/// Where a memory's marks, the copies of its configuration and its ring stand (firmware/JOURNAL.md).
const MARKS: [usize; 10] = [0, 64, 128, 192, 256, 288, 320, 384, 416, 448];
const CONFIGURATIONS: [usize; 2] = [512, 2_304];
const CONFIGURATION_HEAD: usize = 102;
const CONFIGURATION_BYTES: usize = 1_792;

/// The image of a memory, from its first byte to its last.
#[derive(Clone, Copy, Debug, Default)]
pub struct Image;

/// A memory that counts how often it is read; clones are handles on the same.
#[derive(Clone, Debug)]
pub struct Ram(Rc<RefCell<(Vec<u8>, u32)>>);

impl Ram {
    /// A memory with these contents.
    #[must_use]
    pub fn new(bytes: Vec<u8>) -> Self {
        Self(Rc::new(RefCell::new((bytes, 0))))
    }

    /// Reads since this was asked last.
    fn reads(&self) -> u32 {
        std::mem::take(&mut self.0.borrow_mut().1)
    }

    fn bytes(&self) -> Vec<u8> {
        self.0.borrow().0.clone()
    }
}

impl Memory for Ram {
    type Error = ();
    fn size(&self) -> u32 {
        u32::try_from(self.0.borrow().0.len()).unwrap_or(u32::MAX)
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        let (bytes, reads) = &mut *self.0.borrow_mut();
        *reads += 1;
        let at = usize::try_from(at).map_err(drop)?;
        into.copy_from_slice(bytes.get(at..at + into.len()).ok_or(())?);
        Ok(())
    }
    fn write(&mut self, at: u32, from: &[u8]) -> Result<(), ()> {
        let at = usize::try_from(at).map_err(drop)?;
        self.0.borrow_mut().0.get_mut(at..at + from.len()).ok_or(())?.copy_from_slice(from);
        Ok(())
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

/// What the sensors read with the tip so far below the hub; the last digit lives.
#[must_use]
pub fn round(now: Millis, tip_tenths: i32) -> Sensed {
    let lives = i32::from(now.0.is_multiple_of(100));
    let level = RigAxes { forward: MicroG(12_000), right: MicroG(-4_000) };
    let force = SpecificForce { level, up: MicroG(999_900 + lives) };
    Sensed { count: Reading::Good(30_000 + tip_tenths + lives), force: Reading::Good(force), temperature: None }
}

/// Memories that a rig leaves, by name: with two sealed holes, with one open, one deep enough for a checkpoint, one that
/// was calibrated, and one that nothing was ever written to.
///
/// # Panics
/// When the rig refuses to work.
#[must_use]
pub fn images() -> Vec<(&'static str, Vec<u8>)> {
    let work = |slots: usize, act: fn(&mut Talk)| {
        let (mut talk, _) = Talk::start(vec![0; RING_AT + slots * SLOT_BYTES], 0x0B0E_0000).expect("it starts");
        act(&mut talk);
        talk.memory.bytes()
    };
    vec![
        ("blank", work(96, |_| {})),
        ("sealed", work(96, |talk| (0..2).for_each(|_| talk.hole(600).expect("a hole")))),
        ("open", work(96, |talk| drop((talk.open(), talk.go(300))))),
        ("deep", work(256, |talk| drop((talk.open(), talk.go(32_000), talk.command(note()), talk.go(33_000))))),
        (
            "calibrated",
            work(96, |talk| {
                (1..=3).for_each(|nth| drop(talk.command(calibrated(nth))));
                talk.hole(300).expect("a hole");
            }),
        ),
    ]
}

/// A tilt zero; each a little other than the one before.
fn calibrated(nth: i32) -> Command {
    use shared_protocol::message::Calibrate;
    use shared_protocol::record::Calibration;
    let values = heapless::Vec::from_slice(&[500 + nth, -300, 2_100]).unwrap_or_default();
    let item = CalibrationItem::TiltZero.raw();
    let calibration = Calibration {
        item,
        who: "Sim. Fitter".try_into().unwrap_or_default(),
        day: 20_000,
        expires: 20_365,
        uncertainty: 200,
        residual: 1,
        values,
    };
    Command::Calibrate(Calibrate { calibration })
}

impl Target for Image {
    const NAME: &'static str = "memory";

    fn seeds(&self) -> Vec<Vec<u8>> {
        images().into_iter().map(|(_, image)| image).collect()
    }

    fn mutate(&self, input: &[u8], other: &[u8], draw: &mut Draw) -> Vec<u8> {
        let mut image = input.to_vec();
        let places = image.len().saturating_sub(RING_AT) / SLOT_BYTES;
        for _ in 0..=draw.below(4) {
            let at = RING_AT + draw.below(places) * SLOT_BYTES;
            match draw.below(12) {
                0 => image[at..at + SLOT_BYTES].fill(if draw.once_in(2) { 0 } else { 0xFF }),
                1 => {
                    let byte = draw.below(image.len());
                    image[byte] ^= 1 << draw.below(8); // damage that its check shows
                }
                2 => {
                    let from = RING_AT + draw.below(places) * SLOT_BYTES;
                    image.copy_within(from..from + SLOT_BYTES, at);
                }
                3 => mutate_mark(&mut image, MARKS[draw.below(MARKS.len())], draw),
                4 => mutate_configuration(&mut image, CONFIGURATIONS[draw.below(2)], draw),
                5 if other.len() >= at + SLOT_BYTES => image[at..at + SLOT_BYTES].copy_from_slice(&other[at..at + SLOT_BYTES]),
                6 => shift(&mut image, draw),
                _ => mutate_slot(&mut image, at, u32::try_from(places).unwrap_or(1), draw),
            }
        }
        image
    }

    fn run(&mut self, input: &[u8]) -> Result<Outcome, String> {
        if input.len() < RING_AT + SLOT_BYTES {
            return Ok(Outcome::of(false, &0));
        }
        let (mut talk, at_start) = Talk::start(input.to_vec(), 0x5EED_0000)?; // numbers that no image holds
        talk.turns(20, None)?;
        let hello = talk.hello.ok_or("the rig does not say who it is")?;
        let (found, trusted) = (hello.head, trusted(input));
        let measures = |talk: &Talk| talk.status.is_some_and(|status| status.depth == Belief::Good);
        if !measures(&talk) {
            return Err(format!("the rig does not measure: {:?}", talk.status));
        }
        let was_open = talk.status.is_some_and(|status| status.hole_open);
        let mut answers = talk.work(was_open)?;
        answers.extend(talk.work(false)?);
        if trusted && found < NEARLY_USED_UP && answers.iter().any(|answer| *answer != Some(Answer::Done)) {
            return Err(format!("the rig does not go on working: {answers:?}"));
        }
        talk.drain()?;
        talk.kept_soundly(found, trusted)?;
        let kinds: Vec<u8> = talk.heard.values().map(Slot::kind).collect::<std::collections::BTreeSet<_>>().into_iter().collect();
        let reached = talk.heard.range(..found).next().is_some() || input[RING_AT..].iter().all(|byte| *byte == 0);
        let told = (was_open, format!("{answers:?}"), kinds, about(usize::try_from(found).unwrap_or(0)), about(talk.heard.len()));
        Ok(Outcome::of(reached, &(told, hello.boot.min(3), hello.tail == 0, hello.acknowledged.cmp(&found), at_start.max(1).ilog2())))
    }
}

/// Whether what is asked of the rig must be done: an encoder table of somebody else's may lead the tip anywhere.
fn trusted(image: &[u8]) -> bool {
    let mut config = Config::over(&Profile::bench());
    config.load(&mut Ram::new(image.to_vec()));
    let moves = [CalibrationItem::Encoder.raw(), CalibrationItem::Tool.raw()];
    !config.calibrations().any(|calibration| moves.contains(&calibration.item))
}

fn mutate_slot(image: &mut [u8], at: usize, stride: u32, draw: &mut Draw) {
    if let Some(bytes) = image[at..].first_chunk_mut::<SLOT_BYTES>() {
        *bytes = patch::slot(bytes, stride, draw);
    }
}

/// A mark, or a part of the seal that is remembered: as any slot, its numbers often near what they were.
fn mutate_mark(image: &mut [u8], at: usize, draw: &mut Draw) {
    let Some(bytes) = image[at..].first_chunk_mut::<SLOT_BYTES>() else { return };
    if draw.once_in(2) {
        let field = [0, 9, 13][draw.below(3)];
        let Some(number) = bytes[field..].first_chunk_mut::<4>() else { return };
        *number = draw.number(u32::from_le_bytes(*number)).to_le_bytes();
        patch::repair(bytes);
    } else {
        *bytes = patch::slot(bytes, 1, draw);
    }
}

/// A copy of the configuration with any of its bytes changed and its check repaired.
fn mutate_configuration(image: &mut [u8], at: usize, draw: &mut Draw) {
    let Some(copy) = image.get_mut(at..at + CONFIGURATION_BYTES) else { return };
    let length = |copy: &[u8]| usize::from(u16::from_le_bytes([copy[4], copy[5]]));
    for _ in 0..=draw.below(3) {
        let reach = (CONFIGURATION_HEAD + length(copy)).min(CONFIGURATION_BYTES - 4);
        let byte = draw.below(reach);
        copy[byte] = draw.byte();
    }
    if draw.once_in(2) {
        let number = draw.number(2) & !1 | u32::from(at == CONFIGURATIONS[1]); // a copy that belongs here
        copy[..4].copy_from_slice(&number.to_le_bytes());
    }
    let end = (CONFIGURATION_HEAD + length(copy)).min(CONFIGURATION_BYTES - 4);
    let check = CRC.checksum(&copy[..end]);
    copy[end..end + 4].copy_from_slice(&check.to_le_bytes());
}

/// The whole ring as if it had been written so many laps later.
fn shift(image: &mut [u8], draw: &mut Draw) {
    let ring = image[RING_AT..].as_chunks_mut::<SLOT_BYTES>().0;
    let capacity = u32::try_from(ring.len()).unwrap_or(1);
    let laps = if draw.once_in(3) { (u32::MAX - draw.number(0) % 5_000) / capacity - 1 } else { draw.number(1) % 1_000 };
    for bytes in ring {
        let Ok(slot) = Slot::check(bytes) else { continue };
        let later = slot.sequence().wrapping_add(laps.wrapping_mul(capacity));
        if let Some(moved) = Slot::build(later, slot.boot(), slot.kind(), slot.part(), slot.body()) {
            *bytes = *moved.bytes();
        }
    }
}

/// A rig on a memory, and somebody who talks to it and believes nothing that does not check.
pub(super) struct Talk {
    memory: Ram,
    rig: Rig<Ram>,
    now: Millis,
    tip: i32,
    requests: u32,
    accumulator: Accumulator,
    hello: Option<Hello>,
    status: Option<Status>,
    answer: Option<(u32, Option<Answer>)>,
    heard: BTreeMap<u32, Slot>,
    /// Turns since slots came last.
    quiet: u32,
}

impl Talk {
    /// Starts the rig and lets it look through its memory, in so many turns; commands are numbered from `requests` on.
    fn start(image: Vec<u8>, requests: u32) -> Result<(Self, u32), String> {
        let memory = Ram::new(image);
        let rig = Rig::start(memory.clone(), Profile::bench(), ResetCause::Power, Millis(0));
        let mut talk = Self {
            memory,
            rig,
            now: Millis(0),
            tip: 0,
            requests,
            accumulator: Accumulator::new(),
            hello: None,
            status: None,
            answer: None,
            heard: BTreeMap::new(),
            quiet: 0,
        };
        for turn in 0..START_TURNS_MAX {
            if talk.rig.recovered() {
                return Ok((talk, turn));
            }
            talk.turn(&[])?;
        }
        Err(format!("the rig has not started in {START_TURNS_MAX} turns"))
    }

    fn turn(&mut self, to_rig: &[u8]) -> Result<(), String> {
        self.now = self.now.plus(TURN_MS);
        let mut said = Said::default();
        self.memory.reads();
        self.rig.poll(self.now, Some(round(self.now, self.tip)), to_rig, &mut said);
        let reads = self.memory.reads();
        if reads > TURN_READS_MAX {
            return Err(format!("a turn reads the memory {reads} times"));
        }
        self.quiet += 1;
        self.hear(&said.0)
    }

    fn hear(&mut self, bytes: &[u8]) -> Result<(), String> {
        let mut buffer = [0; ENCODED_BYTES_MAX];
        for byte in bytes {
            let Some(message) = self.accumulator.push(*byte, &mut buffer) else { continue };
            let message = message.map_err(|fault| format!("the rig sends a frame that is none: {fault:?}"))?;
            match Message::decode(message).map_err(|fault| format!("the rig says what it should not: {fault:?}"))? {
                Message::Hello(hello) => self.hello = Some(hello),
                Message::Live(live) => self.status = Status::from_bits(live.status),
                Message::Reply(reply) => self.answer = Some((reply.request, Answer::from_raw(reply.answer))),
                Message::Slots(slots) => {
                    self.quiet = 0;
                    for slot in slots.iter() {
                        let slot = slot.map_err(|fault| format!("the rig hands out a slot that does not check: {fault:?}"))?;
                        if self.heard.insert(slot.sequence(), slot).is_some_and(|before| before != slot) {
                            return Err(format!("slot {} changes", slot.sequence()));
                        }
                    }
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn turns(&mut self, count: u32, message: Option<&Message<'_>>) -> Result<(), String> {
        let mut frame = message.and_then(wrap).map(|frame| frame.to_vec()).unwrap_or_default();
        (0..count).try_for_each(|_| self.turn(&std::mem::take(&mut frame)))
    }

    fn command(&mut self, command: Command) -> Result<Option<Answer>, String> {
        self.requests += 1;
        let request = self.requests;
        for _ in 0..20 {
            self.turns(1, Some(&Message::Command { request, command: command.clone() }))?;
            match self.answer {
                Some((to, answer)) if to == request && answer != Some(Answer::NotReady) => return Ok(answer),
                _ => {}
            }
        }
        Err(format!("the rig does not answer {command:?}"))
    }

    /// Moves the tip to so many tenths of a millimetre below the hub, 20 mm/s down and a metre a second up.
    fn go(&mut self, to: i32) -> Result<(), String> {
        while self.tip != to {
            self.tip = if self.tip < to { to.min(self.tip + 10) } else { to.max(self.tip - 500) };
            self.turn(&[])?;
        }
        self.turns(24, None)
    }

    fn open(&mut self) -> Result<Vec<Option<Answer>>, String> {
        self.turns(24, None)?;
        Ok(vec![self.command(Command::LoadHole(LoadHole { plan: plan() }))?, self.command(Command::TouchHub(TouchHub {}))?])
    }

    fn hole(&mut self, depth: i32) -> Result<(), String> {
        self.open()?;
        self.go(depth)?;
        self.go(0)?;
        self.command(Command::CloseHole(CloseHole {}))?;
        self.turns(4, None)
    }

    /// Drills a little of a new hole, or of the one that is open, and closes it; what the rig answered.
    fn work(&mut self, is_open: bool) -> Result<Vec<Option<Answer>>, String> {
        let mut answers = vec![self.command(note())?];
        if is_open {
            self.turns(24, None)?;
            answers.push(self.command(Command::TouchHub(TouchHub {}))?);
        } else {
            answers.extend(self.open()?);
        }
        self.go(300)?;
        self.go(0)?;
        answers.push(self.command(Command::CloseHole(CloseHole {}))?);
        self.turns(4, None)?;
        Ok(answers)
    }

    /// Asks for everything, until nothing more comes.
    fn drain(&mut self) -> Result<(), String> {
        self.turns(1, Some(&Message::Ask(Ask { host: 7 })))?;
        self.turns(1, Some(&Message::Replay(Replay { from: 0 })))?;
        self.quiet = 0;
        for _ in 0..DRAIN_TURNS {
            self.turns(1, None)?;
            if self.quiet > QUIET_TURNS {
                return self.turns(1, Some(&Message::Ask(Ask { host: 7 })));
            }
        }
        Err("the rig never comes to the end of what it has".to_owned())
    }

    /// Everything that was recorded since the start is handed out, in order, and the hole that was drilled last is proven.
    fn kept_soundly(&self, found: u32, trusted: bool) -> Result<(), String> {
        let Some(hello) = self.hello else { return Err("the rig says no more who it is".to_owned()) };
        let mut behind = found.max(hello.tail)..hello.head;
        if let Some(lost) = behind.find(|sequence| !self.heard.contains_key(sequence)) {
            return Err(format!("slot {lost} was recorded after the start and is not handed out"));
        }
        if found >= NEARLY_USED_UP || !trusted {
            return Ok(());
        }
        let slots: Vec<Slot> = self.heard.values().copied().collect();
        let Some(last) = read(&slots).pop() else { return Err("no hole is among the records".to_owned()) };
        // Keys, and seals before this one, may be anything.
        let sealed = matches!(last.sealing, Sealing::Fits(..) | Sealing::Unfit(Unfit::Previous | Unfit::Key));
        if last.opened.sequence < found || last.digest != DigestState::Fits || !sealed {
            return Err(format!("the hole opened with {} is not proven: {:?}, {:?}", last.opened.sequence, last.digest, last.sealing));
        }
        Ok(())
    }
}
