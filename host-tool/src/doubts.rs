//! What a person should know of the hole that is open: why nothing can be shown of it, and what the rig asks.

use crate::facts::SetUp;
use crate::judge::bars;
use shared_protocol::state::Check;

/// What there is to know.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Doubts {
    /// Why the guarded statements would be "not shown" whatever the figures, in plain words.
    pub reasons: Vec<String>,
    /// Going has been slow and nobody has said yet whether that is refusal.
    pub slow: bool,
}

impl Doubts {
    /// Reads them from a set-up.
    #[must_use]
    pub fn of(setup: &SetUp) -> Self {
        let going = setup.changes.iter().rev().find(|c| Check::from_raw(c.body.check) == Some(Check::Going));
        let answered = |since: u32| setup.refusals.iter().any(|r| r.sequence > since);
        Self { reasons: bars(setup), slow: going.is_some_and(|c| c.body.state == 1 && !answered(c.sequence)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::read;
    use shared_protocol::assemble::slots;
    use shared_protocol::record::{Change, Clock, Hub, Identity, Instruments, Opened, Record, Refusal, Stamp};
    use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
    use shared_protocol::state::CalibrationItem;
    use shared_protocol::units::{Micrometres, Millis};

    fn doubts(records: &[Record]) -> Doubts {
        let mut all: Vec<Slot> = Vec::new();
        let clock = Record::Clock(Clock { at: Millis(0), unix_ms: 20_000 * 86_400_000, offset: 0 });
        for record in [clock, Record::Opened(Opened::default())].iter().chain(records) {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = record.encode(&mut body).unwrap();
            let next = all.last().map_or(0, |slot| slot.sequence() + 1);
            all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
        }
        Doubts::of(&read(&all)[0])
    }

    fn going(state: u8) -> Record {
        Record::Change(Change { check: Check::Going.raw(), state, ..Change::default() })
    }

    #[test]
    fn slow_going_is_asked_about_until_it_is_over_or_answered() {
        let answer = || Record::Refusal(Refusal { confirmed: 0, ..Refusal::default() });
        assert!(doubts(&[going(1)]).slow);
        assert!(!doubts(&[going(1), going(0)]).slow);
        assert!(!doubts(&[going(1), answer()]).slow);
        assert!(doubts(&[going(1), answer(), going(0), going(1)]).slow, "slow again is asked again");
        assert!(!doubts(&[]).slow);
    }

    /// Day 20,000 is 2024-10-04.
    #[test]
    fn an_expired_calibration_or_a_misclosure_is_a_reason() {
        let stamp = |expires| Stamp { item: CalibrationItem::TiltZero.raw(), expires, ..Stamp::default() };
        let instruments =
            |expires| Record::Instruments(Instruments { stamps: [stamp(expires)].into_iter().collect(), ..Instruments::default() });
        assert_eq!(doubts(&[instruments(20_000)]).reasons, Vec::<String>::new());
        assert_eq!(doubts(&[instruments(19_999)]).reasons, ["the calibration of the tilt zero expired on 2024-10-03"]);
        let hub = |mm| Record::Hub(Hub { first: 0, misclosure: Micrometres::from_mm(mm), ..Hub::default() });
        let identity = || Record::Identity(Identity { misclosure_limit: Micrometres::from_mm(20), ..Identity::default() });
        assert_eq!(doubts(&[identity(), hub(-20)]).reasons, Vec::<String>::new());
        assert_eq!(doubts(&[identity(), hub(-21)]).reasons, ["misclosure on the hub is 21 mm, and 20 mm is the most accepted"]);
    }
}
