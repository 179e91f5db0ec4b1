//! What was typed of a hole by those who stand beside it.

use crate::Failure;
use clap::{Args, ValueEnum};
use host_tool::entry::Place;
use shared_protocol::state::Leg;
use std::path::PathBuf;

/// By whom something is entered, and where it goes.
#[derive(Debug, Args)]
pub struct Entering {
    /// Who says so, or who measured; needed
    #[arg(long, value_name = "NAME")]
    pub who: Option<String>,
    /// Whatever else there is to say
    #[arg(long, value_name = "TEXT", default_value = "", visible_alias = "reason")]
    pub remark: String,
    /// This is right and that entry of the same hole was wrong: it stays to be seen and counts no more; `holes` shows its number
    #[arg(long, value_name = "HOST-NUMBER")]
    pub corrects: Option<String>,
    /// The store; in your own data folder otherwise
    #[arg(long, value_name = "FILE")]
    pub store: Option<PathBuf>,
}

impl Entering {
    /// Who says so.
    pub fn who(&self) -> Result<&str, Failure> {
        self.who.as_deref().ok_or_else(|| Failure::Usage("say who says so with --who".to_owned()))
    }

    /// The entry that this one corrects.
    pub fn corrects(&self) -> Result<Option<Place>, Failure> {
        let place = self.corrects.as_deref().map(str::parse).transpose();
        place.map_err(|e: host_tool::entry::CorrectionFault| Failure::Usage(format!("--corrects: {e}")))
    }
}

/// What somebody measured in a hole by hand.
#[derive(Debug, Args)]
pub struct ByHand {
    /// The hole as `holes` lists it
    #[arg(value_name = "HOLE")]
    pub hole: String,
    /// Depth below the sheet's datum
    #[arg(long, value_name = "LENGTH")]
    pub depth: String,
    /// How far off it may be either way, 95 times of 100
    #[arg(long, value_name = "LENGTH")]
    pub within: String,
    /// Ahead on line from the hole's start; back is negative
    #[arg(long, value_name = "LENGTH", default_value = "0 m", allow_hyphen_values = true)]
    pub ahead: String,
    /// Right of somebody who looks ahead on line; left is negative
    #[arg(long, value_name = "LENGTH", default_value = "0 m", allow_hyphen_values = true)]
    pub right: String,
    /// By whom
    #[command(flatten)]
    pub entering: Entering,
}

/// A sounding.
#[derive(Debug, Args)]
pub struct Sounded {
    /// Where and how deep
    #[command(flatten)]
    pub by_hand: ByHand,
    /// Loose spoil is still on the floor: it is kept, and is not the hole's depth
    #[arg(long)]
    pub before_clean_out: bool,
}

/// How a hole is.
#[derive(Debug, Args)]
pub struct State {
    /// The hole as `holes` lists it
    #[arg(value_name = "HOLE", requires = "state")]
    pub hole: Option<String>,
    /// staked, drilled, attended, guarded, covered, fenced, pole-set, backfilled or abandoned
    #[arg(value_name = "STATE")]
    pub state: Option<String>,
    /// List all holes, not only those that are open, and the legs that a sheet plans and nobody began
    #[arg(long)]
    pub all: bool,
    /// For other programs to read
    #[arg(long)]
    pub json: bool,
    /// By whom
    #[command(flatten)]
    pub entering: Entering,
}

/// What was taped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Taped {
    /// The hole's middle at the ground, off its stake: --ahead, --right
    Centre,
    /// The hole's diameter: --across at --depth
    Diameter,
    /// From this hole's middle to another leg's: --to, --across, and --slope where the tape lay on one
    Spacing,
    /// Water in the hole from --depth on; without it, dry
    Water,
    /// The brand of a set pole: its --height over the datum, and --to-butt
    Brand,
}

/// A leg.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum OtherLeg {
    /// Left leg
    Left,
    /// Middle leg
    Middle,
    /// Right leg
    Right,
}

impl From<OtherLeg> for Leg {
    fn from(leg: OtherLeg) -> Self {
        match leg {
            OtherLeg::Left => Self::Left,
            OtherLeg::Middle => Self::Middle,
            OtherLeg::Right => Self::Right,
        }
    }
}

