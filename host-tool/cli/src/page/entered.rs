//! What the ground hand enters beside the hole: from a form's fields to an entry in the store's chain.

use super::devices::Who;
use super::press::{admit, once};
use super::state::{Shared, error};
use crate::enter::put;
use crate::station::wall;
use axum::body::Bytes;
use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::response::Response;
use host_tool::entry::{CleanOut, Entry, HoleName, HoleState, NoteKind, Said, SetUpName};
use host_tool::facts::{SetUp, read};
use host_tool::measure::length;
use host_tool::session::Stream;
use host_tool::store::Store;
use serde::Deserialize;
use shared_protocol::record::Plan;
use std::path::Path;
use std::sync::Arc;

/// Slots that a set-up may have and be found by its first: a hole takes some hundreds.
const SLOTS: u32 = 20_000;
/// An edge's sounding is taken so far within the wall, µm.
const WITHIN_WALL: i32 = 50_000;

/// What a form sends.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Form {
    run: String,
    id: String,
    set_up: SetUpName,
    by: String,
    #[serde(default)]
    with: String,
    #[serde(default)]
    remark: String,
    said: Told,
}

/// Lengths as people write them, with their unit.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum Told {
    Sounding { place: Place, depth: String, from: From, within: String, clean_out: CleanOut },
    HandPlumb { depth: String, ahead: String, right: String, within: String },
    Centre { ahead: String, right: String, within: String },
    Diameter { depth: String, across: String, within: String },
    Water { depth: String },
    Dry {},
    State { state: HoleState },
    Note { what: super::act::What },
}

/// Where in the hole, seen by somebody who looks ahead on line.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Place {
    Centre,
    Ahead,
    Back,
    Left,
    Right,
}

/// What a depth was read from.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum From {
    /// A straightedge or string at the hub's height.
    Hub,
    /// The sheet's datum itself.
    Datum,
}

fn um(name: &str, text: &str) -> Result<i32, String> {
    length(text).map(|length| length.0).map_err(|e| format!("{name}: {e}"))
}

impl Told {
    fn said(&self, plan: &Plan) -> Result<Said, String> {
        let standard = |text: &str| match um("good to", text)? {
            half if half >= 200 => Ok(half / 2),
            _ => Err("good to: say what the tape or line is good to, 0.2 mm or more".to_owned()),
        };
        Ok(match self {
            Self::Sounding { place, depth, from, within, clean_out } => {
                let edge = (plan.diameter.0 / 2).saturating_sub(WITHIN_WALL).max(0);
                let (ahead_um, right_um) = match place {
                    Place::Centre => (0, 0),
                    Place::Ahead => (edge, 0),
                    Place::Back => (-edge, 0),
                    Place::Left => (0, -edge),
                    Place::Right => (0, edge),
                };
                let above = if matches!(from, From::Hub) { plan.hub_above_datum.0 } else { 0 };
                let depth_um = um("depth", depth)?.saturating_sub(above);
                Said::Sounding { depth_um, ahead_um, right_um, standard_um: standard(within)?, clean_out: *clean_out }
            }
            Self::HandPlumb { depth, ahead, right, within } => Said::HandPlumb {
                depth_um: um("depth", depth)?,
                ahead_um: um("ahead", ahead)?,
                right_um: um("right", right)?,
                standard_um: standard(within)?,
            },
            Self::Centre { ahead, right, within } => {
                Said::Centre { ahead_um: um("ahead", ahead)?, right_um: um("right", right)?, standard_um: standard(within)? }
            }
            Self::Diameter { depth, across, within } => {
                Said::Diameter { depth_um: um("depth", depth)?, diameter_um: um("across", across)?, standard_um: standard(within)? }
            }
            Self::Water { depth } => Said::Water { depth_um: Some(um("depth", depth)?) },
            Self::Dry {} => Said::Water { depth_um: None },
            Self::State { state } => Said::State { state: *state },
            Self::Note { what } => Said::Note { what: what.kind().unwrap_or(NoteKind::Other) },
        })
    }
}

/// The set-up of that name, as far as its slots are in the store.
pub fn set_up(store: &Store, name: &SetUpName) -> Result<SetUp, String> {
    let stream = Stream { rig: name.rig.clone(), epoch: name.epoch };
    let part = store.part(&stream, name.opened, name.opened.saturating_add(SLOTS)).map_err(|e| e.to_string())?;
    let first = read(&part.slots).into_iter().next().filter(|setup| setup.opened.sequence == name.opened);
    first.ok_or_else(|| "there is no such hole in the store".to_owned())
}

/// Puts it into the chain.
fn enter(path: &Path, who: &Who, form: &Form) -> Result<(), String> {
    let mut store = Store::open_again(path).map_err(|e| e.to_string())?;
    let setup = set_up(&store, &form.set_up)?;
    let plan = &setup.opened.body.plan;
    let hole = HoleName::of(plan).ok_or("the hole has a leg that this version does not know")?;
    let said = form.said.said(plan)?;
    let remark = match who {
        Who::Paired(device, _) => [form.remark.trim(), &format!("(from {device})")].join(" ").trim().to_owned(),
        Who::Cab | Who::Looker => form.remark.trim().to_owned(),
    };
    let (set_up, with) = (Some(form.set_up.clone()), form.with.trim().to_owned());
    let entry = Entry { set_up, with, remark, ..Entry::new(&form.by, wall(), hole, said) };
    entry.check().map_err(|e| e.to_string())?;
    put(&mut store, &entry).map(drop).map_err(|e| e.line())
}

/// Takes an entry; the answer comes when it is on the disk.
pub async fn entry(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, body: Bytes) -> Response {
    let form: Form = match serde_json::from_slice(&body) {
        Ok(form) => form,
        Err(_) => return error(StatusCode::BAD_REQUEST, "that is no entry of this program"),
    };
    if let Err(refused) = admit(&shared, &who, &form.run, &form.id) {
        return refused;
    }
    let (id, store) = (form.id.clone(), shared.store.clone());
    once(shared, id, move || enter(&store, &who, &form)).await
}
