//! Prints a season of invented holes into a folder: `season HOLES FOLDER`; with a second run in the same folder it goes on. Says how
//! long it took and how much memory, after a tenth and after all.

use host_tool::papers::Job;
use host_tool::store::Store;
use std::path::Path;
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};
use std::time::Instant;
use tests::samples::keep_season;

fn main() -> ExitCode {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let [holes, folder] = &given[..] else {
        eprintln!("season: give how many holes, and a folder for their papers");
        return ExitCode::from(2);
    };
    match holes.parse().map_err(|e| format!("{holes}: {e}")).and_then(|holes| season(holes, Path::new(folder))) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("season: {why}");
            ExitCode::FAILURE
        }
    }
}

fn season(holes: u32, folder: &Path) -> Result<(), String> {
    let mut store = Store::in_memory(1).map_err(|e| e.to_string())?;
    keep_season(&mut store, holes).map_err(|e| e.to_string())?;
    println!("{holes} holes are stored; {} MiB", peak());
    let since = Instant::now();
    let job = Job::of(&store, &[], None).map_err(|e| e.to_string())?;
    let (done, tenth) = (AtomicUsize::new(0), job.papers() / 10);
    println!("{} papers to print, found in {:.1} s; {} MiB", job.papers(), since.elapsed().as_secs_f64(), peak());
    let since = Instant::now();
    let said = |_: &_| {
        if done.fetch_add(1, Relaxed) + 1 == tenth {
            println!("a tenth in {:.1} s; {} MiB", since.elapsed().as_secs_f64(), peak());
        }
    };
    let printed = job.print(folder, said).map_err(|e| e.to_string())?;
    let there = printed.iter().filter(|paper| paper.was_there).count();
    println!("{} papers, {there} of them there already, in {:.1} s; {} MiB", printed.len(), since.elapsed().as_secs_f64(), peak());
    Ok(())
}

/// The most memory that this process had so far, MiB, by Linux; 0 elsewhere.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()).and_then(|figure| figure.parse::<u64>().ok()).unwrap_or(0) / 1024
}
