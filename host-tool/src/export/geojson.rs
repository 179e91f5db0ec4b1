//! Legs on a map, RFC 7946: a feature to each leg that a sheet plans or a rig drilled, its point where the sheet has one.

use super::json::leg;
use super::{Exported, VERSION};
use crate::facts::Wall;
use crate::readiness::Structure;
use crate::sheet::leg_text;
use geojson::feature::Id;
use geojson::{Feature, FeatureCollection, Geometry, GeometryValue};
use serde_json::{Map, Value, json};

/// The whole collection.
///
/// # Errors
/// Where it cannot be written: a fault of the program.
pub fn whole(exported: &Exported<'_>) -> Result<Vec<u8>, String> {
    let structures = &exported.office.structures;
    let features = structures.iter().flat_map(|structure| (0..structure.legs.len()).filter_map(|n| feature(structure, n))).collect();
    let about = json!({
        "borewitness_export": VERSION,
        "simulated": exported.is_simulated(),
        "up_to": exported.up_to().map(Wall::rfc3339),
    });
    let collection = FeatureCollection { bbox: None, features, foreign_members: about.as_object().cloned() };
    let mut text = serde_json::to_vec_pretty(&collection).map_err(|fault| fault.to_string())?;
    text.push(b'\n');
    Ok(text)
}

/// One leg: longitude before latitude, WGS 84, as the RFC has it; no geometry where the sheet has no place.
fn feature(structure: &Structure<'_>, n: usize) -> Option<Feature> {
    let of = structure.legs.get(n)?;
    let place = of.plan.and_then(|plan| Some((plan.longitude_deg?, plan.latitude_deg?)));
    let mut properties: Map<String, Value> = leg(structure, n).as_object().cloned().unwrap_or_default();
    properties.insert("line".to_owned(), json!(structure.line));
    properties.insert("structure".to_owned(), json!(structure.structure));
    properties.insert("ready".to_owned(), json!(crate::readiness::json::ready(structure.answer.ready)));
    Some(Feature {
        bbox: None,
        geometry: place.map(|(longitude, latitude)| Geometry::new(GeometryValue::new_point([longitude, latitude]))),
        id: Some(Id::String(format!("{}/{}/{}", structure.line, structure.structure, leg_text(of.hole.leg)))),
        properties: Some(properties),
        foreign_members: None,
    })
}
