//! What became of what pages asked for: each press under its own name, done once.

use serde::Serialize;
use std::collections::VecDeque;

/// How many are shown.
const SHOWN: usize = 8;
/// How many names of presses are remembered: a page asks again for seconds, not for a shift.
const REMEMBERED: usize = 1_000;

/// How far one is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Fate {
    /// Asked of the rig, which has not answered.
    UnderWay,
    /// The rig has done it.
    Done,
    /// It was not done.
    Refused,
}

/// One press and its fate.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Deed {
    /// The page's name for it.
    pub id: String,
    /// What was asked.
    pub word: &'static str,
    /// What the rig says to it.
    pub said: String,
    /// How far it is.
    pub state: Fate,
}

/// The last of them.
#[derive(Debug, Default)]
pub struct Deeds(VecDeque<Deed>);

impl Deeds {
    /// Begins one.
    pub fn begin(&mut self, id: &str, word: &'static str) {
        while self.0.len() >= SHOWN {
            self.0.pop_front();
        }
        self.0.push_back(Deed { id: id.to_owned(), word, said: "under way".to_owned(), state: Fate::UnderWay });
    }

    /// Ends one.
    pub fn end(&mut self, id: &str, said: &str, done: bool) {
        if let Some(deed) = self.0.iter_mut().rfind(|deed| deed.id == id) {
            deed.said = said.to_owned();
            deed.state = if done { Fate::Done } else { Fate::Refused };
        }
    }

    /// The newest last.
    pub fn all(&self) -> &VecDeque<Deed> {
        &self.0
    }
}

/// Names of presses that came.
#[derive(Debug, Default)]
pub struct Names(VecDeque<String>);

impl Names {
    /// Whether this one comes for the first time.
    pub fn is_new(&mut self, id: &str) -> bool {
        if self.0.iter().any(|name| name == id) {
            return false;
        }
        while self.0.len() >= REMEMBERED {
            self.0.pop_front();
        }
        self.0.push_back(id.to_owned());
        true
    }

    /// It was not taken after all, and may come again.
    pub fn forget(&mut self, id: &str) {
        self.0.retain(|name| name != id);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_few_are_shown_with_what_the_rig_said() {
        let mut deeds = Deeds::default();
        for n in 0..10 {
            deeds.begin(&n.to_string(), "touch the hub");
        }
        deeds.end("9", "done, and recorded", true);
        deeds.end("8", "the rig refused: no hole is open", false);
        deeds.end("0", "too late", true);
        let states: Vec<Fate> = deeds.all().iter().map(|deed| deed.state).collect();
        assert_eq!((states.len(), states[0], states[6], states[7]), (8, Fate::UnderWay, Fate::Refused, Fate::Done));
        assert_eq!(deeds.all()[7].said, "done, and recorded");
    }

    #[test]
    fn a_press_is_new_once() {
        let mut names = Names::default();
        assert!(names.is_new("a") && !names.is_new("a"));
        names.forget("a");
        assert!(names.is_new("a"));
        (0..REMEMBERED).for_each(|n| assert!(names.is_new(&n.to_string())));
        assert_eq!(names.0.len(), REMEMBERED);
    }
}
