//! `print`: certificates, and the lists that people work by.

use crate::args::Paper;
use crate::job::Beside;
use crate::judge::soil;
use crate::show::read_limits;
use crate::{Failure, show, stores};
use host_tool::holes::catalogue_by;
use host_tool::lists::{self, List};
use std::io::{Write, stdout};
use std::path::Path;

/// Prints papers and names the files.
pub fn print(names: &[String], what: Paper, out: &Path, store: &Path, by: &Beside) -> Result<(), Failure> {
    let soil = by.soil.as_deref().map(soil).transpose()?;
    let list = match what {
        Paper::Certificates => return show::print(names, out, store, by.limits.as_deref(), soil),
        Paper::HandOver => List::HandOver,
        Paper::Day => List::Day,
        Paper::Open => List::Open,
        Paper::Variations => List::Variations,
    };
    if list == List::Open && !names.is_empty() {
        return Err(Failure::Usage("the register is of all holes that stand open: name none".to_owned()));
    }
    let limits = by.limits.as_deref().map(read_limits).transpose()?;
    let held = catalogue_by(&stores::open_existing(store)?, limits.as_ref())?;
    for file in lists::print(held.works(soil), list, names, out)? {
        writeln!(stdout(), "{}", file.display())?;
    }
    for remark in &held.remarks {
        writeln!(stdout(), "{remark}")?;
    }
    Ok(())
}
