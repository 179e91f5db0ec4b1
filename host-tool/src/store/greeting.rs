//! What a rig said of itself when it was met, beside its records: whether it is a simulated one.

use super::{Store, StoreFault, id_of};
use crate::session::Stream;
use rusqlite::{Connection, OptionalExtension, params};

/// Unknown (null) where the rig was met by a program that did not keep it.
pub(super) const TABLES: &str = "ALTER TABLE streams ADD COLUMN simulated INTEGER CHECK (simulated IN (0, 1));";

impl Store {
    /// Keeps that a rig was met. One that once said it was simulated stays so.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn met(&mut self, stream: &Stream, simulated: bool) -> Result<(), StoreFault> {
        let sql = "INSERT INTO streams (rig, epoch, simulated) VALUES (?1, ?2, ?3)
            ON CONFLICT (rig, epoch) DO UPDATE SET simulated = excluded.simulated
            WHERE simulated IS NULL OR simulated < excluded.simulated";
        self.db.execute(sql, params![stream.rig, stream.epoch, simulated]).map(drop).map_err(|e| self.fault(&e))
    }

    /// Whether a rig said that it is simulated, where that was kept.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn simulated(&self, stream: &Stream) -> Result<Option<bool>, StoreFault> {
        let read = |db: &Connection| {
            let Some(id) = id_of(db, stream).optional()? else { return Ok(None) };
            db.query_row("SELECT simulated FROM streams WHERE id = ?1", [id], |row| row.get(0))
        };
        read(&self.db).map_err(|e| self.fault(&e))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stream() -> Stream {
        Stream { rig: "Alpha".to_owned(), epoch: 2 }
    }

    #[test]
    fn a_rig_that_was_simulated_once_stays_so() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(&folder.path().join("store")).unwrap();
        assert_eq!(store.simulated(&stream()).unwrap(), None);
        for (said, kept) in [(false, false), (true, true), (false, true)] {
            store.met(&stream(), said).unwrap();
            assert_eq!(store.simulated(&stream()).unwrap(), Some(kept));
        }
        assert_eq!(store.rigs().unwrap(), [stream()]);
    }
}
