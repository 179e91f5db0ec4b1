//! The emulator's process and its sockets.

use super::image::strap_address;
use crate::machine::MachineFault;
use crate::wall_clock::keep_trying;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// What the image logs, in the board's folder.
pub const LOG: &str = "log";
const EMULATOR: &str = "qemu-system-arm";
const LAST_WORDS: &str = "emulator";
/// Marks a strap word as set on purpose; bit 0 is lock-step, bit 1 watchdog off.
const STRAP_WORD: u32 = 0x424F_5200 | 0b11;
/// Bytes of the board's extra memory, whose front is the rig's.
const MEMORY_FILE_BYTES: u64 = 16 << 20;
/// How long the emulator may take to listen, ms.
const START_MS: u64 = 20_000;
/// How long the board may take to answer.
const ANSWER: Timespec = Timespec { tv_sec: 20, tv_nsec: 0 };

/// The board's serial ports that the bench holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Uart {
    Host = 0,
    Sensors = 1,
    Time = 2,
}

/// A running emulator. Dropping it kills it where it stands.
#[derive(Debug)]
pub struct Board {
    emulator: Child,
    folder: std::path::PathBuf,
    sockets: [UnixStream; 3],
    inbox: [Vec<u8>; 3],
}

impl Board {
    pub fn start(image: &Path, memory: &Path, folder: &Path) -> Result<Self, MachineFault> {
        let strap = strap_address(image)?;
        let paths = ["host", "sensors", "time"].map(|name| folder.join(name));
        for path in &paths {
            let _ = std::fs::remove_file(path); // of the run before
        }
        prepare(memory).map_err(|error| MachineFault(format!("{}: cannot be used as memory: {error}", memory.display())))?;
        let mut emulator = spawn(image, memory, folder, strap)?;
        let mut sockets = Vec::new();
        for path in &paths {
            let connected = keep_trying(START_MS, || {
                let dead = emulator.try_wait().is_ok_and(|status| status.is_some());
                if dead { Ok(None) } else { UnixStream::connect(path).map(Some) }
            });
            match connected {
                Ok(Some(socket)) => sockets.push(socket),
                _ => break,
            }
        }
        let Ok(sockets) = <[UnixStream; 3]>::try_from(sockets) else {
            let _ = emulator.kill();
            let _ = emulator.wait();
            return Err(MachineFault(format!("{EMULATOR} did not start the board: {}", last_words(folder))));
        };
        Ok(Self { emulator, folder: folder.to_path_buf(), sockets, inbox: Default::default() })
    }

    /// Sends a command over the time port and reads its answer, and whatever the other ports say meanwhile.
    pub fn command<const N: usize>(&mut self, command: u8) -> Result<[u8; N], MachineFault> {
        self.write(Uart::Time, &[command])?;
        let answer = self.read(Uart::Time, N)?;
        let mut bytes = [0; N];
        bytes.copy_from_slice(&answer);
        Ok(bytes)
    }

    pub fn write(&mut self, uart: Uart, bytes: &[u8]) -> Result<(), MachineFault> {
        match self.sockets[uart as usize].write_all(bytes) {
            Ok(()) => Ok(()),
            Err(_) => Err(self.stopped()),
        }
    }

    /// Reads so many bytes, waiting for them; what other ports say meanwhile is kept.
    pub fn read(&mut self, uart: Uart, count: usize) -> Result<Vec<u8>, MachineFault> {
        while self.inbox[uart as usize].len() < count {
            self.gather()?;
        }
        Ok(self.inbox[uart as usize].drain(..count).collect())
    }

    /// Waits until any port says something and keeps it. All three are read, since a port that nobody reads
    /// makes the board wait.
    fn gather(&mut self) -> Result<(), MachineFault> {
        let ready = {
            let mut ports = self.sockets.each_ref().map(|socket| PollFd::new(socket, PollFlags::IN));
            match poll(&mut ports, Some(&ANSWER)) {
                Ok(0) => {
                    let words = last_words(&self.folder);
                    return Err(MachineFault(format!("the emulated board has not answered for {} s: {words}", ANSWER.tv_sec)));
                }
                Err(rustix::io::Errno::INTR) => return Ok(()),
                Err(_) => return Err(self.stopped()),
                Ok(_) => ports.map(|port| !port.revents().is_empty()),
            }
        };
        for (index, _) in ready.iter().enumerate().filter(|(_, ready)| **ready) {
            let mut bytes = [0; 4_096];
            match self.sockets[index].read(&mut bytes) {
                Ok(count) if count > 0 => self.inbox[index].extend_from_slice(&bytes[..count]),
                _ => return Err(self.stopped()),
            }
        }
        Ok(())
    }

    fn stopped(&mut self) -> MachineFault {
        let _ = self.emulator.kill();
        let status = self.emulator.wait().map_or_else(|error| error.to_string(), |status| status.to_string());
        MachineFault(format!("the emulated board has stopped ({status}): {}", last_words(&self.folder)))
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        // Killed already, or killed now; either way it is waited for.
        let _ = self.emulator.kill();
        let _ = self.emulator.wait();
    }
}

/// Makes the memory file as large as the board's memory; what is in it stays.
fn prepare(memory: &Path) -> std::io::Result<()> {
    OpenOptions::new().write(true).create(true).truncate(false).open(memory)?.set_len(MEMORY_FILE_BYTES)
}

fn spawn(image: &Path, memory: &Path, folder: &Path, strap: u32) -> Result<Child, MachineFault> {
    let words = File::create(folder.join(LAST_WORDS)).map_err(|error| MachineFault(format!("{}: {error}", folder.display())))?;
    let mut command = Command::new(EMULATOR);
    command.args(["-M", "mps2-an386,memory-backend=nvm", "-m", "16M", "-display", "none", "-monitor", "none"]);
    command.arg("-object").arg(format!("memory-backend-file,id=nvm,size=16M,share=on,mem-path={}", escaped(memory)));
    command.arg("-kernel").arg(image);
    command.arg("-device").arg(format!("loader,addr={strap:#x},data={STRAP_WORD:#x},data-len=4"));
    for (port, name) in ["host", "sensors", "log", "time"].iter().enumerate() {
        let path = folder.join(name);
        let backend = if *name == LOG { "file" } else { "socket" };
        let options = if *name == LOG { "" } else { ",server=on,wait=on" };
        command.arg("-chardev").arg(format!("{backend},id=uart{port},path={}{options}", escaped(&path)));
        command.arg("-serial").arg(format!("chardev:uart{port}"));
    }
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(words);
    command
        .spawn()
        .map_err(|error| MachineFault(format!("{EMULATOR} cannot be started ({error}); install it with: sh tests/install-debian.sh")))
}

/// A path as one value among others that commas separate.
fn escaped(path: &Path) -> String {
    path.display().to_string().replace(',', ",,")
}

/// The last line that the emulator wrote about itself.
fn last_words(folder: &Path) -> String {
    let words = std::fs::read_to_string(folder.join(LAST_WORDS)).unwrap_or_default();
    // It tells of each port that it waits for; that is no complaint.
    words.lines().rfind(|line| !line.contains("waiting for connection")).unwrap_or("it said nothing").to_string()
}
