//! The cab page left open: through a pulled cable, a killed program and a hole's alarms it says what it knows and recovers by itself.

use crate::listen::Listen;
use crate::rig::Hand;
use crate::site::{SCENARIO, Site};
use serde_json::{Value, json};
use simulator::cue::Cue;
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// A browser that stays on the page.
struct Stay {
    node: Child,
    lines: std::io::Lines<BufReader<std::process::ChildStdout>>,
}

impl Stay {
    fn on(page: SocketAddr, seconds: u32, more: Value) -> Self {
        let mut asked = json!({ "url": format!("http://{page}/"), "seconds": seconds });
        let (Some(asked_of), Some(more)) = (asked.as_object_mut(), more.as_object()) else { panic!("objects") };
        asked_of.extend(more.clone());
        let mut command = Command::new("node");
        command.arg(tests::root().join("tests/browser/stay.cjs")).arg(asked.to_string());
        command.env("NODE_PATH", tests::root().join("target/browser/node_modules")).stdout(Stdio::piped());
        let mut node = command.spawn().expect("node");
        let mut lines = BufReader::new(node.stdout.take().expect("piped")).lines();
        assert_eq!(lines.next().expect("a line").expect("text"), "open");
        Self { node, lines }
    }

    /// What it saw in all that time.
    fn saw(mut self) -> Value {
        let line = self.lines.next().expect("a line").expect("text");
        assert!(self.node.wait().expect("it ends").success());
        let saw: Value = serde_json::from_str(&line).expect("JSON");
        assert_eq!(saw["said"], json!([]), "the page's scripts complain");
        saw
    }
}

impl Drop for Stay {
    fn drop(&mut self) {
        drop(self.node.kill());
    }
}

fn samples(saw: &Value) -> &Vec<Value> {
    saw["samples"].as_array().expect("a list")
}

fn is_figure(text: &Value) -> bool {
    text.as_str().is_some_and(|text| text.parse::<f64>().is_ok())
}

#[test]
fn a_pulled_cable_and_a_killed_program_are_said_and_the_page_recovers_by_itself() {
    let mut site = Site::start(SCENARIO, 1, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    site.live.until("it cuts", |sight| sight["state"] == "cutting");
    let page = site.listen.page;
    let stay = Stay::on(page, 24, json!({}));
    std::thread::sleep(Duration::from_secs(3));
    site.rig.hand(Hand::Unplug(4.0));
    std::thread::sleep(Duration::from_secs(8));
    site.listen.kill();
    std::thread::sleep(Duration::from_secs(3));
    site.listen = Listen::start(&site.rig.port, &site.store, &["--page-port", &page.port().to_string()]);
    let saw = stay.saw();
    let all = samples(&saw);
    // the kinds of moments in their order, each once
    let mut moments: Vec<&str> = Vec::new();
    for sample in all {
        let why = sample["why"].as_str().unwrap_or_default();
        let moment = match (is_figure(&sample["depth"]), why) {
            (true, _) => "live",
            (false, why) if why.contains("from this program") => "no program",
            (false, why) if why.contains("no data") => "no rig",
            _ => "between",
        };
        let figures = [&sample["depth"], &sample["to_go"]].map(is_figure);
        assert!(moment == "live" || figures == [false, false], "an old figure: {sample}");
        if moment != "between" && moments.last() != Some(&moment) {
            moments.push(moment);
        }
    }
    moments.dedup();
    let wanted = ["live", "no rig", "live", "no program", "live"];
    let in_order = wanted.iter().try_fold(0, |from, wanted| moments[from..].iter().position(|moment| moment == wanted).map(|at| from + at));
    assert!(in_order.is_some(), "{moments:?}");
    assert_eq!(moments.last(), Some(&"live"), "{moments:?}");
}
