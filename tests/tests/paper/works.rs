//! Invented works around the invented holes: a structure sheet, what people entered, and how that makes structures.

use crate::holes::{Sample, good, good_feet, worst};
use ed25519_dalek::SigningKey;
use host_tool::entry::{Along, CleanOut, Disposition, Entry, HoleName, HoleState, NoteKind, Place, Said, SetUpName, TicketStanding};
use host_tool::evidence::bundle::{self, Subject};
use host_tool::evidence::collect::of_store;
use host_tool::evidence::printed::Printer;
use host_tool::evidence::signing::HostSigned;
use host_tool::evidence::{Evidence, Recorded};
use host_tool::facts::{self, Leanings, Wall};
use host_tool::paper::Printing;
use host_tool::planned::{Origin, take_in};
use host_tool::session::Stream;
use host_tool::sheet::{Options, Sheet};
use host_tool::store::{Store, entry_of};
use shared_protocol::state::Leg;

/// Half an hour after the first hole of the samples was opened, 2027-01-15T01:30 at seven hours behind UTC.
const AFTER: Wall = Wall { unix_ms: 1_800_001_800_000, offset: -420 };
const HOST: u32 = 7;

/// A frame of two southern pine poles, one taped and one by its class; a frame of three with the longest names.
pub const SHEET: &str = "\
line,structure,leg,station,offset (m),latitude,longitude,depth (m),depth basis,datum,diameter (m),pole length (m),class,species,\
butt circumference (m),butt to framing (m),pole tag,ground elevation (m),framed spacing (m),tamping room (m),plumb limit,depth under (m),\
depth over (m),centre offset limit (m),locate ticket,ticket from,ticket until,remarks
Example Line 7,K-41,left,12+34,0,47.25,-109.5,3.2,table,low side,1.1,21.336,1,southern pine,1.4,19.2,T-3001,812.4,3.81,0.15,\
20 mm/m,0.1,0.05,0.075,L-6101,2027-01-10,2027-02-09,SIMULATED example
Example Line 7,K-41,right,12+34,0,47.25,-109.5,3.2,table,low side,1.1,21.336,1,southern pine,,19.2,T-3002,812.4,3.81,0.15,\
20 mm/m,0.1,0.05,0.075,L-6101,2027-01-10,2027-02-09,SIMULATED example
";

/// The same in feet and inches.
pub const SHEET_FEET: &str = "\
line,structure,leg,station,depth,depth basis,datum,hole diameter,pole length,class,species,butt circumference,butt to framing,pole tag,\
ground elevation,framed spacing,tamping room,plumb limit,depth under,depth over,centre offset limit,locate ticket,ticket from,ticket until,\
remarks
Example Line 7,K-41,left,12+34,10 ft 6 in,owner's figure,low side,4 ft,70 ft,1,southern pine,55 in,63 ft,T-3001,2665 ft 4 in,12 ft 6 in,\
6 in,1/4 in per ft,6 in,6 in,3 in,L-6101,2027-01-10,2027-02-09,SIMULATED example
Example Line 7,K-41,right,12+34,10 ft 6 in,owner's figure,low side,4 ft,70 ft,1,southern pine,,63 ft,T-3002,2665 ft 4 in,12 ft 6 in,\
6 in,1/4 in per ft,6 in,6 in,3 in,L-6101,2027-01-10,2027-02-09,SIMULATED example
";

/// Every set-up of its own rig's, so that no two have one number.
fn stream(n: usize, sample: &Sample) -> Stream {
    let rig = sample.identity.as_ref().map_or("unknown", |identity| identity.rig.as_str());
    Stream { rig: if n == 0 { rig.to_owned() } else { format!("{rig}-{n}") }, epoch: 3 }
}

