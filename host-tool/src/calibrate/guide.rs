//! A person led through a procedure, position by position, until a calibration stands that the rig may have.
//!
//! It is handed lines, raw readings and the time, and says what to show; nothing is sent before somebody signed it and
//! said yes.

use super::in_force::{InForce, figure};
use super::procedure::{Given, Next, Procedure, Step, Want};
use super::steady::{Attitudes, Counts, Rest};
use super::{Found, Refused, meaning, signer};
use crate::judge::budget::day;
use crate::measure::{length_um, ratio};
use crate::text::terminal;
use shared_protocol::message::Raw;
use shared_protocol::record::Calibration;
use std::collections::VecDeque;

/// How long sensors may take to rest, and how long no raw reading may come, ms.
const REST_MS: u64 = 60_000;
const SILENT_MS: u64 = 5_000;
/// A raw reading is the mean over so long before it, ms.
const MEAN_MS: u64 = 1_000;
/// How long a calibration holds where nobody says otherwise, and at most, days.
const YEAR_DAYS: u32 = 365;
const HOLDS_MOST_DAYS: u32 = 5 * 366;

/// What the guide wants shown or done, in this order.
#[derive(Clone, Debug, PartialEq)]
pub enum Say {
    /// A line that stays.
    Line(String),
    /// A line that the next one may replace: how the sensors stand now.
    Watch(String),
    /// A question or an instruction: a line is wanted.
    Ask(String),
    /// Everything is said: ask the rig to take it.
    Send(Box<Calibration>),
}

/// Whether a line was understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Yes.
    Understood,
    /// No, and why; the same is asked again.
    NotUnderstood(String),
}

#[derive(Debug)]
enum At {
    /// A line is wanted for this step.
    Asking(Step),
    /// The sensors are coming to rest, since then.
    Settling(Settling, u64),
    Who(Found),
    Until(Found, String),
    Confirm(Box<Calibration>),
    Over,
}

#[derive(Debug)]
enum Settling {
    Attitude(Attitudes),
    Count(Counts),
}

/// Who signs and until when it holds, where that is known beforehand and need not be asked.
#[derive(Clone, Debug, Default)]
pub struct Signature {
    /// Who.
    pub who: Option<String>,
    /// For how many months.
    pub months: Option<u8>,
}

/// The guide.
#[derive(Debug)]
pub struct Guide {
    procedure: Procedure,
    known: InForce,
    signature: Signature,
    /// The local day since 1970-01-01.
    today: u32,
    given: Vec<Given>,
    at: At,
    heard: u64,
    said: VecDeque<Say>,
}

impl Guide {
    /// Begins at `now`, ms, on the local day `today`, with what the rig is calibrated with.
    ///
    /// # Errors
    /// Where the procedure cannot begin.
    pub fn begin(procedure: Procedure, known: InForce, signature: Signature, today: u32, now: u64) -> Result<Self, Refused> {
        if let Some(who) = &signature.who {
            signer(who)?;
        }
        let said = procedure.intro().iter().map(|line| Say::Line((*line).to_owned())).collect();
        let mut guide = Self { procedure, known, signature, today, given: Vec::new(), at: At::Over, heard: now, said };
        guide.go_on(now)?;
        Ok(guide)
    }

    /// The next thing to show or do.
    pub fn say(&mut self) -> Option<Say> {
        self.said.pop_front()
    }

