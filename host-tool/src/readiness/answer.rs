//! What stands in the way of each leg, what is proposed, and what the pole crew reads first: can the poles go in; if not,
//! why; what to do.

use super::Works;
use super::frame::{Arm, Frame};
use super::leg::{Finding, Leg, Remedy, Stage, standing};
use crate::entry::{Disposition, HoleState, NoteKind, Said, TicketStanding};
use crate::judge::limits::{Governs, Measurand};
use crate::judge::statement::name;
use crate::judge::{Guarded, Standing, Verdict};
use crate::limits_file::Limits;
use crate::paper::limits::{guarded, plain};
use crate::planned::warning;
use crate::sheet::leg_text;
use crate::structure::level;
use crate::structure::setting::rock_may_end_it;

/// Whether the poles can go in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ready {
    /// Poles stand in all holes.
    Set,
    /// They can, by what was measured and by the statement that decides.
    Yes,
    /// They can, and the arm between them would not be level; no limit that was named says how level it is to be.
    Unlevel,
    /// As measured they can, and the statement that decides does not show it.
    NotShown,
    /// Not all holes are drilled.
    NotYet,
    /// They cannot.
    No,
}

/// What the pole crew reads first.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Whether the poles can go in.
    pub ready: Ready,
    /// Why not, or what is not shown: one line each.
    pub why: Vec<String>,
    /// What to do: one line each.
    pub act: Vec<String>,
}

/// Everything that stands in the way of a leg, gravest first, then what is to be known only.
pub(super) fn findings(n: usize, leg: &Leg<'_>, frame: &Frame, works: &Works<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    if matches!(leg.stage, Stage::Drilled | Stage::UnderWay | Stage::PoleSet) {
        found.extend(depth(leg));
        found.extend(plumb(n, leg, frame, works.limits.and_then(Limits::governs)));
        found.extend(place(leg));
        found.extend(room(n, leg, frame));
        found.extend(another_plan(leg));
    }
    let shallow = leg.plan.and_then(crate::sheet::shallower_than_basis);
    found.extend(shallow.map(|what| known(format!("the planned depth of {what}"))));
    found.extend(met(leg));
    // of a hole that nobody has begun it is known whether there is a ticket, and not on which day it must hold
    let ticket = leg.plan.filter(|_| leg.stage != Stage::Planned || leg.ticket == TicketStanding::Missing);
    found.extend(ticket.and_then(|_| warning(leg.ticket)).map(|text| known(text.to_owned())));
    found.sort_by_key(|finding| finding.remedy.is_none());
    found
}

fn known(what: String) -> Finding {
    Finding { what, remedy: None }
}

fn finding(what: String, disposition: Disposition, by: Option<f64>) -> Finding {
    Finding { what, remedy: Some(Remedy { what: disposition, by }) }
}

/// How a verdict stands in words: "depth measured outside, short by 60 mm; shown outside".
fn said(leg: &Leg<'_>, verdict: &Verdict) -> String {
    format!("{} {}; {}", name(verdict.limit.measurand), plain(leg.units(), verdict), guarded(&verdict.guarded))
}