/// Samples, a sheet and entries as a store would hold them, judged.
pub fn catalogue(samples: &[Sample], sheet: Option<&str>, said: &[Entry], limits: Option<&str>) -> Works {
    let mut store = Store::in_memory(HOST).expect("a store");
    for (n, sample) in samples.iter().enumerate() {
        store.keep(&stream(n, sample), &sample.slots()).expect("kept");
    }
    if let Some(text) = sheet {
        let today = "2027-01-15".parse().expect("a day");
        let read =
            Sheet::read(text.as_bytes(), &Options { leave: &[], ignore: &[], today }).unwrap_or_else(|unsound| panic!("{unsound:#?}"));
        let at = Wall { unix_ms: AFTER.unix_ms - 86_400_000, ..AFTER };
        take_in(&mut store, &read, &Origin { file: "example.csv", bytes: text.as_bytes(), by: "C. Nobody", at }).expect("taken in");
    }
    if !said.is_empty() {
        store.enter_all(said).expect("entered");
    }
    let mut all: Vec<Evidence> = of_store(&store, limits, None).expect("readable").into_values().collect();
    assert_eq!(all.len(), 1, "one structure");
    Works(all.remove(0))
}

/// A structure's evidence.
pub struct Works(pub Evidence);

impl Works {
    fn print(&self, subject: Subject, printing: Printing) -> Vec<u8> {
        let judged = self.0.judged().expect("evidence");
        let printer = Printer { evidence: &self.0, judged: &judged, structures: &judged.structures(), program: "Borewitness 1.2.3" };
        let key = SigningKey::from_bytes(&[0x48; 32]);
        let sheet = bundle::Sheet { subject, size: printing.size };
        printer.print_as(&sheet, printing.standard, |manifest| HostSigned::new(manifest, &key)).expect("a paper")
    }
}

/// The certificate of one sample of which nothing else is known than its record and what was measured by hand.
pub fn alone(sample: &Sample, printing: Printing) -> Vec<u8> {
    let all = sample.slots();
    let setup = facts::read(&all).pop().expect("a set-up");
    let mut recorded = Recorded { stream: stream(0, sample), slots: Leanings::of(&all).alone(&setup), unchained: Vec::new() };
    let hole = HoleName::of(&sample.plan);
    recorded.unchained =
        sample.measurements.iter().map(|m| entry_of(m, sample.offset, hole.clone().expect("a leg"), recorded.name())).collect();
    let (line, structure) = (sample.plan.line.as_str().to_owned(), sample.plan.structure.as_str().to_owned());
    let subject = Subject::Hole(recorded.name());
    Works(Evidence { line, structure, set_ups: vec![recorded], ..Evidence::default() }).print(subject, printing)
}

/// The number that the first of these entries has, behind as many as the sheet makes.
pub fn place(sheet: &str, nth: u32) -> Place {
    let legs = sheet.lines().filter(|line| line.starts_with("Example Line 7") || line.starts_with('W')).count();
    Place { host: HOST, number: u32::try_from(legs).expect("few") + nth }
}

/// The certificate of the nth hole.
pub fn certificate(works: &Works, n: usize, printing: Printing) -> Vec<u8> {
    works.print(Subject::Hole(works.0.set_ups[n].name()), printing)
}

/// The certificate of the structure that all holes are of.
pub fn structure(works: &Works, printing: Printing) -> Vec<u8> {
    works.print(Subject::Structure, printing)
}

/// What people say of one leg.
struct Saying {
    line: String,
    structure: String,
    leg: Leg,
    set_up: SetUpName,
    entries: Vec<Entry>,
}

impl Saying {
    fn of(n: usize, sample: &Sample) -> Self {
        let plan = &sample.plan;
        let leg = Leg::from_raw(plan.leg).expect("a leg");
        let opened = sample.setup().opened.sequence;
        let set_up = SetUpName::new(&stream(n, sample), opened);
        Self { line: plan.line.as_str().to_owned(), structure: plan.structure.as_str().to_owned(), leg, set_up, entries: Vec::new() }
    }

