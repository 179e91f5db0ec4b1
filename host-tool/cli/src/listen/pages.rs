//! The desk's side of the pages: what they see, and what they ask for.

use super::{Asked, Desk, NOBODY};
use crate::Failure;
use crate::orders::{Order, take_note};
use crate::page::{self, Act, Asked as FromPage, Deed, Who};
use crate::station::wall;
use host_tool::entry::{Entry, HoleName, NoteKind, Said, SetUpName};
use host_tool::readout::Sight;
use serde::Serialize;
use shared_protocol::message::Command;
use std::collections::VecDeque;

/// A page that hears nothing for half a second takes this program for gone, ms.
const STILL_HERE_MS: u64 = 150;

/// Bytes of an author in a rig's note.
const AUTHOR_BYTES: usize = 24;

/// What a page is told of one moment.
#[derive(Serialize)]
struct Shown<'a> {
    run: &'a str,
    wall: String,
    acts: &'a VecDeque<Deed>,
    #[serde(flatten)]
    sight: Sight,
}

impl Desk {
    /// Says where the page is, and opens it where that was asked for.
    pub(super) fn say_page(&mut self) -> Result<(), Failure> {
        let Some(page) = &self.page else { return Ok(()) };
        self.screen.say(&page.greeting())?;
        if self.listening.open { page::open(&page.url()) } else { Ok(()) }
    }

    /// Shows pages what is known now: at once where there is news, and often enough that they know this program is there.
    pub(super) fn show_page(&mut self, now: u64, news: bool) {
        self.alarms.take(now, &self.readout);
        let due = news || now.saturating_sub(self.page_shown) >= STILL_HERE_MS;
        let Some(page) = self.page.as_ref().filter(|page| due && page.is_watched()) else { return };
        self.page_shown = now;
        let sight = self.readout.sight(now, self.alarms.all());
        let shown = Shown { run: &page.run, wall: wall().rfc3339(), acts: self.deeds.all(), sight };
        if let Ok(json) = serde_json::to_string(&shown) {
            page.show(json);
        }
    }

    /// Does what pages asked for since the last turn; whether there was any.
    pub(super) fn do_what_pages_ask(&mut self, now: u64) -> Result<bool, Failure> {
        let mut any = false;
        while let Some(asked) = self.page.as_ref().and_then(|page| page.asked.try_recv().ok()) {
            any = true;
            let FromPage { who, id, act } = asked;
            self.deeds.begin(&id, act.word());
            if let Err(why) = self.do_one(now, &who, &id, &act)? {
                self.deeds.end(&id, &why, false);
            }
        }
        Ok(any)
    }

    fn do_one(&mut self, now: u64, who: &Who, id: &str, act: &Act) -> Result<Result<(), String>, Failure> {
        if let Act::Acknowledge { alarm, by } = act {
            return self.acknowledge(now, who, id, alarm, by);
        }
        let order = match act.order() {
            Ok(order) => order,
            Err(why) => return Ok(Err(why)),
        };
        match order {
            Some(Order::Ask(word, command)) => {
                let then = self.entry_of(who, act);
                self.ask_and_then(now, Asked { word, scripted: false, then, press: Some(id.to_owned()) }, *command)?;
                Ok(Ok(()))
            }
            Some(Order::FromSheet(wanted)) => self.load(now, &wanted, false, Some(id.to_owned())),
            Some(Order::Help | Order::Leave) | None => Ok(Err("there is no such act".to_owned())),
        }
    }

    /// An alarm was heard: the rig records who says so, as it records the cause itself. Where the rig is not heard, the store does.
    fn acknowledge(&mut self, now: u64, who: &Who, id: &str, alarm: &str, by: &str) -> Result<Result<(), String>, Failure> {
        let Some(text) = self.alarms.acknowledge(alarm) else { return Ok(Err("that alarm is over, or was heard already".to_owned())) };
        let by = if by.trim().is_empty() { who.name() } else { by.trim() };
        let by = &by[..by.floor_char_boundary(AUTHOR_BYTES)];
        let text = format!("alarm heard: {text}");
        if let Some((hole, set_up)) = self.open_hole().filter(|_| self.readout.state(now).is_none()) {
            let said = Said::Note { what: NoteKind::Other };
            self.capture.enter(&Entry { set_up: Some(set_up), remark: text, ..Entry::new(by, wall(), hole, said) })?;
            self.deeds.end(id, "entered into the store, since the rig is not heard", true);
            return Ok(Ok(()));
        }
        match take_note(by, &text) {
            Ok(note) => {
                let asked = Asked { word: "alarm heard", scripted: false, then: None, press: Some(id.to_owned()) };
                self.ask_and_then(now, asked, Command::TakeNote(note))?;
                Ok(Ok(()))
            }
            Err(why) => Ok(Err(why)),
        }
    }

    /// What is entered of the open hole once the rig has done it: what was met, and which device asked where it is not the cab's.
    fn entry_of(&self, who: &Who, act: &Act) -> Option<Entry> {
        let (hole, set_up) = self.open_hole()?;
        let (what, by, remark) = match act {
            Act::Note(note) => (note.what.kind(), note.by.as_str(), note.text.trim().to_owned()),
            _ => (None, "", String::new()),
        };
        let from = match who {
            Who::Paired(name, _) => format!("asked from {name}: {}", act.word()),
            Who::Cab | Who::Looker => String::new(),
        };
        let kind = what.or_else(|| (!from.is_empty()).then_some(NoteKind::Other))?;
        let remark = [remark, from].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join("; ");
        let by = if by.trim().is_empty() { NOBODY } else { by.trim() };
        Some(Entry { set_up: Some(set_up), remark, ..Entry::new(by, wall(), hole, Said::Note { what: kind }) })
    }

    fn open_hole(&self) -> Option<(HoleName, SetUpName)> {
        let (plan, opened) = self.readout.open_hole()?;
        Some((HoleName::of(plan)?, SetUpName::new(self.capture.rig()?, opened)))
    }
}