fn depth(leg: &Leg<'_>) -> Vec<Finding> {
    let contradicted = leg.attempt.last().is_some_and(|hole| hole.judged.contradicted);
    let mut found = Vec::new();
    if contradicted {
        found.push(finding("tape and rig contradict each other about the floor".to_owned(), Disposition::Sound, None));
    }
    let Some(figure) = leg.depth else {
        found.push(finding("nobody knows how deep it is".to_owned(), Disposition::Sound, None));
        return found;
    };
    let of_depth = leg.verdicts.iter().filter(|verdict| verdict.limit.measurand == Measurand::Depth);
    for verdict in of_depth {
        let short = verdict.limit.least.map(|least| least - figure.value).filter(|short| *short > 0.0);
        match (verdict.plain, short) {
            (Standing::Outside, Some(short)) if rock(leg) => {
                let whole = leg.planned.unwrap_or(figure.value);
                let rule = if rock_may_end_it(whole, figure.value, true) {
                    "; rock within 6 in of the depth may end it where the poles next to it are at their full depth (US Army SS0439)"
                } else {
                    ""
                };
                found.push(finding(format!("{}, in rock{rule}", said(leg, verdict)), Disposition::Engineer, Some(short)));
            }
            (Standing::Outside, Some(short)) => found.push(finding(said(leg, verdict), Disposition::Deepen, Some(short))),
            (Standing::Outside, None) => {
                found.push(finding(said(leg, verdict), Disposition::Fill, Some(figure.value - verdict.limit.most)));
            }
            (Standing::Within, _) if !leg.attempt.is_sounded() && matches!(verdict.guarded, Guarded::NotShown(_)) => {
                found.push(finding(said(leg, verdict), Disposition::Sound, None));
            }
            (Standing::Within, _) if verdict.guarded != Guarded::ShownWithin => found.push(known(said(leg, verdict))),
            _ => {}
        }
    }
    found
}

fn rock(leg: &Leg<'_>) -> bool {
    leg.attempt.said.iter().any(|entry| matches!(entry.said, Said::Note { what: NoteKind::Rock { .. } }))
}

/// Lean and toe: what the rig shows outside goes to the engineer, what it cannot show is plumbed by hand where that decides.
fn plumb(n: usize, leg: &Leg<'_>, frame: &Frame, governs: Option<Governs>) -> Vec<Finding> {
    let seat = frame.fit.as_ref().and_then(|fit| fit.legs.get(n)).filter(|seat| seat.room > 0.0);
    let yet = seat.map_or_else(String::new, |seat| {
        format!("; the pole itself would stand as planned in it with {} of room", leg.units().short(seat.room))
    });
    let of_bore = leg
        .verdicts
        .iter()
        .filter(|verdict| matches!(verdict.limit.measurand, Measurand::OverallLean | Measurand::LeanAnywhere | Measurand::Toe));
    let judged = of_bore.filter_map(|verdict| match (&verdict.plain, &verdict.guarded) {
        (_, Guarded::ShownOutside) => Some(finding(format!("{}{yet}", said(leg, verdict)), Disposition::Engineer, None)),
        (Standing::Outside | Standing::Unknown, _) => Some(finding(said(leg, verdict), Disposition::HandPlumb, None)),
        (Standing::Within, Guarded::NotShown(_)) if governs == Some(Governs::Guarded) => {
            Some(finding(said(leg, verdict), Disposition::HandPlumb, None))
        }
        (Standing::Within, Guarded::NotShown(_)) => Some(known(said(leg, verdict))),
        _ => None,
    });
    judged.collect()
}

fn place(leg: &Leg<'_>) -> Vec<Finding> {
    let of_place = leg.verdicts.iter().filter(|v| matches!(v.limit.measurand, Measurand::Centre | Measurand::Embedment));
    let judged = of_place.filter_map(|verdict| match (verdict.limit.measurand, verdict.plain) {
        (Measurand::Centre, Standing::Unknown) => {
            Some(known("nobody measured where its centre is off the stake, so it is taken as on it".to_owned()))
        }
        (_, Standing::Outside) => Some(finding(said(leg, verdict), Disposition::Engineer, None)),
        _ => None,
    });
    judged.collect()
}

/// Room for tamping. What a leg lacks is reamed away; the pole that would fit is said too.
fn room(n: usize, leg: &Leg<'_>, frame: &Frame) -> Option<Finding> {
    let fit = frame.fit.as_ref()?;
    let seat = fit.legs.get(n).filter(|seat| seat.governs)?;
    let verdict = frame.room.iter().find(|verdict| verdict.plain == Standing::Outside)?;
    let least = verdict.limit.least?;
    let wider = leg.attempt.cuts.first().map(|cut| cut.diameter + 2.0 * (least - seat.room));
    let units = leg.units();
    let butt = seat.largest_butt.map_or_else(String::new, |butt| format!("; the largest butt that has it is {} across", units.short(butt)));
    Some(finding(
        format!("room round the pole {} at its best place, {} wanted{butt}", units.short(seat.room), units.short(least)),
        Disposition::Ream,
        wider,
    ))
}

