//! What the pages know of the store: its holes by name and state, and what people entered, read once for many requests. What is written
//! meanwhile is added; what a hole means is found out when somebody looks at it.

use super::state::Shared;
use host_tool::entry::{Entry, HoleName, Place, SetUpName};
use host_tool::evidence::collect::StructureName;
use host_tool::holes::index::{Index, Listed};
use host_tool::holes::{Catalogue, Hole, Sayings};
use host_tool::judge::Standing;
use host_tool::planned::{Plans, plans};
use host_tool::register::{Drilled, Registered, register};
use host_tool::store::{Store, StoreFault};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant, SystemTime};

/// Sizes and times of the store's files: other ones mean that something was written.
type Mark = Vec<Option<(u64, SystemTime)>>;

/// A store that a rig writes to is looked at again after so many times as long as that took. What is entered here is seen at once.
const REST: u32 = 5;

/// What is known of the store.
#[derive(Debug)]
pub struct Known {
    mark: Mark,
    read: Instant,
    took: Duration,
    /// The holes.
    pub index: Index,
    /// Everything that was entered, in order.
    pub entries: Arc<Vec<(Place, Entry)>>,
    /// How many entries the store has, those that this version cannot read among them.
    entered: u32,
    /// The newest plan of each leg.
    pub plans: Arc<Plans>,
    /// In which state each hole is, in the order of their names.
    pub registered: Vec<Registered>,
    planned: Mutex<Option<(Option<Date>, Arc<str>)>>,
}

impl Known {
    fn read(path: &Path, before: Option<&Self>) -> Result<Self, StoreFault> {
        let (mark, begun) = (mark(path), Instant::now()); // before reading: what is written meanwhile is read next time
        let store = Store::open_again(path)?;
        let (entered, entries, plans) = said(&store, before)?;
        let index = Index::of(&store)?;
        let drilled: Vec<_> =
            index.set_ups.iter().filter_map(|listed| Some((listed.found.hole_name()?, Drilled::found(&listed.found)))).collect();
        let registered = register(&drilled, &entries);
        let (read, took) = (Instant::now(), begun.elapsed());
        Ok(Self { mark, read, took, index, entries, entered, plans, registered, planned: Mutex::default() })
    }

    /// Whether it is new enough: nothing was written since, or reading a large store again would be all that this computer does.
    fn holds(&self, now: &Mark) -> bool {
        self.mark == *now || self.read.elapsed() < self.took * REST
    }

    /// How the register has this hole.
    pub fn state(&self, hole: &HoleName) -> Option<&Registered> {
        self.registered.get(self.registered.binary_search_by(|of| of.hole.cmp(hole)).ok()?)
    }

    /// What people say of these holes, whatever corrects it among it.
    fn sayings(&self, holes: &BTreeSet<HoleName>) -> Sayings<'_> {
        let wanted = self.entries.iter().filter(|(_, entry)| entry.corrects.is_some() || holes.contains(&entry.hole));
        Sayings::of(wanted.map(|(place, entry)| (*place, entry)))
    }

    /// Reads and judges one hole.
    pub fn hole(&self, store: &Store, listed: &Listed) -> Result<Option<Hole>, StoreFault> {
        listed.judged(store, &self.sayings(&listed.found.hole_name().into_iter().collect()), None)
    }

    /// What a set-up is called by.
    pub fn handle_of(&self, name: &SetUpName) -> Option<&str> {
        let is = |listed: &&Listed| {
            let of = &listed.found;
            of.opened == name.opened && of.stream.epoch == name.epoch && of.stream.rig == name.rig
        };
        self.index.set_ups.iter().find(is).map(|listed| listed.handle.as_str())
    }

    /// Some of the holes, read and judged, with what is planned and said of these structures.
    pub fn catalogue(&self, store: &Store, chosen: &[&Listed], of: &BTreeSet<StructureName>) -> Result<Catalogue, StoreFault> {
        let is_of = |line: &String, structure: &String| of.contains(&(line.clone(), structure.clone()));
        let entries: Vec<(Place, Entry)> =
            self.entries.iter().filter(|(_, entry)| is_of(&entry.hole.line, &entry.hole.structure)).cloned().collect();
        let sayings = self.sayings(&chosen.iter().filter_map(|listed| listed.found.hole_name()).collect());
        let holes = chosen.iter().filter_map(|listed| listed.judged(store, &sayings, None).transpose()).collect::<Result<Vec<_>, _>>()?;
        let plans = in_order(&entries);
        Ok(Catalogue { holes, entries, plans, ..Catalogue::default() })
    }

    /// How depth and lean of these stand as measured.
    pub fn standings(&self, store: &Store, shown: &[&Listed]) -> Result<Vec<(Standing, Standing)>, StoreFault> {
        let sayings = self.sayings(&shown.iter().filter_map(|listed| listed.found.hole_name()).collect());
        shown.iter().map(|listed| listed.standings(store, &sayings)).collect()
    }

    /// What is made of the plans on a day, made once.
    pub fn planned(&self, day: Option<Date>, make: impl FnOnce() -> String) -> Arc<str> {
        let mut kept = self.planned.lock().unwrap_or_else(PoisonError::into_inner);
        match kept.as_ref().filter(|(of, _)| *of == day) {
            Some((_, made)) => made.clone(),
            None => kept.insert((day, make().into())).1.clone(),
        }
    }
}

