//! The door that every request comes through: from where, for which name, asked by which page, by whom.

use super::devices::{COOKIE, Who};
use super::places::Peer;
use super::state::{Shared, error};
use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Instant;

/// Nothing but this program's own files runs or is shown.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; font-src 'self'; \
                      connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
/// A page of this program sends it with whatever it posts; another site's page cannot without asking first.
pub const OWN: &str = "x-borewitness";

/// Lets a request in or says why not, and marks what goes out.
pub async fn door(
    State(shared): State<Arc<Shared>>,
    ConnectInfo(Peer(from)): ConnectInfo<Peer>,
    mut request: Request,
    next: Next,
) -> Response {
    let refused = refuse(request.method(), request.headers(), shared.port);
    let mut response = match refused {
        Some(why) => error(StatusCode::FORBIDDEN, why),
        None => {
            let who = who(&shared, from.ip(), request.headers());
            request.extensions_mut().insert(who);
            next.run(request).await
        }
    };
    let headers = response.headers_mut();
    let fixed = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    response
}

/// Who asks: whoever is at this computer, or whose cookie it is.
fn who(shared: &Shared, from: IpAddr, headers: &HeaderMap) -> Who {
    if from.to_canonical().is_loopback() {
        return Who::Cab;
    }
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let own = cookies.flat_map(|line| line.split(';')).find_map(|pair| pair.trim().strip_prefix(COOKIE)?.strip_prefix('='));
    shared.devices().who(Instant::now(), own)
}

/// Why a request is not let in.
fn refuse(method: &Method, headers: &HeaderMap, port: u16) -> Option<&'static str> {
    let text = |name: &header::HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    // A name that is made to point here by somebody else's name server is none of ours; an address cannot be.
    let Some(host) = text(&header::HOST).filter(|host| is_ours(host, port)) else {
        return Some("this program answers to localhost and to addresses only");
    };
    let reads = matches!(*method, Method::GET | Method::HEAD);
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    let navigates = headers.get("sec-fetch-mode").is_some_and(|mode| mode == "navigate");
    if site.is_some_and(|site| site != b"same-origin" && site != b"none") && !(reads && navigates) {
        return Some("another site's page asked for that");
    }
    if text(&header::ORIGIN).is_some_and(|origin| origin.strip_prefix("http://") != Some(host)) {
        return Some("another site's page asked for that");
    }
    if !reads && !headers.contains_key(OWN) {
        return Some("only this program's own pages may ask for that");
    }
    None
}

fn is_ours(host: &str, port: u16) -> bool {
    if let Ok(address) = host.parse::<SocketAddr>() {
        return address.port() == port;
    }
    match host.strip_prefix("localhost") {
        Some(rest) => rest.strip_prefix(':').and_then(|rest| rest.parse().ok()) == Some(port) || (rest.is_empty() && port == 80),
        None => port == 80 && host.trim_matches(['[', ']']).parse::<IpAddr>().is_ok(),
    }
}

/// A plain answer where nothing is here.
pub async fn nothing() -> Response {
    error(StatusCode::NOT_FOUND, "there is no such page").into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(method: Method, headers: &[(&'static str, &str)]) -> bool {
        let pair = |(name, value): &(&'static str, &str)| (header::HeaderName::from_static(name), HeaderValue::from_str(value).unwrap());
        let headers: HeaderMap = headers.iter().map(pair).collect();
        refuse(&method, &headers, 8_417).is_none()
    }

    #[test]
    fn only_addresses_and_localhost_are_answered_to() {
        for host in ["localhost:8417", "127.0.0.1:8417", "[::1]:8417", "192.168.7.20:8417"] {
            assert!(asked(Method::GET, &[("host", host)]), "{host}");
        }
        for host in ["localhost", "localhost:80", "rebound.example:8417", "127.0.0.1", "127.0.0.1:80", "localhost.example:8417", ""] {
            assert!(!asked(Method::GET, &[("host", host)]), "{host}");
        }
        assert!(!asked(Method::GET, &[]), "no host at all");
        assert!(is_ours("localhost", 80) && is_ours("[::1]", 80) && is_ours("10.0.0.1", 80) && !is_ours("example", 80));
    }

    #[test]
    fn another_sites_page_may_link_here_and_no_more() {
        let host = ("host", "127.0.0.1:8417");
        let own = ("x-borewitness", "1");
        let origin = |origin| ("origin", origin);
        let site = |site| ("sec-fetch-site", site);
        assert!(asked(Method::POST, &[host, own, origin("http://127.0.0.1:8417"), site("same-origin")]));
        assert!(asked(Method::POST, &[host, own]), "a program, not a page");
        assert!(!asked(Method::POST, &[host, origin("http://127.0.0.1:8417")]), "a form of another page");
        assert!(!asked(Method::POST, &[host, own, origin("http://evil.example")]));
        assert!(!asked(Method::POST, &[host, own, origin("null")]));
        assert!(!asked(Method::POST, &[host, own, site("cross-site")]));
        assert!(!asked(Method::POST, &[host, own, site("cross-site"), ("sec-fetch-mode", "navigate")]));
        assert!(!asked(Method::GET, &[host, site("cross-site"), ("sec-fetch-mode", "no-cors")]), "as a picture or a script");
        assert!(asked(Method::GET, &[host, site("cross-site"), ("sec-fetch-mode", "navigate")]), "a link");
    }
}
