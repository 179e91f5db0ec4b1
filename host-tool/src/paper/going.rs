//! Slow going and what the operator said of it.

use super::figures::list;
use super::hole::Hole;
use super::layout::flow::Flow;
use super::layout::table::{times, words};
use super::words::{NONE, Units};
use crate::facts::Timed;
use shared_protocol::record::{Change, Refusal};
use shared_protocol::state::Check;

/// Lists slow going, what followed it and what the operator said, in the order of the record; says whether there was any.
pub fn list_of(flow: &mut Flow, hole: &Hole<'_>) -> bool {
    let (units, setup) = (hole.units(), hole.setup);
    let below = |depth| units.long(hole.below_datum(depth));
    let change = |c: &Timed<Change>| (c.sequence, vec![c.moment.text(), below(c.body.depth), went(units, &c.body), NONE.to_owned()]);
    let answer =
        |r: &Timed<Refusal>| (r.sequence, vec![r.moment.text(), below(r.body.depth), NONE.to_owned(), answered(&r.body).to_owned()]);
    let changes = setup.changes.iter().filter(|c| Check::from_raw(c.body.check) == Some(Check::Going));
    let mut rows: Vec<(u32, Vec<String>)> = changes.map(change).chain(setup.refusals.iter().map(answer)).collect();
    rows.sort_by_key(|(sequence, _)| *sequence);
    let rows: Vec<Vec<String>> = rows.into_iter().map(|(_, row)| row).collect();
    let columns = [times("When", 2.0), words("Bottom at", 1.2), words("Going, by the rig", 2.4), words("The operator said", 2.0)];
    list(flow, "Slow going and refusal", &columns, &rows)
}

/// The rig's figure is micrometres of new bottom a second of cutting.
fn went(units: Units, change: &Change) -> String {
    let an_hour = f64::from(change.figure) * 3_600.0 / 1e6;
    let state = if change.state == 1 { "slow" } else { "as usual again" };
    format!("{state}, {} an hour of cutting", units.long(an_hour))
}

/// What the operator answered.
#[must_use]
pub fn answered(refusal: &Refusal) -> &'static str {
    if refusal.confirmed == 1 { "refusal" } else { "no refusal" }
}
