//! Feeds mutated frames to the decoder, and every sixteenth to a whole rig: `fuzz [runs] [seed]`.

use firmware_app::board::Outlet;
use firmware_app::memory::Memory;
use firmware_app::profile::Profile;
use firmware_app::rig::Rig;
use shared_protocol::state::ResetCause;
use shared_protocol::units::Millis;
use std::process::ExitCode;
use tests::fuzz::Fuzzer;

/// Memory of the fuzzed rig: small, so that it wraps often.
struct Ram(Vec<u8>);

impl Memory for Ram {
    type Error = ();
    fn size(&self) -> u32 {
        u32::try_from(self.0.len()).unwrap_or(u32::MAX)
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), ()> {
        let at = usize::try_from(at).map_err(drop)?;
        into.copy_from_slice(self.0.get(at..at + into.len()).ok_or(())?);
        Ok(())
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
        let at = usize::try_from(at).map_err(drop)?;
        self.0.get_mut(at..at + bytes.len()).ok_or(())?.copy_from_slice(bytes);
        Ok(())
    }
    fn barrier(&mut self) -> Result<(), ()> {
        Ok(())
    }
}

/// A host that takes everything and keeps nothing.
struct Sink;

impl Outlet for Sink {
    fn room(&self) -> usize {
        4_096
    }
    fn send(&mut self, _frame: &[u8]) {}
}

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1).map(|a| a.replace('_', "").parse::<u64>());
    let (Ok(runs), Ok(seed)) = (arguments.next().unwrap_or(Ok(10_000_000)), arguments.next().unwrap_or(Ok(1))) else {
        eprintln!("fuzz: give the number of runs and a seed, both whole numbers");
        return ExitCode::from(2);
    };
    let mut fuzzer = Fuzzer::new(seed);
    let mut rig = Rig::start(Ram(vec![0; 16_384]), Profile::bench(), ResetCause::Power, Millis(0));
    for run in 0..runs {
        fuzzer.run();
        if run % 16 == 0 {
            let frame = fuzzer.frame();
            let now = Millis(u32::try_from(run % u64::from(u32::MAX)).unwrap_or(0));
            rig.poll(now, None, &frame, &mut Sink);
        }
    }
    let seen = fuzzer.seen;
    println!(
        "{runs} frames, seed {seed}: {:.1} % reached a parser; {} records and {} messages read, {} refused, no panic",
        seen.share() * 100.0,
        seen.records,
        seen.messages,
        seen.refused
    );
    if seen.share() < 0.5 {
        eprintln!("fuzz: fewer than half reached a parser: the mutations are too rough to prove anything");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}
