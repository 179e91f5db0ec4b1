//! A structure in lines of plain text: first what the pole crew must know, then leg by leg, then all legs together.

use super::Structure;
use super::answer::Ready;
use super::frame::{Arm, Frame, Ground, Spacing};
use super::leg::{Leg, Stage};
use crate::entry::Disposition;
use crate::judge::limits::Governs;
use crate::paper::words::Units;
use crate::paper::worth::Quantity;
use crate::sheet::{datum_text, leg_text};
use crate::structure::volume::{Soil, cubic_feet, cubic_yards};
use crate::text::terminal;
use crate::verdicts;

/// What is shown at the head of everything that says a pole can go in.
pub const CAUTION: &str = "Keep out from under loads and away from overhead lines; nobody goes into a hole. Cover, fence, guard or attend every \
open hole. Local codes and licensed people decide.";

/// What becomes of structures, in a word or two, gravest first.
pub const GROUPS: [(Ready, &str); 6] = [
    (Ready::No, "cannot take their poles"),
    (Ready::NotShown, "not shown"),
    (Ready::Unlevel, "ready, and the arm would not be level"),
    (Ready::NotYet, "not finished"),
    (Ready::Yes, "ready for their poles"),
    (Ready::Set, "with their poles set"),
];

/// The line that the pole crew reads first.
#[must_use]
pub fn headline(structure: &Structure<'_>) -> String {
    let simulated = if is_simulated(structure) { "SIMULATED  " } else { "" };
    terminal(&format!("{}  {simulated}{}", structure.structure, answer(structure)))
}

/// Whether the poles can go in: "the poles CAN GO IN".
#[must_use]
pub fn answer(structure: &Structure<'_>) -> String {
    let many = structure.legs.len() > 1;
    let (poles, holes) = if many { ("the poles", "holes") } else { ("the pole", "hole") };
    match structure.answer.ready {
        Ready::Set => format!("{poles} stand{}", if many { "" } else { "s" }),
        Ready::Yes => format!("{poles} CAN GO IN"),
        Ready::Unlevel => format!("{poles} CAN GO IN; the arm would not be level"),
        Ready::NotShown => format!("{poles} would go in as measured; NOT SHOWN"),
        Ready::NotYet => format!("NOT YET: the {holes} {} not finished", if many { "are" } else { "is" }),
        Ready::No if structure.legs.iter().all(|leg| leg.stage == Stage::PoleSet) => {
            format!("{poles} stand{}, AND NOT AS PLANNED", if many { "" } else { "s" })
        }
        Ready::No => format!("{poles} CANNOT GO IN"),
    }
}

/// How far a leg's hole has come.
#[must_use]
pub const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Planned => "planned",
        Stage::UnderWay => "under way, not closed",
        Stage::Drilled => "drilled",
        Stage::GivenUp => "given up",
        Stage::PoleSet => "pole set",
    }
}

fn is_simulated(structure: &Structure<'_>) -> bool {
    let holes = structure.legs.iter().flat_map(|leg| &leg.attempt.set_ups);
    holes.filter_map(|hole| hole.setup.identity.as_ref()).any(|identity| identity.simulated)
}

/// Why and what to do, a line each, below [`headline`].
#[must_use]
pub fn first(structure: &Structure<'_>) -> Vec<String> {
    let why = structure.answer.why.iter().map(|why| format!("why  {why}"));
    let act = structure.answer.act.iter().map(|act| format!("do   {act}"));
    why.chain(act).map(|line| terminal(&line)).collect()
}

