//! Who has reviewed a set-up's record, and whether it is still the one that they saw.

use super::short::{OnReview, Short, TAG, code, counted, digest};
use super::{Evidence, Judged, Recorded};
use crate::entry::{Entry, EntryFault, Finding, Place, Said};
use crate::facts::Wall;
use crate::holes::Hole;
use data_encoding::HEXLOWER;
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};

/// Revisions that are missing and are named.
const REVISIONS_NAMED: usize = 3;

/// One review.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Review {
    /// The entry.
    pub place: Place,
    /// The number that was signed, from 1; 0 where what was signed is no such text.
    pub revision: u32,
    /// Who.
    pub by: String,
    /// When.
    pub at: Wall,
    /// What was found.
    pub finding: Finding,
    /// Why.
    pub reason: String,
    /// What was signed.
    pub short: String,
    /// The reviewer's public key; zeros where what is written is none.
    pub key: [u8; 32],
    /// The signature; zeros where what is written is none.
    pub signature: [u8; 64],
}

impl Review {
    fn of(place: Place, entry: &Entry) -> Option<Self> {
        let Said::Reviewed { finding, short, key, signature } = &entry.said else { return None };
        Some(Self {
            place,
            revision: revision(short, *finding).unwrap_or(0),
            by: entry.by.clone(),
            at: entry.at,
            finding: *finding,
            reason: entry.remark.clone(),
            short: short.clone(),
            key: hexadecimal(key).unwrap_or([0; 32]),
            signature: hexadecimal(signature).unwrap_or([0; 64]),
        })
    }

    /// Whether the signature is that of its key over the text.
    #[must_use]
    pub fn is_signed(&self) -> bool {
        signed_by(&self.key, &self.short, &self.signature)
    }
}

/// The number in a short text, where it says that the record was found so.
fn revision(short: &str, finding: Finding) -> Option<u32> {
    let (number, rest) = short.lines().nth(1)?.strip_prefix('r')?.split_once(' ')?;
    number.parse().ok().filter(|_| rest.split(' ').next() == Some(finding.word()))
}

/// Whether a signature is that of a key over a short text.
#[must_use]
pub fn signed_by(key: &[u8; 32], short: &str, signature: &[u8; 64]) -> bool {
    let signed = [TAG, short.as_bytes()].concat();
    VerifyingKey::from_bytes(key).is_ok_and(|key| key.verify_strict(&signed, &Signature::from_bytes(signature)).is_ok())
}

fn hexadecimal<const N: usize>(text: &str) -> Option<[u8; N]> {
    HEXLOWER.decode(text.as_bytes()).ok()?.try_into().ok()
}

/// Where a set-up's record stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reviewed {
    /// The record in short.
    pub short: Short,
    /// Every review of it, oldest first.
    pub reviews: Vec<Review>,
    /// What the QR code says.
    pub code: String,
    /// Whether the last review is of the record as it is now.
    pub current: bool,
}

impl Reviewed {
    /// Of one set-up in its evidence.
    #[must_use]
    pub fn of(evidence: &Evidence, judged: &Judged, hole: &Hole) -> Option<Self> {
        let recorded = evidence.set_ups.iter().find(|recorded| recorded.name() == hole.set_up_name())?;
        let short = short(evidence, judged, recorded, hole);
        let mut of_it: Vec<(Place, &Entry)> = hole.entries.iter().map(|told| (told.place, &told.entry)).collect();
        of_it.retain(|(_, entry)| matches!(entry.said, Said::Reviewed { .. }) && entry.set_up.as_ref() == Some(&recorded.name()));
        let mut reviews: Vec<Review> = of_it.into_iter().filter_map(|(place, entry)| Review::of(place, entry)).collect();
        reviews.sort_by_key(|review| (review.revision, review.at.unix_ms, review.place));
        let as_now =
            |r: &Review| short.text(OnReview::Reviewed { revision: r.revision, finding: r.finding, at: r.at, key: &r.key }) == r.short;
        let last = reviews.last().filter(|review| review.is_signed() && as_now(review));
        let (code, current) = match last {
            Some(review) => (code(&review.short, &review.signature), true),
            None => (short.text(OnReview::Unreviewed(reviews.last().map_or(0, |review| review.revision))), false),
        };
        Some(Self { short, reviews, code, current })
    }

    /// Numbers up to the last revision that no review has: it was taken out, or put elsewhere.
    pub fn missing(&self) -> impl Iterator<Item = u32> {
        let last = self.reviews.last().map_or(0, |review| review.revision);
        (1..=last).filter(|number| !self.reviews.iter().any(|review| review.revision == *number)).take(REVISIONS_NAMED)
    }

    /// The entry by which somebody reviews the record as it is now.
    ///
    /// # Errors
    /// Where it is returned and no reason is given, or nobody is named.
    pub fn review(&self, hole: &Hole, by: &str, at: Wall, finding: Finding, reason: &str, key: &SigningKey) -> Result<Entry, EntryFault> {
        let public = key.verifying_key().to_bytes();
        let revision = self.reviews.last().map_or(0, |review| review.revision).saturating_add(1);
        let short = self.short.text(OnReview::Reviewed { revision, finding, at, key: &public });
        let signature = HEXLOWER.encode(&key.sign(&[TAG, short.as_bytes()].concat()).to_bytes());
        let said = Said::Reviewed { finding, short, key: HEXLOWER.encode(&public), signature };
        let name = hole.hole_name().ok_or(EntryFault::Hole)?;
        let entry = Entry { set_up: Some(hole.set_up_name()), remark: reason.trim().to_owned(), ..Entry::new(by, at, name, said) };
        entry.check().map(|()| entry)
    }
}

fn short(evidence: &Evidence, judged: &Judged, recorded: &Recorded, hole: &Hole) -> Short {
    let sums = evidence.entries.iter().map(|e| (e.link.place, e.link.sum));
    let read = sums.filter_map(|(place, sum)| {
        let (_, entry) = judged.entries.iter().find(|(known, _)| *known == place)?;
        Some((place, entry, sum))
    });
    let counted = counted(read, hole);
    Short::of(hole, digest(recorded, evidence.limits.as_deref(), &counted))
}
