//! What all presses have in common: who may, of which run of the program, and once.

use super::devices::Who;
use super::state::{Shared, error};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::json;
use std::sync::Arc;

/// Why a device may not do something.
pub const ONLY_LOOKS: &str = "this device only looks: pair it with the code that the cab shows";
/// Bytes of a press's name.
const ID_MAX: usize = 64;

/// Whether a press may be done: by somebody who may, asked of this run of the program, with a name.
#[allow(clippy::result_large_err)] // the answer is made where the reason is known
pub fn admit(shared: &Shared, who: &Who, run: &str, id: &str) -> Result<(), Response> {
    if *who == Who::Looker {
        return Err(error(StatusCode::FORBIDDEN, ONLY_LOOKS));
    }
    if run != shared.run {
        return Err(error(StatusCode::CONFLICT, "the program was started again since: load this page anew, and look before asking again"));
    }
    if id.is_empty() || id.len() > ID_MAX {
        return Err(error(StatusCode::BAD_REQUEST, "a press has a name of 1 to 64 bytes"));
    }
    Ok(())
}

/// Does a press's work, which may wait for the disk, once: a press that comes again is answered and not done again, and one that
/// failed may come again.
pub async fn once(shared: Arc<Shared>, id: String, work: impl FnOnce() -> Result<(), String> + Send + 'static) -> Response {
    if !shared.names().is_new(&id) {
        return taken(&id);
    }
    let done = tokio::task::spawn_blocking(work).await.unwrap_or_else(|_| Err("it was not kept: try again".to_owned()));
    match done {
        Ok(()) => {
            shared.forget();
            taken(&id)
        }
        Err(why) => {
            shared.names().forget(&id);
            error(StatusCode::UNPROCESSABLE_ENTITY, &why)
        }
    }
}

/// It is taken.
pub fn taken(id: &str) -> Response {
    (StatusCode::ACCEPTED, [(header::CONTENT_TYPE, "application/json")], json!({ "id": id }).to_string()).into_response()
}
