//! The emulator's command line: memory in a file, serial ports on sockets, strap word set.

use crate::Outcome;
use std::fs::{File, OpenOptions};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

const EMULATOR: &str = "qemu-system-arm";
/// Bytes of the board's extra memory; the rig's non-volatile memory is its front.
const MEMORY_FILE_BYTES: u64 = 16 << 20;
/// Marks a strap word as set on purpose.
const STRAP_MARK: u32 = 0x424F_5200;
const LOCK_STEP: u32 = 1 << 0;
const WATCHDOG_OFF: u32 = 1 << 1;
/// What the emulator says of itself.
const LAST_WORDS: &str = "emulator";

/// How the board is to run.
#[derive(Debug)]
pub struct Run<'a> {
    /// The image's file.
    pub image: &'a Path,
    /// Where its strap word is.
    pub strap: u32,
    /// Where sockets and memory are.
    pub folder: &'a Path,
    /// Time is told over the port `time`; otherwise it runs.
    pub lock_step: bool,
    /// The sensor line joins this; otherwise it is served as the socket `sensors`.
    pub sensors: Option<&'a str>,
    /// Each instruction takes 1024 ns of the board's time, so that its timer counts instructions.
    pub counted: bool,
}

impl Run<'_> {
    /// Where one of the ports is: `host`, `sensors`, `time`.
    pub fn socket(&self, port: &str) -> PathBuf {
        self.folder.join(port)
    }

    /// Starts the emulator; the log comes out of its standard output.
    pub fn start(&self) -> Outcome<Child> {
        let trouble = |error: std::io::Error| format!("{}: {error}", self.folder.display());
        std::fs::create_dir_all(self.folder).map_err(trouble)?;
        let memory = self.folder.join("memory");
        let kept = OpenOptions::new().write(true).create(true).truncate(false).open(&memory);
        kept.and_then(|file| file.set_len(MEMORY_FILE_BYTES)).map_err(trouble)?;
        let words = File::create(self.folder.join(LAST_WORDS)).map_err(trouble)?;
        for port in ["host", "sensors", "time"] {
            let _ = std::fs::remove_file(self.socket(port)); // of the run before
        }

        let mut command = Command::new(EMULATOR);
        command.args(["-M", "mps2-an386,memory-backend=nvm", "-m", "16M", "-display", "none", "-monitor", "none"]);
        command.arg("-object").arg(format!("memory-backend-file,id=nvm,size=16M,share=on,mem-path={}", value(&memory)));
        command.arg("-kernel").arg(self.image);
        if self.lock_step {
            let word = STRAP_MARK | LOCK_STEP | WATCHDOG_OFF;
            command.arg("-device").arg(format!("loader,addr={:#x},data={word:#x},data-len=4", self.strap));
        }
        if self.counted {
            command.args(["-icount", "shift=10,sleep=off"]);
        }
        let backends = [self.served("host"), self.sensor_backend()?, "file,path=/dev/stdout".into(), self.time_backend()];
        for (number, backend) in backends.iter().enumerate() {
            let (kind, options) = backend.split_once(',').unwrap_or((backend, ""));
            command.arg("-chardev").arg(format!("{kind},id=uart{number},{options}"));
            command.arg("-serial").arg(format!("chardev:uart{number}"));
        }
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(words);
        command.spawn().map_err(|error| format!("{EMULATOR} cannot be started ({error}); on Debian: sudo sh tests/install-debian.sh"))
    }

    /// What the emulator said last, for when it has ended.
    pub fn last_words(&self) -> String {
        let words = std::fs::read_to_string(self.folder.join(LAST_WORDS)).unwrap_or_default();
        words.lines().rfind(|line| !line.contains("waiting for connection")).unwrap_or("it said nothing").to_string()
    }

    /// In lock-step the board waits until somebody is there, so that nothing is lost before.
    fn served(&self, port: &str) -> String {
        let wait = if self.lock_step { "on" } else { "off" };
        format!("socket,path={},server=on,wait={wait}", value(&self.socket(port)))
    }

    fn sensor_backend(&self) -> Outcome<String> {
        Ok(match self.sensors {
            None => self.served("sensors"),
            Some(place) => match place.rsplit_once(':') {
                Some((host, port)) if port.parse::<u16>().is_ok() => {
                    format!("socket,host={host},port={port},nodelay=on,reconnect=1")
                }
                _ if Path::new(place).exists() => format!("socket,path={},reconnect=1", value(Path::new(place))),
                _ => return Err(format!("{place}: no socket is there; start the sensors first")),
            },
        })
    }

    fn time_backend(&self) -> String {
        if self.lock_step { self.served("time") } else { "null".into() }
    }
}

/// A path as one value among others that commas separate.
fn value(path: &Path) -> String {
    path.display().to_string().replace(',', ",,")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comma_in_a_path_does_not_end_it() {
        assert_eq!(value(Path::new("/a,b/c")), "/a,,b/c");
    }

    #[test]
    fn the_sensor_line_is_served_or_joined() {
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        let run = |sensors| Run { image: here, strap: 0, folder: Path::new("/run"), lock_step: false, sensors, counted: false };
        assert_eq!(run(None).sensor_backend().unwrap(), "socket,path=/run/sensors,server=on,wait=off");
        assert_eq!(run(Some("127.0.0.1:502")).sensor_backend().unwrap(), "socket,host=127.0.0.1,port=502,nodelay=on,reconnect=1");
        assert!(run(here.to_str()).sensor_backend().unwrap().starts_with("socket,path=/"));
        assert!(run(Some("/nowhere/to/be/seen")).sensor_backend().unwrap_err().contains("no socket is there"));
    }
}
