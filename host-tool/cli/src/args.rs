//! What was typed.

mod entered;

pub use entered::{Accepted, Aspect, ByHand, Entering, FindingWord, Judged, Measured, Noted, Reviewed, Sounded, State, Taped};

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Measures the holes that power-line poles stand in: live readout, records, as-drilled certificates.
#[derive(Debug, Parser)]
#[command(
    name = "borewitness",
    version,
    after_help = "Without a command, `demo` runs. Exit code: 0 done, 1 it failed, 2 it was not understood."
)]
pub struct Typed {
    /// The command.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// Where pages are served, and for whom.
#[derive(Clone, Copy, Debug, Args)]
pub struct Pages {
    /// Serve the pages on this port; 8417, or another that is free, otherwise
    #[arg(long, value_name = "N")]
    pub page_port: Option<u16>,
    /// Let other devices on this network look, and do more once paired
    #[arg(long)]
    pub share: bool,
    /// Open the pages in a browser on this computer
    #[arg(long)]
    pub open: bool,
}

/// What can be asked for.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Drill a simulated two-pole structure, store it and print its papers (this is the default); or a whole line
    Demo {
        /// Folder for store and papers; a new one here otherwise
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Talk to the simulated rig through a pseudo-terminal and the serial port's own code (Unix)
        #[arg(long)]
        pty: bool,
        /// Drill an invented line instead, from its structure sheet to its records, and list what stands open; no papers
        #[arg(long, conflicts_with = "pty")]
        line: bool,
        /// Only so many structures of it, the first ones
        #[arg(long, value_name = "N", requires = "line", value_parser = clap::value_parser!(u16).range(1..))]
        structures: Option<u16>,
    },
    /// Listen to a rig: show what it measures, store what it records, and ask it to do things
    #[command(after_help = crate::orders::HELP)]
    Listen {
        /// The serial port that the rig is on; several are tried in turn, `any` is every one there is
        #[arg(long, value_name = "PORT", required = true)]
        port: Vec<String>,
        /// Bits per second
        #[arg(long, default_value_t = 115_200, value_parser = clap::value_parser!(u32).range(300..=4_000_000))]
        baud: u32,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
        /// Do this as if it were typed, each when the one before is done; can be given several times
        #[arg(long = "do", value_name = "LINE")]
        orders: Vec<String>,
        /// Leave when all that is to be done is done and every record of the rig is stored
        #[arg(long)]
        leave: bool,
        /// Leave after so long in any case
        #[arg(long = "for", value_name = "SECONDS")]
        seconds: Option<u32>,
        /// Go on listening though no rig answers
        #[arg(long)]
        wait: bool,
        /// Where its pages are
        #[command(flatten)]
        pages: Pages,
        /// Serve no page
        #[arg(long, conflicts_with_all = ["page_port", "share", "open"])]
        no_page: bool,
    },
    /// Serve the pages over a store without a rig: holes, records, reviews, papers
    Office {
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
        /// Where they are
        #[command(flatten)]
        pages: Pages,
        /// Leave after so long
        #[arg(long = "for", value_name = "SECONDS")]
        seconds: Option<u32>,
    },
    /// Calibrate a rig's sensors step by step, or list its calibrations
    #[command(after_help = "Each step says what to do and waits for Enter or an answer; answers may come through a pipe, one a line.")]
    Calibrate {
        /// What
        #[arg(value_enum)]
        what: What,
        /// The serial port that the rig is on; `list` needs none
        #[arg(long, value_name = "PORT")]
        port: Option<String>,
        /// Bits per second
        #[arg(long, default_value_t = 115_200, value_parser = clap::value_parser!(u32).range(300..=4_000_000))]
        baud: u32,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
        /// Who calibrates; asked otherwise
        #[arg(long, value_name = "NAME")]
        who: Option<String>,
        /// For how many months it holds; asked otherwise
        #[arg(long, value_parser = clap::value_parser!(u8).range(1..=60))]
        months: Option<u8>,
        /// Turn the sensor in two positions only, which shows no residual (for `zero`)
        #[arg(long)]
        two: bool,
    },
    /// Give a rig the key that it seals its records with; this computer makes it and forgets it
    Commission {
        /// The serial port that the rig is on
        #[arg(long, value_name = "PORT")]
        port: String,
        /// Bits per second
        #[arg(long, default_value_t = 115_200, value_parser = clap::value_parser!(u32).range(300..=4_000_000))]
        baud: u32,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
        /// Another key, though the rig has one
        #[arg(long)]
        again: bool,
    },
    /// Have a rig forget its key, its calibrations and its records, once all of them are in the store
    #[command(
        after_help = "Exit code: 0 it has begun anew, 1 it has not, 2 usage. It asks for the rig's name, which may come through a pipe."
    )]
    Decommission {
        /// The serial port that the rig is on
        #[arg(long, value_name = "PORT")]
        port: String,
        /// Bits per second
        #[arg(long, default_value_t = 115_200, value_parser = clap::value_parser!(u32).range(300..=4_000_000))]
        baud: u32,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
        /// Who asks, at most 16 bytes; recorded
        #[arg(long, value_name = "NAME")]
        who: String,
        /// Do not ask for the rig's name
        #[arg(long)]
        yes: bool,
    },
    /// List the serial ports that are there
    Ports,
    /// Check a structure sheet (.csv, .xlsx, .ods) and print its schedule of holes
    #[command(after_help = "Exit code: 0 sound, 1 it has problems, all of which are listed; nothing is taken of such a sheet.")]
    Sheet {
        /// The sheet
        #[arg(value_name = "FILE", required_unless_present = "blank")]
        file: Option<PathBuf>,
        /// Leave these rows out
        #[arg(long, value_name = "ROWS", value_delimiter = ',')]
        leave: Vec<u32>,
        /// Ignore these columns, by their headers; any other that is not known is a problem
        #[arg(long, value_name = "COLUMNS", value_delimiter = ',')]
        ignore: Vec<String>,
        /// Instead of the schedule, show for each leg what every basis of setting depth says, and by how much the sheet differs
        #[arg(long)]
        bases: bool,
        /// For other programs to read
        #[arg(long)]
        json: bool,
        /// Show what is judged by these limits too, beside those of the sheet
        #[arg(long, value_name = "FILE.toml")]
        limits: Option<PathBuf>,
        /// Take a sound sheet into the store: holes are loaded and judged by it from now on
        #[arg(long, requires = "who", conflicts_with = "blank")]
        keep: bool,
        /// Who takes it in
        #[arg(long, value_name = "NAME")]
        who: Option<String>,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
        /// Write an empty sheet to fill in, to the screen where no file is named
        #[arg(long, value_name = "FILE.csv", num_args = 0..=1, conflicts_with_all = ["file", "leave", "ignore", "bases", "json", "limits"])]
        blank: Option<Option<PathBuf>>,
    },
    /// Enter a sounding: the floor by tape; after clean-out soundings govern a hole's depth
    Sound(Sounded),
    /// Enter a hand plumb: where a bob shows the bore's middle at a depth
    Plumb(ByHand),
    /// Say how a hole is from now on; without a hole, list what is open
    State(State),
    /// Enter what was taped: the hole's centre, diameter, spacing to another leg, water, or a set pole's brand
    Measure(Measured),
    /// Enter something met or done: rock, water put in, casing, fall-in
    Note(Noted),
    /// Say of each structure whether its poles can go in, why not, and what to do
    Judge(Judged),
    /// Decide what is to become of a hole, as somebody who answers for it and says why
    Accept(Accepted),
    /// List the limit sets that ship with the tool, or write one out
    Limits {
        /// Which to write out
        #[arg(value_name = "SET")]
        set: Option<String>,
    },
    /// List the holes in the store
    Holes {
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
        /// For other programs to read
        #[arg(long)]
        json: bool,
        /// Judge by these limits too, beside those of each hole's plan
        #[arg(long, value_name = "FILE.toml")]
        limits: Option<PathBuf>,
    },
    /// Print certificates, one for each structure with more than one hole among them too, or the lists that people work by
    Print {
        /// Of certificates, holes as `holes` lists them; of hand-over and variations, structures; of day, days like 2026-05-12. All
        /// otherwise
        #[arg(value_name = "NAME")]
        names: Vec<String>,
        /// Which papers
        #[arg(long, value_enum, default_value_t = Paper::Certificates)]
        what: Paper,
        /// Folder for the papers
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// Judge by these limits too, beside those of each hole's plan
        #[arg(long, value_name = "FILE.toml")]
        limits: Option<PathBuf>,
        /// The ground, for what its volume becomes: sand, loam, clay, "blasted rock"
        #[arg(long, value_name = "GROUND")]
        soil: Option<String>,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
    },
    /// Check a printed certificate without its store: whether its pages are what the record attached to it gives, and who vouches for it
    #[command(
        after_help = "Exit code: 0 it is consistent, and by keys you trust where you name them; 1 it is not, each fault in a line; 2 usage."
    )]
    Verify {
        /// The certificate as a PDF file
        #[arg(value_name = "FILE.pdf", required_unless_present = "scan")]
        file: Option<PathBuf>,
        /// A photograph or scan of the QR code on a printed page instead, PNG or JPEG
        #[arg(long, value_name = "IMAGE", conflicts_with = "file")]
        scan: Option<PathBuf>,
        /// The keys that you trust, as `key --list` writes them
        #[arg(long, value_name = "KEYS")]
        trust: Option<PathBuf>,
    },
    /// Sign the record of a hole that you have reviewed: accepted, or returned for a reason
    Review(Reviewed),
    /// Make a reviewer's key under a passphrase, or list the keys that a store's records are signed with
    Key {
        /// Where the new key goes
        #[arg(value_name = "FILE.pem", required_unless_present = "list")]
        file: Option<PathBuf>,
        /// List the public keys of rigs, computers and reviewers in the store, to compare with theirs and to trust
        #[arg(long, conflicts_with = "file")]
        list: bool,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
    },
    /// Write holes and structures for other programs, or the rig's own slots
    #[command(after_help = "host-tool/docs/export.md says what stands in each; a file of that name is replaced when the new one is whole.")]
    Export {
        /// How
        #[arg(long, value_enum)]
        format: Format,
        /// The file; of slots, a folder
        #[arg(long, value_name = "PATH")]
        out: PathBuf,
        /// Judge by these limits too, beside those of sheet and plans
        #[arg(long, value_name = "LIMITS")]
        limits: Option<PathBuf>,
        /// The store; in your own data folder otherwise
        #[arg(long, value_name = "FILE")]
        store: Option<PathBuf>,
    },
    /// Copy the whole store into a new file and compare the two, though a program may be writing to it
    Backup(Stores),
    /// Bring a backup into a store; without one there, it is made
    Restore(Stores),
    /// Take another tablet's store into your own: what is the same stays once, what differs is kept aside and said
    Merge(Stores),
    /// Take all records that hold out of a damaged store, into a new one
    Salvage(Stores),
}

