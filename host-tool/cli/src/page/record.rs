//! All that is on record of one hole, as its certificate says it: drawing, verdicts, what the figures are worth, set-ups and revisions side
//! by side.

use super::catalogue::Known;
use super::devices::Who;
use super::drawing::drawing;
use super::frame::table;
use super::holes::{in_short, review_form, since};
use super::photographs;
use crate::show::row;
use host_tool::entry::SetUpName;
use host_tool::evidence::Judged;
use host_tool::evidence::collect::{of, of_structure};
use host_tool::evidence::review::Reviewed;
use host_tool::holes::Hole;
use host_tool::holes::index::Listed;
use host_tool::paper::words::Units;
use host_tool::paper::{self, review, told, uncertainty};
use host_tool::proof::Sealing;
use host_tool::store::Store;
use host_tool::verdicts;
use maud::{Markup, html};

/// A hole's name, and its record; `None` where its slots are not those that were found.
pub fn record(known: &Known, store: &Store, listed: &Listed, who: &Who) -> Result<Option<(String, Markup)>, String> {
    let evidence = of_structure(store, &of(&listed.found), None, None).map_err(|e| e.to_string())?;
    let judged = evidence.judged().map_err(|e| e.to_string())?;
    let name = SetUpName::new(&listed.found.stream, listed.found.opened);
    let Some(hole) = judged.holes.iter().find(|hole| hole.set_up_name() == name) else { return Ok(None) };
    let (structures, reviewed) = (judged.structures(), Reviewed::of(&evidence, &judged, hole));
    let on_paper = paper::Hole { reviewed: reviewed.as_ref(), ..hole.on_paper(&structures) };
    Ok(Some((hole.name(), whole(known, listed, &on_paper, (&judged, hole), who))))
}

fn whole(known: &Known, listed: &Listed, hole: &paper::Hole<'_>, (judged, as_judged): (&Judged, &Hole), who: &Who) -> Markup {
    let state = as_judged.hole_name().and_then(|name| known.state(&name));
    let units = Units::of(&as_judged.setup.opened.body.plan);
    let (handle, found) = (&listed.handle, &listed.found);
    html! {
        p {
            a href={ "/structure?line=" (super::query(&found.line)) "&structure=" (super::query(&found.structure)) } { "structure " (found.structure) }
            ", line " (found.line) ". State: " (state.map_or("unknown", |state| state.state.word())) ", since " (since(state)) "."
        }
        @let in_a_line = row(&Hole { handle: handle.clone(), ..as_judged.clone() });
        p { (in_a_line.split("  ").map(str::trim).filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" · ")) }
        (drawing(hole))
        h2 { "Verdicts" }
        ul { @for verdict in &as_judged.judged.verdicts { li { (verdicts::line(verdict, as_judged.judged.governs, units)) } } }
        @if !as_judged.judged.reservations.is_empty() {
            h2 { "Why figures may be worth less" }
            ul { @for reservation in &as_judged.judged.reservations { li { (reservation) } } }
        }
        h2 { "Uncertainty" }
        @let results = uncertainty::results(hole);
        @if results.is_empty() { p { (uncertainty::NO_BUDGET) } } @else {
            (table("what the figures are worth", &uncertainty::RESULTS, &results))
            details { summary { "every source" } (table("sources", &uncertainty::SOURCES, &uncertainty::sources(hole))) p { (uncertainty::KEY) } }
        }
        h2 { "Attempts and set-ups of this leg" }
        (set_ups(known, judged, as_judged))
        h2 { "Entered by people" }
        @let entered = told::rows(hole);
        @if entered.is_empty() { p { "Nothing." } } @else { (table("entries", &told::ENTERED, &entered)) }
        ul { @for photograph in as_judged.entries.iter().filter_map(|told| photographs::named(&told.entry)) {
            li { a href={ "/photographs/" (photograph) } { "photograph " (photograph.get(..8).unwrap_or_default()) } }
        } }
        h2 { "Review" }
        p { "Reviewed by: " (review::reviewed_by(hole)) "." }
        @let revisions = review::revision_rows(hole);
        @if !revisions.is_empty() { (table("revisions", &review::REVISIONS, &revisions)) p { (review::KEY) } }
        p { a href={ "/papers/" (handle) } { "certificate (PDF)" } " · " a href={ "/ground?hole=" (handle) } { "enter something" } }
        @if *who == Who::Cab { (review_form(handle)) } @else { p { "A review is signed on the computer that holds the store." } }
    }
}

/// Every time that this leg was drilled, side by side: what came before stays.
fn set_ups(known: &Known, judged: &Judged, this: &Hole) -> Markup {
    let leg = |hole: &Hole| hole.setup.opened.body.plan.leg;
    let mut all: Vec<&Hole> = judged.holes.iter().filter(|hole| leg(hole) == leg(this)).collect();
    all.sort_by_key(|hole| (hole.setup.opened.body.plan.attempt, hole.setup.opened.body.plan.setup, hole.setup.opened.sequence));
    let heads = ["Attempt, set-up", "Rig", "Opened", "Depth", "Lean", "As measured", "Record"];
    html! {
        (super::frame::region("attempts and set-ups", &html! {
            table {
                thead { tr { @for head in heads { th { (head) } } } }
                tbody { @for hole in all {
                    @let (plan, units) = (&hole.setup.opened.body.plan, Units::of(&hole.setup.opened.body.plan));
                    @let name = format!("{}, {}", plan.attempt, plan.setup);
                    tr {
                        td { @match known.handle_of(&hole.set_up_name()).filter(|_| hole.set_up_name() != this.set_up_name()) {
                            Some(handle) => a href={ "/holes/" (handle) } { (name) },
                            None => { (name) " (this)" },
                        } }
                        td { (hole.stream.rig) }
                        td { (hole.setup.opened.moment.text()) }
                        td { (hole.judged.sounded.map(|figure| figure.value).or(hole.judged.depth).map_or_else(|| "–".to_owned(), |depth| units.long(depth))) }
                        td { (hole.judged.lean.map_or_else(|| "–".to_owned(), |lean| units.amount(paper::worth::Quantity::Lean, lean.magnitude()))) }
                        td { (in_short((hole.judged.depth_standing, hole.judged.lean_standing))) }
                        td { (if hole.setup.sealing == Sealing::Open { "not closed" } else { hole.setup.sealing.briefly() }) }
                    }
                } }
            }
        }))
    }
}
