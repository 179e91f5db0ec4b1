//! `ports`, `holes` and `print`.

use crate::demo::bar;
use crate::{Failure, by_hand, stores};
use host_tool::export;
use host_tool::facts::{DigestState, Missing};
use host_tool::holes::{Catalogue, Hole, catalogue_by, remarks};
use host_tool::judge::{Standing, statement};
use host_tool::limit_sets::{SETS, named};
use host_tool::limits_file::Limits;
use host_tool::measure::{lean_text, length_text};
use host_tool::paper::words::{Units, count};
use host_tool::paper::{self, attached};
use host_tool::papers;
use host_tool::port;
use host_tool::store::{Store, measurement_of};
use host_tool::structure::volume::Soil;
use host_tool::text::terminal;
use host_tool::verdicts;
use serde_json::{Value, json};
use shared_protocol::units::{Lean, Micrometres};
use std::fs::File;
use std::io::{Read, Write, stdout};
use std::path::Path;

/// Bytes of a limits file; nobody writes so much by hand.
const LIMITS_BYTES: u64 = 1 << 20;

/// Lists the serial ports.
pub fn ports() -> Result<(), Failure> {
    let found = port::found()?;
    if found.is_empty() {
        return Err(Failure::Failed("no serial port is there: plug the rig's cable or its adapter in".to_owned()));
    }
    for port in found {
        writeln!(stdout(), "{}", format!("{}  {}", terminal(&port.path), terminal(&port.what)).trim_end())?;
    }
    Ok(())
}

/// The holes of a store, judged by their plans and by a file of limits where one is named.
fn judged(store: &Path, limits: Option<&Path>) -> Result<Catalogue, Failure> {
    let limits = limits.map(read_limits).transpose()?;
    Ok(catalogue_by(&stores::open_existing(store)?, limits.as_ref())?)
}

/// Reads a file of limits, or a set that ships with the tool.
pub fn read_limits(path: &Path) -> Result<Limits, Failure> {
    limits_text(path).map(|(_, limits)| limits)
}

/// The same with its text as it is written.
pub fn limits_text(path: &Path) -> Result<(String, Limits), Failure> {
    if let Some(set) = path.to_str().and_then(named).filter(|_| !path.exists()) {
        let limits = Limits::read(set.text).map_err(|e| Failure::Failed(format!("{}, {e}", set.name)))?;
        return Ok((set.text.to_owned(), limits));
    }
    let shown = || terminal(&path.display().to_string());
    let mut text = String::new();
    let read = File::open(path).and_then(|file| file.take(LIMITS_BYTES).read_to_string(&mut text));
    read.map_err(|e| Failure::Failed(format!("{} cannot be read: {e}; `borewitness limits` lists the sets that ship", shown())))?;
    let limits = Limits::read(&text).map_err(|e| Failure::Failed(format!("{}, {e}", shown())))?;
    Ok((text, limits))
}

/// Lists the limit sets that ship, or writes one out so that it can be looked at and changed.
pub fn limits(name: Option<&str>) -> Result<(), Failure> {
    let Some(name) = name else {
        for set in SETS {
            writeln!(stdout(), "{}", set.name)?;
            for limit in Limits::read(set.text).map_err(|e| Failure::Failed(format!("{}, {e}", set.name)))?.about(0.0).limits {
                writeln!(stdout(), "    {} {}; {}", statement::name(limit.measurand), limit.written, limit.source)?;
            }
        }
        return Ok(writeln!(stdout(), "None of them is used unless you name it with --limits; a file of your own will do as well.")?);
    };
    let set = named(name)
        .ok_or_else(|| Failure::Failed(format!("no limit set \"{}\" ships: `borewitness limits` lists them", terminal(name))))?;
    Ok(write!(stdout(), "{}", set.text)?)
}

/// Lists the holes.
pub fn holes(store: &Path, as_json: bool, limits: Option<&Path>) -> Result<(), Failure> {
    let catalogue = judged(store, limits)?;
    if as_json {
        let list: Vec<Value> = catalogue.holes.iter().map(object).collect();
        return Ok(writeln!(stdout(), "{}", json!({ "holes": list, "remarks": catalogue.remarks }))?);
    }
    for hole in &catalogue.holes {
        writeln!(stdout(), "{}", row(hole))?;
        for verdict in &hole.judged.verdicts {
            writeln!(stdout(), "    {}", verdicts::line(verdict, hole.judged.governs, units(hole)))?;
        }
        let entered: Vec<_> = hole.entries.iter().filter_map(|told| measurement_of(&told.entry)).collect();
        for unnumbered in hole.setup.measurements.iter().filter(|measurement| !entered.contains(measurement)) {
            writeln!(stdout(), "    {}", by_hand::text(hole, unnumbered))?;
        }
        for told in &hole.entries {
            writeln!(stdout(), "    {}", by_hand::told_of(hole, told))?;
        }
    }
    if catalogue.holes.is_empty() {
        writeln!(stdout(), "no hole yet")?;
    }
    for remark in &catalogue.remarks {
        writeln!(stdout(), "{remark}")?;
    }
    Ok(())
}

