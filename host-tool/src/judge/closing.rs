//! What the hub, touched again, says of the depth that was read before it: a correction, and what that is worth.
//!
//! Depth counts from where the tip was on the hub. What comes to lie between that touch and the next moves the zero: a rig
//! that sinks while it drills and a rope that slips read too shallow, a tool shorter than its table says too deep. The
//! next touch shows all of it as the misclosure: what the rig reads where there is nothing to read. It is a known effect
//! of known sign, so it is corrected and not widened over (JCGM 100:2008, 3.2.4), as surveyors distribute a misclosure
//! by when it can have come about:
//!
//! - *Settling* goes with cutting, which was done when the bottom was reached: all of it was in the depth read there.
//! - *Slip* goes with lifting a full tool. Of n lifts between the two touches k lie before the bottom was reached, so that
//!   k/n of it was in the depth read there, where no lift is likelier to slip than another.
//! - *A tool's length* is in all depths that were read with that tool. Where another came on after the bottom was
//!   reached, the misclosure may be all that one's.
//! - *Setting the tip on the hub* is in both touches; with the correction it is the second one's that counts, of the same size.
//!
//! So between k/n of the misclosure and all of it was in the depth read. The middle is taken off, and half of the range stays as
//! a rectangular error. Without lifts on record that is half and half: nobody knows when it came about.
//!
//! What a touch cannot show is not corrected: rope stretched or slack at the bottom is neither at the hub. Nor does the axis
//! move with it: a few millimetres deeper along a bore that leans by 20 mm/m are less than a tenth of one to the side.

use super::axis::metres;
use crate::facts::{SetUp, Timed};
use shared_protocol::record::Hub;
use shared_protocol::units::Micrometres;

/// A correction of depth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// To be added to the depth that the rig read, metres.
    pub value: f64,
    /// Half-width of what it may be off by for not knowing when the misclosure came about, metres.
    pub within: f64,
}

/// The correction of the bottom's depth by the first touch of the hub after the bottom was reached.
///
/// `None` where the hub was not touched since; where depth was not tied before that touch, so that nothing closes; and where
/// it closes worse than the most accepted, or than nobody knows what: a blunder is to be found, not to be distributed.
#[must_use]
pub fn correction(setup: &SetUp) -> Option<Correction> {
    let most = metres(setup.identity.as_ref()?.misclosure_limit);
    let reached = reached(setup)?;
    let closing = setup.hubs.iter().find(|hub| hub.sequence > reached).filter(|hub| hub.body.first == 0)?;
    let misclosure = metres(closing.body.misclosure);
    let least = least_share(setup, reached, closing);
    let middle = misclosure * f64::midpoint(1.0, least);
    (misclosure.abs() <= most).then(|| Correction { value: 0.0 - middle, within: (misclosure - middle).abs() })
}

/// The least share of a misclosure that was in the depth of the bottom already: that of the lifts before it was reached.
fn least_share(setup: &SetUp, reached: u32, closing: &Timed<Hub>) -> f64 {
    let tied = setup.hubs.iter().rev().find(|hub| hub.sequence < reached).map_or(0, |hub| hub.sequence);
    let another = setup.tools.iter().any(|tool| (reached..closing.sequence).contains(&tool.sequence));
    let lifts = |from: u32, to: u32| setup.passes.iter().filter(|p| (from..to).contains(&p.sequence)).fold(0.0, |n, _| n + 1.0);
    let all: f64 = lifts(tied, closing.sequence);
    if another || all == 0.0 { 0.0 } else { lifts(tied, reached) / all }
}

