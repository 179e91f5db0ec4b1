//! A rig in miniature to test the session against: a memory of slots with holes in it, and no world.

use shared_protocol::assemble::slots;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap, wrap_raw};
use shared_protocol::message::{Command, Hello, MESSAGE_BYTES_MAX, Message, Reply, text_field};
use shared_protocol::record::{Gap, Note, Record};
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
use shared_protocol::units::Millis;
use std::collections::BTreeMap;

pub(crate) struct FakeRig {
    pub(crate) name: &'static str,
    pub(crate) version: u8,
    pub(crate) epoch: u32,
    pub(crate) boot: u16,
    pub(crate) now: u32,
    pub(crate) tail: u32,
    pub(crate) head: u32,
    pub(crate) memory: BTreeMap<u32, Slot>,
    pub(crate) acknowledged: u32,
    pub(crate) done: Vec<(u32, Command)>,
    pub(crate) replays: Vec<u32>,
    pub(crate) deaf: bool,
    /// Whether it knows how to repeat a stretch.
    pub(crate) repeats: bool,
    /// What it was asked to repeat.
    pub(crate) repeated: Vec<(u32, u32)>,
    again: Vec<(u32, u32)>,
    greeted: bool,
    cursor: Option<u32>,
    accumulator: Accumulator,
}

impl FakeRig {
    pub(crate) fn new(name: &'static str) -> Self {
        Self {
            name,
            version: shared_protocol::VERSION,
            epoch: 1,
            boot: 1,
            now: 0,
            tail: 0,
            head: 0,
            memory: BTreeMap::new(),
            acknowledged: 0,
            done: Vec::new(),
            replays: Vec::new(),
            deaf: false,
            repeats: true,
            repeated: Vec::new(),
            again: Vec::new(),
            greeted: false,
            cursor: None,
            accumulator: Accumulator::new(),
        }
    }

    /// Records so many short notes, one slot each; the text makes different rigs' slots differ.
    pub(crate) fn record(&mut self, count: u32) {
        for _ in 0..count {
            let text = format!("{}", self.head % 100);
            let note = Note { author: self.name[..1].try_into().unwrap(), text: text.as_str().try_into().unwrap(), ..Note::default() };
            self.add(&Record::Note(note));
        }
    }

    pub(crate) fn add(&mut self, record: &Record) {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        for slot in slots(self.head, self.boot, record.kind(), &body[..used]).unwrap() {
            self.memory.insert(slot.sequence(), slot);
            self.head = slot.sequence() + 1;
        }
    }

    /// A power cut tears the next slot; the rig starts again and says so.
    pub(crate) fn torn_restart(&mut self) {
        let torn = self.head;
        self.head += 1;
        self.restart();
        self.add(&Record::Gap(Gap { at: Millis(0), first: torn, last: torn, cause: 1 }));
    }

    pub(crate) fn restart(&mut self) {
        (self.boot, self.now, self.cursor, self.greeted) = (self.boot + 1, 0, None, false);
        self.again.clear();
    }

    /// Takes bytes and answers; sends one message of slots at most.
    pub(crate) fn turn(&mut self, ms: u32, received: &[u8]) -> Vec<u8> {
        self.now = self.now.wrapping_add(ms);
        let mut sent = Vec::new();
        let mut bytes = [0; ENCODED_BYTES_MAX];
        self.greet(&mut sent);
        for &byte in received {
            let Some(Ok(message)) = self.accumulator.push(byte, &mut bytes) else { continue };
            let message = Message::decode(message).unwrap();
            self.answer(&message, &mut sent);
        }
        self.greet(&mut sent);
        self.send_slots(&mut sent);
        sent
    }

    fn greet(&mut self, sent: &mut Vec<u8>) {
        if !std::mem::replace(&mut self.greeted, true) {
            self.send(&Message::Hello(self.hello()), sent);
        }
    }

    fn answer(&mut self, message: &Message<'_>, sent: &mut Vec<u8>) {
        match message {
            Message::Ask(_) => self.greeted = false,
            Message::Replay(replay) => {
                self.replays.push(replay.from);
                self.cursor = Some(replay.from.clamp(self.tail, self.head));
            }
            Message::Repeat(stretch) if self.repeats => {
                self.repeated.push((stretch.first, stretch.last));
                let sent = self.cursor.unwrap_or(0);
                if stretch.first < sent && !self.again.iter().any(|(first, _)| *first == stretch.first) {
                    self.again.push((stretch.first, stretch.last.min(sent - 1)));
                }
            }
            Message::Acknowledge(a) => {
                assert!(a.epoch == self.epoch && a.below <= self.head, "{a:?}");
                self.acknowledged = self.acknowledged.max(a.below);
            }
            Message::Command { request, command } if !self.deaf => {
                if !self.done.iter().any(|(known, _)| known == request) {
                    self.done.push((*request, command.clone()));
                }
                self.send(&Message::Reply(Reply { request: *request, answer: 0, sequence: self.head }), sent);
            }
            _ => {}
        }
    }

    pub(crate) fn hello(&self) -> Hello {
        Hello {
            simulated: 1,
            epoch: self.epoch,
            boot: self.boot,
            now: Millis(self.now),
            tail: self.tail,
            head: self.head,
            acknowledged: self.acknowledged,
            capacity: 1_000,
            rig: text_field(self.name),
            firmware: text_field("0.0.1"),
        }
    }

    fn send_slots(&mut self, sent: &mut Vec<u8>) {
        let Some(cursor) = self.cursor else { return };
        let stretch = if self.again.is_empty() { None } else { Some(self.again.remove(0)) };
        let (from, end) = stretch.map_or((cursor, self.head), |(first, last)| (first, last + 1));
        let from = from.max(self.tail);
        let next = end.min(from + 7);
        let raw: Vec<u8> = (from..next).filter_map(|s| self.memory.get(&s)).flat_map(|s| *s.bytes()).collect();
        match stretch {
            Some((_, last)) if next <= last => self.again.insert(0, (next, last)),
            Some(_) => {}
            None => self.cursor = Some(next),
        }
        if let Some(message) = Message::slots(&raw) {
            self.send(&message, sent);
        }
    }

    /// Sends a message as this rig's version.
    pub(crate) fn send(&self, message: &Message<'_>, sent: &mut Vec<u8>) {
        let mut bytes = [0; MESSAGE_BYTES_MAX];
        let used = message.encode(&mut bytes).unwrap();
        bytes[0] = self.version;
        let frame = if self.version == shared_protocol::VERSION { wrap(message) } else { wrap_raw(&bytes[..used]) };
        sent.extend_from_slice(&frame.unwrap());
    }
}
