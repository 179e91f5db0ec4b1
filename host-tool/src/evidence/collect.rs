//! Evidence out of a store, structure by structure.

use super::{Chained, Evidence, Recorded};
use crate::entry::{HoleName, Link, Place};
use crate::facts::{self, Leanings};
use crate::store::{Store, StoreFault, entry_of};
use std::collections::BTreeMap;

/// Line and structure.
pub type StructureName = (String, String);

/// All of a store's evidence, by line and structure. Only what was drilled or entered is there.
///
/// # Errors
/// See [`StoreFault`].
pub fn of_store(store: &Store, limits: Option<&str>, soil: Option<&str>) -> Result<BTreeMap<StructureName, Evidence>, StoreFault> {
    let mut all: BTreeMap<StructureName, Evidence> = BTreeMap::new();
    for stream in store.rigs()? {
        let held = store.stream(&stream)?;
        let leanings = Leanings::of(&held.slots);
        for setup in facts::read(&held.slots) {
            let plan = &setup.opened.body.plan;
            let mut recorded = Recorded { stream: stream.clone(), slots: leanings.alone(&setup), unchained: Vec::new() };
            if let Some(hole) = HoleName::of(plan) {
                let offset = setup.opened.moment.wall.map_or(0, |wall| wall.offset);
                let old = store.unchained(&stream, setup.opened.sequence)?;
                recorded.unchained = old.iter().map(|m| entry_of(m, offset, hole.clone(), recorded.name())).collect();
            }
            let name = (plan.line.as_str().to_owned(), plan.structure.as_str().to_owned());
            all.entry(name).or_default().set_ups.push(recorded);
        }
    }
    let links = store.links()?;
    let sums: BTreeMap<Place, [u8; 32]> = links.iter().map(|link| (link.place, link.sum)).collect();
    for link in links {
        let Some(entry) = link.entry() else { continue };
        let before = before(&sums, &link);
        all.entry((entry.hole.line, entry.hole.structure)).or_default().entries.push(Chained { before, link });
    }
    for ((line, structure), evidence) in &mut all {
        (evidence.line, evidence.structure) = (line.clone(), structure.clone());
        (evidence.limits, evidence.soil) = (limits.map(str::to_owned), soil.map(str::to_owned));
    }
    Ok(all)
}

/// The sum before an entry; zeros where the one before it is not there, which then does not fit.
fn before(sums: &BTreeMap<Place, [u8; 32]>, link: &Link) -> [u8; 32] {
    let number = link.place.number.checked_sub(1);
    number.and_then(|number| sums.get(&Place { number, ..link.place })).copied().unwrap_or_default()
}
