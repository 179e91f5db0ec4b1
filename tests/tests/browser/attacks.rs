//! What somebody might try against the page: none of it acts, none leaks, and listening goes on.

use crate::listen::{Answer, Live, TOO_LONG, ask};
use crate::site::{SCENARIO, Site};
use serde_json::json;
use simulator::cue::Cue;
use std::io::Read;
use std::net::{SocketAddr, TcpStream, UdpSocket};
use std::time::{Duration, Instant};

const OWN: (&str, &str) = ("X-Borewitness", "1");
const JSON: (&str, &str) = ("Content-Type", "application/json");

/// How often the rig did what was asked: no act of these tests may.
fn done(site: &mut Site) -> usize {
    site.live.next()["acts"].as_array().expect("a list").len()
}

fn touch(run: &serde_json::Value) -> String {
    json!({ "run": run, "id": "attack", "act": { "touch": {} } }).to_string()
}

#[test]
fn another_sites_page_a_rebound_name_and_a_form_do_nothing() {
    let mut site = Site::start(SCENARIO, 2, &[]);
    let page = site.listen.page;
    let run = site.live.next()["run"].clone();
    let host = format!("rebound.example:{}", page.port());
    let tries: [&[(&str, &str)]; 6] = [
        &[OWN, JSON, ("Origin", "http://evil.example")],
        &[OWN, JSON, ("Origin", "null")],
        &[OWN, JSON, ("Sec-Fetch-Site", "cross-site")],
        &[("Content-Type", "text/plain")],
        &[OWN, JSON, ("Host", &host)],
        &[OWN, JSON, ("Host", "localhost")],
    ];
    for headers in tries {
        let answer = ask(page, "POST", "/act", headers, &touch(&run));
        assert_eq!(answer.status, 403, "{headers:?}: {answer:?}");
    }
    for path in ["/", "/live", "/plans"] {
        assert_eq!(ask(page, "GET", path, &[("Host", &host)], "").status, 403, "{path} under another name");
    }
    assert_eq!(ask(page, "GET", "/plans", &[("Origin", "http://evil.example")], "").status, 403);
    assert_eq!(done(&mut site), 0);
    while site.follow_cue() != Cue::TouchHub {} // and the page's own still act
}

#[test]
fn what_is_no_act_is_refused_in_a_line() {
    let mut site = Site::start(SCENARIO, 2, &[]);
    let page = site.listen.page;
    let run = site.live.next()["run"].clone();
    let with = |act: serde_json::Value| json!({ "run": run, "id": "x", "act": act }).to_string();
    let long = "x".repeat(600);
    let tries = [
        ("not JSON".to_owned(), 400),
        (String::new(), 400),
        (with(json!({ "dig": {} })), 400),
        (with(json!({ "tool": { "tool": 4_000 } })), 400),
        (with(json!({ "note": { "what": "other", "text": long } })), 400),
        (json!({ "run": run, "id": "y".repeat(65), "act": { "touch": {} } }).to_string(), 400),
        ("[".repeat(15_000), 400),
        ("x".repeat(20_000), 413),
    ];
    for (body, status) in tries {
        let answer = ask(page, "POST", "/act", &[OWN, JSON], &body);
        assert_eq!(answer.status, status, "{} bytes: {answer:?}", body.len());
        assert!(status == 413 || answer.body.starts_with("{\"error\":\"") && !answer.body.contains('\n'), "{answer:?}");
    }
    assert_eq!(ask(page, "GET", "/act", &[], "").status, 405);
    for path in [
        "/assets/../main.rs",
        "/assets/..%2f..%2fetc%2fpasswd",
        "/assets/%2e%2e",
        "/etc/passwd",
        "/assets/cab.html%00.js",
        "//",
        "/assets/",
    ] {
        let Answer { status, body, .. } = ask(page, "GET", path, &[], "");
        assert!(status == 404 && !body.contains("root:"), "{path}: {status} {body}");
    }
    assert_eq!(done(&mut site), 0);
}

#[test]
fn the_page_says_what_may_run_in_it() {
    let site = Site::start(SCENARIO, 1, &[]);
    for path in ["/", "/live-none", "/assets/cab.js"] {
        let Answer { head, .. } = ask(site.listen.page, "GET", path, &[], "");
        let head = head.to_lowercase();
        for wanted in [
            "default-src 'none'",
            "script-src 'self'",
            "frame-ancestors 'none'",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
        ] {
            assert!(head.contains(wanted), "{path}: {wanted}: {head}");
        }
        assert!(!head.contains("unsafe") && !head.contains("access-control-allow"), "{head}");
    }
}

