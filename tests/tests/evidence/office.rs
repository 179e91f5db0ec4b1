//! An office with two holes of one structure in its store, a reviewer, and what they print.

use crate::holes::{RIG_SECRET, Sample, good};
use ed25519_dalek::SigningKey;
use host_tool::entry::{CleanOut, Entry, Finding, HoleName, HoleState, Said, SetUpName};
use host_tool::evidence::Evidence;
use host_tool::evidence::bundle::{Sheet, Subject};
use host_tool::evidence::collect::of_store;
use host_tool::evidence::keys::Trusted;
use host_tool::evidence::printed::printed;
use host_tool::evidence::review::Reviewed;
use host_tool::facts::Wall;
use host_tool::paper::PageSize;
use host_tool::session::Stream;
use host_tool::store::Store;
use shared_protocol::state::Leg;
use std::io::Write;
use std::process::Command;

/// The reviewer's secret.
pub const REVIEWER: [u8; 32] = [0x71; 32];
/// A day after the samples' first hole was opened, at seven hours behind UTC.
const NEXT_DAY: Wall = Wall { unix_ms: 1_800_086_400_000, offset: -420 };

/// Two legs drilled by a rig that is not simulated, in one stream.
pub struct Office {
    pub store: Store,
    minutes: i64,
}

/// Leg's sample of a commissioned rig.
pub fn leg(leg: u8) -> Sample {
    let mut sample = good();
    sample.plan.leg = leg;
    sample.identity.as_mut().expect("identified").simulated = false;
    sample
}

pub fn stream() -> Stream {
    Stream { rig: "SIM-PAPER-1".to_owned(), epoch: 3 }
}

pub fn hole(leg: Leg) -> HoleName {
    HoleName { line: "Example Line 7".to_owned(), structure: "K-41".to_owned(), leg, attempt: 1 }
}

impl Office {
    pub fn new() -> Self {
        Self::on(7)
    }

    /// On a computer of this number.
    pub fn on(host: u32) -> Self {
        let mut store = Store::in_memory(host).expect("a store");
        store.keep(&stream(), &leg(1).slots()).expect("kept");
        let other = Stream { rig: "SIM-PAPER-2".to_owned(), ..stream() };
        let mut right = leg(3);
        right.identity.as_mut().expect("identified").rig = "SIM-PAPER-2".try_into().expect("short");
        store.keep(&other, &right.slots()).expect("kept");
        Self { store, minutes: 0 }
    }

    fn now(&mut self) -> Wall {
        self.minutes += 10;
        Wall { unix_ms: NEXT_DAY.unix_ms + self.minutes * 60_000, ..NEXT_DAY }
    }

    pub fn evidence(&self) -> Evidence {
        let mut all = of_store(&self.store, None, None).expect("readable");
        all.remove(&("Example Line 7".to_owned(), "K-41".to_owned())).expect("the structure")
    }

    /// The set-up of the left leg.
    pub fn set_up(&self) -> SetUpName {
        self.evidence().set_ups[0].name()
    }

    pub fn sheet(&self) -> Sheet {
        Sheet { subject: Subject::Hole(self.set_up()), size: PageSize::A4 }
    }

    pub fn left(&self) -> Vec<u8> {
        self.printed_by(&self.store.key().expect("a key"))
    }

    /// The certificate of both legs.
    pub fn structure(&self) -> Vec<u8> {
        let sheet = Sheet { subject: Subject::Structure, size: PageSize::A4 };
        printed(&self.evidence(), &sheet, &self.store.key().expect("a key")).expect("a certificate")
    }

    pub fn printed_by(&self, key: &SigningKey) -> Vec<u8> {
        printed(&self.evidence(), &self.sheet(), key).expect("a certificate")
    }

    pub fn review(&mut self, finding: Finding, reason: &str) {
        let at = self.now();
        let evidence = self.evidence();
        let judged = evidence.judged().expect("evidence");
        let hole = judged.holes.iter().find(|hole| hole.set_up_name() == self.set_up()).expect("the left leg");
        let reviewed = Reviewed::of(&evidence, &judged, hole).expect("its evidence");
        let key = SigningKey::from_bytes(&REVIEWER);
        let entry = reviewed.review(hole, "R. Example", at, finding, reason, &key).expect("a review");
        self.store.enter(&entry).expect("entered");
    }

    pub fn sound(&mut self) {
        let at = self.now();
        let said = Said::Sounding { depth_um: 3_185_000, ahead_um: 0, right_um: 0, standard_um: 4_000, clean_out: CleanOut::After };
        let entry = Entry { set_up: Some(self.set_up()), ..Entry::new("T. Tape", at, hole(Leg::Left), said) };
        self.store.enter(&entry).expect("entered");
    }

    pub fn state(&mut self) {
        let at = self.now();
        let entry = Entry::new("T. Tape", at, hole(Leg::Left), Said::State { state: HoleState::Covered });
        self.store.enter(&entry).expect("entered");
    }
}

/// The keys of these roles, as somebody would write them into a file.
pub fn trust(office: &Office, roles: &[&str]) -> Trusted {
    let hex = |key: &SigningKey| key.verifying_key().to_bytes().iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    let line = |role: &&str| match *role {
        "rig" => format!("rig {} auger\n", hex(&SigningKey::from_bytes(&RIG_SECRET))),
        "host" => format!("host {} tablet\n", hex(&office.store.key().expect("a key"))),
        _ => format!("reviewer {} R. Example\n", hex(&SigningKey::from_bytes(&REVIEWER))),
    };
    Trusted::read(&roles.iter().map(line).collect::<String>()).expect("keys")
}

/// A file that others read.
pub fn file(bytes: &[u8], end: &str) -> tempfile::NamedTempFile {
    let mut file = tempfile::NamedTempFile::with_suffix(end).expect("a temporary file");
    file.write_all(bytes).expect("room for it");
    file
}

/// A paper's words by poppler, each run of white space one space.
pub fn text(paper: &[u8]) -> String {
    let file = file(paper, ".pdf");
    let out = Command::new("pdftotext").arg("-layout").arg(file.path()).arg("-").output().expect("pdftotext: run tests/install-debian.sh");
    String::from_utf8_lossy(&out.stdout).split_whitespace().collect::<Vec<_>>().join(" ")
}
