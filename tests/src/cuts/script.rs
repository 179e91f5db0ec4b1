//! What the rig does while its power is cut: it opens, drills, is heard and not heard, wraps its ring and closes.

use super::site::{Disk, RING_AT, Site};
use firmware_app::memory::Memory;
use firmware_app::profile::Profile;
use shared_protocol::body::Secret;
use shared_protocol::message::{Calibrate, CloseHole, Command, Commission, Decommission, LoadHole, TakeNote, TouchHub};
use shared_protocol::record::{Calibration, Plan};
use shared_protocol::state::{Answer, CalibrationItem};
use shared_protocol::units::{Lean, Micrometres};
use simulator::frail::{FrailMemory, Image};
use std::sync::Arc;

/// Slots that the small ring holds, and one that no hole wraps.
const RING_SLOTS: usize = 64;
const LARGE_RING_SLOTS: usize = 512;

/// One power cut: what it left, and what the host had on its disk.
#[derive(Clone, Debug)]
pub struct Cut {
    /// Byte of the memory's life within which the power went, from 1.
    pub byte: u64,
    /// The memory.
    pub image: Image,
    /// The host's disk.
    pub disk: Arc<Disk>,
    /// Power cuts so far, this one among them.
    pub power_cuts: u64,
}

/// What is worked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Length {
    /// Two holes, the ring wraps twice, once while the cable is out.
    Long,
    /// One short hole.
    Short,
    /// One hole, deep enough for a checkpoint, in a ring that holds all of it.
    Deep,
    /// A rig with a key and a tool of its own, one short hole, and a factory reset.
    Reset,
}

/// The key and the tool that a rig has until it is reset.
pub const KEY: [u8; 32] = *b"an invented key for power cuts  ";
/// See [`KEY`].
pub const OWN_TOOL: u8 = 200;

impl Length {
    /// What rig does it: the published key of a simulated one cannot be forgotten.
    #[must_use]
    pub fn profile(self) -> Profile {
        Profile { simulated: self != Self::Reset, ..Profile::bench() }
    }
}

/// An empty memory to work on.
#[must_use]
pub fn blank(length: Length) -> Vec<u8> {
    let slots = if length == Length::Deep { LARGE_RING_SLOTS } else { RING_SLOTS };
    vec![0; RING_AT + slots * 32]
}

/// Works on a memory, by way of `wrap` (a canary goes wrong there), and returns every cut that could have been.
///
/// # Panics
/// When the rig refuses to work.
#[must_use]
pub fn cuts<M: Memory>(length: Length, seed: u64, wrap: impl FnOnce(FrailMemory) -> M) -> Vec<Cut> {
    let memory = FrailMemory::new(blank(length), seed);
    memory.keep_images();
    let site = Site::with(wrap(memory.clone()), length.profile(), Disk::default(), 0);
    let mut work = Work { site, memory, cuts: Vec::new() };
    work.collect(&Arc::new(Disk::default()));
    match length {
        Length::Short => work.hole(100.0, None),
        Length::Deep => work.hole(3_200.0, None),
        Length::Long => {
            work.hole(450.0, None);
            work.hole(2_500.0, Some(200.0));
        }
        Length::Reset => work.reset(),
    }
    work.cuts
}

/// What a second cut leaves, for every byte that the recovery from the first writes, and the second after it.
#[must_use]
pub fn seconds(length: Length, cut: &Cut, seed: u64) -> Vec<Cut> {
    let memory = FrailMemory::new(cut.image.found.clone(), seed ^ cut.byte);
    memory.keep_images();
    let mut site = Site::with(memory.clone(), length.profile(), (*cut.disk).clone(), 1_000);
    let disk = cut.disk.clone();
    site.plug(false);
    site.recover();
    site.stay(1_000);
    // What the first cut had settled counts as certain still, unless the recovery gave it way.
    (1..).zip(memory.take_images()).map(|(byte, image)| Cut { byte, image, disk: disk.clone(), power_cuts: 2 }).collect()
}

struct Work<M: Memory> {
    site: Site<M>,
    memory: FrailMemory,
    cuts: Vec<Cut>,
}

impl<M: Memory> Work<M> {
    fn collect(&mut self, disk: &Arc<Disk>) {
        let images = self.memory.take_images();
        let before = self.memory.written() - images.len() as u64;
        self.cuts.extend((before + 1..).zip(images).map(|(byte, image)| Cut { byte, image, disk: disk.clone(), power_cuts: 1 }));
    }

