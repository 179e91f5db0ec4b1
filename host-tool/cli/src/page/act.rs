//! What a page may ask for, as it comes and as an order.

use crate::orders::{Order, take_note};
use host_tool::entry::NoteKind;
use host_tool::planned::loading::Wanted;
use serde::Deserialize;
use shared_protocol::message::{ChangeTool, CloseHole, Command, ConfirmRefusal, TouchHub};

/// Bytes of any one text in an act.
pub const TEXT_MAX: usize = 500;

/// One press of a button.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pressed {
    /// The run of this program that the page shows.
    pub run: String,
    /// The page's own name for this press: it is done once, however often it comes.
    pub id: String,
    /// What.
    pub act: Act,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Act {
    /// The tip is on the hub now.
    Touch {},
    /// A tool is on now.
    Tool {
        /// Its number in the rig's table.
        tool: u8,
    },
    /// The hole is finished, or left.
    Close {},
    /// Whether slow going is refusal.
    Refusal {
        /// It is.
        confirmed: bool,
    },
    /// Something met or done.
    Note(Note),
    /// Open a leg as the sheet plans it.
    Load(Load),
    /// An alarm was heard.
    Acknowledge {
        /// Which.
        alarm: String,
        /// By whom.
        by: String,
    },
    /// This tablet takes the rig's acts.
    Hold {},
}

/// A note.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// What was met or done.
    pub what: What,
    /// In words.
    #[serde(default)]
    pub text: String,
    /// Who says so.
    #[serde(default)]
    pub by: String,
}

/// What a note is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// Rock was met.
    Rock,
    /// Water was put in.
    WaterAdded,
    /// A casing was set.
    Casing,
    /// The walls fell in.
    FallIn,
    /// Anything else.
    Other,
}

impl What {
    /// In words, for the rig's own note.
    const fn word(self) -> &'static str {
        match self {
            Self::Rock => "rock",
            Self::WaterAdded => "water added",
            Self::Casing => "casing",
            Self::FallIn => "fall-in",
            Self::Other => "",
        }
    }

    /// As an entry has it; `None` for what only the rig's note says.
    pub fn kind(self) -> Option<NoteKind> {
        match self {
            Self::Rock => Some(NoteKind::Rock { shot: false, by: String::new() }),
            Self::WaterAdded => Some(NoteKind::WaterAdded),
            Self::Casing => Some(NoteKind::Casing { left: false }),
            Self::FallIn => Some(NoteKind::FallIn),
            Self::Other => None,
        }
    }
}

/// A leg to be opened.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Load {
    structure: String,
    leg: String,
    #[serde(default)]
    line: Option<String>,
    #[serde(default)]
    attempt: Option<u8>,
    #[serde(default)]
    setup: Option<u8>,
    tool: u8,
    heading: String,
    hub_above_datum: String,
    #[serde(default)]
    operator: String,
}

impl Load {
    fn wanted(&self) -> Result<Wanted, String> {
        let pair = |key: &str, value: &str| (!value.is_empty()).then(|| format!("{key}={value}"));
        let number = |key: &str, value: Option<u8>| value.map(|n| format!("{key}={n}"));
        let pairs = [
            number("tool", Some(self.tool)),
            pair("heading", &self.heading),
            pair("hub_above_datum", &self.hub_above_datum),
            pair("operator", &self.operator),
            pair("line", self.line.as_deref().unwrap_or_default()),
            number("attempt", self.attempt),
            number("setup", self.setup),
        ];
        if self.structure.contains('=') || self.leg.contains('=') {
            return Err("a structure and a leg have no \"=\" in their names".to_owned());
        }
        let names = [self.structure.clone(), self.leg.clone()];
        let words: Vec<String> = names.into_iter().chain(pairs.into_iter().flatten()).collect();
        Wanted::read(&words).map_err(|e| e.to_string())
    }
}

impl Act {
    /// Every text that came with it.
    pub fn texts(&self) -> Vec<&str> {
        match self {
            Self::Note(Note { text, by, .. }) => vec![text, by],
            Self::Load(load) => {
                vec![&load.structure, &load.leg, load.line.as_deref().unwrap_or(""), &load.heading, &load.hub_above_datum, &load.operator]
            }
            Self::Acknowledge { alarm, by } => vec![alarm, by],
            Self::Touch {} | Self::Tool { .. } | Self::Close {} | Self::Refusal { .. } | Self::Hold {} => Vec::new(),
        }
    }

