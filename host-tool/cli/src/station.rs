//! What everything that works with a rig on a port needs: who is there, why nobody is, what is typed, what time it is.

use host_tool::facts::Wall;
use host_tool::session::{Came, Introduction, Line};
use host_tool::text::terminal;
use jiff::ZonedDateTime;
use std::io::BufRead;
use std::sync::mpsc::{Receiver, channel};

/// A rig says hello within a fraction of a second; so long without is no rig, ms.
pub const NO_RIG_MS: u64 = 5_000;

/// Who came, and how.
pub fn greeting(introduction: &Introduction) -> String {
    let hello = &introduction.hello;
    let name = terminal(&introduction.stream.rig);
    let simulated = if hello.simulated == 0 { "" } else { ", SIMULATED" };
    let how = match &introduction.came {
        Came::First => "is here".to_owned(),
        Came::Restarted => "has started again: touch the hub before you trust a depth".to_owned(),
        Came::InPlaceOf(other) if other.rig == introduction.stream.rig => "has been reset: its records begin anew".to_owned(),
        Came::InPlaceOf(other) => format!("is here in place of rig {}", terminal(&other.rig)),
    };
    let firmware = terminal(introduction.firmware());
    format!("rig {name}{simulated} {how}; firmware {firmware}, start {}, {} records", hello.boot, hello.head.saturating_sub(hello.tail))
}

/// Why there is no rig, and how to mend it.
pub fn no_rig(port: &str, baud: u32, line: Line) -> String {
    let port = terminal(port);
    match line {
        Line { bytes: 0, .. } => {
            format!(
                "nothing came from {port}: check that the rig is on and the cable in (`borewitness ports` lists ports; --wait goes on listening)"
            )
        }
        Line { frames: 0, bytes, .. } => format!(
            "what comes from {port} is no rig's: {bytes} bytes and no whole frame; check --baud (now {baud}) and that this is the rig's port"
        ),
        Line { frames, .. } => {
            format!("{frames} frames came from {port} and none says hello: check that what this program sends reaches the rig")
        }
    }
}

/// The time of day with the local offset.
pub fn wall() -> Wall {
    let now = ZonedDateTime::now();
    let minutes = now.offset().seconds() / 60;
    Wall { unix_ms: now.timestamp().as_millisecond(), offset: i16::try_from(minutes).unwrap_or(0) }
}

/// Lines typed, from a thread that ends with the input or the program.
pub fn typed_lines() -> Receiver<String> {
    let (tell, typed) = channel();
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            if tell.send(line).is_err() {
                break;
            }
        }
    });
    typed
}
