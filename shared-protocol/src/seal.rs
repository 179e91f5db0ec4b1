//! What a rig signs when a set-up is closed, and how one seal follows another.
//!
//! The signature is Ed25519 (RFC 8032) over [`DOMAIN`] and the seal's body up to the signature itself, the very bytes that
//! stand in the slots. Signing is the rig's matter and checking the host's; this is what both must agree on.

use crate::chain::Sum;
use crate::record::Seal;
use sha2::{Digest as _, Sha256};

/// Comes before everything that a rig signs.
pub const DOMAIN: &[u8; 18] = b"borewitness seal 0";
/// Bytes of a seal's body that are signed: all but the signature.
pub const STATED_BYTES: usize = Seal::BYTES - SIGNATURE_BYTES;
/// Bytes that are signed.
pub const SIGNED_BYTES: usize = DOMAIN.len() + STATED_BYTES;
const SIGNATURE_BYTES: usize = 64;

/// The published secret key of every simulated rig: whoever sees its seal knows that no hole was drilled.
pub const SIMULATED_SECRET: [u8; 32] = *b"simulated: no hole was drilled! ";

impl Seal {
    /// What is signed. `None` never, since the layout is fixed.
    #[must_use]
    pub fn signed(&self) -> Option<[u8; SIGNED_BYTES]> {
        let mut body = [0; Self::BYTES];
        self.encode(&mut body)?;
        let mut signed = [0; SIGNED_BYTES];
        let (domain, stated) = signed.split_first_chunk_mut()?;
        *domain = *DOMAIN;
        stated.copy_from_slice(body.get(..STATED_BYTES)?);
        Some(signed)
    }

    /// The signature as its 64 bytes.
    #[must_use]
    pub fn signature(&self) -> [u8; SIGNATURE_BYTES] {
        let mut signature = [0; SIGNATURE_BYTES];
        let (r, s) = signature.split_at_mut(32);
        r.copy_from_slice(&self.signature_r);
        s.copy_from_slice(&self.signature_s);
        signature
    }

    /// The same seal with a signature.
    #[must_use]
    pub fn with_signature(mut self, signature: &[u8; SIGNATURE_BYTES]) -> Self {
        let (r, s) = signature.split_at(32);
        self.signature_r.copy_from_slice(r);
        self.signature_s.copy_from_slice(s);
        self
    }

    /// What the next seal says of this one: SHA-256 over all of its body.
    #[must_use]
    pub fn sum(&self) -> Sum {
        let mut body = [0; Self::BYTES];
        let _ = self.encode(&mut body); // the room is its own
        Sha256::digest(body).into()
    }
}
