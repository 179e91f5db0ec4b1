//! A host for the session: it says the protocol's published sample messages, each under a number of its own.

use crate::{Outcome, board};
use crc::{CRC_32_ISO_HDLC, Crc};

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
/// Samples of every message: a name and a frame in hexadecimal on each line.
const SAMPLES: &str = "shared-protocol/vectors/frames.txt";
/// Version and kind come before a message's body; a command's body begins with its number.
const HEAD: usize = 2;
const NUMBER: usize = 4;

/// The sample messages, unwrapped.
#[derive(Debug)]
pub struct Host {
    samples: Vec<(String, Vec<u8>)>,
    asked: u32,
    held: Vec<u8>,
    reply_kind: u8,
    answered: Vec<(u32, u8)>,
}

impl Host {
    /// Reads the samples.
    pub fn new() -> Outcome<Self> {
        let text = std::fs::read_to_string(board::root().join(SAMPLES)).map_err(|error| format!("{SAMPLES}: {error}"))?;
        let sample = |line: &str| Some((line.split_once(' ')?.0.to_string(), unwrap(&unhex(line.split_once(' ')?.1)?)?));
        let samples: Option<Vec<_>> = text.lines().filter(|line| !line.starts_with('#') && !line.is_empty()).map(sample).collect();
        let samples = samples.ok_or_else(|| format!("{SAMPLES}: not as expected"))?;
        let mut host = Self { samples, asked: 0, held: Vec::new(), reply_kind: 0, answered: Vec::new() };
        host.reply_kind = host.sample("Reply")?[1];
        Ok(host)
    }

    /// A message as it is.
    pub fn say(&self, name: &str) -> Outcome<Vec<u8>> {
        Ok(wrap(&self.sample(name)?))
    }

    /// A message with the first four bytes of its body replaced.
    pub fn say_with(&self, name: &str, word: u32) -> Outcome<Vec<u8>> {
        let mut message = self.sample(name)?;
        let body = message.get_mut(HEAD..HEAD + NUMBER).ok_or_else(|| format!("{name}: too short"))?;
        body.copy_from_slice(&word.to_le_bytes());
        Ok(wrap(&message))
    }

    /// A command under the next number.
    pub fn command(&mut self, name: &str) -> Outcome<Vec<u8>> {
        self.asked += 1;
        self.say_with(name, self.asked)
    }

    /// Takes what the rig sends.
    pub fn hear(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.held.push(byte);
            if byte == 0 {
                let message = unwrap(&std::mem::take(&mut self.held)).unwrap_or_default();
                if let [_, kind, a, b, c, d, answer, ..] = message[..]
                    && kind == self.reply_kind
                {
                    self.answered.push((u32::from_le_bytes([a, b, c, d]), answer));
                }
            }
        }
    }

    /// Whether the latest command was done.
    pub fn is_done(&self) -> bool {
        self.answered.contains(&(self.asked, 0))
    }

    /// The answer to the latest command, if one has come.
    pub fn answer(&self) -> Option<u8> {
        self.answered.iter().rfind(|(number, _)| *number == self.asked).map(|(_, answer)| *answer)
    }

    fn sample(&self, name: &str) -> Outcome<Vec<u8>> {
        let found = self.samples.iter().find(|(own, _)| own == name);
        found.map(|(_, message)| message.clone()).ok_or_else(|| format!("{SAMPLES}: has no {name}"))
    }
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits: Option<Vec<u8>> = text.trim().chars().map(|c| c.to_digit(16).and_then(|digit| u8::try_from(digit).ok())).collect();
    Some(digits?.chunks_exact(2).map(|pair| pair[0] << 4 | pair[1]).collect())
}

/// Message, check, COBS, zero.
fn wrap(message: &[u8]) -> Vec<u8> {
    let mut plain = message.to_vec();
    plain.extend_from_slice(&CRC.checksum(message).to_le_bytes());
    let mut frame = cobs::encode_vec(&plain);
    frame.push(0);
    frame
}

fn unwrap(frame: &[u8]) -> Option<Vec<u8>> {
    let plain = cobs::decode_vec(frame.strip_suffix(&[0])?).ok()?;
    let (message, check) = plain.split_last_chunk()?;
    (CRC.checksum(message) == u32::from_le_bytes(*check)).then(|| message.to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_published_sample_wraps_to_its_own_bytes() {
        let text = std::fs::read_to_string(board::root().join(SAMPLES)).unwrap();
        let frames: Vec<_> = text.lines().filter(|line| !line.starts_with('#')).filter_map(|line| line.split_once(' ')).collect();
        assert!(frames.len() > 10);
        for (name, hex) in frames {
            let frame = unhex(hex).unwrap();
            assert_eq!(wrap(&unwrap(&frame).unwrap()), frame, "{name}");
        }
    }

    #[test]
    fn a_command_has_its_own_number_and_only_its_own_answer_counts() {
        let mut host = Host::new().unwrap();
        let message = unwrap(&host.command("TouchHub").unwrap()).unwrap();
        assert_eq!(message[HEAD..HEAD + NUMBER], 1_u32.to_le_bytes());
        let mut reply = host.sample("Reply").unwrap();
        for (number, answer, done) in [(9_u32, 0, false), (1, 3, false), (1, 0, true)] {
            reply[HEAD..HEAD + NUMBER].copy_from_slice(&number.to_le_bytes());
            reply[HEAD + NUMBER] = answer;
            host.hear(&wrap(&reply));
            assert_eq!(host.is_done(), done);
        }
    }
}