/// Prints papers and names the files.
pub fn print(names: &[String], out: &Path, store: &Path, limits: Option<&Path>, soil: Option<Soil>) -> Result<(), Failure> {
    let limits = limits.map(limits_text).transpose()?.map(|(text, _)| text);
    let store = stores::open_existing(store)?;
    print_from(&store, names, out, limits.as_deref(), soil)?;
    for remark in remarks(&store)? {
        writeln!(stdout(), "{remark}")?;
    }
    Ok(())
}

/// Prints papers out of a store that is open, with a bar where there are many.
pub fn print_from(store: &Store, names: &[String], out: &Path, limits: Option<&str>, soil: Option<Soil>) -> Result<(), Failure> {
    let job = papers::Job::of(store, names, limits)?.on(soil);
    let bar = bar(u64::try_from(job.papers()).unwrap_or(u64::MAX), "{wide_bar} {pos}/{len} papers")?;
    let printed = job.print(out, |_| bar.inc(1));
    bar.finish_and_clear();
    let printed = printed?;
    let there = printed.iter().filter(|one| one.was_there).count();
    for one in printed.iter().filter(|one| !one.was_there) {
        writeln!(stdout(), "{}", one.path.display())?;
    }
    if there > 0 {
        writeln!(stdout(), "{} there already, the same", count(there, "paper"))?;
    }
    Ok(())
}

/// One hole in one line.
pub fn row(hole: &Hole) -> String {
    let units = hole.units();
    let (judged, setup) = (&hole.judged, &hole.setup);
    let simulated = if is_simulated(hole) == Some(false) { "" } else { "SIMULATED  " };
    let depth = judged.depth.map_or("depth –".to_owned(), |depth| format!("depth {}", length_text(micrometres(depth), units)));
    let lean =
        judged.lean.map_or("lean –".to_owned(), |lean| format!("lean {}", lean_text(Lean(micrometres(lean.magnitude()).0), units)));
    let missing: u32 = setup.missing.iter().map(Missing::count).fold(0, u32::saturating_add);
    let gaps = if missing == 0 { "nothing missing".to_owned() } else { format!("{missing} records missing") };
    format!(
        "{:24}  {simulated}{}  {depth} ({} of plan {})  {lean} ({})  {gaps}  digest {}  {}",
        hole.handle,
        if setup.closed.is_some() { "closed" } else { "open" },
        standing(judged.depth_standing),
        length_text(micrometres(judged.planned), units),
        standing(judged.lean_standing),
        digest(setup.digest),
        setup.sealing.briefly(),
    )
}

/// One hole for other programs: metres and metres per metre, in line axes. What a paper's facts have too is as it is there.
fn object(hole: &Hole) -> Value {
    let (judged, setup) = (&hole.judged, &hole.setup);
    let on_paper = paper::Hole::of_record(setup, judged);
    let plan = &setup.opened.body.plan;
    let pair = |pair: Option<host_tool::judge::LineAxes>| pair.map(|p| json!({ "ahead": p.ahead, "right": p.right }));
    let gaps: Vec<Value> =
        setup.missing.iter().map(|m| json!({ "first": m.first, "last": m.last, "cause": m.cause.map(|c| format!("{c:?}")) })).collect();
    json!({
        "handle": hole.handle,
        "rig": hole.stream.rig,
        "epoch": hole.stream.epoch,
        "sequence": setup.opened.sequence,
        "simulated": is_simulated(hole),
        "line": plan.line.as_str(),
        "structure": plan.structure.as_str(),
        "name": hole.name(),
        "leg": plan.leg,
        "attempt": plan.attempt,
        "setup": plan.setup,
        "closed": setup.closed.is_some(),
        "planned_depth_m": judged.planned,
        "depth_m": judged.depth,
        "depth_correction_m": judged.correction.map(|correction| correction.value),
        "depth_standing": standing(judged.depth_standing),
        "lean": pair(judged.lean),
        "mean_lean": pair(judged.mean_lean),
        "lean_limit": judged.lean_limit,
        "lean_standing": standing(judged.lean_standing),
        "toe_m": pair(judged.toe),
        "toe_circle_m": judged.budgets.as_ref().map(|b| b.place.expanded),
        "sounded_m": judged.sounded.map(|f| json!({ "mean": f.value, "expanded": f.expanded })),
        "measured_by_hand": attached::by_hand(&on_paper),
        "entries": hole.entries.iter().map(export::json::entry).collect::<Vec<_>>(),
        "verdicts": attached::verdicts(&on_paper),
        "governing_statement": attached::governs(&on_paper),
        "gaps": gaps,
        "digest": digest(setup.digest),
        "sealing": setup.sealing.text(),
        "reservations": judged.reservations,
    })
}

fn units(hole: &Hole) -> Units {
    Units::of(&hole.setup.opened.body.plan)
}

/// `None` where the record of the rig is missing: then nobody can tell.
fn is_simulated(hole: &Hole) -> Option<bool> {
    hole.setup.identity.as_ref().map(|identity| identity.simulated)
}

pub fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Within => "within",
        Standing::Outside => "OUTSIDE",
        Standing::Unknown => "not known",
    }
}

fn digest(state: DigestState) -> &'static str {
    match state {
        DigestState::Fits => "fits",
        DigestState::Differs => "DIFFERS",
        DigestState::Lacking => "covers more",
        DigestState::Open => "not yet made",
    }
}

fn micrometres(metres: f64) -> Micrometres {
    #[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
    let whole = (metres * 1e6).round() as i32;
    Micrometres(whole)
}
