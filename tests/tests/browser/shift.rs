//! A shift through one page: nothing grows, no alarm is missed, and what the page says the tool does is what the rig said, in its order.

use crate::listen::Live;
use crate::rig::Hand;
use crate::site::{SCENARIO, Setting, Site};
use serde_json::{Value, json};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX};
use shared_protocol::message::Message;
use shared_protocol::state::{Activity, Belief, Status};
use simulator::cue::Cue;
use simulator::scenario::Scenario;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Write};
use std::net::SocketAddr;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// So many times as fast as life.
const PACE: u32 = 20;
/// Virtual minutes that an ordinary run lasts; `BOREWITNESS_SHIFT_MINUTES=480` is eight hours.
const MINUTES: u32 = 30;
/// Where the page says what the tool is doing.
const STATE: &str = "#place";
/// What stands for so long is seen and heard: five of the page's own steps.
const SEEN_FOR: Duration = Duration::from_millis(500);
/// What a page that draws the same hole again and again may hold more than after the first, bytes, and elements.
const HEAP_MORE: f64 = 3e6;
const NODES_MORE: f64 = 60.0;
/// What the program itself may hold more than after the first hole, kB.
const PROGRAM_KB_MORE: f64 = 12_000.0;

/// What the rig itself said on the line that it does.
#[derive(Default)]
struct Truth {
    ran_ms: AtomicU32,
    states: Mutex<Vec<&'static str>>,
}

/// What the tool does by the rig's own word; none where depth is not known or no hole is open.
fn doing(status: Status) -> Option<&'static str> {
    if !status.referenced || status.depth != Belief::Good {
        return None;
    }
    match status.activity {
        Activity::Idle | Activity::Starting => None,
        Activity::Clear => Some("clear"),
        Activity::Tripping => Some("tripping"),
        Activity::Cutting => Some("cutting"),
        Activity::Reaming => Some("reaming"),
    }
}

/// The same by what the page says; none where it says something else.
fn said(words: &str) -> Option<&'static str> {
    match words {
        "cutting" => Some("cutting"),
        _ if words.starts_with("reaming") => Some("reaming"),
        _ if words.ends_with(" the bottom") => Some("tripping"),
        _ if words.ends_with(" ground") => Some("clear"),
        _ => None,
    }
}

fn put<T: PartialEq>(states: &mut Vec<T>, now: Option<T>) {
    if let Some(now) = now.filter(|now| states.last() != Some(now)) {
        states.push(now);
    }
}

fn listen_in(truth: Arc<Truth>) -> impl FnMut(u32, &[u8]) + Send {
    let mut frames = Accumulator::default();
    move |ran_ms, sent| {
        truth.ran_ms.store(ran_ms, Ordering::Relaxed);
        let mut message = [0; ENCODED_BYTES_MAX];
        for byte in sent {
            let Some(Ok(bytes)) = frames.push(*byte, &mut message) else { continue };
            let Ok(Message::Live(live)) = Message::decode(bytes) else { continue };
            put(&mut truth.states.lock().expect("whole"), Status::from_bits(live.status).and_then(doing));
        }
    }
}

/// The browser with the page.
struct Page {
    node: Child,
    orders: Option<ChildStdin>,
    lines: std::io::Lines<BufReader<std::process::ChildStdout>>,
}

impl Page {
    fn open(at: SocketAddr) -> Self {
        let asked = json!({ "url": format!("http://{at}/"), "state": STATE });
        let mut command = Command::new("node");
        command.arg(tests::root().join("tests/browser/shift.cjs")).arg(asked.to_string());
        command.env("NODE_PATH", tests::root().join("target/browser/node_modules")).stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut node = command.spawn().expect("node");
        let lines = BufReader::new(node.stdout.take().expect("piped")).lines();
        let orders = node.stdin.take();
        let mut page = Self { node, orders, lines };
        assert_eq!(page.line(), "open");
        page
    }

    fn line(&mut self) -> String {
        self.lines.next().expect("a line").expect("text")
    }

    fn mark(&mut self) -> Value {
        writeln!(self.orders.as_mut().expect("open"), "mark").expect("it listens");
        serde_json::from_str(&self.line()).expect("JSON")
    }

    fn end(mut self) -> Value {
        self.orders = None;
        let saw = serde_json::from_str(&self.line()).expect("JSON");
        assert!(self.node.wait().expect("it ends").success());
        saw
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        drop(self.node.kill());
    }
}

/// From when to when an alarm was in sight of another client.
type Raised = BTreeMap<String, (Instant, Instant)>;

