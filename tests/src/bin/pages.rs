//! How long QA's pages take over a store of invented holes: `pages HOLES RIGS FOLDER`. The store is made where there is none, and left. The
//! program itself is the one beside this.

use host_tool::entry::{Entry, HoleState, Said};
use host_tool::facts::Wall;
use host_tool::planned::{Origin, take_in};
use host_tool::sheet::{Options, Sheet};
use host_tool::store::Store;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, ExitCode, Stdio};
use std::time::Instant;
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
    let mut office = Office::start(&path)?;
    println!("started: {} MiB", office.memory());
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
    asked.iter().try_for_each(|path| office.ask(path))?;
    // somebody says something: what is shown then is new
    let mut store = Store::open_existing(&path).map_err(|e| e.to_string())?;
    let found =
        host_tool::facts::read(&store.part(&store.rigs().map_err(|e| e.to_string())?[0], 0, 1_000).map_err(|e| e.to_string())?.slots);
    let hole = host_tool::entry::HoleName::of(&found[0].opened.body.plan).ok_or("no leg")?;
    let said = Said::State { state: HoleState::Covered };
    store.enter(&Entry::new("Tester", Wall { unix_ms: 1_900_000_000_000, offset: 0 }, hole, said)).map_err(|e| e.to_string())?;
    println!("an entry was made");
    ["/holes", &format!("/holes/{handle}"), "/plans"].iter().try_for_each(|path| office.ask(path))
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

/// The program, ended when this is dropped.
struct Office {
    child: Child,
    address: String,
}

impl Office {
    fn start(store: &Path) -> Result<Self, String> {
        let program = std::env::current_exe().map_err(|e| e.to_string())?.with_file_name("borewitness");
        let mut command = Command::new(program);
        command.args(["office", "--page-port", "0", "--for", "900", "--store"]).arg(store).stdout(Stdio::piped());
        let mut child = command.spawn().map_err(|e| format!("borewitness cannot be started: {e}"))?;
        let out = child.stdout.take().ok_or("no output")?;
        let line = BufReader::new(out).lines().next().and_then(Result::ok).unwrap_or_default();
        let address = line.split("http://").nth(1).and_then(|rest| rest.split('/').next()).ok_or(line.clone())?.to_owned();
        Ok(Self { child, address })
    }

    fn ask(&mut self, path: &str) -> Result<(), String> {
        let begun = Instant::now();
        let mut stream = TcpStream::connect(&self.address).map_err(|e| e.to_string())?;
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.address).map_err(|e| e.to_string())?;
        let mut all = Vec::new();
        stream.read_to_end(&mut all).map_err(|e| e.to_string())?;
        let status = String::from_utf8_lossy(all.get(9..12).unwrap_or_default()).into_owned();
        println!("{path:34} {status} {:9.1} ms {:9} bytes  {} MiB", begun.elapsed().as_secs_f64() * 1e3, all.len(), self.memory());
        Ok(())
    }

    /// The most memory that the program had so far, MiB, by Linux; 0 elsewhere.
    fn memory(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        line.and_then(|line| line.split_whitespace().next()).and_then(|figure| figure.parse::<u64>().ok()).unwrap_or(0) / 1024
    }
}

impl Drop for Office {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
