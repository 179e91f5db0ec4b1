//! One of the three costliest paths, gone through a known number of times, for counting its instructions: `paths WHAT COUNT OF`, where WHAT
//! is `judge`, `slots` or `paper`. What it goes through is made for OF times whatever the count, so that between two counts lies the path
//! alone.

use host_tool::facts::SetUp;
use host_tool::judge::judge;
use host_tool::papers::Job;
use host_tool::session::Stream;
use host_tool::store::Store;
use shared_protocol::chain::Chain;
use shared_protocol::slot::Slot;
use std::process::ExitCode;
use tests::samples::of_season;

fn main() -> ExitCode {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let gone = match &given[..] {
        [what, count, of] => match (count.parse(), of.parse()) {
            (Ok(count), Ok(of)) => through(what, count, of),
            _ => Err("give a path, how often to go through it, and for how often to make ready".to_owned()),
        },
        _ => Err("give a path, how often to go through it, and for how often to make ready".to_owned()),
    };
    match gone {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("paths: {why}");
            ExitCode::FAILURE
        }
    }
}

fn through(what: &str, count: u32, of: u32) -> Result<(), String> {
    let some = usize::try_from(count.min(of)).map_err(|e| e.to_string())?;
    match what {
        "judge" => {
            let setups: Vec<SetUp> = (0..of).map(|n| of_season(n).setup()).collect();
            setups.iter().take(some).for_each(|setup| drop(std::hint::black_box(judge(setup))));
            Ok(())
        }
        "slots" => slots(some, of),
        "paper" => paper(count.min(of), of).map_err(|e| e.to_string()),
        _ => Err(format!("{what} is none of judge, slots, paper")),
    }
}

/// Checked and digested one by one, as they come from a store.
fn slots(some: usize, of: u32) -> Result<(), String> {
    let all = of_season(0).slots();
    let bytes: Vec<[u8; 32]> = (0..of).zip(all.iter().cycle()).map(|(_, slot)| *slot.bytes()).collect();
    let mut chain = Chain::default();
    for one in bytes.iter().take(some) {
        chain.push(&Slot::check(one).map_err(|e| format!("{e:?}"))?);
    }
    std::hint::black_box(chain.end());
    Ok(())
}

/// Set, tagged and signed, out of a store in memory, on as many processors as there are.
fn paper(count: u32, of: u32) -> Result<(), Box<dyn std::error::Error>> {
    let mut store = Store::in_memory(1)?;
    for n in 0..of {
        store.keep(&Stream { rig: format!("SIM-{n}"), epoch: 1 }, &of_season(2 * n).slots())?;
    }
    let names: Vec<String> = (0..count).map(|n| format!("S-{}-left", n + 1)).collect();
    let folder = tempfile::tempdir()?;
    let printed = Job::of(&store, &names, None)?.print(folder.path(), |_| ())?;
    if printed.len() == names.len() { Ok(()) } else { Err("other papers than those".into()) }
}
