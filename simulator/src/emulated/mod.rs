//! The emulated machine: the real image on an emulated board, in lock-step with the bench.
//!
//! Over UART3 every command is one byte and every answer a fixed number of them. `0x00` asks how many bytes
//! have been received so far; 1 to 250 says that so many milliseconds have passed, and one turn is run. Counts
//! are those of UART0 and UART1, 16 bits each, wrapping. So each turn sees exactly the bytes that it should, and
//! everything that it sent is read before the next.

mod board;
mod image;

use crate::machine::{Machine, MachineFault, Sent};
use board::{Board, Uart};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Asks how many bytes have been received.
const ASK_RECEIVED: u8 = 0x00;
/// Asks for the image's own figures.
const ASK_FIGURES: u8 = 0xFE;
/// The most milliseconds of one turn.
const TURN_MS_MAX: u8 = 250;
/// So often it is asked whether all bytes have arrived before something must be wrong.
const ASKED_MAX: u32 = 200_000;
/// Bytes of the rig's memory, at the front of the file.
const MEMORY_BYTES: usize = crate::memory::MEMORY_BYTES;

/// What the image says of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Figures {
    /// The most stack that was used, bytes.
    pub stack_bytes: u32,
    /// The longest turn, ticks of the board's 25 MHz timer.
    pub worst_ticks: u32,
    /// Turns run.
    pub turns: u32,
    /// The mean turn, sixteenths of a tick.
    pub mean_ticks_x16: u32,
}

/// The emulated machine. Dropping it kills the emulator and removes what it left, its memory too unless that
/// file was given.
#[derive(Debug)]
pub struct EmulatedMachine {
    image: PathBuf,
    memory: PathBuf,
    folder: TempDir,
    board: Option<Board>,
    received: [u16; 2],
    sent: [u16; 2],
}

impl EmulatedMachine {
    /// Starts the image (an ELF file) on a memory file, made if it is not there; without one, on an empty memory.
    ///
    /// # Errors
    /// One line that says what is missing and what to do.
    pub fn start(image: &Path, memory: Option<&Path>) -> Result<Self, MachineFault> {
        let folder = TempDir::with_prefix("board-").map_err(|error| MachineFault(format!("no temporary folder can be made: {error}")))?;
        let memory = memory.map_or_else(|| folder.path().join("memory"), Path::to_path_buf);
        let mut machine = Self { image: image.to_path_buf(), memory, folder, board: None, received: [0; 2], sent: [0; 2] };
        machine.restore_power()?;
        Ok(machine)
    }

    /// The image's own figures of its run so far.
    ///
    /// # Errors
    /// When the board does not answer.
    pub fn figures(&mut self) -> Result<Figures, MachineFault> {
        let board = self.board.as_mut().ok_or_else(|| MachineFault("the emulated board has no power".into()))?;
        let answer: [u8; 20] = board.command(ASK_FIGURES)?;
        let word = |n: usize| u32::from_le_bytes([answer[4 * n], answer[4 * n + 1], answer[4 * n + 2], answer[4 * n + 3]]);
        Ok(Figures { stack_bytes: word(0), worst_ticks: word(1), turns: word(2), mean_ticks_x16: word(3) })
    }

    /// What the image logged since it was started last, as it came.
    #[must_use]
    pub fn log(&self) -> Vec<u8> {
        std::fs::read(self.folder.path().join(board::LOG)).unwrap_or_default()
    }

    /// Lets the next turn begin and waits for nothing: a power cut that follows falls within it, wherever it is by then.
    ///
    /// # Errors
    /// When the board has stopped.
    pub fn begin_turn(&mut self, ms: u8) -> Result<(), MachineFault> {
        let Some(board) = &mut self.board else { return Ok(()) };
        board.write(Uart::Time, &[ms.clamp(1, TURN_MS_MAX)])
    }

    /// Sends bytes and asks until the board's interrupts have taken them all.
    fn deliver(&mut self, from_sensors: &[u8], from_host: &[u8]) -> Result<(), MachineFault> {
        let Some(board) = &mut self.board else { return Ok(()) };
        if from_sensors.is_empty() && from_host.is_empty() {
            return Ok(());
        }
        for (uart, bytes) in [(Uart::Host, from_host), (Uart::Sensors, from_sensors)] {
            board.write(uart, bytes)?;
            let received = &mut self.received[uart as usize];
            *received = received.wrapping_add(wrapped(bytes.len()));
        }
        for _ in 0..ASKED_MAX {
            if counts(board.command(ASK_RECEIVED)?) == self.received {
                return Ok(());
            }
        }
        Err(MachineFault("the emulated board does not take the bytes that were sent to it: look at its interrupts".into()))
    }
}

fn counts([a, b, c, d]: [u8; 4]) -> [u16; 2] {
    [u16::from_le_bytes([a, b]), u16::from_le_bytes([c, d])]
}

/// A number of bytes as the board's wrapping counters see it.
fn wrapped(count: usize) -> u16 {
    let [a, b, ..] = count.to_le_bytes();
    u16::from_le_bytes([a, b])
}

impl Machine for EmulatedMachine {
    fn turn(&mut self, ms: u8, from_sensors: &[u8], from_host: &[u8]) -> Result<Sent, MachineFault> {
        self.deliver(from_sensors, from_host)?;
        let Some(board) = &mut self.board else { return Ok(Sent::default()) };
        let total = counts(board.command(ms.clamp(1, TURN_MS_MAX))?);
        let mut take = |uart: Uart| {
            let at = uart as usize;
            let count = total[at].wrapping_sub(self.sent[at]);
            self.sent[at] = total[at];
            board.read(uart, usize::from(count))
        };
        Ok(Sent { to_host: take(Uart::Host)?, to_sensors: take(Uart::Sensors)? })
    }

    fn cut_power(&mut self) -> Result<(), MachineFault> {
        self.board = None; // killed where it stands
        Ok(())
    }

    fn restore_power(&mut self) -> Result<(), MachineFault> {
        self.board = None;
        (self.received, self.sent) = ([0; 2], [0; 2]);
        self.board = Some(Board::start(&self.image, &self.memory, self.folder.path())?);
        Ok(())
    }

    fn memory(&self) -> Result<Vec<u8>, MachineFault> {
        let mut bytes =
            std::fs::read(&self.memory).map_err(|error| MachineFault(format!("{}: cannot be read: {error}", self.memory.display())))?;
        bytes.truncate(MEMORY_BYTES);
        Ok(bytes)
    }
}
