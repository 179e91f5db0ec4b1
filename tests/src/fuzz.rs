//! Frames from a hostile cable: sound ones are mutated, their checks repaired, so that most reach the parsers.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use shared_protocol::assemble::Assembler;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, Frame, wrap, wrap_raw};
use shared_protocol::message::{HEAD_BYTES, MESSAGE_BYTES_MAX, Message, SLOTS_KIND};
use shared_protocol::record::Record;
use shared_protocol::slot::{BODY_BYTES, Part, SLOT_BYTES, Slot};

/// What a run of the fuzzer saw.
#[derive(Clone, Copy, Debug, Default)]
pub struct Seen {
    /// Frames made.
    pub runs: u64,
    /// Frames whose bytes came as far as the parser of a record or of a message's body.
    pub reached: u64,
    /// Records read whole.
    pub records: u64,
    /// Messages read whole.
    pub messages: u64,
    /// Frames, messages and slots refused.
    pub refused: u64,
}

impl Seen {
    /// Share of the frames that reached a parser.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // a share for people
    pub fn share(&self) -> f64 {
        self.reached as f64 / self.runs.max(1) as f64
    }
}

/// The fuzzer: its corpus, its chance and the reader under test.
#[derive(Debug)]
pub struct Fuzzer {
    chance: Pcg32,
    messages: Vec<Vec<u8>>,
    slots: Vec<[u8; SLOT_BYTES]>,
    accumulator: Accumulator,
    assembler: Assembler,
    /// What was seen so far.
    pub seen: Seen,
}

impl Fuzzer {
    /// Starts from the pinned vectors, which hold one of every message and record.
    ///
    /// # Panics
    /// When a vector is not hexadecimal: the vectors' own test would have said so.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let vectors =
            |text: &'static str| text.lines().filter(|l| !l.starts_with('#')).filter_map(|l| l.split_once(' ')).map(|(_, hex)| bytes(hex));
        let slots = vectors(include_str!("../../shared-protocol/vectors/slots.txt")).filter_map(|b| b.try_into().ok()).collect();
        let mut accumulator = Accumulator::new();
        let mut buffer = [0; ENCODED_BYTES_MAX];
        let messages = vectors(include_str!("../../shared-protocol/vectors/frames.txt"))
            .filter_map(|frame| frame.into_iter().find_map(|b| accumulator.push(b, &mut buffer).and_then(Result::ok).map(<[u8]>::to_vec)))
            .collect();
        Self { chance: Pcg32::seed_from_u64(seed), messages, slots, accumulator, assembler: Assembler::default(), seen: Seen::default() }
    }

    fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.chance.next_u32()).unwrap_or(0).checked_rem(bound).unwrap_or(0)
    }

    fn byte(&mut self) -> u8 {
        let edges = [0, 1, 0x7F, 0x80, 0xFE, 0xFF];
        if self.below(3) == 0 { edges[self.below(edges.len())] } else { self.chance.next_u32().to_le_bytes()[0] }
    }

    fn mutate(&mut self, bytes: &mut Vec<u8>, keep: usize, max: usize) {
        for _ in 0..=self.below(4) {
            let at = keep + self.below(bytes.len().saturating_sub(keep).max(1));
            let byte = self.byte();
            match self.below(5) {
                0 if at < bytes.len() => bytes[at] ^= 1 << self.below(8),
                1 | 2 if at < bytes.len() => bytes[at] = byte,
                3 => bytes.truncate(at.max(keep)),
                _ if bytes.len() < max => bytes.insert(at.min(bytes.len()), byte),
                _ => {}
            }
        }
    }

    /// A slot whose body, kind or part was mutated and whose check was repaired.
    fn mutated_slot(&mut self) -> [u8; SLOT_BYTES] {
        let pick = self.below(self.slots.len());
        let original = self.slots[pick];
        let Ok(slot) = Slot::check(&original) else { return original };
        let mut body = slot.body().to_vec();
        self.mutate(&mut body, 0, BODY_BYTES);
        let kind = if self.below(8) == 0 { self.byte() } else { slot.kind() };
        let of = if self.below(2) == 0 { 1 } else { slot.part().of };
        let index = slot.part().index.min(of - 1);
        Slot::build(slot.sequence(), slot.boot(), kind, Part { index, of }, &body).map_or(original, |s| *s.bytes())
    }

    fn mutated_message(&mut self) -> Vec<u8> {
        if self.below(3) == 0 {
            let pick = self.below(self.messages.len());
            let mut message = self.messages[pick].clone();
            let keep = if self.below(8) == 0 { 0 } else { HEAD_BYTES };
            self.mutate(&mut message, keep, MESSAGE_BYTES_MAX);
            return message;
        }
        let mut message = vec![shared_protocol::VERSION, SLOTS_KIND];
        for _ in 0..=self.below(3) {
            let slot = self.mutated_slot();
            message.extend_from_slice(&slot);
        }
        message
    }

    /// One frame with its check repaired; one in sixteen is damaged once more on the way.
    pub fn frame(&mut self) -> Frame {
        let message = self.mutated_message();
        let mut frame = wrap_raw(&message).or_else(|| wrap(&Message::Ask(shared_protocol::message::Ask::default()))).unwrap_or_default();
        if self.below(16) == 0 {
            let at = self.below(frame.len());
            let byte = self.byte();
            frame[at] = byte;
        }
        frame
    }

    /// Makes one frame and reads it as a host does.
    pub fn run(&mut self) {
        let frame = self.frame();
        let mut buffer = [0; ENCODED_BYTES_MAX];
        let mut reached = false;
        for byte in frame {
            match self.accumulator.push(byte, &mut buffer) {
                None => {}
                Some(Err(_)) => self.seen.refused += 1,
                Some(Ok(message)) => reached |= read(message, &mut self.assembler, &mut self.seen),
            }
        }
        self.seen.runs += 1;
        self.seen.reached += u64::from(reached);
    }
}

/// Reads a message as a host does; whether its bytes came as far as a parser.
fn read(message: &[u8], assembler: &mut Assembler, seen: &mut Seen) -> bool {
    match Message::decode(message) {
        Ok(Message::Slots(slots)) => {
            let mut reached = false;
            for slot in slots.iter() {
                let Ok(slot) = slot else {
                    seen.refused += 1;
                    continue;
                };
                let Some(whole) = assembler.push(&slot) else { continue };
                reached = true;
                match Record::decode(whole.kind, whole.body) {
                    Ok(_) => seen.records += 1,
                    Err(_) => seen.refused += 1,
                }
            }
            reached
        }
        Ok(_) => {
            seen.messages += 1;
            true
        }
        Err(fault) => {
            seen.refused += 1;
            matches!(fault, shared_protocol::message::MessageFault::Malformed(_))
        }
    }
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.as_bytes().chunks(2).filter_map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()).collect()
}
