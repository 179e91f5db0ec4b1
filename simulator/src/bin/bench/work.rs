//! The bench's loop: orders in, time on, state out, until the work is done.

use crate::Arguments;
use crate::console::{Console, Next};
use crate::host::Host;
use simulator::attached::AttachedMachine;
use simulator::bench::Bench;
use simulator::clock::{Moment, ms_of};
use simulator::emulated::EmulatedMachine;
use simulator::machine::Machine;
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::operator::Progress;
use simulator::scenario::{FAULT_PARADE, ORDINARY, STILL_HOLE, Scenario, TWO_POLE};
use simulator::wall_clock::Pacer;
use std::error::Error;
use std::io::Write;
use std::path::Path;

type Fault = Box<dyn Error>;

/// A tick, ms; shorter for a board that keeps its own time, whose sensors should answer soon.
const TICK_MS: u8 = 5;
const ATTACHED_TICK_MS: u8 = 1;

/// Runs until the operator has finished, or until whoever gives orders quits.
pub fn work(arguments: &Arguments) -> Result<(), Fault> {
    let scenario = match arguments.scenario.as_str() {
        "two-pole" => Scenario::parse("two-pole", TWO_POLE)?,
        "still-hole" => Scenario::parse("still-hole", STILL_HOLE)?,
        "fault-parade" => Scenario::parse("fault-parade", FAULT_PARADE)?,
        "ordinary" => Scenario::parse("ordinary", ORDINARY)?,
        path => Scenario::load(Path::new(path))?,
    };
    let seed = arguments.seed.unwrap_or(scenario.seed);
    let attached = arguments.sensors.is_some();
    let machine: Box<dyn Machine> = match (&arguments.sensors, &arguments.board) {
        (Some(sensors), _) => Box::new(AttachedMachine::at(sensors, arguments.rig.as_deref())?),
        (None, Some(image)) => Box::new(EmulatedMachine::start(image, arguments.memory.as_deref())?),
        (None, None) => Box::new(NativeMachine::behind_a_line(RamMemory::default())?),
    };
    let mut bench = if arguments.by_hand { Bench::by_hand(&scenario, seed, machine)? } else { Bench::new(&scenario, seed, machine)? };
    if attached {
        bench.answer_at_once();
    }
    let host = match &arguments.link {
        Some(link) => {
            Host::on_link(link).map_err(|error| format!("{}: the link cannot be made ({error}); give another path", link.display()))?
        }
        None if attached && arguments.rig.is_none() => Host::elsewhere(),
        None => Host::own(),
    };
    say(&format!("SIMULATED: {}; seed {seed}", scenario.title))?;
    let console = Console::new(arguments.by_hand, scenario.plan(0));
    run(arguments, bench, host, console, if attached { ATTACHED_TICK_MS } else { TICK_MS })
}

fn run(arguments: &Arguments, mut bench: Bench<Box<dyn Machine>>, mut host: Host, mut console: Console, tick_ms: u8) -> Result<(), Fault> {
    let pacer = Pacer::new(arguments.speed);
    let mut state_at = Moment(0);
    let mut to_rig = Vec::new();
    loop {
        let now = bench.world().now();
        match console.obey(&mut bench) {
            Next::Go => {}
            Next::Show => state_at = now,
            Next::Done => bench.cue_done(),
            Next::Cue(cue) => host.give(cue),
            Next::Quit => return Ok(()),
        }
        let from_rig = bench.advance(tick_ms, &to_rig)?;
        if let Some(cue) = bench.take_cue() {
            say(&format!("{:9.1} s  cue: {cue}", now.seconds()))?;
            host.give(cue);
        }
        let done;
        (to_rig, done) = host.exchange(now, &from_rig);
        if done {
            bench.cue_done();
        }
        if now >= state_at {
            state_at = now.plus_ms(ms_of(arguments.every));
            say(&state(&bench, &host))?;
        }
        match bench.progress() {
            Some(Progress::Finished) => return say(&summary(&bench, &host)),
            Some(Progress::GaveUp(cue)) => {
                return Err(format!("nobody did what was asked for: {cue}; have a host on the link, or say \"done\"").into());
            }
            _ => pacer.wait_for(bench.world().now()),
        }
    }
}

/// Prints a line at once, through a pipe too. A reader that has gone ends the work as a quit does.
fn say(line: &str) -> Result<(), Fault> {
    let mut out = std::io::stdout().lock();
    match writeln!(out, "{line}").and_then(|()| out.flush()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => std::process::exit(0),
        result => Ok(result?),
    }
}

fn state<M: Machine>(bench: &Bench<M>, host: &Host) -> String {
    let world = bench.world();
    let lean = world.lean();
    let place = world.place().map_or("slewing".into(), |place| format!("over {place:?}").to_lowercase());
    let mut line = format!(
        "{:9.1} s  tip {:8.1} mm {place:9}  bottom {:7.1} mm  lean forward {:+5.1} right {:+5.1} mm/m  {}",
        world.now().seconds(),
        world.tip_mm(),
        world.hole().cut_mm,
        lean.forward,
        lean.right,
        world.layer(),
    );
    for (word, said) in [("turning", world.turning), ("cable out", !bench.is_plugged()), ("no power", !bench.is_powered())] {
        if said {
            line += &format!("  {word}");
        }
    }
    line + &host.heard()
}

fn summary<M: Machine>(bench: &Bench<M>, host: &Host) -> String {
    let holes = bench.truth();
    let mut text = format!("finished after {:.1} s, {} holes{}", bench.world().now().seconds(), holes.len(), host.kept());
    for (index, hole) in holes.iter().enumerate() {
        let toe = hole.toe_mm().unwrap_or_default();
        text += &format!(
            "\nhole {}: truly {:.1} mm below the hub, toe {:+.1} mm forward {:+.1} mm right",
            index + 1,
            hole.held_mm,
            toe.forward,
            toe.right
        );
    }
    text
}
