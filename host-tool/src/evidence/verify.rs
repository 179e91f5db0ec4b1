//! Checks a paper with nothing but the paper and the keys that somebody trusts: whether its pages are what its evidence gives, and
//! who vouches for the evidence.

use super::bundle::{self, Attached, Read, SIGNATURE, Subject};
use super::keys::{Role, Trusted};
use super::printed::again;
use super::review::{Review, Reviewed};
use super::signing::HostSigned;
use super::{Chained, Judged};
use crate::facts::DigestState;
use crate::holes::Hole;
use crate::paper::{LAYOUT, program};
use crate::proof::{Sealing, Signer};
use crate::text::terminal;
use hayro_syntax::Pdf;
use hayro_syntax::object::{Array, Dict, Name, Stream};
use std::collections::BTreeMap;

/// Bytes of a paper.
pub const FILE_BYTES: u64 = 64 << 20;
/// Bytes of everything attached to it, unpacked.
const ATTACHED_BYTES: usize = 64 << 20;
/// Files attached to it.
const ATTACHED_MOST: usize = 256;

/// How one thing stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// It holds, and it is known who vouches for it, where that is asked.
    Holds,
    /// It holds together, and nobody who is trusted vouches for it.
    Open,
    /// It does not.
    Fails,
}

/// One thing that was checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// How it stands.
    pub state: State,
    /// What was found, in a sentence without its full stop.
    pub what: String,
}

/// All that was checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// What the paper is of.
    pub title: String,
    /// Line by line.
    pub checked: Vec<Checked>,
    /// Whether keys were named to trust.
    pub trusting: bool,
}

impl Report {
    /// The gravest of all states.
    #[must_use]
    pub fn state(&self) -> State {
        self.checked.iter().map(|checked| checked.state).max().unwrap_or(State::Fails)
    }

    fn add(&mut self, state: State, what: impl Into<String>) {
        self.checked.push(Checked { state, what: terminal(&what.into()) });
    }

    /// What holds together and stands or falls with somebody's trust in a key.
    fn vouched(&mut self, trusted: Option<&Trusted>, role: Role, key: &[u8; 32], what: &str) {
        match trusted.map(|trusted| trusted.whose(role, key)) {
            Some(Some(whose)) => {
                self.add(State::Holds, format!("{what}, by a key that you trust: {}", if whose.is_empty() { "no name" } else { whose }))
            }
            Some(None) => self.add(State::Fails, format!("{what}, but by a {} key that is not among those you trust", role.word())),
            None => self.add(State::Open, format!("{what}; signer unknown: no keys were named to trust")),
        }
    }
}

/// Checks a paper. Without keys to trust nothing more than that it is consistent can come out of it.
#[must_use]
pub fn verify(paper: &[u8], trusted: Option<&Trusted>) -> Report {
    let mut report = Report { trusting: trusted.is_some(), ..Report::default() };
    let files = match attached(paper) {
        Ok(files) => files,
        Err(why) => {
            report.add(State::Fails, why);
            return report;
        }
    };
    let signed = HostSigned::of(&files);
    match signed {
        Some(signed) if signed.holds(&files) => {
            report.vouched(trusted, Role::Host, &signed.key, "the list of the evidence is signed by the computer that printed it");
        }
        Some(_) => report.add(State::Fails, format!("{SIGNATURE} is not the signature of evidence.json by the key in host.pem")),
        None => report.add(State::Fails, "the signature of the computer that printed it is missing or cannot be read"),
    }
    let read = match bundle::read(&files) {
        Ok(read) => read,
        Err(why) => {
            report.add(State::Fails, why.to_string());
            return report;
        }
    };
    report.title = format!("structure {} of line {}", terminal(&read.evidence.structure), terminal(&read.evidence.line));
    pages(&mut report, paper, &read, signed);
    match read.evidence.judged() {
        Ok(judged) => {
            entries(&mut report, &read.evidence.entries, trusted);
            for hole in &judged.holes {
                rig(&mut report, hole, trusted);
                // the other legs stand beside a hole's certificate for how the poles fit; whoever reviews them does it on their own
                if [Subject::Structure, Subject::Hole(hole.set_up_name())].contains(&read.sheet.subject) {
                    reviews(&mut report, &read, &judged, hole, trusted);
                }
            }
        }
        Err(why) => report.add(State::Fails, why.to_string()),
    }
    report
}

