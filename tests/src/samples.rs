//! Invented holes as a rig would record them, slot by slot, for looking at their paper.

use ed25519_dalek::{Signer, SigningKey};
use host_tool::facts::{self, SetUp};
use host_tool::judge::LineAxes;
use host_tool::judge::measured::{Kind, Measurement};
use host_tool::session;
use host_tool::store::{Store, StoreFault};
use shared_protocol::assemble::slots;
use shared_protocol::body::CoarseLean;
use shared_protocol::chain::{Chain, End};
use shared_protocol::message::text_field;
use shared_protocol::record::{
    Calibrated, Calibration, Change, Clock, Closed, Fault, Gap, Hub, Identity, Increment, Instruments, Note, Opened, Pass, Plan, Record,
    Refusal, Seal, Stamp, Start, Tool, quality,
};
use shared_protocol::seal::SIMULATED_SECRET;
use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
use shared_protocol::state::{CalibrationItem, Check, GapCause, ReferenceState, ResetCause, Sensor, SensorFault, SheetUnits};
use shared_protocol::units::{CentiDegrees, Lean, MicroG, Micrometres, Millis, RigAxes};
use std::ops::Range;

/// What a rig that is not simulated seals with here.
pub const RIG_SECRET: [u8; 32] = [0x52; 32];

/// What happened at a hole.
#[derive(Clone, Debug)]
pub struct Sample {
    /// The plan.
    pub plan: Plan,
    /// Who measured.
    pub identity: Option<Identity>,
    /// The calibrations in force; `None` where nobody recorded which.
    pub stamps: Option<Vec<Stamp>>,
    /// Whether the rig was told the time.
    pub clock: bool,
    /// The local offset from UTC that it was told, minutes.
    pub offset: i16,
    /// Depth below the hub that the tool came to, millimetres.
    pub depth_mm: i32,
    /// Lean at the bottom in rig axes, forward and right, µm/m; it grows from nothing.
    pub lean: (i16, i16),
    /// Passes made.
    pub passes: u16,
    /// Whether lean was measured.
    pub increments: bool,
    /// The rig restarts after this many passes.
    pub restart_after: Option<u16>,
    /// Whether the hub was touched again after the restart.
    pub tied_again: bool,
    /// Sensor faults.
    pub faults: u16,
    /// Fall-in before each pass, millimetres.
    pub fall_in_mm: i32,
    /// Notes: author and text.
    pub notes: Vec<(String, String)>,
    /// Whether the hole was closed.
    pub closed: bool,
    /// Positions of slots that did not arrive.
    pub lost: Vec<Range<usize>>,
    /// Whether a slot is declared torn at the restart.
    pub torn: bool,
    /// Going is slow in the last pass, and the operator's answer to whether that is refusal.
    pub slow: Option<bool>,
    /// What was calibrated while the hole was open.
    pub calibrated: Vec<Calibration>,
    /// What people measured by hand.
    pub measurements: Vec<Measurement>,
}

fn mm(mm: i32) -> Micrometres {
    Micrometres::from_mm(mm)
}

/// An invented two-pole structure's leg, drilled well, in metric units.
pub fn good() -> Sample {
    let plan = Plan {
        line: "Example Line 7".try_into().unwrap(),
        structure: "K-41".try_into().unwrap(),
        leg: 1,
        attempt: 1,
        setup: 1,
        operator: "A. Nobody".try_into().unwrap(),
        units: SheetUnits::Metric.raw(),
        datum: 0,
        depth: mm(3_200),
        hub_above_datum: mm(120),
        diameter: mm(1_100),
        tool: 1,
        depth_under: mm(100),
        depth_over: mm(50),
        plumb_limit: Lean(20_000),
        heading: CentiDegrees(9_000),
        heading_within: CentiDegrees(1_000),
    };
    let identity = Identity {
        at: Millis(60_000),
        rig: "SIM-PAPER-1".try_into().unwrap(),
        simulated: true,
        firmware: "0.1.0".try_into().unwrap(),
        epoch: 3,
        guide_height: mm(1_400),
        encoder_absolute: false,
        skew_ms: 20,
        increment: mm(25),
        tilt_range: MicroG(2_000_000),
        misclosure_limit: mm(10),
        temperature: 1_850,
        configuration: [0x1f, 2, 3, 4, 5, 6, 7, 0xa8],
    };
    Sample {
        plan,
        identity: Some(identity),
        stamps: Some(calibrated()),
        clock: true,
        offset: -420,
        depth_mm: 3_307,
        lean: (3_000, -7_800),
        passes: 14,
        increments: true,
        restart_after: None,
        tied_again: true,
        faults: 0,
        fall_in_mm: 0,
        notes: Vec::new(),
        closed: true,
        lost: Vec::new(),
        torn: false,
        slow: None,
        calibrated: Vec::new(),
        measurements: Vec::new(),
    }
}

