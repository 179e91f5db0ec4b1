//! Evidence as files: what a paper carries within itself, and what it is read back from.
//!
//! `evidence.json` says what the others are, with the SHA-256 of each, and is what the host signs (`evidence.sig`, with the key in
//! `host.pem`). Slots are as the rig wrote them, 32 bytes each; entries are the very bytes that their sums cover.

use super::{Chained, Evidence, EvidenceFault, Recorded};
use crate::entry::{Entry, Link, Place, SetUpName, Signed};
use crate::facts::Alone;
use crate::paper::layout::pdf::Attachment as File;
use crate::paper::{LAYOUT, PageSize};
use crate::session::Stream;
use data_encoding::HEXLOWER;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::collections::BTreeMap;

/// The version of these files.
pub const VERSION: u16 = 1;
/// What `evidence.json` says it is.
const FORMAT: &str = "borewitness evidence";
/// The file that lists the others.
pub const MANIFEST: &str = "evidence.json";
/// The host's signature of it.
pub const SIGNATURE: &str = "evidence.sig";
/// The key that it is checked with.
pub const HOST_KEY: &str = "host.pem";
const ENTRIES: &str = "entries.json";
const LIMITS: &str = "limits.toml";

/// Set-ups of a structure, and entries about its holes: so many nobody has.
const SET_UPS_MOST: usize = 200;
/// See [`SET_UPS_MOST`].
const ENTRIES_MOST: usize = 5_000;

/// What a paper is of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// A set-up.
    Hole(SetUpName),
    /// The structure.
    Structure,
}

/// A paper to print.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// What it is of.
    pub subject: Subject,
    /// Page size.
    pub size: PageSize,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Manifest {
    format: String,
    version: u16,
    layout: u16,
    program: String,
    paper: Subject,
    page: Page,
    line: String,
    structure: String,
    set_ups: Vec<SetUpFiles>,
    entries: String,
    limits: Option<String>,
    soil: Option<String>,
    files: Vec<Sum>,
}

