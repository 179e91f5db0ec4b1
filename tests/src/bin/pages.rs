//! How long QA's pages take over a store of invented holes: `pages HOLES RIGS FOLDER`. The store is made where there is none, and left. The
//! program itself is the one beside this.

use host_tool::entry::{Entry, HoleState, Said};
use host_tool::facts::Wall;
use host_tool::planned::{Origin, take_in};
use host_tool::sheet::{Options, Sheet};
use host_tool::store::Store;
use std::path::Path;
use std::process::ExitCode;
use tests::office::{Answer, Office, peak_kib};
use tests::samples::{keep_fleet, season_sheet};

fn main() -> ExitCode {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let [holes, rigs, folder] = &given[..] else {
        eprintln!("pages: give how many holes, how many rigs, and a folder for their store");
        return ExitCode::from(2);
    };
    let number = |text: &str| text.parse::<u32>().map_err(|e| format!("{text}: {e}"));
    let measured =
        number(holes).and_then(|holes| Ok((holes, number(rigs)?))).and_then(|(holes, rigs)| pages(holes, rigs, Path::new(folder)));
    match measured {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("pages: {why}");
            ExitCode::FAILURE
        }
    }
}

fn pages(holes: u32, rigs: u32, folder: &Path) -> Result<(), String> {
    let path = folder.join(format!("{holes}-by-{rigs}.store"));
    if !path.exists() {
        make(&path, holes, rigs)?;
    }
    let bytes = std::fs::metadata(&path).map_or(0, |data| data.len());
    println!("{holes} holes by {rigs} rigs, {} MiB", bytes >> 20);
    let office = Office::start(&path)?;
    println!("started: {} MiB", memory(&office));
    let handle = format!("S-{}-left", holes / 4);
    let asked = [
        "/holes",
        "/holes",
        "/holes?find=S-17",
        "/holes?state=owes&from=100",
        &format!("/holes/{handle}"),
        "/plans",
        "/plans",
        &format!("/papers/{handle}"),
    ];
    asked.iter().try_for_each(|path| ask(&office, path))?;
    // somebody says something: what is shown then is new
    let mut store = Store::open_existing(&path).map_err(|e| e.to_string())?;
    let found =
        host_tool::facts::read(&store.part(&store.rigs().map_err(|e| e.to_string())?[0], 0, 1_000).map_err(|e| e.to_string())?.slots);
    let hole = host_tool::entry::HoleName::of(&found[0].opened.body.plan).ok_or("no leg")?;
    let said = Said::State { state: HoleState::Covered };
    store.enter(&Entry::new("Tester", Wall { unix_ms: 1_900_000_000_000, offset: 0 }, hole, said)).map_err(|e| e.to_string())?;
    println!("an entry was made");
    ["/holes", &format!("/holes/{handle}"), "/plans"].iter().try_for_each(|path| ask(&office, path))
}

fn make(path: &Path, holes: u32, rigs: u32) -> Result<(), String> {
    let mut store = Store::open(path).map_err(|e| e.to_string())?;
    keep_fleet(&mut store, holes, rigs).map_err(|e| e.to_string())?;
    let text = season_sheet(holes);
    let date = host_tool::planned::day(Wall { unix_ms: 1_790_000_000_000, offset: 0 }).ok_or("no day")?;
    let sheet = Sheet::read(text.as_bytes(), &Options { leave: &[], ignore: &[], today: date }).map_err(|e| format!("{e:?}"))?;
    let origin = Origin { file: "season.csv", bytes: text.as_bytes(), by: "Tester", at: Wall { unix_ms: 1_790_000_000_000, offset: 0 } };
    take_in(&mut store, &sheet, &origin).map_err(|e| e.to_string())?;
    Ok(())
}

fn ask(office: &Office, path: &str) -> Result<(), String> {
    let Answer { status, bytes, seconds } = office.ask(path)?;
    println!("{path:34} {status} {:9.1} ms {bytes:9} bytes  {} MiB", seconds * 1e3, memory(office));
    Ok(())
}

/// The most memory that the program had so far, MiB.
fn memory(office: &Office) -> u64 {
    peak_kib(&office.process()) / 1024
}