/// Every calibration, done in the autumn before the hole and good for half a year: 2027-01-15 is day 20 833.
fn calibrated() -> Vec<Stamp> {
    let stamp = |item: CalibrationItem, uncertainty, residual, value| Stamp {
        item: item.raw(),
        who: "B. Nobody".try_into().unwrap(),
        day: 20_750,
        expires: 20_932,
        uncertainty,
        residual,
        value,
    };
    vec![
        stamp(CalibrationItem::TiltZero, 300, 410, 1_600),
        stamp(CalibrationItem::TiltDrift, 80, 120, 0),
        stamp(CalibrationItem::Mount, 40, 55, 0),
        stamp(CalibrationItem::ToolLevel, 500, 620, 0),
        stamp(CalibrationItem::Encoder, 1_500, 2_100, 0),
        stamp(CalibrationItem::GuidePlay, 200, 300, 2_500),
    ]
}

/// The same leg, sounded in the middle and at four edges, and plumbed at two depths.
pub fn measured() -> Sample {
    let by_hand = |kind, depth, (ahead, right), standard, remark: &str| Measurement {
        author: "G. Nobody".to_owned(),
        unix_ms: 1_800_003_600_000,
        kind,
        depth,
        offset: LineAxes { ahead, right },
        standard,
        remark: remark.to_owned(),
    };
    let sounding = |mm: i16, place, remark| by_hand(Kind::Sounding, f64::from(mm) / 1e3, place, 0.005, remark);
    let mut sample = good();
    sample.measurements = vec![
        sounding(3_160, (0.0, 0.0), "divot of the pilot left out"),
        sounding(3_140, (0.5, 0.0), ""),
        sounding(3_180, (-0.5, 0.0), ""),
        sounding(3_170, (0.0, 0.5), ""),
        sounding(3_150, (0.2, -0.1), ""),
        by_hand(Kind::HandPlumb, 1.6, (0.005, 0.010), 0.003, ""),
        by_hand(Kind::HandPlumb, 3.0, (0.100, 0.010), 0.003, "bob may have hung on a root"),
        by_hand(Kind::HandPlumb, 3.5, (0.0, 0.0), 0.003, ""),
    ];
    sample
}

/// A second tool's figures, measured while the first one drills: 900 mm from pin to cutting edge, cuts 760 mm.
pub fn another_tool() -> Calibration {
    Calibration {
        item: CalibrationItem::Tool.raw(),
        who: "B. Nobody".try_into().unwrap(),
        day: 20_833,
        expires: 21_014,
        uncertainty: 1_000,
        residual: 2_000,
        values: heapless::Vec::from_slice(&[2, 900_000, 760_000]).unwrap(),
    }
}

/// The same leg on a sheet in feet and inches.
pub fn good_feet() -> Sample {
    let mut sample = good();
    sample.plan.units = SheetUnits::FeetInches.raw();
    // 10 ft 6 in planned, ±6 in; 1/4 in per ft; hub 6 in up; a 4 ft hole: 1 in = 25.4 mm
    sample.plan.depth = Micrometres(3_200_400);
    sample.plan.depth_under = Micrometres(152_400);
    sample.plan.depth_over = Micrometres(152_400);
    sample.plan.plumb_limit = Lean(20_833);
    sample.plan.hub_above_datum = Micrometres(152_400);
    sample.plan.diameter = Micrometres(1_219_200);
    sample
}