/// Another client that gathers the alarms by their names; it ends when told to.
fn gather_alarms(at: SocketAddr, stop: Arc<AtomicBool>) -> JoinHandle<Raised> {
    std::thread::spawn(move || {
        let (mut live, mut raised) = (Live::look(at), Raised::new());
        while !stop.load(Ordering::Relaxed) {
            let (sight, now) = (live.next(), Instant::now());
            for name in sight["alarms"].as_array().into_iter().flatten().filter_map(|alarm| alarm["id"].as_str()) {
                raised.entry(name.to_owned()).or_insert((now, now)).1 = now;
            }
        }
        raised
    })
}

/// Whether all of these stand in the other in this order.
fn in_order(part: &[&str], of: &[&str]) -> bool {
    let mut of = of.iter();
    part.iter().all(|one| of.any(|other| other == one))
}

fn drill_one(site: &mut Site, number: u32) {
    let structure = format!("S-{}", 100 + number);
    let text = SCENARIO.replace("S-7", &structure).replace("seed = 41", &format!("seed = {}", 41 + number));
    if number > 1 {
        site.rig.hand(Hand::MoveOn(Box::new(Scenario::parse("a test's", &text).expect("sound"))));
    }
    site.structure = structure;
    while site.follow_cue() != Cue::CloseHole {}
}

/// The program's own memory, kB.
fn resident_kb(site: &Site) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", site.listen.id())).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap_or_default();
    line.trim().trim_end_matches(" kB").parse().unwrap_or(0.0)
}

#[test]
fn a_shift_through_one_page_grows_nothing_and_says_what_the_rig_does() {
    let minutes: u32 = std::env::var("BOREWITNESS_SHIFT_MINUTES").ok().and_then(|text| text.parse().ok()).unwrap_or(MINUTES);
    let truth = Arc::new(Truth::default());
    let watch = Box::new(listen_in(truth.clone()));
    let mut site = Site::set_up(Setting {
        more_structures: 2 + minutes, // no hole takes less than a minute
        pace: PACE,
        watch,
        ..Setting::default()
    });
    let mut page = Page::open(site.listen.page);
    let stop = Arc::new(AtomicBool::new(false));
    let alarms = gather_alarms(site.listen.page, stop.clone());
    drill_one(&mut site, 1);
    let (first, first_kb, mut holes) = (page.mark(), resident_kb(&site), 1);
    while truth.ran_ms.load(Ordering::Relaxed) < minutes * 60_000 {
        holes += 1;
        drill_one(&mut site, holes);
    }
    site.rig.hand(Hand::Pace(1)); // everything comes to rest before the page is asked
    std::thread::sleep(Duration::from_secs(2));
    let saw = page.end();
    stop.store(true, Ordering::Relaxed);
    let raised = alarms.join().expect("it ends");
    let virtual_s = truth.ran_ms.load(Ordering::Relaxed) / 1_000;
    let of = |value: &Value| value.as_f64().expect("a number");
    let (heap, nodes) = (of(&saw["heap"]) - of(&first["heap"]), of(&saw["nodes"]) - of(&first["nodes"]));
    let last_kb = resident_kb(&site);
    println!(
        "shift {}",
        json!({ "virtual_s": virtual_s, "holes": holes, "alarms": raised.len(), "sounds": saw["sounds"], "heap_more": heap, "nodes_more": nodes,
                "program_kb": [first_kb, last_kb], "states": saw["states"].as_array().map(Vec::len) })
    );
    assert_eq!(saw["said"], json!([]), "the page's scripts complain");
    assert!(heap < HEAP_MORE && nodes < NODES_MORE, "{heap} bytes and {nodes} elements more than after the first hole");
    assert!(first_kb > 1_000.0 && last_kb - first_kb < PROGRAM_KB_MORE, "the program grows from {first_kb} to {last_kb} kB");
    let sounded: Vec<String> = serde_json::from_value(saw["sounded"].clone()).expect("names");
    let once: BTreeSet<&String> = sounded.iter().collect();
    assert_eq!((once.len(), json!(once.len())), (sounded.len(), saw["sounds"].clone()), "each sounds once: {sounded:?}");
    assert!(once.iter().all(|name| raised.contains_key(*name)), "nothing else sounds: {sounded:?}");
    // one that gives way to the next within a moment at this pace, nearly at depth to at depth, may not be seen
    let missed: Vec<_> = raised.iter().filter(|(name, (from, to))| !once.contains(name) && *to - *from >= SEEN_FOR).collect();
    assert!(missed.is_empty(), "not sounded: {missed:?}");
    assert!(raised.len() >= 2 * usize::try_from(holes).expect("few"), "each hole leans and comes to its depth: {raised:?}");
    let states = truth.states.lock().expect("whole");
    let words: Vec<String> = serde_json::from_value(saw["states"].clone()).expect("words");
    let mut shown = Vec::new();
    words.iter().for_each(|words| put(&mut shown, said(words)));
    assert!(shown.len() > 4 * usize::try_from(holes).expect("few"), "it says what goes on: {shown:?}");
    assert!(in_order(&shown, &states), "the page said {shown:?}, the rig {states:?}");
}
