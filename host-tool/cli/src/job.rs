//! What was meant by what was typed.

use crate::args::{
    Accepted, ByHand, Command, Entering, Format, Judged, Measured, Noted, Paper, Reviewed, Sounded, State, Stores, Typed, What,
};
use crate::commission::Commissioning;
use crate::decommission::Decommissioning;
use crate::evidence::Print;
use crate::orders::{Order, parse};
use crate::sheet::Checking;
use crate::{
    Failure, by_hand, calibrate, commission, decommission, demo, enter, evidence, export, judge, line, listen, office, page, print, sheet,
    show, stores,
};
use directories::ProjectDirs;
use host_tool::calibrate::guide::Signature;
use host_tool::calibrate::procedure::Procedure;
use host_tool::judge::measured::Kind;
use std::fs;
use std::path::{Path, PathBuf};

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
    /// Drill the simulated line.
    Line {
        /// Folder, `None` for a new one.
        out: Option<PathBuf>,
        /// So many structures, `None` for all.
        structures: Option<u16>,
    },
    /// Listen to a rig.
    Listen(Listening),
    /// Serve the pages without a rig.
    Office {
        /// The store.
        store: PathBuf,
        /// The pages.
        page: page::Wanted,
        /// Show them in a browser here.
        open: bool,
        /// Leave after so long, ms.
        for_ms: Option<u64>,
    },
    /// Calibrate a rig.
    Calibrate(Calibrating),
    /// Give a rig a key.
    Commission(Commissioning),
    /// Have a rig forget everything.
    Decommission(Decommissioning),
    /// List calibrations.
    Calibrations {
        /// The store.
        store: PathBuf,
    },
    /// Enter a measurement.
    Enter {
        /// What kind.
        kind: Kind,
        /// As it was typed.
        typed: ByHand,
        /// A sounding of loose spoil.
        before_clean_out: bool,
        /// The store.
        store: PathBuf,
    },
    /// Say how a hole is, or list what is open.
    State(PathBuf, State),
    /// Enter what was taped.
    Measure(PathBuf, Measured),
    /// Enter a note.
    Note(PathBuf, Noted),
    /// Judge structures.
    Judge(Judged, PathBuf),
    /// Decide about a hole.
    Accept(PathBuf, Accepted),
    /// List or write out limit sets.
    Limits {
        /// Which; all are listed otherwise.
        set: Option<String>,
    },
    /// Check a paper.
    Verify {
        /// The paper, or a photograph of its code.
        what: Print,
        /// The keys that are trusted.
        trust: Option<PathBuf>,
    },
    /// Sign a review.
    Review(PathBuf, Reviewed),
    /// Make a reviewer's key.
    Key(PathBuf),
    /// List the keys of a store.
    Keys(PathBuf),
    /// Do something with a store and another file.
    Stores {
        /// What.
        act: fn(&Path, &Path) -> Result<(), Failure>,
        /// The other file.
        file: PathBuf,
        /// The store.
        store: PathBuf,
    },
    /// List ports.
    Ports,
    /// Check a structure sheet.
    Sheet(Checking),
    /// Write an empty one.
    BlankSheet {
        /// Where; to standard output otherwise.
        file: Option<PathBuf>,
    },
    /// List holes.
    Holes {
        /// The store.
        store: PathBuf,
        /// As JSON.
        json: bool,
        /// Limits.
        limits: Option<PathBuf>,
    },
    /// Write data for other programs.
    Export {
        /// How.
        format: Format,
        /// Where.
        out: PathBuf,
        /// Limits.
        limits: Option<PathBuf>,
        /// The store.
        store: PathBuf,
    },
    /// Print papers.
    Print {
        /// Of what; of everything where there are none.
        names: Vec<String>,
        /// Which.
        what: Paper,
        /// Where.
        out: PathBuf,
        /// What it is judged by beside plans and sheet.
        by: Beside,
        /// The store.
        store: PathBuf,
    },
}

/// What papers are judged by beside plans and sheet.
#[derive(Debug)]
pub struct Beside {
    /// Limits.
    pub limits: Option<PathBuf>,
    /// The ground.
    pub soil: Option<String>,
}

