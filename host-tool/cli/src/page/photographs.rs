//! Photographs of a hole: kept by their digest in a folder beside the store, and named by an entry in its chain.

use super::devices::Who;
use super::entered::set_up;
use super::press::{admit, once};
use super::state::{Shared, error};
use crate::enter::put;
use crate::station::wall;
use axum::body::Bytes;
use axum::extract::{Extension, Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use data_encoding::{BASE64, HEXLOWER};
use host_tool::entry::{Entry, HoleName, NoteKind, Said, SetUpName};
pub use host_tool::store::photographs::BYTES_MAX;
use host_tool::store::photographs::is_digest;
use host_tool::store::{Store, photographs};
use serde::Deserialize;
use sha2::{Digest, Sha256};
use std::sync::Arc;

/// What an entry's remark begins with that names one.
const TAG: &str = "photograph sha256:";

/// What the form sends.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Form {
    run: String,
    id: String,
    set_up: SetUpName,
    by: String,
    #[serde(default)]
    remark: String,
    /// Base 64.
    photograph: String,
}

/// What it is by its first bytes; `None` for anything but JPEG and PNG.
fn kind(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [0xFF, 0xD8, 0xFF, ..] => Some("image/jpeg"),
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1A, b'\n', ..] => Some("image/png"),
        _ => None,
    }
}

/// The digest that an entry names.
pub fn named(entry: &Entry) -> Option<&str> {
    let digest = entry.remark.strip_prefix(TAG)?.split(' ').next()?;
    is_digest(digest).then_some(digest)
}

/// Takes one; the answer comes when picture and entry are on the disk.
pub async fn take(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, body: Bytes) -> Response {
    let Ok(form) = serde_json::from_slice::<Form>(&body) else {
        return error(StatusCode::BAD_REQUEST, "that is no photograph with its hole");
    };
    if let Err(refused) = admit(&shared, &who, &form.run, &form.id) {
        return refused;
    }
    let (id, with) = (form.id.clone(), shared.clone());
    once(shared, id, move || keep(&with, &form)).await
}

fn keep(shared: &Shared, form: &Form) -> Result<(), String> {
    let bytes = BASE64.decode(form.photograph.as_bytes()).map_err(|_| "the picture did not arrive whole: try again".to_owned())?;
    if bytes.len() > BYTES_MAX {
        return Err("the picture is larger than 8 MiB: take a smaller one".to_owned());
    }
    kind(&bytes).ok_or("that is neither a JPEG nor a PNG picture")?;
    let mut store = Store::open_again(&shared.store).map_err(|e| e.to_string())?;
    let setup = set_up(&store, &form.set_up)?;
    let hole = HoleName::of(&setup.opened.body.plan).ok_or("the hole has a leg that this version does not know")?;
    let digest = HEXLOWER.encode(&Sha256::digest(&bytes));
    let remark = [TAG, &digest, " ", form.remark.trim()].concat().trim().to_owned();
    let said = Said::Note { what: NoteKind::Other };
    let entry = Entry { set_up: Some(form.set_up.clone()), remark, ..Entry::new(&form.by, wall(), hole, said) };
    entry.check().map_err(|e| e.to_string())?;
    // the picture first: an entry that names a picture which is nowhere would be a lie
    photographs::keep(&shared.store, &bytes).map_err(|e| format!("the picture cannot be kept: {e}"))?;
    put(&mut store, &entry).map(drop).map_err(|e| e.line())
}

/// Shows one, if it still is what its name says.
pub async fn show(State(shared): State<Arc<Shared>>, Path(digest): Path<String>) -> Response {
    let Ok(there) = photographs::read(&shared.store, &digest) else {
        return error(StatusCode::NOT_FOUND, "there is no such photograph on this computer");
    };
    match there.and_then(|bytes| Some((kind(&bytes)?, bytes))) {
        Some((kind, bytes)) => ([(header::CONTENT_TYPE, kind)], bytes).into_response(),
        None => error(StatusCode::GONE, "the photograph is not what it was when it was entered"),
    }
}