/// Everything that can go wrong at one hole, with the longest names that a record can carry.
pub fn worst() -> Sample {
    let long = |n: usize| "W".repeat(n);
    let mut sample = good();
    sample.plan.line = long(24).as_str().try_into().unwrap();
    sample.plan.structure = long(16).as_str().try_into().unwrap();
    sample.plan.operator = long(24).as_str().try_into().unwrap();
    sample.plan.leg = 3;
    sample.plan.attempt = 255;
    sample.plan.setup = 255;
    let identity = sample.identity.as_mut().unwrap();
    identity.rig = long(16).as_str().try_into().unwrap();
    identity.firmware = long(12).as_str().try_into().unwrap();
    let stamps = sample.stamps.iter_mut().flatten();
    stamps.for_each(|s| (s.who, s.expires, s.uncertainty) = (long(16).as_str().try_into().unwrap(), 20_800, 123_456));
    sample.depth_mm = 3_500;
    sample.lean = (18_000, 21_000);
    sample.passes = 40;
    sample.restart_after = Some(17);
    sample.faults = 9;
    sample.fall_in_mm = 90;
    sample.torn = true;
    sample.calibrated = vec![another_tool(); 3];
    sample.lost = vec![60..66, 120..121, 170..183, 200..201, 220..223];
    sample.notes = vec![
        (long(24), "w".repeat(120)),
        ("R. Other".into(), "water at about 2 m, coming in slowly from the uphill side; bailed twice, then dry".into()),
        ("\u{202E}dne".into(), "bell \u{7} escape \u{1b}[31m שלום and \u{1F573} and e\u{301}\u{301}\u{301}\u{301}".into()),
    ];
    sample
}

/// A rig's stream made by hand.
struct Stream {
    slots: Vec<Slot>,
    boot: u16,
    now: u32,
    /// Sequence of its first slot.
    first: u32,
    /// The rig's last seal.
    sealed: Option<Seal>,
}

impl Stream {
    fn add(&mut self, record: &Record) -> u32 {
        let mut body = [0; RECORD_BYTES_MAX];
        let used = record.encode(&mut body).unwrap();
        let first = self.slots.last().map_or(self.first, |s| s.sequence() + 1);
        self.slots.extend(slots(first, self.boot, record.kind(), &body[..used]).unwrap());
        first
    }

    fn at(&mut self, ms: u32) -> Millis {
        self.now += ms;
        Millis(self.now)
    }
}

/// A hole of an invented season: two legs to a structure, each hole with a depth of its own.
///
/// # Panics
/// Beyond any number of structures that a name has room for.
#[must_use]
pub fn of_season(n: u32) -> Sample {
    let mut sample = good();
    sample.plan.structure = format!("S-{}", n / 2 + 1).as_str().try_into().expect("room");
    sample.plan.leg = if n.is_multiple_of(2) { 1 } else { 3 };
    sample.depth_mm += i32::try_from(n % 40).expect("small");
    sample
}

/// Puts so many of them into a store, each as if of a rig of its own.
///
/// # Errors
/// When the store cannot be written.
pub fn keep_season(store: &mut Store, holes: u32) -> Result<(), StoreFault> {
    (0..holes).try_for_each(|n| store.keep(&session::Stream { rig: format!("SIM-{n}"), epoch: 1 }, &of_season(n).slots()).map(drop))
}

/// One after the other of a rig's holes, as it would record them in a season: their slots go on where the last hole's ended.
#[derive(Debug)]
pub struct Rig {
    /// Its stream.
    pub stream: session::Stream,
    next: u32,
    boot: u16,
    sealed: Option<Seal>,
}

impl Rig {
    /// One that has drilled nothing yet.
    #[must_use]
    pub fn new(name: &str) -> Self {
        Self { stream: session::Stream { rig: name.to_owned(), epoch: 3 }, next: 0, boot: 0, sealed: None }
    }

