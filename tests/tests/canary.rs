//! The oracle of the power cuts catches a ring that is wrong on purpose.

use firmware_app::memory::Memory;
use simulator::frail::{Dead, FrailMemory};
use tests::cuts::oracle::aftermath;
use tests::cuts::script::{Length, cuts};

/// A memory that says that all is kept, and has not seen to it: a journal without barriers is one.
struct WithoutBarrier(FrailMemory, u32);

impl Memory for WithoutBarrier {
    type Error = Dead;
    fn size(&self) -> u32 {
        self.0.size()
    }
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), Dead> {
        self.0.read(at, into)
    }
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Dead> {
        self.0.write(at, bytes)
    }
    fn barrier(&mut self) -> Result<(), Dead> {
        self.1 += 1;
        if self.1.is_multiple_of(8) { self.0.barrier() } else { Ok(()) }
    }
}

#[test]
fn a_ring_without_barriers_is_caught_and_ours_is_not() {
    let failing = |cuts: Vec<tests::cuts::script::Cut>| {
        cuts.iter().filter(|cut| cut.byte % 16 == 0 && aftermath(cut, cut.byte, true).is_err()).count()
    };
    assert_eq!(failing(cuts(Length::Long, 3, |memory| memory)), 0);
    let caught = failing(cuts(Length::Long, 3, |memory| WithoutBarrier(memory, 0)));
    assert!(caught > 20, "only {caught} of its cuts were caught");
}