#[derive(Clone, Copy, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Page {
    Letter,
    A4,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SetUpFiles {
    rig: String,
    epoch: u32,
    opened: u32,
    slots: String,
    beside: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    unchained: Vec<Entry>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Sum {
    name: String,
    bytes: usize,
    sha256: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct EntryFile {
    host: u32,
    number: u32,
    before: String,
    sum: String,
    key: Option<String>,
    signature: Option<String>,
    body: String,
}

/// Why files are no evidence; one line, which names the file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BundleFault {
    /// A file that should be there.
    #[error("{0} is not among the attached files")]
    Lacks(String),
    /// A file that should not.
    #[error("{0} is attached and not listed in evidence.json")]
    Unlisted(String),
    /// It cannot be read.
    #[error("{0} cannot be read: {1}")]
    Unreadable(String, String),
    /// It is not what is listed.
    #[error("{0} is not what evidence.json lists: its SHA-256 differs")]
    Differs(String),
    /// Another format.
    #[error("evidence.json is of version {0}, and this program knows version {VERSION}: use a later one")]
    Version(u16),
    /// A slot that its own check refuses.
    #[error("slot {1} of {0} is damaged: its CRC differs")]
    Slot(String, usize),
    /// What it says cannot be.
    #[error(transparent)]
    Evidence(#[from] EvidenceFault),
}

/// SHA-256 in hexadecimal.
fn sha256(data: &[u8]) -> String {
    HEXLOWER.encode(&Sha256::digest(data))
}

/// The evidence as files, `evidence.json` first; `more` are files that are made of it and listed with it.
///
/// # Errors
/// Where JSON cannot be written; none is known.
pub fn write(evidence: &Evidence, sheet: &Sheet, program: &str, more: Vec<File>) -> Result<Vec<File>, serde_json::Error> {
    let mut files = Vec::new();
    let mut set_ups = Vec::new();
    for (n, recorded) in (1..).zip(&evidence.set_ups) {
        let name = recorded.name();
        let number = if sheet.subject == Subject::Hole(name.clone()) { String::new() } else { format!("-{n}") };
        let of = format!("set-up {} of rig {}, epoch {}", name.opened, name.rig, name.epoch);
        let mut put = |kind: &str, slots: &[Slot], description: String| {
            let file = format!("{kind}{number}.bin");
            let data = slots.iter().flat_map(|slot| *slot.bytes()).collect();
            files.push(File { name: file.clone(), media_type: "application/octet-stream", description, data });
            file
        };
        let slots = put("slots", &recorded.slots.own, format!("The slots of {of}, 32 bytes each, as the rig wrote them"));
        let beside = put("beside", &recorded.slots.beside, format!("Other slots of the rig that times, gaps and seal of {of} lean on"));
        let SetUpName { rig, epoch, opened } = name;
        set_ups.push(SetUpFiles { rig, epoch, opened, slots, beside, unchained: recorded.unchained.clone() });
    }
    let json = |name: &str, description: &str, data: Vec<u8>| File {
        name: name.to_owned(),
        media_type: "application/json",
        description: description.to_owned(),
        data,
    };
    let entries = serde_json::to_vec_pretty(&evidence.entries.iter().filter_map(entry_file).collect::<Vec<_>>())?;
    files.push(json(
        ENTRIES,
        "What people entered about the structure's holes, each signed by the computer that it was entered on",
        entries,
    ));
    if let Some(limits) = &evidence.limits {
        let (name, description) = (LIMITS.to_owned(), "The limits that it was judged by, beside the sheet's".to_owned());
        files.push(File { name, media_type: "application/toml", description, data: limits.clone().into_bytes() });
    }
    files.extend(more);
    let sum = |file: &File| Sum { name: file.name.clone(), bytes: file.data.len(), sha256: sha256(&file.data) };
    let manifest = Manifest {
        format: FORMAT.to_owned(),
        version: VERSION,
        layout: LAYOUT,
        program: program.to_owned(),
        paper: sheet.subject.clone(),
        page: if sheet.size == PageSize::A4 { Page::A4 } else { Page::Letter },
        line: evidence.line.clone(),
        structure: evidence.structure.clone(),
        set_ups,
        entries: ENTRIES.to_owned(),
        limits: evidence.limits.as_ref().map(|_| LIMITS.to_owned()),
        soil: evidence.soil.clone(),
        files: files.iter().map(sum).collect(),
    };
    files.insert(
        0,
        json(MANIFEST, "What the attached files are, with their sums: this is what the host signs", serde_json::to_vec_pretty(&manifest)?),
    );
    Ok(files)
}

fn entry_file(chained: &Chained) -> Option<EntryFile> {
    let Link { place: Place { host, number }, body, sum, signed } = chained.link.clone();
    Some(EntryFile {
        host,
        number,
        before: HEXLOWER.encode(&chained.before),
        sum: HEXLOWER.encode(&sum),
        key: signed.map(|signed| HEXLOWER.encode(&signed.key)),
        signature: signed.map(|signed| HEXLOWER.encode(&signed.signature)),
        body: String::from_utf8(body).ok()?,
    })
}

/// Evidence read back, with what it is printed as.
#[derive(Clone, Debug, PartialEq)]
pub struct Read {
    /// The evidence.
    pub evidence: Evidence,
    /// The paper.
    pub sheet: Sheet,
    /// The layout that it was printed by.
    pub layout: u16,
    /// The program that printed it.
    pub program: String,
}

/// The files as they are attached, by name.
pub type Attached = BTreeMap<String, Vec<u8>>;

/// Reads evidence out of files. What nobody lists must not be there, but for the host's signature and key.
///
/// # Errors
/// See [`BundleFault`]; the first fault.
pub fn read(files: &Attached) -> Result<Read, BundleFault> {
    let data = |name: &str| files.get(name).ok_or_else(|| BundleFault::Lacks(name.to_owned()));
    let manifest: serde_json::Value = json(MANIFEST, data(MANIFEST)?)?;
    if let Some(version) = manifest.get("version").and_then(serde_json::Value::as_u64).filter(|v| *v != u64::from(VERSION)) {
        return Err(BundleFault::Version(u16::try_from(version).unwrap_or(u16::MAX)));
    }
    let manifest: Manifest = json(MANIFEST, data(MANIFEST)?)?;
    if manifest.format != FORMAT {
        return Err(BundleFault::Unreadable(MANIFEST.to_owned(), format!("it is no \"{FORMAT}\"")));
    }
    for sum in &manifest.files {
        let data = data(&sum.name)?;
        if data.len() != sum.bytes || sha256(data) != sum.sha256 {
            return Err(BundleFault::Differs(sum.name.clone()));
        }
    }
    let known =
        |name: &String| [MANIFEST, SIGNATURE, HOST_KEY].contains(&name.as_str()) || manifest.files.iter().any(|sum| sum.name == *name);
    if let Some(name) = files.keys().find(|name| !known(name)) {
        return Err(BundleFault::Unlisted(name.clone()));
    }
    let mut evidence = Evidence { line: manifest.line, structure: manifest.structure, soil: manifest.soil, ..Evidence::default() };
    if manifest.set_ups.len() > SET_UPS_MOST {
        return Err(BundleFault::Unreadable(MANIFEST.to_owned(), format!("no structure has more than {SET_UPS_MOST} set-ups")));
    }
    for set_up in manifest.set_ups {
        let (rig, epoch, opened) = (set_up.rig, set_up.epoch, set_up.opened);
        let slots = Alone { own: slots(&set_up.slots, data(&set_up.slots)?)?, beside: slots(&set_up.beside, data(&set_up.beside)?)? };
        let recorded = Recorded { stream: Stream { rig: rig.clone(), epoch }, slots, unchained: set_up.unchained };
        if recorded.opened() != opened {
            return Err(EvidenceFault::SetUp { rig, opened }.into());
        }
        evidence.set_ups.push(recorded);
    }
    let entries: Vec<EntryFile> = json(&manifest.entries, data(&manifest.entries)?)?;
    if entries.len() > ENTRIES_MOST {
        return Err(BundleFault::Unreadable(manifest.entries, format!("no structure has more than {ENTRIES_MOST} entries")));
    }
    evidence.entries = entries.into_iter().map(|entry| chained(&manifest.entries, entry)).collect::<Result<_, _>>()?;
    if let Some(name) = &manifest.limits {
        let text = String::from_utf8(data(name)?.clone());
        evidence.limits = Some(text.map_err(|_| BundleFault::Unreadable(name.clone(), "it is not text".to_owned()))?);
    }
    let size = match manifest.page {
        Page::Letter => PageSize::Letter,
        Page::A4 => PageSize::A4,
    };
    Ok(Read { evidence, sheet: Sheet { subject: manifest.paper, size }, layout: manifest.layout, program: manifest.program })
}

fn json<T: for<'a> Deserialize<'a>>(name: &str, data: &[u8]) -> Result<T, BundleFault> {
    serde_json::from_slice(data).map_err(|e| BundleFault::Unreadable(name.to_owned(), e.to_string()))
}

fn slots(name: &str, data: &[u8]) -> Result<Vec<Slot>, BundleFault> {
    let (whole, rest) = data.as_chunks::<SLOT_BYTES>();
    if !rest.is_empty() {
        return Err(BundleFault::Unreadable(name.to_owned(), format!("slots have {SLOT_BYTES} bytes each")));
    }
    let slot = |(n, bytes): (usize, &[u8; SLOT_BYTES])| Slot::check(bytes).map_err(|_| BundleFault::Slot(name.to_owned(), n));
    whole.iter().enumerate().map(slot).collect()
}

fn chained(file: &str, entry: EntryFile) -> Result<Chained, BundleFault> {
    let EntryFile { host, number, before, sum, key, signature, body } = entry;
    let fault = || {
        BundleFault::Unreadable(
            file.to_owned(),
            format!("a sum, key or signature of entry {host}-{number} is no hexadecimal number of its length"),
        )
    };
    let signed = match (key, signature) {
        (Some(key), Some(signature)) => {
            Some(Signed { key: bytes(&key).ok_or_else(fault)?, signature: bytes(&signature).ok_or_else(fault)? })
        }
        (None, None) => None,
        _ => return Err(fault()),
    };
    let link = Link { place: Place { host, number }, body: body.into_bytes(), sum: bytes(&sum).ok_or_else(fault)?, signed };
    Ok(Chained { before: bytes(&before).ok_or_else(fault)?, link })
}

fn bytes<const N: usize>(text: &str) -> Option<[u8; N]> {
    HEXLOWER.decode(text.as_bytes()).ok()?.try_into().ok()
}
