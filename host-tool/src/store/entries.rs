//! What people enter, in one chain for each host that it was entered on: only ever added to.

use super::{Store, StoreFault, fault};
use crate::entry::{Entry, HoleName, Link, Place, SetUpName, Signed};
use ed25519_dalek::SigningKey;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use std::collections::{BTreeMap, BTreeSet};

/// The table. A number that has two entries is kept with both: somebody went on with a copy of a store. `hole` and `set_up`
/// are in the body too, and stand here to be found by.
pub(super) const TABLES: &str = "
    CREATE TABLE entries (
        host INTEGER NOT NULL, number INTEGER NOT NULL, body BLOB NOT NULL, sum BLOB NOT NULL CHECK (length(sum) = 32),
        hole TEXT NOT NULL, set_up TEXT,
        PRIMARY KEY (host, number, sum)
    ) STRICT, WITHOUT ROWID;
    CREATE INDEX entries_of_hole ON entries (hole);
    CREATE INDEX entries_of_set_up ON entries (set_up);
    CREATE TRIGGER entries_stay BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'only added to'); END;
    CREATE TRIGGER entries_remain BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'only added to'); END;
";

/// Hosts sign what is entered on them. A store's key is made when it is first needed, and never leaves its file.
pub(super) const SIGNATURES: &str = "
    ALTER TABLE host ADD COLUMN secret BLOB CHECK (length(secret) = 32);
    ALTER TABLE entries ADD COLUMN key BLOB CHECK (length(key) = 32);
    ALTER TABLE entries ADD COLUMN signature BLOB CHECK (length(signature) = 64);
";

/// What became of another chain's entries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Added {
    /// Entries that were not here.
    pub new: u32,
    /// Entries that differ from the one here under the same number; both are kept.
    pub differing: u32,
}

/// A link, and the sum of the one before it where that is here.
pub type Follower = (Link, Option<[u8; 32]>);

/// An entry with its place, and whether its chain holds up to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Entered {
    /// Where it stands.
    pub place: Place,
    /// What it says.
    pub entry: Entry,
    /// It is what was entered, behind all those before it, and no other has its number.
    pub chained: bool,
}

impl Store {
    /// Adds an entry to this host's chain, and returns when it is on the disk.
    ///
    /// # Errors
    /// See [`StoreFault`]; nothing is added then. What [`Entry::check`] refuses is refused.
    pub fn enter(&mut self, entry: &Entry) -> Result<Place, StoreFault> {
        self.enter_all(std::slice::from_ref(entry))
    }

