//! A store's set-ups by their handles, without what they mean: each is read, and judged, when somebody looks at it.

use super::handles::{Handle, apart, called};
use super::{CalledFault, Hole, Sayings, told};
use crate::facts::SetUp;
use crate::judge::{Standing, standings};
use crate::limits_file::Limits;
use crate::store::{Found, Store, StoreFault};
use std::collections::HashMap;

/// All of them, by rig, epoch and sequence.
#[derive(Clone, Debug, Default)]
pub struct Index {
    /// The set-ups.
    pub set_ups: Vec<Listed>,
    by_handle: HashMap<String, usize>,
}

/// One of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// What to call it by, as in a [`Catalogue`](super::Catalogue).
    pub handle: String,
    /// Where it is.
    pub found: Found,
}

impl Index {
    /// Of a store.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn of(store: &Store) -> Result<Self, StoreFault> {
        let found = store.found()?;
        let names = found.iter().map(|f| (f.plain.as_str().into(), f.brief.name.as_str().into(), f.opened, &f.stream));
        let given = apart(names);
        let set_ups: Vec<Listed> = found.into_iter().zip(given).map(|(found, given)| Listed { handle: given.handle, found }).collect();
        let by_handle = set_ups.iter().enumerate().rev().map(|(n, listed)| (listed.handle.clone(), n)).collect();
        Ok(Self { set_ups, by_handle })
    }

    /// The one with this handle.
    #[must_use]
    pub fn get(&self, handle: &str) -> Option<&Listed> {
        self.set_ups.get(*self.by_handle.get(handle)?)
    }

    /// Those that these names call: a handle, its plain part, or the hole's name; none at all calls all.
    ///
    /// # Errors
    /// Where a name calls none.
    pub fn called(&self, names: &[String]) -> Result<Vec<&Listed>, CalledFault> {
        let handle = |of: &Listed| Handle { handle: of.handle.clone(), plain: of.found.plain.clone(), name: of.found.brief.name.clone() };
        let handles: Vec<Handle> = self.set_ups.iter().map(handle).collect();
        let chosen = called(&handles, names)?;
        Ok(chosen.into_iter().filter_map(|n| self.set_ups.get(n)).collect())
    }
}

impl Listed {
    /// Reads and judges it, with what people say of it, by its plan's limits and by these. `None` where its slots are not those that
    /// were found.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn judged(&self, store: &Store, sayings: &Sayings<'_>, limits: Option<&Limits>) -> Result<Option<Hole>, StoreFault> {
        let Some(setup) = self.read(store)? else { return Ok(None) };
        let unchained = store.unchained(&self.found.stream, self.found.opened)?;
        let hole = Hole::judged(self.found.stream.clone(), setup, unchained, sayings, limits);
        Ok(Some(Hole { handle: self.handle.clone(), ..hole }))
    }

    /// How depth and lean stand to its plan's limits as measured.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn standings(&self, store: &Store, sayings: &Sayings<'_>) -> Result<(Standing, Standing), StoreFault> {
        let Some(setup) = self.read(store)? else { return Ok((Standing::Unknown, Standing::Unknown)) };
        let unchained = store.unchained(&self.found.stream, self.found.opened)?;
        Ok(standings(&told(&self.found.stream, setup, unchained, sayings).0))
    }

    fn read(&self, store: &Store) -> Result<Option<SetUp>, StoreFault> {
        Ok(store.alone(&self.found)?.read())
    }
}