    /// Drills one more hole in a run of its own.
    ///
    /// # Panics
    /// Where the rig's name is too long for a record.
    pub fn drill(&mut self, mut sample: Sample) -> Vec<Slot> {
        if let Some(identity) = &mut sample.identity {
            identity.rig = self.stream.rig.as_str().try_into().expect("room");
        }
        self.boot = self.boot.wrapping_add(2); // a restart within it takes one
        let stream = Stream { slots: Vec::new(), boot: self.boot, now: 60_000, first: self.next, sealed: self.sealed };
        let (slots, sealed) = sample.slots_of(stream);
        (self.next, self.sealed) = (slots.last().map_or(self.next, |slot| slot.sequence() + 1), sealed);
        slots
    }
}

/// Puts a season's holes into a store, drilled by so many rigs in turn.
///
/// # Errors
/// When the store cannot be written.
pub fn keep_fleet(store: &mut Store, holes: u32, rigs: u32) -> Result<(), StoreFault> {
    fleet(holes, rigs, |stream, slots| store.keep(stream, slots).map(drop))
}

/// A season's holes, drilled by so many rigs in turn, a hundred or so at once of a rig.
///
/// # Errors
/// Whatever `keep` has.
pub fn fleet<E>(holes: u32, rigs: u32, mut keep: impl FnMut(&session::Stream, &[Slot]) -> Result<(), E>) -> Result<(), E> {
    for number in 0..rigs {
        let mut rig = Rig::new(&format!("SIM-{number}"));
        let mut waiting = Vec::new();
        for n in (number..holes).step_by(usize::try_from(rigs).unwrap_or(1)) {
            waiting.extend(rig.drill(of_season(n)));
            if waiting.len() > 20_000 {
                keep(&rig.stream, &std::mem::take(&mut waiting))?;
            }
        }
        keep(&rig.stream, &waiting)?;
    }
    Ok(())
}

/// A sheet that plans so many holes of a season.
#[must_use]
pub fn season_sheet(holes: u32) -> String {
    let head = "Line,Structure,Leg,Depth,Depth basis,Datum,Hole diameter,Depth under,Depth over,Plumb limit\n".to_owned();
    let row = |n: u32| {
        let leg = if n.is_multiple_of(2) { "left" } else { "right" };
        format!("Example Line 7,S-{},{leg},3200 mm,table,low side,1100 mm,100 mm,50 mm,20 mm/m\n", n / 2 + 1)
    };
    (0..holes).map(row).fold(head, |sheet, row| sheet + &row)
}

impl Sample {
    /// The set-up as it is read back from its slots.
    pub fn setup(&self) -> SetUp {
        let setup = facts::read(&self.slots()).pop().expect("the stream holds one set-up");
        SetUp { measurements: self.measurements.clone(), ..setup }
    }

    /// Its slots, without those that did not arrive.
    pub fn slots(&self) -> Vec<Slot> {
        self.slots_of(Stream { slots: Vec::new(), boot: 7, now: 60_000, first: 1_041, sealed: None }).0
    }

    fn slots_of(&self, mut stream: Stream) -> (Vec<Slot>, Option<Seal>) {
        self.tell_time(&mut stream, 1_800_000_000_000);
        let first = stream.add(&Record::Opened(Opened { at: Millis(stream.now), request: 11, plan: self.plan.clone() }));
        self.set_up(&mut stream);
        for number in 1..=self.passes {
            self.pass(&mut stream, number);
            if self.restart_after == Some(number) {
                self.restart(&mut stream);
            }
        }
        self.remarks(&mut stream);
        if self.closed {
            self.close(&mut stream, first);
        }
        let lost = |i: usize| self.lost.iter().any(|range| range.contains(&i));
        (stream.slots.iter().enumerate().filter(|(i, _)| !lost(*i)).map(|(_, slot)| *slot).collect(), stream.sealed)
    }

    fn tell_time(&self, stream: &mut Stream, unix_ms: i64) {
        if self.clock {
            let at = stream.at(500);
            stream.add(&Record::Clock(Clock { at, unix_ms, offset: self.offset }));
        }
    }

