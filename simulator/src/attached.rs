//! A board that runs by itself, in real time, reached over unix sockets: an emulated one that others started.
//! The bench gives it sensors, and carries its host link too if it is asked to.

use crate::machine::{Machine, MachineFault, Sent};
use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};

/// Turns between two tries to join a socket that nobody serves.
const RETRY_TURNS: u32 = 100;

/// One end of a socket that may come and go.
#[derive(Debug)]
struct End {
    path: PathBuf,
    /// We serve; otherwise we join.
    listener: Option<UnixListener>,
    stream: Option<UnixStream>,
    idle: u32,
}

impl End {
    /// Joins the socket if somebody serves it, else serves it.
    fn at(path: &Path) -> std::io::Result<Self> {
        let mut end = Self { path: path.to_path_buf(), listener: None, stream: None, idle: 0 };
        match UnixStream::connect(path) {
            Ok(stream) => end.adopt(stream),
            Err(error) => {
                if error.kind() == ErrorKind::ConnectionRefused {
                    std::fs::remove_file(path)?; // left over by someone who is gone
                }
                let listener = UnixListener::bind(path)?;
                listener.set_nonblocking(true)?;
                end.listener = Some(listener);
            }
        }
        Ok(end)
    }

    fn adopt(&mut self, stream: UnixStream) {
        self.stream = stream.set_nonblocking(true).is_ok().then_some(stream);
    }

    fn connect(&mut self) {
        if self.stream.is_some() {
            return;
        }
        self.idle = (self.idle + 1) % RETRY_TURNS;
        let found = match &self.listener {
            Some(listener) => listener.accept().map(|(stream, _)| stream).ok(),
            None if self.idle == 0 => UnixStream::connect(&self.path).ok(),
            None => None,
        };
        if let Some(stream) = found {
            self.adopt(stream);
        }
    }

    /// Sends, and takes what has come, without waiting. What nobody takes is lost.
    fn exchange(&mut self, out: &[u8]) -> Vec<u8> {
        self.connect();
        let mut taken = Vec::new();
        let Some(stream) = &mut self.stream else { return taken };
        let mut gone = matches!(stream.write(out), Err(error) if error.kind() != ErrorKind::WouldBlock);
        let mut bytes = [0; 4_096];
        loop {
            match stream.read(&mut bytes) {
                Ok(0) => gone = true,
                Ok(count) => {
                    taken.extend_from_slice(&bytes[..count]);
                    continue;
                }
                Err(error) => gone |= error.kind() != ErrorKind::WouldBlock,
            }
            break;
        }
        if gone {
            self.stream = None;
        }
        taken
    }
}

impl Drop for End {
    fn drop(&mut self) {
        if self.listener.is_some() {
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// A board reached over sockets. It keeps its own time, so a turn here only exchanges bytes.
#[derive(Debug)]
pub struct AttachedMachine {
    sensors: End,
    host: Option<End>,
}

impl AttachedMachine {
    /// Joins the sockets that are served, serves those that are not.
    ///
    /// # Errors
    /// When a socket can be neither joined nor served.
    pub fn at(sensors: &Path, host: Option<&Path>) -> Result<Self, MachineFault> {
        let end = |path: &Path| {
            End::at(path)
                .map_err(|error| MachineFault(format!("{}: no socket can be had there ({error}); give another path", path.display())))
        };
        Ok(Self { sensors: end(sensors)?, host: host.map(end).transpose()? })
    }
}

impl Machine for AttachedMachine {
    fn turn(&mut self, _ms: u8, from_sensors: &[u8], from_host: &[u8]) -> Result<Sent, MachineFault> {
        let to_sensors = self.sensors.exchange(from_sensors);
        let to_host = self.host.as_mut().map(|host| host.exchange(from_host)).unwrap_or_default();
        Ok(Sent { to_sensors, to_host })
    }

    fn cut_power(&mut self) -> Result<(), MachineFault> {
        Err(MachineFault("this board was started by others: cut its power where it was started".into()))
    }

    fn restore_power(&mut self) -> Result<(), MachineFault> {
        Err(MachineFault("this board was started by others: start it again where it was started".into()))
    }

    fn memory(&self) -> Result<Vec<u8>, MachineFault> {
        Err(MachineFault("this board was started by others: its memory is theirs to show".into()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_board_may_come_first_or_last_and_come_back() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("sensors");
        let mut ours = AttachedMachine::at(&path, None).unwrap();
        assert_eq!(ours.turn(1, b"lost", &[]).unwrap(), Sent::default());
        for _ in 0..2 {
            let mut board = UnixStream::connect(&path).unwrap();
            board.write_all(b"ask").unwrap();
            assert_eq!(ours.turn(1, b"answer", &[]).unwrap().to_sensors, b"ask");
            let mut heard = [0; 6];
            board.read_exact(&mut heard).unwrap();
            assert_eq!(&heard, b"answer");
            drop(board);
            assert_eq!(ours.turn(1, &[], &[]).unwrap(), Sent::default());
        }
        drop(ours);
        let served = UnixListener::bind(&path).unwrap();
        let mut ours = AttachedMachine::at(&path, None).unwrap();
        let mut board = served.accept().unwrap().0;
        board.write_all(b"ask").unwrap();
        assert_eq!(ours.turn(1, &[], &[]).unwrap().to_sensors, b"ask");
        assert!(ours.cut_power().is_err() && ours.memory().is_err());
    }
}