    /// Takes a line that was asked for.
    ///
    /// # Errors
    /// Where the procedure cannot be right; it is over then, and nothing was sent.
    pub fn line(&mut self, now: u64, line: &str) -> Result<Heard, Refused> {
        let line = line.trim();
        let why = match std::mem::replace(&mut self.at, At::Over) {
            At::Asking(step) => match self.answer(now, &step, line)? {
                None => return Ok(Heard::Understood),
                Some(why) => {
                    self.ask(step);
                    why
                }
            },
            At::Who(found) => match signer(line) {
                Ok(who) => {
                    self.ask_until(found, who.to_string())?;
                    return Ok(Heard::Understood);
                }
                Err(refused) => {
                    self.ask_who(found)?;
                    refused.to_string()
                }
            },
            At::Until(found, who) => match self.until(line) {
                Ok(expires) => {
                    self.ask_whether(&found, &who, expires)?;
                    return Ok(Heard::Understood);
                }
                Err(why) => {
                    self.ask_until(found, who)?;
                    why
                }
            },
            At::Confirm(calibration) => match line {
                "yes" => {
                    self.said.push_back(Say::Send(calibration));
                    return Ok(Heard::Understood);
                }
                "no" => return Err(Refused::new("nothing was sent", "the rig is as it was")),
                _ => {
                    self.said.push_back(Say::Ask("yes or no?".to_owned()));
                    self.at = At::Confirm(calibration);
                    format!("\"{}\" is neither yes nor no", terminal(line))
                }
            },
            over @ (At::Settling(..) | At::Over) => {
                self.at = over;
                "nothing was asked".to_owned()
            }
        };
        Ok(Heard::NotUnderstood(why))
    }

    /// Takes a raw reading.
    ///
    /// # Errors
    /// Where the sensors do not come to rest, or the procedure cannot be right; it is over then, and nothing was sent.
    pub fn raw(&mut self, now: u64, raw: &Raw) -> Result<(), Refused> {
        self.heard = now;
        let At::Settling(settling, since) = &mut self.at else { return Ok(()) };
        let since = *since;
        if now.saturating_sub(since) < MEAN_MS {
            return Ok(()); // it still tells of what was before Enter
        }
        let (given, shown) = match settling {
            Settling::Attitude(attitudes) => match attitudes.take(raw) {
                Rest::Steady(reading) => (Some(Given::Attitude(reading)), reading.text()),
                Rest::Wait(why) => (None, why),
            },
            Settling::Count(counts) => match counts.take(raw) {
                Rest::Steady(count) => (Some(Given::Count(count)), format!("count {count}")),
                Rest::Wait(why) => (None, why),
            },
        };
        match given {
            Some(given) => {
                self.said.push_back(Say::Line(shown));
                self.given.push(given);
                self.go_on(now)
            }
            None if now.saturating_sub(since) >= REST_MS => {
                self.at = At::Over;
                Err(Refused::new(format!("no rest in {} s, {shown}", REST_MS / 1_000), "see to that and begin again"))
            }
            None => {
                self.said.push_back(Say::Watch(shown));
                Ok(())
            }
        }
    }

    /// Looks at the time; call it when nothing comes.
    ///
    /// # Errors
    /// Where raw readings are wanted and none come.
    pub fn tick(&mut self, now: u64) -> Result<(), Refused> {
        let At::Settling(_, since) = &self.at else { return Ok(()) };
        if now.saturating_sub(self.heard.max(*since)) < SILENT_MS {
            return Ok(());
        }
        self.at = At::Over;
        let why = format!("no raw readings came from the rig in {} s", SILENT_MS / 1_000);
        Err(Refused::new(why, "see that the cable is in and the rig's firmware of this version, then begin again"))
    }

    /// An answer to a step; what is wrong with it, where it is not understood.
    fn answer(&mut self, now: u64, step: &Step, line: &str) -> Result<Option<String>, Refused> {
        let bad = |why: String| Ok(Some(why));
        let given = match step.want {
            Want::Attitude | Want::Count if line.is_empty() => {
                self.settle(now, step.want);
                return Ok(None);
            }
            Want::Attitude | Want::Count => return bad(format!("\"{}\" is not expected here: Enter alone", terminal(line))),
            Want::LengthOrDone if line == "done" => Given::Done,
            Want::Length | Want::LengthOrDone => match length_um(line) {
                Ok(um) => Given::Figure(um),
                Err(unread) => return bad(unread.to_string()),
            },
            Want::Lean => match ratio(line) {
                Ok(ratio) => Given::Figure(ratio * 1e6),
                Err(unread) => return bad(unread.to_string()),
            },
            Want::Number => match line.parse::<u8>() {
                Ok(number) if number > 0 => Given::Figure(f64::from(number)),
                _ => return bad(format!("\"{}\" is no number from 1 to 255", terminal(line))),
            },
        };
        self.given.push(given);
        self.go_on(now)?;
        Ok(None)
    }

