//! A session that makes the rig do all that it can: a hole with passes, trips and sensor faults, a restart in
//! the middle, notes, a whole replay, a checkpoint, the hole's closing and sealing. Its sensors answer the real requests.

use crate::Outcome;
use crate::host::Host;
use crate::lockstep::Board;

/// Milliseconds of one turn; a sensor's reply comes with the next.
const TURN_MS: u8 = 5;
/// The encoder's count with the tip on the hub; 0.1 mm each, growing downwards.
const COUNT_AT_HUB: i32 = 12_000;
const BORING_MM_S: i32 = 40;
const TRIPPING_MM_S: i32 = 800;
const CLEAR_MM: i32 = -500;

/// The rig, its host and its sensors.
#[derive(Debug)]
pub struct Session<'a> {
    board: &'a mut Board,
    host: &'a mut Host,
    /// Depth of the tip, hundredths of a millimetre, kept from one start of the board to the next.
    tip: &'a mut i32,
    reply: Vec<u8>,
    tilt_fails: bool,
}

impl<'a> Session<'a> {
    pub fn new(board: &'a mut Board, host: &'a mut Host, tip: &'a mut i32) -> Self {
        Self { board, host, tip, reply: Vec::new(), tilt_fails: false }
    }

    /// From the first hello to the middle of the hole.
    pub fn first_half(&mut self) -> Outcome {
        let ask = self.host.say("Ask")?;
        self.turn(&ask)?;
        self.command("SetClock")?;
        self.command("LoadHole")?;
        self.command("TouchHub")?;
        for bottom in [400, 800] {
            self.pass(bottom)?;
        }
        self.tilt_fails = true;
        self.stand(1_000)?;
        self.tilt_fails = false;
        self.command("TakeNote")
    }

    /// After a restart: the hub again, deeper, everything once more over the cable, and the end.
    pub fn second_half(&mut self) -> Outcome {
        let replay = self.host.say_with("Replay", 0)?;
        self.turn(&replay)?;
        self.go(0, TRIPPING_MM_S)?;
        self.command("TouchHub")?;
        for bottom in [1_200, 1_600, 3_600] {
            self.pass(bottom)?;
        }
        self.go(0, TRIPPING_MM_S)?;
        self.command("TouchHub")?;
        self.command("CloseHole")?;
        let acknowledge = self.host.say("Acknowledge")?;
        self.turn(&acknowledge)?;
        let replay = self.host.say_with("Replay", 0)?;
        self.turn(&replay)?;
        self.stand(2_000)
    }

    /// Down to the bottom and on, and out of the hole.
    fn pass(&mut self, bottom_mm: i32) -> Outcome {
        self.go((bottom_mm - 400).max(0), TRIPPING_MM_S)?;
        self.go(bottom_mm, BORING_MM_S)?;
        self.stand(1_000)?;
        self.go(CLEAR_MM, TRIPPING_MM_S)
    }

    fn go(&mut self, to_mm: i32, mm_s: i32) -> Outcome {
        let step = mm_s * i32::from(TURN_MS) / 10;
        while *self.tip != to_mm * 100 {
            *self.tip += (to_mm * 100 - *self.tip).clamp(-step, step);
            self.turn(&[])?;
        }
        Ok(())
    }

    fn stand(&mut self, ms: u32) -> Outcome {
        (0..ms / u32::from(TURN_MS)).try_for_each(|_| self.turn(&[]))
    }

    /// Asks until the rig has done it: it refuses while it has no good depth yet.
    fn command(&mut self, name: &str) -> Outcome {
        for _ in 0..20 {
            let frame = self.host.command(name)?;
            self.turn(&frame)?;
            self.stand(200)?;
            if self.host.is_done() {
                return Ok(());
            }
        }
        Err(match self.host.answer() {
            Some(answer) => format!("the rig refuses {name}: answer {answer}"),
            None => format!("the rig does not answer {name}"),
        })
    }

    fn turn(&mut self, from_host: &[u8]) -> Outcome {
        let reply = std::mem::take(&mut self.reply);
        let (to_host, to_sensors) = self.board.turn(TURN_MS, from_host, &reply)?;
        self.host.hear(&to_host);
        self.reply = self.sensors(&to_sensors);
        Ok(())
    }

    /// Both sensors: a count of two registers, and three of 0.1 mg.
    fn sensors(&self, request: &[u8]) -> Vec<u8> {
        let count = COUNT_AT_HUB + *self.tip / 10;
        match request {
            [1, ..] => checked(&[&[1, 4, 4][..], &count.to_be_bytes()].concat()),
            [2, ..] if !self.tilt_fails => checked(&[2, 4, 6, 0, 84, 0xFF, 0xD0, 0x27, 0x0F]),
            _ => Vec::new(),
        }
    }
}

/// With a Modbus check behind, low byte first.
fn checked(bytes: &[u8]) -> Vec<u8> {
    let check = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(bytes);
    [bytes, &check.to_le_bytes()].concat()
}

#[cfg(test)]
mod tests {
    use super::checked;

    /// Replies of the Modbus application protocol's examples; checks recomputed with PyPI crcmod.
    #[test]
    fn replies_are_checked_as_the_modbus_specification_has_them() {
        assert_eq!(checked(&[0x11, 0x04, 0x02, 0x00, 0x0A]), [0x11, 0x04, 0x02, 0x00, 0x0A, 0xF8, 0xF4]);
        assert_eq!(checked(&[0x02, 0x07]), [0x02, 0x07, 0x41, 0x12]);
    }
}
