//! What leaves the pages: a hole's certificate, what is shown as files for other programs, and what a paper that somebody has got is worth.

use super::busy::costly;
use super::catalogue::known;
use super::devices::Who;
use super::frame::{page, wrong};
use super::holes::Asked as Shown;
use super::press::ONLY_LOOKS;
use super::state::{Shared, error};
use crate::evidence;
use axum::body::Bytes;
use axum::extract::{Extension, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use host_tool::evidence::collect::{StructureName, of};
use host_tool::export::{Exported, Format};
use host_tool::papers;
use host_tool::store::Store;
use maud::html;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Holes that a page exports; more are for the command line.
const HOLES_MOST: usize = 1_000;

/// A hole's certificate, printed now.
pub async fn paper(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, Path(handle): Path<String>) -> Response {
    if who == Who::Looker {
        return wrong(StatusCode::FORBIDDEN, ONLY_LOOKS); // printing is work, and whoever is in the network could ask for it again and again
    }
    let store = shared.store.clone();
    let printed = costly(&shared, "the paper cannot be printed: use `borewitness print`", move || {
        let store = Store::open_again(&store).map_err(|e| e.to_string())?;
        let folder = tempfile::tempdir().map_err(|e| format!("the paper cannot be printed: {e}"))?;
        let job = papers::Job::of(&store, &[handle], None).map_err(|e| e.to_string())?;
        let printed = job.print(folder.path(), |_| ()).map_err(|e| e.to_string())?;
        let [one] = &printed[..] else { return Err("use the handle that the list gives".to_owned()) };
        let name = one.path.file_name().map_or_else(|| "certificate.pdf".to_owned(), |name| name.to_string_lossy().into_owned());
        Ok((name, std::fs::read(&one.path).map_err(|e| format!("the paper cannot be read: {e}"))?))
    });
    match printed.await {
        Ok((name, bytes)) => {
            let plain: String = name.chars().map(|c| if c.is_ascii_alphanumeric() || "-._".contains(c) { c } else { '_' }).collect();
            let headers = [
                (header::CONTENT_TYPE, "application/pdf".to_owned()),
                (header::CONTENT_DISPOSITION, format!("inline; filename=\"{plain}\"")),
            ];
            (headers, bytes).into_response()
        }
        Err(undone) => undone.answer(wrong),
    }
}

/// As what.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Kind {
    Csv,
    Json,
    Geojson,
}

/// What is to be exported, and as what.
#[derive(Debug, Deserialize)]
pub struct Wanted {
    format: Kind,
    #[serde(default)]
    find: String,
    #[serde(default)]
    state: String,
}

/// Exports the structures of all holes that the list shows for this search, each with everything that is on record of it.
pub async fn export(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, Query(wanted): Query<Wanted>) -> Response {
    if who == Who::Looker {
        return wrong(StatusCode::FORBIDDEN, ONLY_LOOKS);
    }
    let with = shared.clone();
    let Wanted { format, find, state } = wanted;
    let (format, name, kind) = match format {
        Kind::Csv => (Format::Csv, "holes.csv", "text/csv; charset=utf-8"),
        Kind::Json => (Format::Json, "holes.json", "application/json"),
        Kind::Geojson => (Format::Geojson, "holes.geojson", "application/geo+json"),
    };
    let made = costly(&shared, "the export cannot be made: use `borewitness export`", move || {
        let (known, shown) = (known(&with)?, Shown::of(find, state));
        let store = Store::open_again(&with.store).map_err(|e| e.to_string())?;
        let structures: BTreeSet<StructureName> = shown.found(&known).map(|(listed, _)| of(&listed.found)).collect();
        let chosen: Vec<_> = known.index.set_ups.iter().filter(|listed| structures.contains(&of(&listed.found))).collect();
        if chosen.len() > HOLES_MOST {
            return Err(format!("these are {} holes: find fewer, {HOLES_MOST} at most, or use `borewitness export`", chosen.len()));
        }
        let held = known.catalogue(&store, &chosen, &structures).map_err(|e| e.to_string())?;
        Exported::new(&held).bytes(format).map_err(|e| e.to_string())
    });
    match made.await {
        Ok(bytes) => {
            let headers =
                [(header::CONTENT_TYPE, kind.to_owned()), (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\""))];
            (headers, bytes).into_response()
        }
        Err(undone) => undone.answer(wrong),
    }
}

/// Where a paper is given to be checked.
pub async fn check(State(shared): State<Arc<Shared>>) -> Response {
    let form = html! {
        p { "A certificate carries what it was made of. Give its file: it is read, its signatures are checked, and it is printed again and compared." }
        form #check {
            label { "the paper's file (PDF)" input type="file" name="paper" accept="application/pdf" required; }
            button type="submit" { "check it" }
            p.answer role="status" {}
            ul.lines #checked {}
        }
    };
    page("Check a paper", Some("office.js"), &shared.run, &form)
}

/// What a paper that somebody has got is worth.
pub async fn verify(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, body: Bytes) -> Response {
    if who == Who::Looker {
        return error(StatusCode::FORBIDDEN, ONLY_LOOKS);
    }
    let checked = costly(&shared, "it cannot be checked: use `borewitness verify`", move || Ok(evidence::in_words(&body)));
    match checked.await {
        Ok(lines) => ([(header::CONTENT_TYPE, "application/json")], serde_json::json!({ "lines": lines }).to_string()).into_response(),
        Err(undone) => undone.answer(error),
    }
}