/// What to do with a leg: "deepen by 60 mm".
#[must_use]
pub fn remedy(leg: &Leg<'_>) -> String {
    let units = leg.units();
    let by = leg.proposed.by.map(|by| units.excess(by));
    match (leg.proposed.what, by) {
        (Disposition::Stands, _) => "it stands".to_owned(),
        (Disposition::HandPlumb, _) => "plumb it by hand, and enter the plumb".to_owned(),
        (Disposition::Sound, _) => "sound it from one reference, centre and edges, after clean-out".to_owned(),
        (Disposition::Deepen, Some(by)) => format!("deepen it by {by} at least, then sound it"),
        (Disposition::Deepen, None) => "deepen it, then sound it".to_owned(),
        (Disposition::Fill, Some(by)) => format!("fill and tamp {by} at least, then sound it and check its embedment"),
        (Disposition::Fill, None) => "fill and tamp it, then sound it and check its embedment".to_owned(),
        (Disposition::Ream, Some(_)) => {
            let wide = leg.proposed.by.map_or_else(String::new, |wide| units.short(wide));
            format!("ream it to {wide} at least, or set a thinner pole")
        }
        (Disposition::Ream, None) => "ream it, or set a thinner pole".to_owned(),
        (Disposition::Engineer, _) => "the engineer decides".to_owned(),
    }
}

/// Everything about the structure, a line each.
#[must_use]
pub fn whole(structure: &Structure<'_>, governs: Option<Governs>, soil: Option<Soil>) -> Vec<String> {
    let mut lines = Vec::new();
    for (n, leg) in structure.legs.iter().enumerate() {
        lines.extend(of_leg(leg, governs, structure.frame.earth.get(n).copied().flatten(), soil));
    }
    lines.extend(of_frame(&structure.frame, &structure.legs, structure.units, governs));
    lines.iter().map(|line| terminal(line)).collect()
}

fn of_leg(leg: &Leg<'_>, governs: Option<Governs>, ground: Option<Ground>, soil: Option<Soil>) -> Vec<String> {
    let units = leg.units();
    let attempt = if leg.hole.attempt > 1 { format!(", attempt {}", leg.hole.attempt) } else { String::new() };
    let stage = stage(leg.stage);
    let state = leg.state.map_or_else(String::new, |state| format!(", {}", state.word()));
    let mut lines = vec![format!("{}{attempt}: {stage}{state}; proposed: {}", leg_text(leg.hole.leg), remedy(leg))];
    lines.extend(leg.planned.map(|planned| {
        let basis = leg.plan.and_then(|plan| plan.basis).map_or_else(String::new, |basis| format!(" by {}", basis.text()));
        let datum = leg.datum.map_or_else(String::new, |datum| format!(" below {}", datum_text(datum)));
        format!("  planned {}{datum}{basis}", units.long(planned))
    }));
    lines.extend(leg.earlier.iter().map(|(number, state)| {
        format!("  attempt {number} before it: {}", state.map_or("left without a word on how it was made safe", |state| state.word()))
    }));
    lines.extend(leg.verdicts.iter().map(|verdict| format!("  {}", verdicts::line(verdict, governs, units))));
    lines.extend(leg.findings.iter().filter(|finding| finding.remedy.is_none()).map(|finding| format!("  note: {}", finding.what)));
    lines.extend(ground.map(|ground| format!("  {}", earth(ground, soil, units))));
    lines.extend(leg.accepted.as_ref().map(|accepted| {
        let overtaken = if accepted.overtaken { "; drilled or measured again since, so look again" } else { "" };
        let (word, by) = (accepted.disposition.word(), &accepted.by);
        format!("  accepted: {word}, by {by}, {}: {}{overtaken}", accepted.at.rfc3339(), accepted.reason)
    }));
    lines
}

fn of_frame(frame: &Frame, legs: &[Leg<'_>], units: Units, governs: Option<Governs>) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(fit) = &frame.fit {
        let room = |figure| units.worth(Quantity::Offset, figure);
        let shift = if legs.len() > 1 { "the frame stands" } else { "the pole stands" };
        lines.push(format!(
            "room round the poles {} where {shift} {}; {} at the stakes",
            room(fit.most),
            units.place(fit.shift),
            room(fit.at_stake)
        ));
        for (seat, leg) in fit.legs.iter().zip(legs) {
            let Some(pole) = &leg.pole else { continue };
            let largest = seat.largest_butt.map_or_else(|| "none".to_owned(), |butt| format!("{} across", units.short(butt)));
            let butt = units.short(2.0 * pole.butt);
            lines.push(format!(
                "  {}: butt {butt} across ({}); largest butt with its room: {largest}",
                leg_text(leg.hole.leg),
                pole.girth.text()
            ));
        }
    }
    lines.extend(frame.room.iter().map(|verdict| format!("  {}", verdicts::line(verdict, governs, units))));
    lines.extend(frame.unknown.iter().map(|unknown| format!("fit not known: {unknown}")));
    lines.extend(frame.spacings.iter().map(|taped| spacing(taped, legs, units)));
    lines.extend(
        frame
            .planned
            .as_ref()
            .filter(|arm| frame.drilled.is_none() && arm.is_out())
            .map(|planned| format!("AS PLANNED: {}", arm(planned, legs))),
    );
    lines.extend(frame.drilled.as_ref().map(|drilled| arm(drilled, legs)));
    lines
        .extend(frame.drilled.iter().flat_map(|arm| &arm.verdicts).map(|verdict| format!("  {}", verdicts::line(verdict, governs, units))));
    lines
}