    /// In words, as the page says it again.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Touch {} => "touch the hub",
            Self::Tool { .. } => "change the tool",
            Self::Close {} => "close the hole",
            Self::Refusal { .. } => "refusal",
            Self::Note(_) => "note",
            Self::Load(_) => "open the hole",
            Self::Acknowledge { .. } => "alarm heard",
            Self::Hold {} => "take the rig's acts",
        }
    }

    /// As an order to the rig; `None` for what is none.
    ///
    /// # Errors
    /// What is wrong with it, in one line.
    pub fn order(&self) -> Result<Option<Order>, String> {
        let ask = |command: Command| Ok(Some(Order::Ask(self.word(), Box::new(command))));
        match self {
            Self::Touch {} => ask(Command::TouchHub(TouchHub {})),
            Self::Tool { tool } => ask(Command::ChangeTool(ChangeTool { tool: *tool })),
            Self::Close {} => ask(Command::CloseHole(CloseHole {})),
            Self::Refusal { confirmed } => ask(Command::ConfirmRefusal(ConfirmRefusal { confirmed: u8::from(*confirmed) })),
            Self::Note(Note { what, text, by }) => {
                let words = [what.word(), text.trim()].into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(": ");
                ask(Command::TakeNote(take_note(by, &words)?))
            }
            Self::Load(load) => Ok(Some(Order::FromSheet(Box::new(load.wanted()?)))),
            Self::Acknowledge { .. } | Self::Hold {} => Ok(None),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pressed(act: &str) -> Result<Pressed, serde_json::Error> {
        serde_json::from_str(&format!(r#"{{"run":"r","id":"i","act":{act}}}"#))
    }

    fn command(act: &str) -> Command {
        match pressed(act).unwrap().act.order() {
            Ok(Some(Order::Ask(_, command))) => *command,
            other => panic!("{act}: {other:?}"),
        }
    }

    #[test]
    fn each_button_is_an_order() {
        assert_eq!(command(r#"{"touch":{}}"#), Command::TouchHub(TouchHub {}));
        assert_eq!(command(r#"{"tool":{"tool":2}}"#), Command::ChangeTool(ChangeTool { tool: 2 }));
        assert_eq!(command(r#"{"close":{}}"#), Command::CloseHole(CloseHole {}));
        assert_eq!(command(r#"{"refusal":{"confirmed":true}}"#), Command::ConfirmRefusal(ConfirmRefusal { confirmed: 1 }));
        let Command::TakeNote(note) = command(r#"{"note":{"what":"rock","text":"at 2 m","by":"Ground hand"}}"#) else { panic!() };
        assert_eq!((note.author.as_str(), note.text.as_str()), ("Ground hand", "rock: at 2 m"));
        let Command::TakeNote(note) = command(r#"{"note":{"what":"fall_in"}}"#) else { panic!() };
        assert_eq!(note.text.as_str(), "fall-in");
        let load = r#"{"load":{"structure":"41","leg":"left","tool":1,"heading":"90","hub_above_datum":"0.2 ft","operator":"Tester"}}"#;
        let Ok(Some(Order::FromSheet(wanted))) = pressed(load).unwrap().act.order() else { panic!() };
        assert_eq!((wanted.structure.as_str(), wanted.tool, wanted.operator.as_str()), ("41", 1, "Tester"));
        assert_eq!(pressed(r#"{"hold":{}}"#).unwrap().act.order().unwrap(), None);
    }

    #[test]
    fn what_is_no_act_is_refused() {
        for act in [r#"{"dig":{}}"#, r#"{"touch":{"now":1}}"#, r#"{"tool":{"tool":300}}"#, r#"{"touch":{},"close":{}}"#, "7", r#""touch""#]
        {
            assert!(pressed(act).is_err(), "{act}");
        }
        let refused = |act: &str| pressed(act).unwrap().act.order().unwrap_err();
        assert!(refused(r#"{"note":{"what":"other","text":" "}}"#).contains("say what"));
        assert!(refused(&format!(r#"{{"note":{{"what":"other","text":"{}"}}}}"#, "x".repeat(121))).contains("too long"));
        let load = r#"{"load":{"structure":"tool=1","leg":"left","tool":1,"heading":"9","hub_above_datum":"0 m"}}"#;
        assert!(refused(load).contains("\"=\""));
    }
}
