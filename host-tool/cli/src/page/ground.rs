//! The ground hand's page, for a phone beside the hole: soundings, plumb, water, state, what was met, photographs.

use super::catalogue::{Known, with};
use super::frame::{NO_SUCH_HOLE, page, wrong};
use super::state::Shared;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use host_tool::entry::{HoleState, SetUpName};
use host_tool::holes::Hole;
use host_tool::holes::index::Listed;
use host_tool::measure::length_text;
use host_tool::register::words::CAUTION;
use host_tool::sheet::datum_text;
use maud::{Markup, html};
use serde::Deserialize;
use shared_protocol::state::Datum;
use std::sync::Arc;

/// Holes to choose from: those drilled last.
const NEWEST: usize = 40;

/// Which hole.
#[derive(Debug, Deserialize)]
pub struct Asked {
    hole: Option<String>,
}

/// Shows the form for a hole, or the holes to choose from.
pub async fn ground(State(shared): State<Arc<Shared>>, Query(asked): Query<Asked>) -> Response {
    let Some(handle) = asked.hole else {
        return match with(&shared, |known, _| Ok(choose(known))).await {
            Ok(body) => page("Which hole?", None, &shared.run, &body),
            Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
        };
    };
    let shown = with(&shared, move |known, store| {
        let hole = known.index.get(&handle).map(|listed| known.hole(store, listed)).transpose().map_err(|e| e.to_string())?.flatten();
        Ok(hole.map(|hole| (hole.name(), form(&hole))))
    });
    match shown.await {
        Ok(Some((name, form))) => page(&name, Some("ground.js"), &shared.run, &form),
        Ok(None) => wrong(StatusCode::NOT_FOUND, NO_SUCH_HOLE),
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

fn choose(known: &Known) -> Markup {
    let newest: Vec<&Listed> = known.index.set_ups.iter().rev().take(NEWEST).collect();
    html! {
        @if newest.is_empty() { p { "No hole is in the store yet." } }
        ul.rows {
            @for listed in newest {
                li { a.row href={ "/ground?hole=" (listed.handle) } { strong { (listed.found.brief.name) } " " (listed.found.line) } }
            }
        }
    }
}

/// One thing to enter: its heading, and the fields that its script reads.
fn part(kind: &str, title: &str, fields: &Markup) -> Markup {
    html! {
        details {
            summary { (title) }
            form data-kind=(kind) { (fields) button type="submit" { "enter it" } p.answer role="status" {} }
        }
    }
}

fn field(name: &str, label: &str, hint: &str) -> Markup {
    html! { label { (label) input name=(name) placeholder=(hint) autocomplete="off" maxlength="60" required; } }
}

/// Where in the hole: five places of a plan, as somebody sees it who looks ahead on line.
fn places() -> Markup {
    let place = |word: &str, checked: bool| html! { label.place { input type="radio" name="place" value=(word) checked[checked]; span { (word) } } };
    html! {
        fieldset.plan {
            legend { "where, looking ahead on line" }
            div.ahead { (place("ahead", false)) }
            div.across { (place("left", false)) (place("centre", true)) (place("right", false)) }
            div.back { (place("back", false)) }
        }
    }
}

fn form(hole: &Hole) -> Markup {
    let plan = &hole.setup.opened.body.plan;
    let name = hole.set_up_name();
    let units = hole.units();
    let datum = Datum::from_raw(plan.datum).map_or("the datum", datum_text);
    let example = length_text(plan.depth, units);
    html! {
        p { "Planned " (example) " below " (datum) ". The hub stands " (length_text(plan.hub_above_datum, units)) " above it." }
        p.caution { (CAUTION) }
        (identity(&name))
        form #who data-kind="" {
            (field("by", "who enters this", "your name"))
        }
        (part("sounding", "sounding by tape", &html! {
            (places())
            (field("depth", "depth", &example))
            fieldset {
                legend { "read from" }
                label { input type="radio" name="from" value="hub" checked; "a string or straightedge at the hub's height" }
                label { input type="radio" name="from" value="datum"; (datum) }
            }
            (field("within", "tape good to", "10 mm"))
            fieldset {
                legend { "the floor is" }
                label { input type="radio" name="clean_out" value="after" checked; "cleaned out" }
                label { input type="radio" name="clean_out" value="before"; "not cleaned out yet" }
            }
        }))
        (part("hand_plumb", "plumb bob", &html! {
            (field("depth", "at depth below the datum", &example))
            (field("ahead", "ahead on line of the start (− for back)", "12 mm"))
            (field("right", "right of it (− for left)", "-5 mm"))
            (field("within", "good to", "5 mm"))
        }))
        (part("centre", "centre off the stake", &html! {
            (field("ahead", "ahead on line (− for back)", "20 mm"))
            (field("right", "right (− for left)", "-10 mm"))
            (field("within", "good to", "5 mm"))
        }))
        (part("diameter", "diameter", &html! {
            (field("depth", "at depth below the datum", "0.5 m"))
            (field("across", "across", &length_text(plan.diameter, units)))
            (field("within", "good to", "10 mm"))
        }))
        (part("water", "water stands in it", &html! { (field("depth", "its surface, depth below the datum", "2.4 m")) }))
        (part("dry", "it is dry", &html! {}))
        (part("state", "state of the hole", &html! {
            fieldset {
                legend { "from now on it is" }
                @for (n, state) in [HoleState::Attended, HoleState::Guarded, HoleState::Covered, HoleState::Fenced, HoleState::PoleSet, HoleState::Backfilled, HoleState::Abandoned].iter().enumerate() {
                    label { input type="radio" name="state" value=(state.word().replace('-', "_")) checked[n == 0]; (state.word()) }
                }
            }
        }))
        (part("note", "something met or done", &html! {
            fieldset {
                legend { "what" }
                @for (n, (value, word)) in [("rock", "rock"), ("water_added", "water added"), ("casing", "casing"), ("fall_in", "fall-in"), ("other", "anything else")].iter().enumerate() {
                    label { input type="radio" name="what" value=(value) checked[n == 0]; (word) }
                }
            }
            label { "in words" input name="remark" maxlength="400" autocomplete="off"; }
        }))
        (part("photograph", "photograph", &html! {
            label { "picture (JPEG or PNG)" input type="file" name="photograph" accept="image/jpeg,image/png" capture="environment" required; }
            label { "what it shows" input name="remark" maxlength="400" autocomplete="off"; }
        }))
        p { a href={ "/holes/" (hole.handle) } { "what is on record of this hole" } }
    }
}

/// The set-up that everything entered here is about.
fn identity(name: &SetUpName) -> Markup {
    html! { div #set-up data-rig=(name.rig) data-epoch=(name.epoch) data-opened=(name.opened) {} }
}