/// An address of this computer that is not its loopback: from there somebody is a stranger.
pub fn outside(port: u16) -> SocketAddr {
    let socket = UdpSocket::bind("0.0.0.0:0").expect("a socket");
    socket.connect("192.0.2.1:9").expect("a way to somewhere");
    SocketAddr::new(socket.local_addr().expect("an address").ip(), port)
}

#[test]
fn a_stranger_on_the_network_looks_and_does_nothing_until_paired() {
    let mut site = Site::start(SCENARIO, 2, &["--share"]);
    let page = outside(site.listen.page.port());
    assert!(!page.ip().is_loopback(), "{page}");
    let sight = Live::look(page).next();
    assert_eq!((&sight["paired"], &sight["pairing_code"], &sight["holder"]), (&json!(false), &json!(null), &json!("another")));
    let run = sight["run"].clone();
    let refused = ask(page, "POST", "/act", &[OWN, JSON], &touch(&run));
    assert!(refused.status == 403 && refused.body.contains("pair it"), "{refused:?}");
    assert_eq!(ask(page, "POST", "/act", &[OWN, JSON, ("Cookie", "borewitness=forged")], &touch(&run)).status, 403);
    for (method, path) in
        [("GET", "/papers/S-7"), ("POST", "/verify"), ("POST", "/entries"), ("POST", "/photographs"), ("POST", "/reviews")]
    {
        assert!([400, 403].contains(&ask(page, method, path, &[OWN, JSON], "").status), "{path}");
    }
    let pair = |code: &str| ask(page, "POST", "/pair", &[OWN, JSON], &json!({ "code": code, "device": "Phone" }).to_string());
    assert_eq!(pair("000000x").status, 403);
    let code = site.live.next()["pairing_code"].as_str().expect("shown in the cab").to_owned();
    let answer = pair(&code);
    assert_eq!(answer.status, 204, "{answer:?}");
    let cookie = answer.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).expect("a cookie");
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    assert_eq!(pair(&code).status, 403, "a code pairs one device");
    let token = cookie.split(';').next().expect("a value").to_owned();
    let paired = [OWN, JSON, ("Cookie", token.as_str())];
    let held = ask(page, "POST", "/act", &paired, &touch(&run));
    assert!(held.status == 403 && held.body.contains("another device holds"), "{held:?}");
    let hold = json!({ "run": run, "id": "hold", "act": { "hold": {} } }).to_string();
    assert_eq!(ask(page, "POST", "/act", &paired, &hold).status, 202);
    assert_eq!(site.live.until("handed over", |sight| sight["holder"] == "another")["holder"], "another", "the cab sees it");
    let (_, lost) = site.press(&json!({ "touch": {} }));
    assert_eq!(lost.status, 403, "the cab has handed its acts over");
    assert_eq!(ask(page, "POST", "/act", &paired, &touch(&run)).status, 202);
    site.live.until("the rig answers the phone", |sight| sight["acts"][0]["state"].as_str().is_some_and(|state| state != "under_way"));
    (0..12).for_each(|_| drop(pair("guess")));
    assert_eq!(pair("guess").status, 429);
}

#[test]
fn five_hundred_connections_and_slow_ones_do_not_stop_the_record() {
    let mut site = Site::start(SCENARIO, 4, &[]);
    while site.follow_cue() != Cue::TouchHub {}
    let page = site.listen.page;
    let mut crowd: Vec<TcpStream> = (0..500).filter_map(|_| TcpStream::connect(page).ok()).collect();
    // Who was let in may stay; the others are hung up on.
    let until = Instant::now() + TOO_LONG;
    while crowd.len() > 40 {
        assert!(Instant::now() < until, "{} are still let in", crowd.len());
        crowd.retain_mut(|stream| {
            stream.set_read_timeout(Some(Duration::from_millis(1))).expect("settable");
            stream.read(&mut [0]).is_err()
        });
    }
    assert!(crowd.len() > 20, "some are let in: {}", crowd.len());
    let depth = |sight: &serde_json::Value| sight["picture"]["bottom"].as_f64().unwrap_or(0.0);
    let before = depth(&site.live.until("a bottom", |sight| depth(sight) > 0.0));
    site.live.until("it drills on, and is seen to", |sight| depth(sight) > before + 50.0);
    drop(crowd);
    let until = Instant::now() + TOO_LONG;
    while ask(page, "GET", "/", &[], "").status != 200 {
        assert!(Instant::now() < until, "places are given back");
    }
}
