//! An entry that corrects another: how the other is named, and which one it may be.

use super::{Entry, HoleName, Place};
use crate::sheet::leg_text;
use crate::text::terminal;
use shared_protocol::state::Leg;
use std::fmt;
use std::mem::discriminant;
use std::str::FromStr;

/// Why an entry cannot correct another; one line each.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CorrectionFault {
    /// No place of an entry.
    #[error("\"{0}\" is no entry: write HOST-NUMBER as `borewitness holes` shows it, for example 7-3")]
    Written(String),
    /// There is none.
    #[error("there is no entry {0}: `borewitness holes` shows each with its number")]
    NoSuch(Place),
    /// It is about another hole.
    #[error("entry {0} is about {1}: name that hole, or another entry")]
    OtherHole(Place, String),
    /// It says something else.
    #[error("entry {0} is a {1} and this is a {2}: correct it by one of its own kind")]
    OtherKind(Place, &'static str, &'static str),
    /// Another has corrected it: two in its place would both count.
    #[error("entry {0} is corrected by entry {1} already: correct that one")]
    Already(Place, Place),
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{}", self.host, self.number)
    }
}

impl FromStr for Place {
    type Err = CorrectionFault;

    fn from_str(text: &str) -> Result<Self, CorrectionFault> {
        let place = text.trim().split_once('-').and_then(|(host, number)| {
            let figures = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
            (figures(host) && figures(number)).then_some(())?;
            Some(Self { host: host.parse().ok()?, number: number.parse().ok()? })
        });
        place.ok_or_else(|| CorrectionFault::Written(terminal(text)))
    }
}

/// Whether a new entry may correct the one that it names, among those that are there. One that corrects nothing may.
///
/// # Errors
/// See [`CorrectionFault`].
pub fn may_correct<'a>(new: &Entry, there: impl IntoIterator<Item = (Place, &'a Entry)>) -> Result<(), CorrectionFault> {
    let Some(wrong) = new.corrects else { return Ok(()) };
    let (mut old, mut by) = (None, None);
    for (place, entry) in there {
        old = old.or((place == wrong).then_some(entry));
        by = by.or((entry.corrects == Some(wrong)).then_some(place));
    }
    let old = old.ok_or(CorrectionFault::NoSuch(wrong))?;
    if old.hole != new.hole {
        return Err(CorrectionFault::OtherHole(wrong, text(&old.hole)));
    }
    if discriminant(&old.said) != discriminant(&new.said) {
        return Err(CorrectionFault::OtherKind(wrong, old.said.word(), new.said.word()));
    }
    by.map_or(Ok(()), |by| Err(CorrectionFault::Already(wrong, by)))
}

/// "41 left, attempt 2".
fn text(hole: &HoleName) -> String {
    let leg = if hole.leg == Leg::Single { String::new() } else { format!(" {}", leg_text(hole.leg)) };
    let attempt = if hole.attempt > 1 { format!(", attempt {}", hole.attempt) } else { String::new() };
    terminal(&format!("{}{leg}{attempt}", hole.structure))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{HoleState, Said};
    use crate::facts::Wall;

    fn at(number: u32) -> Place {
        Place { host: 7, number }
    }

    fn state(structure: &str, corrects: Option<Place>) -> Entry {
        let hole = HoleName { line: String::new(), structure: structure.to_owned(), leg: Leg::Left, attempt: 2 };
        let said = Said::State { state: HoleState::Covered };
        Entry { corrects, ..Entry::new("Tester", Wall { unix_ms: 0, offset: 0 }, hole, said) }
    }

    #[test]
    fn a_place_is_read_as_it_is_shown_and_nothing_else_is() {
        let place = Place { host: u32::MAX, number: 12 };
        assert_eq!(place.to_string().parse(), Ok(place));
        for text in ["", "7", "7-", "-3", "7-3-1", "7--3", "+7-3", "7-+3", "4294967296-0", "seven-3", "7-3 x"] {
            let said = text.parse::<Place>().unwrap_err().to_string();
            assert!(said.starts_with(&format!("\"{text}\" is no entry: write HOST-NUMBER")), "{said}");
        }
    }

    #[test]
    fn an_entry_corrects_one_of_its_hole_and_kind_that_nobody_corrected() {
        let water = Entry { said: Said::Water { depth_um: None }, ..state("41", None) };
        let there = [(at(0), state("41", None)), (at(1), state("42", None)), (at(2), water), (at(3), state("41", Some(at(0))))];
        let may = |corrects| {
            let said = may_correct(&state("41", corrects), there.iter().map(|(place, entry)| (*place, entry)));
            said.map_err(|fault| fault.to_string())
        };
        assert_eq!((may(None), may(Some(at(3)))), (Ok(()), Ok(())));
        let refused = |number| may(Some(at(number))).unwrap_err();
        assert_eq!(refused(9), "there is no entry 7-9: `borewitness holes` shows each with its number");
        assert_eq!(refused(1), "entry 7-1 is about 42 left, attempt 2: name that hole, or another entry");
        assert_eq!(refused(2), "entry 7-2 is a report on water and this is a state: correct it by one of its own kind");
        assert_eq!(refused(0), "entry 7-0 is corrected by entry 7-3 already: correct that one");
    }
}
