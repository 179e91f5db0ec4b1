//! What each procedure asks for next, given what it has been given so far, and what it finds in the end.

use super::encoder::{self, POINTS, Point};
use super::in_force::{InForce, name};
use super::level::{self, Quarter};
use super::play::{self, Sides};
use super::{Attitude, Found, Pair, Refused, drift, mm_m, mount, tool, zero};
use crate::judge::budget::day;
use shared_protocol::state::CalibrationItem;

/// Zeros older than this say nothing of the sensor as it is now, days.
const ZEROS_DAYS: u32 = 400;

/// A procedure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Procedure {
    /// Sensor reversal on a plate, in two positions or four.
    Zero {
        /// In four.
        four: bool,
    },
    /// From zeros that were found at two temperatures or more.
    Drift,
    /// Leaning the mast forward and back.
    Mount,
    /// A level on the tool string, at four quarter turns of it.
    Level,
    /// Pushing the tool string to its four sides.
    Play,
    /// Taped lengths against counts.
    Encoder,
    /// A tool taped twice.
    Tool,
}

/// What a step needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Want {
    /// The tilt sensor at rest.
    Attitude,
    /// The encoder at rest.
    Count,
    /// A length, typed.
    Length,
    /// A length, typed, or the word "done".
    LengthOrDone,
    /// A lean, typed.
    Lean,
    /// A whole number from 1 to 255, typed.
    Number,
}

/// A step: what to say to the person, and what it needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// What to do; nothing where the sensors are read at once.
    pub ask: String,
    /// What is wanted.
    pub want: Want,
}

/// What a step was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Given {
    /// A steady reading of the tilt sensor.
    Attitude(Attitude),
    /// A steady count.
    Count(i32),
    /// A figure: µm, µm/m, or a number.
    Figure(f64),
    /// There is no more.
    Done,
}

/// What comes next.
#[derive(Clone, Debug, PartialEq)]
pub enum Next {
    /// Another step.
    Step(Step),
    /// Nothing more: the finding.
    Found(Found),
}

impl Procedure {
    /// What it is and what it needs, a line each.
    #[must_use]
    pub fn intro(self) -> &'static [&'static str] {
        match self {
            Self::Zero { .. } => &[
                "Tilt zero, by reversal on a plate. Switch the sensor on half an hour before.",
                "Take the sensor off the mast, its cable on, and set it on a firm clean plate that leans by 3 to 10 mm/m (a shim under one side).",
            ],
            Self::Drift => &["Tilt drift with temperature, from the zeros that this store holds of the rig."],
            Self::Mount => &["Mount: the turn of the sensor about the tool's axis. Nothing else may move while the mast leans."],
            Self::Level => &[
                "Tool level: the tool string against its mast. Let the string hang free; mark it at four quarter turns.",
                "At each quarter the level is held on the string's same height, once on the side towards the cab and once on the right side.",
                "A lean is + where the lower end goes forward, away from the cab, or to the right.",
            ],
            Self::Play => &[
                "Guide play, with a level on the tool string pushed to its four sides, twice.",
                "A lean is + where the lower end goes forward, away from the cab, or to the right.",
            ],
            Self::Encoder => &[
                "Encoder, by tape: let the tool down step by step, never up, over the depth of the deepest hole.",
                "Three lengths show whether it is straight; over a rope drum take five or more.",
            ],
            Self::Tool => &["A tool of the rig's table."],
        }
    }

    /// What comes next. `known` is what the rig is calibrated with, `today` the local day since 1970-01-01.
    ///
    /// # Errors
    /// Where the procedure cannot begin, or cannot be right.
    pub fn next(self, given: &[Given], known: &InForce, today: u32) -> Result<Next, Refused> {
        match self {
            Self::Zero { four } => zero_next(four, given),
            Self::Drift => drift_found(known, today),
            Self::Mount => mount_next(given),
            Self::Level => level_next(given, known),
            Self::Play => play_next(given),
            Self::Encoder => encoder_next(given),
            Self::Tool => tool_next(given),
        }
    }
}

fn step(want: Want, ask: impl Into<String>) -> Result<Next, Refused> {
    Ok(Next::Step(Step { ask: ask.into(), want }))
}

fn attitudes(given: &[Given]) -> Vec<Attitude> {
    given.iter().filter_map(|g| if let Given::Attitude(a) = g { Some(*a) } else { None }).collect()
}

fn figures(given: &[Given]) -> Vec<f64> {
    given.iter().filter_map(|g| if let Given::Figure(f) = g { Some(*f) } else { None }).collect()
}

fn zero_next(four: bool, given: &[Given]) -> Result<Next, Refused> {
    let turn = if four { "a quarter turn" } else { "half a turn" };
    match given.len() {
        0 => step(Want::Attitude, "Set it against a straightedge on the plate. Hands off, then Enter."),
        1..=3 if given.len() < if four { 4 } else { 2 } => step(
            Want::Attitude,
            format!("Turn it {turn} clockwise, seen from above, against the same straightedge. Hands off, then Enter."),
        ),
        _ => Ok(Next::Found(zero::find(&attitudes(given))?.found())),
    }
}

fn drift_found(known: &InForce, today: u32) -> Result<Next, Refused> {
    let fresh: Vec<_> = known.zeros.iter().filter(|(day, _)| day.saturating_add(ZEROS_DAYS) >= today).collect();
    let zeros: Vec<_> = fresh.iter().map(|(_, zero)| *zero).collect();
    let mut found = drift::find(&zeros)?.found();
    let used = fresh.iter().map(|(on, zero)| {
        format!(
            "zero of {} at {:.1} °C: forward {:+.2} mg, right {:+.2} mg",
            day(*on),
            zero.temperature,
            zero.zero.forward / 1e3,
            zero.zero.right / 1e3
        )
    });
    found.words = used.chain(found.words).collect();
    Ok(Next::Found(found))
}

