//! A host in miniature: does what the cues ask, one after the other, keeps the slots that come, and acknowledges
//! them. It lets a bench run by itself; what a host is for (a store, a readout, paper) it has not.

use crate::clock::Moment;
use crate::cue::Cue;
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX, wrap};
use shared_protocol::message::{Acknowledge, Ask, Command, Hello, Message, Replay};
use shared_protocol::slot::Slot;
use shared_protocol::state::Answer;
use std::collections::{BTreeMap, VecDeque};

/// Something unanswered is said again after so long, ms.
const AGAIN_MS: u64 = 1_000;
/// The number that this host goes by.
const HOST: u32 = 0x5EED;

/// A command under way.
#[derive(Clone, Debug)]
struct Asked {
    request: u32,
    command: Command,
    /// Whether the operator waits for it.
    cue: Option<Cue>,
    said: Option<Moment>,
}

/// The host in miniature.
#[derive(Debug, Default)]
pub struct Commander {
    accumulator: Accumulator,
    rig: Option<Hello>,
    boot: Option<u16>,
    slots: BTreeMap<u32, Slot>,
    next: u32,
    requests: u32,
    asked: VecDeque<Asked>,
    due: Option<Moment>,
    frames: u64,
    damaged: u64,
    refused: Vec<(Command, Option<Answer>)>,
}

impl Commander {
    /// Takes what came from the rig, and a cue; returns what to send, and whether the cue under way was done.
    pub fn step(&mut self, now: Moment, from_rig: &[u8], cue: Option<Cue>) -> (Vec<u8>, bool) {
        let mut done = false;
        for byte in from_rig {
            let mut message = [0; ENCODED_BYTES_MAX];
            match self.accumulator.push(*byte, &mut message) {
                Some(Ok(bytes)) => done |= Message::decode(bytes).is_ok_and(|message| self.take(&message, now)),
                Some(Err(_)) => self.damaged += 1,
                None => {}
            }
        }
        // A cue given again after a power cut is the command that is under way.
        if let Some(cue) = cue.filter(|cue| self.asked.back().is_none_or(|asked| asked.cue.as_ref() != Some(cue))) {
            self.ask(cue.command(), Some(cue));
        }
        (self.say(now), done)
    }

    /// Has a command given as soon as those before it are answered, beside what the operator's cues ask.
    pub fn order(&mut self, command: Command) {
        self.ask(command, None);
    }

    fn ask(&mut self, command: Command, cue: Option<Cue>) {
        self.requests += 1;
        self.asked.push_back(Asked { request: self.requests, command, cue, said: None });
    }

