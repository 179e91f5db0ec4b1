//! `export`: data out, for other programs.

use crate::show::read_limits;
use crate::{Failure, args, stores};
use host_tool::export::{Exported, Format};
use host_tool::holes::catalogue_by;
use std::io::{Write, stdout};
use std::path::Path;

/// Writes what a store holds, and names the files.
pub fn export(format: args::Format, out: &Path, store: &Path, limits: Option<&Path>) -> Result<(), Failure> {
    let format = match format {
        args::Format::Json => Format::Json,
        args::Format::Csv => Format::Csv,
        args::Format::Geojson => Format::Geojson,
        args::Format::Slots => Format::Slots,
    };
    if out.canonicalize().is_ok_and(|out| store.canonicalize().is_ok_and(|store| store == out)) {
        return Err(Failure::Usage("that file is the store itself: name another with --out".to_owned()));
    }
    let limits = limits.map(read_limits).transpose()?;
    let held = catalogue_by(&stores::open_existing(store)?, limits.as_ref())?;
    for file in Exported::new(&held).write(format, out)? {
        writeln!(stdout(), "{}", file.display())?;
    }
    for remark in &held.remarks {
        writeln!(stdout(), "{remark}")?;
    }
    Ok(())
}
