//! Frames from a hostile cable, heard by a whole rig and by a host: a few messages in a row, some damaged on the way.

use super::memory::{Ram, round};
use super::{Draw, Outcome, Target, patch, vectors};
use firmware_app::board::Outlet;
use firmware_app::profile::Profile;
use firmware_app::rig::Rig;
use host_tool::session::{Output, Session};
use shared_protocol::assemble::Assembler;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap_raw};
use shared_protocol::message::{HEAD_BYTES, MESSAGE_BYTES_MAX, Message, MessageFault};
use shared_protocol::record::Record;
use shared_protocol::slot::SLOT_BYTES;
use shared_protocol::state::ResetCause;
use shared_protocol::units::Millis;
use std::collections::BTreeSet;

/// Messages of an input at most.
const MESSAGES_MAX: usize = 12;
/// Memory of the rig that listens: small, so that it wraps.
const MEMORY_BYTES: usize = 6_144;
/// A turn, ms.
const TURN_MS: u32 = 50;

/// Messages, each with its length in one byte before it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Frames;

fn split(input: &[u8]) -> Vec<Vec<u8>> {
    let (mut rest, mut out) = (input, Vec::new());
    while let Some((length, behind)) = rest.split_first() {
        let (message, behind) = behind.split_at(behind.len().min(usize::from(*length)));
        out.push(message.to_vec());
        rest = behind;
    }
    out
}

fn join(messages: &[Vec<u8>]) -> Vec<u8> {
    let short = |m: &Vec<u8>| m.len().min(MESSAGE_BYTES_MAX);
    messages.iter().flat_map(|m| std::iter::once(short(m).to_le_bytes()[0]).chain(m[..short(m)].to_vec())).collect()
}

impl Target for Frames {
    const NAME: &'static str = "frames";

    fn seeds(&self) -> Vec<Vec<u8>> {
        let (mut accumulator, mut buffer) = (Accumulator::new(), [0; ENCODED_BYTES_MAX]);
        let mut all = Vec::new();
        for byte in vectors(include_str!("../../../shared-protocol/vectors/frames.txt")).flatten() {
            all.extend(accumulator.push(byte, &mut buffer).and_then(Result::ok).map(<[u8]>::to_vec));
        }
        let slots: Vec<u8> = vectors(include_str!("../../../shared-protocol/vectors/slots.txt")).flatten().collect();
        let of_slots = slots.chunks(7 * SLOT_BYTES).map(|raw| [&[shared_protocol::VERSION, 4], raw].concat());
        all.extend(of_slots);
        let mut seeds: Vec<Vec<u8>> = all.iter().map(|message| join(std::slice::from_ref(message))).collect();
        seeds.push(join(&all));
        seeds
    }

    fn mutate(&self, input: &[u8], other: &[u8], draw: &mut Draw) -> Vec<u8> {
        let (mut messages, other) = (split(input), split(other));
        for _ in 0..=draw.below(3) {
            let at = draw.below(messages.len());
            match draw.below(6) {
                0 if messages.len() > 1 => drop(messages.remove(at)),
                1 | 2 if !other.is_empty() => messages.insert(at, other[draw.below(other.len())].clone()),
                _ => messages.get_mut(at).into_iter().for_each(|message| mutate_message(message, draw)),
            }
        }
        messages.truncate(MESSAGES_MAX);
        join(&messages)
    }

    fn run(&mut self, input: &[u8]) -> Result<Outcome, String> {
        let messages = split(input);
        let mut rig = Rig::start(Ram::new(vec![0; MEMORY_BYTES]), Profile::bench(), ResetCause::Power, Millis(0));
        for _ in 0..20 {
            rig.poll(Millis(0), None, &[], &mut Said::default()); // it looks through an empty memory
        }
        let (mut session, mut host) = (Session::new(7), Ears::default());
        let mut told = BTreeSet::new();
        for (turn, message) in (1u32..).zip(&messages) {
            let Some(mut frame) = wrap_raw(message) else { continue };
            // One in sixteen is damaged on the way, the same one whenever this input is read.
            let sum = message.iter().fold(0usize, |sum, byte| sum.wrapping_mul(31).wrapping_add(usize::from(*byte)));
            if sum.is_multiple_of(16) {
                let at = (sum / 16) % frame.len();
                frame[at] ^= 0x10;
            }
            host.hear(&frame);
            session.step(u64::from(turn * TURN_MS), &frame);
            while let Some(output) = session.output() {
                match output {
                    Output::Introduced(introduction) => session.resume(u64::from(turn * TURN_MS), introduction.hello.tail),
                    Output::Keep { slots, .. } => session.stored(slots.last().map_or(0, |slot| slot.sequence().saturating_add(1))),
                    _ => {}
                }
            }
            let mut from_rig = Said::default();
            let now = Millis(turn * TURN_MS);
            rig.poll(now, Some(round(now, 0)), &frame, &mut from_rig);
            rig.poll(now, None, &[], &mut from_rig);
            told.extend(from_rig.sound()?);
        }
        let reached = host.told.iter().any(|(_, outcome)| !matches!(outcome, 250..));
        Ok(Outcome::of(reached, &(host.told, told)))
    }
}

