//! A serial port with somebody to look after it: a thread that reads, writes, and opens it again when it was pulled.
//!
//! The one place in this library that touches the world's ports; no timing here is protocol timing.

use crate::text::terminal;
use serialport::{ErrorKind, SerialPort, SerialPortType};
use std::io;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TryRecvError, sync_channel};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::Duration;

/// How long a read waits for bytes, and so how long a write may wait for a read.
const READ_WAIT: Duration = Duration::from_millis(4);
/// How often a port that was pulled is tried again.
const RETRY: Duration = Duration::from_millis(200);
/// Pieces that may wait either way; the sender's are dropped beyond it, the port's are left with the port.
const WAITING: usize = 256;

/// Why a port cannot be opened; one line each.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PortFault {
    /// No such thing.
    #[error("there is no port {0}: plug the rig in, or see `borewitness ports` for those that are there")]
    Absent(String),
    /// Somebody has it.
    #[error("port {0} is in use by another program: close that one and start again")]
    InUse(String),
    /// Not allowed.
    #[error("port {0} may not be used by you: ask for the right to use serial ports (on Linux often the group dialout)")]
    Denied(String),
    /// A file, a folder or something else.
    #[error("{0} is no serial port: see `borewitness ports` for those that are there")]
    NotSerial(String),
    /// None at all.
    #[error("no serial port is there: plug the rig's cable or its adapter in")]
    NoneAtAll,
    /// Anything else that the system says.
    #[error("port {0} cannot be opened: {1}")]
    Other(String, String),
}

/// What the port has to say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FromPort {
    /// Bytes came.
    Bytes(Vec<u8>),
    /// It is gone; it will be opened again when it is back.
    Lost,
    /// It is back, or another was tried; under this name.
    Back(String),
}

/// Stands for every port that the system knows of.
pub const ANY: &str = "any";

/// What is wanted of the port.
#[derive(Debug)]
enum ToPort {
    Send(Vec<u8>),
    TryAnother,
}

/// Why a port is not carried on with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    Lost,
    NotTheOne,
}

/// An open port. Dropping it closes it.
#[derive(Debug)]
pub struct Port {
    from: Option<Receiver<FromPort>>,
    to: Option<SyncSender<ToPort>>,
    keeper: Option<JoinHandle<()>>,
}

impl Port {
    /// Opens a port, 8N1.
    ///
    /// # Errors
    /// See [`PortFault`]. Once it has been open, its loss is not an error but [`FromPort::Lost`].
    pub fn open(path: &str, baud: u32) -> Result<Self, PortFault> {
        Self::open_one_of(&[path.to_owned()], baud)
    }

    /// Opens the first of several ports that can be opened, [`ANY`] among them for all there are. One that is pulled and
    /// comes back under another of the names is found again.
    ///
    /// # Errors
    /// As [`Port::open`], of the first.
    pub fn open_one_of(names: &[String], baud: u32) -> Result<Self, PortFault> {
        let mut why = None;
        for name in there(names).into_iter() {
            match connect(&name, baud) {
                Ok(open) => return Ok(Self::look_after(names, name, baud, open)),
                Err(e) => drop(why.get_or_insert(fault(&name, &e))),
            }
        }
        Err(why.unwrap_or(PortFault::NoneAtAll))
    }

    fn look_after(names: &[String], name: String, baud: u32, open: Box<dyn SerialPort>) -> Self {
        let (tell, from) = sync_channel(WAITING);
        let (to, orders) = sync_channel(WAITING);
        let names = names.to_vec();
        let keeper = spawn(move || drop(keep(&names, name, baud, open, &tell, &orders)));
        Self { from: Some(from), to: Some(to), keeper: Some(keeper) }
    }

    /// There is no rig on this one: try the next of the names. [`FromPort::Back`] says which that is.
    pub fn try_another(&self) {
        if let Some(to) = &self.to {
            drop(to.try_send(ToPort::TryAnother));
        }
    }