    /// Adds entries to this host's chain, all or none, and returns the place of the last when they are on the disk.
    ///
    /// # Errors
    /// See [`StoreFault`]; nothing is added then. What [`Entry::check`] refuses is refused.
    pub fn enter_all(&mut self, entries: &[Entry]) -> Result<Place, StoreFault> {
        entries.iter().try_for_each(Entry::check)?;
        let key = self.key()?;
        let path = self.path.clone();
        let mut add = || -> rusqlite::Result<Place> {
            let act = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let host = act.query_row("SELECT id FROM host", [], |row| row.get(0))?;
            let last = "SELECT number, sum FROM entries WHERE host = ?1 ORDER BY number DESC LIMIT 1";
            let last: Option<(u32, [u8; 32])> = act.query_row(last, [host], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
            let (mut number, mut before) = last.map_or((0, [0; 32]), |(number, sum)| (number.saturating_add(1), sum));
            for entry in entries {
                let place = Place { host, number };
                let link = Link::new(place, &before, entry, &key).map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))?;
                put(&act, &link)?;
                (number, before) = (number.saturating_add(1), link.sum);
            }
            act.commit()?;
            Ok(Place { host, number: number.saturating_sub(1) })
        };
        add().map_err(|e| fault(&path, &e))
    }

    /// The key that this host signs with; made now where there is none yet.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn key(&self) -> Result<SigningKey, StoreFault> {
        let secret = || self.db.query_row("SELECT secret FROM host", [], |row| row.get::<_, Option<[u8; 32]>>(0));
        if let Some(secret) = secret().map_err(|e| self.fault(&e))? {
            return Ok(SigningKey::from_bytes(&secret));
        }
        let mut fresh = [0; 32];
        getrandom::fill(&mut fresh).map_err(|e| StoreFault::NoChance(e.to_string()))?;
        // another program may have been quicker
        let made = self.db.execute("UPDATE host SET secret = ?1 WHERE secret IS NULL", [fresh]).and_then(|_| secret());
        Ok(SigningKey::from_bytes(&made.map_err(|e| self.fault(&e))?.unwrap_or(fresh)))
    }

    /// Adds entries of any host's chain as they stand; those that are here already change nothing.
    ///
    /// # Errors
    /// See [`StoreFault`]; nothing is added then.
    pub(super) fn keep_entries(&mut self, links: &[Link]) -> Result<Added, StoreFault> {
        let path = self.path.clone();
        let mut keep = || -> rusqlite::Result<Added> {
            let act = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let mut added = Added::default();
            for link in links {
                let others = "SELECT count(*) FROM entries WHERE host = ?1 AND number = ?2 AND sum <> ?3";
                let others: u32 = act.query_row(others, params![link.place.host, link.place.number, link.sum], |row| row.get(0))?;
                let new = u32::try_from(put(&act, link)?).unwrap_or(0);
                added.new += new;
                added.differing += u32::from(others > 0) * new;
            }
            act.commit()?;
            Ok(added)
        };
        keep().map_err(|e| fault(&path, &e))
    }

    /// Every entry of every chain, by host and number.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn links(&self) -> Result<Vec<Link>, StoreFault> {
        links(&self.db).map_err(|e| self.fault(&e))
    }

    /// Every entry about the holes of a structure, by host and number, each with the sum of the entry before it where that is here.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn links_of_structure(&self, line: &str, structure: &str) -> Result<Vec<Follower>, StoreFault> {
        let list = || -> rusqlite::Result<Vec<Follower>> {
            let begins = beginning(line, structure);
            // what an earlier version could not read stands without a hole
            let sql =
                format!("SELECT {LINK} FROM entries WHERE hole = '' OR hole BETWEEN ?1 AND ?1 || x'F48FBFBF' ORDER BY host, number, sum");
            let links = self.db.prepare_cached(&sql)?.query_map([&begins], link)?.collect::<rusqlite::Result<Vec<Link>>>()?;
            let is_of = |link: &Link| link.entry().is_some_and(|entry| (&*entry.hole.line, &*entry.hole.structure) == (line, structure));
            let before = "SELECT sum FROM entries WHERE host = ?1 AND number = ?2 ORDER BY sum DESC LIMIT 1";
            let mut before = self.db.prepare_cached(before)?;
            let mut with_before = |link: Link| {
                let Place { host, number } = link.place;
                let sum = number.checked_sub(1).map(|number| before.query_row([host, number], |row| row.get(0)).optional()).transpose()?;
                Ok((link, sum.flatten()))
            };
            links.into_iter().filter(is_of).map(&mut with_before).collect()
        };
        list().map_err(|e| self.fault(&e))
    }

    /// How many entries there are; they are only ever added to.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn entered(&self) -> Result<u32, StoreFault> {
        self.db.query_row("SELECT count(*) FROM entries", [], |row| row.get(0)).map_err(|e| self.fault(&e))
    }

    /// Entries behind the last that is known of each host, by host and number.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn entries_behind(&self, known: &BTreeMap<u32, u32>) -> Result<Vec<(Place, Entry)>, StoreFault> {
        let list = || -> rusqlite::Result<Vec<Link>> {
            let (mut all, mut next) = (Vec::new(), -1_i64);
            let mut hosts = self.db.prepare_cached("SELECT min(host) FROM entries WHERE host > ?1")?;
            let sql = format!("SELECT {LINK} FROM entries WHERE host = ?1 AND number > ?2 ORDER BY number, sum");
            let mut of_host = self.db.prepare_cached(&sql)?;
            while let Some(host) = hosts.query_row([next], |row| row.get::<_, Option<u32>>(0))? {
                let last = known.get(&host).map_or(-1, |number| i64::from(*number));
                all.extend(of_host.query_map(params![host, last], link)?.collect::<rusqlite::Result<Vec<Link>>>()?);
                next = i64::from(host);
            }
            Ok(all)
        };
        Ok(list().map_err(|e| self.fault(&e))?.iter().filter_map(|link| Some((link.place, link.entry()?))).collect())
    }

    /// Every entry that can be read, by host and number, with what its chain is worth.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn entries(&self) -> Result<Vec<Entered>, StoreFault> {
        let links = self.links()?;
        let sound = sound(&links);
        let entered =
            |link: &Link| Some(Entered { place: link.place, entry: link.entry()?, chained: sound.contains(&(link.place, link.sum)) });
        Ok(links.iter().filter_map(entered).collect())
    }

    /// Entries about a hole, by host and number.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn entries_of_hole(&self, hole: &HoleName) -> Result<Vec<(Place, Entry)>, StoreFault> {
        self.said_of("hole", &key(hole))
    }

    /// Entries about a set-up, by host and number.
    ///
    /// # Errors
    /// See [`StoreFault`].
    pub fn entries_of_set_up(&self, set_up: &SetUpName) -> Result<Vec<(Place, Entry)>, StoreFault> {
        self.said_of("set_up", &key(set_up))
    }

    fn said_of(&self, column: &str, key: &str) -> Result<Vec<(Place, Entry)>, StoreFault> {
        let sql = format!("SELECT {LINK} FROM entries WHERE {column} = ?1 ORDER BY host, number");
        let list = || self.db.prepare_cached(&sql)?.query_map([key], link)?.collect::<rusqlite::Result<Vec<Link>>>();
        Ok(list().map_err(|e| self.fault(&e))?.iter().filter_map(|link| Some((link.place, link.entry()?))).collect())
    }
}

