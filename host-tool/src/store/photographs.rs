//! Photographs beside a store: each under its SHA-256 in the folder `STORE.photographs`, which entries name.

use super::copies::beside;
use crate::files::{FileFault, whole_or_absent};
use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Bytes of a photograph.
pub const BYTES_MAX: usize = 8 << 20;

/// What became of another store's photographs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Brought {
    /// Those that were not here, or not what they were.
    pub new: usize,
    /// Those that were here.
    pub same: usize,
    /// Those that are not what their names say, or cannot be read: they are not taken.
    pub spoilt: Vec<String>,
}

/// The folder of a store's photographs.
#[must_use]
pub fn folder(store: &Path) -> PathBuf {
    beside(store, ".photographs")
}

/// Whether this is a photograph's name.
#[must_use]
pub fn is_digest(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
}

/// Keeps a photograph under its digest, and returns that.
///
/// # Errors
/// Where the disk does not take it.
pub fn keep(store: &Path, bytes: &[u8]) -> Result<String, FileFault> {
    let (folder, digest) = (folder(store), HEXLOWER.encode(&Sha256::digest(bytes)));
    fs::create_dir_all(&folder).map_err(|error| FileFault::new(&folder, &error))?;
    whole_or_absent(&folder.join(&digest), bytes)?;
    Ok(digest)
}

/// A photograph that is what it was; `Ok(None)` for one that is not.
///
/// # Errors
/// Where it is not there, or cannot be read.
pub fn read(store: &Path, digest: &str) -> io::Result<Option<Vec<u8>>> {
    if !is_digest(digest) {
        return Err(io::ErrorKind::NotFound.into());
    }
    let mut bytes = Vec::new();
    let most = u64::try_from(BYTES_MAX).unwrap_or(u64::MAX).saturating_add(1);
    File::open(folder(store).join(digest))?.take(most).read_to_end(&mut bytes)?;
    Ok((HEXLOWER.encode(&Sha256::digest(&bytes)) == digest).then_some(bytes))
}

/// Brings one store's photographs to another, each compared with its name. What lies there and is no photograph is left where it is.
///
/// # Errors
/// Where the disk does not take one; those before it stay.
pub fn bring(from: &Path, to: &Path) -> Result<Brought, FileFault> {
    let mut brought = Brought::default();
    let there = folder(from);
    let names = match fs::read_dir(&there) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(brought),
        names => names.map_err(|error| FileFault::new(&there, &error))?,
    };
    let mut names: Vec<String> =
        names.filter_map(|file| file.ok()?.file_name().into_string().ok()).filter(|name| is_digest(name)).collect();
    names.sort();
    for name in names {
        if matches!(read(to, &name), Ok(Some(_))) {
            brought.same += 1;
            continue;
        }
        match read(from, &name) {
            Ok(Some(bytes)) => {
                keep(to, &bytes)?;
                brought.new += 1;
            }
            _ => brought.spoilt.push(name),
        }
    }
    Ok(brought)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_come_over_by_their_digests_and_spoilt_ones_do_not() {
        let at = tempfile::tempdir().unwrap();
        let [from, to] = ["from.store", "to.store"].map(|name| at.path().join(name));
        assert_eq!(bring(&from, &to).unwrap(), Brought::default(), "there are none");
        let [one, two, three] = ["one", "two", "three"].map(|picture| keep(&from, picture.as_bytes()).unwrap());
        // printf one | sha256sum
        assert_eq!(one, "7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed");
        keep(&to, b"two").unwrap();
        fs::write(folder(&from).join(&three), "another").unwrap();
        fs::write(folder(&from).join("letter.txt"), "a letter").unwrap();
        let brought = bring(&from, &to).unwrap();
        assert_eq!(brought, Brought { new: 1, same: 1, spoilt: vec![three.clone()] });
        assert_eq!((read(&to, &one).unwrap().as_deref(), read(&to, &three).is_err()), (Some(&b"one"[..]), true));
        assert!(!folder(&to).join("letter.txt").exists());
        // what is spoilt here is mended from there
        fs::write(folder(&to).join(&two), "rot").unwrap();
        assert_eq!(read(&to, &two).unwrap(), None);
        assert_eq!(bring(&from, &to).unwrap().new, 1);
        assert_eq!(read(&to, &two).unwrap().as_deref(), Some(&b"two"[..]));
    }

    #[test]
    fn nothing_but_a_digest_is_a_name() {
        let at = tempfile::tempdir().unwrap();
        for name in ["", "..", "../secret", &"A".repeat(64), &"a".repeat(63), &"/".repeat(64)] {
            assert!(read(&at.path().join("store"), name).is_err(), "{name}");
        }
    }
}