    /// The next thing that the port has to say, if it comes in time.
    #[must_use]
    pub fn receive(&self, wait: Duration) -> Option<FromPort> {
        match self.from.as_ref()?.recv_timeout(wait) {
            Ok(said) => Some(said),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => {
                sleep(wait); // the thread ends only with this port; were it not so, do not spin
                None
            }
        }
    }

    /// Sends bytes when it can. What finds no room, or no port, is dropped: the session says it again.
    pub fn send(&self, bytes: Vec<u8>) {
        if let Some(to) = &self.to {
            drop(to.try_send(ToPort::Send(bytes)));
        }
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        (self.from, self.to) = (None, None); // the thread sees both and ends
        if let Some(keeper) = self.keeper.take() {
            drop(keeper.join());
        }
    }
}

/// Nobody holds the [`Port`] any more.
struct Unwanted;

fn keep(
    names: &[String],
    mut name: String,
    baud: u32,
    mut open: Box<dyn SerialPort>,
    tell: &SyncSender<FromPort>,
    orders: &Receiver<ToPort>,
) -> Result<(), Unwanted> {
    loop {
        let end = carry(&mut *open, tell, orders)?;
        drop(open);
        if end == End::Lost {
            tell.send(FromPort::Lost).map_err(|_| Unwanted)?;
        }
        (name, open) = reopen(names, &name, end, baud, orders)?;
        tell.send(FromPort::Back(name.clone())).map_err(|_| Unwanted)?;
    }
}

/// Names to try now.
fn there(names: &[String]) -> Vec<String> {
    let of =
        |name: &String| if name == ANY { found().unwrap_or_default().into_iter().map(|f| f.path).collect() } else { vec![name.clone()] };
    names.iter().flat_map(of).collect()
}

/// Carries bytes both ways until the port is gone.
fn carry(open: &mut dyn SerialPort, tell: &SyncSender<FromPort>, orders: &Receiver<ToPort>) -> Result<End, Unwanted> {
    let mut buffer = [0; 4_096];
    loop {
        match orders.try_recv() {
            Ok(ToPort::Send(bytes)) if write(open, &bytes) => {}
            Ok(ToPort::Send(_)) => return Ok(End::Lost),
            Ok(ToPort::TryAnother) => return Ok(End::NotTheOne),
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => return Err(Unwanted),
        }
        match open.read(&mut buffer) {
            Ok(0) => return Ok(End::Lost),
            Ok(count) => tell.send(FromPort::Bytes(buffer[..count].to_vec())).map_err(|_| Unwanted)?,
            Err(e) if passing(&e) => {}
            Err(_) => return Ok(End::Lost),
        }
    }
}

/// Writes a piece; what a port will not take in time is dropped. `false` where the port is gone.
fn write(open: &mut dyn SerialPort, bytes: &[u8]) -> bool {
    open.write_all(bytes).or_else(|e| if passing(&e) { Ok(()) } else { Err(e) }).is_ok()
}

fn passing(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::Interrupted | io::ErrorKind::WouldBlock)
}

/// Opens the port again, where it was lost under its own name first, else under the next that can be opened.
fn reopen(names: &[String], last: &str, end: End, baud: u32, orders: &Receiver<ToPort>) -> Result<(String, Box<dyn SerialPort>), Unwanted> {
    loop {
        // what was meant for the port that is gone is not for the one that comes
        while match orders.try_recv() {
            Ok(_) => true,
            Err(TryRecvError::Empty) => false,
            Err(TryRecvError::Disconnected) => return Err(Unwanted),
        } {}
        let mut there = there(names);
        let own = there.iter().position(|name| name == last).unwrap_or(0);
        there.rotate_left(own);
        if end == End::NotTheOne && !there.is_empty() {
            there.rotate_left(1);
        }
        match there.into_iter().find_map(|name| connect(&name, baud).ok().map(|open| (name, open))) {
            Some(found) => return Ok(found),
            None => sleep(RETRY),
        }
    }
}

