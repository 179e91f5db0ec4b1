//! The page's own files, part of this program: nothing comes from elsewhere.

use super::state::Shared;
use axum::Router;
use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use std::sync::Arc;

/// A file: its name, what it is, and its bytes.
type Asset = (&'static str, &'static str, &'static [u8]);

macro_rules! assets {
    ($($kind:literal: $($name:literal),+;)+) => {
        &[$($(($name, $kind, include_bytes!(concat!("assets/", $name)))),+),+]
    };
}

const HTML: &str = "text/html; charset=utf-8";
/// All of them.
const ASSETS: &[Asset] = assets! {
    "text/html; charset=utf-8": "cab.html";
    "text/css; charset=utf-8": "cab.css", "narrow.css", "notices.css", "office.css", "panel.css", "picture.css";
    "font/woff2": "cab.woff2";
    "text/javascript; charset=utf-8":
        "acts.js", "alarms.js", "asking.js", "cab.js", "chips.js", "choose.js", "dom.js", "elevation.js",
        "figures.js", "ground.js", "memory.js", "more.js", "office.js", "pairing.js", "panel.js", "picture.js",
        "scale.js", "sight.js", "sound.js";
};

/// How they are asked for.
pub fn router() -> Router<Arc<Shared>> {
    Router::new().route("/", get(async || asset("cab.html"))).route("/assets/{name}", get(async |Path(name): Path<String>| asset(&name)))
}

fn asset(name: &str) -> Response {
    match ASSETS.iter().find(|(own, kind, _)| *own == name && (*kind != HTML || name == "cab.html")) {
        Some((_, kind, bytes)) => ([(header::CONTENT_TYPE, *kind)], *bytes).into_response(),
        None => super::state::error(axum::http::StatusCode::NOT_FOUND, "there is no such file"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a tablet loads over a slow network, and what the binary grows by.
    #[test]
    fn all_of_them_together_are_small() {
        let bytes: usize = ASSETS.iter().map(|(_, _, bytes)| bytes.len()).sum();
        assert!(bytes > 5_000 && bytes < 150_000, "{bytes}");
    }

    #[test]
    fn each_file_of_the_folder_is_one() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page/assets");
        let mut there: Vec<String> = std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect();
        let mut own: Vec<&str> = ASSETS.iter().map(|(name, ..)| *name).collect();
        there.sort();
        own.sort_unstable();
        assert_eq!(own, there);
    }

    #[test]
    fn none_of_them_asks_another_computer_for_anything() {
        for (name, _, bytes) in ASSETS {
            let Ok(text) = std::str::from_utf8(bytes) else { continue };
            let foreign = text.match_indices("//").filter(|(at, _)| text[..*at].ends_with("http:") || text[..*at].ends_with("https:"));
            let foreign: Vec<&str> =
                foreign.map(|(at, _)| &text[at..text.len().min(at + 22)]).filter(|url| !url.starts_with("//www.w3.org/")).collect();
            assert!(foreign.is_empty(), "{name}: {foreign:?}");
        }
    }
}
