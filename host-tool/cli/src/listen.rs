//! `listen`: a rig on a serial port, shown, stored and commanded until somebody leaves.

mod pages;

use crate::job::Listening;
use crate::orders::{HELP, Order, parse};
use crate::page::{Deeds, Page};
use crate::screen::Screen;
use crate::station::{NO_RIG_MS, greeting, no_rig, typed_lines, wall};
use crate::{Failure, stores};
use host_tool::capture::{Capture, Event};
use host_tool::entry::{Entry, Said};
use host_tool::planned::loading::Wanted;
use host_tool::planned::{day, warning};
use host_tool::port::{ANY, FromPort, Port};
use host_tool::readout::{Alarms, Readout};
use host_tool::text::terminal;
use shared_protocol::message::{Command, LoadHole};
use std::collections::{BTreeMap, VecDeque};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

/// How long to wait for bytes before looking at everything else.
const TURN: Duration = Duration::from_millis(20);
/// How long each of several ports is tried, ms, and how much longer than on one port a rig is looked for.
const TRY_MS: u64 = 2_000;
const SEARCH_FACTOR: u64 = 6;
/// How long somebody who leaves waits for the last records, ms.
const LAST_RECORDS_MS: u64 = 3_000;

/// Listens.
pub fn listen(listening: Listening) -> Result<(), Failure> {
    let port = Port::open_one_of(&listening.ports, listening.baud)?;
    let capture = Capture::new(stores::open(&listening.store)?)?;
    let page = listening.page.map(|wanted| Page::start(wanted, &listening.store)).transpose()?;
    let mut desk = Desk {
        capture,
        readout: Readout::default(),
        screen: Screen::new()?,
        page,
        alarms: Alarms::default(),
        deeds: Deeds::default(),
        page_shown: 0,
        scripted: VecDeque::from(listening.orders.clone()),
        asked: BTreeMap::new(),
        same_version: None,
        met: false,
        quiet_since: 0,
        tried_since: 0,
        leave_by: None,
        listening,
    };
    desk.say_page()?;
    let typed = typed_lines();
    let begun = Instant::now();
    let done = loop {
        let now = u64::try_from(begun.elapsed().as_millis()).unwrap_or(u64::MAX);
        match desk.turn(now, &port, &typed) {
            Ok(false) => {}
            Ok(true) => break Ok(()),
            Err(failure) => break Err(failure),
        }
    };
    desk.screen.leave()?;
    done
}

/// Everything on the desk of somebody who listens.
struct Desk {
    listening: Listening,
    capture: Capture,
    readout: Readout,
    screen: Screen,
    /// What browsers see.
    page: Option<Page>,
    alarms: Alarms,
    /// What was asked from pages.
    deeds: Deeds,
    /// When pages were shown something last.
    page_shown: u64,
    /// Orders still to be given for whoever started this program.
    scripted: VecDeque<Order>,
    /// Commands under way, by number.
    asked: BTreeMap<u32, Asked>,
    /// Whether the rig that is there can be commanded; `None` where none is.
    same_version: Option<bool>,
    /// Whether any rig has been there.
    met: bool,
    /// When the last scripted order was done.
    quiet_since: u64,
    /// Since when this port is tried, where there are several.
    tried_since: u64,
    /// Somebody typed `leave`: go when everything is stored, at this time at the latest.
    leave_by: Option<u64>,
}

/// A command under way.
struct Asked {
    /// The word for it.
    word: &'static str,
    /// Whether it was given for whoever started this program.
    scripted: bool,
    /// What is entered once the rig has done it.
    then: Option<Entry>,
    /// The page's own name for it, where a page asked.
    press: Option<String>,
}

/// Who a locate ticket's entry is by where no operator was named.
const NOBODY: &str = "nobody named";

impl Desk {
    /// One turn; `true` when it is time to leave.
    fn turn(&mut self, now: u64, port: &Port, typed: &Receiver<String>) -> Result<bool, Failure> {
        let bytes = self.hear(now, port)?;
        let step = self.capture.step(now, wall(), &bytes)?;
        if !step.send.is_empty() {
            port.send(step.send);
        }
        let news = !step.events.is_empty();
        for event in step.events {
            self.readout.take(now, &event);
            self.show(now, &event)?;
        }
        let asked = self.do_what_pages_ask(now)?;
        self.show_page(now, news || asked);
        while let Ok(line) = typed.try_recv() {
            self.screen.entered()?;
            if !line.trim().is_empty() && self.obey(now, &line)? {
                return Ok(true);
            }
        }
        self.give_scripted(now)?;
        self.screen.readout(now, self.readout.state(now), || self.readout.line(now))?;
        self.is_over(now)
    }

    fn hear(&mut self, now: u64, port: &Port) -> Result<Vec<u8>, Failure> {
        if self.searches() && self.same_version.is_none() && now.saturating_sub(self.tried_since) >= TRY_MS {
            self.tried_since = now;
            port.try_another();
        }
        match port.receive(TURN) {
            Some(FromPort::Bytes(bytes)) => return Ok(bytes),
            Some(FromPort::Lost) => {
                self.capture.cut();
                self.same_version = None;
                self.readout.port(true);
                let wider = if self.searches() { "" } else { " (`--port any` finds it under another name, too)" };
                self.screen.say(&format!("the port is gone; listening again as soon as it is back{wider}"))?;
            }
            Some(FromPort::Back(name)) => {
                self.capture.cut();
                self.tried_since = now;
                self.readout.port(false);
                let name = terminal(&name);
                self.screen.say(&if self.searches() { format!("trying port {name}") } else { "the port is back".to_owned() })?;
            }
            None => {}
        }
        Ok(Vec::new())
    }