    /// The next step, or the finding with its questions.
    fn go_on(&mut self, now: u64) -> Result<(), Refused> {
        match self.procedure.next(&self.given, &self.known, self.today)? {
            Next::Step(step) if step.ask.is_empty() => self.settle(now, step.want),
            Next::Step(step) => self.ask(step),
            Next::Found(found) => {
                self.said.extend(found.words.iter().cloned().map(Say::Line));
                let worth = [figure(found.item, found.uncertainty), figure(found.item, found.residual)];
                self.said.push_back(Say::Line(format!("standard uncertainty {}, residual {}", worth[0], worth[1])));
                self.said.push_back(Say::Line(meaning(&found)));
                self.ask_who(found)?;
            }
        }
        Ok(())
    }

    fn settle(&mut self, now: u64, want: Want) {
        let settling = match want {
            Want::Count => Settling::Count(Counts::default()),
            _ => Settling::Attitude(Attitudes::default()),
        };
        self.at = At::Settling(settling, now);
    }

    fn ask(&mut self, step: Step) {
        self.said.push_back(Say::Ask(step.ask.clone()));
        self.at = At::Asking(step);
    }

    fn ask_who(&mut self, found: Found) -> Result<(), Refused> {
        if let Some(who) = self.signature.who.clone() {
            return self.ask_until(found, who);
        }
        self.said.push_back(Say::Ask("Who calibrated it (16 bytes at most)?".to_owned()));
        self.at = At::Who(found);
        Ok(())
    }

    fn ask_until(&mut self, found: Found, who: String) -> Result<(), Refused> {
        if let Some(months) = self.signature.months {
            return self.ask_whether(&found, &who, after_months(self.today, months));
        }
        let usual = day(self.today.saturating_add(YEAR_DAYS));
        self.said.push_back(Say::Ask(format!("Until which day does it hold (Enter for {usual})?")));
        self.at = At::Until(found, who);
        Ok(())
    }

    fn ask_whether(&mut self, found: &Found, who: &str, expires: u32) -> Result<(), Refused> {
        let calibration = found.signed(who, self.today, expires)?;
        self.said.push_back(Say::Line(format!("by {}, holds until {}", terminal(&calibration.who), day(expires))));
        self.said.push_back(Say::Ask("Shall the rig have it? yes or no".to_owned()));
        self.at = At::Confirm(Box::new(calibration));
        Ok(())
    }

    /// The last day on which it holds.
    fn until(&self, line: &str) -> Result<u32, String> {
        if line.is_empty() {
            return Ok(self.today.saturating_add(YEAR_DAYS));
        }
        let date: jiff::civil::Date =
            line.parse().map_err(|_| format!("\"{}\" is no date: write for example 2031-05-12", terminal(line)))?;
        let days = date.duration_since(jiff::civil::date(1970, 1, 1)).as_hours() / 24;
        let last = self.today.saturating_add(HOLDS_MOST_DAYS);
        match u32::try_from(days) {
            Ok(days) if days > last => Err(format!("{line} is too far away: {} at the latest", day(last))),
            Ok(days) if days >= self.today => Ok(days),
            _ => Err(format!("{line} has passed: a calibration that has expired is none")),
        }
    }
}

/// The same day so many months on, or the month's last where it has no such day.
fn after_months(today: u32, months: u8) -> u32 {
    let date = jiff::civil::date(1970, 1, 1);
    let days = |date: jiff::civil::Date| u32::try_from(date.duration_since(jiff::civil::date(1970, 1, 1)).as_hours() / 24).ok();
    let then =
        date.checked_add(jiff::Span::new().days(i64::from(today))).and_then(|d| d.checked_add(jiff::Span::new().months(i64::from(months))));
    then.ok().and_then(days).unwrap_or(today)
}

#[cfg(test)]
mod tests;
