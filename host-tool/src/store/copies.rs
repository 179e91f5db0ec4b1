//! Copies of a whole store: of an open one while others write to it, and of another's files without touching them.

use super::fault::{fault, shown};
use super::{PATIENCE, StoreFault, blocks};
use rusqlite::backup::{Backup, StepResult};
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags};
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

/// How often another's files are copied again when they change meanwhile.
const TRIES: u32 = 5;
const BETWEEN_TRIES: Duration = Duration::from_millis(200);

/// What a store holds, to compare two of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contents {
    /// Slots, those that are kept aside not counted.
    pub slots: u64,
    /// SHA-256 over every row of every table but those that are found again in the slots.
    pub digest: [u8; 32],
}

/// A name beside a file's: its own with something more at the end.
pub(super) fn beside(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    PathBuf::from(name)
}

/// A second look at a store that is there.
pub(super) fn open_to_read(path: &Path) -> Result<Connection, StoreFault> {
    let db = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX);
    let db = db.map_err(|e| fault(path, &e))?;
    db.busy_timeout(PATIENCE).map_err(|e| fault(path, &e))?;
    Ok(db)
}

/// Copies a store as it stands at one instant into a file that is not there yet, and compares the copy with that
/// instant. The file is complete, compared and on the disk when it gets its name.
pub(super) fn copy_into(source: &Connection, from: &Path, to: &Path) -> Result<Contents, StoreFault> {
    let part = beside(to, ".part"); // of a run that was cut short, perhaps
    let to_fault = |e: &rusqlite::Error| fault(&part, e);
    let disk = |e: io::Error| StoreFault::Disk(shown(to), e.to_string());
    match fs::remove_file(&part) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(disk(e)),
        _ => {}
    }
    let instant = source.unchecked_transaction().map_err(|e| fault(from, &e))?;
    let expected = contents(&instant).map_err(|e| fault(from, &e))?;
    let mut copy = Connection::open(&part).map_err(|e| to_fault(&e))?;
    copy_pages(&instant, &mut copy).map_err(|e| to_fault(&e))?;
    instant.commit().map_err(|e| fault(from, &e))?;
    // one file, which can be read from a medium that is locked against writing
    copy.pragma_update(None, "journal_mode", "DELETE").map_err(|e| to_fault(&e))?;
    if contents(&copy).map_err(|e| to_fault(&e))? != expected {
        return Err(StoreFault::CopyDiffers(shown(to)));
    }
    copy.close().map_err(|(_, e)| to_fault(&e))?;
    File::open(&part).and_then(|file| file.sync_all()).map_err(disk)?;
    fs::rename(&part, to).map_err(disk)?;
    sync_folder(to).map_err(disk)?;
    Ok(expected)
}

fn copy_pages(source: &Connection, copy: &mut Connection) -> rusqlite::Result<()> {
    let backup = Backup::new(source, copy)?;
    while backup.step(-1)? != StepResult::Done {
        sleep(BETWEEN_TRIES); // nobody else knows the new file, so this ends at once
    }
    Ok(())
}

/// A name is on the disk when its folder is.
fn sync_folder(of: &Path) -> io::Result<()> {
    let folder = of.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

/// Whether a file holds the same as a store; a file that cannot be read does not.
pub(super) fn same(store: &Connection, file: &Path) -> bool {
    let held = open_to_read(file).ok().and_then(|copy| contents(&copy).ok());
    held.is_some() && held == contents(store).ok()
}

/// Counts and digests all that a database holds.
pub(super) fn contents(db: &Connection) -> rusqlite::Result<Contents> {
    let tables = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT IN ('set_ups', 'read_through') ORDER BY name";
    let mut tables = db.prepare(tables)?;
    let tables = tables.query_map([], |row| row.get::<_, String>(0))?.collect::<Result<Vec<_>, _>>()?;
    let (mut digest, mut slots) = (Sha256::new(), 0);
    for table in tables {
        let mut query = db.prepare(&format!("SELECT * FROM \"{table}\""))?;
        let columns = query.column_count();
        let mut rows = query.query([])?;
        while let Some(row) = rows.next()? {
            slots += match &table[..] {
                "slots" => 1,
                "blocks" => blocks::count(row.get_ref(1)?.as_blob()?) as u64,
                _ => 0,
            };
            for column in 0..columns {
                take_in(&mut digest, row.get_ref(column)?);
            }
        }
        digest.update(table);
    }
    Ok(Contents { slots, digest: digest.finalize().into() })
}

fn take_in(digest: &mut Sha256, value: ValueRef<'_>) {
    let (kind, bytes): (u8, &[u8]) = match value {
        ValueRef::Null => (0, &[]),
        ValueRef::Integer(number) => (1, &number.to_le_bytes()),
        ValueRef::Real(number) => (2, &number.to_le_bytes()),
        ValueRef::Text(text) => (3, text),
        ValueRef::Blob(blob) => (4, blob),
    };
    digest.update([kind]);
    digest.update((bytes.len() as u64).to_le_bytes());
    digest.update(bytes);
}

/// Another's files, copied: whatever is done to the copy, theirs stay as they are.
#[derive(Debug)]
pub(super) struct Taken {
    folder: tempfile::TempDir,
}

impl Taken {
    /// Copies a store's file and what has not been written into it yet. Where somebody writes meanwhile, again.
    pub(super) fn of(path: &Path) -> Result<Self, StoreFault> {
        if !path.is_file() {
            return Err(StoreFault::Absent(shown(path)));
        }
        let disk = |e: io::Error| StoreFault::Disk(shown(path), e.to_string());
        let taken = Self { folder: tempfile::tempdir().map_err(disk)? };
        for _ in 0..TRIES {
            let before = state(path);
            fs::copy(path, taken.path()).map_err(disk)?;
            match fs::copy(beside(path, "-wal"), taken.log()) {
                Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(disk(e)),
                _ => {}
            }
            if state(path) == before {
                return Ok(taken);
            }
            drop(fs::remove_file(taken.log()));
            sleep(BETWEEN_TRIES);
        }
        Err(StoreFault::Busy(shown(path)))
    }

    /// The copy.
    pub(super) fn path(&self) -> PathBuf {
        self.folder.path().join("store")
    }

    /// What had not been written into it yet.
    pub(super) fn log(&self) -> PathBuf {
        beside(&self.path(), "-wal")
    }
}

/// Length and time of the last change of a store's two files.
fn state(path: &Path) -> [Option<(u64, std::time::SystemTime)>; 2] {
    [path.to_owned(), beside(path, "-wal")].map(|file| {
        let known = fs::metadata(file).ok()?;
        Some((known.len(), known.modified().ok()?))
    })
}
