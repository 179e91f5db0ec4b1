//! What was meant by what was typed.

use crate::args::{Command, Typed};
use crate::orders::{Order, parse};
use crate::{Failure, demo, listen, show};
use directories::ProjectDirs;
use std::fs;
use std::path::PathBuf;

/// The file that a store is, where nobody names another.
pub const STORE_FILE: &str = "borewitness.sqlite";

/// A job with everything that it needs to know.
#[derive(Debug)]
pub enum Job {
    /// Drill the simulated structure.
    Demo {
        /// Folder, `None` for a new one.
        out: Option<PathBuf>,
        /// Over a pseudo-terminal.
        pty: bool,
    },
    /// Listen to a rig.
    Listen(Listening),
    /// List ports.
    Ports,
    /// List holes.
    Holes {
        /// The store.
        store: PathBuf,
        /// As JSON.
        json: bool,
    },
    /// Print papers.
    Print {
        /// Which; all where there are none.
        holes: Vec<String>,
        /// Where.
        out: PathBuf,
        /// The store.
        store: PathBuf,
    },
}

/// How to listen.
#[derive(Debug)]
pub struct Listening {
    /// The port.
    pub port: String,
    /// Bits per second.
    pub baud: u32,
    /// The store.
    pub store: PathBuf,
    /// What to do first.
    pub orders: Vec<Order>,
    /// Leave when that is done and every record is stored.
    pub leave: bool,
    /// Leave after so long, ms.
    pub for_ms: Option<u64>,
    /// Go on though no rig answers.
    pub wait: bool,
}

/// Finds the job that was meant.
pub fn meant(typed: Typed) -> Result<Job, Failure> {
    Ok(match typed.command.unwrap_or(Command::Demo { out: None, pty: false }) {
        Command::Demo { out, pty } => Job::Demo { out, pty },
        Command::Listen { port, baud, store, orders, leave, seconds, wait } => {
            let orders = orders
                .iter()
                .map(|line| parse(line).map_err(|e| Failure::Usage(format!("--do \"{line}\": {e}"))))
                .collect::<Result<_, _>>()?;
            Job::Listen(Listening {
                port,
                baud,
                store: make_room(store)?,
                orders,
                leave,
                for_ms: seconds.map(|s| u64::from(s) * 1_000),
                wait,
            })
        }
        Command::Ports => Job::Ports,
        Command::Holes { store, json } => Job::Holes { store: place(store)?, json },
        Command::Print { holes, out, store } => Job::Print { holes, out, store: place(store)? },
    })
}

/// The store named, or the one in the user's data folder.
fn place(named: Option<PathBuf>) -> Result<PathBuf, Failure> {
    let own = || ProjectDirs::from("", "", "borewitness").map(|dirs| dirs.data_dir().join(STORE_FILE));
    named.or_else(own).ok_or_else(|| Failure::Usage("you have no data folder: name a store with --store".to_owned()))
}

/// As [`place`], with the user's data folder made where it is not there yet.
fn make_room(named: Option<PathBuf>) -> Result<PathBuf, Failure> {
    let by_default = named.is_none();
    let path = place(named)?;
    if let Some(folder) = path.parent().filter(|_| by_default) {
        fs::create_dir_all(folder)
            .map_err(|e| Failure::Failed(format!("{} cannot be made: {e}; name a store with --store", folder.display())))?;
    }
    Ok(path)
}

/// Does the job.
pub fn run(job: Job) -> Result<(), Failure> {
    match job {
        Job::Demo { out, pty } => demo::demo(out, pty),
        Job::Listen(listening) => listen::listen(listening),
        Job::Ports => show::ports(),
        Job::Holes { store, json } => show::holes(&store, json),
        Job::Print { holes, out, store } => show::print(&holes, &out, &store),
    }
}