/// How to listen.
#[derive(Debug)]
pub struct Listening {
    /// The port.
    pub ports: Vec<String>,
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
    /// The page; `None` for none.
    pub page: Option<page::Wanted>,
    /// Show it in a browser here.
    pub open: bool,
}

/// How to calibrate.
#[derive(Debug)]
pub struct Calibrating {
    /// What.
    pub procedure: Procedure,
    /// The port.
    pub port: String,
    /// Bits per second.
    pub baud: u32,
    /// The store.
    pub store: PathBuf,
    /// Who signs and for how long.
    pub signature: Signature,
}

/// Finds the job that was meant.
pub fn meant(typed: Typed) -> Result<Job, Failure> {
    Ok(match typed.command.unwrap_or(Command::Demo { out: None, pty: false, line: false, structures: None }) {
        Command::Demo { out, line: true, structures, .. } => Job::Line { out, structures },
        Command::Demo { out, pty, .. } => Job::Demo { out, pty },
        Command::Listen { port, baud, store, orders, leave, seconds, wait, pages, no_page } => {
            let orders = orders
                .iter()
                .map(|line| parse(line).map_err(|e| Failure::Usage(format!("--do \"{line}\": {e}"))))
                .collect::<Result<_, _>>()?;
            Job::Listen(Listening {
                ports: port,
                baud,
                store: make_room(store)?,
                orders,
                leave,
                for_ms: seconds.map(|s| u64::from(s) * 1_000),
                wait,
                page: (!no_page).then_some(page::Wanted { port: pages.page_port, share: pages.share }),
                open: pages.open,
            })
        }
        Command::Office { store, pages, seconds } => Job::Office {
            store: place(store)?,
            page: page::Wanted { port: pages.page_port, share: pages.share },
            open: pages.open,
            for_ms: seconds.map(|s| u64::from(s) * 1_000),
        },
        Command::Calibrate { what, port, baud, store, who, months, two } => match procedure(what, two) {
            None => Job::Calibrations { store: place(store)? },
            Some(procedure) => {
                let nameless = || Failure::Usage("name the rig's port with --port: `borewitness ports` lists ports".to_owned());
                let port = port.ok_or_else(nameless)?;
                Job::Calibrate(Calibrating { procedure, port, baud, store: make_room(store)?, signature: Signature { who, months } })
            }
        },
        Command::Commission { port, baud, store, again } => Job::Commission(Commissioning { port, baud, store: make_room(store)?, again }),
        Command::Decommission { port, baud, store, who, yes } => {
            Job::Decommission(Decommissioning { port, baud, store: make_room(store)?, who, yes })
        }
        Command::Sound(Sounded { by_hand: typed, before_clean_out }) => {
            Job::Enter { kind: Kind::Sounding, store: store_of(&typed.entering)?, typed, before_clean_out }
        }
        Command::Plumb(typed) => Job::Enter { kind: Kind::HandPlumb, store: store_of(&typed.entering)?, typed, before_clean_out: false },
        Command::State(typed) => Job::State(store_of(&typed.entering)?, typed),
        Command::Measure(typed) => Job::Measure(store_of(&typed.entering)?, typed),
        Command::Note(typed) => Job::Note(store_of(&typed.entering)?, typed),
        Command::Verify { file: Some(file), trust, .. } => Job::Verify { what: Print::File(file), trust },
        Command::Verify { scan: Some(scan), trust, .. } => Job::Verify { what: Print::Photograph(scan), trust },
        Command::Verify { .. } => return Err(Failure::Usage("name a certificate, or a photograph of its code with --scan".to_owned())),
        Command::Review(typed) => Job::Review(place(typed.store.clone())?, typed),
        Command::Key { file: Some(file), .. } => Job::Key(file),
        Command::Key { store, .. } => Job::Keys(place(store)?),
        Command::Backup(Stores { file, store }) => Job::Stores { act: stores::backup, file, store: place(store)? },
        Command::Restore(Stores { file, store }) => Job::Stores { act: stores::restore, file, store: make_room(store)? },
        Command::Merge(Stores { file, store }) => Job::Stores { act: stores::merge, file, store: place(store)? },
        Command::Salvage(Stores { file, store }) => Job::Stores { act: stores::rescue, file, store: make_room(store)? },
        Command::Ports => Job::Ports,
        Command::Sheet { blank: Some(file), .. } => Job::BlankSheet { file },
        Command::Sheet { file, leave, ignore, bases, json, limits, keep, who, store, blank: None } => {
            let file = file.ok_or_else(|| Failure::Usage("name a sheet, or write an empty one with --blank".to_owned()))?;
            let keep = who.filter(|_| keep).map(|who| Ok::<_, Failure>((who, make_room(store)?))).transpose()?;
            Job::Sheet(Checking { file, leave, ignore, bases, json, limits, keep })
        }
        Command::Judge(typed) => Job::Judge(Judged { store: None, ..typed }, place(typed.store)?),
        Command::Accept(typed) => Job::Accept(store_of(&typed.entering)?, typed),
        Command::Limits { set } => Job::Limits { set },
        Command::Holes { store, json, limits } => Job::Holes { store: place(store)?, json, limits },
        Command::Export { format, out, limits, store } => Job::Export { format, out, limits, store: place(store)? },
        Command::Print { names, what, out, limits, soil, store } => {
            Job::Print { names, what, out, by: Beside { limits, soil }, store: place(store)? }
        }
    })
}

