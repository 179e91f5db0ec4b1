//! The chain of a host's entries: each sum covers the bytes of its entry, its place, and the sum before it.

use super::Entry;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// What every sum begins with, so that it is of nothing else.
pub const TAG: &[u8] = b"borewitness entry 0\n";

/// Where an entry stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// The host that it was entered on.
    pub host: u32,
    /// Its number there, from 0.
    pub number: u32,
}

/// An entry in its chain, as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// Where it stands.
    pub place: Place,
    /// Its bytes, JSON; those that the sum covers.
    pub body: Vec<u8>,
    /// SHA-256 of [`TAG`], host and number (32 bits each, least first), the sum before (zeros for the first), and the body.
    pub sum: [u8; 32],
}

impl Link {
    /// Puts an entry behind the one whose sum is `before`.
    ///
    /// # Errors
    /// Where the entry cannot be written as JSON; none is known.
    pub fn new(place: Place, before: &[u8; 32], entry: &Entry) -> Result<Self, serde_json::Error> {
        let body = serde_json::to_vec(entry)?;
        Ok(Self { sum: sum(place, before, &body), place, body })
    }

    /// Whether it is what was entered, behind the one whose sum is `before`.
    #[must_use]
    pub fn follows(&self, before: &[u8; 32]) -> bool {
        self.sum == sum(self.place, before, &self.body)
    }

    /// What it says; `None` where a later version wrote it, or it is no entry at all.
    #[must_use]
    pub fn entry(&self) -> Option<Entry> {
        serde_json::from_slice(&self.body).ok()
    }
}

fn sum(place: Place, before: &[u8; 32], body: &[u8]) -> [u8; 32] {
    let mut digest = Sha256::new();
    digest.update(TAG);
    digest.update(place.host.to_le_bytes());
    digest.update(place.number.to_le_bytes());
    digest.update(before);
    digest.update(body);
    digest.finalize().into()
}