/// What is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Paper {
    /// A certificate for each hole, and a summary for each structure with more than one hole among them
    Certificates,
    /// For the pole crew: which structures are ready, and what to expect at each hole; one for each line
    HandOver,
    /// What a rig did on a day; one for each rig and day
    Day,
    /// Every hole that stands open, how it is kept and what it owes
    Open,
    /// Every departure from the plan, who accepted it and why; one for each line
    Variations,
}

/// How data goes out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Structures, holes and set-ups, by a published schema
    Json,
    /// A row to each set-up (RFC 4180)
    Csv,
    /// A feature to each leg (RFC 7946)
    Geojson,
    /// A file of slots to each set-up, 32 bytes each as the rig wrote them
    Slots,
}

/// Two stores.
#[derive(Debug, Args)]
pub struct Stores {
    /// The other file; only `backup` writes it
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// The store; in your own data folder otherwise
    #[arg(long, value_name = "FILE")]
    pub store: Option<PathBuf>,
}

/// What can be calibrated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum What {
    /// Zero of the tilt sensor, by reversal on a plate
    Zero,
    /// Drift of that zero with temperature, from zeros found at two temperatures or more
    Drift,
    /// Turn of the sensor on its mast, by leaning the mast
    Mount,
    /// Tool string against mast, with a level at four quarter turns
    Level,
    /// Play of the tool string in its guide, with a level
    Play,
    /// Depth encoder, by tape
    Encoder,
    /// Length and diameter of a tool, by tape
    Tool,
    /// Nothing: list what is calibrated and until when it holds
    List,
}
