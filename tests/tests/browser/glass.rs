//! How long a reading takes from the rig to the glass, with its parts, for four clients: a short run that must hold together, and with
//! `BOREWITNESS_GLASS_SECONDS` the long one that `cargo xtask bench` makes its row of.

use crate::site::{Setting, Site};
use serde_json::{Value, json};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX};
use shared_protocol::message::Message;
use simulator::cue::Cue;
use std::collections::{BTreeMap, VecDeque};
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Sender, channel};
use std::time::{SystemTime, UNIX_EPOCH};

const CLIENTS: usize = 4;
/// The rig's turn here: what is said of the line is good to this.
const TURN_MS: u8 = 1;
/// Turns that are remembered: a frame is never on the line for longer, ms.
const REMEMBERED: usize = 4_000;
/// Two clocks of one computer, read in two programs, differ by no more, ms.
const CLOCKS_MS: f64 = 5.0;

/// A reading on the line: the rig's clock, and the time of day at the reading and at the end of its frame, ms.
struct OnLine {
    at: u16,
    sampled: f64,
    sent: f64,
}

fn wall_ms() -> f64 {
    SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64() * 1e3
}

/// Listens on the line as the rig talks.
fn tap(tell: Sender<OnLine>) -> impl FnMut(u32, &[u8]) + Send {
    let (mut frames, mut turns) = (Accumulator::default(), VecDeque::new());
    move |ran_ms, sent| {
        let now = wall_ms();
        turns.push_front((ran_ms, now));
        turns.truncate(REMEMBERED);
        let mut message = [0; ENCODED_BYTES_MAX];
        for byte in sent {
            let Some(Ok(bytes)) = frames.push(*byte, &mut message) else { continue };
            let Ok(Message::Live(live)) = Message::decode(bytes) else { continue };
            let of = |ran: u32| u16::try_from(ran & 0xFFFF) == Ok(live.at);
            if let Some((_, sampled)) = turns.iter().find(|(ran, _)| of(*ran)) {
                drop(tell.send(OnLine { at: live.at, sampled: *sampled, sent: now }));
            }
        }
    }
}

/// What is read in the last of the time is not counted, ms.
const LAST_MS: f64 = 300.0;

/// The value that this part of all lies at or below.
fn quantile(all: &[f64], part: f64) -> f64 {
    let mut sorted = all.to_vec();
    sorted.sort_by(f64::total_cmp);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // a count of thousands
    let rank = ((sorted.len() as f64 * part).ceil() as usize).clamp(1, sorted.len());
    sorted[rank - 1]
}

fn p50_p99(all: &[f64]) -> Value {
    json!({ "p50": quantile(all, 0.5), "p99": quantile(all, 0.99) })
}

/// What the clients saw of what was on the line: each part's times, ms.
#[derive(Default)]
struct Parts {
    line: Vec<f64>,
    program: Vec<f64>,
    drawing: Vec<f64>,
    frame: Vec<f64>,
    glass: Vec<f64>,
}

impl Parts {
    fn take(&mut self, on_line: &OnLine, [heard, drawn, painted]: [f64; 3]) {
        let OnLine { sampled, sent, .. } = on_line;
        self.line.push(sent - sampled);
        self.program.push(heard - sent);
        self.drawing.push(drawn - heard);
        self.frame.push(painted - drawn);
        self.glass.push(painted - sampled);
    }

