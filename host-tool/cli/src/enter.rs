//! `state`, `measure`, `note` and `accept`: what people say of a hole, put into the chain beside the rig's records.

use crate::args::{Accepted, Aspect, Entering, Measured, Noted, State, Taped};
use crate::station::wall;
use crate::{Failure, stores};
use host_tool::entry::{Along, Disposition, Entry, HoleName, HoleState, NoteKind, Place, Said, may_correct};
use host_tool::holes::index::Index;
use host_tool::holes::{Catalogue, Hole, catalogue};
use host_tool::measure::{length, ratio};
use host_tool::paper::told;
use host_tool::paper::words::Units;
use host_tool::planned::plans;
use host_tool::register::words::{CAUTION, OWES, deep, name, open_for};
use host_tool::register::{Registered, not_begun, of_holes};
use host_tool::sheet::{LegPlan, datum_text};
use host_tool::store::Store;
use host_tool::text::terminal;
use serde_json::json;
use shared_protocol::state::{Leg, SheetUnits};
use shared_protocol::units::Micrometres;
use std::io::{Write, stdout};
use std::path::Path;

/// Says how a hole is from now on.
pub fn state(typed: &State, store: &Path) -> Result<(), Failure> {
    let (Some(hole), Some(word)) = (&typed.hole, &typed.state) else { return list(store, typed.json, typed.all) };
    let states = || HoleState::ALL.map(HoleState::word).join(", ");
    let state = HoleState::of_word(word)
        .ok_or_else(|| Failure::Usage(format!("\"{}\" is no state of a hole: it is one of {}", terminal(word), states())))?;
    let said = format!("{} from now on", state.word());
    add(hole, &typed.entering, "", Said::State { state }, &said, store)
}

/// Enters something that was met or done.
pub fn note(typed: &Noted, store: &Path) -> Result<(), Failure> {
    let what = match typed.what {
        Aspect::Rock => NoteKind::Rock { shot: typed.shot_by.is_some(), by: typed.shot_by.clone().unwrap_or_default() },
        Aspect::WaterAdded => NoteKind::WaterAdded,
        Aspect::Casing => NoteKind::Casing { left: typed.left_in },
        Aspect::FallIn => NoteKind::FallIn,
        Aspect::Other if typed.entering.remark.trim().is_empty() => return Err(Failure::Usage("say what it is with --remark".to_owned())),
        Aspect::Other => NoteKind::Other,
    };
    add(&typed.hole, &typed.entering, "", Said::Note { what }, "noted", store)
}

/// Enters what is to become of a hole.
pub fn accept(typed: &Accepted, store: &Path) -> Result<(), Failure> {
    let word = typed.disposition.as_str();
    let all = || Disposition::ALL.map(Disposition::word).join(", ");
    let disposition = Disposition::of_word(word)
        .ok_or_else(|| Failure::Usage(format!("\"{}\" is no disposition: it is one of {}", terminal(word), all())))?;
    if typed.entering.remark.trim().is_empty() {
        return Err(Failure::Usage("say why with --reason: whoever accepts a hole answers for it".to_owned()));
    }
    add(&typed.hole, &typed.entering, "", Said::Accepted { disposition }, &format!("accepted: {word}"), store)
}