    /// Whether a command waits for its answer.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        !self.asked.is_empty()
    }

    fn take(&mut self, message: &Message<'_>, now: Moment) -> bool {
        self.frames += 1;
        match message {
            Message::Hello(hello) => {
                if self.boot.replace(hello.boot) != Some(hello.boot) {
                    self.due = Some(now);
                }
                self.rig = Some(*hello);
            }
            Message::Slots(slots) => {
                self.slots.extend(slots.iter().flatten().map(|slot| (slot.sequence(), slot)));
                while self.slots.contains_key(&self.next) {
                    self.next += 1;
                }
            }
            Message::Reply(reply) if self.asked.front().is_some_and(|asked| asked.request == reply.request) => {
                return self.answered(Answer::from_raw(reply.answer));
            }
            _ => {}
        }
        false
    }

    fn answered(&mut self, answer: Option<Answer>) -> bool {
        let Some(asked) = self.asked.pop_front() else { return false };
        match answer {
            Some(Answer::Done) => return asked.cue.is_some(),
            // It may be otherwise in a moment: the same cue as a new command.
            Some(Answer::NoDepth | Answer::NotAtRest | Answer::NotReady) => {
                self.requests += 1;
                self.asked.push_front(Asked { request: self.requests, ..asked });
            }
            other => self.refused.push((asked.command, other)),
        }
        false
    }

    fn say(&mut self, now: Moment) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut say = |message: &Message<'_>| bytes.extend(wrap(message).iter().flatten());
        if self.due.is_none_or(|due| now >= due) {
            self.due = Some(now.plus_ms(AGAIN_MS));
            match self.rig {
                Some(rig) if self.slots.last_key_value().is_none_or(|(last, _)| last + 1 == self.next) && self.boot == Some(rig.boot) => {
                    say(&Message::Acknowledge(Acknowledge { epoch: rig.epoch, below: self.next, host: HOST }));
                    say(&Message::Ask(Ask { host: HOST }));
                    if rig.head > self.next || self.slots.is_empty() {
                        say(&Message::Replay(Replay { from: self.next.max(rig.tail) }));
                    }
                }
                Some(rig) => say(&Message::Replay(Replay { from: self.next.max(rig.tail) })),
                None => say(&Message::Ask(Ask { host: HOST })),
            }
        }
        if let Some(asked) = self.asked.front_mut()
            && asked.said.is_none_or(|said| now >= said.plus_ms(AGAIN_MS))
        {
            asked.said = Some(now);
            say(&Message::Command { request: asked.request, command: asked.command.clone() });
        }
        bytes
    }

    /// Who the rig says it is.
    #[must_use]
    pub fn rig(&self) -> Option<&Hello> {
        self.rig.as_ref()
    }

    /// The slots that came, by sequence.
    #[must_use]
    pub fn slots(&self) -> &BTreeMap<u32, Slot> {
        &self.slots
    }

    /// Sound frames, and damaged ones.
    #[must_use]
    pub fn frames(&self) -> (u64, u64) {
        (self.frames, self.damaged)
    }

    /// Commands that the rig would not do, with its answer; `None` where this version does not know the answer.
    #[must_use]
    pub fn refused(&self) -> &[(Command, Option<Answer>)] {
        &self.refused
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::message::Reply;

    fn requests(bytes: &[u8]) -> Vec<u32> {
        let (mut accumulator, mut requests) = (Accumulator::new(), Vec::new());
        for byte in bytes {
            let mut message = [0; ENCODED_BYTES_MAX];
            if let Some(Ok(bytes)) = accumulator.push(*byte, &mut message)
                && let Ok(Message::Command { request, .. }) = Message::decode(bytes)
            {
                requests.push(request);
            }
        }
        requests
    }

    fn reply(request: u32, answer: Answer) -> Vec<u8> {
        wrap(&Message::Reply(Reply { request, answer: answer.raw(), sequence: 0 })).unwrap().to_vec()
    }

    #[test]
    fn one_command_after_the_other_and_each_again_until_it_is_answered() {
        let mut host = Commander::default();
        let at = |ms| Moment(0).plus_ms(ms);
        assert_eq!(requests(&host.step(at(0), &[], Some(Cue::TouchHub)).0), [1]);
        assert_eq!(requests(&host.step(at(5), &[], Some(Cue::CloseHole)).0), []);
        assert_eq!(requests(&host.step(at(1_000), &[], Some(Cue::CloseHole)).0), [1], "not answered");
        let (bytes, done) = host.step(at(1_005), &reply(1, Answer::Done), None);
        assert_eq!((requests(&bytes), done), (vec![2], true));
        let (bytes, done) = host.step(at(1_010), &reply(2, Answer::NotReady), None);
        assert_eq!((requests(&bytes), done), (vec![], false), "may be otherwise in a moment");
        assert_eq!(requests(&host.step(at(2_005), &[], None).0), [3]);
        let (bytes, done) = host.step(at(2_010), &reply(3, Answer::NoHoleOpen), None);
        assert_eq!((requests(&bytes), done), (vec![], false));
        assert_eq!(host.refused(), [(Cue::CloseHole.command(), Some(Answer::NoHoleOpen))]);
    }

    #[test]
    fn an_order_is_given_beside_the_cues_and_ends_none() {
        let mut host = Commander::default();
        host.order(Cue::TouchHub.command());
        let at = |ms| Moment(0).plus_ms(ms);
        assert_eq!(requests(&host.step(at(0), &[], Some(Cue::CloseHole)).0), [1]);
        let (bytes, done) = host.step(at(5), &reply(1, Answer::Done), None);
        assert_eq!((requests(&bytes), done, host.is_busy()), (vec![2], false, true));
        assert!(host.step(at(10), &reply(2, Answer::Done), None).1 && !host.is_busy());
    }
}
