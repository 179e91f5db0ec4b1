//! Whatever is changed in a paper, it is not taken, and what was changed is named.

use crate::office::{Office, leg, trust};
use ed25519_dalek::SigningKey;
use host_tool::entry::{Finding, Link};
use host_tool::evidence::Evidence;
use host_tool::evidence::bundle::{self, Attached};
use host_tool::evidence::keys::Trusted;
use host_tool::evidence::printed::printed;
use host_tool::evidence::signing::HostSigned;
use host_tool::evidence::verify::{Report, State, attached, verify};
use host_tool::judge::judge;
use host_tool::paper::layout::pdf::Attachment;
use host_tool::paper::{Hole, PageSize, Printing, hole_certificate};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use shared_protocol::slot::Slot;
use std::thread;

/// Papers that are spoilt at random here; `BOREWITNESS_MUTATIONS` for more.
const MUTATIONS: u32 = 400;
/// Threads that spoil them.
const HANDS: u32 = 2;

const ALL: [&str; 3] = ["rig", "host", "reviewer"];

fn reviewed() -> Office {
    let mut office = Office::new();
    office.sound();
    office.review(Finding::Returned, "sound it again at the edges");
    office.review(Finding::Accepted, "");
    office
}

fn fails(report: &Report) -> Vec<String> {
    report.checked.iter().filter(|c| c.state == State::Fails).map(|c| c.what.clone()).collect()
}

fn any(fails: &[String], part: &str) -> bool {
    fails.iter().any(|what| what.contains(part))
}

/// A byte or a few, changed, put in, taken out or doubled; never what it was.
fn spoilt(paper: &[u8], chance: &mut Pcg32) -> Vec<u8> {
    let place = |chance: &mut Pcg32, below: usize| chance.next_u32() as usize % below;
    loop {
        let mut out = paper.to_vec();
        for _ in 0..=place(chance, 3) {
            let at = place(chance, out.len());
            match place(chance, 5) {
                0 => out[at] ^= 1 << place(chance, 8),
                1 => out[at] = chance.next_u32().to_le_bytes()[0],
                2 => out.insert(at, chance.next_u32().to_le_bytes()[0]),
                3 => drop(out.remove(at)),
                _ => {
                    let some = out[at..(at + 9).min(out.len())].to_vec();
                    let to = place(chance, out.len());
                    out.splice(to..to, some);
                }
            }
        }
        if out != paper {
            return out;
        }
    }
}

#[test]
fn no_paper_that_was_spoilt_at_random_is_taken() {
    let office = reviewed();
    let (paper, trusted) = (office.left(), trust(&office, &ALL));
    assert_eq!(verify(&paper, Some(&trusted)).state(), State::Holds);
    let times = std::env::var("BOREWITNESS_MUTATIONS").map_or(MUTATIONS, |text| text.parse().expect("a number"));
    let spoil = |seed: u32| {
        let mut chance = Pcg32::seed_from_u64(u64::from(seed));
        (0..times / HANDS).filter(|_| verify(&spoilt(&paper, &mut chance), Some(&trusted)).state() != State::Fails).count()
    };
    let taken: usize = thread::scope(|scope| {
        let hands: Vec<_> = (0..HANDS).map(|seed| scope.spawn(move || spoil(seed))).collect();
        hands.into_iter().map(|hand| hand.join().expect("no panic")).sum()
    });
    println!("{times} spoilt papers, {taken} taken");
    assert_eq!(taken, 0);
    // what a viewer that saves its own changes puts behind the end
    for more in [&b" "[..], b"\n%%EOF\n"] {
        assert_eq!(verify(&[&paper[..], more].concat(), Some(&trusted)).state(), State::Fails);
    }
    for none in [&b""[..], b"%PDF-1.7", &paper[..paper.len() / 2]] {
        assert_eq!(verify(none, Some(&trusted)).state(), State::Fails);
    }
}

/// The pages of a hole with these files attached.
fn pages_with(files: &Attached, hole: &Hole<'_>) -> Vec<u8> {
    let attachment = |(name, data): (&String, &Vec<u8>)| Attachment {
        name: name.clone(),
        media_type: "application/octet-stream",
        description: "forged".to_owned(),
        data: data.clone(),
    };
    hole_certificate(hole, files.iter().map(attachment).collect(), Printing::archive(PageSize::A4)).expect("a certificate")
}

