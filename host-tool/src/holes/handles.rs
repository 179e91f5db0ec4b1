//! What holes are called by: the shortest name that no other hole of their store has.

use crate::judge::hole_name;
use crate::session::Stream;
use crate::text::{file_name, terminal};
use shared_protocol::record::Plan;
use shared_protocol::state::Leg;
use std::borrow::Cow;
use std::collections::{BTreeSet, HashMap};

/// What a hole can be called by.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Handle {
    /// What calls it and no other.
    pub handle: String,
    /// Structure and leg, attempt and set-up, which may call several.
    pub plain: String,
    /// Its name as people say it.
    pub name: String,
}

/// Why a name calls no hole; one line each.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CalledFault {
    /// Nobody by that name.
    #[error("there is no hole \"{0}\" in the store: see `borewitness holes`")]
    NoSuchHole(String),
    /// No holes at all.
    #[error("there is no hole in the store yet")]
    NoHole,
}

/// What tells a hole from the others: its plain name, its name as people say it, the sequence of its first slot, its stream.
pub type Told<'a> = (Cow<'a, str>, Cow<'a, str>, u32, &'a Stream);

/// Gives each hole (plan, sequence of its first slot, stream) a handle, told apart where two would have the same.
pub fn handles<'a>(holes: impl Iterator<Item = (&'a Plan, u32, &'a Stream)>) -> Vec<Handle> {
    apart(holes.map(|(plan, sequence, stream)| (plain(plan).into(), name_of(plan).into(), sequence, stream)))
}

/// Gives each hole the shortest handle that no other has: plain, then with its sequence, then with its rig.
pub fn apart<'a>(holes: impl Iterator<Item = Told<'a>>) -> Vec<Handle> {
    let candidates = holes.map(|(plain, name, sequence, stream)| {
        let longer = file_name(&format!("{plain}-at-{sequence}-{}-{}", stream.rig, stream.epoch));
        let at = format!("{plain}-at-{sequence}");
        (name.into_owned(), [plain.into_owned(), at, longer])
    });
    let all: Vec<(String, [String; 3])> = candidates.collect();
    let mut times: HashMap<String, u32> = HashMap::new();
    for candidate in all.iter().flat_map(|(_, candidates)| candidates) {
        *times.entry(candidate.to_lowercase()).or_default() += 1;
    }
    let alone = |candidate: &&String| times.get(&candidate.to_lowercase()) == Some(&1);
    let handle = |(name, mine): &(String, [String; 3])| Handle {
        handle: mine.iter().find(alone).unwrap_or(&mine[2]).clone(),
        plain: mine[0].clone(),
        name: name.clone(),
    };
    all.iter().map(handle).collect()
}

/// A hole's name as people say it, safe to show.
#[must_use]
pub fn name_of(plan: &Plan) -> String {
    terminal(&hole_name(plan))
}

/// Structure, leg, attempt and set-up in plain letters.
#[must_use]
pub fn plain(plan: &Plan) -> String {
    let leg = match Leg::from_raw(plan.leg) {
        Some(Leg::Single) => String::new(),
        Some(Leg::Left) => "-left".to_owned(),
        Some(Leg::Middle) => "-middle".to_owned(),
        Some(Leg::Right) => "-right".to_owned(),
        None => format!("-leg{}", plan.leg),
    };
    let counted = |what: &str, number: u8| if number > 1 { format!("-{what}{number}") } else { String::new() };
    file_name(&format!("{}{leg}{}{}", plan.structure, counted("attempt", plan.attempt), counted("setup", plan.setup)))
}

/// Which holes these names call: a handle, its plain part, or the hole's name; none at all calls all.
///
/// # Errors
/// Where a name calls none.
pub fn called(handles: &[Handle], names: &[String]) -> Result<BTreeSet<usize>, CalledFault> {
    let mut chosen = BTreeSet::new();
    for name in names {
        let is = |handle: &Handle| [&handle.handle, &handle.plain, &handle.name].contains(&name);
        let mut found = handles.iter().enumerate().filter(|(_, handle)| is(handle)).map(|(n, _)| n).peekable();
        found.peek().ok_or_else(|| CalledFault::NoSuchHole(terminal(name)))?;
        chosen.extend(found);
    }
    if names.is_empty() {
        chosen.extend(0..handles.len());
    }
    if chosen.is_empty() { Err(CalledFault::NoHole) } else { Ok(chosen) }
}
