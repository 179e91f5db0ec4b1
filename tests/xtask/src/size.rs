//! `size`: holds the image's flash, RAM, stack and work per turn, ordinary and long, against the board's budget.
//!
//! Flash and RAM are read off the image. Stack and work are measured in a whole session on the emulated board,
//! where each instruction takes 1024 ns: the board's 25 MHz timer counts 25.6 ticks for each.

use crate::emulator::Run;
use crate::host::Host;
use crate::image::Image;
use crate::lockstep::{Board, Figures};
use crate::session::Session;
use crate::{Outcome, board, firmware};
use serde::Deserialize;
use std::path::Path;

/// The most of everything that the board may take.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Budget {
    flash_bytes: u64,
    ram_bytes: u64,
    stack_bytes: u64,
    worst_turn_instructions: u64,
    long_turn_instructions: u64,
}

/// 1024 ns at 25 MHz are 25.6 ticks, or 128 fifths of one.
const FIFTHS_OF_TICKS_PER_INSTRUCTION: u64 = 128;

/// What the image takes.
#[derive(Clone, Copy, Debug)]
pub struct Sizes {
    pub flash: u64,
    /// Flash by what a loader would write.
    pub loaded: u64,
    pub without_seal: u64,
    pub ram: u64,
    pub stack: u64,
    /// Instructions of a turn.
    pub worst: u64,
    pub long: u64,
    pub mean: u64,
    pub turns: u32,
}

/// Reads an image and measures it in a whole session.
pub fn sizes(path: &Path) -> Outcome<Sizes> {
    let image = Image::read(path)?;
    let figures = measure(path, &image)?;
    if figures.long == 0 {
        return Err("no long turn was measured: nothing was sealed".into());
    }
    Ok(Sizes {
        flash: image.flash,
        loaded: image.loaded,
        without_seal: image.flash.saturating_sub(image.sealing),
        ram: image.ram,
        stack: figures.stack.into(),
        worst: instructions(figures.worst),
        long: instructions(figures.long),
        mean: instructions(figures.mean_x16) / 16,
        turns: figures.turns,
    })
}

pub fn run() -> Outcome {
    let path = firmware::build()?;
    let budget = budget()?;
    let sizes = sizes(&path)?;
    let rows = [
        ("flash, bytes", sizes.flash, budget.flash_bytes),
        ("RAM for variables, bytes", sizes.ram, budget.ram_bytes),
        ("most stack, bytes", sizes.stack, budget.stack_bytes),
        ("worst turn, instructions", sizes.worst, budget.worst_turn_instructions),
        ("long turn, instructions", sizes.long, budget.long_turn_instructions),
    ];
    println!("{:<26}{:>10}{:>10}", "", "used", "budget");
    for (what, used, most) in rows {
        println!("{what:<26}{used:>10}{most:>10}{}", if used > most { "  over" } else { "" });
    }
    println!("mean of {} turns: {} instructions", sizes.turns, sizes.mean);
    judge(&rows)
}

fn instructions(ticks: u32) -> u64 {
    u64::from(ticks) * 5 / FIFTHS_OF_TICKS_PER_INSTRUCTION
}

fn judge(rows: &[(&str, u64, u64)]) -> Outcome {
    let over: Vec<_> = rows.iter().filter(|(_, used, most)| used > most).map(|(what, ..)| *what).collect();
    if over.is_empty() { Ok(()) } else { Err(format!("over the board's budget: {}", over.join("; "))) }
}

fn budget() -> Outcome<Budget> {
    let path = board::folder().join("budget.toml");
    let text = std::fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    toml::from_str(&text).map_err(|error| format!("{}: {}", path.display(), error.message()))
}

/// A session of two runs on one memory; the worst of both.
fn measure(path: &Path, image: &Image) -> Outcome<Figures> {
    let folder = board::target_folder().join("measured");
    let _ = std::fs::remove_file(folder.join("memory")); // begin on an empty one
    let run = Run { image: path, strap: image.strap, folder: &folder, lock_step: true, sensors: None, counted: true };
    let (mut host, mut tip) = (Host::new()?, 0);
    let mut first = Board::start(&run)?;
    Session::new(&mut first, &mut host, &mut tip).first_half()?;
    let a = first.figures()?;
    drop(first);
    let mut second = Board::start(&run)?;
    Session::new(&mut second, &mut host, &mut tip).second_half()?;
    let b = second.figures()?;
    let turns = a.turns + b.turns;
    let sum = u64::from(a.mean_x16) * u64::from(a.turns) + u64::from(b.mean_x16) * u64::from(b.turns);
    let mean_x16 = u32::try_from(sum.checked_div(turns.into()).unwrap_or(0)).unwrap_or(u32::MAX);
    Ok(Figures { stack: a.stack.max(b.stack), worst: a.worst.max(b.worst), long: a.long.max(b.long), turns, mean_x16 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_of_a_budget_may_be_used_and_no_more() {
        assert_eq!(judge(&[("flash", 10, 10), ("RAM", 9, 10)]), Ok(()));
        assert_eq!(judge(&[("flash", 11, 10), ("RAM", 9, 10), ("stack", 2, 1)]), Err("over the board's budget: flash; stack".into()));
    }

    #[test]
    fn an_instruction_is_25_6_ticks() {
        assert_eq!((instructions(256), instructions(2_559), instructions(2_560)), (10, 99, 100));
    }

    #[test]
    fn the_boards_budget_can_be_read_and_a_misspelt_one_cannot() {
        assert!(budget().unwrap().flash_bytes > 0);
        assert!(toml::from_str::<Budget>("flash_byte = 1").is_err());
    }
}
