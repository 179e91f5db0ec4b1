//! The holes in a store, each with a handle to call it by.

mod handles;
pub mod index;

pub use handles::{CalledFault, Handle, called as called_of, handles, name_of, plain};

use crate::entry::{Entry, HoleName, Place, Said, SetUpName};
use crate::facts::{self, SetUp};
use crate::judge::measured::Measurement;
use crate::judge::{Judged, judge, judge_by};
use crate::limits_file::Limits;
use crate::paper;
use crate::paper::words::count;
use crate::planned::{Plans, plans};
use crate::readiness::{Structure, Works};
use crate::session::Stream;
use crate::store::{Entered, Held, Store, StoreFault, measurement_of};
use crate::structure::volume::Soil;
use crate::text::terminal;
use rayon::prelude::*;
use shared_protocol::record::Plan;
use shared_protocol::state::SheetUnits;
use std::collections::BTreeMap;

/// One set-up as it is stored, judged.
#[derive(Clone, Debug)]
pub struct Hole {
    /// What to call it by: structure, leg, and as much more as tells it from the others in its store. Plain letters,
    /// fit for a file name.
    pub handle: String,
    /// Whose records.
    pub stream: Stream,
    /// What the rig recorded.
    pub setup: SetUp,
    /// What it means.
    pub judged: Judged,
    /// What people say of the hole, and what they measured in this set-up, in the order in which they entered it.
    pub entries: Vec<Told>,
}

/// What somebody entered about a hole.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Where it stands.
    pub place: Place,
    /// What it says.
    pub entry: Entry,
    /// The entry that corrects it, and by whom that is: it counts no more then.
    pub corrected: Option<(Place, String)>,
}

impl Hole {
    pub(crate) fn plan(&self) -> &Plan {
        &self.setup.opened.body.plan
    }

    /// Its name as people say it, safe to show.
    #[must_use]
    pub fn name(&self) -> String {
        name_of(self.plan())
    }

    /// Its name in entries; `None` where its leg is none that is known.
    #[must_use]
    pub fn hole_name(&self) -> Option<HoleName> {
        HoleName::of(self.plan())
    }

    /// This set-up's name in entries.
    #[must_use]
    pub fn set_up_name(&self) -> SetUpName {
        SetUpName::new(&self.stream, self.setup.opened.sequence)
    }

    /// Units of its sheet.
    #[must_use]
    pub fn units(&self) -> SheetUnits {
        SheetUnits::from_raw(self.plan().units).unwrap_or(SheetUnits::Metric)
    }

    /// As paper sees it, with the structure that it belongs to where that is among these.
    #[must_use]
    pub fn on_paper<'a>(&'a self, structures: &'a [Structure<'a>]) -> paper::Hole<'a> {
        let plan = self.plan();
        let mine = |of: &&Structure<'_>| of.line == plan.line.as_str() && of.structure == plan.structure.as_str();
        paper::Hole {
            setup: &self.setup,
            judged: &self.judged,
            told: &self.entries,
            structure: structures.iter().find(mine),
            reviewed: None,
            program: paper::program(),
        }
    }
}

/// All holes of a store.
#[derive(Clone, Debug, Default)]
pub struct Catalogue {
    /// By rig, epoch and sequence.
    pub holes: Vec<Hole>,
    /// What a person should know of the store, one line each.
    pub remarks: Vec<String>,
    /// Everything that was entered, in order.
    pub entries: Vec<(Place, Entry)>,
    /// What sheets plan.
    pub plans: Plans,
    /// The limits beside those of plans and sheets.
    pub limits: Option<Limits>,
}

impl Catalogue {
    /// All of it as it is judged; `soil` is the ground, for what its volume becomes.
    #[must_use]
    pub fn works(&self, soil: Option<Soil>) -> Works<'_> {
        let Self { holes, entries, plans, limits, .. } = self;
        Works { holes, plans, entries, limits: limits.as_ref(), soil }
    }
}

/// Reads all holes of a store, each judged by its own plan's limits.
///
/// # Errors
/// When the store cannot be read.
pub fn catalogue(store: &Store) -> Result<Catalogue, StoreFault> {
    catalogue_by(store, None)
}