fn procedure(what: What, two: bool) -> Option<Procedure> {
    Some(match what {
        What::Zero => Procedure::Zero { four: !two },
        What::Drift => Procedure::Drift,
        What::Mount => Procedure::Mount,
        What::Level => Procedure::Level,
        What::Play => Procedure::Play,
        What::Encoder => Procedure::Encoder,
        What::Tool => Procedure::Tool,
        What::List => return None,
    })
}

/// The store named, or the one in the user's data folder.
fn place(named: Option<PathBuf>) -> Result<PathBuf, Failure> {
    let own = || ProjectDirs::from("", "", "borewitness").map(|dirs| dirs.data_dir().join(STORE_FILE));
    named.or_else(own).ok_or_else(|| Failure::Usage("you have no data folder: name a store with --store".to_owned()))
}

fn store_of(entering: &Entering) -> Result<PathBuf, Failure> {
    place(entering.store.clone())
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
        Job::Line { out, structures } => line::line(out, structures),
        Job::Listen(listening) => listen::listen(listening),
        Job::Office { store, page, open, for_ms } => office::office(&store, page, open, for_ms),
        Job::Calibrate(calibrating) => calibrate::calibrate(calibrating),
        Job::Commission(commissioning) => commission::commission(&commissioning),
        Job::Decommission(decommissioning) => decommission::decommission(&decommissioning),
        Job::Calibrations { store } => calibrate::list(&store),
        Job::Enter { kind, typed, before_clean_out, store } => by_hand::enter(kind, &typed, before_clean_out, &store),
        Job::State(store, typed) => enter::state(&typed, &store),
        Job::Measure(store, typed) => enter::measure(&typed, &store),
        Job::Note(store, typed) => enter::note(&typed, &store),
        Job::Verify { what, trust } => evidence::verify(&what, trust.as_deref()),
        Job::Review(store, typed) => evidence::review(&typed, &store),
        Job::Key(file) => evidence::make_key(&file),
        Job::Keys(store) => evidence::list_keys(&store),
        Job::Stores { act, file, store } => act(&file, &store),
        Job::Ports => show::ports(),
        Job::Sheet(checking) => sheet::check(&checking),
        Job::BlankSheet { file } => sheet::blank(file.as_deref()),
        Job::Judge(typed, store) => judge::judge(&typed, &store),
        Job::Accept(store, typed) => enter::accept(&typed, &store),
        Job::Limits { set } => show::limits(set.as_deref()),
        Job::Holes { store, json, limits } => show::holes(&store, json, limits.as_deref()),
        Job::Export { format, out, limits, store } => export::export(format, &out, &store, limits.as_deref()),
        Job::Print { names, what, out, by, store } => print::print(&names, what, &out, &store, &by),
    }
}
