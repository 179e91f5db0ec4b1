//! What a host signs of the evidence that it prints: `evidence.json`, which lists the sums of all the rest.

use super::bundle::{Attached, HOST_KEY, MANIFEST, SIGNATURE};
use crate::paper::layout::pdf::Attachment as File;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePublicKey, EncodePublicKey};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};

/// A host's key and its signature of `evidence.json`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HostSigned {
    /// The public key.
    pub key: [u8; 32],
    /// The signature (Ed25519, RFC 8032) of the file's bytes.
    pub signature: [u8; 64],
}

impl HostSigned {
    /// Signs.
    #[must_use]
    pub fn new(manifest: &[u8], key: &SigningKey) -> Self {
        Self { key: key.verifying_key().to_bytes(), signature: key.sign(manifest).to_bytes() }
    }

    /// As files: the signature's 64 bytes, and the key as any tool reads it (RFC 8410, in PEM).
    ///
    /// # Errors
    /// Where the key is none.
    pub fn files(&self) -> Result<[File; 2], String> {
        let key = VerifyingKey::from_bytes(&self.key).map_err(|e| e.to_string())?;
        let pem = key.to_public_key_pem(LineEnding::LF).map_err(|e| e.to_string())?;
        let file = |name: &str, media_type, description: &str, data| File {
            name: name.to_owned(),
            media_type,
            description: description.to_owned(),
            data,
        };
        Ok([
            file(
                SIGNATURE,
                "application/octet-stream",
                "Signature of evidence.json by the computer that printed this, Ed25519",
                self.signature.to_vec(),
            ),
            file(HOST_KEY, "application/x-pem-file", "The public key of that computer's store", pem.into_bytes()),
        ])
    }

    /// Out of attached files; `None` where they are not there or no key and signature.
    #[must_use]
    pub fn of(files: &Attached) -> Option<Self> {
        let pem = std::str::from_utf8(files.get(HOST_KEY)?).ok()?;
        let key = VerifyingKey::from_public_key_pem(pem).ok()?.to_bytes();
        Some(Self { key, signature: files.get(SIGNATURE)?.as_slice().try_into().ok()? })
    }

    /// Whether the signature is that of the key over the attached `evidence.json`.
    #[must_use]
    pub fn holds(&self, files: &Attached) -> bool {
        let key = VerifyingKey::from_bytes(&self.key).ok();
        let manifest = files.get(MANIFEST);
        key.zip(manifest).is_some_and(|(key, manifest)| key.verify_strict(manifest, &Signature::from_bytes(&self.signature)).is_ok())
    }
}