/// Reads all holes of a store, each judged by its own plan's limits and by these.
///
/// # Errors
/// When the store cannot be read.
pub fn catalogue_by(store: &Store, limits: Option<&Limits>) -> Result<Catalogue, StoreFault> {
    let mut catalogue = Catalogue::default();
    let entered = store.entries()?;
    catalogue.remarks.extend(broken_chains(&entered));
    let sayings = Sayings::of(entered.iter().map(|e| (e.place, &e.entry)));
    let mut read = Vec::new();
    for stream in store.rigs()? {
        let held = store.stream(&stream)?;
        catalogue.remarks.extend(doubtful(&stream, &held));
        read.push((store.all_unchained(&stream)?, stream, held.slots));
    }
    let said = &sayings;
    let judged = read.into_par_iter().flat_map(|(unchained, stream, slots)| {
        let of = |setup: &SetUp| unchained.get(&setup.opened.sequence).cloned().unwrap_or_default();
        let setups: Vec<_> = facts::read(&slots).into_iter().map(|setup| (of(&setup), setup)).collect();
        setups.into_par_iter().map(move |(unchained, setup)| Hole::judged(stream.clone(), setup, unchained, said, limits))
    });
    catalogue.holes = judged.collect();
    let given = handles(catalogue.holes.iter().map(|hole| (hole.plan(), hole.setup.opened.sequence, &hole.stream)));
    catalogue.holes.iter_mut().zip(given).for_each(|(hole, given)| hole.handle = given.handle);
    catalogue.plans = plans(entered.iter().map(|e| (e.place, &e.entry)));
    catalogue.entries = entered.into_iter().map(|e| (e.place, e.entry)).collect();
    catalogue.limits = limits.cloned();
    Ok(catalogue)
}

/// What a person should know of a store, one line each.
///
/// # Errors
/// When the store cannot be read.
pub fn remarks(store: &Store) -> Result<Vec<String>, StoreFault> {
    let mut remarks = broken_chains(&store.entries()?);
    for stream in store.rigs()? {
        remarks.extend(doubtful(&stream, &store.stream(&stream)?));
    }
    Ok(remarks)
}

/// What is wrong with a stream as it is stored.
fn doubtful(stream: &Stream, held: &Held) -> Vec<String> {
    let rig = terminal(&stream.rig);
    let remark = |what: &str, number: usize| (number > 0).then(|| format!("{what}: {} of rig {rig}", count(number, "record")));
    let damaged = remark("damaged in the store and left out", held.damaged.len());
    damaged.into_iter().chain(remark("kept aside because another has the same number", held.aside)).collect()
}

/// What people entered, found by hole.
#[derive(Debug, Default)]
pub struct Sayings<'a> {
    of_hole: BTreeMap<&'a HoleName, Vec<(Place, &'a Entry)>>,
    corrections: BTreeMap<Place, (Place, String)>,
}

