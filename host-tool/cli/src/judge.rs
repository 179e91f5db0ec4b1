//! `judge`: whether the poles of a structure can go in, why not, and what to do.

use crate::args::Judged;
use crate::show::read_limits;
use crate::{Failure, stores};
use host_tool::holes::catalogue_by;
use host_tool::judge::limits::Governs;
use host_tool::limits_file::Limits;
use host_tool::readiness::answer::Ready;
use host_tool::readiness::leg::Stage;
use host_tool::readiness::words::{CAUTION, GROUPS, first, headline, whole};
use host_tool::readiness::{Structure, json, structures};
use host_tool::store::Store;
use host_tool::structure::volume::{SOILS, Soil};
use host_tool::text::terminal;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{Write, stdout};
use std::path::Path;

/// Judges structures.
pub fn judge(typed: &Judged, store: &Path) -> Result<(), Failure> {
    let limits = typed.limits.as_deref().map(read_limits).transpose()?;
    let soil = typed.soil.as_deref().map(soil).transpose()?;
    print(&stores::open_existing(store)?, &typed.structures, limits.as_ref(), soil, typed.json)
}

/// The ground of this name.
pub fn soil(name: &str) -> Result<Soil, Failure> {
    let known = || SOILS.map(|soil| soil.name).join(", ");
    let found = SOILS.into_iter().find(|soil| soil.name == name);
    found.ok_or_else(|| Failure::Usage(format!("--soil: \"{}\" is none that is tabulated: {}", terminal(name), known())))
}

/// Prints what a store's structures come to: those named in full, else all of them briefly.
pub fn print(store: &Store, names: &[String], limits: Option<&Limits>, soil: Option<Soil>, as_json: bool) -> Result<(), Failure> {
    let held = catalogue_by(store, limits)?;
    let (all, remarks) = (structures(&held.works(soil)), &held.remarks);
    let chosen = chosen(&all, names)?;
    if as_json {
        let list: Vec<Value> = chosen.iter().map(|structure| json::structure(structure)).collect();
        return Ok(writeln!(stdout(), "{}", json!({ "structures": list, "remarks": remarks }))?);
    }
    if chosen.is_empty() {
        return Ok(writeln!(stdout(), "no structure yet: take a sheet in with `borewitness sheet FILE --keep`, or drill a hole")?);
    }
    if names.is_empty() {
        briefly(&chosen)?;
    } else {
        in_full(&chosen, limits.and_then(Limits::governs), soil)?;
    }
    for remark in remarks {
        writeln!(stdout(), "{remark}")?;
    }
    Ok(writeln!(stdout(), "{CAUTION}")?)
}

fn chosen<'a, 'b>(all: &'b [Structure<'a>], names: &[String]) -> Result<Vec<&'b Structure<'a>>, Failure> {
    let unknown = |name: &&String| !all.iter().any(|structure| structure.structure == **name);
    if let Some(name) = names.iter().find(unknown) {
        let hint = "`borewitness judge` lists them";
        return Err(Failure::Failed(format!("neither a sheet nor a record names a structure \"{}\": {hint}", terminal(name))));
    }
    Ok(all.iter().filter(|structure| names.is_empty() || names.contains(&structure.structure)).collect())
}

/// All structures, those that want something first: why and what to do; then the names of the others.
fn briefly(chosen: &[&Structure<'_>]) -> Result<(), Failure> {
    let lines: BTreeSet<&str> = chosen.iter().map(|structure| structure.line.as_str()).collect();
    for line in lines {
        let of_line: Vec<&Structure<'_>> = chosen.iter().copied().filter(|structure| structure.line == line).collect();
        writeln!(stdout(), "{}", if line.is_empty() { "no line named".to_owned() } else { format!("line {}", terminal(line)) })?;
        for structure in of_line.iter().filter(|structure| is_told(structure)) {
            writeln!(stdout(), "{}", headline(structure))?;
            for said in first(structure) {
                writeln!(stdout(), "    {said}")?;
            }
        }
        for (ready, word) in GROUPS {
            let alike: Vec<&&Structure<'_>> = of_line.iter().filter(|structure| structure.answer.ready == ready).collect();
            if !alike.is_empty() {
                let names: Vec<String> = alike.iter().map(|structure| terminal(&structure.structure)).collect();
                writeln!(stdout(), "{} {word}: {}", alike.len(), names.join(", "))?;
            }
        }
    }
    Ok(())
}

/// Whether there is something to do beside drilling what is not begun.
fn is_told(structure: &Structure<'_>) -> bool {
    let begun = structure.legs.iter().any(|leg| leg.stage != Stage::Planned);
    match structure.answer.ready {
        Ready::No | Ready::NotShown | Ready::Unlevel => true,
        Ready::NotYet => begun,
        Ready::Yes | Ready::Set => false,
    }
}

fn in_full(chosen: &[&Structure<'_>], governs: Option<Governs>, soil: Option<Soil>) -> Result<(), Failure> {
    for structure in chosen {
        writeln!(stdout(), "{}", headline(structure))?;
        for said in first(structure) {
            writeln!(stdout(), "    {said}")?;
        }
        for said in whole(structure, governs, soil) {
            writeln!(stdout(), "  {said}")?;
        }
    }
    if governs.is_none() {
        writeln!(stdout(), "Nobody has said which statement governs: the answer goes by what was measured.")?;
    }
    Ok(())
}
