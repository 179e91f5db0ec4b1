//! A reviewer's key, kept under a passphrase: PKCS #8 in PEM (RFC 5958, RFC 7468), encrypted as PBES2 with scrypt and AES-256
//! (RFC 8018), which common tools read too.

use crate::text::terminal;
use ed25519_dalek::SigningKey;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePrivateKey, EncodePrivateKey, KeypairBytes};
use pkcs8::pkcs5::pbes2;
use pkcs8::{EncryptedPrivateKeyInfoRef, PrivateKeyInfoRef, SecretDocument};
use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;

/// Bytes of the file at most.
const FILE_BYTES: u64 = 16 * 1024;
/// Characters of a passphrase at least.
pub const PASSPHRASE_CHARS: usize = 12;
/// What the file begins with.
const LABEL: &str = "ENCRYPTED PRIVATE KEY";

/// Why a key cannot be made or used; one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReviewerFault {
    /// The passphrase is soon guessed.
    #[error("a passphrase has {PASSPHRASE_CHARS} characters or more: take several words")]
    Short,
    /// A file that is there already.
    #[error("{0} is there already: name a file that is not, nothing was changed")]
    Taken(String),
    /// The file.
    #[error("{0} cannot be written or read: {1}")]
    File(String, String),
    /// No key in it, or another passphrase.
    #[error("{0} does not open with that passphrase, or is no key that `borewitness key` made: try again")]
    Closed(String),
    /// No random numbers, or the library will not.
    #[error("no key can be made here: {0}")]
    Made(String),
}

/// 2¹⁴ rounds of 8 blocks, 16 MiB: as much as common tools take without being told to.
const SCRYPT_LOG_N: u8 = 14;

/// Makes a key and writes it under the passphrase into a file that is not there yet. Chance comes from the caller: 32 bytes
/// for the key, 16 for the salt, 16 for the cipher.
///
/// # Errors
/// See [`ReviewerFault`].
pub fn make(path: &Path, passphrase: &str, chance: &[u8; 64]) -> Result<SigningKey, ReviewerFault> {
    if passphrase.chars().count() < PASSPHRASE_CHARS {
        return Err(ReviewerFault::Short);
    }
    let made = |e: &dyn std::fmt::Display| ReviewerFault::Made(e.to_string());
    let (secret, rest) = chance.split_first_chunk::<32>().ok_or_else(|| made(&"chance"))?;
    let (salt, rest) = rest.split_first_chunk::<16>().ok_or_else(|| made(&"chance"))?;
    let cipher = rest.first_chunk::<16>().ok_or_else(|| made(&"chance"))?;
    let key = SigningKey::from_bytes(secret);
    // without the public key beside it, which is a later form that not all tools read
    let plain = KeypairBytes { secret_key: *secret, public_key: None }.to_pkcs8_der().map_err(|e| made(&e))?;
    let info = PrivateKeyInfoRef::try_from(plain.as_bytes()).map_err(|e| made(&e))?;
    let work = pkcs8::pkcs5::scrypt::Params::new(SCRYPT_LOG_N, 8, 1).map_err(|e| made(&e))?;
    let sealed = pbes2::Parameters::generate_scrypt_aes256cbc(work, salt, *cipher).map_err(|e| made(&e))?;
    let document = info.encrypt_with_params(sealed, passphrase).map_err(|e| made(&e))?;
    let pem = document.to_pem(LABEL, LineEnding::LF).map_err(|e| made(&e))?;
    let write = || {
        let mut file = File::create_new(path)?;
        file.write_all(pem.as_bytes())?;
        file.sync_all()
    };
    write().map_err(|e| match e.kind() {
        std::io::ErrorKind::AlreadyExists => ReviewerFault::Taken(shown(path)),
        _ => ReviewerFault::File(shown(path), e.to_string()),
    })?;
    Ok(key)
}

/// Opens a key with its passphrase.
///
/// # Errors
/// See [`ReviewerFault`].
pub fn open(path: &Path, passphrase: &str) -> Result<SigningKey, ReviewerFault> {
    let mut pem = String::new();
    let read = File::open(path).and_then(|file| file.take(FILE_BYTES).read_to_string(&mut pem));
    read.map_err(|e| ReviewerFault::File(shown(path), e.to_string()))?;
    let closed = || ReviewerFault::Closed(shown(path));
    let (label, document) = SecretDocument::from_pem(&pem).map_err(|_| closed())?;
    let sealed = EncryptedPrivateKeyInfoRef::try_from(document.as_bytes()).map_err(|_| closed())?;
    let plain = sealed.decrypt(passphrase).map_err(|_| closed())?;
    SigningKey::from_pkcs8_der(plain.as_bytes()).ok().filter(|_| label == LABEL).ok_or_else(closed)
}

fn shown(path: &Path) -> String {
    terminal(&path.display().to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_opens_with_its_passphrase_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("reviewer.pem");
        assert_eq!(make(&path, "too short", &[1; 64]).unwrap_err(), ReviewerFault::Short);
        let made = make(&path, "four words of chance", &[1; 64]).unwrap();
        assert_eq!(open(&path, "four words of chance").unwrap().to_bytes(), made.to_bytes());
        assert!(matches!(open(&path, "four words of chanc"), Err(ReviewerFault::Closed(_))));
        assert!(matches!(make(&path, "four words of chance", &[1; 64]), Err(ReviewerFault::Taken(_))));
        std::fs::write(&path, "no key").unwrap();
        assert!(matches!(open(&path, "four words of chance"), Err(ReviewerFault::Closed(_))));
        assert!(matches!(open(folder.path(), "four words of chance"), Err(ReviewerFault::File(..))));
    }
}
