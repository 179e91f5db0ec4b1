//! Papers made of evidence, and of nothing else.

use super::bundle::{self, Sheet, Subject};
use super::review::Reviewed;
use super::signing::HostSigned;
use super::{Evidence, EvidenceFault};
use crate::holes::Hole;
use crate::paper::attachment::facts_json;
use crate::paper::layout::pdf::Attachment as File;
use crate::paper::{self, PaperError, Printing, hole_certificate, program, structure_summary};
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
    made(evidence, sheet, |manifest| HostSigned::new(manifest, key))
}

/// The same paper again, under a signature that is there already.
///
/// # Errors
/// See [`PrintedFault`].
pub fn again(evidence: &Evidence, sheet: &Sheet, signed: HostSigned) -> Result<Vec<u8>, PrintedFault> {
    made(evidence, sheet, |_| signed)
}

fn made(evidence: &Evidence, sheet: &Sheet, sign: impl FnOnce(&[u8]) -> HostSigned) -> Result<Vec<u8>, PrintedFault> {
    let judged = evidence.judged()?;
    let printing = Printing::archive(sheet.size);
    let written = |e: &dyn std::fmt::Display| PaperError::NotWritten(e.to_string());
    let bundle = |more: Vec<File>| -> Result<Vec<File>, PaperError> {
        let mut files = bundle::write(evidence, sheet, program(), more).map_err(|e| written(&e))?;
        let signed = sign(files.first().map_or(&[], |manifest| &manifest.data));
        files.extend(signed.files().map_err(|e| written(&e))?);
        Ok(files)
    };
    let on_paper = |hole| -> paper::Hole<'_> { Hole::on_paper(hole) };
    match &sheet.subject {
        Subject::Hole(name) => {
            let hole = judged.holes.iter().find(|hole| hole.set_up_name() == *name).ok_or(PrintedFault::NoSuch)?;
            let reviewed = Reviewed::of(evidence, &judged, hole).ok_or(PrintedFault::NoSuch)?;
            let facts = File {
                name: "facts.json".to_owned(),
                media_type: "application/json",
                description: "What the slots say and what it means against the plan, to read".to_owned(),
                data: facts_json(&on_paper(hole)).into_bytes(),
            };
            Ok(hole_certificate(&on_paper(hole), &reviewed, bundle(vec![facts])?, printing)?)
        }
        Subject::Structure => {
            let mut legs: Vec<&Hole> = judged.holes.iter().collect();
            legs.sort_by_key(|hole| (hole.plan().leg, hole.plan().attempt, hole.plan().setup, hole.setup.opened.sequence));
            let holes: Vec<paper::Hole<'_>> = legs.into_iter().map(on_paper).collect();
            Ok(structure_summary(&holes, bundle(Vec::new())?, printing)?)
        }
    }
}
