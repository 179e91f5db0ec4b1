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
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::net::SocketAddr;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

/// So many times as fast as life.
const PACE: u32 = 20;
/// Virtual minutes that an ordinary run lasts; `BOREWITNESS_SHIFT_MINUTES=480` is eight hours.
const MINUTES: u32 = 30;
/// Where the page says what the tool is doing.
const STATE: &str = ".chip.state";
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

/// As the page puts it.
fn words(status: Status) -> &'static str {
    if !status.referenced || status.depth != Belief::Good {
        return "";
    }
    match status.activity {
        Activity::Idle | Activity::Starting => "",
        Activity::Clear => "clear of the hole",
        Activity::Tripping => "tripping",
        Activity::Cutting => "cutting",
        Activity::Reaming => "reaming",
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
            let mut states = truth.states.lock().expect("whole");
            let now = Status::from_bits(live.status).map_or("", words);
            if states.last() != Some(&now) {
                states.push(now);
            }
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

/// Another client that gathers the alarms' names; it ends when told to.
fn gather_alarms(at: SocketAddr, stop: Arc<AtomicBool>) -> JoinHandle<BTreeSet<String>> {
    std::thread::spawn(move || {
        let (mut live, mut raised) = (Live::look(at), BTreeSet::new());
        while !stop.load(Ordering::Relaxed) {
            let sight = live.next();
            raised.extend(sight["alarms"].as_array().into_iter().flatten().filter_map(|alarm| alarm["id"].as_str().map(str::to_owned)));
        }
        raised
    })
}

/// Whether all of these stand in the other in this order.
fn in_order(part: &[String], of: &[&str]) -> bool {
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
    std::thread::sleep(std::time::Duration::from_secs(2));
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
    assert_eq!(saw["sounds"], json!(raised.len()), "each alarm sounds once");
    assert!(raised.len() >= 2 * usize::try_from(holes).expect("few"), "each hole leans and comes to its depth: {raised:?}");
    let states = truth.states.lock().expect("whole");
    let shown: Vec<String> = serde_json::from_value(saw["states"].clone()).expect("words");
    assert!(shown.len() > 4 * usize::try_from(holes).expect("few"), "it says what goes on: {shown:?}");
    assert!(in_order(&shown, &states), "the page said {shown:?}, the rig {states:?}");
}