/// The pages are those that the evidence gives.
fn pages(report: &mut Report, paper: &[u8], read: &Read, signed: Option<HostSigned>) {
    if read.layout != LAYOUT {
        let (theirs, ours) = (terminal(&read.program), program());
        let what = format!(
            "the pages cannot be compared: printed by {theirs}, layout {}, and this is {ours}, layout {LAYOUT}; use that version",
            read.layout
        );
        return report.add(State::Fails, what);
    }
    let Some(signed) = signed else { return };
    match again(&read.evidence, &read.sheet, &read.program, signed) {
        Ok(same) if same == paper => report.add(State::Holds, "every page, figure and attached file is what the evidence gives"),
        Ok(other) => {
            let at = other.iter().zip(paper).position(|(a, b)| a != b).unwrap_or(other.len().min(paper.len()));
            report
                .add(State::Fails, format!("the file is not what its evidence gives: pages or files were changed, the first at byte {at}"));
        }
        Err(why) => report.add(State::Fails, format!("its evidence cannot be printed: {why}")),
    }
}

/// What people entered is what they entered.
fn entries(report: &mut Report, entries: &[Chained], trusted: Option<&Trusted>) {
    let mut hosts: BTreeMap<[u8; 32], u32> = BTreeMap::new();
    let mut unsigned = 0u32;
    let mut last: Option<&Chained> = None;
    for entry in entries {
        let place = entry.link.place;
        let behind = last.filter(|last| (last.link.place.host, last.link.place.number.checked_add(1)) == (place.host, Some(place.number)));
        if last.is_some_and(|last| last.link.place >= place) {
            report.add(State::Fails, format!("entry {place} is not in its order, or there twice"));
        }
        if !entry.link.follows(&entry.before) || behind.is_some_and(|last| last.link.sum != entry.before) {
            report.add(State::Fails, format!("entry {place} is not what was entered: its sum differs"));
        }
        match (entry.link.is_signed(), entry.link.signed) {
            (Some(true), Some(signed)) => *hosts.entry(signed.key).or_default() += 1,
            (Some(false), _) => report.add(State::Fails, format!("entry {place} is not signed by the key that it names")),
            _ => unsigned += 1,
        }
        last = Some(entry);
    }
    for (key, count) in hosts {
        let entries = if count == 1 { "1 entry".to_owned() } else { format!("{count} entries") };
        report.vouched(trusted, Role::Host, &key, &format!("{entries} signed by the computer that they were entered on"));
    }
    if unsigned > 0 {
        report.add(State::Open, format!("{unsigned} entries are from before computers signed them"));
    }
}

/// What the rig measured is what it sealed.
fn rig(report: &mut Report, hole: &Hole, trusted: Option<&Trusted>) {
    let name = hole.name();
    match hole.setup.digest {
        DigestState::Fits => report.add(State::Holds, format!("{name}: every slot is there that the rig counted, as it wrote them")),
        DigestState::Open => report.add(State::Open, format!("{name}: not closed, so the rig has not summed it up")),
        DigestState::Lacking => report.add(State::Open, format!("{name}: slots are missing; the others are as the rig wrote them")),
        DigestState::Differs => report.add(State::Fails, format!("{name}: slots are not what the rig wrote")),
    }
    match (hole.setup.sealing, &hole.setup.seal) {
        (Sealing::Fits(Signer::Simulated, _), _) => {
            report.add(State::Holds, format!("{name}: SIMULATED, sealed by the published key: no hole was drilled"))
        }
        (Sealing::Fits(Signer::Unknown, _), Some(seal)) => {
            report.vouched(trusted, Role::Rig, &seal.body.key, &format!("{name}: sealed by the rig"))
        }
        (Sealing::Unfit(why), _) => report.add(State::Fails, format!("{name}: the seal does not fit: {}", why.text())),
        (other, _) => report.add(State::Open, format!("{name}: {}", other.text())),
    }
}

