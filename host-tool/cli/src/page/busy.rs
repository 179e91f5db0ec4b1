//! Work that takes a processor for long, printing, exporting and checking: so much of it at a time, and who comes then is told to come again.

use super::state::Shared;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::Response;
use std::sync::Arc;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Such pieces of work at a time: what listens to the rig needs a processor too.
const AT_A_TIME: usize = 2;
/// Seconds until it is worth asking again.
const AGAIN: &str = "5";

/// Who may do such work now.
#[derive(Debug)]
pub struct Costly(Arc<Semaphore>);

impl Default for Costly {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(AT_A_TIME)))
    }
}

impl Costly {
    /// Leave to do it, until it is dropped; `None` where others have it.
    fn leave(&self) -> Option<OwnedSemaphorePermit> {
        self.0.clone().try_acquire_owned().ok()
    }
}

/// Why work came to nothing.
#[derive(Debug)]
pub enum Undone {
    /// Others are at it.
    Busy,
    /// What it said itself.
    Failed(String),
}

/// Does such work, if there is room for it. It goes on, and takes its room, though whoever asked is gone.
pub async fn costly<T: Send + 'static>(
    shared: &Arc<Shared>,
    failed: &'static str,
    work: impl FnOnce() -> Result<T, String> + Send + 'static,
) -> Result<T, Undone> {
    let leave = shared.costly.leave().ok_or(Undone::Busy)?;
    let done = tokio::task::spawn_blocking(move || {
        let done = work();
        drop(leave);
        done
    });
    done.await.unwrap_or_else(|_| Err(failed.to_owned())).map_err(Undone::Failed)
}

impl Undone {
    /// The answer, made by what makes answers of a status and a reason.
    pub fn answer(&self, make: impl Fn(StatusCode, &str) -> Response) -> Response {
        match self {
            Self::Failed(why) => make(StatusCode::UNPROCESSABLE_ENTITY, why),
            Self::Busy => {
                let mut response = make(StatusCode::SERVICE_UNAVAILABLE, "busy: try again in a moment");
                response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static(AGAIN));
                response
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_is_room_for_two_and_again_when_one_is_done() {
        let costly = Costly::default();
        let (one, _two) = (costly.leave().expect("room"), costly.leave().expect("room"));
        assert!(costly.leave().is_none());
        drop(one);
        assert!(costly.leave().is_some());
    }

    #[test]
    fn who_comes_too_soon_is_told_when_to_come_again() {
        let answer = Undone::Busy.answer(super::super::state::error);
        assert_eq!(
            (answer.status(), answer.headers().get("retry-after")),
            (StatusCode::SERVICE_UNAVAILABLE, Some(&HeaderValue::from_static("5")))
        );
        let answer = Undone::Failed("why".to_owned()).answer(super::super::state::error);
        assert_eq!((answer.status(), answer.headers().get("retry-after")), (StatusCode::UNPROCESSABLE_ENTITY, None));
    }
}
