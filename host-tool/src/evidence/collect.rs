//! Evidence out of a store, structure by structure.

use super::{Chained, Evidence, Recorded};
use crate::entry::{Link, Place};
use crate::store::{Found, Store, StoreFault, entry_of};
use std::collections::BTreeMap;

/// Line and structure.
pub type StructureName = (String, String);

/// All of a store's evidence, by line and structure. Only what was drilled or entered is there.
///
/// # Errors
/// See [`StoreFault`].
pub fn of_store(store: &Store, limits: Option<&str>, soil: Option<&str>) -> Result<BTreeMap<StructureName, Evidence>, StoreFault> {
    let mut all: BTreeMap<StructureName, Evidence> = BTreeMap::new();
    for found in store.found()? {
        all.entry(of(&found)).or_default().set_ups.push(recorded(store, &found)?);
    }
    let links = store.links()?;
    let sums: BTreeMap<Place, [u8; 32]> = links.iter().map(|link| (link.place, link.sum)).collect();
    for link in links {
        let Some(entry) = link.entry() else { continue };
        let before = before(&sums, &link);
        all.entry((entry.hole.line, entry.hole.structure)).or_default().entries.push(Chained { before, link });
    }
    all.iter_mut().for_each(|(name, evidence)| name_it(evidence, name, limits, soil));
    Ok(all)
}

/// The evidence of one structure, the same as in that of the whole store; nothing else of the store is read.
///
/// # Errors
/// See [`StoreFault`].
pub fn of_structure(store: &Store, name: &StructureName, limits: Option<&str>, soil: Option<&str>) -> Result<Evidence, StoreFault> {
    let mut evidence = Evidence::default();
    for found in store.found_of_structure(&name.0, &name.1)? {
        evidence.set_ups.push(recorded(store, &found)?);
    }
    let links = store.links_of_structure(&name.0, &name.1)?.into_iter();
    evidence.entries = links.map(|(link, before)| Chained { before: before.unwrap_or_default(), link }).collect();
    name_it(&mut evidence, name, limits, soil);
    Ok(evidence)
}

/// The structure that a set-up belongs to.
#[must_use]
pub fn of(found: &Found) -> StructureName {
    (found.line.clone(), found.structure.clone())
}

fn name_it(evidence: &mut Evidence, (line, structure): &StructureName, limits: Option<&str>, soil: Option<&str>) {
    (evidence.line, evidence.structure) = (line.clone(), structure.clone());
    (evidence.limits, evidence.soil) = (limits.map(str::to_owned), soil.map(str::to_owned));
}

fn recorded(store: &Store, found: &Found) -> Result<Recorded, StoreFault> {
    let mut recorded = Recorded { stream: found.stream.clone(), slots: store.alone(found)?, unchained: Vec::new() };
    if let Some(hole) = found.hole_name() {
        let offset = found.brief.began.map_or(0, |(_, offset)| offset);
        let old = store.unchained(&found.stream, found.opened)?;
        recorded.unchained = old.iter().map(|m| entry_of(m, offset, hole.clone(), recorded.name())).collect();
    }
    Ok(recorded)
}

/// The sum before an entry; zeros where the one before it is not there, which then does not fit.
fn before(sums: &BTreeMap<Place, [u8; 32]>, link: &Link) -> [u8; 32] {
    let number = link.place.number.checked_sub(1);
    number.and_then(|number| sums.get(&Place { number, ..link.place })).copied().unwrap_or_default()
}
