//! `office`: the pages over a store without a rig, for whoever looks through holes, reviews and prints.

use crate::page::{self, Deeds, Page};
use crate::station::wall;
use crate::{Failure, stores};
use host_tool::readout::Readout;
use serde_json::json;
use std::io::{Write, stdout};
use std::path::Path;
use std::time::{Duration, Instant};

/// How often the pages are told that all is as it was.
const STILL_HERE: Duration = Duration::from_millis(250);

/// Serves until somebody ends it, or for so long.
pub fn office(store: &Path, wanted: page::Wanted, open: bool, for_ms: Option<u64>) -> Result<(), Failure> {
    drop(stores::open_existing(store)?); // what is wrong with it is said now, not on a page
    let page = Page::start(wanted, store)?;
    writeln!(stdout(), "{}", page.greeting())?;
    stdout().flush()?;
    if open {
        page::open(&format!("{}holes", page.url()))?;
    }
    let (begun, mut deeds) = (Instant::now(), Deeds::default());
    while for_ms.is_none_or(|limit| begun.elapsed() < Duration::from_millis(limit)) {
        if let Ok(asked) = page.asked.recv_timeout(STILL_HERE) {
            deeds.begin(&asked.id, asked.act.word());
            deeds.end(&asked.id, "there is no rig here: listen to one with borewitness listen", false);
        }
        let mut sight = serde_json::to_value(Readout::default().sight(0, &[])).unwrap_or_default();
        if let Some(sight) = sight.as_object_mut() {
            sight.insert("run".to_owned(), json!(page.run));
            sight.insert("wall".to_owned(), json!(wall().rfc3339()));
            sight.insert("acts".to_owned(), json!(deeds.all()));
            sight.insert("why_nothing".to_owned(), json!("this is the office: no rig is listened to"));
        }
        page.show(sight.to_string());
    }
    Ok(())
}
