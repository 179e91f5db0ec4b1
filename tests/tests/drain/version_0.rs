//! The drain subset of version 0 as WIRE.md says it, read and written without any code of the project: hello, ask, replay,
//! slots, acknowledge. It is never changed: a host or a rig that this cannot talk to has broken what was promised.

use crc::{CRC_32_ISO_HDLC, Crc};

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
const ASK: u8 = 1;
const HELLO: u8 = 2;
const REPLAY: u8 = 3;
const SLOTS: u8 = 4;
const ACKNOWLEDGE: u8 = 5;

/// 32 bytes that check themselves.
pub type Slot = [u8; 32];

/// What a rig says of itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hello {
    pub simulated: u8,
    pub epoch: u32,
    pub boot: u16,
    pub now: u32,
    pub tail: u32,
    pub head: u32,
    pub acknowledged: u32,
    pub capacity: u32,
    pub rig: [u8; 16],
    pub firmware: [u8; 12],
}

impl Hello {
    fn read(body: &[u8]) -> Option<Self> {
        let u32_at = |at: usize| Some(u32::from_le_bytes(body.get(at..at + 4)?.try_into().ok()?));
        Some(Self {
            simulated: *body.first()?,
            epoch: u32_at(1)?,
            boot: u16::from_le_bytes(body.get(5..7)?.try_into().ok()?),
            now: u32_at(7)?,
            tail: u32_at(11)?,
            head: u32_at(15)?,
            acknowledged: u32_at(19)?,
            capacity: u32_at(23)?,
            rig: body.get(27..43)?.try_into().ok()?,
            firmware: body.get(43..55)?.try_into().ok()?,
        })
    }

    fn write(&self) -> Vec<u8> {
        let mut body = vec![self.simulated];
        body.extend(self.epoch.to_le_bytes());
        body.extend(self.boot.to_le_bytes());
        for number in [self.now, self.tail, self.head, self.acknowledged, self.capacity] {
            body.extend(number.to_le_bytes());
        }
        body.extend(self.rig);
        body.extend(self.firmware);
        body
    }
}

/// A message of the subset, or another with its kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Message {
    Ask { host: u32 },
    Hello(Hello),
    Replay { from: u32 },
    Slots(Vec<Slot>),
    Acknowledge { epoch: u32, below: u32, host: u32 },
    Other(u8),
}

impl Message {
    fn read(kind: u8, body: &[u8]) -> Option<Self> {
        let u32_at = |at: usize| Some(u32::from_le_bytes(body.get(at..at + 4)?.try_into().ok()?));
        Some(match kind {
            ASK => Self::Ask { host: u32_at(0)? },
            HELLO => Self::Hello(Hello::read(body)?),
            REPLAY => Self::Replay { from: u32_at(0)? },
            SLOTS => Self::Slots(body.as_chunks::<32>().0.to_vec()),
            ACKNOWLEDGE => Self::Acknowledge { epoch: u32_at(0)?, below: u32_at(4)?, host: u32_at(8)? },
            other => Self::Other(other),
        })
    }

    fn write(&self) -> (u8, Vec<u8>) {
        let numbers = |all: &[u32]| all.iter().flat_map(|n| n.to_le_bytes()).collect();
        match self {
            Self::Ask { host } => (ASK, numbers(&[*host])),
            Self::Hello(hello) => (HELLO, hello.write()),
            Self::Replay { from } => (REPLAY, numbers(&[*from])),
            Self::Slots(slots) => (SLOTS, slots.concat()),
            Self::Acknowledge { epoch, below, host } => (ACKNOWLEDGE, numbers(&[*epoch, *below, *host])),
            Self::Other(kind) => (*kind, Vec::new()),
        }
    }

    /// The frame of it in a version, with bytes behind it that a later version may have added.
    pub fn frame(&self, version: u8, more: &[u8]) -> Vec<u8> {
        let (kind, body) = self.write();
        let mut plain = [&[version, kind], &body[..], more].concat();
        plain.extend(CRC.checksum(&plain).to_le_bytes());
        let mut frame = vec![0; plain.len() + plain.len() / 254 + 1];
        let used = cobs::try_encode(&plain, &mut frame).expect("room");
        frame.truncate(used);
        frame.push(0);
        frame
    }
}

/// Gathers frames; what does not check is left out.
#[derive(Debug, Default)]
pub struct Ears(Vec<u8>);

impl Ears {
    /// Each message with the version that it came in.
    pub fn hear(&mut self, bytes: &[u8]) -> Vec<(u8, Message)> {
        self.0.extend(bytes);
        let mut heard = Vec::new();
        while let Some(end) = self.0.iter().position(|byte| *byte == 0) {
            let mut frame: Vec<u8> = self.0.drain(..=end).take(end).collect();
            let Ok(used) = cobs::decode_in_place(&mut frame) else { continue };
            let Some((message, check)) = frame[..used].split_last_chunk::<4>() else { continue };
            if CRC.checksum(message) != u32::from_le_bytes(*check) {
                continue;
            }
            if let [version, kind, body @ ..] = message {
                heard.extend(Message::read(*kind, body).map(|message| (*version, message)));
            }
        }
        heard
    }
}

/// A slot's sequence, where its check is right.
pub fn sequence(slot: &Slot) -> Option<u32> {
    let (checked, check) = slot.split_last_chunk::<4>()?;
    let [a, b, c, d, ..] = *slot;
    (CRC.checksum(checked) == u32::from_le_bytes(*check)).then_some(u32::from_le_bytes([a, b, c, d]))
}

/// A slot of one part.
pub fn slot(sequence: u32, boot: u16, kind: u8, body: &[u8]) -> Slot {
    let mut bytes = [0; 32];
    bytes[..4].copy_from_slice(&sequence.to_le_bytes());
    bytes[4..6].copy_from_slice(&boot.to_le_bytes());
    bytes[6] = kind;
    bytes[8] = u8::try_from(body.len()).expect("at most 19");
    bytes[9..9 + body.len()].copy_from_slice(body);
    let check = CRC.checksum(&bytes[..28]);
    bytes[28..].copy_from_slice(&check.to_le_bytes());
    bytes
}