    fn say(&mut self, minutes: i64, by: &str, with: &str, remark: &str, said: Said) -> &mut Entry {
        let hole = HoleName { line: self.line.clone(), structure: self.structure.clone(), leg: self.leg, attempt: 1 };
        let at = Wall { unix_ms: AFTER.unix_ms + minutes * 60_000, ..AFTER };
        let set_up = matches!(said, Said::Sounding { .. } | Said::HandPlumb { .. }).then(|| self.set_up.clone());
        self.entries.push(Entry { set_up, with: with.to_owned(), remark: remark.to_owned(), ..Entry::new(by, at, hole, said) });
        self.entries.last_mut().expect("just pushed")
    }

    fn state(&mut self, minutes: i64, state: HoleState, remark: &str) {
        self.say(minutes, "F. Nobody", "", remark, Said::State { state });
    }
}

const fn sounding(depth_um: i32, ahead_um: i32, right_um: i32) -> Said {
    Said::Sounding { depth_um, ahead_um, right_um, standard_um: 5_000, clean_out: CleanOut::After }
}

/// Everything that can be said of a leg: the fifth entry is corrected by the sixth, and the eighth by the ninth.
pub fn everything(n: usize, sample: &Sample, sheet: &str) -> Vec<Entry> {
    let mut s = Saying::of(n, sample);
    let note = |what| Said::Note { what };
    s.say(-40, "A. Nobody", "", "", Said::Ticket { number: "L-6101".to_owned(), standing: TicketStanding::Valid });
    s.state(-14, HoleState::Attended, "");
    s.say(2, "G. Nobody", "tape 3", "middle", sounding(3_165_000, 0, 0));
    s.say(3, "G. Nobody", "tape 3", "", sounding(3_190_000, 450_000, 0));
    s.say(4, "G. Nobody", "tape 3", "", sounding(3_810_000, -450_000, 0));
    s.say(9, "G. Nobody", "tape 3", "read 8 for 1", sounding(3_180_000, -450_000, 0)).corrects = Some(place(sheet, 4));
    s.say(10, "G. Nobody", "plumb bob", "", Said::HandPlumb { depth_um: 2_400_000, ahead_um: 15_000, right_um: 6_000, standard_um: 3_000 });
    s.say(11, "G. Nobody", "tape 3", "", Said::Centre { ahead_um: 120_000, right_um: 8_000, standard_um: 5_000 });
    s.say(12, "H. Nobody", "tape 3", "ft read for in", Said::Centre { ahead_um: 12_000, right_um: 8_000, standard_um: 5_000 }).corrects =
        Some(place(sheet, 7));
    s.say(13, "G. Nobody", "rod", "", Said::Diameter { depth_um: 1_000_000, diameter_um: 1_112_000, standard_um: 5_000 });
    if s.leg != Leg::Right {
        let spacing =
            Said::Spacing { to: Leg::Right, distance_um: 3_812_000, standard_um: 3_000, along: Along::Slope { rise_ppm: 20_000 } };
        s.say(14, "G. Nobody", "tape 3", "", spacing);
    }
    s.say(15, "G. Nobody", "", "slowly, from the uphill side", Said::Water { depth_um: Some(2_100_000) });
    s.say(16, "G. Nobody", "", "two buckets for dust", note(NoteKind::WaterAdded));
    s.say(17, "G. Nobody", "", "from 2.6 m down, soft", note(NoteKind::Rock { shot: false, by: String::new() }));
    s.say(18, "G. Nobody", "", "gravel, north side", note(NoteKind::FallIn));
    s.say(19, "G. Nobody", "", "steel, 1.2 m long", note(NoteKind::Casing { left: true }));
    s.say(20, "F. Nobody", "", "old fence post beside the stake taken out", note(NoteKind::Other));
    s.state(21, HoleState::Covered, "plank, pinned, marked HOLE");
    s.state(22, HoleState::Fenced, "");
    s.say(90, "E. Nobody", "", "rock from 2.6 m on, at full depth all the same", Said::Accepted { disposition: Disposition::Stands });
    s.entries
}

