//! What the rig's digest and seal prove of the slots in hand. WIRE.md says what they are.

use ed25519_dalek::{Signature, SigningKey, VerifyingKey};
use sha2::{Digest, Sha256};
use shared_protocol::chain::{End, Sum, fold};
use shared_protocol::message::text_field;
use shared_protocol::record::{Identity, Seal};
use shared_protocol::seal::SIMULATED_SECRET;
use shared_protocol::slot::Slot;
use std::sync::LazyLock;

/// Slots that are digested together.
const TOGETHER: usize = 16;

/// How the slots in hand stand to what the rig says of their segment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SegmentState {
    /// They are what the rig said, and the digest over the whole set-up says so.
    Fits,
    /// Some are not in hand, or what proves the rest is not.
    Lacking,
    /// One was changed, put in or put elsewhere.
    Differs,
}

/// One segment of a set-up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Segment {
    /// Slots of the set-up before it.
    pub from: u32,
    /// Slots of the set-up up to its end.
    pub to: u32,
    /// SHA-256 over its slots by the rig; `None` where the record that says so is not in hand.
    pub sum: Option<Sum>,
    /// How it stands.
    pub state: SegmentState,
}

/// An end of a segment as a record states it, and the sequence of that record's first slot.
#[derive(Clone, Copy, Debug)]
pub struct Stated {
    /// The sequence.
    pub at: u32,
    /// The end.
    pub end: End,
}

/// SHA-256 over slots, one after the other.
#[must_use]
pub fn sum(slots: &[Slot]) -> Sum {
    let mut hash = Sha256::new();
    // a slot is half of what is digested at once: some together spare the digest its own gathering
    let (together, rest) = slots.as_chunks::<TOGETHER>();
    for some in together {
        hash.update(some.map(|slot| *slot.bytes()).as_flattened());
    }
    rest.iter().for_each(|slot| hash.update(slot.bytes()));
    hash.finalize().into()
}

fn counted(slots: &[Slot], from: u32, to: u32) -> bool {
    u64::try_from(slots.len()).is_ok_and(|count| u64::from(from) + count == u64::from(to))
}

/// The segments of a set-up, in order: `slots` are those before its closing record, and `ends` are all that are stated,
/// the closing record's last. From there each end vouches for the one before it.
#[must_use]
pub fn segments(slots: &[Slot], ends: &[Stated]) -> Vec<Segment> {
    let mut out = Vec::new();
    // What the ends behind say of this one: `None` where they say nothing.
    let mut vouched = Some(true);
    for (n, Stated { at, end }) in ends.iter().enumerate().rev() {
        let place = |sequence: u32| slots.partition_point(|slot| slot.sequence() < sequence);
        let before = n.checked_sub(1).and_then(|n| ends.get(n)).copied();
        let begins_at = before.map_or(0, |before| place(before.at));
        let known = before.map_or((0, Sum::default()), |before| (before.end.slots, before.end.digest()));
        let mine = slots.get(begins_at..place(*at)).unwrap_or(&[]);
        let mut push = |from, to, sum, state| out.push(Segment { from, to, sum, state });
        let stands = |vouched: Option<bool>, whole: bool, fits: bool| match vouched {
            Some(false) => SegmentState::Differs,
            Some(true) if whole && fits => SegmentState::Fits,
            Some(true) if whole => SegmentState::Differs,
            _ => SegmentState::Lacking,
        };
        if known.0 == end.from {
            let more = u32::try_from(mine.len()).is_ok_and(|count| count > end.slots.saturating_sub(end.from));
            let whole = counted(mine, end.from, end.slots) || more;
            let fits = sum(mine) == end.segment && (before.is_some() || end.before == Sum::default());
            push(end.from, end.slots, Some(end.segment), stands(vouched, whole, fits));
            vouched = vouched.filter(|v| *v).map(|_| known.1 == end.before);
            continue;
        }
        // The record that ended the segment before is not whole here, so this one lacks its first slots; the one before is
        // proven by what this one says of it.
        push(end.from, end.slots, Some(end.segment), stands(vouched, false, false));
        let count = usize::try_from(end.from.saturating_sub(known.0)).unwrap_or(usize::MAX);
        let earlier = mine.get(..count).unwrap_or(mine);
        let unbroken = earlier.len() == count && earlier.windows(2).all(|pair| pair[0].sequence() + 1 == pair[1].sequence());
        let proven = unbroken && fold(&known.1, &sum(earlier)) == end.before;
        push(known.0, end.from, None, stands(vouched.filter(|v| *v && proven), proven, proven));
        vouched = vouched.filter(|v| *v && proven);
    }
    out.reverse();
    out
}

/// Who sealed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signer {
    /// A simulated rig, with the key that everybody knows.
    Simulated,
    /// A key that nobody has vouched for: there is no list of trusted keys yet.
    Unknown,
}

/// How a seal stands to the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Before {
    /// There was none before it.
    First,
    /// It names the one before it, and that is in hand.
    Follows,
    /// The one before it is not in hand.
    NotHere,
}

