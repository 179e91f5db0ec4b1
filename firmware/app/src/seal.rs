//! Sealing: a closed set-up's digest is signed in a turn of its own, and the key for that is given by commissioning.
//!
//! Between the closing record and the seal there may be a power cut: what is to be sealed is then taken up from the ring.

use crate::config::Key;
use crate::memory::Memory;
use crate::rig::Rig;
use ed25519_dalek::{Signer, SigningKey};
use shared_protocol::body::Secret;
use shared_protocol::chain::End;
use shared_protocol::message::text_field;
use shared_protocol::record::{Commissioned, Record, Seal, Unsealed};
use shared_protocol::seal::SIMULATED_SECRET;
use shared_protocol::state::{Answer, UnsealedCause};
use shared_protocol::units::Millis;

/// The set-up that is closed and not sealed yet.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Unfinished {
    /// Sequence of its first slot.
    pub first: u32,
    /// Slots, those of the closing record included.
    pub slots: u32,
    /// The digest over them.
    pub digest: [u8; 32],
}

/// The set-up whose seal the memory refused.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Refused {
    unfinished: Unfinished,
    /// The journal's head then; where it is another now, the memory takes something again.
    head: u32,
    /// It is tried once more because the next hole is to be opened.
    last_trial: bool,
}

impl Unfinished {
    /// Closed where the running digest stands now.
    pub(crate) fn closed(first: u32, end: &End) -> Self {
        Self { first, slots: end.slots, digest: end.digest() }
    }
}

impl<M: Memory> Rig<M> {
    /// Seals what is closed and not sealed yet, or says that it is not sealed. Each trial is a long turn, so what the memory
    /// refuses is tried again only when it has taken something else since, or at the next start.
    #[inline(never)]
    pub(crate) fn finish(&mut self, now: Millis) {
        let head = self.journal.head();
        let again = self.refused.take_if(|refused| refused.head != head);
        let last_trial = again.is_some_and(|refused| refused.last_trial);
        let Some(unfinished) = self.unfinished.take().or(again.map(|refused| refused.unfinished)) else { return };
        let kept = match self.signing_secret() {
            Some(secret) => self.seal(&unfinished, &secret, now),
            None => self.say_unsealed(unfinished.first, UnsealedCause::NoKey, now),
        };
        if !kept {
            self.refused = Some(Refused { unfinished, head: self.journal.head(), last_trial });
        }
    }

    fn say_unsealed(&mut self, first: u32, cause: UnsealedCause, now: Millis) -> bool {
        self.record(&Record::Unsealed(Unsealed { at: now, first, cause: cause.raw() })).is_some()
    }

    /// The next hole is to be opened, and behind its opening the one before cannot be sealed any more: where the memory refused
    /// that seal, it is tried once more, and then said of the hole that it stays without.
    ///
    /// # Errors
    /// Why no hole can be opened now.
    pub(crate) fn settle_seal(&mut self, now: Millis) -> Result<(), Answer> {
        if self.unfinished.is_some() {
            return Err(Answer::NotReady); // sealed as soon as a turn records nothing else
        }
        let Some(refused) = &mut self.refused else { return Ok(()) };
        if !core::mem::replace(&mut refused.last_trial, true) {
            refused.head = refused.head.wrapping_add(1); // as if the memory had taken something
            return Err(Answer::NotReady);
        }
        let first = refused.unfinished.first;
        let cause = if self.signing_secret().is_some() { UnsealedCause::Refused } else { UnsealedCause::NoKey };
        if !self.say_unsealed(first, cause, now) {
            return Err(Answer::NotRecorded);
        }
        self.refused = None;
        Ok(())
    }

    /// The key that seals. A rig that drills real holes never seals with the published one, wherever it comes from.
    fn signing_secret(&self) -> Option<Secret> {
        if self.profile.simulated {
            return Some(Secret(SIMULATED_SECRET));
        }
        self.config.key().map(|key| key.secret).filter(|secret| secret.0 != SIMULATED_SECRET)
    }

    #[inline(never)]
    fn seal(&mut self, unfinished: &Unfinished, secret: &Secret, now: Millis) -> bool {
        let last = self.journal.last_seal();
        let stated = Seal {
            at: now,
            epoch: self.journal.epoch(),
            boot: self.journal.boot(),
            rig: text_field(&self.profile.rig),
            configuration: self.config.configuration(),
            first: unfinished.first,
            slots: unfinished.slots,
            digest: unfinished.digest,
            number: last.seals,
            previous: last.sum,
            ..Seal::default()
        };
        self.long = true;
        let Some(seal) = signed(stated, secret) else { return false };
        let sequence = self.record(&Record::Seal(seal));
        if let Some(sequence) = sequence {
            self.journal.anchor(&mut self.memory, sequence, &seal);
        }
        sequence.is_some()
    }

    /// Takes a key: kept, then recorded. A hole is sealed by the key that was there when it was opened.
    #[inline(never)]
    pub(crate) fn commission(&mut self, request: u32, secret: &Secret, now: Millis) -> Result<u32, Answer> {
        if self.profile.simulated {
            return Err(Answer::Simulated);
        }
        if self.hole.is_some() {
            return Err(Answer::HoleOpen);
        }
        if self.unfinished.is_some() || self.refused.is_some() {
            return Err(Answer::NotReady); // it is sealed by the key that was there
        }
        let [first, ..] = secret.0;
        if secret.0 == SIMULATED_SECRET || secret.0.iter().all(|byte| *byte == first) {
            return Err(Answer::KnownKey);
        }
        self.long = true;
        let before = self.config.key().map(|key| key.public).unwrap_or_default();
        let key = public(secret);
        if !self.config.take_key(&mut self.memory, Key { secret: *secret, public: key }) {
            return Err(Answer::NotRecorded);
        }
        self.record(&Record::Commissioned(Commissioned { at: now, request, key, before })).ok_or_else(|| {
            self.config.put_back(&mut self.memory);
            Answer::NotRecorded
        })
    }
}

/// With the public key and the signature.
#[inline(never)]
fn signed(seal: Seal, secret: &Secret) -> Option<Seal> {
    let key = SigningKey::from_bytes(&secret.0);
    let seal = Seal { key: key.verifying_key().to_bytes(), ..seal };
    Some(seal.with_signature(&key.sign(&seal.signed()?).to_bytes()))
}

#[inline(never)]
fn public(secret: &Secret) -> [u8; 32] {
    SigningKey::from_bytes(&secret.0).verifying_key().to_bytes()
}
