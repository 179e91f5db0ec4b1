//! The store's holes as the pages show them, read once for many requests and anew when the store has changed.

use super::state::Shared;
use host_tool::holes::{Catalogue, Hole, catalogue};
use host_tool::register::{Registered, of_holes};
use host_tool::store::Store;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};

/// Sizes and times of the store's files: other ones mean that something was written.
type Mark = Vec<Option<(u64, SystemTime)>>;

/// A store that a rig writes to is read again after so many times as long as reading it took. What is entered here is seen at once.
const REST: u32 = 5;

/// What is known of the store.
#[derive(Debug)]
pub struct Known {
    mark: Mark,
    read: Instant,
    took: Duration,
    /// The holes, judged.
    pub catalogue: Catalogue,
    /// In which state each is.
    pub registered: Vec<Registered>,
}

impl Known {
    fn read(path: &Path) -> Result<Self, String> {
        let (mark, begun) = (mark(path), Instant::now()); // before reading: what is written meanwhile is read next time
        let store = Store::open_existing(path).map_err(|e| e.to_string())?;
        let catalogue = catalogue(&store).map_err(|e| e.to_string())?;
        let registered = of_holes(&catalogue.holes, &catalogue.entries);
        Ok(Self { mark, read: Instant::now(), took: begun.elapsed(), catalogue, registered })
    }

    /// Whether it is new enough: nothing was written since, or reading a large store again would be all that this computer does.
    fn holds(&self, now: &Mark) -> bool {
        self.mark == *now || self.read.elapsed() < self.took * REST
    }

    /// The hole with this handle.
    pub fn hole(&self, handle: &str) -> Option<&Hole> {
        self.catalogue.holes.iter().find(|hole| hole.handle == handle)
    }

    /// How the register has this hole.
    pub fn state(&self, hole: &Hole) -> Option<&Registered> {
        let name = hole.hole_name()?;
        self.registered.iter().find(|registered| registered.hole == name)
    }
}

fn mark(path: &Path) -> Mark {
    let of = |path: &Path| std::fs::metadata(path).ok().and_then(|data| Some((data.len(), data.modified().ok()?)));
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    vec![of(path), of(Path::new(&log))]
}

/// What is known now.
pub async fn known(shared: &Arc<Shared>) -> Result<Arc<Known>, String> {
    let shared = shared.clone();
    let read = tokio::task::spawn_blocking(move || {
        let mut kept = shared.known(); // whoever asks meanwhile waits for this one to be read, and reads nothing himself
        let now = mark(&shared.store);
        if let Some(known) = kept.as_ref().filter(|known| known.holds(&now)) {
            return Ok(known.clone());
        }
        let known = Arc::new(Known::read(&shared.store)?);
        *kept = Some(known.clone());
        Ok(known)
    });
    read.await.unwrap_or_else(|_| Err("the store cannot be read: try `borewitness holes`".to_owned()))
}