impl<'a> Sayings<'a> {
    /// Of entries in the order in which they were entered.
    #[must_use]
    pub fn of(entries: impl IntoIterator<Item = (Place, &'a Entry)>) -> Self {
        let mut sayings = Self::default();
        for (place, entry) in entries {
            sayings.corrections.extend(entry.corrects.map(|corrected| (corrected, (place, entry.by.clone()))));
            sayings.of_hole.entry(&entry.hole).or_default().push((place, entry));
        }
        sayings
    }

    fn told(&self, hole: Option<&HoleName>, set_up: &SetUpName) -> Vec<Told> {
        let said = hole.and_then(|hole| self.of_hole.get(hole)).into_iter().flatten().filter(|(_, entry)| is_said(entry, set_up));
        said.map(|(place, entry)| Told { place: *place, entry: (*entry).clone(), corrected: self.corrections.get(place).cloned() })
            .collect()
    }
}

impl Hole {
    /// Judges a set-up by its plan's limits and by those named, with what people entered about it; `unchained` are measurements
    /// from before there were entries.
    #[must_use]
    pub fn judged(stream: Stream, setup: SetUp, unchained: Vec<Measurement>, sayings: &Sayings<'_>, limits: Option<&Limits>) -> Self {
        let (setup, entries) = told(&stream, setup, unchained, sayings);
        let judged = limits.map_or_else(|| judge(&setup), |limits| judge_by(&setup, &limits.of(&setup.opened.body.plan)));
        Self { handle: String::new(), stream, setup, judged, entries }
    }
}

/// A set-up with what people measured in it, and what they say of the hole.
fn told(stream: &Stream, mut setup: SetUp, unchained: Vec<Measurement>, sayings: &Sayings<'_>) -> (SetUp, Vec<Told>) {
    let set_up = SetUpName::new(stream, setup.opened.sequence);
    let entries = sayings.told(HoleName::of(&setup.opened.body.plan).as_ref(), &set_up);
    let counts = entries.iter().filter(|told| told.corrected.is_none() && told.entry.set_up.as_ref() == Some(&set_up));
    setup.measurements = unchained;
    setup.measurements.extend(counts.filter_map(|told| measurement_of(&told.entry)));
    (setup, entries)
}

/// Whether an entry about the hole is told of with a set-up: no plan, and no measurement or review of another set-up.
fn is_said(entry: &Entry, set_up: &SetUpName) -> bool {
    match entry.said {
        Said::Planned { .. } => false,
        Said::Sounding { .. } | Said::HandPlumb { .. } | Said::Reviewed { .. } => entry.set_up.as_ref().is_none_or(|of| of == set_up),
        _ => true,
    }
}

/// A line for each host whose chain of entries does not hold: from where on, and how many are in doubt.
fn broken_chains(entered: &[Entered]) -> Vec<String> {
    let mut doubtful: BTreeMap<u32, (u32, usize)> = BTreeMap::new();
    for entry in entered.iter().filter(|entry| !entry.chained) {
        doubtful.entry(entry.place.host).or_insert((entry.place.number, 0)).1 += 1;
    }
    let line = |(host, (first, many)): (u32, (u32, usize))| {
        format!(
            "THE CHAIN OF ENTRIES OF HOST {host} DOES NOT HOLD from entry {first} on: {many} in doubt, changed, taken out or entered twice; \
             have it looked into"
        )
    };
    doubtful.into_iter().map(line).collect()
}

/// The holes that these names call: a handle, its plain part, or the hole's name; none at all calls all.
///
/// # Errors
/// Where a name calls none.
pub fn called<'a>(holes: &'a [Hole], names: &[String]) -> Result<Vec<&'a Hole>, CalledFault> {
    let handles: Vec<Handle> =
        holes.iter().map(|hole| Handle { handle: hole.handle.clone(), plain: handles::plain(hole.plan()), name: hole.name() }).collect();
    let chosen = handles::called(&handles, names)?;
    Ok(holes.iter().enumerate().filter(|(n, _)| chosen.contains(n)).map(|(_, hole)| hole).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::Wall;
    use crate::judge::limits::Measurand;
    use crate::judge::measured::{Kind, Measurement};
    use crate::judge::{Figure, LineAxes, Standing};
    use crate::store::entry_of;
    use shared_protocol::assemble::slots;
    use shared_protocol::record::{Increment, Opened, Record};
    use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
    use shared_protocol::units::Micrometres;

    /// A stream in which these plans were opened, each with one increment.
    fn stream(plans: &[Plan]) -> Vec<Slot> {
        let mut all: Vec<Slot> = Vec::new();
        let mut add = |record: &Record| {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = record.encode(&mut body).unwrap();
            let next = all.last().map_or(0, |slot| slot.sequence() + 1);
            all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
        };
        for plan in plans {
            add(&Record::Opened(Opened { plan: plan.clone(), ..Opened::default() }));
            add(&Record::Increment(Increment { depth: Micrometres::from_mm(25), samples: 20, ..Increment::default() }));
        }
        all
    }

    fn plan(structure: &str, leg: u8, attempt: u8) -> Plan {
        Plan { structure: structure.try_into().unwrap(), leg, attempt, setup: 1, depth: Micrometres::from_mm(3_000), ..Plan::default() }
    }

    fn store(rigs: &[(&str, &[Plan])]) -> (tempfile::TempDir, Store) {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(&folder.path().join("store.sqlite")).unwrap();
        for (rig, plans) in rigs {
            store.keep(&Stream { rig: (*rig).to_owned(), epoch: 1 }, &stream(plans)).unwrap();
        }
        (folder, store)
    }

    fn handles(holes: &[Hole]) -> Vec<&str> {
        holes.iter().map(|hole| hole.handle.as_str()).collect()
    }

    #[test]
    fn handles_are_short_and_never_the_same() {
        let plans = [plan("S-1", 1, 1), plan("S-1", 2, 1), plan("S-1", 3, 2), plan("../x", 0, 1), plan("..\\X", 0, 1)];
        let (_folder, store) = store(&[("Alpha", &plans), ("Bravo", &plans[..1]), ("Charlie", &[plan("S-9", 1, 1), plan("S-9", 1, 1)])]);
        let catalogue = catalogue(&store).unwrap();
        assert_eq!(
            handles(&catalogue.holes),
            [
                "S-1-left-at-0-Alpha-1",
                "S-1-middle",
                "S-1-right-attempt2",
                "_x-at-9",
                "_X-at-12",
                "S-1-left-at-0-Bravo-1",
                "S-9-left-at-0",
                "S-9-left-at-3"
            ]
            .map(str::to_owned)
            .each_ref()
            .map(String::as_str)
        );
    }

    #[test]
    fn holes_are_judged_by_their_own_limits_and_by_those_given() {
        let (_folder, store) = store(&[("Alpha", &[plan("S-1", 0, 1)])]);
        let limits =
            Limits::read("governs = \"plain\"\n[[limit]]\nmeasurand = \"toe\"\nfigure = \"3 in\"\nsource = \"Invented sheet\"").unwrap();
        let own = catalogue(&store).unwrap().holes.remove(0).judged;
        let both = catalogue_by(&store, Some(&limits)).unwrap().holes.remove(0).judged;
        assert_eq!((own.verdicts.len(), own.governs), (2, None));
        assert_eq!((both.verdicts.len(), both.governs), (3, Some(crate::judge::limits::Governs::Plain)));
        assert_eq!(both.verdicts[2].limit.source, "Invented sheet");
    }

    /// A tape of ±10 mm (two standard uncertainties of 5 mm; 1.96 of them hold 95 %) in a hole whose depth the rig does
    /// not know, planned 3 m deep with nothing to spare.
    #[test]
    fn soundings_govern_depth() {
        let (_folder, mut store) = store(&[("Alpha", &[plan("S-1", 0, 1), plan("S-2", 0, 1)])]);
        let holes = catalogue(&store).unwrap().holes;
        assert_eq!(holes[0].judged.depth_standing, Standing::Unknown);
        let sounding = Measurement {
            author: "Tester".to_owned(),
            unix_ms: 0,
            kind: Kind::Sounding,
            depth: 3.0,
            offset: LineAxes { ahead: 0.0, right: 0.0 },
            standard: 0.005,
            remark: String::new(),
        };
        let plumb = Measurement { kind: Kind::HandPlumb, depth: 0.02, ..sounding.clone() };
        for measurement in [&sounding, &plumb] {
            store.enter(&entry_of(measurement, 0, holes[0].hole_name().unwrap(), holes[0].set_up_name())).unwrap();
        }
        let holes = catalogue(&store).unwrap().holes;
        let (judged, other) = (&holes[0].judged, &holes[1].judged);
        let depth = judged.verdicts.iter().find(|v| v.limit.measurand == Measurand::Depth).unwrap();
        assert_eq!(depth.measured, Some(Figure::of(3.0, 1.96 * 0.005)));
        assert_eq!((judged.depth_standing, judged.sounded, judged.depth), (Standing::Within, depth.measured, None));
        assert_eq!((judged.plumbed.len(), other.plumbed.len(), other.sounded), (1, 0, None));
        // the one increment of the hole is plumb, and so is the line
        assert!(judged.plumbed[0].off_axis.unwrap() < 1e-9 && (judged.plumbed[0].radius - 0.012_24).abs() < 1e-5, "{judged:?}");
    }

    /// What is said of a hole stands with it, and whoever changes it in the file behind the program's back is told of.
    #[test]
    fn entries_stand_with_their_hole_and_a_broken_chain_is_said() {
        let (folder, mut store) = store(&[("Alpha", &[plan("S-1", 0, 1), plan("S-2", 0, 1)])]);
        let hole = catalogue(&store).unwrap().holes[0].hole_name().unwrap();
        let dry = Entry::new("Tester", Wall { unix_ms: 0, offset: 0 }, hole, Said::Water { depth_um: None });
        store.enter(&dry).unwrap();
        store.enter(&Entry { remark: "again".to_owned(), ..dry.clone() }).unwrap();
        let Catalogue { holes, remarks, .. } = catalogue(&store).unwrap();
        assert_eq!((holes[0].entries.len(), &holes[0].entries[0].entry, holes[1].entries.len()), (2, &dry, 0));
        assert!(remarks.is_empty(), "{remarks:?}");
        let host = store.host().unwrap();
        let behind = rusqlite::Connection::open(folder.path().join("store.sqlite")).unwrap();
        let forge = "DROP TRIGGER entries_stay; UPDATE entries SET body = CAST(replace(CAST(body AS TEXT), 'Tester', 'Nobody') AS BLOB)
             WHERE number = 0";
        behind.execute_batch(forge).unwrap();
        let remarks = catalogue(&store).unwrap().remarks;
        assert!(
            remarks[0].starts_with(&format!("THE CHAIN OF ENTRIES OF HOST {host} DOES NOT HOLD from entry 0 on: 2 in doubt")),
            "{remarks:?}"
        );
    }

    #[test]
    fn holes_are_called_by_handle_or_name() {
        let (_folder, store) = store(&[("Alpha", &[plan("S-1", 1, 1), plan("S-1", 3, 1), plan("S-1", 1, 1)])]);
        let holes = catalogue(&store).unwrap().holes;
        let call = |names: &[&str]| {
            let names: Vec<String> = names.iter().map(|n| (*n).to_owned()).collect();
            called(&holes, &names)
                .map(|found| found.into_iter().map(|h| h.setup.opened.sequence).collect::<Vec<_>>())
                .map_err(|e| e.to_string())
        };
        let first = holes[0].setup.opened.sequence;
        let [second, third] = [1, 2].map(|n: usize| holes[n].setup.opened.sequence);
        assert_eq!(call(&["S-1-right"]), Ok(vec![second]));
        assert_eq!(call(&["S-1 right leg", "S-1-right"]), Ok(vec![second]));
        assert_eq!(call(&["S-1-left"]), Ok(vec![first, third]));
        assert_eq!(call(&[&holes[2].handle]), Ok(vec![third]));
        assert_eq!(call(&[]), Ok(vec![first, second, third]));
        assert_eq!(
            call(&["S-1-right", "S-\x1b2"]),
            Err("there is no hole \"S-\u{FFFD}2\" in the store: see `borewitness holes`".to_owned())
        );
        assert!(matches!(called(&[], &[]), Err(CalledFault::NoHole)));
    }

    #[test]
    fn what_is_wrong_with_a_store_is_remarked() {
        let (folder, mut store) = store(&[("Alpha", &[plan("S-1", 0, 1)])]);
        let alpha = Stream { rig: "Alpha".to_owned(), epoch: 1 };
        store.keep(&alpha, &stream(&[plan("S-2", 0, 1)])).unwrap();
        crate::store::tests::rot(&store, &alpha, 1, [0; 32]);
        drop(store);
        let remarks = catalogue(&Store::open(&folder.path().join("store.sqlite")).unwrap()).unwrap().remarks;
        assert_eq!(
            remarks,
            [
                "damaged in the store and left out: 1 record of rig Alpha",
                "kept aside because another has the same number: 1 record of rig Alpha"
            ]
        );
    }
}