/// What an index finds a hole or a set-up by.
fn key(name: &impl serde::Serialize) -> String {
    serde_json::to_string(name).unwrap_or_default()
}

/// What the keys of a structure's holes begin with.
fn beginning(line: &str, structure: &str) -> String {
    let [line, structure] = [line, structure].map(|name| key(&name));
    format!("{{\"line\":{line},\"structure\":{structure},")
}

fn put(db: &Connection, link: &Link) -> rusqlite::Result<usize> {
    let entry = link.entry();
    let hole = entry.as_ref().map_or_else(String::new, |entry| key(&entry.hole));
    let set_up = entry.as_ref().and_then(|entry| entry.set_up.as_ref()).map(key);
    let Place { host, number } = link.place;
    let (key, signature) = link.signed.map(|signed| (signed.key, signed.signature)).unzip();
    let sql =
        "INSERT OR IGNORE INTO entries (host, number, body, sum, hole, set_up, key, signature) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    db.prepare_cached(sql)?.execute(params![host, number, link.body, link.sum, hole, set_up, key, signature])
}

fn links(db: &Connection) -> rusqlite::Result<Vec<Link>> {
    db.prepare(&format!("SELECT {LINK} FROM entries ORDER BY host, number, sum"))?.query_map([], link)?.collect()
}

/// The columns that [`link`] reads.
const LINK: &str = "host, number, body, sum, key, signature";

fn link(row: &Row<'_>) -> rusqlite::Result<Link> {
    let (key, signature): (Option<[u8; 32]>, Option<[u8; 64]>) = (row.get(4)?, row.get(5)?);
    let signed = key.zip(signature).map(|(key, signature)| Signed { key, signature });
    Ok(Link { place: Place { host: row.get(0)?, number: row.get(1)? }, body: row.get(2)?, sum: row.get(3)?, signed })
}