/// Enters a measurement other than a sounding or a hand plumb.
pub fn measure(typed: &Measured, store: &Path) -> Result<(), Failure> {
    let um = |name: &str, text: &str| length(text).map(|l| l.0).map_err(|e| Failure::Usage(format!("--{name}: {e}")));
    let given = |name: &'static str, text: &Option<String>| {
        let text = text.as_deref().ok_or_else(|| Failure::Usage(format!("give --{name} too")))?;
        um(name, text)
    };
    let standard_um = given("within", &typed.within).map(|within| within / 2);
    let said = match typed.what {
        Taped::Centre => {
            let (ahead_um, right_um) = (um("ahead", &typed.ahead)?, um("right", &typed.right)?);
            Said::Centre { ahead_um, right_um, standard_um: standard_um? }
        }
        Taped::Diameter => Said::Diameter {
            depth_um: given("depth", &typed.depth)?,
            diameter_um: given("across", &typed.across)?,
            standard_um: standard_um?,
        },
        Taped::Spacing => {
            let along = match &typed.slope {
                None => Along::Level,
                Some(text) => Along::Slope { rise_ppm: millionths(text)? },
            };
            let to = typed.to.map(Leg::from).ok_or_else(|| Failure::Usage("say to which leg with --to".to_owned()))?;
            Said::Spacing { to, distance_um: given("across", &typed.across)?, standard_um: standard_um?, along }
        }
        Taped::Water => Said::Water { depth_um: typed.depth.as_deref().map(|text| um("depth", text)).transpose()? },
        Taped::Brand => Said::Brand {
            height_um: given("height", &typed.height)?,
            to_butt_um: given("to-butt", &typed.to_butt)?,
            standard_um: standard_um?,
        },
    };
    add(&typed.hole, &typed.entering, &typed.with, said, "entered", store)
}

fn millionths(text: &str) -> Result<i32, Failure> {
    let rise = ratio(text).map_err(|e| Failure::Usage(format!("--slope: {e}")))?;
    #[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
    Ok((rise * 1e6).round() as i32)
}

fn add(hole: &str, entering: &Entering, with: &str, said: Said, text: &str, path: &Path) -> Result<(), Failure> {
    let (who, corrects, remark) = (entering.who()?, entering.corrects()?, entering.remark.trim().to_owned());
    let mut store = stores::open_existing(path)?;
    let index = Index::of(&store)?;
    let named = index.called(std::slice::from_ref(&hole.to_owned()))?;
    let mut names: Vec<_> = named.iter().filter_map(|listed| listed.found.hole_name()).collect();
    names.dedup();
    let [name] = &names[..] else {
        return Err(Failure::Failed(format!(
            "several holes are called \"{}\": use the handle that `borewitness holes` gives",
            terminal(hole)
        )));
    };
    let entry = Entry { remark, corrects, with: with.trim().to_owned(), ..Entry::new(who, wall(), name.clone(), said) };
    let place = put(&mut store, &entry)?;
    let handle = named.first().map_or(hole, |hole| hole.handle.as_str());
    let corrects = corrects.map_or_else(String::new, |wrong| format!(", corrects entry {wrong}"));
    Ok(writeln!(stdout(), "{}: {text}, by {}; entry {place}{corrects}", terminal(handle), terminal(&entry.by))?)
}

/// Enters what is said, once it may correct what it says that it corrects.
pub fn put(store: &mut Store, entry: &Entry) -> Result<Place, Failure> {
    if entry.corrects.is_some() {
        let entered = store.entries()?;
        may_correct(entry, entered.iter().map(|entered| (entered.place, &entered.entry)))?;
    }
    Ok(store.enter(entry)?)
}

/// An entry in one line.
pub fn text(entry: &Entry, units: Units) -> String {
    terminal(&told::text(entry, units))
}

/// The register: what is open now, how long, and what it owes; all holes where that is wanted.
fn list(path: &Path, as_json: bool, all: bool) -> Result<(), Failure> {
    let store = stores::open_existing(path)?;
    let (now, Catalogue { holes, remarks, .. }) = (wall(), catalogue(&store)?);
    let registered = registered(&store, &holes)?;
    let entered = if all { store.entries()? } else { Vec::new() };
    let plans = plans(entered.iter().map(|entered| (entered.place, &entered.entry)));
    let mut shown: Vec<(HoleName, String, serde_json::Value)> = not_begun(&plans, &registered)
        .into_iter()
        .map(|plan| (of_plan(plan), format!("{}  planned; {}", terminal(&name(&of_plan(plan))), planned(plan)), planned_object(plan)))
        .collect();
    let lines = |hole: &Registered| (hole.hole.clone(), line(hole, now.unix_ms, units(hole, &holes)), object(hole));
    shown.extend(registered.iter().filter(|hole| all || hole.state.is_open()).map(lines));
    shown.sort_by(|(a, ..), (b, ..)| a.cmp(b));
    let mut out = stdout();
    if as_json {
        let holes: Vec<_> = shown.into_iter().map(|(.., object)| object).collect();
        return Ok(writeln!(out, "{}", json!({ "holes": holes, "remarks": remarks }))?);
    }
    for (_, line, _) in &shown {
        writeln!(out, "{line}")?;
    }
    for remark in &remarks {
        writeln!(out, "{remark}")?;
    }
    if shown.is_empty() {
        return Ok(writeln!(out, "no hole is open")?);
    }
    Ok(writeln!(out, "{CAUTION}")?)
}