/// A spacing in a line: taped, brought to the level, as framed, and whether the holes' middles say otherwise.
#[must_use]
pub fn spacing(spacing: &Spacing, legs: &[Leg<'_>], units: Units) -> String {
    let names = [spacing.legs.0, spacing.legs.1].map(|n| legs.get(n).map_or("", |leg| leg_text(leg.hole.leg)));
    let slope =
        if spacing.shortened > 0.0 { format!(" ({} less than along the slope)", units.short(spacing.shortened)) } else { String::new() };
    let against = if spacing.contradicts() { "; THE MIDDLES SAY OTHERWISE: measure again" } else { "" };
    let (taped, framed) = (units.worth(Quantity::Depth, spacing.taped), units.long(spacing.framed));
    format!("{} to {}: {taped} level{slope}, framed {framed}{against}", names[0], names[1])
}

/// A volume in the sheet's units: "3.09 m³", "109.1 ft³ (4.04 yd³)".
#[must_use]
pub fn volume(units: Units, cubic_metres: f64) -> String {
    match units {
        Units::Metric => format!("{cubic_metres:.2} m³"),
        Units::FeetInches => format!("{:.1} ft³ ({:.2} yd³)", cubic_feet(cubic_metres), cubic_yards(cubic_metres)),
    }
}

/// The arm in a sentence: which end is higher, by how much, and how it tilts.
#[must_use]
pub fn arm(arm: &Arm, legs: &[Leg<'_>]) -> String {
    let name = |leg: Option<&Leg<'_>>| leg.map_or("", |leg| leg_text(leg.hole.leg));
    arm_between(arm, name(legs.first()), name(legs.last()), legs.first().map_or(Units::Metric, Leg::units))
}

/// As [`arm`], between two legs by their names.
#[must_use]
pub fn arm_between(arm: &Arm, first: &str, last: &str, units: Units) -> String {
    let rise = arm.tilt.rise;
    let higher = if rise.value >= 0.0 { last } else { first };
    let level = if arm.is_out() { "not level" } else { "not shown to be out of level" };
    let nominal = if arm.taped { "" } else { "; nominal pole lengths, so tape them from butt to framing" };
    let amount = crate::judge::Figure { value: rise.value.abs(), ..rise };
    let (degrees, worth) = (arm.tilt.degrees.value.abs(), arm.tilt.degrees.expanded);
    format!("arm {level}: {higher} end higher by {}, {degrees:.2}° ± {worth:.2}°{nominal}", units.worth(Quantity::Offset, amount))
}

fn earth(ground: Ground, soil: Option<Soil>, units: Units) -> String {
    let volume = |cubic_metres: f64| volume(units, cubic_metres);
    let hole = format!("hole {} ± {}, as the earth lay", volume(ground.hole.value), volume(ground.hole.expanded));
    match (soil, ground.earth) {
        (Some(soil), Some(earth)) => format!(
            "{hole}; as {}, loose × {} and compacted × {} of it as it lay ({}): spoil {} loose, keep {} of it for backfill, {} over",
            soil.name,
            soil.loose,
            soil.compacted,
            soil.source.text,
            volume(earth.loose),
            volume(earth.keep),
            volume(earth.left)
        ),
        _ => hole,
    }
}
