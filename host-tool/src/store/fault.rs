//! Why a store cannot do what it was asked, in words for people.

use super::STORE_VERSION;
use crate::entry::EntryFault;
use crate::text::terminal;
use rusqlite::ErrorCode;
use std::path::Path;

/// Why the store cannot do it; one line each.
#[derive(Debug, thiserror::Error)]
pub enum StoreFault {
    /// A newer program made it.
    #[error(
        "{0} was written by a later version of Borewitness (store version {1}, this one knows {STORE_VERSION}): use that one. Nothing was changed"
    )]
    Later(String, i32),
    /// Some other file.
    #[error(
        "{0} is not a Borewitness store: name another file. Nothing was changed (`borewitness salvage` looks for records in what was one)"
    )]
    Foreign(String),
    /// Nothing to read.
    #[error("there is no store at {0}: name one with --store, or make one by listening to a rig")]
    Absent(String),
    /// The file system has no room.
    #[error("the disk that holds {0} is full: make room and start again. What was stored before is safe, and the rig keeps the rest")]
    Full(String),
    /// The file system refuses writing.
    #[error("{0} cannot be written to: check its permissions, or name another store with --store")]
    ReadOnly(String),
    /// The file or its folder cannot be opened.
    #[error("{0} cannot be opened: check that its folder exists and that you may write there, or name another store with --store")]
    Closed(String),
    /// Another program does not let go of it.
    #[error("{0} is in use by another program: close that one and start again")]
    Busy(String),
    /// It is not what was written.
    #[error("{0} is damaged: keep it, and take out what is whole with `borewitness salvage {0} --store NEW`; listen with the new one")]
    Damaged(String),
    /// There is something already.
    #[error("{0} is there already: name a file that is not, nothing was changed")]
    Taken(String),
    /// Nothing in it.
    #[error("no record that holds was found in {0}: it stays as it is, and nothing was made")]
    Nothing(String),
    /// A copy is not what it was made of.
    #[error("the copy {0} does not hold what the store holds: check that disk, and copy to another")]
    CopyDiffers(String),
    /// The disk does not do as told.
    #[error("{0} cannot be written or read ({1}): make room on the disk, or check it, and start again. What was stored before is safe")]
    Disk(String, String),
    /// No key can be made.
    #[error("this computer gives no random numbers for a key ({0}): nothing was entered")]
    NoChance(String),
    /// What somebody enters cannot be taken.
    #[error(transparent)]
    Entry(#[from] EntryFault),
    /// Anything else that SQLite says.
    #[error("the store {0} failed: {1}")]
    Other(String, String),
}

pub(super) fn shown(path: &Path) -> String {
    terminal(&path.display().to_string())
}

pub(super) fn fault(path: &Path, error: &rusqlite::Error) -> StoreFault {
    let path = shown(path);
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => StoreFault::Full(path),
        Some(ErrorCode::ReadOnly) => StoreFault::ReadOnly(path),
        Some(ErrorCode::CannotOpen) => StoreFault::Closed(path),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => StoreFault::Busy(path),
        Some(ErrorCode::NotADatabase) => StoreFault::Foreign(path),
        Some(ErrorCode::DatabaseCorrupt) => StoreFault::Damaged(path),
        Some(ErrorCode::SystemIoFailure) => StoreFault::Disk(path, terminal(&error.to_string())),
        _ => StoreFault::Other(path, terminal(&error.to_string())),
    }
}

impl StoreFault {
    /// The same of the file that a copy was made of: a person knows only that one.
    pub(super) fn of(self, path: &Path) -> Self {
        let path = shown(path);
        match self {
            Self::Later(_, version) => Self::Later(path, version),
            Self::Foreign(_) => Self::Foreign(path),
            Self::Damaged(_) => Self::Damaged(path),
            Self::Disk(_, why) => Self::Disk(path, why),
            Self::Other(_, why) => Self::Other(path, why),
            other => other,
        }
    }
}