/// Any one byte of any attached file, the signature and the key among them: the file is named.
#[test]
fn every_attached_file_that_is_changed_is_named() {
    let office = reviewed();
    let trusted = trust(&office, &ALL);
    let files = attached(&office.left()).expect("attached files");
    let setup = leg(1).setup();
    let judged = judge(&setup);
    let hole = Hole::of_record(&setup, &judged);
    let mut chance = Pcg32::seed_from_u64(5);
    assert_eq!(files.len(), 9);
    for name in files.keys() {
        for _ in 0..12 {
            let mut forged = files.clone();
            let data = forged.get_mut(name).expect("the file");
            let at = chance.next_u32() as usize % data.len();
            data[at] ^= 1 << (chance.next_u32() % 7);
            let found = fails(&verify(&pages_with(&forged, &hole), Some(&trusted)));
            let named = match name.as_str() {
                "evidence.json" | "evidence.sig" => any(&found, "evidence.sig is not the signature of evidence.json"),
                "host.pem" => any(&found, "host.pem") || any(&found, "cannot be read") || any(&found, "host key"),
                other => any(&found, &format!("{other} is not what evidence.json lists")),
            };
            assert!(named, "{name}, byte {at}: {found:#?}");
        }
        let mut lacking = files.clone();
        lacking.remove(name);
        let found = fails(&verify(&pages_with(&lacking, &hole), Some(&trusted)));
        assert!(any(&found, name) || any(&found, "signature of the computer that printed it is missing"), "{name} taken out: {found:#?}");
    }
    let mut more = files.clone();
    more.insert("more.bin".to_owned(), vec![1]);
    assert!(any(&fails(&verify(&pages_with(&more, &hole), Some(&trusted))), "more.bin is attached and not listed"));
}

/// The right evidence under the pages of another hole.
#[test]
fn a_printed_figure_that_is_not_the_evidences_is_found() {
    let office = reviewed();
    let trusted = trust(&office, &ALL);
    let files = attached(&office.left()).expect("attached files");
    let mut other = leg(1);
    other.depth_mm -= 25;
    let setup = other.setup();
    let judged = judge(&setup);
    let found = fails(&verify(&pages_with(&files, &Hole::of_record(&setup, &judged)), Some(&trusted)));
    assert!(found.len() == 1 && any(&found, "the file is not what its evidence gives"), "{found:#?}");
}

/// A forger who lists and signs everything anew with a key of his own, after changing the evidence.
fn forged(office: &Office, change: impl FnOnce(&mut Evidence)) -> Vec<u8> {
    let mut evidence = office.evidence();
    change(&mut evidence);
    printed(&evidence, &office.sheet(), &SigningKey::from_bytes(&[0x66; 32])).expect("a certificate")
}

fn found_in(office: &Office, trusted: Option<&Trusted>, change: impl FnOnce(&mut Evidence)) -> Vec<String> {
    fails(&verify(&forged(office, change), trusted))
}

/// A slot with another body, its check repaired.
fn repaired(slot: &Slot) -> Slot {
    let mut body = slot.body().to_vec();
    let last = body.len() - 1;
    body[last] ^= 1;
    Slot::build(slot.sequence(), slot.boot(), slot.kind(), slot.part(), &body).expect("a slot")
}

#[test]
fn slots_that_the_rig_did_not_write_are_found_without_any_key() {
    let office = reviewed();
    let (middle, increment) = (60, 6);
    let changed = found_in(&office, None, |e| {
        let slot = e.set_ups[0].slots.own.iter_mut().skip(middle).find(|s| s.kind() == increment).expect("an increment");
        *slot = repaired(slot);
    });
    assert!(any(&changed, "left leg: slots are not what the rig wrote"), "{changed:#?}");
    let spliced = found_in(&office, None, |e| {
        let right = e.set_ups[1].slots.own.clone();
        e.set_ups[0].slots.own.splice(middle.., right[middle..].iter().copied());
    });
    assert!(any(&spliced, "left leg"), "{spliced:#?}");
    let resealed = found_in(&office, None, |e| {
        let own = &mut e.set_ups[0].slots.own;
        let last = own.len() - 1;
        own[last] = repaired(&own[last]);
    });
    assert!(any(&resealed, "left leg: the seal does not fit"), "{resealed:#?}");
}