/// The record that says when the bottom was reached: the first pass that left it there, else the last increment.
fn reached(setup: &SetUp) -> Option<u32> {
    let last = setup.increments.last();
    let bottom: Micrometres = setup.closed.as_ref().map(|c| c.body.bottom).or_else(|| last.map(|i| i.body.depth))?;
    let left = setup.passes.iter().find(|pass| pass.body.bottom.0 >= bottom.0).map(|pass| pass.sequence);
    left.or_else(|| last.map(|increment| increment.sequence))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::read;
    use crate::judge::judge;
    use shared_protocol::assemble::slots;
    use shared_protocol::record::{Change, Closed, Identity, Increment, Opened, Pass, Plan, Record, Tool};
    use shared_protocol::slot::{RECORD_BYTES_MAX, Slot};
    use shared_protocol::state::{Check, ReferenceState};

    /// What is done at a hole, mm below the hub.
    #[derive(Clone, Copy)]
    enum Act {
        /// A pass that leaves the bottom here.
        Pass(i32),
        /// A touch that closes to this.
        Touch(i32),
        /// A touch where depth was not tied.
        Tie,
        /// An increment whose bottom is 1 m.
        Step,
        /// Another tool.
        Tool,
        /// The record of the rig, with the most misclosure accepted.
        Rig(i32),
        /// The hole is closed with its bottom here.
        Close(i32),
    }
    use Act::{Close, Pass as Leave, Rig, Step, Tie, Tool as Mount, Touch};

    fn record(act: Act) -> Record {
        let mm = Micrometres::from_mm;
        match act {
            Leave(bottom) => Record::Pass(Pass { bottom: mm(bottom), ..Pass::default() }),
            Touch(misclosure) => Record::Hub(Hub { misclosure: mm(misclosure), ..Hub::default() }),
            Tie => Record::Hub(Hub { first: 1, ..Hub::default() }),
            Step => Record::Increment(Increment { depth: mm(1_000), samples: 20, ..Increment::default() }),
            Mount => Record::Tool(Tool::default()),
            Rig(misclosure_limit) => Record::Identity(Identity { misclosure_limit: mm(misclosure_limit), ..Identity::default() }),
            Close(bottom) => Record::Closed(Closed { bottom: mm(bottom), ..Closed::default() }),
        }
    }

    /// A set-up of these acts after its plan, the hub 120 mm above the datum.
    fn setup(acts: &[Act]) -> SetUp {
        let mut all: Vec<Slot> = Vec::new();
        let mut add = |record: &Record| {
            let mut body = [0; RECORD_BYTES_MAX];
            let used = record.encode(&mut body).unwrap();
            let next = all.last().map_or(0, |slot| slot.sequence() + 1);
            all.extend(slots(next, 1, record.kind(), &body[..used]).unwrap());
        };
        let plan = Plan { hub_above_datum: Micrometres::from_mm(120), ..Plan::default() };
        add(&Record::Opened(Opened { plan, ..Opened::default() }));
        add(&Record::Change(Change { check: Check::Reference.raw(), state: ReferenceState::Hub.raw(), ..Change::default() }));
        acts.iter().for_each(|act| add(&record(*act)));
        read(&all).remove(0)
    }

    /// Value and half-width in hundredths of a millimetre.
    #[allow(clippy::cast_possible_truncation)] // a few millimetres
    fn corrected(acts: &[Act]) -> Option<(i32, i32)> {
        correction(&setup(acts)).map(|c| ((c.value * 1e5).round() as i32, (c.within * 1e5).round() as i32))
    }

    /// By hand: of four lifts three were before the bottom was reached in the fourth, so that 3/4 to all of 4 mm, 3.5 mm give
    /// or take 0.5 mm, were in the depth read; the hub reads 4 mm too shallow, and so did the bottom.
    #[test]
    fn a_misclosure_is_distributed_by_the_lifts_before_the_bottom_was_reached() {
        let hole = |closes| [Rig(7), Tie, Step, Leave(700), Leave(1_400), Leave(2_100), Leave(2_800), Touch(closes), Close(2_800)];
        assert_eq!(corrected(&hole(-4)), Some((350, 50)));
        assert_eq!(corrected(&hole(4)), Some((-350, 50)), "too deep is too deep");
        assert_eq!(corrected(&hole(0)), Some((0, 0)));
        let judged = judge(&setup(&hole(-4)));
        assert!((judged.depth.unwrap() - (2.8 - 0.12 + 0.003_5)).abs() < 1e-12, "{:?}", judged.depth);
        let rows = &judged.budgets.unwrap().depth.rows;
        let row = rows.iter().find(|row| row.correction.is_some()).unwrap();
        assert!((row.correction.unwrap() - 0.003_5).abs() < 1e-12 && (row.value.end().unwrap() - 0.000_5).abs() < 1e-12, "{row:?}");
        assert!(rows.iter().all(|row| !row.source.contains("sinking")), "what is corrected is not allowed for again");
    }

    /// The bottom of the first pass, and two lifts of crumbs after it: nought to all of 4 mm.
    #[test]
    fn nobody_knows_when_it_came_about_where_no_lift_says_so() {
        assert_eq!(corrected(&[Rig(7), Tie, Step, Leave(2_800), Leave(2_800), Leave(2_800), Touch(-4), Close(2_800)]), Some((200, 200)));
        let lost = corrected(&[Rig(7), Tie, Step, Touch(-4), Close(1_000)]);
        assert_eq!(lost, Some((200, 200)), "no pass on record");
        let another = [Rig(7), Tie, Step, Leave(700), Leave(1_400), Mount, Touch(-4), Close(1_400)];
        assert_eq!(corrected(&another), Some((200, 200)), "another tool's length is in the closing touch alone");
    }

    /// Depth was tied anew on the way: 1 of 2 lifts since, and what closed before is not in it. A bottom that was reached
    /// before that touch takes that one's.
    #[test]
    fn the_touches_on_either_side_of_the_bottom_count() {
        let below = [Rig(7), Tie, Step, Leave(700), Touch(6), Leave(1_400), Leave(2_100), Touch(-4), Close(2_100)];
        assert_eq!(corrected(&below), Some((300, 100)));
        let above = [Rig(7), Tie, Step, Leave(700), Leave(2_100), Touch(-4), Leave(2_100), Touch(6), Close(2_100)];
        assert_eq!(corrected(&above), Some((300, 100)));
    }

    #[test]
    fn what_does_not_close_or_closes_too_badly_corrects_nothing() {
        for acts in [
            &[Rig(7), Tie, Step, Leave(2_800), Close(2_800)][..],
            &[Rig(7), Tie, Step, Leave(2_800), Tie, Touch(-4), Close(2_800)],
            &[Rig(7), Tie, Step, Leave(2_800), Touch(-8), Close(2_800)],
            &[Tie, Step, Leave(2_800), Touch(-4), Close(2_800)],
            &[Rig(7), Tie, Step, Leave(2_800), Touch(i32::MIN / 1_000), Close(2_800)],
        ] {
            let judged = judge(&setup(acts));
            assert!(judged.correction.is_none());
            let rows = judged.budgets.unwrap().depth.rows;
            let sinking = rows.iter().find(|row| row.source.contains("sinking")).unwrap();
            assert_eq!(sinking.value.end(), Some(0.005), "the allowance stands instead");
            let worst = setup(acts).hubs.iter().filter(|h| h.body.first == 0).map(|h| metres(h.body.misclosure).abs()).fold(0.0, f64::max);
            assert_eq!(rows.iter().find(|row| row.source.contains("misclosure")).unwrap().value.end(), Some(worst));
        }
    }
}
