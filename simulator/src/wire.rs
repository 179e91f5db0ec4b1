//! One direction of a serial line: each byte takes its time, and they arrive in the order in which they were sent.

use crate::clock::{Moment, character_us};
use std::collections::VecDeque;

/// A wire with what is on its way along it.
#[derive(Clone, Debug)]
pub struct Wire {
    character_us: u64,
    on_the_way: VecDeque<(Moment, u8)>,
    busy_until: Moment,
}

impl Wire {
    /// A quiet wire; `bits` make a character.
    pub fn new(bits: u64, baud: u32) -> Self {
        Self { character_us: character_us(bits, baud), on_the_way: VecDeque::new(), busy_until: Moment(0) }
    }

    /// Puts a byte on the wire, not before `from`. `None` takes its time and never arrives.
    pub fn send(&mut self, from: Moment, byte: Option<u8>) {
        self.busy_until = self.busy_until.max(from).plus_us(self.character_us);
        self.on_the_way.extend(byte.map(|byte| (self.busy_until, byte)));
    }

    /// The bytes that have arrived by now.
    pub fn due(&mut self, now: Moment) -> Vec<u8> {
        let count = self.on_the_way.partition_point(|(at, _)| *at <= now);
        self.on_the_way.drain(..count).map(|(_, byte)| byte).collect()
    }

    /// Whatever is on its way never arrives.
    pub fn clear(&mut self) {
        self.on_the_way.clear();
    }
}
