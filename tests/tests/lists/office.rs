//! An invented line in a store: its sheet, what rigs recorded of it and what people entered, for looking at its lists and exports.

use crate::holes::{Sample, good, measured, worst};
use host_tool::entry::{CleanOut, Disposition, Entry, HoleName, HoleState, NoteKind, Said, SetUpName};
use host_tool::facts::Wall;
use host_tool::holes::{Catalogue, catalogue_by};
use host_tool::judge::measured::Measurement;
use host_tool::paper::Printing;
use host_tool::paper::lists::Office;
use host_tool::planned::{Origin, take_in};
use host_tool::session::Stream;
use host_tool::sheet::{Options, Sheet};
use host_tool::store::{Store, entry_of};
use shared_protocol::state::Leg;
use shared_protocol::units::Micrometres;

pub const LINE: &str = "SIM tie";

/// Single poles 41, 44 and 45, and a frame 42 of two, 3.81 m apart. 41 and 42 have coordinates, invented, in the sea.
pub const SHEET: &str = "\
line,structure,leg,latitude,longitude,planned depth (m),datum,diameter (m),pole length (m),class,species,butt circumference (m),\
butt to framing (m),pole tag,ground elevation (m),framed spacing (m),tamping room (m),plumb limit,depth under (m),depth over (m),\
centre offset limit (m),locate ticket,ticket valid until,remarks
SIM tie,41,single,-48.876543,-123.393333,3.2,low side,1.1,21.336,1,southern pine,1.3,,SIM-1,,,0.1,20 mm/m,0.1,0.05,0.08,T-1,2027-12-31,
SIM tie,42,left,-48.876500,-123.394000,3.2,low side,1.1,24.384,1,southern pine,1.4,20.0,SIM-2,100.0,3.81,0.1,20 mm/m,0.1,0.05,0.08,T-1,2027-12-31,
SIM tie,42,right,-48.876500,-123.393900,3.2,low side,1.1,24.384,1,southern pine,1.4,20.0,SIM-3,100.0,3.81,0.1,20 mm/m,0.1,0.05,0.08,T-1,2027-12-31,
SIM tie,44,single,,,3.2,stake,1.1,21.336,1,southern pine,1.3,,SIM-4,,,0.1,20 mm/m,0.1,0.05,0.08,,,
SIM tie,45,single,,,3.2,low side,1.1,21.336,1,southern pine,1.3,,SIM-5,,,0.1,20 mm/m,0.1,0.05,0.08,T-1,2027-12-31,
";

/// Minutes after noon of 2027-01-15, six hours and more after the rigs were done.
pub fn at(minutes: i64) -> Wall {
    Wall { unix_ms: 1_800_039_600_000 + minutes * 60_000, offset: -420 }
}

pub fn hole(structure: &str, leg: Leg, attempt: u8) -> HoleName {
    HoleName { line: LINE.to_owned(), structure: structure.to_owned(), leg, attempt }
}

/// A sample as one rig's record of that hole.
pub fn of(sample: Sample, rig: &str, name: &HoleName) -> Sample {
    let mut sample = sample;
    sample.plan.line = name.line.as_str().try_into().unwrap();
    sample.plan.structure = name.structure.as_str().try_into().unwrap();
    (sample.plan.leg, sample.plan.attempt) = (name.leg.raw(), name.attempt);
    if let Some(identity) = &mut sample.identity {
        identity.rig = rig.try_into().unwrap();
    }
    sample
}

/// The invented line in a store, and the folder that it lies in.
pub struct Line {
    pub folder: tempfile::TempDir,
    pub store: Store,
}

