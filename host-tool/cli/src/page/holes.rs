//! QA's pages: the holes by state, one hole with all that is on record of it, and its review.

use super::catalogue::{Known, with};
use super::devices::Who;
use super::frame::{NO_SUCH_HOLE, page, region, wrong};
use super::record::record;
use super::state::{Shared, error};
use crate::args::FindingWord;
use crate::evidence::{Signing, sign};
use crate::show::standing;
use axum::body::Bytes;
use axum::extract::{Extension, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use host_tool::holes::index::Listed;
use host_tool::judge::Standing;
use host_tool::register::Registered;
use host_tool::register::words::CAUTION;
use host_tool::store::Store;
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
    match with(&shared, move |known, store| rows(known, store, &asked)).await {
        Ok(body) => page("Holes", None, &shared.run, &body),
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

impl Asked {
    /// A search of this name in this state.
    pub fn of(find: String, state: String) -> Self {
        Self { find, state, from: 0 }
    }

    /// What it finds, the newest first.
    pub fn found<'a>(&self, known: &'a Known) -> impl Iterator<Item = (&'a Listed, Option<&'a Registered>)> {
        let wanted = self.find.trim().to_lowercase();
        let all = known.index.set_ups.iter().rev().map(|listed| (listed, state(known, listed)));
        all.filter(move |(listed, state)| self.fits(&wanted, listed, *state))
    }

    fn fits(&self, wanted: &str, listed: &Listed, state: Option<&Registered>) -> bool {
        let found = &listed.found;
        let named =
            wanted.is_empty() || [&found.brief.name, &listed.handle, &found.line].iter().any(|text| text.to_lowercase().contains(wanted));
        named
            && match self.state.as_str() {
                "" => true,
                "open" => state.is_some_and(|state| state.state.is_open()),
                "owes" => state.is_some_and(Registered::owes),
                word => state.is_some_and(|state| state.state.word() == word),
            }
    }
}

fn rows(known: &Known, store: &Store, asked: &Asked) -> Result<Markup, String> {
    let found: Vec<(&Listed, Option<&Registered>)> = asked.found(known).collect();
    let shown: Vec<_> = found.iter().skip(asked.from).take(ON_A_PAGE).collect();
    let standings = known.standings(store, &shown.iter().map(|(listed, _)| *listed).collect::<Vec<_>>()).map_err(|e| e.to_string())?;
    let owing = known.registered.iter().filter(|state| state.owes()).count();
    let next = asked.from.saturating_add(ON_A_PAGE);
    let words = ["", "open", "owes", "drilled", "attended", "guarded", "covered", "fenced", "pole-set", "backfilled", "abandoned"];
    Ok(html! {
        form method="get" action="/holes" role="search" {
            label { "name or line" input name="find" value=(asked.find) maxlength="60"; }
            label { "state" select name="state" {
                @for word in words { option value=(word) selected[word == asked.state] { (if word.is_empty() { "any" } else { word }) } }
            } }
            button type="submit" { "find" }
        }
        @if owing > 0 { p.caution { (owing) " open without a word on how they are kept from people. " (CAUTION) } }
        p { (found.len()) " of " (known.index.set_ups.len()) " holes" }
        (region("holes", &html! {
            table {
                thead { tr { th { "hole" } th { "line" } th { "state" } th { "since" } th { "as measured" } } }
                tbody {
                    @for ((listed, state), standings) in shown.iter().zip(standings) {
                        tr {
                            td { a href={ "/holes/" (listed.handle) } { (listed.found.brief.name) } }
                            td { (listed.found.line) }
                            td { (state.map_or("unknown", |state| state.state.word())) }
                            td { (since(*state)) }
                            td { (in_short(standings)) }
                        }
                    }
                }
            }
        }))
        @if next < found.len() { p { a href={ "/holes?from=" (next) "&find=" (super::query(&asked.find)) "&state=" (super::query(&asked.state)) } { "further holes" } } }
        p { "The structures of these holes, with all that is on record of them: "
            @for (n, format) in ["csv", "json", "geojson"].iter().enumerate() {
                @if n > 0 { " · " }
                a href={ "/export?format=" (format) "&find=" (super::query(&asked.find)) "&state=" (super::query(&asked.state)) } { (format.to_uppercase()) }
            }
        }
    })
}

fn state<'a>(known: &'a Known, listed: &Listed) -> Option<&'a Registered> {
    known.state(&listed.found.hole_name()?)
}

/// Since when it is in its state.
pub fn since(state: Option<&Registered>) -> String {
    state.and_then(|state| state.since).map_or_else(|| "time unknown".to_owned(), |since| since.rfc3339())
}

/// How its limits stand, in a few words.
pub fn in_short((depth, lean): (Standing, Standing)) -> String {
    format!("depth {}, lean {}", standing(depth), standing(lean))
}

/// One hole.
pub async fn hole(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, Path(handle): Path<String>) -> Response {
    let shown = with(&shared, move |known, store| {
        let Some(listed) = known.index.get(&handle) else { return Ok(None) };
        record(known, store, listed, &who)
    });
    match shown.await {
        Ok(Some((name, body))) => page(&name, Some("office.js"), &shared.run, &body),
        Ok(None) => wrong(StatusCode::NOT_FOUND, NO_SUCH_HOLE),
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

/// A review is signed with the reviewer's own key, which lies in a file on this computer and never travels.
pub fn review_form(handle: &str) -> Markup {
    html! {
        form #review data-hole=(handle) {
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
