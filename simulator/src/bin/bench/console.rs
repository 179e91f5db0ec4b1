//! Orders from standard input, one a line.

use shared_protocol::record::Plan;
use shared_protocol::units::RigAxes;
use simulator::bench::Bench;
use simulator::clock::{Moment, ms_of};
use simulator::cue::Cue;
use simulator::machine::Machine;
use simulator::pose::{Pose, Side};
use simulator::sensors::{FaultKind, SensorName};
use simulator::world::{Lever, Place};
use std::io::BufRead;
use std::sync::mpsc::{Receiver, TryRecvError, sync_channel};

const HELP: &str = "\
levers, with --by-hand:
  down [MM/S]  up [MM/S]  stop      move the tool
  drill [MM/S]                      down, turning
  turn on|off                       turn the tool
  hub  hole  throw                  slew; the tip must be 150 mm clear
  lean FORWARD RIGHT                lean the mast, mm/m
  tool NUMBER                       put another tool on
calibrating, with --by-hand; what level or tape says is said:
  pose plate QUARTER                the tilt sensor on a plate, 0 to 3 quarters on
  pose mast                         the mast still; \"lean\" leans it
  pose string QUARTER               a level on the hanging string, 0 to 3 quarters on
  pose push forward|back|right|left the string pushed to a side, the level on it
  pose tape MM                      the tip to a taped length below the hub
  pose work                         back to work; the tip must be clear again
  day DEGREES                       another day's temperature, °C
trouble:
  fault encoder|tilt KIND [S]       KIND: silent exception slow wrong-unit bad-crc nonsense stuck jump
  mend encoder|tilt
  unplug S                          the host's cable, for so many seconds
  power on|off
host, where the bench is its own:
  load  touch  close  note TEXT     as a host would
other:
  done                              what the operator asked for is done
  state  wait S  help  quit";

/// A way that reaches any bottom, mm.
const DOWN_MM: f64 = 30_000.0;
const UP_MM: f64 = -3_000.0;

/// What the loop is to do after an order.
pub enum Next {
    /// Go on.
    Go,
    /// Show the state now.
    Show,
    /// The operator's cue was done.
    Done,
    /// Have the host do this.
    Cue(Cue),
    /// Stop.
    Quit,
}

/// The orders that come.
pub struct Console {
    lines: Receiver<String>,
    by_hand: bool,
    plan: Option<Plan>,
    wait_until: Moment,
}

