//! The emulator's process and its sockets.

use super::image::strap_address;
use crate::machine::MachineFault;
use crate::wall_clock::keep_trying;
use rustix::io::Errno;
use rustix::net::{RecvFlags, recv};
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

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
/// How long one port is listened to before the others are looked after, and so often before the board is given up.
const LOOK: Duration = Duration::from_millis(2);
const LOOKS_MAX: u32 = 10_000;
/// Bytes taken at once.
const READ_BYTES: usize = 4_096;

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
        for socket in &sockets {
            socket.set_read_timeout(Some(LOOK)).map_err(|error| MachineFault(format!("a socket cannot be set up: {error}")))?;
        }
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

    /// Reads so many bytes, waiting for them. What other ports say is kept when that takes long, since a port
    /// that nobody reads makes the board wait.
    pub fn read(&mut self, uart: Uart, count: usize) -> Result<Vec<u8>, MachineFault> {
        for _ in 0..LOOKS_MAX {
            let missing = count.saturating_sub(self.inbox[uart as usize].len());
            if missing == 0 {
                return Ok(self.inbox[uart as usize].drain(..count).collect());
            }
            // One call for all that is missing: the emulator hands bytes over one by one.
            if self.take(uart, missing, RecvFlags::WAITALL)? < missing {
                for other in [Uart::Host, Uart::Sensors] {
                    self.take(other, READ_BYTES, RecvFlags::DONTWAIT)?;
                }
            }
        }
        let seconds = LOOK.as_secs_f64() * f64::from(LOOKS_MAX);
        Err(MachineFault(format!("the emulated board has not answered for {seconds:.0} s: {}", last_words(&self.folder))))
    }

    /// Takes up to so many bytes from a port, and says how many.
    fn take(&mut self, uart: Uart, most: usize, flags: RecvFlags) -> Result<usize, MachineFault> {
        let mut bytes = [0; READ_BYTES];
        let most = most.min(READ_BYTES);
        match recv(&self.sockets[uart as usize], &mut bytes[..most], flags) {
            Ok((0, _)) => Err(self.stopped()),
            Ok((count, _)) => {
                self.inbox[uart as usize].extend_from_slice(&bytes[..count]);
                Ok(count)
            }
            Err(Errno::AGAIN | Errno::INTR) => Ok(0),
            Err(_) => Err(self.stopped()),
        }
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
