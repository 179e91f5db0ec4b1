//! A set-up in short: so few words that they fit a QR code with a signature under them. What a reviewer signs is this text, so
//! that a photograph of a print carries what was signed.
//!
//! Five lines of ASCII: what and where, review, depth, lean, and the evidence with the reviewer's key. `in` and `out` are measured
//! within and outside, `+` behind them says that it is shown (JCGM 106), `?` is not known.

use super::Recorded;
use crate::entry::{Entry, Finding, Place, Said};
use crate::facts::Wall;
use crate::holes::Hole;
use crate::judge::limits::Measurand;
use crate::judge::{Guarded, Standing, Verdict};
use crate::paper::hole::Reality;
use crate::paper::limits::quantity;
use crate::paper::words::Units;
use data_encoding::BASE64URL_NOPAD;
use sha2::{Digest, Sha256};
use shared_protocol::state::Leg;

/// Bytes of the whole code, signature and all.
pub const CODE_BYTES: usize = 220;
/// What stands before the text in what is signed.
pub const TAG: &[u8] = b"borewitness review 1\n";
/// What every code begins with.
pub const HEAD: &str = "BW1 ";
/// Bytes of the evidence's digest that are in the code: 128 bits.
const DIGEST_BYTES: usize = 16;
/// Bytes of a key's digest by which it is found among those that are trusted.
const KEY_BYTES: usize = 6;
/// Characters of a signature, 64 bytes in the URL's base 64 (RFC 4648) without padding, with the full stop before it.
const SIGNATURE_CHARS: usize = 87;

/// SHA-256 over what is reviewed: the set-up's own slots, the limits, and the sums of all entries about the hole that say what was
/// measured, met, planned or decided. States, tickets and reviews go on without another review.
#[must_use]
pub fn digest(recorded: &Recorded, limits: Option<&str>, counted: &[[u8; 32]]) -> [u8; 32] {
    let mut all = Sha256::new();
    all.update(b"borewitness reviewed 1\n");
    let mut part = |bytes: &[u8]| {
        all.update((bytes.len() as u64).to_le_bytes());
        all.update(bytes);
    };
    part(recorded.stream.rig.as_bytes());
    part(&recorded.stream.epoch.to_le_bytes());
    part(&recorded.slots.own.iter().flat_map(|slot| *slot.bytes()).collect::<Vec<u8>>());
    part(limits.unwrap_or_default().as_bytes());
    part(&counted.concat());
    all.finalize().into()
}

/// Whether an entry is among what is reviewed.
#[must_use]
pub fn is_reviewed(entry: &Entry) -> bool {
    !matches!(entry.said, Said::State { .. } | Said::Ticket { .. } | Said::Reviewed { .. })
}

/// How a public key is called in a code: the beginning of its SHA-256.
#[must_use]
pub fn key_name(key: &[u8; 32]) -> String {
    BASE64URL_NOPAD.encode(Sha256::digest(key).get(..KEY_BYTES).unwrap_or_default())
}

/// A set-up's figures in short, whatever is said of its review.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Short {
    what: String,
    figures: String,
    digest: [u8; 32],
}

/// What is said of the review.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnReview<'a> {
    /// Nobody has reviewed what is printed; so many revisions were before it.
    Unreviewed(u32),
    /// This revision was reviewed.
    Reviewed {
        /// Its number, from 1.
        revision: u32,
        /// What was found.
        finding: Finding,
        /// When.
        at: Wall,
        /// The reviewer's public key.
        key: &'a [u8; 32],
    },
}