fn connect(path: &str, baud: u32) -> serialport::Result<Box<dyn SerialPort>> {
    let mut open = serialport::new(path, baud).timeout(READ_WAIT).open()?;
    // Some adapters keep the line quiet without these; others, and pseudo-terminals, have not got them.
    drop((open.write_data_terminal_ready(true), open.write_request_to_send(true)));
    Ok(open)
}

fn fault(path: &str, error: &serialport::Error) -> PortFault {
    let shown = terminal(path);
    let said = terminal(&error.description);
    match error.kind() {
        ErrorKind::Io(io::ErrorKind::NotFound) => PortFault::Absent(shown),
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => PortFault::Denied(shown),
        ErrorKind::Io(io::ErrorKind::ResourceBusy) => PortFault::InUse(shown),
        ErrorKind::NoDevice if said.contains("lock") || said.contains("busy") => PortFault::InUse(shown),
        ErrorKind::NoDevice => PortFault::Absent(shown),
        _ if std::path::Path::new(path).exists() && no_terminal(&said) => PortFault::NotSerial(shown),
        _ => PortFault::Other(shown, said),
    }
}

/// Whether these are the system's words when what is asked of a terminal is asked of something else.
fn no_terminal(said: &str) -> bool {
    ["Not a typewriter", "Inappropriate ioctl", "Is a directory", "Invalid argument"].iter().any(|words| said.contains(words))
}

/// A port that is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// What to give as the port.
    pub path: String,
    /// What the system knows of it.
    pub what: String,
}

/// The serial ports that the system knows of, by name.
///
/// # Errors
/// Where the system does not say.
pub fn found() -> Result<Vec<Found>, PortFault> {
    let ports = serialport::available_ports().map_err(|e| PortFault::Other("list".to_owned(), terminal(&e.description)))?;
    let mut found: Vec<Found> = ports.into_iter().map(|p| Found { what: what(&p.port_type, &p.port_name), path: p.port_name }).collect();
    found.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(found)
}

fn what(kind: &SerialPortType, path: &str) -> String {
    match kind {
        SerialPortType::UsbPort(usb) => usb.product.clone().unwrap_or_else(|| "USB".to_owned()),
        SerialPortType::BluetoothPort => "Bluetooth".to_owned(),
        SerialPortType::PciPort => "built in".to_owned(),
        SerialPortType::Unknown => by_id(path).unwrap_or_default(),
    }
}

