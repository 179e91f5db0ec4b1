//! The binary `borewitness`: what was typed becomes a job, and the job is done.

mod args;
mod bases;
mod bench;
mod by_hand;
mod calibrate;
mod commission;
mod decommission;
mod demo;
mod enter;
mod evidence;
mod export;
mod job;
mod judge;
mod line;
mod listen;
mod office;
mod orders;
mod page;
mod print;
mod screen;
mod sheet;
mod show;
mod site;
mod station;
mod stores;
mod wire;

use clap::Parser;
use host_tool::calibrate::Refused;
use host_tool::entry::CorrectionFault;
use host_tool::evidence::reviewer::ReviewerFault;
use host_tool::export::ExportFault;
use host_tool::files::FileFault;
use host_tool::holes::CalledFault;
use host_tool::papers::PrintFault;
use host_tool::port::PortFault;
use host_tool::store::StoreFault;
use simulator::machine::MachineFault;
use std::io;
use std::process::ExitCode;

/// Why a job was not done.
#[derive(Debug)]
pub enum Failure {
    /// What was typed has no meaning: exit code 2.
    Usage(String),
    /// It failed: exit code 1.
    Failed(String),
    /// It failed, and that was said when it did: exit code 1.
    Said,
    /// Whoever read the output has had enough: success.
    PipeClosed,
}

impl Failure {
    /// What a person reads of it.
    pub fn line(&self) -> String {
        match self {
            Self::Usage(line) | Self::Failed(line) => line.clone(),
            Self::Said | Self::PipeClosed => "it was not done".to_owned(),
        }
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self::PipeClosed
        } else {
            Self::Failed(format!("the output cannot be written: {error}"))
        }
    }
}

macro_rules! failures {
    ($($fault:ty),*) => {$(
        impl From<$fault> for Failure {
            fn from(fault: $fault) -> Self {
                Self::Failed(fault.to_string())
            }
        }
    )*};
}
failures!(StoreFault, PortFault, PrintFault, CalledFault, ReviewerFault, MachineFault, Refused, CorrectionFault, ExportFault, FileFault);

fn main() -> ExitCode {
    let done = job::meant(args::Typed::parse()).and_then(job::run);
    let (code, line) = match done {
        Ok(()) | Err(Failure::PipeClosed) => (0, None),
        Err(Failure::Said) => (1, None),
        Err(Failure::Failed(line)) => (1, Some(line)),
        Err(Failure::Usage(line)) => (2, Some(line)),
    };
    if let Some(line) = line {
        eprintln!("borewitness: {line}");
    }
    ExitCode::from(code)
}
