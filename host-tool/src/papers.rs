//! Papers in a folder: which there are to print from a store, and all of them printed, on every processor, each whole or absent.
//! What is there already and would come out the same is not printed again, so that a run that was cut short goes on.

use crate::entry::SetUpName;
use crate::evidence::bundle::{Sheet, Subject};
use crate::evidence::collect::{StructureName, of, of_store, of_structure};
use crate::evidence::printed::{PrintedFault, Printer};
use crate::evidence::signing::HostSigned;
use crate::evidence::{Evidence, EvidenceFault};
use crate::files::{FileFault, whole_or_absent};
use crate::holes::CalledFault;
use crate::holes::index::Index;
use crate::paper::{LAYOUT, PaperError, page_of, program};
use crate::store::{Store, StoreFault};
use crate::structure::volume::Soil;
use crate::text::file_name;
use data_encoding::HEXLOWER;
use ed25519_dalek::SigningKey;
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// The list of what is in the folder: for each paper its name, its SHA-256, and the digest of what it was made of.
pub const LIST: &str = "papers.tsv";

/// Why papers cannot be printed; one line each.
#[derive(Debug, thiserror::Error)]
pub enum PrintFault {
    /// No hole is called so.
    #[error(transparent)]
    Called(#[from] CalledFault),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// What is in it.
    #[error(transparent)]
    Evidence(#[from] EvidenceFault),
    /// The paper itself.
    #[error("{0}: {1}")]
    Printed(String, PrintedFault),
    /// No structure by that name.
    #[error("neither a sheet nor a record names a structure \"{0}\": `borewitness judge` lists them")]
    NoSuchStructure(String),
    /// No record of that day.
    #[error("no rig recorded anything on \"{0}\": write a day like 2026-05-12")]
    NoSuchDay(String),
    /// A list.
    #[error(transparent)]
    Paper(#[from] PaperError),
    /// The folder or the disk.
    #[error(transparent)]
    Folder(#[from] FileFault),
}

/// A paper to print.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Wanted {
    /// Its name, without what says that it is a PDF.
    name: String,
    sheet: Sheet,
}

/// What is to be printed from a store.
#[derive(Debug)]
pub struct Job {
    evidence: BTreeMap<StructureName, Evidence>,
    wanted: BTreeMap<StructureName, Vec<Wanted>>,
    key: SigningKey,
}

/// What became of one paper.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Printed {
    /// Its file.
    pub path: PathBuf,
    /// It was there already, and would have come out the same.
    pub was_there: bool,
}

impl Job {
    /// The certificates of the holes with these names, of all holes where there are none, and of every structure with more than one
    /// hole among them.
    ///
    /// # Errors
    /// See [`PrintFault`].
    pub fn of(store: &Store, names: &[String], limits: Option<&str>) -> Result<Self, PrintFault> {
        let index = Index::of(store)?;
        let chosen = index.called(names)?;
        let mut wanted: BTreeMap<StructureName, Vec<Wanted>> = BTreeMap::new();
        let mut taken: BTreeSet<String> = BTreeSet::new();
        for listed in chosen {
            let (name, found) = (listed.handle.clone(), &listed.found);
            taken.insert(name.to_lowercase());
            let subject = Subject::Hole(SetUpName::new(&found.stream, found.opened));
            let sheet = Sheet { subject, size: page_of(found.brief.units) };
            wanted.entry(of(found)).or_default().push(Wanted { name, sheet });
        }
        let evidence = if names.is_empty() {
            of_store(store, limits, None)?
        } else {
            let of_one = |name: &StructureName| Ok((name.clone(), of_structure(store, name, limits, None)?));
            wanted.keys().map(of_one).collect::<Result<_, StoreFault>>()?
        };
        for ((line, structure), papers) in &mut wanted {
            let Some(size) = papers.first().map(|first| first.sheet.size).filter(|_| papers.len() > 1) else { continue };
            let plain = file_name(&format!("{structure}-structure"));
            let name = if taken.contains(&plain.to_lowercase()) { file_name(&format!("{structure}-structure-of-{line}")) } else { plain };
            taken.insert(name.to_lowercase());
            papers.push(Wanted { name, sheet: Sheet { subject: Subject::Structure, size } });
        }
        Ok(Self { evidence, wanted, key: store.key()? })
    }

    /// The same with the ground named, for what its volume becomes.
    #[must_use]
    pub fn on(mut self, soil: Option<Soil>) -> Self {
        let soil = soil.map(|soil| soil.name.to_owned());
        self.evidence.values_mut().for_each(|evidence| evidence.soil.clone_from(&soil));
        self
    }

    /// How many papers there are to print.
    #[must_use]
    pub fn papers(&self) -> usize {
        self.wanted.values().map(Vec::len).sum()
    }

    /// Prints them into a folder, which is made where there is none; `done` is told of each. Returns them in the order of lines and
    /// structures.
    ///
    /// # Errors
    /// See [`PrintFault`]; what is printed by then stays, whole.
    pub fn print(&self, folder: &Path, done: impl Fn(&Printed) + Sync) -> Result<Vec<Printed>, PrintFault> {
        fs::create_dir_all(folder).map_err(|e| cannot(folder, &e))?;
        let list = List::open(folder)?;
        let all: Vec<_> = self.wanted.iter().collect();
        let printed = all.par_iter().map(|(structure, papers)| {
            let Some(evidence) = self.evidence.get(*structure) else { return Ok(Vec::new()) };
            self.of_structure(evidence, papers, folder, &list, &done)
        });
        Ok(printed.collect::<Result<Vec<_>, PrintFault>>()?.into_iter().flatten().collect())
    }

    fn of_structure(
        &self,
        evidence: &Evidence,
        papers: &[Wanted],
        folder: &Path,
        list: &List,
        done: &(impl Fn(&Printed) + Sync),
    ) -> Result<Vec<Printed>, PrintFault> {
        let made_of: Vec<String> = papers.iter().map(|paper| self.made_of(evidence, &paper.sheet)).collect();
        let path = |paper: &Wanted| folder.join(format!("{}.pdf", paper.name));
        let is_there: Vec<bool> =
            papers.iter().zip(&made_of).map(|(paper, made_of)| list.has(&paper.name, made_of, &path(paper))).collect();
        let judged = if is_there.iter().all(|there| *there) { None } else { Some(evidence.judged()?) };
        let structures = judged.as_ref().map(|judged| judged.structures()).unwrap_or_default();
        let mut printed = Vec::new();
        for ((paper, made_of), was_there) in papers.iter().zip(&made_of).zip(is_there) {
            if let Some(judged) = judged.as_ref().filter(|_| !was_there) {
                let printer = Printer { evidence, judged, structures: &structures, program: program() };
                let bytes = printer.print(&paper.sheet, |manifest| HostSigned::new(manifest, &self.key));
                let bytes = bytes.map_err(|e| PrintFault::Printed(paper.name.clone(), e))?;
                whole_or_absent(&path(paper), &bytes)?;
                list.add(&paper.name, &bytes, made_of).map_err(|e| cannot(&folder.join(LIST), &e))?;
            }
            let one = Printed { path: path(paper), was_there };
            done(&one);
            printed.push(one);
        }
        Ok(printed)
    }

    /// A digest of everything that a paper is made of.
    fn made_of(&self, evidence: &Evidence, sheet: &Sheet) -> String {
        let mut all = Sha256::new();
        let mut part = |bytes: &[u8]| {
            all.update((bytes.len() as u64).to_le_bytes());
            all.update(bytes);
        };
        part(format!("{} {LAYOUT} {sheet:?}", program()).as_bytes());
        part(&self.key.verifying_key().to_bytes());
        for recorded in &evidence.set_ups {
            part(format!("{:?} {:?}", recorded.stream, recorded.unchained).as_bytes());
            for slots in [&recorded.slots.own, &recorded.slots.beside] {
                part(&slots.iter().flat_map(|slot| *slot.bytes()).collect::<Vec<u8>>());
            }
        }
        for entry in &evidence.entries {
            part(&entry.link.sum);
            part(&entry.link.signed.map_or([0; 64], |signed| signed.signature));
        }
        part(evidence.limits.as_deref().unwrap_or_default().as_bytes());
        part(evidence.soil.as_deref().unwrap_or_default().as_bytes());
        HEXLOWER.encode(&all.finalize())
    }
}

/// The folder's list.
#[derive(Debug)]
struct List {
    /// By name: SHA-256 of the file, and what it was made of.
    known: BTreeMap<String, (String, String)>,
    file: Mutex<fs::File>,
}

impl List {
    fn open(folder: &Path) -> Result<Self, PrintFault> {
        let path = folder.join(LIST);
        let text = match fs::read_to_string(&path) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(cannot(&path, &e)),
            text => text.unwrap_or_default(),
        };
        // the newest line of a name counts; a half line, of a run that was cut short, is none
        let line = |line: &str| {
            let mut columns = line.split('\t').map(str::to_owned);
            let known = (columns.next()?, (columns.next()?, columns.next()?));
            columns.next().is_none().then_some(known).filter(|(_, (_, made_of))| made_of.len() == 64)
        };
        let known = text.lines().filter_map(line).collect();
        let mut file = fs::OpenOptions::new().create(true).append(true).open(&path).map_err(|e| cannot(&path, &e))?;
        if !text.is_empty() && !text.ends_with('\n') {
            file.write_all(b"\n").map_err(|e| cannot(&path, &e))?;
        }
        Ok(Self { known, file: Mutex::new(file) })
    }

    fn has(&self, name: &str, made_of: &str, path: &Path) -> bool {
        let known = self.known.get(name).filter(|(_, known)| known == made_of);
        known.is_some_and(|(sha256, _)| fs::read(path).is_ok_and(|bytes| HEXLOWER.encode(&Sha256::digest(bytes)) == *sha256))
    }

    fn add(&self, name: &str, bytes: &[u8], made_of: &str) -> std::io::Result<()> {
        let line = format!("{name}\t{}\t{made_of}\n", HEXLOWER.encode(&Sha256::digest(bytes)));
        self.file.lock().map_err(|_| std::io::Error::other("another processor failed"))?.write_all(line.as_bytes())
    }
}

fn cannot(path: &Path, e: &std::io::Error) -> PrintFault {
    FileFault::new(path, e).into()
}