    fn set_up(&self, stream: &mut Stream) {
        if let Some(identity) = &self.identity {
            stream.add(&Record::Identity(identity.clone()));
            if let Some(stamps) = &self.stamps {
                let instruments = Instruments { at: Millis(stream.now), stamps: stamps.iter().cloned().collect() };
                stream.add(&Record::Instruments(instruments));
            }
        }
        let at = stream.at(1_000);
        stream.add(&Record::Tool(Tool { at, request: 12, tool: self.plan.tool, length: mm(900), diameter: self.plan.diameter }));
        self.reference(stream, ReferenceState::Unreferenced, 0);
        self.touch(stream, 1, 0);
    }

    fn touch(&self, stream: &mut Stream, first: u8, misclosure_mm: i32) {
        let at = stream.at(8_000);
        stream.add(&Record::Hub(Hub { at, request: 13, count: 20_417, misclosure: mm(misclosure_mm), first }));
        if first == 1 {
            self.reference(stream, ReferenceState::Hub, 0);
        }
    }

    fn reference(&self, stream: &mut Stream, state: ReferenceState, depth_mm: i32) {
        let at = stream.at(10);
        stream.add(&Record::Change(Change { at, check: Check::Reference.raw(), state: state.raw(), depth: mm(depth_mm), figure: 0 }));
    }

    /// Depth when a pass ends, millimetres below the hub.
    fn reached(&self, number: u16) -> i32 {
        self.depth_mm * i32::from(number) / i32::from(self.passes)
    }

    fn pass(&self, stream: &mut Stream, number: u16) {
        let (from, to) = (self.reached(number - 1), self.reached(number));
        let began = stream.at(25_000);
        let fallen = if number > 1 { self.fall_in_mm.min(from) } else { 0 };
        if fallen > 0 {
            let change = Change { at: began, check: Check::FallIn.raw(), state: 1, depth: mm(from), figure: fallen * 1_000 };
            stream.add(&Record::Change(change));
        }
        let mut depth = from / 25 * 25;
        while self.increments && depth + 25 <= to {
            depth += 25;
            let at = stream.at(2_300);
            stream.add(&Record::Increment(self.increment(at, depth)));
        }
        if let Some(refusal) = self.slow.filter(|_| number == self.passes) {
            self.slow_going(stream, depth, refusal);
        }
        let ended = stream.at(3_000);
        stream.add(&Record::Pass(Pass { number, began, ended, tag: mm(from - fallen), bottom: mm(to), temperature: 18 }));
    }

    /// 0.1 mm/s, which is 0.36 m an hour.
    fn slow_going(&self, stream: &mut Stream, depth_mm: i32, refusal: bool) {
        let at = stream.at(4_000);
        stream.add(&Record::Change(Change { at, check: Check::Going.raw(), state: 1, depth: mm(depth_mm), figure: 100 }));
        let at = stream.at(9_000);
        stream.add(&Record::Refusal(Refusal { at, request: 16, confirmed: u8::from(refusal), depth: mm(depth_mm) }));
    }

    fn increment(&self, at: Millis, depth_mm: i32) -> Increment {
        let wobble = (depth_mm / 25 * 37 % 11 - 5) * 30;
        let lean = |bottom: i16| Lean(i32::from(bottom) * depth_mm / self.depth_mm + wobble);
        let quality = if self.faults > 0 && depth_mm % 400 < 50 { quality::TILT_FAULT | quality::FEW_SAMPLES } else { 0 };
        Increment {
            at,
            depth: mm(depth_mm),
            forward: CoarseLean::from_lean(lean(self.lean.0)),
            right: CoarseLean::from_lean(lean(self.lean.1)),
            scatter: 40,
            samples: if depth_mm % 1_000 == 500 && quality != 0 { 0 } else { 46 },
            took: 23,
            quality,
        }
    }

