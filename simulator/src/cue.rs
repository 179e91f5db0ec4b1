//! Cues: what the operator wants the host to do, at the moment when it should be done.

use shared_protocol::message::{ChangeTool, CloseHole, Command, LoadHole, TakeNote, TouchHub};
use shared_protocol::record::Plan;

/// Something for the host to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Cue {
    /// Load this hole.
    LoadHole(Plan),
    /// The tip is on the hub now.
    TouchHub,
    /// This tool is on now.
    ChangeTool(u8),
    /// The hole is finished.
    CloseHole,
    /// Record what somebody says.
    Note {
        /// Who.
        author: String,
        /// What.
        text: String,
    },
}

impl Cue {
    /// The command that does it. Texts too long for the wire are cut off.
    #[must_use]
    pub fn command(&self) -> Command {
        match self {
            Self::LoadHole(plan) => Command::LoadHole(LoadHole { plan: plan.clone() }),
            Self::TouchHub => Command::TouchHub(TouchHub {}),
            Self::ChangeTool(tool) => Command::ChangeTool(ChangeTool { tool: *tool }),
            Self::CloseHole => Command::CloseHole(CloseHole {}),
            Self::Note { author, text } => Command::TakeNote(TakeNote { author: fitting(author), text: fitting(text) }),
        }
    }
}

impl std::fmt::Display for Cue {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::LoadHole(plan) => write!(f, "load hole: {} {} leg {}", plan.line, plan.structure, plan.leg),
            Self::TouchHub => f.write_str("touch hub"),
            Self::ChangeTool(tool) => write!(f, "change tool: {tool}"),
            Self::CloseHole => f.write_str("close hole"),
            Self::Note { author, text } => write!(f, "note by {author}: {text}"),
        }
    }
}

fn fitting<const N: usize>(text: &str) -> heapless::String<N> {
    heapless::String::try_from(&text[..text.floor_char_boundary(N)]).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_note_is_cut_at_a_character() {
        let cue = Cue::Note { author: "ä".repeat(20), text: "x".repeat(500) };
        let Command::TakeNote(note) = cue.command() else { panic!("no note") };
        assert_eq!((note.author.as_str(), note.text.len()), ("ä".repeat(12).as_str(), 120));
    }
}
