//! The words of entries, and how legs and times are written in them.

use serde::{Deserialize, Serialize};

/// Whether the floor had been cleaned out when it was sounded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CleanOut {
    /// Loose spoil was still on the floor: what is measured is not the hole's depth.
    Before,
    /// The floor was clean.
    #[default]
    After,
}

/// What a reviewer finds of a set-up's record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// It is complete and says what was drilled.
    Accepted,
    /// It goes back to whoever can mend it.
    Returned,
}

impl Finding {
    /// In a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Returned => "returned",
        }
    }
}

/// How a tape lay between two holes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Along {
    /// Level.
    Level,
    /// Along the slope of the ground.
    Slope {
        /// Rise over the level distance, millionths.
        rise_ppm: i32,
    },
}

/// The state of a hole. One that is drilled stays open until a pole stands in it or it is filled again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HoleState {
    /// The place is marked; nothing is drilled.
    Staked,
    /// Drilled and open, and nobody has said how it is kept.
    Drilled,
    /// Open, and somebody stays with it.
    Attended,
    /// Open, and a barrier keeps people away.
    Guarded,
    /// Open under a cover that is secured and marked.
    Covered,
    /// Open within a fence.
    Fenced,
    /// A pole stands in it and is backfilled.
    PoleSet,
    /// Filled again without a pole.
    Backfilled,
    /// Given up; open until it is filled.
    Abandoned,
}

impl HoleState {
    /// Every state, in the order of a hole's life.
    pub const ALL: [Self; 9] = [
        Self::Staked,
        Self::Drilled,
        Self::Attended,
        Self::Guarded,
        Self::Covered,
        Self::Fenced,
        Self::PoleSet,
        Self::Backfilled,
        Self::Abandoned,
    ];

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Staked => "staked",
            Self::Drilled => "drilled",
            Self::Attended => "attended",
            Self::Guarded => "guarded",
            Self::Covered => "covered",
            Self::Fenced => "fenced",
            Self::PoleSet => "pole-set",
            Self::Backfilled => "backfilled",
            Self::Abandoned => "abandoned",
        }
    }

    /// The state of a word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }

    /// Whether somebody can fall into the hole.
    #[must_use]
    pub const fn is_open(self) -> bool {
        !matches!(self, Self::Staked | Self::PoleSet | Self::Backfilled)
    }

    /// Whether an open hole is kept from people.
    #[must_use]
    pub const fn is_kept(self) -> bool {
        matches!(self, Self::Attended | Self::Guarded | Self::Covered | Self::Fenced)
    }
}

/// Something met or done at a hole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum NoteKind {
    /// Water was put in, for dust or for the walls.
    WaterAdded,
    /// Rock was met.
    Rock {
        /// Whether it was shot.
        shot: bool,
        /// By whom; empty where it was not.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        by: String,
    },
    /// A casing was set and drawn again, or stays.
    Casing {
        /// It stays in the hole.
        left: bool,
    },
    /// The walls fell in.
    FallIn,
    /// Anything else, said in the remark.
    Other,
}

/// How a locate ticket stands on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TicketStanding {
    /// It holds.
    Valid,
    /// There is none.
    Missing,
    /// It does not hold yet.
    NotYet,
    /// It does not hold any more.
    Expired,
    /// It has no last day, or the day is not known.
    Unknown,
}

/// What is to become of a hole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Disposition {
    /// It stands: the pole can go in.
    Stands,
    /// Plumb it by hand: what the rig measured does not settle it.
    HandPlumb,
    /// Sound it: nobody knows how deep it is.
    Sound,
    /// Deepen it.
    Deepen,
    /// Fill and tamp it, and sound it again.
    Fill,
    /// Ream it.
    Ream,
    /// The engineer decides.
    Engineer,
}

impl Disposition {
    /// Every one, least trouble first.
    pub const ALL: [Self; 7] = [Self::Stands, Self::HandPlumb, Self::Sound, Self::Deepen, Self::Fill, Self::Ream, Self::Engineer];

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stands => "stands",
            Self::HandPlumb => "hand-plumb",
            Self::Sound => "sound",
            Self::Deepen => "deepen",
            Self::Fill => "fill-and-tamp",
            Self::Ream => "ream",
            Self::Engineer => "engineer-decides",
        }
    }

    /// The disposition of a word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|disposition| disposition.word() == word)
    }
}

/// A leg in a word.
pub mod leg {
    use serde::de::{Deserialize, Deserializer, Error};
    use serde::ser::Serializer;
    use shared_protocol::state::Leg;

    const WORDS: [(Leg, &str); 4] = [(Leg::Single, "single"), (Leg::Left, "left"), (Leg::Middle, "middle"), (Leg::Right, "right")];

    /// Writes the word.
    pub fn serialize<S: Serializer>(leg: &Leg, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(WORDS.iter().find(|(known, _)| known == leg).map_or("single", |(_, word)| word))
    }

    /// Reads the word.
    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Leg, D::Error> {
        let word = String::deserialize(from)?;
        let found = WORDS.iter().find(|(_, known)| *known == word).map(|(leg, _)| *leg);
        found.ok_or_else(|| D::Error::custom("a leg is single, left, middle or right"))
    }
}

/// A time of day with its offset, RFC 3339 to the second.
pub mod moment {
    use crate::facts::Wall;
    use jiff::fmt::temporal::{Pieces, PiecesOffset};
    use serde::de::{Deserialize, Deserializer, Error};
    use serde::ser::Serializer;

    /// Writes it.
    pub fn serialize<S: Serializer>(wall: &Wall, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&wall.rfc3339())
    }

    /// Reads it.
    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Wall, D::Error> {
        let text = String::deserialize(from)?;
        read(&text).ok_or_else(|| D::Error::custom("a time is written like 2026-05-12T07:30:00-06:00"))
    }

    fn read(text: &str) -> Option<Wall> {
        let pieces = Pieces::parse(text).ok()?;
        let Some(PiecesOffset::Numeric(offset)) = pieces.offset() else { return None };
        let at = offset.offset().to_timestamp(pieces.date().to_datetime(pieces.time()?)).ok()?;
        let minutes = i16::try_from(offset.offset().seconds() / 60).ok()?;
        Some(Wall { unix_ms: at.as_millisecond(), offset: minutes })
    }
}