/// A measurement at a hole.
#[derive(Debug, Args)]
pub struct Measured {
    /// What was measured
    #[arg(value_enum)]
    pub what: Taped,
    /// The hole as `holes` lists it
    #[arg(value_name = "HOLE")]
    pub hole: String,
    /// How far off it may be either way, 95 times of 100
    #[arg(long, value_name = "LENGTH")]
    pub within: Option<String>,
    /// Depth below the sheet's datum
    #[arg(long, value_name = "LENGTH")]
    pub depth: Option<String>,
    /// Across the hole, or from one to the other
    #[arg(long, value_name = "LENGTH")]
    pub across: Option<String>,
    /// Ahead on line from the stake; back is negative
    #[arg(long, value_name = "LENGTH", default_value = "0 m", allow_hyphen_values = true)]
    pub ahead: String,
    /// Right of somebody who looks ahead on line; left is negative
    #[arg(long, value_name = "LENGTH", default_value = "0 m", allow_hyphen_values = true)]
    pub right: String,
    /// The other leg
    #[arg(long, value_enum)]
    pub to: Option<OtherLeg>,
    /// The tape lay along ground that rises so much, for example 10 %; level otherwise
    #[arg(long, value_name = "RATIO", allow_hyphen_values = true)]
    pub slope: Option<String>,
    /// Height of the brand over the datum
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub height: Option<String>,
    /// From the brand to the butt
    #[arg(long, value_name = "LENGTH")]
    pub to_butt: Option<String>,
    /// With what
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub with: String,
    /// By whom
    #[command(flatten)]
    pub entering: Entering,
}

/// What a note is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Aspect {
    /// Rock was met; --shot-by where it was shot, by whom
    Rock,
    /// Water was put in, for dust or for the walls
    WaterAdded,
    /// A casing was set; --left-in where it stays
    Casing,
    /// The walls fell in
    FallIn,
    /// Anything else, said with --remark
    Other,
}

/// A note about a hole.
#[derive(Debug, Args)]
pub struct Noted {
    /// What it is about
    #[arg(value_enum)]
    pub what: Aspect,
    /// The hole as `holes` lists it
    #[arg(value_name = "HOLE")]
    pub hole: String,
    /// Licensed person who shot the rock
    #[arg(long, value_name = "NAME")]
    pub shot_by: Option<String>,
    /// The casing stays in the hole
    #[arg(long)]
    pub left_in: bool,
    /// By whom
    #[command(flatten)]
    pub entering: Entering,
}

/// What structures are to be judged.
#[derive(Debug, Args)]
pub struct Judged {
    /// Structures, in full; without any, all of them in a line each
    #[arg(value_name = "STRUCTURE")]
    pub structures: Vec<String>,
    /// Judge by these limits too, beside those of the sheet: a file, or a set that `limits` lists
    #[arg(long, value_name = "LIMITS")]
    pub limits: Option<PathBuf>,
    /// The ground, for what its volume becomes: sand, loam, clay, "blasted rock"
    #[arg(long, value_name = "GROUND")]
    pub soil: Option<String>,
    /// For other programs to read
    #[arg(long)]
    pub json: bool,
    /// The store; in your own data folder otherwise
    #[arg(long, value_name = "FILE")]
    pub store: Option<PathBuf>,
}

/// A decision about a hole, by somebody who answers for it and says why.
#[derive(Debug, Args)]
pub struct Accepted {
    /// The hole as `holes` lists it
    #[arg(value_name = "HOLE")]
    pub hole: String,
    /// stands, hand-plumb, sound, deepen, fill-and-tamp, ream or engineer-decides
    #[arg(value_name = "DISPOSITION")]
    pub disposition: String,
    /// By whom
    #[command(flatten)]
    pub entering: Entering,
}

/// A review of a hole's record.
#[derive(Debug, Args)]
pub struct Reviewed {
    /// The hole as `holes` lists it
    #[arg(value_name = "HOLE")]
    pub hole: String,
    /// Accept the record, or return it to whoever can mend it
    #[arg(value_enum)]
    pub finding: FindingWord,
    /// The reviewer's key, as `key` made it; its passphrase is asked for, and may come through a pipe
    #[arg(long, value_name = "FILE.pem")]
    pub key: PathBuf,
    /// Who reviews
    #[arg(long, value_name = "NAME")]
    pub who: String,
    /// Why; needed where the record is returned
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub reason: String,
    /// The limits that it was judged by, beside those of its plan: the same as when it is printed
    #[arg(long, value_name = "LIMITS")]
    pub limits: Option<PathBuf>,
    /// The store; in your own data folder otherwise
    #[arg(long, value_name = "FILE")]
    pub store: Option<PathBuf>,
}

/// What a reviewer finds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum FindingWord {
    /// It is complete and says what was drilled
    Accept,
    /// It goes back, with the reason
    Return,
}
