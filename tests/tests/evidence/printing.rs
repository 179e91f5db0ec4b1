//! Papers in a folder: whole, with names that stay there, the same again, and gone on with.

use crate::office::leg;
use host_tool::papers::{Job, LIST, Printed};
use host_tool::session::Stream;
use host_tool::store::Store;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

/// A store whose rigs drilled these structures and legs.
fn store(holes: &[(&str, u8)]) -> Store {
    let mut store = Store::in_memory(3).expect("a store");
    for (n, (structure, of_leg)) in holes.iter().enumerate() {
        let mut sample = leg(*of_leg);
        sample.plan.structure = (*structure).try_into().expect("short");
        store.keep(&Stream { rig: format!("R{n}"), epoch: 1 }, &sample.slots()).expect("kept");
    }
    store
}

fn print(store: &Store, folder: &Path) -> Vec<Printed> {
    Job::of(store, &[], None).expect("holes").print(folder, |_| ()).expect("printed")
}

fn folder(path: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    fs::read_dir(path).expect("a folder").map(|f| f.expect("a file").path()).map(|p| (p.clone(), fs::read(&p).expect("readable"))).collect()
}

#[test]
fn papers_are_whole_and_have_names_that_stay_in_their_folder() {
    let place = tempfile::tempdir().expect("a folder");
    let out = place.path().join("a/b");
    let printed = print(&store(&[("../../up", 1), ("../../up", 3), ("S-2", 0)]), &out);
    let names: Vec<_> = printed.iter().map(|p| p.path.file_name().expect("a name").to_string_lossy().into_owned()).collect();
    assert_eq!(names, ["____up-left.pdf", "____up-right.pdf", "____up-structure.pdf", "S-2.pdf"]);
    let there = folder(&out);
    let mut expected: Vec<PathBuf> = names.iter().map(|name| out.join(name)).chain([out.join(LIST)]).collect();
    expected.sort();
    assert_eq!(there.keys().cloned().collect::<Vec<_>>(), expected, "no file but those named, and no half ones");
    assert!(there.iter().filter(|(path, _)| path.extension().is_some_and(|e| e == "pdf")).all(|(_, bytes)| bytes.starts_with(b"%PDF-")));
}

#[test]
fn a_run_that_was_cut_short_goes_on_and_comes_to_the_same() {
    let store = store(&[("S-1", 1), ("S-1", 3), ("S-2", 0), ("S-3", 0)]);
    let place = tempfile::tempdir().expect("a folder");
    let (whole, cut) = (place.path().join("whole"), place.path().join("cut"));
    print(&store, &whole);
    print(&store, &cut);
    // as a program that was killed leaves it: a paper not there, one that is not what is listed, half a line of the list
    fs::remove_file(cut.join("S-2.pdf")).expect("removed");
    fs::write(cut.join("S-3.pdf"), "half").expect("written");
    let list = fs::read_to_string(cut.join(LIST)).expect("the list");
    let kept: Vec<&str> = list.lines().filter(|line| !line.starts_with("S-1-left")).collect();
    fs::write(cut.join(LIST), kept.join("\n") + "\nS-1-left\t12").expect("written");
    let again = print(&store, &cut);
    let anew: Vec<_> =
        again.iter().filter(|p| !p.was_there).map(|p| p.path.file_stem().expect("a name").to_string_lossy().into_owned()).collect();
    assert_eq!(anew, ["S-1-left", "S-2", "S-3"]);
    let papers = |path: &Path| folder(path).into_iter().filter(|(p, _)| !p.ends_with(LIST)).map(|(_, bytes)| bytes).collect::<Vec<_>>();
    assert!(papers(&whole) == papers(&cut));
    assert!(print(&store, &cut).iter().all(|p| p.was_there));
}

#[test]
fn what_cannot_be_written_leaves_nothing_and_each_paper_is_told_of_once() {
    let place = tempfile::tempdir().expect("a folder");
    let out = place.path().join("out");
    fs::create_dir_all(out.join("S-1.pdf")).expect("a folder where the file should be");
    let one = store(&[("S-1", 0)]);
    let said = Job::of(&one, &[], None).expect("holes").print(&out, |_| ()).expect_err("a folder is there").to_string();
    assert!(said.contains("S-1.pdf cannot be written: ") && !said.contains('\n'), "{said}");
    assert_eq!(folder_names(&out), ["S-1.pdf", LIST]);
    fs::write(place.path().join("file"), "").expect("written");
    assert!(Job::of(&one, &[], None).expect("holes").print(&place.path().join("file/out"), |_| ()).is_err());
    let told = AtomicUsize::new(0);
    let job = Job::of(&store(&[("S-1", 1), ("S-1", 3)]), &[], None).expect("holes");
    job.print(&place.path().join("told"), |_| {
        told.fetch_add(1, Relaxed);
    })
    .expect("printed");
    assert_eq!((told.into_inner(), job.papers()), (3, 3));
}

fn folder_names(path: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(path).expect("a folder").map(|f| f.expect("a file").file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// Whichever processor is quicker, the same store gives the same bytes; another limit gives others.
#[test]
fn the_same_store_gives_the_same_papers() {
    let place = tempfile::tempdir().expect("a folder");
    let store = store(&[("S-1", 1), ("S-1", 3), ("S-2", 0), ("S-3", 0), ("S-4", 0)]);
    let (one, two) = (place.path().join("one"), place.path().join("two"));
    print(&store, &one);
    print(&store, &two);
    let papers = |path: &Path| folder(path).into_iter().filter(|(p, _)| !p.ends_with(LIST)).map(|(_, bytes)| bytes).collect::<Vec<_>>();
    assert!(papers(&one) == papers(&two));
    let limits = "governs = \"plain\"\n[[limit]]\nmeasurand = \"toe\"\nfigure = \"3 in\"\nsource = \"Invented sheet\"";
    let other = Job::of(&store, &[], Some(limits)).expect("holes").print(&two, |_| ()).expect("printed");
    assert!(other.iter().all(|p| !p.was_there));
    assert!(papers(&one) != papers(&two));
}
