//! The bench: world, sensors, cable and operator round a machine that runs the firmware.

use crate::cable::{Cable, CableSettings};
use crate::calibration::Calibrating;
use crate::clock::{Moment, ms_of, us_of};
use crate::cue::Cue;
use crate::line::{Line, Timing};
use crate::machine::{Machine, MachineFault};
use crate::memory::RamMemory;
use crate::native::NativeMachine;
use crate::operator::{Operator, Progress};
use crate::pose::{ByHand, Held, Pose};
use crate::scenario::{Happening, Scenario};
use crate::sensors::{FaultKind, OnLine, SensorName, Sensors};
use crate::world::bore::HoleTruth;
use crate::world::{Lever, World};
use firmware_drivers::sensor_line::LineSettings;

/// What the bench's plate leans, mm/m in the sensor's first position.
const PLATE_MM_M: [f64; 2] = [5.0, -6.0];
/// How well a tape is read against the tool's tip, standard deviation, mm.
const TAPE_MM: f64 = 1.5;
/// How fast the tip is let down to be taped, mm/s.
const TAPING_MM_S: f64 = 400.0;

/// A bench.
#[derive(Debug)]
pub struct Bench<M> {
    world: World,
    sensors: Sensors,
    line: Line,
    cable: Cable,
    operator: Option<Operator>,
    hands: Calibrating,
    machine: M,
    plug_at: Option<Moment>,
    power_at: Option<Moment>,
    powered: bool,
}

impl Bench<NativeMachine> {
    /// A bench with the native machine on an empty memory, worked by the scenario's operator.
    ///
    /// # Errors
    /// Where the scenario does not fit the rig.
    pub fn native(scenario: &Scenario, seed: u64) -> Result<Self, MachineFault> {
        Self::new(scenario, seed, NativeMachine::start(RamMemory::default())?)
    }
}

impl<M: Machine> Bench<M> {
    /// A bench round any machine, worked by the scenario's operator.
    ///
    /// # Errors
    /// Where the scenario does not fit the rig.
    pub fn new(scenario: &Scenario, seed: u64, machine: M) -> Result<Self, MachineFault> {
        let unfit = || MachineFault(format!("{}: tool or texts do not fit the rig; load it from a file to see what", scenario.title));
        let mut bench = Self::by_hand(scenario, seed, machine)?;
        bench.operator = Some(Operator::new(scenario).ok_or_else(unfit)?);
        Ok(bench)
    }

    /// A bench without an operator, set up over the scenario's first hole: whoever holds it has the levers.
    ///
    /// # Errors
    /// Where the scenario does not fit the rig.
    pub fn by_hand(scenario: &Scenario, seed: u64, machine: M) -> Result<Self, MachineFault> {
        let unfit = || MachineFault(format!("{}: the rig has no such tool; load it from a file to see which", scenario.title));
        let mut world = World::new(scenario, seed).ok_or_else(unfit)?;
        if let Some(hole) = scenario.hole.first() {
            world.set_up(hole);
        }
        let delay_us = us_of(scenario.sensors.reply_delay_ms);
        Ok(Self {
            sensors: Sensors::new(seed, scenario),
            line: Line::new(Timing::standard(LineSettings::BENCH.baud, delay_us)),
            cable: Cable::new(seed, scenario.cable),
            operator: None,
            hands: Calibrating::new(&scenario.errors, seed),
            machine,
            plug_at: None,
            power_at: None,
            powered: true,
            world,
        })
    }

    /// The rig and its operator move on to another scenario's holes; the operator has to have finished. Machine, memory,
    /// sensors, cable and time stay, and so do the rig's errors: of the scenario's own, only [`Scenario::truth`] takes note.
    ///
    /// # Errors
    /// Where the operator is still at work or the scenario does not fit the rig.
    pub fn move_on(&mut self, scenario: &Scenario) -> Result<(), MachineFault> {
        scenario.check(&scenario.title).map_err(|fault| MachineFault(fault.to_string()))?;
        if matches!(self.progress(), Some(Progress::Working(_))) {
            return Err(MachineFault(format!("{}: the operator is still at work elsewhere: let him finish", scenario.title)));
        }
        let unfit = || MachineFault(format!("{}: texts do not fit the rig; shorten them", scenario.title));
        self.operator = Some(Operator::new(scenario).ok_or_else(unfit)?);
        self.world.move_on(scenario);
        Ok(())
    }

    /// Lets `ms` milliseconds pass, 1 to 250: the world moves, sensors answer, the rig takes one turn. `to_rig`
    /// is what the host sends now; returned is what has reached the host by then.
    ///
    /// # Errors
    /// When the machine does not do its part.
    pub fn advance(&mut self, ms: u8, to_rig: &[u8]) -> Result<Vec<u8>, MachineFault> {
        self.cable.from_host(self.world.now(), to_rig);
        for _ in 0..ms {
            self.millisecond()?;
        }
        let now = self.world.now();
        let (from_sensors, from_host) = (self.line.due(now), self.cable.at_rig(now));
        if self.powered {
            let sent = self.machine.turn(ms, &from_sensors, &from_host)?;
            self.line.hear(now, &sent.to_sensors);
            self.cable.from_rig(now, &sent.to_host);
        }
        Ok(self.cable.at_host(now))
    }

    fn millisecond(&mut self) -> Result<(), MachineFault> {
        if let Some(operator) = &mut self.operator {
            operator.step(&mut self.world);
            for happening in operator.happenings(&self.world) {
                self.happen(&happening)?;
            }
        }
        self.world.step();
        let now = self.world.now();
        if self.plug_at.is_some_and(|at| now >= at) {
            self.plug_at = None;
            self.cable.plug();
        }
        if self.power_at.is_some_and(|at| now >= at) {
            self.power_at = None;
            self.restore_power()?;
        }
        if self.powered {
            self.line.step(now, &mut OnLine { sensors: &mut self.sensors, world: &self.world });
        }
        Ok(())
    }

