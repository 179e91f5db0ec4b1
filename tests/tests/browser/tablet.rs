//! A tablet with the cab page open, which does what it is told, one thing after the other.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Lines, Write};
use std::net::SocketAddr;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// The tablet. It is switched off when this is dropped.
#[derive(Debug)]
pub struct Tablet {
    node: Child,
    orders: ChildStdin,
    answers: Lines<BufReader<ChildStdout>>,
}

impl Tablet {
    /// Opens the page on one.
    pub fn on(page: SocketAddr) -> Self {
        let mut command = Command::new("node");
        command.arg(tests::root().join("tests/browser/tablet.cjs")).arg(json!({ "url": format!("http://{page}/") }).to_string());
        command.env("NODE_PATH", tests::root().join("target/browser/node_modules")).stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut node = command.spawn().expect("node");
        let orders = node.stdin.take().expect("piped");
        let answers = BufReader::new(node.stdout.take().expect("piped")).lines();
        let mut tablet = Self { node, orders, answers };
        assert_eq!(tablet.answer()["answer"], "open");
        tablet
    }

    fn answer(&mut self) -> Value {
        let line = self.answers.next().expect("it answers").expect("text");
        serde_json::from_str(&line).expect("JSON")
    }

    /// Does one thing; what came of it.
    pub fn does(&mut self, order: &Value) -> Value {
        writeln!(self.orders, "{order}").expect("it listens");
        let answer = self.answer();
        assert!(answer["failed"].is_null(), "{order}: {answer:#}");
        assert_eq!(answer["said"], json!([]), "{order}: the page's scripts complain");
        answer
    }

    /// Waits until this holds in the page.
    pub fn until(&mut self, holds: &str) {
        self.does(&json!({ "until": holds }));
    }

    /// What the page shows for so many milliseconds, as often as it can be asked.
    pub fn watch(&mut self, ms: u32) -> Vec<Value> {
        self.does(&json!({ "watch": ms }))["answer"].as_array().expect("a list").clone()
    }

    /// What it shows now.
    pub fn shows(&mut self) -> Value {
        self.watch(1).remove(0)
    }
}

impl Drop for Tablet {
    fn drop(&mut self) {
        drop(self.node.kill());
        drop(self.node.wait());
    }
}