/// Why a seal does not fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfit {
    /// The signature is not that of its key over what it states.
    Signature,
    /// It states another set-up, rig or epoch.
    Another,
    /// It states another digest, or another count of slots.
    Digest,
    /// A simulated rig has another key, or a real one this.
    Published,
    /// It does not name the seal before it.
    Previous,
    /// The rig had another key, and was not commissioned since.
    Key,
}

impl Unfit {
    /// In plain words.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Signature => "its signature is not that of its key",
            Self::Another => "it is of another hole, rig or epoch",
            Self::Digest => "it is over other records",
            Self::Published => "only simulated rigs have the published key",
            Self::Previous => "it does not follow the seal before it",
            Self::Key => "the rig had another key, and was not commissioned since",
        }
    }
}

/// How a set-up is sealed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sealing {
    /// It is not closed yet.
    Open,
    /// It is not sealed: the rig had no key.
    NoKey,
    /// It is not sealed: the rig's memory refused the seal, and the rig says so.
    Refused,
    /// It is not sealed, as far as the records in hand say.
    Absent,
    /// The seal fits what it states of.
    Fits(Signer, Before),
    /// There is one and it does not fit.
    Unfit(Unfit),
}

/// What is known of seals and keys before a seal.
#[derive(Clone, Copy, Debug, Default)]
pub struct Earlier {
    /// The seal before it that is in hand.
    pub seal: Option<Seal>,
    /// The key that the records before it name last.
    pub key: Option<Sum>,
    /// Slots are not in hand since then.
    pub broken: bool,
}

/// The public key of every simulated rig.
#[must_use]
pub fn published_key() -> Sum {
    // as long in the making as a signature is in the checking
    static KEY: LazyLock<Sum> = LazyLock::new(|| SigningKey::from_bytes(&SIMULATED_SECRET).verifying_key().to_bytes());
    *KEY
}

/// Checks a seal: `first` is the set-up's, `closed` what its closing record states, and `closing` that record's slots.
///
/// # Errors
/// Why it does not fit.
pub fn check(
    seal: &Seal,
    first: u32,
    identity: Option<&Identity>,
    closed: &End,
    closing: &[Slot],
    earlier: &Earlier,
) -> Result<(Signer, Before), Unfit> {
    let signed = seal.signed().ok_or(Unfit::Signature)?;
    let key = VerifyingKey::from_bytes(&seal.key).map_err(|_| Unfit::Signature)?;
    key.verify_strict(&signed, &Signature::from_bytes(&seal.signature())).map_err(|_| Unfit::Signature)?;
    if seal.first != first || identity.is_some_and(|i| text_field(&i.rig) != seal.rig || i.epoch != seal.epoch) {
        return Err(Unfit::Another);
    }
    if fold(&closed.digest(), &sum(closing)) != seal.digest || !counted(closing, closed.slots, seal.slots) {
        return Err(Unfit::Digest);
    }
    let published = seal.key == published_key();
    if identity.is_some_and(|i| i.simulated != published) {
        return Err(Unfit::Published);
    }
    let before = before(seal, earlier)?;
    if !earlier.broken && earlier.key.is_some_and(|key| key != seal.key) {
        return Err(Unfit::Key);
    }
    Ok((if published { Signer::Simulated } else { Signer::Unknown }, before))
}

fn before(seal: &Seal, earlier: &Earlier) -> Result<Before, Unfit> {
    match earlier.seal {
        None if seal.number == 0 && seal.previous == Sum::default() => Ok(Before::First),
        None if seal.number > 0 => Ok(Before::NotHere),
        Some(last) if last.number.checked_add(1) == Some(seal.number) && last.sum() == seal.previous => Ok(Before::Follows),
        Some(last) if last.number.checked_add(1).is_some_and(|next| next < seal.number) => Ok(Before::NotHere),
        _ => Err(Unfit::Previous),
    }
}

impl Sealing {
    /// In plain words, of a hole.
    #[must_use]
    pub fn text(self) -> String {
        let after = |before| match before {
            Before::First => "; it is this rig's first since it was new or reset",
            Before::Follows => "; it follows the seal before it",
            Before::NotHere => "; the seal before it is not in hand",
        };
        match self {
            Self::Open => "not sealed: not closed".to_owned(),
            Self::NoKey => "not sealed: the rig was never commissioned".to_owned(),
            Self::Refused => "not sealed: the rig's memory refused the seal".to_owned(),
            Self::Absent => "not sealed, as far as the records in hand say".to_owned(),
            Self::Fits(Signer::Simulated, before) => format!("sealed by a simulated rig's known key, and fits{}", after(before)),
            Self::Fits(Signer::Unknown, before) => {
                format!("sealed, and fits; signer unknown: nobody has vouched for this key{}", after(before))
            }
            Self::Unfit(why) => format!("the seal does not fit: {}", why.text()),
        }
    }

    /// In a word or two, for lists.
    #[must_use]
    pub const fn briefly(self) -> &'static str {
        match self {
            Self::Open => "not closed",
            Self::NoKey | Self::Refused | Self::Absent => "not sealed",
            Self::Fits(Signer::Simulated, _) => "sealed by a simulated rig's known key",
            Self::Fits(Signer::Unknown, _) => "sealed, signer unknown",
            Self::Unfit(_) => "SEAL DOES NOT FIT",
        }
    }
}

#[cfg(test)]
mod tests;