    fn happen(&mut self, happening: &Happening) -> Result<(), MachineFault> {
        match happening {
            Happening::Fault { sensor, kind, for_s } => self.fault(*sensor, *kind, *for_s),
            Happening::Unplug { for_s } => self.unplug(*for_s),
            Happening::PowerCut { off_s } => {
                self.cut_power()?;
                self.power_at = Some(self.world.now().plus_ms(ms_of(*off_s)));
            }
            Happening::ChangeTool { .. } | Happening::Note { .. } => {} // the operator's own
        }
        Ok(())
    }

    /// Makes a sensor fail for so many seconds.
    pub fn fault(&mut self, sensor: SensorName, kind: FaultKind, for_s: f64) {
        let until = self.world.now().plus_ms(ms_of(for_s));
        self.sensors.fail(sensor, kind, until, &self.world);
    }

    /// Mends a sensor before its fault is over.
    pub fn mend(&mut self, sensor: SensorName) {
        self.sensors.mend(sensor);
    }

    /// Brings rig and sensor into a pose, and reads by hand what it is for. `None` where the tip is not clear of the
    /// ground and has to be.
    pub fn pose(&mut self, pose: Pose) -> Option<ByHand> {
        let lean = self.world.lean();
        let mast = [lean.forward, lean.right];
        let held = match pose {
            Pose::Work => Held::Free,
            Pose::Plate { quarter } => Held::Plate(self.hands.seated(PLATE_MM_M, quarter)),
            Pose::Mast | Pose::String { .. } | Pose::Pushed(_) => Held::Mast,
            Pose::Taped { .. } => Held::Beside,
        };
        if !self.world.hold(held) {
            return None;
        }
        Some(match pose {
            Pose::Work | Pose::Plate { .. } | Pose::Mast => ByHand::Nothing,
            Pose::String { quarter } => ByHand::Level(self.hands.hanging(mast, quarter)),
            Pose::Pushed(side) => ByHand::Level(self.hands.pushed(mast, side)),
            Pose::Taped { mm } => {
                self.world.lever = Lever::To { depth_mm: mm, speed_mm_s: TAPING_MM_S };
                ByHand::Tape(self.hands.taped(mm, TAPE_MM))
            }
        })
    }

    /// Pulls the host's cable out for so many seconds.
    pub fn unplug(&mut self, for_s: f64) {
        self.cable.unplug();
        self.plug_at = Some(self.world.now().plus_ms(ms_of(for_s)));
    }

    /// Puts it in again before its time.
    pub fn plug(&mut self) {
        self.cable.plug();
        self.plug_at = None;
    }

    /// From now on the cable is as bad as this; its speed stays.
    pub fn spoil_cable(&mut self, settings: CableSettings) {
        self.cable.spoil(settings);
    }

    /// Cuts the power of rig and sensors, until [`Bench::restore_power`].
    ///
    /// # Errors
    /// When the machine does not do its part.
    pub fn cut_power(&mut self) -> Result<(), MachineFault> {
        if self.powered {
            self.machine.cut_power()?;
            self.powered = false;
            self.line.fall_silent();
            if let Some(operator) = &mut self.operator {
                operator.power(false);
            }
        }
        Ok(())
    }

    /// Gives the power back: the rig starts again on its memory, the incremental encoder at zero.
    ///
    /// # Errors
    /// When the machine does not do its part.
    pub fn restore_power(&mut self) -> Result<(), MachineFault> {
        if !self.powered {
            self.machine.restore_power()?;
            self.powered = true;
            self.sensors.power_up(&self.world);
            if let Some(operator) = &mut self.operator {
                operator.power(true);
            }
        }
        Ok(())
    }

    /// A cue that nobody has taken yet.
    pub fn take_cue(&mut self) -> Option<Cue> {
        self.operator.as_mut().and_then(Operator::take_cue)
    }

    /// The cue taken last was done: the operator goes on.
    pub fn cue_done(&mut self) {
        if let Some(operator) = &mut self.operator {
            operator.cue_done();
        }
    }

    /// How far the operator has come; `None` on a bench worked by hand.
    #[must_use]
    pub fn progress(&self) -> Option<Progress> {
        self.operator.as_ref().map(Operator::progress)
    }

    /// The truth of every hole that has any depth, in the order in which they were begun.
    #[must_use]
    pub fn truth(&self) -> Vec<HoleTruth> {
        self.world.truth()
    }

    /// The world, to look at.
    #[must_use]
    pub fn world(&self) -> &World {
        &self.world
    }

    /// The world with its levers, for a bench worked by hand; an operator takes them back at once.
    pub fn levers(&mut self) -> &mut World {
        &mut self.world
    }

    /// Whether the cable to the host is in.
    #[must_use]
    pub fn is_plugged(&self) -> bool {
        self.cable.is_plugged()
    }

    /// Whether the rig has power.
    #[must_use]
    pub fn is_powered(&self) -> bool {
        self.powered
    }

    /// The machine, to look at.
    #[must_use]
    pub fn machine(&self) -> &M {
        &self.machine
    }

    /// The machine, to handle.
    pub fn machine_mut(&mut self) -> &mut M {
        &mut self.machine
    }

    /// For a machine reached over sockets in real time: silence means nothing there, and time has passed on the way.
    pub fn answer_at_once(&mut self) {
        self.line = Line::new(Timing { baud: 1_000_000, reply_delay_us: 0, silence_us: 50_000 });
    }
}
