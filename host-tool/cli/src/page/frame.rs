//! What all pages but the cab's have in common: head, ways to the other pages, and how words become safe.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{DOCTYPE, Markup, html};

/// Where a handle calls none.
pub const NO_SUCH_HOLE: &str = "there is no such hole: choose it from the list";

/// A page with this title. Whatever stands in it is escaped where it is put in.
pub fn page(title: &str, script: Option<&str>, run: &str, body: &Markup) -> Response {
    let whole = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · Borewitness" }
                link rel="icon" href="data:,";
                link rel="stylesheet" href="/assets/office.css";
                @if let Some(script) = script {
                    script type="module" src={ "/assets/" (script) } {}
                }
            }
            body data-run=(run) {
                nav aria-label="pages" {
                    a href="/" { "cab" } a href="/ground" { "ground" } a href="/holes" { "holes" } a href="/structures" { "structures" } a href="/check" { "check a paper" }
                }
                main { h1 { (title) } (body) }
            }
        }
    };
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], whole.into_string()).into_response()
}

/// A page that says in one line what is wrong.
pub fn wrong(status: StatusCode, why: &str) -> Response {
    let mut response = page("That did not work", None, "", &html! { p { (why) } });
    *response.status_mut() = status;
    response
}

/// What may be wider than a phone: it is scrolled by itself.
pub fn region(name: &str, body: &Markup) -> Markup {
    html! { div.wide tabindex="0" role="region" aria-label=(name) { (body) } }
}

/// A table by its heads.
pub fn table(name: &str, heads: &[&str], rows: &[Vec<String>]) -> Markup {
    region(
        name,
        &html! {
            table {
                thead { tr { @for head in heads { th { (head) } } } }
                tbody { @for row in rows { tr { @for cell in row { td { (cell) } } } } }
            }
        },
    )
}