impl Short {
    /// Of a set-up and the digest of its evidence.
    #[must_use]
    pub fn of(hole: &Hole, digest: [u8; 32]) -> Self {
        let plan = &hole.setup.opened.body.plan;
        let units = Units::of(plan);
        let simulated = match hole.on_paper(&[]).reality() {
            Reality::Drilled => "",
            Reality::Simulated => "SIM ",
            Reality::Unknown => "RIG? ",
        };
        let leg = match Leg::from_raw(plan.leg) {
            Some(Leg::Single) => "",
            Some(Leg::Left) => " left",
            Some(Leg::Middle) => " middle",
            Some(Leg::Right) => " right",
            None => " leg?",
        };
        let what = format!("{HEAD}{simulated}{}{leg} a{} s{}", plan.structure, plan.attempt, plan.setup);
        let figure = |letter: &str, measurand: Measurand| {
            let verdict = hole.judged.verdicts.iter().find(|verdict| verdict.limit.measurand == measurand);
            format!("{letter} {}", verdict.map_or_else(|| "?".to_owned(), |verdict| in_short(units, verdict)))
        };
        let open = if hole.setup.closed.is_none() { " OPEN" } else { "" };
        let figures = format!("{}{open}\n{}", figure("depth", Measurand::Depth), figure("lean", Measurand::OverallLean));
        Self { what: ascii(&what), figures: ascii(&figures), digest }
    }

    /// The text that is signed, or that says that nobody has.
    #[must_use]
    pub fn text(&self, said: OnReview<'_>) -> String {
        let review = match said {
            OnReview::Unreviewed(0) => "UNREVIEWED".to_owned(),
            OnReview::Unreviewed(before) => format!("UNREVIEWED since r{before}"),
            OnReview::Reviewed { revision, finding, at, .. } => {
                format!("r{revision} {} {}", finding.word(), at.rfc3339().chars().take(10).collect::<String>())
            }
        };
        let key = if let OnReview::Reviewed { key, .. } = said { format!(".{}", key_name(key)) } else { String::new() };
        let digest = BASE64URL_NOPAD.encode(self.digest.get(..DIGEST_BYTES).unwrap_or_default());
        let behind = format!("\n{review}\n{}\n{digest}{key}", self.figures);
        let room = CODE_BYTES.saturating_sub(behind.len() + SIGNATURE_CHARS);
        let what = if self.what.len() <= room {
            self.what.clone()
        } else {
            self.what.chars().take(room.saturating_sub(1)).collect::<String>() + "~"
        };
        what + &behind
    }
}

/// A text and the signature under it, as the code carries them.
#[must_use]
pub fn code(text: &str, signature: &[u8; 64]) -> String {
    format!("{text}.{}", BASE64URL_NOPAD.encode(signature))
}

/// "3.187m+-0.029m in+".
fn in_short(units: Units, verdict: &Verdict) -> String {
    let figure = verdict.measured.map_or_else(|| "-".to_owned(), |f| units.worth(quantity(verdict.limit.measurand), f));
    let figure = figure.replace('\u{2212}', "-").replace('±', "+-").replace(' ', "");
    let shown = matches!(verdict.guarded, Guarded::ShownWithin | Guarded::ShownOutside);
    let standing = match verdict.plain {
        Standing::Within => "in",
        Standing::Outside => "out",
        Standing::Unknown => "?",
    };
    format!("{figure} {standing}{}", if shown { "+" } else { "" })
}

/// What a QR code carries without a choice of alphabets.
fn ascii(text: &str) -> String {
    text.chars().map(|c| if c == '\n' || (c.is_ascii() && !c.is_ascii_control()) { c } else { '?' }).collect()
}

/// The entries' sums that are reviewed with a set-up of a hole, in order.
#[must_use]
pub fn counted<'a>(entries: impl Iterator<Item = (Place, &'a Entry, [u8; 32])>, hole: &Hole) -> Vec<[u8; 32]> {
    let Some(name) = hole.hole_name() else { return Vec::new() };
    // a plan is entered under attempt 1, whichever attempt it is drilled in
    let about = |entry: &Entry| {
        let same_leg = (&entry.hole.line, &entry.hole.structure, entry.hole.leg) == (&name.line, &name.structure, name.leg);
        same_leg && (entry.hole.attempt == name.attempt || matches!(entry.said, Said::Planned { .. }))
    };
    entries.filter(|(_, entry, _)| about(entry) && is_reviewed(entry)).map(|(_, _, sum)| sum).collect()
}
