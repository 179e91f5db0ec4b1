//! The holes in a store, each with a handle to call it by, and their papers in a folder.

use crate::entry::{Entry, HoleName, Place, Said, SetUpName};
use crate::facts::{self, SetUp};
use crate::files::{FileFault, into_folder};
use crate::judge::{Judged, hole_name, judge, judge_by};
use crate::limits_file::Limits;
use crate::paper::words::count;
use crate::paper::{self, PageSize, PaperError, Printing};
use crate::session::Stream;
use crate::store::{Entered, Store, StoreFault};
use crate::text::{file_name, terminal};
use shared_protocol::record::Plan;
use shared_protocol::state::{Leg, SheetUnits};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

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
    fn plan(&self) -> &Plan {
        &self.setup.opened.body.plan
    }

    /// Its name as people say it, safe to show.
    #[must_use]
    pub fn name(&self) -> String {
        terminal(&hole_name(self.plan()))
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

    fn on_paper(&self) -> paper::Hole<'_> {
        paper::Hole { setup: &self.setup, judged: &self.judged }
    }

    /// Page size of the country of its units.
    fn page(&self) -> PageSize {
        match self.units() {
            SheetUnits::Metric => PageSize::A4,
            SheetUnits::FeetInches => PageSize::Letter,
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
    let corrections: BTreeMap<Place, (Place, String)> =
        entered.iter().filter_map(|e| Some((e.entry.corrects?, (e.place, e.entry.by.clone())))).collect();
    let told = |e: &Entered| Told { place: e.place, entry: e.entry.clone(), corrected: corrections.get(&e.place).cloned() };
    for stream in store.rigs()? {
        let held = store.stream(&stream)?;
        let rig = terminal(&stream.rig);
        let records = |number| count(number, "record");
        if !held.damaged.is_empty() {
            catalogue.remarks.push(format!("damaged in the store and left out: {} of rig {rig}", records(held.damaged.len())));
        }
        if held.aside > 0 {
            catalogue.remarks.push(format!("kept aside because another has the same number: {} of rig {rig}", records(held.aside)));
        }
        for mut setup in facts::read(&held.slots) {
            setup.measurements = store.measurements(&stream, setup.opened.sequence)?;
            let judged = limits.map_or_else(|| judge(&setup), |limits| judge_by(&setup, &limits.of(&setup.opened.body.plan)));
            let name = HoleName::of(&setup.opened.body.plan);
            let set_up = SetUpName::new(&stream, setup.opened.sequence);
            let of_it = entered.iter().filter(|e| name.as_ref() == Some(&e.entry.hole) && is_said(&e.entry, &set_up));
            let entries = of_it.map(told).collect();
            catalogue.holes.push(Hole { handle: String::new(), stream: stream.clone(), setup, judged, entries });
        }
    }
    name(&mut catalogue.holes);
    Ok(catalogue)
}

/// Whether an entry about the hole is told of with a set-up: no plan, and no measurement of another set-up.
fn is_said(entry: &Entry, set_up: &SetUpName) -> bool {
    match entry.said {
        Said::Planned { .. } => false,
        Said::Sounding { .. } | Said::HandPlumb { .. } => entry.set_up.as_ref().is_none_or(|of| of == set_up),
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

/// Gives each hole the shortest handle that no other has: plain, then with its sequence, then with its rig.
fn name(holes: &mut [Hole]) {
    let candidates = |hole: &Hole| {
        let (plain, sequence) = (plain_handle(hole.plan()), hole.setup.opened.sequence);
        [
            plain.clone(),
            format!("{plain}-at-{sequence}"),
            file_name(&format!("{plain}-at-{sequence}-{}-{}", hole.stream.rig, hole.stream.epoch)),
        ]
    };
    let all: Vec<[String; 3]> = holes.iter().map(candidates).collect();
    for (hole, mine) in holes.iter_mut().zip(&all) {
        let alone = |c: &&String| all.iter().flatten().filter(|other| other.to_lowercase() == c.to_lowercase()).count() == 1;
        hole.handle = mine.iter().find(alone).unwrap_or(&mine[2]).clone();
    }
}

fn plain_handle(plan: &Plan) -> String {
    let leg = match Leg::from_raw(plan.leg) {
        Some(Leg::Single) => String::new(),
        Some(Leg::Left) => "-left".to_owned(),
        Some(Leg::Middle) => "-middle".to_owned(),
        Some(Leg::Right) => "-right".to_owned(),
        None => format!("-leg{}", plan.leg),
    };
    let counted = |what: &str, number: u8| if number > 1 { format!("-{what}{number}") } else { String::new() };
    file_name(&format!("{}{leg}{}{}", plan.structure, counted("attempt", plan.attempt), counted("setup", plan.setup)))
}

/// Why holes cannot be printed; one line each.
#[derive(Debug, thiserror::Error)]
pub enum PrintFault {
    /// Nobody by that name.
    #[error("there is no hole \"{0}\" in the store: see `borewitness holes`")]
    NoSuchHole(String),
    /// No structure by that name.
    #[error("neither a sheet nor a record names a structure \"{0}\": `borewitness judge` lists them")]
    NoSuchStructure(String),
    /// No record of that day.
    #[error("no rig recorded anything on \"{0}\": write a day like 2026-05-12")]
    NoSuchDay(String),
    /// No holes at all.
    #[error("there is no hole in the store yet")]
    NoHole,
    /// The paper itself.
    #[error(transparent)]
    Paper(#[from] PaperError),
    /// The folder or the disk.
    #[error(transparent)]
    Folder(#[from] FileFault),
}

/// The holes that these names call: a handle, its plain part, or the hole's name; none at all calls all.
///
/// # Errors
/// Where a name calls none.
pub fn called<'a>(holes: &'a [Hole], names: &[String]) -> Result<Vec<&'a Hole>, PrintFault> {
    let mut indices = BTreeSet::new();
    for name in names {
        let is = |hole: &Hole| *name == hole.handle || *name == plain_handle(hole.plan()) || *name == hole.name();
        let mut found = holes.iter().enumerate().filter(|(_, hole)| is(hole)).map(|(index, _)| index).peekable();
        found.peek().ok_or_else(|| PrintFault::NoSuchHole(terminal(name)))?;
        indices.extend(found);
    }
    let all = names.is_empty();
    let chosen: Vec<&Hole> = holes.iter().enumerate().filter(|(index, _)| all || indices.contains(index)).map(|(_, hole)| hole).collect();
    if chosen.is_empty() { Err(PrintFault::NoHole) } else { Ok(chosen) }
}

/// Prints a certificate for each hole, and a summary for each structure with more than one among them, into a
/// folder that is made where there is none. Every file is whole or absent. Returns the files.
///
/// # Errors
/// See [`PrintFault`].
pub fn print(holes: &[&Hole], folder: &Path) -> Result<Vec<PathBuf>, PrintFault> {
    let mut papers: Vec<(String, Vec<u8>)> = Vec::new();
    for hole in holes {
        papers.push((hole.handle.clone(), paper::hole_certificate(&hole.on_paper(), Printing::archive(hole.page()))?));
    }
    let mut structures: BTreeMap<(&str, &str), Vec<&Hole>> = BTreeMap::new();
    for hole in holes {
        structures.entry((&hole.plan().line, &hole.plan().structure)).or_default().push(hole);
    }
    for ((line, structure), mut legs) in structures {
        if legs.len() < 2 {
            continue;
        }
        legs.sort_by_key(|hole| (hole.plan().leg, hole.plan().attempt, hole.plan().setup, hole.setup.opened.sequence));
        let on_paper: Vec<paper::Hole<'_>> = legs.iter().map(|hole| hole.on_paper()).collect();
        let plain = file_name(&format!("{structure}-structure"));
        let taken = papers.iter().any(|(other, _)| other.to_lowercase() == plain.to_lowercase());
        let name = if taken { file_name(&format!("{structure}-structure-of-{line}")) } else { plain };
        papers.push((name, paper::structure_summary(&on_paper, Printing::archive(legs[0].page()))?));
    }
    let named: Vec<(String, Vec<u8>)> = papers.into_iter().map(|(name, bytes)| (format!("{name}.pdf"), bytes)).collect();
    Ok(into_folder(folder, &named)?)
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
    use std::fs;

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
        let Catalogue { holes, remarks } = catalogue(&store).unwrap();
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
        assert!(matches!(called(&[], &[]), Err(PrintFault::NoHole)));
    }

    #[test]
    fn papers_are_whole_and_have_names_that_stay_in_their_folder() {
        let plans = [plan("../../up", 1, 1), plan("../../up", 3, 1), plan("S-2", 0, 1)];
        let (folder, store) = store(&[("Alpha", &plans)]);
        let holes = catalogue(&store).unwrap().holes;
        let out = folder.path().join("a/b");
        let files = print(&called(&holes, &[]).unwrap(), &out).unwrap();
        let mut there: Vec<PathBuf> = fs::read_dir(&out).unwrap().map(|f| f.unwrap().path()).collect();
        there.sort();
        let names: Vec<String> = files.iter().map(|f| f.file_name().unwrap().to_string_lossy().into_owned()).collect();
        assert_eq!(names, ["____up-left.pdf", "____up-right.pdf", "S-2.pdf", "____up-structure.pdf"]);
        let mut sorted = files.clone();
        sorted.sort();
        assert_eq!(there, sorted, "no file but those named, and no half ones");
        assert!(files.iter().all(|f| fs::read(f).unwrap().starts_with(b"%PDF-")));
    }

    #[test]
    fn what_cannot_be_written_leaves_nothing() {
        let (folder, store) = store(&[("Alpha", &[plan("S-1", 0, 1)])]);
        let holes = catalogue(&store).unwrap().holes;
        let out = folder.path().join("out");
        fs::create_dir_all(out.join("S-1.pdf")).unwrap(); // a folder sits where the file should be
        let said = print(&called(&holes, &[]).unwrap(), &out).unwrap_err().to_string();
        assert!(said.contains("S-1.pdf cannot be written: ") && !said.contains('\n'), "{said}");
        assert_eq!(fs::read_dir(&out).unwrap().count(), 1);
        fs::write(folder.path().join("file"), "").unwrap();
        assert!(matches!(print(&called(&holes, &[]).unwrap(), &folder.path().join("file/out")), Err(PrintFault::Folder(..))));
    }

    #[test]
    fn what_is_wrong_with_a_store_is_remarked() {
        let (folder, mut store) = store(&[("Alpha", &[plan("S-1", 0, 1)])]);
        let alpha = Stream { rig: "Alpha".to_owned(), epoch: 1 };
        store.keep(&alpha, &stream(&[plan("S-2", 0, 1)])).unwrap();
        drop(store);
        let db = rusqlite::Connection::open(folder.path().join("store.sqlite")).unwrap();
        db.execute("UPDATE slots SET slot = zeroblob(32) WHERE sequence = 1", []).unwrap();
        drop(db);
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
