//! Papers made of evidence, and of nothing else.

use super::bundle::{self, Sheet, Subject};
use super::review::Reviewed;
use super::signing::HostSigned;
use super::{Evidence, EvidenceFault, Judged};
use crate::holes::Hole;
use crate::paper::attachment::facts_json;
use crate::paper::layout::pdf::Attachment as File;
use crate::paper::{self, PaperError, Printing, Standard, hole_certificate, program, structure_certificate};
use crate::readiness::Structure;
use ed25519_dalek::SigningKey;

/// Why there is no paper; one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PrintedFault {
    /// The evidence itself.
    #[error(transparent)]
    Evidence(#[from] EvidenceFault),
    /// What it is to be of is not in the evidence.
    #[error("the evidence has no such hole")]
    NoSuch,
    /// The paper.
    #[error(transparent)]
    Paper(#[from] PaperError),
}

/// Prints a paper and signs its evidence with the host's key.
///
/// # Errors
/// See [`PrintedFault`].
pub fn printed(evidence: &Evidence, sheet: &Sheet, key: &SigningKey) -> Result<Vec<u8>, PrintedFault> {
    made(evidence, sheet, program(), |manifest| HostSigned::new(manifest, key))
}

/// The same paper again as another program printed it, under a signature that is there already.
///
/// # Errors
/// See [`PrintedFault`].
pub fn again(evidence: &Evidence, sheet: &Sheet, program: &str, signed: HostSigned) -> Result<Vec<u8>, PrintedFault> {
    made(evidence, sheet, program, |_| signed)
}

fn made(evidence: &Evidence, sheet: &Sheet, program: &str, sign: impl FnOnce(&[u8]) -> HostSigned) -> Result<Vec<u8>, PrintedFault> {
    let judged = evidence.judged()?;
    let structures = judged.structures();
    Printer { evidence, judged: &judged, structures: &structures, program }.print(sheet, sign)
}

/// Evidence that was read and judged once, for all the papers that are of it.
#[derive(Clone, Copy, Debug)]
pub struct Printer<'a> {
    /// The evidence.
    pub evidence: &'a Evidence,
    /// The same, judged.
    pub judged: &'a Judged,
    /// What [`Judged::structures`] makes of it.
    pub structures: &'a [Structure<'a>],
    /// The program that prints it, or that did.
    pub program: &'a str,
}

impl Printer<'_> {
    /// Prints one paper; `sign` is given `evidence.json`.
    ///
    /// # Errors
    /// See [`PrintedFault`].
    pub fn print(&self, sheet: &Sheet, sign: impl FnOnce(&[u8]) -> HostSigned) -> Result<Vec<u8>, PrintedFault> {
        self.print_as(sheet, Standard::Archive, sign)
    }

    /// The same by another standard; the plain one has no files within.
    ///
    /// # Errors
    /// See [`PrintedFault`].
    pub fn print_as(&self, sheet: &Sheet, standard: Standard, sign: impl FnOnce(&[u8]) -> HostSigned) -> Result<Vec<u8>, PrintedFault> {
        let written = |e: &dyn std::fmt::Display| PaperError::NotWritten(e.to_string());
        let bundle = |more: Vec<File>| -> Result<Vec<File>, PaperError> {
            if standard == Standard::Plain {
                return Ok(Vec::new());
            }
            let mut files = bundle::write(self.evidence, sheet, self.program, more).map_err(|e| written(&e))?;
            let signed = sign(files.first().map_or(&[], |manifest| &manifest.data));
            files.extend(signed.files().map_err(|e| written(&e))?);
            Ok(files)
        };
        let printing = Printing { size: sheet.size, standard };
        let mut holes: Vec<(&Hole, Option<Reviewed>)> =
            self.judged.holes.iter().map(|hole| (hole, Reviewed::of(self.evidence, self.judged, hole))).collect();
        holes.sort_by_key(|(hole, _)| (hole.plan().leg, hole.plan().attempt, hole.plan().setup, hole.setup.opened.sequence));
        let all: Vec<paper::Hole<'_>> = holes
            .iter()
            .map(|(hole, reviewed)| paper::Hole { reviewed: reviewed.as_ref(), program: self.program, ..hole.on_paper(self.structures) })
            .collect();
        match &sheet.subject {
            Subject::Hole(name) => {
                let n = holes.iter().position(|(hole, _)| hole.set_up_name() == *name);
                let hole = n.and_then(|n| all.get(n)).ok_or(PrintedFault::NoSuch)?;
                let facts = File {
                    name: "facts.json".to_owned(),
                    media_type: "application/json",
                    description: "What the slots say and what it means against the plan, to read".to_owned(),
                    data: facts_json(hole).into_bytes(),
                };
                Ok(hole_certificate(hole, bundle(vec![facts])?, printing)?)
            }
            Subject::Structure => Ok(structure_certificate(&all, bundle(Vec::new())?, printing)?),
        }
    }
}