impl Console {
    /// Listens to standard input from now on.
    pub fn new(by_hand: bool, plan: Option<Plan>) -> Self {
        let (send, lines) = sync_channel(64);
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    break;
                }
            }
        });
        Self { lines, by_hand, plan, wait_until: Moment(0) }
    }

    /// Obeys the next order, if there is one and nothing is being waited for. The end of input quits a bench
    /// that is worked by hand.
    pub fn obey<M: Machine>(&mut self, bench: &mut Bench<M>) -> Next {
        if bench.world().now() < self.wait_until {
            return Next::Go;
        }
        match self.lines.try_recv() {
            Ok(line) => self.order(line.trim(), bench).unwrap_or_else(|complaint| {
                eprintln!("bench: {complaint}");
                Next::Go
            }),
            Err(TryRecvError::Disconnected) if self.by_hand => Next::Quit,
            Err(_) => Next::Go,
        }
    }

    fn order<M: Machine>(&mut self, line: &str, bench: &mut Bench<M>) -> Result<Next, Complaint> {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            [] => {}
            ["help"] => println!("{HELP}"),
            ["quit"] => return Ok(Next::Quit),
            ["state"] => return Ok(Next::Show),
            ["done"] => return Ok(Next::Done),
            ["wait", seconds] => self.wait_until = bench.world().now().plus_ms(ms_of(number(seconds)?)),
            ["load"] => return Ok(Next::Cue(Cue::LoadHole(self.plan.clone().ok_or("the scenario has no hole")?))),
            ["touch"] => return Ok(Next::Cue(Cue::TouchHub)),
            ["close"] => return Ok(Next::Cue(Cue::CloseHole)),
            ["note", ..] => {
                let text = line.trim_start_matches("note").trim().to_string();
                return Ok(Next::Cue(Cue::Note { author: "Sim. Engineer".into(), text }));
            }
            ["fault", name, kind] => bench.fault(sensor(name)?, fault(kind)?, 10.0),
            ["fault", name, kind, seconds] => bench.fault(sensor(name)?, fault(kind)?, number(seconds)?),
            ["mend", name] => bench.mend(sensor(name)?),
            ["unplug", seconds] => bench.unplug(number(seconds)?),
            ["power", "off"] => bench.cut_power().map_err(|fault| fault.to_string())?,
            ["power", "on"] => bench.restore_power().map_err(|fault| fault.to_string())?,
            ["pose", pose @ ..] if self.by_hand => {
                let read = bench.pose(posed(pose)?).ok_or("the tip is in the ground or too near it: go up first")?;
                println!("bench: {read}");
            }
            ["day", degrees] if self.by_hand => bench.levers().another_day(number(degrees)?.clamp(-50.0, 80.0)),
            lever => self.lever(lever, bench)?,
        }
        Ok(Next::Go)
    }

    fn lever<M: Machine>(&self, words: &[&str], bench: &mut Bench<M>) -> Result<(), Complaint> {
        let world = bench.levers();
        let to = |depth_mm, speed: &[&str], usual: f64| {
            let speed_mm_s = speed.first().map_or(Ok(usual), |text| number(text))?;
            Ok::<_, Complaint>(Lever::To { depth_mm, speed_mm_s })
        };
        let known = matches!(
            words,
            ["down" | "up" | "drill"]
                | ["down" | "up" | "drill" | "turn" | "tool", _]
                | ["stop" | "hub" | "hole" | "throw"]
                | ["lean", _, _]
                | ["pose", ..]
                | ["day", _]
        );
        if !known {
            return Err(format!("{:?} is no order; \"help\" lists them", words.join(" ")));
        }
        if !self.by_hand {
            return Err("the scenario's operator has the levers; start with --by-hand to take them".into());
        }
        match words {
            ["down", speed @ ..] => world.lever = to(DOWN_MM, speed, 100.0)?,
            ["up", speed @ ..] => world.lever = to(UP_MM, speed, 300.0)?,
            ["drill", speed @ ..] => {
                world.lever = to(DOWN_MM, speed, 100.0)?;
                world.turning = true;
            }
            ["stop"] => world.lever = Lever::Stop,
            ["turn", "on"] => world.turning = true,
            ["turn", "off"] => world.turning = false,
            ["lean", forward, right] => world.lean_by_hand(RigAxes { forward: number(forward)?, right: number(right)? }),
            ["hub"] => return clear(world.slew(Place::Hub)),
            ["hole"] => return clear(world.slew(Place::Hole)),
            ["throw"] => return clear(world.throw()),
            ["tool", tool] => {
                let mounted = tool.parse().is_ok_and(|tool| world.mount(tool));
                return if mounted { Ok(()) } else { Err(format!("the rig has no tool {tool:?}; it has 1, 2 and 3")) };
            }
            _ => return Err("expected: turn on, or turn off".into()),
        }
        Ok(())
    }
}

/// Why an order was not obeyed, in a line.
type Complaint = String;

fn posed(words: &[&str]) -> Result<Pose, Complaint> {
    let quarter = |text: &str| match text.parse() {
        Ok(quarter @ 0..=3) => Ok(quarter),
        _ => Err(format!("{text:?} quarters; expected 0 to 3")),
    };
    Ok(match words {
        ["work"] => Pose::Work,
        ["mast"] => Pose::Mast,
        ["plate", text] => Pose::Plate { quarter: quarter(text)? },
        ["string", text] => Pose::String { quarter: quarter(text)? },
        ["tape", mm] => Pose::Taped { mm: number(mm)?.clamp(-3_000.0, 30_000.0) },
        ["push", "forward"] => Pose::Pushed(Side::Forward),
        ["push", "back"] => Pose::Pushed(Side::Back),
        ["push", "right"] => Pose::Pushed(Side::Right),
        ["push", "left"] => Pose::Pushed(Side::Left),
        _ => return Err(format!("{:?} is no pose; \"help\" lists them", words.join(" "))),
    })
}

fn clear(free: bool) -> Result<(), Complaint> {
    if free { Ok(()) } else { Err("the tip is in the ground or too near it: go up first".into()) }
}

fn number(text: &str) -> Result<f64, Complaint> {
    match text.parse::<f64>() {
        Ok(value) if value.abs() <= 100_000.0 => Ok(value),
        _ => Err(format!("{text:?} is not a number that can be meant here")),
    }
}

fn sensor(text: &str) -> Result<SensorName, Complaint> {
    match text {
        "encoder" => Ok(SensorName::Encoder),
        "tilt" => Ok(SensorName::Tilt),
        _ => Err(format!("{text:?} is no sensor; expected encoder or tilt")),
    }
}

fn fault(text: &str) -> Result<FaultKind, Complaint> {
    Ok(match text {
        "silent" => FaultKind::Silent,
        "exception" => FaultKind::Exception,
        "slow" => FaultKind::Slow,
        "wrong-unit" => FaultKind::WrongUnit,
        "bad-crc" => FaultKind::BadCrc,
        "nonsense" => FaultKind::Nonsense,
        "stuck" => FaultKind::Stuck,
        "jump" => FaultKind::Jump,
        _ => return Err(format!("{text:?} is no fault; \"help\" lists them")),
    })
}
