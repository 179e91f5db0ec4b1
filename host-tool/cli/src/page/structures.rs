//! Structures: line by line what stands open, what is not begun, and of one structure whether its poles can go in.

use super::catalogue::{Known, with};
use super::frame::{page, region, wrong};
use super::holes::since;
use super::state::Shared;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use host_tool::evidence::collect::of_structure;
use host_tool::readiness::words::{CAUTION, first, headline, whole};
use host_tool::register::words::{OWES, name};
use host_tool::register::{Registered, not_begun};
use host_tool::store::Store;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Structures on one page of the list.
const ON_A_PAGE: usize = 100;

/// Which structures.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    find: String,
    from: usize,
}

/// Lists them in the order of their names.
pub async fn list(State(shared): State<Arc<Shared>>, Query(asked): Query<Asked>) -> Response {
    match with(&shared, move |known, _| Ok(listed(known, &asked))).await {
        Ok(body) => page("Structures", None, &shared.run, &body),
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

/// What is known of a structure without judging it.
#[derive(Default)]
struct Brief<'a> {
    holes: Vec<&'a Registered>,
    not_begun: usize,
}

/// By line and structure.
type Structures<'a> = BTreeMap<(&'a str, &'a str), Brief<'a>>;

fn structures(known: &Known) -> Structures<'_> {
    let mut all = Structures::new();
    for of in &known.registered {
        all.entry((&of.hole.line, &of.hole.structure)).or_default().holes.push(of);
    }
    for plan in not_begun(&known.plans, &known.registered) {
        all.entry((&plan.line, &plan.structure)).or_default().not_begun += 1;
    }
    all
}

fn listed(known: &Known, asked: &Asked) -> Markup {
    let (all, wanted) = (structures(known), asked.find.trim().to_lowercase());
    let fits =
        |(line, structure): &(&str, &str)| wanted.is_empty() || [line, structure].iter().any(|text| text.to_lowercase().contains(&wanted));
    let found: Vec<_> = all.iter().filter(|(name, _)| fits(name)).collect();
    let next = asked.from.saturating_add(ON_A_PAGE);
    html! {
        form method="get" action="/structures" role="search" {
            label { "structure or line" input name="find" value=(asked.find) maxlength="60"; }
            button type="submit" { "find" }
        }
        h2 { "By line" }
        (lines(&found))
        h2 { "By structure" }
        p { (found.len()) " of " (all.len()) " structures" }
        (region("structures", &html! {
            table {
                thead { tr { th { "structure" } th { "line" } th { "holes by state" } th { "open now" } } }
                tbody { @for ((line, structure), brief) in found.iter().skip(asked.from).take(ON_A_PAGE) {
                    tr {
                        td { a href={ "/structure?line=" (super::query(line)) "&structure=" (super::query(structure)) } { (structure) } }
                        td { (line) }
                        td { (by_state(std::slice::from_ref(brief))) }
                        td { (open_now(brief)) }
                    }
                } }
            }
        }))
        @if next < found.len() { p { a href={ "/structures?from=" (next) "&find=" (super::query(&asked.find)) } { "further structures" } } }
    }
}

/// Each line in one row.
fn lines(found: &[(&(&str, &str), &Brief<'_>)]) -> Markup {
    let mut lines: BTreeMap<&str, Vec<&Brief<'_>>> = BTreeMap::new();
    for ((line, _), brief) in found {
        lines.entry(line).or_default().push(brief);
    }
    region(
        "lines",
        &html! {
            table {
                thead { tr { th { "line" } th { "structures" } th { "holes by state" } th { "open now" } } }
                tbody { @for (line, briefs) in lines {
                    @let open: Vec<_> = briefs.iter().flat_map(|brief| &brief.holes).filter(|of| of.state.is_open()).collect();
                    @let owing = open.iter().filter(|of| of.owes()).count();
                    tr {
                        td { (if line.is_empty() { "no line named" } else { line }) }
                        td { (briefs.len()) }
                        td { (by_state(&briefs)) }
                        td { (open.len()) @if owing > 0 { ": " strong { (owing) " without a word on how people are kept from them" } } }
                    }
                } }
            }
        },
    )
}

/// "2 drilled, 1 covered, 3 not begun".
fn by_state<'a>(briefs: &[impl std::borrow::Borrow<Brief<'a>>]) -> String {
    let mut states: BTreeMap<_, usize> = BTreeMap::new();
    let mut not_begun = 0;
    for brief in briefs.iter().map(std::borrow::Borrow::borrow) {
        not_begun += brief.not_begun;
        brief.holes.iter().for_each(|of| *states.entry(of.state).or_default() += 1);
    }
    let begun = states.into_iter().map(|(state, number)| format!("{number} {}", state.word()));
    begun.chain((not_begun > 0).then(|| format!("{not_begun} not begun"))).collect::<Vec<_>>().join(", ")
}

fn open_now(brief: &Brief<'_>) -> Markup {
    let open = brief.holes.iter().filter(|of| of.state.is_open());
    html! { @for of in open {
        div { (name(&of.hole)) " since " (since(Some(of))) @if of.owes() { ": " strong { (OWES) } } }
    } }
}

/// Which structure.
#[derive(Debug, Deserialize)]
pub struct Named {
    #[serde(default)]
    line: String,
    structure: String,
}

/// One structure, judged.
pub async fn structure(State(shared): State<Arc<Shared>>, Query(named): Query<Named>) -> Response {
    let title = named.structure.clone();
    match with(&shared, move |known, store| judged(known, store, (named.line, named.structure))).await {
        Ok(Some(body)) => page(&format!("Structure {title}"), None, &shared.run, &body),
        Ok(None) => wrong(StatusCode::NOT_FOUND, "there is no such structure: choose it from the list"),
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

fn judged(known: &Known, store: &Store, of: (String, String)) -> Result<Option<Markup>, String> {
    let judged = of_structure(store, &of, None, None).map_err(|e| e.to_string())?.judged().map_err(|e| e.to_string())?;
    let all = judged.structures();
    let Some(structure) = all.iter().find(|structure| (&structure.line, &structure.structure) == (&of.0, &of.1)) else { return Ok(None) };
    let mut holes: Vec<_> = judged.holes.iter().collect();
    holes.sort_by_key(|hole| (hole.setup.opened.body.plan.leg, hole.setup.opened.body.plan.attempt, hole.setup.opened.sequence));
    let states = known.registered.iter().filter(|known| (&known.hole.line, &known.hole.structure) == (&of.0, &of.1));
    Ok(Some(html! {
        p { "Line " (of.0) "." }
        p.answer { (headline(structure)) }
        ul.lines { @for said in first(structure) { li { (said) } } }
        p.caution { (CAUTION) }
        h2 { "Holes" }
        ul { @for state in states { li { (name(&state.hole)) ": " (state.state.word()) ", since " (since(Some(state))) @if state.owes() { ": " strong { (OWES) } } } } }
        ul.rows { @for hole in holes {
            @if let Some(handle) = known.handle_of(&hole.set_up_name()) { li { a.row href={ "/holes/" (handle) } { (hole.name()) ", set-up " (hole.setup.opened.body.plan.setup) } } }
        } }
        h2 { "In full" }
        ul.lines { @for said in whole(structure, None, None) { li { (said) } } }
    }))
}
