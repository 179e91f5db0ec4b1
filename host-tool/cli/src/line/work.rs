//! The work on the line: one rig goes from structure to structure, day after day, and every set-up is captured.

use super::MORNING;
use super::crew::{Crew, Drilled};
use super::jobs::{Begins, Job};
use crate::Failure;
use crate::demo::bar;
use crate::site::Site;
use crate::wire::InMemory;
use host_tool::capture::Event;
use host_tool::entry::{Entry, SetUpName};
use host_tool::facts::Wall;
use host_tool::planned::{day, standing, warning};
use host_tool::store::Store;
use indicatif::ProgressBar;
use shared_protocol::record::Calibration;
use simulator::bench::Bench;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::scenario::Scenario;
use std::io::{Write, stdout};

/// How long the rig takes to the next structure: the way, setting up, and levelling the hub, ms.
const BETWEEN_STRUCTURES_MS: i64 = 35 * 60_000;
/// After so much of a day no other structure is begun, ms: 16:00.
const LAST_BEGINNING_MS: i64 = 17 * 1_800_000;
const DAY_MS: i64 = 86_400_000;
/// No set-up takes longer, virtual ms.
const TOO_LONG_MS: u64 = 4 * 3_600_000;

/// Drills every job; returns the store, what people have entered meanwhile in the order of its time, and when rig
/// and people have stopped.
pub fn work(base: &Scenario, store: Store, tools: Vec<Calibration>, jobs: &[Job]) -> Result<(Store, Vec<Entry>, Wall), Failure> {
    let mut wire = InMemory;
    let bench = Bench::by_hand(base, base.seed, NativeMachine::start(RamMemory::default())?)?;
    let mut site = Site::new(bench, store, &mut wire, tools, MORNING)?;
    let mut crew = Crew::new(base.seed);
    let structures = jobs.chunk_by(|a, b| a.leg.structure == b.leg.structure);
    let bar = bar(structures.clone().count() as u64, "{msg:32} {wide_bar} structure {pos} of {len}")?;
    for (done, of_one) in structures.enumerate() {
        for job in of_one {
            bar.set_message(job.leg.name());
            begin(&mut site, job)?;
            drill(&mut site, job, &bar)?;
            enter(&mut site, job, &mut crew)?;
        }
        bar.set_position(done as u64 + 1);
    }
    let since = site.now();
    while !site.drained(since) {
        turn(&mut site, &bar, since)?;
    }
    bar.finish_and_clear();
    let (entries, rig) = (crew.into_entries(), site.wall());
    let last = entries.last().map_or(rig, |entry| entry.at);
    Ok((site.into_store(), entries, if last.unix_ms > rig.unix_ms { last } else { rig }))
}

/// The rig is switched off while it moves and over night.
fn begin(site: &mut Site, job: &Job) -> Result<(), Failure> {
    let wall = site.wall();
    match job.begins {
        Begins::Elsewhere if site.stream().is_some() => site.switch_on_at(after(wall, BETWEEN_STRUCTURES_MS)),
        Begins::NextDay => site.switch_on_at(next_day(wall)),
        Begins::Here | Begins::Elsewhere => Ok(()),
    }
}

/// So much later, to the minute; on the next working day where this one is too old by then.
pub fn after(wall: Wall, ms: i64) -> Wall {
    let at = (wall.unix_ms + ms) / 60_000 * 60_000;
    let of_day = (at - MORNING.unix_ms).rem_euclid(DAY_MS);
    if of_day > LAST_BEGINNING_MS { next_day(wall) } else { Wall { unix_ms: at, ..wall } }
}

/// 07:30 of the next working day: five in a row from the first Monday on.
pub fn next_day(wall: Wall) -> Wall {
    let days = (wall.unix_ms - MORNING.unix_ms).div_euclid(DAY_MS) + 1;
    let days = if days % 7 < 5 { days } else { days / 7 * 7 + 7 };
    Wall { unix_ms: MORNING.unix_ms + days * DAY_MS, ..wall }
}

fn drill(site: &mut Site, job: &Job, bar: &ProgressBar) -> Result<(), Failure> {
    if let Some(text) = warning(standing(job.leg.ticket.as_ref(), day(site.wall()))) {
        bar.suspend(|| writeln!(stdout(), "{}: {text}", job.leg.name()))?;
    }
    site.move_on(&job.scenario, job.plan.clone(), job.stays_open())?;
    let since = site.now();
    while !site.finished()? && !site.left_open {
        turn(site, bar, since)?;
    }
    Ok(())
}

fn turn(site: &mut Site, bar: &ProgressBar, since: u64) -> Result<(), Failure> {
    for event in site.turn()? {
        if let Event::Notice(notice) = event {
            bar.suspend(|| writeln!(stdout(), "{notice}"))?;
        }
    }
    let in_time = site.now() < since + TOO_LONG_MS;
    in_time.then_some(()).ok_or_else(|| Failure::Failed("the simulated day was over before the work was".to_owned()))
}

/// What people say of the hole, by what is truly there.
fn enter(site: &mut Site, job: &Job, crew: &mut Crew) -> Result<(), Failure> {
    let nothing = || Failure::Failed(format!("{}: nothing was drilled", job.leg.name()));
    let truth = job.scenario.truth(0, site.bench.world().hole()).ok_or_else(nothing)?;
    let (stream, (first, loaded)) = site.stream().zip(site.loaded).ok_or_else(nothing)?;
    let set_up = SetUpName::new(stream, first);
    crew.enter(&Drilled { job, truth: &truth, set_up, loaded, left: site.closed.unwrap_or_else(|| site.wall()) });
    Ok(())
}
