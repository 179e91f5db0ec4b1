//! A structure for other programs: metres, degrees and cubic metres, line axes; what is not known is null.

use super::Structure;
use super::answer::Ready;
use super::frame::{Arm, Ground};
use super::leg::{Leg, Remedy, Stage};
use crate::judge::{Figure, LineAxes};
use crate::paper::attached::limit_judged;
use crate::structure::level;
use serde_json::{Value, json};

/// The structure.
#[must_use]
pub fn structure(structure: &Structure<'_>) -> Value {
    let frame = &structure.frame;
    json!({
        "line": structure.line,
        "structure": structure.structure,
        "ready": ready(structure.answer.ready),
        "why": structure.answer.why,
        "do": structure.answer.act,
        "legs": (0..structure.legs.len()).map(|n| leg_of(structure, n)).collect::<Vec<_>>(),
        "fit": frame.fit.as_ref().map(|fit| json!({
            "room_m": figure(fit.most),
            "room_at_stakes_m": figure(fit.at_stake),
            "shift_m": pair(fit.shift),
            "room_if_poles_are_larger_m": fit.if_larger,
            "legs": fit.legs.iter().map(|seat| json!({
                "room_m": seat.room,
                "room_at_stake_m": seat.at_stake,
                "place_m": pair(seat.place),
                "tightest_at_m": seat.tightest,
                "governs": seat.governs,
                "largest_butt_m": seat.largest_butt,
            })).collect::<Vec<_>>(),
        })),
        "room": frame.room.iter().map(limit_judged).collect::<Vec<_>>(),
        "fit_not_known": frame.unknown,
        "arm_planned": frame.planned.as_ref().map(arm),
        "arm_drilled": frame.drilled.as_ref().map(arm),
        "spacings": frame.spacings.iter().map(|spacing| json!({
            "legs": [spacing.legs.0, spacing.legs.1],
            "taped_level_m": figure(spacing.taped),
            "shorter_than_along_slope_m": spacing.shortened,
            "framed_m": spacing.framed,
            "by_centres_m": spacing.by_middles.map(figure),
            "contradicted": spacing.contradicts(),
        })).collect::<Vec<_>>(),
    })
}

/// Whether the poles can go in, in a word.
#[must_use]
pub const fn ready(ready: Ready) -> &'static str {
    match ready {
        Ready::Set => "set",
        Ready::Yes => "yes",
        Ready::Unlevel => "unlevel",
        Ready::NotShown => "not_shown",
        Ready::NotYet => "not_yet",
        Ready::No => "no",
    }
}

/// A leg by its place in the structure; null where there is none.
#[must_use]
pub fn leg_of(structure: &Structure<'_>, n: usize) -> Value {
    structure.legs.get(n).map_or(Value::Null, |one| leg(one, structure.frame.earth.get(n).copied().flatten()))
}

fn leg(leg: &Leg<'_>, ground: Option<Ground>) -> Value {
    json!({
        "hole": leg.hole,
        "stage": match leg.stage {
            Stage::Planned => "planned",
            Stage::UnderWay => "under_way",
            Stage::Drilled => "drilled",
            Stage::GivenUp => "given_up",
            Stage::PoleSet => "pole_set",
        },
        "state": leg.state.map(crate::entry::HoleState::word),
        "set_ups": leg.attempt.set_ups.iter().map(|hole| hole.handle.as_str()).collect::<Vec<_>>(),
        "earlier_attempts": leg.earlier.iter().map(|(number, state)| json!({
            "attempt": number, "state": state.map(crate::entry::HoleState::word),
        })).collect::<Vec<_>>(),
        "planned_depth_m": leg.planned,
        "basis": leg.plan.and_then(|plan| plan.basis).map(crate::sheet::Basis::text),
        "datum": leg.datum.map(crate::sheet::datum_text),
        "depth_m": leg.depth.map(figure),
        "sounded": leg.attempt.is_sounded(),
        "centre_m": leg.attempt.middle().map(|(middle, standard)| json!({ "ahead": middle.ahead, "right": middle.right, "standard": standard })),
        "cuts": leg.attempt.cuts.iter().map(|cut| json!({ "diameter_m": cut.diameter, "bottom_m": cut.bottom })).collect::<Vec<_>>(),
        "butt_m": leg.pole.map(|pole| 2.0 * pole.butt),
        "butt_known": leg.pole.map(|pole| pole.girth.text()),
        "embedment_m": leg.embedment.map(figure),
        "ticket": leg.ticket,
        "verdicts": leg.verdicts.iter().map(limit_judged).collect::<Vec<_>>(),
        "findings": leg.findings.iter().map(|finding| json!({ "what": finding.what, "remedy": finding.remedy.map(remedy) })).collect::<Vec<_>>(),
        "proposed": remedy(leg.proposed),
        "accepted": leg.accepted.as_ref().map(|accepted| json!({
            "disposition": accepted.disposition,
            "by": accepted.by,
            "at": accepted.at.rfc3339(),
            "reason": accepted.reason,
            "overtaken": accepted.overtaken,
        })),
        "hole_m3": ground.map(|ground| figure(ground.hole)),
        "earth_m3": ground.and_then(|ground| ground.earth).map(|earth| json!({
            "backfill": earth.backfill, "loose": earth.loose, "keep": earth.keep, "left": earth.left,
        })),
    })
}

fn remedy(remedy: Remedy) -> Value {
    json!({ "what": remedy.what, "by_m": remedy.by })
}

fn arm(arm: &Arm) -> Value {
    let (remedy, by) = match &arm.remedy {
        None => ("no window", None),
        Some(level::Remedy::Level) => ("level", None),
        Some(level::Remedy::Deepen(by)) => ("deepen", Some(by.clone())),
        Some(level::Remedy::Fill(by)) => ("fill", Some(by.clone())),
        Some(level::Remedy::Both(by)) => ("deepen or fill", Some(by.clone())),
        Some(level::Remedy::OtherPoles(by)) => ("other poles", Some(vec![*by])),
    };
    json!({
        "right_end_higher_m": figure(arm.tilt.rise),
        "tilt_deg": figure(arm.tilt.degrees),
        "spacing_m": arm.spacing,
        "poles_taped": arm.taped,
        "remedy": remedy,
        "by_m": by,
        "verdicts": arm.verdicts.iter().map(limit_judged).collect::<Vec<_>>(),
    })
}

fn figure(figure: Figure) -> Value {
    json!({ "value": figure.value, "expanded": figure.expanded })
}

fn pair(pair: LineAxes) -> Value {
    json!({ "ahead": pair.ahead, "right": pair.right })
}