/// A slot that is not there any more is said, and a forger's list of the rest is his own.
#[test]
fn slots_that_were_taken_out_are_said_and_the_list_is_the_forgers() {
    let office = reviewed();
    let paper = forged(&office, |e| {
        e.set_ups[0].slots.own.remove(60);
    });
    let report = verify(&paper, Some(&trust(&office, &ALL)));
    assert!(any(&fails(&report), "by a host key that is not among those you trust"), "{report:#?}");
    assert!(report.checked.iter().any(|c| c.what.contains("left leg: slots are missing")), "{report:#?}");
    assert!(report.checked.iter().any(|c| c.what.contains("has changed since it was reviewed")), "{report:#?}");
}

#[test]
fn entries_and_reviews_that_were_changed_taken_out_or_put_elsewhere_are_found() {
    let office = reviewed();
    let said = |change: &dyn Fn(&mut Evidence)| found_in(&office, None, change);
    let body = |link: &Link, from: &str, to: &str| {
        let text = String::from_utf8(link.body.clone()).expect("JSON");
        assert!(text.contains(from), "{from} in {text}");
        text.replace(from, to).into_bytes()
    };
    let changed = said(&|e| e.entries[0].link.body = body(&e.entries[0].link, "3185000", "3205000"));
    assert!(any(&changed, "entry 7-0 is not what was entered"), "{changed:#?}");
    // the sum repaired, and everything behind it
    let stranger = SigningKey::from_bytes(&[0x67; 32]);
    let rechained = |from: &'static str, to: &'static str, sign: bool| {
        let stranger = stranger.clone();
        move |e: &mut Evidence| {
            let mut before = [0; 32];
            for chained in &mut e.entries {
                let text = String::from_utf8(chained.link.body.clone()).expect("JSON").replace(from, to);
                let entry = serde_json::from_str(&text).expect("an entry");
                let anew = Link::new(chained.link.place, &before, &entry, &stranger).expect("a link");
                let signed = if sign { anew.signed } else { chained.link.signed };
                chained.before = before;
                chained.link = Link { signed, ..anew };
                before = chained.link.sum;
            }
        }
    };
    let unsigned = said(&rechained("3185000", "3205000", false));
    assert!(any(&unsigned, "entry 7-0 is not signed by the key that it names"), "{unsigned:#?}");
    let by_stranger = found_in(&office, Some(&trust(&office, &ALL)), rechained("3185000", "3205000", true));
    assert!(any(&by_stranger, "3 entries signed by the computer that they were entered on, but by a host key"), "{by_stranger:#?}");
    let finding = said(&rechained("\"finding\":\"returned\"", "\"finding\":\"accepted\"", true));
    assert!(any(&finding, "accepted by R. Example") && any(&finding, "what was signed says something else"), "{finding:#?}");
    let figures = said(&rechained("+-0.0078m", "+-0.0001m", true));
    assert!(any(&figures, "the signature is not that of the key it names"), "{figures:#?}");
    let swapped = said(&|e| e.entries.swap(1, 2));
    assert!(any(&swapped, "entry 7-1 is not in its order"), "{swapped:#?}");
    let dropped = said(&|e| drop(e.entries.remove(1)));
    assert!(any(&dropped, "left leg: revision 1 is missing"), "{dropped:#?}");
    let doubled = said(&|e| e.entries.insert(1, e.entries[1].clone()));
    assert!(any(&doubled, "entry 7-1 is not in its order, or there twice"), "{doubled:#?}");
}

/// Evidence comes back from its files as it was, and files that are none are refused.
#[test]
fn evidence_is_read_back_from_its_files() {
    let office = reviewed();
    let files = attached(&office.left()).expect("attached files");
    let read = bundle::read(&files).expect("evidence");
    assert_eq!((read.evidence, read.sheet), (office.evidence(), office.sheet()));
    assert!(HostSigned::of(&files).expect("signed").holds(&files));
}