    /// Does something that takes one turn or a few.
    fn act<T>(&mut self, act: impl FnOnce(&mut Site<M>) -> T) -> T {
        let disk = Arc::new(self.site.disk.clone());
        let done = act(&mut self.site);
        self.collect(&disk);
        done
    }

    fn stay(&mut self, ms: u32) {
        (0..ms / 50).for_each(|_| self.act(Site::turn));
    }

    fn go(&mut self, from_mm: f64, to_mm: f64, speed: f64) {
        let step = speed / 20.0 * (to_mm - from_mm).signum();
        let mut at = from_mm;
        while (to_mm - at).abs() > 1e-9 {
            at += (to_mm - at).clamp(-step.abs(), step.abs());
            self.act(|site| site.go(at, speed * 2.0));
        }
    }

    fn ask(&mut self, command: Command) {
        let answer = self.act(|site| site.ask(command.clone()));
        assert_eq!(answer, Some(Answer::Done), "{command:?}");
    }

    /// Everything that a reset forgets, and the reset, until the rig is in its next epoch.
    fn reset(&mut self) {
        self.stay(1_500);
        self.ask(Command::Commission(Commission { secret: Secret(KEY) }));
        self.ask(own_tool());
        self.hole(100.0, None);
        self.act(Site::drain);
        self.ask(Command::Decommission(Decommission { epoch: 1, who: "Sim. Fitter".try_into().unwrap_or_default() }));
        self.stay(2_000);
        assert_eq!(self.site.disk.epoch, 2, "the rig has begun anew");
        self.ask(note());
        self.stay(500);
    }

    /// Drills a hole, with the cable out from a depth on.
    fn hole(&mut self, depth_mm: f64, out_from_mm: Option<f64>) {
        self.stay(1_500);
        self.ask(Command::LoadHole(LoadHole { plan: plan() }));
        self.stay(1_000);
        self.ask(Command::TouchHub(TouchHub {}));
        let first = out_from_mm.unwrap_or(depth_mm / 2.0);
        self.go(0.0, first, 20.0);
        self.stay(1_000);
        self.ask(note());
        if out_from_mm.is_some() {
            self.site.plug(false);
        }
        self.go(first, -300.0, 1_000.0);
        self.go(-300.0, first, 1_000.0);
        self.go(first, depth_mm, 20.0);
        self.stay(1_000);
        self.go(depth_mm, 0.0, 1_000.0);
        self.site.plug(true);
        self.stay(4_000);
        self.ask(Command::TouchHub(TouchHub {}));
        self.ask(Command::CloseHole(CloseHole {}));
        self.stay(1_000);
    }
}

/// The aftermath's own work: the hole that may be open is drilled on a little and closed.
pub fn work_on<M: Memory>(site: &mut Site<M>) -> Option<Answer> {
    site.stay(1_000);
    site.ask(Command::TouchHub(TouchHub {}));
    site.go(60.0, 20.0);
    site.go(0.0, 1_000.0);
    site.stay(1_000);
    let closed = site.ask(Command::CloseHole(CloseHole {}));
    site.stay(200); // and it seals
    closed
}

/// The tool that a calibration adds.
fn own_tool() -> Command {
    let calibration = Calibration {
        item: CalibrationItem::Tool.raw(),
        who: "Sim. Fitter".try_into().unwrap_or_default(),
        day: 20_000,
        expires: 20_365,
        values: [OWN_TOOL.into(), 1_250_000, 700_000].into_iter().collect(),
        ..Calibration::default()
    };
    Command::Calibrate(Calibrate { calibration })
}

/// Somebody says something.
#[must_use]
pub fn note() -> Command {
    let text = "water at 2.1 m, none above it; gravel".try_into().unwrap_or_default();
    Command::TakeNote(TakeNote { author: "Sim. Ground hand".try_into().unwrap_or_default(), text })
}

/// What is drilled.
#[must_use]
pub fn plan() -> Plan {
    Plan {
        structure: "7".try_into().unwrap_or_default(),
        leg: 1,
        attempt: 1,
        setup: 1,
        depth: Micrometres::from_mm(2_500),
        diameter: Micrometres::from_mm(1_100),
        tool: 1,
        depth_under: Micrometres::from_mm(50),
        depth_over: Micrometres::from_mm(100),
        plumb_limit: Lean(20_000),
        ..Plan::default()
    }
}