/// A hole that was drilled to another plan than the sheet's.
fn another_plan(leg: &Leg<'_>) -> Option<Finding> {
    let (plan, hole) = (leg.plan?, leg.attempt.last()?);
    let loaded = hole.judged.planned;
    let differs = (loaded - plan.depth_m).abs() > 1e-4;
    let units = leg.units();
    differs.then(|| {
        known(format!("drilled to a planned depth of {}, and the sheet now says {}", units.long(loaded), units.long(plan.depth_m)))
    })
}

/// What was met, said once each, and what an open hole owes.
fn met(leg: &Leg<'_>) -> Vec<Finding> {
    let open = matches!(leg.stage, Stage::Drilled | Stage::UnderWay) && !leg.state.is_some_and(HoleState::is_kept);
    let owes = open.then(|| "open: it owes a cover, a guard or attendance".to_owned());
    met_in(leg).into_iter().chain(owes).map(known).collect()
}

/// Water, rock, fall-in and casing as people said it, once each.
#[must_use]
pub fn met_in(leg: &Leg<'_>) -> Vec<String> {
    let units = leg.units();
    let mut lines: Vec<String> = Vec::new();
    for entry in &leg.attempt.said {
        let line = match &entry.said {
            Said::Water { depth_um: Some(depth) } => format!("water from {} on", units.long(super::attempt::um(*depth))),
            Said::Note { what: NoteKind::Rock { shot: true, by } } => format!("rock, shot by {by}"),
            Said::Note { what: NoteKind::Rock { shot: false, .. } } => "rock".to_owned(),
            Said::Note { what: NoteKind::FallIn } => "walls fell in".to_owned(),
            Said::Note { what: NoteKind::Casing { left: true } } => "casing left in".to_owned(),
            _ => continue,
        };
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines
}

/// The gravest remedy that a leg's findings ask for.
pub(super) fn proposed(leg: &Leg<'_>) -> Remedy {
    let all = leg.findings.iter().filter_map(|finding| finding.remedy);
    all.max_by(|a, b| a.what.cmp(&b.what).then(a.by.unwrap_or(0.0).total_cmp(&b.by.unwrap_or(0.0)))).unwrap_or(match leg.stage {
        Stage::GivenUp => Remedy { what: Disposition::Engineer, by: None },
        _ => Remedy { what: Disposition::Stands, by: None },
    })
}

impl Answer {
    /// Answers for a structure. Which statement decides is `governs`; where nobody has said, the plain one.
    pub(super) fn of(legs: &[Leg<'_>], frame: &Frame, governs: Option<Governs>) -> Self {
        let (mut why, mut act, mut ready) = (Vec::new(), Vec::new(), Ready::Set);
        let called = |leg: &Leg<'_>| if legs.len() > 1 { format!("{} leg: ", leg_text(leg.hole.leg)) } else { String::new() };
        for leg in legs {
            let mut worse = |state: Ready| ready = ready.max(state);
            let name = called(leg);
            match leg.stage {
                Stage::Planned => {
                    worse(Ready::NotYet);
                    act.push(format!("{name}drill it"));
                    continue;
                }
                Stage::UnderWay => {
                    worse(Ready::NotYet);
                    act.push(format!("{name}finish and close it"));
                }
                Stage::GivenUp => {
                    worse(Ready::NotYet);
                    why.push(format!("{name}{}", if leg.state == Some(HoleState::Backfilled) { "filled again" } else { "given up" }));
                    act.push(format!("{name}stake and drill another"));
                    continue;
                }
                Stage::PoleSet => {}
                Stage::Drilled => worse(Ready::Yes),
            }
            let stands = leg.accepted.as_ref().is_some_and(|accepted| accepted.disposition == Disposition::Stands && !accepted.overtaken);
            let in_the_way = leg.findings.iter().filter(|finding| finding.remedy.is_some());
            why.extend(in_the_way.map(|finding| format!("{name}{}", finding.what)));
            if leg.proposed.what != Disposition::Stands && !stands && leg.stage != Stage::UnderWay {
                let outside = leg.verdicts.iter().any(|verdict| verdict.plain == Standing::Outside);
                let in_doubt = !outside && governs == Some(Governs::Guarded) && leg.keeps(governs) == Standing::Unknown;
                worse(if in_doubt { Ready::NotShown } else { Ready::No });
            }
            if governs == Some(Governs::Guarded) && leg.stage == Stage::Drilled && !stands {
                for verdict in leg.verdicts.iter().filter(|verdict| standing(verdict, governs) == Standing::Unknown) {
                    worse(Ready::NotShown);
                    let line = format!("{name}{}", said(leg, verdict));
                    if !why.iter().any(|said| said.starts_with(&line)) {
                        why.push(line);
                    }
                }
            }
            if leg.proposed.what != Disposition::Stands && !stands {
                act.push(format!("{name}{}", super::words::remedy(leg)));
            }
        }
        let decided = legs.iter().any(|leg| leg.stage == Stage::Drilled);
        let in_doubt = |verdict: &&Verdict| verdict.plain == Standing::Within && standing(verdict, governs) == Standing::Unknown;
        for verdict in frame.room.iter().filter(in_doubt).filter(|_| decided) {
            ready = ready.max(Ready::NotShown);
            why.extend(legs.first().map(|leg| said(leg, verdict)));
        }
        if let Some(arm) = &frame.drilled {
            let drilled = legs.iter().all(|leg| matches!(leg.stage, Stage::Drilled));
            let judged = arm.verdicts.iter().map(|verdict| standing(verdict, governs)).max_by_key(|standing| match standing {
                Standing::Within => 0,
                Standing::Unknown => 1,
                Standing::Outside => 2,
            });
            let unlevel = match judged {
                Some(Standing::Within) => None,
                Some(Standing::Unknown) => Some(Ready::NotShown),
                Some(Standing::Outside) => Some(Ready::No),
                None => arm.is_out().then_some(Ready::Unlevel),
            };
            if let Some(unlevel) = unlevel.filter(|_| drilled) {
                ready = ready.max(unlevel);
                why.push(super::words::arm(arm, legs));
                act.extend(level_it(arm, legs));
            }
        }
        if ready == Ready::Yes && !frame.unknown.is_empty() {
            why.extend(frame.unknown.iter().map(|unknown| format!("whether the pole fits is not known: {unknown}")));
        }
        Self { ready, why, act }
    }
}

/// What makes an arm level, leg by leg.
fn level_it(arm: &Arm, legs: &[Leg<'_>]) -> Vec<String> {
    let each = |by: &[f64], down: &str, up: &str| -> Vec<String> {
        let moved = by.iter().zip(legs).filter(|(by, _)| by.abs() > 1e-3);
        let line = |(by, leg): (&f64, &Leg<'_>)| {
            let word = if *by > 0.0 { down } else { up };
            format!("{} leg: {word} by {} to level the arm", leg_text(leg.hole.leg), leg.units().short(by.abs()))
        };
        moved.map(line).collect()
    };
    let fill = "fill and tamp";
    match &arm.remedy {
        None => vec!["the sheet gives no window for embedment, so the engineer decides how to level the arm".to_owned()],
        Some(level::Remedy::Level) => Vec::new(),
        Some(level::Remedy::Deepen(by) | level::Remedy::Both(by)) => each(by, "deepen", fill),
        Some(level::Remedy::Fill(by)) => each(by, fill, fill),
        Some(level::Remedy::OtherPoles(lacking)) => {
            let units = legs.first().map_or(crate::paper::words::Units::Metric, Leg::units);
            vec![format!("only other pole lengths level the arm within the embedments allowed: {} is lacking", units.short(*lacking))]
        }
    }
}
