//! A site with a rig, a store with a sheet, and a page from which the hole is drilled.

use crate::listen::{Answer, Listen, Live, ask};
use crate::rig::{Hand, Rig, TURN_MS, Watch};
use host_tool::planned::{Origin, take_in};
use host_tool::sheet::{Options, Sheet};
use host_tool::store::Store;
use serde_json::{Value, json};
use simulator::cue::Cue;
use std::path::PathBuf;
use std::sync::{PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};
use tempfile::TempDir;
use tests::cab::MORNING;

/// One short hole that leans to the left.
pub const SCENARIO: &str = include_str!("hole.toml");
/// Its structure sheet. The second structure's ticket has expired.
const SHEET: &str = "Line,Structure,Leg,Depth,Datum,Hole diameter,Plumb limit,Depth under,Depth over,Locate ticket,Ticket until\n\
                     SIM Page,S-7,single,1.2 m,stake,0.76 m,20 mm/m,0.06 m,0.15 m,SIM-100,2099-12-31\n\
                     SIM Page,S-8,single,1.2 m,stake,0.76 m,20 mm/m,0.06 m,0.15 m,SIM-101,2020-01-31\n";

/// How a site is set up.
pub struct Setting<'a> {
    /// What the rig drills.
    pub scenario: &'a str,
    /// Structures on the sheet beside the two that are always there, as the first of them is planned.
    pub more_structures: u32,
    /// So many times as fast as life.
    pub pace: u32,
    /// One turn of the rig, ms.
    pub turn_ms: u8,
    /// Arguments of `listen`.
    pub arguments: &'a [&'a str],
    /// Looks on.
    pub watch: Watch,
    /// No other site beside it.
    pub alone: bool,
}

impl Default for Setting<'_> {
    fn default() -> Self {
        Self { scenario: SCENARIO, more_structures: 0, pace: 1, turn_ms: TURN_MS, arguments: &[], watch: Box::new(|_, _| ()), alone: false }
    }
}

/// Sites that may stand beside others, and one that is measured and has the machine to itself.
static MACHINE: RwLock<()> = RwLock::new(());

/// A site's place on the machine, given up when it is dropped.
#[derive(Debug)]
#[allow(dead_code)] // held, not read
enum Place {
    Beside(RwLockReadGuard<'static, ()>),
    Alone(RwLockWriteGuard<'static, ()>),
}

impl Place {
    fn take(alone: bool) -> Self {
        if alone {
            Self::Alone(MACHINE.write().unwrap_or_else(PoisonError::into_inner))
        } else {
            Self::Beside(MACHINE.read().unwrap_or_else(PoisonError::into_inner))
        }
    }
}

/// The site.
#[derive(Debug)]
pub struct Site {
    pub listen: Listen,
    pub rig: Rig,
    pub live: Live,
    pub store: PathBuf,
    /// What is drilled when the operator wants a hole loaded.
    pub structure: String,
    presses: u32,
    _folder: TempDir,
    _place: Place,
}

impl Site {
    /// Starts all of it; the rig so many times as fast as life.
    pub fn start(scenario: &str, pace: u32, arguments: &[&str]) -> Self {
        Self::set_up(Setting { scenario, pace, arguments, ..Setting::default() })
    }

    /// Starts all of it.
    pub fn set_up(setting: Setting<'_>) -> Self {
        let Setting { scenario, more_structures, pace, turn_ms, arguments, watch, alone } = setting;
        let place = Place::take(alone);
        let folder = tempfile::tempdir().expect("a folder");
        let store = folder.path().join("site.store");
        let options = Options { leave: &[], ignore: &[], today: "2026-05-12".parse().expect("a day") };
        let row = SHEET.lines().nth(1).expect("a row");
        let rows: String = (1..=more_structures).map(|n| row.replace("S-7", &format!("S-{}", 100 + n)) + "\n").collect();
        let text = format!("{SHEET}{rows}");
        let sheet = Sheet::read(text.as_bytes(), &options).expect("sound");
        let origin = Origin { file: "sheet.csv", bytes: text.as_bytes(), by: "Office", at: MORNING };
        take_in(&mut Store::open(&store).expect("a store"), &sheet, &origin).expect("taken in");
        let rig = Rig::start(folder.path(), scenario, pace, turn_ms, watch);
        let listen = Listen::start(&rig.port, &store, arguments);
        listen.says("is here");
        let live = Live::look(listen.page);
        Self { listen, rig, live, store, structure: "S-7".to_owned(), presses: 0, _folder: folder, _place: place }
    }

    /// Presses a button once and does not wait.
    pub fn press(&mut self, act: &Value) -> (String, Answer) {
        self.presses += 1;
        let id = format!("test-{}", self.presses);
        let run = self.live.next()["run"].clone();
        let body = json!({ "run": run, "id": id, "act": act }).to_string();
        let own = [("X-Borewitness", "1"), ("Content-Type", "application/json")];
        (id, ask(self.listen.page, "POST", "/act", &own, &body))
    }

    /// Presses a button and waits for what the rig says to it.
    pub fn act(&mut self, act: &Value) -> String {
        let (id, answer) = self.press(act);
        assert_eq!(answer.status, 202, "{answer:?}");
        let of = |sight: &Value| sight["acts"].as_array().and_then(|acts| acts.iter().find(|deed| deed["id"] == *id)).cloned();
        let sight = self.live.until("answered", |sight| of(sight).is_some_and(|deed| deed["state"] != "under_way"));
        of(&sight).expect("it is there")["said"].as_str().expect("words").to_owned()
    }

    /// Does what the operator wants next, from the page.
    pub fn follow_cue(&mut self) -> Cue {
        let cue = self.rig.cue();
        let act = match &cue {
            Cue::LoadHole(_) => json!({ "load": {
                "structure": self.structure, "leg": "single", "tool": 2, "heading": "90", "hub_above_datum": "60 mm", "operator": "Tester" } }),
            Cue::TouchHub => json!({ "touch": {} }),
            Cue::ChangeTool(tool) => json!({ "tool": { "tool": tool } }),
            Cue::CloseHole => json!({ "close": {} }),
            Cue::Note { author, text } => json!({ "note": { "what": "other", "text": text, "by": author } }),
        };
        let said = self.act(&act);
        assert_eq!(said, "done, and recorded", "{cue}");
        self.rig.hand(Hand::Done);
        cue
    }
}