/// Who reviewed it, and whether they saw what is printed.
fn reviews(report: &mut Report, read: &Read, judged: &Judged, hole: &Hole, trusted: Option<&Trusted>) {
    let name = hole.name();
    let Some(reviewed) = Reviewed::of(&read.evidence, judged, hole) else { return };
    for review in &reviewed.reviews {
        let Review { revision, by, at, finding, key, .. } = review;
        let what = format!("{name}: revision {revision} {} by {by} on {}", finding.word(), at.rfc3339());
        if *revision == 0 {
            report.add(State::Fails, format!("{what}: what was signed says something else"));
        } else if review.is_signed() {
            report.vouched(trusted, Role::Reviewer, key, &what);
        } else {
            report.add(State::Fails, format!("{what}: the signature is not that of the key it names"));
        }
    }
    for number in reviewed.missing() {
        report.add(State::Fails, format!("{name}: revision {number} is missing, which a later one supersedes"));
    }
    let twice = reviewed.reviews.windows(2).find(|pair| pair[0].revision == pair[1].revision);
    if let Some([first, second]) = twice {
        let (revision, first, second) = (first.revision, &first.by, &second.by);
        report.add(State::Open, format!("{name}: {first} and {second} both signed a revision {revision}, on two computers; both count"));
    }
    if reviewed.reviews.is_empty() {
        report.add(State::Open, format!("{name}: nobody has reviewed it"));
    } else if !reviewed.current {
        report.add(State::Open, format!("{name}: the record has changed since it was reviewed, so what is printed is not reviewed"));
    }
}

/// The files within a paper, by name.
///
/// # Errors
/// One line that says what is wrong with the file.
pub fn attached(paper: &[u8]) -> Result<Attached, String> {
    let pdf = Pdf::new(paper.to_vec()).map_err(|_| "it cannot be read as a PDF file".to_owned())?;
    let none = || "no record is attached to it: it was not printed by this program, or its attachments were taken out".to_owned();
    let xref = pdf.xref();
    let root: Dict<'_> = xref.get(xref.root_id()).ok_or_else(none)?;
    let list: Array<'_> = root.get("AF").ok_or_else(none)?;
    let (mut files, mut room) = (Attached::new(), ATTACHED_BYTES);
    for file in list.iter::<Dict<'_>>().take(ATTACHED_MOST) {
        let name: hayro_syntax::object::String<'_> = file.get("UF").or_else(|| file.get("F")).ok_or_else(none)?;
        let name = text(&name).ok_or_else(none)?;
        let stream: Stream<'_> = file.get::<Dict<'_>>("EF").and_then(|ef| ef.get("F")).ok_or_else(none)?;
        let data = unpacked(&stream, room).ok_or_else(|| format!("{} is attached and cannot be unpacked", terminal(&name)))?;
        room = room.saturating_sub(data.len());
        if files.insert(name.clone(), data).is_some() {
            return Err(format!("two attached files are called {}", terminal(&name)));
        }
    }
    if files.is_empty() { Err(none()) } else { Ok(files) }
}

/// PDF's text: UTF-16 behind its mark, else bytes as they are.
fn text(string: &hayro_syntax::object::String<'_>) -> Option<String> {
    let bytes: &[u8] = string.as_ref();
    match bytes.strip_prefix(&[0xFE, 0xFF]) {
        None => std::str::from_utf8(bytes).ok().map(str::to_owned),
        Some(wide) => {
            let (pairs, rest) = wide.as_chunks::<2>();
            let units = pairs.iter().map(|pair| u16::from_be_bytes(*pair)).collect::<Vec<_>>();
            String::from_utf16(&units).ok().filter(|_| rest.is_empty())
        }
    }
}

/// What a stream holds, never more than there is room for.
fn unpacked(stream: &Stream<'_>, room: usize) -> Option<Vec<u8>> {
    let raw = stream.raw_data();
    match stream.dict().get::<Name<'_>>("Filter") {
        None if !stream.dict().contains_key("Filter") => (raw.len() <= room).then(|| raw.into_owned()),
        Some(filter) if filter.as_ref() == b"FlateDecode" => miniz_oxide::inflate::decompress_to_vec_zlib_with_limit(&raw, room).ok(),
        _ => None,
    }
}