/// A hole that was given up and filled again.
pub fn given_up(sample: &Sample) -> Vec<Entry> {
    let mut s = Saying::of(0, sample);
    s.state(10, HoleState::Abandoned, "boulder");
    s.state(20, HoleState::Backfilled, "");
    s.entries
}

/// The two-pole structure with all that people can say of its left leg, metric or in feet and inches.
pub fn full(feet: bool) -> Works {
    let (left, sheet) = if feet { (good_feet(), SHEET_FEET) } else { (good(), SHEET) };
    let left = Sample { slow: Some(false), ..left };
    let mut right = left.clone();
    right.plan.leg = 3;
    right.depth_mm += 20;
    right.lean = (-2_000, 4_000);
    let mut said = everything(0, &left, sheet);
    let mut other = Saying::of(1, &right);
    other.say(30, "G. Nobody", "tape 3", "", sounding(3_175_000, 0, 0));
    other.say(31, "G. Nobody", "tape 3", "", sounding(3_185_000, 400_000, 0));
    other.say(32, "G. Nobody", "tape 3", "", Said::Centre { ahead_um: -6_000, right_um: -4_000, standard_um: 5_000 });
    other.state(35, HoleState::Covered, "");
    said.extend(other.entries);
    catalogue(&[left, right], Some(sheet), &said, None)
}

/// Three legs of the longest names, each drilled in forty passes with gaps, faults and a restart, of which people say more than
/// anybody would: names and remarks as long as an entry takes.
pub fn overlong() -> Works {
    let (line, structure) = ("W".repeat(24), "W".repeat(16));
    let row = |leg: &str, butt: &str| {
        let text = "wide ".repeat(30) + &"W".repeat(60);
        format!(
            "{line},{structure},{leg},{w},3.2,1/6 of length,stake,1.1,21.336,1,southern pine,{butt},19.2,{w},812.4,3.81,0.15,20 mm/m,0.1,0.05,\
             0.075,{w},2027-01-10,2027-01-12,{text}\n",
            w = "W".repeat(40),
        )
    };
    let head = "line,structure,leg,station,depth (m),depth basis,datum,diameter (m),pole length (m),class,species,butt circumference (m),\
                butt to framing (m),pole tag,ground elevation (m),framed spacing (m),tamping room (m),plumb limit,depth under (m),\
                depth over (m),centre offset limit (m),locate ticket,ticket from,ticket until,remarks\n";
    let sheet = [head, &row("left", "1.4"), &row("middle", ""), &row("right", "3.2")].concat();
    let legs = [1, 2, 3].map(|leg| {
        let mut sample = worst();
        (sample.plan.leg, sample.plan.attempt, sample.plan.setup) = (leg, 1, 1);
        sample
    });
    let mut said = Vec::new();
    for (n, sample) in legs.iter().enumerate() {
        let mut s = Saying::of(n, sample);
        for number in 0..12 {
            let (who, with, remark) = ("W".repeat(60), "W".repeat(60), "wide ".repeat(50) + &"W".repeat(250));
            let what = match number % 6 {
                0 => sounding(3_400_000, 0, 0),
                1 => Said::Water { depth_um: Some(-99_999_999) },
                2 => Said::State { state: HoleState::Fenced },
                3 => Said::Accepted { disposition: Disposition::Engineer },
                4 => Said::Note { what: NoteKind::Rock { shot: true, by: "W".repeat(400) } },
                _ => Said::Note { what: NoteKind::Other },
            };
            s.say(number, &who, &with, &remark, what);
        }
        let first = u32::try_from(said.len()).expect("few");
        s.entries[6].corrects = Some(place(&sheet, first));
        said.extend(s.entries);
    }
    catalogue(&legs, Some(&sheet), &said, None)
}
