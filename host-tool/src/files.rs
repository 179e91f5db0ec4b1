//! Files that are whole or absent: what is written lies beside its name until all of it is on the disk.

use crate::text::terminal;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// A file or folder that cannot be written, and why; one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0} cannot be written: {1}")]
pub struct FileFault(pub String, pub String);

impl FileFault {
    /// Of a path and what the system says.
    #[must_use]
    pub fn new(path: &Path, error: &std::io::Error) -> Self {
        Self(terminal(&path.display().to_string()), terminal(&error.to_string()))
    }
}

/// Writes beside the file, and gives it its name when all of it is on the disk. What had that name is replaced.
///
/// # Errors
/// Where the disk does not take it; then nothing is left of it, and what had the name stays.
pub fn whole_or_absent(path: &Path, bytes: &[u8]) -> Result<PathBuf, FileFault> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = PathBuf::from(beside);
    let write = || {
        let mut file = fs::File::create(&beside)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        fs::rename(&beside, path)
    };
    write().map_err(|error| {
        drop(fs::remove_file(&beside));
        FileFault::new(path, &error)
    })?;
    Ok(path.to_owned())
}

/// Makes a folder where there is none, and writes these files into it, each whole or absent.
///
/// # Errors
/// As [`whole_or_absent`].
pub fn into_folder(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<Vec<PathBuf>, FileFault> {
    fs::create_dir_all(folder).map_err(|error| FileFault::new(folder, &error))?;
    files.iter().map(|(name, bytes)| whole_or_absent(&folder.join(name), bytes)).collect()
}

/// Names that no file system takes for one another, in their order: a name that another has already gets a number.
#[must_use]
pub fn apart(names: impl IntoIterator<Item = String>) -> Vec<String> {
    let mut taken: Vec<String> = Vec::new();
    for name in names {
        let others = (2..).map(|number: u32| format!("{name}-{number}"));
        let is_free = |candidate: &String| !taken.iter().any(|other| other.to_lowercase() == candidate.to_lowercase());
        let free = std::iter::once(name.clone()).chain(others).find(is_free);
        taken.extend(free);
    }
    taken
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_told_apart_whatever_their_case() {
        let names = ["a", "A", "a", "a-2", "b"].map(str::to_owned);
        assert_eq!(apart(names), ["a", "A-2", "a-3", "a-2-2", "b"]);
    }

    #[test]
    fn a_file_that_cannot_be_written_leaves_what_was_there() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.json");
        whole_or_absent(&path, b"first").unwrap();
        fs::create_dir(folder.path().join("x.json.part")).unwrap(); // a folder sits where the half file would be
        let said = whole_or_absent(&path, b"second").unwrap_err().to_string();
        assert!(said.contains("x.json cannot be written: ") && !said.contains('\n'), "{said}");
        assert_eq!(fs::read(&path).unwrap(), b"first");
        fs::remove_dir(folder.path().join("x.json.part")).unwrap();
        whole_or_absent(&path, b"second").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"second");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
