//! What the rig's memory has held, and what hosts said that they have: kept beside both, so that it can be held against
//! them.

use crate::cuts::site::RING_AT;
use host_tool::store::{Store, StoreFault};
use shared_protocol::frame::{Accumulator, ENCODED_BYTES_MAX};
use shared_protocol::message::{Acknowledge, Message};
use shared_protocol::slot::{SLOT_BYTES, Slot};
use std::collections::{BTreeMap, BTreeSet};

/// What one host has acknowledged.
#[derive(Debug, Default)]
pub struct Acknowledged {
    /// All below this.
    pub below: u32,
    /// Of these, what it had not, since the ring had it no more either.
    pub gone: BTreeSet<u32>,
    heard: Accumulator,
}

/// The ledger.
#[derive(Debug)]
pub struct Ledger {
    ring: Vec<[u8; SLOT_BYTES]>,
    /// Every slot that was ever whole in the memory.
    pub committed: BTreeMap<u32, [u8; SLOT_BYTES]>,
    /// Slots of which a bit turned over at rest.
    pub rotted: BTreeSet<u32>,
    /// What each host has acknowledged.
    pub hosts: [Acknowledged; 2],
    /// What should never happen, and did.
    pub wrong: Vec<String>,
}

fn ring(contents: &[u8]) -> Vec<[u8; SLOT_BYTES]> {
    contents[RING_AT..].as_chunks().0.to_vec()
}

impl Ledger {
    /// Of a memory with nothing in it.
    #[must_use]
    pub fn new(contents: &[u8]) -> Self {
        let hosts = [Acknowledged::default(), Acknowledged::default()];
        Self { ring: ring(contents), committed: BTreeMap::new(), rotted: BTreeSet::new(), hosts, wrong: Vec::new() }
    }

    /// Looks at what the memory keeps now.
    pub fn observe(&mut self, contents: &[u8]) {
        let ring = ring(contents);
        for slot in ring.iter().zip(&self.ring).filter(|(now, before)| now != before).filter_map(|(now, _)| Slot::check(now).ok()) {
            let before = self.committed.insert(slot.sequence(), *slot.bytes());
            if before.is_some_and(|before| before != *slot.bytes()) {
                self.wrong.push(format!("the rig gave number {} twice, to different slots", slot.sequence()));
            }
        }
        self.ring = ring;
    }

    /// A bit of this byte of the memory turns over now.
    pub fn rots(&mut self, at: usize) {
        let place = at.checked_sub(RING_AT).and_then(|at| self.ring.get(at / SLOT_BYTES));
        self.rotted.extend(place.and_then(|bytes| Slot::check(bytes).ok()).map(|slot| slot.sequence()));
    }

    /// Whether the rig has it still. Of the oldest nobody knows: it may have given way to one that the memory did not take.
    fn in_ring(&self, sequence: u32) -> bool {
        let whole = || self.ring.iter().filter_map(|bytes| Slot::check(bytes).ok()).map(|slot| slot.sequence());
        whole().any(|there| there == sequence) && whole().min() != Some(sequence)
    }

    /// Hears what a host says, and looks into its store for what it acknowledges.
    ///
    /// # Errors
    /// When the store fails.
    pub fn hear(&mut self, host: usize, said: &[u8], store: &Store) -> Result<(), StoreFault> {
        let mut message = [0; ENCODED_BYTES_MAX];
        for byte in said {
            let heard = self.hosts[host].heard.push(*byte, &mut message);
            if let Some(Ok(bytes)) = heard
                && let Ok(Message::Acknowledge(Acknowledge { below, .. })) = Message::decode(bytes)
            {
                self.acknowledged(host, below, store)?;
            }
        }
        Ok(())
    }

    fn acknowledged(&mut self, host: usize, below: u32, store: &Store) -> Result<(), StoreFault> {
        let from = self.hosts[host].below;
        if below <= from {
            return Ok(());
        }
        let mut stored = BTreeSet::new();
        for stream in store.rigs()? {
            stored.extend(store.part(&stream, from, below - 1)?.slots.iter().map(Slot::sequence));
        }
        for sequence in (from..below).filter(|sequence| !stored.contains(sequence)) {
            if self.in_ring(sequence) {
                self.wrong.push(format!("host {host} acknowledged slot {sequence}, which it has not and the rig has"));
            }
            self.hosts[host].gone.insert(sequence);
        }
        self.hosts[host].below = below;
        Ok(())
    }
}
