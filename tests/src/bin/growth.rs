//! One process's points of how time and memory grow, a line of JSON each: `growth FOLDER HOLES WHAT`, where WHAT is `store`, which makes the
//! store in the folder, then `judge`, `print` or `page`, which read it. The office's program is the one beside this.

use std::path::Path;
use std::process::ExitCode;
use tests::measure::growth::{PARTS, Point};

fn main() -> ExitCode {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let [folder, holes, what] = &given[..] else {
        eprintln!("growth: give a folder, how many holes, and what to do with them");
        return ExitCode::from(2);
    };
    match points(Path::new(folder), holes, what) {
        Ok(points) => {
            points.iter().filter_map(|point| serde_json::to_string(point).ok()).for_each(|line| println!("{line}"));
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("growth: {why}");
            ExitCode::FAILURE
        }
    }
}

fn points(folder: &Path, holes: &str, what: &str) -> Result<Vec<Point>, String> {
    let holes = holes.parse().map_err(|e| format!("{holes}: {e}"))?;
    let part = PARTS.iter().find(|(name, _)| *name == what).ok_or_else(|| format!("{what} is none of store, judge, print, page"))?;
    (part.1)(folder, holes)
}