impl Line {
    /// A store with the sheet alone.
    pub fn planned() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(&folder.path().join("line.sqlite")).unwrap();
        let options = Options { leave: &[], ignore: &[], today: "2027-01-10".parse().unwrap() };
        let sheet = Sheet::read(SHEET.as_bytes(), &options).unwrap_or_else(|unsound| panic!("{unsound:#?}"));
        let origin =
            Origin { file: "tie.csv", bytes: SHEET.as_bytes(), by: "Office", at: Wall { unix_ms: 1_799_900_000_000, offset: -420 } };
        take_in(&mut store, &sheet, &origin).unwrap();
        Self { folder, store }
    }

    /// 41 is drilled and measured; of 42 the left leg is short and the right one not begun; the first attempt at 44 was given up and
    /// filled again, the second drilled; 45 is planned.
    pub fn drilled() -> Self {
        let mut line = Self::planned();
        let (single, left) = (hole("41", Leg::Single, 1), hole("42", Leg::Left, 1));
        line.drill(&measured(), "SIM-ONE", &single);
        line.drill(&Sample { depth_mm: 3_107, ..good() }, "SIM-TWO", &left);
        let first = Sample { depth_mm: 1_500, passes: 5, ..good() };
        line.drill(&first, "SIM-THREE", &hole("44", Leg::Single, 1));
        line.drill(&good(), "SIM-FOUR", &hole("44", Leg::Single, 2));
        line.say(0, &single, "plank, pinned", Said::State { state: HoleState::Covered });
        line.say(1, &single, "soft, below 2 m", Said::Note { what: NoteKind::Rock { shot: false, by: String::new() } });
        line.say(2, &single, "", Said::Water { depth_um: Some(2_900_000) });
        line.say(3, &single, "", Said::Centre { ahead_um: 20_000, right_um: -10_000, standard_um: 5_000 });
        line.say(4, &hole("44", Leg::Single, 1), "boulder over half of it", Said::State { state: HoleState::Abandoned });
        line.say(5, &hole("44", Leg::Single, 1), "its own spoil, tamped", Said::State { state: HoleState::Backfilled });
        line
    }

    /// Everything that can go wrong at one hole, its names as long as a record carries.
    pub fn worst() -> Self {
        let mut line = Self::drilled();
        let name = HoleName { line: "W".repeat(24), structure: "W".repeat(16), leg: Leg::Right, attempt: 255 };
        let rig = "W".repeat(16);
        line.drill(&worst(), &rig, &name);
        let long = "no space at all, ".repeat(29);
        line.say(9, &name, &long, Said::State { state: HoleState::Guarded });
        line.say(10, &name, &"W".repeat(500), Said::Accepted { disposition: Disposition::Stands });
        line
    }

    pub fn drill(&mut self, sample: &Sample, rig: &str, name: &HoleName) {
        let sample = of(sample.clone(), rig, name);
        let stream = Stream { rig: rig.to_owned(), epoch: 3 };
        self.store.keep(&stream, &sample.slots()).unwrap();
        let opened = sample.setup().opened.sequence;
        for measurement in &sample.measurements {
            self.measure(measurement, name, SetUpName::new(&stream, opened));
        }
    }

    fn measure(&mut self, measurement: &Measurement, name: &HoleName, of: SetUpName) {
        let mut entry = entry_of(measurement, -420, name.clone(), of);
        if let Said::Sounding { clean_out, .. } = &mut entry.said {
            *clean_out = CleanOut::After;
        }
        self.store.enter(&entry).unwrap();
    }

    pub fn say(&mut self, minutes: i64, name: &HoleName, remark: &str, said: Said) {
        let entry = Entry { remark: remark.to_owned(), ..Entry::new("G. Nobody", at(minutes), name.clone(), said) };
        self.store.enter(&entry).unwrap();
    }

    pub fn held(&self) -> Catalogue {
        catalogue_by(&self.store, None).unwrap()
    }

    /// A paper of what the store holds.
    pub fn paper(&self, print: impl Fn(&Office<'_>) -> Result<Vec<u8>, host_tool::paper::PaperError>) -> Vec<u8> {
        let held = self.held();
        print(&Office::new(held.works(None))).expect("a paper")
    }
}

/// The same hole, drilled with a tool of another width.
pub fn narrow(mm: i32) -> Sample {
    let mut sample = good();
    sample.plan.diameter = Micrometres::from_mm(mm);
    sample
}

pub const fn letter() -> Printing {
    Printing::archive(host_tool::paper::PageSize::Letter)
}
