//! Commands on their way: one at a time, in order, said again until the rig answers or it is too late.

use shared_protocol::message::{Command, Message, SetClock};
use std::collections::VecDeque;

/// A command is said again after so long, ms.
const AGAIN_MS: u64 = 500;
/// A command that got no answer for so long has failed, ms.
const TOO_LATE_MS: u64 = 4_000;
/// The tip is on the hub *now*: said late, it would put the zero in the wrong place, ms.
const TOUCH_TOO_LATE_MS: u64 = 1_500;

/// What became of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The rig answered: an [`Answer`](shared_protocol::state::Answer), raw, and the sequence of the record that it left.
    Answered {
        /// The answer.
        answer: u8,
        /// Sequence of the record.
        sequence: u32,
    },
    /// The rig did not answer in time.
    Silent,
    /// It was not sent any more: the rig restarted, another came, the cable was pulled, or the computer slept.
    Dropped,
    /// It was not sent: no rig has said hello.
    NoRig,
    /// It was not sent: the rig speaks another version.
    OtherVersion,
}

#[derive(Debug)]
struct Asked {
    request: u32,
    command: Command,
    made: u64,
    begun: Option<u64>,
    said: u64,
}

/// Commands under way.
#[derive(Debug, Default)]
pub(super) struct Commands(VecDeque<Asked>);

impl Commands {
    /// Takes a command.
    pub(super) fn push(&mut self, now: u64, request: u32, command: Command) {
        self.0.push_back(Asked { request, command, made: now, begun: None, said: now });
    }

    /// The message to send now, if any.
    pub(super) fn due(&mut self, now: u64) -> Option<Message<'static>> {
        let asked = self.0.front_mut()?;
        if asked.begun.is_some() && now.saturating_sub(asked.said) < AGAIN_MS {
            return None;
        }
        asked.begun.get_or_insert(now);
        asked.said = now;
        Some(Message::Command { request: asked.request, command: at_this_moment(&asked.command, now.saturating_sub(asked.made)) })
    }

    /// The command under way was answered, if it was this one.
    pub(super) fn answered(&mut self, request: u32) -> bool {
        let is = self.0.front().is_some_and(|asked| asked.request == request);
        if is {
            self.0.pop_front();
        }
        is
    }

    /// The command under way, where it is too late for an answer.
    pub(super) fn too_late(&mut self, now: u64) -> Option<u32> {
        let asked = self.0.front()?;
        let limit = if matches!(asked.command, Command::TouchHub(_)) { TOUCH_TOO_LATE_MS } else { TOO_LATE_MS };
        let late = asked.begun.is_some_and(|begun| now.saturating_sub(begun) >= limit);
        late.then(|| self.0.pop_front()).flatten().map(|asked| asked.request)
    }

    /// Gives up all of them.
    pub(super) fn drop_all(&mut self) -> impl Iterator<Item = u32> + use<> {
        std::mem::take(&mut self.0).into_iter().map(|asked| asked.request)
    }
}

/// A time of day that is said again must not be the old one.
fn at_this_moment(command: &Command, late_ms: u64) -> Command {
    match command {
        Command::SetClock(clock) => {
            let late = i64::try_from(late_ms).unwrap_or(i64::MAX);
            Command::SetClock(SetClock { unix_ms: clock.unix_ms.saturating_add(late), offset: clock.offset })
        }
        other => other.clone(),
    }
}