    fn all(&self) -> [(&'static str, &Vec<f64>); 5] {
        [("line", &self.line), ("program", &self.program), ("drawing", &self.drawing), ("frame", &self.frame), ("glass", &self.glass)]
    }
}

#[test]
fn each_reading_is_on_four_glasses_by_ways_that_add_up() {
    let seconds: u32 = std::env::var("BOREWITNESS_GLASS_SECONDS").ok().and_then(|text| text.parse().ok()).unwrap_or(8);
    let (tell, readings) = channel();
    let mut site = Site::set_up(Setting { turn_ms: TURN_MS, watch: Box::new(tap(tell)), alone: true, ..Setting::default() });
    while site.follow_cue() != Cue::TouchHub {}
    site.live.until("it cuts", |sight| sight["state"] == "cutting");
    let asked = json!({ "url": format!("http://{}/", site.listen.page), "clients": CLIENTS, "seconds": seconds });
    let mut command = Command::new("node");
    command.arg(tests::root().join("tests/browser/glass.cjs")).arg(asked.to_string());
    command.env("NODE_PATH", tests::root().join("target/browser/node_modules")).stdout(Stdio::piped());
    let mut node = command.spawn().expect("node");
    let mut lines = BufReader::new(node.stdout.take().expect("piped")).lines();
    assert_eq!(lines.next().expect("a line").expect("text"), "open");
    let from = wall_ms();
    let saw: Value = serde_json::from_str(&lines.next().expect("a line").expect("text")).expect("JSON");
    assert!(node.wait().expect("it ends").success());
    let until = from + f64::from(seconds) * 1e3 - LAST_MS; // what was read at the very end may not be drawn yet
    let readings: BTreeMap<u16, OnLine> =
        readings.try_iter().filter(|reading| (from..until).contains(&reading.sampled)).map(|reading| (reading.at, reading)).collect();

    let mut parts = Parts::default();
    let (mut shown, mut stale) = (Vec::new(), Vec::new());
    for client in saw["clients"].as_array().expect("a list") {
        let before = parts.glass.len();
        for row in client["seen"].as_array().expect("a list") {
            let row: Vec<f64> = row.as_array().expect("a row").iter().map(|ms| ms.as_f64().expect("ms")).collect();
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // the low 16 bits of the rig's clock
            let reading = readings.get(&(row[0] as u16));
            reading.into_iter().for_each(|reading| parts.take(reading, [row[1], row[2], row[3]]));
        }
        shown.push(parts.glass.len() - before);
        stale.push(client["stale"].clone());
    }
    let sampled: Vec<f64> = readings.values().map(|reading| reading.sampled).collect();
    let mut intervals: Vec<f64> = sampled.clone();
    intervals.sort_by(f64::total_cmp);
    let intervals: Vec<f64> = intervals.windows(2).map(|two| two[1] - two[0]).collect();
    let changed = changed_after(&saw, &readings);
    let row = json!({
        "clients": CLIENTS, "readings": readings.len(), "shown": shown, "stale": stale, "interval": p50_p99(&intervals), "changed": p50_p99(&changed),
        "changes": changed.len(),
        "parts": parts.all().map(|(name, all)| (name, p50_p99(all))).into_iter().collect::<BTreeMap<_, _>>(),
    });
    println!("glass {row}");
    // how many and how soon is the machine's affair, and in the table; a device that is slow misses some, never all
    let wanted = readings.len() / 4;
    assert!(readings.len() > 30 && shown.iter().all(|count| *count >= wanted), "each client sees readings: {row}");
    assert!(changed.len() >= wanted, "pixels change with the readings: {row}");
    for (name, all) in parts.all() {
        assert!(all.iter().all(|ms| *ms > -CLOCKS_MS), "{name} takes time: {row}");
    }
    let order = ["line", "program", "drawing", "frame"].map(|part| row["parts"][part]["p50"].as_f64().expect("ms"));
    let (whole, sum) = (quantile(&parts.glass, 0.5), order.iter().sum::<f64>());
    assert!(sum < 2.0 * whole && whole < 2.0 * sum, "the whole is its parts: {row}");
}

/// From each reading that the first client drew to the first change of pixels behind it, ms. One that left the page as it was changes none.
fn changed_after(saw: &Value, readings: &BTreeMap<u16, OnLine>) -> Vec<f64> {
    let changes: Vec<f64> = saw["changed"].as_array().expect("a list").iter().filter_map(Value::as_f64).collect();
    let rows = saw["clients"][0]["seen"].as_array().expect("a list");
    let after = |row: &Value| {
        let at = row[0].as_u64().and_then(|at| u16::try_from(at).ok())?;
        let (reading, drawn) = (readings.get(&at)?, row[2].as_f64()?);
        let change = changes.iter().find(|change| **change >= drawn)?;
        Some(change - reading.sampled)
    };
    rows.iter().filter(|row| row[4] == 1).filter_map(after).collect()
}