fn mutate_message(message: &mut Vec<u8>, draw: &mut Draw) {
    let slots = message.get(HEAD_BYTES..).unwrap_or(&[]).len() / SLOT_BYTES;
    if message.get(1) == Some(&4) && slots > 0 && !draw.once_in(8) {
        let at = HEAD_BYTES + draw.below(slots) * SLOT_BYTES;
        if let Some(bytes) = message.get_mut(at..).and_then(|rest| rest.first_chunk_mut::<SLOT_BYTES>()) {
            *bytes = patch::slot(bytes, 1, draw);
        }
        return;
    }
    let keep = if draw.once_in(8) { 0 } else { HEAD_BYTES };
    draw.mutate(message, keep, MESSAGE_BYTES_MAX);
}

/// What a decoder makes of each frame: the message's kind, and how far it came.
#[derive(Default)]
struct Ears {
    accumulator: Accumulator,
    assembler: Assembler,
    told: BTreeSet<(u8, u8)>,
}

impl Ears {
    fn hear(&mut self, frame: &[u8]) {
        let mut buffer = [0; ENCODED_BYTES_MAX];
        for byte in frame {
            match self.accumulator.push(*byte, &mut buffer) {
                Some(Ok(message)) => Self::read(message, &mut self.assembler, &mut self.told),
                Some(Err(fault)) => drop(self.told.insert((0, 252 + fault as u8))),
                None => {}
            }
        }
    }

    /// A parser's own refusal counts as having come as far as it; that of a check or of a version does not.
    fn read(message: &[u8], assembler: &mut Assembler, told: &mut BTreeSet<(u8, u8)>) {
        let kind = message.get(1).copied().unwrap_or(0);
        match Message::decode(message) {
            Ok(Message::Slots(slots)) => {
                for slot in slots.iter() {
                    let Ok(slot) = slot else {
                        told.insert((kind, 251));
                        continue;
                    };
                    let Some(whole) = assembler.push(&slot) else { continue };
                    let record = Record::decode(whole.kind, whole.body);
                    told.insert((kind, whole.kind.min(120) * 2 + u8::from(record.is_ok())));
                }
            }
            Ok(_) => drop(told.insert((kind, 1))),
            Err(MessageFault::Malformed(_)) => drop(told.insert((kind, 0))),
            Err(_) => drop(told.insert((0, 250))),
        }
    }
}

/// What a rig says.
#[derive(Default)]
pub(super) struct Said(pub(super) Vec<u8>);

impl Outlet for Said {
    fn room(&self) -> usize {
        2_048_usize.saturating_sub(self.0.len())
    }
    fn send(&mut self, frame: &[u8]) {
        self.0.extend_from_slice(frame);
    }
}

impl Said {
    /// Kind and answer of every message of the rig's, each of which must be sound.
    fn sound(&self) -> Result<Vec<(u8, u8)>, String> {
        let (mut accumulator, mut buffer, mut told) = (Accumulator::new(), [0; ENCODED_BYTES_MAX], Vec::new());
        for byte in &self.0 {
            match accumulator.push(*byte, &mut buffer) {
                Some(Ok(message)) => {
                    let message = Message::decode(message).map_err(|fault| format!("the rig says what it should not: {fault:?}"))?;
                    told.push((message.kind(), if let Message::Reply(reply) = message { reply.answer } else { 0 }));
                }
                Some(Err(fault)) => return Err(format!("the rig sends a frame that is none: {fault:?}")),
                None => {}
            }
        }
        Ok(told)
    }
}