/// Linux keeps a name for each USB adapter that says what it is.
fn by_id(path: &str) -> Option<String> {
    let target = std::fs::canonicalize(path).ok()?;
    let links = std::fs::read_dir("/dev/serial/by-id").ok()?;
    let link = links.flatten().find(|link| std::fs::canonicalize(link.path()).is_ok_and(|t| t == target))?;
    Some(link.file_name().to_string_lossy().into_owned())
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use serialport::TTYPort;
    use std::io::{Read, Write};
    use std::os::unix::fs::symlink;
    use std::path::{Path, PathBuf};
    use std::time::Instant;

    const WAIT: Duration = Duration::from_secs(5);

    /// The rig's end of a pseudo-terminal behind a name that can be given to another later. Pulling it takes the name away first:
    /// the system gives the number of one that is gone to whoever asks next, and that is another test.
    struct Plugged(PathBuf, TTYPort);

    impl Drop for Plugged {
        fn drop(&mut self) {
            std::fs::remove_file(&self.0).unwrap();
        }
    }

    fn plug_in(link: &Path) -> Plugged {
        let (mut master, slave) = TTYPort::pair().unwrap();
        master.set_timeout(WAIT).unwrap();
        symlink(slave.name().unwrap(), link).unwrap();
        Plugged(link.to_owned(), master)
    }

    fn named() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("rig");
        (folder, link)
    }

    fn open(link: &Path) -> Result<Port, PortFault> {
        Port::open(link.to_str().unwrap(), 115_200)
    }

    #[test]
    fn all_bytes_go_both_ways() {
        let (_folder, link) = named();
        let mut master = plug_in(&link);
        let port = open(&link).unwrap();
        let all: Vec<u8> = (0..=255).collect();
        master.1.write_all(&all).unwrap();
        let mut heard = Vec::new();
        while heard.len() < 256 {
            let Some(FromPort::Bytes(bytes)) = port.receive(WAIT) else { panic!("{heard:?}") };
            heard.extend(bytes);
        }
        assert_eq!(heard, all);
        port.send(all.clone());
        let mut told = [0; 256];
        master.1.read_exact(&mut told).unwrap();
        assert_eq!(told[..], all);
    }

    #[test]
    fn a_port_that_is_pulled_is_opened_again_when_it_is_back() {
        let (_folder, link) = named();
        let master = plug_in(&link);
        let port = open(&link).unwrap();
        drop(master);
        assert_eq!(port.receive(WAIT), Some(FromPort::Lost));
        (0..20).for_each(|_| port.send(b"for the one that is gone".to_vec()));
        assert_eq!(port.receive(Duration::from_millis(500)), None);
        let begun = Instant::now();
        let mut master = plug_in(&link);
        assert_eq!(port.receive(WAIT), Some(FromPort::Back(link.to_str().unwrap().to_owned())));
        assert!(begun.elapsed() < Duration::from_secs(1), "{:?}", begun.elapsed());
        port.send(b"again".to_vec());
        let mut told = [0; 5];
        master.1.read_exact(&mut told).unwrap();
        assert_eq!(&told, b"again");
    }

    #[test]
    fn a_port_that_comes_back_under_another_name_is_found() {
        let (folder, link) = named();
        let names = ["rig", "moved", "never"].map(|name| folder.path().join(name).to_str().unwrap().to_owned());
        let first = plug_in(&link);
        let port = Port::open_one_of(&names, 115_200).unwrap();
        drop(first);
        assert_eq!(port.receive(WAIT), Some(FromPort::Lost));
        let mut moved = plug_in(&folder.path().join("moved"));
        assert_eq!(port.receive(WAIT), Some(FromPort::Back(names[1].clone())));
        port.send(b"here".to_vec());
        let mut told = [0; 4];
        moved.1.read_exact(&mut told).unwrap();
        assert_eq!(&told, b"here");
        let _other = plug_in(&link);
        port.try_another();
        assert_eq!(port.receive(WAIT), Some(FromPort::Back(names[0].clone())));
        port.try_another();
        assert_eq!(port.receive(WAIT), Some(FromPort::Back(names[1].clone())));
    }

    #[test]
    fn dropping_it_closes_it_though_nobody_reads() {
        let (_folder, link) = named();
        let mut master = plug_in(&link);
        let port = open(&link).unwrap();
        for _ in 0..WAITING + 20 {
            master.1.write_all(&[7; 16]).unwrap();
            sleep(Duration::from_millis(1));
        }
        let begun = Instant::now();
        drop(port);
        assert!(begun.elapsed() < Duration::from_secs(1));
        drop(open(&link).unwrap());
    }

    #[test]
    fn what_cannot_be_opened_is_said_for_what_it_is() {
        let (folder, link) = named();
        assert!(matches!(open(&link), Err(PortFault::Absent(_))));
        std::fs::write(&link, "a file").unwrap();
        assert!(matches!(open(&link), Err(PortFault::NotSerial(_))), "{:?}", open(&link));
        assert!(matches!(open(folder.path()), Err(PortFault::NotSerial(_))), "{:?}", open(folder.path()));
        assert!(matches!(open(Path::new("/dev/null")), Err(PortFault::NotSerial(_))), "{:?}", open(Path::new("/dev/null")));
        std::fs::remove_file(&link).unwrap();
        let _master = plug_in(&link);
        let first = open(&link).unwrap();
        assert!(matches!(open(&link), Err(PortFault::InUse(_))), "{:?}", open(&link));
        drop(first);
    }
}