/// How many entries the store has, those that can be read, and the newest plans among them.
type Entered = (u32, Arc<Vec<(Place, Entry)>>, Arc<Plans>);

/// Everything that was entered, and the plans in it; what is known already is not read again.
fn said(store: &Store, before: Option<&Known>) -> Result<Entered, StoreFault> {
    let entered = store.entered()?;
    if let Some(before) = before {
        if before.entered == entered {
            return Ok((entered, before.entries.clone(), before.plans.clone()));
        }
        let last: BTreeMap<u32, u32> = before.entries.iter().map(|(place, _)| (place.host, place.number)).collect();
        let new = store.entries_behind(&last)?;
        // what a merge brings in between, or this version cannot read, is found by reading all
        if u32::try_from(new.len()).is_ok_and(|new| before.entered.checked_add(new) == Some(entered)) {
            let planned = new.iter().any(|(_, entry)| entry.plan.is_some());
            let mut all = before.entries.to_vec();
            all.extend(new);
            all.sort_by_key(|(place, _)| *place);
            let plans = if planned { Arc::new(in_order(&all)) } else { before.plans.clone() };
            return Ok((entered, Arc::new(all), plans));
        }
    }
    let all = store.entries_behind(&BTreeMap::new())?;
    let plans = in_order(&all);
    Ok((entered, Arc::new(all), Arc::new(plans)))
}

fn in_order(entries: &[(Place, Entry)]) -> Plans {
    plans(entries.iter().map(|(place, entry)| (*place, entry)))
}

fn mark(path: &Path) -> Mark {
    let of = |path: &Path| std::fs::metadata(path).ok().and_then(|data| Some((data.len(), data.modified().ok()?)));
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    vec![of(path), of(Path::new(&log))]
}

/// What is known now.
pub fn known(shared: &Shared) -> Result<Arc<Known>, String> {
    let mut kept = shared.known(); // whoever asks meanwhile waits for this one to be read, and reads nothing himself
    let now = mark(&shared.store);
    if let Some(known) = kept.known.as_ref().filter(|known| !kept.old && known.holds(&now)) {
        return Ok(known.clone());
    }
    let known = Arc::new(Known::read(&shared.store, kept.known.as_deref()).map_err(|e| e.to_string())?);
    (kept.known, kept.old) = (Some(known.clone()), false);
    Ok(known)
}

/// Does work that reads the store, with what is known of it.
pub async fn with<T: Send + 'static>(
    shared: &Arc<Shared>,
    work: impl FnOnce(&Known, &Store) -> Result<T, String> + Send + 'static,
) -> Result<T, String> {
    let shared = shared.clone();
    let done = tokio::task::spawn_blocking(move || {
        let known = known(&shared)?;
        work(&known, &Store::open_again(&shared.store).map_err(|e| e.to_string())?)
    });
    done.await.unwrap_or_else(|_| Err("the store cannot be read: try `borewitness holes`".to_owned()))
}