    fn restart(&self, stream: &mut Stream) {
        let torn = self.torn.then(|| stream.slots.pop()).flatten();
        let before = stream.slots.len();
        stream.boot += 1;
        stream.now = 1_200;
        let start = Record::Start(Start { at: Millis(1_200), cause: ResetCause::Watchdog.raw(), epoch: 3 });
        if let Some(torn) = torn {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = start.encode(&mut body).unwrap();
            stream.slots.extend(slots(torn.sequence() + 1, stream.boot, start.kind(), &body[..used]).unwrap());
            let gap = Gap { at: Millis(1_210), first: torn.sequence(), last: torn.sequence(), cause: GapCause::Torn.raw() };
            stream.add(&Record::Gap(gap));
        } else {
            stream.add(&start);
        }
        assert!(stream.slots.len() > before);
        self.tell_time(stream, 1_800_003_000_000);
        self.reference(stream, ReferenceState::Unreferenced, self.reached(self.restart_after.unwrap_or(1)));
        if self.tied_again {
            self.touch(stream, 1, 0);
        }
    }

    fn remarks(&self, stream: &mut Stream) {
        for i in 0..self.faults {
            let (sensor, fault) = if i % 2 == 0 { (Sensor::Tilt, SensorFault::Silent) } else { (Sensor::Encoder, SensorFault::Jump) };
            let (sensor, fault) = (sensor.raw(), fault.raw());
            let at = stream.at(700);
            stream.add(&Record::Fault(Fault { at, sensor, fault, began: 1, lasted: 0 }));
            let at = stream.at(1_900);
            stream.add(&Record::Fault(Fault { at, sensor, fault, began: 0, lasted: 1_900 }));
        }
        for calibration in &self.calibrated {
            let at = stream.at(1_100);
            stream.add(&Record::Calibrated(Calibrated { at, request: 17, calibration: calibration.clone() }));
        }
        for (author, text) in &self.notes {
            let at = stream.at(900);
            let note = Note { at, request: 14, author: author.as_str().try_into().unwrap(), text: text.as_str().try_into().unwrap() };
            stream.add(&Record::Note(note));
        }
        if self.tied_again {
            self.touch(stream, 0, 3);
        }
    }

    fn close(&self, stream: &mut Stream, first: u32) {
        let mut chain = Chain::default();
        stream.slots.iter().filter(|s| s.sequence() >= first).for_each(|s| chain.push(s));
        let End { from, slots, before, segment } = chain.end();
        let at = stream.at(5_000);
        stream.add(&Record::Closed(Closed {
            at,
            request: 15,
            bottom: mm(self.depth_mm),
            toe: RigAxes { forward: mm(10), right: mm(-26) },
            wall: RigAxes { forward: mm(10), right: mm(-25) },
            passes: self.passes,
            increments: u16::try_from(self.depth_mm / 25).unwrap(),
            first,
            from,
            slots,
            before,
            segment,
        }));
        let mut chain = Chain::behind(&chain.end());
        stream.slots.iter().filter(|s| s.kind() == Closed::KIND).for_each(|s| chain.push(s));
        self.seal(stream, first, chain.end());
    }

    /// As a simulated rig seals, or one that was commissioned.
    fn seal(&self, stream: &mut Stream, first: u32, end: End) {
        let Some(identity) = &self.identity else { return };
        let key = SigningKey::from_bytes(if identity.simulated { &SIMULATED_SECRET } else { &RIG_SECRET });
        let stated = Seal {
            at: stream.at(100),
            epoch: identity.epoch,
            boot: 1,
            rig: text_field(&identity.rig),
            configuration: identity.configuration,
            first,
            slots: end.slots,
            digest: end.digest(),
            number: stream.sealed.map_or(0, |before| before.number + 1),
            previous: stream.sealed.map_or([0; 32], |before| before.sum()),
            key: key.verifying_key().to_bytes(),
            ..Seal::default()
        };
        let signature = key.sign(&stated.signed().unwrap()).to_bytes();
        let sealed = stated.with_signature(&signature);
        stream.add(&Record::Seal(sealed));
        stream.sealed = Some(sealed);
    }
}
