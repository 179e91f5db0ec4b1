//! What is answered to which request.

use super::act::{Act, Pressed, TEXT_MAX};
use super::devices::{COOKIE, PAIRED_FOR, PairFault, Who};
use super::door::{door, nothing};
use super::press::{admit, taken};
use super::state::{Asked, Shared, error};
use super::{assets, entered, ground, holes, out, photographs, plans, structures};
use axum::Router;
use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, Extension, State};
use axum::http::{StatusCode, header};
use axum::middleware::from_fn_with_state;
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use serde::Deserialize;
use serde_json::json;
use std::convert::Infallible;
use std::sync::Arc;
use std::sync::mpsc::TrySendError;
use std::time::Instant;
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt};

/// Bytes of a request's body.
const BODY_MAX: usize = 16_384;
/// Bytes of a paper that is checked.
const PAPER_MAX: usize = 32 << 20;

/// All of them.
pub fn router(shared: Arc<Shared>) -> Router {
    Router::new()
        .route("/live", get(live))
        .route("/act", post(act))
        .route("/pair", post(pair))
        .route("/plans", get(plans::plans))
        .route("/ground", get(ground::ground))
        .route("/entries", post(entered::entry))
        .route("/photographs", post(photographs::take).layer(DefaultBodyLimit::max(photographs::BYTES_MAX * 4 / 3 + BODY_MAX)))
        .route("/photographs/{digest}", get(photographs::show))
        .route("/holes", get(holes::list))
        .route("/holes/{handle}", get(holes::hole))
        .route("/structures", get(structures::list))
        .route("/structure", get(structures::structure))
        .route("/papers/{handle}", get(out::paper))
        .route("/export", get(out::export))
        .route("/check", get(out::check))
        .route("/reviews", post(holes::reviewed))
        .route("/verify", post(out::verify).layer(DefaultBodyLimit::max(PAPER_MAX)))
        .merge(assets::router())
        .fallback(nothing)
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .layer(from_fn_with_state(shared.clone(), door))
        .with_state(shared)
}

/// What is to be seen, whenever it changes. A device that is slow misses some, never the newest.
async fn live(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let sights = WatchStream::new(shared.sights.clone()).map(move |sight| {
        let holder = if shared.devices().holds(&who) { "this" } else { "another" };
        // the code is for the cab's own screen
        let code = if who == Who::Cab { json!(shared.devices().code()) } else { json!(null) };
        let paired = who != Who::Looker;
        let own = json!({ "holder": holder, "paired": paired, "pairing_code": code, "shared": shared.is_shared }).to_string();
        let whole = [own.trim_end_matches('}'), ",", sight.trim_start_matches('{')].concat();
        Ok(Event::default().data(whole))
    });
    Sse::new(sights)
}

async fn act(State(shared): State<Arc<Shared>>, Extension(who): Extension<Who>, body: Bytes) -> Response {
    let pressed: Pressed = match serde_json::from_slice(&body) {
        Ok(pressed) => pressed,
        Err(_) => return error(StatusCode::BAD_REQUEST, "that is no act of this program"),
    };
    if let Err(refused) = admit(&shared, &who, &pressed.run, &pressed.id) {
        return refused;
    }
    if pressed.act.texts().iter().any(|text| text.len() > TEXT_MAX) {
        return error(StatusCode::BAD_REQUEST, "a text is too long: at most 500 bytes");
    }
    if pressed.act == (Act::Hold {}) {
        shared.devices().hold(&who);
        return taken(&pressed.id);
    }
    if !matches!(pressed.act, Act::Acknowledge { .. }) && !shared.devices().holds(&who) {
        return error(StatusCode::FORBIDDEN, "another device holds the rig's acts: take them on this one first");
    }
    if let Err(why) = pressed.act.order() {
        return error(StatusCode::BAD_REQUEST, &why);
    }
    pass_on(&shared, who, pressed)
}

/// Gives a press to the desk, once.
fn pass_on(shared: &Shared, who: Who, pressed: Pressed) -> Response {
    let mut names = shared.names();
    if !names.is_new(&pressed.id) {
        return taken(&pressed.id);
    }
    let Pressed { id, act, .. } = pressed;
    match shared.asks.try_send(Asked { who, id: id.clone(), act }) {
        Ok(()) => taken(&id),
        Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {
            names.forget(&id);
            error(StatusCode::SERVICE_UNAVAILABLE, "the program is busy: ask again")
        }
    }
}

/// A device that wants to do more than look.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    code: String,
    device: String,
}

async fn pair(State(shared): State<Arc<Shared>>, body: Bytes) -> Response {
    let Ok(Wanted { code, device }) = serde_json::from_slice(&body) else {
        return error(StatusCode::BAD_REQUEST, "give the code that the cab shows, and a name for this device");
    };
    match shared.devices().pair(Instant::now(), &code, &device) {
        Ok(token) => {
            let cookie = format!("{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age={}", PAIRED_FOR.as_secs());
            (StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response()
        }
        Err(PairFault::TooMany) => error(StatusCode::TOO_MANY_REQUESTS, &PairFault::TooMany.to_string()),
        Err(why) => error(StatusCode::FORBIDDEN, &why.to_string()),
    }
}