/// The holes that stand open at a moment, a line each, and the caution; one line where none does.
pub fn open_holes(store: &Store, holes: &[Hole], now_ms: i64) -> Result<Vec<String>, Failure> {
    let registered = registered(store, holes)?;
    let open = registered.iter().filter(|hole| hole.state.is_open());
    let mut lines: Vec<String> = open.map(|hole| line(hole, now_ms, units(hole, holes))).collect();
    lines.push(if lines.is_empty() { "no hole is open".to_owned() } else { CAUTION.to_owned() });
    Ok(lines)
}

fn of_plan(plan: &LegPlan) -> HoleName {
    HoleName { line: plan.line.clone(), structure: plan.structure.clone(), leg: plan.leg, attempt: 1 }
}

fn planned(plan: &LegPlan) -> String {
    #[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
    let um = Micrometres((plan.depth_m * 1e6).round() as i32);
    format!("to be {} deep below {}", host_tool::measure::length_text(um, plan.units), datum_text(plan.datum))
}

/// What nobody began has none of the states of a hole.
fn planned_object(plan: &LegPlan) -> serde_json::Value {
    json!({ "hole": of_plan(plan), "state": "planned", "open": false, "owes": false, "planned_depth_m": plan.depth_m })
}

fn registered(store: &Store, holes: &[Hole]) -> Result<Vec<Registered>, Failure> {
    let entries: Vec<_> = store.entries()?.into_iter().map(|entered| (entered.place, entered.entry)).collect();
    Ok(of_holes(holes, &entries))
}

fn units(hole: &Registered, holes: &[Hole]) -> SheetUnits {
    holes.iter().find(|known| known.hole_name().as_ref() == Some(&hole.hole)).map_or(SheetUnits::Metric, Hole::units)
}

/// A hole in a line: which, how, how long, how deep, what it owes.
fn line(hole: &Registered, now_ms: i64, units: SheetUnits) -> String {
    let simulated = if hole.simulated { "  SIMULATED" } else { "" };
    let mut parts = vec![format!("{}{simulated}  {}", terminal(&name(&hole.hole)), hole.state.word())];
    parts.extend(hole.owes().then(|| OWES.to_owned()));
    parts.extend(hole.since.map(|since| format!("since {}", since.rfc3339())));
    parts.extend(hole.by.as_ref().map(|by| format!("by {}", terminal(by))));
    if hole.state.is_open() {
        parts.extend([open_for(hole, now_ms), deep(hole, units)]);
    }
    parts.extend(hole.rules().into_iter().map(str::to_owned));
    parts.join("; ")
}

fn object(hole: &Registered) -> serde_json::Value {
    json!({
        "hole": hole.hole,
        "state": hole.state.word(),
        "since": hole.since.map(host_tool::facts::Wall::rfc3339),
        "by": hole.by,
        "open": hole.state.is_open(),
        "open_since": hole.open_since.map(host_tool::facts::Wall::rfc3339),
        "depth_at_most_m": hole.depth,
        "owes": hole.owes(),
        "simulated": hole.simulated,
        "rules": hole.rules(),
    })
}