fn mount_next(given: &[Given]) -> Result<Next, Refused> {
    match attitudes(given)[..] {
        [] => step(Want::Attitude, "Stand the mast upright. Hands off the levers, then Enter."),
        [_] => step(Want::Attitude, "Lean the mast's top straight forward, away from the cab, by 5 to 20 mm/m. Hands off, then Enter."),
        [_, _] => step(Want::Attitude, "Lean the mast's top straight back, past upright, by 5 to 20 mm/m. Hands off, then Enter."),
        [upright, forward, back, ..] => Ok(Next::Found(mount::find(&upright, &forward, &back)?.found())),
    }
}

const WITHIN: &str = "What may the level be wrong by, either way (its maker's figure; for example 0.5 mm/m)?";
const QUARTERS: [&str; 4] = ["its first mark", "the next quarter turn", "the next quarter turn", "the last quarter turn"];

/// First what the level is worth, then for each quarter turn the sensor and two readings of the level.
fn level_next(given: &[Given], known: &InForce) -> Result<Next, Refused> {
    let elsewhere =
        |item| Refused::new(format!("the {item} in force was calibrated elsewhere"), format!("calibrate the {item} here first"));
    let correction = known.correction().map_err(elsewhere)?;
    if known.of(CalibrationItem::TiltZero).is_none() {
        return Err(Refused::new(format!("the rig has no {}", name(CalibrationItem::TiltZero)), "calibrate the zero first"));
    }
    let Some(after) = given.len().checked_sub(1) else { return step(Want::Lean, WITHIN) };
    match (QUARTERS.get(after / 3), after % 3) {
        (Some(quarter), 0) => step(
            Want::Attitude,
            format!("Turn the tool string clockwise, seen from above, to {quarter}; hold the level on it. Hands off, then Enter."),
        ),
        (Some(_), 1) => step(Want::Lean, "The string's lean forward, by the level?"),
        (Some(_), _) => step(Want::Lean, "And to the right?"),
        (None, _) => {
            let (mast, typed) = (attitudes(given), figures(given));
            let quarter = |n: usize| Quarter { mast: mast[n], tool: Pair::new(typed[1 + 2 * n], typed[2 + 2 * n]) };
            Ok(Next::Found(level::find(&[quarter(0), quarter(1), quarter(2), quarter(3)], &correction, typed[0].abs())?.found()))
        }
    }
}

/// How far the mast may move while somebody pushes the string, µg.
const PUSHED_MOST: f64 = 500.0;
const SIDES: [(&str, &str); 4] =
    [("forward", "lean forward"), ("back, towards the cab", "lean forward"), ("right", "lean to the right"), ("left", "lean to the right")];

/// First what the level may be read wrong by, then for each side and round the sensor, to see that the mast stands
/// still, and the level.
fn play_next(given: &[Given]) -> Result<Next, Refused> {
    let stood = attitudes(given);
    if let Some([first, last]) = stood.first().zip(stood.last()).map(|(a, b)| [a.level, b.level])
        && first.minus(last).size() > PUSHED_MOST
    {
        let why = format!("the mast moved by {} meanwhile", mm_m(first.minus(last).size()));
        return Err(Refused::new(why, "push the string, not the mast, and begin again"));
    }
    let Some(after) = given.len().checked_sub(1) else { return step(Want::Lean, WITHIN) };
    let (side, round) = (SIDES[after / 2 % 4], if after < 8 { "first" } else { "second" });
    match (after, after % 2) {
        (16.., _) => {
            let typed = figures(given);
            let sides = |from: usize| Sides {
                forward_and_back: [typed[from], typed[from + 1]],
                right_and_left: [typed[from + 2], typed[from + 3]],
            };
            Ok(Next::Found(play::find(&[sides(1), sides(5)], typed[0].abs())?.found()))
        }
        (_, 0) => step(Want::Attitude, format!("Push the string {} and hold it there ({round} round), then Enter.", side.0)),
        _ => step(Want::Lean, format!("The string's {}, by the level?", side.1)),
    }
}

fn encoder_next(given: &[Given]) -> Result<Next, Refused> {
    let done = given.last() == Some(&Given::Done);
    if !done && given.len() % 2 == 1 {
        return step(Want::Count, "");
    }
    let counts = given.iter().filter_map(|g| if let Given::Count(c) = g { Some(*c) } else { None });
    let points: Vec<Point> = counts.zip(figures(given)).map(|(count, length)| Point { count, length }).collect();
    match points.len() {
        0 => step(Want::Length, "Stop the tool at the top and tape from a fixed mark to it, downwards. Which length?"),
        n if n < *POINTS.start() => step(Want::Length, "Let the tool down and tape again. Which length?"),
        n if n < *POINTS.end() && !done => step(Want::LengthOrDone, "Let the tool down and tape again. Which length, or done?"),
        _ => Ok(Next::Found(encoder::find(&points)?.found())),
    }
}

fn tool_next(given: &[Given]) -> Result<Next, Refused> {
    match figures(given)[..] {
        [] => step(Want::Number, "The tool's number, as people call it?"),
        [_] => step(Want::Length, "Its length from pin to cutting edge, by tape?"),
        [_, _] => step(Want::Length, "The same, taped again?"),
        [_, _, _] => step(Want::Length, "The diameter that it cuts?"),
        [number, first, second, diameter, ..] => {
            let number = u8::try_from(super::up(number)).unwrap_or(0);
            Ok(Next::Found(tool::find(number, [first, second], diameter)?.found()))
        }
    }
}
