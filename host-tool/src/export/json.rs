//! Holes and structures in one object; `host-tool/docs/export.schema.json` is its schema.

use super::row::Row;
use super::{Exported, VERSION};
use crate::facts::Wall;
use crate::holes::Hole;
use crate::judge::limits::Governs;
use crate::paper;
use crate::paper::attached;
use crate::paper::words::code;
use crate::readiness::{self, Structure};
use serde_json::{Value, json};
use shared_protocol::state::GapCause;

/// What is said of every time in it.
const CLOCKS: &str = "Times of records are by each rig's own clock, set by the host's; times of entries by the host's. Each has the offset from UTC \
that was told with it.";

/// The whole object.
///
/// # Errors
/// Where it cannot be written: a fault of the program.
pub fn whole(exported: &Exported<'_>) -> Result<Vec<u8>, String> {
    let set_ups = exported.held.holes.iter().map(|hole| set_up(hole, exported)).collect::<Result<Vec<_>, _>>();
    let object = json!({
        "borewitness_export": VERSION,
        "simulated": exported.is_simulated(),
        "up_to": exported.up_to().map(Wall::rfc3339),
        "clocks": CLOCKS,
        "governing_statement": match exported.governs {
            Some(Governs::Plain) => "plain",
            Some(Governs::Guarded) => "guarded",
            None => "not said",
        },
        "structures": exported.office.structures.iter().map(structure).collect::<Vec<_>>(),
        "set_ups": set_ups.map_err(|fault| fault.to_string())?,
        "remarks": exported.held.remarks,
    });
    let mut text = serde_json::to_vec_pretty(&object).map_err(|fault| fault.to_string())?;
    text.push(b'\n');
    Ok(text)
}

/// A structure as `judge --json` has it, each leg with its plan.
fn structure(of: &Structure<'_>) -> Value {
    let mut object = readiness::json::structure(of);
    object["legs"] = (0..of.legs.len()).map(|n| leg(of, n)).collect();
    object
}

/// A leg with the sheet's row that plans it.
pub(super) fn leg(structure: &Structure<'_>, n: usize) -> Value {
    let mut object = readiness::json::leg_of(structure, n);
    object["plan"] = json!(structure.legs.get(n).and_then(|leg| leg.plan));
    object
}

fn set_up(hole: &Hole, exported: &Exported<'_>) -> Result<Value, serde_json::Error> {
    let on_paper = paper::Hole::of_record(&hole.setup, &hole.judged);
    let mut object = serde_json::to_value(Row::of(hole, exported))?;
    let cause = |cause: Option<GapCause>| cause.map_or_else(|| "not received".to_owned(), |cause| code(GapCause::TABLE, cause.raw()));
    let gaps = hole.setup.missing.iter().map(|gap| json!({ "first": gap.first, "last": gap.last, "cause": cause(gap.cause) }));
    let notes =
        hole.setup.notes.iter().map(
            |note| json!({ "at": note.moment.wall.map(Wall::rfc3339), "by": note.body.author.as_str(), "text": note.body.text.as_str() }),
        );
    object["verdicts"] = json!(attached::verdicts(&on_paper));
    object["measured_by_hand"] = json!(attached::by_hand(&on_paper));
    object["notes"] = notes.collect();
    object["gaps"] = gaps.collect();
    object["reservations"] = json!(hole.judged.reservations);
    object["entries"] = hole.entries.iter().map(entry).collect();
    Ok(object)
}

/// An entry as it was digested, with where it stands and what corrects it.
#[must_use]
pub fn entry(told: &crate::holes::Told) -> Value {
    let mut entry = json!(told.entry);
    entry["entry"] = told.place.to_string().into();
    entry["corrected_by"] = told.corrected.as_ref().map_or(Value::Null, |(place, by)| json!({ "entry": place.to_string(), "by": by }));
    entry
}
