//! Papers against whoever would change them: what each proves, to whom, and that nothing that was changed is taken.

mod alone;
mod kinds;
mod office;
mod others;
mod photographs;
mod printing;
mod tampered;

use tests::samples as holes;

use ed25519_dalek::SigningKey;
use host_tool::entry::Finding;
use host_tool::evidence::printed::Printer;
use host_tool::evidence::signing::HostSigned;
use host_tool::evidence::verify::{State, verify};
use host_tool::paper::LAYOUT;
use office::{Office, REVIEWER, trust};

fn states(report: &host_tool::evidence::verify::Report) -> Vec<State> {
    report.checked.iter().map(|checked| checked.state).collect()
}

#[test]
fn a_paper_is_consistent_for_everybody_and_proven_for_whoever_trusts_its_keys() {
    let mut office = Office::new();
    office.review(Finding::Accepted, "");
    let paper = office.left();
    let alone = verify(&paper, None);
    assert_eq!(alone.state(), State::Open, "{alone:#?}");
    assert!(alone.checked.iter().any(|c| c.what.contains("signer unknown")), "{alone:#?}");
    let trusted = verify(&paper, Some(&trust(&office, &["rig", "host", "reviewer"])));
    assert_eq!(trusted.state(), State::Holds, "{trusted:#?}");
    assert!(states(&trusted).len() >= 6 && !trusted.checked.iter().any(|c| c.what.contains("unknown")), "{trusted:#?}");
}

/// A key that is not among those that are trusted is worth nothing, whichever of the three it is.
#[test]
fn each_key_must_be_trusted_for_what_it_signs() {
    let mut office = Office::new();
    office.review(Finding::Accepted, "");
    let paper = office.left();
    for lacking in ["rig", "host", "reviewer"] {
        let others: Vec<&str> = ["rig", "host", "reviewer"].into_iter().filter(|role| *role != lacking).collect();
        let report = verify(&paper, Some(&trust(&office, &others)));
        let fails: Vec<&str> = report.checked.iter().filter(|c| c.state == State::Fails).map(|c| c.what.as_str()).collect();
        assert!(!fails.is_empty(), "{lacking}: {report:#?}");
        assert!(
            fails.iter().all(|what| what.contains(&format!("by a {lacking} key that is not among those you trust"))),
            "{lacking}: {fails:?}"
        );
    }
}

/// What is entered after a review is not reviewed, and the review stays to be seen.
#[test]
fn a_record_that_changed_is_not_reviewed_until_somebody_reviews_it_again() {
    let mut office = Office::new();
    let trusted = trust(&office, &["rig", "host", "reviewer"]);
    let state = |office: &Office| {
        let report = verify(&office.left(), Some(&trusted));
        (report.state(), report.checked.iter().any(|c| c.what.contains("has changed since it was reviewed")))
    };
    assert_eq!(state(&office).0, State::Open, "nobody has reviewed it");
    office.review(Finding::Returned, "the sounding is missing");
    assert_eq!(state(&office), (State::Holds, false));
    office.sound();
    assert_eq!(state(&office), (State::Open, true));
    office.review(Finding::Accepted, "");
    assert_eq!(state(&office), (State::Holds, false));
    let text = office::text(&office.left());
    for said in [
        "R. Example, accepted on 2027-01-16",
        "2; supersedes revision 1",
        "1 returned, R. Example depth 3.184m+-0.026m in+;",
        "in+; lean the sounding is",
    ] {
        assert!(text.contains(said), "{said} in {text}");
    }
    let text = office::text(&office.structure());
    assert!(text.contains("revision 2 accepted by R. none on record; by nobody"), "{text}");
    office.state();
    assert_eq!(state(&office), (State::Holds, false), "the state of a hole goes on without another review");
}

/// Two reviewers who sign on two computers both count; the next revision is behind both.
#[test]
fn two_reviews_on_two_computers_stay_side_by_side() {
    let (mut one, mut other) = (Office::new(), Office::on(8));
    one.review(Finding::Accepted, "");
    other.review(Finding::Returned, "sound it");
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("other");
    other.store.backup(&copy).expect("copied");
    one.store.merge(&copy).expect("merged");
    let mut trusted = trust(&one, &["rig", "host", "reviewer"]);
    trusted.extend(trust(&other, &["host"]));
    let report = verify(&one.left(), Some(&trusted));
    assert_eq!(report.state(), State::Open, "{report:#?}");
    assert!(report.checked.iter().any(|c| c.what.contains("both signed a revision 1, on two computers")), "{report:#?}");
    one.review(Finding::Accepted, "");
    let text = office::text(&one.left());
    assert!(text.contains("2; supersedes revision 1"), "{text}");
}

/// What an earlier or later program of the same layout printed is what its evidence gives, though its name is on the page.
#[test]
fn a_paper_of_another_program_of_the_same_layout_is_checked_as_that_program_printed_it() {
    let office = Office::new();
    let evidence = office.evidence();
    let judged = evidence.judged().expect("evidence");
    let key = office.store.key().expect("a key");
    let printed = |program: &str| {
        let printer = Printer { evidence: &evidence, judged: &judged, structures: &judged.structures(), program };
        printer.print(&office.sheet(), |manifest| HostSigned::new(manifest, &key)).expect("a certificate")
    };
    let paper = printed("Borewitness 9.8.7");
    assert!(office::text(&paper).contains(&format!("Borewitness 9.8.7, layout {LAYOUT}")));
    assert_eq!(verify(&paper, None).state(), State::Open);
    assert_ne!(paper, printed("Borewitness 9.8.6"));
}

/// A stranger who signs all of it anew with keys of his own makes a paper that holds together, and nobody who trusts the right keys
/// takes it.
#[test]
fn the_whole_signed_anew_by_a_stranger_is_the_strangers() {
    let office = Office::new();
    let stranger = SigningKey::from_bytes(&[0x66; 32]);
    let forged = office.printed_by(&stranger);
    assert_eq!(verify(&forged, None).state(), State::Open);
    let report = verify(&forged, Some(&trust(&office, &["rig", "host", "reviewer"])));
    assert_eq!(report.state(), State::Fails);
    assert!(report.checked[0].what.contains("by a host key that is not among those you trust"), "{report:#?}");
    assert_ne!(SigningKey::from_bytes(&REVIEWER).to_bytes(), stranger.to_bytes());
}
