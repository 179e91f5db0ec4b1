//! QA's pages: the holes by state, one hole with all that is on record of it, and its paper.

use super::catalogue::{Known, known};
use super::devices::Who;
use super::frame::{page, wrong};
use super::press::ONLY_LOOKS;
use super::state::{Shared, error};
use crate::args::FindingWord;
use crate::evidence::{Signing, sign};
use crate::show::{row, standing};
use crate::{by_hand, evidence};
use axum::body::Bytes;
use axum::extract::{Extension, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use host_tool::holes::Hole;
use host_tool::paper::words::Units;
use host_tool::papers;
use host_tool::register::Registered;
use host_tool::register::words::CAUTION;
use host_tool::store::Store;
use host_tool::verdicts;
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;

/// Holes on one page of the list.
const ON_A_PAGE: usize = 100;

/// Which holes.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    find: String,
    state: String,
    from: usize,
}

/// Lists them, the newest first.
pub async fn list(State(shared): State<Arc<Shared>>, Query(asked): Query<Asked>) -> Response {
    match known(&shared).await {
        Ok(known) => page("Holes", None, &shared.run, &rows(&known, &asked)),
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

fn rows(known: &Known, asked: &Asked) -> Markup {
    let wanted = asked.find.trim().to_lowercase();
    let by_name: std::collections::BTreeMap<_, &Registered> = known.registered.iter().map(|r| (&r.hole, r)).collect();
    let all: Vec<(&Hole, Option<&Registered>)> =
        known.catalogue.holes.iter().rev().map(|hole| (hole, hole.hole_name().and_then(|name| by_name.get(&name).copied()))).collect();
    let fits = |(hole, state): &&(&Hole, Option<&Registered>)| {
        let named = wanted.is_empty()
            || [hole.name(), hole.handle.clone(), hole.setup.opened.body.plan.line.to_string()]
                .iter()
                .any(|text| text.to_lowercase().contains(&wanted));
        let state = match asked.state.as_str() {
            "" => true,
            "open" => state.is_some_and(|state| state.state.is_open()),
            "owes" => state.is_some_and(Registered::owes),
            word => state.is_some_and(|state| state.state.word() == word),
        };
        named && state
    };
    let found: Vec<&(&Hole, Option<&Registered>)> = all.iter().filter(fits).collect();
    let owing = known.registered.iter().filter(|state| state.owes()).count();
    let shown = found.iter().skip(asked.from).take(ON_A_PAGE);
    let next = asked.from + ON_A_PAGE;
    let words = ["", "open", "owes", "drilled", "attended", "guarded", "covered", "fenced", "pole-set", "backfilled", "abandoned"];
    html! {
        form method="get" action="/holes" role="search" {
            label { "name or line" input name="find" value=(asked.find) maxlength="60"; }
            label { "state" select name="state" {
                @for word in words { option value=(word) selected[word == asked.state] { (if word.is_empty() { "any" } else { word }) } }
            } }
            button type="submit" { "find" }
        }
        @if owing > 0 { p.caution { (owing) " open without a word on how they are kept from people. " (CAUTION) } }
        p { (found.len()) " of " (known.catalogue.holes.len()) " holes" }
        table {
            thead { tr { th { "hole" } th { "line" } th { "state" } th { "since" } th { "shown" } } }
            tbody {
                @for (hole, state) in shown {
                    tr {
                        td { a href={ "/holes/" (hole.handle) } { (hole.name()) } }
                        td { (hole.setup.opened.body.plan.line.as_str()) }
                        td { (state.map_or("unknown", |state| state.state.word())) }
                        td { (state.and_then(|state| state.since).map_or_else(|| "time unknown".to_owned(), |since| since.rfc3339())) }
                        td { (in_short(hole)) }
                    }
                }
            }
        }
        @if next < found.len() { p { a href={ "/holes?from=" (next) "&find=" (super::query(&asked.find)) "&state=" (super::query(&asked.state)) } { "further holes" } } }
    }
}

/// How its limits stand, in a few words.
fn in_short(hole: &Hole) -> String {
    let (depth, lean) = (standing(hole.judged.depth_standing), standing(hole.judged.lean_standing));
    format!("depth {depth}, lean {lean}")
}

/// One hole.
pub async fn hole(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, Path(handle): Path<String>) -> Response {
    match known(&shared).await {
        Ok(known) => match known.hole(&handle) {
            Some(hole) => page(&hole.name(), Some("office.js"), &shared.run, &record(&known, hole, &who)),
            None => wrong(StatusCode::NOT_FOUND, "there is no such hole: choose it from the list"),
        },
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

fn record(known: &Known, hole: &Hole, who: &Who) -> Markup {
    let state = known.state(hole);
    html! {
        p { (hole.setup.opened.body.plan.line.as_str()) ". " (state.map_or("State unknown", |state| state.state.word())) "." }
        p { (row(hole)) }
        h2 { "Verdicts" }
        ul { @for verdict in &hole.judged.verdicts { li { (verdicts::line(verdict, hole.judged.governs, Units::of(&hole.setup.opened.body.plan))) } } }
        h2 { "Entered by people" }
        @if hole.entries.is_empty() { p { "Nothing." } }
        ul { @for told in &hole.entries {
            li { (by_hand::told_of(hole, told)) @if let Some(photograph) = super::photographs::named(&told.entry) { " " a href={ "/photographs/" (photograph) } { "look at it" } } }
        } }
        p { a href={ "/papers/" (hole.handle) } { "certificate (PDF)" } " · " a href={ "/ground?hole=" (hole.handle) } { "enter something" } }
        @if *who == Who::Cab { (review(hole)) } @else { p { "A review is signed on the computer that holds the store." } }
    }
}

/// A review is signed with the reviewer's own key, which lies in a file on this computer and never travels.
fn review(hole: &Hole) -> Markup {
    html! {
        h2 { "Review" }
        form #review data-hole=(hole.handle) {
            fieldset {
                legend { "finding" }
                label { input type="radio" name="finding" value="accept" checked; "accept the record" }
                label { input type="radio" name="finding" value="return"; "return it, with the reason" }
            }
            label { "reason" input name="reason" maxlength="400"; }
            label { "who reviews" input name="who" maxlength="60" required; }
            label { "the key's file on this computer" input name="key" maxlength="400" required; }
            label { "its passphrase" input name="passphrase" type="password" autocomplete="off" maxlength="200" required; }
            button type="submit" { "sign the review" }
            p.answer role="status" {}
        }
    }
}

/// What the form sends.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Review {
    hole: String,
    finding: String,
    reason: String,
    who: String,
    key: std::path::PathBuf,
    passphrase: String,
}

/// Signs a review; only for whoever sits at this computer.
pub async fn reviewed(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, body: Bytes) -> Response {
    if who != Who::Cab {
        return error(StatusCode::FORBIDDEN, "a review is signed on the computer that holds the store");
    }
    let Ok(asked) = serde_json::from_slice::<Review>(&body) else {
        return error(StatusCode::BAD_REQUEST, "that is no review");
    };
    let finding = match asked.finding.as_str() {
        "accept" => FindingWord::Accept,
        "return" => FindingWord::Return,
        _ => return error(StatusCode::BAD_REQUEST, "a record is accepted or returned"),
    };
    let store = shared.store.clone();
    let signed = tokio::task::spawn_blocking(move || {
        let Review { hole, reason, who, key, passphrase, .. } = &asked;
        sign(&Signing { hole, finding, reason, who, key, limits: None }, &store, || Ok(passphrase.clone()))
            .map_err(|failure| failure.line())
    });
    let signed = signed.await;
    shared.forget();
    match signed {
        Ok(Ok(said)) => ([(header::CONTENT_TYPE, "application/json")], serde_json::json!({ "said": said }).to_string()).into_response(),
        Ok(Err(why)) => error(StatusCode::UNPROCESSABLE_ENTITY, &why),
        Err(_) => error(StatusCode::INTERNAL_SERVER_ERROR, "nothing was signed: use `borewitness review`"),
    }
}

/// A hole's certificate, printed now.
pub async fn paper(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, Path(handle): Path<String>) -> Response {
    if who == Who::Looker {
        return wrong(StatusCode::FORBIDDEN, ONLY_LOOKS); // printing is work, and whoever is in the network could ask for it again and again
    }
    let store = shared.store.clone();
    let printed = tokio::task::spawn_blocking(move || -> Result<(String, Vec<u8>), String> {
        let store = Store::open_existing(&store).map_err(|e| e.to_string())?;
        let folder = tempfile::tempdir().map_err(|e| format!("the paper cannot be printed: {e}"))?;
        let job = papers::Job::of(&store, &[handle], None).map_err(|e| e.to_string())?;
        let printed = job.print(folder.path(), |_| ()).map_err(|e| e.to_string())?;
        let [one] = &printed[..] else { return Err("use the handle that the list gives".to_owned()) };
        let name = one.path.file_name().map_or_else(|| "certificate.pdf".to_owned(), |name| name.to_string_lossy().into_owned());
        Ok((name, std::fs::read(&one.path).map_err(|e| format!("the paper cannot be read: {e}"))?))
    });
    match printed.await {
        Ok(Ok((name, bytes))) => {
            let plain: String = name.chars().map(|c| if c.is_ascii_alphanumeric() || "-._".contains(c) { c } else { '_' }).collect();
            let headers = [
                (header::CONTENT_TYPE, "application/pdf".to_owned()),
                (header::CONTENT_DISPOSITION, format!("inline; filename=\"{plain}\"")),
            ];
            (headers, bytes).into_response()
        }
        Ok(Err(why)) => wrong(StatusCode::UNPROCESSABLE_ENTITY, &why),
        Err(_) => wrong(StatusCode::INTERNAL_SERVER_ERROR, "the paper cannot be printed: use `borewitness print`"),
    }
}

/// What a paper that somebody has got is worth.
pub async fn verify(Extension(who): Extension<Who>, body: Bytes) -> Response {
    if who == Who::Looker {
        return error(StatusCode::FORBIDDEN, ONLY_LOOKS);
    }
    let checked = tokio::task::spawn_blocking(move || evidence::in_words(&body)).await;
    match checked {
        Ok(lines) => ([(header::CONTENT_TYPE, "application/json")], serde_json::json!({ "lines": lines }).to_string()).into_response(),
        Err(_) => error(StatusCode::INTERNAL_SERVER_ERROR, "it cannot be checked: use `borewitness verify`"),
    }
}
