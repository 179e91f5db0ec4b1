//! The chain of a host's entries: each sum covers the bytes of its entry, its place, and the sum before it, and the host
//! signs it.

use super::Entry;
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// What every sum begins with, so that it is of nothing else.
pub const TAG: &[u8] = b"borewitness entry 1\n";
/// What sums began with before version 1; none is made so any more.
const EARLIER_TAG: &[u8] = b"borewitness entry 0\n";
/// What stands before the sum in what a host signs.
pub const SIGNED_TAG: &[u8] = b"borewitness entry signed 1\n";

/// A host's signature (Ed25519, RFC 8032) of a sum, and the public key that it is checked with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Signed {
    /// The key.
    pub key: [u8; 32],
    /// The signature of [`SIGNED_TAG`] and the sum.
    pub signature: [u8; 64],
}

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
    /// The host's signature; none of what was entered before hosts signed.
    pub signed: Option<Signed>,
}

impl Link {
    /// Puts an entry behind the one whose sum is `before`, signed by the host's key.
    ///
    /// # Errors
    /// Where the entry cannot be written as JSON; none is known.
    pub fn new(place: Place, before: &[u8; 32], entry: &Entry, key: &SigningKey) -> Result<Self, serde_json::Error> {
        let body = serde_json::to_vec(entry)?;
        let sum = sum(TAG, place, before, &body);
        let signature = key.sign(&[SIGNED_TAG, &sum].concat()).to_bytes();
        Ok(Self { place, body, sum, signed: Some(Signed { key: key.verifying_key().to_bytes(), signature }) })
    }

    /// Whether it is what was entered, behind the one whose sum is `before`.
    #[must_use]
    pub fn follows(&self, before: &[u8; 32]) -> bool {
        [TAG, EARLIER_TAG].iter().any(|tag| self.sum == sum(tag, self.place, before, &self.body))
    }

    /// Whether the signature is that of its key over the sum; `None` where there is none.
    #[must_use]
    pub fn is_signed(&self) -> Option<bool> {
        let Signed { key, signature } = self.signed?;
        let signed = [SIGNED_TAG, &self.sum].concat();
        let key = VerifyingKey::from_bytes(&key);
        Some(key.is_ok_and(|key| key.verify_strict(&signed, &Signature::from_bytes(&signature)).is_ok()))
    }

    /// What it says; `None` where a later version wrote it, or it is no entry at all.
    #[must_use]
    pub fn entry(&self) -> Option<Entry> {
        serde_json::from_slice(&self.body).ok()
    }
}

fn sum(tag: &[u8], place: Place, before: &[u8; 32], body: &[u8]) -> [u8; 32] {
    let mut digest = Sha256::new();
    digest.update(tag);
    digest.update(place.host.to_le_bytes());
    digest.update(place.number.to_le_bytes());
    digest.update(before);
    digest.update(body);
    digest.finalize().into()
}