    /// Whether the rig may be on one of several ports.
    fn searches(&self) -> bool {
        self.listening.ports.len() > 1 || self.listening.ports.iter().any(|name| name == ANY)
    }

    fn show(&mut self, now: u64, event: &Event) -> Result<(), Failure> {
        match event {
            Event::Rig(introduction) => {
                (self.same_version, self.met) = (Some(introduction.same_version()), true);
                self.screen.say(&greeting(introduction))?;
            }
            Event::Outcome(request, outcome) => {
                let Asked { word, scripted, then, press } =
                    self.asked.remove(request).unwrap_or(Asked { word: "an order", scripted: false, then: None, press: None });
                self.quiet_since = now;
                if let Some(press) = press {
                    self.deeds.end(&press, &outcome.to_string(), outcome.is_done());
                }
                if let Some(entry) = then.filter(|_| outcome.is_done()) {
                    self.capture.enter(&Entry { at: wall(), ..entry })?;
                }
                self.screen.say(&format!("{word}: {outcome}"))?;
                if scripted && !outcome.is_done() {
                    return Err(Failure::Said);
                }
            }
            Event::Notice(notice) => self.screen.say(&notice.to_string())?,
            Event::Ended(ending) => self.screen.say(&ending.to_string())?,
            Event::Woke => {
                self.screen.say("this computer slept or stood still: what is shown begins anew, and the rig has kept its records")?
            }
            Event::Hole(_) => self.alarms.clear(),
            Event::Kept(_) | Event::Live(_) | Event::Outlook(_) | Event::Raw(_) | Event::Doubts(_) | Event::Bored(_) => {}
        }
        Ok(())
    }

    /// Does what was typed; `true` to leave.
    fn obey(&mut self, now: u64, line: &str) -> Result<bool, Failure> {
        match parse(line) {
            Ok(Order::Leave) if self.same_version.is_none() => return Ok(true),
            Ok(Order::Leave) => (self.leave_by, self.quiet_since) = (Some(now.saturating_add(LAST_RECORDS_MS)), now),
            Ok(Order::Help) => self.screen.say(HELP)?,
            Ok(Order::Ask(word, command)) => self.ask(now, word, *command, false)?,
            Ok(Order::FromSheet(wanted)) => {
                if let Err(why) = self.load(now, &wanted, false, None)? {
                    self.screen.say(&why)?;
                }
            }
            Err(why) => self.screen.say(&why)?,
        }
        Ok(false)
    }

    fn ask(&mut self, now: u64, word: &'static str, command: Command, scripted: bool) -> Result<(), Failure> {
        self.ask_and_then(now, Asked { word, scripted, then: None, press: None }, command)
    }

    fn ask_and_then(&mut self, now: u64, asked: Asked, command: Command) -> Result<(), Failure> {
        let request = self.capture.command(now, command)?;
        self.asked.insert(request, asked);
        Ok(())
    }

    /// Loads a hole as a sheet plans it, and says what of its locate ticket is to be known; why not, in one line.
    fn load(&mut self, now: u64, wanted: &Wanted, scripted: bool, press: Option<String>) -> Result<Result<(), String>, Failure> {
        let at = wall();
        let loading = match wanted.find(self.capture.store(), day(at)) {
            Ok(loading) => loading,
            Err(why) => return Ok(Err(why.to_string())),
        };
        self.screen.say(&format!("loading {}", loading.text))?;
        if let Said::Ticket { standing, .. } = &loading.ticket
            && let Some(text) = warning(*standing)
        {
            self.screen.say(text)?;
        }
        let by = if wanted.operator.is_empty() { NOBODY } else { &wanted.operator };
        let then = Some(Entry::new(by, at, loading.hole, loading.ticket));
        self.ask_and_then(now, Asked { word: "load", scripted, then, press }, Command::LoadHole(LoadHole { plan: loading.plan }))?;
        Ok(Ok(()))
    }

    /// Gives the next scripted order when a rig is there and the one before is done.
    fn give_scripted(&mut self, now: u64) -> Result<(), Failure> {
        let busy = self.asked.values().any(|asked| asked.scripted);
        if self.same_version.is_none() || busy {
            return Ok(());
        }
        match self.scripted.pop_front() {
            Some(Order::Ask(word, command)) => self.ask(now, word, *command, true),
            Some(Order::FromSheet(wanted)) => self.load(now, &wanted, true, None)?.map_err(Failure::Failed),
            Some(Order::Help) => Ok(self.screen.say(HELP)?),
            Some(Order::Leave) => {
                self.listening.leave = true;
                Ok(())
            }
            None => Ok(()),
        }
    }

    fn is_over(&mut self, now: u64) -> Result<bool, Failure> {
        let patience = if self.searches() { NO_RIG_MS * SEARCH_FACTOR } else { NO_RIG_MS };
        if now >= patience && !self.met && !self.listening.wait {
            return Err(Failure::Failed(no_rig(&self.listening.ports.join(", "), self.listening.baud, self.capture.line())));
        }
        if let Some(limit) = self.leave_by {
            let stored = self.asked.is_empty() && self.capture.drained(self.quiet_since);
            if !stored && now >= limit {
                self.screen.say("left before every record was fetched: the rig keeps them, listen again to have them")?;
            }
            return Ok(stored || now >= limit);
        }
        let all_done = self.scripted.is_empty() && self.asked.is_empty();
        if self.listening.leave && all_done && self.capture.drained(self.quiet_since) {
            return if self.same_version == Some(false) { Err(Failure::Said) } else { Ok(true) };
        }
        match self.listening.for_ms {
            Some(limit) if now >= limit && self.listening.leave => {
                Err(Failure::Failed("the time is over and not all is done or stored; start again to go on".to_owned()))
            }
            Some(limit) => Ok(now >= limit),
            None => Ok(false),
        }
    }
}