/// Entries of a damaged database up to the first that cannot be read, one host and number after the other, and whether there
/// was such a one: how many there are behind it nobody knows.
pub(super) fn readable(db: &Connection) -> (Vec<Link>, bool) {
    let there = db.table_exists(None, "entries").unwrap_or(true);
    let (mut found, mut cut_short) = (Vec::new(), there);
    // of a version that did not keep signatures
    let bare = "host, number, body, sum, NULL, NULL";
    let list = |columns: &str| db.prepare(&format!("SELECT {columns} FROM entries ORDER BY host, number, sum"));
    let Ok(mut query) = list(LINK).or_else(|_| list(bare)) else { return (found, there) };
    if let Ok(rows) = query.query_map([], link) {
        cut_short = false;
        for row in rows {
            match row {
                Ok(link) => found.push(link),
                Err(_) => {
                    cut_short = true;
                    break;
                }
            }
        }
    }
    (found, cut_short)
}

/// Places and sums of the entries that are what was entered, behind all those before them, where no other has the same number.
fn sound(links: &[Link]) -> BTreeSet<(Place, [u8; 32])> {
    let mut chains: BTreeMap<Place, Vec<&Link>> = BTreeMap::new();
    for link in links {
        chains.entry(link.place).or_default().push(link);
    }
    let (mut sound, mut last) = (BTreeSet::new(), None);
    for (place, same) in chains {
        let before = match place.number.checked_sub(1) {
            None => Some([0; 32]),
            Some(number) => last.and_then(|(known, sum)| (known == Place { number, ..place }).then_some(sum)),
        };
        if let ([link], Some(before)) = (&same[..], before)
            && link.follows(&before)
        {
            sound.insert((place, link.sum));
            last = Some((place, link.sum));
        }
    }
    sound
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{HoleState, Said};
    use crate::facts::Wall;
    use crate::store::tests::in_folder;
    use shared_protocol::state::Leg;

    fn entry(structure: &str, state: HoleState) -> Entry {
        let hole = HoleName { line: "SIMULATED".to_owned(), structure: structure.to_owned(), leg: Leg::Single, attempt: 1 };
        Entry::new("Tester", Wall { unix_ms: 1_778_592_600_000, offset: 120 }, hole, Said::State { state })
    }

    fn three() -> (tempfile::TempDir, Store) {
        let (folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        for (structure, state) in [("1", HoleState::Drilled), ("2", HoleState::Drilled), ("1", HoleState::Covered)] {
            store.enter(&entry(structure, state)).unwrap();
        }
        (folder, store)
    }

    #[test]
    fn entries_stand_in_one_chain_and_are_found_by_their_hole() {
        let (_folder, store) = three();
        let all = store.entries().unwrap();
        assert!(all.iter().all(|entered| entered.chained));
        assert_eq!(all.iter().map(|e| e.place.number).collect::<Vec<_>>(), [0, 1, 2]);
        assert_eq!(all[0].place.host, store.host().unwrap());
        assert_eq!(
            store.entries_of_hole(&entry("1", HoleState::Staked).hole).unwrap().into_iter().map(|(_, said)| said).collect::<Vec<_>>(),
            [entry("1", HoleState::Drilled), entry("1", HoleState::Covered)]
        );
    }

    #[test]
    fn what_is_entered_about_a_set_up_is_found_by_it() {
        let (_folder, mut store) = three();
        let set_up = SetUpName { rig: "R".to_owned(), epoch: 1, opened: 40 };
        let about = Entry { set_up: Some(set_up.clone()), ..entry("1", HoleState::Attended) };
        let place = store.enter(&about).unwrap();
        assert_eq!(store.entries_of_set_up(&set_up).unwrap(), [(place, about)]);
        assert_eq!(store.entries_of_set_up(&SetUpName { opened: 41, ..set_up }).unwrap(), []);
    }

    #[test]
    fn entries_are_neither_changed_nor_removed_and_a_bad_one_is_not_taken() {
        let (_folder, mut store) = three();
        for sql in ["UPDATE entries SET number = 9", "DELETE FROM entries"] {
            assert!(store.db.execute(sql, []).unwrap_err().to_string().contains("only added to"), "{sql}");
        }
        let nobody = Entry { by: String::new(), ..entry("1", HoleState::Drilled) };
        assert_eq!(store.enter(&nobody).unwrap_err().to_string(), "say who says so, in 60 bytes at most");
        assert_eq!(store.entries().unwrap().len(), 3);
    }

    /// Whoever opens the file with another program can change it; the chain then says so from there on.
    #[test]
    fn what_is_changed_taken_out_or_put_in_behind_the_tools_back_breaks_the_chain() {
        let chained = |store: &Store| store.entries().unwrap().iter().map(|e| e.chained).collect::<Vec<_>>();
        let forge = |sql: &str| {
            let (folder, store) = three();
            store.db.execute_batch("DROP TRIGGER entries_stay; DROP TRIGGER entries_remain").unwrap();
            store.db.execute(sql, []).unwrap();
            (chained(&store), folder).0
        };
        let other = "replace(CAST(body AS TEXT), 'drilled', 'covered')";
        assert_eq!(forge(&format!("UPDATE entries SET body = CAST({other} AS BLOB) WHERE number = 1")), [true, false, false]);
        assert_eq!(forge("DELETE FROM entries WHERE number = 1"), [true, false]);
        assert_eq!(
            forge("INSERT INTO entries SELECT host, 3, body, sum, hole, set_up, key, signature FROM entries WHERE number = 0"),
            [true, true, true, false]
        );
        assert_eq!(forge("UPDATE entries SET host = host + 1 & 0xFFFFFFFF"), [false, false, false]);
    }

    #[test]
    fn a_chain_that_two_programs_went_on_with_is_kept_both_ways_and_said() {
        let (folder, mut store) = three();
        let copy = folder.path().join("copy");
        store.backup(&copy).unwrap();
        let mut other = Store::open_existing(&copy).unwrap(); // the file copied, not restored: the same host number
        store.enter(&entry("3", HoleState::Drilled)).unwrap();
        other.enter(&entry("4", HoleState::Drilled)).unwrap();
        let links = other.links().unwrap();
        assert_eq!(store.keep_entries(&links).unwrap(), Added { new: 1, differing: 1 });
        assert_eq!(store.keep_entries(&links).unwrap(), Added::default());
        let all = store.entries().unwrap();
        assert_eq!(
            all.iter().map(|e| (e.place.number, e.chained)).collect::<Vec<_>>(),
            [(0, true), (1, true), (2, true), (3, false), (3, false)]
        );
    }

    #[test]
    fn an_entry_of_a_later_version_is_kept_and_covered_though_it_cannot_be_read() {
        let (folder, store) = three();
        let host = store.host().unwrap();
        let last = store.links().unwrap()[2].sum;
        let mut later = Link::new(Place { host, number: 3 }, &last, &entry("1", HoleState::Drilled), &store.key().unwrap()).unwrap();
        later.body = String::from_utf8(later.body).unwrap().replace("\"state\"", "\"mood\"").into_bytes();
        let whole = [crate::entry::TAG, &host.to_le_bytes(), &3_u32.to_le_bytes(), &last, &later.body].concat();
        later.sum = <sha2::Sha256 as sha2::Digest>::digest(whole).into();
        let mut other = Store::open(&folder.path().join("other")).unwrap();
        let mut all = store.links().unwrap();
        all.push(later);
        assert_eq!(other.keep_entries(&all).unwrap().new, 4);
        assert_eq!(other.entries().unwrap().len(), 3, "one cannot be read");
        assert_eq!(other.links().unwrap(), all);
        assert_eq!(sound(&all).len(), 4);
    }
}
